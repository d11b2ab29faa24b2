//! The frequencies of a receiver, and which of them its files must cover.

use super::error::{DescriptionError, DescriptionProblem};
use super::receiver_entries::{FrequencyPlanEntry, ReceiverDescription, SidebandName, Sweep};
use super::source::TomlFile;
use crate::downconverter::ReceiverPlan;
use crate::downconverter::Sideband;
use crate::network::Network;
use crate::units::{ShownFrequency, equidistant};
use std::ops::Range;
use toml::Spanned;

/// More points than this are a slip of the pen.
const MOST_PLAN_POINTS: usize = 20_000;
/// Frequencies this close, relatively, are one: sums of LO and IF differ in their last digits.
const SAME_FREQUENCY: f64 = 1e-12;

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

    /// The plan, the RF grid, and what each way needs.
    #[allow(clippy::type_complexity, reason = "taken apart at once by its one caller")]
    pub(super) fn plan(
        &self,
        description: &ReceiverDescription,
    ) -> Result<(ReceiverPlan, Vec<f64>, [Vec<Need>; 2]), DescriptionError> {
        let entry: &FrequencyPlanEntry = &description.frequency_plan;
        let lo_hz = self.sweep(&entry.lo_ghz, "lo_ghz")?;
        let if_hz = self.sweep(&entry.if_ghz, "if_ghz")?;
        if lo_hz.len().saturating_mul(if_hz.len()) > MOST_PLAN_POINTS {
            return Err(self.complaint(
                &entry.lo_ghz,
                format!("LO times IF points are more than {MOST_PLAN_POINTS}"),
            ));
        }
        let multiplication = self.factor(entry.lo_multiplication.as_ref(), "lo_multiplication")?;
        let after = self.factor(
            entry.lo_multiplication_after_split.as_ref(),
            "lo_multiplication_after_split",
        )?;
        if let Some(given) = &entry.lo_multiplication_after_split
            && !multiplication.is_multiple_of(after)
        {
            return Err(self.complaint(
                given,
                format!("{after} is no part of the multiplication by {multiplication}"),
            ));
        }
        let harmonic = self.factor(description.mixing.lo_harmonic.as_ref(), "lo_harmonic")?;
        if let Some(power) = &entry.lo_power_dbm
            && !(-200.0..=200.0).contains(power.get_ref())
        {
            return Err(self.complaint(power, "lo_power_dbm is from -200 to 200"));
        }
        if let (None, Some(limit)) = (&entry.lo_power_dbm, &description.require.lo_power_dbm_min) {
            return Err(self.error(DescriptionProblem::NoPower, limit.span()));
        }

        // RF points of both sidebands; many coincide.
        let times = f64::from(harmonic);
        let mut wanted: Vec<f64> = Vec::new();
        let mut rf_needs = Vec::new();
        for &lo in &lo_hz {
            for &intermediate in &if_hz {
                let (upper, lower) = (times * lo + intermediate, times * lo - intermediate);
                if lower <= 0.0 {
                    return Err(self.complaint(
                        &entry.if_ghz,
                        format!(
                            "an IF of {} leaves no lower sideband at an LO of {}",
                            ShownFrequency(intermediate),
                            ShownFrequency(lo)
                        ),
                    ));
                }
                for (name, frequency_hz) in [("upper", upper), ("lower", lower)] {
                    wanted.push(frequency_hz);
                    rf_needs.push(Need {
                        frequency_hz,
                        purpose: format!(
                            "RF {name}, LO {}, IF {}",
                            ShownFrequency(lo),
                            ShownFrequency(intermediate)
                        ),
                    });
                }
            }
        }
        let mut rf_hz = wanted.clone();
        rf_hz.sort_by(f64::total_cmp);
        rf_hz.dedup_by(|next, kept| *next - *kept <= SAME_FREQUENCY * *next);
        let place = |hz: f64| {
            let above = rf_hz.partition_point(|point| *point <= hz * (1.0 + SAME_FREQUENCY));
            above.saturating_sub(1)
        };
        let rf_points =
            wanted.chunks_exact(2).map(|pair| [place(pair[0]), place(pair[1])]).collect();
        let lo_needs = lo_hz.iter().map(|&lo| Need {
            frequency_hz: lo / f64::from(after),
            purpose: if after == 1 {
                "LO".to_owned()
            } else {
                format!("LO before its last multiplication by {after}")
            },
        });
        let needs = [lo_needs.collect(), rf_needs];
        let plan = ReceiverPlan {
            lo_hz,
            if_hz,
            wanted: match entry.wanted_sideband {
                SidebandName::Upper => Sideband::Upper,
                SidebandName::Lower => Sideband::Lower,
            },
            lo_multiplication: multiplication,
            lo_multiplication_after_split: after,
            lo_harmonic: harmonic,
            lo_power_dbm: entry.lo_power_dbm.as_ref().map(|power| *power.get_ref()),
            rf_points,
        };
        Ok((plan, rf_hz, needs))
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
