//! SET.toml: measurements of some ports of an N-port at a time, with the terminations of the
//! others.

use super::allowed::Allowed;
use super::block_entries::ComplexValue;
use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::NamedFiles;
use super::source::TomlFile;
use crate::measurement::{PartialMeasurement, RebuildSettings};
use crate::network::{FrequencyGrid, Load, Network, ParameterKind, Port};
use crate::touchstone::ReadOptions;
use num_complex::Complex64;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SetEntries {
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
    terminations: BTreeMap<Spanned<String>, Spanned<OtherTermination>>,
}

/// The termination of a port in one measurement, if it differs: a file, or ohms.
#[derive(Debug, Deserialize)]
#[serde(untagged, expecting = "expected a file's name, a number of ohms or [re, im]")]
enum OtherTermination {
    File(PathBuf),
    Ohm(ComplexValue),
}

/// The default reference impedance of the result, ohms.
const DEFAULT_REFERENCE_OHM: f64 = 50.0;
/// Maximum number of ports; more are a typing error.
const MAX_PORTS: usize = 64;

/// SET.toml with its files: ready for [`rebuild`](crate::measurement::rebuild).
///
/// # Examples
/// ```no_run
/// use fourphase::description::read_rebuild_set;
/// use fourphase::measurement::rebuild;
/// use fourphase::touchstone::ReadOptions;
///
/// let set = read_rebuild_set("set.toml".as_ref(), &ReadOptions::default())?;
/// let rebuilt = rebuild(&set.settings, &set.measurements)?;
/// println!("{} ports, residual {:.1e}", rebuilt.network.ports(), rebuilt.residual_largest);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct RebuildSet {
    /// The N-port to be rebuilt.
    pub settings: RebuildSettings,
    /// Its measurements, at least one.
    pub measurements: Vec<PartialMeasurement>,
    /// The set and every file that it names, each once.
    pub inputs: Vec<PathBuf>,
    /// Warnings for the user.
    pub warnings: Vec<String>,
}

/// Reads SET.toml and the files that it names.
///
/// # Errors
/// [`DescriptionError`] at the line of a key, value or file that cannot be used.
#[doc = include_str!("rebuild.md")]
pub fn read_rebuild_set(
    path: &Path,
    options: &ReadOptions,
) -> Result<RebuildSet, DescriptionError> {
    let source = TomlFile::read(path)?;
    let entries: SetEntries = source.parse()?;
    let settings = settings(&source, &entries)?;
    let mut reader = SetReader {
        source: &source,
        files: NamedFiles::of(&source, options),
        ports: settings.ports,
        reference_ohm: settings.reference_ohm,
        usual: vec![None; settings.ports],
        has_warned: vec![false; settings.ports],
    };
    reader.usual_terminations(&entries.terminations)?;
    let measurements = reader.measurements(&entries.measurements)?;
    let NamedFiles { inputs, mut warnings, .. } = reader.files;
    let stated = measurements.iter().filter(|one| one.standard_uncertainty.is_some()).count();
    if stated > 0 && stated < measurements.len() {
        warnings.push(format!(
            "{stated} of {} measurements have a standard_uncertainty; it is used only if all have one",
            measurements.len()
        ));
    }
    // Linear, of entries of at most 1: above what any calibrated measurement has (ours).
    let largest =
        measurements.iter().filter_map(|one| one.standard_uncertainty).fold(0.0, f64::max);
    if largest > 0.05 {
        warnings.push(format!(
            "standard_uncertainty = {largest} is linear and above that of calibrated measurements; 0.05 dB of \
             an entry of magnitude 1 is 0.006"
        ));
    }
    Ok(RebuildSet { settings, measurements, inputs, warnings })
}

fn settings(source: &TomlFile, entries: &SetEntries) -> Result<RebuildSettings, DescriptionError> {
    let ports = source.whole("ports", &entries.ports, 2..=MAX_PORTS)?;
    let reference_ohm = entries.reference_ohm.as_ref();
    let reference_ohm = source
        .optional_number("reference_ohm", reference_ohm, Allowed::AboveZero)?
        .unwrap_or(DEFAULT_REFERENCE_OHM);
    let order = |given: &Spanned<Vec<usize>>| {
        let listed = given.get_ref();
        if listed.len() != ports || (1..=ports).any(|port| !listed.contains(&port)) {
            let what = format!("symmetric must list each port from 1 to {ports} once");
            return Err(source.complaint(given, what));
        }
        Ok(listed.iter().map(|number| Port::from_index(number - 1)).collect())
    };
    Ok(RebuildSettings {
        ports,
        reference_ohm,
        is_reciprocal: entries.reciprocal,
        symmetries: entries.symmetric.iter().map(order).collect::<Result<_, _>>()?,
    })
}

/// A termination as written: a file, or ohms.
#[derive(Clone, Copy)]
enum Given<'a> {
    File(&'a Path),
    Ohm(Complex64),
}

struct SetReader<'a> {
    source: &'a TomlFile,
    files: NamedFiles<'a>,
    ports: usize,
    reference_ohm: f64,
    /// The terminations used where a measurement names no other.
    usual: Vec<Option<Load>>,
    /// Whether each port without a termination has been mentioned in a warning.
    has_warned: Vec<bool>,
}

impl SetReader<'_> {
    fn termination(
        &mut self,
        given: Given<'_>,
        span: Range<usize>,
    ) -> Result<Load, DescriptionError> {
        match given {
            Given::File(file) => {
                let network = self.files.network_at(file, span.clone())?;
                match network.ports() {
                    1 => Ok(Load::OnePort(network)),
                    ports => Err(self.source.error(DescriptionProblem::LoadPorts { ports }, span)),
                }
            }
            Given::Ohm(ohm) if ohm.re >= 0.0 && ohm.is_finite() => Ok(Load::Impedance(ohm)),
            Given::Ohm(ohm) => {
                let what =
                    format!("a termination needs a resistance of 0 ohm or more, found {}", ohm.re);
                Err(self.source.error(DescriptionProblem::Value { what }, span))
            }
        }
    }

    /// A port from its number, which counts from 1.
    fn port<T>(&self, number: usize, given: &Spanned<T>) -> Result<Port, DescriptionError> {
        if (1..=self.ports).contains(&number) {
            Ok(Port::from_index(number - 1))
        } else {
            let what = format!("a port must be from 1 to {}, found {number}", self.ports);
            Err(self.source.complaint(given, what))
        }
    }

    fn usual_terminations(&mut self, entries: &[TerminationEntry]) -> Result<(), DescriptionError> {
        for entry in entries {
            let port = self.port(*entry.port.get_ref(), &entry.port)?;
            if self.usual[port.index()].is_some() {
                let what = format!("duplicate termination of port {port}");
                return Err(self.source.complaint(&entry.port, what));
            }
            let load = match (&entry.file, &entry.ohm) {
                (Some(file), None) => self.termination(Given::File(file.get_ref()), file.span())?,
                (None, Some(ohm)) => {
                    self.termination(Given::Ohm((*ohm.get_ref()).into()), ohm.span())?
                }
                _ => {
                    let what = "a termination needs either ohm or file";
                    return Err(self.source.complaint(&entry.port, what));
                }
            };
            self.usual[port.index()] = Some(load);
        }
        Ok(())
    }

    fn measurements(
        &mut self,
        entries: &[MeasurementEntry],
    ) -> Result<Vec<PartialMeasurement>, DescriptionError> {
        let mut made: Vec<PartialMeasurement> = Vec::new();
        for entry in entries {
            let content = self.files.file(&entry.file)?;
            let title = entry.file.get_ref().display().to_string();
            self.files.check_labels(&content, &title, entry.file.span())?;
            let network = content.network;
            // The first measurement sets the frequencies of all.
            let grid = made.first().map_or(network.grid(), |first| first.network.grid()).clone();
            let ports = self.measured_ports(entry, &network)?;
            let terminations = self.terminations(entry, &ports, &grid)?;
            let standard_uncertainty = self.source.optional_number(
                "standard_uncertainty",
                entry.standard_uncertainty.as_ref(),
                Allowed::AboveZero,
            )?;
            made.push(PartialMeasurement { network, ports, terminations, standard_uncertainty });
        }
        if made.is_empty() {
            return Err(self
                .source
                .complaint_in_file("the set needs at least one [[measurement]]"));
        }
        Ok(made)
    }

    fn measured_ports(
        &self,
        entry: &MeasurementEntry,
        network: &Network,
    ) -> Result<Vec<Port>, DescriptionError> {
        let listed = entry.ports.get_ref();
        if listed.len() != network.ports() {
            let what = format!(
                "ports must name the {} ports of the file, found {}",
                network.ports(),
                listed.len()
            );
            return Err(self.source.complaint(&entry.ports, what));
        }
        let mut ports: Vec<Port> = Vec::new();
        for &number in listed {
            let port = self.port(number, &entry.ports)?;
            if ports.contains(&port) {
                let what = format!("duplicate port {number}");
                return Err(self.source.complaint(&entry.ports, what));
            }
            ports.push(port);
        }
        Ok(ports)
    }

    /// The reflection coefficients of all ports in one measurement, at the common frequencies.
    fn terminations(
        &mut self,
        entry: &MeasurementEntry,
        measured: &[Port],
        grid: &FrequencyGrid,
    ) -> Result<Vec<Vec<Complex64>>, DescriptionError> {
        let mut loads = self.usual.clone();
        for (number, other) in &entry.terminations {
            let text = number.get_ref().trim();
            let Ok(parsed) = text.parse() else {
                let what = format!("a port must be from 1 to {}, found '{text}'", self.ports);
                return Err(self.source.complaint(number, what));
            };
            let port = self.port(parsed, number)?;
            let given = match other.get_ref() {
                OtherTermination::File(file) => Given::File(file),
                OtherTermination::Ohm(ohm) => Given::Ohm((*ohm).into()),
            };
            loads[port.index()] = Some(self.termination(given, other.span())?);
        }
        let failed =
            |error: crate::network::NetworkError| self.source.error(error, entry.file.span());
        // At a port with the common reference impedance these are its reflection coefficients.
        let matched = vec![Complex64::ZERO; grid.len()];
        let reference = Network::new(
            ParameterKind::Scattering,
            grid.clone(),
            1,
            matched.clone(),
            vec![self.reference_ohm.into()],
        )
        .map_err(failed)?;
        let mut terminations = Vec::new();
        for (at, load) in loads.iter().enumerate() {
            let port = Port::from_index(at);
            terminations.push(match load {
                _ if measured.contains(&port) => matched.clone(),
                Some(load) => load.reflections(&reference, Port::from_index(0)).map_err(failed)?,
                None => {
                    if !std::mem::replace(&mut self.has_warned[at], true) {
                        self.files.warnings.push(format!(
                            "port {port} has no [[termination]]; {} ohm is used",
                            self.reference_ohm
                        ));
                    }
                    matched.clone()
                }
            });
        }
        Ok(terminations)
    }
}
