//! The command as a report shows it: without what does not change the report.

use std::ffi::{OsStr, OsString};

/// Options that take a value and decide where and how fast, not what.
const WITH_VALUE: [&str; 6] = ["--out", "--threads", "--format", "--shard", "--plot", "--pictures"];
/// Options without a value.
const ALONE: [&str; 3] = ["--overwrite", "--resume", "--quiet"];

/// The command of this process, `DIR` standing for the folder of the report.
pub(super) fn made_by() -> String {
    shown(std::env::args_os().skip(1))
}

/// The command on one file.
pub(super) fn made_by_of(command: &str, file: &OsStr) -> String {
    shown([OsString::from(command), file.to_owned()].into_iter())
}

fn shown(words: impl Iterator<Item = OsString>) -> String {
    let mut made = vec!["fourphase".to_owned()];
    let mut is_left_out = false;
    for word in words {
        let word = word.to_string_lossy().into_owned();
        if std::mem::take(&mut is_left_out) || ALONE.contains(&word.as_str()) {
            continue;
        }
        let option = word.split_once('=').map_or(word.as_str(), |(option, _)| option);
        if WITH_VALUE.contains(&option) {
            is_left_out = option == word;
        } else {
            made.push(quoted(&word));
        }
    }
    made.push("--out DIR".to_owned());
    made.join(" ")
}

/// A word as a shell takes it whole.
fn quoted(word: &str) -> String {
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || "-_./=:,+@%".contains(letter);
    if !word.is_empty() && word.chars().all(is_plain) {
        return word.to_owned();
    }
    format!("'{}'", word.replace('\'', "'\\''"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_command_is_shown_without_place_and_speed() {
        let words = "downconverter my receiver.toml|--out|there|--threads=2|--strict|--overwrite";
        let words = words.replace("downconverter ", "downconverter|");
        let shown = shown(words.split('|').map(OsString::from));
        assert_eq!(shown, "fourphase downconverter 'my receiver.toml' --strict --out DIR");
        assert_eq!(quoted("it's"), "'it'\\''s'");
    }
}
