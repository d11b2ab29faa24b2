//! Rejections from S-parameters, within what can be said of the truth.

use super::axis::{Chart, range_of};
use super::canvas::{Canvas, picture};
use super::caption::Caption;
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::frequency_axis::{LO_LABEL, frequency_range, ghz};
use super::legend::{Entry, limit_entry};
use super::picture::Picture;
use super::rejection_axis::{CUT_NOTE, cut, is_beyond, required_name};
use super::series::{area, horizontal, line};
use super::style::{BLACK, BLUE, Dash, GREEN, GREY, ORANGE, Sizes, VERMILION};
use super::verdict_bands::VerdictBands;
use crate::downconverter::{DownconverterResult, Receiver};
use crate::measurement::{Assessment, ReceiverUncertainty, SplitterUncertainty, ToneComparisons};
use crate::requirement::{Compliance, Limit, Quantity};
use crate::splitter::SplitterResult;
use crate::units::ShownFrequency;
use std::ops::Range;

/// A rejection and the interval for it, dB, at a frequency, GHz.
struct Point {
    at_ghz: f64,
    measured: f64,
    median: f64,
    low: f64,
    high: f64,
}

/// The rejection of a splitter with its coverage band, the limit and the guard band.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn splitter_coverage(
    caption: &Caption<'_>,
    result: &SplitterResult,
    uncertainty: &SplitterUncertainty,
) -> Result<Picture, PlotError> {
    let points = result.points.iter().zip(&uncertainty.points).map(|(point, known)| Point {
        at_ghz: ghz(point.frequency_hz),
        measured: point.rejection_db,
        median: known.median_db,
        low: known.interval_db.0,
        high: known.interval_db.1,
    });
    // The frequencies of a file have no gaps.
    let all = 0..result.points.len();
    let at_hz: Vec<f64> = result.points.iter().map(|point| point.frequency_hz).collect();
    let limits: Vec<Limit> = result.compliance.limits().iter().collect();
    let coverage = Coverage {
        what: &result.roles.kind.rejection().title(),
        note: "",
        x_label: "Frequency (GHz)",
        x: frequency_range(&at_hz),
        limit: result.compliance.limits().on_rejection_db(),
        limits: &limits,
        assessment: &uncertainty.assessment,
        runs: std::slice::from_ref(&all),
        compliance: &result.compliance,
    };
    coverage.drawn(caption, &points.collect::<Vec<_>>())
}

/// The rejection of a receiver over its LO, at the worst IF of each, with its coverage band, the limit
/// and the guard band.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_coverage(
    caption: &Caption<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
    uncertainty: &ReceiverUncertainty,
) -> Result<Picture, PlotError> {
    let points = result.worst_if_of_each_lo().into_iter().map(|at| {
        let (point, known) = (&result.points[at], &uncertainty.points[at]);
        Point {
            at_ghz: ghz(point.lo_hz),
            measured: point.balance.image_rejection_db,
            median: known.rejection.median,
            low: known.rejection.low,
            high: known.rejection.high,
        }
    });
    let note = if receiver.plan().if_hz().len() > 1 { " at the worst IF," } else { "" };
    let limits: Vec<Limit> = result.compliance.limits().iter().collect();
    let coverage = Coverage {
        what: "Image rejection",
        note,
        x_label: LO_LABEL,
        x: frequency_range(receiver.plan().lo_hz()),
        limit: receiver.limits().on(Quantity::ImageRejection),
        limits: &limits,
        assessment: &uncertainty.assessment,
        runs: receiver.plan().lo_runs(),
        compliance: &result.compliance,
    };
    coverage.drawn(caption, &points.collect::<Vec<_>>())
}

/// Measured rejections with their bars of two standard uncertainties over predicted ones with their
/// band, a panel per IF.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_tones(
    caption: &Caption<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
    uncertainty: Option<&ReceiverUncertainty>,
    tones: &ToneComparisons,
) -> Result<Picture, PlotError> {
    /// More panels than this cannot be read.
    const MOST_PANELS: usize = 4;
    let ifs = receiver.plan().if_hz().len();
    let of_if = |at: usize| {
        let own = tones.points.iter();
        own.filter(move |tone| tone.measured.if_hz.total_cmp(&receiver.plan().if_hz()[at]).is_eq())
    };
    let with_tones: Vec<usize> = (0..ifs).filter(|&at| of_if(at).next().is_some()).collect();
    let shown = &with_tones[..with_tones.len().min(MOST_PANELS)];
    let left_out = match with_tones.len() - shown.len() {
        0 => String::new(),
        more => format!(" ({more} more IFs in measured.csv)"),
    };
    // Three fill the sheet one above the other.
    let columns = if shown.len() > 3 { 2 } else { 1 };
    let sizes = if shown.len() > 1 { Sizes::SMALL } else { Sizes::LARGE };
    let name = format!("Measured image rejection against that from S-parameters{left_out}");
    picture(&name, |canvas| {
        let body = caption.head(canvas, &name)?;
        let panels = body.split_evenly((shown.len().div_ceil(columns).max(1), columns));
        let tones_of = |at: usize| -> Vec<(f64, f64, f64)> {
            of_if(at)
                .map(|tone| {
                    let own = &tone.measured;
                    (ghz(own.lo_hz), own.rejection_db, 2.0 * own.u_db)
                })
                .collect()
        };
        for (&at, panel) in shown.iter().zip(&panels) {
            let points = predicted(receiver, result, uncertainty, at);
            let tones = Tones {
                title: format!("IF {}", ShownFrequency(receiver.plan().if_hz()[at])),
                x: frequency_range(receiver.plan().lo_hz()),
                limit: receiver.limits().on(Quantity::ImageRejection),
                has_band: uncertainty.is_some(),
                points,
                tones: tones_of(at),
            };
            tones.draw(panel, sizes)?;
        }
        Ok(())
    })
}

/// The rejections of one IF from S-parameters.
fn predicted(
    receiver: &Receiver,
    result: &DownconverterResult,
    uncertainty: Option<&ReceiverUncertainty>,
    at: usize,
) -> Vec<Point> {
    let plan = receiver.plan().points();
    let own = result.points.iter().enumerate();
    let own = own.filter(|(place, _)| plan[*place].intermediate == at);
    own.map(|(place, point)| {
        let measured = point.balance.image_rejection_db;
        let known = uncertainty.map(|uncertainty| uncertainty.points[place].rejection);
        let (low, high) = known.map_or((measured, measured), |k| (k.low, k.high));
        Point { at_ghz: ghz(point.lo_hz), measured, median: measured, low, high }
    })
    .collect()
}

/// Measured tones at one IF over what is expected of them.
struct Tones {
    title: String,
    x: Range<f64>,
    limit: Option<f64>,
    has_band: bool,
    points: Vec<Point>,
    /// LO in GHz, rejection and two standard uncertainties in dB.
    tones: Vec<(f64, f64, f64)>,
}

impl Tones {
    fn draw(&self, panel: &Canvas<'_>, sizes: Sizes) -> Result<(), PlotError> {
        let values = self.points.iter().flat_map(|p| [p.low, p.high, p.measured]);
        let values =
            values.chain(self.tones.iter().flat_map(|(_, db, half)| [db - half, db + half]));
        let values = values.filter(|value| value.is_finite()).chain(self.limit);
        let axes = Axes {
            title: &self.title,
            x_label: LO_LABEL,
            y_label: "Image rejection (dB)",
            x: self.x.clone(),
            y: range_of(values.map(cut), 5.0),
            ..Axes::default()
        };
        let mut legend = vec![Entry { name: "from S-parameters", colour: BLUE, dash: Dash::Solid }];
        if self.has_band {
            legend.push(Entry { name: "its coverage", colour: BLUE, dash: Dash::Area });
        }
        legend.push(Entry { name: "measured, ±2 u", colour: BLACK, dash: Dash::Dots });
        let limit_name = required_name(self.limit);
        legend.extend(limit_entry(limit_name.as_ref()));
        let (_, mut chart) = chart(panel, &axes, &legend, sizes)?;
        if self.has_band {
            let points = &self.points;
            let (low, high) =
                (within(points, &axes.y, |p| p.low), within(points, &axes.y, |p| p.high));
            area(&mut chart, &low, &high, BLUE)?;
        }
        if let Some(limit) = self.limit {
            horizontal(&mut chart, &self.x, limit, VERMILION, Dash::Dashed, sizes)?;
        }
        let predicted = within(&self.points, &axes.y, |p| p.measured);
        line(&mut chart, predicted, BLUE, Dash::Solid, sizes)?;
        for &(x, db, half) in &self.tones {
            let bar = [(x, cut(db - half)), (x, cut(db + half))];
            line(&mut chart, bar, BLACK, Dash::Solid, sizes)?;
            line(&mut chart, [(x, cut(db))], BLACK, Dash::Solid, sizes)?;
        }
        Ok(())
    }
}

/// The labels around a coverage band.
struct Coverage<'a> {
    what: &'a str,
    note: &'a str,
    x_label: &'a str,
    x: Range<f64>,
    /// The required rejection, dB.
    limit: Option<f64>,
    /// All requirements, in the order of the decisions.
    limits: &'a [Limit],
    assessment: &'a Assessment,
    /// Points between which there is no gap.
    runs: &'a [Range<usize>],
    compliance: &'a Compliance,
}

impl Coverage<'_> {
    /// The readings of the worst point between which the decision is open, dB: from the first down a
    /// failure, from the second up a pass.
    fn open(&self) -> (Option<f64>, Option<f64>) {
        let requirements = self.assessment.requirements.iter().zip(self.limits);
        let mut rejection = requirements.filter(|(_, limit)| limit.quantity().is_rejection());
        let decided = rejection.next();
        decided.map_or((None, None), |(decided, _)| (decided.refused_from, decided.accepted_from))
    }

    /// The range of the rejection, cut as it is drawn.
    fn range(&self, points: &[Point], is_unbounded: bool) -> Range<f64> {
        let drawn = points
            .iter()
            .flat_map(|point| [point.measured, point.median, point.low])
            .chain(points.iter().map(|point| point.high).filter(|high| high.is_finite()))
            .chain(self.limit)
            .chain(self.open().0)
            .chain(self.open().1);
        let mut y = range_of(drawn.map(cut), 5.0);
        if is_unbounded {
            // Room above shows that the band goes on.
            y.end += 0.15 * (y.end - y.start);
        }
        y
    }

    fn drawn(&self, caption: &Caption<'_>, points: &[Point]) -> Result<Picture, PlotError> {
        let (what, limit, (refused, accepted)) = (self.what, self.limit, self.open());
        let is_unbounded = points.iter().any(|point| point.high.is_infinite());
        let mut y = self.range(points, is_unbounded);
        let strip = y.start - 0.06 * (y.end - y.start)..y.start - 0.01 * (y.end - y.start);
        y.start = strip.start;
        let is_cut = points.iter().any(|point| is_beyond(point.measured) || is_beyond(point.low));
        let name = format!("{what}{} with its uncertainty", self.note);
        let axes = Axes {
            x_label: self.x_label,
            y_label: &format!("{what} (dB{})", if is_cut { CUT_NOTE } else { "" }),
            x: self.x.clone(),
            y: y.clone(),
            ..Axes::default()
        };
        let percent = 100.0 * self.assessment.coverage;
        let open = if is_unbounded { "; open above: may be perfect" } else { "" };
        let band_name = format!("{percent:.4} % coverage{open}").replace(".0000", "");
        let limit_name = required_name(limit);
        let accepted_name = accepted.map(|from| format!("worst point: PASS from {from:.2} dB"));
        let refused_name = refused.map(|below| format!("worst point: FAIL below {below:.2} dB"));
        let mut legend = vec![
            Entry { name: "from S-parameters", colour: BLUE, dash: Dash::Solid },
            Entry { name: "median", colour: GREY, dash: Dash::Dotted },
            Entry { name: &band_name, colour: BLUE, dash: Dash::Area },
        ];
        legend.extend(limit_entry(limit_name.as_ref()));
        let decided = [(&accepted_name, GREEN), (&refused_name, ORANGE)];
        legend.extend(decided.iter().filter_map(|(name, colour)| {
            let name = name.as_ref()?;
            Some(Entry { name, colour: *colour, dash: Dash::Dotted })
        }));
        let at = |point: Option<&Point>| point.map_or(0.0, |point| point.at_ghz);
        let ends = (at(points.first()), at(points.last()));
        let bands = VerdictBands::new(self.compliance, Some(self.assessment), ends, &self.x);
        legend.extend(bands.legend());
        picture(&name, |canvas| {
            let body = caption.head(canvas, &name)?;
            let (panel, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
            // A strip below, since shades under the band would change its colour.
            bands.draw(&panel, &mut chart, &self.x, &strip)?;
            let runs = || self.runs.iter().map(|run| &points[run.clone()]);
            for run in runs() {
                band(&mut chart, run, &y)?;
            }
            for (at, colour) in [(accepted, GREEN), (refused, ORANGE)] {
                if let Some(at) = at {
                    horizontal(&mut chart, &self.x, cut(at), colour, Dash::Dotted, Sizes::LARGE)?;
                }
            }
            if let Some(limit) = limit {
                horizontal(&mut chart, &self.x, limit, VERMILION, Dash::Dashed, Sizes::LARGE)?;
            }
            for run in runs() {
                let median = within(run, &y, |point| point.median);
                line(&mut chart, median, GREY, Dash::Dotted, Sizes::LARGE)?;
                let measured = within(run, &y, |point| point.measured);
                line(&mut chart, measured, BLUE, Dash::Solid, Sizes::LARGE)?;
            }
            Ok(())
        })
    }
}

/// Values of points, cut to the range of the axis.
fn within(points: &[Point], y: &Range<f64>, value: fn(&Point) -> f64) -> Vec<(f64, f64)> {
    let points = points.iter().map(|point| (point.at_ghz, value(point)));
    points.map(|(x, value)| (x, cut(value).clamp(y.start, y.end))).collect()
}

/// The coverage band; a line where there is one point only.
fn band(chart: &mut Chart<'_, '_>, points: &[Point], y: &Range<f64>) -> Result<(), PlotError> {
    let high: Vec<(f64, f64)> = points
        .iter()
        .map(|point| {
            let high = if point.high.is_infinite() { y.end } else { cut(point.high) };
            (point.at_ghz, high.min(y.end))
        })
        .collect();
    let low = within(points, y, |point| point.low);
    if let ([from], [to]) = (low.as_slice(), high.as_slice()) {
        line(chart, [*from, *to], BLUE, Dash::Solid, Sizes::LARGE)
    } else {
        area(chart, &low, &high, BLUE)
    }
}
