//! `fourphase rebuild`.

use super::args::{Format, Rebuild};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::output::Outgoing;
use crate::description::TomlFile;
use crate::description::{ComplexValue, DescriptionError, DescriptionProblem};
use crate::measurement::{PartialMeasurement, RebuildSettings, rebuild};
use crate::network::{
    FrequencyGrid, Load, Network, PASSIVITY_TOLERANCE, ParameterKind, Port, assess,
};
use crate::report::{self, RebuildReport, ReportFile, document, publish};
use crate::touchstone::{ReadOptions, read};
use num_complex::Complex64;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// SET.toml.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SetFile {
    ports: Spanned<usize>,
    reference_ohm: Option<Spanned<f64>>,
    #[serde(default)]
    reciprocal: bool,
    /// Orders of the ports in which the part is the same.
    #[serde(default)]
    symmetric: Vec<Spanned<Vec<usize>>>,
    #[serde(default, rename = "termination")]
    terminations: Vec<TerminationEntry>,
    #[serde(default, rename = "measurement")]
    measurements: Vec<MeasurementEntry>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct TerminationEntry {
    port: Spanned<usize>,
    ohm: Option<Spanned<ComplexValue>>,
    file: Option<Spanned<PathBuf>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MeasurementEntry {
    file: Spanned<PathBuf>,
    ports: Spanned<Vec<usize>>,
    standard_uncertainty: Option<Spanned<f64>>,
    #[serde(default)]
    terminations: BTreeMap<String, Spanned<OtherEnd>>,
}

/// Where one measurement differs: a file, or ohms.
#[derive(Debug, Deserialize)]
#[serde(untagged, expecting = "expected a file's name, a number of ohms or [re, im]")]
enum OtherEnd {
    File(PathBuf),
    Ohm(ComplexValue),
}

/// Uncertainties that are right leave about as much misfit as they say, hardly ever more than this.
const LARGEST_MISFIT: f64 = 1.5;
/// More ports than this are a slip of the pen.
const MOST_PORTS: usize = 64;

struct Set<'a> {
    described: &'a TomlFile,
    options: &'a ReadOptions,
    console: &'a Console,
    inputs: Vec<PathBuf>,
}

pub(super) fn run(given: &Rebuild, console: &Console) -> Result<Outcome, Failure> {
    let path = &given.set;
    let described = TomlFile::read(path)?;
    let options = given.reading.options();
    let file: SetFile = described.parse()?;
    let mut set =
        Set { described: &described, options: &options, console, inputs: vec![path.clone()] };
    let ports = *file.ports.get_ref();
    if !(2..=MOST_PORTS).contains(&ports) {
        return Err(described
            .complaint(&file.ports, format!("ports is from 2 to {MOST_PORTS}"))
            .into());
    }
    Outgoing::check_name(ports, &given.output)?;
    let reference_ohm = file.reference_ohm.as_ref().map_or(50.0, |ohm| *ohm.get_ref());
    if let Some(ohm) = &file.reference_ohm
        && !(reference_ohm > 0.0 && reference_ohm.is_finite())
    {
        return Err(described.complaint(ohm, "reference_ohm is a positive number").into());
    }
    let symmetries = file
        .symmetric
        .iter()
        .map(|order| {
            let listed = order.get_ref();
            if listed.len() != ports || (1..=ports).any(|port| !listed.contains(&port)) {
                let what = format!("an order lists each port from 1 to {ports} once");
                return Err(described.complaint(order, what));
            }
            Ok(listed.iter().map(|number| Port::from_index(number - 1)).collect())
        })
        .collect::<Result<_, _>>()?;
    let settings =
        RebuildSettings { ports, reference_ohm, is_reciprocal: file.reciprocal, symmetries };
    let measurements = set.measurements(&file, ports, reference_ohm)?;
    let count = measurements.iter().filter(|m| m.standard_uncertainty.is_some()).count();
    if count > 0 && count < measurements.len() {
        console.warning(&format!(
            "{count} of {} measurements have a standard_uncertainty; it counts only if all have one",
            measurements.len()
        ));
    }
    let rebuilt = rebuild(&settings, &measurements)
        .map_err(|source| Failure::Measurement { file: path.clone(), source })?;
    let quality = assess(&rebuilt.network)
        .map_err(|source| Failure::Network { file: path.clone(), source })?;
    if !quality.passive_within(PASSIVITY_TOLERANCE) {
        console.warning("the rebuilt network is not passive; check the terminations");
    }
    let report = RebuildReport::new(&given.output.display().to_string(), &rebuilt, &quality);
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let mut files = Vec::new();
    if let Some(path) = &given.covariance {
        let Some(covariance) = &rebuilt.covariance else {
            let why = "give standard_uncertainty, or more measurements";
            let what = "no covariance to write: the set says nothing of uncertainty";
            return Err(Failure::Usage(format!("{what}; {why}")));
        };
        let bytes = report::entry_covariance_csv(covariance, rebuilt.network.grid())?;
        files.push(ReportFile { path: path.clone(), bytes: bytes.into_bytes() });
    }
    if let Some(ratio) = rebuilt.misfit_ratio.filter(|ratio| *ratio > LARGEST_MISFIT) {
        console.warning(&format!(
            "what does not fit is {ratio:.1} times what the stated uncertainties allow; the \
             covariance is too small by about that"
        ));
    }
    let outgoing = Outgoing::made(rebuilt.network, &format!("rebuilt from {name}"));
    let bytes = outgoing.formed(&given.output, &given.form)?;
    files.push(ReportFile { path: given.output.clone(), bytes });
    publish(&files, &set.inputs, given.form.overwrite)?;
    console.written(&files);
    match given.format {
        Format::Json => console.data(&document(&report)?)?,
        Format::Csv => console.data(&report::rebuild_csv(&report)?)?,
        Format::Text => console.data(&report::rebuild_text(&report))?,
    }
    Ok(Outcome::Holds)
}

impl Set<'_> {
    fn network(&mut self, file: &Path, span: Range<usize>) -> Result<Network, DescriptionError> {
        let path = self.described.beside(file);
        let content =
            read(&path, self.options).map_err(|error| self.described.error(error, span))?;
        for warning in &content.warnings {
            self.console.warning(&format!("{}:{warning}", path.display()));
        }
        if !self.inputs.contains(&path) {
            self.inputs.push(path);
        }
        Ok(content.network)
    }

    fn end(
        &mut self,
        file: Option<&Path>,
        ohm: Option<ComplexValue>,
        span: Range<usize>,
    ) -> Result<Load, DescriptionError> {
        match (file, ohm.map(Complex64::from)) {
            (Some(file), None) => {
                let network = self.network(file, span.clone())?;
                match network.ports() {
                    1 => Ok(Load::OnePort(network)),
                    ports => {
                        Err(self.described.error(DescriptionProblem::LoadPorts { ports }, span))
                    }
                }
            }
            (None, Some(ohm)) if ohm.re >= 0.0 && ohm.is_finite() => Ok(Load::Impedance(ohm)),
            (None, Some(_)) => {
                let what = "a termination has a resistance of nought or more".to_owned();
                Err(self.described.error(DescriptionProblem::Value { what }, span))
            }
            _ => {
                let what = "a termination is either ohm or file".to_owned();
                Err(self.described.error(DescriptionProblem::Value { what }, span))
            }
        }
    }

    fn port<T>(
        &self,
        number: usize,
        ports: usize,
        given: &Spanned<T>,
    ) -> Result<usize, DescriptionError> {
        if (1..=ports).contains(&number) {
            Ok(number - 1)
        } else {
            Err(self
                .described
                .complaint(given, format!("{number} is no port: they count from 1 to {ports}")))
        }
    }

    fn measurements(
        &mut self,
        file: &SetFile,
        ports: usize,
        reference_ohm: f64,
    ) -> Result<Vec<PartialMeasurement>, DescriptionError> {
        let mut usual: Vec<Option<Load>> = vec![None; ports];
        for entry in &file.terminations {
            let port = self.port(*entry.port.get_ref(), ports, &entry.port)?;
            if usual[port].is_some() {
                return Err(self
                    .described
                    .complaint(&entry.port, "this port's termination stands twice"));
            }
            let path = entry.file.as_ref().map(|file| file.get_ref().clone());
            let span = entry.file.as_ref().map(Spanned::span);
            let span = span.or(entry.ohm.as_ref().map(Spanned::span));
            let ohm = entry.ohm.as_ref().map(|ohm| *ohm.get_ref());
            let span = span.unwrap_or(entry.port.span());
            usual[port] = Some(self.end(path.as_deref(), ohm, span)?);
        }
        let mut made: Vec<PartialMeasurement> = Vec::new();
        let mut grid: Option<FrequencyGrid> = None;
        let mut warned = vec![false; ports];
        for entry in &file.measurements {
            let network = self.network(entry.file.get_ref(), entry.file.span())?;
            let measured = entry.ports.get_ref();
            if measured.len() != network.ports() {
                let what =
                    format!("the file has {} ports, {} are named", network.ports(), measured.len());
                return Err(self.described.complaint(&entry.ports, what));
            }
            let mut places = Vec::new();
            for &number in measured {
                let place = self.port(number, ports, &entry.ports)?;
                if places.contains(&place) {
                    return Err(self
                        .described
                        .complaint(&entry.ports, format!("port {number} stands twice")));
                }
                places.push(place);
            }
            let grid = grid.get_or_insert_with(|| network.grid().clone()).clone();
            let mut ends = usual.clone();
            for (number, other) in &entry.terminations {
                let port = number.trim().parse().unwrap_or(0);
                let port = self.port(port, ports, other)?;
                ends[port] = Some(match other.get_ref() {
                    OtherEnd::File(file) => self.end(Some(file), None, other.span())?,
                    OtherEnd::Ohm(ohm) => self.end(None, Some(*ohm), other.span())?,
                });
            }
            let reference = Network::new(
                ParameterKind::Scattering,
                grid.clone(),
                1,
                vec![Complex64::ZERO; grid.len()],
                vec![reference_ohm.into()],
            )
            .map_err(|error| self.described.error(error, entry.file.span()))?;
            let mut terminations = Vec::new();
            for (port, end) in ends.iter().enumerate() {
                let is_used = !places.contains(&port);
                terminations.push(match end.as_ref().filter(|_| is_used) {
                    Some(end) => end
                        .reflections(&reference, Port::from_index(0))
                        .map_err(|error| self.described.error(error, entry.file.span()))?,
                    None => {
                        if is_used && !std::mem::replace(&mut warned[port], true) {
                            self.console.warning(&format!(
                                "port {} has no [[termination]]; {reference_ohm} ohm is taken",
                                port + 1
                            ));
                        }
                        vec![Complex64::ZERO; grid.len()]
                    }
                });
            }
            let ports = places.into_iter().map(Port::from_index).collect();
            let standard_uncertainty = match &entry.standard_uncertainty {
                Some(given) if !(*given.get_ref() > 0.0 && given.get_ref().is_finite()) => {
                    return Err(self
                        .described
                        .complaint(given, "standard_uncertainty is a positive number"));
                }
                given => given.as_ref().map(|given| *given.get_ref()),
            };
            made.push(PartialMeasurement { network, ports, terminations, standard_uncertainty });
        }
        if made.is_empty() {
            let what = "the set has no [[measurement]]".to_owned();
            return Err(self.described.complaint_in_file(what));
        }
        Ok(made)
    }
}
