//! What all descriptions share: blocks, loads, names of ports, joins.

use super::allowed::Allowed;
use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::NamedFiles;
use super::network_entries::{BlockEntry, LoadEntry};
use super::source::TomlFile;
use crate::component::{
    Arrangement, ComponentError, Elements, NamedComponent, ParameterLimit, choice, open_end,
    shorted_end, termination,
};
use crate::network::{FrequencyGrid, Network, ParameterKind, Port, Terminal, onto_grid};
use num_complex::Complex64;
use std::collections::{HashMap, HashSet};
use std::ops::Range;
use toml::Spanned;

/// A part before and after it is on the common grid.
pub(super) struct Part {
    pub(super) name: String,
    pub(super) span: Range<usize>,
    pub(super) ports: Vec<String>,
    pub(super) origin: PartOrigin,
}

/// Where the network of a part comes from.
pub(super) enum PartOrigin {
    /// A file, read on its own grid.
    File(Network),
    /// A closed-form component, and where it stands.
    Component(NamedComponent, Range<usize>),
}

impl Part {
    /// The network of a part that comes from a file.
    pub(super) fn file(&self) -> Option<&Network> {
        match &self.origin {
            PartOrigin::File(network) => Some(network),
            PartOrigin::Component(..) => None,
        }
    }
}

/// How parts meet.
#[derive(Debug, Default)]
pub(super) struct Joins {
    /// The ports of each node.
    pub(super) nodes: Vec<Vec<Terminal>>,
    /// Each as written.
    pub(super) texts: Vec<String>,
    /// And where.
    pub(super) spans: Vec<Range<usize>>,
    /// The node of every joined port.
    pub(super) node_of: HashMap<Terminal, usize>,
}

impl TomlFile {
    /// Reads the blocks' files and names their ports.
    pub(super) fn parts(
        &self,
        blocks: &[BlockEntry],
        notes: &mut NamedFiles<'_>,
    ) -> Result<Vec<Part>, DescriptionError> {
        let mut parts: Vec<Part> = Vec::new();
        for block in blocks {
            let name = block.name.get_ref().clone();
            self.check_name(&block.name)?;
            if parts.iter().any(|part| part.name == name) {
                return Err(
                    self.error(DescriptionProblem::DuplicateBlock { name }, block.name.span())
                );
            }
            let (origin, expected) = match (&block.file, &block.component) {
                (Some(file), None) => {
                    let network = notes.network(file)?;
                    if network.modes().is_some() {
                        return Err(self.error(DescriptionProblem::MixedMode { name }, file.span()));
                    }
                    let ports = network.ports();
                    (PartOrigin::File(network), ports)
                }
                (None, Some(component)) => {
                    let made = self.component(component)?;
                    let ports = made.kind().ports().len();
                    (PartOrigin::Component(made, component.span()), ports)
                }
                _ => {
                    return Err(
                        self.error(DescriptionProblem::NoSource { name }, block.name.span())
                    );
                }
            };
            let ports = self.port_names(block, expected)?;
            parts.push(Part { name, span: block.name.span(), ports, origin });
        }
        Ok(parts)
    }

    fn port_names(
        &self,
        block: &BlockEntry,
        expected: usize,
    ) -> Result<Vec<String>, DescriptionError> {
        let Some(names) = &block.ports else {
            return Ok((1..=expected).map(|number| number.to_string()).collect());
        };
        let found = names.get_ref().len();
        if found != expected {
            let name = block.name.get_ref().clone();
            return Err(
                self.error(DescriptionProblem::PortNames { name, expected, found }, names.span())
            );
        }
        let mut seen = HashSet::new();
        for port in names.get_ref() {
            self.check_name(port)?;
            if !seen.insert(port.get_ref()) {
                let name = port.get_ref().clone();
                return Err(self.error(DescriptionProblem::DuplicatePortName { name }, port.span()));
            }
        }
        Ok(names.get_ref().iter().map(|port| port.get_ref().clone()).collect())
    }

    pub(super) fn check_name(&self, name: &Spanned<String>) -> Result<(), DescriptionError> {
        let text = name.get_ref();
        let fits = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
        if !text.is_empty() && text.chars().all(fits) && !text.contains("--") {
            return Ok(());
        }
        Err(self.error(DescriptionProblem::BadName { name: text.clone() }, name.span()))
    }

    /// Checks that each load is one thing, and reads those that come from files.
    pub(super) fn load_files(
        &self,
        loads: &[LoadEntry],
        notes: &mut NamedFiles<'_>,
    ) -> Result<HashMap<usize, Network>, DescriptionError> {
        let mut files = HashMap::new();
        for (at, load) in loads.iter().enumerate() {
            let given =
                [load.ohm.is_some(), load.file.is_some(), load.rc.is_some(), load.open, load.short];
            if given.iter().filter(|&&given| given).count() != 1 {
                let port = load.at.get_ref().clone();
                return Err(self.error(DescriptionProblem::NoLoad { port }, load.at.span()));
            }
            if let Some(file) = &load.file {
                let network = notes.network(file)?;
                if network.ports() != 1 {
                    return Err(self.error(
                        DescriptionProblem::LoadPorts { ports: network.ports() },
                        file.span(),
                    ));
                }
                files.insert(at, network);
            }
        }
        Ok(files)
    }

    pub(super) fn on_grid(
        &self,
        network: &Network,
        grid: &FrequencyGrid,
        name: &str,
        span: Range<usize>,
        notes: &mut NamedFiles<'_>,
    ) -> Result<Network, DescriptionError> {
        let interpolated = onto_grid(network, grid).map_err(|source| {
            self.error(DescriptionProblem::Block { name: name.to_owned(), source }, span)
        })?;
        if let Some(step) = interpolated.unsafe_step {
            notes.warnings.push(format!("{name}: {step}"));
        }
        Ok(interpolated.network)
    }

    /// `BLOCK.PORT` as a terminal.
    pub(super) fn terminal(
        &self,
        text: &str,
        span: Range<usize>,
        parts: &[Part],
    ) -> Result<Terminal, DescriptionError> {
        let Some((block_name, port_name)) = text.split_once('.') else {
            return Err(self.error(DescriptionProblem::NotAPort { text: text.to_owned() }, span));
        };
        let Some(block) = parts.iter().position(|part| part.name == block_name) else {
            let known = parts.iter().map(|part| part.name.clone()).collect();
            return Err(self.error(
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
            return Err(self.error(problem, span));
        };
        Ok(Terminal { block, port: Port::from_index(index) })
    }

    /// What meets what, from the joins at the top and those written below blocks.
    pub(super) fn joins(
        &self,
        joins: &[Spanned<String>],
        blocks: &[BlockEntry],
        parts: &[Part],
    ) -> Result<Joins, DescriptionError> {
        let mut made = Joins::default();
        for join in joins.iter().chain(blocks.iter().flat_map(|block| &block.joins)) {
            let mut node = Vec::new();
            if !join.get_ref().contains("--") {
                return Err(self.error(DescriptionProblem::JoinTooSmall, join.span()));
            }
            for text in join.get_ref().split("--").map(str::trim) {
                let terminal = self.terminal(text, join.span(), parts)?;
                if made.node_of.insert(terminal, made.nodes.len()).is_some() {
                    let port = text.to_owned();
                    return Err(self.error(DescriptionProblem::JoinedTwice { port }, join.span()));
                }
                node.push(terminal);
            }
            made.nodes.push(node);
            made.texts.push(join.get_ref().clone());
            made.spans.push(join.span());
        }
        Ok(made)
    }

    /// A load that is no file.
    pub(super) fn lumped_load(
        &self,
        load: &LoadEntry,
        grid: &FrequencyGrid,
    ) -> Result<Network, DescriptionError> {
        let failed = |error: ComponentError| self.error(error, load.at.span());
        if let Some(ohm) = load.ohm {
            let impedance = Complex64::from(ohm);
            if !(impedance.re >= 0.0 && impedance.is_finite()) {
                let value = if impedance.re >= 0.0 { impedance.im } else { impedance.re };
                let limit = if impedance.is_finite() {
                    ParameterLimit::NotNegative
                } else {
                    ParameterLimit::Finite
                };
                return Err(failed(ComponentError::OutOfRange { name: "ohm", limit, value }));
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
            .map_err(|error| self.error(error, load.at.span()));
        }
        if let Some(rc) = &load.rc {
            let number = |key, given| self.number(key, given, Allowed::ZeroOrMore);
            let elements = Elements {
                resistance_ohm: Some(number("resistance_ohm", &rc.resistance_ohm)?),
                capacitance_f: Some(number("capacitance_ff", &rc.capacitance_ff)? * 1e-15),
                inductance_h: None,
            };
            let arrangement = match &rc.arrangement {
                Some(word) => choice("arrangement", word.get_ref())
                    .map_err(|error| self.error(error, word.span()))?,
                None => Arrangement::Series,
            };
            termination(grid, &elements, arrangement).map_err(failed)
        } else if load.open {
            open_end(grid, 0.0).map_err(failed)
        } else {
            shorted_end(grid, 0.0).map_err(failed)
        }
    }
}
