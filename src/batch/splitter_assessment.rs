//! A splitter from its file to its verdict: with loads, and with uncertainty if given.

use super::error::BatchError;
use super::progress::OnProgress;
use crate::description::Uncertainty;
use crate::measurement::{SplitterUncertainty, UncertainSplitter, splitter_uncertainty};
use crate::network::{Load, Network, Port};
use crate::splitter::{SplitterResult, SplitterSettings, analyse, scattering_over_band};
use crate::touchstone::{
    PassiveFileError, ReadOptions, TouchstoneFile, passive_file_findings, read,
};
use num_complex::Complex64;
use std::path::{Path, PathBuf};

/// The termination of a port of a splitter.
#[derive(Clone, Debug, PartialEq)]
pub enum GivenLoad {
    /// An impedance, ohms.
    Impedance(Complex64),
    /// A one-port file.
    File(PathBuf),
}

/// The inputs of the assessment of a splitter.
#[derive(Clone, Debug, Default)]
pub struct SplitterJob {
    /// Its Touchstone file.
    pub file: PathBuf,
    /// The options for reading files.
    pub reading: ReadOptions,
    /// Ports, band, reference impedances and requirements; its loads are taken from `loads`.
    pub settings: SplitterSettings,
    /// The terminations of ports that differ from the reference impedance.
    pub loads: Vec<(Port, GivenLoad)>,
    /// The uncertainty of the files, if given.
    pub uncertainty: Option<Uncertainty>,
}

/// The complete result of a splitter.
#[derive(Debug)]
pub struct AssessedSplitter {
    /// Imbalance, losses, rejection and verdict.
    pub result: SplitterResult,
    /// Intervals and decisions; `None` without an uncertainty.
    pub uncertainty: Option<SplitterUncertainty>,
    /// Every file that was read, the splitter's own first.
    pub inputs: Vec<PathBuf>,
    /// The date of its data, as a comment of its file states it.
    pub date: Option<String>,
    /// What the user should know.
    pub warnings: Vec<String>,
}

impl AssessedSplitter {
    /// The name of its file, without folders.
    #[must_use]
    pub fn file_name(&self) -> String {
        let name = self.inputs.first().and_then(|path| path.file_name());
        name.map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
    }

    /// Whether every requirement holds; with an uncertainty, whether that is decided.
    #[must_use]
    pub fn passes(&self) -> bool {
        match &self.uncertainty {
            Some(known) => known.assessment.decision.passes(),
            None => self.result.compliance.passes(),
        }
    }
}

/// Reads a splitter's file and those of its loads, and analyses it.
///
/// # Errors
/// [`BatchError::Read`] and [`BatchError::Description`] with file, line and column,
/// [`BatchError::LoadPorts`] for a load that is not a one-port, [`BatchError::Splitter`] where
/// ports, band or loads do not agree with the data.
///
/// # Examples
/// ```
/// use fourphase::batch::{SplitterJob, assess_splitter};
///
/// let job = SplitterJob { file: "data-demo/coupler.s4p".into(), ..SplitterJob::default() };
/// let assessed = assess_splitter(&job)?;
/// // Without a requirement the result passes.
/// assert!(assessed.passes());
/// # Ok::<(), fourphase::batch::BatchError>(())
/// ```
pub fn assess_splitter(job: &SplitterJob) -> Result<AssessedSplitter, BatchError> {
    assess_splitter_with_progress(job, &|_| {})
}

/// The same with the progress of an uncertainty, which may take long.
///
/// # Errors
/// As [`assess_splitter`].
pub fn assess_splitter_with_progress(
    job: &SplitterJob,
    on_progress: OnProgress<'_>,
) -> Result<AssessedSplitter, BatchError> {
    let mut gathered = Gathered { inputs: vec![job.file.clone()], warnings: Vec::new() };
    let failed = |source| BatchError::Splitter { file: job.file.clone(), source };
    let content = gathered.read(&job.file, &job.reading)?;
    gathered.check_passive(&job.file, &content, job)?;
    let date = content.stated_date().map(str::to_owned);
    let mut network = content.network;
    let settings = SplitterSettings { loads: gathered.loads(job)?, ..job.settings.clone() };
    gathered.warnings.extend(settings.limits.remarks());
    let stated = job.uncertainty.as_ref();
    let (result, uncertainty) = match stated {
        None => (analyse(&network, &settings).map_err(failed)?, None),
        Some(stated) => {
            gathered.warnings.extend(stated.warnings().iter().cloned());
            gathered.inputs.extend(stated.inputs().iter().cloned());
            let (result, known) = uncertain(job, stated, &mut network, &settings, on_progress)?;
            let remarks = stated.remarks(&settings.limits, known.assessment.stability_db);
            gathered.warnings.extend(remarks);
            (result, Some(known))
        }
    };
    let own = result.warnings.iter().map(|warning| format!("{}: {warning}", job.file.display()));
    gathered.warnings.extend(own);
    let Gathered { inputs, warnings } = gathered;
    Ok(AssessedSplitter { result, uncertainty, inputs, date, warnings })
}

/// The result and its uncertainty; the mean of repeated measurements replaces the network.
fn uncertain(
    job: &SplitterJob,
    stated: &Uncertainty,
    network: &mut Network,
    settings: &SplitterSettings,
    on_progress: OnProgress<'_>,
) -> Result<(SplitterResult, SplitterUncertainty), BatchError> {
    let failed = |source| BatchError::Splitter { file: job.file.clone(), source };
    let ohmic = job.loads.iter().filter(|(_, given)| matches!(given, GivenLoad::Impedance(_)));
    let ohmic: Vec<Port> = ohmic.map(|(port, _)| *port).collect();
    let sources = stated.of_splitter(&job.file, network, &ohmic)?;
    let result = analyse(network, settings).map_err(failed)?;
    let own = scattering_over_band(network, settings).map_err(failed)?;
    let mut load_sources = Vec::new();
    // An uncertain load of ohms is a network, whose entries can deviate.
    let mut settings = settings.clone();
    for ((port, given), (_, load)) in job.loads.iter().zip(&mut settings.loads) {
        load_sources.push(match (given, &*load) {
            (GivenLoad::File(path), Load::OnePort(network)) => stated.of_load(path, network)?,
            (GivenLoad::Impedance(ohm), _) => match stated.of_impedance(*port, *ohm, own.grid())? {
                Some((network, sources)) => {
                    *load = Load::OnePort(network);
                    sources
                }
                None => Vec::new(),
            },
            _ => Vec::new(),
        });
    }
    let unsure = |source| BatchError::Measurement { file: job.file.clone(), source };
    let splitter = UncertainSplitter::new(&own, &settings, &result.roles, sources.at(&own)?)
        .and_then(|splitter| splitter.with_load_sources(load_sources))
        .map_err(unsure)?;
    let (trials, decisions) = (stated.trials(), stated.decisions());
    let known = splitter_uncertainty(&splitter, &result, trials, decisions, &|progress| {
        on_progress(progress.into());
    })
    .map_err(unsure)?;
    Ok((result, known))
}

/// Inputs and warnings collected during the assessment.
struct Gathered {
    inputs: Vec<PathBuf>,
    warnings: Vec<String>,
}

impl Gathered {
    fn read(&mut self, path: &Path, options: &ReadOptions) -> Result<TouchstoneFile, BatchError> {
        let file = read(path, options)?;
        let warnings = file.warnings.iter();
        self.warnings.extend(warnings.map(|warning| format!("{}:{warning}", path.display())));
        Ok(file)
    }

    /// Refuses a file that cannot be that of a passive part; other findings are warnings.
    fn check_passive(
        &mut self,
        path: &Path,
        file: &TouchstoneFile,
        job: &SplitterJob,
    ) -> Result<(), BatchError> {
        let (low_hz, high_hz) = job.settings.band_hz.unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
        match passive_file_findings(file, low_hz..=high_hz, job.reading.accept_active) {
            Ok(findings) => {
                let shown = path.display();
                self.warnings.extend(findings.iter().map(|finding| format!("{shown}: {finding}")));
                Ok(())
            }
            // A file without a scattering matrix is refused by the analysis.
            Err(PassiveFileError::Network(_)) => Ok(()),
            Err(source) => Err(BatchError::NotPassive { file: path.to_owned(), source }),
        }
    }

    fn loads(&mut self, job: &SplitterJob) -> Result<Vec<(Port, Load)>, BatchError> {
        let mut loads = Vec::new();
        for (port, given) in &job.loads {
            let load = match given {
                GivenLoad::Impedance(ohm) => Load::Impedance(*ohm),
                GivenLoad::File(path) => {
                    self.inputs.push(path.clone());
                    let content = self.read(path, &job.reading)?;
                    let ports = content.network.ports();
                    if ports != 1 {
                        return Err(BatchError::LoadPorts { file: path.clone(), ports });
                    }
                    self.check_passive(path, &content, job)?;
                    Load::OnePort(content.network)
                }
            };
            loads.push((*port, load));
        }
        Ok(loads)
    }
}
