//! The option line: `# GHz S MA R 50`.

use super::error::{Fault, Problem};
use super::grammar;
use crate::diagnostic::quoted;
use crate::network::ParameterKind;
use crate::units::amplitude_from_db;
use num_complex::Complex64;
use std::fmt;
use std::ops::Range;

/// The number format of a complex number in a file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NumberFormat {
    /// Magnitude and angle in degrees.
    #[default]
    MagnitudeAngle,
    /// 20 log10 of the magnitude and angle in degrees.
    DecibelAngle,
    /// Real and imaginary part.
    RealImaginary,
}

impl NumberFormat {
    /// The complex number of a pair.
    #[inline]
    pub(super) fn entry(self, first: f64, second: f64) -> Complex64 {
        match self {
            Self::RealImaginary => Complex64::new(first, second),
            Self::MagnitudeAngle => Complex64::from_polar(first, second.to_radians()),
            Self::DecibelAngle => {
                Complex64::from_polar(amplitude_from_db(first), second.to_radians())
            }
        }
    }
}

impl fmt::Display for NumberFormat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::MagnitudeAngle => "MA",
            Self::DecibelAngle => "DB",
            Self::RealImaginary => "RI",
        })
    }
}

/// The unit of a file's frequencies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FrequencyUnit {
    /// `Hz`.
    Hertz,
    /// `kHz`, 1e3 Hz.
    Kilohertz,
    /// `MHz`, 1e6 Hz.
    Megahertz,
    /// `GHz`, 1e9 Hz, the default of the standard.
    #[default]
    Gigahertz,
}

impl FrequencyUnit {
    /// The number of hertz in one unit.
    #[must_use]
    pub fn in_hz(self) -> f64 {
        match self {
            Self::Hertz => 1.0,
            Self::Kilohertz => 1e3,
            Self::Megahertz => 1e6,
            Self::Gigahertz => 1e9,
        }
    }

    /// Converts a frequency in this unit to hertz. Whole hertz remain whole: 24.1 GHz is
    /// 24100000000 Hz, though the double 24.1 times 1e9 is not.
    #[must_use]
    pub fn to_hz(self, value: f64) -> f64 {
        // Hertz stay unchanged: above 4 THz the rounding below would change them.
        if self == Self::Hertz {
            return value;
        }
        let product = value * self.in_hz();
        let whole = product.round();
        if (product - whole).abs() <= f64::EPSILON * product.abs() { whole } else { product }
    }
}

impl fmt::Display for FrequencyUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Hertz => "Hz",
            Self::Kilohertz => "kHz",
            Self::Megahertz => "MHz",
            Self::Gigahertz => "GHz",
        })
    }
}

/// The content of an option line. The defaults are GHz, S, MA and R 50.
#[derive(Clone, Debug, PartialEq)]
pub struct OptionLine {
    /// The unit of the frequencies.
    pub frequency_unit: FrequencyUnit,
    /// The parameter of the matrices.
    pub parameter: ParameterKind,
    /// The number format.
    pub number_format: NumberFormat,
    /// One resistance in ohms, or one per port.
    pub resistances_ohm: Vec<f64>,
    /// Whether other fields follow a list of resistances.
    pub(super) list_is_not_last: bool,
}

impl Default for OptionLine {
    fn default() -> Self {
        Self {
            frequency_unit: FrequencyUnit::default(),
            parameter: ParameterKind::Scattering,
            number_format: NumberFormat::default(),
            resistances_ohm: vec![50.0],
            list_is_not_last: false,
        }
    }
}

impl std::fmt::Display for OptionLine {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let resistances: Vec<String> =
            self.resistances_ohm.iter().map(ToString::to_string).collect();
        write!(
            f,
            "{} {} {} R {}",
            self.frequency_unit,
            self.parameter,
            self.number_format,
            resistances.join(" ")
        )
    }
}

impl std::str::FromStr for OptionLine {
    type Err = Problem;

    /// Reads an option line, with or without its `#`.
    ///
    /// ```
    /// use fourphase::touchstone::{FrequencyUnit, OptionLine};
    /// let line: OptionLine = "MHz S RI R 75".parse().unwrap();
    /// assert_eq!(line.frequency_unit, FrequencyUnit::Megahertz);
    /// assert_eq!(line.resistances_ohm, [75.0]);
    /// ```
    fn from_str(text: &str) -> Result<Self, Problem> {
        let fields = text.trim_start().trim_start_matches('#');
        option_fields(fields.as_bytes(), 0).map_err(|fault| fault.problem)
    }
}

/// Reads the fields after `#`; `offset` is their start in the file.
pub(super) fn option_fields(fields: &[u8], offset: usize) -> Result<OptionLine, Fault> {
    let mut line = OptionLine::default();
    let mut seen: Vec<&'static str> = Vec::new();
    let mut resistances: Option<Vec<f64>> = None;
    let mut list_is_open = false;

    let (_, words) = grammar::words(fields).unwrap_or((fields, Vec::new()));
    let spans: Vec<Range<usize>> = spans_of(fields, &words, offset);
    let mut at = 0;
    while at < words.len() {
        let (word, span) = (words[at], spans[at].clone());
        let text = || quoted(word);
        at += 1;
        if list_is_open && is_number_like(word) {
            let value_ohm = resistance(word, "R").map_err(|problem| problem.at(span))?;
            resistances.get_or_insert_with(Vec::new).push(value_ohm);
            continue;
        }
        if list_is_open && resistances.as_ref().is_some_and(|list| list.len() > 1) {
            line.list_is_not_last = true;
        }
        list_is_open = false;
        let what = if let Some(unit) = frequency_unit(word) {
            line.frequency_unit = unit;
            "frequency unit"
        } else if let Some(format) = number_format(word) {
            line.number_format = format;
            "number format"
        } else if let Some(parameter) = parameter(word) {
            line.parameter = parameter;
            "parameter"
        } else if word.eq_ignore_ascii_case(b"R") {
            let Some(value) = words.get(at) else { return Err(Problem::ReferenceMissing.at(span)) };
            let is_field = frequency_unit(value).is_some()
                || number_format(value).is_some()
                || parameter(value).is_some()
                || value.eq_ignore_ascii_case(b"R");
            if is_field {
                return Err(Problem::ReferenceMissing.at(span));
            }
            let value_ohm =
                resistance(value, "R").map_err(|problem| problem.at(spans[at].clone()))?;
            if resistances.is_none() {
                resistances = Some(vec![value_ohm]);
            }
            at += 1;
            list_is_open = true;
            "R"
        } else {
            let problem = match word.iter().copied().find(|&byte| !is_allowed(byte)) {
                Some(byte) => Problem::ForbiddenByte { byte },
                None => Problem::UnknownField { text: text() },
            };
            return Err(problem.at(span));
        };
        if seen.contains(&what) {
            return Err(Problem::GivenTwice { what: what.to_owned() }.at(span));
        }
        seen.push(what);
    }
    if let Some(list) = resistances {
        line.resistances_ohm = list;
    }
    Ok(line)
}

/// Reads a positive resistance in ohms.
pub(super) fn resistance(word: &[u8], what: &'static str) -> Result<f64, Problem> {
    let text = || quoted(word);
    match grammar::number(word) {
        Ok(([], value)) if value > 0.0 && value.is_finite() => Ok(value),
        Ok(([], _)) => Err(Problem::ReferenceNotPositive { what, text: text() }),
        _ if is_number_like(word)
            && word.iter().any(|byte| matches!(byte, b'j' | b'J' | b'i' | b'I')) =>
        {
            Err(Problem::ComplexReference { text: text() })
        }
        _ => Err(Problem::ReferenceNotPositive { what, text: text() }),
    }
}

/// Byte ranges in the file of words that are slices of `fields`, which starts at `offset`.
pub(super) fn spans_of(fields: &[u8], words: &[&[u8]], offset: usize) -> Vec<Range<usize>> {
    let mut from = 0;
    words
        .iter()
        .map(|word| {
            from +=
                fields[from..].iter().take_while(|&&byte| byte == b' ' || byte == b'\t').count();
            let span = offset + from..offset + from + word.len();
            from += word.len();
            span
        })
        .collect()
}

/// Printable ASCII and tab, the characters allowed outside comments.
pub(super) fn is_allowed(byte: u8) -> bool {
    matches!(byte, 0x20..=0x7E | b'\t')
}

fn is_number_like(word: &[u8]) -> bool {
    matches!(word, [b'0'..=b'9' | b'.' | b'+' | b'-', ..])
}

fn frequency_unit(word: &[u8]) -> Option<FrequencyUnit> {
    [
        FrequencyUnit::Hertz,
        FrequencyUnit::Kilohertz,
        FrequencyUnit::Megahertz,
        FrequencyUnit::Gigahertz,
    ]
    .into_iter()
    .find(|unit| word.eq_ignore_ascii_case(unit.to_string().as_bytes()))
}

fn number_format(word: &[u8]) -> Option<NumberFormat> {
    [NumberFormat::MagnitudeAngle, NumberFormat::DecibelAngle, NumberFormat::RealImaginary]
        .into_iter()
        .find(|format| word.eq_ignore_ascii_case(format.to_string().as_bytes()))
}

fn parameter(word: &[u8]) -> Option<ParameterKind> {
    match word {
        [b'S' | b's'] => Some(ParameterKind::Scattering),
        [b'Y' | b'y'] => Some(ParameterKind::Admittance),
        [b'Z' | b'z'] => Some(ParameterKind::Impedance),
        [b'H' | b'h'] => Some(ParameterKind::HybridH),
        [b'G' | b'g'] => Some(ParameterKind::HybridG),
        _ => None,
    }
}
