//! The files of one die, read and measured.

use crate::description::{Recipe, Uncertainty};
use crate::downconverter::{
    CorrectionPoint, DieReceiver, GroupIndex, IqCorrection, PlanPoint, ReceiverBalance,
    weight_against,
};
use crate::measurement::{KnownBalances, PlanCovariance, UncertainSplitter};
use crate::network::Network;
use crate::requirement::{Limits, Verdict};
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
    /// Of each point of a receiver's plan, with its own blocks: dies are near enough to it.
    pub(super) plan: Vec<PlanCovariance>,
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
        points.iter().try_for_each(DiePoint::check).map_err(|error| error.to_string())?;
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
        // Before anything is made of them: a fold over the worst passes over what is no number.
        let checked = points.iter().try_for_each(DiePoint::check);
        checked.map_err(|error| error.to_string())?;
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
        let die = MeasuredDie { figures, points, what_ifs };
        die.check().map_err(|error| error.to_string())?;
        Ok(die)
    }

    /// The smallest rejection with each of the blocks ideal that are asked for, dB.
    fn ideal_db(&self, networks: &[Network]) -> Result<Vec<f64>, String> {
        let MeasuredSubject::Receiver { receiver, ideal } = &self.subject else {
            return Ok(Vec::new());
        };
        let of_group = |&group: &GroupIndex| {
            let points =
                receiver.points_if_ideal(networks, group).map_err(|error| error.to_string())?;
            points.iter().try_fold(f64::INFINITY, |worst: f64, point| {
                let point = die_point(point);
                point.check().map_err(|error| format!("with a block ideal, {error}"))?;
                Ok(worst.min(point.rejection_db))
            })
        };
        ideal.iter().map(of_group).collect()
    }

    /// What can be said of a die within the uncertainty of its files: each limit where the die is
    /// nearest to missing it.
    fn conformity(
        &self,
        known: &Known,
        figures: &DieFigures,
        points: &[DiePoint],
        networks: &[Network],
    ) -> Result<Conformity, String> {
        let covariances = self.covariances(known, networks)?;
        let balances: Vec<ReceiverBalance> = points.iter().map(balance).collect();
        let known_points =
            KnownBalances::new(&balances, &covariances).map_err(|error| error.to_string())?;
        let mut probability_of_all = 1.0_f64;
        let mut decisions = Vec::new();
        for limit in self.limits.iter() {
            let worst = figures.worst(limit.quantity());
            // LO power is usually far from its limit, and known to a tenth of a decibel.
            let as_measured = || f64::from(u8::from(limit.is_kept_by(worst)));
            let probability = known_points.probability(limit).unwrap_or_else(as_measured);
            probability_of_all = probability_of_all.min(probability);
            let decided = known.uncertainty.decisions().decide(limit, worst, probability);
            decisions.push(decided.decision);
        }
        let decision = Verdict::of_all(decisions);
        Ok(Conformity { probability: probability_of_all, decision })
    }

    /// How well each point of a die is known.
    fn covariances(
        &self,
        known: &Known,
        networks: &[Network],
    ) -> Result<Vec<PlanCovariance>, String> {
        let settings = match &self.subject {
            MeasuredSubject::Receiver { .. } => return Ok(known.plan.clone()),
            MeasuredSubject::Splitter(settings) => settings,
        };
        let failed = |error: SplitterError| error.to_string();
        let own = scattering_over_band(&networks[0], settings).map_err(failed)?;
        let sources = known.uncertainty.at(&own).map_err(|error| error.to_string())?;
        let roles = analyse(&networks[0], settings).map_err(failed)?.roles;
        let covariances = UncertainSplitter::new(&own, settings, &roles, sources)
            .and_then(|uncertain| uncertain.covariances())
            .map_err(|error| error.to_string())?;
        Ok(covariances.into_iter().map(|image| PlanCovariance { image, wanted: image }).collect())
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
