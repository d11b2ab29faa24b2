//! The kinds of blocks and splitters, by their names in a description.

use crate::downconverter::PartKind;
use crate::splitter::SplitterKind;
use serde::de::Error;
use serde::{Deserialize, Deserializer};

/// The kind of a block in a receiver: a kind of splitter, or `line`.
#[derive(Clone, Copy, Debug)]
pub(super) struct PartKindName(pub(super) PartKind);

/// The kind of a splitter.
#[derive(Clone, Copy, Debug)]
pub(super) struct SplitterKindName(pub(super) SplitterKind);

impl<'d> Deserialize<'d> for SplitterKindName {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        let found = String::deserialize(from)?;
        SplitterKind::from_name(&found).map(Self).ok_or_else(|| unknown(&found, &[]))
    }
}

const LINE: &str = "line";

impl<'d> Deserialize<'d> for PartKindName {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        let found = String::deserialize(from)?;
        let kind = match SplitterKind::from_name(&found) {
            Some(kind) => Some(PartKind::Splitter(kind)),
            None => (found == LINE).then_some(PartKind::Line),
        };
        kind.map(Self).ok_or_else(|| unknown(&found, &[LINE]))
    }
}

/// An error in the form of the TOML reader for unknown values; see `toml_words`.
fn unknown<E: Error>(found: &str, others: &[&'static str]) -> E {
    let kinds = SplitterKind::ALL.into_iter().map(SplitterKind::name);
    let known: Vec<String> =
        kinds.chain(others.iter().copied()).map(|name| format!("`{name}`")).collect();
    E::custom(format!("unknown variant `{found}`, expected one of {}", known.join(", ")))
}
