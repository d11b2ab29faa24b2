//! SET.toml to begin with: the ports of each file from the numbers in its name.

use super::super::error::DescriptionError;
use super::folder_parts::{FolderPart, FolderParts};
use super::part_text::quoted;
use super::starter_files::Starter;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// More ports have no single digit.
const MOST_PORTS: usize = 9;

/// The set of the files of a folder, or an example.
pub(super) fn rebuild_start(found: Option<&FolderParts>) -> Result<Starter, DescriptionError> {
    let Some(found) = found else {
        let names = [("p12.s2p", [1, 2]), ("p13.s2p", [1, 3]), ("p23.s2p", [2, 3])];
        let measured: Vec<(String, Vec<usize>)> =
            names.into_iter().map(|(name, ports)| (name.to_owned(), ports.to_vec())).collect();
        let guesses =
            vec!["the example names files that are not there: replace them by yours".to_owned()];
        return Ok(Starter::of("set.toml", set_text(3, &BTreeMap::new(), &measured), guesses));
    };
    let mut guesses = found.remarks.clone();
    let mut measured = Vec::new();
    let mut terminations = BTreeMap::new();
    for part in &found.parts {
        match (part.ports(), ports_of(part)) {
            (1, Some(ports)) => {
                guesses.push(format!("{} terminates port {}, from its name", part.name, ports[0]));
                terminations.insert(ports[0], part.name.clone());
            }
            (_, Some(ports)) => measured.push((part.name.clone(), ports)),
            (count, None) => guesses.push(format!(
                "{} is not used: its name does not show the numbers of its {count} ports",
                part.name
            )),
        }
    }
    let Some(ports) = measured.iter().flat_map(|(_, ports)| ports).copied().max() else {
        return Err(found.refused(
            "expected files whose names show the ports that they measure, such as p12.s2p or \
             part_1_3.s2p; found none",
        ));
    };
    guesses.push(format!("the part has {ports} ports, the highest number in a name"));
    let missing = missing_pairs(ports, &measured);
    if !missing.is_empty() {
        guesses.push(format!(
            "no file measures the pairs {}: add them, or orders of the ports under symmetric",
            missing.join(", ")
        ));
    }
    if terminations.len() < ports {
        guesses.push("terminations without a file are taken as 50 ohm: enter yours".to_owned());
    }
    Ok(Starter::of("set.toml", set_text(ports, &terminations, &measured), guesses))
}

/// The ports that a name shows: its last numbers, one for each port, or one number with a digit for
/// each port.
fn ports_of(part: &FolderPart) -> Option<Vec<usize>> {
    let numbers: Vec<&str> = part
        .stem()
        .split(|c: char| !c.is_ascii_digit())
        .filter(|digits| !digits.is_empty())
        .collect();
    let count = part.ports();
    let joined = numbers.last().filter(|digits| digits.len() == count && count <= MOST_PORTS);
    let ports: Vec<usize> = match joined {
        Some(digits) => digits
            .chars()
            .filter_map(|digit| digit.to_digit(10))
            .map(|digit| digit as usize)
            .collect(),
        None => {
            let last = numbers.len().checked_sub(count)?;
            numbers[last..].iter().map(|digits| digits.parse()).collect::<Result<_, _>>().ok()?
        }
    };
    let is_allowed = |port: &usize| (1..=64).contains(port);
    let is_once = (1..ports.len()).all(|at| !ports[..at].contains(&ports[at]));
    (ports.iter().all(is_allowed) && is_once).then_some(ports)
}

/// Pairs of ports that no file measures together.
fn missing_pairs(ports: usize, measured: &[(String, Vec<usize>)]) -> Vec<String> {
    let is_measured =
        |a: usize, b: usize| measured.iter().any(|(_, own)| own.contains(&a) && own.contains(&b));
    let pairs = (1..=ports).flat_map(|a| (a + 1..=ports).map(move |b| (a, b)));
    pairs.filter(|(a, b)| !is_measured(*a, *b)).map(|(a, b)| format!("{a}-{b}")).collect()
}

fn set_text(
    ports: usize,
    terminations: &BTreeMap<usize, String>,
    measured: &[(String, Vec<usize>)],
) -> String {
    let mut text = format!(
        "# An N-port from measurements of some of its ports at a time.\n\
         # 'fourphase manual rebuild' explains every key.\n\
         ports = {ports}\n\
         reference_ohm = 50.0\n\
         reciprocal = true                # Sij = Sji; remove it for a part that is not\n\n\
         # What each port is terminated by whenever it is not measured.\n"
    );
    for port in 1..=ports {
        let made_from = match terminations.get(&port) {
            Some(file) => format!("file = {}", quoted(file)),
            None => "ohm = 50.0".to_owned(),
        };
        let _ = writeln!(text, "[[termination]]\nport = {port}\n{made_from}\n");
    }
    for (file, own) in measured {
        let own: Vec<String> = own.iter().map(usize::to_string).collect();
        let _ = writeln!(
            text,
            "[[measurement]]\nfile = {}\nports = [{}]\n# standard_uncertainty = 0.002\n",
            quoted(file),
            own.join(", ")
        );
    }
    text
}
