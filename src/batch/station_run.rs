//! The run over many files from a probe station: fixtures removed, thrus and drift checked.

use super::error::BatchError;
use super::station_result::{RemovalFigures, StationFile, StationResult, ThruCheck};
use crate::description::{
    AccessLine, NamePattern, RemovalStep, RemovalSteps, StationInput, StationRecipe,
};
use crate::measurement::{Drift, ThruResidual, drift, thru_residual};
use crate::network::{
    Deembedded, Network, NetworkError, onto_grid, remove_feeds, remove_open_short, remove_through,
};
use crate::touchstone::{ReadOptions, TouchstoneFile, WriteOptions, ports_in_name, read, write};
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};

/// What happens during a run, in order.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub enum StationEvent<'e> {
    /// Something that the user should know; the run goes on.
    Warning(&'e str),
    /// One file could not be worked on; the run goes on with the others.
    Failed(&'e BatchError),
}

/// A network whose fixture was removed, as a Touchstone file.
#[derive(Clone, Debug)]
pub struct CleanedFile {
    /// The file's name, without a folder where the recipe gives none.
    pub name: PathBuf,
    /// Its content.
    pub bytes: Vec<u8>,
}

/// Everything that a run gives.
#[derive(Clone, Debug)]
pub struct StationRun {
    /// The figures and checks.
    pub result: StationResult,
    /// The files whose fixture was removed.
    pub cleaned: Vec<CleanedFile>,
    /// The recipe and every file that was read.
    pub inputs: Vec<PathBuf>,
}

/// Removes the fixture from every file of a recipe and makes its checks. `notify` receives warnings and
/// failures as they come up. A file that fails stops no other; it is a failed file of the result.
///
/// # Errors
/// [`BatchError`] where no file is found, or where the drift cannot be checked.
///
/// # Examples
/// ```
/// use fourphase::batch::{StationVerdict, run_station};
/// use fourphase::description::read_station;
/// use fourphase::touchstone::ReadOptions;
///
/// let recipe = read_station("data-demo/station/station.toml".as_ref())?;
/// let run = run_station(&recipe, &ReadOptions::default(), &mut |_| {})?;
/// assert_eq!(run.result.verdict(), StationVerdict::Pass);
/// assert_eq!(run.cleaned.len(), 3);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn run_station(
    recipe: &StationRecipe,
    options: &ReadOptions,
    notify: &mut dyn FnMut(StationEvent<'_>),
) -> Result<StationRun, BatchError> {
    let inputs = vec![recipe.path().to_owned()];
    let mut job = StationJob { recipe, options, notify, standards: HashMap::new(), inputs };
    let found = recipe.inputs()?;
    let drift = job.drift()?;
    let (mut files, mut cleaned) = (Vec::new(), Vec::new());
    let mut thrus: BTreeMap<PathBuf, ThruResidual> = BTreeMap::new();
    for path in &found.not_text {
        files.push(job.failed(path, &BatchError::NameNotText(path.clone())));
    }
    for input in &found.named {
        let file = match job.cleaned(input) {
            Ok((file, written)) => {
                cleaned.push(written);
                file
            }
            Err(error) => job.failed(&input.path, &error),
        };
        if let Some(pattern) = &recipe.thru {
            let path = recipe.path_of(pattern, input.filling.as_deref());
            if let Entry::Vacant(slot) = thrus.entry(path.clone()) {
                match job.thru(&path, input) {
                    Ok(residual) => drop(slot.insert(residual)),
                    Err(error) => files.push(job.failed(&path, &error)),
                }
            }
        }
        files.push(file);
    }
    let thrus = thrus
        .into_iter()
        .map(|(path, residual)| ThruCheck { file: path.display().to_string(), residual });
    let result = StationResult {
        files,
        thru_limit: recipe.thru_limit,
        thrus: thrus.collect(),
        drift_limit: recipe.drift_limit,
        drift,
        effective_permittivity: recipe.effective_permittivity,
    };
    Ok(StationRun { result, cleaned, inputs: job.inputs })
}

/// A network after one removal or several.
struct Removed {
    network: Network,
    figures: RemovalFigures,
    warnings: Vec<String>,
}

impl Removed {
    /// After the first removal.
    fn first(step: Deembedded) -> Self {
        Self {
            figures: RemovalFigures {
                condition: step.worst_condition.value,
                condition_at_hz: step.worst_condition.frequency_hz,
                singular_value_before: step.singular_value_before,
                singular_value_after: step.singular_value_after,
            },
            network: step.network,
            warnings: step.warnings,
        }
    }

    /// After one more: the largest condition counts.
    fn then(self, step: Deembedded) -> Self {
        let next = Self::first(step);
        let worse = if self.figures.condition > next.figures.condition {
            self.figures
        } else {
            next.figures
        };
        Self {
            figures: RemovalFigures {
                singular_value_before: self.figures.singular_value_before,
                singular_value_after: next.figures.singular_value_after,
                ..worse
            },
            network: next.network,
            warnings: [self.warnings, next.warnings].concat(),
        }
    }
}

struct StationJob<'a> {
    recipe: &'a StationRecipe,
    options: &'a ReadOptions,
    notify: &'a mut dyn FnMut(StationEvent<'_>),
    /// Standards that have been read: each serves many files.
    standards: HashMap<PathBuf, Network>,
    inputs: Vec<PathBuf>,
}

impl StationJob<'_> {
    fn warn(&mut self, path: &Path, warning: &str) {
        (self.notify)(StationEvent::Warning(&format!("{}: {warning}", path.display())));
    }

    fn failed(&mut self, path: &Path, error: &BatchError) -> StationFile {
        (self.notify)(StationEvent::Failed(error));
        StationFile::failed(&path.display().to_string(), &error.to_string())
    }

    fn read(&mut self, path: &Path) -> Result<TouchstoneFile, BatchError> {
        // Also one that cannot be read is not to be replaced.
        self.inputs.push(path.to_owned());
        let file = read(path, self.options)?;
        for warning in &file.warnings {
            let text = format!("{}:{warning}", path.display());
            (self.notify)(StationEvent::Warning(&text));
        }
        Ok(file)
    }

    /// A standard at the frequencies of a measurement.
    fn standard(
        &mut self,
        pattern: &NamePattern,
        input: &StationInput,
        measured: &Network,
    ) -> Result<Network, BatchError> {
        let path = self.recipe.path_of(pattern, input.filling.as_deref());
        let failed = |source| BatchError::Network { file: path.clone(), source };
        if !self.standards.contains_key(&path) {
            let network = self.read(&path)?.network;
            self.standards.insert(path.clone(), network);
        }
        let interpolated = onto_grid(&self.standards[&path], measured.grid()).map_err(failed)?;
        if let Some(step) = interpolated.unsafe_step {
            self.warn(&path, &step.to_string());
        }
        Ok(interpolated.network)
    }

    /// A measurement after the removals of the recipe.
    fn removed(
        &mut self,
        steps: &RemovalSteps,
        path: &Path,
        measured: &Network,
        input: &StationInput,
    ) -> Result<Removed, BatchError> {
        let first = Removed::first(self.step(&steps.first, path, measured, input)?);
        match &steps.second {
            None => Ok(first),
            Some(second) => {
                let step = self.step(second, path, &first.network, input)?;
                Ok(first.then(step))
            }
        }
    }

    fn step(
        &mut self,
        step: &RemovalStep,
        path: &Path,
        measured: &Network,
        input: &StationInput,
    ) -> Result<Deembedded, BatchError> {
        let removed = match step {
            RemovalStep::AccessLines(lines) => {
                let lines = self.access_lines(lines, path, measured, input)?;
                let lines: Vec<Option<&Network>> = lines.iter().map(Option::as_ref).collect();
                remove_feeds(measured, &lines)
            }
            RemovalStep::OpenShort { open, short } => {
                let open = self.standard(open, input, measured)?;
                let short = self.standard(short, input, measured)?;
                remove_open_short(measured, &open, &short)
            }
            RemovalStep::Thru { thru, split } => {
                let thru = self.standard(thru, input, measured)?;
                remove_through(measured, &thru, *split)
            }
        };
        removed.map_err(|source| BatchError::Network { file: path.to_owned(), source })
    }

    /// The access line of each port, `None` where a port has none.
    fn access_lines(
        &mut self,
        lines: &[AccessLine],
        path: &Path,
        measured: &Network,
        input: &StationInput,
    ) -> Result<Vec<Option<Network>>, BatchError> {
        let mut of_ports: Vec<Option<Network>> = vec![None; measured.ports()];
        for line in lines {
            if line.port.index() >= measured.ports() {
                return Err(line.no_such_port(path, measured.ports()).into());
            }
            of_ports[line.port.index()] = Some(self.standard(&line.file, input, measured)?);
        }
        Ok(of_ports)
    }

    /// One file, and what is to be written for it.
    fn cleaned(&mut self, input: &StationInput) -> Result<(StationFile, CleanedFile), BatchError> {
        let path = &input.path;
        let file = self.read(path)?;
        let removed = self.removed(&self.recipe.removal, path, &file.network, input)?;
        for warning in &removed.warnings {
            self.warn(path, warning);
        }
        let name = self.recipe.output_of(input)?;
        let ports = removed.network.ports();
        if let Some(named) = ports_in_name(&name).filter(|named| *named != ports) {
            return Err(BatchError::PortsInName { file: name, named, ports });
        }
        let form = WriteOptions {
            version: None,
            number_format: file.number_format,
            frequency_unit: file.frequency_unit,
        };
        let cleaned = TouchstoneFile {
            network: removed.network,
            // The references of the file's own ports and its noise belong to what was measured.
            port_references_ohm: Vec::new(),
            noise: Vec::new(),
            warnings: Vec::new(),
            ..file
        };
        let mut bytes = Vec::new();
        write(&mut bytes, &cleaned, &form)?;
        let done =
            StationFile::done(&path.display().to_string(), removed.figures, removed.warnings);
        Ok((done, CleanedFile { name, bytes }))
    }

    /// A thru after the removals that apply to it as to any file.
    fn thru(&mut self, path: &Path, input: &StationInput) -> Result<ThruResidual, BatchError> {
        let measured = self.read(path)?.network;
        let network = match self.recipe.removal.for_thru() {
            Some(steps) => self.removed(&steps, path, &measured, input)?.network,
            None => measured,
        };
        thru_residual(&network)
            .map_err(|source| BatchError::Network { file: path.to_owned(), source })
    }

    fn drift(&mut self) -> Result<Option<Drift>, BatchError> {
        let Some([before, after]) = &self.recipe.drift else { return Ok(None) };
        let first = self.read(before)?.network;
        let second = self.read(after)?.network;
        let failed = |source: NetworkError| BatchError::Network { file: after.clone(), source };
        drift(&first, &second).map(Some).map_err(failed)
    }
}
