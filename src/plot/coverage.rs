//! What was measured, within what can be said of the truth.

use super::receiver_curves::{CUT_NOTE, LO_LABEL, cut, is_beyond};
use super::splitter_curves::ghz;
use super::style::{
    Axes, BLUE, Dash, Entry, GREY, ORANGE, PlotError, Sizes, VERMILION, area, chart, line, picture,
    range_of,
};
use crate::downconverter::{DownconverterResult, Receiver};
use crate::measurement::{Assessment, ReceiverUncertainty, SplitterUncertainty, ToneComparisons};
use crate::splitter::{SplitterKind, SplitterResult};
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
    result: &SplitterResult,
    uncertainty: &SplitterUncertainty,
) -> Result<Vec<u8>, PlotError> {
    let points = result.points.iter().zip(&uncertainty.points).map(|(point, known)| Point {
        at_ghz: ghz(point.frequency_hz),
        measured: point.rejection_db,
        median: known.median_db,
        low: known.interval_db.0,
        high: known.interval_db.1,
    });
    let what = match result.roles.kind {
        SplitterKind::Antiphase => "Common-mode rejection",
        _ => "Image rejection",
    };
    let limit = result.verdict.requirements.iter().map(|held| held.requirement);
    let limit = limit.into_iter().find(|limit| limit.kind.is_rejection()).map(|limit| limit.limit);
    drawn(&points.collect::<Vec<_>>(), what, "", "Frequency (GHz)", limit, &uncertainty.assessment)
}

/// The rejection of a receiver over its LO, at the worst IF of each, with its coverage band, the limit
/// and the guard band.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_coverage(
    receiver: &Receiver,
    result: &DownconverterResult,
    uncertainty: &ReceiverUncertainty,
) -> Result<Vec<u8>, PlotError> {
    let ifs = receiver.plan.if_hz.len();
    let points = result.points.chunks(ifs).zip(uncertainty.points.chunks(ifs));
    let points = points.filter_map(|(points, known)| {
        let (point, known) = points.iter().zip(known).min_by(|(one, _), (other, _)| {
            one.balance.image_rejection_db.total_cmp(&other.balance.image_rejection_db)
        })?;
        Some(Point {
            at_ghz: ghz(point.lo_hz),
            measured: point.balance.image_rejection_db,
            median: known.rejection.median,
            low: known.rejection.low,
            high: known.rejection.high,
        })
    });
    let note = if ifs > 1 { ", at the worst IF" } else { "" };
    drawn(
        &points.collect::<Vec<_>>(),
        "Image rejection",
        note,
        LO_LABEL,
        receiver.limits.image_rejection_db,
        &uncertainty.assessment,
    )
}

/// Measured rejections with their bars of two standard uncertainties over predicted ones with their
/// band, a panel per IF.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_tones(
    receiver: &Receiver,
    result: &DownconverterResult,
    uncertainty: Option<&ReceiverUncertainty>,
    tones: &ToneComparisons,
) -> Result<Vec<u8>, PlotError> {
    /// More panels than this cannot be read.
    const MOST_PANELS: usize = 4;
    let ifs = receiver.plan.if_hz.len();
    let of_if = |at: usize| {
        let own = tones.points.iter();
        own.filter(move |tone| tone.measured.if_hz.total_cmp(&receiver.plan.if_hz[at]).is_eq())
    };
    let with_tones: Vec<usize> = (0..ifs).filter(|&at| of_if(at).next().is_some()).collect();
    let shown = &with_tones[..with_tones.len().min(MOST_PANELS)];
    let left_out = match with_tones.len() - shown.len() {
        0 => String::new(),
        more => format!(" ({more} more IFs in measured.csv)"),
    };
    let columns = if shown.len() > 1 { 2 } else { 1 };
    let sizes = if shown.len() > 1 { Sizes::SMALL } else { Sizes::LARGE };
    picture(|canvas| {
        let panels = canvas.split_evenly((shown.len().div_ceil(columns), columns));
        for (at, panel) in shown.iter().zip(&panels) {
            let points: Vec<Point> = result
                .points
                .iter()
                .enumerate()
                .filter(|(place, _)| place % ifs == *at)
                .map(|(place, point)| {
                    let measured = point.balance.image_rejection_db;
                    let known = uncertainty.map(|uncertainty| uncertainty.points[place].rejection);
                    let (low, high) = known.map_or((measured, measured), |k| (k.low, k.high));
                    Point { at_ghz: ghz(point.lo_hz), measured, median: measured, low, high }
                })
                .collect();
            let tones: Vec<(f64, f64, f64)> = of_if(*at)
                .map(|tone| {
                    let own = &tone.measured;
                    (ghz(own.lo_hz), own.rejection_db, 2.0 * own.u_db)
                })
                .collect();
            let values = points.iter().flat_map(|p| [p.low, p.high, p.measured]);
            let values =
                values.chain(tones.iter().flat_map(|(_, db, half)| [db - half, db + half]));
            let axes = Axes {
                title: &format!("IF {}{left_out}", ShownFrequency(receiver.plan.if_hz[*at])),
                x_label: LO_LABEL,
                y_label: "Image rejection (dB)",
                x: range_x(&points),
                y: range_of(values.filter(|value| value.is_finite()).map(cut), 5.0),
            };
            let mut legend = vec![Entry { name: "predicted", colour: BLUE, dash: Dash::Solid }];
            if uncertainty.is_some() {
                legend.push(Entry { name: "its coverage", colour: BLUE, dash: Dash::Area });
            }
            legend.push(Entry { name: "measured, ±2 u", colour: VERMILION, dash: Dash::Dots });
            let (_, mut chart) = chart(panel, &axes, &legend, sizes)?;
            let over = |value: fn(&Point) -> f64| -> Vec<(f64, f64)> {
                points
                    .iter()
                    .map(|p| (p.at_ghz, cut(value(p)).clamp(axes.y.start, axes.y.end)))
                    .collect()
            };
            if uncertainty.is_some() {
                area(&mut chart, &over(|p| p.low), &over(|p| p.high), BLUE)?;
            }
            line(&mut chart, over(|p| p.measured), BLUE, Dash::Solid, sizes)?;
            for (x, db, half) in tones {
                let bar = [(x, cut(db - half)), (x, cut(db + half))];
                line(&mut chart, bar, VERMILION, Dash::Solid, sizes)?;
                line(&mut chart, [(x, cut(db))], VERMILION, Dash::Solid, sizes)?;
            }
        }
        Ok(())
    })
}

fn drawn(
    points: &[Point],
    what: &str,
    note: &str,
    x_label: &str,
    limit: Option<f64>,
    assessment: &Assessment,
) -> Result<Vec<u8>, PlotError> {
    let guard = limit.zip(assessment.guard_band_db.filter(|width| *width > 0.0));
    let drawn: Vec<f64> = points
        .iter()
        .flat_map(|point| [point.measured, point.median, point.low])
        .chain(points.iter().map(|point| point.high).filter(|high| high.is_finite()))
        .chain(limit)
        .chain(guard.map(|(limit, width)| limit + width))
        .map(cut)
        .collect();
    let (x, mut y) = (range_x(points), range_of(drawn.iter().copied(), 5.0));
    let is_unbounded = points.iter().any(|point| point.high.is_infinite());
    if is_unbounded {
        // Room above shows that the band goes on.
        y.end += 0.15 * (y.end - y.start);
    }
    let is_cut = points.iter().any(|point| is_beyond(point.measured) || is_beyond(point.low));
    let percent = 100.0 * assessment.coverage;
    let title = format!("{what}{note}, and what can be said of it");
    let axes = Axes {
        title: &title,
        x_label,
        y_label: &format!("{what} (dB{})", if is_cut { CUT_NOTE } else { "" }),
        x: x.clone(),
        y: y.clone(),
    };
    let open = if is_unbounded { "; open above: may be perfect" } else { "" };
    let band_name = format!("{percent:.4} % coverage{open}").replace(".0000", "");
    let limit_name = format!("required {} dB", limit.unwrap_or_default());
    let guard_name = guard.map_or_else(String::new, |(_, width)| {
        let acceptance = limit.unwrap_or_default() + width;
        format!("accepted from {acceptance:.2} dB on: guard band {width:.2} dB")
    });
    let mut legend = vec![
        Entry { name: "measured", colour: BLUE, dash: Dash::Solid },
        Entry { name: "median", colour: GREY, dash: Dash::Dotted },
        Entry { name: &band_name, colour: BLUE, dash: Dash::Area },
    ];
    if limit.is_some() {
        legend.push(Entry { name: &limit_name, colour: VERMILION, dash: Dash::Dashed });
    }
    if guard.is_some() {
        legend.push(Entry { name: &guard_name, colour: ORANGE, dash: Dash::Dotted });
    }
    picture(|canvas| {
        let (_, mut chart) = chart(canvas, &axes, &legend, Sizes::LARGE)?;
        let at = |value: fn(&Point) -> f64| -> Vec<(f64, f64)> {
            let points = points.iter().map(|point| (point.at_ghz, value(point)));
            points.map(|(x, value)| (x, cut(value).clamp(y.start, y.end))).collect()
        };
        let high: Vec<(f64, f64)> = points
            .iter()
            .map(|point| {
                let high = if point.high.is_infinite() { y.end } else { cut(point.high) };
                (point.at_ghz, high.min(y.end))
            })
            .collect();
        let low = at(|point| point.low);
        if let ([from], [to]) = (low.as_slice(), high.as_slice()) {
            line(&mut chart, [*from, *to], BLUE, Dash::Solid, Sizes::LARGE)?;
        } else {
            area(&mut chart, &low, &high, BLUE)?;
        }
        if let Some((limit, width)) = guard {
            let ends = [(x.start, limit + width), (x.end, limit + width)];
            line(&mut chart, ends, ORANGE, Dash::Dotted, Sizes::LARGE)?;
        }
        if let Some(limit) = limit {
            let ends = [(x.start, limit), (x.end, limit)];
            line(&mut chart, ends, VERMILION, Dash::Dashed, Sizes::LARGE)?;
        }
        line(&mut chart, at(|point| point.median), GREY, Dash::Dotted, Sizes::LARGE)?;
        line(&mut chart, at(|point| point.measured), BLUE, Dash::Solid, Sizes::LARGE)
    })
}

fn range_x(points: &[Point]) -> Range<f64> {
    let (first, last) = (points.first(), points.last());
    let (low, high) =
        (first.map_or(0.0, |point| point.at_ghz), last.map_or(0.0, |point| point.at_ghz));
    if low < high { low..high } else { 0.98 * low..1.02 * high.max(f64::MIN_POSITIVE) }
}
