//! What UNCERTAINTY.toml and the command line may say.

use crate::measurement::OverFrequency;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;
use toml::Spanned;

/// What stands on the command line.
#[derive(Clone, Debug)]
pub enum GivenUncertainty {
    /// A description.
    File(PathBuf),
    /// The same for all entries.
    Short(AmountEntry, OverFrequency),
}

impl std::str::FromStr for GivenUncertainty {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if !text.contains('=') {
            return Ok(Self::File(PathBuf::from(text)));
        }
        let (mut amounts, mut over_frequency) = (AmountEntry::default(), OverFrequency::Correlated);
        for given in text.split(',') {
            let (name, value) = given.split_once('=').ok_or_else(|| SHORT_FORM.to_owned())?;
            let number = || {
                let number = value.trim().parse::<f64>().ok();
                let number = number.filter(|number| (0.0..=MOST).contains(number));
                number.ok_or_else(|| format!("{name} is a number from 0 to {MOST}"))
            };
            match name.trim() {
                "magnitude_db" => amounts.magnitude_db = Some(unplaced(number()?)),
                "magnitude" => amounts.magnitude = Some(unplaced(number()?)),
                "phase_deg" => amounts.phase_deg = Some(unplaced(number()?)),
                "over_frequency" => {
                    over_frequency = match value.trim() {
                        "correlated" => OverFrequency::Correlated,
                        "independent" => OverFrequency::Independent,
                        _ => return Err("over_frequency is correlated or independent".to_owned()),
                    }
                }
                _ => return Err(SHORT_FORM.to_owned()),
            }
        }
        Ok(Self::Short(amounts, over_frequency))
    }
}

pub const SHORT_FORM: &str = "expected a file, or magnitude_db=..,phase_deg=.. \
    (magnitude= for a linear one, over_frequency=independent for trace noise)";
/// A larger standard uncertainty is a slip of the pen.
pub const MOST: f64 = 90.0;

pub fn unplaced<T>(value: T) -> Spanned<T> {
    Spanned::new(0..0, value)
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Description {
    pub coverage_percent: Option<Spanned<f64>>,
    pub seed: Option<u64>,
    pub trials: Option<Spanned<usize>>,
    pub stability_db: Option<Spanned<f64>>,
    #[serde(default)]
    pub decision: DecisionEntry,
    #[serde(default, rename = "source")]
    pub sources: Vec<SourceEntry>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DecisionEntry {
    pub conformity_percent: Option<Spanned<f64>>,
    #[serde(default)]
    pub guard_band: BTreeMap<Spanned<String>, Spanned<f64>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SourceEntry {
    pub name: Option<String>,
    pub blocks: Option<Vec<Spanned<String>>>,
    pub files: Option<Vec<Spanned<PathBuf>>>,
    pub over_frequency: Option<Spanned<OverFrequencyName>>,
    #[serde(default)]
    pub reciprocal: bool,
    pub transmission: Option<AmountEntry>,
    pub reflection: Option<AmountEntry>,
    pub port: Option<PortEntry>,
    pub placement: Option<PlacementEntry>,
    pub table: Option<Spanned<PathBuf>>,
    pub repeats: Option<Spanned<Vec<PathBuf>>>,
    pub covariance: Option<Spanned<PathBuf>>,
}

#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OverFrequencyName {
    #[default]
    Correlated,
    Independent,
}

/// Standard uncertainties of an entry.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AmountEntry {
    pub magnitude_db: Option<Spanned<f64>>,
    pub magnitude: Option<Spanned<f64>>,
    pub phase_deg: Option<Spanned<f64>>,
}

#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PortEntry {
    pub magnitude_db: Option<Spanned<f64>>,
    pub phase_deg: Option<Spanned<f64>>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlacementEntry {
    pub um: Spanned<f64>,
    pub effective_permittivity: Spanned<f64>,
}

/// The columns of a table beside the frequency.
pub const TABLE_COLUMNS: [&str; 9] = [
    "frequency_ghz",
    "transmission_magnitude_db",
    "transmission_magnitude",
    "transmission_phase_deg",
    "reflection_magnitude_db",
    "reflection_magnitude",
    "reflection_phase_deg",
    "port_magnitude_db",
    "port_phase_deg",
];
