//! RECEIVER.toml: blocks, loads and mixers at the frequencies of a plan.

use super::allowed::Allowed;
use super::block_entries::{BlockEntry, ComplexValue, LoadEntry};
use super::blocks::{Block, Blocks, Joins, Origin, PlacedLoad};
use super::closed_form::{ClosedForm, closed_forms};
use super::error::{DescriptionError, DescriptionProblem};
use super::lo_chain_entries::{LoChainEntry, LoStageEntry};
use super::lo_network::{LimitedChain, WrittenLo, lo_pieces, multiplication, stage_span};
use super::named_files::{NamedFiles, same_file};
use super::receiver_contradictions::contradictions;
use super::receiver_networks::{Networks, Reached};
use super::receiver_output::{
    CombineName, CorrectionEntry, IfHybridEntry, IfPathEntry, OutputEntries,
};
use super::receiver_plan::{FrequencyPlanEntry, needs};
use super::receiver_remarks::{GivenGain, gain_remarks};
use super::receiver_switching::{
    IfLoadEntry, MixerSwitchEntry, MixingEntry, SwitchEntry, SwitchingEntries,
};
use super::require_table::RequireTable;
use super::source::{TextPlace, TomlFile};
use crate::component::{GivenParameter, small_impedance};
use crate::downconverter::{
    Channel, Join, LoChainSetup, LoPieces, LoRf, Mixer, NetworkPlace, PowerInput,
    RECEIVER_QUANTITIES, Receiver, ReceiverError, ReceiverPath, ReceiverPlan, ReceiverSetup,
    ReferenceImpedances, ReflectionSweepSettings, SidebandSource,
};
use crate::network::Terminal;
use crate::touchstone::ReadOptions;
use num_complex::Complex64;
use serde::Deserialize;
use std::path::{Path, PathBuf};
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ReceiverEntries {
    /// Default: `receiver`.
    title: Option<String>,
    lo_input: Spanned<String>,
    rf_input: Spanned<String>,
    /// Impedance of the LO source; default: 50 ohm.
    lo_source_ohm: Option<Spanned<ComplexValue>>,
    /// Impedance of the RF source; default: 50 ohm.
    rf_source_ohm: Option<Spanned<ComplexValue>>,
    /// The impedance in which ideal parts and loads are matched, independent of the files'
    /// reference impedances; default: 50 ohm.
    reference_ohm: Option<Spanned<f64>>,
    /// The impedance for ideal parts at single nodes.
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
    /// Joins such as `a.x -- b.y`.
    #[serde(default)]
    joins: Vec<Spanned<String>>,
    #[serde(default, rename = "load")]
    loads: Vec<LoadEntry>,
    #[serde(default, rename = "mixer")]
    mixers: Vec<MixerEntry>,
    /// What the IF nodes of switched mixers end in; 50 ohms when absent.
    if_load: Option<Spanned<IfLoadEntry>>,
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
    /// A port of the node.
    at: Spanned<String>,
    ohm: Spanned<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MixerEntry {
    name: Spanned<String>,
    channel: ChannelName,
    #[serde(default)]
    polarity: PolarityName,
    /// The port of the LO voltage.
    lo: Spanned<String>,
    /// The port of the RF voltage.
    rf: Spanned<String>,
    /// Relative conversion gain; default: 1.
    gain: Option<Spanned<ComplexValue>>,
    /// What differs from the switch of `[mixing]`.
    switch: Option<Spanned<SwitchEntry>>,
    /// That of `[mixing]` when absent.
    lo_to_rf_ff: Option<Spanned<f64>>,
    /// That of `[mixing]` when absent.
    lo_to_if_ff: Option<Spanned<f64>>,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ChannelName {
    I,
    Q,
}

/// Whether the output of a mixer is added or subtracted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
enum PolarityName {
    #[default]
    #[serde(rename = "+")]
    Plus,
    #[serde(rename = "-")]
    Minus,
}

/// Reflection magnitudes; default: those of the loads themselves.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct SweepEntry {
    /// Reflection of the mixers' LO ports.
    mixer_reflection: Option<Spanned<f64>>,
    /// Reflection of the other loads of the LO path, at the isolated ports.
    isolated_reflection: Option<Spanned<f64>>,
}

impl ReceiverEntries {
    /// Whether its mixers are switches.
    fn is_switched(&self) -> bool {
        self.mixing.switch.is_some() || self.mixers.iter().any(|mixer| mixer.switch.is_some())
    }

    /// What is likely a mistake though it can be solved.
    fn remarks(&self, source: &TomlFile, mixers: &[Mixer]) -> Vec<String> {
        let gains = self.mixers.iter().zip(mixers).map(|(entry, mixer)| GivenGain {
            mixer: &mixer.name,
            gain: mixer.gain,
            span: entry.gain.as_ref().map(Spanned::span),
        });
        let mut remarks = gain_remarks(source, &gains.collect::<Vec<_>>());
        let real =
            |given: &Spanned<ComplexValue>| (Complex64::from(*given.get_ref()).re, given.span());
        let sources =
            [("lo_source_ohm", &self.lo_source_ohm), ("rf_source_ohm", &self.rf_source_ohm)]
                .map(|(key, given)| (key, given.as_ref().map(real)));
        let reference = self.reference_ohm.as_ref().map(|given| (*given.get_ref(), given.span()));
        for (key, given) in sources.into_iter().chain([("reference_ohm", reference)]) {
            let Some((ohm, span)) = given else { continue };
            remarks.extend(small_impedance(key, ohm).map(|text| source.remark(span, &text)));
        }
        remarks.extend(self.lo_chain.as_ref().and_then(|chain| chain.remark(source)));
        remarks.extend(self.correction.remarks(source));
        remarks
    }

    fn written_los(&self) -> Vec<WrittenLo<'_>> {
        let written =
            self.mixers.iter().map(|own| WrittenLo { port: &own.lo, mixer: own.name.get_ref() });
        written.collect()
    }

    /// The source of the LO and the stages up to its input.
    fn lo_chain(
        &self,
        files: &mut NamedFiles<'_>,
    ) -> Result<Option<LoChainSetup>, DescriptionError> {
        if let (Some(stage), None) = (self.lo_stages.first(), &self.lo_chain) {
            let what = "LO stages need their source: add [lo_chain] with input_power_dbm";
            return Err(files.source().complaint(&stage.name, what));
        }
        self.lo_chain.as_ref().map(|chain| chain.read(&self.lo_stages, files)).transpose()
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
        let limited = LimitedChain { has_power, has_stages, is_switched: self.is_switched() };
        limited.check(source, &self.require)?;
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

/// A receiver with the files it was read from and the warnings for the user.
#[derive(Clone, Debug)]
pub struct LoadedReceiver {
    /// The receiver.
    pub receiver: Receiver,
    /// The description and every file it names.
    pub inputs: Vec<PathBuf>,
    /// The files of its blocks and loads, in the order in which they are first used.
    pub files: Vec<ReceiverFile>,
    /// Warnings for the user.
    pub warnings: Vec<String>,
    /// The dates of the data that comments of the files state, each once.
    pub dates: Vec<String>,
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

/// A file of a receiver with every place where it is used; at least one.
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
#[doc = include_str!("receiver.md")]
#[doc = include_str!("blocks.md")]
pub fn read_receiver(
    path: &Path,
    options: &ReadOptions,
) -> Result<LoadedReceiver, DescriptionError> {
    let source = TomlFile::read(path)?;
    let entries: ReceiverEntries = source.parse()?;
    let mut files = NamedFiles::of(&source, options);
    files.warnings.extend(entries.frequency_plan.remarks(&source));
    let chain = entries.lo_chain(&mut files)?;
    let blocks = Blocks::read(&source, &entries.blocks, &mut files)?;
    let joins = blocks.joins(&entries.joins)?;
    let loads = blocks.loads(&entries.loads, &mut files)?;
    let inputs = inputs(&source, &entries, &blocks, &loads)?;
    check_connected(&source, &entries, &blocks, &joins, &loads, &inputs)?;
    let joins: Vec<Join> = joins
        .list
        .into_iter()
        .map(|join| Join { text: join.text, terminals: join.terminals })
        .collect();
    let pieces = lo_pieces(&source, &blocks, &joins, inputs.lo.at, &entries.written_los())?;
    let plan = entries.plan(&source, &blocks, &pieces)?;
    let reached = Reached::new(&blocks, &joins, &inputs);
    let mixers = mixers(&source, &entries, &blocks, &reached)?;
    files.warnings.extend(entries.remarks(&source, &mixers));
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
        switching: switching_entries(&entries).read(
            plan.settings(),
            [sources(blocks.iter().map(block_source)), sources(loads.iter().map(load_source))],
            &mut files,
        )?,
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
    files.warnings.extend(receiver.limits().remarks());
    files.warnings.extend(contradictions(&receiver));
    Ok(LoadedReceiver {
        files: receiver_files(&source, &entries, &receiver),
        closed_forms: closed_forms(&source, &blocks, &loads, &entries.output(), receiver.places())?,
        stages: stage_places(&source, &entries),
        receiver,
        inputs: files.inputs,
        warnings: files.warnings,
        dates: files.dates,
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

/// Refuses a block with a port that nothing is connected to.
fn check_connected(
    source: &TomlFile,
    entries: &ReceiverEntries,
    blocks: &Blocks<'_>,
    joins: &Joins,
    loads: &[PlacedLoad<'_>],
    inputs: &LoRf<PowerInput>,
) -> Result<(), DescriptionError> {
    let at_mixers = entries.mixers.iter().map(|mixer| blocks.terminal_of(&mixer.rf));
    let at_mixers: Vec<Terminal> = at_mixers.collect::<Result<_, _>>()?;
    let is_connected = |port: &Terminal| {
        joins.place_of(port).is_some()
            || loads.iter().any(|load| load.at == *port)
            || inputs.iter().any(|input| input.at == *port)
            || (entries.is_switched() && at_mixers.contains(port))
    };
    match blocks.unconnected(is_connected) {
        Some((port, span)) => {
            Err(source.error(DescriptionProblem::UnconnectedInReceiver { port }, span))
        }
        None => Ok(()),
    }
}

/// The keys of switched mixers.
fn switching_entries(entries: &ReceiverEntries) -> SwitchingEntries<'_> {
    let mixer = |mixer: &MixerEntry| MixerSwitchEntry {
        name: mixer.name.clone(),
        node: (matches!(mixer.channel, ChannelName::I), mixer.polarity == PolarityName::Plus),
        switch: mixer.switch.clone(),
        lo_to_rf_ff: mixer.lo_to_rf_ff.clone(),
        lo_to_if_ff: mixer.lo_to_if_ff.clone(),
        gain: mixer.gain.as_ref().map(Spanned::span),
    };
    SwitchingEntries {
        mixing: &entries.mixing,
        mixers: entries.mixers.iter().map(mixer).collect(),
        if_load: entries.if_load.as_ref(),
        after_split: entries.frequency_plan.after_split(),
        has_chain: entries.lo_chain.is_some(),
    }
}

fn sources<'a>(
    all: impl Iterator<Item = (&'a Origin, Vec<GivenParameter>)>,
) -> Vec<SidebandSource> {
    all.map(|(origin, given)| origin.sideband_source(given)).collect()
}

fn block_source<'a>(block: &'a Block<'_>) -> (&'a Origin, Vec<GivenParameter>) {
    let given = block.entry.component.as_ref().map(|own| own.get_ref().given());
    (&block.origin, given.unwrap_or_default())
}

fn load_source<'a>(load: &'a PlacedLoad<'_>) -> (&'a Origin, Vec<GivenParameter>) {
    (&load.origin, Vec::new())
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

/// The files of blocks and loads, each with all its places.
fn receiver_files(
    source: &TomlFile,
    entries: &ReceiverEntries,
    receiver: &Receiver,
) -> Vec<ReceiverFile> {
    let blocks = entries.blocks.iter().map(|block| &block.file);
    let loads = entries.loads.iter().map(|load| &load.file);
    let named = blocks.chain(loads).map(|file| file.as_ref().map(Spanned::get_ref));
    let output = entries.output().named();
    let named = named.chain(output.iter().map(|part| part.file));
    let mut files: Vec<ReceiverFile> = Vec::new();
    for (place, file) in receiver.places().zip(named) {
        let Some(file) = file else { continue };
        let path = source.beside(file);
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
        let what = "LO and RF have the same input port; give each its own port";
        return Err(source.complaint(&entries.rf_input, what));
    }
    Ok(inputs)
}

/// The reference impedances; 50 ohm by default.
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

/// The exponent; default: 1, the value of a multiplier.
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
