//! The keys of RECIPE.toml.

use super::kind_names::SplitterKindName;
use super::require_table::RequireTable;
use super::source::Pair;
use crate::wafer::{Direction, RetestPolicy};
use serde::Deserialize;
use std::path::PathBuf;
use toml::Spanned;

/// A recipe as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RecipeEntry {
    pub(super) title: Option<String>,
    pub(super) manifest: PathBuf,
    pub(super) uncertainty: Option<PathBuf>,
    pub(super) retests: Option<RetestName>,
    pub(super) analysis: Spanned<AnalysisEntry>,
    pub(super) map: Option<MapEntry>,
    pub(super) require: Option<RequireTable>,
    #[serde(default)]
    pub(super) screening: ScreeningEntry,
    #[serde(default)]
    pub(super) what_if: WhatIfEntry,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum RetestName {
    First,
    Last,
    Best,
    All,
}

impl From<RetestName> for RetestPolicy {
    fn from(name: RetestName) -> Self {
        match name {
            RetestName::First => Self::First,
            RetestName::Last => Self::Last,
            RetestName::Best => Self::Best,
            RetestName::All => Self::All,
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AnalysisEntry {
    pub(super) receiver: Option<Spanned<PathBuf>>,
    pub(super) splitter: Option<DieSplitterEntry>,
}

/// The splitter on every die.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DieSplitterEntry {
    pub(super) kind: SplitterKindName,
    pub(super) input: Spanned<usize>,
    pub(super) outputs: Pair<Spanned<usize>>,
    pub(super) isolated: Option<Spanned<usize>>,
    /// The column of the list of dies that gives its file.
    pub(super) column: String,
    pub(super) band_ghz: Option<Spanned<Pair<f64>>>,
    pub(super) nominal_deg: Option<Spanned<f64>>,
    pub(super) reference_ohm: Option<Spanned<f64>>,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum DirectionName {
    Right,
    Left,
    Up,
    Down,
}

impl From<DirectionName> for Direction {
    fn from(name: DirectionName) -> Self {
        match name {
            DirectionName::Right => Self::Right,
            DirectionName::Left => Self::Left,
            DirectionName::Up => Self::Up,
            DirectionName::Down => Self::Down,
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MapEntry {
    pub(super) wafer_diameter_mm: Spanned<f64>,
    pub(super) die_pitch_mm: Spanned<Pair<f64>>,
    pub(super) edge_exclusion_mm: Option<Spanned<f64>>,
    pub(super) notch: Option<DirectionName>,
    pub(super) x_axis: Option<Spanned<DirectionName>>,
    pub(super) y_axis: Option<Spanned<DirectionName>>,
    pub(super) centre_die: Option<Spanned<Pair<f64>>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ScreeningEntry {
    pub(super) sigma: Option<Spanned<f64>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WhatIfEntry {
    #[serde(default)]
    pub(super) correction: bool,
    #[serde(default)]
    pub(super) ideal: Vec<Spanned<String>>,
    pub(super) assemble: Option<Spanned<u32>>,
    pub(super) seed: Option<u64>,
}
