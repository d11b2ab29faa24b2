//! NETWORK.toml: blocks on one grid and their connections.

use super::allowed::Allowed;
use super::block_entries::{BlockEntry, LoadEntry};
use super::blocks::{Blocks, PlacedLoad};
use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::NamedFiles;
use super::receiver_remarks::component_remarks;
use super::source::{TextPlace, TomlFile};
use crate::network::{
    FrequencyGrid, Network, NetworkError, Port, Terminal, WaveDefinition, Wiring, change_reference,
    common_grid, join,
};
use crate::touchstone::ReadOptions;
use crate::units::{parse_frequency_grid_hz, shown_band};
use num_complex::Complex64;
use serde::Deserialize;
use std::collections::HashSet;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct NetworkEntries {
    /// The outer ports, in order.
    ports: Vec<Spanned<String>>,
    /// One reference impedance for all ports or one per port; default: that of each port.
    reference_ohm: Option<Spanned<OneOrMany>>,
    /// A grid such as `24GHz..34GHz:101`; default: the frequencies common to the files.
    grid: Option<Spanned<String>>,
    #[serde(default, rename = "block")]
    blocks: Vec<BlockEntry>,
    /// Joins such as `a.x -- b.y`.
    #[serde(default)]
    joins: Vec<Spanned<String>>,
    #[serde(default, rename = "load")]
    loads: Vec<LoadEntry>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a number or a list of numbers")]
enum OneOrMany {
    One(f64),
    Many(Vec<f64>),
}

/// Networks on one grid with their connections.
#[derive(Clone, Debug)]
pub struct WiredNetwork {
    /// The blocks, then the loads.
    networks: Vec<Network>,
    wiring: Wiring,
    /// For each join of the wiring its text and its place in the description.
    joins: Vec<(String, TextPlace)>,
    /// Reference impedances of the result: one, or one for each outer port; `None` for those of the
    /// ports.
    references_ohm: Option<Vec<Complex64>>,
    file: PathBuf,
    inputs: Vec<PathBuf>,
    warnings: Vec<String>,
}

impl WiredNetwork {
    /// Number of ports of the joined network.
    #[must_use]
    pub fn ports(&self) -> usize {
        self.wiring.outside.len()
    }

    /// The description and every file it names.
    #[must_use]
    pub fn inputs(&self) -> &[PathBuf] {
        &self.inputs
    }

    /// Warnings for the user.
    #[must_use]
    pub fn warnings(&self) -> &[String] {
        &self.warnings
    }

    /// The network of the outer ports, in order.
    ///
    /// # Errors
    /// [`DescriptionError`] at a join that closes a singular loop.
    pub fn join(&self) -> Result<Network, DescriptionError> {
        let failed = |error: NetworkError| DescriptionError::about_file(&self.file, error);
        let joined = join(&self.networks, &self.wiring).map_err(|error| match error {
            NetworkError::SingularLoop { join, frequency_hz } => {
                let (text, place) = &self.joins[join];
                place.error(DescriptionProblem::SingularJoin { join: text.clone(), frequency_hz })
            }
            other => failed(other),
        })?;
        match &self.references_ohm {
            Some(references) => {
                change_reference(&joined, references.clone(), WaveDefinition::Kurokawa)
                    .map_err(failed)
            }
            None => Ok(joined),
        }
    }
}

/// Reads NETWORK.toml and the files it names. The frequencies `grid_hz` replace those of the
/// description.
///
/// # Errors
/// [`DescriptionError`] with the line of the description, or with the line of the file it names.
///
/// # Examples
/// ```
/// use fourphase::description::read_network;
/// use fourphase::touchstone::ReadOptions;
///
/// let wired = read_network("data-demo/tree.toml".as_ref(), &ReadOptions::default(), None)?;
/// let joined = wired.join()?;
/// assert_eq!(joined.ports(), wired.ports());
/// # Ok::<(), fourphase::description::DescriptionError>(())
/// ```
#[doc = include_str!("network.md")]
#[doc = include_str!("blocks.md")]
pub fn read_network(
    path: &Path,
    options: &ReadOptions,
    grid_hz: Option<Vec<f64>>,
) -> Result<WiredNetwork, DescriptionError> {
    let source = TomlFile::read(path)?;
    let entries: NetworkEntries = source.parse()?;
    let mut files = NamedFiles::of(&source, options);
    let references_ohm = references(&source, &entries)?;
    if entries.blocks.is_empty() {
        return Err(source.complaint_in_file("the network needs a [[block]], found none"));
    }
    let blocks = Blocks::read(&source, &entries.blocks, &mut files)?;
    if let Some(block) = blocks.iter().find(|block| block.origin.stage().is_some()) {
        let what =
            "a block with multiplier or amplifier stands in the LO network of a receiver only";
        return Err(source.place(block.span()).complaint(what));
    }
    let loads = blocks.loads(&entries.loads, &mut files)?;
    let grid = match (grid_hz, &entries.grid) {
        (Some(points_hz), _) => {
            FrequencyGrid::from_hz(points_hz).map_err(|error| source.error_in_file(error))?
        }
        (None, Some(text)) => {
            let points_hz = parse_frequency_grid_hz(text.get_ref())
                .map_err(|error| source.complaint(text, error.to_string()))?;
            FrequencyGrid::from_hz(points_hz).map_err(|error| source.error(error, text.span()))?
        }
        (None, None) => files_grid(&source, &blocks, &loads, &mut files)?,
    };
    let mut networks = Vec::new();
    let band_hz = grid.first_hz()..=grid.last_hz();
    for block in blocks.iter() {
        let span = block.network_span();
        if let Some(entry) = &block.entry.component {
            let remarks = component_remarks(&source, block.name(), entry.get_ref(), &band_hz);
            files.warnings.extend(remarks);
        }
        if let Some(file) = block.origin.file().filter(|_| !block.entry.active) {
            files.check_labels(file, &block.title(), span.clone())?;
        }
        networks.push(block.origin.onto(&grid, block.name(), span, &mut files)?);
    }
    for load in &loads {
        if let Some(file) = load.origin.file() {
            files.check_labels(file, &format!("the {}", load.title()), load.span())?;
        }
        networks.push(load.origin.onto(&grid, &load.title(), load.span(), &mut files)?);
    }
    let (wiring, joins) = wiring(&source, &entries, &blocks, &loads, &mut files)?;
    let NamedFiles { inputs, warnings, .. } = files;
    Ok(WiredNetwork {
        networks,
        wiring,
        joins,
        references_ohm,
        file: path.to_owned(),
        inputs,
        warnings,
    })
}

fn references(
    source: &TomlFile,
    entries: &NetworkEntries,
) -> Result<Option<Vec<Complex64>>, DescriptionError> {
    let Some(given) = &entries.reference_ohm else { return Ok(None) };
    let list = match given.get_ref() {
        OneOrMany::One(ohm) => vec![*ohm],
        OneOrMany::Many(list) => list.clone(),
    };
    let (found, ports) = (list.len(), entries.ports.len());
    if found != 1 && found != ports {
        return Err(source.error(NetworkError::ReferenceCount { ports, found }, given.span()));
    }
    for &ohm in &list {
        source.check_number("reference_ohm", ohm, Allowed::AboveZero, given.span())?;
    }
    Ok(Some(list.into_iter().map(Complex64::from).collect()))
}

/// The frequencies that all files have in common.
fn files_grid(
    source: &TomlFile,
    blocks: &Blocks<'_>,
    loads: &[PlacedLoad<'_>],
    files: &mut NamedFiles<'_>,
) -> Result<FrequencyGrid, DescriptionError> {
    let named: Vec<(String, Range<usize>, &Network)> = blocks
        .iter()
        .map(|block| (block.name().to_owned(), block.span(), &block.origin))
        .chain(loads.iter().map(|load| (load.title(), load.span(), &load.origin)))
        .filter_map(|(name, span, origin)| Some((name, span, &origin.file()?.network)))
        .collect();
    let first_hz = |network: &Network| network.grid().first_hz();
    let last_hz = |network: &Network| network.grid().last_hz();
    let latest = named.iter().max_by(|one, other| first_hz(one.2).total_cmp(&first_hz(other.2)));
    let earliest = named.iter().min_by(|one, other| last_hz(one.2).total_cmp(&last_hz(other.2)));
    let (Some(latest), Some(earliest)) = (latest, earliest) else {
        return Err(source.error_in_file(DescriptionProblem::NoGrid));
    };
    if first_hz(latest.2) > last_hz(earliest.2) {
        let problem = DescriptionProblem::NoCommonBand {
            starts_late: latest.0.clone(),
            ends_early: earliest.0.clone(),
        };
        return Err(source.error(problem, latest.1.clone()));
    }
    let networks: Vec<&Network> = named.iter().map(|(_, _, network)| *network).collect();
    let grid = common_grid(&networks).map_err(|error| source.error_in_file(error))?;
    let is_wider = |network: &&Network| {
        first_hz(network) < grid.first_hz() || last_hz(network) > grid.last_hz()
    };
    if networks.iter().any(is_wider) {
        let band = shown_band((grid.first_hz(), grid.last_hz()));
        files
            .warnings
            .push(format!("the files cover different bands; the common band {band} is used"));
    }
    Ok(grid)
}

/// The wiring of blocks and loads, and for each of its joins the text and the place.
fn wiring(
    source: &TomlFile,
    entries: &NetworkEntries,
    blocks: &Blocks<'_>,
    loads: &[PlacedLoad<'_>],
    files: &mut NamedFiles<'_>,
) -> Result<(Wiring, Vec<(String, TextPlace)>), DescriptionError> {
    let joins = blocks.joins(&entries.joins)?;
    let mut connected: HashSet<Terminal> = HashSet::new();
    let mut wiring = Wiring::default();
    let mut texts = Vec::new();
    for join in &joins.list {
        connected.extend(&join.terminals);
        wiring.joins.push(join.terminals.clone());
        texts.push((join.text.clone(), source.place(join.span.clone())));
    }
    let first_load = entries.blocks.len();
    for (number, load) in loads.iter().enumerate() {
        let own = Terminal { block: first_load + number, port: Port::from_index(0) };
        let text = load.entry.at.get_ref();
        match joins.place_of(&load.at) {
            Some(place) => {
                files
                    .warnings
                    .push(format!("{text} has a join and a load: the load is in parallel"));
                wiring.joins[place].push(own);
            }
            None => {
                connected.insert(load.at);
                wiring.joins.push(vec![load.at, own]);
                texts.push((format!("{text} and its load"), source.place(load.span())));
            }
        }
    }
    for port in &entries.ports {
        let terminal = blocks.terminal_of(port)?;
        if wiring.outside.contains(&terminal) {
            let problem = DescriptionProblem::DuplicateOutside { port: port.get_ref().clone() };
            return Err(source.error(problem, port.span()));
        }
        connected.insert(terminal);
        wiring.outside.push(terminal);
    }
    match blocks.unconnected(|terminal| connected.contains(terminal)) {
        Some((port, span)) => Err(source.error(DescriptionProblem::Unconnected { port }, span)),
        None => Ok((wiring, texts)),
    }
}
