//! A receiver from its description to its verdict, with uncertainty and measured tones if given.

use super::error::BatchError;
use super::progress::OnProgress;
use crate::description::{Uncertainty, read_receiver, read_tones};
use crate::downconverter::{DownconverterResult, Receiver, analyse_receiver};
use crate::measurement::{
    ReceiverUncertainty, ToneComparisons, UncertaintyProgress, compare_tones_with_analysis,
    receiver_uncertainty,
};
use crate::touchstone::ReadOptions;
use std::path::PathBuf;

/// The inputs of the assessment of a receiver.
#[derive(Clone, Debug, Default)]
pub struct ReceiverJob {
    /// Path of RECEIVER.toml.
    pub receiver: PathBuf,
    /// The options for reading its Touchstone files.
    pub reading: ReadOptions,
    /// Their uncertainty, if given.
    pub uncertainty: Option<Uncertainty>,
    /// A table of measured tones for comparison, if given.
    pub measured_tones: Option<PathBuf>,
}

/// The complete result of a receiver.
#[derive(Debug)]
pub struct AssessedReceiver {
    /// The receiver; means of repeated measurements replace the files.
    pub receiver: Receiver,
    /// Its solution over the plan.
    pub result: DownconverterResult,
    /// Intervals and decisions; `None` without an uncertainty.
    pub uncertainty: Option<ReceiverUncertainty>,
    /// Measured tones compared with those from S-parameters; `None` without a table.
    pub tones: Option<ToneComparisons>,
    /// Every file that was read.
    pub inputs: Vec<PathBuf>,
    /// The dates of the data that comments of these files state, each once.
    pub dates: Vec<String>,
    /// What the user should know.
    pub warnings: Vec<String>,
}

impl AssessedReceiver {
    /// Whether every requirement is met; with an uncertainty, whether the decision is a pass.
    #[must_use]
    pub fn passes(&self) -> bool {
        match &self.uncertainty {
            Some(known) => known.assessment.decision.passes(),
            None => self.result.compliance.passes(),
        }
    }
}

/// Reads a receiver and solves it.
///
/// # Errors
/// [`BatchError::Description`] with file, line and column; [`BatchError::Receiver`] for a receiver
/// without a solution.
///
/// # Examples
/// ```
/// use fourphase::batch::{ReceiverJob, assess_receiver};
///
/// let job = ReceiverJob { receiver: "data-demo/receiver.toml".into(), ..ReceiverJob::default() };
/// let assessed = assess_receiver(&job)?;
/// let worst = &assessed.result.summary.worst;
/// assert!(worst.balance.image_rejection_db > 20.0);
/// # Ok::<(), fourphase::batch::BatchError>(())
/// ```
pub fn assess_receiver(job: &ReceiverJob) -> Result<AssessedReceiver, BatchError> {
    assess_receiver_with_progress(job, &|_| {})
}

/// The same with the progress of an uncertainty, which may take long.
///
/// # Errors
/// As [`assess_receiver`].
pub fn assess_receiver_with_progress(
    job: &ReceiverJob,
    on_progress: OnProgress<'_>,
) -> Result<AssessedReceiver, BatchError> {
    let mut loaded = read_receiver(&job.receiver, &job.reading)?;
    let failed = |source| BatchError::Receiver { file: job.receiver.clone(), source };
    let stated = job.uncertainty.as_ref();
    let parts = match stated {
        Some(stated) => {
            loaded.warnings.extend(stated.warnings().iter().cloned());
            loaded.inputs.extend(stated.inputs().iter().cloned());
            stated.of_receiver(&mut loaded)?
        }
        None => Vec::new(),
    };
    let result = analyse_receiver(&loaded.receiver).map_err(failed)?;
    let outside = result.lo_chain.iter().flat_map(|chain| &chain.outside_drive);
    let outside: Vec<String> =
        outside.map(|own| loaded.about_stage(&own.stage, &own.text)).collect();
    let receiver = loaded.receiver;
    let uncertainty = match stated {
        Some(stated) => {
            let (trials, decisions) = (stated.trials(), stated.decisions());
            let on_progress = |progress: UncertaintyProgress| on_progress(progress.into());
            let known =
                receiver_uncertainty(&receiver, &result, &parts, trials, decisions, &on_progress);
            let failed = |source| BatchError::Measurement { file: job.receiver.clone(), source };
            Some(known.map_err(failed)?)
        }
        None => None,
    };
    let tones = match &job.measured_tones {
        Some(table) => {
            let tones = read_tones(table)?;
            let measured = tones.measurements();
            let compared = compare_tones_with_analysis(measured, &result, uncertainty.as_ref());
            Some(compared.map_err(|error| tones.located(&error))?)
        }
        None => None,
    };
    let (mut inputs, mut warnings, dates) = (loaded.inputs, loaded.warnings, loaded.dates);
    inputs.extend(job.measured_tones.iter().cloned());
    warnings.extend(outside);
    if let (Some(stated), Some(known)) = (stated, &uncertainty) {
        warnings.extend(stated.remarks(receiver.limits(), known.assessment.stability_db));
    }
    warnings.extend(result.warnings.iter().cloned());
    warnings.extend(tones.iter().flat_map(ToneComparisons::remarks));
    Ok(AssessedReceiver { receiver, result, uncertainty, tones, inputs, dates, warnings })
}
