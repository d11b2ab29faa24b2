//! `[frequency_plan]` of RECEIVER.toml, and the frequencies at which a receiver's files are needed.

use super::error::{DescriptionError, DescriptionProblem};
use super::source::TomlFile;
use crate::downconverter::{LoIfSettings, LoRf, PlanError, ReceiverError, ReceiverPlan, Sideband};
use crate::network::Network;
use crate::units::{ShownFrequency, check_ghz, equidistant, shown_band};
use serde::Deserialize;
use std::ops::{Range, RangeInclusive};
use toml::Spanned;

/// More points than this are a slip of the pen.
const MOST_PLAN_POINTS: usize = 20_000;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FrequencyPlanEntry {
    /// LO at the mixers.
    lo_ghz: Spanned<Sweep>,
    if_ghz: Spanned<Sweep>,
    wanted_sideband: SidebandName,
    /// LO at the mixers over LO input; 1 when absent.
    lo_multiplication: Option<Spanned<u32>>,
    /// The part of the multiplication that comes after the split into branches; 1 when absent.
    lo_multiplication_after_split: Option<Spanned<u32>>,
    /// Available from the source at `lo_input`.
    lo_power_dbm: Option<Spanned<f64>>,
}

/// One frequency, a list, or equidistant ones.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a number, a list, or { from = .., to = .., points = .. }")]
enum Sweep {
    One(f64),
    List(Vec<f64>),
    Range(SweepRange),
}

/// Equidistant points, both ends included.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SweepRange {
    from: f64,
    to: f64,
    points: usize,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SidebandName {
    /// RF = LO + IF.
    Upper,
    /// RF = LO - IF.
    Lower,
}

impl FrequencyPlanEntry {
    /// The plan, with n in RF = n LO ± IF; 1 when absent. `chain` is what the stages of an LO chain
    /// multiply by, `has_source` whether the chain has a source of its own.
    pub(super) fn read(
        &self,
        source: &TomlFile,
        lo_harmonic: Option<&Spanned<u32>>,
        chain: Option<u32>,
        has_source: bool,
    ) -> Result<ReceiverPlan, DescriptionError> {
        let lo_hz = sweep(source, "lo_ghz", &self.lo_ghz)?;
        let if_hz = sweep(source, "if_ghz", &self.if_ghz)?;
        let points = lo_hz.len().saturating_mul(if_hz.len());
        if points > MOST_PLAN_POINTS {
            let what =
                format!("LO times IF must be at most {MOST_PLAN_POINTS} points, found {points}");
            return Err(source.complaint(&self.lo_ghz, what));
        }
        let factor = |key, given: Option<&Spanned<u32>>| {
            given.map_or(Ok(1), |given| source.whole(key, given, 1..=1000))
        };
        let after = self.lo_multiplication_after_split.as_ref();
        if let (Some(given), true) = (&self.lo_power_dbm, has_source) {
            let what =
                "with an LO chain the LO power is what the chain gives; leave lo_power_dbm out";
            return Err(source.complaint(given, what));
        }
        let after_split = factor("lo_multiplication_after_split", after)?;
        let lo_multiplication = match (&self.lo_multiplication, chain) {
            (given, None) => factor("lo_multiplication", given.as_ref())?,
            (given, Some(chain)) => {
                let found = chain.saturating_mul(after_split);
                let expected = factor("lo_multiplication", given.as_ref())?;
                if let Some(given) = given.as_ref().filter(|_| expected != found) {
                    return Err(source.error(
                        ReceiverError::ChainMultiplication { expected, found },
                        given.span(),
                    ));
                }
                found
            }
        };
        ReceiverPlan::new(LoIfSettings {
            lo_hz,
            if_hz,
            wanted: match self.wanted_sideband {
                SidebandName::Upper => Sideband::Upper,
                SidebandName::Lower => Sideband::Lower,
            },
            lo_multiplication,
            lo_multiplication_after_split: after_split,
            lo_harmonic: factor("lo_harmonic", lo_harmonic)?,
            lo_power_dbm: self.lo_power_dbm.as_ref().map(|power| *power.get_ref()),
        })
        .map_err(|error| {
            let place = match &error {
                PlanError::AfterSplit { .. } => after.map(Spanned::span),
                PlanError::LoPower { .. } => self.lo_power_dbm.as_ref().map(Spanned::span),
                PlanError::NoLowerSideband { .. } => Some(self.if_ghz.span()),
                _ => None,
            };
            match place {
                Some(span) => source.error(error, span),
                None => source.error_in_file(error),
            }
        })
    }
}

fn sweep(
    source: &TomlFile,
    key: &str,
    given: &Spanned<Sweep>,
) -> Result<Vec<f64>, DescriptionError> {
    let in_range = |ghz: f64| match check_ghz(key, ghz) {
        Ok(()) => Ok(ghz),
        Err(error) => Err(source.complaint(given, error.to_string())),
    };
    let hz = |ghz: f64| {
        let hz = ghz * 1e9;
        // 24.1 GHz is meant as a whole number of hertz.
        if (hz - hz.round()).abs() < 1e-3 { hz.round() } else { hz }
    };
    let list: Vec<f64> = match given.get_ref() {
        Sweep::One(ghz) => vec![hz(in_range(*ghz)?)],
        Sweep::List(list) => {
            list.iter().map(|&ghz| in_range(ghz).map(hz)).collect::<Result<_, _>>()?
        }
        Sweep::Range(range) => {
            let points = range.points;
            if !(1..=MOST_PLAN_POINTS).contains(&points) {
                let what = format!(
                    "points must be a whole number from 1 to {MOST_PLAN_POINTS}, found {points}"
                );
                return Err(source.complaint(given, what));
            }
            if points == 1 && range.from < range.to {
                let what = "points must be 2 or more for different ends, found 1";
                return Err(source.complaint(given, what));
            }
            equidistant(hz(in_range(range.from)?), hz(in_range(range.to)?), points)
        }
    };
    let is_ascending = list.windows(2).all(|pair| pair[0] < pair[1]);
    if list.is_empty() || !list.iter().all(|hz| *hz > 0.0 && hz.is_finite()) || !is_ascending {
        let what = format!("{key} needs positive frequencies in ascending order, in GHz");
        return Err(source.complaint(given, what));
    }
    Ok(list)
}

/// A frequency at which files are needed, and its purpose.
pub(super) struct Need {
    pub(super) frequency_hz: f64,
    pub(super) purpose: String,
}

/// The frequencies of a plan on both paths.
pub(super) fn needs(plan: &ReceiverPlan) -> LoRf<Vec<Need>> {
    let after = plan.settings().lo_multiplication_after_split;
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

/// The lowest and the highest frequency that is needed.
pub(super) fn span_of(needs: &[Need]) -> RangeInclusive<f64> {
    let all = || needs.iter().map(|need| need.frequency_hz);
    all().fold(f64::INFINITY, f64::min)..=all().fold(f64::NEG_INFINITY, f64::max)
}

/// Refuses a file that does not cover all frequencies, with the one farthest outside.
pub(super) fn check_cover(
    source: &TomlFile,
    network: &Network,
    needs: &[Need],
    what: &str,
    span: Range<usize>,
) -> Result<(), DescriptionError> {
    let (first_hz, last_hz) = (network.grid().first_hz(), network.grid().last_hz());
    let beyond = |need: &&Need| (first_hz - need.frequency_hz).max(need.frequency_hz - last_hz);
    match needs.iter().max_by(|one, other| beyond(one).total_cmp(&beyond(other))) {
        Some(need) if beyond(&need) > 0.0 => {
            let problem = DescriptionProblem::OutsideFile {
                what: what.to_owned(),
                covers: format!("covers {}", shown_band((first_hz, last_hz))),
                frequency_hz: need.frequency_hz,
                need: need.purpose.clone(),
                unit_factor: unit_factor((first_hz, last_hz), &span_of(needs)),
            };
            Err(source.error(problem, span))
        }
        _ => Ok(()),
    }
}

/// The factor between two units of frequency with which the data would cover what is needed.
fn unit_factor((first_hz, last_hz): (f64, f64), needed_hz: &RangeInclusive<f64>) -> Option<f64> {
    let covers = |factor: &f64| {
        // A unit that is wrong leaves the last digits as they are.
        let (first_hz, last_hz) = (first_hz * factor * 0.999_999, last_hz * factor * 1.000_001);
        first_hz <= *needed_hz.start() && *needed_hz.end() <= last_hz
    };
    [1e3, 1e6, 1e9, 1e-3, 1e-6, 1e-9].into_iter().find(covers)
}
