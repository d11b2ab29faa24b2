//! The plane of amplitude imbalance and phase error, for the inverse question.

use super::axis::Chart;
use super::canvas::{Canvas, picture, px};
use super::caption::Caption;
use super::contour_plane::{contour_axes, is_inside};
use super::error::PlotError;
use super::labels::Labels;
use super::legend::Entry;
use super::picture::Picture;
use super::series::line;
use super::style::{BLACK, BLUE, Dash, Sizes, VERMILION};
use crate::splitter::ToleranceResult;
use crate::units::rounded_down;
use plotters::prelude::{Circle, Color, EmptyElement};

/// Curves of constant rejection with the required one among them, and the errors that were given with
/// those that they leave; without any, the errors that are allowed alone.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn tolerance(result: &ToleranceResult) -> Result<Picture, PlotError> {
    let family = result.contours();
    let name = format!(
        "Imbalance and phase error that keep {} dB of image rejection",
        result.image_rejection_db
    );
    let marks = marks(result);
    let curve = format!("{} dB", result.image_rejection_db);
    let mut legend = vec![Entry { name: &curve, colour: VERMILION, dash: Dash::Dashed }];
    if !marks.is_empty() {
        let name = if is_asked(result) { "given and allowed" } else { "allowed alone" };
        legend.push(Entry { name, colour: BLUE, dash: Dash::Dots });
    }
    let unanswered = if is_asked(result) && marks.is_empty() {
        "The given error alone exceeds the tolerance."
    } else {
        ""
    };
    picture(&name, |canvas| {
        let caption = Caption { subject: unanswered, ..Caption::default() };
        let body = caption.head(canvas, &name)?;
        let (panel, mut chart) =
            contour_axes(&body, &family, "", (-1.0, -1.0), &legend, Sizes::LARGE)?;
        let shown: Vec<&Mark> = marks.iter().filter(|mark| is_inside(&family, mark.at)).collect();
        draw_marks(&panel, &mut chart, &shown)
    })
}

/// A pair of errors that just keeps the rejection.
struct Mark {
    at: (f64, f64),
    text: String,
}

/// Whether an error was given.
fn is_asked(result: &ToleranceResult) -> bool {
    result.allowed_phase_error.len() == 1 || result.allowed_amplitude_imbalance.len() == 1
}

fn marks(result: &ToleranceResult) -> Vec<Mark> {
    // What is shown as allowed is allowed: rounded down, as in the tables.
    let mark = |at: (f64, f64)| Mark {
        at,
        text: format!("{} dB, {} deg", rounded_down(at.0), rounded_down(at.1)),
    };
    if is_asked(result) {
        let phases = result
            .allowed_phase_error
            .iter()
            .filter_map(|row| Some((row.amplitude_imbalance_db, row.phase_error_deg?)));
        let amplitudes = result
            .allowed_amplitude_imbalance
            .iter()
            .filter_map(|row| Some((row.amplitude_imbalance_db?, row.phase_error_deg)));
        return phases.chain(amplitudes).map(mark).collect();
    }
    let alone = [
        result.phase_error_alone_deg.map(|deg| (0.0, deg)),
        result.amplitude_imbalance_alone_db.map(|db| (db, 0.0)),
    ];
    alone.into_iter().flatten().map(mark).collect()
}

/// Dots with their values, and lines from them to the axes through perfect balance.
fn draw_marks(
    panel: &Canvas<'_>,
    chart: &mut Chart<'_, '_>,
    marks: &[&Mark],
) -> Result<(), PlotError> {
    let (left, top) = panel.get_base_pixel();
    let (columns, rows) = chart.plotting_area().get_pixel_range();
    let place = |x: i32, y: i32| (f64::from(x - left), f64::from(y - top));
    let frame = (place(columns.start, rows.start), place(columns.end, rows.end));
    let mut labels = Labels::on(frame, Vec::new());
    for mark in marks {
        let (x, y) = mark.at;
        line(chart, [(x, 0.0), (x, y), (0.0, y)], BLUE, Dash::Dotted, Sizes::LARGE)?;
        let dot = EmptyElement::at(mark.at) + Circle::new((0, 0), px(8), BLUE.filled());
        chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
        let at = chart.backend_coord(&mark.at);
        let outward = std::f64::consts::FRAC_PI_4;
        let text = std::slice::from_ref(&mark.text);
        labels.put(panel, (place(at.0, at.1), outward), text, (Sizes::LARGE.label, BLACK))?;
    }
    Ok(())
}
