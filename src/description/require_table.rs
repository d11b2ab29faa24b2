//! The table `[require]` of RECEIVER.toml and RECIPE.toml: limits by the names of their quantities.

use super::error::DescriptionError;
use super::source::TomlFile;
use crate::requirement::{Limit, Limits, Quantity};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::ops::Range;
use toml::Spanned;

/// Numbers by name, as written.
#[derive(Debug, Default, Deserialize)]
#[serde(transparent)]
pub(super) struct RequireTable(BTreeMap<Spanned<String>, Spanned<RequireValue>>);

/// A limit, or the band of one.
#[derive(Clone, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a number")]
enum RequireValue {
    Number(f64),
    List(Vec<f64>),
}

/// Bands end below this: far above every receiver of this kind, below one written in MHz (ours).
const HIGHEST_BAND_GHZ: f64 = 2_000.0;

impl RequireTable {
    fn value(&self, name: &str) -> Option<&Spanned<RequireValue>> {
        self.0.iter().find(|(key, _)| key.get_ref() == name).map(|(_, value)| value)
    }

    /// The place of a limit, where it is given.
    pub(super) fn limit_span(&self, name: &str) -> Option<Range<usize>> {
        self.value(name).map(Spanned::span)
    }

    /// The number of a name, where it is given.
    pub(super) fn number(
        &self,
        name: &str,
        source: &TomlFile,
    ) -> Result<Option<Spanned<f64>>, DescriptionError> {
        let Some(given) = self.value(name) else { return Ok(None) };
        match given.get_ref() {
            RequireValue::Number(number) => Ok(Some(Spanned::new(given.span(), *number))),
            RequireValue::List(_) => {
                Err(source.complaint(given, "expected a number, found a list"))
            }
        }
    }

    /// The band of a name in Hz, which is written in GHz, where it is given.
    pub(super) fn band_hz(
        &self,
        name: &str,
        source: &TomlFile,
    ) -> Result<Option<(f64, f64)>, DescriptionError> {
        let Some(given) = self.value(name) else { return Ok(None) };
        match given.get_ref() {
            RequireValue::List(list)
                if matches!(list.as_slice(), [low, high]
                if *low >= 0.0 && low <= high && *high <= HIGHEST_BAND_GHZ) =>
            {
                Ok(Some((list[0] * 1e9, list[1] * 1e9)))
            }
            RequireValue::List(list) if list.len() == 2 && list[1] > HIGHEST_BAND_GHZ => {
                let what = format!(
                    "{name} is in GHz, and {} GHz is beyond {HIGHEST_BAND_GHZ} GHz",
                    list[1]
                );
                Err(source.complaint(given, what))
            }
            _ => {
                let what = format!("{name} must be two frequencies in GHz, [low, high]");
                Err(source.complaint(given, what))
            }
        }
    }

    /// The limits, in the order of `quantities`; `others` are names that are not limits.
    ///
    /// # Errors
    /// [`DescriptionError`] at a name that is neither a quantity of the list nor one of the others,
    /// and at a number that cannot be a limit.
    pub(super) fn limits(
        &self,
        source: &TomlFile,
        quantities: &[Quantity],
        others: &[&str],
    ) -> Result<Limits, DescriptionError> {
        let names = quantities.iter().map(|quantity| quantity.name());
        let known: Vec<&str> = names.chain(others.iter().copied()).collect();
        if let Some(key) = self.0.keys().find(|key| !known.contains(&key.get_ref().as_str())) {
            return Err(source.unknown_key(key, &known));
        }
        let limit = |&quantity: &Quantity| {
            let number = self.number(quantity.name(), source).transpose()?;
            Some(number.and_then(|number| {
                Limit::new(quantity, *number.get_ref())
                    .map_err(|error| source.complaint(&number, error.to_string()))
            }))
        };
        quantities.iter().filter_map(limit).collect()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn limits(text: &str) -> Result<Limits, DescriptionError> {
        let source = TomlFile::of_text("a.toml".as_ref(), text);
        let table: RequireTable = source.parse()?;
        table.limits(&source, &[Quantity::ImageRejection, Quantity::LoPower], &["yield_percent"])
    }

    #[test]
    fn limits_are_read_by_the_names_of_their_quantities() {
        let read = limits("lo_power_dbm_min = -3\nyield_percent = 90\nimage_rejection_db = 30");
        let list: Vec<(Quantity, f64)> =
            read.unwrap().iter().map(|limit| (limit.quantity(), limit.value())).collect();
        assert_eq!(list, [(Quantity::ImageRejection, 30.0), (Quantity::LoPower, -3.0)]);
    }

    #[test]
    fn a_wrong_limit_is_refused_where_it_is_written() {
        for (text, place, says) in [
            (
                "phase_error_deg = 3",
                "1:1",
                "unknown key 'phase_error_deg'; known keys: image_rejection_db, lo_power_dbm_min, \
                 yield_percent",
            ),
            (
                "image_rejection_db = -3",
                "1:22",
                "image_rejection_db must be from 0 to 200, found -3",
            ),
            ("lo_power_dbm_min = nan", "1:20", "must be a finite number, found NaN"),
            ("image_rejection_db = \"30\"", "1:22", "expected a number"),
        ] {
            let error = limits(text).unwrap_err();
            assert!(error.problem().to_string().contains(says), "{text}: {error}");
            assert_eq!(error.position().unwrap().to_string(), place, "{text}");
        }
    }
}
