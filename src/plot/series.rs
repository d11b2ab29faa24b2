//! What a chart shows: lines, areas, hatched cells.

use super::axis::Chart;
use super::canvas::{Canvas, Pixel, px, px_i};
use super::chart_data::SeriesData;
use super::chart_notes::{begin_series, end_series};
use super::clipping::{clipped_area, clipped_line};
use super::error::PlotError;
use super::style::{Dash, SHADE, Sizes};
use plotters::prelude::{
    Circle, Color, DashedLineSeries, EmptyElement, LineSeries, PathElement, Polygon, RGBColor,
    ShapeStyle,
};
use std::ops::Range;

/// How a line is drawn.
#[derive(Clone, Copy)]
struct Stroke {
    colour: RGBColor,
    dash: Dash,
    sizes: Sizes,
    is_across: bool,
}

impl Stroke {
    /// The lengths of a dash and of the gap after it.
    fn dashes(self) -> Option<(u32, u32)> {
        let line = self.sizes.line;
        match self.dash {
            Dash::Dashed => Some((px(line * 5), px(line * 3))),
            Dash::Dotted => Some((px(line * 4 / 3), px(line * 4 / 3))),
            _ => None,
        }
    }
}

/// Draws a line through the finite ones among the points, broken where one is not.
pub(super) fn line(
    chart: &mut Chart<'_, '_>,
    points: impl IntoIterator<Item = (f64, f64)>,
    colour: RGBColor,
    dash: Dash,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let points: Vec<(f64, f64)> = points.into_iter().collect();
    stroked(chart, &points, Stroke { colour, dash, sizes, is_across: false })
}

fn stroked(
    chart: &mut Chart<'_, '_>,
    points: &[(f64, f64)],
    look: Stroke,
) -> Result<(), PlotError> {
    let Stroke { colour, sizes, .. } = look;
    let area = chart.plotting_area().strip_coord_spec();
    let is_named = begin_series(&area, (colour, look.dash as u8), |name| SeriesData {
        name: name.to_owned(),
        points: points.to_vec(),
        is_across: look.is_across,
        colour: format!("#{:02X}{:02X}{:02X}", colour.0, colour.1, colour.2),
        width: px(sizes.line),
        dashes: look.dashes(),
    })?;
    let stroke = ShapeStyle::from(&colour).stroke_width(px(sizes.line));
    let (width, height) = chart.plotting_area().dim_in_pixel();
    let per_pixel =
        |range: Range<f64>, pixels: u32| (range.end - range.start) / f64::from(pixels.max(1));
    let scale = (per_pixel(chart.x_range(), width), per_pixel(chart.y_range(), height));
    let frame = (&chart.x_range(), &chart.y_range());
    let runs = points.split(|(_, y)| !y.is_finite()).filter(|run| !run.is_empty());
    for run in runs.flat_map(|run| clipped_line(run, frame)) {
        if let [alone] = run.as_slice() {
            let dot =
                EmptyElement::at(*alone) + Circle::new((0, 0), px(sizes.line * 2), colour.filled());
            chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
            continue;
        }
        let run = essential(&run, scale).into_iter();
        if let Some((on, off)) = look.dashes() {
            chart
                .draw_series(DashedLineSeries::new(run, on, off, stroke))
                .map_err(PlotError::from_display)?;
        } else {
            chart.draw_series(LineSeries::new(run, stroke)).map_err(PlotError::from_display)?;
        }
    }
    end_series(&area, is_named)
}

/// Draws a horizontal line over the whole width of a chart.
pub(super) fn horizontal(
    chart: &mut Chart<'_, '_>,
    x: &Range<f64>,
    at: f64,
    colour: RGBColor,
    dash: Dash,
    sizes: Sizes,
) -> Result<(), PlotError> {
    stroked(chart, &[(x.start, at), (x.end, at)], Stroke { colour, dash, sizes, is_across: true })
}

/// Draws a vertical line over the whole height of a chart.
pub(super) fn vertical(
    chart: &mut Chart<'_, '_>,
    at: f64,
    y: &Range<f64>,
    colour: RGBColor,
    dash: Dash,
    sizes: Sizes,
) -> Result<(), PlotError> {
    stroked(chart, &[(at, y.start), (at, y.end)], Stroke { colour, dash, sizes, is_across: true })
}

/// The points of a line that matter to the eye: those left out are less than a fifth of a pixel
/// off the line through the others.
fn essential(points: &[(f64, f64)], scale: (f64, f64)) -> Vec<(f64, f64)> {
    const TOLERANCE_UNITS: f64 = 2.0;
    essential_places(points, scale, TOLERANCE_UNITS).into_iter().map(|at| points[at]).collect()
}

/// The places in a list of those points that leave no other farther than a tolerance off the
/// stretches between them; `scale` is the size of a unit in either direction.
///
/// U. Ramer (1972), D. H. Douglas and T. K. Peucker (1973).
pub(super) fn essential_places(
    points: &[(f64, f64)],
    scale: (f64, f64),
    tolerance: f64,
) -> Vec<usize> {
    let Some(last) = points.len().checked_sub(1) else { return Vec::new() };
    let mut keep = vec![false; points.len()];
    (keep[0], keep[last]) = (true, true);
    let mut open = vec![(0, last)];
    while let Some((from, to)) = open.pop() {
        let ((x0, y0), (x1, y1)) = (points[from], points[to]);
        let (dx, dy) = ((x1 - x0) / scale.0, (y1 - y0) / scale.1);
        let length = dx.hypot(dy);
        // From the stretch, not from the line through it, so that a line which turns back keeps the
        // point where it does.
        let distance = |&(x, y): &(f64, f64)| {
            let (px, py) = ((x - x0) / scale.0, (y - y0) / scale.1);
            let along = if length > 0.0 { (dx * px + dy * py) / length } else { 0.0 };
            let nearest = along.clamp(0.0, length);
            let share = if length > 0.0 { nearest / length } else { 0.0 };
            (px - share * dx).hypot(py - share * dy)
        };
        let farthest = (from + 1..to)
            .max_by(|&one, &other| distance(&points[one]).total_cmp(&distance(&points[other])));
        if let Some(at) = farthest.filter(|&at| distance(&points[at]) > tolerance) {
            keep[at] = true;
            open.extend([(from, at), (at, to)]);
        }
    }
    (0..points.len()).filter(|&at| keep[at]).collect()
}

/// Shades a stretch of the x axis over the whole height.
pub(super) fn shade(
    chart: &mut Chart<'_, '_>,
    x: (f64, f64),
    y: &Range<f64>,
    colour: RGBColor,
) -> Result<(), PlotError> {
    area(chart, &[(x.0, y.start), (x.1, y.start)], &[(x.0, y.end), (x.1, y.end)], colour)
}

/// Shades the area between two lines over the same places.
pub(super) fn area(
    chart: &mut Chart<'_, '_>,
    lower: &[(f64, f64)],
    upper: &[(f64, f64)],
    colour: RGBColor,
) -> Result<(), PlotError> {
    let corners: Vec<(f64, f64)> = lower.iter().chain(upper.iter().rev()).copied().collect();
    let corners = clipped_area(&corners, (&chart.x_range(), &chart.y_range()));
    if corners.len() < 3 {
        return Ok(());
    }
    chart
        .draw_series(std::iter::once(Polygon::new(corners, colour.mix(SHADE).filled())))
        .map_err(PlotError::from_display)?;
    Ok(())
}

/// How far apart the strokes of a hatched cell are, and those of a wide band.
pub(super) const CLOSE: u32 = 11;
pub(super) const WIDE: u32 = 26;

/// Crosses a rectangle by strokes that go on in the rectangles beside it.
pub(super) fn hatch(
    canvas: &Canvas<'_>,
    (low, high): (Pixel, Pixel),
    colour: RGBColor,
    spacing: u32,
) -> Result<(), PlotError> {
    let every = px_i(spacing);
    let first = (low.0 + low.1).div_euclid(every) + 1;
    for sum in (first..).map(|at| at * every).take_while(|sum| *sum < high.0 + high.1) {
        let (from, to) = (low.0.max(sum - high.1), high.0.min(sum - low.1));
        let stroke = ShapeStyle::from(&colour).stroke_width(px(1));
        canvas
            .draw(&PathElement::new(vec![(from, sum - from), (to, sum - to)], stroke))
            .map_err(PlotError::from_display)?;
    }
    Ok(())
}

/// The outline of a rectangle; the back end draws that of its own rectangles one unit wide.
pub(super) fn outline(
    canvas: &Canvas<'_>,
    (low, high): (Pixel, Pixel),
    colour: RGBColor,
    width: u32,
) -> Result<(), PlotError> {
    let corners = vec![low, (high.0, low.1), high, (low.0, high.1), low];
    let style = ShapeStyle::from(&colour).stroke_width(px(width));
    canvas.draw(&PathElement::new(corners, style)).map_err(PlotError::from_display)
}
