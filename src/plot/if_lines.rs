//! The IFs that a picture of a receiver shows, a line for each.

use super::distinct_lines::DistinctLines;
use super::frequency_axis::ghz;
use crate::downconverter::{DownconverterResult, PlanPoint, Receiver};
use crate::units::ShownFrequency;
use std::ops::Range;

/// More lines than this cannot be followed.
pub(super) const MOST_IFS: usize = 6;

/// The IFs that a picture shows.
pub(super) struct IfLines {
    /// For each IF of the plan its points, LO after LO.
    places: Vec<Vec<usize>>,
    pub(super) shown: Vec<usize>,
    pub(super) names: Vec<String>,
}

impl IfLines {
    /// All, or so many at even distances with both ends.
    pub(super) fn of(receiver: &Receiver, most: usize) -> Self {
        let if_hz = receiver.plan().if_hz();
        let count = if_hz.len();
        let shown: Vec<usize> = if count <= most {
            (0..count).collect()
        } else {
            let steps = most - 1;
            (0..most).map(|at| (at * (count - 1) + steps / 2) / steps).collect()
        };
        let names = shown.iter().map(|&at| format!("IF {}", ShownFrequency(if_hz[at]))).collect();
        let mut places = vec![Vec::new(); count];
        for (place, point) in receiver.plan().points().iter().enumerate() {
            places[point.intermediate].push(place);
        }
        Self { places, shown, names }
    }

    /// What a title says of those left out.
    pub(super) fn note(&self) -> String {
        if self.shown.len() < self.places.len() {
            format!(", {} of {} IFs", self.shown.len(), self.places.len())
        } else {
            String::new()
        }
    }

    /// The points of one IF.
    pub(super) fn line<'r>(
        &'r self,
        result: &'r DownconverterResult,
        at: usize,
    ) -> impl Iterator<Item = &'r PlanPoint> {
        self.of_line(&result.points, at)
    }

    /// The values of one IF, of one for each point of the plan.
    pub(super) fn of_line<'r, T>(
        &'r self,
        values: &'r [T],
        at: usize,
    ) -> impl Iterator<Item = &'r T> {
        self.places[at].iter().map(|&place| &values[place])
    }

    /// The points of all IFs that are shown.
    pub(super) fn points<'r>(
        &'r self,
        result: &'r DownconverterResult,
    ) -> impl Iterator<Item = &'r PlanPoint> {
        self.shown.iter().flat_map(move |&at| self.line(result, at))
    }

    /// A line for each IF that is shown, those that coincide as one, on an axis of a range.
    pub(super) fn lines(
        &self,
        result: &DownconverterResult,
        y: &Range<f64>,
        value: impl Fn(&PlanPoint) -> f64,
    ) -> DistinctLines {
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
        DistinctLines::of(&self.names, &lines, y)
    }
}
