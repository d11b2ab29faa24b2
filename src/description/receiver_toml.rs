//! RECEIVER.toml: parts at the frequencies of the plan.

use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::{NamedFiles, same_file};
use super::network_entries::{BlockEntry, KindName};
use super::parts::{Joins, Part, PartOrigin};
use super::receiver_entries::{ChannelName, PolarityName, ReceiverDescription};
use super::source::TomlFile;
use crate::downconverter::{
    Channel, Join, LoRf, Mixer, NetworkPlace, PartKind, PowerInput, Receiver, ReceiverLoad,
    ReceiverPart, ReceiverSetup, ReflectionSweepSettings, SignalPath, entry_ports,
};
use crate::network::{FrequencyGrid, Network, Port, Terminal};
use crate::requirement::{Limit, Limits, Quantity};
use crate::splitter::SplitterKind;
use crate::touchstone::ReadOptions;
use num_complex::Complex64;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// A receiver, the files it was read from, and what the user should know.
#[derive(Debug)]
pub struct LoadedReceiver {
    /// The receiver.
    pub receiver: Receiver,
    /// The description and every file it names.
    pub inputs: Vec<PathBuf>,
    /// The files of its parts and loads, in the order in which they are first used.
    pub files: Vec<ReceiverFile>,
    /// What came up on the way.
    pub warnings: Vec<String>,
}

/// A file of a receiver and every place where it is used; at least one.
#[derive(Clone, Debug)]
pub struct ReceiverFile {
    /// The file.
    pub path: PathBuf,
    /// The parts and loads.
    pub places: Vec<NetworkPlace>,
}

/// Reads RECEIVER.toml and the files it names.
///
/// # Errors
/// [`DescriptionError`] with the line of the description, or with the line of the file it names.
pub fn read_receiver(
    path: &Path,
    options: &ReadOptions,
) -> Result<LoadedReceiver, DescriptionError> {
    let source = TomlFile::read(path)?;
    let description: ReceiverDescription = source.parse()?;
    let mut notes = NamedFiles::of(&source, options);
    let receiver = source.receiver(&description, &mut notes)?;
    let blocks = description.blocks.iter().map(|block| &block.file);
    let named = blocks.chain(description.loads.iter().map(|load| &load.file));
    let mut files: Vec<ReceiverFile> = Vec::new();
    for (place, file) in receiver.places().zip(named) {
        let Some(file) = file else { continue };
        let path = source.beside(file.get_ref());
        match files.iter_mut().find(|own| same_file(&own.path, &path)) {
            Some(own) => own.places.push(place),
            None => files.push(ReceiverFile { path, places: vec![place] }),
        }
    }
    Ok(LoadedReceiver { receiver, inputs: notes.inputs, files, warnings: notes.warnings })
}

/// Where the network of a part or a load comes from.
#[derive(Clone, Copy)]
enum Source<'a> {
    /// A file, read on its own grid.
    File(&'a Network),
    /// A formula for any grid.
    Formula(&'a dyn Fn(&FrequencyGrid) -> Result<Network, DescriptionError>),
}

impl TomlFile {
    fn receiver(
        &self,
        description: &ReceiverDescription,
        notes: &mut NamedFiles<'_>,
    ) -> Result<Receiver, DescriptionError> {
        let (plan, needs) = self.plan(description)?;
        let parts = self.parts(&description.blocks, notes)?;
        let load_files = self.load_files(&description.loads, notes)?;
        let joins = self.joins(&description.joins, &description.blocks, &parts)?;
        let loads_at = self.loads_at(description, &parts)?;
        let inputs = self.inputs(description, &parts, &loads_at)?;
        self.check_all_ports(&parts, &joins, &loads_at, &inputs)?;
        let port_counts: Vec<usize> = parts.iter().map(|part| part.ports.len()).collect();
        let nodes = joins.nodes.into_iter().zip(joins.texts);
        let joins: Vec<Join> = nodes.map(|(terminals, text)| Join { text, terminals }).collect();
        let entries = LoRf::of_each(|path| entry_ports(&port_counts, &joins, inputs.get(path).at));
        let mixers = self.mixers(description, &parts, &entries)?;
        for (part, name) in parts.iter().enumerate().map(|(at, part)| (at, &part.name)) {
            if entries.iter().all(|entry| entry[part].is_none()) {
                notes.warnings.push(format!("block '{name}' is joined to neither LO nor RF input"));
            }
        }

        let on_paths = |block: usize,
                        source: Source<'_>,
                        what: &str,
                        span: Range<usize>,
                        notes: &mut NamedFiles<'_>| {
            LoRf::try_of_each(|path| {
                if entries.get(path)[block].is_none() {
                    return Ok(None);
                }
                let grid = plan.grid(path);
                Ok(Some(match source {
                    Source::File(network) => {
                        self.check_cover(network, needs.get(path), what, span.clone())?;
                        self.on_grid(network, grid, what, span.clone(), notes)?
                    }
                    Source::Formula(build) => build(grid)?,
                }))
            })
        };
        let mut receiver_parts = Vec::new();
        for (at, (block, part)) in description.blocks.iter().zip(&parts).enumerate() {
            let what = match &block.file {
                Some(file) => format!("block '{}' ({})", part.name, file.get_ref().display()),
                None => format!("block '{}'", part.name),
            };
            let networks = match &part.origin {
                PartOrigin::File(network) => {
                    on_paths(at, Source::File(network), &what, part.span.clone(), notes)?
                }
                PartOrigin::Component(component, span) => {
                    let build = |grid: &FrequencyGrid| {
                        component.network(grid).map_err(|error| self.error(error, span.clone()))
                    };
                    on_paths(at, Source::Formula(&build), &what, part.span.clone(), notes)?
                }
            };
            receiver_parts.push(self.receiver_part(block, part, networks)?);
        }
        let mut loads = Vec::new();
        for (at, (load, terminal)) in description.loads.iter().zip(&loads_at).enumerate() {
            let what = format!("the load at {}", load.at.get_ref());
            let build = |grid: &FrequencyGrid| self.lumped_load(load, grid);
            let source = match load_files.get(&at) {
                Some(file) => Source::File(file),
                None => Source::Formula(&build),
            };
            let networks = on_paths(terminal.block, source, &what, load.at.span(), notes)?;
            loads.push(ReceiverLoad { at: *terminal, networks });
        }
        Receiver::new(ReceiverSetup {
            title: description.title.clone().unwrap_or_else(|| "receiver".to_owned()),
            parts: receiver_parts,
            joins,
            loads,
            mixers,
            lo_amplitude_exponent: self.lo_amplitude_exponent(description)?,
            output: self.output(description, &plan, notes)?,
            correction_steps: self.correction_steps(description)?,
            reflection_sweep: self.reflection_sweep(description)?,
            limits: self.limits(description)?,
            inputs,
            plan,
        })
        .map_err(|error| self.error_in_file(error))
    }

    fn loads_at(
        &self,
        description: &ReceiverDescription,
        parts: &[Part],
    ) -> Result<Vec<Terminal>, DescriptionError> {
        let mut found: Vec<Terminal> = Vec::new();
        for load in &description.loads {
            let text = load.at.get_ref();
            let terminal = self.terminal(text, load.at.span(), parts)?;
            if found.contains(&terminal) {
                let port = text.clone();
                return Err(self.error(DescriptionProblem::LoadedTwice { port }, load.at.span()));
            }
            found.push(terminal);
        }
        Ok(found)
    }

    fn inputs(
        &self,
        description: &ReceiverDescription,
        parts: &[Part],
        loads_at: &[Terminal],
    ) -> Result<LoRf<PowerInput>, DescriptionError> {
        let input = |port: &Spanned<String>, source: Option<&Spanned<_>>| {
            let at = self.terminal(port.get_ref(), port.span(), parts)?;
            if loads_at.contains(&at) {
                let port_name = port.get_ref().clone();
                return Err(
                    self.error(DescriptionProblem::LoadedInput { port: port_name }, port.span())
                );
            }
            let source_ohm = source.map_or(50.0.into(), |ohm| Complex64::from(*ohm.get_ref()));
            if let Some(given) = source
                && !(source_ohm.re > 0.0 && source_ohm.is_finite())
            {
                return Err(self.complaint(given, "a source's impedance has a positive real part"));
            }
            Ok(PowerInput { at, source_ohm })
        };
        let lo = input(&description.lo_input, description.lo_source_ohm.as_ref())?;
        let rf = input(&description.rf_input, description.rf_source_ohm.as_ref())?;
        if lo.at == rf.at {
            return Err(self.complaint(&description.rf_input, "LO and RF enter by the same port"));
        }
        Ok(LoRf { lo, rf })
    }

    /// Every port is joined, loaded or an input.
    fn check_all_ports(
        &self,
        parts: &[Part],
        joins: &Joins,
        loads_at: &[Terminal],
        inputs: &LoRf<PowerInput>,
    ) -> Result<(), DescriptionError> {
        for (block, part) in parts.iter().enumerate() {
            for (index, port) in part.ports.iter().enumerate() {
                let terminal = Terminal { block, port: Port::from_index(index) };
                let is_placed = joins.node_of.contains_key(&terminal)
                    || loads_at.contains(&terminal)
                    || inputs.iter().any(|input| input.at == terminal);
                if !is_placed {
                    let port = format!("{}.{port}", part.name);
                    let problem = DescriptionProblem::UnconnectedInReceiver { port };
                    return Err(self.error(problem, part.span.clone()));
                }
            }
        }
        Ok(())
    }

    fn mixers(
        &self,
        description: &ReceiverDescription,
        parts: &[Part],
        entries: &LoRf<Vec<Option<Port>>>,
    ) -> Result<Vec<Mixer>, DescriptionError> {
        let mut mixers: Vec<Mixer> = Vec::new();
        for entry in &description.mixers {
            let name = entry.name.get_ref().clone();
            self.check_name(&entry.name)?;
            if mixers.iter().any(|mixer| mixer.name == name) {
                return Err(
                    self.error(DescriptionProblem::DuplicateMixer { name }, entry.name.span())
                );
            }
            let terminals = LoRf::try_of_each(|path| {
                let (port, what, input) = match path {
                    SignalPath::Lo => (&entry.lo, "lo", &description.lo_input),
                    SignalPath::Rf => (&entry.rf, "rf", &description.rf_input),
                };
                let terminal = self.terminal(port.get_ref(), port.span(), parts)?;
                if entries.get(path)[terminal.block].is_some() {
                    return Ok(terminal);
                }
                let problem = DescriptionProblem::Unreached {
                    port: port.get_ref().clone(),
                    what,
                    mixer: name.clone(),
                    input: input.get_ref().clone(),
                };
                Err(self.error(problem, port.span()))
            })?;
            let gain = entry.gain.as_ref().map_or(Complex64::ONE, |gain| (*gain.get_ref()).into());
            if let Some(given) = &entry.gain
                && !(1e-6..=1e6).contains(&gain.norm())
            {
                return Err(self.complaint(given, "a gain is from 1e-6 to 1e6 in magnitude"));
            }
            mixers.push(Mixer {
                name,
                channel: match entry.channel {
                    ChannelName::I => Channel::I,
                    ChannelName::Q => Channel::Q,
                },
                is_subtracted: entry.polarity == PolarityName::Minus,
                lo: terminals.lo,
                rf: terminals.rf,
                gain,
            });
        }
        for (channel, name) in [(Channel::I, "i"), (Channel::Q, "q")] {
            if !mixers.iter().any(|mixer| mixer.channel == channel) {
                return Err(self.error_in_file(DescriptionProblem::EmptyChannel { channel: name }));
            }
        }
        Ok(mixers)
    }

    fn receiver_part(
        &self,
        block: &BlockEntry,
        part: &Part,
        networks: LoRf<Option<Network>>,
    ) -> Result<ReceiverPart, DescriptionError> {
        if let Some(nominal) = &block.nominal_deg
            && !nominal.get_ref().is_finite()
        {
            return Err(self.complaint(nominal, "nominal_deg is a finite number"));
        }
        Ok(ReceiverPart {
            name: part.name.clone(),
            ports: part.ports.clone(),
            kind: block.kind.as_ref().map(|kind| match kind.get_ref() {
                KindName::Quadrature => PartKind::Splitter(SplitterKind::Quadrature),
                KindName::Antiphase => PartKind::Splitter(SplitterKind::Antiphase),
                KindName::Inphase => PartKind::Splitter(SplitterKind::Inphase),
                KindName::Line => PartKind::Line,
            }),
            nominal_deg: block.nominal_deg.as_ref().map(|nominal| *nominal.get_ref()),
            pair: block.pair.clone(),
            networks,
        })
    }

    pub(super) fn positive(
        &self,
        given: Option<&Spanned<f64>>,
        name: &str,
    ) -> Result<Option<f64>, DescriptionError> {
        match given {
            Some(given) if !(*given.get_ref() > 0.0 && given.get_ref().is_finite()) => {
                Err(self.complaint(given, format!("{name} is a positive number")))
            }
            given => Ok(given.map(|given| *given.get_ref())),
        }
    }

    fn reflection_sweep(
        &self,
        description: &ReceiverDescription,
    ) -> Result<ReflectionSweepSettings, DescriptionError> {
        let magnitude = |given: &Option<Spanned<f64>>| match given {
            Some(given) if !(0.0..1.0).contains(given.get_ref()) => {
                Err(self.complaint(given, "a reflection's magnitude is from 0 to below 1"))
            }
            given => Ok(given.as_ref().map(|given| *given.get_ref())),
        };
        ReflectionSweepSettings::new(
            magnitude(&description.load_ring.mixer_reflection)?,
            magnitude(&description.load_ring.isolated_reflection)?,
        )
        .map_err(|error| self.error_in_file(error))
    }

    fn limits(&self, description: &ReceiverDescription) -> Result<Limits, DescriptionError> {
        let require = &description.require;
        let given = [
            (Quantity::ImageRejection, &require.image_rejection_db),
            (Quantity::AmplitudeImbalance, &require.amplitude_imbalance_db),
            (Quantity::QuadratureError, &require.quadrature_error_deg),
            (Quantity::LoPower, &require.lo_power_dbm_min),
        ];
        given
            .into_iter()
            .filter_map(|(quantity, value)| value.as_ref().map(|value| (quantity, value)))
            .map(|(quantity, value)| {
                Limit::new(quantity, *value.get_ref())
                    .map_err(|error| self.complaint(value, error.to_string()))
            })
            .collect()
    }
}
