//! Bands that pass, fail or are undecided, as shades behind a curve.

use super::axis::Chart;
use super::canvas::Canvas;
use super::error::PlotError;
use super::frequency_axis::ghz;
use super::legend::Entry;
use super::series::{WIDE, hatch, shade};
use super::style::{Dash, GREEN, ORANGE, PALE_VERMILION, VERMILION};
use crate::measurement::Assessment;
use crate::requirement::{Compliance, Verdict};
use plotters::prelude::RGBColor;
use std::ops::Range;

/// Bands with their verdicts; empty without requirements, where everything passes.
pub(super) struct VerdictBands {
    bands: Vec<(Verdict, f64, f64)>,
    is_decided: bool,
    /// Whether the verdict is that of more than one requirement.
    is_of_many: bool,
}

impl VerdictBands {
    /// The bands between the first and the last frequency of the data, GHz: what passes and fails as
    /// computed or, with an uncertainty, what is decided. The verdict of a single frequency is that
    /// of the whole axis.
    pub(super) fn new(
        compliance: &Compliance,
        assessment: Option<&Assessment>,
        ends: (f64, f64),
        x: &Range<f64>,
    ) -> Self {
        let mut bands = match assessment {
            _ if compliance.requirements.is_empty() => Vec::new(),
            None => {
                let passing = compliance.bands_that_pass_hz.iter();
                as_computed(passing.map(|&(low, high)| (ghz(low), ghz(high))), ends)
            }
            Some(assessment) => {
                let all = &assessment.bands;
                let bands = all.iter().enumerate().map(|(at, band)| {
                    // Verdicts change halfway between neighbouring frequencies.
                    let before = at.checked_sub(1).and_then(|before| all.get(before));
                    let before = before.filter(|_| !band.is_after_gap).map(|own| own.band_hz);
                    let low = before.map_or(band.band_hz.0, |own| 0.5 * (own.1 + band.band_hz.0));
                    let after = all.get(at + 1).filter(|own| !own.is_after_gap);
                    let after = after.map(|own| own.band_hz);
                    let high = after.map_or(band.band_hz.1, |own| 0.5 * (own.0 + band.band_hz.1));
                    (band.verdict, ghz(low), ghz(high))
                });
                bands.collect()
            }
        };
        if let (true, [only, ..]) = (ends.0 >= ends.1, bands.as_mut_slice()) {
            (only.1, only.2) = (x.start, x.end);
            bands.truncate(1);
        }
        let is_of_many = compliance.requirements.len() > 1;
        Self { bands, is_decided: assessment.is_some(), is_of_many }
    }

    /// The meaning of the shades.
    pub(super) fn legend(&self) -> Vec<Entry<'static>> {
        let has = |verdict: Verdict| self.bands.iter().any(|band| band.0 == verdict);
        // A band that fails by another quantity must not look like a failure of the drawn one.
        let names = match (self.is_of_many, self.is_decided) {
            (false, false) => ["PASS", "UNDECIDED", "FAIL"],
            (false, true) => {
                ["PASS within the uncertainty", "UNDECIDED", "FAIL within the uncertainty"]
            }
            (true, false) => {
                ["all requirements: PASS", "a requirement: UNDECIDED", "a requirement: FAIL"]
            }
            (true, true) => [
                "all requirements: PASS within the uncertainty",
                "a requirement: UNDECIDED",
                "a requirement: FAIL within the uncertainty",
            ],
        };
        let all = [Verdict::Pass, Verdict::Undecided, Verdict::Fail];
        let present = names.into_iter().zip(all).filter(|(_, verdict)| has(*verdict));
        present
            .map(|(name, verdict)| {
                let dash = if verdict == Verdict::Fail { Dash::HatchedArea } else { Dash::Area };
                Entry { name, colour: colour(verdict), dash }
            })
            .collect()
    }

    /// Draws them on the panel of a chart; what fails is hatched too, since its colour alone is not
    /// distinguished by every reader.
    pub(super) fn draw(
        &self,
        canvas: &Canvas<'_>,
        chart: &mut Chart<'_, '_>,
        x: &Range<f64>,
        y: &Range<f64>,
    ) -> Result<(), PlotError> {
        for &(verdict, low, high) in &self.bands {
            // A single point has a verdict too, and should be seen.
            let least = if high > low { 0.0 } else { 0.002 * (x.end - x.start) };
            let ends = ((low - least).max(x.start), (high + least).min(x.end));
            shade(chart, ends, y, colour(verdict))?;
            if verdict == Verdict::Fail {
                let (left, top) = canvas.get_base_pixel();
                let corner = |at: (f64, f64)| {
                    let (x, y) = chart.backend_coord(&at);
                    (x - left, y - top)
                };
                let corners = (corner((ends.0, y.end)), corner((ends.1, y.start)));
                hatch(canvas, corners, PALE_VERMILION, WIDE)?;
            }
        }
        Ok(())
    }
}

/// Bands that pass, and those that fail between them and at both ends.
fn as_computed(
    passing: impl Iterator<Item = (f64, f64)>,
    (first, last): (f64, f64),
) -> Vec<(Verdict, f64, f64)> {
    let mut bands = Vec::new();
    let mut reached = first;
    for (low, high) in passing {
        if low > reached {
            bands.push((Verdict::Fail, reached, low));
        }
        bands.push((Verdict::Pass, low, high));
        reached = high;
    }
    if reached < last || bands.is_empty() {
        bands.push((Verdict::Fail, reached, last));
    }
    bands
}

/// The colour of a verdict.
pub(super) fn colour(verdict: Verdict) -> RGBColor {
    match verdict {
        Verdict::Pass => GREEN,
        Verdict::Undecided => ORANGE,
        Verdict::Fail => VERMILION,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_pass_fails() {
        let bands = as_computed([(1.0, 2.0), (3.0, 5.0)].into_iter(), (0.5, 5.0));
        let (pass, fail) = (Verdict::Pass, Verdict::Fail);
        let expected = [(fail, 0.5, 1.0), (pass, 1.0, 2.0), (fail, 2.0, 3.0), (pass, 3.0, 5.0)];
        assert_eq!(bands, expected);
        assert_eq!(as_computed(std::iter::empty(), (0.5, 5.0)), [(fail, 0.5, 5.0)]);
    }
}
