//! Spurious responses: RF that tones beside the LO bring to the IF.
//!
//! A tone at the offset d from the LO at a mixer acts on it by the sideband rule, with the turns of the
//! LO phase as the order and the LO amplitude exponent as the slope. Its lines bring in RF at their own
//! frequency plus and minus the IF, as the LO brings in the two sidebands.

use super::error::Result;
use super::frequency_plan::{Band, Sideband};
use super::iq_balance::{Element, IqOutputs, Mixing};
use super::joined_path::JoinedPath;
use super::lo_chain::sidebands;
use super::lo_chain_result::SpuriousResponse;
use super::lo_if_plan::merged;
use super::mixer_tones::RelativeTones;
use super::part_model::PartModel;
use super::plan_chain::PlanChain;
use super::receiver::Receiver;
use super::signal_path::ReceiverPath;
use super::solution::Evaluation;
use crate::network::FrequencyGrid;
use num_complex::Complex64;
use std::collections::{BTreeMap, BTreeSet};

/// Lines and responses weaker than this against the LO and the wanted response are not listed.
pub(super) const WEAKEST_LISTED: f64 = 1e-7 * 0.316_227_766_016_837_94;
/// The RF path may pass a response better than the wanted RF; a line this weak is never listed.
const WEAKEST_LINE: f64 = 1e-10;
/// The most responses of a plan; beyond it the strongest lines at each LO are kept.
const MOST_RESPONSES: usize = 400_000;
/// RF points that are solved at a time.
const MOST_POINTS: usize = 4096;

/// I and Q for RF at a line beside the LO plus (`upper`) and minus (`lower`) the IF.
///
/// `elements` hold the LO voltages and, as sidebands, the RF voltages at these frequencies; `lines` the
/// line at each of them relative to the LO's own action, by the sideband rule.
#[must_use]
pub fn spurious_outputs(elements: &[Element], lines: &[Complex64], mixing: &Mixing) -> IqOutputs {
    let acting = |(element, line): (&Element, &Complex64)| Element {
        // The line multiplies the LO's action, which the upper sideband meets conjugated.
        gain: element.gain * line.conj(),
        ..*element
    };
    let elements: Vec<Element> = elements.iter().zip(lines).map(acting).collect();
    IqOutputs::of(&elements, mixing)
}

/// A solved receiver, for its spurious responses.
pub(super) struct SpuriousSearch<'a> {
    pub(super) receiver: &'a Receiver,
    pub(super) chain: &'a PlanChain,
    pub(super) evaluation: Evaluation<'a>,
    /// LO voltages at the mixers.
    pub(super) lo: &'a [Complex64],
    /// I and Q at each point of the plan.
    pub(super) outputs: &'a [IqOutputs],
    /// The multiple of the LO at the mixers' ports, in steps.
    pub(super) carrier: i64,
    /// The RF band, Hz.
    pub(super) rf_band_hz: Band,
    /// Where responses are limited, Hz.
    pub(super) judged_hz: Band,
}

/// A line of the mixers' action at one LO: its multiple in steps, and its size at each mixer.
struct ActingLine {
    lo: usize,
    multiple: i64,
    values: Vec<Complex64>,
}

impl ActingLine {
    /// Its size at the mixer where it is largest.
    fn strength(&self) -> f64 {
        self.values.iter().map(|value| value.norm()).fold(0.0, f64::max)
    }
}

/// The responses of a receiver.
#[derive(Debug, Default)]
pub(super) struct FoundResponses {
    pub(super) responses: Vec<SpuriousResponse>,
    /// How many RF lie outside the data of the RF path.
    pub(super) outside: usize,
    /// Whether there were more lines than are kept.
    pub(super) is_cut: bool,
}

/// RF about a line for an IF of its LO; a place among the RF points for each sideband that the data reach.
struct AskedRf {
    line: usize,
    /// The point of the plan.
    point: usize,
    upper: Option<usize>,
    lower: Option<usize>,
}

impl SpuriousSearch<'_> {
    /// The responses to tones at the mixers.
    pub(super) fn responses(&self, at_mixers: &[Vec<RelativeTones>]) -> Result<FoundResponses> {
        let ifs = self.receiver.plan().if_hz().len();
        let most = (MOST_RESPONSES / (2 * ifs * at_mixers.len().max(1))).max(2);
        let mut all = FoundResponses::default();
        let mut lines: Vec<ActingLine> = Vec::new();
        for (lo, mixers) in at_mixers.iter().enumerate() {
            let mut own = self.lines(lo, mixers);
            if own.len() > most {
                all.is_cut = true;
                own.sort_by(|one, other| other.strength().total_cmp(&one.strength()));
                own.truncate(most);
            }
            lines.extend(own);
        }
        for some in lines.chunks((MOST_POINTS / (2 * ifs)).max(1)) {
            all.outside += self.of_lines(some, &mut all.responses)?;
        }
        all.responses.sort_by(|one, other| {
            let order = one.lo_hz.total_cmp(&other.lo_hz).then(one.if_hz.total_cmp(&other.if_hz));
            let order = order.then(one.multiple.total_cmp(&other.multiple));
            order.then(one.rf_hz.total_cmp(&other.rf_hz))
        });
        Ok(all)
    }

    /// The lines that the tones at the mixers make at one LO.
    fn lines(&self, lo: usize, mixers: &[RelativeTones]) -> Vec<ActingLine> {
        let mixing = self.receiver.mixing();
        let order = f64::from(mixing.lo_harmonic());
        let centre = i64::from(mixing.lo_harmonic()) * self.carrier;
        let count = mixers.len();
        let by_mixer: Vec<BTreeMap<i64, Complex64>> = mixers
            .iter()
            .enumerate()
            .map(|(mixer, tones)| {
                let offsets = tones.iter().map(|(at, value)| (at - self.carrier, *value)).collect();
                let slope = mixing.lo_amplitude_exponent().into();
                let turned = order * self.lo[lo * count + mixer].arg();
                let mut folded: BTreeMap<i64, Complex64> = BTreeMap::new();
                for (offset, value) in sidebands(order, slope, &offsets) {
                    let place = centre + offset;
                    // Below 0 Hz a line is the conjugate of one above; the LO's own phase is not.
                    let (place, value) = if place < 0 {
                        (-place, value.conj() * Complex64::from_polar(1.0, -2.0 * turned))
                    } else {
                        (place, value)
                    };
                    *folded.entry(place).or_default() += value;
                }
                folded
            })
            .collect();
        let places: BTreeSet<i64> = by_mixer.iter().flat_map(|own| own.keys().copied()).collect();
        let line = |multiple: i64| {
            let value = |own: &BTreeMap<i64, Complex64>| own.get(&multiple).copied();
            let values: Vec<Complex64> =
                by_mixer.iter().map(|own| value(own).unwrap_or_default()).collect();
            let is_strong = values.iter().any(|value| value.norm() >= WEAKEST_LINE);
            is_strong.then_some(ActingLine { lo, multiple, values })
        };
        let places = places.into_iter().filter(|&place| place > 0 && place != centre);
        places.filter_map(line).collect()
    }

    fn of_lines(&self, lines: &[ActingLine], found: &mut Vec<SpuriousResponse>) -> Result<usize> {
        let receiver = self.receiver;
        let path = ReceiverPath::Rf;
        let models: Vec<PartModel> =
            receiver.places_on(path).filter_map(|place| receiver.model_at(place, path)).collect();
        let covers = |hz: f64| hz > 0.0 && models.iter().all(|model| model.covers(hz));
        let (mut asked, mut asked_hz, mut outside) = (Vec::new(), Vec::new(), 0);
        for (line, own) in lines.iter().enumerate() {
            let centre_hz = self.chain.hz(own.lo, own.multiple);
            for point in receiver.plan().points_of_lo(own.lo) {
                let if_hz = receiver.plan().points()[point].if_hz;
                let mut place = |hz: f64| {
                    if covers(hz) {
                        asked_hz.push(hz);
                        Some(asked_hz.len() - 1)
                    } else {
                        outside += 1;
                        None
                    }
                };
                let (upper, lower) = (place(centre_hz + if_hz), place(centre_hz - if_hz));
                asked.push(AskedRf { line, point, upper, lower });
            }
        }
        if asked_hz.is_empty() {
            return Ok(outside);
        }
        let (kept_hz, places) = merged(&asked_hz);
        let grid = FrequencyGrid::from_hz(kept_hz)?;
        let other = receiver.with_networks_on(path, &grid, |place| {
            let what = receiver.place_name(place)?;
            match receiver.model_at(place, path) {
                Some(model) => model.on(&grid, &what),
                None => Err(super::error::ReceiverError::NoNetwork { what, path }),
            }
        })?;
        let rf = JoinedPath::new(&other, path)?;
        let reduced = rf.reduce(&other, &rf.blocks)?;
        let voltages = rf.voltages(&other, &reduced, &rf.terminations(&other)?)?;
        for own in &asked {
            let rf_of = |asked: Option<usize>| asked.map(|asked| (places[asked], asked_hz[asked]));
            self.of_rf(
                &lines[own.line],
                own.point,
                &voltages,
                [(Sideband::Lower, rf_of(own.lower)), (Sideband::Upper, rf_of(own.upper))],
                found,
            );
        }
        Ok(outside)
    }

    /// The responses about one line at a point of the plan, from the RF voltages at the mixers, point after point.
    fn of_rf(
        &self,
        line: &ActingLine,
        point: usize,
        rf: &[Complex64],
        sides: [(Sideband, Option<(usize, f64)>); 2],
        found: &mut Vec<SpuriousResponse>,
    ) {
        let (receiver, plan) = (self.receiver, self.receiver.plan());
        let mixers = receiver.mixers();
        let [(_, lower), (_, upper)] = sides;
        let at = |side: Option<(usize, f64)>, mixer: usize| {
            side.map_or(Complex64::ZERO, |(point, _)| rf[point * mixers.len() + mixer])
        };
        let elements: Vec<Element> = mixers
            .iter()
            .enumerate()
            .map(|(mixer, own)| Element {
                channel: own.channel,
                is_subtracted: own.is_subtracted,
                gain: own.gain,
                lo: self.lo[line.lo * mixers.len() + mixer],
                rf_upper: at(upper, mixer),
                rf_lower: at(lower, mixer),
            })
            .collect();
        let outputs = spurious_outputs(&elements, &line.values, receiver.mixing());
        let wanted = self.evaluation.combined(receiver, point, &self.outputs[point], plan.wanted());
        for (sideband, rf) in sides {
            let Some((_, rf_hz)) = rf else { continue };
            let own = self.evaluation.combined(receiver, point, &outputs, sideband);
            let relative = own / wanted;
            if relative.norm() > WEAKEST_LISTED && relative.is_finite() {
                let within = |band: Band| (band.0..=band.1).contains(&rf_hz);
                found.push(SpuriousResponse {
                    lo_hz: plan.lo_hz()[line.lo],
                    if_hz: plan.points()[point].if_hz,
                    multiple: self.chain.multiple(line.multiple),
                    sideband,
                    rf_hz,
                    relative,
                    is_in_rf_band: within(self.rf_band_hz),
                    is_judged: within(self.judged_hz),
                });
            }
        }
    }
}
