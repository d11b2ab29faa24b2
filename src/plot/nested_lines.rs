//! Several lines that may lie on one another.

use super::axis::Chart;
use super::canvas::{Pixel, px_i};
use super::error::PlotError;
use super::series::line;
use super::style::{BLACK, BLUE, Dash, GREEN, ORANGE, PURPLE, SKY_BLUE, Sizes};
use plotters::prelude::RGBColor;

/// The look of one among several lines: colour and dash differ.
pub(super) fn look(at: usize) -> (RGBColor, Dash) {
    // Vermilion is for limits.
    const COLOURS: [RGBColor; 6] = [BLUE, ORANGE, GREEN, PURPLE, SKY_BLUE, BLACK];
    const DASHES: [Dash; 3] = [Dash::Solid, Dash::Dashed, Dash::Dotted];
    (COLOURS[at % COLOURS.len()], DASHES[(at + at / COLOURS.len()) % DASHES.len()])
}

/// Lines with the look of their place. One that others lie on is drawn the wider, so that it shows
/// beneath them.
pub(super) fn nested(
    chart: &mut Chart<'_, '_>,
    lines: &[Vec<(f64, f64)>],
) -> Result<(), PlotError> {
    let widths = nested_widths(chart, lines);
    for (at, (points, width)) in lines.iter().zip(widths).enumerate() {
        let (colour, dash) = look(at);
        let sizes = Sizes { line: width, ..Sizes::LARGE };
        line(chart, points.iter().copied(), colour, dash, sizes)?;
    }
    Ok(())
}

/// How wide each of several lines is to be, by how many later ones lie on it.
pub(super) fn nested_widths(chart: &Chart<'_, '_>, lines: &[Vec<(f64, f64)>]) -> Vec<u32> {
    let places: Vec<Vec<Pixel>> = lines
        .iter()
        .map(|line| {
            let finite = line.iter().filter(|(_, y)| y.is_finite());
            finite.map(|at| chart.backend_coord(at)).collect()
        })
        .collect();
    let is_on = |one: &[Pixel], other: &[Pixel]| {
        let close = |(one, other): (&Pixel, &Pixel)| {
            (one.0 - other.0).abs().max((one.1 - other.1).abs()) < px_i(6)
        };
        one.len() == other.len() && one.iter().zip(other).all(close)
    };
    let width = |at: usize| {
        let above = places[at + 1..].iter().filter(|other| is_on(&places[at], other)).take(3);
        above.fold(Sizes::LARGE.line, |width, _| width + 3)
    };
    (0..lines.len()).map(width).collect()
}
