//! The keys of UNCERTAINTY.toml.

use crate::measurement::OverFrequency;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct UncertaintyEntries {
    /// 95 % when absent.
    pub(super) coverage_percent: Option<Spanned<f64>>,
    pub(super) seed: Option<u64>,
    /// As many as the stability needs when absent.
    pub(super) trials: Option<Spanned<usize>>,
    pub(super) stability_db: Option<Spanned<f64>>,
    #[serde(default)]
    pub(super) decision: DecisionEntry,
    #[serde(default, rename = "source")]
    pub(super) sources: Vec<Spanned<SourceEntry>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DecisionEntry {
    /// 95 % when absent.
    pub(super) conformity_percent: Option<Spanned<f64>>,
    #[serde(default)]
    pub(super) guard_band: BTreeMap<Spanned<String>, Spanned<f64>>,
}

/// A source of uncertainty, of every file unless blocks or files are named.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SourceEntry {
    /// `source` and its number when absent.
    pub(super) name: Option<String>,
    pub(super) blocks: Option<Vec<Spanned<String>>>,
    pub(super) files: Option<Vec<Spanned<PathBuf>>>,
    /// Loads of a receiver by the ports at which they stand, as `at` has them.
    pub(super) loads: Option<Vec<Spanned<String>>>,
    /// Standard uncertainties of parameters of closed-form blocks and loads, in their own units.
    #[serde(default)]
    pub(super) parameters: BTreeMap<Spanned<String>, Spanned<f64>>,
    /// The same in percent of their values.
    #[serde(default)]
    pub(super) parameters_percent: BTreeMap<Spanned<String>, Spanned<f64>>,
    pub(super) over_frequency: Option<Spanned<OverFrequencyName>>,
    /// Whether all files and blocks of it have its errors in common: one calibration.
    #[serde(default)]
    pub(super) shared: bool,
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

impl From<OverFrequencyName> for OverFrequency {
    fn from(name: OverFrequencyName) -> Self {
        match name {
            OverFrequencyName::Correlated => Self::Correlated,
            OverFrequencyName::Independent => Self::Independent,
        }
    }
}

/// Standard uncertainties of an entry; 0 where absent.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AmountEntry {
    pub(super) magnitude_db: Option<Spanned<f64>>,
    pub(super) magnitude: Option<Spanned<f64>>,
    pub(super) phase_deg: Option<Spanned<f64>>,
}

/// Standard uncertainties of a pass through a port; 0 where absent.
#[derive(Clone, Debug, Deserialize)]
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
