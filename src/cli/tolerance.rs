//! `fourphase tolerance`.

use super::args::{Format, Tolerance};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::plot;
use crate::report::{self, document, publish};
use crate::requirement::{Limit, Limits, Quantity};
use crate::splitter::tolerance;

/// Beyond this a rejection is rounding.
const MOST_DB: f64 = 200.0;

pub(super) fn run(given: &Tolerance, console: &Console) -> Result<Outcome, Failure> {
    if given.image_rejection_db <= 0.0 {
        return Err(Failure::Usage(
            "--image-rejection-db needs a positive number: at 0 dB the image is as strong as the signal".to_owned(),
        ));
    }
    if given.image_rejection_db > MOST_DB {
        return Err(Failure::Usage(format!(
            "--image-rejection-db must be at most {MOST_DB} dB, found {}: beyond it all is rounding",
            given.image_rejection_db
        )));
    }
    if let Ok(limit) = Limit::new(Quantity::ImageRejection, given.image_rejection_db) {
        Limits::from_iter([limit]).remarks().iter().for_each(|text| console.warning(text));
    }
    let result =
        tolerance(given.image_rejection_db, given.amplitude_imbalance_db, given.phase_error_deg);
    if let Some(path) = &given.plot {
        let picture = report::picture_file(path, &plot::tolerance(&result)?)?;
        publish(&[picture], &[], given.overwrite)?;
        console.notice(&format!("wrote {}", path.display()));
    }
    match given.format {
        Format::Json => console.data(&document(&report::tolerance_json(&result))?)?,
        Format::Csv => console.data(&report::tolerance_csv(&result)?)?,
        Format::Text => console.data(&report::tolerance_text(&result))?,
    }
    Ok(Outcome::Holds)
}
