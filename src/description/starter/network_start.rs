//! NETWORK.toml to begin with: a splitter with what follows its first output, or two-ports in a row.

use super::super::error::DescriptionError;
use super::folder_parts::{FolderPart, FolderParts};
use super::part_text::{BALANCED, PartText, SPLIT, load_text, quoted};
use super::receiver_parts::ReceiverParts;
use super::starter_files::Starter;

/// The network of the files of a folder, or an example of closed-form parts.
pub(super) fn network_start(found: Option<&FolderParts>) -> Result<Starter, DescriptionError> {
    let Some(found) = found else {
        let hybrid = "{ kind = \"branch_line\", center_ghz = 29, loss_db = 0.2 }";
        let line = "{ kind = \"line\", impedance_ohm = 52, center_ghz = 29, angle_deg = 30 }";
        let blocks = [
            PartText::component("hybrid", hybrid, &SPLIT),
            PartText::component("line", line, &["in", "out"]),
        ];
        let grid = "grid = \"26GHz..32GHz:61\"\n";
        return Ok(Starter::of("network.toml", tree_text(&blocks, "out", grid), Vec::new()));
    };
    let parts = ReceiverParts::of(found);
    let mut guesses = found.remarks.clone();
    let first = parts.hybrid.map(|file| PartText::splitter("hybrid", file, SPLIT));
    let first =
        first.or_else(|| parts.divider.map(|file| PartText::splitter("divider", file, SPLIT)));
    let line = parts.lo_lines.map(|[line, _]| PartText::two_port("line", line));
    let balun = parts.baluns.map(|[balun, _]| PartText::splitter("balun", balun, BALANCED));
    let text = match (first, line, balun) {
        (Some(first), line, balun) => {
            let output = if balun.is_some() { "plus" } else { "out" };
            let blocks: Vec<PartText> = std::iter::once(first).chain(line).chain(balun).collect();
            guesses.push(format!(
                "the first output of {} leads to {}; wire the parts as they are in your network",
                blocks[0].name,
                match blocks.get(1) {
                    Some(next) => &next.name,
                    None => "an outside port",
                }
            ));
            tree_text(&blocks, output, "")
        }
        (None, _, Some(balun)) => tree_text(&[balun], "plus", ""),
        (None, _, None) => row_text(found, &mut guesses)?,
    };
    Ok(Starter::of("network.toml", text, guesses))
}

const HEAD: &str = "# Parts joined into one file. 'fourphase manual network' explains every key.\n";

/// Blocks in a row behind the first output of the first; the other outputs lead outside.
fn tree_text(blocks: &[PartText], last_output: &str, grid: &str) -> String {
    let mut joins = Vec::new();
    let mut outside = Vec::new();
    let mut loads = String::new();
    for (at, block) in blocks.iter().enumerate() {
        let is_last = at + 1 == blocks.len();
        let output = if is_last { last_output } else { leading_output(block) };
        if let Some(next) = blocks.get(at + 1) {
            joins.push(quoted(&format!("{} -- {}", block.port(output), next.port("in"))));
        }
        for port in &block.ports {
            if block.left_over.contains(port) {
                loads.push_str(&load_text(&block.port(port), "ohm = 50.0"));
            } else if (port != "in" || at == 0) && (is_last || port != output) {
                outside.push(quoted(&block.port(port)));
            }
        }
    }
    let blocks: Vec<String> = blocks.iter().map(PartText::text).collect();
    format!(
        "{HEAD}ports = [{}]      # the outside ports, in order\nreference_ohm = 50.0\n{grid}joins = [{}]\n{}{loads}",
        outside.join(", "),
        joins.join(", "),
        blocks.concat()
    )
}

fn leading_output(block: &PartText) -> &'static str {
    if block.ports.iter().any(|port| port == SPLIT[1]) { SPLIT[1] } else { "out" }
}

/// Two-ports one after the other, in the order of their names.
fn row_text(found: &FolderParts, guesses: &mut Vec<String>) -> Result<String, DescriptionError> {
    let two_ports: Vec<&FolderPart> = found.parts.iter().filter(|part| part.ports() == 2).collect();
    if two_ports.is_empty() {
        return Err(found.refused(
            "expected a splitter or two-ports among the files, found neither; write the network by \
             hand",
        ));
    }
    let names: Vec<&str> = two_ports.iter().map(|part| part.name.as_str()).collect();
    guesses.push(format!(
        "the two-ports follow each other in the order of their names: {}",
        names.join(", ")
    ));
    let blocks: Vec<PartText> = two_ports
        .iter()
        .enumerate()
        .map(|(at, part)| PartText::two_port(&format!("part_{}", at + 1), part))
        .collect();
    Ok(tree_text(&blocks, "out", ""))
}
