//! RECEIVER.toml: parts at the frequencies of the plan.

use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::{NamedFiles, same_file};
use super::network_entries::{BlockEntry, KindName};
use super::parts::{Joins, Part, PartOrigin};
use super::receiver_entries::{ChannelName, PolarityName, ReceiverDescription};
use super::source::TomlFile;
use crate::downconverter::Channel;
use crate::downconverter::{
    Mixer, OnWays, PartKind, Place, PowerInput, Receiver, ReceiverLoad, ReceiverPart, ReceiverPlan,
    RingSettings, Way, reached,
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
    pub places: Vec<Place>,
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
    let blocks = description.blocks.iter().enumerate();
    let blocks = blocks.map(|(at, block)| (Place::Part(at), &block.file));
    let loads = description.loads.iter().enumerate();
    let loads = loads.map(|(at, load)| (Place::Load(at), &load.file));
    let mut files: Vec<ReceiverFile> = Vec::new();
    for (place, file) in blocks.chain(loads) {
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
        let (plan, rf_hz, needs) = self.plan(description)?;
        let parts = self.parts(&description.blocks, notes)?;
        let load_files = self.load_files(&description.loads, notes)?;
        let joins = self.joins(&description.joins, &description.blocks, &parts)?;
        let loads_at = self.loads_at(description, &parts)?;
        let inputs = self.inputs(description, &plan, rf_hz, &parts, &loads_at)?;
        self.check_all_ports(&parts, &joins, &loads_at, &inputs)?;
        let reaches =
            Way::BOTH.map(|way| reached(parts.len(), &joins.nodes, inputs[way.index()].at));
        let mixers = self.mixers(description, &parts, &reaches)?;
        for (part, name) in parts.iter().enumerate().map(|(at, part)| (at, &part.name)) {
            if !reaches.iter().any(|reach| reach[part]) {
                notes.warnings.push(format!("block '{name}' is joined to neither LO nor RF input"));
            }
        }

        let on_ways = |block: usize,
                       source: Source<'_>,
                       what: &str,
                       span: Range<usize>,
                       notes: &mut NamedFiles<'_>| {
            let mut made = OnWays::default();
            for way in Way::BOTH {
                if !reaches[way.index()][block] {
                    continue;
                }
                let grid = &inputs[way.index()].grid;
                made.0[way.index()] = Some(match source {
                    Source::File(network) => {
                        self.check_cover(network, &needs[way.index()], what, span.clone())?;
                        self.on_grid(network, grid, what, span.clone(), notes)?
                    }
                    Source::Formula(build) => build(grid)?,
                });
            }
            Ok(made)
        };
        let mut receiver_parts = Vec::new();
        for (at, (block, part)) in description.blocks.iter().zip(&parts).enumerate() {
            let what = match &block.file {
                Some(file) => format!("block '{}' ({})", part.name, file.get_ref().display()),
                None => format!("block '{}'", part.name),
            };
            let network = match &part.origin {
                PartOrigin::File(network) => {
                    on_ways(at, Source::File(network), &what, part.span.clone(), notes)?
                }
                PartOrigin::Component(component, span) => {
                    let build = |grid: &FrequencyGrid| {
                        component.network(grid).map_err(|error| self.error(error, span.clone()))
                    };
                    on_ways(at, Source::Formula(&build), &what, part.span.clone(), notes)?
                }
            };
            receiver_parts.push(self.receiver_part(block, part, network)?);
        }
        let mut loads = Vec::new();
        for (at, (load, terminal)) in description.loads.iter().zip(&loads_at).enumerate() {
            let what = format!("the load at {}", load.at.get_ref());
            let build = |grid: &FrequencyGrid| self.lumped_load(load, grid);
            let source = match load_files.get(&at) {
                Some(file) => Source::File(file),
                None => Source::Formula(&build),
            };
            let network = on_ways(terminal.block, source, &what, load.at.span(), notes)?;
            loads.push(ReceiverLoad { at: *terminal, network });
        }
        Ok(Receiver {
            title: description.title.clone().unwrap_or_else(|| "receiver".to_owned()),
            parts: receiver_parts,
            joins: joins.nodes,
            join_texts: joins.texts,
            loads,
            mixers,
            mixing: self.mixing(description, &plan)?,
            output: self.output(description, &plan, notes)?,
            trim_steps: self.trim_steps(description)?,
            ring: self.ring(description)?,
            limits: self.limits(description)?,
            inputs,
            plan,
        })
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
        plan: &ReceiverPlan,
        rf_hz: Vec<f64>,
        parts: &[Part],
        loads_at: &[Terminal],
    ) -> Result<[PowerInput; 2], DescriptionError> {
        let input = |port: &Spanned<String>, source: Option<&Spanned<_>>, hz: Vec<f64>| {
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
            let grid =
                FrequencyGrid::from_hz(hz).map_err(|error| self.error(error, port.span()))?;
            Ok(PowerInput { at, source_ohm, grid })
        };
        let after = f64::from(plan.lo_multiplication_after_split);
        let lo_hz = plan.lo_hz.iter().map(|hz| hz / after).collect();
        let lo = input(&description.lo_input, description.lo_source_ohm.as_ref(), lo_hz)?;
        let rf = input(&description.rf_input, description.rf_source_ohm.as_ref(), rf_hz)?;
        if lo.at == rf.at {
            return Err(self.complaint(&description.rf_input, "LO and RF enter by the same port"));
        }
        Ok([lo, rf])
    }

    /// Every port is joined, loaded or an input.
    fn check_all_ports(
        &self,
        parts: &[Part],
        joins: &Joins,
        loads_at: &[Terminal],
        inputs: &[PowerInput; 2],
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
        reaches: &[Vec<bool>; 2],
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
            let ways = [
                (&entry.lo, "lo", &description.lo_input),
                (&entry.rf, "rf", &description.rf_input),
            ];
            let mut terminals = Vec::new();
            for ((port, what, input), reach) in ways.into_iter().zip(reaches) {
                let terminal = self.terminal(port.get_ref(), port.span(), parts)?;
                if !reach[terminal.block] {
                    let problem = DescriptionProblem::Unreached {
                        port: port.get_ref().clone(),
                        what,
                        mixer: name,
                        input: input.get_ref().clone(),
                    };
                    return Err(self.error(problem, port.span()));
                }
                terminals.push(terminal);
            }
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
                lo: terminals[0],
                rf: terminals[1],
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
        network: OnWays,
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
            network,
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

    fn ring(&self, description: &ReceiverDescription) -> Result<RingSettings, DescriptionError> {
        let magnitude = |given: &Option<Spanned<f64>>| match given {
            Some(given) if !(0.0..1.0).contains(given.get_ref()) => {
                Err(self.complaint(given, "a reflection's magnitude is from 0 to below 1"))
            }
            given => Ok(given.as_ref().map(|given| *given.get_ref())),
        };
        Ok(RingSettings {
            mixer_reflection: magnitude(&description.load_ring.mixer_reflection)?,
            isolated_reflection: magnitude(&description.load_ring.isolated_reflection)?,
        })
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
