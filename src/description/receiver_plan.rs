//! The frequencies of a receiver, and which of them its files must cover.

use super::error::{DescriptionError, DescriptionProblem};
use super::receiver_entries::{FrequencyPlanEntry, ReceiverDescription, SidebandName, Sweep};
use super::source::TomlFile;
use crate::downconverter::{LoIfSettings, LoRf, PlanError, ReceiverPlan, Sideband};
use crate::network::Network;
use crate::units::{ShownFrequency, equidistant};
use std::ops::Range;
use toml::Spanned;

/// More points than this are a slip of the pen.
const MOST_PLAN_POINTS: usize = 20_000;

/// A frequency at which files are needed, and what for.
pub(super) struct Need {
    pub(super) frequency_hz: f64,
    pub(super) purpose: String,
}

impl TomlFile {
    fn sweep(&self, given: &Spanned<Sweep>, what: &str) -> Result<Vec<f64>, DescriptionError> {
        let hz = |ghz: f64| {
            let hz = ghz * 1e9;
            // 24.1 GHz is meant as a whole number of hertz.
            if (hz - hz.round()).abs() < 1e-3 { hz.round() } else { hz }
        };
        let list: Vec<f64> = match given.get_ref() {
            Sweep::One(ghz) => vec![hz(*ghz)],
            Sweep::List(list) => list.iter().copied().map(hz).collect(),
            Sweep::Range(range) => {
                if !(1..=MOST_PLAN_POINTS).contains(&range.points) {
                    return Err(
                        self.complaint(given, format!("points is from 1 to {MOST_PLAN_POINTS}"))
                    );
                }
                if range.points == 1 && range.from < range.to {
                    return Err(self.complaint(given, "one point cannot be at both from and to"));
                }
                equidistant(hz(range.from), hz(range.to), range.points)
            }
        };
        let is_ascending = list.windows(2).all(|pair| pair[0] < pair[1]);
        if list.is_empty() || !list.iter().all(|hz| *hz > 0.0 && hz.is_finite()) || !is_ascending {
            return Err(self.complaint(
                given,
                format!("{what} needs positive frequencies in ascending order, in GHz"),
            ));
        }
        Ok(list)
    }

    fn factor(&self, given: Option<&Spanned<u32>>, key: &str) -> Result<u32, DescriptionError> {
        given.map_or(Ok(1), |given| self.whole(key, given, 1..=1000))
    }

    /// The plan, and the frequencies at which files are needed on each path.
    pub(super) fn plan(
        &self,
        description: &ReceiverDescription,
    ) -> Result<(ReceiverPlan, LoRf<Vec<Need>>), DescriptionError> {
        let entry: &FrequencyPlanEntry = &description.frequency_plan;
        let lo_hz = self.sweep(&entry.lo_ghz, "lo_ghz")?;
        let if_hz = self.sweep(&entry.if_ghz, "if_ghz")?;
        if lo_hz.len().saturating_mul(if_hz.len()) > MOST_PLAN_POINTS {
            return Err(self.complaint(
                &entry.lo_ghz,
                format!("LO times IF points are more than {MOST_PLAN_POINTS}"),
            ));
        }
        let after = entry.lo_multiplication_after_split.as_ref();
        let plan = ReceiverPlan::new(LoIfSettings {
            lo_hz,
            if_hz,
            wanted: match entry.wanted_sideband {
                SidebandName::Upper => Sideband::Upper,
                SidebandName::Lower => Sideband::Lower,
            },
            lo_multiplication: self
                .factor(entry.lo_multiplication.as_ref(), "lo_multiplication")?,
            lo_multiplication_after_split: self.factor(after, "lo_multiplication_after_split")?,
            lo_harmonic: self.factor(description.mixing.lo_harmonic.as_ref(), "lo_harmonic")?,
            lo_power_dbm: entry.lo_power_dbm.as_ref().map(|power| *power.get_ref()),
        })
        .map_err(|error| {
            let place = match &error {
                PlanError::AfterSplit { .. } => after.map(Spanned::span),
                PlanError::LoPower { .. } => entry.lo_power_dbm.as_ref().map(Spanned::span),
                PlanError::NoLowerSideband { .. } => Some(entry.if_ghz.span()),
                _ => None,
            };
            match place {
                Some(span) => self.error(error, span),
                None => self.error_in_file(error),
            }
        })?;
        if let (None, Some(limit)) = (&entry.lo_power_dbm, &description.require.lo_power_dbm_min) {
            return Err(self.error(DescriptionProblem::NoPower, limit.span()));
        }
        let needs = needs(&plan);
        Ok((plan, needs))
    }

    /// The farthest frequency outside a file's data is an error.
    pub(super) fn check_cover(
        &self,
        network: &Network,
        needs: &[Need],
        what: &str,
        span: Range<usize>,
    ) -> Result<(), DescriptionError> {
        let (first_hz, last_hz) = (network.grid().first_hz(), network.grid().last_hz());
        let beyond = |need: &&Need| (first_hz - need.frequency_hz).max(need.frequency_hz - last_hz);
        match needs.iter().max_by(|one, other| beyond(one).total_cmp(&beyond(other))) {
            Some(need) if beyond(&need) > 0.0 => Err(self.error(
                DescriptionProblem::OutsideFile {
                    what: what.to_owned(),
                    covers: format!(
                        "covers {} to {}",
                        ShownFrequency(first_hz),
                        ShownFrequency(last_hz)
                    ),
                    frequency_hz: need.frequency_hz,
                    need: need.purpose.clone(),
                },
                span,
            )),
            _ => Ok(()),
        }
    }
}

/// The frequencies of a plan, each with what it is needed for.
fn needs(plan: &ReceiverPlan) -> LoRf<Vec<Need>> {
    let after = plan.lo_multiplication_after_split();
    let lo = plan.lo_hz().iter().map(|lo_hz| Need {
        frequency_hz: lo_hz / f64::from(after),
        purpose: if after == 1 {
            "LO".to_owned()
        } else {
            format!("LO before its last multiplication by {after}")
        },
    });
    let mut rf = Vec::new();
    for &lo_hz in plan.lo_hz() {
        for &if_hz in plan.if_hz() {
            let point = format!("LO {}, IF {}", ShownFrequency(lo_hz), ShownFrequency(if_hz));
            rf.extend([Sideband::Upper, Sideband::Lower].map(|sideband| Need {
                frequency_hz: plan.rf_hz(lo_hz, if_hz, sideband),
                purpose: format!("RF {sideband}, {point}"),
            }));
        }
    }
    LoRf { lo: lo.collect(), rf }
}
