//! Two networks over each other.

use super::axis::range_of;
use super::canvas::{Canvas, picture};
use super::caption::captioned;
use super::chart::{Axes, chart};
use super::distinct_lines::DistinctLines;
use super::error::PlotError;
use super::frequency_axis::FREQUENCY_LABEL;
use super::legend::{Entry, limit_entry};
use super::picture::Picture;
use super::series::{horizontal, line};
use super::style::{BLUE, Dash, Sizes, VERMILION};
use crate::network::{Comparison, EntryDifference, Network};
use crate::units::{ShownFrequency, db_from_amplitude};
use num_complex::Complex64;
use std::ops::Range;

/// Magnitudes below this are drawn at it: a hundred dB down is noise to any receiver.
const LOWEST_DB: f64 = -100.0;

/// No picture shows more entries.
const MOST_ENTRIES: usize = 3;

/// Magnitude, phase and vector difference of the entries that differ most, at most three, with the
/// maximum allowed difference where there is one. `names` are those of the files.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn overlay(
    names: [&str; 2],
    comparison: &Comparison,
    allowed: Option<f64>,
) -> Result<Picture, PlotError> {
    // Of a reciprocal pair one entry says it all.
    let ports = comparison.first.ports();
    let says_the_same = |entry: &EntryDifference| {
        let (row, column) = (entry.row.index(), entry.column.index());
        let transposed = &comparison.entries()[column * ports + row];
        row < column && (transposed.vector.worst - entry.vector.worst).abs() < 1e-6
    };
    let mut entries: Vec<&EntryDifference> =
        comparison.entries().iter().filter(|entry| !says_the_same(entry)).collect();
    entries.sort_by(|one, other| other.vector.worst.total_cmp(&one.vector.worst));
    entries.truncate(MOST_ENTRIES);
    let name = "Two networks: the entries that differ most";
    let files = format!("first: {}; second: {}", names[0], names[1]);
    picture(name, |canvas| {
        let body = captioned(canvas, name, &[files])?;
        let columns = entries.len().max(1);
        let sizes = if columns > 1 { Sizes::SMALL } else { Sizes::LARGE };
        let panels = body.split_evenly((3, columns));
        for (at, entry) in entries.iter().enumerate() {
            let traces = Traces::of(comparison, entry, allowed);
            let column = [&panels[at], &panels[columns + at], &panels[2 * columns + at]];
            traces.draw(&column, sizes)?;
        }
        Ok(())
    })
}

type Trace = Vec<(f64, f64)>;

/// One entry of both networks over frequency, GHz.
struct Traces {
    title: String,
    x: Range<f64>,
    magnitudes_db: [Trace; 2],
    phases_deg: [Trace; 2],
    difference: Trace,
    allowed: Option<f64>,
}

impl Traces {
    fn of(comparison: &Comparison, entry: &EntryDifference, allowed: Option<f64>) -> Self {
        let hz = comparison.first.grid().as_hz();
        let values = |network: &Network| -> Vec<Complex64> {
            (0..hz.len()).map(|point| network.matrix(point).at(entry.row, entry.column)).collect()
        };
        let (first, second) = (values(&comparison.first), values(&comparison.second));
        let over = |values: &mut dyn Iterator<Item = f64>| -> Trace {
            hz.iter().map(|hz| hz / 1e9).zip(values).collect()
        };
        let magnitude = |values: &[Complex64]| {
            over(&mut values.iter().map(|s| db_from_amplitude(s.norm()).max(LOWEST_DB)))
        };
        let phase = |values: &[Complex64]| {
            // Zero has no phase.
            let degrees = |s: &Complex64| match s.norm() > 0.0 {
                true => s.arg().to_degrees(),
                false => f64::NAN,
            };
            over(&mut values.iter().map(degrees))
        };
        let between = first.iter().zip(&second).map(|(one, other)| (other - one).norm());
        let (low, high) = (comparison.band_hz.0 / 1e9, comparison.band_hz.1 / 1e9);
        Self {
            title: if entry.vector.worst == 0.0 {
                format!("S{},{}: equal", entry.row, entry.column)
            } else {
                format!(
                    "S{},{}: differ by up to {} at {}",
                    entry.row,
                    entry.column,
                    shown(entry.vector.worst),
                    ShownFrequency(entry.vector.worst_at_hz)
                )
            },
            x: if low < high { low..high } else { low - 0.5..high + 0.5 },
            magnitudes_db: [magnitude(&first), magnitude(&second)],
            phases_deg: [phase(&first), phase(&second)],
            difference: over(&mut { between }),
            allowed,
        }
    }

    fn draw(&self, column: &[&Canvas<'_>; 3], sizes: Sizes) -> Result<(), PlotError> {
        let values = |traces: &[Trace]| -> Vec<f64> {
            traces.iter().flatten().map(|at| at.1).filter(|value| value.is_finite()).collect()
        };
        let magnitudes = range_of(values(&self.magnitudes_db), 0.1);
        let phases = range_of(values(&self.phases_deg), 1.0);
        let difference = values(std::slice::from_ref(&self.difference)).into_iter();
        let differences = match range_of(difference.chain(self.allowed).chain([0.0]), 1e-9) {
            // A magnitude has no negative values: equal networks have zero at the foot.
            even if even.end < 1e-9 => 0.0..1e-3,
            range => range,
        };
        let align = [magnitudes.clone(), phases.clone(), differences.clone()];
        let axes = |title, y_label, y: &Range<f64>| Axes {
            title,
            x_label: FREQUENCY_LABEL,
            y_label,
            x: self.x.clone(),
            y: y.clone(),
            align: &align,
            ..Axes::default()
        };
        let both = axes(&self.title, "Magnitude (dB)", &magnitudes);
        pair(column[0], &both, &self.magnitudes_db, sizes)?;
        let unbroken = self.phases_deg.each_ref().map(|trace| unwrapped(trace));
        pair(column[1], &axes("", "Phase (deg)", &phases), &unbroken, sizes)?;
        let limit = self.allowed.map(|limit| format!("allowed {limit}"));
        let mut legend = vec![Entry { name: "|second - first|", colour: BLUE, dash: Dash::Solid }];
        legend.extend(limit_entry(limit.as_ref()));
        let axes = axes("", "Vector difference", &differences);
        let (_, mut chart) = chart(column[2], &axes, &legend, sizes)?;
        if let Some(limit) = self.allowed {
            horizontal(&mut chart, &self.x, limit, VERMILION, Dash::Dashed, sizes)?;
        }
        line(&mut chart, self.difference.iter().copied(), BLUE, Dash::Solid, sizes)
    }
}

/// The same quantity of both networks.
fn pair(
    panel: &Canvas<'_>,
    axes: &Axes<'_>,
    traces: &[Trace; 2],
    sizes: Sizes,
) -> Result<(), PlotError> {
    let names = ["first".to_owned(), "second".to_owned()];
    let lines = DistinctLines::of(&names, traces, &axes.y);
    let (_, mut chart) = chart(panel, axes, &lines.legend(), sizes)?;
    lines.draw(&mut chart, sizes)
}

/// A phase, broken where it comes round at half a turn.
fn unwrapped(trace: &[(f64, f64)]) -> Trace {
    let mut shown: Trace = Vec::with_capacity(trace.len());
    for &at in trace {
        if shown.last().is_some_and(|last| (last.1 - at.1).abs() > 180.0) {
            shown.push((at.0, f64::NAN));
        }
        shown.push(at);
    }
    shown
}

/// Three digits, without an exponent where it is easy to do without.
fn shown(value: f64) -> String {
    match value {
        value if (1e-3..10.0).contains(&value) => format!("{value:.3}"),
        value if value.abs() < f64::MIN_POSITIVE => "0".to_owned(),
        value => format!("{value:.1e}"),
    }
}
