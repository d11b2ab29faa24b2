//! `fourphase downconverter`.

use super::args::{Downconverter, Format};
use super::console::Console;
use super::failure::Failure;
use super::made_by::made_by;
use super::outcome::Outcome;
use super::progress_bar::Bar;
use crate::batch::{AssessedReceiver, InputFile, ReceiverJob, assess_receiver_with_progress};
use crate::report::{
    ReceiverReport, assessed_receiver_text, document, receiver_files, receiver_points_csv,
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
    let bar = Bar::new(console);
    let assessed = assess_receiver_with_progress(&job, &|progress| bar.show(progress))?;
    drop(bar);
    console.warnings(&assessed.warnings);
    let files = match &given.writing.out {
        Some(folder) => {
            let report = report(&job, &assessed)?;
            receiver_files(folder, &assessed, &report, given.drawing.pictures, &made_by())?
        }
        None => Vec::new(),
    };
    given.writing.publish(&files, &[], &assessed.inputs, described)?;
    match given.format {
        Format::Json => console.data(&document(&report(&job, &assessed)?)?)?,
        Format::Csv => console.data(&receiver_points_csv(&assessed.result)?)?,
        Format::Text => console.data(&assessed_receiver_text(&assessed))?,
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
