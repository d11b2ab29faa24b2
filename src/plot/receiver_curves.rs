//! Pictures of a receiver over its LO.

use super::axis::range_of;
use super::canvas::{Canvas, picture};
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::frequency_axis::{LO_LABEL, frequency_range, ghz};
use super::if_lines::{IfLines, MOST_IFS};
use super::legend::{Entry, limit_entry};
use super::nested_lines::{look, nested};
use super::rejection_axis::{CUT_NOTE, cut, is_beyond, required_name};
use super::series::horizontal;
use super::style::{Dash, GREY, Sizes, VERMILION};
use super::verdict_bands::VerdictBands;
use crate::downconverter::{DownconverterResult, MixerDrive, PlanPoint, Receiver};
use crate::measurement::Assessment;
use crate::requirement::{Figure, Quantity};
use crate::units::db_from_amplitude;

/// Image rejection over LO, a line per IF, with the requirement and the bands that pass; with an
/// uncertainty, that pass, fail or are undecided.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_rejection(
    receiver: &Receiver,
    result: &DownconverterResult,
    assessment: Option<&Assessment>,
) -> Result<Vec<u8>, PlotError> {
    let required = receiver.limits().on(Quantity::ImageRejection);
    let ifs = IfLines::of(receiver, MOST_IFS);
    let shown = |point: &PlanPoint| cut(point.balance.image_rejection_db);
    let values = ifs.points(result).map(shown).chain(required);
    let (x, y) = (frequency_range(receiver.plan().lo_hz()), range_of(values, 5.0));
    let is_cut = ifs.points(result).any(|point| is_beyond(point.balance.image_rejection_db));
    let note = if is_cut { CUT_NOTE } else { "" };
    let axes = Axes {
        title: &format!("Image rejection over LO{}", ifs.note()),
        x_label: LO_LABEL,
        y_label: &format!("Image rejection (dB{note})"),
        x: x.clone(),
        y: y.clone(),
    };
    let mut legend = ifs.legend();
    let required_name = required_name(required);
    legend.extend(limit_entry(required_name.as_ref()));
    let bands = VerdictBands::new(&result.compliance, assessment);
    legend.extend(bands.legend());
    picture(|canvas| {
        let (_, mut chart) = chart(canvas, &axes, &legend, Sizes::LARGE)?;
        bands.draw(&mut chart, &x, &y)?;
        if let Some(required) = required {
            horizontal(&mut chart, &x, required, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        ifs.draw(&mut chart, result, shown)
    })
}

/// Amplitude imbalance above quadrature error in the wanted sideband over LO, a line per IF, with
/// their limits.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_imbalance(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<Vec<u8>, PlotError> {
    let limits = receiver.limits();
    picture(|canvas| {
        let halves = canvas.split_evenly((2, 1));
        let amplitude = Signed {
            title: "Amplitude imbalance, Q over I, wanted sideband",
            quantity: "Imbalance",
            unit: "dB",
            limit: limits.on(Quantity::AmplitudeImbalance),
        };
        amplitude
            .draw(&halves[0], receiver, result, |point| point.balance.wanted().amplitude_db)?;
        let phase = Signed {
            title: "Quadrature error, wanted sideband",
            quantity: "Quadrature error",
            unit: "deg",
            limit: limits.on(Quantity::QuadratureError),
        };
        phase.draw(&halves[1], receiver, result, |point| point.balance.wanted().phase_deg)
    })
}

/// The LO at each element over LO: its power with the least that is required, or its voltage where
/// no power is given.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_drive(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<Vec<u8>, PlotError> {
    let drives = || result.lo.iter().flat_map(|point| &point.mixers);
    let has_power = drives().any(|drive| drive.lo_power_dbm.is_some());
    let value = |drive: &MixerDrive| match has_power {
        // Where no power is known the line has a gap.
        true => drive.lo_power_dbm.and_then(Figure::value).unwrap_or(f64::NAN),
        false => db_from_amplitude(drive.lo_magnitude),
    };
    let (title, y_label) = if has_power {
        ("LO power at each element", "LO power (dBm)")
    } else {
        ("LO voltage at each element, per root of available power", "LO voltage (dB over 1 V/√W)")
    };
    let required = receiver.limits().on(Quantity::LoPower).filter(|_| has_power);
    let y = range_of(drives().map(value).chain(required), 1.0);
    let x = frequency_range(receiver.plan().lo_hz());
    let axes = Axes { title, x_label: LO_LABEL, y_label, x: x.clone(), y: y.clone() };

    let lines: Vec<Vec<(f64, f64)>> = (0..receiver.mixers().len())
        .map(|at| {
            let mut shown = Vec::new();
            for run in receiver.plan().lo_runs() {
                let own = result.lo[run.clone()].iter();
                shown.extend(own.map(|point| (ghz(point.lo_hz), value(&point.mixers[at]))));
                // No line where LOs are not in the plan.
                shown.extend(shown.last().map(|last| (last.0, f64::NAN)));
            }
            shown
        })
        .collect();
    let names: Vec<String> = receiver
        .mixers()
        .iter()
        .zip(&lines)
        .map(|(mixer, line)| match line.iter().all(|(_, value)| value.is_nan()) {
            true => format!("{}: no load", mixer.name),
            false => mixer.name.clone(),
        })
        .collect();
    let mut legend: Vec<Entry<'_>> = names
        .iter()
        .enumerate()
        .map(|(at, name)| Entry { name, colour: look(at).0, dash: look(at).1 })
        .collect();
    let required_name = required.map(|dbm| format!("required at least {dbm} dBm"));
    legend.extend(limit_entry(required_name.as_ref()));
    picture(|canvas| {
        let (_, mut chart) = chart(canvas, &axes, &legend, Sizes::LARGE)?;
        if let Some(required) = required {
            horizontal(&mut chart, &x, required, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        nested(&mut chart, &lines)
    })
}

/// A quantity that may have either sign, with a limit both ways.
struct Signed<'t> {
    title: &'t str,
    quantity: &'t str,
    unit: &'t str,
    limit: Option<f64>,
}

impl Signed<'_> {
    fn draw(
        &self,
        panel: &Canvas<'_>,
        receiver: &Receiver,
        result: &DownconverterResult,
        value: impl Fn(&PlanPoint) -> f64,
    ) -> Result<(), PlotError> {
        let ifs = IfLines::of(receiver, MOST_IFS);
        let limits = self.limit.iter().flat_map(|limit| [-limit, *limit]);
        let values = ifs.points(result).map(&value).chain(limits.clone()).chain([0.0]);
        let x = frequency_range(receiver.plan().lo_hz());
        let axes = Axes {
            title: &format!("{}{}", self.title, ifs.note()),
            x_label: LO_LABEL,
            y_label: &format!("{} ({})", self.quantity, self.unit),
            x: x.clone(),
            y: range_of(values, 1e-3),
        };
        let mut legend = ifs.legend();
        let limit_name = self.limit.map(|limit| format!("limit {limit} {} either way", self.unit));
        legend.extend(limit_entry(limit_name.as_ref()));
        let (_, mut chart) = chart(panel, &axes, &legend, Sizes::LARGE)?;
        horizontal(&mut chart, &x, 0.0, GREY, Dash::Solid, Sizes { line: 1, ..Sizes::LARGE })?;
        for limit in limits {
            horizontal(&mut chart, &x, limit, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        ifs.draw(&mut chart, result, value)
    }
}
