//! Several lines, some of which may coincide.

use super::axis::Chart;
use super::error::PlotError;
use super::legend::Entry;
use super::series::line;
use super::style::{BLACK, BLUE, Dash, GREEN, ORANGE, PURPLE, SKY_BLUE, Sizes};
use plotters::prelude::RGBColor;
use std::ops::Range;

/// The look of one among several lines: colour and dash differ.
pub(super) fn look(at: usize) -> (RGBColor, Dash) {
    // Vermilion is for limits.
    const COLOURS: [RGBColor; 6] = [BLUE, ORANGE, GREEN, PURPLE, SKY_BLUE, BLACK];
    const DASHES: [Dash; 3] = [Dash::Solid, Dash::Dashed, Dash::Dotted];
    (COLOURS[at % COLOURS.len()], DASHES[(at + at / COLOURS.len()) % DASHES.len()])
}

/// Lines of which no two coincide: coinciding ones are drawn once, and their names say so.
pub(super) struct DistinctLines {
    pub(super) names: Vec<String>,
    pub(super) lines: Vec<Vec<(f64, f64)>>,
    /// For each line, the first of those that coincide with it.
    pub(super) first: Vec<usize>,
}

/// Curves nearer to each other than this share of the axis cannot be distinguished.
const SAME: f64 = 0.003;

impl DistinctLines {
    /// Lines over the same places, on an upright axis of this range.
    pub(super) fn of(names: &[String], lines: &[Vec<(f64, f64)>], y: &Range<f64>) -> Self {
        Self::within(names, lines, (f64::MAX, SAME * (y.end - y.start)))
    }

    /// Lines on a plane of these ranges.
    pub(super) fn on_plane(
        names: &[String],
        lines: &[Vec<(f64, f64)>],
        (x, y): (&Range<f64>, &Range<f64>),
    ) -> Self {
        Self::within(names, lines, (SAME * (x.end - x.start), SAME * (y.end - y.start)))
    }

    fn within(names: &[String], lines: &[Vec<(f64, f64)>], same: (f64, f64)) -> Self {
        let near = |one: f64, other: f64, same: f64| {
            // Gaps are not finite and coincide with gaps.
            if one.is_finite() && other.is_finite() {
                (one - other).abs() <= same
            } else {
                one.is_finite() == other.is_finite()
            }
        };
        let coincide = |one: &[(f64, f64)], other: &[(f64, f64)]| {
            one.len() == other.len()
                && one.iter().zip(other).all(|(one, other)| {
                    near(one.0, other.0, same.0) && near(one.1, other.1, same.1)
                })
        };
        let mut groups: Vec<(usize, Vec<&str>)> = Vec::new();
        for (at, (name, line)) in names.iter().zip(lines).enumerate() {
            match groups.iter_mut().find(|(first, _)| coincide(&lines[*first], line)) {
                Some((_, members)) => members.push(name),
                None => groups.push((at, vec![name])),
            }
        }
        let of_group = |members: &Vec<&str>| match members.as_slice() {
            [only] => (*only).to_owned(),
            [one, other] => format!("{one} and {other} (coincide)"),
            [first, .., last] => format!("{first} .. {last} ({} coincide)", members.len()),
            [] => String::new(),
        };
        Self {
            names: groups.iter().map(|(_, members)| of_group(members)).collect(),
            lines: groups.iter().map(|(first, _)| lines[*first].clone()).collect(),
            first: groups.iter().map(|(first, _)| *first).collect(),
        }
    }

    pub(super) fn legend(&self) -> Vec<Entry<'_>> {
        let looks = (0..).map(look);
        let entries = self.names.iter().zip(looks);
        entries.map(|(name, (colour, dash))| Entry { name, colour, dash }).collect()
    }

    pub(super) fn draw(&self, chart: &mut Chart<'_, '_>, sizes: Sizes) -> Result<(), PlotError> {
        for (points, (colour, dash)) in self.lines.iter().zip((0..).map(look)) {
            line(chart, points.iter().copied(), colour, dash, sizes)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coinciding_lines_are_drawn_once() {
        let names: Vec<String> = ["a", "b", "c"].map(str::to_owned).to_vec();
        let level = |y: f64| vec![(0.0, y), (1.0, y), (2.0, f64::NAN)];
        let lines = [level(1.0), level(5.0), level(1.01)];
        let distinct = DistinctLines::of(&names, &lines, &(0.0..10.0));
        assert_eq!(distinct.names, ["a and c (coincide)", "b"]);
        assert_eq!(distinct.lines.len(), 2);
    }
}
