//! `fourphase splitter`.

use super::args::{Format, OhmsOrFile, Splitter};
use super::console::Console;
use super::failure::Failure;
use super::made_by::made_by;
use super::outcome::Outcome;
use super::progress_bar::Bar;
use crate::batch::{GivenLoad, SplitterJob, assess_splitter_with_progress};
use crate::network::Port;
use crate::plot::{self, Caption};
use crate::report::{
    SeenWith, SplitterReport, check_outputs, document, picture_file, splitter_csv, splitter_files,
    splitter_text,
};
use crate::requirement::{Limit, LimitError, Quantity};
use crate::splitter::{GivenRoles, SplitterSettings};
use crate::units;
use std::path::PathBuf;

pub(super) fn run(given: &Splitter, console: &Console) -> Result<Outcome, Failure> {
    let job = SplitterJob {
        file: given.file.clone(),
        reading: given.reading.options(),
        settings: settings(given)?,
        loads: loads(given)?,
        uncertainty: given.reading.uncertainty(given.uncertainty.as_ref())?,
    };
    let named = named_inputs(given);
    given.writing.check(&named, None)?;
    check_outputs(given.plot.as_slice(), &named, given.writing.overwrite)?;
    let bar = Bar::new(console);
    let assessed = assess_splitter_with_progress(&job, &|progress| bar.show(progress))?;
    drop(bar);
    odd_reference(given).iter().for_each(|text| console.warning(text));
    console.warnings(&assessed.warnings);
    let (result, uncertainty) = (&assessed.result, assessed.uncertainty.as_ref());
    let name = given.file.display().to_string();
    let report = SplitterReport::new(&name, result, &seen_with(given), uncertainty);
    let printed = splitter_text(&name, result, &seen_with(given), uncertainty);
    let files = match &given.writing.out {
        Some(folder) => {
            let forms = given.drawing.pictures;
            splitter_files(folder, &assessed, &report, &printed, forms, &made_by())?
        }
        None => Vec::new(),
    };
    let mut beside = Vec::new();
    if let Some(path) = &given.plot {
        let file = assessed.file_name();
        let caption = Caption { subject: "", file: &file, date: assessed.date.as_deref() };
        let assessment = uncertainty.map(|known| &known.assessment);
        beside.push(picture_file(path, &plot::overview(&caption, result, assessment)?)?);
    }
    given.writing.publish(&files, &beside, &assessed.inputs, None)?;
    match given.format {
        Format::Json => console.data(&document(&report)?)?,
        Format::Csv => console.data(&splitter_csv(result)?)?,
        Format::Text => console.data(&printed)?,
    }
    console.written(&files);
    console.written(&beside);
    Ok(Outcome::of_verdict(assessed.passes()))
}

/// The files that the arguments name to be read.
fn named_inputs(given: &Splitter) -> Vec<PathBuf> {
    let loads = given.load.iter().filter_map(|named| match &named.load {
        OhmsOrFile::File(path) => Some(path.clone()),
        OhmsOrFile::Ohms(_) => None,
    });
    std::iter::once(given.file.clone()).chain(loads).collect()
}

/// A sentence for a reference impedance that is far from usual ones, which changes all that is inferred.
fn odd_reference(given: &Splitter) -> Option<String> {
    /// Lines from 10 to 200 ohm are made.
    const USUAL_OHM: std::ops::RangeInclusive<f64> = 10.0..=200.0;
    let odd = given.reference_ohm.iter().find(|ohm| !USUAL_OHM.contains(&ohm.re))?;
    Some(format!(
        "--reference-ohm {}: 50 ohm is usual; another reference changes the roles that are inferred",
        units::shown_complex(*odd)
    ))
}

fn settings(given: &Splitter) -> Result<SplitterSettings, Failure> {
    let outputs = match given.outputs.as_slice() {
        [] => None,
        &[a, b] => Some([a, b]),
        more => {
            return Err(Failure::Usage(format!(
                "--outputs takes two ports, such as 2,3; found {}",
                more.len()
            )));
        }
    };
    let given_limits = [
        (Quantity::ImageRejection, given.require_image_rejection_db),
        (Quantity::CommonModeRejection, given.require_common_mode_rejection_db),
        (Quantity::PhaseError, given.require_phase_error_deg),
        (Quantity::AmplitudeImbalance, given.require_amplitude_imbalance_db),
    ];
    let limits = given_limits
        .into_iter()
        .filter_map(|(quantity, value)| value.map(|value| Limit::new(quantity, value)));
    Ok(SplitterSettings {
        roles: GivenRoles {
            kind: given.kind,
            input: given.input,
            outputs,
            isolated: given.isolated,
            nominal_deg: given.nominal_deg,
        },
        band_hz: given.band,
        references_ohm: given.reference_ohm.clone(),
        loads: Vec::new(),
        limits: limits
            .collect::<Result<_, _>>()
            .map_err(|error: LimitError| Failure::Usage(error.to_string()))?,
    })
}

fn loads(given: &Splitter) -> Result<Vec<(Port, GivenLoad)>, Failure> {
    let load = |port: Port, load: &OhmsOrFile| match load {
        OhmsOrFile::Ohms(ohms) => Ok((port, GivenLoad::Impedance(*ohms))),
        OhmsOrFile::File(path) if path.exists() => Ok((port, GivenLoad::File(path.clone()))),
        OhmsOrFile::File(path) => Err(Failure::Usage(format!(
            "--load {port}={}: neither ohms such as 45+5j nor a file that exists",
            path.display()
        ))),
    };
    given.load.iter().map(|named| load(named.port, &named.load)).collect()
}

/// What the part was seen with, for the report.
fn seen_with(given: &Splitter) -> SeenWith {
    let loads = given.load.iter().map(|load| {
        let by = match &load.load {
            OhmsOrFile::Ohms(ohms) => units::shown_complex(*ohms),
            OhmsOrFile::File(path) => path.display().to_string(),
        };
        (load.port.number(), by)
    });
    SeenWith { references_ohm: given.reference_ohm.clone(), loads: loads.collect() }
}
