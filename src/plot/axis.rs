//! A linear axis: its range and its ticks.

use super::canvas::count;
use plotters::coord::cartesian::Cartesian2d;
use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, Ranged, ValueFormatter};
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::{ChartContext, SVGBackend};
use std::ops::Range;

pub(super) type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<Axis, Axis>>;

/// Where an axis has its ticks.
#[derive(Clone, Copy, Default)]
pub(super) enum Ticks<'t> {
    /// At round values.
    #[default]
    Round,
    /// At some of these values, ascending: those of the data.
    At(&'t [f64]),
    /// At these places, with these names.
    Named(&'t [(f64, String)]),
}

/// A linear axis with its ticks.
#[derive(Clone)]
pub(super) struct Axis {
    scale: RangedCoordf64,
    ticks: Vec<(f64, String)>,
}

impl Axis {
    /// About `wanted` ticks, written with the digits in which they differ.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "small counts"
    )]
    pub(super) fn over(range: &Range<f64>, wanted: usize) -> Self {
        /// Fewer ticks than this say little of a range.
        const FEWEST: f64 = 4.0;
        let width = (range.end - range.start).max(f64::MIN_POSITIVE);
        let rough = width / wanted.max(1) as f64;
        let mut step = round_step(rough);
        for _ in 0..2 {
            let ticks = (range.end / step).floor() - (range.start / step).ceil() + 1.0;
            if wanted >= 3 && ticks < FEWEST {
                // The next smaller of 1, 2 and 5 times a power of ten.
                step = round_step(step / 2.6);
            }
        }
        let first = (range.start / step - 1e-9).ceil();
        let values = (0..100)
            .map(|at| (first + f64::from(at)) * step)
            .take_while(|value| *value <= range.end + 1e-9 * step)
            // Minus zero would be labelled -0.
            .map(|value| if value.abs() < 1e-9 * step { 0.0 } else { value });
        let digits = (-(step * 1.0001).log10().floor()).max(0.0) as usize;
        let name = |value: f64| match digits {
            0..=5 => format!("{value:.digits$}"),
            _ if value == 0.0 => "0".to_owned(),
            // Rows of zeros cannot be read.
            _ => format!("{value:.1e}"),
        };
        let ticks = values.map(|value| (value, name(value))).collect();
        Self { scale: range.clone().into(), ticks }
    }

    /// At most about `wanted` ticks, where they are to be.
    #[expect(clippy::cast_precision_loss, reason = "small counts")]
    pub(super) fn with(range: &Range<f64>, ticks: Ticks<'_>, wanted: usize) -> Self {
        let least = 0.6 * (range.end - range.start) / wanted.max(1) as f64;
        let mut last = f64::NEG_INFINITY;
        let mut is_apart = |value: f64| {
            let is_apart = (range.start..=range.end).contains(&value) && value - last >= least;
            if is_apart {
                last = value;
            }
            is_apart
        };
        let ticks: Vec<(f64, String)> = match ticks {
            Ticks::Round => return Self::over(range, wanted),
            Ticks::Named(named) => {
                let some = named.iter().step_by(stride(named.len(), wanted));
                some.filter(|(value, _)| is_apart(*value)).cloned().collect()
            }
            Ticks::At(values) => {
                let some = values.iter().copied().step_by(stride(values.len(), wanted));
                let kept: Vec<f64> = some.filter(|value| is_apart(*value)).collect();
                let digits = digits_of(&kept);
                kept.iter().map(|value| (*value, format!("{value:.digits$}"))).collect()
            }
        };
        Self { scale: range.clone().into(), ticks }
    }

    /// Letters of the longest tick; 0 without ticks.
    pub(super) fn longest(&self) -> u32 {
        let lengths = self.ticks.iter().map(|(_, name)| name.chars().count());
        count(lengths.fold(0, usize::max))
    }
}

/// From which to which of so many values ticks go: about `wanted`, the last among them where that is
/// possible.
fn stride(values: usize, wanted: usize) -> usize {
    let Some(steps) = values.checked_sub(1) else { return 1 };
    let least = steps.div_ceil(wanted.max(1)).max(1);
    (least..=2 * least).find(|stride| steps.is_multiple_of(*stride)).unwrap_or(least)
}

/// The digits after the point that values need, four at most.
fn digits_of(values: &[f64]) -> usize {
    let is_whole = |digits: i32| {
        let scale = 10_f64.powi(digits);
        values.iter().all(|value| (value * scale - (value * scale).round()).abs() < 1e-6 * scale)
    };
    [0, 1, 2, 3].into_iter().position(is_whole).unwrap_or(4)
}

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        self.scale.map(value, limit)
    }

    fn key_points<Hint: KeyPointHint>(&self, _hint: Hint) -> Vec<f64> {
        self.ticks.iter().map(|tick| tick.0).collect()
    }

    fn range(&self) -> Range<f64> {
        self.scale.range()
    }
}

impl ValueFormatter<f64> for Axis {
    fn format_ext(&self, value: &f64) -> String {
        let is_it = |tick: &&(f64, String)| tick.0.total_cmp(value).is_eq();
        self.ticks.iter().find(is_it).map_or_else(String::new, |tick| tick.1.clone())
    }
}

/// About so many round values of a range, as an axis would write them.
pub(super) fn ticks(range: &Range<f64>, wanted: usize) -> Vec<(f64, String)> {
    Axis::over(range, wanted).ticks
}

/// The smallest of 1, 2 or 5 times a power of ten that is not below a width above 0.
pub(super) fn round_step(least: f64) -> f64 {
    let decade = 10_f64.powf(least.log10().floor());
    match least / decade {
        ratio if ratio <= 1.0 => decade,
        ratio if ratio <= 2.0 => 2.0 * decade,
        ratio if ratio <= 5.0 => 5.0 * decade,
        _ => 10.0 * decade,
    }
}

/// Minimum and maximum of the finite values; `None` where there is none.
pub(super) fn extent(values: impl IntoIterator<Item = f64>) -> Option<(f64, f64)> {
    values.into_iter().filter(|value| value.is_finite()).fold(None, |extent, value| {
        let (low, high) = extent.unwrap_or((value, value));
        Some((low.min(value), high.max(value)))
    })
}

/// A range that holds all finite values with a little room and is at least so wide. Without any
/// value it begins at 0.
pub(super) fn range_of(values: impl IntoIterator<Item = f64>, least_width: f64) -> Range<f64> {
    let Some((low, high)) = extent(values) else { return 0.0..least_width.max(1.0) };
    let missing = (least_width - (high - low)).max(0.0) / 2.0;
    let room = 0.06 * (high - low).max(least_width);
    low - missing - room..high + missing + room
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_values_have_exponents() {
        let names: Vec<String> = ticks(&(-1e-9..1e-9), 4).into_iter().map(|tick| tick.1).collect();
        assert_eq!(names, ["-1.0e-9", "-5.0e-10", "0", "5.0e-10", "1.0e-9"]);
    }

    #[test]
    fn ticks_stand_at_data() {
        let lo: Vec<f64> = (0..41).map(|at| 27.0 + 0.1 * f64::from(at)).collect();
        let names = |axis: Axis| axis.ticks.into_iter().map(|tick| tick.1).collect::<Vec<_>>();
        let eleven = names(Axis::with(&(27.0..31.0), Ticks::At(&lo), 12));
        assert_eq!((eleven.len(), eleven[1].as_str(), eleven[10].as_str()), (11, "27.4", "31.0"));
        assert_eq!(
            names(Axis::with(&(0.5..1.5), Ticks::At(&[0.5, 1.0, 1.5]), 10)),
            ["0.5", "1.0", "1.5"]
        );
        assert_eq!(names(Axis::with(&(28.0..30.0), Ticks::At(&[29.0]), 10)), ["29"]);
        assert!(names(Axis::with(&(0.0..1.0), Ticks::At(&[]), 10)).is_empty());
    }
}
