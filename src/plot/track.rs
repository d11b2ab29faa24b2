//! A line through a plane, with its ends and turning points labelled.

use super::axis::Chart;
use super::canvas::{Canvas, Pixel, px, px_i};
use super::error::PlotError;
use super::labels::{Labels, Place, along};
use super::series::{essential_places, line};
use super::style::{BLACK, Dash, Sizes};
use plotters::prelude::{Circle, Color, EmptyElement, RGBColor};

/// No track has more turning points labelled.
const MOST_TURNS: usize = 3;

/// A line through a plane; points beyond it are not finite.
pub(super) struct Track<'t> {
    pub(super) points: &'t [(f64, f64)],
    pub(super) colour: RGBColor,
    pub(super) dash: Dash,
    /// The label of each point; none for a track that is drawn without labels.
    pub(super) names: Option<Box<dyn Fn(usize) -> String + 't>>,
}

/// Draws tracks, marks where they begin, turn and end, and labels these points.
pub(super) fn draw_tracks(
    canvas: &Canvas<'_>,
    chart: &mut Chart<'_, '_>,
    tracks: &[Track<'_>],
    sizes: Sizes,
) -> Result<(), PlotError> {
    let (left, top) = canvas.get_base_pixel();
    let on_panel = |at: Pixel| -> Place { (f64::from(at.0 - left), f64::from(at.1 - top)) };
    let mut obstacles = Vec::new();
    let mut marks: Vec<(Place, String, Place)> = Vec::new();
    for track in tracks {
        line(chart, unwrapped(track.points), track.colour, track.dash, sizes)?;
        let seen: Vec<usize> =
            (0..track.points.len()).filter(|&at| track.points[at].1.is_finite()).collect();
        let places: Vec<Pixel> =
            seen.iter().map(|&at| chart.backend_coord(&track.points[at])).collect();
        obstacles
            .extend(places.windows(2).flat_map(|pair| along(on_panel(pair[0]), on_panel(pair[1]))));
        let middle = middle_of(&places);
        let found = landmarks(&places);
        let is_spot = found.len() == 1 && seen.len() > 1;
        for at in found {
            let dot = EmptyElement::at(track.points[seen[at]])
                + Circle::new((0, 0), px(sizes.line * 2), track.colour.filled());
            chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
            if let Some(names) = &track.names {
                let text = match seen.last() {
                    Some(&last) if is_spot => format!("{} to {}", names(seen[at]), names(last)),
                    _ => names(seen[at]),
                };
                marks.push((on_panel(places[at]), text, on_panel(middle)));
            }
        }
    }
    let (columns, rows) = chart.plotting_area().get_pixel_range();
    let frame = (on_panel((columns.start, rows.start)), on_panel((columns.end, rows.end)));
    let mut labels = Labels::on(frame, obstacles);
    let size = sizes.label * 4 / 5;
    for (at, text, middle) in marks {
        let outward = (middle.1 - at.1).atan2(at.0 - middle.0);
        labels.put(canvas, (at, outward), &[text], (size, BLACK))?;
    }
    Ok(())
}

/// A track, broken where its phase comes round at half a turn.
fn unwrapped(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut shown: Vec<(f64, f64)> = Vec::with_capacity(points.len());
    for &at in points {
        if shown.last().is_some_and(|last| (last.1 - at.1).abs() > 180.0) {
            shown.push((at.0, f64::NAN));
        }
        shown.push(at);
    }
    shown
}

/// The ends of a track and where it turns most; its first point alone where it is no longer than a
/// spot.
fn landmarks(places: &[Pixel]) -> Vec<usize> {
    let (Some(first), Some(last)) = (places.first(), places.len().checked_sub(1)) else {
        return Vec::new();
    };
    let reach = |at: &Pixel| f64::from(at.0 - first.0).hypot(f64::from(at.1 - first.1));
    let extent = places.iter().map(reach).fold(0.0, f64::max);
    if extent < f64::from(px_i(12)) {
        return vec![0];
    }
    let points: Vec<(f64, f64)> =
        places.iter().map(|at| (f64::from(at.0), f64::from(at.1))).collect();
    let mut tolerance = 0.08 * extent;
    loop {
        let found = essential_places(&points, (1.0, 1.0), tolerance);
        if found.len() <= MOST_TURNS + 2 {
            return found
                .into_iter()
                .filter(|&at| at != last || reach(&places[at]) > 0.0)
                .collect();
        }
        tolerance *= 1.3;
    }
}

fn middle_of(places: &[Pixel]) -> Pixel {
    let ends = |of: fn(&Pixel) -> i32| {
        let (low, high) = (places.iter().map(of).min(), places.iter().map(of).max());
        i32::midpoint(low.unwrap_or(0), high.unwrap_or(0))
    };
    (ends(|at| at.0), ends(|at| at.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_and_turning_points_are_found() {
        let up_and_down: Vec<Pixel> =
            (0..=20).map(|at| (at * 500, 500 * (10 - (at - 10_i32).abs()))).collect();
        assert_eq!(landmarks(&up_and_down), [0, 10, 20]);
        let there_and_back: Vec<Pixel> =
            (0..=20).map(|at| (500 * (12 - (at - 12_i32).abs()), at)).collect();
        assert_eq!(landmarks(&there_and_back), [0, 12, 20]);
        assert_eq!(landmarks(&[(5, 5), (8, 8)]), [0]);
        assert!(landmarks(&[]).is_empty());
        let noise: Vec<Pixel> =
            (0..200).map(|at| (at * 31 % 977 * 10, at * 57 % 613 * 10)).collect();
        assert!(landmarks(&noise).len() <= MOST_TURNS + 2);
    }
}
