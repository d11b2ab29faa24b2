//! Figures that are no numbers in what was printed or written.

/// The first figure without a number in a text or a table, with its line; `None` if there is none.
///
/// `inf` is documented as an unbounded ratio in dB, such as the rejection of an ideal hybrid; anywhere
/// else, and with a minus, it is a figure without a number. An input may hold the word too, as a name
/// that is shown again: then only columns with a unit are judged.
pub(crate) fn undefined_figure(shown: &str, input: &[u8]) -> Option<String> {
    let has_word = input.windows(3).any(|word| word.eq_ignore_ascii_case(b"inf"));
    let mut heading: Vec<&str> = Vec::new();
    for line in shown.lines() {
        let cells: Vec<&str> = line.split(',').collect();
        let is_heading = cells.len() > 1 && cells.iter().all(|cell| is_key(cell));
        if is_heading {
            heading = cells;
        } else if is_undefined(line, has_word) || has_infinite_cell(&heading, &cells) {
            return Some(line.chars().take(300).collect());
        }
    }
    None
}

/// Whether a cell may be the name of a column.
fn is_key(cell: &str) -> bool {
    cell.starts_with(|first: char| first.is_ascii_lowercase())
        && cell.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
        && !matches!(cell, "inf" | "nan" | "pass" | "fail" | "error")
}

/// Whether a cell is infinite and its column has no unbounded value.
fn has_infinite_cell(heading: &[&str], cells: &[&str]) -> bool {
    heading.len() == cells.len()
        && heading.iter().zip(cells).any(|(key, cell)| match *cell {
            "inf" => UNITS.iter().any(|unit| key.ends_with(unit)),
            "-inf" => key.ends_with("_db") || UNITS.iter().any(|unit| key.ends_with(unit)),
            _ => false,
        })
}

/// Units of columns that have no unbounded value.
const UNITS: [&str; 11] =
    ["_dbm", "_deg", "_ghz", "_mhz", "_hz", "_ohm", "_percent", "_mm", "_um", "_k", "_s"];

fn is_undefined(line: &str, has_word: bool) -> bool {
    let words: Vec<&str> =
        line.split(|c: char| !c.is_alphanumeric() && !matches!(c, '-' | '_')).collect();
    words.iter().enumerate().any(|(at, word)| {
        let unit = words[at + 1..].iter().find(|next| !next.is_empty()).copied();
        match *word {
            "NaN" | "-NaN" => true,
            "-inf" => !has_word,
            "inf" if !has_word => matches!(
                unit,
                Some(
                    "dBm" | "deg" | "GHz" | "MHz" | "kHz" | "Hz" | "ohm" | "K" | "W" | "mm" | "ps"
                )
            ),
            _ => false,
        }
    })
}

#[test]
fn figures_without_numbers_are_seen() {
    for shown in [
        "worst NaN dB",
        "drive: inf to 3 dBm, -inf dBm",
        "drive inf dBm",
        "lo_hz,lo_power_dbm\n1,inf\n",
        "lo_hz,rejection_db\n1,-inf\n",
        "{\"a\":NaN}",
    ] {
        assert!(undefined_figure(shown, b"").is_some(), "{shown}");
    }
    for shown in [
        "image rejection inf dB at 29 GHz",
        "lo_hz,rejection_db\n1,inf\n",
        "for more information, infinite, nano",
        "file inf.s2p",
    ] {
        assert_eq!(undefined_figure(shown, b""), None);
    }
    assert_eq!(undefined_figure("no file -inf", b"-inf"), None);
    assert!(undefined_figure("lo_hz,rejection_db\n1,-inf\n", b"-inf").is_some());
}
