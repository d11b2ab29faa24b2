//! `fourphase downconverter`.

use super::args::{Downconverter, Format};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::batch::{AssessedReceiver, InputFile, ReceiverJob, assess_receiver};
use crate::report::{
    ReceiverReport, document, receiver_files, receiver_points_csv, receiver_text, tones_text,
};

pub(super) fn run(given: &Downconverter, console: &Console) -> Result<Outcome, Failure> {
    let job = ReceiverJob {
        receiver: given.receiver.clone(),
        reading: given.reading.options(),
        uncertainty: given.reading.uncertainty(given.uncertainty.as_ref())?,
        measured_tones: given.measured.clone(),
    };
    let described = Some(given.receiver.as_path());
    let named = given.measured.iter().chain(std::iter::once(&given.receiver));
    given.writing.check(&named.cloned().collect::<Vec<_>>(), described)?;
    let assessed = assess_receiver(&job)?;
    console.warnings(&assessed.warnings);
    let files = match &given.writing.out {
        Some(folder) => {
            let report = report(&job, &assessed)?;
            receiver_files(folder, &assessed, &report, given.drawing.pictures)?
        }
        None => Vec::new(),
    };
    given.writing.publish(&files, &[], &assessed.inputs, described)?;
    let (receiver, result) = (&assessed.receiver, &assessed.result);
    match given.format {
        Format::Json => console.data(&document(&report(&job, &assessed)?)?)?,
        Format::Csv => console.data(&receiver_points_csv(result)?)?,
        Format::Text => {
            let mut text = receiver_text(receiver, result, assessed.uncertainty.as_ref());
            let wanted = receiver.plan().wanted();
            text.extend(assessed.tones.as_ref().map(|tones| tones_text(tones, wanted)));
            console.data(&text)?;
        }
    }
    console.written(&files);
    Ok(Outcome::of_verdict(assessed.passes()))
}

fn report(job: &ReceiverJob, assessed: &AssessedReceiver) -> Result<ReceiverReport, Failure> {
    let report = ReceiverReport::new(
        &assessed.receiver,
        &assessed.result,
        assessed.uncertainty.as_ref(),
        InputFile::of(&assessed.inputs)?,
        &job.reading,
        &assessed.warnings,
    );
    Ok(match &assessed.tones {
        Some(tones) => report.with_tones(tones, assessed.receiver.plan().wanted()),
        None => report,
    })
}
