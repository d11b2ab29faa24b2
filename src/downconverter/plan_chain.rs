//! An LO chain at the LOs of a plan: levels and tones stage by stage, from the source to the LO input.
//!
//! All tones are at multiples of a step: the source's frequency over the smallest whole number that
//! makes all its tones such multiples.

use super::driven_path::LoDrive;
use super::error::{ReceiverError, Result};
use super::lo_chain::{Carrier, OperatingPoint, ToneSet};
use super::lo_drive_setup::{LoChainSetup, LoSource, LoStageKind, SourceTone};
use super::lo_if_plan::{ReceiverPlan, merged};
use crate::network::{FrequencyGrid, Network, Port, chain};
use crate::units::{amplitude_from_db, shown_band};
use num_complex::Complex64;

/// A chain with the transmission of its two-ports at the carrier.
#[derive(Clone, Debug)]
pub(super) struct PlanChain {
    setup: LoChainSetup,
    /// Steps that make the frequency of the source.
    steps: i64,
    /// Frequency of the source at each LO, Hz.
    source_hz: Vec<f64>,
    /// For each stage that is a two-port, its transmission at the carrier of each LO.
    at_carrier: Vec<Option<Vec<Complex64>>>,
    /// The carrier at the LO input at each LO.
    drives: Vec<LoDrive>,
}

/// A stage at one LO.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct StageLevel {
    pub(super) drive_dbm: f64,
    pub(super) output_dbm: f64,
    /// 1 for a two-port.
    pub(super) slope: f64,
    pub(super) phase: f64,
}

/// The tones at the output of a stage, for each LO.
#[derive(Clone, Debug)]
pub(super) struct StageTones {
    pub(super) sets: Vec<ToneSet>,
    /// LO and multiple, in steps.
    pub(super) left_out: Vec<(usize, i64)>,
    /// m |r| of the largest tone at the input, for each LO.
    pub(super) modulation: Vec<f64>,
    /// Whether there were more tones than are kept.
    pub(super) is_cut: bool,
}

/// The most tones that are followed over all LOs: for a plan of thousands the strongest at each.
const MOST_TONES: usize = 400_000;
/// The most parts into which tones divide the source's frequency.
const MOST_STEPS: u32 = 12;

impl PlanChain {
    /// Checks a chain and finds the transmission of its two-ports.
    pub(super) fn new(setup: LoChainSetup, plan: &ReceiverPlan) -> Result<Self> {
        check_source(&setup.source)?;
        let steps = steps_of(&setup.source.tones)?;
        let source_hz: Vec<f64> = plan.lo_hz().iter().map(|&hz| plan.lo_input_hz(hz)).collect();
        let empty = vec![None; setup.stages.len()];
        let drives = Vec::new();
        let mut made = Self { setup, steps, source_hz, at_carrier: empty, drives };
        let mut times = 1_u32;
        for at in 0..made.setup.stages.len() {
            let stage = &made.setup.stages[at];
            times = times.saturating_mul(stage.kind.order());
            if let LoStageKind::TwoPort(model) = &stage.kind {
                let asked_hz: Vec<f64> =
                    made.source_hz.iter().map(|hz| hz * f64::from(times)).collect();
                if let Some(lo) = (0..asked_hz.len()).find(|&lo| !model.covers(asked_hz[lo])) {
                    return Err(ReceiverError::CarrierOutside {
                        stage: stage.name.clone(),
                        covers: model
                            .band_hz()
                            .map_or_else(|| "no frequency".to_owned(), shown_band),
                        frequency_hz: asked_hz[lo],
                        lo_hz: plan.lo_hz()[lo],
                    });
                }
                let own = made.transmissions(at, &asked_hz)?;
                if let Some(lo) = own.iter().position(|value| value.norm() == 0.0) {
                    let (stage, lo_hz) = (stage.name.clone(), plan.lo_hz()[lo]);
                    return Err(ReceiverError::NoCarrier { stage, lo_hz });
                }
                made.at_carrier[at] = Some(own);
            }
        }
        let source_dbm = made.setup.source.power_dbm;
        made.drives = (0..made.source_hz.len()).map(|lo| made.drive_at(lo, source_dbm)).collect();
        Ok(made)
    }

    /// The same chain at one LO alone.
    pub(super) fn at(&self, lo: usize) -> Self {
        let one = |own: &Option<Vec<Complex64>>| own.as_ref().map(|own| vec![own[lo]]);
        Self {
            setup: self.setup.clone(),
            steps: self.steps,
            source_hz: vec![self.source_hz[lo]],
            at_carrier: self.at_carrier.iter().map(one).collect(),
            drives: vec![self.drives[lo]],
        }
    }

    pub(super) fn setup(&self) -> &LoChainSetup {
        &self.setup
    }

    /// Steps that make the frequency of the source.
    pub(super) fn steps(&self) -> i64 {
        self.steps
    }

    /// The frequency of a multiple in steps, Hz.
    pub(super) fn hz(&self, lo: usize, multiple: i64) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "multiples are far below 2^53")]
        let ratio = multiple as f64 / self.steps as f64;
        self.source_hz[lo] * ratio
    }

    /// A multiple in steps as a multiple of the source's frequency.
    pub(super) fn multiple(&self, steps: i64) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "multiples are far below 2^53")]
        let ratio = steps as f64 / self.steps as f64;
        ratio
    }

    /// Every stage at one LO for a power of the source.
    pub(super) fn levels(&self, lo: usize, source_dbm: f64) -> Vec<StageLevel> {
        let (mut level_dbm, mut phase) = (source_dbm, 0.0);
        let mut all = Vec::with_capacity(self.setup.stages.len());
        for (stage, at_carrier) in self.setup.stages.iter().zip(&self.at_carrier) {
            let drive_dbm = level_dbm;
            let slope = match (&stage.kind, at_carrier) {
                (LoStageKind::Active(stage), _) => {
                    let OperatingPoint { output_dbm, slope, phase_shift, .. } = stage.at(drive_dbm);
                    level_dbm = output_dbm;
                    phase = f64::from(stage.order()) * (phase + phase_shift);
                    slope
                }
                (LoStageKind::TwoPort(_), own) => {
                    let own = own.as_ref().map_or(Complex64::ONE, |own| own[lo]);
                    level_dbm += 20.0 * own.norm().log10();
                    phase += own.arg();
                    1.0
                }
            };
            all.push(StageLevel { drive_dbm, output_dbm: level_dbm, slope, phase });
        }
        all
    }

    /// The carrier at the LO input at one LO.
    pub(super) fn drive(&self, lo: usize) -> LoDrive {
        self.drives[lo]
    }

    /// The same for another power of the source.
    pub(super) fn drive_at(&self, lo: usize, source_dbm: f64) -> LoDrive {
        let last = self.levels(lo, source_dbm).pop();
        last.map_or(LoDrive { power_dbm: source_dbm, phase: 0.0 }, |last| LoDrive {
            power_dbm: last.output_dbm,
            phase: last.phase,
        })
    }

    /// The tones of the source at each LO.
    pub(super) fn source_tones(&self) -> Vec<ToneSet> {
        let source = &self.setup.source;
        let carrier = Carrier { multiple: self.steps, level_dbm: source.power_dbm, phase: 0.0 };
        #[expect(
            clippy::cast_possible_truncation,
            reason = "checked to be a whole number of steps"
        )]
        #[expect(clippy::cast_precision_loss, reason = "at most 12")]
        let tone = |own: &SourceTone| {
            let value = amplitude_from_db(own.dbc);
            let place = (own.multiple * self.steps as f64).round() as i64;
            (place, Complex64::from_polar(value, own.phase_deg.to_radians()))
        };
        let one = ToneSet::new(carrier, source.tones.iter().map(tone));
        vec![one; self.source_hz.len()]
    }

    /// How many tones are followed at each LO.
    pub(super) fn most_tones(&self) -> usize {
        (MOST_TONES / self.source_hz.len().max(1)).clamp(8, 1000)
    }

    /// The tones behind every stage.
    pub(super) fn tones(&self) -> Result<Vec<StageTones>> {
        let mut before = self.source_tones();
        let mut all = Vec::with_capacity(self.setup.stages.len());
        for (at, stage) in self.setup.stages.iter().enumerate() {
            let mut behind = match &stage.kind {
                LoStageKind::Active(stage) => {
                    let behind: Vec<_> = before.iter().map(|set| set.through(stage)).collect();
                    StageTones {
                        left_out: Vec::new(),
                        modulation: behind.iter().map(|own| own.largest_modulation).collect(),
                        is_cut: behind.iter().any(|own| own.is_cut),
                        sets: behind.into_iter().map(|own| own.tones).collect(),
                    }
                }
                LoStageKind::TwoPort(_) => self.filtered(at, &before)?,
            };
            for set in &mut behind.sets {
                behind.is_cut |= set.keep_strongest(self.most_tones());
            }
            before.clone_from(&behind.sets);
            all.push(behind);
        }
        Ok(all)
    }

    /// The tones behind a two-port.
    fn filtered(&self, at: usize, before: &[ToneSet]) -> Result<StageTones> {
        let covers = |hz: f64| {
            let group = self.setup.stages[self.first_of_cascade(at)..=at].iter();
            group.clone().all(|stage| match &stage.kind {
                LoStageKind::TwoPort(model) => model.covers(hz),
                LoStageKind::Active(_) => true,
            })
        };
        let mut asked: Vec<(usize, i64)> = Vec::new();
        let mut asked_hz: Vec<f64> = Vec::new();
        for (lo, set) in before.iter().enumerate() {
            for (multiple, _) in set.tones() {
                let hz = self.hz(lo, multiple);
                if covers(hz) {
                    asked.push((lo, multiple));
                    asked_hz.push(hz);
                }
            }
        }
        let found = if asked_hz.is_empty() {
            Vec::new()
        } else {
            let (kept_hz, places) = merged(&asked_hz);
            let own = self.transmissions(at, &kept_hz)?;
            places.into_iter().map(|place| own[place]).collect()
        };
        let mut left_out = Vec::new();
        let mut sets = Vec::with_capacity(before.len());
        for (lo, set) in before.iter().enumerate() {
            let start = asked.partition_point(|own| own.0 < lo);
            let end = asked.partition_point(|own| own.0 <= lo);
            let own = &asked[start..end];
            let at_carrier = self.at_carrier[at].as_ref().map_or(Complex64::ONE, |own| own[lo]);
            let transmission = |multiple: i64| {
                let place = own.binary_search_by_key(&multiple, |own| own.1).ok()?;
                Some(found[start + place])
            };
            let filtered = set.filtered(at_carrier, transmission);
            left_out.extend(filtered.left_out.into_iter().map(|multiple| (lo, multiple)));
            sets.push(filtered.tones);
        }
        let modulation = vec![0.0; sets.len()];
        Ok(StageTones { sets, left_out, modulation, is_cut: false })
    }

    /// The first of the neighbouring two-ports with which one is cascaded.
    fn first_of_cascade(&self, at: usize) -> usize {
        let is_two_port = |at: usize| matches!(self.setup.stages[at].kind, LoStageKind::TwoPort(_));
        (0..=at).rev().take_while(|&at| is_two_port(at)).last().unwrap_or(at)
    }

    /// What a two-port adds to the transmission of those cascaded before it, at ascending frequencies.
    fn transmissions(&self, at: usize, asked_hz: &[f64]) -> Result<Vec<Complex64>> {
        let grid = FrequencyGrid::from_hz(asked_hz.to_vec())?;
        let mut cascade: Option<Network> = None;
        let mut before = vec![Complex64::ONE; grid.len()];
        for own in self.first_of_cascade(at)..=at {
            let stage = &self.setup.stages[own];
            let LoStageKind::TwoPort(model) = &stage.kind else { continue };
            let what = format!("LO stage '{}'", stage.name);
            let network = model.on(&grid, &what)?;
            if network.ports() != 2 {
                let (expected, found) = (2, network.ports());
                return Err(ReceiverError::PortCount { what, expected, found });
            }
            let joined = match &cascade {
                Some(before) => chain(before, &network)?,
                None => {
                    crate::network::convert(&network, crate::network::ParameterKind::Scattering)?
                }
            };
            let [input, output] = [0, 1].map(Port::from_index);
            let through: Vec<Complex64> =
                (0..grid.len()).map(|point| joined.matrix(point).at(output, input)).collect();
            if own == at {
                let added = through.iter().zip(&before).map(|(all, before)| {
                    if before.norm() > 0.0 { all / before } else { Complex64::ZERO }
                });
                return Ok(added.collect());
            }
            before = through;
            cascade = Some(joined);
        }
        Ok(before)
    }
}

fn check_source(source: &LoSource) -> Result<()> {
    let refused = |what, expected, found| Err(ReceiverError::OutOfRange { what, expected, found });
    if !(-200.0..=200.0).contains(&source.power_dbm) {
        return refused("input_power_dbm", "from -200 to 200", source.power_dbm);
    }
    let mut offset_hz = 0.0;
    for &(found_hz, dbc_hz) in &source.phase_noise {
        if !(found_hz > offset_hz && found_hz.is_finite()) {
            return refused("an offset of phase noise", "above 0 Hz and ascending", found_hz);
        }
        if !(-400.0..=0.0).contains(&dbc_hz) {
            return refused("phase noise", "from -400 to 0 dBc/Hz", dbc_hz);
        }
        offset_hz = found_hz;
    }
    for tone in &source.tones {
        if !(-400.0..=100.0).contains(&tone.dbc) {
            return refused("the level of a source's tone", "from -400 to 100 dBc", tone.dbc);
        }
        if !(-1000.0..=1000.0).contains(&tone.phase_deg) {
            let expected = "from -1000 to 1000 degrees";
            return refused("the phase of a source's tone", expected, tone.phase_deg);
        }
    }
    Ok(())
}

/// The smallest number of steps that make a source's frequency and that of each of its tones.
fn steps_of(tones: &[SourceTone]) -> Result<i64> {
    let is_whole = |value: f64| (value - value.round()).abs() < 1e-9 * value;
    for (at, tone) in tones.iter().enumerate() {
        let found = tone.multiple;
        let refused = |what, expected| Err(ReceiverError::OutOfRange { what, expected, found });
        if !(found > 0.0 && found <= 1000.0) {
            return refused("the multiple of a source's tone", "above 0, up to 1000");
        }
        if (found - 1.0).abs() < 1e-9 {
            return Err(ReceiverError::ToneAtCarrier { multiple: found });
        }
        if tones[..at].iter().any(|other| (other.multiple - found).abs() < 1e-9 * found) {
            return refused("the multiple of a source's tone", "given once");
        }
    }
    let fits = |steps: &u32| tones.iter().all(|tone| is_whole(tone.multiple * f64::from(*steps)));
    match (1..=MOST_STEPS).find(fits) {
        Some(steps) => Ok(steps.into()),
        None => {
            let (what, expected) = (
                "the multiples of a source's tones",
                "whole numbers of one part \
                                    of the source's frequency, from 1 to 1/12",
            );
            let found = tones.first().map_or(0.0, |tone| tone.multiple);
            Err(ReceiverError::OutOfRange { what, expected, found })
        }
    }
}
