//! Pictures of a splitter.

use super::axis::range_of;
use super::canvas::{Canvas, picture, px, px_i};
use super::chart::{Axes, chart};
use super::contour_plane::{contour_axes, corner_away_from, is_inside};
use super::error::PlotError;
use super::frequency_axis::ghz;
use super::legend::{Entry, limit_entry};
use super::lettering::{note, place_beside};
use super::rejection_axis::{HIGHEST_REJECTION_DB, required_name};
use super::series::{horizontal, line};
use super::style::{BLACK, BLUE, Dash, GREY, LINES, Sizes, VERMILION};
use super::verdict_bands::VerdictBands;
use crate::measurement::Assessment;
use crate::requirement::Quantity;
use crate::splitter::{SplitterPoint, SplitterResult, contour_family};
use crate::units::ShownFrequency;
use plotters::prelude::{Circle, Color, EmptyElement};
use std::ops::Range;

/// Amplitude imbalance above phase error, over frequency, with their limits.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn imbalance(result: &SplitterResult) -> Result<Vec<u8>, PlotError> {
    picture(|canvas| {
        let halves = canvas.split_evenly((2, 1));
        amplitude_panel(&halves[0], result, Sizes::LARGE)?;
        phase_panel(&halves[1], result, Sizes::LARGE)
    })
}

/// Image rejection, or a balun's common-mode rejection, over frequency, with the requirement and
/// the bands that pass.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn rejection(
    result: &SplitterResult,
    assessment: Option<&Assessment>,
) -> Result<Vec<u8>, PlotError> {
    picture(|canvas| rejection_panel(canvas, result, assessment, Sizes::LARGE))
}

/// The part's way through the plane of imbalance and phase error, with curves of constant
/// rejection.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn contours(result: &SplitterResult) -> Result<Vec<u8>, PlotError> {
    picture(|canvas| contour_panel(canvas, result, Sizes::LARGE))
}

/// Losses above isolation and return losses, over frequency.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn losses(result: &SplitterResult) -> Result<Vec<u8>, PlotError> {
    picture(|canvas| {
        let halves = canvas.split_evenly((2, 1));
        loss_panel(&halves[0], result, Sizes::LARGE)?;
        isolation_panel(&halves[1], result, Sizes::LARGE)
    })
}

/// Imbalance, phase error, rejection and contours on one picture.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn overview(
    result: &SplitterResult,
    assessment: Option<&Assessment>,
) -> Result<Vec<u8>, PlotError> {
    picture(|canvas| {
        let quarters = canvas.split_evenly((2, 2));
        rejection_panel(&quarters[0], result, assessment, Sizes::SMALL)?;
        contour_panel(&quarters[1], result, Sizes::SMALL)?;
        amplitude_panel(&quarters[2], result, Sizes::SMALL)?;
        phase_panel(&quarters[3], result, Sizes::SMALL)
    })
}

fn frequencies(result: &SplitterResult) -> Range<f64> {
    let (low, high) = (ghz(result.summary.band_hz.0), ghz(result.summary.band_hz.1));
    // A single point still needs an axis.
    if low < high { low..high } else { low - 0.5..high + 0.5 }
}

/// One quantity over frequency with limits on both sides.
fn signed_panel(
    panel: &Canvas<'_>,
    result: &SplitterResult,
    (title, quantity, unit): (&str, &str, &str),
    value: impl Fn(&SplitterPoint) -> f64,
    limit: Option<f64>,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let limits = limit.iter().flat_map(|limit| [-limit, *limit]);
    let y = range_of(result.points.iter().map(&value).chain(limits.clone()).chain([0.0]), 1e-3);
    let x = frequencies(result);
    let y_label = format!("{quantity} ({unit})");
    let axes = Axes { title, x_label: "Frequency (GHz)", y_label: &y_label, x: x.clone(), y };
    let limit_name = limit.map(|limit| format!("limit {limit} {unit} either way"));
    let mut legend = Vec::new();
    if limit.is_some() {
        legend.push(Entry { name: "this part", colour: BLUE, dash: Dash::Solid });
        legend.extend(limit_entry(limit_name.as_ref()));
    }
    let (_, mut chart) = chart(panel, &axes, &legend, sizes)?;
    horizontal(&mut chart, &x, 0.0, GREY, Dash::Solid, Sizes { line: 1, ..sizes })?;
    for limit in limits {
        horizontal(&mut chart, &x, limit, VERMILION, Dash::Dashed, sizes)?;
    }
    line(
        &mut chart,
        result.points.iter().map(|p| (ghz(p.frequency_hz), value(p))),
        BLUE,
        Dash::Solid,
        sizes,
    )
}

fn amplitude_panel(
    panel: &Canvas<'_>,
    result: &SplitterResult,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let [a, b] = result.roles.outputs;
    let title = format!("Amplitude imbalance, port {b} over port {a}");
    let limit = result.compliance.limits().on(Quantity::AmplitudeImbalance);
    signed_panel(
        panel,
        result,
        (&title, "Imbalance", "dB"),
        |p| p.amplitude_imbalance_db,
        limit,
        sizes,
    )
}

fn phase_panel(panel: &Canvas<'_>, result: &SplitterResult, sizes: Sizes) -> Result<(), PlotError> {
    let [a, b] = result.roles.outputs;
    let title =
        format!("Phase error, port {b} less port {a}, nominal {} deg", result.roles.nominal_deg);
    let limit = result.compliance.limits().on(Quantity::PhaseError);
    signed_panel(panel, result, (&title, "Phase error", "deg"), |p| p.phase_error_deg, limit, sizes)
}

fn rejection_panel(
    panel: &Canvas<'_>,
    result: &SplitterResult,
    assessment: Option<&Assessment>,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let required = result.compliance.limits().on_rejection_db();
    let values = || result.points.iter().map(|p| p.rejection_db.min(HIGHEST_REJECTION_DB));
    let y = range_of(values().chain(required), 5.0);
    let x = frequencies(result);
    let title = result.roles.kind.rejection().title();
    let is_cut = result.points.iter().any(|p| p.rejection_db > HIGHEST_REJECTION_DB);
    let cut = if is_cut { format!(", cut at {HIGHEST_REJECTION_DB}") } else { String::new() };
    let label = format!("{title} (dB{cut})");
    let axes = Axes {
        title: &title,
        x_label: "Frequency (GHz)",
        y_label: &label,
        x: x.clone(),
        y: y.clone(),
    };
    let required_name = required_name(required);
    let has_requirements = !result.compliance.requirements.is_empty();
    let bands = VerdictBands::new(&result.compliance, assessment);
    let mut legend = Vec::new();
    if has_requirements {
        legend.push(Entry { name: "this part", colour: BLUE, dash: Dash::Solid });
        legend.extend(limit_entry(required_name.as_ref()));
        legend.extend(bands.legend());
    }
    let (_, mut chart) = chart(panel, &axes, &legend, sizes)?;
    bands.draw(&mut chart, &x, &y)?;
    if let Some(required) = required {
        horizontal(&mut chart, &x, required, VERMILION, Dash::Dashed, sizes)?;
    }
    let points = result.points.iter().map(|p| ghz(p.frequency_hz)).zip(values());
    line(&mut chart, points, BLUE, Dash::Solid, sizes)
}

fn loss_panel(panel: &Canvas<'_>, result: &SplitterResult, sizes: Sizes) -> Result<(), PlotError> {
    let [a, b] = result.roles.outputs;
    let input = result.roles.input;
    let names =
        [format!("port {input} to {a}"), format!("port {input} to {b}"), "excess".to_owned()];
    let series: [&dyn Fn(&SplitterPoint) -> f64; 3] =
        [&|p| p.loss_a_db, &|p| p.loss_b_db, &|p| p.excess_loss_db];
    let series: Vec<Series<'_>> =
        names.iter().zip(series).map(|(name, value)| (name.as_str(), value)).collect();
    decibel_panel(panel, result, ("Insertion loss and excess loss", "Loss (dB)"), &series, sizes)
}

fn isolation_panel(
    panel: &Canvas<'_>,
    result: &SplitterResult,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let ports = result.points.first().map_or(0, |p| p.return_loss_db.len());
    let shown = |port: &usize| result.points.iter().any(|p| p.return_loss_db[*port].is_some());
    let reflections: Vec<(String, usize)> = (0..ports)
        .filter(shown)
        // More would crowd the legend; the CSV has them all.
        .take(4)
        .map(|port| (format!("return loss {}", port + 1), port))
        .collect();
    let isolation = |p: &SplitterPoint| p.isolation_db.unwrap_or(f64::NAN);
    let between = |p: &SplitterPoint| p.output_isolation_db;
    type Value = Box<dyn Fn(&SplitterPoint) -> f64>;
    let values: Vec<Value> = reflections
        .iter()
        .map(|&(_, port)| {
            Box::new(move |p: &SplitterPoint| p.return_loss_db[port].unwrap_or(f64::NAN)) as Value
        })
        .collect();
    let mut series: Vec<Series<'_>> = match result.roles.isolated {
        Some(_) => vec![("isolation", &isolation)],
        None => vec![("between outputs", &between)],
    };
    series.extend(
        reflections
            .iter()
            .zip(&values)
            .map(|((name, _), value)| (name.as_str(), value.as_ref() as _)),
    );
    decibel_panel(
        panel,
        result,
        ("Isolation and return losses", "Isolation, return loss (dB)"),
        &series,
        sizes,
    )
}

type Series<'s> = (&'s str, &'s dyn Fn(&SplitterPoint) -> f64);

fn decibel_panel(
    panel: &Canvas<'_>,
    result: &SplitterResult,
    (title, unit): (&str, &str),
    series: &[Series<'_>],
    sizes: Sizes,
) -> Result<(), PlotError> {
    let shown = |value: f64| value.min(HIGHEST_REJECTION_DB);
    let values =
        series.iter().flat_map(|(_, value)| result.points.iter().map(move |p| shown(value(p))));
    let axes = Axes {
        title,
        x_label: "Frequency (GHz)",
        y_label: unit,
        x: frequencies(result),
        y: range_of(values, 0.5),
    };
    let legend: Vec<Entry<'_>> = series
        .iter()
        .zip(LINES)
        .enumerate()
        .map(|(at, ((name, _), colour))| Entry { name, colour, dash: dash_of(at) })
        .collect();
    let (_, mut chart) = chart(panel, &axes, &legend, sizes)?;
    for (at, ((_, value), colour)) in series.iter().zip(LINES).enumerate() {
        let points = result.points.iter().map(|p| (ghz(p.frequency_hz), shown(value(p))));
        line(&mut chart, points, colour, dash_of(at), sizes)?;
    }
    Ok(())
}

/// Lines that may lie on one another differ in dash too.
fn dash_of(at: usize) -> Dash {
    if at.is_multiple_of(2) { Dash::Solid } else { Dash::Dashed }
}

fn contour_panel(
    panel: &Canvas<'_>,
    result: &SplitterResult,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let errors: Vec<_> = result.points.iter().map(|p| p.channel_error).collect();
    let family = contour_family(&errors, result.compliance.limits().on_rejection_db());
    let title =
        format!("{} (dB) at each imbalance and phase error", result.roles.kind.rejection().title());
    let track = |p: &SplitterPoint| (p.amplitude_imbalance_db, p.phase_error_deg);
    let away = corner_away_from(result.points.iter().map(track));
    let (canvas, mut chart) = contour_axes(panel, &family, &title, away, &[], sizes)?;
    // Beyond the plane the line breaks rather than run along its edge.
    let shown = result
        .points
        .iter()
        .map(track)
        .map(|at| if is_inside(&family, at) { at } else { (at.0, f64::NAN) });
    line(&mut chart, shown, BLUE, Dash::Solid, sizes)?;

    // A few frequencies along the way, so that its direction can be seen; the ends first.
    let last = result.points.len() - 1;
    let inside = |at: &usize| is_inside(&family, track(&result.points[*at]));
    let mut marked: Vec<usize> = [0, 4, 2, 1, 3].map(|quarter| quarter * last / 4).to_vec();
    marked.retain(inside);
    marked.dedup();
    let on_picture: Vec<(i32, i32)> =
        result.points.iter().map(|p| chart.backend_coord(&track(p))).collect();
    let frame = chart.plotting_area().get_pixel_range();
    let mut noted: Vec<(i32, i32)> = Vec::new();
    for &at in &marked {
        let point = &result.points[at];
        let dot =
            EmptyElement::at(track(point)) + Circle::new((0, 0), px(sizes.line * 2), BLUE.filled());
        chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
        let others: Vec<(i32, i32)> =
            marked.iter().filter(|&&other| other != at).map(|&other| on_picture[other]).collect();
        let text = ShownFrequency(point.frequency_hz).to_string();
        let place = place_beside(on_picture[at], (&on_picture, &others), &frame, &text, sizes);
        let apart = |place: &(i32, i32), other: &(i32, i32)| {
            (other.0 - place.0).abs() > px_i(sizes.label * 5)
                || (other.1 - place.1).abs() > px_i(sizes.label * 5 / 4)
        };
        if let Some(place) = place.filter(|place| noted.iter().all(|other| apart(place, other))) {
            note(&canvas, place, &text, BLACK, sizes)?;
            noted.push(place);
        }
    }
    Ok(())
}
