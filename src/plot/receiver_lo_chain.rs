//! Pictures of a receiver's LO chain: level plan, spectrum at the mixers, spurious responses, and the
//! window of input power.

use super::axis::{Chart, Ticks, range_of};
use super::canvas::picture;
use super::caption::Caption;
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::frequency_axis::{LO_LABEL, frequency_range, ghz};
use super::legend::{Entry, limit_entry};
use super::lettering::note;
use super::picture::Picture;
use super::series::{area, horizontal, line, shade, vertical};
use super::style::{BLACK, BLUE, Dash, GREEN, GREY, ORANGE, PURPLE, SKY_BLUE, Sizes, VERMILION};
use crate::downconverter::{
    DownconverterResult, LoChainResult, PowerPoint, PowerWindow, Receiver, ReceiverPlan, Sideband,
    SpuriousResponse, StagePoint,
};
use crate::requirement::{Figure, Quantity};
use crate::units::ShownFrequency;
use plotters::prelude::RGBColor;
use std::ops::Range;

/// Levels weaker than this are not shown, dB.
const WEAKEST_SHOWN_DB: f64 = -100.0;
/// How far a mark reaches to either side of its stage.
const MARK: f64 = 0.28;

/// The carrier behind every stage as a band over the LOs, with saturation and the drive that each stage
/// needs and bears.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lo_level_plan(
    caption: &Caption<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
    chain: &LoChainResult,
) -> Result<Picture, PlotError> {
    let nodes = level_nodes(receiver, result, chain);
    let marks = level_marks(chain);
    let levels = nodes.iter().flat_map(|node| [node.low_dbm, node.high_dbm]);
    let y = range_of(levels.chain(marks.iter().map(|mark| mark.dbm)), 10.0);
    let last = nodes.last().map_or(1.0, |node| node.x);
    // The names are inside the frame, where two rows of them fit.
    let places: Vec<(f64, String)> = nodes.iter().map(|node| (node.x, String::new())).collect();
    let axes = Axes {
        x_label: "Stages, from the source to the mixers",
        y_label: "LO power (dBm)",
        x: -0.6..last + 0.6,
        x_ticks: Ticks::Named(&places),
        // Room for the names below.
        y: y.start - 0.12 * (y.end - y.start)..y.end,
        ..Axes::default()
    };
    let legend = [
        Entry { name: "carrier, over all LOs", colour: BLUE, dash: Dash::Area },
        Entry { name: "saturated output", colour: PURPLE, dash: Dash::Dotted },
        Entry {
            name: "drive that the next stage needs and bears",
            colour: VERMILION,
            dash: Dash::Dashed,
        },
    ];
    let floor = axes.y.start;
    let height = axes.y.end - axes.y.start;
    let name = "Level plan of the LO chain";
    picture(name, |canvas| {
        let body = caption.head(canvas, name)?;
        let (panel, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        let edge = |value: fn(&LevelNode) -> f64| -> Vec<(f64, f64)> {
            nodes.iter().map(|node| (node.x, value(node))).collect()
        };
        let (low, high) = (edge(|node| node.low_dbm), edge(|node| node.high_dbm));
        area(&mut chart, &low, &high, BLUE)?;
        line(&mut chart, low, BLUE, Dash::Solid, Sizes::LARGE)?;
        line(&mut chart, high, BLUE, Dash::Solid, Sizes::LARGE)?;
        for mark in &marks {
            let ends = [(mark.x - MARK, mark.dbm), (mark.x + MARK, mark.dbm)];
            line(&mut chart, ends, mark.colour, mark.dash, Sizes::LARGE)?;
        }
        for (at, node) in nodes.iter().enumerate() {
            // Names of many stages are in two rows.
            let row = if nodes.len() > 8 && at % 2 == 1 { 0.085 } else { 0.035 };
            let place = chart.backend_coord(&(node.x, floor + row * height));
            note(&panel, place, &node.name, BLACK, Sizes::LARGE)?;
        }
        Ok(())
    })
}

/// A place along the chain with its levels over the LOs.
struct LevelNode {
    x: f64,
    name: String,
    low_dbm: f64,
    high_dbm: f64,
}

/// A level at a place.
struct LevelMark {
    x: f64,
    dbm: f64,
    colour: RGBColor,
    dash: Dash,
}

#[expect(clippy::cast_precision_loss, reason = "a chain has few stages")]
fn level_nodes(
    receiver: &Receiver,
    result: &DownconverterResult,
    chain: &LoChainResult,
) -> Vec<LevelNode> {
    let node = |x: f64, name: String, values: &mut dyn Iterator<Item = f64>| {
        let (low_dbm, high_dbm) = values
            .filter(|dbm| dbm.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), dbm| {
                (low.min(dbm), high.max(dbm))
            });
        LevelNode { x, name, low_dbm, high_dbm }
    };
    let mut nodes = vec![node(0.0, "source".to_owned(), &mut std::iter::once(chain.source_dbm))];
    for (at, stage) in chain.stages.iter().enumerate() {
        let mut levels = stage.points.iter().map(|point: &StagePoint| point.carrier_dbm);
        nodes.push(node(at as f64 + 1.0, stage.name.clone(), &mut levels));
    }
    let drives = result.lo.iter().flat_map(|point| &point.mixers);
    let mut powers = drives.filter_map(|drive| drive.lo_power_dbm.and_then(Figure::value));
    let name = if receiver.mixers().len() == 1 { "mixer" } else { "mixers" };
    nodes.push(node(chain.stages.len() as f64 + 1.0, name.to_owned(), &mut powers));
    nodes.retain(|node| node.low_dbm.is_finite() && node.high_dbm.is_finite());
    nodes
}

#[expect(clippy::cast_precision_loss, reason = "a chain has few stages")]
fn level_marks(chain: &LoChainResult) -> Vec<LevelMark> {
    let mut marks = Vec::new();
    for (at, stage) in chain.stages.iter().enumerate() {
        let x = at as f64 + 1.0;
        let saturated = stage.saturated_dbm;
        marks.extend(saturated.map(|dbm| LevelMark { x, dbm, colour: PURPLE, dash: Dash::Dotted }));
        // A stage inside the network may be in parallel with others: its drive is not the level before it.
        if !stage.is_inside {
            let limits = [stage.drive_limits.min_dbm, stage.drive_limits.max_dbm];
            let mark =
                |dbm: f64| LevelMark { x: x - 1.0, dbm, colour: VERMILION, dash: Dash::Dashed };
            marks.extend(limits.into_iter().flatten().map(mark));
        }
    }
    marks
}

/// The tones beside the LO at the mixer where each is strongest, at the centre LO.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lo_spectrum(
    caption: &Caption<'_>,
    receiver: &Receiver,
    chain: &LoChainResult,
) -> Result<Picture, PlotError> {
    let plan = receiver.plan();
    let strongest =
        chain.tones_at_mixers.iter().max_by(|one, other| one.dbc().total_cmp(&other.dbc()));
    let lo_hz = strongest.map_or(plan.lo_hz()[plan.centre()], |tone| tone.lo_hz);
    let mut stems: Vec<(f64, f64, String)> = chain
        .tones_at_mixers
        .iter()
        .filter(|tone| tone.lo_hz.total_cmp(&lo_hz).is_eq() && tone.dbc() > WEAKEST_SHOWN_DB)
        .map(|tone| (ghz(tone.frequency_hz), tone.dbc(), format!("x{}", tone.multiple)))
        .collect();
    stems.push((
        ghz(lo_hz / f64::from(plan.settings().lo_multiplication_after_split)),
        0.0,
        "LO".to_owned(),
    ));
    let limit = receiver.limits().on(Quantity::LoTone);
    let x = range_of(stems.iter().map(|stem| stem.0), 4.0);
    let levels = stems.iter().map(|stem| stem.1).chain(limit).chain([-40.0]);
    let y = range_of(levels, 20.0);
    let axes = Axes {
        x_label: "Frequency (GHz)",
        y_label: "Voltage against the LO (dBc)",
        x: x.clone(),
        y: y.start..y.end.max(8.0),
        ..Axes::default()
    };
    let limit_name = limit.map(|dbc| format!("required at most {dbc} dBc"));
    let legend: Vec<Entry<'_>> = limit_entry(limit_name.as_ref()).into_iter().collect();
    let which = if strongest.is_some() { ", where the strongest is" } else { "" };
    let name = &format!("Tones at the mixers at LO {}{which}", ShownFrequency(lo_hz));
    picture(name, |canvas| {
        let body = caption.head(canvas, name)?;
        let (panel, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        if let Some(limit) = limit {
            horizontal(&mut chart, &x, limit, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        for (frequency, dbc, name) in &stems {
            let colour = if name == "LO" { BLACK } else { BLUE };
            let ends = [(*frequency, axes.y.start), (*frequency, *dbc)];
            line(&mut chart, ends, colour, Dash::Solid, Sizes { line: 5, ..Sizes::LARGE })?;
            let above = dbc + 0.035 * (axes.y.end - axes.y.start);
            let place = chart.backend_coord(&(*frequency, above));
            note(&panel, place, name, colour, Sizes::LARGE)?;
        }
        Ok(())
    })
}

/// The lines of spurious responses by their level: from so many dB upwards.
const LEVELS: [(f64, RGBColor, Dash, &str); 3] = [
    (-40.0, VERMILION, Dash::Solid, "response above -40 dB"),
    (-60.0, ORANGE, Dash::Dashed, "response of -40 to -60 dB"),
    (WEAKEST_SHOWN_DB, SKY_BLUE, Dash::Dotted, "response below -60 dB"),
];

/// The RF of every spurious response over the LO, coloured by its level, with the wanted RF and its
/// band.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn spurious_map(
    caption: &Caption<'_>,
    receiver: &Receiver,
    chain: &LoChainResult,
) -> Result<Picture, PlotError> {
    let plan = receiver.plan();
    let shown: Vec<&SpuriousResponse> = chain
        .spurious_responses
        .iter()
        .filter(|own| own.relative_db() > WEAKEST_SHOWN_DB)
        .collect();
    let wanted: Vec<Vec<(f64, f64)>> =
        (0..plan.if_hz().len()).map(|intermediate| wanted_line(plan, intermediate)).collect();
    let wanted_rf = || wanted.iter().flatten().map(|point| point.1).filter(|rf| rf.is_finite());
    let (low, high) = match plan.settings().rf_hz {
        Some((low_hz, high_hz)) => (ghz(low_hz), ghz(high_hz)),
        None => (
            wanted_rf().fold(f64::INFINITY, f64::min),
            wanted_rf().fold(f64::NEG_INFINITY, f64::max),
        ),
    };
    let x = frequency_range(plan.lo_hz());
    let y = range_of(shown.iter().map(|own| ghz(own.rf_hz)).chain(wanted_rf()), 2.0);
    let axes = Axes { x_label: LO_LABEL, y_label: "RF (GHz)", x: x.clone(), y, ..Axes::default() };
    let mut legend = vec![
        Entry { name: "wanted RF", colour: BLACK, dash: Dash::Solid },
        Entry { name: "RF band", colour: GREEN, dash: Dash::Area },
    ];
    let lines = ResponseLine::all_of(plan, &shown);
    let mut highest_db = f64::INFINITY;
    for (least_db, colour, dash, name) in LEVELS {
        let occurs = |own: &&SpuriousResponse| (least_db..highest_db).contains(&own.relative_db());
        if shown.iter().any(occurs) {
            legend.push(Entry { name, colour, dash });
        }
        highest_db = least_db;
    }
    let name = "RF of the spurious responses over LO";
    picture(name, |canvas| {
        let body = caption.head(canvas, name)?;
        let (panel, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        area(
            &mut chart,
            &[(x.start, low), (x.end, low)],
            &[(x.start, high), (x.end, high)],
            GREEN,
        )?;
        let mut highest_db = f64::INFINITY;
        for (least_db, colour, dash, _) in LEVELS {
            for response in &lines {
                let points = response.within(plan, &(least_db..highest_db));
                line(&mut chart, points, colour, dash, Sizes::LARGE)?;
            }
            highest_db = least_db;
        }
        for points in &wanted {
            line(&mut chart, points.iter().copied(), BLACK, Dash::Solid, Sizes::LARGE)?;
        }
        // The lines of one tone are parallel: one name serves all its IFs.
        let first_if_hz = lines.iter().map(|line| line.if_hz).fold(f64::INFINITY, f64::min);
        for response in lines.iter().filter(|line| line.if_hz <= first_if_hz) {
            if let Some((name, at)) = response.label(plan) {
                note(&panel, chart.backend_coord(&at), &name, BLACK, Sizes::LARGE)?;
            }
        }
        Ok(())
    })
}

/// A spurious response over LO: RF in GHz and level in dB, `f64::NAN` where there is none.
struct ResponseLine {
    multiple: f64,
    sideband: Sideband,
    if_hz: f64,
    rf_ghz: Vec<f64>,
    level_db: Vec<f64>,
}

impl ResponseLine {
    fn all_of(plan: &ReceiverPlan, responses: &[&SpuriousResponse]) -> Vec<Self> {
        let lo_hz = plan.lo_hz();
        let mut lines: Vec<Self> = Vec::new();
        for own in responses {
            let key = (own.multiple, own.sideband, own.if_hz);
            let is_it = |line: &Self| (line.multiple, line.sideband, line.if_hz) == key;
            let place = lines.iter().position(is_it).unwrap_or(lines.len());
            if place == lines.len() {
                let (multiple, sideband, if_hz) = key;
                let none = vec![f64::NAN; lo_hz.len()];
                let (rf_ghz, level_db) = (none.clone(), none);
                lines.push(Self { multiple, sideband, if_hz, rf_ghz, level_db });
            }
            let at = lo_hz.partition_point(|&hz| hz < own.lo_hz);
            if at < lo_hz.len() {
                lines[place].rf_ghz[at] = ghz(own.rf_hz);
                lines[place].level_db[at] = own.relative_db();
            }
        }
        lines
    }

    /// The line where its level is in a range, up to the points at which it leaves the range: so it
    /// goes on where the level changes.
    fn within(&self, plan: &ReceiverPlan, levels_db: &Range<f64>) -> Vec<(f64, f64)> {
        let is_within = |at: usize| self.level_db.get(at).is_some_and(|db| levels_db.contains(db));
        over_lo(plan, |lo| {
            let near = [Some(lo), lo.checked_sub(1), lo.checked_add(1)];
            if near.into_iter().flatten().any(is_within) { self.rf_ghz[lo] } else { f64::NAN }
        })
    }

    /// The name of the line, and the point in the middle of it.
    fn label(&self, plan: &ReceiverPlan) -> Option<(String, (f64, f64))> {
        let points: Vec<(f64, f64)> = over_lo(plan, |lo| self.rf_ghz[lo]);
        let points: Vec<_> = points.into_iter().filter(|point| point.1.is_finite()).collect();
        let sign = match self.sideband {
            Sideband::Upper => '+',
            Sideband::Lower => '-',
        };
        Some((format!("x{} {sign} IF", self.multiple), *points.get(points.len() / 2)?))
    }
}

/// The wanted RF of an IF over LO, GHz.
fn wanted_line(plan: &ReceiverPlan, intermediate: usize) -> Vec<(f64, f64)> {
    over_lo(plan, |lo| match plan.point_of(lo, intermediate) {
        Some(at) => {
            let point = &plan.points()[at];
            ghz(plan.rf_hz(point.lo_hz, point.if_hz, plan.wanted()))
        }
        None => f64::NAN,
    })
}

/// Values over LO in GHz, broken where LOs are not in the plan.
fn over_lo(plan: &ReceiverPlan, value: impl Fn(usize) -> f64) -> Vec<(f64, f64)> {
    let mut shown = Vec::new();
    for run in plan.lo_runs() {
        shown.extend(run.clone().map(|lo| (ghz(plan.lo_hz()[lo]), value(lo))));
        shown.extend(shown.last().map(|last: &(f64, f64)| (last.0, f64::NAN)));
    }
    shown
}

/// LO power at the weakest and the strongest mixer over source power, with the limits and the window
/// that keeps them.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn input_window(
    caption: &Caption<'_>,
    receiver: &Receiver,
    chain: &LoChainResult,
) -> Result<Picture, PlotError> {
    let limits = receiver.limits();
    let bounds: Vec<(f64, &str)> = [
        (limits.on(Quantity::LoPower), "required at least"),
        (limits.on(Quantity::LoPowerMax), "required at most"),
    ]
    .into_iter()
    .filter_map(|(limit, words)| Some((limit?, words)))
    .collect();
    let curve = |value: fn(&PowerPoint) -> f64| -> Vec<(f64, f64)> {
        chain.power_curve.iter().map(|point| (point.source_dbm, value(point))).collect()
    };
    let (weakest, strongest) = (curve(|p| p.weakest_dbm), curve(|p| p.strongest_dbm));
    // Far below the knees the power falls without end.
    let top = strongest.iter().map(|point| point.1).fold(f64::NEG_INFINITY, f64::max);
    let is_shown = |point: &&(f64, f64)| point.1 > top - 40.0;
    let levels = weakest.iter().filter(is_shown).chain(&strongest).map(|point| point.1);
    let y =
        range_of(levels.filter(|dbm| *dbm > top - 40.0).chain(bounds.iter().map(|own| own.0)), 5.0);
    let x = range_of(strongest.iter().map(|point| point.0), 10.0);
    let axes = Axes {
        x_label: "Power of the source (dBm)",
        y_label: "LO power at the mixers (dBm)",
        x: x.clone(),
        y: y.clone(),
        ..Axes::default()
    };
    let names: Vec<String> =
        bounds.iter().map(|(dbm, words)| format!("{words} {dbm} dBm")).collect();
    let mut legend = vec![
        Entry { name: "weakest mixer and LO", colour: BLUE, dash: Dash::Solid },
        Entry { name: "strongest", colour: ORANGE, dash: Dash::Dashed },
        Entry { name: "present power", colour: GREY, dash: Dash::Dotted },
    ];
    let window = match chain.input_window {
        PowerWindow::Open { low_dbm, high_dbm } if low_dbm.is_some() || high_dbm.is_some() => {
            let low = low_dbm.unwrap_or(x.start).max(x.start);
            Some((low, high_dbm.unwrap_or(x.end).min(x.end))).filter(|own| own.0 < own.1)
        }
        _ => None,
    };
    if window.is_some() {
        legend.push(Entry {
            name: "keeps all limits on power and drive",
            colour: GREEN,
            dash: Dash::Area,
        });
    }
    legend.extend(names.iter().filter_map(|name| limit_entry(Some(name))));
    let name = "LO power over the power of the source";
    picture(name, |canvas| {
        let body = caption.head(canvas, name)?;
        let (_, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        if let Some(window) = window {
            shade(&mut chart, window, &y, GREEN)?;
        }
        for (dbm, _) in &bounds {
            horizontal(&mut chart, &x, *dbm, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        vertical(&mut chart, chain.source_dbm, &y, GREY, Dash::Dotted, Sizes::LARGE)?;
        draw_above(&mut chart, &weakest, y.start, BLUE, Dash::Solid)?;
        draw_above(&mut chart, &strongest, y.start, ORANGE, Dash::Dashed)
    })
}

/// A line where it is above the lower end of the picture.
fn draw_above(
    chart: &mut Chart<'_, '_>,
    points: &[(f64, f64)],
    floor: f64,
    colour: RGBColor,
    dash: Dash,
) -> Result<(), PlotError> {
    let shown = points.iter().map(|&(x, y)| (x, if y > floor { y } else { f64::NAN }));
    line(chart, shown, colour, dash, Sizes::LARGE)
}
