//! `manual`, `completions` and `man`; and every example of the manual, which runs as it stands there.

use crate::harness::{Sandbox, assert_fits_80_columns, project, unfolded};
use fourphase::report::{MANUAL_TOPICS, manual_text};
use serde_json::Value;
use std::collections::BTreeSet;

/// The demo's files with their folders, and names of their own.
fn whole_demo() -> Sandbox {
    let sandbox = Sandbox::with_demo();
    for folder in ["station", "rebuild", "wafer", "wafer/dies"] {
        for entry in std::fs::read_dir(project(&format!("data-demo/{folder}"))).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file() {
                let name = path.file_name().unwrap().to_str().unwrap();
                sandbox.write(&format!("{folder}/{name}"), std::fs::read(&path).unwrap());
            }
        }
    }
    // A part of the wafer is enough.
    let list = sandbox.read("wafer/dies.csv");
    let rows: Vec<&str> = list.lines().take(1).chain(list.lines().skip(30).take(12)).collect();
    sandbox.write("wafer/dies.csv", rows.join("\n"));
    sandbox
}

/// The blocks of code in a language.
fn code_blocks(markdown: &str, language: &str) -> Vec<String> {
    let start = format!("```{language}\n");
    let blocks = markdown.split(&start).skip(1);
    blocks.map(|block| block.split("\n```").next().unwrap().to_owned()).collect()
}

/// Each example names its file and the command that uses it in its first line.
#[test]
fn descriptions_of_the_manual_run() {
    let sandbox = whole_demo();
    let mut count = 0;
    for topic in MANUAL_TOPICS {
        for text in code_blocks(&topic.markdown(), "toml") {
            let (name, command) =
                text.lines().next().unwrap()[2..].split_once(": fourphase ").unwrap();
            sandbox.write(name, &text);
            let run = sandbox.run(command);
            assert_eq!(run.status, 0, "{}: {command}: {}", topic.name, run.stderr);
            count += 1;
        }
    }
    assert!(count >= 7, "only {count} examples");
}

#[test]
fn commands_of_the_manual_run() {
    let sandbox = whole_demo();
    let mut count = 0;
    for topic in MANUAL_TOPICS {
        for line in code_blocks(&topic.markdown(), "console").iter().flat_map(|code| code.lines()) {
            let (command, note) = line.split_once('#').unwrap_or((line, ""));
            let command = command.strip_prefix("fourphase ").unwrap();
            let run = sandbox.run(command);
            let expected = i32::from(note.contains("exit status 1"));
            assert_eq!(run.status, expected, "fourphase {command}: {}", run.stderr);
            count += 1;
        }
    }
    assert!(count > 20, "only {count} commands");
}

#[test]
fn topics_fit_a_screen_and_are_found_by_topic_term_command_and_key() {
    let sandbox = Sandbox::new();
    let contents = sandbox.succeeds("manual");
    for topic in MANUAL_TOPICS {
        assert_fits_80_columns(&topic.text());
        assert!(contents.contains(&format!("  {} ", topic.name)), "{}", topic.name);
        assert_eq!(sandbox.succeeds(&format!("manual {}", topic.name)), topic.text());
    }
    for (word, says) in [
        ("interaction", "reflections between parts"),
        ("I/Q channel error", "|coth(eps/2)|^2"),
        ("ppk", "(median - limit) / (median - q)"),
        ("highest-distinguishable-rejection", "distinguish from perfect balance"),
        ("lo_multiplication_after_split", "receiver, [frequency_plan]"),
        ("compare", "--require-vector"),
        ("die_pitch_mm", "recipe, [map]"),
    ] {
        let text = sandbox.succeeds(&format!("manual {word}"));
        assert!(unfolded(&text).contains(says), "{word}: {text}");
        assert_fits_80_columns(&text);
    }
    sandbox.refuses("manual interactoin", "near: interaction");
    sandbox.refuses("manual zzzz", "lists the topics");
}

#[test]
fn every_command_has_a_section_and_a_page() {
    let sandbox = Sandbox::new();
    sandbox.succeeds("man pages");
    let pages = sandbox.names("pages");
    assert!(pages.len() > 15, "{pages:?}");
    for page in pages {
        let name = page.strip_prefix("fourphase").unwrap().strip_suffix(".1").unwrap();
        if let Some(command) = name.strip_prefix('-') {
            assert!(manual_text(command).is_some(), "no section on {command}");
        }
    }
    assert!(sandbox.read("pages/fourphase-tolerance.1").contains("image\\-rejection\\-db"));
    sandbox.refuses("man pages", "exists");
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = sandbox.succeeds(&format!("completions {shell}"));
        assert!(script.contains("downconverter"), "{shell}");
    }
}

/// Every name in a document.
fn names_in(document: &Value, names: &mut BTreeSet<String>) {
    match document {
        Value::Object(entries) => {
            for (name, value) in entries {
                names.insert(name.clone());
                names_in(value, names);
            }
        }
        Value::Array(list) => list.iter().for_each(|value| names_in(value, names)),
        _ => {}
    }
}

/// Whether a name is one of these, or like one with a star.
fn is_explained(name: &str, known: &BTreeSet<String>) -> bool {
    known.contains(name)
        || known.iter().any(|pattern| {
            let mut pieces = pattern.split('*');
            let first = pieces.next().unwrap_or_default();
            let last = pieces.next_back().unwrap_or_default();
            pattern.contains('*')
                && name.starts_with(first)
                && name.ends_with(last)
                && pieces.all(|piece| name.contains(piece))
        })
}

#[test]
fn names_of_reports_are_explained() {
    let sandbox = whole_demo();
    let mut names = BTreeSet::new();
    sandbox.write("few.toml", "trials = 100\n[[source]]\ntransmission = { phase_deg = 0.3 }\n");
    let tones = "downconverter receiver.toml --uncertainty few.toml --measured tones.csv";
    for command in [
        &format!("{tones} --out receiver"),
        "downconverter lo-chain-x6.toml --out chain",
        "splitter coupler.s4p --uncertainty few.toml --out splitter",
        "wafer wafer/receiver-recipe.toml --out lot",
        "station station/station.toml --out bare",
        "inspect coupler.s4p --data",
        "rebuild rebuild/set.toml --output r.s4p",
        "compare balun.s3p divider.s3p",
        "plan --rf 27GHz..31GHz --if 0.5GHz..1.5GHz --multiplication 3,2",
        "tolerance --image-rejection-db 30",
    ] {
        names_in(&sandbox.json(command), &mut names);
    }
    for folder in ["receiver", "chain", "splitter", "lot", "bare"] {
        for name in sandbox.names(folder).iter().filter(|name| name.ends_with(".csv")) {
            let table = sandbox.read(&format!("{folder}/{name}"));
            names.extend(table.lines().next().unwrap().split(',').map(str::to_owned));
        }
    }
    assert!(names.len() > 400, "only {} names", names.len());
    let mut known: BTreeSet<String> =
        MANUAL_TOPICS.iter().flat_map(|topic| words_in_code(&topic.markdown())).collect();
    // Columns of the list of dies, names of mixers, and return losses by port.
    known.extend(
        ["touchdown_note", "hybrid", "mixer_i", "mixer_q", "return_loss_*_db"].map(str::to_owned),
    );
    let missing: Vec<&String> = names.iter().filter(|name| !is_explained(name, &known)).collect();
    assert!(missing.is_empty(), "not in the manual's 'reports': {missing:?}");
}

fn words_in_code(markdown: &str) -> Vec<String> {
    let rows = markdown.lines().filter(|line| line.starts_with("| `"));
    let names = rows.filter_map(|row| row[1..].split_once('|')).map(|(names, _)| names);
    names.flat_map(|names| names.split('`').skip(1).step_by(2).map(str::to_owned)).collect()
}
