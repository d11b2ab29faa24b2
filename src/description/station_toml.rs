//! STATION.toml: many files from a probe station, the fixtures to remove, and checks.
//!
//! `{die}`, or any other word in braces, represents the part of a name that differs from file to
//! file.

use super::allowed::Allowed;
use super::error::DescriptionError;
use super::source::{Pair, TextPlace, TomlFile};
use crate::network::{Port, ThruSplit};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Component, Path, PathBuf};
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct StationEntries {
    files: Spanned<String>,
    output: Option<Spanned<String>>,
    #[serde(default)]
    remove: RemoveEntries,
    #[serde(default)]
    check: CheckEntries,
    effective_permittivity: Option<Spanned<f64>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct RemoveEntries {
    #[serde(default)]
    access_lines: BTreeMap<Spanned<String>, Spanned<String>>,
    open: Option<Spanned<String>>,
    short: Option<Spanned<String>>,
    thru: Option<Spanned<String>>,
    thru_split: Option<Spanned<SplitName>>,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SplitName {
    Line,
    Pad,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct CheckEntries {
    thru: Option<Spanned<String>>,
    thru_ports: Option<Spanned<Pair<usize>>>,
    thru_residual: Option<Spanned<f64>>,
    before: Option<Spanned<PathBuf>>,
    after: Option<Spanned<PathBuf>>,
    drift_vector: Option<Spanned<f64>>,
}

/// A file name with at most one word in braces.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct NamePattern {
    text: String,
    /// The range of the word, including its braces.
    braces: Option<Range<usize>>,
}

impl NamePattern {
    /// The name with a text in place of the braces and their word.
    pub(crate) fn with(&self, filling: Option<&str>) -> String {
        match (&self.braces, filling) {
            (Some(at), Some(filling)) => {
                format!("{}{filling}{}", &self.text[..at.start], &self.text[at.end..])
            }
            _ => self.text.clone(),
        }
    }
}

/// One of the files to work on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct StationInput {
    /// Its path.
    pub(crate) path: PathBuf,
    /// The text in place of the braces; `None` if the name has none.
    pub(crate) filling: Option<String>,
}

/// The files to work on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct StationInputs {
    pub(crate) named: Vec<StationInput>,
    /// Files whose names match but are not UTF-8, so that no other name can be derived from them.
    pub(crate) not_text: Vec<PathBuf>,
}

/// The access line of one port: a two-port whose port 1 is outside and whose port 2 faces the part.
#[derive(Clone, Debug)]
pub(crate) struct AccessLine {
    pub(crate) port: Port,
    pub(crate) file: NamePattern,
    place: TextPlace,
}

/// A removal of part of a fixture.
#[derive(Clone, Debug)]
pub(crate) enum RemovalStep {
    /// Access lines, at least one.
    AccessLines(Vec<AccessLine>),
    /// Pads and interconnects, from the same structure left open and shorted.
    OpenShort { open: NamePattern, short: NamePattern },
    /// The halves of a symmetric thru.
    Thru { thru: NamePattern, split: ThruSplit },
}

/// One or two removals, in order.
#[derive(Clone, Debug)]
pub(crate) struct RemovalSteps {
    pub(crate) first: RemovalStep,
    pub(crate) second: Option<RemovalStep>,
}

impl RemovalSteps {
    /// The removals that also apply to a thru; `None` if there is none. A thru cannot be removed from
    /// itself, for which the residual would be zero: `is_itself` says which one it is.
    pub(crate) fn for_thru(&self, is_itself: impl Fn(&NamePattern) -> bool) -> Option<Self> {
        let applies = |step: &&RemovalStep| match step {
            RemovalStep::Thru { thru, .. } => !is_itself(thru),
            _ => true,
        };
        let mut steps = std::iter::once(&self.first).chain(&self.second).filter(applies).cloned();
        Some(Self { first: steps.next()?, second: steps.next() })
    }
}

/// STATION.toml, checked; [`run_station`](crate::batch::run_station) processes its files.
#[derive(Clone, Debug)]
pub struct StationRecipe {
    source: TomlFile,
    files: NamePattern,
    /// The place of `files` in the recipe.
    files_place: TextPlace,
    output: Option<NamePattern>,
    /// The place of `output` in the recipe, if given.
    output_place: Option<TextPlace>,
    pub(crate) removal: RemovalSteps,
    /// The thru to check.
    pub(crate) thru: Option<NamePattern>,
    /// The ports of the station that it connects.
    pub(crate) thru_ports: [Port; 2],
    pub(crate) thru_limit: Option<f64>,
    /// Two measurements of the same part: before and after.
    pub(crate) drift: Option<[PathBuf; 2]>,
    pub(crate) drift_limit: Option<f64>,
    pub(crate) effective_permittivity: Option<f64>,
}

/// Reads STATION.toml. The files that it names are read later, one by one.
///
/// # Errors
/// [`DescriptionError`] at the key or value that cannot be used.
#[doc = include_str!("station.md")]
pub fn read_station(path: &Path) -> Result<StationRecipe, DescriptionError> {
    let source = TomlFile::read(path)?;
    let entries: StationEntries = source.parse()?;
    StationReader::new(&source, &entries.files)?.recipe(&entries)
}

impl StationRecipe {
    /// The path of the recipe.
    #[must_use]
    pub fn path(&self) -> &Path {
        self.source.path()
    }

    /// The path of a file that the recipe names, for one of the files to work on.
    pub(crate) fn path_of(&self, pattern: &NamePattern, filling: Option<&str>) -> PathBuf {
        self.source.beside(Path::new(&pattern.with(filling)))
    }

    /// The path for the network of a file, relative to the folder of the results.
    ///
    /// # Errors
    /// [`DescriptionError`] at `output` for a path that leaves that folder.
    pub(crate) fn output_of(&self, input: &StationInput) -> Result<PathBuf, DescriptionError> {
        let (Some(pattern), Some(place)) = (&self.output, &self.output_place) else {
            // Every file that was read has a name.
            return Ok(input.path.file_name().map_or_else(|| input.path.clone(), PathBuf::from));
        };
        let name = pattern.with(input.filling.as_deref());
        if stays_below(&name) {
            Ok(PathBuf::from(name))
        } else {
            Err(place.complaint(LEAVES_FOLDER))
        }
    }

    /// The path of every file that the run will read or write, as far as known in advance: the
    /// files to read, and the files to write relative to the folder of the results.
    ///
    /// # Errors
    /// [`DescriptionError`] where no file is found, or where an output leaves its folder.
    pub fn planned(&self) -> Result<(Vec<PathBuf>, Vec<PathBuf>), DescriptionError> {
        let (mut read, mut written) = (vec![self.path().to_owned()], Vec::new());
        for input in self.inputs()?.named {
            written.push(self.output_of(&input)?);
            read.push(input.path);
        }
        Ok((read, written))
    }

    /// The files to work on, in the order of their names; at least one.
    ///
    /// # Errors
    /// [`DescriptionError`] at the pattern if its folder cannot be read, or if no file has such a name.
    pub(crate) fn inputs(&self) -> Result<StationInputs, DescriptionError> {
        let text = &self.files.text;
        let Some(at) = &self.files.braces else {
            let path = self.source.beside(text.as_ref());
            let named = vec![StationInput { path, filling: None }];
            return Ok(StationInputs { named, not_text: Vec::new() });
        };
        let folder_end = text[..at.start].rfind('/').map_or(0, |slash| slash + 1);
        let (before, after) = (&text[folder_end..at.start], &text[at.end..]);
        let folder = self.source.beside(Path::new(&text[..folder_end]));
        let shown = if folder == Path::new("") { PathBuf::from(".") } else { folder.clone() };
        let failed = |error: std::io::Error| {
            self.files_place.complaint(format!("{}: {error}", shown.display()))
        };
        let (mut found, mut not_text) = (Vec::new(), Vec::new());
        for entry in std::fs::read_dir(&shown).map_err(failed)? {
            let name = entry.map_err(failed)?.file_name();
            let text = name.to_string_lossy();
            let middle = text.strip_prefix(before).and_then(|rest| rest.strip_suffix(after));
            let Some(filling) = middle.filter(|middle| !middle.is_empty()) else { continue };
            if name.to_str().is_some() {
                let filling = Some(filling.to_owned());
                found.push(StationInput { path: folder.join(&name), filling });
            } else {
                // The differing part is not text that could be used in another name.
                not_text.push(folder.join(&name));
            }
        }
        found.sort_by(|one, other| one.path.cmp(&other.path));
        not_text.sort();
        if found.is_empty() && not_text.is_empty() {
            let what = format!("no file has such a name in {}", shown.display());
            return Err(self.files_place.complaint(what));
        }
        Ok(StationInputs { named: found, not_text })
    }
}

impl AccessLine {
    /// The error for a port that a file of `ports` ports does not have.
    pub(crate) fn no_such_port(&self, file: &Path, ports: usize) -> DescriptionError {
        let what = format!("{} has {ports} ports, and no port {}", file.display(), self.port);
        self.place.complaint(what)
    }
}

struct StationReader<'a> {
    source: &'a TomlFile,
    files: NamePattern,
}

impl<'a> StationReader<'a> {
    fn new(source: &'a TomlFile, given: &Spanned<String>) -> Result<Self, DescriptionError> {
        let text = given.get_ref();
        let braces = braces(text);
        let is_plain = !text.contains(['{', '}']);
        // The differing part is found from the names in one folder.
        if !is_plain && braces.as_ref().is_none_or(|at| text[at.start..].contains('/')) {
            let what = "files must have one {name} for the differing part, in the file's name, not its folder";
            return Err(source.complaint(given, what));
        }
        Ok(Self { source, files: NamePattern { text: text.clone(), braces } })
    }

    fn recipe(self, entries: &StationEntries) -> Result<StationRecipe, DescriptionError> {
        let check = &entries.check;
        let removal = self.removal(&entries.remove)?;
        let thru = self.optional_pattern(check.thru.as_ref())?;
        self.check_thru_differs(entries)?;
        if let (Some(limit), None) = (&check.thru_residual, &check.thru) {
            let what = "thru_residual limits a thru; thru is missing";
            return Err(self.source.complaint(limit, what));
        }
        let number = |key, given: &Option<Spanned<f64>>, from, to| {
            self.source.optional_number(key, given.as_ref(), Allowed::FromTo(from, to))
        };
        Ok(StationRecipe {
            files_place: self.source.place(entries.files.span()),
            output: self.output(entries.output.as_ref())?,
            output_place: entries.output.as_ref().map(|given| self.source.place(given.span())),
            removal,
            thru,
            thru_ports: self.thru_ports(check)?,
            thru_limit: number("thru_residual", &check.thru_residual, 0.0, 1.0)?,
            drift: self.drift(check)?,
            drift_limit: number("drift_vector", &check.drift_vector, 0.0, 1.0)?,
            effective_permittivity: number(
                "effective_permittivity",
                &entries.effective_permittivity,
                1.0,
                1000.0,
            )?,
            source: self.source.clone(),
            files: self.files,
        })
    }

    /// A name whose braces must be those of `files`.
    fn pattern(&self, given: &Spanned<String>) -> Result<NamePattern, DescriptionError> {
        let text = given.get_ref();
        let braces = braces(text);
        let own = self.files.braces.clone().map(|at| &self.files.text[at]);
        if text.contains(['{', '}']) && braces.clone().map(|at| &text[at]) != own {
            let what = match own {
                Some(own) => format!("files has {own}; this name must have the same"),
                None => "files has no braces; this name must have none".to_owned(),
            };
            return Err(self.source.complaint(given, what));
        }
        Ok(NamePattern { text: text.clone(), braces })
    }

    fn optional_pattern(
        &self,
        given: Option<&Spanned<String>>,
    ) -> Result<Option<NamePattern>, DescriptionError> {
        given.map(|given| self.pattern(given)).transpose()
    }

    /// The name of the output, which must be in the folder of the results.
    fn output(
        &self,
        given: Option<&Spanned<String>>,
    ) -> Result<Option<NamePattern>, DescriptionError> {
        let Some(given) = given else { return Ok(None) };
        let pattern = self.pattern(given)?;
        if !stays_below(&pattern.with(Some("x"))) {
            return Err(self.source.complaint(given, LEAVES_FOLDER));
        }
        Ok(Some(pattern))
    }

    fn removal(&self, remove: &RemoveEntries) -> Result<RemovalSteps, DescriptionError> {
        let lines = remove
            .access_lines
            .iter()
            .map(|(port, file)| self.access_line(port, file))
            .collect::<Result<Vec<_>, _>>()?;
        if let (Some(split), None) = (&remove.thru_split, &remove.thru) {
            return Err(self.source.complaint(split, "thru_split needs thru beside it"));
        }
        let standard = match (&remove.open, &remove.short, &remove.thru) {
            (Some(_), _, Some(thru)) | (_, Some(_), Some(thru)) => {
                let what = "either open and short are removed, or the halves of a thru";
                return Err(self.source.complaint(thru, what));
            }
            (Some(given), None, _) => {
                return Err(self.source.complaint(given, "open needs short beside it"));
            }
            (None, Some(given), _) => {
                return Err(self.source.complaint(given, "short needs open beside it"));
            }
            (Some(open), Some(short), None) => Some(RemovalStep::OpenShort {
                open: self.pattern(open)?,
                short: self.pattern(short)?,
            }),
            (None, None, Some(thru)) => {
                let split = match remove.thru_split.as_ref().map(|given| *given.get_ref()) {
                    Some(SplitName::Pad) => ThruSplit::Pad,
                    // The documented default.
                    Some(SplitName::Line) | None => ThruSplit::Line,
                };
                Some(RemovalStep::Thru { thru: self.pattern(thru)?, split })
            }
            (None, None, None) => None,
        };
        let lines = (!lines.is_empty()).then_some(RemovalStep::AccessLines(lines));
        let mut steps = lines.into_iter().chain(standard);
        match steps.next() {
            Some(first) => Ok(RemovalSteps { first, second: steps.next() }),
            None => Err(self.source.complaint_in_file(
                "nothing to remove: [remove] needs access_lines, open and short, or thru",
            )),
        }
    }

    fn access_line(
        &self,
        port: &Spanned<String>,
        file: &Spanned<String>,
    ) -> Result<AccessLine, DescriptionError> {
        let text = port.get_ref().trim();
        let parsed = text.parse().ok().and_then(Port::from_number);
        let Some(number) = parsed else {
            let what = format!("access_lines needs a port's number, from 1, found '{text}'");
            return Err(self.source.complaint(port, what));
        };
        Ok(AccessLine {
            port: number,
            file: self.pattern(file)?,
            place: self.source.place(port.span()),
        })
    }

    /// If the standards differ from file to file, a thru from which they are removed differs as
    /// well.
    fn check_thru_differs(&self, entries: &StationEntries) -> Result<(), DescriptionError> {
        let differs = |given: &Option<Spanned<String>>| {
            given.as_ref().is_some_and(|given| given.get_ref().contains('{'))
        };
        let remove = &entries.remove;
        match &entries.check.thru {
            Some(thru)
                if !thru.get_ref().contains('{')
                    && (differs(&remove.open) || differs(&remove.short)) =>
            {
                let what = "open and short differ from file to file; the thru must differ as well";
                Err(self.source.complaint(thru, what))
            }
            _ => Ok(()),
        }
    }

    /// The ports of the station that the thru connects; default: 1 and 2.
    fn thru_ports(&self, check: &CheckEntries) -> Result<[Port; 2], DescriptionError> {
        let Some(given) = &check.thru_ports else {
            return Ok([Port::from_index(0), Port::from_index(1)]);
        };
        let Pair(first, second) = *given.get_ref();
        match (Port::from_number(first), Port::from_number(second)) {
            (Some(one), Some(other)) if one != other && check.thru.is_some() => Ok([one, other]),
            _ => {
                let what = "thru_ports needs two different ports, from 1, and a thru";
                Err(self.source.complaint(given, what))
            }
        }
    }

    fn drift(&self, check: &CheckEntries) -> Result<Option<[PathBuf; 2]>, DescriptionError> {
        for given in [&check.before, &check.after].into_iter().flatten() {
            if given.get_ref().to_string_lossy().contains(['{', '}']) {
                let what = "before and after must be one file each, without braces";
                return Err(self.source.complaint(given, what));
            }
        }
        match (&check.before, &check.after, &check.drift_vector) {
            (Some(before), Some(after), _) if before.get_ref() == after.get_ref() => {
                let what = "before and after are one file: a drift is between two measurements";
                Err(self.source.complaint(after, what))
            }
            (Some(before), Some(after), _) => {
                Ok(Some([before, after].map(|file| self.source.beside(file.get_ref()))))
            }
            (Some(given), None, _) | (None, Some(given), _) => {
                Err(self.source.complaint(given, "the drift check needs both before and after"))
            }
            (None, None, Some(limit)) => {
                let what = "drift_vector limits a drift; before and after are missing";
                Err(self.source.complaint(limit, what))
            }
            (None, None, None) => Ok(None),
        }
    }
}

const LEAVES_FOLDER: &str = "output must be a file in the folder of the results or below: neither an \
    absolute path nor one with '..'";

/// Whether a path leads to a file below its start folder.
fn stays_below(name: &str) -> bool {
    let path = Path::new(name);
    let is_plain = |part| matches!(part, Component::Normal(_) | Component::CurDir);
    path.file_name().is_some() && !name.ends_with('/') && path.components().all(is_plain)
}

/// The range of the braces in a name, including them; `None` unless there is exactly one pair.
fn braces(name: &str) -> Option<Range<usize>> {
    let (open, close) = (name.find('{')?, name.find('}')?);
    let is_one = name.matches(['{', '}']).count() == 2 && open < close;
    is_one.then_some(open..close + 1)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn braces_are_found_and_filled() {
        let pattern = |text: &str| NamePattern { text: text.to_owned(), braces: braces(text) };
        assert_eq!(pattern("line_{die}.s2p").with(Some("d7")), "line_d7.s2p");
        assert_eq!(pattern("open.s2p").with(Some("d7")), "open.s2p");
        for text in ["{a}_{b}", "}a{", "{a", "a}"] {
            assert_eq!(braces(text), None, "{text}");
        }
    }

    #[test]
    fn a_thru_is_not_removed_from_itself() {
        let thru = || RemovalStep::Thru {
            thru: NamePattern { text: "t".to_owned(), braces: None },
            split: ThruSplit::Line,
        };
        let lines = RemovalStep::AccessLines(Vec::new());
        let both = RemovalSteps { first: lines, second: Some(thru()) };
        let kept = both.for_thru(|_| true).unwrap();
        assert!(matches!(kept.first, RemovalStep::AccessLines(_)) && kept.second.is_none());
        let alone = RemovalSteps { first: thru(), second: None };
        assert!(alone.for_thru(|_| true).is_none());
        // Another thru is removed from it.
        assert!(alone.for_thru(|_| false).is_some());
    }
}
