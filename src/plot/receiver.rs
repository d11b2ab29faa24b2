//! Pictures of a receiver over its LO.

use super::splitter::{HIGHEST_REJECTION_DB, contour_axes, ghz, is_inside};
use super::style::{
    Axes, BLACK, BLUE, Canvas, Chart, Dash, Entry, GREEN, GREY, ORANGE, PURPLE, Pixel, PlotError,
    SKY_BLUE, Sizes, VERMILION, chart, line, note, picture, place_beside, px, px_i, range_of,
    shade,
};
use crate::downconverter::{DownconverterResult, MixerDrive, PlanPoint, Receiver};
use crate::splitter::{channel_error, contour_family};
use crate::units::{ShownFrequency, db_from_amplitude, wrap_deg};
use plotters::prelude::{Circle, Color, EmptyElement, RGBColor};
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
    let shown = |point: &PlanPoint| point.balance.image_rejection_db.min(HIGHEST_REJECTION_DB);
    let values = ifs.points(result).map(shown).chain(required);
    let (x, y) = (lo_range(receiver), range_of(values, 5.0));
    let is_cut =
        ifs.points(result).any(|point| point.balance.image_rejection_db > HIGHEST_REJECTION_DB);
    let cut = if is_cut { format!(", cut at {HIGHEST_REJECTION_DB}") } else { String::new() };
    let axes = Axes {
        title: &format!("Image rejection over LO{}", ifs.note()),
        x_label: LO_LABEL,
        y_label: &format!("Image rejection (dB{cut})"),
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
    let trimmed = |(imbalance_db, phase_deg): (f64, f64)| {
        (imbalance_db + trim.amplitude_db, wrap_deg(phase_deg + trim.phase_deg))
    };
    let ifs = IfLines::of(receiver, 3);
    let ways: Vec<[Vec<(f64, f64)>; 2]> = ifs
        .shown
        .iter()
        .map(|&at| {
            let before: Vec<_> = ifs.line(result, at).map(|point| point.balance.image()).collect();
            let after = before.iter().copied().map(trimmed).collect();
            [before, after]
        })
        .collect();
    let errors: Vec<_> =
        ways.iter().flatten().flatten().map(|&(db, deg)| channel_error(db, deg)).collect();
    let family = contour_family(&errors, receiver.limits.image_rejection_db);
    let title = format!(
        "Channel error over LO and its rejection (dB); best single trim {} dB, {} deg",
        signed(trim.amplitude_db, 2),
        signed(trim.phase_deg, 2)
    );
    // Three IFs before and after: six colours.
    let colours = [[BLUE, ORANGE], [GREEN, PURPLE], [BLACK, SKY_BLUE]];
    let names: Vec<[String; 2]> = ifs
        .names
        .iter()
        .map(|name| [format!("{name}, untrimmed"), format!("{name}, trimmed")])
        .collect();
    let legend: Vec<Entry<'_>> = names
        .iter()
        .zip(colours)
        .flat_map(|([before, after], [dark, light])| {
            [
                Entry { name: before, colour: dark, dash: Dash::Solid },
                Entry { name: after, colour: light, dash: Dash::Dashed },
            ]
        })
        .collect();
    // Labels of the curves go to the corner that the errors visit least.
    let (x, y) =
        ways.iter().flatten().flatten().fold((0.0, 0.0), |(x, y), (dx, dy)| (x + dx, y + dy));
    let away = (if x > 0.0 { -1.0 } else { 1.0 }, if y > 0.0 { -1.0 } else { 1.0 });
    picture(|canvas| {
        let (canvas, mut chart) =
            contour_axes(canvas, &family, &title, away, &legend, Sizes::LARGE)?;
        for (way, colours) in ways.iter().zip(colours) {
            for (way, (colour, dash)) in
                way.iter().zip([(colours[0], Dash::Solid), (colours[1], Dash::Dashed)])
            {
                let inside = |&at: &(f64, f64)| {
                    if is_inside(&family, at) { at } else { (at.0, f64::NAN) }
                };
                let mut shown: Vec<(f64, f64)> = Vec::new();
                for at in way {
                    // A phase that comes round at half a turn is no way across the plane.
                    if shown.last().is_some_and(|last| (last.1 - at.1).abs() > 180.0) {
                        shown.push((at.0, f64::NAN));
                    }
                    shown.push(inside(at));
                }
                line(&mut chart, shown, colour, dash, Sizes::LARGE)?;
            }
        }
        let inside: Vec<(&[(f64, f64)], RGBColor)> = ways
            .iter()
            .zip(colours)
            .filter(|([before, _], _)| before.iter().all(|at| is_inside(&family, *at)))
            .map(|([before, _], [colour, _])| (before.as_slice(), colour))
            .collect();
        let drawn: Vec<Pixel> = ways
            .iter()
            .flatten()
            .flatten()
            .filter(|at| is_inside(&family, **at))
            .map(|at| chart.backend_coord(at))
            .collect();
        mark_ends(&canvas, &mut chart, receiver, &inside, &drawn)
    })
}

/// Dots and frequencies at the ends of ways.
fn mark_ends(
    canvas: &Canvas<'_>,
    chart: &mut Chart<'_, '_>,
    receiver: &Receiver,
    ways: &[(&[(f64, f64)], RGBColor)],
    drawn: &[Pixel],
) -> Result<(), PlotError> {
    let lo_hz = &receiver.plan.lo_hz;
    let mut ends = Vec::new();
    for (way, colour) in ways {
        let last = way.len().saturating_sub(1);
        for at in if last == 0 { vec![0] } else { vec![0, last] } {
            let dot = EmptyElement::at(way[at])
                + Circle::new((0, 0), px(Sizes::LARGE.line * 2), colour.filled());
            chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
            ends.push((at, chart.backend_coord(&way[at])));
        }
    }
    let frame = chart.plotting_area().get_pixel_range();
    let mut noted: Vec<(usize, Pixel)> = Vec::new();
    for &(at, place) in &ends {
        let text = ShownFrequency(lo_hz[at]).to_string();
        // Ends of other ways at the same LO lie close by and may share the label.
        let others: Vec<Pixel> =
            ends.iter().filter(|(other, _)| *other != at).map(|(_, place)| *place).collect();
        let beside = place_beside(place, (drawn, &others), &frame, &text, Sizes::LARGE);
        let apart = |&(_, other): &(usize, Pixel), place: Pixel| {
            (other.0 - place.0).abs() > px_i(Sizes::LARGE.label * 5)
                || (other.1 - place.1).abs() > px_i(Sizes::LARGE.label * 5 / 4)
        };
        if let Some(beside) = beside.filter(|&place| noted.iter().all(|other| apart(other, place)))
        {
            note(canvas, beside, &text, BLACK, Sizes::LARGE)?;
            noted.push((at, beside));
        }
    }
    Ok(())
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
    let close = 0.006 * (y.end - y.start);
    picture(|canvas| {
        let (_, mut chart) = chart(canvas, &axes, &legend, Sizes::LARGE)?;
        if let Some(required) = required {
            level(&mut chart, &x, required, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        for (at, points) in lines.iter().enumerate() {
            // Lines that lie on one another are drawn the thinner the later.
            let coincides = |other: &&Vec<(f64, f64)>| {
                other.iter().zip(points).all(|(one, other)| (one.1 - other.1).abs() < close)
            };
            let above = lines[at + 1..].iter().filter(coincides).take(3);
            let width = (0_u32..).zip(above).fold(Sizes::LARGE.line, |width, _| width + 3);
            let (colour, dash) = look(at);
            line(
                &mut chart,
                points.iter().copied(),
                colour,
                dash,
                Sizes { line: width, ..Sizes::LARGE },
            )?;
        }
        Ok(())
    })
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
struct IfLines {
    count: usize,
    shown: Vec<usize>,
    names: Vec<String>,
}

impl IfLines {
    /// All, or so many at even distances with both ends.
    fn of(receiver: &Receiver, most: usize) -> Self {
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
    fn line<'r>(
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
        for (place, &at) in self.shown.iter().enumerate() {
            let (colour, dash) = look(place);
            let points = self.line(result, at).map(|point| (ghz(point.lo_hz), value(point)));
            line(chart, points, colour, dash, Sizes::LARGE)?;
        }
        Ok(())
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
