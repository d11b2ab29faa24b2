//! Numbers and names as the page shows them, and what a document holds.

use super::super::text_table::fixed;
use crate::diagnostic::printable;
use crate::requirement::Quantity;
use crate::units::ShownFrequency;
use serde_json::Value;

/// What the end of a name says of its unit: the unit shown, and the factor to it.
const UNITS: [(&str, &str, f64); 13] = [
    ("_ghz", "GHz", 1.0),
    ("_dbc_hz", "dBc/Hz", 1.0),
    ("_dbm", "dBm", 1.0),
    ("_dbc", "dBc", 1.0),
    ("_hz", "GHz", 1e-9),
    ("_db", "dB", 1.0),
    ("_deg", "deg", 1.0),
    ("_ohm", "ohm", 1.0),
    ("_mm", "mm", 1.0),
    ("_um", "µm", 1.0),
    ("_percent", "%", 1.0),
    ("_v", "V", 1.0),
    ("_k", "K", 1.0),
];

/// Words that are written in capitals.
const CAPITALS: [&str; 6] = ["lo", "if", "rf", "iq", "dc", "id"];

/// A name of a field as a heading, its unit, and the factor to that unit.
pub(super) fn heading(name: &str) -> (String, &'static str, f64) {
    let found = UNITS.iter().find(|(end, ..)| name.ends_with(end));
    let (stem, unit, factor) = found.map_or((name, "", 1.0), |&(end, unit, factor)| {
        (&name[..name.len() - end.len()], unit, factor)
    });
    let mut words: Vec<String> = stem
        .split('_')
        .map(|word| {
            if CAPITALS.contains(&word) {
                word.to_uppercase()
            } else {
                printable(word).into_owned()
            }
        })
        .collect();
    if let Some(first) = words.first_mut() {
        *first = super::super::text_table::capitalised(first);
    }
    (words.join(" "), unit, factor)
}

/// A number with the digits that its unit is read with.
pub(super) fn number(value: f64, unit: &str) -> String {
    if value.is_nan() {
        return "no value".to_owned();
    }
    let text = match unit {
        _ if !value.is_finite() => return if value > 0.0 { "inf" } else { "-inf" }.to_owned(),
        "dB" | "deg" | "dBm" | "dBc" => fixed(value, 3),
        "GHz" | "mm" => fixed(value, 6),
        _ if value != 0.0 && (value.abs() < 1e-4 || value.abs() >= 1e7) => {
            return format!("{value:.4e}");
        }
        _ => fixed(value, 6),
    };
    let is_kept = matches!(unit, "dB" | "deg" | "dBm" | "dBc") || !text.contains('.');
    if is_kept { text } else { text.trim_end_matches('0').trim_end_matches('.').to_owned() }
}

/// A value of a quantity with its unit; `null` is an unbounded value.
pub(super) fn of_quantity(value: Option<f64>, quantity: Quantity) -> String {
    match value {
        Some(value) => format!("{} {}", number(value, quantity.unit()), quantity.unit()),
        None => "unbounded".to_owned(),
    }
}

/// A frequency with its unit.
pub(super) fn frequency(hz: f64) -> String {
    ShownFrequency(hz).to_string()
}

/// A share in percent.
pub(super) fn percent(share: f64) -> String {
    format!("{} %", fixed(100.0 * share, 1))
}

/// A probability in percent, which is never shown as certain.
pub(super) fn probability(share: f64) -> String {
    match 100.0 * share {
        percent if percent > 99.95 => "over 99.9 %".to_owned(),
        percent if percent < 0.05 => "under 0.1 %".to_owned(),
        percent => format!("{} %", fixed(percent, 1)),
    }
}

/// JSON that cannot end its script element, whatever its texts hold.
pub(super) fn script_json(value: &Value) -> String {
    let text = value.to_string();
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '<' | '>' | '&' | '\u{2028}' | '\u{2029}' => {
                safe.push_str(&format!("\\u{:04x}", u32::from(letter)));
            }
            letter => safe.push(letter),
        }
    }
    safe
}

/// A document of a report.
#[derive(Clone, Copy)]
pub(super) struct Document<'d>(pub(super) &'d Value);

impl<'d> Document<'d> {
    /// What stands at a place such as `/summary/fix_first`; `null` if nothing does.
    pub(super) fn at(self, place: &str) -> &'d Value {
        self.0.pointer(place).unwrap_or(&Value::Null)
    }

    pub(super) fn number(self, place: &str) -> Option<f64> {
        self.at(place).as_f64()
    }

    /// A text without control characters; empty if there is none.
    pub(super) fn text(self, place: &str) -> String {
        printable(self.at(place).as_str().unwrap_or_default()).into_owned()
    }

    pub(super) fn list(self, place: &str) -> impl Iterator<Item = Document<'d>> {
        self.at(place).as_array().map_or(&[][..], Vec::as_slice).iter().map(Document)
    }

    /// The texts of a list.
    pub(super) fn texts(self, place: &str) -> Vec<String> {
        self.list(place).map(|one| one.text("")).collect()
    }

    /// Its fields, one below another, as names and texts: `settings` and the like.
    pub(super) fn flattened(self, place: &str) -> Vec<(String, String)> {
        let mut rows = Vec::new();
        flatten("", self.at(place), &mut rows);
        rows
    }
}

/// Values of a list that are shown; a list of more is shown by its ends.
const SHOWN: usize = 8;

fn flatten(name: &str, value: &Value, rows: &mut Vec<(String, String)>) {
    match value {
        Value::Object(fields) => {
            for (key, value) in fields {
                let name = if name.is_empty() { key.clone() } else { format!("{name}.{key}") };
                flatten(&name, value, rows);
            }
        }
        Value::Null => {}
        Value::Array(values) if values.iter().any(Value::is_object) => {
            for (at, value) in values.iter().enumerate() {
                flatten(&format!("{name}[{}]", at + 1), value, rows);
            }
        }
        Value::Array(values) if values.is_empty() => {}
        Value::Array(values) if values.len() > SHOWN => {
            let (first, last) = (&values[0], &values[values.len() - 1]);
            let shown = format!("{} to {} ({} values)", plain(first), plain(last), values.len());
            rows.push((printable(name).into_owned(), shown));
        }
        Value::Array(values) => {
            let shown = values.iter().map(plain).collect::<Vec<_>>().join(", ");
            rows.push((printable(name).into_owned(), shown));
        }
        other => rows.push((printable(name).into_owned(), plain(other))),
    }
}

fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => printable(text).into_owned(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_fields_become_headings() {
        assert_eq!(heading("worst_at_lo_hz"), ("Worst at LO".to_owned(), "GHz", 1e-9));
        assert_eq!(heading("phase_deg"), ("Phase".to_owned(), "deg", 1.0));
        assert_eq!(heading("lot"), ("Lot".to_owned(), "", 1.0));
    }

    #[test]
    fn numbers_have_the_digits_of_their_unit() {
        assert_eq!(number(-0.0001, "dB"), "0.000");
        assert_eq!(number(27.1, "GHz"), "27.1");
        assert_eq!(number(100.0, ""), "100");
        assert_eq!(number(2.5e-9, ""), "2.5000e-9");
        assert_eq!(number(f64::INFINITY, "dB"), "inf");
        assert_eq!(probability(1.0), "over 99.9 %");
    }
}
