//! Writing of files that strict reading accepts without a warning.

use super::file::{Comment, NoisePoint, TouchstoneFile, Version};
use super::normalisation::normalisation;
use super::option_line::{FrequencyUnit, NumberFormat};
use crate::network::{Network, ParameterKind, Port, PortMode};
use crate::units::{ShownFrequency, db_from_amplitude, shown_complex};
use num_complex::Complex64;
use std::io::{self, Write};

/// The options for writing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WriteOptions {
    /// The Touchstone version; by default 1.0 where it can hold the network, otherwise 2.0.
    pub version: Option<Version>,
    /// The number format. Real and imaginary parts are read back to the same bits, other formats to
    /// 1e-12. Z, Y, H and G of version 1 are normalised: their parts are read back to the same bits
    /// where such a number exists, otherwise to a relative 2.3e-16.
    pub number_format: NumberFormat,
    /// The unit of the frequencies. Hertz is used instead where a frequency would not be read back
    /// to the same bits.
    pub frequency_unit: FrequencyUnit,
}

/// A property of a network that a Touchstone file cannot hold.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The operating system cannot write the file.
    #[error("cannot write: {0}")]
    Io(#[from] io::Error),
    /// Complex reference impedances, which a Touchstone file cannot hold.
    #[error(
        "the reference impedance of port {port}, {} ohm, is complex; a Touchstone file needs a real one", shown_complex(*value_ohm)
    )]
    ComplexReference {
        /// The port with this reference impedance.
        port: usize,
        /// Its value.
        value_ohm: Complex64,
    },
    /// Reference impedances of a pair's modes that are not 2R and R/2.
    #[error(
        "the reference impedance of {mode} must be a quarter of its differential mode's in a Touchstone file"
    )]
    ModeReferences {
        /// The common mode.
        mode: String,
    },
    /// Reference impedances that change with frequency.
    #[error("the reference impedances change with frequency; a Touchstone file holds one per port")]
    VaryingReferences,
    /// A property that the version lacks: version 1.0 has one resistance, 1.0 and 1.1 have no mixed
    /// modes.
    #[error("Touchstone version {version} cannot hold {what}; write version 2.0")]
    NeedsKeywords {
        /// The Touchstone version requested.
        version: Version,
        /// The property that it lacks.
        what: &'static str,
    },
    /// Noise data that start above the network data.
    #[error(
        "the noise data start at {}, above the network data, which end at {}; a Touchstone file \
         needs noise data that start within the network data; omit the noise",
        ShownFrequency(*first_hz), ShownFrequency(*last_hz)
    )]
    NoiseAboveNetwork {
        /// The first frequency of the noise data.
        first_hz: f64,
        /// The last frequency of the network data.
        last_hz: f64,
    },
    /// A noise row with a number that is not finite.
    #[error("the noise data at {} have a number that is not finite", ShownFrequency(*frequency_hz))]
    NoiseNotFinite {
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// A normalised entry beyond the range of the reader.
    #[error(
        "entry ({row}, {column}) at {} is too large for version {version} when it is normalised; \
         write version 2.0",
        ShownFrequency(*frequency_hz)
    )]
    TooLarge {
        /// The Touchstone version requested.
        version: Version,
        /// The responding port.
        row: Port,
        /// The driven port.
        column: Port,
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// A zero entry, which has no value in decibels.
    #[error("entry ({row}, {column}) at {} is zero, which decibels cannot express; write RI or MA", ShownFrequency(*frequency_hz))]
    ZeroInDecibels {
        /// The responding port.
        row: Port,
        /// The driven port.
        column: Port,
        /// Frequency, Hz.
        frequency_hz: f64,
    },
    /// A duplicate frequency.
    #[error("duplicate frequency {}; a Touchstone file needs ascending frequencies", ShownFrequency(*frequency_hz))]
    RepeatedFrequency {
        /// Frequency, Hz.
        frequency_hz: f64,
    },
}

/// Writes a file: its network, noise and comments, in the version and format of `options`.
///
/// The version, format and unit that the file was read in have no influence. Comments of the header
/// are written first, comments among the data before the set that they preceded. Characters outside
/// ASCII become `?`, since the standard does not allow them.
///
/// # Errors
/// [`WriteError::Io`], or the property of the network that a Touchstone file cannot hold.
///
/// # Examples
/// ```
/// use fourphase::touchstone::{ReadOptions, WriteOptions, parse, write};
/// use std::path::Path;
///
/// let text = b"! my load\n# GHz S RI R 50\n29 0.2 -0.1\n";
/// let file = parse(text, Path::new("load.s1p"), &ReadOptions::default())?;
/// let mut written = Vec::new();
/// write(&mut written, &file, &WriteOptions { number_format: file.number_format, ..Default::default() })?;
/// assert_eq!(written, text);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn write(
    out: &mut impl Write,
    file: &TouchstoneFile,
    options: &WriteOptions,
) -> Result<(), WriteError> {
    let network = &file.network;
    let references_ohm = port_references_ohm(network)?;
    let is_uniform = references_ohm.windows(2).all(|pair| pair[0].total_cmp(&pair[1]).is_eq());
    check_noise(file)?;
    let needs_keywords = network.modes().is_some();
    let version = options.version.unwrap_or(if is_uniform && !needs_keywords {
        Version::V1_0
    } else {
        Version::V2_0
    });
    let refuse = |what| Err(WriteError::NeedsKeywords { version, what });
    if !version.has_keywords() {
        if network.modes().is_some() {
            return refuse("mixed modes");
        }
        if version == Version::V1_0 && !is_uniform {
            return refuse("unequal reference impedances");
        }
    }
    if let Some(frequency_hz) = network.grid().first_repeat() {
        return Err(WriteError::RepeatedFrequency { frequency_hz });
    }
    let all_hz = || {
        network.grid().as_hz().iter().copied().chain(file.noise.iter().map(|row| row.frequency_hz))
    };
    let returns = |unit: FrequencyUnit| all_hz().all(|hz| in_unit(hz, unit).is_some());
    let unit =
        if returns(options.frequency_unit) { options.frequency_unit } else { FrequencyUnit::Hertz };

    let mut writer = Writer { out, version, number_format: options.number_format, unit };
    writer.header(file, &references_ohm)?;
    writer.matrices(file, &references_ohm)?;
    writer.noise(file, &references_ohm)?;
    if version.has_keywords() {
        writeln!(writer.out, "[End]")?;
    }
    Ok(())
}

struct Writer<'a, W> {
    out: &'a mut W,
    version: Version,
    number_format: NumberFormat,
    unit: FrequencyUnit,
}

impl<W: Write> Writer<'_, W> {
    fn header(&mut self, file: &TouchstoneFile, references_ohm: &[f64]) -> Result<(), WriteError> {
        let network = &file.network;
        let keywords = self.version.has_keywords();
        if keywords {
            writeln!(self.out, "[Version] {}", self.version)?;
        }
        for comment in file.comments.iter().filter(|comment| comment.sets_before == 0) {
            self.comment(comment)?;
        }
        write!(self.out, "# {} {} {} R", self.unit, network.kind(), self.number_format)?;
        if keywords {
            // Noise reflections refer to this resistance, independent of [Reference].
            let option_ohm =
                if file.noise.is_empty() { references_ohm[0] } else { file.noise_reference_ohm };
            writeln!(self.out, " {}", Shortest(option_ohm))?;
        } else {
            let listed =
                if self.version == Version::V1_1 { references_ohm } else { &references_ohm[..1] };
            for value_ohm in listed {
                write!(self.out, " {}", Shortest(*value_ohm))?;
            }
            writeln!(self.out)?;
            return Ok(());
        }
        writeln!(self.out, "[Number of Ports] {}", network.ports())?;
        if network.ports() == 2 {
            writeln!(self.out, "[Two-Port Data Order] 21_12")?;
        }
        writeln!(self.out, "[Number of Frequencies] {}", network.grid().len())?;
        if !file.noise.is_empty() {
            writeln!(self.out, "[Number of Noise Frequencies] {}", file.noise.len())?;
        }
        write!(self.out, "[Reference]")?;
        for value_ohm in references_ohm {
            write!(self.out, " {}", Shortest(*value_ohm))?;
        }
        writeln!(self.out)?;
        if let Some(modes) = network.modes() {
            write!(self.out, "[Mixed-Mode Order]")?;
            for mode in modes {
                write!(self.out, " {mode}")?;
            }
            writeln!(self.out)?;
        }
        writeln!(self.out, "[Network Data]")?;
        Ok(())
    }

    fn matrices(
        &mut self,
        file: &TouchstoneFile,
        references_ohm: &[f64],
    ) -> Result<(), WriteError> {
        let network = &file.network;
        let ports = network.ports();
        let is_normalised =
            !self.version.has_keywords() && network.kind() != ParameterKind::Scattering;
        let factors = if is_normalised {
            normalisation(network.kind(), references_ohm)
        } else {
            vec![1.0; ports * ports]
        };
        let order: Vec<usize> =
            if ports == 2 { vec![0, 2, 1, 3] } else { (0..ports * ports).collect() };
        let pairs_per_line = if ports <= 2 { ports * ports } else { 4 };
        let mut comments =
            file.comments.iter().filter(|comment| comment.sets_before > 0).peekable();
        for (set, (&frequency_hz, matrix)) in network
            .grid()
            .as_hz()
            .iter()
            .zip(network.entries().chunks_exact(ports * ports))
            .enumerate()
        {
            while let Some(comment) = comments.next_if(|comment| comment.sets_before <= set) {
                self.comment(comment)?;
            }
            self.frequency(frequency_hz)?;
            for (at, &place) in order.iter().enumerate() {
                let within_row = if ports <= 2 { at } else { at % ports };
                if at > 0 && within_row % pairs_per_line == 0 {
                    write!(self.out, "\n ")?;
                }
                let mut value = matrix[place];
                if is_normalised {
                    value.re = normalised(value.re, factors[place]);
                    value.im = normalised(value.im, factors[place]);
                    // The margin below the reader's limit exceeds the rounding of any format.
                    let limit = 0.999_999 * network.kind().max_magnitude();
                    if !(value.re.abs() <= limit && value.im.abs() <= limit) {
                        let version = self.version;
                        let [row, column] = [place / ports, place % ports].map(Port::from_index);
                        return Err(WriteError::TooLarge { version, row, column, frequency_hz });
                    }
                }
                // A tiny entry may be zero only after its division by the reference.
                if self.number_format == NumberFormat::DecibelAngle && value.norm() == 0.0 {
                    let [row, column] = [place / ports, place % ports].map(Port::from_index);
                    return Err(WriteError::ZeroInDecibels { row, column, frequency_hz });
                }
                self.pair(value)?;
            }
            writeln!(self.out)?;
        }
        for comment in comments {
            self.comment(comment)?;
        }
        Ok(())
    }

    fn noise(&mut self, file: &TouchstoneFile, references_ohm: &[f64]) -> Result<(), WriteError> {
        if file.noise.is_empty() {
            return Ok(());
        }
        let keywords = self.version.has_keywords();
        if keywords {
            writeln!(self.out, "[Noise Data]")?;
        }
        // Version 1 refers noise to the resistance of port 1, version 2 to that of the option line.
        let to_ohm = if keywords { file.noise_reference_ohm } else { references_ohm[0] };
        for row in &file.noise {
            let NoisePoint {
                frequency_hz,
                minimum_noise_figure_db,
                optimum_reflection,
                noise_resistance_ohm,
            } = *row;
            let reflection = referred(optimum_reflection, file.noise_reference_ohm, to_ohm);
            let scale_ohm = if keywords { 1.0 } else { to_ohm };
            self.frequency(frequency_hz)?;
            writeln!(
                self.out,
                " {} {} {} {}",
                Shortest(minimum_noise_figure_db),
                Shortest(reflection.norm()),
                Shortest(reflection.arg().to_degrees()),
                Shortest(noise_resistance_ohm / scale_ohm)
            )?;
        }
        Ok(())
    }

    fn comment(&mut self, comment: &Comment) -> Result<(), WriteError> {
        let ascii: String = comment
            .text
            .chars()
            .map(|c| if c == '\t' || (' '..='~').contains(&c) { c } else { '?' })
            .collect();
        Ok(writeln!(self.out, "!{}", ascii.replace('\t', " "))?)
    }

    fn frequency(&mut self, frequency_hz: f64) -> Result<(), WriteError> {
        let shown = in_unit(frequency_hz, self.unit).unwrap_or(frequency_hz);
        Ok(write!(self.out, "{}", Shortest(shown))?)
    }

    fn pair(&mut self, value: Complex64) -> Result<(), WriteError> {
        let (first, second) = match self.number_format {
            NumberFormat::RealImaginary => (value.re, value.im),
            NumberFormat::MagnitudeAngle => (value.norm(), value.arg().to_degrees()),
            NumberFormat::DecibelAngle => {
                (db_from_amplitude(value.norm()), value.arg().to_degrees())
            }
        };
        Ok(write!(self.out, " {} {}", Shortest(first), Shortest(second))?)
    }
}

/// The shortest decimal that is read back to the same double, with an exponent where plain digits
/// would be long.
struct Shortest(f64);

impl std::fmt::Display for Shortest {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let size = self.0.abs();
        if size == 0.0 || (1e-4..1e15).contains(&size) {
            write!(f, "{}", self.0)
        } else {
            write!(f, "{:e}", self.0)
        }
    }
}

/// The number that represents a frequency in a unit and is read back to the same bits.
fn in_unit(frequency_hz: f64, unit: FrequencyUnit) -> Option<f64> {
    let near = frequency_hz / unit.in_hz();
    [near, near.next_up(), near.next_down()]
        .into_iter()
        .find(|value| unit.to_hz(*value).total_cmp(&frequency_hz).is_eq())
}

fn check_noise(file: &TouchstoneFile) -> Result<(), WriteError> {
    let last_hz = file.network.grid().last_hz();
    if let Some(first_hz) = file.noise.first().map(|row| row.frequency_hz)
        && first_hz > last_hz
    {
        return Err(WriteError::NoiseAboveNetwork { first_hz, last_hz });
    }
    let same = |pair: &&[NoisePoint]| pair[0].frequency_hz.total_cmp(&pair[1].frequency_hz).is_eq();
    if let Some(pair) = file.noise.windows(2).find(same) {
        return Err(WriteError::RepeatedFrequency { frequency_hz: pair[0].frequency_hz });
    }
    let is_finite = |row: &&NoisePoint| {
        let numbers = [row.frequency_hz, row.minimum_noise_figure_db, row.noise_resistance_ohm];
        numbers.iter().all(|number| number.is_finite()) && row.optimum_reflection.is_finite()
    };
    match file.noise.iter().find(|row| !is_finite(row)) {
        Some(row) => Err(WriteError::NoiseNotFinite { frequency_hz: row.frequency_hz }),
        None => Ok(()),
    }
}

/// The number that gives a value when multiplied by a factor, to the same bits where one exists.
fn normalised(value: f64, factor: f64) -> f64 {
    let near = value / factor;
    let nearest = [near, near.next_up(), near.next_down()];
    let is_exact = |one: &f64| (one * factor).total_cmp(&value).is_eq();
    nearest.into_iter().find(is_exact).unwrap_or(near)
}

/// The real reference impedance of every single-ended port.
fn port_references_ohm(network: &Network) -> Result<Vec<f64>, WriteError> {
    if !network.has_constant_references() {
        return Err(WriteError::VaryingReferences);
    }
    let stored = network.references_ohm(0);
    if let Some(at) = stored.iter().position(|value_ohm| value_ohm.im != 0.0) {
        return Err(WriteError::ComplexReference { port: at + 1, value_ohm: stored[at] });
    }
    let Some(modes) = network.modes() else {
        return Ok(stored.iter().map(|value_ohm| value_ohm.re).collect());
    };
    let mut single = vec![0.0; network.ports()];
    for (mode, value_ohm) in modes.iter().zip(stored) {
        match *mode {
            PortMode::Single(port) => single[port.index()] = value_ohm.re,
            PortMode::Differential(plus, minus) => {
                single[plus.index()] = value_ohm.re / 2.0;
                single[minus.index()] = value_ohm.re / 2.0;
            }
            PortMode::Common(..) => {}
        }
    }
    // A file has one resistance per port, which determines the reference impedances of both modes.
    for (mode, value_ohm) in modes.iter().zip(stored) {
        if let PortMode::Common(plus, _) = *mode
            && (value_ohm.re / (0.5 * single[plus.index()]) - 1.0).abs() > 1e-12
        {
            return Err(WriteError::ModeReferences { mode: mode.to_string() });
        }
    }
    Ok(single)
}

/// A reflection coefficient referred to another resistance.
fn referred(reflection: Complex64, from_ohm: f64, to_ohm: f64) -> Complex64 {
    if from_ohm.total_cmp(&to_ohm).is_eq() {
        return reflection;
    }
    let between = (from_ohm - to_ohm) / (from_ohm + to_ohm);
    (reflection + between) / (1.0 + reflection * between)
}
