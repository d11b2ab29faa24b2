//! Pictures of many dies.

use super::splitter_curves::HIGHEST_REJECTION_DB;
use super::style::{
    Axes, BLACK, BLUE, Canvas, Chart, Dash, Entry, GREY, ORANGE, PlotError, SKY_BLUE, Sizes,
    VERMILION, chart, letters, line, picture, px, px_i, range_of, shortened, words,
};
use crate::units::db_from_neper;
use crate::wafer::{
    GroupResult, LotHeading, LotResult, Position, Spatial, YIELD_CONFIDENCE, Yield,
    required_rejection_db,
};
use plotters::prelude::{
    Circle, Color, EmptyElement, PathElement, Polygon, Rectangle, ShapeStyle, WHITE,
};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::ops::Range;

/// Room above a picture for its name and what it is about.
const CAPTION: u32 = 100;

/// A rejection as it is drawn.
pub(super) fn cut_db(rejection_db: f64) -> f64 {
    rejection_db.clamp(-HIGHEST_REJECTION_DB, HIGHEST_REJECTION_DB)
}

/// Writes a picture's name and what its dies are, and returns what is left of the canvas.
pub(super) fn captioned<'b>(
    canvas: &Canvas<'b>,
    name: &str,
    heading: &LotHeading<'_>,
    result: &LotResult,
    more: &str,
) -> Result<Canvas<'b>, PlotError> {
    let (head, body) = canvas.split_vertically(px(CAPTION));
    let centre = i32::try_from(head.dim_in_pixel().0 / 2).unwrap_or_default();
    let centred = Pos::new(HPos::Center, VPos::Center);
    let joined = |parts: &[String]| -> String {
        let parts: Vec<&str> =
            parts.iter().map(String::as_str).filter(|part| !part.is_empty()).collect();
        parts.join("; ")
    };
    let measured = joined(&[heading.title(), heading.frequencies(result), more.to_owned()]);
    let judged = joined(&[heading.limits(result), heading.retests()]);
    for (text, y, size) in [(name.to_owned(), 24, 30), (measured, 58, 17), (judged, 84, 17)] {
        let style = letters(size, BLACK).pos(centred);
        let shown = shortened(&head, &text, &style, 2 * centre - px_i(30))?;
        words(&head, (centre, px_i(y)), &shown, &style)?;
    }
    Ok(body)
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// A straight line through the chart at one x.
fn upright(
    chart: &mut Chart<'_, '_>,
    x: f64,
    y: &Range<f64>,
    sizes: Sizes,
) -> Result<(), PlotError> {
    // A dashed line is cut where it leaves the chart, so it is drawn within.
    line(chart, [(x, y.start), (x, y.end)], VERMILION, Dash::Dashed, sizes)
}

/// How many dies have which worst rejection, and the share that has less.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_distribution(
    heading: &LotHeading<'_>,
    result: &LotResult,
) -> Result<Vec<u8>, PlotError> {
    let values: Vec<f64> = result.all.rejections_db.iter().copied().map(cut_db).collect();
    let required = required_rejection_db(&result.limits);
    let bars = bars(&values, &range_of(values.iter().copied().chain(required), 2.0));
    let width = bars.get(1).map_or(1.0, |bar| bar.0 - bars[0].0);
    let x = bars.first().map_or(0.0, |bar| bar.0)..bars.last().map_or(1.0, |bar| bar.0 + width);
    let highest = bars.iter().map(|bar| bar.1).fold(1.0, f64::max);
    let y = 0.0..1.06 * highest;
    let required_name = format!("required {} dB", required.unwrap_or_default());
    let required_entry = Entry { name: &required_name, colour: VERMILION, dash: Dash::Dashed };
    let label = format!("Worst {} of a die (dB)", heading.rejection_word);
    picture(|canvas| {
        let name = format!("{} of {} dies", capital(heading.rejection_word), values.len());
        let body = captioned(canvas, &name, heading, result, "")?;
        let halves = body.split_evenly((2, 1));
        let legend = if required.is_some() { vec![required_entry] } else { Vec::new() };
        let axes = Axes {
            title: "How many dies have how much",
            x_label: &label,
            y_label: "Dies",
            x: x.clone(),
            y: y.clone(),
        };
        let (_, mut upper) = chart(&halves[0], &axes, &legend, Sizes::LARGE)?;
        let boxes = bars.iter().filter(|bar| bar.1 > 0.0).map(|&(low, count)| {
            Rectangle::new([(low, 0.0), (low + 0.94 * width, count)], SKY_BLUE.filled())
        });
        upper.draw_series(boxes).map_err(PlotError::from_display)?;
        if let Some(required) = required {
            upright(&mut upper, required, &y, Sizes::LARGE)?;
        }

        let axes = Axes {
            title: "Share of dies with less",
            x_label: &label,
            y_label: "Share (%)",
            x: x.clone(),
            y: 0.0..104.0,
        };
        let (_, mut lower) = chart(&halves[1], &axes, &[], Sizes::LARGE)?;
        line(&mut lower, stairs(&values, &x), BLUE, Dash::Solid, Sizes::LARGE)?;
        if let Some(required) = required {
            upright(&mut lower, required, &(0.0..104.0), Sizes::LARGE)?;
        }
        Ok(())
    })
}

/// Bars of equal width: where each begins, and how many values it holds.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of dies"
)]
fn bars(values: &[f64], x: &Range<f64>) -> Vec<(f64, f64)> {
    // About twice the root of their number, at a round width.
    let wanted = (2.0 * (values.len() as f64).sqrt()).clamp(12.0, 80.0);
    let rough = (x.end - x.start) / wanted;
    let decade = 10_f64.powf(rough.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|factor| factor * decade);
    let width = steps.into_iter().find(|step| *step >= rough).unwrap_or(rough);
    let first = (x.start / width).floor();
    let count = (((x.end / width).ceil() - first) as usize).max(1);
    let mut bars: Vec<(f64, f64)> =
        (0..count).map(|at| ((first + at as f64) * width, 0.0)).collect();
    for value in values {
        let at = ((value / width).floor() - first) as usize;
        if let Some(bar) = bars.get_mut(at) {
            bar.1 += 1.0;
        }
    }
    bars
}

/// The share of values below, in per cent, as a line of stairs.
#[expect(clippy::cast_precision_loss, reason = "counts of dies")]
fn stairs(values: &[f64], x: &Range<f64>) -> Vec<(f64, f64)> {
    let mut steps = vec![(x.start, 0.0)];
    let total = values.len().max(1) as f64;
    for (at, &value) in values.iter().enumerate() {
        steps.push((value, 100.0 * at as f64 / total));
        steps.push((value, 100.0 * (at + 1) as f64 / total));
    }
    steps.push((x.end, if values.is_empty() { 0.0 } else { 100.0 }));
    steps
}

/// The share of dies that would pass, as the limit moves, with its interval.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_yield(heading: &LotHeading<'_>, result: &LotResult) -> Result<Vec<u8>, PlotError> {
    let sorted = &result.all.rejections_db;
    let required = required_rejection_db(&result.limits);
    let shown = sorted.iter().copied().map(cut_db).chain(required);
    let x = range_of(shown, 2.0);
    // Steps stand upright: before and after every die, or every so many.
    let every = sorted.len().div_ceil(400).max(1);
    let mut shares: Vec<(f64, Yield)> = Vec::new();
    let passing = |count: usize| Yield::new(count as u64, sorted.len() as u64, YIELD_CONFIDENCE);
    let mut below = 0;
    shares.push((x.start, passing(sorted.len())));
    for run in sorted.chunks(every) {
        let at = cut_db(run[run.len() - 1]);
        shares.push((at, passing(sorted.len() - below)));
        below += run.len();
        shares.push((at, passing(sorted.len() - below)));
    }
    shares.push((x.end, passing(sorted.len() - below)));
    let label = format!("Limit on {} (dB)", heading.rejection_word);
    let axes = Axes {
        title: &format!("Share of dies that hold a limit on {} alone", heading.rejection_word),
        x_label: &label,
        y_label: "Share (%)",
        x: x.clone(),
        y: 0.0..104.0,
    };
    let required_name = format!("required {} dB", required.unwrap_or_default());
    let mut legend = vec![
        Entry { name: "share of dies", colour: BLUE, dash: Dash::Solid },
        Entry { name: "95 % interval (exact binomial)", colour: BLUE, dash: Dash::Area },
    ];
    if required.is_some() {
        legend.push(Entry { name: &required_name, colour: VERMILION, dash: Dash::Dashed });
    }
    picture(|canvas| {
        let name = format!("Yield of {} dies against the limit", sorted.len());
        let body = captioned(canvas, &name, heading, result, "")?;
        let (_, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        let low = shares.iter().map(|(x, share)| (*x, 100.0 * share.interval.0));
        let high = shares.iter().rev().map(|(x, share)| (*x, 100.0 * share.interval.1));
        let band = Polygon::new(low.chain(high).collect::<Vec<_>>(), BLUE.mix(0.18).filled());
        chart.draw_series(std::iter::once(band)).map_err(PlotError::from_display)?;
        let middle = shares.iter().map(|(x, share)| (*x, 100.0 * share.share.unwrap_or(f64::NAN)));
        line(&mut chart, middle, BLUE, Dash::Solid, Sizes::LARGE)?;
        if let Some(required) = required {
            upright(&mut chart, required, &(0.0..104.0), Sizes::LARGE)?;
        }
        Ok(())
    })
}

/// Rejection over frequency: some dies, the median, and the band that holds 90 % of them.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_curves(heading: &LotHeading<'_>, result: &LotResult) -> Result<Vec<u8>, PlotError> {
    let curves = &result.curves;
    let ghz: Vec<f64> = curves.frequencies_hz.iter().map(|hz| hz / 1e9).collect();
    let required = required_rejection_db(&result.limits);
    let values = curves.some.iter().flatten().copied().map(cut_db).chain(required);
    let (x, y) = (range_of(ghz.iter().copied(), 0.01), range_of(values, 5.0));
    // The band from the first frequency to the last is what is of interest.
    let x = match (ghz.first(), ghz.last()) {
        (Some(first), Some(last)) if last > first => *first..*last,
        _ => x,
    };
    let word = heading.rejection_word;
    let axes = Axes {
        title: "Rejection over frequency, the worst over IF where there are several",
        x_label: if heading.if_hz.is_empty() {
            "Frequency (GHz)"
        } else {
            "LO at the mixers (GHz)"
        },
        y_label: &format!("{} (dB)", capital(word)),
        x: x.clone(),
        y: y.clone(),
    };
    let single = format!("{} of {} dies", curves.some.len(), curves.dies);
    let required_name = format!("required {} dB", required.unwrap_or_default());
    let mut legend = vec![
        Entry { name: "median", colour: BLUE, dash: Dash::Solid },
        Entry { name: "5 to 95 % of dies", colour: ORANGE, dash: Dash::Area },
        Entry { name: &single, colour: GREY, dash: Dash::Solid },
    ];
    if required.is_some() {
        legend.push(Entry { name: &required_name, colour: VERMILION, dash: Dash::Dashed });
    }
    picture(|canvas| {
        let name = format!("{} of {} dies over frequency", capital(word), curves.dies);
        let body = captioned(canvas, &name, heading, result, "")?;
        let (_, mut chart) = chart(&body, &axes, &legend, Sizes::LARGE)?;
        let thin = Sizes { line: 1, ..Sizes::LARGE };
        for curve in &curves.some {
            let points = ghz.iter().copied().zip(curve.iter().copied().map(cut_db));
            line(&mut chart, points, GREY, Dash::Solid, thin)?;
        }
        let low = ghz.iter().copied().zip(curves.bands.iter().map(|band| cut_db(band.p05_db)));
        let high = ghz.iter().copied().zip(curves.bands.iter().map(|band| cut_db(band.p95_db)));
        let corners: Vec<(f64, f64)> = low.chain(high.rev()).collect();
        if !corners.is_empty() {
            let band = Polygon::new(corners, ORANGE.mix(0.3).filled());
            chart.draw_series(std::iter::once(band)).map_err(PlotError::from_display)?;
        }
        let median =
            ghz.iter().copied().zip(curves.bands.iter().map(|band| cut_db(band.median_db)));
        line(&mut chart, median, BLUE, Dash::Solid, Sizes { line: 4, ..Sizes::LARGE })?;
        if let Some(required) = required {
            line(
                &mut chart,
                [(x.start, required), (x.end, required)],
                VERMILION,
                Dash::Dashed,
                Sizes::LARGE,
            )?;
        }
        Ok(())
    })
}

/// A die's radius and its mean error.
type RadialPoint = (f64, f64);

/// One part of the error over the radius.
struct RadialPanel<'r> {
    title: &'static str,
    y_label: &'static str,
    points: Vec<RadialPoint>,
    spatial: Option<&'r Spatial>,
    least_width: f64,
}

/// Both parts of the dies' channel errors over their distance from the wafer's centre.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_radial(heading: &LotHeading<'_>, result: &LotResult) -> Result<Vec<u8>, PlotError> {
    let Some(map) = &result.map else {
        return Err(PlotError::from_display("there is no map"));
    };
    let fitted: Vec<usize> =
        result.wafers.iter().flat_map(|wafer| wafer.fitted.iter().copied()).collect();
    let radius = 0.5 * map.diameter_mm;
    let parts = |part: &dyn Fn(num_complex::Complex64) -> f64| -> Vec<RadialPoint> {
        fitted
            .iter()
            .filter_map(|&row| {
                let row = &result.rows[row];
                Some((
                    row.position.as_ref().map(Position::radius_mm)?,
                    part(row.figures?.mean_error),
                ))
            })
            .collect()
    };
    let only = match result.wafers.as_slice() {
        [only] => Some(only),
        _ => None,
    };
    let panels = [
        RadialPanel {
            title: "Mean amplitude imbalance of each die",
            y_label: "Imbalance (dB)",
            points: parts(&|error| db_from_neper(error.re)),
            spatial: only.map(|wafer| &wafer.amplitude_db),
            least_width: 0.05,
        },
        RadialPanel {
            title: "Mean phase error of each die",
            y_label: "Phase error (deg)",
            points: parts(&|error| error.im.to_degrees()),
            spatial: only.map(|wafer| &wafer.phase_deg),
            least_width: 0.5,
        },
    ];
    picture(|canvas| {
        let name = format!("From the centre to the rim: {} dies", fitted.len());
        let body = captioned(canvas, &name, heading, result, "")?;
        for (panel, RadialPanel { title, y_label, points, spatial, least_width }) in
            body.split_evenly((2, 1)).iter().zip(panels)
        {
            let axes = Axes {
                title,
                x_label: "Distance from the wafer's centre (mm)",
                y_label,
                x: 0.0..radius,
                y: range_of(points.iter().map(|point| point.1), least_width),
            };
            let trend = spatial.and_then(|spatial| spatial.trend.as_ref());
            let mut legend = vec![
                Entry { name: "a die", colour: SKY_BLUE, dash: Dash::Dots },
                Entry { name: "median of a ring", colour: BLUE, dash: Dash::Solid },
            ];
            if trend.is_some() {
                legend.push(Entry {
                    name: "bowl of the fit",
                    colour: VERMILION,
                    dash: Dash::Dashed,
                });
            }
            let (_, mut chart) = chart(panel, &axes, &legend, Sizes::LARGE)?;
            let size = if points.len() > 500 { 2 } else { 5 };
            let dots = points.iter().map(|&point| {
                EmptyElement::at(point) + Circle::new((0, 0), px(size), SKY_BLUE.filled())
            });
            chart.draw_series(dots).map_err(PlotError::from_display)?;
            if let Some(trend) = trend {
                let bowl = (0..=60).map(|at| {
                    let share = f64::from(at) / 60.0;
                    (share * radius, trend.level + trend.bowl * share * share)
                });
                line(&mut chart, bowl, VERMILION, Dash::Dashed, Sizes::LARGE)?;
            }
            line(&mut chart, ring_medians(&points, radius), BLUE, Dash::Solid, Sizes::LARGE)?;
        }
        Ok(())
    })
}

/// The median of each of eight rings of equal width, at the mean radius of its dies.
fn ring_medians(points: &[RadialPoint], radius: f64) -> Vec<RadialPoint> {
    (0..8)
        .filter_map(|ring| {
            let (from, to) = (radius * f64::from(ring) / 8.0, radius * f64::from(ring + 1) / 8.0);
            let within: Vec<RadialPoint> =
                points.iter().copied().filter(|point| (from..to).contains(&point.0)).collect();
            let mut values: Vec<f64> = within.iter().map(|point| point.1).collect();
            values.sort_by(f64::total_cmp);
            #[expect(clippy::cast_precision_loss, reason = "counts of dies")]
            let mean = within.iter().map(|point| point.0).sum::<f64>() / within.len() as f64;
            Some((mean, crate::wafer::quantile(&values, 0.5)?))
        })
        .collect()
}

/// Wafers side by side are no more than this.
const MOST_WAFERS: usize = 40;
/// A single wafer is not drawn as high as the picture.
const FEWEST_ROWS: usize = 5;
/// Rows of the finished picture between which the boxes lie.
const BOXES: Range<u32> = 150..910;

/// The worst rejections of each wafer's dies: half of them in the box, 90 % within the whiskers.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_wafers(heading: &LotHeading<'_>, result: &LotResult) -> Result<Vec<u8>, PlotError> {
    let shown: Vec<&GroupResult> =
        result.wafers.iter().map(|wafer| &wafer.group).take(MOST_WAFERS).collect();
    let required = required_rejection_db(&result.limits);
    let ends = shown.iter().filter_map(|group| group.rejection).flat_map(|q| [q.least, q.largest]);
    let x = range_of(ends.map(cut_db).chain(required), 2.0);
    let label = format!("Worst {} of a die (dB)", heading.rejection_word);
    let required_name = format!("required {} dB", required.unwrap_or_default());
    let mut legend = vec![
        Entry { name: "25 to 75 % of dies, median", colour: BLUE, dash: Dash::Area },
        Entry { name: "5 to 95 %", colour: BLUE, dash: Dash::Solid },
        Entry { name: "least and largest", colour: GREY, dash: Dash::Dots },
    ];
    if required.is_some() {
        legend.push(Entry { name: &required_name, colour: VERMILION, dash: Dash::Dashed });
    }
    #[expect(clippy::cast_precision_loss, reason = "at most forty")]
    let rows = shown.len().max(FEWEST_ROWS) as f64;
    let axes = Axes { title: "", x_label: &label, y_label: "", x: x.clone(), y: 0.0..rows };
    picture(|canvas| {
        let more = if result.wafers.len() > shown.len() {
            format!("the first {MOST_WAFERS} of {} wafers", result.wafers.len())
        } else {
            String::new()
        };
        let name = format!("{} by wafer", capital(heading.rejection_word));
        let body = captioned(canvas, &name, heading, result, &more)?;
        let (names, panel) = body.split_horizontally(px(230));
        let (_, mut chart) = super::style::row_chart(&panel, &axes, &legend, Sizes::LARGE)?;
        let size =
            (BOXES.end - BOXES.start) / u32::try_from(shown.len().max(FEWEST_ROWS)).unwrap_or(1);
        let size = (size * 3 / 5).clamp(8, Sizes::LARGE.label * 4 / 5);
        let style = letters(size, BLACK).pos(Pos::new(HPos::Right, VPos::Center));
        let (_, top) = names.get_pixel_range();
        for (at, group) in (0_u32..).zip(&shown) {
            let middle = rows - 0.5 - f64::from(at);
            let (_, y) = chart.backend_coord(&(x.start, middle));
            let text = format!(
                "{} {} ({})",
                group.lot.as_deref().unwrap_or_default(),
                group.wafer.as_deref().unwrap_or_default(),
                group.counts.tested()
            );
            let text = shortened(&names, &text, &style, px_i(215))?;
            words(&names, (px_i(226), y - top.start), &text, &style)?;
            boxed(&mut chart, group, middle)?;
        }
        if let Some(required) = required {
            upright(&mut chart, required, &(0.0..rows), Sizes::LARGE)?;
        }
        Ok(())
    })
}

fn boxed(chart: &mut Chart<'_, '_>, group: &GroupResult, y: f64) -> Result<(), PlotError> {
    let Some(q) = &group.rejection else { return Ok(()) };
    let level = |x: f64| (cut_db(x), y);
    for end in [q.least, q.largest] {
        let dot = EmptyElement::at(level(end)) + Circle::new((0, 0), px(4), GREY.filled());
        chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
    }
    line(chart, [level(q.p05), level(q.p95)], BLUE, Dash::Solid, Sizes::LARGE)?;
    let (low, high) = (y - 0.3, y + 0.3);
    let corners = [(cut_db(q.p25), low), (cut_db(q.p75), high)];
    for style in
        [WHITE.filled(), BLUE.mix(0.18).filled(), ShapeStyle::from(&BLUE).stroke_width(px(2))]
    {
        chart
            .draw_series(std::iter::once(Rectangle::new(corners, style)))
            .map_err(PlotError::from_display)?;
    }
    let median = cut_db(q.median);
    let stroke = ShapeStyle::from(&BLACK).stroke_width(px(4));
    let middle = PathElement::new(vec![(median, low), (median, high)], stroke);
    chart.draw_series(std::iter::once(middle)).map_err(PlotError::from_display)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_falls_into_one_bar() {
        let values: Vec<f64> = (0..100).map(|at| 20.0 + f64::from(at) * 0.17).collect();
        let bars = bars(&values, &range_of(values.iter().copied(), 2.0));
        let total: f64 = bars.iter().map(|bar| bar.1).sum();
        assert!((total - 100.0).abs() < 1e-9, "{bars:?}");
        assert!(bars.windows(2).all(|pair| pair[0].0 < pair[1].0));
    }

    #[test]
    fn stairs_end_at_all() {
        let steps = stairs(&[1.0, 2.0], &(0.0..3.0));
        assert_eq!(steps.last(), Some(&(3.0, 100.0)));
        assert_eq!(steps[2], (1.0, 50.0));
    }
}
