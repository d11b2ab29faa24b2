//! The table `[require]` of RECEIVER.toml and RECIPE.toml: limits by the names of their quantities.

use super::error::DescriptionError;
use super::source::TomlFile;
use crate::requirement::{Limit, Limits, Quantity};
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

/// Numbers by name, as written.
#[derive(Debug, Default, Deserialize)]
#[serde(transparent)]
pub(super) struct RequireTable(BTreeMap<Spanned<String>, Spanned<f64>>);

impl RequireTable {
    /// The number of a name, if given.
    pub(super) fn number(&self, name: &str) -> Option<&Spanned<f64>> {
        self.0.iter().find(|(key, _)| key.get_ref() == name).map(|(_, number)| number)
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
        let given = quantities
            .iter()
            .filter_map(|&quantity| Some((quantity, self.number(quantity.name())?)));
        given
            .map(|(quantity, number)| {
                Limit::new(quantity, *number.get_ref())
                    .map_err(|error| source.complaint(number, error.to_string()))
            })
            .collect()
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
            ("image_rejection_db = -3", "1:22", "image_rejection_db must be 0 or above, found -3"),
            ("lo_power_dbm_min = nan", "1:20", "must be a finite number, found NaN"),
            ("image_rejection_db = \"30\"", "1:22", "expected a number"),
        ] {
            let error = limits(text).unwrap_err();
            assert!(error.problem().to_string().contains(says), "{text}: {error}");
            assert_eq!(error.position().unwrap().to_string(), place, "{text}");
        }
    }
}
