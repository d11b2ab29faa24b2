//! The channel error over LO in the plane of imbalance and phase error.

use super::axis::Chart;
use super::canvas::{Canvas, Pixel, picture, px, px_i};
use super::contour_plane::{contour_axes, corner_away_from, is_inside};
use super::error::PlotError;
use super::if_lines::IfLines;
use super::legend::{Entry, limit_entry};
use super::lettering::{note, place_beside};
use super::nested_lines::nested_widths;
use super::rejection_axis::required_name;
use super::series::line;
use super::style::{BLACK, BLUE, Dash, GREEN, ORANGE, PURPLE, SKY_BLUE, Sizes};
use crate::downconverter::{DownconverterResult, Imbalance, Receiver};
use crate::requirement::Quantity;
use crate::splitter::{ContourFamily, channel_error, contour_family};
use crate::units::{ShownFrequency, shown_signed};
use plotters::prelude::{Circle, Color, EmptyElement, RGBColor};
use std::ops::Range;

/// Imbalance (dB) and phase error (deg) over LO.
type ErrorTrace = Vec<(f64, f64)>;

/// The way of the image's channel error through the plane of imbalance and phase error, as it is and
/// with the best single trim, with curves of constant rejection.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_contours(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<Vec<u8>, PlotError> {
    let trim = &result.correction.single;
    let ifs = IfLines::of(receiver, 3);
    let ways: Vec<[ErrorTrace; 2]> = ifs
        .shown
        .iter()
        .map(|&at| {
            let place = |error: Imbalance| (error.amplitude_db, error.phase_deg);
            let errors = || ifs.line(result, at).map(|point| point.balance.image());
            let corrected = ifs.of_line(&result.correction.single_image, at);
            [errors().map(place).collect(), corrected.map(|error| place(*error)).collect()]
        })
        .collect();
    let errors: Vec<_> =
        ways.iter().flatten().flatten().map(|&(db, deg)| channel_error(db, deg)).collect();
    let family = contour_family(&errors, receiver.limits().on(Quantity::ImageRejection));
    let title = format!(
        "Channel error, image sideband; curves: rejection by balance (dB); correction {} dB, {} deg",
        shown_signed(trim.amplitude_db, 2),
        shown_signed(trim.phase_deg, 2)
    );
    // Three IFs before and after: six colours.
    let colours = [[BLUE, ORANGE], [GREEN, PURPLE], [BLACK, SKY_BLUE]];
    let names: Vec<[String; 2]> = ifs
        .names
        .iter()
        .map(|name| [format!("{name}, uncorrected"), format!("{name}, corrected")])
        .collect();
    let mut legend: Vec<Entry<'_>> = names
        .iter()
        .zip(colours)
        .flat_map(|([before, after], [dark, light])| {
            [
                Entry { name: before, colour: dark, dash: Dash::Solid },
                Entry { name: after, colour: light, dash: Dash::Dashed },
            ]
        })
        .collect();
    let required_name = required_name(receiver.limits().on(Quantity::ImageRejection));
    legend.extend(limit_entry(required_name.as_ref()));
    let away = corner_away_from(ways.iter().flatten().flatten().copied());
    picture(|canvas| {
        let (canvas, mut chart) =
            contour_axes(canvas, &family, &title, away, &legend, Sizes::LARGE)?;
        // What was before lies beneath.
        let kinds = [(0, Dash::Solid), (1, Dash::Dashed)];
        let tracks: Vec<Track> = kinds
            .into_iter()
            .flat_map(|(kind, dash)| {
                let ways = ways.iter().zip(colours);
                ways.map(move |(both, colours)| (&both[kind], colours[kind], dash))
            })
            .map(|(way, colour, dash)| Track { way: broken(way, &family), colour, dash })
            .collect();
        draw_tracks(&mut chart, &tracks)?;
        let drawn: Vec<Pixel> = tracks
            .iter()
            .flat_map(|track| &track.way)
            .filter(|at| at.1.is_finite())
            .map(|at| chart.backend_coord(at))
            .collect();
        let ends: Vec<(String, Pixel)> = ways
            .iter()
            .zip(&ifs.shown)
            .filter(|([before, _], _)| before.iter().all(|at| is_inside(&family, *at)))
            .flat_map(|([before, _], &at)| {
                let lo_hz: Vec<f64> = ifs.line(result, at).map(|point| point.lo_hz).collect();
                ends_of(&chart, before, &lo_hz)
            })
            .collect();
        let frame = chart.plotting_area().get_pixel_range();
        note_ends(&canvas, &ends, (&drawn, &frame))
    })
}

/// A way as it is drawn.
struct Track {
    way: ErrorTrace,
    colour: RGBColor,
    dash: Dash,
}

/// Draws lines with a dot at either end.
fn draw_tracks(chart: &mut Chart<'_, '_>, tracks: &[Track]) -> Result<(), PlotError> {
    let ways: Vec<ErrorTrace> = tracks.iter().map(|track| track.way.clone()).collect();
    let widths = nested_widths(chart, &ways);
    for (Track { way, colour, dash }, width) in tracks.iter().zip(widths) {
        let is_seen = |at: &&(f64, f64)| at.1.is_finite();
        let ends = [way.first(), way.last()].into_iter().flatten().filter(is_seen);
        let dots = ends.map(|end| {
            EmptyElement::at(*end) + Circle::new((0, 0), px(width + 2), colour.filled())
        });
        chart.draw_series(dots).map_err(PlotError::from_display)?;
        if way.len() > 1 {
            let sizes = Sizes { line: width, ..Sizes::LARGE };
            line(chart, way.iter().copied(), *colour, *dash, sizes)?;
        }
    }
    Ok(())
}

/// The ends of a way with their LO; the range of LO for a way that is no longer than a spot.
fn ends_of(chart: &Chart<'_, '_>, way: &[(f64, f64)], lo_hz: &[f64]) -> Vec<(String, Pixel)> {
    let ([first, .., last], [low, .., high]) = (way, lo_hz) else {
        let only = way.first().zip(lo_hz.first());
        let only = only.map(|(at, hz)| (ShownFrequency(*hz).to_string(), chart.backend_coord(at)));
        return only.into_iter().collect();
    };
    let (from, to) = (chart.backend_coord(first), chart.backend_coord(last));
    let (low, high) = (ShownFrequency(*low).to_string(), ShownFrequency(*high).to_string());
    if (from.0 - to.0).abs().max((from.1 - to.1).abs()) < px_i(Sizes::LARGE.label) {
        vec![(format!("{low} to {high}"), from)]
    } else {
        vec![(low, from), (high, to)]
    }
}

/// The LO at the ends of ways.
fn note_ends(
    canvas: &Canvas<'_>,
    ends: &[(String, Pixel)],
    (drawn, frame): (&[Pixel], &(Range<i32>, Range<i32>)),
) -> Result<(), PlotError> {
    let mut noted: Vec<Pixel> = Vec::new();
    for (text, end) in ends {
        // Ends of other ways at the same LO lie close by and may share the label.
        let others: Vec<Pixel> =
            ends.iter().filter(|(other, _)| other != text).map(|(_, place)| *place).collect();
        let beside = place_beside(*end, (drawn, &others), frame, text, Sizes::LARGE);
        let apart = |other: &Pixel, place: Pixel| {
            (other.0 - place.0).abs() > px_i(Sizes::LARGE.label * 5)
                || (other.1 - place.1).abs() > px_i(Sizes::LARGE.label * 5 / 4)
        };
        if let Some(place) = beside.filter(|&place| noted.iter().all(|other| apart(other, place))) {
            note(canvas, place, text, BLACK, Sizes::LARGE)?;
            noted.push(place);
        }
    }
    Ok(())
}

/// A way, broken beyond the plane, and where its phase comes round at half a turn.
fn broken(way: &[(f64, f64)], family: &ContourFamily) -> Vec<(f64, f64)> {
    let mut shown: Vec<(f64, f64)> = Vec::new();
    for &at in way {
        if shown.last().is_some_and(|last| (last.1 - at.1).abs() > 180.0) {
            shown.push((at.0, f64::NAN));
        }
        shown.push(if is_inside(family, at) { at } else { (at.0, f64::NAN) });
    }
    shown
}
