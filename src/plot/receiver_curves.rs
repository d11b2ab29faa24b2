//! Pictures of a receiver over its LO.

use super::axis::range_of;
use super::canvas::{Canvas, picture};
use super::caption::Caption;
use super::chart::{Axes, chart};
use super::distinct_lines::DistinctLines;
use super::error::PlotError;
use super::frequency_axis::{LO_LABEL, ends_ghz, frequency_range, ghz};
use super::if_lines::{IfLines, MOST_IFS};
use super::legend::limit_entry;
use super::picture::Picture;
use super::rejection_axis::{CUT_NOTE, cut, is_beyond, required_name};
use super::series::horizontal;
use super::style::{Dash, GREY, Sizes, VERMILION};
use super::verdict_bands::VerdictBands;
use crate::downconverter::{DownconverterResult, MixerDrive, PlanPoint, Receiver};
use crate::measurement::Assessment;
use crate::requirement::{Figure, Quantity};
use crate::units::db_from_amplitude;
use std::ops::Range;

/// Image rejection over LO, a line per IF, with the requirement and the bands that pass and fail;
/// with an uncertainty, that pass, fail or are undecided.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_rejection(
    caption: &Caption<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
    assessment: Option<&Assessment>,
) -> Result<Picture, PlotError> {
    let required = receiver.limits().on(Quantity::ImageRejection);
    let ifs = IfLines::of(receiver, MOST_IFS);
    let shown = |point: &PlanPoint| cut(point.balance.image_rejection_db);
    let values = ifs.points(result).map(shown).chain(required);
    let (x, y) = (frequency_range(receiver.plan().lo_hz()), range_of(values, 5.0));
    let is_cut = ifs.points(result).any(|point| is_beyond(point.balance.image_rejection_db));
    let note = if is_cut { CUT_NOTE } else { "" };
    let axes = Axes {
        x_label: LO_LABEL,
        y_label: &format!("Image rejection (dB{note})"),
        x: x.clone(),
        y: y.clone(),
        ..Axes::default()
    };
    let lines = ifs.lines(result, &y, shown);
    let mut legend = lines.legend();
    let required_name = required_name(required);
    legend.extend(limit_entry(required_name.as_ref()));
    let bands =
        VerdictBands::new(&result.compliance, assessment, ends_ghz(receiver.plan().lo_hz()), &x);
    legend.extend(bands.legend());
    let name = format!("Image rejection over LO{}", ifs.note());
    picture(&name, |canvas| {
        let body = caption.head(canvas, &name)?;
        let (panel, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        bands.draw(&panel, &mut chart, &x, &y)?;
        lines.draw(&mut chart, Sizes::LARGE)?;
        match required {
            // Above the data, which may be noisy.
            Some(at) => horizontal(&mut chart, &x, at, VERMILION, Dash::Dashed, Sizes::LARGE),
            None => Ok(()),
        }
    })
}

/// Amplitude imbalance above quadrature error in the wanted sideband over LO, a line per IF, with
/// their limits and the bands that pass and fail.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_imbalance(
    caption: &Caption<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
    assessment: Option<&Assessment>,
) -> Result<Picture, PlotError> {
    let limits = receiver.limits();
    let ifs = IfLines::of(receiver, MOST_IFS);
    let amplitude = Signed {
        title: "Amplitude imbalance, Q over I",
        y_label: "Imbalance (dB)",
        unit: "dB",
        limit: limits.on(Quantity::AmplitudeImbalance),
        value: |point| point.balance.wanted().amplitude_db,
    };
    let phase = Signed {
        title: "Quadrature error",
        y_label: "Quadrature error (deg)",
        unit: "deg",
        limit: limits.on(Quantity::QuadratureError),
        value: |point| point.balance.wanted().phase_deg,
    };
    let x = frequency_range(receiver.plan().lo_hz());
    let bands =
        VerdictBands::new(&result.compliance, assessment, ends_ghz(receiver.plan().lo_hz()), &x);
    let ranges = [amplitude.range(&ifs, result), phase.range(&ifs, result)];
    let name = format!("Imbalance and quadrature error, wanted sideband{}", ifs.note());
    picture(&name, |canvas| {
        let body = caption.head(canvas, &name)?;
        for ((panel, part), y) in
            body.split_evenly((2, 1)).iter().zip([amplitude, phase]).zip(&ranges)
        {
            part.draw(panel, (receiver, &ifs), (result, &bands), y, &ranges)?;
        }
        Ok(())
    })
}

/// The LO at each mixer over LO: its power with the minimum that is required, or its voltage where
/// no power is given.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_drive(
    caption: &Caption<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<Picture, PlotError> {
    let drives = || result.lo.iter().flat_map(|point| &point.mixers);
    let has_power = drives().any(|drive| drive.lo_power_dbm.is_some());
    let value = |drive: &MixerDrive| match has_power {
        // Where no power is known the line has a gap.
        true => drive.lo_power_dbm.and_then(Figure::value).unwrap_or(f64::NAN),
        false => db_from_amplitude(drive.lo_magnitude),
    };
    let (name, y_label) = if has_power {
        ("LO power at each mixer", "LO power (dBm)")
    } else {
        ("LO voltage at each mixer, per root of available power", "LO voltage (dB over 1 V/√W)")
    };
    let required = receiver.limits().on(Quantity::LoPower).filter(|_| has_power);
    let y = range_of(drives().map(value).chain(required), 1.0);
    let x = frequency_range(receiver.plan().lo_hz());
    let axes = Axes { x_label: LO_LABEL, y_label, x: x.clone(), y: y.clone(), ..Axes::default() };

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
    let lines = DistinctLines::of(&names, &lines, &y);
    let mut legend = lines.legend();
    let required_name = required.map(|dbm| format!("required at least {dbm} dBm"));
    legend.extend(limit_entry(required_name.as_ref()));
    picture(name, |canvas| {
        let body = caption.head(canvas, name)?;
        let (_, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        lines.draw(&mut chart, Sizes::LARGE)?;
        match required {
            // Above the data, which may be noisy.
            Some(at) => horizontal(&mut chart, &x, at, VERMILION, Dash::Dashed, Sizes::LARGE),
            None => Ok(()),
        }
    })
}

/// A quantity that may have either sign, with a limit both ways.
struct Signed<'t> {
    title: &'t str,
    y_label: &'t str,
    unit: &'t str,
    limit: Option<f64>,
    value: fn(&PlanPoint) -> f64,
}

impl Signed<'_> {
    fn limits(&self) -> impl Iterator<Item = f64> + use<> {
        self.limit.into_iter().flat_map(|limit| [-limit, limit])
    }

    fn range(&self, ifs: &IfLines, result: &DownconverterResult) -> Range<f64> {
        range_of(ifs.points(result).map(self.value).chain(self.limits()).chain([0.0]), 1e-3)
    }

    fn draw(
        &self,
        panel: &Canvas<'_>,
        (receiver, ifs): (&Receiver, &IfLines),
        (result, bands): (&DownconverterResult, &VerdictBands),
        y: &Range<f64>,
        align: &[Range<f64>],
    ) -> Result<(), PlotError> {
        let x = frequency_range(receiver.plan().lo_hz());
        let axes = Axes {
            title: self.title,
            x_label: LO_LABEL,
            y_label: self.y_label,
            x: x.clone(),
            y: y.clone(),
            align,
            ..Axes::default()
        };
        let lines = ifs.lines(result, y, self.value);
        let mut legend = lines.legend();
        let limit_name = self.limit.map(|limit| format!("limit ±{limit} {}", self.unit));
        legend.extend(limit_entry(limit_name.as_ref()));
        legend.extend(bands.legend());
        let (canvas, mut chart) = chart(panel, &axes, &legend, Sizes::LARGE)?;
        bands.draw(&canvas, &mut chart, &x, y)?;
        horizontal(&mut chart, &x, 0.0, GREY, Dash::Solid, Sizes { line: 1, ..Sizes::LARGE })?;
        lines.draw(&mut chart, Sizes::LARGE)?;
        self.limits().try_for_each(|limit| {
            horizontal(&mut chart, &x, limit, VERMILION, Dash::Dashed, Sizes::LARGE)
        })
    }
}
