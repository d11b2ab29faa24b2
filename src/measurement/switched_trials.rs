//! Trials of a receiver with switched mixers.
//!
//! A solution over all sidebands is too long for ten thousand trials of a whole plan. The linear law
//! gives the effect of every error on the channel errors of all points and on the worst levels; a trial
//! draws all errors and takes rejections and worst values from the moved channel errors exactly. At the
//! point of worst rejection trials of the receiver itself take their place.

use super::monte_carlo::{Spread, Trial, TrialSettings, run_trials};
use super::plan_noise::PlanNoise;
use super::receiver_linear::{Effect, LevelErrors, level_errors, plain_noise_of};
use super::receiver_propagation::UncertainReceiver;
use crate::downconverter::{
    DownconverterResult, ReceiverBalance, ReceiverError, ReceiverPlan, SwitchedLevels,
};
use crate::requirement::Quantity;
use crate::units::db_from_amplitude;
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use std::num::NonZeroUsize;

/// Trials of the receiver itself at the point of worst rejection: its standard uncertainty is then
/// known to 3 %.
const TRIALS_AT_WORST: NonZeroUsize = NonZeroUsize::MIN.saturating_add(599);

/// A receiver with switched mixers, prepared for trials.
pub(super) struct SwitchedTrials {
    balances: Vec<ReceiverBalance>,
    noise: PlanNoise,
    levels: LevelErrors,
    level_errors: Vec<LevelErrors>,
}

impl SwitchedTrials {
    /// `None` for multipliers.
    pub(super) fn new(
        result: &DownconverterResult,
        effects: &[Effect],
        plan: &ReceiverPlan,
    ) -> Option<Self> {
        let switched = SwitchedLevels::of(result.switching.as_ref()?);
        let powers = result.lo_power_range_dbm();
        Some(Self {
            balances: result.points.iter().map(|point| point.balance).collect(),
            noise: plain_noise_of(effects, plan).reduced(),
            levels: LevelErrors {
                lo_power: powers.map_or(f64::NEG_INFINITY, |(least_dbm, _)| least_dbm),
                conversion_loss: switched.conversion_loss_db,
                noise_figure: switched.noise_figure_db,
                lo_at_rf_port: switched.lo_at_rf_port_dbm,
            },
            level_errors: level_errors(effects),
        })
    }

    /// Points of the plan.
    pub(super) fn points(&self) -> usize {
        self.balances.len()
    }

    /// Balances and levels of one trial.
    pub(super) fn drawn(&self, random: &mut ChaCha8Rng) -> (Vec<ReceiverBalance>, LevelErrors) {
        let errors = self.noise.drawn(random);
        let balances = self.balances.iter().zip(&errors).map(|(own, errors)| moved(own, errors));
        let mut levels = self.levels;
        for own in &self.level_errors {
            let deviate: f64 = StandardNormal.sample(random);
            levels.lo_power += deviate * own.lo_power;
            levels.conversion_loss += deviate * own.conversion_loss;
            levels.noise_figure += deviate * own.noise_figure;
            levels.lo_at_rf_port += deviate * own.lo_at_rf_port;
        }
        (balances.collect(), levels)
    }
}

impl LevelErrors {
    /// The level of a quantity.
    pub(super) fn of(&self, quantity: Quantity) -> Option<f64> {
        match quantity {
            Quantity::LoPower => Some(self.lo_power),
            Quantity::ConversionLoss => Some(self.conversion_loss),
            Quantity::NoiseFigure => Some(self.noise_figure),
            Quantity::LoAtRfPort => Some(self.lo_at_rf_port),
            _ => None,
        }
    }
}

/// A balance with its errors in the image and in the wanted sideband moved. The paths' own ratio of
/// gains stays.
fn moved(balance: &ReceiverBalance, [image, wanted]: &[Complex64; 2]) -> ReceiverBalance {
    let channel_error = balance.channel_error + image;
    let wanted_error = balance.wanted_error + wanted;
    let kept = (1.0 + wanted_error.exp()).norm();
    let left = (1.0 - channel_error.exp()).norm();
    ReceiverBalance {
        image_rejection_db: balance.sideband_gain_db + db_from_amplitude(kept / left),
        sideband_gain_db: balance.sideband_gain_db,
        wanted_error,
        channel_error,
    }
}

/// The rejection at one point by trials of the receiver itself.
pub(super) fn rejection_by_trials(
    uncertain: &UncertainReceiver<'_>,
    settings: &TrialSettings,
    at: usize,
) -> Result<Spread, ReceiverError> {
    let count = settings.trials().map_or(TRIALS_AT_WORST, |given| given.min(TRIALS_AT_WORST));
    let trials = run_trials(&settings.with_trials(count), 1, &|_| {}, |random| {
        let varied = uncertain.solve(&uncertain.drawn(random)?)?;
        let point = uncertain.variation.point(&varied, at)?;
        #[expect(clippy::cast_possible_truncation, reason = "kept in single precision")]
        let rejection_db = point.balance.image_rejection_db as f32;
        Ok::<_, ReceiverError>(Trial { outputs: vec![rejection_db], held: Vec::new() })
    })?;
    Ok(trials.outputs[0])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_of_zero_move_nothing() {
        let (wanted_error, channel_error) =
            (Complex64::new(0.01, -0.03), Complex64::new(-0.02, 0.04));
        let balance = ReceiverBalance {
            image_rejection_db: 0.0,
            sideband_gain_db: 0.7,
            wanted_error,
            channel_error,
        };
        // |I + Q| over |I - Q| with Q = I e^error, and I higher by 0.7 dB in the wanted sideband.
        let (i_wanted, i_image) = (10.0_f64.powf(0.7 / 20.0), 1.0);
        let kept = (i_wanted + i_wanted * wanted_error.exp()).norm();
        let left = (i_image - i_image * channel_error.exp()).norm();
        let got = moved(&balance, &[Complex64::ZERO; 2]);
        assert!((got.image_rejection_db - 20.0 * (kept / left).log10()).abs() < 1e-12);
        assert_eq!(got.channel_error, channel_error);
    }
}
