//! Blocks with their ports, joins and loads, common to networks and receivers.

use super::allowed::Allowed;
use super::block_entries::{BlockEntry, LoadEntry, ResistorCapacitor};
use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::NamedFiles;
use super::source::TomlFile;
use crate::component::{
    Arrangement, ComponentError, Elements, GivenParameter, NamedComponent, choice,
    large_resistance, open_end, shorted_end, small_element, small_resistance, termination,
};
use crate::downconverter::{PartModel, SidebandSource, StagePart, stage_network};
use crate::network::{FrequencyGrid, Load, Network, ParameterKind, Port, Terminal, onto_grid};
use crate::touchstone::TouchstoneFile;
use crate::units::check_prefix;
use num_complex::Complex64;
use std::collections::{HashMap, HashSet};
use std::ops::Range;
use std::sync::Arc;
use toml::Spanned;

/// The blocks of a description.
pub(super) struct Blocks<'d> {
    source: &'d TomlFile,
    list: Vec<Block<'d>>,
}

/// A block with the names of its ports.
pub(super) struct Block<'d> {
    pub(super) entry: &'d BlockEntry,
    pub(super) ports: Vec<String>,
    pub(super) origin: Origin,
}

/// A load with the port that it terminates.
pub(super) struct PlacedLoad<'d> {
    pub(super) entry: &'d LoadEntry,
    pub(super) at: Terminal,
    pub(super) origin: Origin,
}

/// The origin of the network of a block or a load.
pub(super) enum Origin {
    /// A file, at its own frequencies.
    File(Box<TouchstoneFile>),
    /// A closed-form component.
    Component(Arc<NamedComponent>),
    /// An amplifier or multiplier of the LO chain.
    Stage(Box<StagePart>),
    /// An impedance in ohms, the same at every frequency.
    Impedance(Complex64),
    /// Elements to ground.
    Elements(Elements, Arrangement),
    Open,
    Short,
}

/// The ports of a join, as written.
pub(super) struct WrittenJoin {
    pub(super) terminals: Vec<Terminal>,
    pub(super) text: String,
    pub(super) span: Range<usize>,
}

/// The joins of a description; no port is in two of them.
#[derive(Default)]
pub(super) struct Joins {
    pub(super) list: Vec<WrittenJoin>,
    place_of: HashMap<Terminal, usize>,
}

impl Block<'_> {
    pub(super) fn name(&self) -> &str {
        self.entry.name.get_ref()
    }

    pub(super) fn span(&self) -> Range<usize> {
        self.entry.name.span()
    }

    /// The name of the block in messages, with its file.
    pub(super) fn title(&self) -> String {
        match &self.entry.file {
            Some(file) => format!("block '{}' ({})", self.name(), file.get_ref().display()),
            None => format!("block '{}'", self.name()),
        }
    }

    /// The place for errors of the network.
    pub(super) fn network_span(&self) -> Range<usize> {
        match &self.entry.component {
            Some(component) => component.span(),
            None => self.span(),
        }
    }
}

impl PlacedLoad<'_> {
    /// The name of the load in messages.
    pub(super) fn title(&self) -> String {
        format!("load at {}", self.entry.at.get_ref())
    }

    pub(super) fn span(&self) -> Range<usize> {
        self.entry.at.span()
    }
}

impl Origin {
    /// The file, at its own frequencies; `None` for other origins.
    pub(super) fn file(&self) -> Option<&TouchstoneFile> {
        match self {
            Self::File(file) => Some(file),
            _ => None,
        }
    }

    /// The network on a grid, interpolated or computed there. `name` and `span` are used in
    /// messages.
    pub(super) fn onto(
        &self,
        grid: &FrequencyGrid,
        name: &str,
        span: Range<usize>,
        files: &mut NamedFiles<'_>,
    ) -> Result<Network, DescriptionError> {
        let source = files.source();
        if let Self::File(file) = self {
            return interpolated(&file.network, grid, name, span, files);
        }
        self.made(grid).map_err(|error| source.error(error, span))
    }

    /// The source of its network at any frequency; `given` are the parameters of a component.
    pub(super) fn sideband_source(&self, given: Vec<GivenParameter>) -> SidebandSource {
        match self {
            Self::File(file) => SidebandSource::Samples(Box::new(file.network.clone())),
            Self::Component(made) => SidebandSource::Component { kind: made.kind().name(), given },
            Self::Elements(elements, arrangement) => {
                SidebandSource::Elements(*elements, *arrangement)
            }
            Self::Impedance(ohm) => SidebandSource::Impedance(*ohm),
            Self::Open => SidebandSource::Reflection(1.0),
            Self::Short => SidebandSource::Reflection(-1.0),
            // A stage is known to the receiver by its resistances.
            Self::Stage(stage) => SidebandSource::Impedance(stage.input_ohm.into()),
        }
    }

    /// The network of a closed form on a grid; that of a file as it is.
    pub(super) fn made(&self, grid: &FrequencyGrid) -> Result<Network, ComponentError> {
        match self {
            Self::File(file) => Ok(file.network.clone()),
            Self::Component(component) => component.network(grid),
            Self::Elements(elements, arrangement) => termination(grid, elements, *arrangement),
            Self::Open => open_end(grid, 0.0),
            Self::Short => shorted_end(grid, 0.0),
            Self::Impedance(ohm) => impedance(grid, *ohm),
            Self::Stage(stage) => Ok(stage_network(grid, [stage.input_ohm, stage.output_ohm])?),
        }
    }

    /// The stage that it is.
    pub(super) fn stage(&self) -> Option<&StagePart> {
        match self {
            Self::Stage(stage) => Some(stage),
            _ => None,
        }
    }

    /// What it is made from, for frequencies beyond those of a plan; `None` for a stage.
    pub(super) fn model(&self) -> Option<PartModel> {
        Some(match self {
            Self::File(file) => PartModel::Sampled(Arc::new(file.network.clone())),
            Self::Component(component) => PartModel::Component(Arc::clone(component)),
            Self::Impedance(ohm) => PartModel::Impedance(*ohm),
            Self::Elements(elements, arrangement) => PartModel::Elements(*elements, *arrangement),
            Self::Open => PartModel::Open,
            Self::Short => PartModel::Short,
            Self::Stage(_) => return None,
        })
    }
}

/// A network on another grid, with a warning where the phase step between two points is too large.
pub(super) fn interpolated(
    network: &Network,
    grid: &FrequencyGrid,
    name: &str,
    span: Range<usize>,
    files: &mut NamedFiles<'_>,
) -> Result<Network, DescriptionError> {
    let interpolated = onto_grid(network, grid).map_err(|error| {
        let problem = DescriptionProblem::Block { name: name.to_owned(), source: error };
        files.source().error(problem, span)
    })?;
    if let Some(step) = interpolated.unsafe_step {
        files.warnings.push(format!("{name}: {step}"));
    }
    Ok(interpolated.network)
}

/// A one-port of an impedance, in 50 ohm.
fn impedance(grid: &FrequencyGrid, ohm: Complex64) -> Result<Network, ComponentError> {
    let one_port = |entries| {
        let kind = ParameterKind::Scattering;
        Network::new(kind, grid.clone(), 1, entries, vec![50.0.into()])
    };
    let matched = one_port(vec![Complex64::ZERO; grid.len()])?;
    Ok(one_port(Load::Impedance(ohm).reflections(&matched, Port::from_index(0))?)?)
}

impl<'d> Blocks<'d> {
    /// Reads the blocks' files and names their ports.
    pub(super) fn read(
        source: &'d TomlFile,
        entries: &'d [BlockEntry],
        files: &mut NamedFiles<'_>,
    ) -> Result<Self, DescriptionError> {
        let mut list: Vec<Block<'d>> = Vec::new();
        for entry in entries {
            let name = || entry.name.get_ref().clone();
            source.check_name(&entry.name)?;
            if list.iter().any(|block| block.name() == entry.name.get_ref()) {
                let problem = DescriptionProblem::DuplicateBlock { name: name() };
                return Err(source.error(problem, entry.name.span()));
            }
            let stage = entry.stage_keys().read(source)?;
            let (origin, expected) = match (&entry.file, &entry.component, stage) {
                (None, None, Some(stage)) => (Origin::Stage(Box::new(stage)), 2),
                (Some(file), None, None) => {
                    let content = files.file(file)?;
                    if content.network.modes().is_some() {
                        let problem = DescriptionProblem::MixedMode { name: name() };
                        return Err(source.error(problem, file.span()));
                    }
                    let ports = content.network.ports();
                    (Origin::File(Box::new(content)), ports)
                }
                (None, Some(component), None) => {
                    let made = source.component(component)?;
                    let ports = made.kind().ports().len();
                    (Origin::Component(Arc::new(made)), ports)
                }
                _ => {
                    let problem = DescriptionProblem::NoSource { name: name() };
                    return Err(source.error(problem, entry.name.span()));
                }
            };
            let ports = port_names(source, entry, expected)?;
            list.push(Block { entry, ports, origin });
        }
        Ok(Self { source, list })
    }

    pub(super) fn iter(&self) -> impl Iterator<Item = &Block<'d>> {
        self.list.iter()
    }

    /// Reads `BLOCK.PORT` as a terminal.
    pub(super) fn terminal(
        &self,
        text: &str,
        span: Range<usize>,
    ) -> Result<Terminal, DescriptionError> {
        let failed = |problem: DescriptionProblem| Err(self.source.error(problem, span.clone()));
        let Some((name, port)) = text.split_once('.') else {
            return failed(DescriptionProblem::NotAPort { text: text.to_owned() });
        };
        let Some(block) = self.list.iter().position(|block| block.name() == name) else {
            let known = self.list.iter().map(|block| block.name().to_owned()).collect();
            return failed(DescriptionProblem::UnknownBlock { name: name.to_owned(), known });
        };
        let ports = &self.list[block].ports;
        match ports.iter().position(|own| own == port) {
            Some(index) => Ok(Terminal { block, port: Port::from_index(index) }),
            None => failed(DescriptionProblem::UnknownPort {
                block: name.to_owned(),
                port: port.to_owned(),
                known: ports.clone(),
            }),
        }
    }

    /// Reads a value that is a single terminal.
    pub(super) fn terminal_of(
        &self,
        given: &Spanned<String>,
    ) -> Result<Terminal, DescriptionError> {
        self.terminal(given.get_ref(), given.span())
    }

    /// The first unconnected port, with its name, and the place of its block.
    pub(super) fn unconnected(
        &self,
        is_connected: impl Fn(&Terminal) -> bool,
    ) -> Option<(String, Range<usize>)> {
        self.list.iter().enumerate().find_map(|(block, own)| {
            let terminal = |index| Terminal { block, port: Port::from_index(index) };
            let index = (0..own.ports.len()).find(|&index| !is_connected(&terminal(index)))?;
            Some((format!("{}.{}", own.name(), own.ports[index]), own.span()))
        })
    }

    /// The joins of the top level and those written below blocks.
    pub(super) fn joins(&self, top: &[Spanned<String>]) -> Result<Joins, DescriptionError> {
        let mut made = Joins::default();
        for join in top.iter().chain(self.list.iter().flat_map(|block| &block.entry.joins)) {
            if !join.get_ref().contains("--") {
                return Err(self.source.error(DescriptionProblem::JoinTooSmall, join.span()));
            }
            let mut terminals = Vec::new();
            for text in join.get_ref().split("--").map(str::trim) {
                let terminal = self.terminal(text, join.span())?;
                if made.place_of.insert(terminal, made.list.len()).is_some() {
                    let problem = DescriptionProblem::JoinedTwice { port: text.to_owned() };
                    return Err(self.source.error(problem, join.span()));
                }
                terminals.push(terminal);
            }
            let text = join.get_ref().clone();
            made.list.push(WrittenJoin { terminals, text, span: join.span() });
        }
        Ok(made)
    }

    /// The loads with their files; an error for a port with two loads.
    pub(super) fn loads(
        &self,
        entries: &'d [LoadEntry],
        files: &mut NamedFiles<'_>,
    ) -> Result<Vec<PlacedLoad<'d>>, DescriptionError> {
        let mut loads = Vec::new();
        let mut seen = HashSet::new();
        for entry in entries {
            let at = self.terminal_of(&entry.at)?;
            if !seen.insert(at) {
                let problem = DescriptionProblem::LoadedTwice { port: entry.at.get_ref().clone() };
                return Err(self.source.error(problem, entry.at.span()));
            }
            let origin = load_origin(self.source, entry, files)?;
            loads.push(PlacedLoad { entry, at, origin });
        }
        Ok(loads)
    }
}

impl Joins {
    /// The index of a port's join in the list.
    pub(super) fn place_of(&self, terminal: &Terminal) -> Option<usize> {
        self.place_of.get(terminal).copied()
    }
}

impl TomlFile {
    /// Checks that a name has no characters with a meaning in `BLOCK.PORT` or in a join.
    pub(super) fn check_name(&self, name: &Spanned<String>) -> Result<(), DescriptionError> {
        let text = name.get_ref();
        let fits = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
        if !text.is_empty() && text.chars().all(fits) && !text.contains("--") {
            return Ok(());
        }
        Err(self.error(DescriptionProblem::BadName { name: text.clone() }, name.span()))
    }
}

fn port_names(
    source: &TomlFile,
    entry: &BlockEntry,
    expected: usize,
) -> Result<Vec<String>, DescriptionError> {
    let Some(names) = &entry.ports else {
        return Ok((1..=expected).map(|number| number.to_string()).collect());
    };
    let found = names.get_ref().len();
    if found != expected {
        let name = entry.name.get_ref().clone();
        let problem = DescriptionProblem::PortNames { name, expected, found };
        return Err(source.error(problem, names.span()));
    }
    let mut seen = HashSet::new();
    for port in names.get_ref() {
        source.check_name(port)?;
        if !seen.insert(port.get_ref()) {
            let name = port.get_ref().clone();
            return Err(source.error(DescriptionProblem::DuplicatePortName { name }, port.span()));
        }
    }
    Ok(names.get_ref().iter().map(|port| port.get_ref().clone()).collect())
}

/// A load below this is a short, which has a key of its own.
const NEXT_TO_A_SHORT_OHM: f64 = 1.0;

/// Values of a resistor and a capacitor that are likely in another unit.
fn rc_remarks(
    source: &TomlFile,
    rc: &ResistorCapacitor,
    arrangement: Arrangement,
    files: &mut NamedFiles<'_>,
) -> Result<(), DescriptionError> {
    let (key, capacitance_ff) = ("capacitance_ff", &rc.capacitance_ff);
    check_prefix(key, *capacitance_ff.get_ref())
        .map_err(|error| source.complaint(capacitance_ff, error.to_string()))?;
    let small = small_element(key, *capacitance_ff.get_ref());
    files.warnings.extend(small.map(|text| source.remark(capacitance_ff.span(), &text)));
    // In series with a capacitor any resistance may be small.
    let ohm = *rc.resistance_ohm.get_ref();
    if arrangement == Arrangement::Parallel && ohm > 0.0 && ohm < NEXT_TO_A_SHORT_OHM {
        let text = small_resistance("resistance_ohm", ohm);
        files.warnings.push(source.remark(rc.resistance_ohm.span(), &text));
    }
    Ok(())
}

/// What a load is made from: one of its keys, and one only.
fn load_origin(
    source: &TomlFile,
    entry: &LoadEntry,
    files: &mut NamedFiles<'_>,
) -> Result<Origin, DescriptionError> {
    match (&entry.ohm, &entry.file, &entry.rc, entry.open, entry.short) {
        (Some(ohm), None, None, false, false) => {
            let value = Complex64::from(*ohm.get_ref());
            for (key, part, allowed) in
                [("ohm", value.re, Allowed::ZeroOrMore), ("ohm", value.im, Allowed::Finite)]
            {
                source.check_number(key, part, allowed, ohm.span())?;
            }
            if value.re > 0.0 && value.norm() < NEXT_TO_A_SHORT_OHM {
                let text = small_resistance("ohm", value.re);
                files.warnings.push(source.remark(ohm.span(), &text));
            }
            let large = large_resistance("ohm", value.norm());
            files.warnings.extend(large.map(|text| source.remark(ohm.span(), &text)));
            Ok(Origin::Impedance(value))
        }
        (None, Some(file), None, false, false) => {
            let content = files.file(file)?;
            match content.network.ports() {
                1 => Ok(Origin::File(Box::new(content))),
                ports => Err(source.error(DescriptionProblem::LoadPorts { ports }, file.span())),
            }
        }
        (None, None, Some(rc), false, false) => {
            let number = |key, given| source.number(key, given, Allowed::ZeroOrMore);
            let elements = Elements {
                resistance_ohm: Some(number("resistance_ohm", &rc.resistance_ohm)?),
                capacitance_f: Some(number("capacitance_ff", &rc.capacitance_ff)? * 1e-15),
                inductance_h: None,
            };
            let arrangement = match &rc.arrangement {
                Some(word) => choice("arrangement", word.get_ref())
                    .map_err(|error| source.error(error, word.span()))?,
                None => Arrangement::Series,
            };
            rc_remarks(source, rc, arrangement, files)?;
            Ok(Origin::Elements(elements, arrangement))
        }
        (None, None, None, true, false) => Ok(Origin::Open),
        (None, None, None, false, true) => Ok(Origin::Short),
        _ => {
            let port = entry.at.get_ref().clone();
            Err(source.error(DescriptionProblem::NoLoad { port }, entry.at.span()))
        }
    }
}
