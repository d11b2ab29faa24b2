//! Assignment of the sources of a description to the parts of a receiver, to a splitter and to
//! dies.

use super::amounts_csv::StatedAmounts;
use super::closed_form::{ClosedForm, ParameterAmount};
use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::same_file;
use super::receiver_toml::LoadedReceiver;
use super::uncertainty_toml::{DescribedSource, Located, SourceKind, Uncertainty};
use crate::downconverter::{NetworkPlace, OnGrids, Receiver};
use crate::measurement::{
    EntryAmounts, ErrorSymmetry, PartSource, PassAmount, Source, UncertainPart,
};
use crate::network::{FrequencyGrid, Network, Port};
use num_complex::Complex64;
use std::path::{Path, PathBuf};

/// The sources of a splitter's file.
#[derive(Clone, Debug)]
pub struct SplitterSources<'u> {
    used: Vec<&'u DescribedSource>,
}

impl SplitterSources<'_> {
    /// The sources at the frequencies of a network.
    ///
    /// # Errors
    /// [`DescriptionError`] for a table or a covariance that does not fit the network.
    pub fn at(&self, network: &Network) -> Result<Vec<Source>, DescriptionError> {
        self.used.iter().map(|source| source.at(network)).collect()
    }
}

/// A part of a receiver to which a source applies.
struct Target {
    name: String,
    places: Vec<NetworkPlace>,
}

impl Uncertainty {
    /// The sources of a splitter's file. Where repeats are given, their mean replaces the network. Loads
    /// of ohms are at these ports.
    ///
    /// # Errors
    /// [`DescriptionError`] for a source that names blocks or files that do not exist, or whose
    /// repeats do not fit the network.
    pub fn of_splitter(
        &self,
        file: &Path,
        network: &mut Network,
        loads_of_ohms: &[Port],
    ) -> Result<SplitterSources<'_>, DescriptionError> {
        let mut used = Vec::new();
        for source in &self.sources {
            if let Some(block) = source.blocks.iter().flatten().next() {
                let what = "a splitter has no blocks; name files or loads, or leave all out";
                return Err(block.place.complaint(what));
            }
            for load in source.loads.iter().flatten() {
                if !loads_of_ohms.iter().any(|port| is_number_of(*port, &load.value)) {
                    let what = format!(
                        "the splitter has no load of ohms at port '{}'; name such a load by the \
                         number of its port, as \"4\", and a load that has a file by its file",
                        load.value
                    );
                    return Err(load.place.complaint(what));
                }
            }
            for named in source.files.iter().flatten() {
                // A description may name files of other parts, but all of them must exist.
                if !named.value.is_file() {
                    let what = format!("there is no file {}", named.value.display());
                    return Err(named.place.complaint(what));
                }
            }
            if source.is_of(file) {
                if let SourceKind::Repeats(repeats) = &source.kind {
                    *network = source.of_repeats(network, repeats)?.0;
                }
                used.push(source);
            }
        }
        Ok(SplitterSources { used })
    }

    /// The sources of a load's file, at the frequencies of its network.
    ///
    /// # Errors
    /// [`DescriptionError`] for a source that does not fit the network.
    pub fn of_load(&self, file: &Path, network: &Network) -> Result<Vec<Source>, DescriptionError> {
        // Repeats and covariances without a file name belong to the splitter itself.
        let is_its = |source: &&DescribedSource| {
            let is_general =
                !matches!(source.kind, SourceKind::Repeats(_) | SourceKind::Covariances(_));
            source.is_of(file) && (is_general || source.files.is_some())
        };
        self.sources.iter().filter(is_its).map(|source| source.at(network)).collect()
    }

    /// A splitter's load of ohms as a network, with its sources; `None` where no source names it.
    ///
    /// # Errors
    /// [`DescriptionError`] for a source that a load of ohms cannot have.
    pub fn of_impedance(
        &self,
        port: Port,
        ohm: Complex64,
        grid: &FrequencyGrid,
    ) -> Result<Option<(Network, Vec<Source>)>, DescriptionError> {
        let is_named = |source: &&DescribedSource| {
            source.loads.iter().flatten().any(|load| is_number_of(port, &load.value))
        };
        let mut found: Option<(Network, Vec<Source>)> = None;
        for source in self.sources.iter().filter(is_named) {
            let form = ClosedForm::of_impedance(format!("the load at port {port}"), ohm);
            let own = form.network(grid).map_err(|what| source.complaint(what))?;
            let made = match &source.kind {
                SourceKind::Parameters(parameters) => {
                    source.of_parameters(parameters, Some(&form), &own)?
                }
                SourceKind::Repeats(_) => {
                    let what = "repeats are of a file, and this load has none; give parameters";
                    return Err(source.complaint(what));
                }
                _ => source.at(&own)?,
            };
            found.get_or_insert_with(|| (own, Vec::new())).1.push(made);
        }
        Ok(found)
    }

    /// The sources of a receiver's parts. Where repeats are given, their mean replaces the networks
    /// of the part.
    ///
    /// # Errors
    /// [`DescriptionError`] for a source that names blocks or files that are not in the receiver,
    /// or that does not match its part.
    pub fn of_receiver(
        &self,
        loaded: &mut LoadedReceiver,
    ) -> Result<Vec<UncertainPart>, DescriptionError> {
        let mut parts: Vec<UncertainPart> = Vec::new();
        for (number, source) in self.sources.iter().enumerate() {
            for target in source.targets(loaded)? {
                let part = place_of(&mut parts, target).map_err(|what| source.complaint(what))?;
                let made = source.of_part(&parts[part].places, loaded)?;
                let made = match source.is_shared {
                    true => made.shared(number).map_err(|error| source.misfit(&error))?,
                    false => made,
                };
                parts[part].sources.push(made);
            }
        }
        parts.retain(|part| part.sources.iter().any(PartSource::is_used));
        if parts.is_empty() {
            let what = "no source applies to a file or block of the receiver".to_owned();
            // The first input of a receiver is its description.
            let receiver = loaded.inputs.first().map(PathBuf::as_path);
            let file = self.path.as_deref().or(receiver).unwrap_or(Path::new("RECEIVER.toml"));
            return Err(DescriptionError::about_file(file, DescriptionProblem::Value { what }));
        }
        Ok(parts)
    }

    /// Checks that a source has a meaning where files differ from die to die.
    ///
    /// # Errors
    /// [`DescriptionError`] at repeats, and at names of blocks and files where dies are splitters.
    pub fn check_for_dies(&self, is_splitter: bool) -> Result<(), DescriptionError> {
        for source in &self.sources {
            if let SourceKind::Repeats(_) = source.kind {
                let what = "repeats apply to one part, but each die has its own files";
                return Err(source.complaint(what));
            }
            let blocks = source.blocks.iter().chain(&source.loads).flatten();
            let blocks = blocks.map(|block| &block.place);
            let files = source.files.iter().flatten().map(|file| &file.place);
            if let (true, Some(named)) = (is_splitter, blocks.chain(files).next()) {
                let what =
                    "a splitter has no blocks, and each die has its own files; omit this key";
                return Err(named.complaint(what));
            }
        }
        Ok(())
    }

    /// All sources at the frequencies of a network.
    ///
    /// # Errors
    /// [`DescriptionError`] for a source that does not match the network.
    pub fn at(&self, network: &Network) -> Result<Vec<Source>, DescriptionError> {
        self.sources.iter().map(|source| source.at(network)).collect()
    }
}

/// The index of a target among the parts; it is added if necessary.
fn place_of(parts: &mut Vec<UncertainPart>, target: Target) -> Result<usize, String> {
    if let Some(part) = parts.iter().position(|part| part.places == target.places) {
        return Ok(part);
    }
    let shares = |part: &&UncertainPart| part.places.iter().any(|at| target.places.contains(at));
    if let Some(other) = parts.iter().find(shares) {
        return Err(format!(
            "{} and {} are the same data; name either its blocks or its file in all sources",
            target.name, other.name
        ));
    }
    parts.push(UncertainPart { name: target.name, places: target.places, sources: Vec::new() });
    Ok(parts.len() - 1)
}

impl DescribedSource {
    fn complaint(&self, what: impl Into<String>) -> DescriptionError {
        let what = what.into();
        match &self.place {
            Some(place) => place.complaint(what),
            // A stated amount has no names, tables or files that could be wrong.
            None => DescriptionError::about_file(
                Path::new(&self.name),
                DescriptionProblem::Value { what },
            ),
        }
    }

    /// Whether the source applies to a file, by name or because it applies to all files.
    fn is_of(&self, file: &Path) -> bool {
        match &self.files {
            Some(files) => files.iter().any(|own| same_file(&own.value, file)),
            None => self.blocks.is_none() && self.loads.is_none(),
        }
    }

    /// The parts of a receiver to which the source applies: the named blocks and files, or all
    /// files.
    fn targets(&self, loaded: &LoadedReceiver) -> Result<Vec<Target>, DescriptionError> {
        let receiver = &loaded.receiver;
        let of_file = |path: &Path, places: &[NetworkPlace]| Target {
            name: name_of(path, places, receiver),
            places: places.to_vec(),
        };
        if self.blocks.is_none() && self.files.is_none() && self.loads.is_none() {
            let files = loaded.files.iter();
            return Ok(files.map(|file| of_file(&file.path, &file.places)).collect());
        }
        let mut targets = Vec::new();
        for Located { value: name, place } in self.blocks.iter().flatten() {
            let Ok(part) = receiver.block(name).or_else(|_| receiver.if_part(name)) else {
                let if_parts = receiver.output().parts.iter().map(|part| part.name.clone());
                let blocks = receiver.parts().iter().map(|part| part.name.clone());
                let known = blocks.chain(if_parts).collect();
                return Err(
                    place.error(DescriptionProblem::UnknownBlock { name: name.clone(), known })
                );
            };
            targets.push(Target { name: name.clone(), places: vec![part] });
        }
        for Located { value: name, place } in self.loads.iter().flatten() {
            let Some(load) = loaded.closed_forms.iter().find(|own| own.name == *name) else {
                let what = format!(
                    "there is no load of ohms or rc at {name}; name the file of a load that has one"
                );
                return Err(place.complaint(what));
            };
            let places = load.place.into_iter().collect();
            targets.push(Target { name: format!("load {name}"), places });
        }
        for Located { value: path, place } in self.files.iter().flatten() {
            let Some(file) = loaded.files.iter().find(|own| same_file(&own.path, path)) else {
                let what = format!("the receiver has no file {}", path.display());
                return Err(place.complaint(what));
            };
            targets.push(of_file(path, &file.places));
        }
        Ok(targets)
    }

    /// The source at the frequencies at which a part is used, whose networks become the mean of the
    /// repeats where those are given.
    fn of_part(
        &self,
        places: &[NetworkPlace],
        loaded: &mut LoadedReceiver,
    ) -> Result<PartSource, DescriptionError> {
        let (receiver, closed_forms) = (&mut loaded.receiver, &loaded.closed_forms);
        let on_grids = OnGrids::try_of_each(|grid| {
            let mut made = None;
            for place in places {
                let used = receiver.used_network(*place, grid);
                let Some(used) = used.map_err(|error| self.misfit(&error))? else { continue };
                let marks = used.shared_with(|hz| self.reaches(hz));
                let own = used.at_marks(used.network(), &marks);
                let own = own.map_err(|error| self.misfit(&error))?;
                let source = if let SourceKind::Repeats(repeats) = &self.kind {
                    let (mean, source) = self.of_repeats(&own, repeats)?;
                    let mean = used.with_marked(&marks, &mean);
                    let mean = mean.map_err(|error| self.misfit(&error))?;
                    let fitted = receiver.set_used_network(*place, grid, &mean);
                    fitted.map_err(|error| self.misfit(&error))?;
                    source
                } else if let SourceKind::Parameters(parameters) = &self.kind {
                    let closed_form = closed_forms.iter().find(|own| own.place == Some(*place));
                    self.of_parameters(parameters, closed_form, &own)?
                } else {
                    self.at(&own)?
                };
                made = Some(source.spread(&marks).map_err(|error| self.misfit(&error))?);
            }
            Ok(made)
        })?;
        PartSource::new(self.name.clone(), on_grids).map_err(|error| self.misfit(&error))
    }

    /// Whether there is an uncertainty at a frequency.
    fn reaches(&self, frequency_hz: f64) -> bool {
        match &self.kind {
            SourceKind::Constant { .. } | SourceKind::Parameters(_) => true,
            SourceKind::Entries { transmission, reflection, .. } => {
                [transmission, reflection].iter().all(|own| own.reaches(frequency_hz))
            }
            SourceKind::Passes { pass, .. } => pass.reaches(frequency_hz),
            SourceKind::Repeats(repeats) => repeats
                .iter()
                .all(|own| (own.grid().first_hz()..=own.grid().last_hz()).contains(&frequency_hz)),
            SourceKind::Covariances(covariances) => {
                let (first_hz, last_hz) = covariances.band_hz();
                (first_hz..=last_hz).contains(&frequency_hz)
            }
        }
    }

    fn of_parameters(
        &self,
        parameters: &[(Located<String>, ParameterAmount)],
        closed_form: Option<&ClosedForm>,
        own: &Network,
    ) -> Result<Source, DescriptionError> {
        let closed_form = closed_form.ok_or_else(|| {
            self.complaint("parameters apply to closed-form parts, but this block has a file")
        })?;
        let change = |(name, amount): &(Located<String>, ParameterAmount)| {
            let change = closed_form.change(&name.value, *amount, own);
            change.map_err(|what| name.place.complaint(what))
        };
        let changes = parameters.iter().map(change).collect::<Result<_, _>>()?;
        Source::of_changes(own, changes).map_err(|error| self.misfit(&error))
    }

    fn of_repeats(
        &self,
        own: &Network,
        repeats: &[Network],
    ) -> Result<(Network, Source), DescriptionError> {
        Source::of_repeats(own, repeats).map_err(|error| self.misfit(&error))
    }

    fn misfit(&self, error: &impl std::fmt::Display) -> DescriptionError {
        self.complaint(format!("{}: {error}", self.name))
    }

    /// The source at the frequencies of a network.
    fn at(&self, network: &Network) -> Result<Source, DescriptionError> {
        let at_hz = network.grid().as_hz();
        let made = match &self.kind {
            SourceKind::Constant { amount, over_frequency } => {
                let amounts = EntryAmounts {
                    transmission: vec![*amount; at_hz.len()],
                    reflection: vec![*amount; at_hz.len()],
                    symmetry: ErrorSymmetry::Unrelated,
                };
                Source::of_entries(network, amounts, *over_frequency)
            }
            SourceKind::Entries { transmission, reflection, symmetry, over_frequency } => {
                let list = |amounts: &StatedAmounts| {
                    at_hz.iter().map(|&hz| amounts.entry_at(hz)).collect::<Result<Vec<_>, _>>()
                };
                let amounts = EntryAmounts {
                    transmission: list(transmission)?,
                    reflection: list(reflection)?,
                    symmetry: *symmetry,
                };
                Source::of_entries(network, amounts, *over_frequency)
            }
            SourceKind::Passes { pass, placement, over_frequency } => {
                let pass_at = |&hz: &f64| {
                    let amount = pass.pass_at(hz)?;
                    let placed = placement.map_or(0.0, |placement| placement.phase_rad(hz));
                    Ok(PassAmount { phase_rad: amount.phase_rad.hypot(placed), ..amount })
                };
                let amounts = at_hz.iter().map(pass_at).collect::<Result<_, DescriptionError>>()?;
                Source::of_passes(network, amounts, *over_frequency)
            }
            SourceKind::Repeats(repeats) => {
                Source::of_repeats(network, repeats).map(|(_, source)| source)
            }
            SourceKind::Covariances(covariances) => Source::of_covariances(network, covariances),
            SourceKind::Parameters(_) => {
                return Err(
                    self.complaint("parameters apply to closed-form parts of a receiver only")
                );
            }
        };
        made.map_err(|error| self.misfit(&error))
    }
}

/// Whether a text is the number of a port.
fn is_number_of(port: Port, text: &str) -> bool {
    text.trim().parse() == Ok(port.number())
}

/// A block's name where it alone has the file, else the file's.
fn name_of(path: &Path, places: &[NetworkPlace], receiver: &Receiver) -> String {
    let block = match places {
        [only] => receiver.block_name(*only),
        _ => None,
    };
    match (block, path.file_name()) {
        (Some(name), _) => name.to_owned(),
        (None, Some(name)) => name.to_string_lossy().into_owned(),
        (None, None) => path.display().to_string(),
    }
}
