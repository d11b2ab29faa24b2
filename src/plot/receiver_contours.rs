//! The channel error over LO in the plane of imbalance and phase error.

use super::canvas::picture;
use super::caption::Caption;
use super::contour_plane::{contour_axes, corner_away_from, is_inside};
use super::distinct_lines::DistinctLines;
use super::error::PlotError;
use super::if_lines::IfLines;
use super::legend::{Entry, limit_entry};
use super::picture::Picture;
use super::rejection_axis::required_name;
use super::style::{BLACK, BLUE, Dash, GREEN, ORANGE, PURPLE, SKY_BLUE, Sizes};
use super::track::{Track, draw_tracks};
use crate::downconverter::{DownconverterResult, Imbalance, Receiver};
use crate::requirement::Quantity;
use crate::splitter::{ContourFamily, channel_error, contour_family};
use crate::units::{ShownFrequency, shown_signed};

/// Imbalance (dB) and phase error (deg) over LO.
type ErrorTrace = Vec<(f64, f64)>;

/// The track of the image's channel error through the plane of imbalance and phase error, as it is
/// and with the best single I/Q correction, with curves of constant rejection.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_contours(
    caption: &Caption<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<Picture, PlotError> {
    let correction = &result.correction.single;
    let ifs = IfLines::of(receiver, 3);
    let place = |error: Imbalance| (error.amplitude_db, error.phase_deg);
    let of_shown = |trace: &dyn Fn(usize) -> ErrorTrace| -> Vec<ErrorTrace> {
        ifs.shown.iter().map(|&at| trace(at)).collect()
    };
    let before =
        of_shown(&|at| ifs.line(result, at).map(|point| place(point.balance.image())).collect());
    let after = of_shown(&|at| {
        let corrected = ifs.of_line(&result.correction.single_image, at);
        corrected.map(|error| place(*error)).collect()
    });
    let all = || before.iter().chain(&after).flatten().copied();
    let errors: Vec<_> = all().map(|(db, deg)| channel_error(db, deg)).collect();
    let required = receiver.limits().on(Quantity::ImageRejection);
    let family = contour_family(&errors, required);
    let name = "Channel error of the image sideband, and curves of constant rejection (dB)";
    let subject = format!(
        "{}; correction {} dB, {} deg",
        caption.subject,
        shown_signed(correction.amplitude_db, 2),
        shown_signed(correction.phase_deg, 2)
    );
    let kinds = [
        (distinct(&ifs, "uncorrected", &before, &family), Dash::Solid, [BLUE, GREEN, BLACK]),
        (distinct(&ifs, "corrected", &after, &family), Dash::Dashed, [ORANGE, PURPLE, SKY_BLUE]),
    ];
    let mut legend: Vec<Entry<'_>> = kinds
        .iter()
        .flat_map(|(lines, dash, colours)| {
            let names = lines.names.iter().zip(colours);
            names.map(|(name, &colour)| Entry { name, colour, dash: *dash })
        })
        .collect();
    let required_name = required_name(required);
    legend.extend(limit_entry(required_name.as_ref()));
    // The IFs have LOs of their own where the plan has gaps.
    let lo_name = |line: usize, at: usize| {
        let point = ifs.line(result, ifs.shown[line]).nth(at);
        point.map_or_else(String::new, |point| ShownFrequency(point.lo_hz).to_string())
    };
    picture(name, |canvas| {
        let body = Caption { subject: &subject, ..*caption }.head(canvas, name)?;
        let away = corner_away_from(all());
        let (panel, mut chart) = contour_axes(&body, &family, "", away, &legend, Sizes::LARGE)?;
        let tracks: Vec<Track<'_>> = kinds
            .iter()
            .flat_map(|(lines, dash, colours)| {
                let lines = lines.lines.iter().zip(&lines.first).zip(colours);
                lines.map(|((points, &first), &colour)| Track {
                    points,
                    colour,
                    dash: *dash,
                    names: Some(Box::new(move |at| lo_name(first, at))),
                })
            })
            .collect();
        draw_tracks(&panel, &mut chart, &tracks, Sizes::LARGE)
    })
}

/// The traces of the IFs as they are drawn, those that coincide as one.
fn distinct(
    ifs: &IfLines,
    what: &str,
    traces: &[ErrorTrace],
    family: &ContourFamily,
) -> DistinctLines {
    let shown: Vec<ErrorTrace> = traces.iter().map(|trace| broken(trace, family)).collect();
    let (db, deg) = (family.reach_db, family.reach_deg);
    let mut lines = DistinctLines::on_plane(&ifs.names, &shown, (&(-db..db), &(-deg..deg)));
    for name in &mut lines.names {
        *name = format!("{what}, {name}");
    }
    lines
}

/// The part of a trace within the plane.
fn broken(trace: &[(f64, f64)], family: &ContourFamily) -> ErrorTrace {
    trace.iter().map(|&at| if is_inside(family, at) { at } else { (at.0, f64::NAN) }).collect()
}
