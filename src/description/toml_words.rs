//! Plain texts for the messages of the TOML reader.
//!
//! The TOML libraries use the terms fields, variants and Rust types. Their messages are parsed
//! here, and nowhere else; a message of unknown form is not changed.

use super::error::DescriptionProblem;

/// The problem, from the message of a TOML error and the text concerned.
pub(super) fn problem(message: &str, at: &str) -> DescriptionProblem {
    let message = message.trim();
    quoted_list(message, "unknown field ")
        .map(|(found, known)| DescriptionProblem::UnknownKey { found, known })
        .or_else(|| {
            let (found, known) = quoted_list(message, "unknown variant ")?;
            Some(DescriptionProblem::UnknownValue { found, known })
        })
        .or_else(|| {
            let key = message.strip_prefix("missing field ")?.trim_matches('`').to_owned();
            Some(DescriptionProblem::MissingKey { key })
        })
        .or_else(|| wrong_type(message, at))
        .unwrap_or_else(|| DescriptionProblem::NotToml { message: message.replace('\n', "; ") })
}

/// "unknown field `x`, expected one of `a`, `b`": x, and the list of a and b.
fn quoted_list(message: &str, start: &str) -> Option<(String, Vec<String>)> {
    let mut quoted = message.strip_prefix(start)?.split('`').skip(1).step_by(2).map(str::to_owned);
    Some((quoted.next()?, quoted.collect()))
}

fn wrong_type(message: &str, at: &str) -> Option<DescriptionProblem> {
    let wrong = |expected: String, found: String| DescriptionProblem::WrongType { expected, found };
    for start in ["invalid type: ", "invalid value: "] {
        if let Some(rest) = message.strip_prefix(start) {
            let (found, expected) = rest.rsplit_once(", expected ")?;
            return Some(wrong(expected_words(expected), found_words(found)));
        }
    }
    if let Some(rest) = message.strip_prefix("invalid length ") {
        let (found, expected) = rest.split_once(", expected ")?;
        return Some(wrong(expected_words(expected), found.to_owned()));
    }
    // Our own types with several forms state what they expect, not what they found.
    let expected = match message {
        "wanted string or table" => "text in quotes",
        _ => message.strip_prefix("expected ")?,
    };
    // An empty text has no line.
    let line = at.lines().next().unwrap_or("nothing");
    Some(wrong(expected.to_owned(), line.chars().take(40).collect()))
}

fn expected_words(expected: &str) -> String {
    match expected {
        "f64" | "f32" => "a number".to_owned(),
        "u8" => "a whole number from 0 to 255".to_owned(),
        "u16" => "a whole number from 0 to 65535".to_owned(),
        "u32" => "a whole number from 0 to 4294967295".to_owned(),
        "u64" | "usize" => "a whole number from 0 on".to_owned(),
        "i8" | "i16" | "i32" | "i64" | "isize" => "a whole number".to_owned(),
        "a string" | "path string" => "text in quotes".to_owned(),
        "a boolean" => "true or false".to_owned(),
        "a sequence" => "a list".to_owned(),
        "a map" => "a table of keys".to_owned(),
        _ => match expected.strip_prefix("an array of length ") {
            Some(length) => format!("a list of {length} values"),
            None if expected.contains("struct") || expected.contains("enum") => {
                "a table of keys".to_owned()
            }
            None => expected.to_owned(),
        },
    }
}

fn found_words(found: &str) -> String {
    for (start, word) in [
        ("string ", "text "),
        ("integer ", ""),
        ("floating point ", ""),
        ("boolean ", ""),
        ("character ", "text "),
    ] {
        if let Some(value) = found.strip_prefix(start) {
            return format!("{word}{}", value.trim_matches('`'));
        }
    }
    match found {
        "sequence" => "a list".to_owned(),
        "map" => "a table of keys".to_owned(),
        _ => found.to_owned(),
    }
}
