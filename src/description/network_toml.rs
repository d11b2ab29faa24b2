//! NETWORK.toml: networks on one grid, and how they meet.

use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::NamedFiles;
use super::network_entries::NetworkDescription;
use super::parts::{Part, PartOrigin};
use super::source::{TextPlace, TomlFile};
use crate::network::{
    FrequencyGrid, Network, NetworkError, ParameterKind, Port, Terminal, WaveDefinition, Wiring,
    change_reference, join, on_common_grid,
};
use crate::touchstone::ReadOptions;
use crate::units::{ShownFrequency, parse_frequency_grid_hz};
use num_complex::Complex64;
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

/// Networks on one grid, and how they meet.
#[derive(Debug)]
pub struct WiredNetwork {
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
    places: Vec<TextPlace>,
    file: PathBuf,
}

impl WiredNetwork {
    /// The network of the outside ports.
    ///
    /// # Errors
    /// [`DescriptionError`] with the join that rings, or the reference that cannot be.
    pub fn join(&self) -> Result<Network, DescriptionError> {
        let failed = |problem: DescriptionProblem, place: Option<&TextPlace>| match place {
            Some(place) => place.error(problem),
            None => DescriptionError::about_file(&self.file, problem),
        };
        let joined = join(&self.blocks, &self.wiring).map_err(|error| match error {
            NetworkError::RingingJoin { join, frequency_hz } => failed(
                DescriptionProblem::SingularJoin {
                    join: self.join_texts[join].clone(),
                    frequency_hz,
                },
                self.places.get(join),
            ),
            other => failed(other.into(), None),
        })?;
        if self.references_ohm.is_empty() {
            return Ok(joined);
        }
        let references = self.references_ohm.iter().map(|&ohm| ohm.into()).collect();
        change_reference(&joined, references, WaveDefinition::Kurokawa)
            .map_err(|error| failed(error.into(), None))
    }
}

/// Reads NETWORK.toml and the files it names. `grid_hz` stands above the description's own.
///
/// # Errors
/// [`DescriptionError`] with the line of the description, or with the line of the file it names.
pub fn read_network(
    path: &Path,
    options: &ReadOptions,
    grid_hz: Option<Vec<f64>>,
) -> Result<WiredNetwork, DescriptionError> {
    let source = TomlFile::read(path)?;
    let description: NetworkDescription = source.parse()?;
    source.circuit(&description, NamedFiles::of(&source, options), grid_hz)
}

impl TomlFile {
    fn circuit(
        &self,
        description: &NetworkDescription,
        mut notes: NamedFiles<'_>,
        grid_hz: Option<Vec<f64>>,
    ) -> Result<WiredNetwork, DescriptionError> {
        let mut circuit = WiredNetwork {
            blocks: Vec::new(),
            names: Vec::new(),
            wiring: Wiring::default(),
            join_texts: Vec::new(),
            references_ohm: description
                .reference_ohm
                .as_ref()
                .map(|list| list.get_ref().to_vec())
                .unwrap_or_default(),
            inputs: Vec::new(),
            warnings: Vec::new(),
            places: Vec::new(),
            file: self.path().to_owned(),
        };
        if let Some(list) = &description.reference_ohm {
            let (found, ports) = (circuit.references_ohm.len(), description.ports.len());
            if found != 1 && found != ports {
                return Err(self.error(NetworkError::ReferenceCount { ports, found }, list.span()));
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
                return Err(self.error(
                    NetworkError::Reference { port, value_ohm: value.into() },
                    list.span(),
                ));
            }
        }
        let parts = self.parts(&description.blocks, &mut notes)?;
        let load_files = self.load_files(&description.loads, &mut notes)?;
        let grid = self.grid(description, grid_hz, &parts, &load_files, &mut notes)?;
        self.place_parts(&parts, &grid, &mut circuit, &mut notes)?;
        self.wire(description, &parts, load_files, &grid, &mut circuit, &mut notes)?;
        (circuit.inputs, circuit.warnings) = (notes.inputs, notes.warnings);
        Ok(circuit)
    }

    /// The grid asked for, or what the files have in common.
    fn grid(
        &self,
        description: &NetworkDescription,
        grid_hz: Option<Vec<f64>>,
        parts: &[Part],
        load_files: &HashMap<usize, Network>,
        notes: &mut NamedFiles<'_>,
    ) -> Result<FrequencyGrid, DescriptionError> {
        if let Some(points_hz) = grid_hz {
            return FrequencyGrid::from_hz(points_hz).map_err(|error| self.error_in_file(error));
        }
        if let Some(text) = &description.grid {
            let points_hz = parse_frequency_grid_hz(text.get_ref()).map_err(|error| {
                self.error(DescriptionProblem::Grid(error.to_string()), text.span())
            })?;
            return FrequencyGrid::from_hz(points_hz)
                .map_err(|error| self.error(error, text.span()));
        }
        let named: Vec<(&str, &Network)> = parts
            .iter()
            .filter_map(|part| part.file().map(|network| (part.name.as_str(), network)))
            .chain(
                load_files
                    .iter()
                    .map(|(at, network)| (description.loads[*at].at.get_ref().as_str(), network)),
            )
            .collect();
        let Some(latest) =
            named.iter().max_by(|a, b| a.1.grid().first_hz().total_cmp(&b.1.grid().first_hz()))
        else {
            return Err(self.error_in_file(DescriptionProblem::NoGrid));
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
                || self.error_in_file(DescriptionProblem::NoGrid),
                |span| self.error(problem, span),
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
            .map_err(|error| self.error_in_file(error))?;
        let grid = common[0].network.grid().clone();
        let narrows = |(_, network): &(&str, &Network)| {
            network.grid().first_hz() < grid.first_hz() || network.grid().last_hz() > grid.last_hz()
        };
        if named.iter().any(narrows) {
            notes.warnings.push(format!(
                "the files cover different bands: {} to {} is common to all",
                ShownFrequency(grid.first_hz()),
                ShownFrequency(grid.last_hz())
            ));
        }
        Ok(grid)
    }

    fn place_parts(
        &self,
        parts: &[Part],
        grid: &FrequencyGrid,
        circuit: &mut WiredNetwork,
        notes: &mut NamedFiles<'_>,
    ) -> Result<(), DescriptionError> {
        for part in parts {
            let network = match &part.origin {
                PartOrigin::File(network) => {
                    self.on_grid(network, grid, &part.name, part.span.clone(), notes)?
                }
                PartOrigin::Component(component, span) => {
                    component.network(grid).map_err(|error| self.error(error, span.clone()))?
                }
            };
            circuit.blocks.push(network);
            circuit.names.push(part.name.clone());
        }
        Ok(())
    }

    fn wire(
        &self,
        description: &NetworkDescription,
        parts: &[Part],
        mut load_files: HashMap<usize, Network>,
        grid: &FrequencyGrid,
        circuit: &mut WiredNetwork,
        notes: &mut NamedFiles<'_>,
    ) -> Result<(), DescriptionError> {
        let joins = self.joins(&description.joins, &description.blocks, parts)?;
        let mut joined: HashMap<Terminal, usize> = joins.node_of;
        circuit.wiring.joins = joins.nodes;
        circuit.join_texts = joins.texts;
        circuit.places = joins.spans.into_iter().map(|span| self.place(span)).collect();
        let mut loaded: HashSet<Terminal> = HashSet::new();
        for (at, load) in description.loads.iter().enumerate() {
            let text = load.at.get_ref();
            let terminal = self.terminal(text, load.at.span(), parts)?;
            if !loaded.insert(terminal) {
                return Err(self.error(
                    DescriptionProblem::LoadedTwice { port: text.clone() },
                    load.at.span(),
                ));
            }
            let network = match load_files.remove(&at) {
                Some(file) => {
                    self.on_grid(&file, grid, &format!("load at {text}"), load.at.span(), notes)?
                }
                None => self.lumped_load(load, grid)?,
            };
            let closing = Terminal { block: circuit.blocks.len(), port: Port::from_index(0) };
            circuit.blocks.push(network);
            circuit.names.push(format!("load at {text}"));
            if let Some(&node) = joined.get(&terminal) {
                notes
                    .warnings
                    .push(format!("{text} is joined too: its load stands in parallel there"));
                circuit.wiring.joins[node].push(closing);
            } else {
                joined.insert(terminal, circuit.wiring.joins.len());
                circuit.wiring.joins.push(vec![terminal, closing]);
                circuit.join_texts.push(format!("{text} and its load"));
                circuit.places.push(self.place(load.at.span()));
            }
        }
        for port in &description.ports {
            let terminal = self.terminal(port.get_ref(), port.span(), parts)?;
            if circuit.wiring.outside.contains(&terminal) {
                return Err(self.error(
                    DescriptionProblem::DuplicateOutside { port: port.get_ref().clone() },
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
                    return Err(
                        self.error(DescriptionProblem::Unconnected { port }, part.span.clone())
                    );
                }
            }
        }
        Ok(())
    }
}
