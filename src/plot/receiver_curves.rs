//! Pictures of a receiver over its LO.

use super::splitter_curves::{HIGHEST_REJECTION_DB, ghz};
use super::style::{
    Axes, BLACK, BLUE, Canvas, Chart, Dash, Entry, GREEN, GREY, ORANGE, PURPLE, Pixel, PlotError,
    SKY_BLUE, Sizes, VERMILION, chart, line, picture, px_i, range_of, shade,
};
use crate::downconverter::{DownconverterResult, MixerDrive, PlanPoint, Receiver};
use crate::units::{ShownFrequency, db_from_amplitude};
use plotters::prelude::RGBColor;
use std::ops::Range;

/// Image rejection over LO, a line per IF, with the requirement and the bands that pass.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_rejection(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<Vec<u8>, PlotError> {
    let required = receiver.limits.image_rejection_db;
    let ifs = IfLines::of(receiver, MOST_IFS);
    let shown = |point: &PlanPoint| cut(point.balance.image_rejection_db);
    let values = ifs.points(result).map(shown).chain(required);
    let (x, y) = (lo_range(receiver), range_of(values, 5.0));
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
    let required_name = format!("required {} dB", required.unwrap_or_default());
    if required.is_some() {
        legend.push(Entry { name: &required_name, colour: VERMILION, dash: Dash::Dashed });
    }
    let bands = &result.verdict.bands_that_pass_hz;
    let has_requirements = !result.verdict.requirements.is_empty();
    if has_requirements {
        let name = if bands.is_empty() {
            "all requirements hold: nowhere"
        } else {
            "all requirements hold"
        };
        legend.push(Entry { name, colour: GREEN, dash: Dash::Area });
    }
    picture(|canvas| {
        let (_, mut chart) = chart(canvas, &axes, &legend, Sizes::LARGE)?;
        // Without a requirement everything passes, which is not worth a colour.
        for &(low, high) in bands.iter().filter(|_| has_requirements) {
            // A single point passes too, and should be seen.
            let least = 0.002 * (x.end - x.start);
            let (low, high) = (ghz(low) - least, ghz(high) + least);
            shade(&mut chart, (low.max(x.start), high.min(x.end)), &y, GREEN)?;
        }
        if let Some(required) = required {
            level(&mut chart, &x, required, VERMILION, Dash::Dashed, Sizes::LARGE)?;
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
    let limits = &receiver.limits;
    picture(|canvas| {
        let halves = canvas.split_evenly((2, 1));
        let amplitude = Signed {
            title: "Amplitude imbalance, Q over I, wanted sideband",
            quantity: "Imbalance",
            unit: "dB",
            limit: limits.amplitude_imbalance_db,
        };
        amplitude.draw(&halves[0], receiver, result, |point| point.balance.wanted().0)?;
        let phase = Signed {
            title: "Quadrature error, wanted sideband",
            quantity: "Quadrature error",
            unit: "deg",
            limit: limits.quadrature_error_deg,
        };
        phase.draw(&halves[1], receiver, result, |point| point.balance.wanted().1)
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
        true => drive.lo_power_dbm.unwrap_or(f64::NAN),
        false => db_from_amplitude(drive.lo_magnitude),
    };
    let (title, y_label) = if has_power {
        ("LO power at each element", "LO power (dBm)")
    } else {
        ("LO voltage at each element, per root of available power", "LO voltage (dB over 1 V/√W)")
    };
    let required = receiver.limits.lo_power_dbm_min.filter(|_| has_power);
    let y = range_of(drives().map(value).chain(required), 1.0);
    let x = lo_range(receiver);
    let axes = Axes { title, x_label: LO_LABEL, y_label, x: x.clone(), y: y.clone() };

    let lines: Vec<Vec<(f64, f64)>> = (0..receiver.mixers.len())
        .map(|at| {
            result.lo.iter().map(|point| (ghz(point.lo_hz), value(&point.mixers[at]))).collect()
        })
        .collect();
    let names: Vec<String> = receiver
        .mixers
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
    let required_name = format!("required at least {} dBm", required.unwrap_or_default());
    if required.is_some() {
        legend.push(Entry { name: &required_name, colour: VERMILION, dash: Dash::Dashed });
    }
    picture(|canvas| {
        let (_, mut chart) = chart(canvas, &axes, &legend, Sizes::LARGE)?;
        if let Some(required) = required {
            level(&mut chart, &x, required, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        nested(&mut chart, &lines)
    })
}

/// Below this the wanted sideband is as good as absent.
pub(super) const LOWEST_REJECTION_DB: f64 = -HIGHEST_REJECTION_DB;
/// What an axis says where rejections are drawn at the edge.
pub(super) const CUT_NOTE: &str = ", cut at ±80";

/// A rejection as drawn.
pub(super) fn cut(rejection_db: f64) -> f64 {
    rejection_db.clamp(LOWEST_REJECTION_DB, HIGHEST_REJECTION_DB)
}

/// Whether a rejection is drawn at the edge.
pub(super) fn is_beyond(rejection_db: f64) -> bool {
    !(LOWEST_REJECTION_DB..=HIGHEST_REJECTION_DB).contains(&rejection_db)
}

pub(super) const LO_LABEL: &str = "LO at the mixers (GHz)";

/// More lines than this cannot be followed.
const MOST_IFS: usize = 6;

/// The LO range, in GHz; a single LO still needs an axis.
fn lo_range(receiver: &Receiver) -> Range<f64> {
    let lo_hz = &receiver.plan.lo_hz;
    let (low, high) = match lo_hz.as_slice() {
        [] => (0.0, 0.0),
        [low, .., high] => (ghz(*low), ghz(*high)),
        [only] => (ghz(*only), ghz(*only)),
    };
    if low < high { low..high } else { 0.98 * low..1.02 * high.max(f64::MIN_POSITIVE) }
}

/// The look of one among several lines: colour and dash differ.
pub(super) fn look(at: usize) -> (RGBColor, Dash) {
    // Vermilion is for limits.
    const COLOURS: [RGBColor; 6] = [BLUE, ORANGE, GREEN, PURPLE, SKY_BLUE, BLACK];
    const DASHES: [Dash; 3] = [Dash::Solid, Dash::Dashed, Dash::Dotted];
    (COLOURS[at % COLOURS.len()], DASHES[(at + at / COLOURS.len()) % DASHES.len()])
}

/// A number with its sign, and none for nothing.
pub(super) fn signed(value: f64, digits: usize) -> String {
    let text = format!("{value:+.digits$}");
    let is_nothing = text.chars().all(|c| matches!(c, '+' | '-' | '.' | '0'));
    if is_nothing { format!("{:.digits$}", 0.0) } else { text }
}

/// Lines with the look of their place. One that others lie on is drawn the wider, so that it shows
/// beneath them.
fn nested(chart: &mut Chart<'_, '_>, lines: &[Vec<(f64, f64)>]) -> Result<(), PlotError> {
    let widths = nested_widths(chart, lines);
    for (at, (points, width)) in lines.iter().zip(widths).enumerate() {
        let (colour, dash) = look(at);
        let sizes = Sizes { line: width, ..Sizes::LARGE };
        line(chart, points.iter().copied(), colour, dash, sizes)?;
    }
    Ok(())
}

/// How wide each of several lines is to be, by how many later ones lie on it.
pub(super) fn nested_widths(chart: &Chart<'_, '_>, lines: &[Vec<(f64, f64)>]) -> Vec<u32> {
    let places: Vec<Vec<Pixel>> = lines
        .iter()
        .map(|line| {
            let finite = line.iter().filter(|(_, y)| y.is_finite());
            finite.map(|at| chart.backend_coord(at)).collect()
        })
        .collect();
    let is_on = |one: &[Pixel], other: &[Pixel]| {
        let close = |(one, other): (&Pixel, &Pixel)| {
            (one.0 - other.0).abs().max((one.1 - other.1).abs()) < px_i(6)
        };
        one.len() == other.len() && one.iter().zip(other).all(close)
    };
    let width = |at: usize| {
        let above = places[at + 1..].iter().filter(|other| is_on(&places[at], other)).take(3);
        above.fold(Sizes::LARGE.line, |width, _| width + 3)
    };
    (0..lines.len()).map(width).collect()
}

/// A level over the whole width.
fn level(
    chart: &mut Chart<'_, '_>,
    x: &Range<f64>,
    at: f64,
    colour: RGBColor,
    dash: Dash,
    sizes: Sizes,
) -> Result<(), PlotError> {
    line(chart, [(x.start, at), (x.end, at)], colour, dash, sizes)
}

/// The IFs that a picture shows.
pub(super) struct IfLines {
    count: usize,
    pub(super) shown: Vec<usize>,
    pub(super) names: Vec<String>,
}

impl IfLines {
    /// All, or so many at even distances with both ends.
    pub(super) fn of(receiver: &Receiver, most: usize) -> Self {
        let if_hz = &receiver.plan.if_hz;
        let count = if_hz.len();
        let shown: Vec<usize> = if count <= most {
            (0..count).collect()
        } else {
            let steps = most - 1;
            (0..most).map(|at| (at * (count - 1) + steps / 2) / steps).collect()
        };
        let names = shown.iter().map(|&at| format!("IF {}", ShownFrequency(if_hz[at]))).collect();
        Self { count, shown, names }
    }

    /// What a title says of those left out.
    fn note(&self) -> String {
        if self.shown.len() < self.count {
            format!(", {} of {} IFs", self.shown.len(), self.count)
        } else {
            String::new()
        }
    }

    /// The points of one IF.
    pub(super) fn line<'r>(
        &self,
        result: &'r DownconverterResult,
        at: usize,
    ) -> impl Iterator<Item = &'r PlanPoint> + use<'r> {
        result.points.iter().skip(at).step_by(self.count.max(1))
    }

    /// The points of all IFs that are shown.
    fn points<'r>(&self, result: &'r DownconverterResult) -> impl Iterator<Item = &'r PlanPoint> {
        self.shown.iter().flat_map(|&at| self.line(result, at))
    }

    fn legend(&self) -> Vec<Entry<'_>> {
        self.names
            .iter()
            .enumerate()
            .map(|(at, name)| Entry { name, colour: look(at).0, dash: look(at).1 })
            .collect()
    }

    fn draw(
        &self,
        chart: &mut Chart<'_, '_>,
        result: &DownconverterResult,
        value: impl Fn(&PlanPoint) -> f64,
    ) -> Result<(), PlotError> {
        let points = |&at: &usize| {
            let mut shown: Vec<(f64, f64)> = Vec::new();
            for point in self.line(result, at) {
                let (x, y) = (ghz(point.lo_hz), value(point));
                // An angle that comes round at half a turn does not cross the picture.
                if shown.last().is_some_and(|last| (last.1 - y).abs() > 180.0) {
                    shown.push((x, f64::NAN));
                }
                shown.push((x, y));
            }
            shown
        };
        let lines: Vec<Vec<(f64, f64)>> = self.shown.iter().map(points).collect();
        nested(chart, &lines)
    }
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
        let x = lo_range(receiver);
        let axes = Axes {
            title: &format!("{}{}", self.title, ifs.note()),
            x_label: LO_LABEL,
            y_label: &format!("{} ({})", self.quantity, self.unit),
            x: x.clone(),
            y: range_of(values, 1e-3),
        };
        let mut legend = ifs.legend();
        let limit_name =
            format!("limit {} {} either way", self.limit.unwrap_or_default(), self.unit);
        if self.limit.is_some() {
            legend.push(Entry { name: &limit_name, colour: VERMILION, dash: Dash::Dashed });
        }
        let (_, mut chart) = chart(panel, &axes, &legend, Sizes::LARGE)?;
        level(&mut chart, &x, 0.0, GREY, Dash::Solid, Sizes { line: 1, ..Sizes::LARGE })?;
        for limit in limits {
            level(&mut chart, &x, limit, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        ifs.draw(&mut chart, result, value)
    }
}
