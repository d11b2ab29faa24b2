//! The path from the mixers to the output: `combine`, `[if_path]`, `[if_hybrid]` and `[correction]`
//! of RECEIVER.toml.

use super::allowed::Allowed;
use super::blocks::interpolated;
use super::component_entry::ComponentEntry;
use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::NamedFiles;
use super::receiver_plan::{Need, check_cover};
use super::source::TomlFile;
use crate::downconverter::{
    Combination, CorrectionDomain, CorrectionSteps, IfPart, IfRole, OutputChoice, OutputStage,
    QCorrection,
};
use crate::network::{FrequencyGrid, Network, ParameterKind, Port, convert};
use serde::de::value::MapAccessDeserializer;
use serde::de::{self, Deserialize, Deserializer, MapAccess, Visitor};
use std::fmt;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// How I and Q are combined.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize)]
pub(super) enum CombineName {
    /// The combination that rejects the image at the centre of the LO grid.
    #[default]
    #[serde(rename = "auto")]
    Auto,
    #[serde(rename = "i+jq")]
    IPlusJq,
    #[serde(rename = "i-jq")]
    IMinusJq,
}

/// Two-ports from the mixers to the outputs of I and Q.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct IfPathEntry {
    i: Option<Spanned<IfPathPart>>,
    q: Option<Spanned<IfPathPart>>,
}

/// A file by its name, or a table with a component.
#[derive(Debug)]
enum IfPathPart {
    File(PathBuf),
    Component(ComponentOnly),
}

// Positions in the text are lost in an untagged enum.
impl<'de> Deserialize<'de> for IfPathPart {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct FileOrTable;

        impl<'de> Visitor<'de> for FileOrTable {
            type Value = IfPathPart;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("the name of a file, or { component = { kind = \"line\", .. } }")
            }

            fn visit_str<E: de::Error>(self, name: &str) -> Result<IfPathPart, E> {
                Ok(IfPathPart::File(PathBuf::from(name)))
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<IfPathPart, A::Error> {
                let entry = ComponentOnly::deserialize(MapAccessDeserializer::new(map))?;
                Ok(IfPathPart::Component(entry))
            }
        }

        deserializer.deserialize_any(FileOrTable)
    }
}

/// A closed-form part.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct ComponentOnly {
    component: Spanned<ComponentEntry>,
}

/// A hybrid that combines I and Q.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct IfHybridEntry {
    file: Option<Spanned<PathBuf>>,
    component: Option<Spanned<ComponentEntry>>,
    /// The port that I enters.
    i: Spanned<usize>,
    /// The port that Q enters.
    q: Spanned<usize>,
    /// The port of the wanted sideband, or several to choose from.
    output: Spanned<PortChoice>,
}

#[derive(Clone, Debug, serde::Deserialize)]
#[serde(untagged, expecting = "expected a port number or a list of them")]
enum PortChoice {
    One(usize),
    /// The port that rejects the image at the centre of the LO grid is chosen.
    AnyOf(Vec<usize>),
}

/// The correction of Q, and the steps of a quantised one.
#[derive(Debug, Default, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CorrectionEntry {
    /// Default: `if_phase`.
    acts_on: Option<Spanned<DomainName>>,
    /// Default: 0.
    amplitude_db: Option<Spanned<f64>>,
    /// Default: 0.
    phase_deg: Option<Spanned<f64>>,
    amplitude_step_db: Option<Spanned<f64>>,
    phase_step_deg: Option<Spanned<f64>>,
}

/// Where a correction acts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
enum DomainName {
    /// It rotates Q at IF.
    IfPhase,
    /// It rotates the LO of Q.
    LoPhase,
    /// It is a matrix of real numbers for I and Q.
    Digital,
}

impl DomainName {
    fn domain(self) -> CorrectionDomain {
        match self {
            Self::IfPhase => CorrectionDomain::IfPhase,
            Self::LoPhase => CorrectionDomain::LoPhase,
            Self::Digital => CorrectionDomain::Digital,
        }
    }
}

// The names by which UNCERTAINTY.toml knows the parts behind the mixers.
const IF_PATH_I: &str = "if_path.i";
const IF_PATH_Q: &str = "if_path.q";
const IF_HYBRID: &str = "if_hybrid";

/// A part behind the mixers as it is described.
pub(super) struct NamedIfPart<'a> {
    pub(super) name: &'static str,
    pub(super) file: Option<&'a PathBuf>,
    pub(super) component: Option<&'a Spanned<ComponentEntry>>,
}

/// The keys that describe the output.
pub(super) struct OutputEntries<'a> {
    pub(super) combine: CombineName,
    pub(super) if_path: Option<&'a IfPathEntry>,
    pub(super) if_hybrid: Option<&'a IfHybridEntry>,
    pub(super) correction: &'a CorrectionEntry,
}

impl OutputEntries<'_> {
    /// The output at these IFs, Hz.
    pub(super) fn read(
        &self,
        if_hz: &[f64],
        files: &mut NamedFiles<'_>,
    ) -> Result<OutputStage, DescriptionError> {
        let source = files.source();
        let grid =
            FrequencyGrid::from_hz(if_hz.to_vec()).map_err(|error| source.error_in_file(error))?;
        let mut parts = Vec::new();
        let paths = self.if_path.map_or([None, None], |path| [path.i.as_ref(), path.q.as_ref()]);
        let names = [(IF_PATH_I, IfRole::PathI), (IF_PATH_Q, IfRole::PathQ)];
        for ((name, role), given) in names.into_iter().zip(paths) {
            let Some(given) = given else { continue };
            let network = path_network(given, &grid, files)?;
            parts.push(IfPart { name: name.to_owned(), role, network });
        }
        let choices = match self.if_hybrid {
            Some(hybrid) if self.combine == CombineName::Auto => {
                let (choices, part) = hybrid.choices(&grid, files)?;
                parts.push(part);
                choices
            }
            Some(hybrid) => {
                let what = "an IF hybrid combines I and Q itself; omit combine, and choose an \
                            output";
                return Err(source.complaint(&hybrid.output, what));
            }
            None => self.combine.choices(grid.len()),
        };
        let correction = self.correction.read(self.if_hybrid.is_some(), source)?;
        Ok(OutputStage::of_parts(choices, parts, correction))
    }
}

impl<'a> OutputEntries<'a> {
    /// The parts behind the mixers in the order in which they are read: name, file and component.
    pub(super) fn named(&self) -> Vec<NamedIfPart<'a>> {
        let paths = self.if_path.map_or([None, None], |path| [path.i.as_ref(), path.q.as_ref()]);
        let paths = [IF_PATH_I, IF_PATH_Q].into_iter().zip(paths).filter_map(|(name, given)| {
            Some(match given?.get_ref() {
                IfPathPart::File(file) => NamedIfPart { name, file: Some(file), component: None },
                IfPathPart::Component(own) => {
                    NamedIfPart { name, file: None, component: Some(&own.component) }
                }
            })
        });
        let hybrid = self.if_hybrid.map(|own| NamedIfPart {
            name: IF_HYBRID,
            file: own.file.as_ref().map(Spanned::get_ref),
            component: own.component.as_ref(),
        });
        paths.chain(hybrid).collect()
    }
}

impl CombineName {
    fn choices(self, ifs: usize) -> Vec<OutputChoice> {
        let plus = || OutputChoice::of_combination("I + jQ", Combination::I_PLUS_JQ, ifs);
        let minus = || OutputChoice::of_combination("I - jQ", Combination::I_MINUS_JQ, ifs);
        match self {
            Self::Auto => vec![plus(), minus()],
            Self::IPlusJq => vec![plus()],
            Self::IMinusJq => vec![minus()],
        }
    }
}

/// The scattering parameters of an IF path at each IF.
fn path_network(
    given: &Spanned<IfPathPart>,
    grid: &FrequencyGrid,
    files: &mut NamedFiles<'_>,
) -> Result<Network, DescriptionError> {
    let source = files.source();
    let check_ports = |network: &Network, what: &str| match network.ports() {
        2 => Ok(()),
        ports => {
            Err(source.complaint(given, format!("an IF path has 2 ports, {what} has {ports}")))
        }
    };
    let network = match given.get_ref() {
        IfPathPart::File(file) => {
            let network = files.network_at(file, given.span())?;
            check_ports(&network, "this file")?;
            if_network(&network, file, given.span(), grid, files)?
        }
        IfPathPart::Component(own) => {
            let made = source
                .component(&own.component)?
                .network(grid)
                .map_err(|error| source.error(error, own.component.span()))?;
            check_ports(&made, "this component")?;
            made
        }
    };
    let [input, output] = [Port::from_index(0), Port::from_index(1)];
    let mut transmissions = (0..grid.len()).map(|point| network.matrix(point).at(output, input));
    if transmissions.any(|transmission| transmission.norm() == 0.0) {
        let what = "this IF path has no transmission from port 1 to port 2";
        return Err(source.complaint(given, what));
    }
    Ok(network)
}

/// A file at the IFs, as scattering parameters.
fn if_network(
    network: &Network,
    file: &Path,
    span: Range<usize>,
    grid: &FrequencyGrid,
    files: &mut NamedFiles<'_>,
) -> Result<Network, DescriptionError> {
    let title = format!("the IF file {}", file.display());
    let need = |&frequency_hz: &f64| Need { frequency_hz, purpose: "IF".to_owned() };
    let needs: Vec<Need> = grid.as_hz().iter().map(need).collect();
    check_cover(files.source(), network, &needs, &title, span.clone(), None)?;
    let scattering = convert(network, ParameterKind::Scattering)
        .map_err(|error| files.source().error(error, span.clone()))?;
    interpolated(&scattering, grid, &title, span, files)
}

impl IfHybridEntry {
    /// The outputs to choose from, at least one, and the hybrid itself.
    fn choices(
        &self,
        grid: &FrequencyGrid,
        files: &mut NamedFiles<'_>,
    ) -> Result<(Vec<OutputChoice>, IfPart), DescriptionError> {
        let source = files.source();
        let network = match (&self.file, &self.component) {
            (Some(file), None) => {
                let content = files.file(file)?;
                let network =
                    if_network(&content.network, file.get_ref(), file.span(), grid, files)?;
                let title = format!("the IF hybrid {}", file.get_ref().display());
                let band_hz = grid.first_hz()..=grid.last_hz();
                files.check_passive(&content, band_hz, false, &title, file.span())?;
                network
            }
            (None, Some(component)) => source
                .component(component)?
                .network(grid)
                .map_err(|error| source.error(error, component.span()))?,
            _ => {
                let what = "an IF hybrid needs either a file or a component";
                return Err(source.complaint(&self.output, what));
            }
        };
        let port = |number: usize, span: Range<usize>| {
            let what = format!("the IF hybrid has ports 1 to {}, found {number}", network.ports());
            let port = Port::from_number(number).filter(|_| number <= network.ports());
            port.ok_or_else(|| source.error(DescriptionProblem::Value { what }, span))
        };
        let i = port(*self.i.get_ref(), self.i.span())?;
        let q = port(*self.q.get_ref(), self.q.span())?;
        let numbers = match self.output.get_ref() {
            PortChoice::One(number) => std::slice::from_ref(number),
            PortChoice::AnyOf(list) => list,
        };
        let mut choices = Vec::new();
        for &number in numbers {
            let output = port(number, self.output.span())?;
            if i == q || output == i || output == q {
                let what = "i, q and output must be different ports of the IF hybrid";
                return Err(source.complaint(&self.output, what));
            }
            let Some(choice) = OutputChoice::of_hybrid(&network, i, q, output) else {
                let what = format!(
                    "the IF hybrid must have a transmission from i and from q to port {number}, \
                     found none"
                );
                return Err(source.complaint(&self.output, what));
            };
            choices.push(choice);
        }
        if choices.is_empty() {
            return Err(source.complaint(&self.output, "the IF hybrid needs an output"));
        }
        let role = IfRole::Hybrid { i, q };
        Ok((choices, IfPart { name: IF_HYBRID.to_owned(), role, network }))
    }
}

impl CorrectionEntry {
    /// The correction; none if no key is given. After an IF hybrid I and Q are not available as
    /// numbers.
    fn read(&self, has_hybrid: bool, source: &TomlFile) -> Result<QCorrection, DescriptionError> {
        let domain = self
            .acts_on
            .as_ref()
            .map_or(CorrectionDomain::default(), |given| given.get_ref().domain());
        if let (Some(given), CorrectionDomain::Digital, true) = (&self.acts_on, domain, has_hybrid)
        {
            let what = "a digital correction needs I and Q as numbers, but an IF hybrid combines \
                        them; use if_phase or lo_phase";
            return Err(source.complaint(given, what));
        }
        // No correction is 0 dB and 0 degrees; digital numbers grow without limit at a quarter turn, and
        // no channel is 60 dB weaker than the other.
        let allowed = Allowed::FromTo(-60.0, 60.0);
        let allowed_deg = match domain {
            CorrectionDomain::Digital => Allowed::FromTo(-89.0, 89.0),
            CorrectionDomain::IfPhase | CorrectionDomain::LoPhase => Allowed::FromTo(-360.0, 360.0),
        };
        let amplitude_db =
            source.optional_number("amplitude_db", self.amplitude_db.as_ref(), allowed)?;
        let phase_deg =
            source.optional_number("phase_deg", self.phase_deg.as_ref(), allowed_deg)?;
        QCorrection::new(domain, amplitude_db.unwrap_or(0.0), phase_deg.unwrap_or(0.0))
            .map_err(|error| source.error_in_file(error))
    }

    /// A correction that is larger than any error of a receiver.
    pub(super) fn remarks(&self, source: &TomlFile) -> Vec<String> {
        // An error of 10 dB or a quarter turn leaves no rejection to correct (ours).
        let large =
            [("amplitude_db", &self.amplitude_db, 10.0), ("phase_deg", &self.phase_deg, 90.0)];
        let large = large.into_iter().filter_map(|(key, given, most)| {
            let given = given.as_ref().filter(|given| given.get_ref().abs() > most)?;
            let found = given.get_ref();
            let text = format!("{key} = {found} is more than any receiver needs: check it");
            Some(source.remark(given.span(), &text))
        });
        large.collect()
    }

    /// The steps of a quantised correction.
    pub(super) fn steps(&self, source: &TomlFile) -> Result<CorrectionSteps, DescriptionError> {
        let step = |key, given: &Option<Spanned<f64>>| {
            source.optional_number(key, given.as_ref(), Allowed::AboveZero)
        };
        let default = CorrectionSteps::default();
        CorrectionSteps::new(
            step("amplitude_step_db", &self.amplitude_step_db)?.unwrap_or(default.amplitude_db()),
            step("phase_step_deg", &self.phase_step_deg)?.unwrap_or(default.phase_deg()),
        )
        .map_err(|error| source.error_in_file(error))
    }
}
