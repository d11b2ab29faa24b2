//! A receiver solved over its plan: voltages at the mixers, I and Q, and the balance.

use super::correction_weight::CorrectionPoint;
use super::error::{ReceiverError, Result};
use super::frequency_plan::Sideband;
use super::iq_balance::{
    Channel, Combination, Element, IqOutputs, IqPair, NOTHING_WANTED_DB, PlanPoint,
    ReceiverBalance, power_ratio, receiver_balance,
};
use super::joined_path::{JoinedPath, Terminations};
use super::lo_if_plan::LoIfPoint;
use super::mixer_agreement::opposing_mixers;
use super::q_correction::QCorrection;
use super::receiver::Receiver;
use super::sideband_convergence::find_sidebands;
use super::sideband_path::sideband_path;
use super::signal_path::{LoRf, ReceiverPath};
use super::switched_outputs::{SwitchedPlan, switched_outputs};
use super::switched_result::{SolvedPoint, solved_points};
use crate::network::Network;
use crate::units::db_from_power;
use num_complex::Complex64;

/// Volts at the mixers per square root of a watt, frequency after frequency, of both paths; with
/// switched mixers S of the RF network at every sideband in place of RF voltages.
pub(super) type Voltages<'v> = LoRf<&'v [Complex64]>;

impl<'v> Voltages<'v> {
    pub(super) fn of(own: &'v LoRf<impl AsRef<[Complex64]>>) -> Self {
        LoRf { lo: own.lo.as_ref(), rf: own.rf.as_ref() }
    }
}

/// A path with its own networks, joined, terminated and solved.
pub(super) struct SolvedPath {
    pub(super) path: JoinedPath,
    /// The network of the open ports.
    pub(super) reduced: Network,
    pub(super) terminations: Terminations,
    /// Volts at the mixers per square root of a watt.
    pub(super) voltages: Vec<Complex64>,
}

impl SolvedPath {
    /// The LO path, then the RF path. The LO path tells how many sidebands switched mixers need.
    pub(super) fn both(receiver: &Receiver) -> Result<LoRf<Self>> {
        let lo = Self::new(receiver, ReceiverPath::Lo)?;
        find_sidebands(receiver, &lo.voltages)?;
        Ok(LoRf { lo, rf: Self::new(receiver, ReceiverPath::Rf)? })
    }

    /// A path; the RF path of switched mixers at all sidebands, which must be known.
    pub(super) fn new(receiver: &Receiver, signal_path: ReceiverPath) -> Result<Self> {
        let path = used_path(receiver, signal_path)?;
        let reduced = path.reduce(receiver, &path.blocks)?;
        let terminations = path.terminations(receiver)?;
        let voltages = path.voltages(receiver, &reduced, &terminations)?;
        Ok(Self { path, reduced, terminations, voltages })
    }
}

impl AsRef<[Complex64]> for SolvedPath {
    fn as_ref(&self) -> &[Complex64] {
        &self.voltages
    }
}

/// A path at all frequencies at which the receiver uses it: the RF path of switched mixers at all sidebands,
/// which must be known.
pub(super) fn used_path(receiver: &Receiver, path: ReceiverPath) -> Result<JoinedPath> {
    match receiver.switching() {
        Some(_) if path == ReceiverPath::Rf => sideband_path(receiver, receiver.known_sidebands()?),
        _ => JoinedPath::new(receiver, path),
    }
}

/// Both paths solved, with the chosen combination of I and Q.
pub(super) struct Solved {
    pub(super) paths: LoRf<SolvedPath>,
    pub(super) outputs: Vec<IqOutputs>,
    pub(super) chosen: usize,
    /// Everything about switched mixers, where asked for.
    pub(super) switched: Vec<SolvedPoint>,
}

impl Solved {
    pub(super) fn new(receiver: &Receiver) -> Result<Self> {
        let paths = SolvedPath::both(receiver)?;
        let outputs = iq_outputs(receiver, Voltages::of(&paths), true)?;
        Self::with_outputs(receiver, paths, outputs, Vec::new())
    }

    /// The same with everything about switched mixers, if it has them.
    pub(super) fn with_switches(receiver: &Receiver) -> Result<Self> {
        if receiver.switching().is_none() {
            return Self::new(receiver);
        }
        let paths = SolvedPath::both(receiver)?;
        let switched = solved_points(receiver, Voltages::of(&paths))?;
        let outputs = switched.iter().map(|point| point.outputs).collect();
        Self::with_outputs(receiver, paths, outputs, switched)
    }

    fn with_outputs(
        receiver: &Receiver,
        paths: LoRf<SolvedPath>,
        outputs: Vec<IqOutputs>,
        switched: Vec<SolvedPoint>,
    ) -> Result<Self> {
        check_channels(receiver, &outputs).map_err(|error| explained(receiver, &paths, error))?;
        let plan = receiver.plan();
        let centre = plan.centre_point();
        // The better combination at the centre of the plan, for the whole plan; the first of equals.
        let rejection_db = |choice: usize| {
            let balance =
                Evaluation::real(receiver, choice).balance(receiver, centre, &outputs[centre]);
            balance.image_rejection_db
        };
        let better =
            |best, choice| if rejection_db(choice) > rejection_db(best) { choice } else { best };
        let chosen = (0..receiver.output().choices.len()).reduce(better);
        let none = ReceiverError::Transfers { expected: plan.if_hz().len(), found: 0 };
        Ok(Self { paths, outputs, chosen: chosen.ok_or(none)?, switched })
    }

    pub(super) fn points(&self, receiver: &Receiver) -> Result<Vec<PlanPoint>> {
        points_of(receiver, &self.outputs, &Evaluation::real(receiver, self.chosen))
    }
}

/// The settings of an evaluation besides the voltages: real or ideal.
#[derive(Clone, Copy, Debug)]
pub(super) struct Evaluation<'a> {
    /// The factors of I and Q at each IF, without the correction.
    pub(super) transfers: &'a [Combination],
    pub(super) correction: QCorrection,
    pub(super) has_real_gains: bool,
}

impl<'a> Evaluation<'a> {
    /// Everything real, with one of the receiver's combinations of I and Q.
    pub(super) fn real(receiver: &'a Receiver, choice: usize) -> Self {
        let output = receiver.output();
        Self {
            transfers: &output.choices[choice].transfers,
            correction: output.correction,
            has_real_gains: true,
        }
    }

    /// Everything ideal, with one of the receiver's combinations of I and Q.
    pub(super) fn ideal(receiver: &'a Receiver, choice: usize) -> Self {
        Self {
            transfers: &receiver.output().choices[choice].ideal_transfers,
            correction: QCorrection::default(),
            has_real_gains: false,
        }
    }

    /// The combination at one IF, without the correction.
    fn combination(&self, intermediate: usize) -> Combination {
        self.transfers[intermediate]
    }

    /// I and Q at a point of the plan with the correction.
    fn corrected(&self, receiver: &Receiver, point: usize, outputs: &IqOutputs) -> IqOutputs {
        let combination = self.combination(receiver.plan().points()[point].intermediate);
        self.correction.applied(outputs, &combination, receiver.mixing().lo_harmonic())
    }

    /// The combined output of a sideband at a point of the plan.
    pub(super) fn combined(
        &self,
        receiver: &Receiver,
        point: usize,
        outputs: &IqOutputs,
        sideband: Sideband,
    ) -> Complex64 {
        let combination = self.combination(receiver.plan().points()[point].intermediate);
        combination.apply(self.corrected(receiver, point, outputs).of_sideband(sideband))
    }

    /// The combined output at a point of the plan in the wanted and in the image sideband.
    fn combined_pair(
        &self,
        receiver: &Receiver,
        point: usize,
        outputs: &IqOutputs,
    ) -> [Complex64; 2] {
        let plan = receiver.plan();
        let combination = self.combination(plan.points()[point].intermediate);
        let corrected = self.corrected(receiver, point, outputs);
        [plan.wanted(), plan.wanted().opposite()]
            .map(|sideband| combination.apply(corrected.of_sideband(sideband)))
    }

    /// Wanted over image power at a point of the plan.
    pub(super) fn power_ratio(
        &self,
        receiver: &Receiver,
        point: usize,
        outputs: &IqOutputs,
    ) -> f64 {
        let [wanted, image] = self.combined_pair(receiver, point, outputs);
        power_ratio(wanted, image)
    }

    /// The balance at a point of the plan.
    pub(super) fn balance(
        &self,
        receiver: &Receiver,
        point: usize,
        outputs: &IqOutputs,
    ) -> ReceiverBalance {
        let plan = receiver.plan();
        let combination = self.combination(plan.points()[point].intermediate);
        let corrected = self.corrected(receiver, point, outputs);
        receiver_balance(&corrected, &combination, plan.wanted())
    }
}

/// The balance at every point, with its frequencies; an error where it is not a number.
pub(super) fn points_of(
    receiver: &Receiver,
    outputs: &[IqOutputs],
    evaluation: &Evaluation<'_>,
) -> Result<Vec<PlanPoint>> {
    let point = |(at, outputs): (usize, &IqOutputs)| {
        let LoIfPoint { lo_hz, if_hz, .. } = receiver.plan().points()[at];
        let balance = evaluation.balance(receiver, at, outputs);
        if balance.is_known() {
            Ok(PlanPoint { lo_hz, if_hz, balance })
        } else {
            Err(ReceiverError::NoBalance { lo_hz, if_hz })
        }
    };
    outputs.iter().enumerate().map(point).collect()
}

/// The mixers with their voltages at a point of the plan.
pub(super) fn elements_at(
    receiver: &Receiver,
    voltages: Voltages<'_>,
    has_real_gains: bool,
    point: &LoIfPoint,
) -> impl Iterator<Item = Element> {
    let mixers = receiver.mixers().len();
    let (lo, upper) = (point.lo, point.rf_point(Sideband::Upper));
    let lower = point.rf_point(Sideband::Lower);
    receiver.mixers().iter().enumerate().map(move |(at, mixer)| Element {
        channel: mixer.channel,
        is_subtracted: mixer.is_subtracted,
        gain: if has_real_gains { mixer.gain } else { Complex64::ONE },
        lo: voltages.lo[lo * mixers + at],
        rf_upper: voltages.rf[upper * mixers + at],
        rf_lower: voltages.rf[lower * mixers + at],
    })
}

/// I and Q at every point.
pub(super) fn iq_outputs(
    receiver: &Receiver,
    voltages: Voltages<'_>,
    has_real_gains: bool,
) -> Result<Vec<IqOutputs>> {
    if receiver.switching().is_some() {
        let store = receiver.known_sidebands()?;
        return switched_outputs(receiver, store, voltages, has_real_gains);
    }
    let mut outputs = Vec::with_capacity(receiver.plan().points().len());
    of_multipliers(receiver, voltages, has_real_gains, |_, own| outputs.push(own));
    Ok(outputs)
}

/// I and Q of multipliers at every point of the plan, handed out one by one.
fn of_multipliers(
    receiver: &Receiver,
    voltages: Voltages<'_>,
    has_real_gains: bool,
    mut take: impl FnMut(usize, IqOutputs),
) {
    let mixers = receiver.mixers().len();
    // The same at every IF of an LO.
    let drives: Vec<Complex64> =
        voltages.lo.iter().map(|&lo| receiver.mixing().drive(lo)).collect();
    for (at, point) in receiver.plan().points().iter().enumerate() {
        let own = &drives[point.lo * mixers..(point.lo + 1) * mixers];
        let mut outputs = IqOutputs::default();
        for (element, &drive) in elements_at(receiver, voltages, has_real_gains, point).zip(own) {
            outputs.add(&element, drive);
        }
        take(at, outputs);
    }
}

/// I and Q at one point of the plan.
pub(super) fn outputs_at(
    receiver: &Receiver,
    voltages: Voltages<'_>,
    at: usize,
) -> Result<IqOutputs> {
    let mut found = IqOutputs::default();
    if receiver.switching().is_some() {
        let store = receiver.known_sidebands()?;
        let mut solved = SwitchedPlan::new(receiver, store, voltages, false)?;
        solved.solve(&receiver.plan().points()[at])?;
        return Ok(solved.outputs());
    }
    of_multipliers(receiver, voltages, true, |place, own| {
        if place == at {
            found = own;
        }
    });
    Ok(found)
}

/// Wanted over image power at every point; not a number where it is none.
pub(super) fn power_ratios(
    receiver: &Receiver,
    voltages: Voltages<'_>,
    evaluation: &Evaluation<'_>,
) -> Result<Vec<f64>> {
    let mut ratios = Vec::with_capacity(receiver.plan().points().len());
    let mut take = |point: usize, outputs: &IqOutputs| {
        ratios.push(evaluation.power_ratio(receiver, point, outputs));
    };
    if receiver.switching().is_some() {
        let all = iq_outputs(receiver, voltages, evaluation.has_real_gains)?;
        all.iter().enumerate().for_each(|(point, outputs)| take(point, outputs));
    } else {
        of_multipliers(receiver, voltages, evaluation.has_real_gains, |point, outputs| {
            take(point, &outputs);
        });
    }
    Ok(ratios)
}

/// The rejection of a power ratio, dB.
pub(super) fn rejection_of_ratio_db(ratio: f64) -> f64 {
    if ratio.is_nan() { ratio } else { db_from_power(ratio).max(NOTHING_WANTED_DB) }
}

/// The combined output of multipliers as a sum over their LO drives, for many LO voltages with the same
/// RF voltages.
pub(super) struct DriveWeights {
    /// For each point of the plan its LO.
    los: Vec<usize>,
    /// For each point and mixer what a unit of drive gives in the wanted sideband, and in the image
    /// sideband.
    wanted: Vec<Complex64>,
    image: Vec<Complex64>,
    /// The drive counts with its conjugate in the upper sideband.
    wanted_is_upper: bool,
}

impl DriveWeights {
    /// `None` for switched mixers, whose output is not such a sum.
    pub(super) fn new(
        receiver: &Receiver,
        voltages: Voltages<'_>,
        evaluation: &Evaluation<'_>,
    ) -> Option<Self> {
        if receiver.switching().is_some() {
            return None;
        }
        let plan = receiver.plan();
        let mut own = Self {
            los: plan.points().iter().map(|point| point.lo).collect(),
            wanted: Vec::new(),
            image: Vec::new(),
            wanted_is_upper: plan.wanted() == Sideband::Upper,
        };
        for (at, point) in plan.points().iter().enumerate() {
            for element in elements_at(receiver, voltages, evaluation.has_real_gains, point) {
                let mut outputs = IqOutputs::default();
                outputs.add(&element, Complex64::ONE);
                let [wanted, image] = evaluation.combined_pair(receiver, at, &outputs);
                own.wanted.push(wanted);
                own.image.push(image);
            }
        }
        Some(own)
    }

    /// Wanted over image power at every point with LO voltages.
    pub(super) fn power_ratios(&self, receiver: &Receiver, lo: &[Complex64]) -> Vec<f64> {
        let mixers = receiver.mixers().len().max(1);
        let drives: Vec<Complex64> = lo.iter().map(|&lo| receiver.mixing().drive(lo)).collect();
        let sum = |weights: &[Complex64], drives: &[Complex64], is_upper: bool| -> Complex64 {
            let pairs = weights.iter().zip(drives);
            if is_upper {
                pairs.map(|(weight, drive)| weight * drive.conj()).sum()
            } else {
                pairs.map(|(weight, drive)| weight * drive).sum()
            }
        };
        let rows = self.wanted.chunks_exact(mixers).zip(self.image.chunks_exact(mixers));
        let of_point = |((wanted, image), &lo): ((&[Complex64], &[Complex64]), &usize)| {
            let drives = &drives[lo * mixers..(lo + 1) * mixers];
            power_ratio(
                sum(wanted, drives, self.wanted_is_upper),
                sum(image, drives, !self.wanted_is_upper),
            )
        };
        rows.zip(&self.los).map(of_point).collect()
    }
}

/// The worst of the power ratios at all points as a rejection, dB, and its point.
///
/// # Errors
/// [`ReceiverError::NoBalance`] where it is not a number.
pub(super) fn worst_rejection(receiver: &Receiver, ratios: &[f64]) -> Result<(f64, usize)> {
    let mut worst = (f64::INFINITY, 0);
    for (point, &ratio) in ratios.iter().enumerate() {
        if ratio.is_nan() {
            let LoIfPoint { lo_hz, if_hz, .. } = receiver.plan().points()[point];
            return Err(ReceiverError::NoBalance { lo_hz, if_hz });
        }
        if ratio < worst.0 {
            worst = (ratio, point);
        }
    }
    Ok((rejection_of_ratio_db(worst.0), worst.1))
}

/// I and Q at the output, without the receiver's correction: the input of a complex weight on Q in
/// the image sideband. Where the correction acts on the LO's phase, which rotates the sidebands in
/// opposite directions, the wanted sideband is conjugated, so that one weight is valid for both.
pub(super) fn correction_points(
    receiver: &Receiver,
    outputs: &[IqOutputs],
    evaluation: &Evaluation<'_>,
) -> Vec<CorrectionPoint> {
    let wanted = receiver.plan().wanted();
    let point = |(point, outputs): (usize, &IqOutputs)| {
        let combination = evaluation.combination(receiver.plan().points()[point].intermediate);
        let (wanted, image) = (outputs.of_sideband(wanted), outputs.of_sideband(wanted.opposite()));
        let plain = CorrectionPoint {
            wanted_i: combination.i * wanted.i,
            wanted_q: combination.q * wanted.q,
            image_i: combination.i * image.i,
            image_q: combination.q * image.q,
        };
        plain.for_domain(evaluation.correction.acts_on())
    };
    outputs.iter().enumerate().map(point).collect()
}

/// A channel without an output: the mixers that cancel each other, where multipliers do.
fn explained(receiver: &Receiver, paths: &LoRf<SolvedPath>, error: ReceiverError) -> ReceiverError {
    let ReceiverError::SilentChannel { channel, lo_hz, if_hz, because } = error else {
        return error;
    };
    let plan = receiver.plan();
    let centre = &plan.points()[plan.centre_point()];
    let mut opposing = Vec::new();
    if receiver.switching().is_none() {
        let elements: Vec<Element> =
            elements_at(receiver, Voltages::of(paths), true, centre).collect();
        let both = LoRf { lo: &paths.lo.path, rf: &paths.rf.path };
        opposing = opposing_mixers(receiver, both, &elements);
    }
    let because = if opposing.is_empty() { because } else { opposing.join("; ") };
    ReceiverError::SilentChannel { channel, lo_hz, if_hz, because }
}

/// Checks that every channel has an output at every point, which a balance needs.
pub(super) fn check_channels(receiver: &Receiver, outputs: &[IqOutputs]) -> Result<()> {
    let largest = outputs
        .iter()
        .flat_map(|outputs| [outputs.upper, outputs.lower])
        .flat_map(|pair| [pair.i.norm(), pair.q.norm()])
        .fold(0.0, f64::max);
    // Fourteen digits below the strongest output is rounding, and so are volts for one watt of a switched
    // mixer that loses some 200 dB.
    let is_switched = receiver.switching().is_some();
    let least = if is_switched { 1e-10_f64 } else { 0.0 }.max(1e-14 * largest);
    let is_silent = |value: Complex64| value.norm() <= least || !value.is_finite();
    for (point, outputs) in outputs.iter().enumerate() {
        let has_silence = |output: fn(&IqPair) -> Complex64| {
            is_silent(output(&outputs.upper)) || is_silent(output(&outputs.lower))
        };
        let silent = if has_silence(|pair| pair.i) {
            Channel::I
        } else if has_silence(|pair| pair.q) {
            Channel::Q
        } else {
            continue;
        };
        let LoIfPoint { lo_hz, if_hz, .. } = receiver.plan().points()[point];
        let because = match is_switched {
            true => {
                "its switches cancel, are never or always on (compare their LO voltage with \
                 threshold_v), have no harmonic of order lo_harmonic, get no RF, or their IF ports \
                 have no path to ground"
            }
            false => "its mixers cancel, are at a short, or get no LO or no RF",
        };
        let (channel, because) = (silent.name(), because.to_owned());
        return Err(ReceiverError::SilentChannel { channel, lo_hz, if_hz, because });
    }
    Ok(())
}
