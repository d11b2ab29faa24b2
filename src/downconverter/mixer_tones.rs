//! Tones inside the LO network: piece by piece, through the stages between pieces, to the mixers.
//!
//! In:  the tones at the LO input, and what the parts of the network are made from.
//! Out: the tones behind every stage inside the network, and the voltages at the mixers' LO ports
//!      relative to the LO; tones that the data of a piece do not reach are left out.

use super::driven_path::{DrivenStage, DrivingWave, PathResponse};
use super::error::{ReceiverError, Result};
use super::joined_path::JoinedPath;
use super::lo_chain::{Carrier, OperatingPoint, ToneSet};
use super::lo_if_plan::merged;
use super::lo_pieces::{STAGE_INPUT, STAGE_OUTPUT};
use super::lo_side::stage_network;
use super::part_model::PartModel;
use super::plan_chain::PlanChain;
use super::receiver::{NetworkPlace, Place, Receiver};
use super::signal_path::ReceiverPath;
use crate::network::{FrequencyGrid, Network, ParameterKind, Port, Terminal};
use num_complex::Complex64;
use std::collections::BTreeMap;

/// Tones at one mixer against the LO there, by multiple in steps.
pub(super) type RelativeTones = BTreeMap<i64, Complex64>;

/// A stage inside the network with its tones.
#[derive(Clone, Debug)]
pub(super) struct InsideStage {
    /// Its place among the parts.
    pub(super) part: usize,
    /// Available at its input, for each LO, dBm.
    pub(super) drive_dbm: Vec<f64>,
    pub(super) points: Vec<OperatingPoint>,
    /// At its output, for each LO.
    pub(super) sets: Vec<ToneSet>,
    /// m |r| of the largest tone at the input, for each LO.
    pub(super) modulation: Vec<f64>,
    /// Whether there were more tones than are kept.
    pub(super) is_cut: bool,
}

/// All tones of an LO network.
#[derive(Clone, Debug, Default)]
pub(super) struct NetworkTones {
    pub(super) stages: Vec<InsideStage>,
    /// For each LO, for each mixer.
    pub(super) at_mixers: Vec<Vec<RelativeTones>>,
    /// LO, where it is left out, multiple in steps.
    pub(super) left_out: Vec<(usize, String, i64)>,
}

/// What drives a piece at one of its ports.
struct PieceSource {
    /// The stage; `None` for the LO input.
    stage: Option<(usize, DrivenStage)>,
    /// Its tones at each LO.
    sets: Vec<ToneSet>,
}

/// A piece at the frequencies of its tones.
struct PieceSolution {
    path: JoinedPath,
    response: PathResponse,
    source_wave: Complex64,
    /// Points of the response, by LO and multiple in steps.
    points: BTreeMap<(usize, i64), usize>,
}

/// Follows the tones at the LO input, one set for each LO, through the network.
pub(super) fn network_tones(
    receiver: &Receiver,
    chain: &PlanChain,
    at_input: Vec<ToneSet>,
) -> Result<NetworkTones> {
    let los = at_input.len();
    let mut tones = NetworkTones {
        at_mixers: vec![vec![RelativeTones::new(); receiver.mixers().len()]; los],
        ..NetworkTones::default()
    };
    let input_dbm: Vec<f64> = at_input.iter().map(|set| set.carrier().level_dbm).collect();
    let mut sources: Vec<Vec<PieceSource>> = Vec::new();
    sources.resize_with(receiver.pieces.count(), Vec::new);
    sources[0].push(PieceSource { stage: None, sets: at_input });
    for piece in signal_order(receiver) {
        let own = std::mem::take(&mut sources[piece]);
        let mut network = Piece { receiver, chain, piece, left_out: &mut tones.left_out };
        let solution = network.solve(&own)?;
        for (at, mixer) in receiver.mixers().iter().enumerate() {
            if receiver.pieces.piece_of(&mixer.ports.lo) == Some(piece) {
                let end = solution.path.mixer_port(at);
                for (lo, mixers) in tones.at_mixers.iter_mut().enumerate() {
                    mixers[at] = solution.relative(lo, end, &own, input_dbm[lo]).1;
                }
            }
        }
        for placed in receiver.pieces.stages().iter().filter(|stage| stage.from == piece) {
            let behind = inside_stage(
                receiver,
                &solution,
                &own,
                (placed.block, chain.most_tones()),
                &input_dbm,
            )?;
            let driven = receiver.driven_stage(placed.block, false);
            sources[placed.to].push(PieceSource {
                stage: driven.map(|driven| (placed.block, driven)),
                sets: behind.sets.clone(),
            });
            tones.stages.push(behind);
        }
    }
    Ok(tones)
}

/// The pieces so that each comes after those that drive it.
fn signal_order(receiver: &Receiver) -> Vec<usize> {
    let mut order: Vec<usize> = vec![0];
    // The stages are in the order of the signal; a piece is ready behind the last that drives it.
    for piece in receiver.pieces.stages().iter().map(|stage| stage.to) {
        order.retain(|own| *own != piece);
        order.push(piece);
    }
    order
}

/// The tones behind a stage that a piece drives.
fn inside_stage(
    receiver: &Receiver,
    solution: &PieceSolution,
    sources: &[PieceSource],
    (part, most): (usize, usize),
    input_dbm: &[f64],
) -> Result<InsideStage> {
    let missing = || ReceiverError::NoSuch { what: "stage of this index".to_owned() };
    let stage = receiver.stage(part).ok_or_else(missing)?;
    let driven = receiver.driven_stage(part, false).ok_or_else(missing)?;
    let terminal = Terminal { block: part, port: Port::from_index(STAGE_INPUT) };
    let end = solution.path.port_of(terminal).ok_or_else(missing)?;
    let mut made = InsideStage {
        part,
        is_cut: false,
        drive_dbm: Vec::new(),
        points: Vec::new(),
        sets: Vec::new(),
        modulation: Vec::new(),
    };
    for (lo, &level_dbm) in input_dbm.iter().enumerate() {
        let (volts, relative) = solution.relative(lo, end, sources, level_dbm);
        let drive_dbm = driven.drive_dbm(volts, level_dbm);
        let multiple = sources[0].sets[lo].carrier().multiple;
        let carrier = Carrier { multiple, level_dbm: drive_dbm, phase: volts.arg() };
        let mut behind = ToneSet::new(carrier, relative).through(&stage.law);
        made.is_cut |= behind.is_cut | behind.tones.keep_strongest(most);
        made.drive_dbm.push(drive_dbm);
        made.points.push(behind.point);
        made.modulation.push(behind.largest_modulation);
        made.sets.push(behind.tones);
    }
    Ok(made)
}

/// A piece of the network, and where tones are noted that it leaves out.
struct Piece<'a> {
    receiver: &'a Receiver,
    chain: &'a PlanChain,
    piece: usize,
    left_out: &'a mut Vec<(usize, String, i64)>,
}

impl Piece<'_> {
    fn holds(&self, place: NetworkPlace) -> bool {
        let Some(terminal) = self.receiver.terminal_of(place) else { return false };
        let is_stage =
            matches!(place.0, Place::Part(_)) && self.receiver.stage(terminal.block).is_some();
        !is_stage && self.receiver.pieces.piece_of(&terminal) == Some(self.piece)
    }

    /// The piece at all its tones that its data reach, the carrier among them.
    fn solve(&mut self, sources: &[PieceSource]) -> Result<PieceSolution> {
        let receiver = self.receiver;
        let path = ReceiverPath::Lo;
        let places: Vec<NetworkPlace> =
            receiver.places_on(path).filter(|place| self.holds(*place)).collect();
        let models: Vec<PartModel> =
            places.iter().filter_map(|place| receiver.model_at(*place, path)).collect();
        let driver = |source: &PieceSource| match &source.stage {
            Some((part, _)) => receiver.parts()[*part].name.clone(),
            None => "lo_input".to_owned(),
        };
        let (mut wanted, mut asked_hz) = (Vec::new(), Vec::new());
        for lo in 0..receiver.plan().lo_hz().len() {
            let mut here: BTreeMap<i64, &PieceSource> = BTreeMap::new();
            for source in sources {
                let set = &source.sets[lo];
                let carrier = std::iter::once(set.carrier().multiple);
                for multiple in carrier.chain(set.tones().map(|tone| tone.0)) {
                    here.entry(multiple).or_insert(source);
                }
            }
            for (multiple, source) in here {
                let hz = self.chain.hz(lo, multiple);
                let is_carrier = multiple == source.sets[lo].carrier().multiple;
                if is_carrier || models.iter().all(|model| model.covers(hz)) {
                    wanted.push((lo, multiple));
                    asked_hz.push(hz);
                } else {
                    self.left_out.push((lo, driver(source), multiple));
                }
            }
        }
        let (kept_hz, at) = merged(&asked_hz);
        let points = wanted.into_iter().zip(at).collect();
        self.solved(&FrequencyGrid::from_hz(kept_hz)?, points)
    }

    fn solved(
        &self,
        grid: &FrequencyGrid,
        points: BTreeMap<(usize, i64), usize>,
    ) -> Result<PieceSolution> {
        let receiver = self.receiver;
        let other = receiver.with_networks_on(ReceiverPath::Lo, grid, |place| {
            if let Place::Part(part) = place.0
                && let Some(stage) = receiver.stage(part)
            {
                return Ok(stage_network(grid, [stage.input_ohm, stage.output_ohm])?);
            }
            let what = receiver.place_name(place)?;
            match receiver.model_at(place, ReceiverPath::Lo) {
                Some(model) if self.holds(place) => model.on(grid, &what),
                // Stages part the pieces: what another one holds makes no difference here.
                _ => matched(grid, receiver.ports_at(place)),
            }
        })?;
        let path = JoinedPath::new(&other, ReceiverPath::Lo)?;
        let reduced = path.reduce(&other, &path.blocks)?;
        let terminations = path.terminations(&other)?;
        let response = path.response(&reduced, &terminations)?;
        let source_wave = path.source_wave(&other, &reduced, &terminations);
        Ok(PieceSolution { path, response, source_wave, points })
    }
}

/// A part that reflects and transmits nothing.
fn matched(grid: &FrequencyGrid, ports: usize) -> Result<Network> {
    let entries = vec![Complex64::ZERO; grid.len() * ports * ports];
    let kind = ParameterKind::Scattering;
    Ok(Network::new(kind, grid.clone(), ports, entries, vec![50.0.into()])?)
}

impl PieceSolution {
    /// At an open port for one LO: the carrier's voltage per root of the power available at the LO
    /// input, and the tones against it.
    fn relative(
        &self,
        lo: usize,
        end: usize,
        sources: &[PieceSource],
        input_dbm: f64,
    ) -> (Complex64, RelativeTones) {
        let volts = |multiple: i64, point: usize| {
            let waves: Vec<DrivingWave> = sources
                .iter()
                .filter_map(|source| self.wave(source, lo, multiple, point, input_dbm))
                .collect();
            self.response.volts(point, end, &waves)
        };
        let carrier = sources[0].sets[lo].carrier().multiple;
        let at_carrier =
            self.points.get(&(lo, carrier)).map_or(Complex64::ZERO, |&point| volts(carrier, point));
        let mut relative = RelativeTones::new();
        for (&(_, multiple), &point) in self.points.range((lo, i64::MIN)..=(lo, i64::MAX)) {
            let ratio = volts(multiple, point) / at_carrier;
            if multiple != carrier && ratio.is_finite() {
                relative.insert(multiple, ratio);
            }
        }
        (at_carrier, relative)
    }

    /// The wave that a source sends into its port at a multiple.
    fn wave(
        &self,
        source: &PieceSource,
        lo: usize,
        multiple: i64,
        point: usize,
        input_dbm: f64,
    ) -> Option<DrivingWave> {
        let set = &source.sets[lo];
        let Carrier { level_dbm, phase, .. } = *set.carrier();
        let size = 10_f64.powf((level_dbm - input_dbm) / 20.0);
        let amplitude = Complex64::from_polar(size, phase) * set.at(multiple);
        match &source.stage {
            None => {
                let wave = self.source_wave * amplitude;
                Some(DrivingWave { end: self.path.source(), wave })
            }
            Some((part, driven)) => {
                let output = Terminal { block: *part, port: Port::from_index(STAGE_OUTPUT) };
                let end = self.path.port_of(output)?;
                Some(self.response.wave_of_stage(point, end, amplitude, driven.output_ohm))
            }
        }
    }
}
