//! What a chart shows: lines, areas, hatched cells.

use super::axis::Chart;
use super::canvas::{Canvas, Pixel, px, px_i};
use super::error::PlotError;
use super::style::{Dash, SHADE, Sizes};
use plotters::prelude::{
    Circle, Color, DashedLineSeries, EmptyElement, LineSeries, PathElement, Polygon, RGBColor,
    ShapeStyle,
};
use std::ops::Range;

/// Draws a line through the finite ones among the points, broken where one is not.
pub(super) fn line(
    chart: &mut Chart<'_, '_>,
    points: impl IntoIterator<Item = (f64, f64)>,
    colour: RGBColor,
    dash: Dash,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let stroke = ShapeStyle::from(&colour).stroke_width(px(sizes.line));
    let points: Vec<(f64, f64)> = points.into_iter().collect();
    let (width, height) = chart.plotting_area().dim_in_pixel();
    let per_pixel =
        |range: Range<f64>, pixels: u32| (range.end - range.start) / f64::from(pixels.max(1));
    let scale = (per_pixel(chart.x_range(), width), per_pixel(chart.y_range(), height));
    for run in points.split(|(_, y)| !y.is_finite()).filter(|run| !run.is_empty()) {
        if let [alone] = run {
            let dot =
                EmptyElement::at(*alone) + Circle::new((0, 0), px(sizes.line * 2), colour.filled());
            chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
            continue;
        }
        let run = essential(run, scale).into_iter();
        if matches!(dash, Dash::Dashed | Dash::Dotted) {
            let (on, off) = match dash {
                Dash::Dotted => (px(sizes.line * 4 / 3), px(sizes.line * 4 / 3)),
                _ => (px(sizes.line * 5), px(sizes.line * 3)),
            };
            chart
                .draw_series(DashedLineSeries::new(run, on, off, stroke))
                .map_err(PlotError::from_display)?;
        } else {
            chart.draw_series(LineSeries::new(run, stroke)).map_err(PlotError::from_display)?;
        }
    }
    Ok(())
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
    line(chart, [(x.start, at), (x.end, at)], colour, dash, sizes)
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
    line(chart, [(at, y.start), (at, y.end)], colour, dash, sizes)
}

/// The points of a line that matter to the eye: those left out lie less than a pixel of the
/// enlarged canvas off the line through the others. The canvas rounds every point to its pixels,
/// which would show as steps along a line that is nearly level.
///
/// U. Ramer (1972), D. H. Douglas and T. K. Peucker (1973).
fn essential(points: &[(f64, f64)], scale: (f64, f64)) -> Vec<(f64, f64)> {
    const TOLERANCE_PIXELS: f64 = 1.0;
    let mut keep = vec![false; points.len()];
    let last = points.len() - 1;
    (keep[0], keep[last]) = (true, true);
    let mut open = vec![(0, last)];
    while let Some((from, to)) = open.pop() {
        let ((x0, y0), (x1, y1)) = (points[from], points[to]);
        let (dx, dy) = ((x1 - x0) / scale.0, (y1 - y0) / scale.1);
        let length = dx.hypot(dy);
        let distance = |&(x, y): &(f64, f64)| {
            let (px, py) = ((x - x0) / scale.0, (y - y0) / scale.1);
            // A line that comes back to where it began has no direction.
            if length > 0.0 { (dx * py - dy * px).abs() / length } else { px.hypot(py) }
        };
        let farthest = (from + 1..to)
            .max_by(|&one, &other| distance(&points[one]).total_cmp(&distance(&points[other])));
        if let Some(at) = farthest.filter(|&at| distance(&points[at]) > TOLERANCE_PIXELS) {
            keep[at] = true;
            open.extend([(from, at), (at, to)]);
        }
    }
    points.iter().zip(keep).filter(|(_, keep)| *keep).map(|(point, _)| *point).collect()
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

/// Shades what lies between two lines over the same places.
pub(super) fn area(
    chart: &mut Chart<'_, '_>,
    lower: &[(f64, f64)],
    upper: &[(f64, f64)],
    colour: RGBColor,
) -> Result<(), PlotError> {
    let corners: Vec<(f64, f64)> = lower.iter().chain(upper.iter().rev()).copied().collect();
    chart
        .draw_series(std::iter::once(Polygon::new(corners, colour.mix(SHADE).filled())))
        .map_err(PlotError::from_display)?;
    Ok(())
}

/// Crosses a rectangle by strokes that go on in the rectangles beside it.
pub(super) fn hatch(
    canvas: &Canvas<'_>,
    (low, high): (Pixel, Pixel),
    colour: RGBColor,
) -> Result<(), PlotError> {
    let every = px_i(11);
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
