//! The files of one die, read and measured.

use crate::description::{Recipe, Uncertainty};
use crate::downconverter::{
    CorrectionPoint, DieReceiver, GroupIndex, IqCorrection, PlanPoint, ReceiverBalance,
    weight_against,
};
use crate::measurement::{KnownBalances, NoiseDraws, Refutation, UncertainSplitter};
use crate::network::Network;
use crate::requirement::{Limit, Limits, Verdict};
use crate::splitter::{SplitterError, SplitterSettings, analyse, scattering_over_band};
use crate::touchstone::{ReadError, ReadOptions, read};
use crate::wafer::{
    Conformity, DieEntry, DieFigures, DieOutcome, DiePoint, DieWhatIfs, MeasuredDie,
};
use num_complex::Complex64;
use std::path::{Path, PathBuf};

/// What is measured on a die.
pub(super) enum MeasuredSubject {
    /// A receiver, and its blocks or pairs that are ideal in a what-if.
    Receiver {
        receiver: Box<DieReceiver>,
        ideal: Vec<GroupIndex>,
    },
    Splitter(SplitterSettings),
}

/// How well dies are known.
pub(super) struct Known {
    pub(super) uncertainty: Uncertainty,
    /// Of all points of a receiver's plan, with its own blocks: dies are near enough to it; `None` for
    /// splitters.
    pub(super) plan: Option<NoiseDraws>,
}

/// How a die is measured.
pub(super) struct DieMeasurement {
    subject: MeasuredSubject,
    limits: Limits,
    known: Option<Known>,
    options: ReadOptions,
    folder: PathBuf,
    columns: Vec<String>,
    has_correction: bool,
}

impl DieMeasurement {
    pub(super) fn new(
        subject: MeasuredSubject,
        limits: Limits,
        known: Option<Known>,
        recipe: &Recipe,
        columns: &[String],
        options: &ReadOptions,
    ) -> Self {
        Self {
            subject,
            limits,
            known,
            options: options.clone(),
            folder: recipe.manifest().parent().unwrap_or(Path::new("")).to_owned(),
            columns: columns.to_vec(),
            has_correction: recipe.settings().what_if().correction,
        }
    }

    /// What every die must hold.
    pub(super) fn limits(&self) -> &Limits {
        &self.limits
    }

    /// How I and Q are put together on every die; `None` for a splitter.
    pub(super) fn combination(&self) -> Option<&str> {
        match &self.subject {
            MeasuredSubject::Receiver { receiver, .. } => Some(receiver.combination()),
            MeasuredSubject::Splitter(_) => None,
        }
    }

    /// The IFs of a receiver, Hz.
    pub(super) fn if_hz(&self) -> &[f64] {
        match &self.subject {
            MeasuredSubject::Receiver { receiver, .. } => receiver.receiver().plan().if_hz(),
            MeasuredSubject::Splitter(_) => &[],
        }
    }

    /// Reads a die's files and measures it. Whatever is wrong with it is its own result.
    pub(super) fn die(&self, entry: &DieEntry) -> DieOutcome {
        let mut networks = Vec::with_capacity(self.columns.len());
        for (column, file) in self.columns.iter().zip(&entry.files) {
            let Some(file) = file else {
                return DieOutcome::Incomplete(format!("no file is given for {column}"));
            };
            match self.network(file) {
                Ok(network) => networks.push(network),
                Err(ReadError::Io { source, .. })
                    if source.kind() == std::io::ErrorKind::NotFound =>
                {
                    return DieOutcome::Incomplete(format!("{} is not there", file.display()));
                }
                Err(error) => return DieOutcome::Error(self.named(&error.to_string(), file)),
            }
        }
        match self.measured(&networks) {
            Ok(die) => DieOutcome::Measured(Box::new(die)),
            Err(message) => DieOutcome::Error(message),
        }
    }

    /// The smallest rejection of a receiver made of files from different dies, dB.
    pub(super) fn assembled_db(&self, files: &[&Path]) -> Result<f64, String> {
        let networks = files
            .iter()
            .map(|file| self.network(file).map_err(|error| error.to_string()))
            .collect::<Result<Vec<_>, _>>()?;
        let points = self.points(&networks)?.0;
        Ok(points.iter().map(|point| point.rejection_db).fold(f64::INFINITY, f64::min))
    }

    fn network(&self, file: &Path) -> Result<Network, ReadError> {
        read(&self.folder.join(file), &self.options).map(|content| content.network)
    }

    /// A message with the file as the manifest names it, so that it is the same from wherever the
    /// run was started.
    fn named(&self, message: &str, file: &Path) -> String {
        let shown = self.folder.join(file).display().to_string();
        message.replace(&shown, &file.display().to_string())
    }

    /// A die's points, and the least LO power at any mixer of a receiver that limits it, dBm.
    fn points(&self, networks: &[Network]) -> Result<(Vec<DiePoint>, Option<f64>), String> {
        match &self.subject {
            MeasuredSubject::Receiver { receiver, .. } => {
                let (points, drive) =
                    receiver.points(networks).map_err(|error| error.to_string())?;
                let drive = drive.map(|drive| drive.power_dbm);
                Ok((points.iter().map(die_point).collect(), drive))
            }
            MeasuredSubject::Splitter(settings) => {
                let result = analyse(&networks[0], settings).map_err(|error| error.to_string())?;
                let points = result.points.iter().map(|point| DiePoint {
                    frequency_hz: point.frequency_hz,
                    if_hz: None,
                    rejection_db: point.rejection_db,
                    sideband_gain_db: 0.0,
                    wanted_error: point.channel_error,
                    channel_error: point.channel_error,
                });
                Ok((points.collect(), None))
            }
        }
    }

    fn measured(&self, networks: &[Network]) -> Result<MeasuredDie, String> {
        let (points, drive) = self.points(networks)?;
        let mut figures = DieFigures::of(&points, drive).ok_or("it has no points")?;
        if let Some(known) = &self.known {
            figures.conformity = Some(self.conformity(known, &figures, &points, networks)?);
        }
        let (corrected_db, corrected_per_frequency_db) = if self.has_correction {
            corrected_db(&points)
        } else {
            (figures.worst_rejection_db, figures.worst_rejection_db)
        };
        let ideal_db = self.ideal_db(networks)?;
        let what_ifs = DieWhatIfs { corrected_db, corrected_per_frequency_db, ideal_db };
        Ok(MeasuredDie { figures, points, what_ifs })
    }

    /// The smallest rejection with each of the blocks ideal that are asked for, dB.
    fn ideal_db(&self, networks: &[Network]) -> Result<Vec<f64>, String> {
        let MeasuredSubject::Receiver { receiver, ideal } = &self.subject else {
            return Ok(Vec::new());
        };
        let of_group = |&group: &GroupIndex| {
            let points =
                receiver.points_if_ideal(networks, group).map_err(|error| error.to_string())?;
            let rejections_db = points.iter().map(|point| point.balance.image_rejection_db);
            Ok(rejections_db.fold(f64::INFINITY, f64::min))
        };
        ideal.iter().map(of_group).collect()
    }

    /// What can be said of a die within the uncertainty of its files: all limits over the whole plan, as
    /// for a receiver or splitter alone.
    fn conformity(
        &self,
        known: &Known,
        figures: &DieFigures,
        points: &[DiePoint],
        networks: &[Network],
    ) -> Result<Conformity, String> {
        let balances: Vec<ReceiverBalance> = points.iter().map(balance).collect();
        match &known.plan {
            Some(noise) => self.decided(known, figures, &balances, noise),
            None => {
                let noise = self.splitter_noise(known, networks)?;
                // Of points that are far from every limit no draws are needed.
                let limits: Vec<Limit> = self.limits.iter().collect();
                let near = KnownBalances::new(&balances, &noise)
                    .map_err(|error| error.to_string())?
                    .near(&limits);
                let own = |near: &[usize]| -> Vec<ReceiverBalance> {
                    near.iter().map(|&at| balances[at]).collect()
                };
                match near.as_slice() {
                    [] => self.decided(known, figures, &balances, &noise),
                    near => self.decided(known, figures, &own(near), &noise.of_points(near)),
                }
            }
        }
    }

    fn decided(
        &self,
        known: &Known,
        figures: &DieFigures,
        balances: &[ReceiverBalance],
        noise: &NoiseDraws,
    ) -> Result<Conformity, String> {
        let points = KnownBalances::new(balances, noise).map_err(|error| error.to_string())?;
        let decisions = known.uncertainty.decisions();
        let limits: Vec<Limit> = self.limits.iter().collect();
        let mut probability = points.probability(&limits);
        let verdicts = limits.iter().map(|limit| {
            let worst = figures.worst(limit.quantity());
            let against =
                points.against(*limit, 1.0 - decisions.conformity()).unwrap_or_else(|| {
                    // LO power is usually far from its limit, and known to a tenth of a decibel.
                    let is_kept = limit.is_kept_by(worst);
                    if !is_kept {
                        probability = 0.0;
                    }
                    let [met, missed] = [is_kept, !is_kept].map(|is| f64::from(u8::from(!is)));
                    Refutation { misses_read_as_well: met, meets_read_as_badly: missed }
                });
            decisions.decide(*limit, worst, against)
        });
        let decision = Verdict::of_all(verdicts.collect::<Vec<_>>());
        Ok(Conformity { probability, decision })
    }

    /// The noise of each point of a die that is a splitter.
    fn splitter_noise(&self, known: &Known, networks: &[Network]) -> Result<NoiseDraws, String> {
        let MeasuredSubject::Splitter(settings) = &self.subject else {
            return Err("its noise is that of the receiver's plan".to_owned());
        };
        let failed = |error: SplitterError| error.to_string();
        let own = scattering_over_band(&networks[0], settings).map_err(failed)?;
        let sources = known.uncertainty.at(&own).map_err(|error| error.to_string())?;
        let roles = analyse(&networks[0], settings).map_err(failed)?.roles;
        let noise = UncertainSplitter::new(&own, settings, &roles, sources)
            .and_then(|uncertain| uncertain.noise())
            .map_err(|error| error.to_string())?;
        Ok(NoiseDraws::new(noise, known.uncertainty.trials().seed()))
    }
}

fn die_point(point: &PlanPoint) -> DiePoint {
    DiePoint {
        frequency_hz: point.lo_hz,
        if_hz: Some(point.if_hz),
        rejection_db: point.balance.image_rejection_db,
        sideband_gain_db: point.balance.sideband_gain_db,
        wanted_error: point.balance.wanted_error,
        channel_error: point.balance.channel_error,
    }
}

fn balance(point: &DiePoint) -> ReceiverBalance {
    ReceiverBalance {
        image_rejection_db: point.rejection_db,
        sideband_gain_db: point.sideband_gain_db,
        wanted_error: point.wanted_error,
        channel_error: point.channel_error,
    }
}

fn correction_point(point: &DiePoint) -> CorrectionPoint {
    CorrectionPoint::of_errors(point.sideband_gain_db, point.wanted_error, point.channel_error)
}

/// The smallest rejection of a die after the best single correction of its own, and after the best at
/// each frequency or LO, dB.
fn corrected_db(points: &[DiePoint]) -> (f64, f64) {
    let corrections: Vec<CorrectionPoint> = points.iter().map(correction_point).collect();
    let same_frequency =
        |one: &DiePoint, other: &DiePoint| one.frequency_hz.total_cmp(&other.frequency_hz).is_eq();
    let mut remaining = corrections.as_slice();
    let per_frequency = points.chunk_by(same_frequency).map(|run| {
        let (of_run, others) = remaining.split_at(run.len());
        remaining = others;
        IqCorrection::best(of_run).worst_db
    });
    let smallest_db = per_frequency.fold(f64::INFINITY, f64::min);
    (IqCorrection::best(&corrections).worst_db, smallest_db)
}

/// The rejection of a point whose Q is corrected by a channel error, dB.
pub(super) fn corrected_by_db(point: &DiePoint, error: Complex64) -> f64 {
    correction_point(point).rejection_db(weight_against(error))
}
