//! Bands that pass, fail or are undecided, as shades behind a curve.

use super::axis::Chart;
use super::error::PlotError;
use super::frequency_axis::ghz;
use super::legend::Entry;
use super::series::shade;
use super::style::{Dash, GREEN, ORANGE, VERMILION};
use crate::measurement::Assessment;
use crate::requirement::{Compliance, Verdict};
use plotters::prelude::RGBColor;
use std::ops::Range;

/// Bands with their verdicts; empty without requirements, where everything passes.
pub(super) struct VerdictBands {
    bands: Vec<(Verdict, f64, f64)>,
    has_requirements: bool,
    is_decided: bool,
}

impl VerdictBands {
    /// The bands that pass as computed or, with an uncertainty, what is decided everywhere.
    pub(super) fn new(compliance: &Compliance, assessment: Option<&Assessment>) -> Self {
        let has_requirements = !compliance.requirements.is_empty();
        let bands = match assessment {
            _ if !has_requirements => Vec::new(),
            None => {
                let passing = compliance.bands_that_pass_hz.iter();
                passing.map(|&(low, high)| (Verdict::Pass, ghz(low), ghz(high))).collect()
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
        Self { bands, has_requirements, is_decided: assessment.is_some() }
    }

    /// What the shades stand for.
    pub(super) fn legend(&self) -> Vec<Entry<'static>> {
        let has = |verdict: Verdict| self.bands.iter().any(|band| band.0 == verdict);
        let entry = |name, verdict| Entry { name, colour: colour(verdict), dash: Dash::Area };
        if !self.has_requirements {
            return Vec::new();
        }
        if !self.is_decided {
            let name = if self.bands.is_empty() { "passes: nowhere" } else { "passes" };
            return vec![entry(name, Verdict::Pass)];
        }
        let all = [
            ("PASS within the uncertainty", Verdict::Pass),
            ("UNDECIDED", Verdict::Undecided),
            ("FAIL within the uncertainty", Verdict::Fail),
        ];
        let present = all.into_iter().filter(|(_, verdict)| has(*verdict));
        present.map(|(name, verdict)| entry(name, verdict)).collect()
    }

    pub(super) fn draw(
        &self,
        chart: &mut Chart<'_, '_>,
        x: &Range<f64>,
        y: &Range<f64>,
    ) -> Result<(), PlotError> {
        for &(verdict, low, high) in &self.bands {
            // A single point passes too, and should be seen.
            let least = if high > low { 0.0 } else { 0.002 * (x.end - x.start) };
            let ends = ((low - least).max(x.start), (high + least).min(x.end));
            shade(chart, ends, y, colour(verdict))?;
        }
        Ok(())
    }
}

/// The colour of a verdict.
pub(super) fn colour(verdict: Verdict) -> RGBColor {
    match verdict {
        Verdict::Pass => GREEN,
        Verdict::Undecided => ORANGE,
        Verdict::Fail => VERMILION,
    }
}
