//! `fourphase splitter`.

use super::Outcome;
use super::args::{Format, OhmsOrFile, Splitter};
use super::console::Console;
use super::failure::Failure;
use crate::measurement::{UncertainSplitter, splitter_uncertainty};
use crate::network::Load;
use crate::plot;
use crate::report::{self, ReportFile, SeenWith, SplitterReport, document, publish};
use crate::requirement::{Limit, LimitError, Quantity};
use crate::splitter::{
    GivenRoles, SplitterKind, SplitterResult, SplitterSettings, analyse, scattering_over_band,
};
use crate::units;
use std::path::{Path, PathBuf};

pub(super) fn run(given: &Splitter, console: &Console) -> Result<Outcome, Failure> {
    let mut network = given.reading.read(&given.file, console)?.network;
    let mut inputs = vec![given.file.clone()];
    let settings = settings(given, &mut inputs, console)?;
    let failed = |source| Failure::Splitter { file: given.file.clone(), source };
    let stated = given.uncertainty.as_ref();
    let stated = stated.map(|stated| stated.read(&given.reading.options())).transpose()?;
    let sources = match &stated {
        None => None,
        Some(stated) => {
            for warning in stated.warnings() {
                console.warning(warning);
            }
            inputs.extend(stated.inputs().iter().cloned());
            Some((stated, stated.of_splitter(&given.file, &mut network)?))
        }
    };
    let result = analyse(&network, &settings).map_err(failed)?;
    let uncertainty = match sources {
        None => None,
        Some((stated, sources)) => {
            let own = scattering_over_band(&network, &settings).map_err(failed)?;
            let loads = given.load.iter().zip(&settings.loads);
            let load_sources = loads.map(|(named, (_, load))| match (&named.load, load) {
                (OhmsOrFile::File(path), Load::OnePort(network)) => stated.of_load(path, network),
                _ => Ok(Vec::new()),
            });
            let failed = |source| Failure::Measurement { file: given.file.clone(), source };
            let uncertain =
                UncertainSplitter::new(&own, &settings, &result.roles, sources.at(&own)?)
                    .map_err(failed)?
                    .with_load_sources(load_sources.collect::<Result<_, _>>()?)
                    .map_err(failed)?;
            let made =
                splitter_uncertainty(&uncertain, &result, stated.trials(), stated.decisions());
            Some(made.map_err(failed)?)
        }
    };
    let uncertainty = uncertainty.as_ref();
    if let (Some(stated), Some(known)) = (&stated, uncertainty) {
        for remark in stated.remarks(&settings.limits, known.assessment.stability_db) {
            console.warning(&remark);
        }
    }
    for warning in &result.warnings {
        console.warning(&format!("{}: {warning}", given.file.display()));
    }

    let name = given.file.display().to_string();
    let report = SplitterReport::new(&name, &result, &seen_with(given), uncertainty);
    let mut files = Vec::new();
    if let Some(folder) = &given.writing.out {
        files.extend(report_files(folder, &report, &result)?);
        if let Some(uncertainty) = uncertainty {
            let table = report::splitter_uncertainty_csv(uncertainty, &result)?.into_bytes();
            let picture = plot::splitter_coverage(&result, uncertainty)?;
            for (name, bytes) in [("uncertainty.csv", table), ("coverage.png", picture)] {
                files.push(ReportFile { path: folder.join(name), bytes });
            }
        }
    }
    if let Some(path) = &given.plot {
        files.push(ReportFile { path: path.clone(), bytes: plot::overview(&result)? });
    }
    publish(&files, &inputs, given.writing.overwrite)?;
    match given.format {
        Format::Json => console.data(&document(&report)?)?,
        Format::Csv => console.data(&report::splitter_csv(&result)?)?,
        Format::Text => {
            console.data(&report::splitter_text(&name, &result, &seen_with(given), uncertainty))?;
        }
    }
    for written in &files {
        console.notice(&format!("wrote {}", written.path.display()));
    }
    let passes =
        uncertainty.map_or(result.compliance.passes(), |own| own.assessment.decision.passes());
    Ok(if passes { Outcome::Holds } else { Outcome::Fails })
}

fn settings(
    given: &Splitter,
    inputs: &mut Vec<PathBuf>,
    console: &Console,
) -> Result<SplitterSettings, Failure> {
    let outputs = match given.outputs.as_slice() {
        [] => None,
        &[a, b] => Some([a, b]),
        more => {
            return Err(Failure::Usage(format!(
                "--outputs takes two ports, such as 2,3; got {}",
                more.len()
            )));
        }
    };
    let mut loads = Vec::new();
    for load in &given.load {
        loads.push((
            load.port,
            match &load.load {
                OhmsOrFile::Ohms(ohms) => Load::Impedance(*ohms),
                OhmsOrFile::File(path) => {
                    if !path.exists() {
                        return Err(Failure::Usage(format!(
                            "--load {}={}: neither ohms such as 45+5j nor a file that exists",
                            load.port,
                            path.display()
                        )));
                    }
                    inputs.push(path.clone());
                    let file = given.reading.read(path, console)?;
                    if file.network.ports() != 1 {
                        return Err(Failure::Usage(format!(
                            "{} has {} ports; a load has one",
                            path.display(),
                            file.network.ports()
                        )));
                    }
                    Load::OnePort(file.network)
                }
            },
        ));
    }
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
            kind: given.kind.map(SplitterKind::from),
            input: given.input,
            outputs,
            isolated: given.isolated,
            nominal_deg: given.nominal_deg,
        },
        band_hz: given.band,
        references_ohm: given.reference_ohm.clone(),
        loads,
        limits: limits
            .collect::<Result<_, _>>()
            .map_err(|error: LimitError| Failure::Usage(error.to_string()))?,
    })
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

fn report_files(
    folder: &Path,
    report: &SplitterReport,
    result: &SplitterResult,
) -> Result<Vec<ReportFile>, Failure> {
    let rejection = result.roles.kind.rejection().label().replace(' ', "-") + ".png";
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    Ok(vec![
        file("report.json", document(report)?.into_bytes()),
        file("points.csv", report::splitter_csv(result)?.into_bytes()),
        file("imbalance.png", plot::imbalance(result)?),
        file(&rejection, plot::rejection(result)?),
        file("contours.png", plot::contours(result)?),
        file("losses.png", plot::losses(result)?),
    ])
}
