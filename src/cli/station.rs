//! `fourphase station`: one recipe over many files from a probe station.

use super::args::{Format, Station};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::output::Outgoing;
use crate::batch::{StationFile, StationResult, StationVerdict, ThruCheck};
use crate::description::TomlFile;
use crate::description::{Allowed, DescriptionError, DescriptionProblem};
use crate::measurement::{Drift, ThroughResidual, drift, through_residual};
use crate::network::{
    Deembedded, Network, NetworkError, ThroughSplit, onto_grid, remove_feeds, remove_open_short,
    remove_through,
};
use crate::report::{ReportFile, document, publish, station_csv, station_json, station_text};
use crate::touchstone::{ReadOptions, TouchstoneFile, read};
use serde::Deserialize;
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, HashMap};
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// STATION.toml.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct StationEntry {
    files: Spanned<String>,
    output: Option<Spanned<String>>,
    #[serde(default)]
    remove: RemoveEntry,
    #[serde(default)]
    check: CheckEntry,
    effective_permittivity: Option<Spanned<f64>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct RemoveEntry {
    #[serde(default)]
    feeds: BTreeMap<Spanned<String>, Spanned<String>>,
    open: Option<Spanned<String>>,
    short: Option<Spanned<String>>,
    through: Option<Spanned<String>>,
    through_split: Option<SplitName>,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SplitName {
    Line,
    Pad,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct CheckEntry {
    through: Option<Spanned<String>>,
    through_residual: Option<Spanned<f64>>,
    before: Option<Spanned<PathBuf>>,
    after: Option<Spanned<PathBuf>>,
    drift_vector: Option<Spanned<f64>>,
}

/// What a name has in place of the braces.
type Filling = Option<String>;

struct Job<'a> {
    recipe: TomlFile,
    entry: StationEntry,
    options: ReadOptions,
    console: &'a Console,
    /// Files that have been read: standards serve many.
    known: HashMap<PathBuf, Network>,
    inputs: Vec<PathBuf>,
}

pub(super) fn run(given: &Station, console: &Console) -> Result<Outcome, Failure> {
    let recipe = TomlFile::read(&given.recipe)?;
    let entry: StationEntry = recipe.parse()?;
    let inputs = vec![given.recipe.clone()];
    let options = given.reading.options();
    let mut job = Job { recipe, entry, options, console, known: HashMap::new(), inputs };
    job.check_recipe()?;
    let found = job.files()?;
    let drift = job.drift()?;
    let mut rows = Vec::new();
    let mut written: Vec<ReportFile> = Vec::new();
    let mut checks: BTreeMap<PathBuf, ThroughResidual> = BTreeMap::new();
    for (path, filling) in &found {
        let row = match job.one(path, filling, &given.out) {
            Ok((removed, file)) => {
                written.push(file);
                StationFile::done(&path.display().to_string(), &removed)
            }
            Err(failure) => {
                console.error(&failure.diagnostic());
                StationFile::failed(&path.display().to_string(), &failure.to_string())
            }
        };
        let through = job.entry.check.through.clone();
        if let Some(pattern) = through {
            let through = job.place(pattern.get_ref(), filling);
            if let Entry::Vacant(slot) = checks.entry(through.clone()) {
                match job.through(&through, filling) {
                    Ok(residual) => drop(slot.insert(residual)),
                    Err(failure) => {
                        console.error(&failure.diagnostic());
                        let name = through.display().to_string();
                        rows.push(StationFile::failed(&name, &failure.to_string()));
                    }
                }
            }
        }
        rows.push(row);
    }
    let limit = |given: &Option<Spanned<f64>>| given.as_ref().map(|limit| *limit.get_ref());
    let report = StationResult {
        files: rows,
        thru_limit: limit(&job.entry.check.through_residual),
        thrus: checks
            .into_iter()
            .map(|(path, residual)| ThruCheck { file: path.display().to_string(), residual })
            .collect(),
        drift_limit: limit(&job.entry.check.drift_vector),
        drift,
        effective_permittivity: limit(&job.entry.effective_permittivity),
    };
    if let Some(folder) = &given.out {
        let file = |name: &str, text: String| ReportFile {
            path: folder.join(name),
            bytes: text.into_bytes(),
        };
        written.push(file("station.json", document(&station_json(&report))?));
        written.push(file("station.csv", station_csv(&report)?));
        publish(&written, &job.inputs, given.overwrite)?;
        console.notice(&format!("wrote {} files into {}", written.len(), folder.display()));
    }
    match given.format {
        Format::Json => console.data(&document(&station_json(&report))?)?,
        Format::Csv => console.data(&station_csv(&report)?)?,
        Format::Text => console.data(&station_text(&report))?,
    }
    Ok(match report.verdict() {
        StationVerdict::Pass => Outcome::Holds,
        StationVerdict::Fail => Outcome::Fails,
        StationVerdict::Incomplete => Outcome::Incomplete,
    })
}

impl Job<'_> {
    fn check_recipe(&self) -> Result<(), DescriptionError> {
        let entry = &self.entry;
        let recipe = &self.recipe;
        let pattern = entry.files.get_ref();
        let is_plain = !pattern.contains(['{', '}']);
        // What differs is told from names, so it stands behind the last folder.
        if !is_plain && braces(pattern).is_none_or(|at| pattern[at.start..].contains('/')) {
            let what = "one {name} stands for what differs, in the file's name, not its folder";
            return Err(recipe.complaint(&entry.files, what));
        }
        let remove = &entry.remove;
        let check = &entry.check;
        let own = braces(pattern).map(|at| &pattern[at]);
        let named = [&entry.output, &remove.open, &remove.short, &remove.through, &check.through];
        for given in named.into_iter().flatten().chain(remove.feeds.values()) {
            let text = given.get_ref();
            if text.contains(['{', '}']) && braces(text).map(|at| &text[at]) != own {
                let own = own.unwrap_or("no braces");
                return Err(recipe.complaint(given, format!("files has {own}; so must this")));
            }
        }
        for given in [&check.before, &check.after].into_iter().flatten() {
            if given.get_ref().to_string_lossy().contains(['{', '}']) {
                return Err(
                    recipe.complaint(given, "before and after are one file each, without braces")
                );
            }
        }
        let differs = |given: &Option<Spanned<String>>| {
            given.as_ref().is_some_and(|given| given.get_ref().contains('{'))
        };
        if let Some(through) = check.through.as_ref().filter(|_| !differs(&check.through))
            && (differs(&remove.open) || differs(&remove.short))
        {
            let what = "open and short differ from file to file; so must the through that they are taken off";
            return Err(recipe.complaint(through, what));
        }
        match (&remove.open, &remove.short) {
            (Some(open), None) => return Err(recipe.complaint(open, "open needs short beside it")),
            (None, Some(short)) => {
                return Err(recipe.complaint(short, "short needs open beside it"));
            }
            _ => {}
        }
        if let (Some(through), Some(_)) = (&remove.through, &remove.open) {
            let what = "either open and short are taken off, or the halves of a through";
            return Err(recipe.complaint(through, what));
        }
        if remove.open.is_none() && remove.through.is_none() && remove.feeds.is_empty() {
            return Err(recipe.complaint_in_file(
                "nothing to take off: [remove] names feeds, open and short, or through",
            ));
        }
        if let (Some(given), None) | (None, Some(given)) = (&check.before, &check.after) {
            return Err(recipe.complaint(given, "the drift check takes both before and after"));
        }
        if let (Some(limit), None) = (&check.through_residual, &check.through) {
            return Err(
                recipe.complaint(limit, "through_residual limits a through, which is missing")
            );
        }
        if let (Some(limit), None) = (&check.drift_vector, &check.before) {
            return Err(recipe
                .complaint(limit, "drift_vector limits a drift; before and after are missing"));
        }
        for (key, limit) in
            [("through_residual", &check.through_residual), ("drift_vector", &check.drift_vector)]
        {
            recipe.optional_number(key, limit.as_ref(), Allowed::FromTo(0.0, 2.0))?;
        }
        let permittivity = entry.effective_permittivity.as_ref();
        let allowed = Allowed::FromTo(1.0, 1000.0);
        recipe.optional_number("effective_permittivity", permittivity, allowed)?;
        Ok(())
    }

    /// The files that the pattern meets, in order of their names.
    fn files(&self) -> Result<Vec<(PathBuf, Filling)>, DescriptionError> {
        let pattern = &self.entry.files;
        let Some(at) = braces(pattern.get_ref()) else {
            return Ok(vec![(self.recipe.beside(Path::new(pattern.get_ref())), None)]);
        };
        let text = pattern.get_ref();
        let folder_end = text[..at.start].rfind('/').map_or(0, |slash| slash + 1);
        let (folder, before, after) =
            (&text[..folder_end], &text[folder_end..at.start], &text[at.end..]);
        let folder = self.recipe.beside(Path::new(folder));
        let shown = if folder == Path::new("") { PathBuf::from(".") } else { folder.clone() };
        let listed = std::fs::read_dir(&shown).map_err(|error| {
            self.recipe.complaint(pattern, format!("{}: {error}", shown.display()))
        })?;
        let mut found = Vec::new();
        for entry in listed.flatten() {
            let name = entry.file_name();
            let middle = name.to_str().and_then(|name| {
                name.strip_prefix(before)?.strip_suffix(after).filter(|middle| !middle.is_empty())
            });
            if let Some(middle) = middle {
                found.push((folder.join(&name), Some(middle.to_owned())));
            }
        }
        found.sort();
        if found.is_empty() {
            return Err(self.recipe.complaint(pattern, "no file has such a name"));
        }
        Ok(found)
    }

    /// A name of the recipe for one of the files.
    fn place(&self, pattern: &str, filling: &Filling) -> PathBuf {
        self.recipe.beside(Path::new(&filled(pattern, filling)))
    }

    fn read(&mut self, path: &Path) -> Result<TouchstoneFile, Failure> {
        let file = read(path, &self.options)?;
        for warning in &file.warnings {
            self.console.warning(&format!("{}:{warning}", path.display()));
        }
        self.inputs.push(path.to_owned());
        Ok(file)
    }

    /// A standard at the frequencies of a measurement.
    fn standard(&mut self, path: &Path, measured: &Network) -> Result<Network, Failure> {
        if !self.known.contains_key(path) {
            let network = self.read(path)?.network;
            self.known.insert(path.to_owned(), network);
        }
        let failed = |source| Failure::Network { file: path.to_owned(), source };
        let network = self.known.get(path).ok_or(NetworkError::NoFrequencies).map_err(failed)?;
        let interpolated = onto_grid(network, measured.grid()).map_err(failed)?;
        if let Some(step) = interpolated.unsafe_step {
            self.console.warning(&format!("{}: {step}", path.display()));
        }
        Ok(interpolated.network)
    }

    /// What the recipe takes off, taken off.
    fn removed(
        &mut self,
        path: &Path,
        measured: &Network,
        filling: &Filling,
        has_through: bool,
    ) -> Result<Deembedded, Failure> {
        let failed = |source| Failure::Network { file: path.to_owned(), source };
        let mut feeds: Vec<Option<Network>> = vec![None; measured.ports()];
        let named: Vec<(usize, Range<usize>, PathBuf)> = self
            .entry
            .remove
            .feeds
            .iter()
            .map(|(port, file)| {
                let number = port.get_ref().trim().parse().unwrap_or(0);
                (number, port.span(), self.place(file.get_ref(), filling))
            })
            .collect();
        for (number, span, file) in named {
            if number == 0 || number > measured.ports() {
                let what = format!("{} has no such port", path.display());
                return Err(self.recipe.error(DescriptionProblem::Value { what }, span).into());
            }
            feeds[number - 1] = Some(self.standard(&file, measured)?);
        }
        let mut steps: Vec<Deembedded> = Vec::new();
        if feeds.iter().any(Option::is_some) {
            let feeds: Vec<Option<&Network>> = feeds.iter().map(Option::as_ref).collect();
            steps.push(remove_feeds(measured, &feeds).map_err(failed)?);
        }
        let left = |steps: &[Deembedded]| {
            steps.last().map_or_else(|| measured.clone(), |step| step.network.clone())
        };
        let remove = &self.entry.remove;
        let pair = remove.open.as_ref().zip(remove.short.as_ref()).map(|(open, short)| {
            [open, short].map(|pattern| self.place(pattern.get_ref(), filling))
        });
        let through = remove.through.as_ref().filter(|_| has_through);
        let through = through.map(|pattern| self.place(pattern.get_ref(), filling));
        let split = match remove.through_split {
            Some(SplitName::Pad) => ThroughSplit::Pad,
            Some(SplitName::Line) | None => ThroughSplit::Line,
        };
        if let Some([open, short]) = pair {
            let now = left(&steps);
            let (open, short) = (self.standard(&open, &now)?, self.standard(&short, &now)?);
            steps.push(remove_open_short(&now, &open, &short).map_err(failed)?);
        }
        if let Some(through) = through {
            let now = left(&steps);
            let through = self.standard(&through, &now)?;
            steps.push(remove_through(&now, &through, split).map_err(failed)?);
        }
        let Some(mut last) = steps.pop() else {
            return Err(failed(NetworkError::NoFrequencies));
        };
        for step in steps {
            if step.worst_condition.value > last.worst_condition.value {
                last.worst_condition = step.worst_condition;
            }
            last.singular_value_before = step.singular_value_before;
            last.warnings.splice(0..0, step.warnings);
        }
        Ok(last)
    }

    /// One file of the list, and what is to be written for it.
    fn one(
        &mut self,
        path: &Path,
        filling: &Filling,
        out: &Option<PathBuf>,
    ) -> Result<(Deembedded, ReportFile), Failure> {
        let file = self.read(path)?;
        let removed = self.removed(path, &file.network, filling, true)?;
        for warning in &removed.warnings {
            self.console.warning(&format!("{}: {warning}", path.display()));
        }
        let name = match &self.entry.output {
            Some(pattern) => filled(pattern.get_ref(), filling),
            None => path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        };
        let target = out.as_deref().unwrap_or(Path::new("")).join(name);
        let outgoing = Outgoing {
            network: removed.network.clone(),
            comments: file.comments,
            noise: Vec::new(),
            noise_reference_ohm: file.noise_reference_ohm,
            number_format: file.number_format,
            frequency_unit: file.frequency_unit,
        };
        let bytes = outgoing.bytes(&target)?;
        Ok((removed, ReportFile { path: target, bytes }))
    }

    /// A through with feeds, pads and leads taken off as from any file.
    fn through(&mut self, path: &Path, filling: &Filling) -> Result<ThroughResidual, Failure> {
        let measured = self.read(path)?.network;
        let remove = &self.entry.remove;
        let is_bare = remove.open.is_none() && remove.feeds.is_empty();
        let network =
            if is_bare { measured } else { self.removed(path, &measured, filling, false)?.network };
        through_residual(&network)
            .map_err(|source| Failure::Network { file: path.to_owned(), source })
    }

    fn drift(&mut self) -> Result<Option<Drift>, Failure> {
        let check = &self.entry.check;
        let Some((before, after)) = check.before.as_ref().zip(check.after.as_ref()) else {
            return Ok(None);
        };
        let [before, after] = [before, after].map(|file| self.recipe.beside(file.get_ref()));
        let first = self.read(&before)?.network;
        let second = self.read(&after)?.network;
        drift(&first, &second).map(Some).map_err(|source| Failure::Network { file: after, source })
    }
}

/// Where a pattern has its braces, with them; `None` unless there is just one pair.
fn braces(pattern: &str) -> Option<Range<usize>> {
    let (open, close) = (pattern.find('{')?, pattern.find('}')?);
    let is_one = pattern.matches(['{', '}']).count() == 2 && open < close;
    is_one.then_some(open..close + 1)
}

/// A pattern with what stands in place of its braces.
fn filled(pattern: &str, filling: &Filling) -> String {
    match (braces(pattern), filling) {
        (Some(at), Some(filling)) => {
            format!("{}{filling}{}", &pattern[..at.start], &pattern[at.end..])
        }
        _ => pattern.to_owned(),
    }
}
