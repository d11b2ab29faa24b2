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
    Combination, CorrectionDomain, CorrectionSteps, OutputChoice, OutputStage, QCorrection,
};
use crate::network::{FrequencyGrid, Network, ParameterKind, Port, convert};
use num_complex::Complex64;
use serde::Deserialize;
use std::ops::Range;
use std::path::PathBuf;
use toml::Spanned;

/// The combination of I and Q.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
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
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct IfPathEntry {
    i: Option<Spanned<PathBuf>>,
    q: Option<Spanned<PathBuf>>,
}

/// A hybrid that combines I and Q.
#[derive(Debug, Deserialize)]
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

#[derive(Clone, Debug, Deserialize)]
#[serde(untagged, expecting = "expected a port number or a list of them")]
enum PortChoice {
    One(usize),
    /// The port that rejects the image at the centre of the LO grid is chosen.
    AnyOf(Vec<usize>),
}

/// The correction of Q, and the steps of a quantised one.
#[derive(Debug, Default, Deserialize)]
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

/// The point where a correction acts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
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

/// The keys of the output.
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
        let choices = match self.if_hybrid {
            Some(hybrid) if self.combine == CombineName::Auto => hybrid.choices(&grid, files)?,
            Some(hybrid) => {
                let what = "an IF hybrid combines I and Q itself; omit combine, and choose an \
                            output";
                return Err(source.complaint(&hybrid.output, what));
            }
            None => self.combine.choices(grid.len()),
        };
        let (i, q) = match self.if_path {
            Some(path) => (path.i.as_ref(), path.q.as_ref()),
            None => (None, None),
        };
        let i = path_transfers(i, &grid, files)?;
        let q = path_transfers(q, &grid, files)?;
        let paths: Vec<Combination> =
            i.into_iter().zip(q).map(|(i, q)| Combination { i, q }).collect();
        let correction = self.correction.read(self.if_hybrid.is_some(), source)?;
        let mut stage = OutputStage::behind_paths(choices, &paths, correction);
        stage.has_if_parts = self.if_path.is_some() || self.if_hybrid.is_some();
        Ok(stage)
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

/// S21 of an IF path at each IF; 1 without a path.
fn path_transfers(
    file: Option<&Spanned<PathBuf>>,
    grid: &FrequencyGrid,
    files: &mut NamedFiles<'_>,
) -> Result<Vec<Complex64>, DescriptionError> {
    let Some(file) = file else { return Ok(vec![Complex64::ONE; grid.len()]) };
    let source = files.source();
    let network = files.network(file)?;
    if network.ports() != 2 {
        let what = format!("an IF path has 2 ports, this file has {}", network.ports());
        return Err(source.complaint(file, what));
    }
    let network = if_network(&network, file, grid, files)?;
    let [input, output] = [Port::from_index(0), Port::from_index(1)];
    let transfer = |point| network.matrix(point).at(output, input);
    let transfers: Vec<Complex64> = (0..grid.len()).map(transfer).collect();
    if transfers.iter().any(|transfer| transfer.norm() == 0.0) {
        return Err(
            source.complaint(file, "this IF path has no transmission from port 1 to port 2")
        );
    }
    Ok(transfers)
}

/// A file at the IFs, as scattering parameters.
fn if_network(
    network: &Network,
    file: &Spanned<PathBuf>,
    grid: &FrequencyGrid,
    files: &mut NamedFiles<'_>,
) -> Result<Network, DescriptionError> {
    let title = format!("the IF file {}", file.get_ref().display());
    let need = |&frequency_hz: &f64| Need { frequency_hz, purpose: "IF".to_owned() };
    let needs: Vec<Need> = grid.as_hz().iter().map(need).collect();
    check_cover(files.source(), network, &needs, &title, file.span())?;
    let scattering = convert(network, ParameterKind::Scattering)
        .map_err(|error| files.source().error(error, file.span()))?;
    interpolated(&scattering, grid, &title, file.span(), files)
}

impl IfHybridEntry {
    /// The outputs to choose from; at least one.
    fn choices(
        &self,
        grid: &FrequencyGrid,
        files: &mut NamedFiles<'_>,
    ) -> Result<Vec<OutputChoice>, DescriptionError> {
        let source = files.source();
        let network = match (&self.file, &self.component) {
            (Some(file), None) => {
                let content = files.file(file)?;
                let network = if_network(&content.network, file, grid, files)?;
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
        Ok(choices)
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
        // A correction of 0 dB and 0 degrees has no effect; digital numbers grow without limit
        // towards 90 degrees.
        let allowed = Allowed::FromTo(-1000.0, 1000.0);
        let allowed_deg = match domain {
            CorrectionDomain::Digital => Allowed::FromTo(-89.0, 89.0),
            CorrectionDomain::IfPhase | CorrectionDomain::LoPhase => allowed,
        };
        let amplitude_db =
            source.optional_number("amplitude_db", self.amplitude_db.as_ref(), allowed)?;
        let phase_deg =
            source.optional_number("phase_deg", self.phase_deg.as_ref(), allowed_deg)?;
        QCorrection::new(domain, amplitude_db.unwrap_or(0.0), phase_deg.unwrap_or(0.0))
            .map_err(|error| source.error_in_file(error))
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
