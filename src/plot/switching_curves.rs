//! Pictures of switched mixers: conversion loss and noise figure over LO and over LO power, LO leakage
//! over LO, and the conductances over a period.

use super::axis::range_of;
use super::canvas::{Canvas, picture};
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::frequency_axis::{LO_LABEL, frequency_range, ghz};
use super::if_lines::MOST_IFS;
use super::legend::Entry;
use super::nested_lines::{look, nested};
use super::style::Sizes;
use crate::downconverter::{DrivePoint, Receiver, SwitchedPoint, SwitchingResult};
use crate::units::ShownFrequency;
use std::ops::Range;

/// Lines with their names, and what stands around them.
struct Panel<'t> {
    title: &'t str,
    x_label: &'t str,
    y_label: &'t str,
    x: Range<f64>,
    names: Vec<String>,
    lines: Vec<Vec<(f64, f64)>>,
}

impl Panel<'_> {
    fn draw(&self, canvas: &Canvas<'_>) -> Result<(), PlotError> {
        let values = self.lines.iter().flatten().map(|(_, y)| *y);
        let axes = Axes {
            title: self.title,
            x_label: self.x_label,
            y_label: self.y_label,
            x: self.x.clone(),
            y: range_of(values, 1.0),
        };
        let named = self.names.iter().enumerate();
        let legend: Vec<Entry<'_>> =
            named.map(|(at, name)| Entry { name, colour: look(at).0, dash: look(at).1 }).collect();
        let (_, mut chart) = chart(canvas, &axes, &legend, Sizes::LARGE)?;
        nested(&mut chart, &self.lines)
    }
}

/// Conversion loss of both channels above noise figure over LO, a line per IF.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn switching_over_lo(
    receiver: &Receiver,
    switching: &SwitchingResult,
) -> Result<Vec<u8>, PlotError> {
    let panel = |title, y_label, value: fn(&SwitchedPoint) -> Option<f64>| Panel {
        title,
        x_label: LO_LABEL,
        y_label,
        x: frequency_range(receiver.plan().lo_hz()),
        names: if_names(receiver),
        lines: lines_over_lo(receiver, switching, value),
    };
    picture(|canvas| {
        let halves = canvas.split_evenly((2, 1));
        panel("Conversion loss, I and Q together", "Conversion loss (dB)", |point| {
            point.conversion_loss.both_db
        })
        .draw(&halves[0])?;
        panel("Noise figure, single sideband", "Noise figure (dB)", |point| point.noise_figure_db)
            .draw(&halves[1])
    })
}

/// LO power that leaves the RF port over LO.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn switching_leakage(
    receiver: &Receiver,
    switching: &SwitchingResult,
) -> Result<Vec<u8>, PlotError> {
    let lo = receiver.plan().lo_hz().iter().zip(&switching.lo);
    // Without leakage the line has a gap.
    let level = |dbm: f64| if dbm.is_finite() { dbm } else { f64::NAN };
    let panel = Panel {
        title: "LO at the RF port",
        x_label: LO_LABEL,
        y_label: "LO at the RF port (dBm)",
        x: frequency_range(receiver.plan().lo_hz()),
        names: Vec::new(),
        lines: vec![lo.map(|(hz, own)| (ghz(*hz), level(own.lo_at_rf_port_dbm))).collect()],
    };
    picture(|canvas| panel.draw(canvas))
}

/// Conversion loss and noise figure above image rejection, over LO power at the centre LO and the first
/// IF.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn switching_over_drive(switching: &SwitchingResult) -> Result<Vec<u8>, PlotError> {
    let sweep = &switching.drive_sweep;
    let line = |value: fn(&DrivePoint) -> Option<f64>| -> Vec<(f64, f64)> {
        sweep.iter().map(|own| (own.lo_power_dbm, value(own).unwrap_or(f64::NAN))).collect()
    };
    let x = range_of(sweep.iter().map(|own| own.lo_power_dbm), 1.0);
    let levels = Panel {
        title: "Conversion loss and noise figure over LO power",
        x_label: "LO power (dBm)",
        y_label: "Loss, noise figure (dB)",
        x: x.clone(),
        names: vec!["conversion loss".to_owned(), "noise figure".to_owned()],
        lines: vec![
            line(|own| own.point.conversion_loss.both_db),
            line(|own| own.point.noise_figure_db),
        ],
    };
    let rejection = Panel {
        title: "Image rejection over LO power",
        x_label: "LO power (dBm)",
        y_label: "Image rejection (dB)",
        x,
        names: Vec::new(),
        lines: vec![line(|own| Some(own.image_rejection_db).filter(|db| db.is_finite()))],
    };
    picture(|canvas| {
        let halves = canvas.split_evenly((2, 1));
        levels.draw(&halves[0])?;
        rejection.draw(&halves[1])
    })
}

/// The conductances of all elements over a period of the LO, at the centre LO.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn conductance_waveforms(
    receiver: &Receiver,
    switching: &SwitchingResult,
) -> Result<Vec<u8>, PlotError> {
    let line = |values: &Vec<(f64, f64)>| values.iter().map(|(deg, s)| (*deg, 1e3 * s)).collect();
    let panel = Panel {
        title: "Conductances over a period, centre LO",
        x_label: "LO phase (deg)",
        y_label: "Conductance (mS)",
        x: 0.0..360.0,
        names: receiver.mixers().iter().map(|mixer| mixer.name.clone()).collect(),
        lines: switching.waveforms.iter().map(line).collect(),
    };
    picture(|canvas| panel.draw(canvas))
}

fn if_names(receiver: &Receiver) -> Vec<String> {
    let ifs = receiver.plan().if_hz().iter().take(MOST_IFS);
    ifs.map(|hz| format!("IF {}", ShownFrequency(*hz))).collect()
}

fn lines_over_lo(
    receiver: &Receiver,
    switching: &SwitchingResult,
    value: fn(&SwitchedPoint) -> Option<f64>,
) -> Vec<Vec<(f64, f64)>> {
    let (lo, ifs) = (receiver.plan().lo_hz(), receiver.plan().if_hz().len());
    let line = |intermediate: usize| {
        let own = switching.points.iter().skip(intermediate).step_by(ifs);
        lo.iter().zip(own).map(|(hz, own)| (ghz(*hz), value(own).unwrap_or(f64::NAN))).collect()
    };
    (0..ifs.min(MOST_IFS)).map(line).collect()
}
