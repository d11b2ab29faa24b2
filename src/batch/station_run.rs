//! Processing of many files from a probe station: removal of fixtures, checks of thrus and drift.

use super::error::BatchError;
use super::progress::{Progress, Work};
use super::station_result::{RemovalFigures, StationFile, StationResult, ThruCheck};
use crate::description::{
    AccessLine, NamePattern, RemovalStep, RemovalSteps, StationInput, StationRecipe,
};
use crate::measurement::{
    Drift, ThruResidual, check_open_and_short, check_reflecting, check_transmitting, drift,
    thru_residual,
};
use crate::network::{
    Deembedded, Network, NetworkError, Port, onto_grid, remove_access_lines, remove_open_short,
    remove_thru, select_ports,
};
use crate::touchstone::{
    PassiveFileError, ReadOptions, TouchstoneFile, WriteOptions, passive_file_findings,
    ports_in_name, read, write,
};
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, HashMap, HashSet};
use std::path::{Path, PathBuf};

/// An event during a run.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub enum StationEvent<'e> {
    /// A warning for the user; the run continues.
    Warning(&'e str),
    /// One file could not be processed; the run continues with the others.
    Failed(&'e BatchError),
    /// So many of the files are done.
    Done(Progress),
}

/// A network whose fixture was removed, as a Touchstone file.
#[derive(Clone, Debug)]
pub struct CleanedFile {
    /// The file's name, without a folder if the recipe gives none.
    pub name: PathBuf,
    /// Its content.
    pub bytes: Vec<u8>,
}

/// The complete result of a run.
#[derive(Clone, Debug)]
pub struct StationRun {
    /// The figures and checks.
    pub result: StationResult,
    /// The files whose fixture was removed.
    pub cleaned: Vec<CleanedFile>,
    /// The recipe and every file that was read.
    pub inputs: Vec<PathBuf>,
}

/// Removes the fixture from every file of a recipe and makes its checks. `notify` receives warnings
/// and failures as they occur. A file that fails does not stop the run; it is a failed file of the
/// result.
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
    let mut job = StationJob {
        recipe,
        options,
        notify,
        standards: HashMap::new(),
        unusable: HashSet::new(),
        long_standards: HashSet::new(),
        inputs,
    };
    let found = recipe.inputs()?;
    let drift = job.drift()?;
    let (mut files, mut cleaned) = (Vec::new(), Vec::new());
    let mut thrus: BTreeMap<PathBuf, ThruResidual> = BTreeMap::new();
    for path in &found.not_text {
        files.push(job.failed(path, &BatchError::NameNotText(path.clone())));
    }
    for (done, input) in (0..).zip(&found.named) {
        let total = found.named.len() as u64;
        (job.notify)(StationEvent::Done(Progress { work: Work::Files, done, total }));
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

/// A network after one or more removals.
struct Removed {
    network: Network,
    figures: RemovalFigures,
    warnings: Vec<String>,
}

impl Removed {
    /// The network after the first removal.
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

    /// The network after a further removal: the maximum condition number is kept.
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
    /// Standards that were read; each is used for many files.
    standards: HashMap<PathBuf, Network>,
    /// Standards that cannot be used; each is reported once.
    unusable: HashSet<PathBuf>,
    /// Opens whose access lines were reported as not removed.
    long_standards: HashSet<PathBuf>,
    inputs: Vec<PathBuf>,
}

impl StationJob<'_> {
    fn warn(&mut self, path: &Path, warning: &str) {
        (self.notify)(StationEvent::Warning(&format!("{}: {warning}", path.display())));
    }

    fn failed(&mut self, path: &Path, error: &BatchError) -> StationFile {
        // The error of a standard is reported once; the result still names the reason for each
        // failed file.
        if !matches!(error, BatchError::UnusableStandard { .. }) {
            (self.notify)(StationEvent::Failed(error));
        }
        StationFile::failed(&path.display().to_string(), &error.to_string())
    }

    fn read(&mut self, path: &Path) -> Result<TouchstoneFile, BatchError> {
        // An unreadable file must not be overwritten either.
        self.inputs.push(path.to_owned());
        let file = read(path, self.options)?;
        for warning in &file.warnings {
            let text = format!("{}:{warning}", path.display());
            (self.notify)(StationEvent::Warning(&text));
        }
        Ok(file)
    }

    /// Reads a standard and checks that it can be of a passive part.
    fn read_standard(&mut self, path: &Path, measured: &Network) -> Result<Network, BatchError> {
        let content = self.read(path)?;
        let band_hz = measured.grid().first_hz()..=measured.grid().last_hz();
        match passive_file_findings(&content, band_hz, self.options.accept_active) {
            Ok(findings) => {
                findings.iter().for_each(|finding| self.warn(path, &finding.to_string()));
            }
            // A file without a scattering matrix is refused where it is removed.
            Err(PassiveFileError::Network(_)) => {}
            Err(source) => return Err(BatchError::NotPassive { file: path.to_owned(), source }),
        }
        Ok(content.network)
    }

    /// A standard at the frequencies of a measurement.
    fn standard(
        &mut self,
        pattern: &NamePattern,
        input: &StationInput,
        measured: &Network,
    ) -> Result<(PathBuf, Network), BatchError> {
        let path = self.recipe.path_of(pattern, input.filling.as_deref());
        let failed = |source| BatchError::Network { file: path.clone(), source };
        if self.unusable.contains(&path) {
            return Err(BatchError::UnusableStandard { standard: path });
        }
        if !self.standards.contains_key(&path) {
            let network = self.read_standard(&path, measured).inspect_err(|_| {
                self.unusable.insert(path.clone());
            })?;
            self.standards.insert(path.clone(), network);
        }
        let interpolated = onto_grid(&self.standards[&path], measured.grid()).map_err(failed)?;
        if let Some(step) = interpolated.unsafe_step {
            self.warn(&path, &step.to_string());
        }
        Ok((path, interpolated.network))
    }

    /// Checks that an open and a short are of the expected kind.
    fn open_and_short(
        &mut self,
        patterns: [&NamePattern; 2],
        input: &StationInput,
        measured: &Network,
    ) -> Result<[Network; 2], BatchError> {
        let mut reflecting = |pattern| {
            let (file, standard) = self.standard(pattern, input, measured)?;
            match check_reflecting(&standard) {
                Ok(()) => Ok((file, standard)),
                Err(source) => Err(BatchError::Standard { file, source }),
            }
        };
        let [(file, open), (_, short)] = [reflecting(patterns[0])?, reflecting(patterns[1])?];
        let delay_s = check_open_and_short(&open, &short)
            .map_err(|source| BatchError::Standard { file: file.clone(), source })?;
        if let Some(delay_s) = delay_s
            && self.long_standards.insert(file.clone())
        {
            let delay_ps = delay_s * 1e12;
            self.warn(
                &file,
                &format!(
                    "this open and its short have a round-trip delay of {delay_ps:.1} ps: their access \
                     lines are likely still on; take them off first, in [remove.access_lines]"
                ),
            );
        }
        Ok([open, short])
    }

    /// A measurement after the removals of the recipe; `between` are the station's ports connected
    /// by a thru.
    fn removed(
        &mut self,
        steps: &RemovalSteps,
        path: &Path,
        measured: &Network,
        input: &StationInput,
        between: Option<[Port; 2]>,
    ) -> Result<Removed, BatchError> {
        let first = Removed::first(self.step(&steps.first, path, measured, input, between)?);
        match &steps.second {
            None => Ok(first),
            Some(second) => {
                let step = self.step(second, path, &first.network, input, between)?;
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
        between: Option<[Port; 2]>,
    ) -> Result<Deembedded, BatchError> {
        let removed = match step {
            RemovalStep::AccessLines(lines) => {
                let lines = self.access_lines(lines, path, measured, input, between)?;
                let lines: Vec<Option<&Network>> = lines.iter().map(Option::as_ref).collect();
                remove_access_lines(measured, &lines)
            }
            RemovalStep::OpenShort { open, short } => {
                let mut pair = self.open_and_short([open, short], input, measured)?;
                if let Some(ports) = between.filter(|_| pair[0].ports() > 2) {
                    for standard in &mut pair {
                        *standard = select_ports(standard, &ports).map_err(|source| {
                            BatchError::Network { file: path.to_owned(), source }
                        })?;
                    }
                }
                remove_open_short(measured, &pair[0], &pair[1])
            }
            RemovalStep::Thru { thru, split } => {
                let (file, thru) = self.standard(thru, input, measured)?;
                check_transmitting(&thru)
                    .map_err(|source| BatchError::Standard { file, source })?;
                remove_thru(measured, &thru, *split)
            }
        };
        removed.map_err(|source| BatchError::Network { file: path.to_owned(), source })
    }

    /// The access line of each port; `None` for a port without one.
    fn access_lines(
        &mut self,
        lines: &[AccessLine],
        path: &Path,
        measured: &Network,
        input: &StationInput,
        between: Option<[Port; 2]>,
    ) -> Result<Vec<Option<Network>>, BatchError> {
        let mut of_ports: Vec<Option<Network>> = vec![None; measured.ports()];
        for line in lines {
            let index = match between {
                // The ports of a thru are two of the station's, in this order.
                Some(ports) => match ports.iter().position(|port| *port == line.port) {
                    Some(index) => index,
                    None => continue,
                },
                None => line.port.index(),
            };
            if index >= measured.ports() {
                return Err(line.no_such_port(path, measured.ports()).into());
            }
            let (file, network) = self.standard(&line.file, input, measured)?;
            check_transmitting(&network).map_err(|source| BatchError::Standard { file, source })?;
            of_ports[index] = Some(network);
        }
        Ok(of_ports)
    }

    /// One file, with the content to be written for it.
    fn cleaned(&mut self, input: &StationInput) -> Result<(StationFile, CleanedFile), BatchError> {
        let path = &input.path;
        let file = self.read(path)?;
        let removed = self.removed(&self.recipe.removal, path, &file.network, input, None)?;
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
            // The reference impedances of the file's own ports and its noise belong to the
            // measurement before the removal.
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
        let is_itself = |pattern: &NamePattern| {
            self.recipe.path_of(pattern, input.filling.as_deref()).as_path() == path
        };
        let network = match self.recipe.removal.for_thru(is_itself) {
            Some(steps) => {
                let between = Some(self.recipe.thru_ports);
                self.removed(&steps, path, &measured, input, between)?.network
            }
            None => measured,
        };
        thru_residual(&network)
            .map_err(|source| BatchError::Network { file: path.to_owned(), source })
    }

    fn drift(&mut self) -> Result<Option<Drift>, BatchError> {
        let Some([before, after]) = &self.recipe.drift else { return Ok(None) };
        let first = self.read(before)?.network;
        let second = self.read(after)?.network;
        if first.entries() == second.entries() {
            self.warn(
                after,
                "it holds the same numbers as the measurement before: check that it is not a copy",
            );
        }
        let failed = |source: NetworkError| BatchError::Network { file: after.clone(), source };
        drift(&first, &second).map(Some).map_err(failed)
    }
}
