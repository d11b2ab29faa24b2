//! RECEIVER.toml: blocks, loads and mixers at the frequencies of a plan.

use super::allowed::Allowed;
use super::block_entries::{BlockEntry, ComplexValue, LoadEntry};
use super::blocks::{Block, Blocks, Origin, PlacedLoad};
use super::closed_form::{ClosedForm, closed_forms};
use super::error::{DescriptionError, DescriptionProblem};
use super::lo_chain_entries::{LoChainEntry, LoStageEntry};
use super::lo_network::{
    WrittenLo, check_limits, grid_at, lo_pieces, multiplication, needs_in_piece, stage_span,
};
use super::named_files::{NamedFiles, same_file};
use super::receiver_output::{
    CombineName, CorrectionEntry, IfHybridEntry, IfPathEntry, OutputEntries,
};
use super::receiver_plan::{FrequencyPlanEntry, Need, check_cover, needs, span_of};
use super::require_table::RequireTable;
use super::source::{TextPlace, TomlFile};
use crate::downconverter::{
    Channel, Join, LoPieces, LoRf, Mixer, NetworkPlace, PowerInput, RECEIVER_QUANTITIES, Receiver,
    ReceiverError, ReceiverLoad, ReceiverPart, ReceiverPath, ReceiverPlan, ReceiverSetup,
    ReferenceImpedances, ReflectionSweepSettings, entry_ports, whole_path,
};
use crate::network::{Network, Port, Terminal};
use crate::touchstone::ReadOptions;
use num_complex::Complex64;
use serde::Deserialize;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ReceiverEntries {
    /// `receiver` when absent.
    title: Option<String>,
    lo_input: Spanned<String>,
    rf_input: Spanned<String>,
    /// 50 ohms when absent.
    lo_source_ohm: Option<Spanned<ComplexValue>>,
    /// 50 ohms when absent.
    rf_source_ohm: Option<Spanned<ComplexValue>>,
    /// In which impedance ideal parts and loads are matched, whatever the references of the files; 50
    /// ohms when absent.
    reference_ohm: Option<Spanned<f64>>,
    /// The same for single nodes.
    #[serde(default, rename = "reference")]
    references: Vec<ReferenceEntry>,
    #[serde(default)]
    combine: CombineName,
    frequency_plan: FrequencyPlanEntry,
    /// The source of the LO and the stages up to `lo_input`.
    lo_chain: Option<LoChainEntry>,
    #[serde(default, rename = "lo_stage")]
    lo_stages: Vec<LoStageEntry>,
    #[serde(default)]
    mixing: MixingEntry,
    #[serde(default, rename = "block")]
    blocks: Vec<BlockEntry>,
    /// `a.x -- b.y`.
    #[serde(default)]
    joins: Vec<Spanned<String>>,
    #[serde(default, rename = "load")]
    loads: Vec<LoadEntry>,
    #[serde(default, rename = "mixer")]
    mixers: Vec<MixerEntry>,
    if_path: Option<IfPathEntry>,
    if_hybrid: Option<IfHybridEntry>,
    #[serde(default)]
    correction: CorrectionEntry,
    #[serde(default)]
    load_reflection_sweep: SweepEntry,
    #[serde(default)]
    require: RequireTable,
}

/// The reference impedance of one node.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ReferenceEntry {
    /// Any port of the node.
    at: Spanned<String>,
    ohm: Spanned<f64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct MixingEntry {
    /// a: conversion gain ~ |LO|^a; 1 when absent.
    lo_amplitude_exponent: Option<Spanned<f64>>,
    /// n: RF = n LO +/- IF; 1 when absent.
    lo_harmonic: Option<Spanned<u32>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MixerEntry {
    name: Spanned<String>,
    channel: ChannelName,
    #[serde(default)]
    polarity: PolarityName,
    /// The port of its LO voltage.
    lo: Spanned<String>,
    /// The port of its RF voltage.
    rf: Spanned<String>,
    /// Relative conversion gain; 1 when absent.
    gain: Option<Spanned<ComplexValue>>,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ChannelName {
    I,
    Q,
}

/// Whether a mixer's output is added or subtracted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
enum PolarityName {
    #[default]
    #[serde(rename = "+")]
    Plus,
    #[serde(rename = "-")]
    Minus,
}

/// Magnitudes of reflection; those of the loads themselves when absent.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct SweepEntry {
    /// At the mixers' LO ports.
    mixer_reflection: Option<Spanned<f64>>,
    /// At the other loads of the LO path, the isolated ports.
    isolated_reflection: Option<Spanned<f64>>,
}

impl ReceiverEntries {
    fn written_los(&self) -> Vec<WrittenLo<'_>> {
        let written =
            self.mixers.iter().map(|own| WrittenLo { port: &own.lo, mixer: own.name.get_ref() });
        written.collect()
    }

    /// The frequencies, with the multiplication of the stages where there are any, and the power that
    /// limits and stages need.
    fn plan(
        &self,
        source: &TomlFile,
        blocks: &Blocks<'_>,
        pieces: &LoPieces,
    ) -> Result<ReceiverPlan, DescriptionError> {
        let has_source = self.lo_chain.is_some();
        let inside = blocks.iter().find(|block| block.origin.stage().is_some());
        let has_stages = has_source || inside.is_some();
        let chain = has_stages.then(|| multiplication(&self.lo_stages, pieces));
        let harmonic = self.mixing.lo_harmonic.as_ref();
        let plan = self.frequency_plan.read(source, harmonic, chain, has_source)?;
        let has_power = has_source || plan.settings().lo_power_dbm.is_some();
        check_limits(source, &self.require, has_power, has_stages)?;
        if let (Some(block), false) = (inside, has_power) {
            return Err(source.error(ReceiverError::NoStagePower, block.span()));
        }
        Ok(plan)
    }

    fn output(&self) -> OutputEntries<'_> {
        OutputEntries {
            combine: self.combine,
            if_path: self.if_path.as_ref(),
            if_hybrid: self.if_hybrid.as_ref(),
            correction: &self.correction,
        }
    }
}

/// A receiver, the files it was read from, and what the user should know.
#[derive(Clone, Debug)]
pub struct LoadedReceiver {
    /// The receiver.
    pub receiver: Receiver,
    /// The description and every file it names.
    pub inputs: Vec<PathBuf>,
    /// The files of its blocks and loads, in the order in which they are first used.
    pub files: Vec<ReceiverFile>,
    /// What the user should know.
    pub warnings: Vec<String>,
    /// Its blocks and loads that are no files.
    pub(super) closed_forms: Vec<ClosedForm>,
    /// The places of its stages, by their names.
    stages: Vec<(String, TextPlace)>,
}

impl LoadedReceiver {
    /// A warning about a stage of the LO chain, at its place in the description.
    #[must_use]
    pub fn about_stage(&self, stage: &str, what: &str) -> String {
        let own = self.stages.iter().find(|(name, _)| name == stage);
        own.map_or_else(|| what.to_owned(), |(_, place)| place.complaint(what).to_string())
    }
}

/// A file of a receiver and every place where it is used; at least one.
#[derive(Clone, Debug)]
pub struct ReceiverFile {
    /// The file.
    pub path: PathBuf,
    /// The blocks and loads.
    pub places: Vec<NetworkPlace>,
}

/// Reads RECEIVER.toml and the files it names.
///
/// # Errors
/// [`DescriptionError`] with the line of the description, or with the line of the file it names.
///
/// # Examples
/// ```
/// use fourphase::description::read_receiver;
/// use fourphase::downconverter::analyse_receiver;
/// use fourphase::touchstone::ReadOptions;
///
/// let read = read_receiver("data-demo/receiver.toml".as_ref(), &ReadOptions::default())?;
/// let result = analyse_receiver(&read.receiver)?;
/// assert!(result.summary.worst.balance.image_rejection_db > 20.0);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_receiver(
    path: &Path,
    options: &ReadOptions,
) -> Result<LoadedReceiver, DescriptionError> {
    let source = TomlFile::read(path)?;
    let entries: ReceiverEntries = source.parse()?;
    let mut files = NamedFiles::of(&source, options);
    if let (Some(stage), None) = (entries.lo_stages.first(), &entries.lo_chain) {
        let what = "LO stages need their source: add [lo_chain] with input_power_dbm";
        return Err(source.complaint(&stage.name, what));
    }
    let chain = entries.lo_chain.as_ref();
    let chain = chain.map(|chain| chain.read(&entries.lo_stages, &mut files)).transpose()?;
    let blocks = Blocks::read(&source, &entries.blocks, &mut files)?;
    let joins = blocks.joins(&entries.joins)?;
    let loads = blocks.loads(&entries.loads, &mut files)?;
    let inputs = inputs(&source, &entries, &blocks, &loads)?;
    let is_connected = |port: &Terminal| {
        joins.place_of(port).is_some()
            || loads.iter().any(|load| load.at == *port)
            || inputs.iter().any(|input| input.at == *port)
    };
    if let Some((port, span)) = blocks.unconnected(is_connected) {
        return Err(source.error(DescriptionProblem::UnconnectedInReceiver { port }, span));
    }
    let joins: Vec<Join> = joins
        .list
        .into_iter()
        .map(|join| Join { text: join.text, terminals: join.terminals })
        .collect();
    let pieces = lo_pieces(&source, &blocks, &joins, inputs.lo.at, &entries.written_los())?;
    let plan = entries.plan(&source, &blocks, &pieces)?;
    let reached = Reached::new(&blocks, &joins, &inputs);
    let mixers = mixers(&source, &entries, &blocks, &reached)?;
    files.warnings.extend(reached.warnings(&blocks));
    files.warnings.extend(single_pairs(&entries.blocks));
    let networks =
        Networks { needs: needs(&plan), plan: &plan, pieces: &pieces, reached: &reached };
    let parts = networks.parts(&blocks, &mut files)?;
    let receiver_loads = networks.loads(&loads, &mut files)?;
    let receiver = Receiver::new(ReceiverSetup {
        title: entries.title.clone().unwrap_or_else(|| "receiver".to_owned()),
        parts,
        joins,
        loads: receiver_loads,
        inputs,
        lo_chain: chain,
        references: references(&source, &entries, &blocks)?,
        mixers,
        lo_amplitude_exponent: lo_amplitude_exponent(&source, &entries.mixing)?,
        output: entries.output().read(plan.if_hz(), &mut files)?,
        correction_steps: entries.correction.steps(&source)?,
        reflection_sweep: reflection_sweep(&source, &entries.load_reflection_sweep)?,
        limits: entries.require.limits(&source, &RECEIVER_QUANTITIES, &[SPURIOUS_BAND])?,
        spurious_band_hz: entries.require.band_hz(SPURIOUS_BAND, &source)?,
        plan,
    })
    .map_err(|error| match stage_span(&entries.lo_stages, &error) {
        Some(span) => source.error(error, span),
        None => source.error_in_file(error),
    })?;
    Ok(LoadedReceiver {
        files: receiver_files(&source, &entries, &receiver),
        closed_forms: closed_forms(&blocks, &loads, receiver.places()),
        stages: stage_places(&source, &entries),
        receiver,
        inputs: files.inputs,
        warnings: files.warnings,
    })
}

/// The key of the RF band in which spurious responses are limited.
const SPURIOUS_BAND: &str = "spurious_band_ghz";

/// Where the stages of the LO chain are written.
fn stage_places(source: &TomlFile, entries: &ReceiverEntries) -> Vec<(String, TextPlace)> {
    let names = entries.lo_stages.iter().map(|stage| &stage.name);
    let names = names.chain(entries.blocks.iter().map(|block| &block.name));
    names.map(|name| (name.get_ref().clone(), source.place(name.span()))).collect()
}

/// Warnings of pairs that have one block: likely a word is misspelt.
fn single_pairs(blocks: &[BlockEntry]) -> Vec<String> {
    let words = || blocks.iter().filter_map(|block| block.pair.as_ref());
    let is_single = |word: &&String| words().filter(|other| other == word).count() == 1;
    words()
        .filter(is_single)
        .map(|word| format!("pair '{word}' has one block: give its counterpart the same word"))
        .collect()
}

/// The files of blocks and loads with all places of each.
fn receiver_files(
    source: &TomlFile,
    entries: &ReceiverEntries,
    receiver: &Receiver,
) -> Vec<ReceiverFile> {
    let blocks = entries.blocks.iter().map(|block| &block.file);
    let named = blocks.chain(entries.loads.iter().map(|load| &load.file));
    let mut files: Vec<ReceiverFile> = Vec::new();
    for (place, file) in receiver.places().zip(named) {
        let Some(file) = file else { continue };
        let path = source.beside(file.get_ref());
        match files.iter_mut().find(|own| same_file(&own.path, &path)) {
            Some(own) => own.places.push(place),
            None => files.push(ReceiverFile { path, places: vec![place] }),
        }
    }
    files
}

fn inputs(
    source: &TomlFile,
    entries: &ReceiverEntries,
    blocks: &Blocks<'_>,
    loads: &[PlacedLoad<'_>],
) -> Result<LoRf<PowerInput>, DescriptionError> {
    let inputs = LoRf::try_of_each(|path| {
        let (port, impedance) = match path {
            ReceiverPath::Lo => (&entries.lo_input, &entries.lo_source_ohm),
            ReceiverPath::Rf => (&entries.rf_input, &entries.rf_source_ohm),
        };
        let at = blocks.terminal_of(port)?;
        if loads.iter().any(|load| load.at == at) {
            let problem = DescriptionProblem::LoadedInput { port: port.get_ref().clone() };
            return Err(source.error(problem, port.span()));
        }
        let source_ohm = match impedance {
            None => 50.0.into(),
            Some(given) => {
                let ohm = Complex64::from(*given.get_ref());
                let key = "the resistance of a source";
                source.check_number(key, ohm.re, Allowed::AboveZero, given.span())?;
                let key = "the reactance of a source";
                source.check_number(key, ohm.im, Allowed::Finite, given.span())?;
                ohm
            }
        };
        Ok(PowerInput { at, source_ohm })
    })?;
    if inputs.lo.at == inputs.rf.at {
        let what = "LO and RF enter by the same port; each needs a port of its own";
        return Err(source.complaint(&entries.rf_input, what));
    }
    Ok(inputs)
}

/// 50 ohms where nothing is given.
fn references(
    source: &TomlFile,
    entries: &ReceiverEntries,
    blocks: &Blocks<'_>,
) -> Result<ReferenceImpedances, DescriptionError> {
    let allowed = Allowed::FromTo(1e-3, 1e6);
    let given = entries.reference_ohm.as_ref();
    let default = ReferenceImpedances::default();
    let default_ohm =
        source.optional_number("reference_ohm", given, allowed)?.unwrap_or(default.default_ohm);
    let at = entries.references.iter().map(|entry| {
        let ohm = *entry.ohm.get_ref();
        source.check_number("a reference impedance", ohm, allowed, entry.ohm.span())?;
        Ok((blocks.terminal_of(&entry.at)?, ohm))
    });
    Ok(ReferenceImpedances { default_ohm, at: at.collect::<Result<_, DescriptionError>>()? })
}

/// The port by which each path enters each block; none where it does not reach the block.
struct Reached(LoRf<Vec<Option<Port>>>);

impl Reached {
    fn new(blocks: &Blocks<'_>, joins: &[Join], inputs: &LoRf<PowerInput>) -> Self {
        let counts: Vec<usize> = blocks.iter().map(|block| block.ports.len()).collect();
        let stages: Vec<bool> = blocks.iter().map(|block| block.origin.stage().is_some()).collect();
        Self(LoRf::of_each(|path| {
            entry_ports(&counts, joins, inputs.get(path).at, whole_path(path, &stages))
        }))
    }

    fn has(&self, path: ReceiverPath, block: usize) -> bool {
        self.0.get(path)[block].is_some()
    }

    fn warnings(&self, blocks: &Blocks<'_>) -> Vec<String> {
        let is_idle = |block: usize| !ReceiverPath::BOTH.iter().any(|&path| self.has(path, block));
        let blocks = blocks.iter().enumerate().filter(|(block, _)| is_idle(*block));
        blocks
            .map(|(_, own)| format!("block '{}' is joined to neither LO nor RF input", own.name()))
            .collect()
    }
}

/// Makes the networks of blocks and loads on the paths that reach them.
struct Networks<'a> {
    plan: &'a ReceiverPlan,
    needs: LoRf<Vec<Need>>,
    pieces: &'a LoPieces,
    reached: &'a Reached,
}

impl Networks<'_> {
    fn parts(
        &self,
        blocks: &Blocks<'_>,
        files: &mut NamedFiles<'_>,
    ) -> Result<Vec<ReceiverPart>, DescriptionError> {
        let parts = blocks.iter().enumerate().map(|(at, block)| {
            let (title, span) = (block.title(), block.network_span());
            let port = Terminal { block: at, port: Port::from_index(0) };
            let networks =
                self.on_paths(port, &block.origin, block.entry.active, &title, span, files)?;
            receiver_part(files.source(), block, networks)
        });
        parts.collect()
    }

    fn loads(
        &self,
        loads: &[PlacedLoad<'_>],
        files: &mut NamedFiles<'_>,
    ) -> Result<Vec<ReceiverLoad>, DescriptionError> {
        let loads = loads.iter().map(|load| {
            let title = format!("the {}", load.title());
            let networks =
                self.on_paths(load.at, &load.origin, false, &title, load.span(), files)?;
            Ok(ReceiverLoad { at: load.at, networks, model: load.origin.model() })
        });
        loads.collect()
    }

    fn on_paths(
        &self,
        port: Terminal,
        origin: &Origin,
        may_be_active: bool,
        title: &str,
        span: Range<usize>,
        files: &mut NamedFiles<'_>,
    ) -> Result<LoRf<Option<Network>>, DescriptionError> {
        LoRf::try_of_each(|path| {
            // The networks of a stage follow from its resistances.
            if !self.reached.has(path, port.block) || origin.stage().is_some() {
                return Ok(None);
            }
            if let Some(file) = origin.file() {
                let in_piece = match path {
                    ReceiverPath::Lo => needs_in_piece(self.pieces, &port, &self.needs.lo),
                    ReceiverPath::Rf => None,
                };
                let needs = in_piece.as_ref().unwrap_or(self.needs.get(path));
                check_cover(files.source(), &file.network, needs, title, span.clone())?;
                let band_hz = span_of(needs);
                files.check_passive(file, band_hz, may_be_active, title, span.clone())?;
            }
            let grid = grid_at(self.plan, self.pieces, path, &port)
                .map_err(|error| files.source().error_in_file(error))?;
            origin.onto(&grid, title, span.clone(), files).map(Some)
        })
    }
}

fn receiver_part(
    source: &TomlFile,
    block: &Block<'_>,
    networks: LoRf<Option<Network>>,
) -> Result<ReceiverPart, DescriptionError> {
    let nominal = block.entry.nominal_deg.as_ref();
    Ok(ReceiverPart {
        name: block.name().to_owned(),
        ports: block.ports.clone(),
        kind: block.entry.kind.map(|kind| kind.0),
        nominal_deg: source.optional_number("nominal_deg", nominal, Allowed::Finite)?,
        pair: block.entry.pair.clone(),
        stage: block.origin.stage().cloned(),
        networks,
        model: block.origin.model(),
    })
}

fn mixers(
    source: &TomlFile,
    entries: &ReceiverEntries,
    blocks: &Blocks<'_>,
    reached: &Reached,
) -> Result<Vec<Mixer>, DescriptionError> {
    let mut mixers: Vec<Mixer> = Vec::new();
    for entry in &entries.mixers {
        let name = entry.name.get_ref().clone();
        source.check_name(&entry.name)?;
        if mixers.iter().any(|mixer| mixer.name == name) {
            let problem = DescriptionProblem::DuplicateMixer { name };
            return Err(source.error(problem, entry.name.span()));
        }
        let ports = LoRf::try_of_each(|path| {
            let (port, what, input) = match path {
                ReceiverPath::Lo => (&entry.lo, "lo", &entries.lo_input),
                ReceiverPath::Rf => (&entry.rf, "rf", &entries.rf_input),
            };
            let terminal = blocks.terminal_of(port)?;
            if reached.has(path, terminal.block) {
                return Ok(terminal);
            }
            let problem = DescriptionProblem::Unreached {
                port: port.get_ref().clone(),
                what,
                mixer: name.clone(),
                input: input.get_ref().clone(),
            };
            Err(source.error(problem, port.span()))
        })?;
        let gain = match &entry.gain {
            None => Complex64::ONE,
            Some(given) => {
                let gain = Complex64::from(*given.get_ref());
                let allowed = Allowed::FromTo(1e-6, 1e6);
                source.check_number(
                    "the magnitude of a gain",
                    gain.norm(),
                    allowed,
                    given.span(),
                )?;
                gain
            }
        };
        mixers.push(Mixer {
            name,
            channel: match entry.channel {
                ChannelName::I => Channel::I,
                ChannelName::Q => Channel::Q,
            },
            is_subtracted: entry.polarity == PolarityName::Minus,
            ports,
            gain,
        });
    }
    for (channel, name) in [(Channel::I, "i"), (Channel::Q, "q")] {
        if !mixers.iter().any(|mixer| mixer.channel == channel) {
            return Err(source.error_in_file(DescriptionProblem::EmptyChannel { channel: name }));
        }
    }
    Ok(mixers)
}

/// 1, a multiplier, when absent.
fn lo_amplitude_exponent(source: &TomlFile, entry: &MixingEntry) -> Result<f64, DescriptionError> {
    let (key, given) = ("lo_amplitude_exponent", entry.lo_amplitude_exponent.as_ref());
    Ok(source.optional_number(key, given, Allowed::FromTo(0.0, 10.0))?.unwrap_or(1.0))
}

fn reflection_sweep(
    source: &TomlFile,
    entry: &SweepEntry,
) -> Result<ReflectionSweepSettings, DescriptionError> {
    let magnitude = |key, given: &Option<Spanned<f64>>| {
        source.optional_number(key, given.as_ref(), Allowed::FromBelow(0.0, 1.0))
    };
    Ok(ReflectionSweepSettings {
        mixer_reflection: magnitude("mixer_reflection", &entry.mixer_reflection)?,
        isolated_reflection: magnitude("isolated_reflection", &entry.isolated_reflection)?,
    })
}
