//! Decisions on the worst point of a plan from the balances at all points with their noise.
//!
//! Errors are propagated linearly up to the channel error. From there on the rejection is exact,
//! and imbalance and phase error are normal.

use super::channel_error::{ChannelErrorDistribution, interval_risk};
use super::conformity::DecisionSettings;
use super::error::MeasurementError;
use super::error_covariance::{ErrorCovariance, PlanCovariance};
use super::plan_noise::NoiseDraws;
use super::plan_reading::{
    DrawnErrors, NoDraws, PlanReading, Refutation, Scale, size_of_rejection,
};
use super::plane_noise::PlaneReading;
use crate::downconverter::ReceiverBalance;
use crate::requirement::{Limit, Quantity, RequirementResult, Verdict};
use crate::units::{db_from_amplitude, db_from_neper, wrap_deg};
use num_complex::Complex64;

/// Balances at all points of a plan or band with their uncertainty; there is at least one point.
///
/// # Examples
/// ```
/// use fourphase::downconverter::ReceiverBalance;
/// use fourphase::measurement::{
///     ErrorCovariance, KnownBalances, NoiseDraws, PlanCovariance, PlanNoise,
/// };
/// use fourphase::requirement::{Limit, Quantity};
/// use fourphase::splitter::{channel_error, image_rejection_db};
///
/// // 0.4 dB and 2 degrees: 30.8 dB of rejection; standard uncertainties 0.1 dB and 0.5 degrees.
/// let error = channel_error(0.4, 2.0);
/// let balance = ReceiverBalance {
///     image_rejection_db: image_rejection_db(0.4, 2.0),
///     sideband_gain_db: 0.0,
///     wanted_error: error,
///     channel_error: error,
/// };
/// let (amplitude, phase) = (channel_error(0.1, 0.0).re, 0.5_f64.to_radians());
/// let covariance = ErrorCovariance::new(amplitude.powi(2), phase.powi(2), 0.0)?;
/// let noise = PlanNoise::independent(&[PlanCovariance { image: covariance, wanted: covariance }])?;
/// let noise = NoiseDraws::new(noise, 1);
/// let known = KnownBalances::new(&[balance], &noise)?;
/// // One standard uncertainty inside the limit of 0.5 dB: 84 %, computed from draws to 0.5 %.
/// let limit = Limit::new(Quantity::AmplitudeImbalance, 0.5)?;
/// assert!((known.probability(&[limit]) - 0.8413).abs() < 0.02);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct KnownBalances<'n> {
    points: Vec<KnownBalance>,
    noise: &'n NoiseDraws,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct KnownBalance {
    balance: ReceiverBalance,
    wanted: ErrorCovariance,
    /// The channel error in the plane in which contours of the rejection are circles.
    in_plane: PlaneReading,
    /// The factor that transforms an error to that plane.
    factor: Complex64,
}

/// Noise beyond this number of standard deviations has no effect.
const MAX_DEVIATE: f64 = 8.0;

impl KnownBalance {
    /// The reading of a quantity in its plane.
    fn reading(&self, quantity: Quantity) -> Option<PlaneReading> {
        let wanted = self.balance.wanted_error;
        match quantity {
            Quantity::ImageRejection | Quantity::CommonModeRejection => Some(self.in_plane),
            Quantity::AmplitudeImbalance => Some(PlaneReading::new(
                wanted.re.into(),
                &ErrorCovariance::of_one(self.wanted.amplitude_variance()),
            )),
            Quantity::PhaseError | Quantity::QuadratureError => Some(PlaneReading::new(
                wrap_deg(wanted.im.to_degrees()).to_radians().into(),
                &ErrorCovariance::of_one(self.wanted.phase_variance()),
            )),
            Quantity::LoPower
            | Quantity::ConversionLoss
            | Quantity::NoiseFigure
            | Quantity::LoAtRfPort
            | Quantity::LoPowerMax
            | Quantity::LoTone
            | Quantity::SpuriousResponse => None,
        }
    }

    fn new(balance: ReceiverBalance, own: &PlanCovariance) -> Self {
        let error = ChannelErrorDistribution::of_solved(balance.channel_error, own.image);
        let (value, factor) = error.in_plane();
        // The size that the rejection has, which includes the effect of the wanted sideband.
        let own_db = balance.image_rejection_db - balance.sideband_gain_db;
        let size = if own_db == f64::INFINITY { 0.0 } else { size_of_rejection(own_db) };
        let length = value.norm();
        let value = if length > 0.0 { value * (size / length) } else { Complex64::ZERO };
        let in_plane = PlaneReading::new(value, &own.image.turned(factor));
        Self { balance, wanted: own.wanted, in_plane, factor }
    }

    /// Noise in the plane of a quantity.
    fn turned(&self, quantity: Quantity, [image, wanted]: &[Complex64; 2]) -> Complex64 {
        match quantity {
            Quantity::ImageRejection | Quantity::CommonModeRejection => image * self.factor,
            Quantity::AmplitudeImbalance => wanted.re.into(),
            _ => wanted.im.into(),
        }
    }
}

/// The draws of a plan's noise in the plane of a quantity.
pub(super) struct DrawsOf<'a> {
    known: &'a KnownBalances<'a>,
    quantity: Quantity,
}

impl DrawnErrors for DrawsOf<'_> {
    fn count(&self) -> usize {
        self.known.noise.draws().len()
    }

    fn error(&self, draw: usize, point: usize) -> Complex64 {
        self.known.points[point].turned(self.quantity, &self.known.noise.draws()[draw][point])
    }
}

impl<'n> KnownBalances<'n> {
    /// Balances and the noise of their errors, point by point.
    ///
    /// # Errors
    /// [`MeasurementError::NoPoints`] without a point, [`MeasurementError::CovarianceCount`] unless
    /// each point has noise, and [`MeasurementError::NotAnEstimate`] for an error that is not
    /// finite.
    pub fn new(
        balances: &[ReceiverBalance],
        noise: &'n NoiseDraws,
    ) -> Result<Self, MeasurementError> {
        let known = noise.noise().covariances();
        if balances.is_empty() {
            return Err(MeasurementError::NoPoints);
        }
        if balances.len() != known.len() {
            let (points, covariances) = (balances.len(), known.len());
            return Err(MeasurementError::CovarianceCount { points, covariances });
        }
        for found in balances.iter().flat_map(|one| [one.channel_error, one.wanted_error]) {
            if !found.is_finite() {
                return Err(MeasurementError::NotAnEstimate { found });
            }
        }
        let points =
            balances.iter().zip(known).map(|(&balance, own)| KnownBalance::new(balance, own));
        Ok(Self { points: points.collect(), noise })
    }

    fn scale(&self, quantity: Quantity) -> Scale {
        match quantity {
            Quantity::ImageRejection | Quantity::CommonModeRejection => Scale::Rejection(
                self.points.iter().map(|point| point.balance.sideband_gain_db).collect(),
            ),
            Quantity::AmplitudeImbalance => Scale::Magnitude(db_from_neper(1.0)),
            _ => Scale::Magnitude(1_f64.to_degrees()),
        }
    }

    /// The evidence of the readings of a quantity about its worst value; `None` for LO power, which
    /// a balance does not contain.
    pub(super) fn reading(&self, quantity: Quantity) -> Option<PlanReading<DrawsOf<'_>>> {
        let points: Option<Vec<_>> =
            self.points.iter().map(|point| point.reading(quantity)).collect();
        let draws = DrawsOf { known: self, quantity };
        Some(PlanReading::new(points?, self.scale(quantity), draws))
    }

    /// The evidence without draws, for computations at many scales of the noise.
    pub(super) fn reading_without_draws(&self, quantity: Quantity) -> Option<PlanReading<NoDraws>> {
        let points: Option<Vec<_>> =
            self.points.iter().map(|point| point.reading(quantity)).collect();
        Some(PlanReading::new(points?, self.scale(quantity), NoDraws))
    }

    /// The coverage interval of the rejection at one point, dB, see
    /// [`ChannelErrorDistribution::interval_db`].
    pub(super) fn interval_db(&self, at: usize, coverage: f64) -> (f64, f64) {
        let KnownBalance { balance, in_plane, .. } = &self.points[at];
        let largest = in_plane.largest_truth(0.5 * (1.0 - coverage));
        let smallest = in_plane.smallest_truth(interval_risk(coverage));
        let rejection = |size: f64| balance.sideband_gain_db - db_from_amplitude(0.5 * size);
        (rejection(largest), rejection(smallest))
    }

    /// The coverage interval of the worst value of a quantity, without sign: every worst value that
    /// the readings do not refute. Far from balance a truth is refuted if readings as good, or as
    /// bad, are rarer than half of 1 - `coverage`; a perfect part if they are rarer than 1 -
    /// `coverage`. `None` for LO power.
    #[must_use]
    pub fn interval_of_worst(&self, quantity: Quantity, coverage: f64) -> Option<(f64, f64)> {
        let risk = 0.5 * (1.0 - coverage);
        Some(self.reading(quantity)?.truths(risk, &interval_risk(coverage)))
    }

    /// The minimum and the maximum worst value that the readings do not refute at this risk on
    /// either side, without sign. If both meet a limit, it is a pass; if neither does, a fail.
    /// `None` for LO power.
    #[must_use]
    pub fn truths(&self, quantity: Quantity, risk: f64) -> Option<(f64, f64)> {
        Some(self.reading(quantity)?.truths(risk, &|_| risk))
    }

    /// The worst reading from which on a limit passes, and the one from which on it fails, at this
    /// risk, with all errors scaled by one factor; `None` where no reading is sufficient.
    #[must_use]
    pub fn acceptance(&self, limit: Limit, risk: f64) -> (Option<f64>, Option<f64>) {
        let reading = self.reading(limit.quantity());
        reading.map_or((None, None), |reading| reading.acceptance(limit.value(), risk))
    }

    /// The evidence of the readings against truths on either side of a limit at the worst point, at
    /// this risk; `None` for LO power.
    #[must_use]
    pub fn against(&self, limit: Limit, risk: f64) -> Option<Refutation> {
        Some(self.reading(limit.quantity())?.against(limit.value(), risk))
    }

    /// The decision on limits at each point by itself, LO power apart. The risk of a wrong failure is
    /// that of all points together: where one fails, so does the whole.
    pub(super) fn verdicts(&self, limits: &[Limit], decisions: &DecisionSettings) -> Vec<Verdict> {
        let scales: Vec<(Limit, Scale)> =
            limits.iter().map(|limit| (*limit, self.scale(limit.quantity()))).collect();
        let verdict = |at: usize| {
            let each = scales
                .iter()
                .filter_map(|(limit, scale)| self.verdict(at, *limit, scale, decisions));
            Verdict::of_all(each)
        };
        (0..self.points.len()).map(verdict).collect()
    }

    /// The decision on the rejection at each point; empty without a limit.
    pub(super) fn rejection_verdicts(
        &self,
        requirements: &[RequirementResult],
        decisions: &DecisionSettings,
    ) -> Vec<Verdict> {
        let mut limits = requirements.iter().map(|one| one.limit);
        let limit = limits.find(|limit| limit.quantity().is_rejection());
        limit.map_or_else(Vec::new, |limit| self.verdicts(&[limit], decisions))
    }

    fn verdict(
        &self,
        at: usize,
        limit: Limit,
        scale: &Scale,
        decisions: &DecisionSettings,
    ) -> Option<Verdict> {
        let reading = self.points[at].reading(limit.quantity())?;
        let size = scale.size(at, limit.value());
        #[expect(clippy::cast_precision_loss, reason = "points of a plan")]
        let count = self.points.len() as f64;
        let against = Refutation {
            misses_read_as_well: reading.reads_as_well(size),
            meets_read_as_badly: count * reading.reads_as_badly(size),
        };
        Some(decisions.decide(limit, scale.value(at, reading.size()), against))
    }

    /// The points that may be on the wrong side of any of the limits: other points have no effect
    /// on a decision.
    #[must_use]
    pub fn near(&self, limits: &[Limit]) -> Vec<usize> {
        let may_miss = |at: &usize| {
            limits.iter().any(|limit| {
                let size = self.scale(limit.quantity()).size(*at, limit.value());
                let reading = self.points[*at].reading(limit.quantity());
                reading.is_some_and(|one| one.size() + MAX_DEVIATE * one.noise().long() >= size)
            })
        };
        (0..self.points.len()).filter(may_miss).collect()
    }

    /// The probability that all limits are met at all points, with a uniform prior for every error;
    /// limits of the LO power do not count.
    #[must_use]
    pub fn probability(&self, limits: &[Limit]) -> f64 {
        let mut conditions = Vec::new();
        for limit in limits {
            let scale = self.scale(limit.quantity());
            for (at, point) in self.points.iter().enumerate() {
                let Some(reading) = point.reading(limit.quantity()) else { continue };
                let (size, reach) =
                    (scale.size(at, limit.value()), MAX_DEVIATE * reading.noise().long());
                if reading.size() > size + reach {
                    return 0.0;
                }
                if reading.size() + reach > size {
                    conditions.push((at, limit.quantity(), reading.value(), size * size));
                }
            }
        }
        match conditions.as_slice() {
            [] => return 1.0,
            [(at, quantity, value, limit)] => {
                let reading = self.points[*at].reading(*quantity);
                return reading.map_or(1.0, |one| one.noise().within(limit.sqrt(), *value));
            }
            _ => {}
        }
        let holds = |draw: &&Vec<[Complex64; 2]>| {
            conditions.iter().all(|(at, quantity, value, limit)| {
                (value + self.points[*at].turned(*quantity, &draw[*at])).norm_sqr() <= *limit
            })
        };
        let draws = self.noise.draws();
        #[expect(clippy::cast_precision_loss, reason = "thousands of draws")]
        let share = draws.iter().filter(holds).count() as f64 / draws.len().max(1) as f64;
        share
    }
}
