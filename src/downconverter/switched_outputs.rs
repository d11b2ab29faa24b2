//! I and Q of a receiver with switched mixers, at every point of its plan.
//!
//! In:  LO voltages at the mixers, and S of the RF network at all sidebands of the plan.
//! Out: I and Q for one watt available in either sideband, as of multipliers.

use super::error::{ReceiverError, Result};
use super::frequency_plan::Sideband;
use super::iq_balance::{Channel, Combination, IqOutputs, IqPair};
use super::lo_if_plan::LoIfPoint;
use super::q_correction::QCorrection;
use super::receiver::Receiver;
use super::sideband_store::SidebandStore;
use super::signal_path::LoRf;
use super::switching::{
    BeyondSidebands, ConversionSolver, SidebandData, Switch, SwitchedMixer, SwitchedMixerSettings,
};
use crate::units::power_from_db;
use num_complex::Complex64;
use rayon::prelude::*;
use std::f64::consts::SQRT_2;

/// LO voltages at the plan's frequencies, and S of the RF network at those of all sidebands.
pub(super) type SwitchedVoltages<'v> = LoRf<&'v [Complex64]>;

/// Solves the points of a plan one after the other.
#[derive(Clone)]
pub(super) struct SwitchedPlan<'a> {
    receiver: &'a Receiver,
    store: &'a SidebandStore,
    voltages: SwitchedVoltages<'a>,
    pub(super) solver: ConversionSolver,
    peaks_v: Vec<Complex64>,
    pub(super) weights: NodeWeights,
    /// LO power above that of the receiver, dB.
    extra_power_db: f64,
}

impl<'a> SwitchedPlan<'a> {
    /// `has_equal_elements` where all elements are to be the mean of all.
    pub(super) fn new(
        receiver: &'a Receiver,
        store: &'a SidebandStore,
        voltages: SwitchedVoltages<'a>,
        has_equal_elements: bool,
    ) -> Result<Self> {
        let missing = || ReceiverError::NoSuch { what: "switched element".to_owned() };
        let mixer = receiver.switched_mixer().ok_or_else(missing)?;
        let mixer = if has_equal_elements { with_equal_elements(mixer)? } else { mixer.clone() };
        let solver = ConversionSolver::new(mixer);
        let (peaks_v, weights) = (Vec::new(), NodeWeights::default());
        Ok(Self { receiver, store, voltages, solver, peaks_v, weights, extra_power_db: 0.0 })
    }

    /// Raises the LO power above that of the receiver, dB.
    pub(super) fn set_extra_power_db(&mut self, extra_power_db: f64) {
        self.extra_power_db = extra_power_db;
    }

    /// The mixers' LO voltages at an LO of the plan, as phasors of their peaks.
    pub(super) fn set_lo(&mut self, lo: usize) {
        let mixers = self.receiver.mixers().len();
        // The phase of the carrier is in the voltages already.
        let drive_dbm = self.receiver.lo_drive(lo).unwrap_or_default().power_dbm;
        let power_dbm = drive_dbm + self.extra_power_db;
        let scale = SQRT_2 * (1e-3 * power_from_db(power_dbm)).sqrt();
        self.peaks_v.clear();
        let own = &self.voltages.lo[lo * mixers..(lo + 1) * mixers];
        self.peaks_v.extend(own.iter().map(|volts| scale * volts));
    }

    pub(super) fn peaks_v(&self) -> &[Complex64] {
        &self.peaks_v
    }

    /// Solves a point for conversion and noise.
    pub(super) fn solve(&mut self, point: &LoIfPoint) -> Result<()> {
        self.set_lo(point.lo);
        let (lo_hz, if_hz) = (point.lo_hz, point.if_hz);
        #[expect(clippy::cast_precision_loss, reason = "sidebands are few")]
        let frequency_hz = |k: isize| if_hz + k as f64 * lo_hz;
        let (store, rf) = (self.store, self.voltages.rf);
        let data = SidebandData {
            lo_hz,
            if_hz,
            sidebands: store.count.sidebands,
            rf: &|k| store.rf_at(rf, frequency_hz(k)),
            if_load: &|k| store.if_load_at(frequency_hz(k)),
        };
        self.solver.solve(&data, &self.peaks_v, BeyondSidebands::Resistance)
    }

    /// Solves for the leakage at an LO.
    pub(super) fn leakage(&mut self, lo: usize) -> Result<super::switching::LoLeakage> {
        self.set_lo(lo);
        let lo_hz = self.receiver.plan().lo_hz()[lo];
        #[expect(clippy::cast_precision_loss, reason = "sidebands are few")]
        let frequency_hz = |k: isize| k as f64 * lo_hz;
        let (store, rf) = (self.store, self.voltages.rf);
        let data = SidebandData {
            lo_hz,
            if_hz: 0.0,
            sidebands: store.count.sidebands,
            rf: &|k| store.rf_at(rf, frequency_hz(k)),
            if_load: &|k| store.if_load_at(frequency_hz(k)),
        };
        self.solver.leakage(&data, &self.peaks_v, BeyondSidebands::Resistance)
    }

    /// I and Q of the point that was solved last.
    pub(super) fn outputs(&self) -> IqOutputs {
        let pair = |sideband| {
            let mut pair = IqPair::default();
            for (at, node) in self.solver.mixer().if_nodes().iter().enumerate() {
                let volts = self.solver.if_voltage(at, sideband);
                let signed = if node.is_subtracted { -volts } else { volts };
                match node.channel {
                    Channel::I => pair.i += signed,
                    Channel::Q => pair.q += signed,
                }
            }
            pair
        };
        IqOutputs { upper: pair(Sideband::Upper), lower: pair(Sideband::Lower) }
    }
}

/// What `solve` gives for each LO of the plan, one after the other; several at a time.
pub(super) fn of_each_lo<T: Send>(
    receiver: &Receiver,
    solved: &SwitchedPlan<'_>,
    solve: impl Fn(&mut SwitchedPlan<'_>, usize) -> Result<T> + Send + Sync,
) -> Result<Vec<T>> {
    let all = 0..receiver.plan().lo_hz().len();
    if all.len() == 1 {
        let mut solved = solved.clone();
        return all.map(|lo| solve(&mut solved, lo)).collect();
    }
    all.into_par_iter().map_init(|| solved.clone(), solve).collect()
}

/// I and Q at every point: for each LO, for each IF.
pub(super) fn switched_outputs(
    receiver: &Receiver,
    store: &SidebandStore,
    voltages: SwitchedVoltages<'_>,
    has_real_elements: bool,
) -> Result<Vec<IqOutputs>> {
    let plan = receiver.plan();
    let solved = SwitchedPlan::new(receiver, store, voltages, !has_real_elements)?;
    let of_lo = of_each_lo(receiver, &solved, |solved, lo| {
        let points = plan.points()[plan.points_of_lo(lo)].iter();
        points
            .map(|point| {
                solved.solve(point)?;
                Ok(solved.outputs())
            })
            .collect::<Result<Vec<_>>>()
    })?;
    Ok(of_lo.into_iter().flatten().collect())
}

/// Weights of the IF nodes in the combined output, for signals from above the LO, from below it, and
/// at the IF itself.
#[derive(Clone, Debug, Default)]
pub(super) struct NodeWeights {
    pub(super) above: Vec<Complex64>,
    pub(super) below: Vec<Complex64>,
    pub(super) at_if: Vec<Complex64>,
}

impl NodeWeights {
    pub(super) fn fill(
        &mut self,
        mixer: &SwitchedMixer,
        combination: &Combination,
        correction: &QCorrection,
        lo_turns: i32,
    ) {
        let of = |channel: Channel| {
            let (i, q) = match channel {
                Channel::I => (Complex64::ONE, Complex64::ZERO),
                Channel::Q => (Complex64::ZERO, Complex64::ONE),
            };
            let pair = IqPair { i, q };
            let made = IqOutputs { upper: pair, lower: pair };
            let made = correction.applied(&made, combination, lo_turns);
            (combination.apply(made.upper), combination.apply(made.lower))
        };
        let (i, q) = (of(Channel::I), of(Channel::Q));
        for part in [&mut self.above, &mut self.below, &mut self.at_if] {
            part.clear();
        }
        for node in mixer.if_nodes() {
            let sign = if node.is_subtracted { -1.0 } else { 1.0 };
            let (above, below) = if node.channel == Channel::I { i } else { q };
            self.above.push(sign * above);
            self.below.push(sign * below);
            // A correction of the LO's phase has no side at the IF: the mean of both.
            self.at_if.push(sign * 0.5 * (above + below));
        }
    }
}

/// The mixers with every element the mean of all: mean conductances, capacitances and voltages.
fn with_equal_elements(mixer: &SwitchedMixer) -> Result<SwitchedMixer> {
    let settings = mixer.settings();
    #[expect(clippy::cast_precision_loss, reason = "a receiver has few mixers")]
    let count = settings.elements.len() as f64;
    let mean = |value: &dyn Fn(&super::switching::SwitchedElement) -> f64| {
        settings.elements.iter().map(value).sum::<f64>() / count
    };
    let mut own = *settings.elements[0].switch.settings();
    own.on_ohm = 1.0 / mean(&|element| 1.0 / element.switch.settings().on_ohm);
    own.off_ohm = 1.0 / mean(&|element| 1.0 / element.switch.settings().off_ohm);
    own.off_f = mean(&|element| element.switch.settings().off_f);
    own.threshold_v = mean(&|element| element.switch.settings().threshold_v);
    own.slope_v = mean(&|element| element.switch.settings().slope_v);
    let switch = Switch::new(own)?;
    let (lo_to_rf_f, lo_to_if_f) =
        (mean(&|element| element.lo_to_rf_f), mean(&|element| element.lo_to_if_f));
    let equal = |element: &super::switching::SwitchedElement| super::switching::SwitchedElement {
        switch,
        lo_to_rf_f,
        lo_to_if_f,
        ..*element
    };
    SwitchedMixer::new(SwitchedMixerSettings {
        elements: settings.elements.iter().map(equal).collect(),
        ..settings.clone()
    })
}
