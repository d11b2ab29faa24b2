//! `--uncertainty`: a description, or one standard uncertainty for all entries.

use crate::description::Uncertainty;
use crate::measurement::{EntryAmount, OverFrequency};
use crate::units::neper_from_db;
use std::path::PathBuf;
use std::str::FromStr;

/// The value of `--uncertainty`.
#[derive(Clone, Debug)]
pub(super) enum StatedUncertainty {
    /// A description.
    File(PathBuf),
    /// The same for all entries.
    EveryEntry(Uncertainty),
}

const SHORT_FORM: &str = "expected a file, or magnitude_db=..,phase_deg=.. \
    (magnitude= for a linear one, over_frequency=independent for trace noise)";
/// Maximum standard uncertainty; a larger one is a typing error.
const MOST: f64 = 90.0;

impl FromStr for StatedUncertainty {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if !text.contains('=') {
            return Ok(Self::File(PathBuf::from(text)));
        }
        let (mut amount, mut over_frequency) = (EntryAmount::default(), OverFrequency::Correlated);
        for given in text.split(',') {
            let (name, value) = given.split_once('=').ok_or_else(|| SHORT_FORM.to_owned())?;
            let (name, value) = (name.trim(), value.trim());
            let number = |most: f64| {
                let number = value.parse::<f64>().ok();
                let number = number.filter(|number| (0.0..=most).contains(number));
                number.ok_or_else(|| format!("{name} must be from 0 to {most}, found {value}"))
            };
            match name {
                "magnitude_db" => {
                    amount.magnitude_np = neper_from_db(number(EntryAmount::MOST_DB)?);
                }
                "magnitude" => amount.magnitude_linear = number(MOST)?,
                "phase_deg" => amount.phase_rad = number(MOST)?.to_radians(),
                "over_frequency" => {
                    over_frequency = match value {
                        "correlated" => OverFrequency::Correlated,
                        "independent" => OverFrequency::Independent,
                        _ => {
                            return Err(format!(
                                "over_frequency must be correlated or independent, found {value}"
                            ));
                        }
                    }
                }
                _ => return Err(SHORT_FORM.to_owned()),
            }
        }
        if amount == EntryAmount::default() {
            return Err("an uncertainty above 0 is needed in magnitude or phase".to_owned());
        }
        let uncertainty = Uncertainty::of_every_entry(amount, over_frequency);
        uncertainty.map(Self::EveryEntry).map_err(|error| error.to_string())
    }
}
