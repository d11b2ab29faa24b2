//! From a description and its files to networks and wiring.

use super::description::{BlockEntry, LoadEntry, NetworkDescription};
use super::error::{DescriptionError, DescriptionProblem};
use crate::component::{Arrangement, ComponentError, Elements, Terminated, one_port};
use crate::diagnostic::Excerpt;
use crate::network::{
    FrequencyGrid, Network, NetworkError, ParameterKind, Port, Terminal, WaveDefinition, Wiring,
    interpolate, join, on_common_grid, renormalise,
};
use crate::touchstone::{ReadOptions, read};
use crate::units::{ShownFrequency, parse_frequency_grid_hz};
use num_complex::Complex64;
use std::collections::{HashMap, HashSet};
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// Networks on one grid, and how they meet.
#[derive(Debug)]
pub struct Circuit {
    /// The parts, then the loads.
    pub blocks: Vec<Network>,
    /// Their names.
    pub names: Vec<String>,
    /// What meets what.
    pub wiring: Wiring,
    /// Each join as written, in the order of the wiring.
    pub join_texts: Vec<String>,
    /// References of the result: none, one, or one per outside port.
    pub references_ohm: Vec<f64>,
    /// The files that were read.
    pub inputs: Vec<PathBuf>,
    /// What the user should know.
    pub warnings: Vec<String>,
    /// The line of each join or load, in the order of the wiring.
    excerpts: Vec<Excerpt>,
    file: PathBuf,
}

impl Circuit {
    /// The network of the outside ports.
    ///
    /// # Errors
    /// [`DescriptionError`] with the join that rings, or the reference that cannot be.
    pub fn join(&self) -> Result<Network, DescriptionError> {
        let failed = |problem, excerpt| DescriptionError {
            file: self.file.clone(),
            problem: Box::new(problem),
            excerpt,
        };
        let joined = join(&self.blocks, &self.wiring).map_err(|error| match error {
            NetworkError::RingingJoin { join, frequency_hz } => failed(
                DescriptionProblem::RingingJoin {
                    join: self.join_texts[join].clone(),
                    frequency_hz,
                },
                self.excerpts.get(join).cloned().map(Box::new),
            ),
            other => failed(other.into(), None),
        })?;
        if self.references_ohm.is_empty() {
            return Ok(joined);
        }
        let references = self.references_ohm.iter().map(|&ohm| ohm.into()).collect();
        renormalise(&joined, references, WaveDefinition::Power)
            .map_err(|error| failed(error.into(), None))
    }
}

/// Reads NETWORK.toml and the files it names. `grid_hz` stands above the description's own.
///
/// # Errors
/// [`DescriptionError`] with the line of the description, or with the line of the file it names.
pub fn load_network(
    path: &Path,
    options: &ReadOptions,
    grid_hz: Option<Vec<f64>>,
) -> Result<Circuit, DescriptionError> {
    let text = std::fs::read_to_string(path).map_err(|error| DescriptionError {
        file: path.to_owned(),
        problem: Box::new(DescriptionProblem::Io(error)),
        excerpt: None,
    })?;
    let loader = Loader { path, text: &text, options };
    let description: NetworkDescription = toml::from_str(&text).map_err(|error| {
        let problem = DescriptionProblem::Toml(error.message().trim().replace('\n', "; "));
        match error.span() {
            Some(span) => loader.at(problem, span),
            None => loader.anywhere(problem),
        }
    })?;
    loader.circuit(&description, grid_hz)
}

struct Loader<'a> {
    path: &'a Path,
    text: &'a str,
    options: &'a ReadOptions,
}

/// A part before and after it is on the common grid.
struct Part {
    name: String,
    span: Range<usize>,
    ports: Vec<String>,
    network: Option<Network>,
}

impl Loader<'_> {
    fn at(&self, problem: DescriptionProblem, span: Range<usize>) -> DescriptionError {
        let excerpt = Some(Box::new(Excerpt::of_text(self.text, span)));
        DescriptionError { file: self.path.to_owned(), problem: Box::new(problem), excerpt }
    }

    fn anywhere(&self, problem: DescriptionProblem) -> DescriptionError {
        DescriptionError { file: self.path.to_owned(), problem: Box::new(problem), excerpt: None }
    }

    fn resolve(&self, file: &Path) -> PathBuf {
        self.path.parent().unwrap_or(Path::new("")).join(file)
    }

    fn read(
        &self,
        file: &Spanned<PathBuf>,
        circuit: &mut Circuit,
    ) -> Result<Network, DescriptionError> {
        let path = self.resolve(file.get_ref());
        let content =
            read(&path, self.options).map_err(|error| self.at(error.into(), file.span()))?;
        for warning in &content.warnings {
            circuit.warnings.push(format!("{}:{warning}", path.display()));
        }
        if !content.noise.is_empty() {
            circuit.warnings.push(format!("{}: its noise data are left out", path.display()));
        }
        circuit.inputs.push(path);
        Ok(content.network)
    }

    fn circuit(
        &self,
        description: &NetworkDescription,
        grid_hz: Option<Vec<f64>>,
    ) -> Result<Circuit, DescriptionError> {
        let mut circuit = Circuit {
            blocks: Vec::new(),
            names: Vec::new(),
            wiring: Wiring::default(),
            join_texts: Vec::new(),
            references_ohm: description
                .reference_ohm
                .as_ref()
                .map(|list| list.get_ref().to_vec())
                .unwrap_or_default(),
            inputs: vec![self.path.to_owned()],
            warnings: Vec::new(),
            excerpts: Vec::new(),
            file: self.path.to_owned(),
        };
        if let Some(list) = &description.reference_ohm {
            let (found, ports) = (circuit.references_ohm.len(), description.ports.len());
            if found != 1 && found != ports {
                return Err(
                    self.at(NetworkError::ReferenceCount { ports, found }.into(), list.span())
                );
            }
            if let Some(&value) =
                circuit.references_ohm.iter().find(|ohm| !(**ohm > 0.0 && ohm.is_finite()))
            {
                let port = Port::from_index(
                    circuit
                        .references_ohm
                        .iter()
                        .position(|&ohm| ohm.total_cmp(&value).is_eq())
                        .unwrap_or(0),
                );
                return Err(self.at(
                    NetworkError::Reference { port, value_ohm: value.into() }.into(),
                    list.span(),
                ));
            }
        }
        let parts = self.parts(&description.blocks, &mut circuit)?;
        let load_files = self.load_files(&description.loads, &mut circuit)?;
        let grid = self.grid(description, grid_hz, &parts, &load_files, &mut circuit)?;
        self.place_parts(&description.blocks, &parts, &grid, &mut circuit)?;
        self.wire(description, &parts, load_files, &grid, &mut circuit)?;
        Ok(circuit)
    }

    fn parts(
        &self,
        blocks: &[BlockEntry],
        circuit: &mut Circuit,
    ) -> Result<Vec<Part>, DescriptionError> {
        let mut parts: Vec<Part> = Vec::new();
        for block in blocks {
            let name = block.name.get_ref().clone();
            self.check_name(&block.name)?;
            if parts.iter().any(|part| part.name == name) {
                return Err(self.at(DescriptionProblem::BlockTwice { name }, block.name.span()));
            }
            let (network, expected) = match (&block.file, &block.component) {
                (Some(file), None) => {
                    let network = self.read(file, circuit)?;
                    if network.modes().is_some() {
                        return Err(self.at(DescriptionProblem::MixedMode { name }, file.span()));
                    }
                    let ports = network.ports();
                    (Some(network), ports)
                }
                (None, Some(component)) => {
                    // Any frequency tells the number of ports.
                    let probe = FrequencyGrid::from_hz(vec![1e9])
                        .map_err(|error| self.anywhere(error.into()))?;
                    let built = component.get_ref().build(&probe);
                    (None, built.map_err(|error| self.at(error.into(), component.span()))?.ports())
                }
                _ => return Err(self.at(DescriptionProblem::NoSource { name }, block.name.span())),
            };
            let ports = match &block.ports {
                None => (1..=expected).map(|number| number.to_string()).collect(),
                Some(names) => {
                    let found = names.get_ref().len();
                    if found != expected {
                        return Err(self.at(
                            DescriptionProblem::PortNames { name, expected, found },
                            names.span(),
                        ));
                    }
                    let mut seen = HashSet::new();
                    for port in names.get_ref() {
                        self.check_name(port)?;
                        if !seen.insert(port.get_ref()) {
                            let name = port.get_ref().clone();
                            return Err(
                                self.at(DescriptionProblem::PortNameTwice { name }, port.span())
                            );
                        }
                    }
                    names.get_ref().iter().map(|port| port.get_ref().clone()).collect()
                }
            };
            parts.push(Part { name, span: block.name.span(), ports, network });
        }
        Ok(parts)
    }

    fn check_name(&self, name: &Spanned<String>) -> Result<(), DescriptionError> {
        let text = name.get_ref();
        let fits = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
        if !text.is_empty() && text.chars().all(fits) && !text.contains("--") {
            return Ok(());
        }
        Err(self.at(DescriptionProblem::BadName { name: text.clone() }, name.span()))
    }

    fn load_files(
        &self,
        loads: &[LoadEntry],
        circuit: &mut Circuit,
    ) -> Result<HashMap<usize, Network>, DescriptionError> {
        let mut files = HashMap::new();
        for (at, load) in loads.iter().enumerate() {
            let given =
                [load.ohm.is_some(), load.file.is_some(), load.rc.is_some(), load.open, load.short];
            if given.iter().filter(|&&given| given).count() != 1 {
                let port = load.at.get_ref().clone();
                return Err(self.at(DescriptionProblem::NoLoad { port }, load.at.span()));
            }
            if let Some(file) = &load.file {
                let network = self.read(file, circuit)?;
                if network.ports() != 1 {
                    return Err(self.at(
                        DescriptionProblem::LoadPorts { ports: network.ports() },
                        file.span(),
                    ));
                }
                files.insert(at, network);
            }
        }
        Ok(files)
    }

    /// The grid asked for, or what the files have in common.
    fn grid(
        &self,
        description: &NetworkDescription,
        grid_hz: Option<Vec<f64>>,
        parts: &[Part],
        load_files: &HashMap<usize, Network>,
        circuit: &mut Circuit,
    ) -> Result<FrequencyGrid, DescriptionError> {
        if let Some(points_hz) = grid_hz {
            return FrequencyGrid::from_hz(points_hz).map_err(|error| self.anywhere(error.into()));
        }
        if let Some(text) = &description.grid {
            let points_hz = parse_frequency_grid_hz(text.get_ref()).map_err(|error| {
                self.at(DescriptionProblem::Grid(error.to_string()), text.span())
            })?;
            return FrequencyGrid::from_hz(points_hz)
                .map_err(|error| self.at(error.into(), text.span()));
        }
        let named: Vec<(&str, &Network)> = parts
            .iter()
            .filter_map(|part| part.network.as_ref().map(|network| (part.name.as_str(), network)))
            .chain(
                load_files
                    .iter()
                    .map(|(at, network)| (description.loads[*at].at.get_ref().as_str(), network)),
            )
            .collect();
        let Some(latest) =
            named.iter().max_by(|a, b| a.1.grid().first_hz().total_cmp(&b.1.grid().first_hz()))
        else {
            return Err(self.anywhere(DescriptionProblem::NoGrid));
        };
        if let Some(earliest) =
            named.iter().min_by(|a, b| a.1.grid().last_hz().total_cmp(&b.1.grid().last_hz()))
            && latest.1.grid().first_hz() > earliest.1.grid().last_hz()
        {
            let problem = DescriptionProblem::NoCommonBand {
                starts_late: latest.0.to_owned(),
                ends_early: earliest.0.to_owned(),
            };
            let span =
                parts.iter().find(|part| part.name == latest.0).map(|part| part.span.clone());
            return Err(span.map_or_else(
                || self.anywhere(DescriptionProblem::NoGrid),
                |span| self.at(problem, span),
            ));
        }
        // Only the grids matter here; one-port stand-ins spare interpolating everything twice.
        let stand_ins: Result<Vec<Network>, NetworkError> = named
            .iter()
            .map(|(_, network)| {
                let zeros = vec![Complex64::ZERO; network.grid().len()];
                Network::new(
                    ParameterKind::Scattering,
                    network.grid().clone(),
                    1,
                    zeros,
                    vec![50.0.into()],
                )
            })
            .collect();
        let common = stand_ins
            .and_then(|list| on_common_grid(&list))
            .map_err(|error| self.anywhere(error.into()))?;
        let grid = common[0].network.grid().clone();
        let narrows = |(_, network): &(&str, &Network)| {
            network.grid().first_hz() < grid.first_hz() || network.grid().last_hz() > grid.last_hz()
        };
        if named.iter().any(narrows) {
            circuit.warnings.push(format!(
                "the files cover different bands: {} to {} is common to all",
                ShownFrequency(grid.first_hz()),
                ShownFrequency(grid.last_hz())
            ));
        }
        Ok(grid)
    }

    fn place_parts(
        &self,
        blocks: &[BlockEntry],
        parts: &[Part],
        grid: &FrequencyGrid,
        circuit: &mut Circuit,
    ) -> Result<(), DescriptionError> {
        for (block, part) in blocks.iter().zip(parts) {
            let network = match (&part.network, &block.component) {
                (Some(network), _) => {
                    self.on_grid(network, grid, &part.name, part.span.clone(), circuit)?
                }
                (None, Some(component)) => component
                    .get_ref()
                    .build(grid)
                    .map_err(|error| self.at(error.into(), component.span()))?,
                (None, None) => {
                    return Err(self.at(
                        DescriptionProblem::NoSource { name: part.name.clone() },
                        part.span.clone(),
                    ));
                }
            };
            circuit.blocks.push(network);
            circuit.names.push(part.name.clone());
        }
        Ok(())
    }

    fn on_grid(
        &self,
        network: &Network,
        grid: &FrequencyGrid,
        name: &str,
        span: Range<usize>,
        circuit: &mut Circuit,
    ) -> Result<Network, DescriptionError> {
        let interpolated = interpolate(network, grid).map_err(|source| {
            self.at(DescriptionProblem::Block { name: name.to_owned(), source }, span)
        })?;
        if let Some(step) = interpolated.unsafe_step {
            circuit.warnings.push(format!("{name}: {step}"));
        }
        Ok(interpolated.network)
    }

    /// `BLOCK.PORT` as a terminal.
    fn terminal(
        &self,
        text: &str,
        span: Range<usize>,
        parts: &[Part],
    ) -> Result<Terminal, DescriptionError> {
        let Some((block_name, port_name)) = text.split_once('.') else {
            return Err(self.at(DescriptionProblem::NotAPort { text: text.to_owned() }, span));
        };
        let Some(block) = parts.iter().position(|part| part.name == block_name) else {
            let known = parts.iter().map(|part| part.name.clone()).collect();
            return Err(self.at(
                DescriptionProblem::UnknownBlock { name: block_name.to_owned(), known },
                span,
            ));
        };
        let Some(index) = parts[block].ports.iter().position(|port| port == port_name) else {
            let problem = DescriptionProblem::UnknownPort {
                block: block_name.to_owned(),
                port: port_name.to_owned(),
                known: parts[block].ports.clone(),
            };
            return Err(self.at(problem, span));
        };
        Ok(Terminal { block, port: Port::from_index(index) })
    }

    fn wire(
        &self,
        description: &NetworkDescription,
        parts: &[Part],
        mut load_files: HashMap<usize, Network>,
        grid: &FrequencyGrid,
        circuit: &mut Circuit,
    ) -> Result<(), DescriptionError> {
        let mut joined: HashMap<Terminal, usize> = HashMap::new();
        let beside_blocks = description.blocks.iter().flat_map(|block| &block.joins);
        for join in description.joins.iter().chain(beside_blocks) {
            let mut node = Vec::new();
            if !join.get_ref().contains("--") {
                return Err(self.at(DescriptionProblem::JoinTooSmall, join.span()));
            }
            for text in join.get_ref().split("--").map(str::trim) {
                let terminal = self.terminal(text, join.span(), parts)?;
                if joined.insert(terminal, circuit.wiring.joins.len()).is_some() {
                    return Err(self.at(
                        DescriptionProblem::JoinedTwice { port: text.to_owned() },
                        join.span(),
                    ));
                }
                node.push(terminal);
            }
            if node.len() < 2 {
                return Err(self.at(DescriptionProblem::JoinTooSmall, join.span()));
            }
            circuit.wiring.joins.push(node);
            circuit.join_texts.push(join.get_ref().clone());
            circuit.excerpts.push(Excerpt::of_text(self.text, join.span()));
        }
        let mut loaded: HashSet<Terminal> = HashSet::new();
        for (at, load) in description.loads.iter().enumerate() {
            let text = load.at.get_ref();
            let terminal = self.terminal(text, load.at.span(), parts)?;
            if !loaded.insert(terminal) {
                return Err(
                    self.at(DescriptionProblem::LoadedTwice { port: text.clone() }, load.at.span())
                );
            }
            let network = match load_files.remove(&at) {
                Some(file) => {
                    self.on_grid(&file, grid, &format!("load at {text}"), load.at.span(), circuit)?
                }
                None => self.lumped_load(load, grid)?,
            };
            let closing = Terminal { block: circuit.blocks.len(), port: Port::from_index(0) };
            circuit.blocks.push(network);
            circuit.names.push(format!("load at {text}"));
            if let Some(&node) = joined.get(&terminal) {
                circuit
                    .warnings
                    .push(format!("{text} is joined too: its load stands in parallel there"));
                circuit.wiring.joins[node].push(closing);
            } else {
                joined.insert(terminal, circuit.wiring.joins.len());
                circuit.wiring.joins.push(vec![terminal, closing]);
                circuit.join_texts.push(format!("{text} and its load"));
                circuit.excerpts.push(Excerpt::of_text(self.text, load.at.span()));
            }
        }
        for port in &description.ports {
            let terminal = self.terminal(port.get_ref(), port.span(), parts)?;
            if circuit.wiring.outside.contains(&terminal) {
                return Err(self.at(
                    DescriptionProblem::OutsideTwice { port: port.get_ref().clone() },
                    port.span(),
                ));
            }
            circuit.wiring.outside.push(terminal);
        }
        for (block, part) in parts.iter().enumerate() {
            for (index, port) in part.ports.iter().enumerate() {
                let terminal = Terminal { block, port: Port::from_index(index) };
                if !joined.contains_key(&terminal) && !circuit.wiring.outside.contains(&terminal) {
                    let port = format!("{}.{port}", part.name);
                    return Err(self.at(DescriptionProblem::LeftOver { port }, part.span.clone()));
                }
            }
        }
        Ok(())
    }

    fn lumped_load(
        &self,
        load: &LoadEntry,
        grid: &FrequencyGrid,
    ) -> Result<Network, DescriptionError> {
        let failed = |error: ComponentError| self.at(error.into(), load.at.span());
        if let Some(ohm) = load.ohm {
            let impedance = Complex64::from(ohm);
            if !(impedance.re >= 0.0 && impedance.is_finite()) {
                let value = if impedance.re >= 0.0 { impedance.im } else { impedance.re };
                return Err(failed(if impedance.is_finite() {
                    ComponentError::Negative { name: "ohm", value }
                } else {
                    ComponentError::NotFinite { name: "ohm", value }
                }));
            }
            let reflection = (impedance - 50.0) / (impedance + 50.0);
            let entries = vec![reflection; grid.len()];
            return Network::new(
                ParameterKind::Scattering,
                grid.clone(),
                1,
                entries,
                vec![50.0.into()],
            )
            .map_err(|error| self.at(error.into(), load.at.span()));
        }
        let terminated = if let Some(rc) = load.rc {
            let elements = Elements {
                resistance_ohm: Some(rc.resistance_ohm),
                capacitance_f: Some(rc.capacitance_ff * 1e-15),
                inductance_h: None,
            };
            Terminated::Load { elements, arrangement: Arrangement::from(rc.arrangement) }
        } else if load.open {
            Terminated::Open { capacitance_f: 0.0 }
        } else {
            Terminated::Short { inductance_h: 0.0 }
        };
        one_port(grid, &terminated).map_err(failed)
    }
}
