//! Which file of a folder is which part of a receiver: by its ports and its data, and by its name only
//! where data cannot show it.

use super::folder_parts::{FolderPart, FolderParts};
use crate::splitter::SplitterKind;

/// A termination that reflects less than this on average is taken for a matched one.
const MATCHED_BELOW: f64 = 0.2;

/// The files of a receiver by what they are for.
#[derive(Clone, Debug, Default)]
pub(super) struct ReceiverParts<'f> {
    pub(super) hybrid: Option<&'f FolderPart>,
    pub(super) divider: Option<&'f FolderPart>,
    /// In I and in Q.
    pub(super) baluns: Option<[&'f FolderPart; 2]>,
    pub(super) lo_lines: Option<[&'f FolderPart; 2]>,
    pub(super) rf_lines: Option<[&'f FolderPart; 2]>,
    pub(super) if_paths: Option<[&'f FolderPart; 2]>,
    pub(super) isolated_load: Option<&'f FolderPart>,
    pub(super) lo_load: Option<&'f FolderPart>,
    pub(super) rf_load: Option<&'f FolderPart>,
    pub(super) guesses: Vec<String>,
}

impl<'f> ReceiverParts<'f> {
    pub(super) fn of(found: &'f FolderParts) -> Self {
        let mut parts = Self { guesses: found.remarks.clone(), ..Self::default() };
        let splitters = |kind: SplitterKind| -> Vec<&'f FolderPart> {
            let is_of =
                |part: &&FolderPart| part.roles.as_ref().is_some_and(|roles| roles.kind == kind);
            found.parts.iter().filter(is_of).collect()
        };
        let hybrids = splitters(SplitterKind::Quadrature);
        let dividers = splitters(SplitterKind::Inphase);
        let baluns = splitters(SplitterKind::Antiphase);
        parts.hybrid = parts.one(&hybrids, "the quadrature coupler of the LO path");
        parts.divider = parts.one(&dividers, "the RF divider");
        parts.baluns = parts.two(&baluns, "the balun");
        // What splits nothing is sorted by where it can work.
        let mut rest: Vec<&FolderPart> =
            found.parts.iter().filter(|part| part.roles.is_none()).collect();
        for part in rest.extract_if(.., |part| part.ports() > 2) {
            parts
                .guesses
                .push(format!("{} is not used: its data are not those of a splitter", part.name));
        }
        let split_from_hz = found
            .parts
            .iter()
            .filter(|part| part.roles.is_some())
            .map(|part| part.band_hz().0)
            .fold(f64::INFINITY, f64::min);
        let is_if = |part: &&FolderPart| {
            part.is_called(&["if"]) || part.band_hz().1 < split_from_hz && split_from_hz.is_finite()
        };
        let (two_ports, one_ports): (Vec<&FolderPart>, Vec<&FolderPart>) =
            rest.into_iter().partition(|part| part.ports() == 2);
        let (if_paths, lines): (Vec<_>, Vec<_>) = two_ports.into_iter().partition(is_if);
        let (rf_lines, lo_lines): (Vec<_>, Vec<_>) =
            lines.into_iter().partition(|part| part.is_called(&["rf"]));
        parts.lo_lines = parts.two(&lo_lines, "the interconnect behind the LO coupler");
        parts.rf_lines = parts.two(&rf_lines, "the line behind the RF divider");
        parts.if_paths = parts.two(&if_paths, "the IF path");
        parts.one_ports(one_ports);
        parts
    }

    fn one(&mut self, files: &[&'f FolderPart], what: &str) -> Option<&'f FolderPart> {
        let (first, others) = files.split_first()?;
        let shown = first.roles.as_ref().map(|roles| {
            let isolated = roles.isolated.map(|port| format!(", isolated {port}"));
            let [a, b] = roles.outputs;
            format!(
                " ({}, from its data: input {}, outputs {a} and {b}{})",
                roles.kind,
                roles.input,
                isolated.unwrap_or_default()
            )
        });
        self.guesses.push(format!("{} is {what}{}", first.name, shown.unwrap_or_default()));
        self.unused(others, what);
        Some(first)
    }

    /// One file serves I and Q alike; of two the one whose name has a q is in Q.
    fn two(&mut self, files: &[&'f FolderPart], what: &str) -> Option<[&'f FolderPart; 2]> {
        let [i, q] = match *files {
            [] => return None,
            [only] => {
                self.guesses.push(format!("{} is {what}, the same in I and Q", only.name));
                return Some([only, only]);
            }
            [first, second, ref others @ ..] => {
                self.unused(others, what);
                let is_q = |part: &FolderPart| part.is_called(&["q", "quadrature"]);
                if is_q(first) && !is_q(second) { [second, first] } else { [first, second] }
            }
        };
        self.guesses.push(format!("{} is {what} in I, {} that in Q", i.name, q.name));
        Some([i, q])
    }

    fn unused(&mut self, others: &[&FolderPart], what: &str) {
        for other in others {
            self.guesses.push(format!("{} is not used: {what} is found already", other.name));
        }
    }

    /// The best matched one-port is the load of the isolated port, the others are those of mixers.
    fn one_ports(&mut self, mut files: Vec<&'f FolderPart>) {
        files.sort_by(|one, other| one.mean_magnitude(0, 0).total_cmp(&other.mean_magnitude(0, 0)));
        let is_rf = |part: &&FolderPart| part.is_called(&["rf"]);
        if let Some(at) = files.iter().position(is_rf) {
            let part = files.remove(at);
            self.guesses.push(format!("{} is the RF load of each mixer, from its name", part.name));
            self.rf_load = Some(part);
        }
        if let Some(part) = files.first().copied()
            && part.mean_magnitude(0, 0) < MATCHED_BELOW
        {
            files.remove(0);
            self.guesses.push(format!(
                "{} is the load of the isolated port: it reflects little ({:.3})",
                part.name,
                part.mean_magnitude(0, 0)
            ));
            self.isolated_load = Some(part);
        }
        if let Some((first, others)) = files.split_first() {
            self.guesses.push(format!("{} is the LO load of each mixer", first.name));
            self.unused(others, "the LO load of the mixers");
            self.lo_load = Some(first);
        }
    }

    /// Every file that is used at RF or LO.
    pub(super) fn in_band(&self) -> impl Iterator<Item = &'f FolderPart> + '_ {
        let pairs = [self.baluns, self.lo_lines, self.rf_lines].into_iter().flatten().flatten();
        let single = [self.hybrid, self.divider, self.isolated_load, self.lo_load, self.rf_load];
        single.into_iter().flatten().chain(pairs)
    }
}
