//! Pictures of switched mixers: conversion loss and noise figure over LO and over LO power, LO leakage
//! over LO, and the conductances over a period.

use super::axis::{Ticks, range_of};
use super::canvas::{Canvas, picture};
use super::caption::Caption;
use super::chart::{Axes, chart};
use super::chart_notes::note_legend;
use super::distinct_lines::DistinctLines;
use super::error::PlotError;
use super::frequency_axis::{LO_LABEL, frequency_range, ghz};
use super::if_lines::{IfLines, MOST_IFS};
use super::legend::{Entry, keys, limit_entry};
use super::picture::Picture;
use super::series::{horizontal, vertical};
use super::style::{BLACK, Dash, Sizes, VERMILION};
use crate::downconverter::{DrivePoint, Receiver, SwitchedPoint, SwitchingResult};
use crate::requirement::{Limit, Quantity};
use crate::units::ShownFrequency;
use std::ops::Range;

/// Lines with their names, and the labels around them.
struct Panel<'t> {
    title: &'t str,
    x_label: &'t str,
    y_label: &'t str,
    x: Range<f64>,
    x_ticks: Ticks<'t>,
    names: Vec<String>,
    lines: Vec<Vec<(f64, f64)>>,
    /// The maximum that is allowed.
    limit: Option<Limit>,
    /// The present place on the axis, and its name.
    present: Option<(f64, String)>,
}

impl Panel<'_> {
    fn draw(&self, canvas: &Canvas<'_>, align: &[Range<f64>]) -> Result<(), PlotError> {
        let y = self.range();
        let axes = Axes {
            title: self.title,
            x_label: self.x_label,
            y_label: self.y_label,
            x: self.x.clone(),
            y: y.clone(),
            x_ticks: self.x_ticks,
            align,
            ..Axes::default()
        };
        let lines = DistinctLines::of(&self.names, &self.lines, &y);
        let limit_name = self
            .limit
            .map(|limit| format!("at most {} {}", limit.value(), limit.quantity().unit()));
        let names = lines.legend().into_iter().chain(limit_entry(limit_name.as_ref()));
        let present = self.present.as_ref().map(|(_, name)| Entry {
            name,
            colour: BLACK,
            dash: Dash::Dotted,
        });
        let names: Vec<Entry<'_>> = names.chain(present).collect();
        // A single line needs no legend: the axis names it.
        let legend = if self.lines.len() > 1 { &names } else { &names[lines.names.len()..] };
        let (_, mut chart) = chart(canvas, &axes, legend, Sizes::LARGE)?;
        note_legend(keys(&names));
        if let Some(limit) = self.limit {
            let (at, dash) = (limit.value(), Dash::Dashed);
            horizontal(&mut chart, &self.x, at, VERMILION, dash, Sizes::LARGE)?;
        }
        if let Some((at, _)) = &self.present {
            vertical(&mut chart, *at, &y, BLACK, Dash::Dotted, Sizes::LARGE)?;
        }
        lines.draw(&mut chart, Sizes::LARGE)
    }

    fn range(&self) -> Range<f64> {
        let values = self.lines.iter().flatten().map(|(_, y)| *y).filter(|y| y.is_finite());
        range_of(values.chain(self.limit.map(Limit::value)), 1.0)
    }
}

/// Conversion loss of both channels above noise figure over LO, a line per IF.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn switching_over_lo(
    caption: &Caption<'_>,
    receiver: &Receiver,
    switching: &SwitchingResult,
) -> Result<Picture, PlotError> {
    let ifs = IfLines::of(receiver, MOST_IFS);
    let panel = |title, y_label, quantity, value: fn(&SwitchedPoint) -> Option<f64>| Panel {
        title,
        x_label: LO_LABEL,
        y_label,
        x: frequency_range(receiver.plan().lo_hz()),
        x_ticks: Ticks::Round,
        names: ifs.names.clone(),
        lines: lines_over_lo(receiver, switching, &ifs, value),
        limit: limit_on(receiver, quantity),
        present: None,
    };
    let loss = panel(
        "Conversion loss, I and Q together",
        "Conversion loss (dB)",
        Quantity::ConversionLoss,
        |point| point.conversion_loss.both_db,
    );
    let figure = panel(
        "Noise figure, single sideband",
        "Noise figure (dB)",
        Quantity::NoiseFigure,
        |point| point.noise_figure_db,
    );
    let name = format!("Conversion loss and noise figure over LO{}", ifs.note());
    stacked(caption, &name, &[loss, figure])
}

/// LO power that leaves the RF port over LO.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn switching_leakage(
    caption: &Caption<'_>,
    receiver: &Receiver,
    switching: &SwitchingResult,
) -> Result<Picture, PlotError> {
    let lo = receiver.plan().lo_hz().iter().zip(&switching.lo);
    // Without leakage the line has a gap.
    let level = |dbm: f64| if dbm.is_finite() { dbm } else { f64::NAN };
    let panel = Panel {
        title: "",
        x_label: LO_LABEL,
        y_label: "LO at the RF port (dBm)",
        x: frequency_range(receiver.plan().lo_hz()),
        x_ticks: Ticks::Round,
        names: vec!["LO at the RF port".to_owned()],
        lines: vec![lo.map(|(hz, own)| (ghz(*hz), level(own.lo_at_rf_port_dbm))).collect()],
        limit: limit_on(receiver, Quantity::LoAtRfPort),
        present: None,
    };
    stacked(caption, "LO power that leaves the RF port", &[panel])
}

/// Conversion loss and noise figure above image rejection, over LO power at the centre LO and the first
/// IF, with the given power marked.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn switching_over_drive(
    caption: &Caption<'_>,
    receiver: &Receiver,
    switching: &SwitchingResult,
) -> Result<Picture, PlotError> {
    let sweep = &switching.drive_sweep;
    let line = |value: fn(&DrivePoint) -> Option<f64>| -> Vec<(f64, f64)> {
        sweep.iter().map(|own| (own.lo_power_dbm, value(own).unwrap_or(f64::NAN))).collect()
    };
    let plan = receiver.plan();
    let present = plan.settings().lo_power_dbm.map(|dbm| (dbm, format!("given {dbm} dBm")));
    let x = range_of(sweep.iter().map(|own| own.lo_power_dbm), 1.0);
    let levels = Panel {
        title: "Conversion loss and noise figure over LO power",
        x_label: "LO power (dBm)",
        y_label: "Loss, noise figure (dB)",
        x: x.clone(),
        x_ticks: Ticks::Round,
        names: vec!["conversion loss".to_owned(), "noise figure".to_owned()],
        lines: vec![
            line(|own| own.point.conversion_loss.both_db),
            line(|own| own.point.noise_figure_db),
        ],
        limit: None,
        present: present.clone(),
    };
    let rejection = Panel {
        title: "Image rejection over LO power",
        x_label: "LO power (dBm)",
        y_label: "Image rejection (dB)",
        x,
        x_ticks: Ticks::Round,
        names: vec!["image rejection".to_owned()],
        lines: vec![line(|own| Some(own.image_rejection_db).filter(|db| db.is_finite()))],
        limit: None,
        present,
    };
    let centre = &plan.points()[plan.centre_point()];
    let name = format!(
        "Switched mixers over LO power, at LO {} and IF {}",
        ShownFrequency(centre.lo_hz),
        ShownFrequency(centre.if_hz)
    );
    stacked(caption, &name, &[levels, rejection])
}

/// Eighths of a period, where the phases of four elements meet.
const EIGHTHS_DEG: [f64; 9] = [0.0, 45.0, 90.0, 135.0, 180.0, 225.0, 270.0, 315.0, 360.0];

/// The conductances of all elements over a period of the LO, at the centre LO.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn conductance_waveforms(
    caption: &Caption<'_>,
    receiver: &Receiver,
    switching: &SwitchingResult,
) -> Result<Picture, PlotError> {
    let line = |values: &Vec<(f64, f64)>| values.iter().map(|(deg, s)| (*deg, 1e3 * s)).collect();
    let panel = Panel {
        title: "",
        x_label: "LO phase (deg)",
        y_label: "Conductance (mS)",
        x: 0.0..360.0,
        x_ticks: Ticks::At(&EIGHTHS_DEG),
        names: receiver.mixers().iter().map(|mixer| mixer.name.clone()).collect(),
        lines: switching.waveforms.iter().map(line).collect(),
        limit: None,
        present: None,
    };
    let centre = &receiver.plan().points()[receiver.plan().centre_point()];
    let name =
        format!("Conductances of the mixers over a period, at LO {}", ShownFrequency(centre.lo_hz));
    stacked(caption, &name, &[panel])
}

fn limit_on(receiver: &Receiver, quantity: Quantity) -> Option<Limit> {
    receiver.limits().iter().find(|limit| limit.quantity() == quantity)
}

/// Panels above one another, with aligned frames.
fn stacked(caption: &Caption<'_>, name: &str, panels: &[Panel<'_>]) -> Result<Picture, PlotError> {
    let align: Vec<Range<f64>> = panels.iter().map(Panel::range).collect();
    picture(name, |canvas| {
        let body = caption.head(canvas, name)?;
        let parts = body.split_evenly((panels.len(), 1));
        panels.iter().zip(&parts).try_for_each(|(panel, part)| panel.draw(part, &align))
    })
}

fn lines_over_lo(
    receiver: &Receiver,
    switching: &SwitchingResult,
    ifs: &IfLines,
    value: fn(&SwitchedPoint) -> Option<f64>,
) -> Vec<Vec<(f64, f64)>> {
    let points: Vec<(f64, f64)> = (receiver.plan().points().iter().zip(&switching.points))
        .map(|(place, own)| (ghz(place.lo_hz), value(own).unwrap_or(f64::NAN)))
        .collect();
    ifs.shown.iter().map(|&at| ifs.of_line(&points, at).copied().collect()).collect()
}
