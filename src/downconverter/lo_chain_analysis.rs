//! The analysis of an LO chain: levels, tones, spurious responses, phase noise, and the window of
//! input power.

use super::driven_path::LoDrive;
use super::error::Result;
use super::frequency_plan::Band;
use super::lo_chain::{
    ActiveStage, NoiseStage, PowerWindow, ToneSet, phase_noise_dbc_hz, power_window,
};
use super::lo_chain_result::{
    LeftOutTone, LoChainResult, MixerTone, OutsideDrive, PowerPoint, StagePoint, StageResult,
    StageTone,
};
use super::lo_drive_setup::{DriveLimits, LoStageKind};
use super::mixer_tones::{InsideStage, NetworkTones, network_tones};
use super::plan_chain::{PlanChain, StageTones};
use super::receiver::Receiver;
use super::solution::{Evaluation, Solved};
use super::spurious_response::{FoundResponses, SpuriousSearch, WEAKEST_LISTED};
use crate::requirement::Quantity;
use crate::units::{ShownFrequency, db_from_amplitude};
use num_complex::Complex64;

/// First order holds for modulations below this.
const LARGEST_MODULATION: f64 = 0.2;
/// The limits of a stage's drive and its drive, dBm.
type StageDrive = (DriveLimits, f64);

/// Source powers of the power curve on either side of the present one, dB.
const CURVE_DB: i32 = 20;

/// The chain of a solved receiver; `None` for one without. `conductances` are those of the loads at the
/// mixers' LO ports, in siemens.
pub(super) fn lo_chain_result(
    receiver: &Receiver,
    solved: &Solved,
    conductances: &[Option<f64>],
    warnings: &mut Vec<String>,
) -> Result<Option<LoChainResult>> {
    let Some(chain) = &receiver.chain else { return Ok(None) };
    let before = chain.tones()?;
    let at_input = before.last().map_or_else(|| chain.source_tones(), |behind| behind.sets.clone());
    let inside = network_tones(receiver, chain, at_input.clone())?;
    let analysis = ChainAnalysis { receiver, chain, solved, conductances };
    let stages = analysis.stages(&before, &inside);
    warnings.extend(analysis.large_modulations(&before, &inside));
    let found = if receiver.switching().is_some() {
        warnings.push(
            "spurious responses are not computed for switched mixers; the tones beside the LO at the \
             mixers are"
                .to_owned(),
        );
        FoundResponses::default()
    } else {
        analysis.search().responses(&inside.at_mixers)?
    };
    if found.is_cut {
        warnings.push(
            "there are more spurious responses than are kept: the strongest lines at each LO are"
                .to_owned(),
        );
    }
    let left_out = analysis.left_out(&before, &inside);
    let is_judged = |quantity| receiver.limits().on(quantity).is_some();
    if !left_out.is_empty()
        && (is_judged(Quantity::LoTone) || is_judged(Quantity::SpuriousResponse))
    {
        warnings.push(format!(
            "{} tones beside the LO are outside the data of a part, and limits on tones and spurious \
             responses are judged without them",
            left_out.len()
        ));
    }
    Ok(Some(LoChainResult {
        source_dbm: chain.setup().source.power_dbm,
        tones_at_mixers: analysis.tones_at_mixers(&inside, &at_input),
        spurious_responses: found.responses,
        responses_outside_data: found.outside,
        left_out,
        phase_noise_at_mixers: analysis.phase_noise(),
        input_window: analysis.window()?,
        power_curve: analysis.power_curve()?,
        outside_drive: stages.iter().filter_map(outside_drive).collect(),
        stages,
    }))
}

/// The RF band of a plan, Hz; without one from the lowest to the highest wanted RF.
fn rf_band_hz(receiver: &Receiver) -> Band {
    let plan = receiver.plan();
    if let Some(band_hz) = plan.settings().rf_hz {
        return band_hz;
    }
    let points = plan.points().iter();
    let all = points.map(|point| plan.rf_hz(point.lo_hz, point.if_hz, plan.wanted()));
    all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), hz| (low.min(hz), high.max(hz)))
}

/// What is said of a stage that is driven outside its limits somewhere.
fn outside_drive(stage: &StageResult) -> Option<OutsideDrive> {
    let margin_db = stage.drive_margin_db().filter(|margin_db| *margin_db < 0.0)?;
    let drives = || stage.points.iter().map(|point| point.drive_dbm);
    let low = drives().fold(f64::INFINITY, f64::min);
    let high = drives().fold(f64::NEG_INFINITY, f64::max);
    let DriveLimits { min_dbm, max_dbm } = stage.drive_limits;
    let limits = match (min_dbm, max_dbm) {
        (Some(min), Some(max)) => format!("{min} to {max} dBm"),
        (Some(min), None) => format!("at least {min} dBm"),
        (None, Some(max)) => format!("at most {max} dBm"),
        (None, None) => return None,
    };
    let text = format!(
        "LO stage '{}' is driven with {low:.2} to {high:.2} dBm, {:.2} dB outside its input_dbm of \
         {limits}",
        stage.name, -margin_db
    );
    Some(OutsideDrive { stage: stage.name.clone(), text })
}

struct ChainAnalysis<'a> {
    receiver: &'a Receiver,
    chain: &'a PlanChain,
    solved: &'a Solved,
    conductances: &'a [Option<f64>],
}

impl ChainAnalysis<'_> {
    fn lo_hz(&self, lo: usize) -> f64 {
        self.receiver.plan().lo_hz()[lo]
    }

    fn stages(&self, before: &[StageTones], inside: &NetworkTones) -> Vec<StageResult> {
        let source_dbm = self.chain.setup().source.power_dbm;
        let los = self.receiver.plan().lo_hz().len();
        let levels: Vec<_> = (0..los).map(|lo| self.chain.levels(lo, source_dbm)).collect();
        let described = self.chain.setup().stages.iter().zip(before).enumerate();
        let mut stages: Vec<StageResult> = described
            .map(|(at, (stage, behind))| {
                let active = match &stage.kind {
                    LoStageKind::Active(active) => Some(active),
                    LoStageKind::TwoPort(_) => None,
                };
                let point = |(lo, set): (usize, &ToneSet)| StagePoint {
                    carrier_hz: self.chain.hz(lo, set.carrier().multiple),
                    drive_dbm: levels[lo][at].drive_dbm,
                    carrier_dbm: levels[lo][at].output_dbm,
                    slope: levels[lo][at].slope,
                };
                StageResult {
                    name: stage.name.clone(),
                    is_inside: false,
                    order: active.map(ActiveStage::order),
                    saturated_dbm: active.map(ActiveStage::saturated_dbm),
                    drive_limits: stage.drive,
                    points: behind.sets.iter().enumerate().map(point).collect(),
                    tones: self.stage_tones(&behind.sets),
                }
            })
            .collect();
        stages.extend(inside.stages.iter().filter_map(|own| self.inside_stage(own)));
        stages
    }

    fn inside_stage(&self, own: &InsideStage) -> Option<StageResult> {
        let stage = self.receiver.stage(own.part)?;
        let point = |(lo, set): (usize, &ToneSet)| StagePoint {
            carrier_hz: self.chain.hz(lo, set.carrier().multiple),
            drive_dbm: own.drive_dbm[lo],
            carrier_dbm: own.points[lo].output_dbm,
            slope: own.points[lo].slope,
        };
        Some(StageResult {
            name: self.receiver.parts()[own.part].name.clone(),
            is_inside: true,
            order: Some(stage.law.order()),
            saturated_dbm: Some(stage.law.saturated_dbm()),
            drive_limits: stage.drive,
            points: own.sets.iter().enumerate().map(point).collect(),
            tones: self.stage_tones(&own.sets),
        })
    }

    fn stage_tones(&self, sets: &[ToneSet]) -> Vec<StageTone> {
        let of_lo = |(lo, set): (usize, &ToneSet)| -> Vec<StageTone> {
            let listed = set.tones().filter(|(_, value)| value.norm() > WEAKEST_LISTED);
            let tone = |(multiple, value): (i64, Complex64)| StageTone {
                lo_hz: self.lo_hz(lo),
                multiple: self.chain.multiple(multiple),
                dbc: db_from_amplitude(value.norm()),
            };
            listed.map(tone).collect()
        };
        sets.iter().enumerate().flat_map(of_lo).collect()
    }

    fn tones_at_mixers(&self, inside: &NetworkTones, at_input: &[ToneSet]) -> Vec<MixerTone> {
        let mut all = Vec::new();
        for (lo, mixers) in inside.at_mixers.iter().enumerate() {
            let multiples: std::collections::BTreeSet<i64> =
                mixers.iter().flat_map(|tones| tones.keys().copied()).collect();
            for multiple in multiples {
                let size = |tones: &super::mixer_tones::RelativeTones| {
                    tones.get(&multiple).map_or(0.0, |value| value.norm())
                };
                let sizes: Vec<f64> = mixers.iter().map(size).collect();
                if sizes.iter().any(|size| *size > WEAKEST_LISTED) {
                    let wave = at_input[lo].at(multiple).norm();
                    all.push(MixerTone {
                        lo_hz: self.lo_hz(lo),
                        multiple: self.chain.multiple(multiple),
                        frequency_hz: self.chain.hz(lo, multiple),
                        dbc_by_mixer: sizes.into_iter().map(db_from_amplitude).collect(),
                        dbc_at_lo_input: (self.receiver.pieces.stages().is_empty() && wave > 0.0)
                            .then(|| db_from_amplitude(wave)),
                    });
                }
            }
        }
        all
    }

    fn left_out(&self, before: &[StageTones], inside: &NetworkTones) -> Vec<LeftOutTone> {
        let left_out = |(lo, place, multiple): (usize, String, i64)| LeftOutTone {
            lo_hz: self.lo_hz(lo),
            place,
            multiple: self.chain.multiple(multiple),
        };
        let stages = self.chain.setup().stages.iter().zip(before);
        let filtered = stages.flat_map(|(stage, behind)| {
            let rows = behind.left_out.iter();
            rows.map(|&(lo, multiple)| (lo, stage.name.clone(), multiple)).collect::<Vec<_>>()
        });
        let mut all: Vec<LeftOutTone> =
            filtered.chain(inside.left_out.iter().cloned()).map(left_out).collect();
        all.sort_by(|one, other| one.lo_hz.total_cmp(&other.lo_hz));
        all
    }

    /// Where first order does not hold.
    fn large_modulations(&self, before: &[StageTones], inside: &NetworkTones) -> Vec<String> {
        let mut found = Vec::new();
        let mut check = |what: String, modulation: &[f64]| {
            let worst = modulation.iter().copied().enumerate();
            let worst = worst.max_by(|one, other| one.1.total_cmp(&other.1));
            if let Some((lo, worst)) = worst.filter(|(_, worst)| *worst > LARGEST_MODULATION) {
                found.push(format!(
                    "{what} is driven by a tone of {worst:.2} of its carrier times its order at LO {}: \
                     above 0.2 the tones behind it are approximate",
                    ShownFrequency(self.lo_hz(lo))
                ));
            }
        };
        let mut cut = Vec::new();
        for (stage, behind) in self.chain.setup().stages.iter().zip(before) {
            check(format!("LO stage '{}'", stage.name), &behind.modulation);
            if behind.is_cut {
                cut.push(format!("LO stage '{}' has more tones than are kept", stage.name));
            }
        }
        for own in &inside.stages {
            let name = &self.receiver.parts()[own.part].name;
            check(format!("LO stage '{name}'"), &own.modulation);
            if own.is_cut {
                cut.push(format!("LO stage '{name}' has more tones than are kept"));
            }
        }
        let order = f64::from(self.receiver.mixing().lo_harmonic());
        for (at, mixer) in self.receiver.mixers().iter().enumerate() {
            let largest = |mixers: &Vec<super::mixer_tones::RelativeTones>| {
                order * mixers[at].values().map(|value| value.norm()).fold(0.0, f64::max)
            };
            let modulation: Vec<f64> = inside.at_mixers.iter().map(largest).collect();
            check(format!("mixer '{}'", mixer.name), &modulation);
        }
        found.extend(cut);
        found
    }

    fn search(&self) -> SpuriousSearch<'_> {
        let receiver = self.receiver;
        let own = rf_band_hz(receiver);
        let before = self.chain.setup().stages.iter().map(|stage| i64::from(stage.kind.order()));
        let carrier = before.fold(self.chain.steps(), i64::saturating_mul);
        SpuriousSearch {
            receiver,
            chain: self.chain,
            evaluation: Evaluation::real(receiver, self.solved.chosen),
            lo: &self.solved.paths.lo.voltages,
            outputs: &self.solved.outputs,
            carrier: carrier.saturating_mul(receiver.pieces.at_mixers().into()),
            rf_band_hz: own,
            judged_hz: receiver.spurious_band_hz().unwrap_or(own),
        }
    }

    /// Phase noise at the noisiest mixer.
    fn phase_noise(&self) -> Option<Vec<(f64, f64)>> {
        let setup = self.chain.setup();
        let source = &setup.source.phase_noise;
        if source.is_empty() {
            return None;
        }
        let before: Vec<NoiseStage> = setup
            .stages
            .iter()
            .map(|stage| match &stage.kind {
                LoStageKind::Active(own) => {
                    NoiseStage { order: own.order(), floor_dbc_hz: own.floor_dbc_hz() }
                }
                LoStageKind::TwoPort(_) => NoiseStage { order: 1, floor_dbc_hz: None },
            })
            .collect();
        let pieces = &self.receiver.pieces;
        let mut at_pieces: Vec<Option<Vec<(f64, f64)>>> = vec![None; pieces.count()];
        at_pieces[0] = Some(phase_noise_dbc_hz(source, &before));
        for placed in pieces.stages() {
            let (Some(from), Some(stage)) =
                (&at_pieces[placed.from], self.receiver.stage(placed.block))
            else {
                continue;
            };
            let floor_dbc_hz = stage.law.floor_dbc_hz();
            let own = NoiseStage { order: stage.law.order(), floor_dbc_hz };
            let behind = phase_noise_dbc_hz(from, &[own]);
            at_pieces[placed.to] = Some(noisier(at_pieces[placed.to].take(), behind));
        }
        let after = self.receiver.plan().settings().lo_multiplication_after_split;
        let after = NoiseStage { order: after, floor_dbc_hz: None };
        let mixers = self.receiver.mixers().iter();
        let pieces = mixers.filter_map(|mixer| pieces.piece_of(&mixer.ports.lo));
        let rows = pieces.filter_map(|piece| at_pieces[piece].clone());
        rows.reduce(|one, other| noisier(Some(one), other))
            .map(|rows| phase_noise_dbc_hz(&rows, &[after]))
    }

    /// LO powers at the mixers over all LOs for a source power, dBm, and the drive of every stage.
    fn at_source_power(&self, source_dbm: f64) -> Result<(Vec<f64>, Vec<StageDrive>)> {
        let (receiver, path) = (self.receiver, &self.solved.paths.lo);
        let mut drives = Vec::new();
        let mut at_input: Vec<LoDrive> = Vec::new();
        for lo in 0..receiver.plan().lo_hz().len() {
            let levels = self.chain.levels(lo, source_dbm);
            let stages = self.chain.setup().stages.iter().zip(&levels);
            drives.extend(stages.map(|(stage, level)| (stage.drive, level.drive_dbm)));
            at_input.push(self.chain.drive_at(lo, source_dbm));
        }
        let stages = path.path.driven_stages(receiver, |_| false);
        let own;
        let voltages = if stages.is_empty() {
            &path.voltages
        } else {
            let response = path.path.response(&path.reduced, &path.terminations)?;
            let wave = path.path.source_wave(receiver, &path.reduced, &path.terminations);
            let inside = path.path.stage_drives(&response, wave, &stages, |lo| at_input[lo]);
            for (at, drive_dbm) in inside.into_iter().enumerate() {
                if let Some(stage) = receiver.stage(stages[at % stages.len()].0.part) {
                    drives.push((stage.drive, drive_dbm));
                }
            }
            own = path.path.driven(&response, wave, &stages, |lo| at_input[lo]);
            &own
        };
        let mixers = receiver.mixers().len();
        let powers = voltages.iter().zip(self.conductances).enumerate();
        let powers = powers.filter_map(|(at, (volts, siemens))| {
            let ratio = volts.norm_sqr() * siemens.as_ref()?;
            Some(at_input[at / mixers].power_dbm + 10.0 * ratio.log10())
        });
        Ok((powers.collect(), drives))
    }

    fn window(&self) -> Result<PowerWindow> {
        let limits = self.receiver.limits();
        let (least, most) = (limits.on(Quantity::LoPower), limits.on(Quantity::LoPowerMax));
        let reaches = |source_dbm: f64| {
            let (powers, drives) = self.at_source_power(source_dbm)?;
            let is_driven =
                drives.iter().all(|(own, dbm)| own.min_dbm.is_none_or(|min| *dbm >= min));
            Ok(is_driven && powers.iter().all(|dbm| least.is_none_or(|least| *dbm >= least)))
        };
        let bears = |source_dbm: f64| {
            let (powers, drives) = self.at_source_power(source_dbm)?;
            let is_borne =
                drives.iter().all(|(own, dbm)| own.max_dbm.is_none_or(|max| *dbm <= max));
            Ok(is_borne && powers.iter().all(|dbm| most.is_none_or(|most| *dbm <= most)))
        };
        power_window(reaches, bears)
    }

    fn power_curve(&self) -> Result<Vec<PowerPoint>> {
        let present_dbm = self.chain.setup().source.power_dbm;
        let mut curve = Vec::new();
        for step in -CURVE_DB..=CURVE_DB {
            let source_dbm = present_dbm + f64::from(step);
            let (powers, _) = self.at_source_power(source_dbm)?;
            let known = powers.into_iter().filter(|dbm| dbm.is_finite());
            let ends = known.fold(None, |ends: Option<(f64, f64)>, dbm| {
                let (low, high) = ends.unwrap_or((dbm, dbm));
                Some((low.min(dbm), high.max(dbm)))
            });
            if let Some((weakest_dbm, strongest_dbm)) = ends {
                curve.push(PowerPoint { source_dbm, weakest_dbm, strongest_dbm });
            }
        }
        Ok(curve)
    }
}

/// The higher of two at every offset.
fn noisier(one: Option<Vec<(f64, f64)>>, other: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    match one {
        None => other,
        Some(one) => {
            let both = one.into_iter().zip(other);
            both.map(|(one, other)| (one.0, one.1.max(other.1))).collect()
        }
    }
}
