//! How many dies have which rejection.

use super::axis::{Ticks, range_of, round_step};
use super::canvas::{count, picture};
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::legend::{Entry, limit_entry};
use super::lot_caption::lot_head;
use super::picture::Picture;
use super::rejection_axis::{cut, required_name};
use super::series::{line, vertical};
use super::style::{BLUE, Dash, SKY_BLUE, Sizes, VERMILION};
use crate::units::counted;
use crate::wafer::{LotHeading, LotResult};
use plotters::prelude::{Color, Rectangle};
use std::ops::Range;

/// How many dies have which worst rejection, and the share that has less.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_distribution(
    heading: &LotHeading<'_>,
    result: &LotResult,
) -> Result<Picture, PlotError> {
    let values: Vec<f64> = result.all.rejections_db.iter().copied().map(cut).collect();
    let required = result.limits.on_rejection_db();
    let bars = Bars::of(&values, &range_of(values.iter().copied().chain(required), 2.0));
    let (x, y) = (bars.range(), 0.0..1.06 * bars.highest());
    let required_name = required_name(required);
    let label = format!("Worst {} of a die (dB)", heading.rejection().label());
    let name = format!(
        "Histogram and cumulative share: worst {} of {}",
        heading.rejection().label(),
        counted(values.len(), "die")
    );
    let shares = 0.0..104.0;
    let align = [y.clone(), shares.clone()];
    picture(&name, |canvas| {
        let body = lot_head(canvas, &name, heading, result, "")?;
        let halves = body.split_evenly((2, 1));
        let legend: Vec<Entry<'_>> = limit_entry(required_name.as_ref()).into_iter().collect();
        let axes = |title, y_label, y: &Range<f64>| Axes {
            title,
            x_label: &label,
            y_label,
            x: x.clone(),
            y: y.clone(),
            align: &align,
            ..Axes::default()
        };
        let title = format!("Histogram, {} dB a bar", bars.shown_width());
        let mut counts = axes(&title, "Dies", &y);
        if y.end < 5.0 {
            // So few dies are counted in whole numbers.
            counts.y_ticks = Ticks::At(&[0.0, 1.0, 2.0, 3.0, 4.0]);
        }
        let (_, mut upper) = chart(&halves[0], &counts, &legend, Sizes::LARGE)?;
        let boxes = bars.filled().map(|(low, count)| {
            Rectangle::new([(low, 0.0), (low + 0.94 * bars.width, count)], SKY_BLUE.filled())
        });
        upper.draw_series(boxes).map_err(PlotError::from_display)?;
        if let Some(required) = required {
            vertical(&mut upper, required, &y, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        let title = "Cumulative share: dies below a value";
        let (_, mut lower) =
            chart(&halves[1], &axes(title, "Share (%)", &shares), &[], Sizes::LARGE)?;
        line(&mut lower, stairs(&values, &x), BLUE, Dash::Solid, Sizes::LARGE)?;
        if let Some(required) = required {
            vertical(&mut lower, required, &shares, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        Ok(())
    })
}

/// Bars of equal width, side by side.
struct Bars {
    /// Where the first begins.
    start: f64,
    width: f64,
    /// How many values each holds.
    counts: Vec<u32>,
}

impl Bars {
    /// About twice as many as the root of the values' number, of a round width.
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "counts of dies"
    )]
    fn of(values: &[f64], x: &Range<f64>) -> Self {
        let wanted = (2.0 * (values.len() as f64).sqrt()).clamp(12.0, 80.0);
        // The next round width is up to 2.5 times the wanted one.
        let width = round_step(0.6 * (x.end - x.start) / wanted);
        let first = (x.start / width).floor();
        let count = (((x.end / width).ceil() - first) as usize).max(1);
        let mut counts = vec![0; count];
        for value in values {
            let at = ((value / width).floor() - first) as usize;
            if let Some(count) = counts.get_mut(at) {
                *count += 1;
            }
        }
        Self { start: first * width, width, counts }
    }

    /// Where each begins, and how many values it holds.
    fn all(&self) -> impl Iterator<Item = (f64, f64)> {
        let place = |at: u32| self.start + f64::from(at) * self.width;
        (0..).zip(&self.counts).map(move |(at, count)| (place(at), f64::from(*count)))
    }

    /// Those that hold any.
    fn filled(&self) -> impl Iterator<Item = (f64, f64)> {
        self.all().filter(|(_, count)| *count > 0.0)
    }

    /// From the first to the last.
    fn range(&self) -> Range<f64> {
        self.start..self.start + f64::from(count(self.counts.len())) * self.width
    }

    /// Their width with no more digits than it has.
    fn shown_width(&self) -> String {
        format!("{:.6}", self.width).trim_end_matches('0').trim_end_matches('.').to_owned()
    }

    /// The height of the tallest bar, at least 1.
    fn highest(&self) -> f64 {
        self.all().map(|(_, count)| count).fold(1.0, f64::max)
    }
}

/// The share of values below, in per cent, as a line of stairs.
#[expect(clippy::cast_precision_loss, reason = "counts of dies")]
fn stairs(values: &[f64], x: &Range<f64>) -> Vec<(f64, f64)> {
    let mut steps = vec![(x.start, 0.0)];
    let total = values.len().max(1) as f64;
    for (at, &value) in values.iter().enumerate() {
        steps.push((value, 100.0 * at as f64 / total));
        steps.push((value, 100.0 * (at + 1) as f64 / total));
    }
    steps.push((x.end, if values.is_empty() { 0.0 } else { 100.0 }));
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_falls_into_one_bar() {
        let values: Vec<f64> = (0..100).map(|at| 20.0 + f64::from(at) * 0.17).collect();
        let bars = Bars::of(&values, &range_of(values.iter().copied(), 2.0));
        assert_eq!(bars.counts.iter().sum::<u32>(), 100);
        assert!(bars.range().contains(&values[0]) && bars.range().contains(&values[99]));
    }

    #[test]
    fn stairs_end_at_all() {
        let steps = stairs(&[1.0, 2.0], &(0.0..3.0));
        assert_eq!(steps.last(), Some(&(3.0, 100.0)));
        assert_eq!(steps[2], (1.0, 50.0));
    }
}
