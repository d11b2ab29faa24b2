//! Reading and analysis of the files of one die.

use super::die_corrections::DieCorrections;
use crate::description::{Recipe, Uncertainty};
use crate::downconverter::{DieReceiver, GroupIndex, PlanPoint, ReceiverBalance, SwitchedLevels};
use crate::measurement::{KnownBalances, NoiseDraws, Refutation, UncertainSplitter};
use crate::network::Network;
use crate::requirement::{Limit, Limits, Verdict};
use crate::splitter::{
    SplitterError, SplitterSettings, balances, image_rejection_of_error_db, scattering_over_band,
};
use crate::touchstone::{PassiveFileError, ReadError, ReadOptions, passive_file_findings, read};
use crate::wafer::{
    Conformity, DieEntry, DieFigures, DieOutcome, DiePoint, DieWhatIfs, MeasuredDie, SwitchedDie,
};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// The subject of the analysis of a die.
pub(super) enum MeasuredSubject {
    /// A receiver, with its blocks or pairs that are ideal in a further question.
    Receiver {
        receiver: Box<DieReceiver>,
        ideal: Vec<GroupIndex>,
    },
    Splitter(SplitterSettings),
}

/// The reason for which a die's file is not used.
#[derive(Debug, thiserror::Error)]
enum DieFileError {
    #[error(transparent)]
    Read(#[from] ReadError),
    #[error("{}: {source}", file.display())]
    NotPassive { file: PathBuf, source: PassiveFileError },
}

/// A die's points with other figures of the analysis.
struct MeasuredPoints {
    points: Vec<DiePoint>,
    /// The minimum LO power at any mixer of a receiver with a limit for it, dBm.
    min_lo_power_dbm: Option<f64>,
    switched: Option<SwitchedDie>,
    /// The nominal phase difference nearest to the data of a splitter, degrees, if it is not given.
    nominal_deg: Option<f64>,
    /// What speaks against their roles.
    warnings: Vec<String>,
}

/// A die's file as it is used, and what speaks against it.
struct DieNetwork {
    network: Network,
    warnings: Vec<String>,
}

/// The uncertainty of dies.
pub(super) struct Known {
    pub(super) uncertainty: Uncertainty,
    /// The noise of all points of a receiver's plan, with its own blocks, from which dies differ
    /// little; `None` for splitters.
    pub(super) plan: Option<NoiseDraws>,
}

/// The settings of the analysis of a die.
pub(super) struct DieMeasurement {
    subject: MeasuredSubject,
    limits: Limits,
    known: Option<Known>,
    options: ReadOptions,
    folder: PathBuf,
    columns: Vec<String>,
    has_correction: bool,
    /// The frequencies at which the files of each column are used.
    bands_hz: Vec<RangeInclusive<f64>>,
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
        let band_of = |column: &String| match &subject {
            MeasuredSubject::Receiver { receiver, .. } => receiver.band_hz(column),
            MeasuredSubject::Splitter(settings) => {
                let (low, high) = settings.band_hz.unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
                low..=high
            }
        };
        Self {
            bands_hz: columns.iter().map(band_of).collect(),
            subject,
            limits,
            known,
            options: options.clone(),
            folder: recipe.manifest().parent().unwrap_or(Path::new("")).to_owned(),
            columns: columns.to_vec(),
            has_correction: recipe.settings().what_if().correction,
        }
    }

    /// The limits for every die.
    pub(super) fn limits(&self) -> &Limits {
        &self.limits
    }

    /// The combination of I and Q on every die; `None` for a splitter.
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

    /// The RF band that limits a receiver's plan, Hz.
    pub(super) fn rf_band_hz(&self) -> Option<(f64, f64)> {
        match &self.subject {
            MeasuredSubject::Receiver { receiver, .. } => {
                receiver.receiver().plan().settings().rf_hz
            }
            MeasuredSubject::Splitter(_) => None,
        }
    }

    /// Reads a die's files and measures it. Whatever is wrong with it is its own result.
    pub(super) fn die(&self, entry: &DieEntry) -> DieOutcome {
        let mut networks = Vec::with_capacity(self.columns.len());
        let mut warnings = Vec::new();
        for (at, (column, file)) in self.columns.iter().zip(&entry.files).enumerate() {
            let Some(file) = file else {
                return DieOutcome::Incomplete(format!("the list has no file for {column}"));
            };
            match self.network(at, file) {
                Ok(read) => {
                    networks.push(read.network);
                    warnings.extend(read.warnings.iter().map(|own| format!("{column}: {own}")));
                }
                Err(DieFileError::Read(ReadError::Io { source, .. }))
                    if source.kind() == std::io::ErrorKind::NotFound =>
                {
                    return DieOutcome::Incomplete(format!("{} does not exist", file.display()));
                }
                Err(error) => return DieOutcome::Error(self.named(&error.to_string(), file)),
            }
        }
        match self.measured(&networks) {
            Ok(mut die) => {
                die.warnings.splice(0..0, warnings);
                DieOutcome::Measured(Box::new(die))
            }
            Err(message) => DieOutcome::Error(message),
        }
    }

    /// The minimum rejection of a receiver made of files from different dies, dB.
    pub(super) fn assembled_db(&self, files: &[&Path]) -> Result<f64, String> {
        let networks = files
            .iter()
            .enumerate()
            .map(|(at, file)| match self.network(at, file) {
                Ok(read) => Ok(read.network),
                Err(error) => Err(error.to_string()),
            })
            .collect::<Result<Vec<_>, _>>()?;
        let points = self.points(&networks)?.points;
        points.iter().try_for_each(DiePoint::check).map_err(|error| error.to_string())?;
        Ok(points.iter().map(|point| point.rejection_db).fold(f64::INFINITY, f64::min))
    }

    /// A file of a column, by its number.
    fn network(&self, column: usize, file: &Path) -> Result<DieNetwork, DieFileError> {
        let path = self.folder.join(file);
        let content = read(&path, &self.options)?;
        let accept_active = self.options.accept_active;
        let findings =
            match passive_file_findings(&content, self.bands_hz[column].clone(), accept_active) {
                Ok(findings) => findings,
                // What has no scattering matrix is refused by the analysis.
                Err(PassiveFileError::Network(_)) => Vec::new(),
                Err(source) => return Err(DieFileError::NotPassive { file: path, source }),
            };
        let read = content.warnings.iter().filter(|warning| warning.code.is_deviation());
        let read = read.map(ToString::to_string);
        let warnings = read.chain(findings.iter().map(ToString::to_string)).collect();
        Ok(DieNetwork { network: content.network, warnings })
    }

    /// A message with the file as in the list of dies, independent of the working folder.
    fn named(&self, message: &str, file: &Path) -> String {
        let shown = self.folder.join(file).display().to_string();
        message.replace(&shown, &file.display().to_string())
    }

    fn points(&self, networks: &[Network]) -> Result<MeasuredPoints, String> {
        match &self.subject {
            MeasuredSubject::Receiver { receiver, .. } => {
                let warnings =
                    receiver.check_port_orders(networks).map_err(|error| error.to_string())?;
                let solved = receiver.solve(networks).map_err(|error| error.to_string())?;
                let mut points: Vec<DiePoint> = solved.points.iter().map(die_point).collect();
                let losses = solved.switched.iter().flat_map(|levels| &levels.losses);
                for (point, loss) in points.iter_mut().zip(losses) {
                    point.losses_db = loss.i_db.zip(loss.q_db).map(<[f64; 2]>::from);
                }
                Ok(MeasuredPoints {
                    points,
                    min_lo_power_dbm: solved.min_lo_power.map(|drive| drive.power_dbm),
                    switched: solved.switched.as_ref().map(|levels| switched_die(&levels.worst)),
                    nominal_deg: None,
                    warnings,
                })
            }
            MeasuredSubject::Splitter(settings) => {
                let result = balances(&networks[0], settings).map_err(|error| error.to_string())?;
                if let Some(found) = result.port_order.filter(|found| found.likely.is_some()) {
                    return Err(found.text(|port| format!("port {port}")));
                }
                let points = result.points.iter().map(|point| DiePoint {
                    frequency_hz: point.frequency_hz,
                    if_hz: None,
                    rejection_db: image_rejection_of_error_db(point.channel_error),
                    sideband_gain_db: 0.0,
                    wanted_error: point.channel_error,
                    channel_error: point.channel_error,
                    losses_db: Some(point.losses_db),
                });
                // The nominal phase of a run is the given one or that of most of its dies.
                let is_inferred = settings.roles.nominal_deg.is_none();
                Ok(MeasuredPoints {
                    points: points.collect(),
                    min_lo_power_dbm: None,
                    switched: None,
                    nominal_deg: is_inferred.then_some(result.roles.nominal_deg),
                    warnings: result.warnings,
                })
            }
        }
    }

    fn measured(&self, networks: &[Network]) -> Result<MeasuredDie, String> {
        let MeasuredPoints { points, min_lo_power_dbm, switched, nominal_deg, warnings } =
            self.points(networks)?;
        // Checked before use: a maximum ignores NaN.
        let checked = points.iter().try_for_each(DiePoint::check);
        checked.map_err(|error| error.to_string())?;
        let mut figures = DieFigures::of(&points, min_lo_power_dbm).ok_or("it has no points")?;
        figures.switched = switched;
        figures.nominal_deg = nominal_deg;
        if let Some(known) = &self.known {
            figures.conformity = Some(self.conformity(known, &figures, &points, networks)?);
        }
        let (corrected_db, corrected_per_frequency_db) = if self.has_correction {
            self.correction().best_db(&points)
        } else {
            (figures.worst_rejection_db, figures.worst_rejection_db)
        };
        let ideal_db = self.ideal_db(networks)?;
        let what_ifs = DieWhatIfs { corrected_db, corrected_per_frequency_db, ideal_db };
        let die = MeasuredDie { figures, points, what_ifs, warnings };
        die.check().map_err(|error| error.to_string())?;
        Ok(die)
    }

    /// The effect of corrections of Q on a die.
    pub(super) fn correction(&self) -> DieCorrections<'_> {
        match &self.subject {
            MeasuredSubject::Receiver { receiver, .. } => DieCorrections::of_receiver(receiver),
            MeasuredSubject::Splitter(_) => DieCorrections::of_splitter(),
        }
    }

    /// The minimum rejection with each of the requested blocks ideal, dB.
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

    /// The decision on a die within the uncertainty of its files: all limits over the whole plan,
    /// as for a receiver or splitter alone.
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
                // Points far from every limit need no draws.
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
                    // Levels are usually far from their limits, and known to a tenth of a decibel.
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
        let roles = balances(&networks[0], settings).map_err(failed)?.roles;
        let noise = UncertainSplitter::new(&own, settings, &roles, sources)
            .and_then(|uncertain| uncertain.noise())
            .map_err(|error| error.to_string())?;
        Ok(NoiseDraws::new(noise, known.uncertainty.trials().seed()))
    }
}

fn switched_die(levels: &SwitchedLevels) -> SwitchedDie {
    let known = |level: f64| Some(level).filter(|level| level.is_finite());
    SwitchedDie {
        conversion_loss_db: known(levels.conversion_loss_db),
        noise_figure_db: known(levels.noise_figure_db),
        lo_at_rf_port_dbm: known(levels.lo_at_rf_port_dbm),
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
        losses_db: None,
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
