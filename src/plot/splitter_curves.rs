//! Pictures of a splitter.

use super::axis::range_of;
use super::canvas::{Canvas, picture};
use super::caption::Caption;
use super::chart::{Axes, chart};
use super::contour_plane::{contour_axes, corner_away_from, is_inside};
use super::distinct_lines::DistinctLines;
use super::error::PlotError;
use super::frequency_axis::{FREQUENCY_LABEL, ghz};
use super::legend::{Entry, limit_entry};
use super::picture::Picture;
use super::rejection_axis::{CUT_NOTE, cut, is_beyond, required_name};
use super::series::{horizontal, line, vertical};
use super::style::{BLACK, BLUE, Dash, GREY, Sizes, VERMILION};
use super::track::{Track, draw_tracks};
use super::verdict_bands::VerdictBands;
use crate::measurement::Assessment;
use crate::requirement::Quantity;
use crate::splitter::{SplitterPoint, SplitterResult, contour_family};
use crate::units::ShownFrequency;
use std::ops::Range;

/// Amplitude imbalance above phase error, over frequency, with their limits and the bands that pass and
/// fail.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn imbalance(
    caption: &Caption<'_>,
    result: &SplitterResult,
    assessment: Option<&Assessment>,
) -> Result<Picture, PlotError> {
    let name = "Amplitude imbalance and phase error";
    picture(name, |canvas| {
        let halves = caption.head(canvas, name)?.split_evenly((2, 1));
        balance_panels(&[&halves[0], &halves[1]], result, assessment, Sizes::LARGE)
    })
}

/// Image rejection, or a balun's common-mode rejection, over frequency, with the requirement and
/// the bands that pass and fail.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn rejection(
    caption: &Caption<'_>,
    result: &SplitterResult,
    assessment: Option<&Assessment>,
) -> Result<Picture, PlotError> {
    let name = result.roles.kind.rejection().title();
    picture(&name, |canvas| {
        let body = caption.head(canvas, &name)?;
        rejection_panel(&body, result, assessment, ("", Sizes::LARGE))
    })
}

/// The part's track through the plane of imbalance and phase error, with curves of constant
/// rejection.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn contours(caption: &Caption<'_>, result: &SplitterResult) -> Result<Picture, PlotError> {
    let name = contour_title(result);
    picture(&name, |canvas| {
        contour_panel(&caption.head(canvas, &name)?, result, ("", Sizes::LARGE))
    })
}

/// Losses above isolation and return losses, over frequency.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn losses(caption: &Caption<'_>, result: &SplitterResult) -> Result<Picture, PlotError> {
    let name = "Losses, isolation and return losses";
    picture(name, |canvas| {
        let halves = caption.head(canvas, name)?.split_evenly((2, 1));
        loss_panels(&[&halves[0], &halves[1]], result, Sizes::LARGE)
    })
}

/// Rejection, contours, imbalance, phase error, losses and isolation on one picture.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn overview(
    caption: &Caption<'_>,
    result: &SplitterResult,
    assessment: Option<&Assessment>,
) -> Result<Picture, PlotError> {
    let [a, b] = result.roles.outputs;
    let name = format!(
        "{}-degree splitter: input port {}, outputs {a} and {b}",
        result.roles.nominal_deg.abs(),
        result.roles.input
    );
    picture(&name, |canvas| {
        let panels = caption.head(canvas, &name)?.split_evenly((2, 3));
        let sizes = Sizes::SMALL;
        let title = result.roles.kind.rejection().title();
        rejection_panel(&panels[0], result, assessment, (&title, sizes))?;
        balance_panels(&[&panels[1], &panels[4]], result, assessment, sizes)?;
        loss_panels(&[&panels[2], &panels[5]], result, sizes)?;
        contour_panel(&panels[3], result, ("Curves of constant rejection (dB)", sizes))
    })
}

fn frequencies(result: &SplitterResult) -> Range<f64> {
    let (low, high) = (ghz(result.summary.band_hz.0), ghz(result.summary.band_hz.1));
    // A single point still needs an axis.
    if low < high { low..high } else { low - 0.5..high + 0.5 }
}

/// Amplitude imbalance and phase error, one above the other.
fn balance_panels(
    panels: &[&Canvas<'_>; 2],
    result: &SplitterResult,
    assessment: Option<&Assessment>,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let [a, b] = result.roles.outputs;
    let limits = result.compliance.limits();
    let amplitude = Signed {
        title: format!("Amplitude imbalance, port {b} over {a}"),
        y_label: "Imbalance (dB)",
        unit: "dB",
        limit: limits.on(Quantity::AmplitudeImbalance),
        value: |p| p.amplitude_imbalance_db,
    };
    let phase = Signed {
        title: format!("Phase error, port {b} minus {a}, nominal {} deg", result.roles.nominal_deg),
        y_label: "Phase error (deg)",
        unit: "deg",
        limit: limits.on(Quantity::PhaseError),
        value: |p| p.phase_error_deg,
    };
    let align = [amplitude.range(result), phase.range(result)];
    let bands = verdict_bands(result, assessment);
    for ((part, panel), y) in [&amplitude, &phase].into_iter().zip(panels).zip(&align) {
        part.draw(panel, result, &bands, (y, &align), sizes)?;
    }
    Ok(())
}

/// One quantity over frequency with limits on both sides.
struct Signed {
    title: String,
    y_label: &'static str,
    unit: &'static str,
    limit: Option<f64>,
    value: fn(&SplitterPoint) -> f64,
}

impl Signed {
    fn limits(&self) -> impl Iterator<Item = f64> + use<> {
        self.limit.into_iter().flat_map(|limit| [-limit, limit])
    }

    fn range(&self, result: &SplitterResult) -> Range<f64> {
        range_of(result.points.iter().map(self.value).chain(self.limits()).chain([0.0]), 1e-3)
    }

    fn draw(
        &self,
        panel: &Canvas<'_>,
        result: &SplitterResult,
        bands: &VerdictBands,
        (y, align): (&Range<f64>, &[Range<f64>]),
        sizes: Sizes,
    ) -> Result<(), PlotError> {
        let x = frequencies(result);
        let axes = Axes {
            title: &self.title,
            x_label: FREQUENCY_LABEL,
            y_label: self.y_label,
            x: x.clone(),
            y: y.clone(),
            align,
            ..Axes::default()
        };
        let limit_name = self.limit.map(|limit| format!("limit ±{limit} {}", self.unit));
        let mut legend: Vec<Entry<'_>> = limit_entry(limit_name.as_ref()).into_iter().collect();
        legend.extend(bands.legend());
        let (canvas, mut chart) = chart(panel, &axes, &legend, sizes)?;
        bands.draw(&canvas, &mut chart, &x, y)?;
        horizontal(&mut chart, &x, 0.0, GREY, Dash::Solid, Sizes { line: 1, ..sizes })?;
        let points = result.points.iter().map(|p| (ghz(p.frequency_hz), (self.value)(p)));
        line(&mut chart, points, BLUE, Dash::Solid, sizes)?;
        // Above the data, which may be noisy.
        self.limits()
            .try_for_each(|limit| horizontal(&mut chart, &x, limit, VERMILION, Dash::Dashed, sizes))
    }
}

fn rejection_panel(
    panel: &Canvas<'_>,
    result: &SplitterResult,
    assessment: Option<&Assessment>,
    (title, sizes): (&str, Sizes),
) -> Result<(), PlotError> {
    let required = result.compliance.limits().on_rejection_db();
    let values = || result.points.iter().map(|p| cut(p.rejection_db));
    let y = range_of(values().chain(required), 5.0);
    let x = frequencies(result);
    let is_cut = result.points.iter().any(|p| is_beyond(p.rejection_db));
    let note = if is_cut { CUT_NOTE } else { "" };
    let label = format!("{} (dB{note})", result.roles.kind.rejection().title());
    let axes = Axes {
        title,
        x_label: FREQUENCY_LABEL,
        y_label: &label,
        x: x.clone(),
        y: y.clone(),
        ..Axes::default()
    };
    let required_name = required_name(required);
    let bands = verdict_bands(result, assessment);
    let mut legend: Vec<Entry<'_>> = limit_entry(required_name.as_ref()).into_iter().collect();
    legend.extend(bands.legend());
    let (canvas, mut chart) = chart(panel, &axes, &legend, sizes)?;
    bands.draw(&canvas, &mut chart, &x, &y)?;
    let points = result.points.iter().map(|p| ghz(p.frequency_hz)).zip(values());
    line(&mut chart, points, BLUE, Dash::Solid, sizes)?;
    match required {
        Some(required) => horizontal(&mut chart, &x, required, VERMILION, Dash::Dashed, sizes),
        None => Ok(()),
    }
}

/// The bands of a splitter with their verdicts.
fn verdict_bands(result: &SplitterResult, assessment: Option<&Assessment>) -> VerdictBands {
    let (low_hz, high_hz) = result.summary.band_hz;
    let ends = (ghz(low_hz), ghz(high_hz));
    VerdictBands::new(&result.compliance, assessment, ends, &frequencies(result))
}

/// Losses, and isolation with return losses, one above the other.
fn loss_panels(
    panels: &[&Canvas<'_>; 2],
    result: &SplitterResult,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let [a, b] = result.roles.outputs;
    let input = result.roles.input;
    let trace = |name: String, value: &dyn Fn(&SplitterPoint) -> f64| -> (String, ErrorTrace) {
        let place = |p: &SplitterPoint| (ghz(p.frequency_hz), value(p));
        (name, result.points.iter().map(place).collect())
    };
    let losses = Decibels {
        title: "Insertion loss and excess loss",
        traces: vec![
            trace(format!("port {input} to {a}"), &|p| p.loss_a_db),
            trace(format!("port {input} to {b}"), &|p| p.loss_b_db),
            trace("excess".to_owned(), &|p| p.excess_loss_db),
        ],
        ideal: Some((EQUAL_SPLIT_DB, "ideal 3.01 dB")),
    };
    let mut isolation = match result.roles.isolated {
        Some(port) => {
            vec![trace(format!("isolation {port}"), &|p| p.isolation_db.unwrap_or(f64::NAN))]
        }
        None => vec![trace(format!("isolation {a} to {b}"), &|p| p.output_isolation_db)],
    };
    let ports = result.points.first().map_or(0, |p| p.return_loss_db.len());
    let is_known = |port: &usize| result.points.iter().any(|p| p.return_loss_db[*port].is_some());
    // More would crowd the legend; the CSV has them all.
    isolation.extend((0..ports).filter(is_known).take(4).map(|port| {
        trace(format!("return loss {}", port + 1), &|p| p.return_loss_db[port].unwrap_or(f64::NAN))
    }));
    let isolation =
        Decibels { title: "Isolation and return losses", traces: isolation, ideal: None };
    let align = [losses.range(), isolation.range()];
    losses.draw(panels[0], result, &align, sizes)?;
    isolation.draw(panels[1], result, &align, sizes)
}

/// The loss from the input to each of two equal outputs without any other loss: 10 log10(2).
const EQUAL_SPLIT_DB: f64 = 3.010_299_956_639_812;

/// Frequency (GHz) and a value, or imbalance (dB) and phase error (deg).
type ErrorTrace = Vec<(f64, f64)>;

/// Several losses over frequency.
struct Decibels {
    title: &'static str,
    traces: Vec<(String, ErrorTrace)>,
    /// A value for comparison, and its name.
    ideal: Option<(f64, &'static str)>,
}

impl Decibels {
    fn values(&self) -> impl Iterator<Item = f64> {
        self.traces.iter().flat_map(|(_, trace)| trace.iter().map(|at| at.1))
    }

    fn range(&self) -> Range<f64> {
        range_of(self.values().map(cut).chain(self.ideal.map(|ideal| ideal.0)), 0.5)
    }

    fn draw(
        &self,
        panel: &Canvas<'_>,
        result: &SplitterResult,
        align: &[Range<f64>],
        sizes: Sizes,
    ) -> Result<(), PlotError> {
        let (x, y) = (frequencies(result), self.range());
        let drawn = |(name, trace): &(String, ErrorTrace)| -> (String, ErrorTrace) {
            (name.clone(), trace.iter().map(|&(x, loss_db)| (x, cut(loss_db))).collect())
        };
        let (names, traces): (Vec<String>, Vec<ErrorTrace>) = self.traces.iter().map(drawn).unzip();
        let is_cut = self.values().any(|loss_db| !loss_db.is_nan() && is_beyond(loss_db));
        let y_label = format!("Loss (dB{})", if is_cut { CUT_NOTE } else { "" });
        let lines = DistinctLines::of(&names, &traces, &y);
        let axes = Axes {
            title: self.title,
            x_label: FREQUENCY_LABEL,
            y_label: &y_label,
            x: x.clone(),
            y,
            align,
            ..Axes::default()
        };
        let mut legend = lines.legend();
        legend.extend(self.ideal.map(|(_, name)| Entry {
            name,
            colour: BLACK,
            dash: Dash::Dotted,
        }));
        let (_, mut chart) = chart(panel, &axes, &legend, sizes)?;
        lines.draw(&mut chart, sizes)?;
        match self.ideal {
            Some((ideal, _)) => horizontal(&mut chart, &x, ideal, BLACK, Dash::Dotted, sizes),
            None => Ok(()),
        }
    }
}

fn contour_title(result: &SplitterResult) -> String {
    format!(
        "Imbalance and phase error, with curves of constant {} (dB)",
        result.roles.kind.rejection().label()
    )
}

fn contour_panel(
    panel: &Canvas<'_>,
    result: &SplitterResult,
    (title, sizes): (&str, Sizes),
) -> Result<(), PlotError> {
    let errors: Vec<_> = result.points.iter().map(|p| p.channel_error).collect();
    let limits = result.compliance.limits();
    let family = contour_family(&errors, limits.on_rejection_db());
    let track = |p: &SplitterPoint| (p.amplitude_imbalance_db, p.phase_error_deg);
    let away = corner_away_from(result.points.iter().map(track));
    let required_name = required_name(limits.on_rejection_db());
    let mut legend: Vec<Entry<'_>> = limit_entry(required_name.as_ref()).into_iter().collect();
    let (db, deg) = (limits.on(Quantity::AmplitudeImbalance), limits.on(Quantity::PhaseError));
    if db.is_some() || deg.is_some() {
        let name = "limits on imbalance and phase error";
        legend.push(Entry { name, colour: VERMILION, dash: Dash::Dotted });
    }
    let (canvas, mut chart) = contour_axes(panel, &family, title, away, &legend, sizes)?;
    for limit in db.into_iter().flat_map(|db| [-db, db]) {
        let y = -family.reach_deg..family.reach_deg;
        vertical(&mut chart, limit, &y, VERMILION, Dash::Dotted, sizes)?;
    }
    for limit in deg.into_iter().flat_map(|deg| [-deg, deg]) {
        let x = -family.reach_db..family.reach_db;
        horizontal(&mut chart, &x, limit, VERMILION, Dash::Dotted, sizes)?;
    }
    // Beyond the plane the line breaks rather than run along its edge.
    let shown: ErrorTrace = result
        .points
        .iter()
        .map(track)
        .map(|at| if is_inside(&family, at) { at } else { (at.0, f64::NAN) })
        .collect();
    let name = |at: usize| {
        let point = result.points.get(at);
        point.map_or_else(String::new, |p| ShownFrequency(p.frequency_hz).to_string())
    };
    let track =
        Track { points: &shown, colour: BLUE, dash: Dash::Solid, names: Some(Box::new(name)) };
    draw_tracks(&canvas, &mut chart, &[track], sizes)
}
