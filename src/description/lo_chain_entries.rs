//! `[lo_chain]`, `[[lo_stage]]`, and the stages among the blocks of RECEIVER.toml.

use super::allowed::Allowed;
use super::component_entry::ComponentEntry;
use super::error::DescriptionError;
use super::named_files::NamedFiles;
use super::receiver_remarks::odd_level;
use super::source::{Pair, TomlFile};
use crate::downconverter::{
    ActiveStage, AmplifierSettings, DriveLimits, LoChainSetup, LoSource, LoStage, LoStageKind,
    MultiplierSettings, PartModel, SourceTone, StageLine, StagePart,
};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;
use toml::Spanned;

/// The source of the LO.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LoChainEntry {
    /// Available from the source.
    input_power_dbm: Spanned<f64>,
    /// Offset in Hz and dBc/Hz.
    #[serde(default)]
    phase_noise: Vec<Spanned<Pair<f64>>>,
    /// What else the source gives.
    #[serde(default)]
    tones: Vec<SourceToneEntry>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SourceToneEntry {
    /// Its frequency over that of the source.
    multiple: Spanned<f64>,
    dbc: Spanned<f64>,
    /// 0 when absent.
    phase_deg: Option<Spanned<f64>>,
}

/// A stage from the source to the LO input.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LoStageEntry {
    pub(super) name: Spanned<String>,
    multiplier: Option<Spanned<MultiplierEntry>>,
    amplifier: Option<Spanned<AmplifierEntry>>,
    /// A two-port, from port 1 to port 2.
    file: Option<Spanned<PathBuf>>,
    component: Option<Spanned<ComponentEntry>>,
    /// Whether a two-port may have gain.
    #[serde(default)]
    active: bool,
    input_dbm: Option<DriveEntry>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MultiplierEntry {
    pub(super) order: Spanned<u32>,
    knee_dbm: Spanned<f64>,
    saturated_dbm: Spanned<f64>,
    /// The other orders against the wanted one.
    #[serde(default)]
    products_dbc: LineTable,
    floor_dbc_hz: Option<Spanned<f64>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AmplifierEntry {
    gain_db: Spanned<f64>,
    saturated_dbm: Spanned<f64>,
    /// 2 when absent.
    smoothness: Option<Spanned<f64>>,
    #[serde(default)]
    harmonics_dbc: LineTable,
    floor_dbc_hz: Option<Spanned<f64>>,
    /// 0 when absent.
    am_pm_deg_per_db: Option<Spanned<f64>>,
}

/// Lines by their order.
type LineTable = BTreeMap<Spanned<String>, Spanned<LineEntry>>;

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(
    untagged,
    expecting = "expected a level in dBc, or { dbc = .., phase_deg = .., slope = .. }"
)]
enum LineEntry {
    Level(f64),
    Line(LineDetails),
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct LineDetails {
    dbc: f64,
    /// 0 when absent.
    phase_deg: Option<f64>,
    /// That of the stage times order over wanted order when absent.
    slope: Option<f64>,
}

/// The drive that a stage needs and bears.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DriveEntry {
    min: Option<Spanned<f64>>,
    max: Option<Spanned<f64>>,
}

/// Levels that a description may give, dBm and dB.
const LEVELS: Allowed = Allowed::FromTo(-200.0, 200.0);

impl LoChainEntry {
    /// A power that is likely meant in watts.
    pub(super) fn remark(&self, source: &TomlFile) -> Option<String> {
        let given = &self.input_power_dbm;
        let text = odd_level("input_power_dbm", *given.get_ref())?;
        Some(source.remark(given.span(), &text))
    }

    /// The source and its stages.
    pub(super) fn read(
        &self,
        stages: &[LoStageEntry],
        files: &mut NamedFiles<'_>,
    ) -> Result<LoChainSetup, DescriptionError> {
        let source = files.source();
        let mut read: Vec<LoStage> = Vec::new();
        for entry in stages {
            source.check_name(&entry.name)?;
            let name = entry.name.get_ref().clone();
            if read.iter().any(|stage| stage.name == name) {
                return Err(source.complaint(&entry.name, format!("duplicate LO stage '{name}'")));
            }
            read.push(LoStage {
                name,
                kind: entry.kind(files)?,
                drive: drive_limits(source, entry.input_dbm.as_ref())?,
            });
        }
        Ok(LoChainSetup { source: self.source(source)?, stages: read })
    }

    fn source(&self, source: &TomlFile) -> Result<LoSource, DescriptionError> {
        let power_dbm = source.number("input_power_dbm", &self.input_power_dbm, LEVELS)?;
        let mut phase_noise: Vec<(f64, f64)> = Vec::new();
        for row in &self.phase_noise {
            let Pair(offset_hz, dbc_hz) = *row.get_ref();
            let before_hz = phase_noise.last().map_or(0.0, |row| row.0);
            if !(offset_hz > before_hz && offset_hz.is_finite()) {
                let what = format!("offsets must be above 0 Hz and ascend, found {offset_hz}");
                return Err(source.complaint(row, what));
            }
            let allowed = Allowed::FromTo(-400.0, 0.0);
            source.check_number("phase noise in dBc/Hz", dbc_hz, allowed, row.span())?;
            phase_noise.push((offset_hz, dbc_hz));
        }
        let tones = self.tones.iter().map(|tone| {
            let multiple = *tone.multiple.get_ref();
            if (multiple - 1.0).abs() < 1e-9 {
                let what = "a tone at the multiple 1 is the carrier itself; give another multiple, \
                            or the carrier's level as input_power_dbm";
                return Err(source.complaint(&tone.multiple, what));
            }
            let allowed = Allowed::FromTo(1e-3, 1000.0);
            source.check_number("multiple", multiple, allowed, tone.multiple.span())?;
            let dbc = source.number("dbc", &tone.dbc, Allowed::FromTo(-400.0, 100.0))?;
            let phase = tone.phase_deg.as_ref();
            let phase = source.optional_number("phase_deg", phase, PHASES)?;
            Ok(SourceTone { multiple, dbc, phase_deg: phase.unwrap_or(0.0) })
        });
        Ok(LoSource { power_dbm, tones: tones.collect::<Result<_, _>>()?, phase_noise })
    }
}

const PHASES: Allowed = Allowed::FromTo(-1000.0, 1000.0);

impl LoStageEntry {
    fn kind(&self, files: &mut NamedFiles<'_>) -> Result<LoStageKind, DescriptionError> {
        let source = files.source();
        match (&self.multiplier, &self.amplifier, &self.file, &self.component) {
            (Some(own), None, None, None) => {
                own.get_ref().read(source, own.span()).map(LoStageKind::Active)
            }
            (None, Some(own), None, None) => {
                own.get_ref().read(source, own.span()).map(LoStageKind::Active)
            }
            (None, None, Some(file), None) => {
                let content = files.file(file)?;
                let title =
                    format!("LO stage '{}' ({})", self.name.get_ref(), file.get_ref().display());
                let network = &content.network;
                self.check_ports(source, network.ports(), file.span())?;
                let band_hz = network.grid().first_hz()..=network.grid().last_hz();
                files.check_passive(&content, band_hz, self.active, &title, file.span())?;
                Ok(LoStageKind::TwoPort(PartModel::Sampled(Arc::new(content.network))))
            }
            (None, None, None, Some(component)) => {
                let made = source.component(component)?;
                self.check_ports(source, made.kind().ports().len(), component.span())?;
                Ok(LoStageKind::TwoPort(PartModel::Component(Arc::new(made))))
            }
            _ => {
                let what = format!(
                    "LO stage '{}' needs one of multiplier, amplifier, file and component, and one \
                     only",
                    self.name.get_ref()
                );
                Err(source.complaint(&self.name, what))
            }
        }
    }

    fn check_ports(
        &self,
        source: &TomlFile,
        ports: usize,
        span: Range<usize>,
    ) -> Result<(), DescriptionError> {
        if ports == 2 {
            return Ok(());
        }
        let what = format!("an LO stage has 2 ports, this part has {ports}");
        Err(source.place(span).complaint(what))
    }

    /// Where errors about what it is made from point.
    pub(super) fn span(&self) -> Range<usize> {
        match (&self.file, &self.component) {
            (Some(file), _) => file.span(),
            (None, Some(component)) => component.span(),
            (None, None) => self.name.span(),
        }
    }

    /// What it multiplies the LO by, and where that is written.
    pub(super) fn order(&self) -> Option<&Spanned<u32>> {
        self.multiplier.as_ref().map(|own| &own.get_ref().order)
    }
}

impl MultiplierEntry {
    fn read(&self, source: &TomlFile, span: Range<usize>) -> Result<ActiveStage, DescriptionError> {
        let settings = MultiplierSettings {
            order: source.whole("order", &self.order, 2..=1000)?,
            knee_dbm: source.number("knee_dbm", &self.knee_dbm, LEVELS)?,
            saturated_dbm: source.number("saturated_dbm", &self.saturated_dbm, LEVELS)?,
            products: lines(source, &self.products_dbc, *self.order.get_ref())?,
            floor_dbc_hz: floor(source, self.floor_dbc_hz.as_ref())?,
        };
        ActiveStage::multiplier(settings).map_err(|error| source.error(error, span))
    }
}

impl AmplifierEntry {
    fn read(&self, source: &TomlFile, span: Range<usize>) -> Result<ActiveStage, DescriptionError> {
        let optional = |key, given: &Option<Spanned<f64>>, allowed| {
            source.optional_number(key, given.as_ref(), allowed)
        };
        let smoothness = optional("smoothness", &self.smoothness, Allowed::FromTo(0.1, 100.0))?;
        let allowed = Allowed::FromTo(-100.0, 100.0);
        let am_pm = optional("am_pm_deg_per_db", &self.am_pm_deg_per_db, allowed)?;
        let settings = AmplifierSettings {
            gain_db: source.number("gain_db", &self.gain_db, LEVELS)?,
            saturated_dbm: source.number("saturated_dbm", &self.saturated_dbm, LEVELS)?,
            smoothness: smoothness.unwrap_or(2.0),
            harmonics: lines(source, &self.harmonics_dbc, 1)?,
            am_pm_deg_per_db: am_pm.unwrap_or(0.0),
            floor_dbc_hz: floor(source, self.floor_dbc_hz.as_ref())?,
        };
        ActiveStage::amplifier(settings).map_err(|error| source.error(error, span))
    }
}

fn floor(source: &TomlFile, given: Option<&Spanned<f64>>) -> Result<Option<f64>, DescriptionError> {
    source.optional_number("floor_dbc_hz", given, Allowed::FromTo(-400.0, -50.0))
}

fn lines(
    source: &TomlFile,
    table: &LineTable,
    wanted: u32,
) -> Result<Vec<StageLine>, DescriptionError> {
    let line = |(key, given): (&Spanned<String>, &Spanned<LineEntry>)| {
        let Ok(order @ 1..=100) = key.get_ref().parse::<u32>() else {
            let found = key.get_ref();
            let what = format!("an order must be a whole number from 1 to 100, found '{found}'");
            return Err(source.complaint(key, what));
        };
        if order == wanted {
            let what = format!("order {order} is the wanted one; its level is that of the stage");
            return Err(source.complaint(key, what));
        }
        let details = match *given.get_ref() {
            LineEntry::Level(dbc) => LineDetails { dbc, phase_deg: None, slope: None },
            LineEntry::Line(details) => details,
        };
        let check = |key, found, allowed| source.check_number(key, found, allowed, given.span());
        check(
            "the level in dBc, negative below the carrier,",
            details.dbc,
            Allowed::FromTo(-400.0, 20.0),
        )?;
        check("phase_deg", details.phase_deg.unwrap_or(0.0), PHASES)?;
        check("slope", details.slope.unwrap_or(0.0), Allowed::FromTo(-1000.0, 1000.0))?;
        let (dbc, slope) = (details.dbc, details.slope);
        Ok(StageLine { order, dbc, phase_deg: details.phase_deg.unwrap_or(0.0), slope })
    };
    table.iter().map(line).collect()
}

fn drive_limits(
    source: &TomlFile,
    given: Option<&DriveEntry>,
) -> Result<DriveLimits, DescriptionError> {
    let Some(given) = given else { return Ok(DriveLimits::default()) };
    let min_dbm = source.optional_number("min", given.min.as_ref(), LEVELS)?;
    let max_dbm = source.optional_number("max", given.max.as_ref(), LEVELS)?;
    if let (Some(min_dbm), Some(max_dbm), Some(place)) = (min_dbm, max_dbm, &given.max)
        && max_dbm < min_dbm
    {
        let what = format!("max must be at least min, {min_dbm} dBm, found {max_dbm}");
        return Err(source.complaint(place, what));
    }
    Ok(DriveLimits { min_dbm, max_dbm })
}

/// The keys of a block that is a stage.
pub(super) struct StageKeys<'e> {
    pub(super) multiplier: Option<&'e Spanned<MultiplierEntry>>,
    pub(super) amplifier: Option<&'e Spanned<AmplifierEntry>>,
    pub(super) input_ohm: Option<&'e Spanned<f64>>,
    pub(super) output_ohm: Option<&'e Spanned<f64>>,
    pub(super) input_dbm: Option<&'e DriveEntry>,
}

impl StageKeys<'_> {
    /// The stage; `None` for a block that is none.
    pub(super) fn read(&self, source: &TomlFile) -> Result<Option<StagePart>, DescriptionError> {
        let law = match (self.multiplier, self.amplifier) {
            (None, None) => {
                for (key, given) in [("input_ohm", self.input_ohm), ("output_ohm", self.output_ohm)]
                {
                    if let Some(given) = given {
                        let what = format!("{key} is for a block with multiplier or amplifier");
                        return Err(source.complaint(given, what));
                    }
                }
                return Ok(None);
            }
            (Some(own), None) => own.get_ref().read(source, own.span())?,
            (None, Some(own)) => own.get_ref().read(source, own.span())?,
            (Some(_), Some(own)) => {
                let what = "a stage is a multiplier or an amplifier; give one of the two";
                return Err(source.complaint(own, what));
            }
        };
        let ohm = |key, given: Option<&Spanned<f64>>| {
            let read = source.optional_number(key, given, Allowed::FromTo(1e-3, 1e6))?;
            Ok::<f64, DescriptionError>(read.unwrap_or(50.0))
        };
        Ok(Some(StagePart {
            law,
            input_ohm: ohm("input_ohm", self.input_ohm)?,
            output_ohm: ohm("output_ohm", self.output_ohm)?,
            drive: drive_limits(source, self.input_dbm)?,
        }))
    }
}
