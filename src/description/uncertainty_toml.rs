//! UNCERTAINTY.toml, or the short form on the command line: how uncertain S-parameters are.

use super::uncertainty_entries::{
    AmountEntry, Description, GivenUncertainty, MOST, OverFrequencyName, SourceEntry, unplaced,
};
use super::uncertainty_tables::{AmountTable, covariance};

use super::allowed::Allowed;
use super::error::{DescriptionError, DescriptionProblem};
use super::receiver_toml::LoadedReceiver;
use super::source::TomlFile;
use crate::downconverter::{Place, Receiver, ReceiverQuantity, Way};
use crate::measurement::{
    Amounts, DecisionSettings, MeasurementError, OverFrequency, PartSource, Source, TrialSettings,
    UncertainPart,
};
use crate::network::{Network, NetworkError};
use crate::splitter::RequirementKind;
use crate::touchstone::{ReadOptions, read};
use crate::units::neper_from_db;
use nalgebra::DMatrix;
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// Uncertainty as described, its files read.
pub struct Uncertainty {
    described: Option<TomlFile>,
    sources: Vec<DescribedSource>,
    pub trials: TrialSettings,
    pub decisions: DecisionSettings,
    /// The description and every file it names.
    pub inputs: Vec<PathBuf>,
    /// What the user should know.
    pub warnings: Vec<String>,
}

/// One source, whatever networks it is of.
struct DescribedSource {
    name: String,
    entry: SourceEntry,
    what: What,
}

/// What it says.
pub(super) enum What {
    Stated(Option<AmountTable>),
    Repeats(Vec<Network>),
    Covariance { ports: usize, at_hz: Vec<f64>, matrices: Vec<DMatrix<Complex64>> },
}

impl Uncertainty {
    pub fn read(given: &GivenUncertainty, options: &ReadOptions) -> Result<Self, DescriptionError> {
        let (described, description) = match given {
            GivenUncertainty::File(path) => {
                let described = TomlFile::read(path)?;
                let description: Description = described.parse()?;
                (Some(described), description)
            }
            GivenUncertainty::Short(amounts, over_frequency) => {
                let entry = SourceEntry {
                    transmission: Some(amounts.clone()),
                    reflection: Some(amounts.clone()),
                    over_frequency: Some(unplaced(match over_frequency {
                        OverFrequency::Correlated => OverFrequencyName::Correlated,
                        OverFrequency::Independent => OverFrequencyName::Independent,
                    })),
                    ..SourceEntry::default()
                };
                (None, Description { sources: vec![entry], ..Description::default() })
            }
        };
        let inputs = described.iter().map(|described| described.path().to_owned()).collect();
        let mut read = Self {
            sources: Vec::new(),
            trials: TrialSettings::default(),
            decisions: DecisionSettings::default(),
            inputs,
            warnings: Vec::new(),
            described,
        };
        read.settings(&description)?;
        for (at, entry) in description.sources.into_iter().enumerate() {
            let name = entry.name.clone().unwrap_or_else(|| format!("source {}", at + 1));
            let what = read.what(&entry, &name, options)?;
            read.sources.push(DescribedSource { name, entry, what });
        }
        if read.sources.is_empty() {
            return Err(read.wrong("the description has no [[source]]", 0..0).into());
        }
        Ok(read)
    }

    fn wrong(&self, what: impl Into<String>, span: std::ops::Range<usize>) -> DescriptionError {
        match &self.described {
            Some(described) => {
                described.error(DescriptionProblem::Value { what: what.into() }, span)
            }
            // The short form has been checked already.
            None => DescriptionError::about_file(
                Path::new("the short form"),
                DescriptionProblem::Value { what: what.into() },
            ),
        }
    }

    fn settings(&mut self, description: &Description) -> Result<(), DescriptionError> {
        let Some(described) = &self.described else { return Ok(()) };
        let percent = |given: Option<&Spanned<f64>>, what| {
            described
                .optional_number(what, given, Allowed::FromTo(50.0, 99.9))
                .map(|percent| percent.unwrap_or(95.0) / 100.0)
        };
        let refused = |error: MeasurementError| described.complaint_in_file(error.to_string());
        let coverage = percent(description.coverage_percent.as_ref(), "coverage_percent")?;
        let conformity =
            percent(description.decision.conformity_percent.as_ref(), "conformity_percent")?;
        let stability = description.stability_db.as_ref();
        let stability_db = described
            .optional_number("stability_db", stability, Allowed::FromTo(1e-3, 10.0))?
            .unwrap_or(TrialSettings::default().stability());
        self.trials = TrialSettings::default()
            .with_coverage(coverage)
            .and_then(|trials| trials.with_stability(stability_db))
            .map_err(refused)?;
        self.decisions =
            DecisionSettings::default().with_conformity(conformity).map_err(refused)?;
        if let Some(seed) = description.seed {
            self.trials = self.trials.with_seed(seed);
        }
        if let Some(given) = &description.trials {
            let in_range =
                Some(*given.get_ref()).filter(|count| (100..=10_000_000).contains(count));
            let Some(count) = in_range.and_then(NonZeroUsize::new) else {
                let what =
                    format!("trials must be from 100 to 10000000, found {}", given.get_ref());
                return Err(described.complaint(given, what));
            };
            self.trials = self.trials.with_trials(count);
            #[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
            let outside = count.get() as f64 * (1.0 - coverage);
            if outside < 20.0 {
                self.warnings.push(format!(
                    "{count} trials leave {outside:.0} outside the interval; its ends mean little"
                ));
            }
        }
        let known = [
            ReceiverQuantity::ImageRejection.name(),
            ReceiverQuantity::AmplitudeImbalance.name(),
            ReceiverQuantity::QuadratureError.name(),
            ReceiverQuantity::LoPower.name(),
            RequirementKind::CommonModeRejection.name(),
            RequirementKind::PhaseError.name(),
        ];
        for (name, width) in &description.decision.guard_band {
            if !known.contains(&name.get_ref().as_str()) {
                let what = format!(
                    "there is no requirement '{}'; known are {}",
                    name.get_ref(),
                    known.join(", ")
                );
                return Err(described.complaint(name, what));
            }
            let width = described.number(name.get_ref(), width, Allowed::FromTo(0.0, 100.0))?;
            let decisions = std::mem::take(&mut self.decisions);
            self.decisions = decisions.with_guard_band(name.get_ref(), width).map_err(refused)?;
        }
        Ok(())
    }

    fn what(
        &mut self,
        entry: &SourceEntry,
        name: &str,
        options: &ReadOptions,
    ) -> Result<What, DescriptionError> {
        let stated = entry.transmission.is_some()
            || entry.reflection.is_some()
            || entry.port.is_some()
            || entry.placement.is_some()
            || entry.table.is_some();
        let kinds = [stated, entry.repeats.is_some(), entry.covariance.is_some()];
        if kinds.iter().filter(|given| **given).count() != 1 {
            let span = entry.repeats.as_ref().map(Spanned::span);
            let span = span.or(entry.covariance.as_ref().map(Spanned::span)).unwrap_or(0..0);
            let what = format!(
                "{name} needs one of these: transmission, reflection, port, placement or a table; \
                 repeats; a covariance"
            );
            return Err(self.wrong(what, span).into());
        }
        if let (false, Some(given)) = (stated, &entry.over_frequency) {
            let what = "repeats are correlated as they scatter, a covariance is from point to point; \
                        leave over_frequency out";
            return Err(self.wrong(what, given.span()).into());
        }
        if let Some(repeats) = &entry.repeats {
            let mut networks = Vec::new();
            for file in repeats.get_ref() {
                let path = self.beside(file);
                let content = match (&self.described, read(&path, options)) {
                    (_, Ok(content)) => content,
                    (Some(described), Err(error)) => {
                        return Err(described.error(error, repeats.span()).into());
                    }
                    (None, Err(error)) => {
                        return Err(DescriptionError::about_file(&path, error));
                    }
                };
                let warnings = content.warnings.iter();
                self.warnings.extend(warnings.map(|text| format!("{}:{text}", path.display())));
                self.inputs.push(path);
                networks.push(content.network);
            }
            if networks.len() < 2 {
                let what = "repeats takes two files or more of the same part";
                return Err(self.wrong(what, repeats.span()).into());
            }
            if networks.len() < 4 {
                // Student's distribution has no variance with fewer than three degrees of freedom.
                self.warnings.push(format!(
                    "{name}: {} repeats tell little; from four on their scatter has a meaning",
                    networks.len()
                ));
            }
            return Ok(What::Repeats(networks));
        }
        if let Some(file) = &entry.covariance {
            let path = self.beside(file.get_ref());
            self.check_there(&path, file.span())?;
            let what = covariance(&path)?;
            self.inputs.push(path);
            return Ok(what);
        }
        let table = match &entry.table {
            None => None,
            Some(file) => {
                let path = self.beside(file.get_ref());
                self.check_there(&path, file.span())?;
                let table = AmountTable::read(&path)?;
                self.inputs.push(path);
                Some(table)
            }
        };
        Ok(What::Stated(table))
    }

    fn check_there(
        &self,
        path: &Path,
        span: std::ops::Range<usize>,
    ) -> Result<(), DescriptionError> {
        if path.is_file() {
            return Ok(());
        }
        Err(self.wrong(format!("there is no file {}", path.display()), span))
    }

    fn beside(&self, file: &Path) -> PathBuf {
        self.described.as_ref().map_or_else(|| file.to_owned(), |own| own.beside(file))
    }

    /// What should be said once it is known which requirements there are, and how stable trials are.
    pub fn remarks(&self, requirements: &[&str], stability_db: Option<f64>) -> Vec<String> {
        let idle = self.decisions.guarded().filter(|name| !requirements.contains(name));
        let mut remarks: Vec<String> = idle
            .map(|name| format!("the guard band of {name} guards nothing: it is not required"))
            .collect();
        if self.trials.trials().is_none()
            && let Some(reached) = stability_db.filter(|reached| *reached > self.trials.stability())
        {
            remarks.push(format!(
                "after the most trials that are run the result is stable to {reached:.3} dB, not \
                 {} dB",
                self.trials.stability()
            ));
        }
        remarks
    }

    /// The sources of a splitter's file. Where repeats are given their mean takes the network's place.
    pub fn of_splitter(
        &self,
        file: &Path,
        network: &mut Network,
    ) -> Result<SplitterSources<'_>, DescriptionError> {
        let mut used = Vec::new();
        for (at, source) in self.sources.iter().enumerate() {
            if let Some(block) = source.entry.blocks.as_ref().and_then(|blocks| blocks.first()) {
                let what = "a splitter has no blocks; use files, or leave both out";
                return Err(self.wrong(what, block.span()).into());
            }
            for named in source.entry.files.iter().flatten() {
                let path = self.beside(named.get_ref());
                // One description may serve many parts; a name that is no file's is a slip.
                self.check_there(&path, named.span())?;
            }
            if self.is_of(source, file) {
                if let What::Repeats(networks) = &source.what {
                    *network = self.mean(networks, network, source)?;
                }
                used.push(at);
            }
        }
        Ok(SplitterSources { uncertainty: self, used })
    }

    /// The sources of a load's file.
    pub fn of_load(&self, file: &Path, network: &Network) -> Result<Vec<Source>, DescriptionError> {
        // Repeats and covariances without a file's name are the part's.
        let is_its = |source: &&DescribedSource| {
            let is_stated = matches!(source.what, What::Stated(_));
            self.is_of(source, file) && (is_stated || source.entry.files.is_some())
        };
        self.sources.iter().filter(is_its).map(|source| self.source(source, network)).collect()
    }

    /// Whether a source is of a file, by name or because it is of every one.
    fn is_of(&self, source: &DescribedSource, file: &Path) -> bool {
        source.entry.files.as_ref().is_none_or(|files| {
            files.iter().any(|named| same_file(&self.beside(named.get_ref()), file))
        })
    }

    /// The mean of repeats at the frequencies and in the references of the network in whose place it is.
    fn mean(
        &self,
        networks: &[Network],
        own: &Network,
        source: &DescribedSource,
    ) -> Result<Network, DescriptionError> {
        if let Some(odd) = networks.iter().find(|network| network.ports() != own.ports()) {
            let (expected, found) = (own.ports(), odd.ports());
            return Err(self.misfit(source, &NetworkError::PortCount { expected, found }));
        }
        let made = Source::repeats(networks, own.grid(), own.references_ohm(0));
        made.map(|(mean, _)| mean).map_err(|error| self.misfit(source, &error))
    }

    fn misfit(&self, source: &DescribedSource, error: &NetworkError) -> DescriptionError {
        let entry = &source.entry;
        let span = entry.repeats.as_ref().map(Spanned::span);
        let span = span.or(entry.covariance.as_ref().map(Spanned::span));
        self.wrong(format!("{}: {error}", source.name), span.unwrap_or(0..0))
    }

    /// The sources of a receiver's parts. Where repeats are given their mean takes the place of the
    /// block's own file.
    pub fn of_receiver(
        &self,
        loaded: &mut LoadedReceiver,
    ) -> Result<Vec<UncertainPart>, DescriptionError> {
        let mut parts: Vec<UncertainPart> = Vec::new();
        let by_file = places_by_file(loaded);
        for source in &self.sources {
            let entry = &source.entry;
            let mut targets: Vec<(String, Vec<Place>)> = Vec::new();
            for block in entry.blocks.iter().flatten() {
                let name = block.get_ref();
                let part = loaded.receiver.parts.iter().position(|part| part.name == *name);
                let Some(part) = part else {
                    return Err(self
                        .wrong(format!("there is no block '{name}'"), block.span())
                        .into());
                };
                targets.push((name.clone(), vec![Place::Part(part)]));
            }
            for file in entry.files.iter().flatten() {
                let path = self.beside(file.get_ref());
                let Some((_, places)) = by_file.iter().find(|(own, _)| same_file(own, &path))
                else {
                    let what = format!("the receiver has no file {}", path.display());
                    return Err(self.wrong(what, file.span()).into());
                };
                targets.push((name_of(&path, places, &loaded.receiver), places.clone()));
            }
            if entry.blocks.is_none() && entry.files.is_none() {
                for (path, places) in &by_file {
                    targets.push((name_of(path, places, &loaded.receiver), places.clone()));
                }
            }
            for (name, places) in targets {
                let part = match parts.iter().position(|part| part.places == places) {
                    Some(part) => part,
                    None => {
                        if let Some(other) = parts
                            .iter()
                            .find(|part| part.places.iter().any(|place| places.contains(place)))
                        {
                            let what = format!(
                                "{name} and {} are the same data; name either its blocks or its \
                                 file in all sources",
                                other.name
                            );
                            let span = entry.blocks.iter().flatten().map(Spanned::span);
                            let files = entry.files.iter().flatten().map(Spanned::span);
                            let span = span.chain(files).next().unwrap_or(0..0);
                            return Err(self.wrong(what, span).into());
                        }
                        parts.push(UncertainPart { name, places, sources: Vec::new() });
                        parts.len() - 1
                    }
                };
                let mut on_ways = [None, None];
                for (slot, way) in on_ways.iter_mut().zip(Way::BOTH) {
                    for place in &parts[part].places {
                        let Some(own) = loaded.receiver.network_at(*place, way).cloned() else {
                            continue;
                        };
                        if let What::Repeats(networks) = &source.what {
                            let mean = self.mean(networks, &own, source)?;
                            loaded.receiver.set_network_at(*place, way, mean);
                        }
                        *slot = Some(self.source(source, &own)?);
                    }
                }
                parts[part].sources.push(PartSource { name: source.name.clone(), on_ways });
            }
        }
        parts.retain(|part| part.sources.iter().any(|s| s.on_ways.iter().any(Option::is_some)));
        if parts.is_empty() {
            return Err(self.wrong("no source is of a file or block of the receiver", 0..0).into());
        }
        Ok(parts)
    }

    /// A source at the frequencies of a network.
    fn source(
        &self,
        source: &DescribedSource,
        network: &Network,
    ) -> Result<Source, DescriptionError> {
        let grid = network.grid();
        match &source.what {
            What::Repeats(networks) => {
                let made = Source::repeats(networks, grid, network.references_ohm(0));
                made.map(|(_, source)| source).map_err(|error| self.misfit(source, &error))
            }
            What::Covariance { ports, at_hz, matrices } => {
                if *ports != network.ports() {
                    let (expected, found) = (network.ports(), *ports);
                    return Err(self.misfit(source, &NetworkError::PortCount { expected, found }));
                }
                let (first, last) = (at_hz[0], at_hz[at_hz.len() - 1]);
                let rest = 1e-12 * last;
                let outside = |hz: &&f64| **hz < first - rest || **hz > last + rest;
                if let Some(&hz) = grid.as_hz().iter().find(outside) {
                    let span = source.entry.covariance.as_ref().map(Spanned::span);
                    let what = format!(
                        "{}: the covariance covers {}, {} is needed; nothing is extrapolated",
                        source.name,
                        crate::units::shown_band((first, last)),
                        crate::units::ShownFrequency(hz)
                    );
                    return Err(self.wrong(what, span.unwrap_or(0..0)));
                }
                Ok(Source::covariance(at_hz, matrices, grid))
            }
            What::Stated(table) => self.stated(&source.entry, table.as_ref(), grid.as_hz()),
        }
    }

    fn stated(
        &self,
        entry: &SourceEntry,
        table: Option<&AmountTable>,
        at_hz: &[f64],
    ) -> Result<Source, DescriptionError> {
        let number = |given: Option<&Spanned<f64>>, what: &str| match given {
            Some(given) if !(0.0..=MOST).contains(given.get_ref()) => {
                Err(self.wrong(format!("{what} is a number from 0 to {MOST}"), given.span()))
            }
            given => Ok(given.map_or(0.0, |given| *given.get_ref())),
        };
        // A constant, or a column of the table; both would hide a mistake.
        let amounts = |given: Option<&Spanned<f64>>, what: &str, column: String, scale: f64| {
            let constant = number(given, what)?;
            let listed = match table {
                Some(table) => table.onto(&column, at_hz)?,
                None => None,
            };
            let Some(listed) = listed else {
                return Ok(if constant > 0.0 {
                    vec![constant * scale; at_hz.len()]
                } else {
                    Vec::new()
                });
            };
            if let Some(given) = given {
                return Err(self.wrong(format!("{column} stands in the table too"), given.span()));
            }
            Ok(listed.into_iter().map(|value| value * scale).collect())
        };
        let (neper, radian) = (neper_from_db(1.0), 1_f64.to_radians());
        let of = |given: Option<&AmountEntry>, kind: &str| -> Result<Amounts, DescriptionError> {
            Ok(Amounts {
                magnitude_np: amounts(
                    given.and_then(|given| given.magnitude_db.as_ref()),
                    "magnitude_db",
                    format!("{kind}_magnitude_db"),
                    neper,
                )?,
                magnitude_linear: amounts(
                    given.and_then(|given| given.magnitude.as_ref()),
                    "magnitude",
                    format!("{kind}_magnitude"),
                    1.0,
                )?,
                phase_rad: amounts(
                    given.and_then(|given| given.phase_deg.as_ref()),
                    "phase_deg",
                    format!("{kind}_phase_deg"),
                    radian,
                )?,
            })
        };
        let over_frequency = match entry.over_frequency.as_ref().map(|name| *name.get_ref()) {
            None | Some(OverFrequencyName::Correlated) => OverFrequency::Correlated,
            Some(OverFrequencyName::Independent) => OverFrequency::Independent,
        };
        let port = entry.port.as_ref().map(|port| AmountEntry {
            magnitude_db: port.magnitude_db.clone(),
            magnitude: None,
            phase_deg: port.phase_deg.clone(),
        });
        let mut pass = of(port.as_ref(), "port")?;
        if let Some(placement) = &entry.placement {
            let um = number(Some(&placement.um), "um")?;
            let permittivity = placement.effective_permittivity.get_ref();
            if !(1.0..=1000.0).contains(permittivity) {
                let what = "effective_permittivity is a number from 1 to 1000";
                return Err(self.wrong(what, placement.effective_permittivity.span()));
            }
            let delay_s = um * 1e-6 * permittivity.sqrt() / crate::units::SPEED_OF_LIGHT_M_PER_S;
            pass.phase_rad.resize(at_hz.len(), 0.0);
            for (phase, hz) in pass.phase_rad.iter_mut().zip(at_hz) {
                *phase = phase.hypot(TAU * hz * delay_s);
            }
        }
        let transmission = of(entry.transmission.as_ref(), "transmission")?;
        let reflection = of(entry.reflection.as_ref(), "reflection")?;
        let has_entries = !(transmission.is_empty() && reflection.is_empty());
        match (pass.is_empty(), has_entries) {
            (false, true) => Err(self.wrong(
                "port and placement are a source of their own, beside transmission and reflection",
                0..0,
            )),
            (false, false) => Ok(Source::Ports { pass, over_frequency }),
            (true, false) => {
                Err(self.wrong("a source says nothing: all it states is nought", 0..0))
            }
            (true, true) => Ok(Source::Entries {
                transmission,
                reflection,
                is_reciprocal: entry.reciprocal,
                over_frequency,
            }),
        }
    }
}

impl Uncertainty {
    /// Refuses what has no meaning where a file changes from die to die.
    pub fn check_for_dies(&self, is_splitter: bool) -> Result<(), DescriptionError> {
        for source in &self.sources {
            let entry = &source.entry;
            if let Some(repeats) = &entry.repeats {
                let what = "repeats are of one part; dies have files of their own";
                return Err(self.wrong(what, repeats.span()));
            }
            let blocks = entry.blocks.iter().flatten().map(Spanned::span);
            let named = blocks.chain(entry.files.iter().flatten().map(Spanned::span)).next();
            if let Some(named) = named.filter(|_| is_splitter) {
                let what =
                    "a splitter has no blocks, and dies have files of their own; leave it out";
                return Err(self.wrong(what, named));
            }
        }
        Ok(())
    }

    /// All sources at the frequencies of a network.
    pub fn at(&self, network: &Network) -> Result<Vec<Source>, DescriptionError> {
        self.sources.iter().map(|source| self.source(source, network)).collect()
    }
}

/// The sources that are of a splitter's file.
pub struct SplitterSources<'u> {
    uncertainty: &'u Uncertainty,
    used: Vec<usize>,
}

impl SplitterSources<'_> {
    /// At the frequencies of a network.
    pub fn at(&self, network: &Network) -> Result<Vec<Source>, DescriptionError> {
        let used = self.used.iter().map(|&at| &self.uncertainty.sources[at]);
        used.map(|source| self.uncertainty.source(source, network)).collect()
    }
}

/// Where each file of a receiver stands.
fn places_by_file(loaded: &LoadedReceiver) -> Vec<(PathBuf, Vec<Place>)> {
    let [parts, loads] = &loaded.files;
    let parts = parts.iter().enumerate().map(|(at, file)| (file, Place::Part(at)));
    let loads = loads.iter().enumerate().map(|(at, file)| (file, Place::Load(at)));
    let mut found: Vec<(PathBuf, Vec<Place>)> = Vec::new();
    for (file, place) in parts.chain(loads) {
        let Some(file) = file else { continue };
        match found.iter_mut().find(|(own, _)| same_file(own, file)) {
            Some((_, places)) => places.push(place),
            None => found.push((file.clone(), vec![place])),
        }
    }
    found
}

/// A block's name where it alone has the file, else the file's.
fn name_of(path: &Path, places: &[Place], receiver: &Receiver) -> String {
    match places {
        [Place::Part(part)] => receiver.parts[*part].name.clone(),
        _ => path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
    }
}

fn same_file(one: &Path, other: &Path) -> bool {
    one == other
        || one.canonicalize().is_ok_and(|one| other.canonicalize().is_ok_and(|other| one == other))
}
