//! A die's files, read and measured.

use crate::cli::failure::Failure;
use crate::description::{GivenUncertainty, Uncertainty};
use crate::description::{LoadedReceiver, load_receiver};
use crate::downconverter::{
    CorrectionPoint, DieReceiver, PlanPoint, ReceiverLimits, minimax_weight, plan_points,
    worst_rejection_db,
};
use crate::measurement::{
    ChannelErrorDistribution, Decision, PlanCovariance, UncertainSplitter, conformity_probability,
    plan_covariances,
};
use crate::network::{Network, Port};
use crate::splitter::{
    GivenRoles, SplitterError, SplitterKind, SplitterSettings, analyse, scattering_over_band,
};
use crate::touchstone::{ReadError, ReadOptions, read};
use crate::units::{amplitude_from_db, db_from_neper};
use crate::wafer::{
    Conformity, DieDecision, DieEntry, DieLimit, DieOutcome, DiePoint, DieQuantity, MeasuredDie,
    Recipe, RecipeAnalysis, RecipeKind, SplitterRecipe, measured,
};
use num_complex::Complex64;
use std::path::{Path, PathBuf};

/// What is measured on a die.
enum Subject {
    Receiver(Box<DieReceiver>),
    Splitter(SplitterSettings),
}

/// How a die is measured.
pub(super) struct Measure {
    subject: Subject,
    options: ReadOptions,
    folder: PathBuf,
    columns: Vec<String>,
    has_correction: bool,
    ideal: Vec<String>,
    known: Option<Known>,
    /// What every die must hold.
    pub(super) limits: Vec<DieLimit>,
    /// Files that all dies share.
    pub(super) shared: Vec<PathBuf>,
    /// What came up when those were read.
    pub(super) warnings: Vec<String>,
}

/// How well dies are known.
struct Known {
    uncertainty: Uncertainty,
    /// Of each point of a receiver's plan, with its own blocks: dies are near enough to it.
    plan: Vec<PlanCovariance>,
}

/// Names that columns of the manifest may have, and what is needed to go on.
pub(super) enum Prepared {
    Receiver(Box<LoadedReceiver>),
    Splitter(SplitterRecipe),
}

impl Prepared {
    /// Reads what all dies share.
    pub(super) fn new(recipe: &Recipe, options: &ReadOptions) -> Result<Self, Failure> {
        match &recipe.analysis {
            RecipeAnalysis::Receiver(path) => {
                Ok(Self::Receiver(Box::new(load_receiver(path, options)?)))
            }
            RecipeAnalysis::Splitter(splitter) => Ok(Self::Splitter(splitter.clone())),
        }
    }

    /// Columns of the manifest that give files.
    pub(super) fn blocks(&self) -> Vec<String> {
        match self {
            Self::Receiver(loaded) => {
                loaded.receiver.parts.iter().map(|part| part.name.clone()).collect()
            }
            Self::Splitter(splitter) => vec![splitter.column.clone()],
        }
    }

    /// Ready for dies whose files stand in these columns.
    pub(super) fn with_columns(
        self,
        recipe: &Recipe,
        columns: &[String],
        options: &ReadOptions,
    ) -> Result<Measure, Failure> {
        let given = recipe.uncertainty.clone().map(GivenUncertainty::File);
        let uncertainty = given.map(|given| Uncertainty::read(&given, options)).transpose()?;
        let mut plan = Vec::new();
        if let Some(uncertainty) = &uncertainty {
            uncertainty.check_for_dies(matches!(self, Self::Splitter(_)))?;
        }
        let (subject, limits, mut shared, mut warnings) = match self {
            Self::Splitter(splitter) => (
                Subject::Splitter(settings(&splitter)),
                recipe.limits.clone().unwrap_or_default(),
                Vec::new(),
                Vec::new(),
            ),
            Self::Receiver(mut loaded) => {
                if let Some(uncertainty) = &uncertainty {
                    let file = recipe.path.clone();
                    let parts = uncertainty.of_receiver(&mut loaded)?;
                    let receiver = &loaded.receiver;
                    plan = plan_points(receiver)
                        .and_then(|points| plan_covariances(receiver, &points, &parts))
                        .map_err(|source| Failure::Receiver { file, source })?;
                }
                let LoadedReceiver { mut receiver, inputs, warnings, .. } = *loaded;
                let limits = recipe.limits.clone().unwrap_or_else(|| limits_of(&receiver.limits));
                let power = limits.iter().find(|limit| limit.quantity == DieQuantity::LoPower);
                if power.is_some() && receiver.plan.lo_power_dbm.is_none() {
                    return Err(Failure::Usage(format!(
                        "{}: lo_power_dbm_min needs lo_power_dbm in the receiver's \
                         [frequency_plan]",
                        recipe.path.display()
                    )));
                }
                receiver.limits.lo_power_dbm_min = power.map(|limit| limit.limit);
                let file = recipe.path.clone();
                let receiver = DieReceiver::new(receiver, columns)
                    .map_err(|source| Failure::Receiver { file, source })?;
                let known = receiver.contributors();
                for name in &recipe.what_if.ideal {
                    if !known.contains(name) {
                        return Err(Failure::Usage(format!(
                            "{}: [what_if] ideal names '{name}', which is no block or pair; there \
                             are {}",
                            recipe.path.display(),
                            known.join(", ")
                        )));
                    }
                }
                (Subject::Receiver(Box::new(receiver)), limits, inputs, warnings)
            }
        };
        if let Some(uncertainty) = &uncertainty {
            shared.extend(uncertainty.inputs.iter().cloned());
            warnings.extend(uncertainty.warnings.iter().cloned());
        }
        Ok(Measure {
            known: uncertainty.map(|uncertainty| Known { uncertainty, plan }),
            subject,
            options: options.clone(),
            folder: recipe.manifest.parent().unwrap_or(Path::new("")).to_owned(),
            columns: columns.to_vec(),
            has_correction: recipe.what_if.has_correction,
            ideal: recipe.what_if.ideal.clone(),
            limits,
            shared,
            warnings,
        })
    }
}

fn settings(recipe: &SplitterRecipe) -> SplitterSettings {
    let port = |number: usize| Port::from_number(number);
    let [a, b] = recipe.outputs;
    SplitterSettings {
        roles: GivenRoles {
            kind: Some(match recipe.kind {
                RecipeKind::Quadrature => SplitterKind::Quadrature,
                RecipeKind::Antiphase => SplitterKind::Antiphase,
                RecipeKind::Inphase => SplitterKind::Inphase,
            }),
            input: port(recipe.input),
            outputs: port(a).zip(port(b)).map(|(a, b)| [a, b]),
            isolated: recipe.isolated.and_then(port),
            nominal_deg: recipe.nominal_deg,
        },
        band_hz: recipe.band_hz,
        references_ohm: recipe.reference_ohm.map(Complex64::from).into_iter().collect(),
        loads: Vec::new(),
        requirements: Vec::new(),
    }
}

/// The receiver's own limits, where the recipe has none.
fn limits_of(limits: &ReceiverLimits) -> Vec<DieLimit> {
    [
        (DieQuantity::ImageRejection, limits.image_rejection_db),
        (DieQuantity::AmplitudeImbalance, limits.amplitude_imbalance_db),
        (DieQuantity::QuadratureError, limits.quadrature_error_deg),
        (DieQuantity::LoPower, limits.lo_power_dbm_min),
    ]
    .into_iter()
    .filter_map(|(quantity, limit)| Some(DieLimit { quantity, limit: limit? }))
    .collect()
}

impl Measure {
    /// How I and Q are put together on every die; `None` for a splitter.
    pub(super) fn combination(&self) -> Option<&str> {
        match &self.subject {
            Subject::Receiver(receiver) => Some(receiver.combination()),
            Subject::Splitter(_) => None,
        }
    }

    /// The IFs of a receiver, Hz.
    pub(super) fn if_hz(&self) -> &[f64] {
        match &self.subject {
            Subject::Receiver(receiver) => &receiver.receiver().plan.if_hz,
            Subject::Splitter(_) => &[],
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
        match self.networks(&networks) {
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

    fn points(&self, networks: &[Network]) -> Result<(Vec<DiePoint>, Option<f64>), String> {
        match &self.subject {
            Subject::Receiver(receiver) => {
                let (points, drive) =
                    receiver.points(networks).map_err(|error| error.to_string())?;
                let drive = drive.map(|drive| drive.power_dbm);
                Ok((points.iter().map(die_point).collect(), drive))
            }
            Subject::Splitter(settings) => {
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

    /// What can be said of a die: each limit where the die is worst, by the linear law up to the channel
    /// error and exactly from there.
    fn conformity(
        &self,
        known: &Known,
        die: &MeasuredDie,
        networks: &[Network],
    ) -> Result<Conformity, String> {
        let covariances: Vec<PlanCovariance> = match &self.subject {
            Subject::Receiver(_) => known.plan.clone(),
            Subject::Splitter(settings) => {
                let failed = |error: SplitterError| error.to_string();
                let own = scattering_over_band(&networks[0], settings).map_err(failed)?;
                let sources = known.uncertainty.at(&own).map_err(|error| error.to_string())?;
                let roles = analyse(&networks[0], settings).map_err(failed)?.roles;
                let uncertain = UncertainSplitter {
                    scattering: &own,
                    settings,
                    roles: &roles,
                    sources,
                    load_sources: Vec::new(),
                };
                uncertain
                    .covariances()
                    .map_err(failed)?
                    .into_iter()
                    .map(|image| PlanCovariance { image, wanted: [image[0][0], image[1][1]] })
                    .collect()
            }
        };
        let worst = |badness: &dyn Fn(&DiePoint) -> f64| {
            let points = die.points.iter().zip(&covariances);
            points.max_by(|(one, _), (other, _)| badness(one).total_cmp(&badness(other)))
        };
        let mut found = Conformity { probability: 1.0, decision: DieDecision::Pass };
        let mut decisions = Vec::new();
        for limit in &self.limits {
            let either_way = |value: f64, variance: f64| {
                let u = variance.sqrt().max(f64::MIN_POSITIVE);
                conformity_probability(value, u, -limit.limit, limit.limit)
            };
            let probability = match limit.quantity {
                DieQuantity::ImageRejection | DieQuantity::CommonModeRejection => {
                    worst(&|point| -point.rejection_db).map(|(point, known)| {
                        let mean = point.channel_error;
                        ChannelErrorDistribution { mean, covariance: known.image }
                            .probability_of_rejection(limit.limit - point.sideband_gain_db)
                    })
                }
                DieQuantity::AmplitudeImbalance => {
                    worst(&|point| point.wanted_error.re.abs()).map(|(point, known)| {
                        let scale = db_from_neper(1.0);
                        let value = scale * point.wanted_error.re;
                        either_way(value, scale * scale * known.wanted[0])
                    })
                }
                DieQuantity::PhaseError | DieQuantity::QuadratureError => {
                    worst(&|point| point.wanted_error.im.abs()).map(|(point, known)| {
                        let scale = 1_f64.to_degrees();
                        let value = scale * point.wanted_error.im;
                        either_way(value, scale * scale * known.wanted[1])
                    })
                }
                // Drive is far from its limit or far below it, and known to a tenth of a decibel.
                DieQuantity::LoPower => {
                    Some(f64::from(u8::from(limit.margin(&die.figures) >= 0.0)))
                }
            };
            let probability = probability.unwrap_or(0.0);
            let margin = limit.margin(&die.figures);
            let decided =
                known.uncertainty.decisions.decide(limit.quantity.name(), margin, probability);
            found.probability = found.probability.min(probability);
            decisions.push(decided.decision);
        }
        found.decision = match Decision::of_all(decisions) {
            Decision::Pass => DieDecision::Pass,
            Decision::Fail => DieDecision::Fail,
            Decision::Undecided => DieDecision::Undecided,
        };
        Ok(found)
    }

    fn networks(&self, networks: &[Network]) -> Result<MeasuredDie, String> {
        let (points, drive) = self.points(networks)?;
        let mut die = measured(points, drive).ok_or("it has no points")?;
        if let Some(known) = &self.known {
            die.figures.conformity = Some(self.conformity(known, &die, networks)?);
        }
        if self.has_correction {
            let points: Vec<CorrectionPoint> = die.points.iter().map(correction_point).collect();
            die.own_trim_db = trimmed_best_db(&points);
            let same_frequency = |one: &DiePoint, other: &DiePoint| {
                one.frequency_hz.total_cmp(&other.frequency_hz).is_eq()
            };
            let mut taken = 0;
            let runs = die.points.chunk_by(same_frequency).map(|run| {
                taken += run.len();
                trimmed_best_db(&points[taken - run.len()..taken])
            });
            die.own_trims_db = runs.fold(f64::INFINITY, f64::min);
        }
        if let Subject::Receiver(receiver) = &self.subject {
            for name in &self.ideal {
                let points =
                    receiver.points_if_ideal(networks, name).map_err(|error| error.to_string())?;
                let rejections = points.iter().map(|point| point.balance.image_rejection_db);
                die.if_ideal_db.push(rejections.fold(f64::INFINITY, f64::min));
            }
        }
        Ok(die)
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

/// I and Q of both sidebands in units of I in the image sideband.
fn correction_point(point: &DiePoint) -> CorrectionPoint {
    let gain = Complex64::from(amplitude_from_db(point.sideband_gain_db));
    CorrectionPoint {
        wanted_i: gain,
        wanted_q: gain * point.wanted_error.exp(),
        image_i: Complex64::ONE,
        image_q: -point.channel_error.exp(),
    }
}

/// The rejection of a point whose Q is multiplied by a weight, dB.
pub(super) fn trimmed_db(point: &DiePoint, weight: Complex64) -> f64 {
    correction_point(point).rejection_db(weight)
}

fn trimmed_best_db(points: &[CorrectionPoint]) -> f64 {
    let weight = minimax_weight(points).unwrap_or(Complex64::ONE);
    worst_rejection_db(points, weight).max(worst_rejection_db(points, Complex64::ONE))
}
