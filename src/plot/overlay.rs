//! Two networks over each other.

use super::axis::range_of;
use super::canvas::{Canvas, picture};
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::legend::Entry;
use super::series::line;
use super::style::{BLUE, Dash, Sizes, VERMILION};
use crate::network::{Comparison, EntryDifference, Network};
use crate::units::{ShownFrequency, db_from_amplitude};

/// Magnitudes below this are drawn at it: a hundred dB down is noise to any receiver.
const LOWEST_DB: f64 = -100.0;

/// The magnitudes of the four entries that differ most, of both networks.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn overlay(comparison: &Comparison) -> Result<Vec<u8>, PlotError> {
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
    picture(|canvas| match entries.as_slice() {
        [only] => panel(canvas, comparison, only, Sizes::LARGE),
        several => {
            let panels = canvas.split_evenly((2, 2));
            several
                .iter()
                .zip(&panels)
                .try_for_each(|(entry, area)| panel(area, comparison, entry, Sizes::SMALL))
        }
    })
}

fn panel(
    area: &Canvas<'_>,
    comparison: &Comparison,
    entry: &EntryDifference,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let points = |network: &Network| -> Vec<(f64, f64)> {
        let hz = network.grid().as_hz().iter().enumerate();
        let level =
            |point| db_from_amplitude(network.matrix(point).at(entry.row, entry.column).norm());
        hz.map(|(point, hz)| (hz / 1e9, level(point).max(LOWEST_DB))).collect()
    };
    let (first, second) = (points(&comparison.first), points(&comparison.second));
    let (low, high) = (comparison.band_hz.0 / 1e9, comparison.band_hz.1 / 1e9);
    let title = format!(
        "S{},{}: vectors differ by up to {} at {}",
        entry.row,
        entry.column,
        shown(entry.vector.worst),
        ShownFrequency(entry.vector.worst_at_hz)
    );
    let axes = Axes {
        title: &title,
        x_label: "Frequency (GHz)",
        y_label: "Magnitude (dB)",
        x: if low < high { low..high } else { low - 0.5..high + 0.5 },
        y: range_of(first.iter().chain(&second).map(|(_, level)| *level), 0.1),
    };
    let legend = [
        Entry { name: "first file", colour: BLUE, dash: Dash::Solid },
        Entry { name: "second file", colour: VERMILION, dash: Dash::Dashed },
    ];
    let (_, mut chart) = chart(area, &axes, &legend, sizes)?;
    line(&mut chart, first, BLUE, Dash::Solid, sizes)?;
    line(&mut chart, second, VERMILION, Dash::Dashed, sizes)
}

/// Three digits, without an exponent where it is easy to do without.
fn shown(value: f64) -> String {
    if (1e-3..10.0).contains(&value) { format!("{value:.3}") } else { format!("{value:.1e}") }
}
