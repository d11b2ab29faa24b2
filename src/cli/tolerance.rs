//! `fourphase tolerance`.

use super::args::{Format, Tolerance};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::plot;
use crate::report::{
    self, AllowedAmplitudeImbalance, AllowedPhaseError, ReportFile, ToleranceReport, document,
    publish,
};
use crate::splitter::{allowed_amplitude_imbalance_db, allowed_phase_error_deg};

/// Rows of a table where nothing is asked for in particular.
const ROWS: u32 = 10;

pub(super) fn run(given: &Tolerance, console: &Console) -> Result<Outcome, Failure> {
    if given.image_rejection_db <= 0.0 {
        return Err(Failure::Usage(
            "--image-rejection-db needs a positive number: at 0 dB the image is as strong as the signal".to_owned(),
        ));
    }
    let report = report(given);
    if let Some(path) = &given.plot {
        let picture =
            ReportFile { path: path.clone(), bytes: plot::tolerance(given.image_rejection_db)? };
        publish(&[picture], &[], given.overwrite)?;
        console.notice(&format!("wrote {}", path.display()));
    }
    match given.format {
        Format::Json => console.data(&document(&report)?)?,
        Format::Csv => console.data(&report::tolerance_csv(&report)?)?,
        Format::Text => console.data(&report::tolerance_text(&report))?,
    }
    Ok(Outcome::Holds)
}

fn report(given: &Tolerance) -> ToleranceReport {
    let target_db = given.image_rejection_db;
    let phase_alone = allowed_phase_error_deg(target_db, 0.0);
    let amplitude_alone = allowed_amplitude_imbalance_db(target_db, 0.0);
    // Asked for nothing in particular, both tables run from zero to what is allowed alone.
    let asked = given.amplitude_imbalance_db.is_some() || given.phase_error_deg.is_some();
    let values = |one: Option<f64>, alone: Option<f64>| match (one, asked) {
        (Some(value), _) => vec![value],
        (None, true) => vec![],
        (None, false) => {
            let largest = alone.unwrap_or_default();
            (0..ROWS).map(|row| largest * f64::from(row) / f64::from(ROWS)).collect()
        }
    };
    ToleranceReport {
        image_rejection_db: target_db,
        phase_error_alone_deg: phase_alone,
        amplitude_imbalance_alone_db: amplitude_alone,
        allowed_phase_error: values(given.amplitude_imbalance_db, amplitude_alone)
            .into_iter()
            .map(|amplitude_imbalance_db| AllowedPhaseError {
                amplitude_imbalance_db,
                phase_error_deg: allowed_phase_error_deg(target_db, amplitude_imbalance_db),
            })
            .collect(),
        allowed_amplitude_imbalance: values(given.phase_error_deg, phase_alone)
            .into_iter()
            .map(|phase_error_deg| AllowedAmplitudeImbalance {
                phase_error_deg,
                amplitude_imbalance_db: allowed_amplitude_imbalance_db(target_db, phase_error_deg),
            })
            .collect(),
    }
}
