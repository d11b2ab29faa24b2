//! RECEIVER.toml to begin with.

use super::super::error::DescriptionError;
use super::folder_parts::{FolderPart, FolderParts};
use super::part_text::{BALANCED, PartText, SPLIT, ghz, load_text, quoted};
use super::receiver_parts::ReceiverParts;
use super::starter_files::Starter;
use std::fmt::Write as _;

/// The band of the example, Hz.
const EXAMPLE_HZ: (f64, f64) = (26e9, 32e9);
/// The IF that is guessed at most, Hz.
const LARGEST_IF_HZ: f64 = 1e9;

/// A branch of the LO or RF path: the port at its end.
struct Branches {
    blocks: Vec<PartText>,
    joins: Vec<String>,
    ends: [String; 2],
}

impl Branches {
    fn of(splitter: PartText) -> Self {
        let ends = [SPLIT[1], SPLIT[2]].map(|port| splitter.port(port));
        Self { blocks: vec![splitter], joins: Vec::new(), ends }
    }

    /// Puts a block at the end of each branch.
    fn extend(&mut self, blocks: [PartText; 2], output: &str) {
        for (end, block) in self.ends.iter_mut().zip(&blocks) {
            self.joins.push(format!("{end} -- {}", block.port("in")));
            *end = block.port(output);
        }
        self.blocks.extend(blocks);
    }
}

fn two_named(
    files: [&FolderPart; 2],
    name: &str,
    pair: &'static str,
    made: impl Fn(&str, &FolderPart) -> PartText,
) -> [PartText; 2] {
    let [i, q] = files;
    [made(&format!("{name}_i"), i).in_pair(pair), made(&format!("{name}_q"), q).in_pair(pair)]
}

/// The receiver of the files of a folder, or an example of closed-form parts.
pub(super) fn receiver_start(found: Option<&FolderParts>) -> Result<Starter, DescriptionError> {
    let parts = found.map(ReceiverParts::of).unwrap_or_default();
    let mut guesses = parts.guesses.clone();
    let band_hz = match found {
        Some(found) => common_band_hz(found, &parts)?,
        None => EXAMPLE_HZ,
    };
    let mut lo = Branches::of(match parts.hybrid {
        Some(file) => PartText::splitter("hybrid", file, SPLIT),
        None if found.is_some() => {
            guesses.push("no file is a quadrature coupler: an ideal one is used".to_owned());
            PartText::component("hybrid", "{ kind = \"quadrature_hybrid\" }", &SPLIT)
        }
        None => PartText::component(
            "hybrid",
            "{ kind = \"branch_line\", center_ghz = 29, loss_db = 0.2 }",
            &SPLIT,
        ),
    });
    if let Some(lines) = parts.lo_lines {
        lo.extend(two_named(lines, "lo_line", "LO lines", PartText::two_port), "out");
    }
    let has_baluns = parts.baluns.is_some() || found.is_none();
    if let Some(baluns) = parts.baluns {
        let balun = |name: &str, file: &FolderPart| PartText::splitter(name, file, BALANCED);
        lo.extend(two_named(baluns, "balun", "baluns", balun), "plus");
    } else if has_baluns {
        let q = "{ kind = \"balun\", imbalance_db = 0.3, phase_error_deg = 2 }";
        let made =
            [("balun_i", "{ kind = \"balun\" }"), ("balun_q", q)].map(|(name, component)| {
                PartText::component(name, component, &BALANCED[..3]).in_pair("baluns")
            });
        lo.extend(made, "plus");
    } else {
        guesses.push("no file is a balun: one mixer in I and one in Q is assumed".to_owned());
    }
    let mut rf = Branches::of(match parts.divider {
        Some(file) => PartText::splitter("divider", file, SPLIT),
        None => {
            if found.is_some() {
                guesses.push("no file is an RF divider: an ideal one is used".to_owned());
            }
            PartText::component("divider", "{ kind = \"divider\" }", &SPLIT[..3])
        }
    });
    if let Some(lines) = parts.rf_lines {
        rf.extend(two_named(lines, "rf_line", "RF lines", PartText::two_port), "out");
    }
    if found.is_some() {
        guesses.push(format!(
            "LO and IF are guesses from {} to {} GHz, which all files cover; set lo_ghz, if_ghz, \
             wanted_sideband and lo_power_dbm to your plan",
            ghz(band_hz.0),
            ghz(band_hz.1)
        ));
        guesses.push("image_rejection_db = 25 is an example; set your requirement".to_owned());
    }
    let text = [
        head_text(found, band_hz, &[&lo.joins[..], &rf.joins].concat()),
        blocks_text(&parts, &lo, &rf, has_baluns),
        mixers_text(&lo, &rf, has_baluns),
        tail_text(&parts),
    ];
    Ok(Starter::of("receiver.toml", text.concat(), guesses))
}

/// The band that all files at LO and RF cover.
fn common_band_hz(
    found: &FolderParts,
    parts: &ReceiverParts<'_>,
) -> Result<(f64, f64), DescriptionError> {
    let bands: Vec<(f64, f64)> = parts.in_band().map(FolderPart::band_hz).collect();
    let low_hz = bands.iter().map(|band| band.0).fold(0.0, f64::max);
    let high_hz = bands.iter().map(|band| band.1).fold(f64::INFINITY, f64::min);
    if bands.is_empty() {
        return Err(found.refused(
            "no file is a coupler, balun, divider, line or load of a receiver; a receiver needs some",
        ));
    }
    if low_hz < high_hz {
        return Ok((low_hz, high_hz));
    }
    Err(found.refused("the files have no band in common; a receiver needs one at LO and RF"))
}

fn head_text(
    found: Option<&FolderParts>,
    (low_hz, high_hz): (f64, f64),
    joins: &[String],
) -> String {
    // Both sidebands of every LO must be covered, to whole megahertz.
    let if_hz = LARGEST_IF_HZ.min((high_hz - low_hz) / 8.0);
    let from_hz = ((low_hz + if_hz).max(2.0 * if_hz) / 1e6).ceil() * 1e6;
    let to_hz = ((high_hz - if_hz) / 1e6).floor() * 1e6;
    let joins: Vec<String> = joins.iter().map(|join| format!("    {},\n", quoted(join))).collect();
    let subject = if found.is_some() { "made from the files of this folder" } else { "an example" };
    format!(
        "# A receiver, {subject}. 'fourphase manual receiver' explains every key.\n\
         title = \"my receiver\"\n\
         lo_input = \"hybrid.in\"           # where LO power enters\n\
         rf_input = \"divider.in\"\n\
         joins = [\n{}]\n\n\
         [frequency_plan]\n\
         lo_ghz = {{ from = {}, to = {}, points = 21 }}     # at the mixers\n\
         if_ghz = [{}, {}]\n\
         wanted_sideband = \"upper\"        # RF = LO + IF; \"lower\": RF = LO - IF\n\
         lo_power_dbm = 10.0              # available at lo_input\n",
        joins.concat(),
        ghz(from_hz),
        ghz(to_hz),
        ghz(if_hz / 2.0),
        ghz(if_hz)
    )
}

fn blocks_text(
    parts: &ReceiverParts<'_>,
    lo: &Branches,
    rf: &Branches,
    has_baluns: bool,
) -> String {
    let file = |part: &FolderPart| format!("file = {}", quoted(&part.name));
    let mut text = String::new();
    for block in lo.blocks.iter().chain(&rf.blocks) {
        text.push_str(&block.text());
    }
    for block in lo.blocks.iter().chain(&rf.blocks) {
        for port in &block.left_over {
            let load = match parts.isolated_load {
                Some(load) if block.name == "hybrid" && port == SPLIT[3] => file(load),
                _ => "ohm = 50.0".to_owned(),
            };
            text.push_str(&load_text(&block.port(port), &load));
        }
    }
    let lo_load = parts.lo_load.map_or_else(|| "ohm = 50.0".to_owned(), file);
    for end in &lo.ends {
        text.push_str(&load_text(end, &lo_load));
        if has_baluns {
            text.push_str(&load_text(&other_end(end), &lo_load));
        }
    }
    let rf_load = parts.rf_load.map_or_else(|| "ohm = 50.0".to_owned(), file);
    for end in &rf.ends {
        text.push_str(&load_text(end, &rf_load));
    }
    text
}

/// The second output of a balun by its first.
fn other_end(plus: &str) -> String {
    plus.replace(".plus", ".minus")
}

fn mixers_text(lo: &Branches, rf: &Branches, has_baluns: bool) -> String {
    let mut text =
        "\n# Where LO and RF meet: two mixers of a balanced pair may share an RF port.\n"
            .to_owned();
    for (channel, (lo, rf)) in ["i", "q"].into_iter().zip(lo.ends.iter().zip(&rf.ends)) {
        let plus = ("+", "plus", lo.clone());
        let minus = has_baluns.then(|| ("-", "minus", other_end(lo)));
        for (polarity, name, lo) in std::iter::once(plus).chain(minus) {
            let _ = writeln!(
                text,
                "[[mixer]]\nname = \"{channel}_{name}\"\nchannel = \"{channel}\"\n\
                 polarity = \"{polarity}\"\nlo = {}\nrf = {}\n",
                quoted(&lo),
                quoted(rf)
            );
        }
    }
    text
}

fn tail_text(parts: &ReceiverParts<'_>) -> String {
    let mut text = String::new();
    if let Some([i, q]) = parts.if_paths {
        let _ = writeln!(
            text,
            "# The files must cover if_ghz.\n[if_path]\ni = {}\nq = {}\n",
            quoted(&i.name),
            quoted(&q.name)
        );
    }
    text.push_str(
        "# What the receiver must hold.\n\
         [require]\n\
         image_rejection_db = 25.0\n\
         # amplitude_imbalance_db = 0.5\n\
         # quadrature_error_deg = 3.0\n\
         # lo_power_dbm_min = 0.0\n",
    );
    text
}
