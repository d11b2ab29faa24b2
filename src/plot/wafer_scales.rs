//! The scales that the maps of all wafers of a run share.

use super::axis::extent;
use super::rejection_axis::cut;
use crate::wafer::{ErrorPart, LotResult, Spatial, larger_residuals};
use std::ops::Range;

/// The scales that the maps of all wafers of a run share: equal colours are equal values on all of
/// them.
#[derive(Clone, Debug, PartialEq)]
pub struct WaferScales {
    /// Of the worst rejections, dB.
    pub(super) rejection: Range<f64>,
    /// Of the worst frequencies, GHz.
    pub(super) frequency: Range<f64>,
    /// Which part of the channel error the residuals are shown of.
    pub(super) part: ErrorPart,
    /// Of its residuals to either side, dB or degrees; `None` where no wafer has a trend.
    pub(super) largest_residual: Option<f64>,
}

/// The share of residuals that the scale holds.
const HELD: f64 = 0.98;

impl WaferScales {
    /// The scales of a run. That of rejections reaches half the distance between 5 and 95 % of dies
    /// beyond these, or to the outermost die if that is nearer, so that a few outliers do not take
    /// all of it.
    #[must_use]
    pub fn of(result: &LotResult) -> Self {
        let rejection = match &result.all.rejection {
            None => 0.0..1.0,
            Some(q) => {
                let beyond = 0.5 * (q.p95 - q.p05);
                let finite = |value: f64, otherwise: f64| {
                    if value.is_finite() { value } else { otherwise }
                };
                let low = finite(q.p05 - beyond, q.least).max(q.least);
                let high = finite(q.p95 + beyond, q.largest).min(q.largest);
                wide_enough(cut(low), cut(high), 1.0)
            }
        };
        let ghz = extent(result.curves.all_hz.iter().map(|hz| hz / 1e9));
        let residuals = |of: fn(&crate::wafer::WaferResult) -> &Spatial| -> Vec<f64> {
            let trends = result.wafers.iter().filter_map(|wafer| of(wafer).trend.as_ref());
            trends.flat_map(|trend| trend.residuals.iter().copied()).collect()
        };
        let amplitudes = residuals(|wafer| &wafer.amplitude_db);
        let phases = residuals(|wafer| &wafer.phase_deg);
        let part = larger_residuals(&amplitudes, &phases);
        let shown = match part {
            ErrorPart::Amplitude => amplitudes,
            ErrorPart::Phase => phases,
        };
        Self {
            rejection,
            frequency: ghz.map_or(0.0..1.0, |(low, high)| wide_enough(low, high, 0.1)),
            part,
            largest_residual: held(shown),
        }
    }
}

/// A range that is never empty.
fn wide_enough(low: f64, high: f64, least: f64) -> Range<f64> {
    let missing = 0.5 * (least - (high - low)).max(0.0);
    low - missing..high + missing
}

/// The magnitude below which nearly all residuals are.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of dies"
)]
fn held(residuals: Vec<f64>) -> Option<f64> {
    let mut magnitudes: Vec<f64> = residuals.into_iter().map(f64::abs).collect();
    magnitudes.sort_by(f64::total_cmp);
    let last = magnitudes.len().checked_sub(1)?;
    let at = (HELD * last as f64).ceil() as usize;
    Some(magnitudes[at.min(last)].max(0.01))
}
