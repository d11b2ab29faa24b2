//! What UNCERTAINTY.toml and the command line may say.

use crate::measurement::OverFrequency;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;
use toml::Spanned;

/// What stands on the command line.
#[derive(Clone, Debug)]
pub(in crate::cli) enum GivenUncertainty {
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

pub(super) const SHORT_FORM: &str = "expected a file, or magnitude_db=..,phase_deg=.. \
    (magnitude= for a linear one, over_frequency=independent for trace noise)";
/// A larger standard uncertainty is a slip of the pen.
pub(super) const MOST: f64 = 90.0;

pub(super) fn unplaced<T>(value: T) -> Spanned<T> {
    Spanned::new(0..0, value)
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Description {
    pub(super) coverage_percent: Option<Spanned<f64>>,
    pub(super) seed: Option<u64>,
    pub(super) trials: Option<Spanned<usize>>,
    pub(super) stability_db: Option<Spanned<f64>>,
    #[serde(default)]
    pub(super) decision: DecisionEntry,
    #[serde(default, rename = "source")]
    pub(super) sources: Vec<SourceEntry>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DecisionEntry {
    pub(super) conformity_percent: Option<Spanned<f64>>,
    #[serde(default)]
    pub(super) guard_band: BTreeMap<Spanned<String>, Spanned<f64>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SourceEntry {
    pub(super) name: Option<String>,
    pub(super) blocks: Option<Vec<Spanned<String>>>,
    pub(super) files: Option<Vec<Spanned<PathBuf>>>,
    pub(super) over_frequency: Option<Spanned<OverFrequencyName>>,
    #[serde(default)]
    pub(super) reciprocal: bool,
    pub(super) transmission: Option<AmountEntry>,
    pub(super) reflection: Option<AmountEntry>,
    pub(super) port: Option<PortEntry>,
    pub(super) placement: Option<PlacementEntry>,
    pub(super) table: Option<Spanned<PathBuf>>,
    pub(super) repeats: Option<Spanned<Vec<PathBuf>>>,
    pub(super) covariance: Option<Spanned<PathBuf>>,
}

#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum OverFrequencyName {
    #[default]
    Correlated,
    Independent,
}

/// Standard uncertainties of an entry.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::cli) struct AmountEntry {
    pub(super) magnitude_db: Option<Spanned<f64>>,
    pub(super) magnitude: Option<Spanned<f64>>,
    pub(super) phase_deg: Option<Spanned<f64>>,
}

#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PortEntry {
    pub(super) magnitude_db: Option<Spanned<f64>>,
    pub(super) phase_deg: Option<Spanned<f64>>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PlacementEntry {
    pub(super) um: Spanned<f64>,
    pub(super) effective_permittivity: Spanned<f64>,
}

/// The columns of a table beside the frequency.
pub(super) const TABLE_COLUMNS: [&str; 9] = [
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
