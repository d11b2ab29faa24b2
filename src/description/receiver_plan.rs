//! `[frequency_plan]` of RECEIVER.toml, and the frequencies needed from a receiver's files.

use super::error::{DescriptionError, DescriptionProblem, PlanMistake};
use super::receiver_remarks::odd_level;
use super::source::{Pair, TomlFile};
use crate::downconverter::{
    LoIfPoint, LoIfSettings, LoRf, PlanError, ReceiverError, ReceiverPlan, Sideband,
};
use crate::network::Network;
use crate::units::{ShownFrequency, check_ghz, equidistant, shown_band};
use serde::de::value::{MapAccessDeserializer, SeqAccessDeserializer};
use serde::de::{MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer};
use std::fmt;
use std::ops::{Range, RangeInclusive};
use toml::Spanned;

/// Maximum number of plan points; more are a typing error.
const MOST_PLAN_POINTS: usize = 20_000;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FrequencyPlanEntry {
    /// LO frequencies at the mixers, GHz.
    lo_ghz: Spanned<Sweep>,
    if_ghz: Spanned<Sweep>,
    /// The RF band that is wanted: points whose wanted RF is outside are left out. All when absent.
    rf_ghz: Option<Spanned<TableOrPair<RfBandEntry>>>,
    wanted_sideband: SidebandName,
    /// Ratio of the LO at the mixers to the LO input; default: 1.
    lo_multiplication: Option<Spanned<u32>>,
    /// The part of the multiplication after the split into branches; default: 1.
    lo_multiplication_after_split: Option<Spanned<u32>>,
    /// Available power of the source at `lo_input`, dBm.
    lo_power_dbm: Option<Spanned<f64>>,
}

/// One frequency, a list, or equidistant frequencies.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a number, a list, or { from = .., to = .., points = .. }")]
enum Sweep {
    One(f64),
    List(Vec<f64>),
    Range(SweepRange),
}

/// A band, both ends included.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RfBandEntry {
    from: f64,
    to: f64,
}

/// A table, or a list of two values.
#[derive(Clone, Copy, Debug)]
struct TableOrPair<T>(T);

impl<'de> Deserialize<'de> for TableOrPair<RfBandEntry> {
    /// By hand, since a derived reader takes a table's values from a list of any length, and one
    /// that tries both forms loses the place of a wrong key.
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Either;

        impl<'de> Visitor<'de> for Either {
            type Value = RfBandEntry;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("[27, 31] or { from = 27, to = 31 }")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, list: A) -> Result<Self::Value, A::Error> {
                let Pair(from, to) = Pair::deserialize(SeqAccessDeserializer::new(list))?;
                Ok(RfBandEntry { from, to })
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
                RfBandEntry::deserialize(MapAccessDeserializer::new(map))
            }
        }

        deserializer.deserialize_any(Either).map(Self)
    }
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
    /// The multiplication after the split as written.
    pub(super) fn after_split(&self) -> Option<&Spanned<u32>> {
        self.lo_multiplication_after_split.as_ref()
    }

    /// The plan, with n in RF = n LO ± IF; default: 1. `chain` is the product of the orders of the
    /// stages, `has_source` whether the LO chain has its own source.
    pub(super) fn read(
        &self,
        source: &TomlFile,
        lo_harmonic: Option<&Spanned<u32>>,
        chain: Option<u32>,
        has_source: bool,
    ) -> Result<ReceiverPlan, DescriptionError> {
        let lo_hz = sweep(source, "lo_ghz", &self.lo_ghz)?;
        let if_hz = sweep(source, "if_ghz", &self.if_ghz)?;
        let rf_hz = self.rf_ghz.as_ref().map(|given| rf_band(source, given)).transpose()?;
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
            rf_hz,
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
                PlanError::RfUnit { .. }
                | PlanError::NoPointInRfBand { .. }
                | PlanError::Band { .. } => self.rf_ghz.as_ref().map(Spanned::span),
                _ => None,
            };
            match place {
                Some(span) => source.error(error, span),
                None => source.error_in_file(error),
            }
        })
    }
}

/// A band in Hz.
fn rf_band(
    source: &TomlFile,
    given: &Spanned<TableOrPair<RfBandEntry>>,
) -> Result<(f64, f64), DescriptionError> {
    let TableOrPair(RfBandEntry { from, to }) = *given.get_ref();
    for ghz in [from, to] {
        check_ghz("rf_ghz", ghz).map_err(|error| source.complaint(given, error.to_string()))?;
    }
    if from > 0.0 && from <= to && to.is_finite() {
        return Ok((whole_hz(from), whole_hz(to)));
    }
    let what = format!(
        "rf_ghz needs two frequencies above 0 GHz, the lower one first, found {from} and {to}"
    );
    Err(source.complaint(given, what))
}

/// Hertz of a frequency in GHz: 24.1 GHz is meant as a whole number of hertz.
fn whole_hz(ghz: f64) -> f64 {
    let hz = ghz * 1e9;
    if (hz - hz.round()).abs() < 1e-3 { hz.round() } else { hz }
}

impl FrequencyPlanEntry {
    /// What is likely a mistake though it can be solved.
    pub(super) fn remarks(&self, source: &TomlFile) -> Vec<String> {
        /// Two LOs closer than this have nothing between them that differs (ours).
        const NARROW: f64 = 1.02;
        let two_lo = match self.lo_ghz.get_ref() {
            Sweep::List(list) if list.len() == 2 && list[1] > NARROW * list[0] => {
                let text = format!(
                    "lo_ghz = [{low}, {high}] is two frequencies, and nothing between them is \
                     judged; a range is {{ from = {low}, to = {high}, points = 41 }}",
                    low = list[0],
                    high = list[1]
                );
                Some(source.remark(self.lo_ghz.span(), &text))
            }
            Sweep::Range(range) if range.points == 2 && range.to > NARROW * range.from => {
                let text = "nothing between the two LOs is judged: give more points".to_owned();
                Some(source.remark(self.lo_ghz.span(), &text))
            }
            _ => None,
        };
        let small_power = self.lo_power_dbm.as_ref().and_then(|given| {
            let text = odd_level("lo_power_dbm", *given.get_ref())?;
            Some(source.remark(given.span(), &text))
        });
        two_lo.into_iter().chain(small_power).collect()
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
    let list: Vec<f64> = match given.get_ref() {
        Sweep::One(ghz) => vec![whole_hz(in_range(*ghz)?)],
        Sweep::List(list) => {
            list.iter().map(|&ghz| in_range(ghz).map(whole_hz)).collect::<Result<_, _>>()?
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
            equidistant(whole_hz(in_range(range.from)?), whole_hz(in_range(range.to)?), points)
        }
    };
    let is_ascending = list.windows(2).all(|pair| pair[0] < pair[1]);
    if list.is_empty() || !list.iter().all(|hz| *hz > 0.0 && hz.is_finite()) || !is_ascending {
        let fault = list
            .windows(2)
            .find(|pair| pair[0] >= pair[1])
            .map(|pair| format!(": {} stands after {}", pair[1] / 1e9, pair[0] / 1e9));
        let what = format!(
            "{key} needs positive frequencies in ascending order, in GHz{}",
            fault.unwrap_or_default()
        );
        return Err(source.complaint(given, what));
    }
    Ok(list)
}

/// A frequency at which files are needed, with its purpose.
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
    for &LoIfPoint { lo_hz, if_hz, .. } in plan.points() {
        let point = format!("LO {}, IF {}", ShownFrequency(lo_hz), ShownFrequency(if_hz));
        rf.extend([Sideband::Upper, Sideband::Lower].map(|sideband| Need {
            frequency_hz: plan.rf_hz(lo_hz, if_hz, sideband),
            purpose: format!("RF {sideband}, {point}"),
        }));
    }
    LoRf { lo: lo.collect(), rf }
}

/// The minimum and the maximum of the frequencies needed.
pub(super) fn span_of(needs: &[Need]) -> RangeInclusive<f64> {
    let all = || needs.iter().map(|need| need.frequency_hz);
    all().fold(f64::INFINITY, f64::min)..=all().fold(f64::NEG_INFINITY, f64::max)
}

/// Refuses a file that does not cover all frequencies, with the one farthest outside; `plan` is that of a
/// file for LO or RF.
pub(super) fn check_cover(
    source: &TomlFile,
    network: &Network,
    needs: &[Need],
    what: &str,
    span: Range<usize>,
    plan: Option<&ReceiverPlan>,
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
                likely: plan_mistake((first_hz, last_hz), needs, plan),
            };
            Err(source.error(problem, span))
        }
        _ => Ok(()),
    }
}

/// The likely mistake where a file does not cover a plan.
fn plan_mistake(
    data_hz: (f64, f64),
    needs: &[Need],
    plan: Option<&ReceiverPlan>,
) -> Option<PlanMistake> {
    let covers = |low_hz: f64, high_hz: f64| data_hz.0 <= low_hz && high_hz <= data_hz.1;
    let from_plan = || {
        let plan = plan?;
        let settings = plan.settings();
        let [first_hz, last_hz] = [*plan.lo_hz().first()?, *plan.lo_hz().last()?]
            .map(|hz| hz * f64::from(settings.lo_harmonic));
        let multiplication = settings.lo_multiplication;
        let factor = f64::from(multiplication);
        if multiplication > 1 && covers(first_hz * factor, last_hz * factor) {
            return Some(PlanMistake::LoAtSource { multiplication });
        }
        let highest_if_hz = *plan.if_hz().last()?;
        let mega_hz = highest_if_hz * 1e-3;
        // An IF of some gigahertz is usual.
        (highest_if_hz >= 5e9 && covers(first_hz - mega_hz, last_hz + mega_hz))
            .then_some(PlanMistake::IfInMegahertz { if_ghz: highest_if_hz * 1e-9 })
    };
    let of_file = || {
        let factor = unit_factor(data_hz, &span_of(needs))?;
        Some(PlanMistake::FileUnit { factor })
    };
    from_plan().or_else(of_file)
}

/// The factor between two units of frequency with which the data would cover what is needed.
fn unit_factor((first_hz, last_hz): (f64, f64), needed_hz: &RangeInclusive<f64>) -> Option<f64> {
    let covers = |factor: &f64| {
        // A wrong unit does not change the last digits.
        let (first_hz, last_hz) = (first_hz * factor * 0.999_999, last_hz * factor * 1.000_001);
        first_hz <= *needed_hz.start() && *needed_hz.end() <= last_hz
    };
    [1e3, 1e6, 1e9, 1e-3, 1e-6, 1e-9].into_iter().find(covers)
}
