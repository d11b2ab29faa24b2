//! STATION.toml to begin with: open and short by their data, thru by its name, the parts by what their
//! names have in common.

use super::super::error::DescriptionError;
use super::folder_parts::{FolderPart, FolderParts};
use super::part_text::quoted;
use super::starter_files::Starter;
use crate::network::Port;
use std::fmt::Write as _;

/// A standard reflects at least this much at every port, and transmits at most this much.
const STANDARD_REFLECTS: f64 = 0.5;

/// The files of a station by what they are for.
#[derive(Default)]
struct StationParts<'f> {
    open: Option<&'f FolderPart>,
    short: Option<&'f FolderPart>,
    thrus: Vec<&'f FolderPart>,
    parts: Vec<&'f FolderPart>,
}

/// The recipe of the files of a folder, or an example.
pub(super) fn station_start(found: Option<&FolderParts>) -> Result<Starter, DescriptionError> {
    let Some(found) = found else {
        let guesses =
            vec!["the example names files that are not there: replace them by yours".to_owned()];
        let text =
            station_text("line_{die}.s2p", "open = \"open.s2p\"\nshort = \"short.s2p\"\n", "");
        return Ok(Starter::of("station.toml", text, guesses));
    };
    let mut guesses = found.remarks.clone();
    let parts = sorted(found, &mut guesses);
    let remove = match (parts.open, parts.short, parts.thrus.first()) {
        (Some(open), Some(short), _) => {
            format!("open = {}\nshort = {}\n", quoted(&open.name), quoted(&short.name))
        }
        (_, _, Some(thru)) => format!("thru = {}\nthru_split = \"line\"\n", quoted(&thru.name)),
        _ => {
            return Err(found.refused(
                "expected an open and a short, or a thru whose name says so, among the files; found \
                 neither",
            ));
        }
    };
    let files = common_name(&parts.parts).ok_or_else(|| {
        found.refused("expected the files of parts beside the standards, found none")
    })?;
    guesses.push(format!("the parts are {files}: {} files", matching(&parts.parts, &files)));
    let mut check = String::new();
    if let (Some(thru), true) = (parts.thrus.first(), parts.open.is_some()) {
        let _ = write!(check, "thru = {}\nthru_residual = 0.02\n", quoted(&thru.name));
        if let Some(after) = parts.thrus.get(1) {
            let _ = write!(
                check,
                "before = {}\nafter = {}\ndrift_vector = 0.05\n",
                quoted(&thru.name),
                quoted(&after.name)
            );
            guesses.push(format!("{} was measured before {}", thru.name, after.name));
        }
        guesses.push("the limits under [check] are examples".to_owned());
    }
    Ok(Starter::of("station.toml", station_text(&files, &remove, &check), guesses))
}

fn sorted<'f>(found: &'f FolderParts, guesses: &mut Vec<String>) -> StationParts<'f> {
    let mut parts = StationParts::default();
    for part in &found.parts {
        let reflects = reflection_sign(part);
        if part.is_called(&["thru", "through"]) && part.ports() == 2 {
            guesses.push(format!("{} is a thru, from its name", part.name));
            parts.thrus.push(part);
        } else if let (Some(true), None) = (reflects, parts.open) {
            guesses.push(format!("{} is the open, from its data", part.name));
            parts.open = Some(part);
        } else if let (Some(false), None) = (reflects, parts.short) {
            guesses.push(format!("{} is the short, from its data", part.name));
            parts.short = Some(part);
        } else {
            parts.parts.push(part);
        }
    }
    // What was measured again has a name that says so.
    parts.thrus.sort_by_key(|part| part.is_called(&["after", "again", "end"]));
    parts
}

/// Whether a part without transmission reflects as an open does (at its lowest frequency, where pads
/// and interconnects turn least), or as a short; `None` for what is neither.
fn reflection_sign(part: &FolderPart) -> Option<bool> {
    let ports = part.ports();
    let is_standard = (0..ports).all(|row| {
        (0..ports).all(|column| {
            let magnitude = part.mean_magnitude(row, column);
            if row == column {
                magnitude > STANDARD_REFLECTS
            } else {
                magnitude < STANDARD_REFLECTS
            }
        })
    });
    let first = part.network.matrix(0).at(Port::from_index(0), Port::from_index(0));
    is_standard.then_some(first.re > 0.0)
}

/// The name of most of the parts, with `{die}` for what differs.
fn common_name(parts: &[&FolderPart]) -> Option<String> {
    let first = parts.first()?;
    let alike: Vec<&str> = parts
        .iter()
        .filter(|part| part.ports() == first.ports())
        .map(|part| part.name.as_str())
        .collect();
    if alike.len() == 1 {
        return Some(first.name.clone());
    }
    let shortest = alike.iter().map(|name| name.len()).min()?;
    let all = |byte: &dyn Fn(&str) -> Option<u8>| {
        let one = byte(alike[0]);
        one.is_some() && alike.iter().all(|name| byte(name) == one)
    };
    let mut before =
        (0..shortest).take_while(|at| all(&|name| name.as_bytes().get(*at).copied())).count();
    let mut after = (0..shortest - before)
        .take_while(|at| {
            all(&|name| {
                name.len().checked_sub(at + 1).and_then(|at| name.as_bytes().get(at).copied())
            })
        })
        .count();
    // What is cut out is whole letters.
    while !first.name.is_char_boundary(before) {
        before -= 1;
    }
    while !first.name.is_char_boundary(first.name.len() - after) {
        after -= 1;
    }
    if after + before == shortest && after > 0 {
        // The name that is shortest needs something in place of the braces too.
        after -= 1;
    }
    let end = &first.name[first.name.len() - after..];
    Some(format!("{}{{die}}{end}", &first.name[..before]))
}

fn matching(parts: &[&FolderPart], pattern: &str) -> usize {
    match pattern.split_once("{die}") {
        Some((before, after)) => {
            let fits =
                |part: &&&FolderPart| part.name.starts_with(before) && part.name.ends_with(after);
            parts.iter().filter(fits).count()
        }
        None => 1,
    }
}

fn station_text(files: &str, remove: &str, check: &str) -> String {
    let output = if files.contains("{die}") { "bare_{die}.s2p" } else { "bare.s2p" };
    let ending = files.rsplit_once('.').map_or("s2p", |(_, ending)| ending);
    let output = output.replace("s2p", ending);
    let check = if check.is_empty() {
        "# [check]\n# thru = \"thru.s2p\"\n# thru_residual = 0.02\n".to_owned()
    } else {
        format!("[check]\n{check}")
    };
    format!(
        "# Files of a probe station. 'fourphase manual station' explains every key.\n\
         files = {}        # {{die}} stands for what differs\n\
         output = {}\n\
         # effective_permittivity = 7.0   # of the lines under the probes, for lengths in um\n\n\
         [remove]\n\
         # access_lines = {{ \"1\" = \"in.s2p\", \"2\" = \"out.s2p\" }}\n\
         {remove}\n\
         {check}",
        quoted(files),
        quoted(&output)
    )
}
