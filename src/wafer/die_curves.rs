//! The curves of every die, thinned so that they take a fixed share of memory.

use super::die::DiePoint;
use crate::units::db_from_neper;

/// Points that are kept of all dies together.
const MOST_POINTS: usize = 240_000;
/// Points that are kept of one die.
const MOST_POINTS_OF_A_DIE: usize = 201;
/// With fewer points a curve says nothing.
const FEWEST_POINTS_OF_A_DIE: usize = 16;
/// Rows of a list up to which imbalance and phase error are kept too.
const MOST_ROWS_WITH_ERRORS: usize = 1000;

/// Curves of single dies over frequency. Of a thinned curve every stretch keeps its minimum and its
/// maximum of the rejection.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DieCurves {
    frequencies_hz: Vec<f64>,
    /// Where the points of each row begin, and their end.
    starts: Vec<usize>,
    places: Vec<u16>,
    rejections_db: Vec<f32>,
    /// Amplitude imbalance, dB, and phase error, degrees; empty for long lists.
    errors: Vec<(f32, f32)>,
    is_thinned: bool,
}

/// A point of a die's curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DieCurvePoint {
    /// Its place among [`DieCurves::frequencies_hz`].
    pub place: usize,
    /// The rejection, the minimum over the IFs, dB.
    pub rejection_db: f64,
    /// Amplitude imbalance, dB, and phase error, degrees, in the wanted sideband at that IF; `None` for
    /// lists of more than 1,000 rows.
    pub errors: Option<(f64, f64)>,
}

impl DieCurves {
    /// The frequencies, or LOs, of the first die, Hz.
    #[must_use]
    pub fn frequencies_hz(&self) -> &[f64] {
        &self.frequencies_hz
    }

    /// Whether points were left out.
    #[must_use]
    pub fn is_thinned(&self) -> bool {
        self.is_thinned
    }

    /// The points of a row, in the order of their frequencies; none for a row that was not measured, for
    /// one with other frequencies than the first, and for lists that are too long.
    pub fn of_row(&self, row: usize) -> impl Iterator<Item = DieCurvePoint> {
        let range = match (self.starts.get(row), self.starts.get(row + 1)) {
            (Some(&from), Some(&to)) => from..to,
            _ => 0..0,
        };
        range.map(|at| DieCurvePoint {
            place: usize::from(self.places[at]),
            rejection_db: f64::from(self.rejections_db[at]),
            errors: self.errors.get(at).map(|errors| (f64::from(errors.0), f64::from(errors.1))),
        })
    }
}

/// Collects curves, row by row.
#[derive(Clone, Debug)]
pub(super) struct DieCurveCollector {
    points_of_a_die: usize,
    has_errors: bool,
    curves: DieCurves,
}

impl DieCurveCollector {
    pub(super) fn new(rows: usize) -> Self {
        Self {
            points_of_a_die: MOST_POINTS_OF_A_DIE.min(MOST_POINTS / rows.max(1)),
            has_errors: rows <= MOST_ROWS_WITH_ERRORS,
            curves: DieCurves { starts: vec![0], ..DieCurves::default() },
        }
    }

    /// The next row; without points if it was not measured.
    pub(super) fn add(&mut self, points: &[DiePoint]) {
        if self.points_of_a_die < FEWEST_POINTS_OF_A_DIE {
            return;
        }
        let worst = worst_points(points);
        let frequencies_hz = || worst.iter().map(|point| point.frequency_hz);
        let curves = &mut self.curves;
        if curves.frequencies_hz.is_empty() && worst.len() <= usize::from(u16::MAX) {
            curves.frequencies_hz = frequencies_hz().collect();
        }
        if frequencies_hz().eq(curves.frequencies_hz.iter().copied()) {
            let places = kept_places(&worst, self.points_of_a_die);
            curves.is_thinned |= places.len() < worst.len();
            for place in places {
                let point = worst[place];
                let Ok(short) = u16::try_from(place) else { continue };
                curves.places.push(short);
                curves.rejections_db.push(single(point.rejection_db));
                if self.has_errors {
                    let error = point.wanted_error;
                    let phase_deg = single(error.im.to_degrees());
                    curves.errors.push((single(db_from_neper(error.re)), phase_deg));
                }
            }
        }
        curves.starts.push(curves.places.len());
    }

    pub(super) fn finish(self) -> DieCurves {
        self.curves
    }
}

#[expect(clippy::cast_possible_truncation, reason = "single precision is what journals keep")]
fn single(value: f64) -> f32 {
    value as f32
}

/// At each frequency the point of the IF with the minimum rejection.
fn worst_points(points: &[DiePoint]) -> Vec<&DiePoint> {
    let mut worst: Vec<&DiePoint> = Vec::with_capacity(points.len());
    for point in points {
        match worst.last_mut() {
            Some(last) if last.frequency_hz.total_cmp(&point.frequency_hz).is_eq() => {
                if point.rejection_db < last.rejection_db {
                    *last = point;
                }
            }
            _ => worst.push(point),
        }
    }
    worst
}

/// All places, or the minimum and the maximum of every stretch.
fn kept_places(points: &[&DiePoint], most: usize) -> Vec<usize> {
    if points.len() <= most {
        return (0..points.len()).collect();
    }
    let stretch = points.len().div_ceil(most / 2);
    let mut kept = Vec::with_capacity(most);
    for from in (0..points.len()).step_by(stretch) {
        let part = from..(from + stretch).min(points.len());
        let by = |&one: &usize, &other: &usize| {
            points[one].rejection_db.total_cmp(&points[other].rejection_db)
        };
        let ends = [part.clone().min_by(by), part.max_by(by)];
        let mut ends: Vec<usize> = ends.into_iter().flatten().collect();
        ends.sort_unstable();
        ends.dedup();
        kept.extend(ends);
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;

    fn point(at: u32, if_hz: f64, rejection_db: f64) -> DiePoint {
        DiePoint {
            frequency_hz: 1e9 * f64::from(at),
            if_hz: Some(if_hz),
            rejection_db,
            sideband_gain_db: 0.0,
            wanted_error: Complex64::new(0.1, 0.2),
            channel_error: Complex64::ZERO,
            losses_db: None,
        }
    }

    #[test]
    fn thinned_curves_keep_their_extremes() {
        let points: Vec<DiePoint> = (0..2000)
            .flat_map(|at| {
                let worst = if at == 777 { 3.0 } else { 30.0 };
                [point(at, 1.0, worst), point(at, 2.0, 35.0)]
            })
            .collect();
        let mut collector = DieCurveCollector::new(10_000);
        collector.add(&[]);
        collector.add(&points);
        let curves = collector.finish();
        assert_eq!(curves.of_row(0).count(), 0);
        let kept: Vec<DieCurvePoint> = curves.of_row(1).collect();
        assert!(curves.is_thinned() && kept.len() <= 24, "{}", kept.len());
        assert!(kept.iter().any(|point| point.place == 777 && point.rejection_db < 3.1));
        assert!(kept.iter().all(|point| point.rejection_db < 34.0 && point.errors.is_none()));
        // Nothing is kept of lists beyond any page.
        let mut collector = DieCurveCollector::new(1_000_000);
        collector.add(&points);
        assert_eq!(collector.finish().of_row(0).count(), 0);
    }
}
