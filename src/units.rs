//! Conversions between decibels and ratios, degrees and radians, prefixed and plain hertz.
//!
//! Files, reports and options use GHz, dB and degrees; computations use hertz, linear ratios and
//! radians. This file converts between them.

use num_complex::Complex64;
use std::f64::consts::LN_10;
use std::fmt;

/// The speed of light in vacuum, exact.
pub const SPEED_OF_LIGHT_M_PER_S: f64 = 299_792_458.0;

/// Decibels of an amplitude ratio: 20 log10 |x|. Zero gives negative infinity.
///
/// ```
/// assert_eq!(fourphase::units::db_from_amplitude(10.0), 20.0);
/// ```
#[must_use]
pub fn db_from_amplitude(ratio: f64) -> f64 {
    20.0 * ratio.abs().log10()
}

/// Decibels of a power ratio: 10 log10 x. Zero gives negative infinity.
#[must_use]
pub fn db_from_power(ratio: f64) -> f64 {
    10.0 * ratio.log10()
}

/// The amplitude ratio of a value in decibels: 10^(x/20).
#[must_use]
pub fn amplitude_from_db(value_db: f64) -> f64 {
    (value_db * LN_10 / 20.0).exp()
}

/// The power ratio of a value in decibels: 10^(x/10).
#[must_use]
pub fn power_from_db(value_db: f64) -> f64 {
    (value_db * LN_10 / 10.0).exp()
}

/// Nepers of an amplitude ratio given in decibels (8.6859 dB to the neper).
#[must_use]
pub fn neper_from_db(value_db: f64) -> f64 {
    value_db * LN_10 / 20.0
}

/// Decibels of an amplitude ratio given in nepers.
#[must_use]
pub fn db_from_neper(value_np: f64) -> f64 {
    value_np * 20.0 / LN_10
}

/// Wraps an angle in degrees to (-180, 180].
///
/// ```
/// use fourphase::units::wrap_deg;
/// assert_eq!(wrap_deg(270.0), -90.0);
/// assert_eq!(wrap_deg(-180.0), 180.0);
/// ```
#[must_use]
pub fn wrap_deg(angle_deg: f64) -> f64 {
    let turned = angle_deg.rem_euclid(360.0);
    if turned > 180.0 { turned - 360.0 } else { turned }
}

/// The reason for which a text cannot be read as a quantity.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum UnitError {
    /// The text is not a frequency.
    #[error("'{text}' is not a frequency: expected a form such as 27.5GHz")]
    Frequency {
        /// The text as given.
        text: String,
    },
    /// The text is not a frequency range, or its ends are in the wrong order.
    #[error("expected LO..HI with LO below HI, such as 27GHz..31GHz")]
    Range {
        /// The text as given.
        text: String,
    },
    /// The text is not a frequency grid.
    #[error("expected LO..HI:POINTS, such as 27GHz..31GHz:401, with 2 to 100000 points")]
    Grid {
        /// The text as given.
        text: String,
    },
    /// A range of bare numbers that are no hertz.
    #[error(
        "'{text}' has no unit, and bare numbers are in hertz: write {}, or {} if hertz are meant",
        with_unit(text, likely_unit(text)),
        with_unit(text, "Hz")
    )]
    NoUnit {
        /// The text as given.
        text: String,
    },
    /// A length or an element that is meant in its unit without a prefix.
    #[error(
        "{name} is in {unit}, and {found:e} {unit} is too little to be made; if {found:e} {plain} is \
         meant, write {}", shown_figures(found * factor)
    )]
    TooSmall {
        /// The key or column.
        name: String,
        /// The number that was given.
        found: f64,
        /// Its unit.
        unit: &'static str,
        /// The unit without a prefix.
        plain: &'static str,
        /// How many of its unit are one without a prefix.
        factor: f64,
    },
    /// A conductivity that is meant in siemens per metre.
    #[error(
        "{name} is in MS/m, and no metal has {found:e} MS/m; if {found:e} S/m is meant, write {}",
        shown_figures(found / 1e6)
    )]
    Conductivity {
        /// The key.
        name: String,
        /// The number that was given.
        found: f64,
    },
    /// Gigahertz that are meant as hertz.
    #[error(
        "{name} is in GHz, and {found_ghz} GHz is beyond {MAX_GHZ:e} GHz; if {found_ghz} Hz is meant, \
         write {}",
        found_ghz / 1e9
    )]
    Gigahertz {
        /// Name of the key or column.
        name: String,
        /// The number found, GHz.
        found_ghz: f64,
    },
    /// The text is not a complex number.
    #[error("expected ohms such as 50, 40+10j or 40-10j")]
    Complex {
        /// The text as given.
        text: String,
    },
}

const PREFIXES: [(&str, f64); 5] =
    [("thz", 1e12), ("ghz", 1e9), ("mhz", 1e6), ("khz", 1e3), ("hz", 1.0)];

/// The maximum frequency of keys and columns in GHz, and of plans: 1 PHz. A larger number is a
/// frequency in hertz, given as gigahertz.
pub const MAX_GHZ: f64 = 1e6;

/// Checks that a frequency in GHz is not meant as hertz. `name` is its key or column.
///
/// ```
/// use fourphase::units::check_ghz;
///
/// assert!(check_ghz("lo_ghz", 28.0).is_ok());
/// let error = check_ghz("lo_ghz", 28e9).unwrap_err();
/// assert!(error.to_string().contains("if 28000000000 Hz is meant, write 28"));
/// ```
///
/// # Errors
/// [`UnitError::Gigahertz`] for a frequency above [`MAX_GHZ`].
pub fn check_ghz(name: &str, ghz: f64) -> Result<(), UnitError> {
    if ghz.is_finite() && ghz > MAX_GHZ {
        return Err(UnitError::Gigahertz { name: name.to_owned(), found_ghz: ghz });
    }
    Ok(())
}

/// A text with a unit behind each of its frequencies: `27..31` as `27GHz..31GHz`.
fn with_unit(text: &str, unit: &str) -> String {
    let (range, points) =
        text.rsplit_once(':').map_or((text, None), |(range, points)| (range, Some(points)));
    let ends: Vec<String> = range.split("..").map(|end| format!("{}{unit}", end.trim())).collect();
    let points = points.map(|points| format!(":{points}")).unwrap_or_default();
    ends.join("..") + &points
}

/// The unit in which a range of bare numbers is likely meant: above 300 they are megahertz.
fn likely_unit(text: &str) -> &'static str {
    let ends = text.split(':').next().unwrap_or(text).split("..");
    let highest = ends.filter_map(plain_number).fold(0.0, f64::max);
    if highest > 300.0 { "MHz" } else { "GHz" }
}

/// At most six digits.
fn shown_figures(value: f64) -> String {
    format!("{value:.5e}").parse().unwrap_or(value).to_string()
}

/// Endings of names: the ending, its unit, the smallest amount that can be made, the unit without a
/// prefix, and how many are one of that.
const SMALL_UNITS: [(&str, &str, f64, &str, f64); 3] = [
    // An atom is a tenth of a nanometre; no layer that matters is thinner than a nanometre.
    ("um", "um", 1e-3, "m", 1e6),
    // What cannot be measured: a millionth of the least stray capacitance or inductance of a chip.
    ("ff", "fF", 1e-6, "F", 1e15),
    ("ph", "pH", 1e-6, "H", 1e12),
];

/// No metal at room temperature is above 63 MS/m; a perfect one is infinite.
const LARGEST_MS_PER_M: f64 = 1e4;

/// Refuses a length in micrometres, a capacitance in femtofarads or an inductance in picohenries, by the
/// end of its name, that is too small to be anything: it is meant in metres, farads or henries. Likewise a
/// conductivity in megasiemens per metre that no metal has.
///
/// ```
/// use fourphase::units::check_prefix;
///
/// assert!(check_prefix("length_um", 300.0).is_ok() && check_prefix("length_um", 0.0).is_ok());
/// let error = check_prefix("capacitance_ff", 12e-15).unwrap_err();
/// assert!(error.to_string().ends_with("if 1.2e-14 F is meant, write 12"));
/// ```
///
/// # Errors
/// [`UnitError::TooSmall`]; [`UnitError::Conductivity`].
pub fn check_prefix(name: &str, found: f64) -> Result<(), UnitError> {
    if name.ends_with("_ms_per_m") && found.is_finite() && found > LARGEST_MS_PER_M {
        return Err(UnitError::Conductivity { name: name.to_owned(), found });
    }
    let ending = name.rsplit('_').next().unwrap_or(name);
    let unit = SMALL_UNITS.iter().find(|(own, ..)| *own == ending);
    match unit {
        Some(&(_, unit, smallest, plain, factor)) if found > 0.0 && found < smallest => {
            Err(UnitError::TooSmall { name: name.to_owned(), found, unit, plain, factor })
        }
        _ => Ok(()),
    }
}

/// Reads a frequency with its unit; a bare number is in hertz. The unit's case is ignored.
///
/// ```
/// assert_eq!(fourphase::units::parse_frequency_hz("27.5GHz").unwrap(), 27.5e9);
/// assert_eq!(fourphase::units::parse_frequency_hz("500 MHz").unwrap(), 500e6);
/// ```
///
/// # Errors
/// [`UnitError::Frequency`] if the text is anything but a finite, non-negative number and a unit.
pub fn parse_frequency_hz(text: &str) -> Result<f64, UnitError> {
    let lower = text.trim().to_ascii_lowercase();
    let (digits, scale) = PREFIXES
        .iter()
        .find_map(|&(unit, scale)| lower.strip_suffix(unit).map(|digits| (digits, scale)))
        .unwrap_or((lower.as_str(), 1.0));
    let refused = || UnitError::Frequency { text: text.to_owned() };
    let value_hz = plain_number(digits.trim()).ok_or_else(refused)? * scale;
    if value_hz.is_finite() && value_hz >= 0.0 { Ok(value_hz) } else { Err(refused()) }
}

/// A range of bare numbers that ends below this is not meant in hertz (ours: no part of a receiver at
/// microwave or mm-wave works below 100 kHz).
const LOWEST_BARE_HZ: f64 = 1e5;

/// Reads a range such as `27GHz..31GHz`; a unit on the right alone serves both ends (`27..31GHz`).
///
/// # Errors
/// [`UnitError::Range`] unless both ends are frequencies and the first is the lower;
/// [`UnitError::NoUnit`] for an upper end without a unit that is too low to be in hertz.
pub fn parse_frequency_range_hz(text: &str) -> Result<(f64, f64), UnitError> {
    let refused = || UnitError::Range { text: text.to_owned() };
    let (low, high) = text.split_once("..").ok_or_else(refused)?;
    let high_hz = parse_frequency_hz(high).map_err(|_| refused())?;
    let lower = high.trim().to_ascii_lowercase();
    let unit_of_high =
        PREFIXES.iter().map(|(unit, _)| *unit).find(|unit| lower.ends_with(unit)).unwrap_or("");
    let low_bare = plain_number(low.trim()).is_some();
    let low_hz = if low_bare && !unit_of_high.is_empty() {
        parse_frequency_hz(&format!("{low}{unit_of_high}"))
    } else {
        parse_frequency_hz(low)
    }
    .map_err(|_| refused())?;
    if unit_of_high.is_empty() && high_hz < LOWEST_BARE_HZ {
        let text = text.to_owned();
        return Err(if low_bare { UnitError::NoUnit { text } } else { refused() });
    }
    if low_hz < high_hz { Ok((low_hz, high_hz)) } else { Err(refused()) }
}

/// The maximum number of points of a grid.
const MOST_GRID_POINTS: usize = 100_000;

/// Reads a grid such as `27GHz..31GHz:401`: equidistant points, both ends included.
///
/// # Errors
/// [`UnitError::Grid`] unless it is a range and a number of points from 2 to a hundred thousand;
/// [`UnitError::NoUnit`] as for a range.
pub fn parse_frequency_grid_hz(text: &str) -> Result<Vec<f64>, UnitError> {
    let refused = || UnitError::Grid { text: text.to_owned() };
    let (range, points) = text.rsplit_once(':').ok_or_else(refused)?;
    let (low_hz, high_hz) = parse_frequency_range_hz(range).map_err(|error| match error {
        UnitError::NoUnit { .. } => UnitError::NoUnit { text: text.to_owned() },
        _ => refused(),
    })?;
    let points: usize = points.trim().parse().map_err(|_| refused())?;
    if !(2..=MOST_GRID_POINTS).contains(&points) {
        return Err(refused());
    }
    Ok(equidistant(low_hz, high_hz, points))
}

/// Equidistant values from `low` to `high`, both included. Round steps give round values: from 24
/// to 34 GHz in a hundred steps every point is a whole number of hertz.
#[must_use]
pub fn equidistant(low: f64, high: f64, points: usize) -> Vec<f64> {
    let steps = points.saturating_sub(1).max(1);
    #[expect(clippy::cast_precision_loss, reason = "a list is far shorter than 2^53")]
    let value = |at: usize| low + (high - low) * at as f64 / steps as f64;
    (0..points).map(|at| if at > 0 && at == steps { high } else { value(at) }).collect()
}

/// Reads a complex number in the forms `50`, `40+10j`, `-3j`, `1e2-2.5e-1j` (`i` is read as `j`).
///
/// # Errors
/// [`UnitError::Complex`] for any other text.
pub fn parse_complex(text: &str) -> Result<Complex64, UnitError> {
    let refused = || UnitError::Complex { text: text.to_owned() };
    let whole = text.trim();
    let Some(body) = whole.strip_suffix(['j', 'J', 'i', 'I']) else {
        return plain_number(whole).map(Complex64::from).ok_or_else(refused);
    };
    // The imaginary part starts at the last sign that does not belong to an exponent.
    let split = body
        .char_indices()
        .rev()
        .find(|&(at, c)| (c == '+' || c == '-') && !body[..at].ends_with(['e', 'E']))
        .map_or(0, |(at, _)| at);
    let (real, imaginary) = body.split_at(split);
    let re = if real.trim().is_empty() { Some(0.0) } else { plain_number(real.trim()) };
    let im = match imaginary.trim() {
        "" | "+" => Some(1.0),
        "-" => Some(-1.0),
        digits => plain_number(digits),
    };
    match (re, im) {
        (Some(re), Some(im)) => Ok(Complex64::new(re, im)),
        _ => Err(refused()),
    }
}

/// A complex number as [`parse_complex`] reads it: `40+10j`, or `50` where it is real.
#[must_use]
pub fn shown_complex(value: Complex64) -> String {
    let shown = |part: f64| {
        if part.abs() < MANY_DIGITS { part.to_string() } else { format!("{part:e}") }
    };
    if value.im == 0.0 {
        return shown(value.re);
    }
    let sign = if value.im.is_sign_negative() { '-' } else { '+' };
    format!("{}{sign}{}j", shown(value.re), shown(value.im.abs()))
}

/// Numbers from here on are shown with an exponent, because many zeros cannot be read.
const MANY_DIGITS: f64 = 1e15;

/// A finite number in plain decimal notation; the words `inf` and `nan`, which Rust parses, are
/// refused.
fn plain_number(text: &str) -> Option<f64> {
    let starts_well =
        text.trim_start_matches(['+', '-']).starts_with(|c: char| c.is_ascii_digit() || c == '.');
    text.parse::<f64>().ok().filter(|value| starts_well && value.is_finite())
}

/// A frequency for display with a suitable prefix, such as `27.5 GHz`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShownFrequency(pub f64);

impl fmt::Display for ShownFrequency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (unit, scale) = match self.0.abs() {
            hz if hz >= 1e9 => ("GHz", 1e9),
            hz if hz >= 1e6 => ("MHz", 1e6),
            hz if hz >= 1e3 => ("kHz", 1e3),
            _ => ("Hz", 1.0),
        };
        // Seven significant digits distinguish neighbouring points of any sweep.
        let value = self.0 / scale;
        if value.abs() >= MANY_DIGITS {
            return write!(f, "{value:e} {unit}");
        }
        let whole_digits = value.abs().max(1.0).log10().floor();
        let places = (6.0 - whole_digits).max(0.0);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 6")]
        let fixed = format!("{value:.*}", places as usize);
        let short = if fixed.contains('.') {
            fixed.trim_end_matches('0').trim_end_matches('.')
        } else {
            &fixed
        };
        write!(f, "{short} {unit}")
    }
}

/// A band for display, `27 to 31 GHz`: the unit is shown once where both ends have it, one
/// frequency where they are equal.
#[must_use]
pub fn shown_band((low_hz, high_hz): (f64, f64)) -> String {
    let (low, high) = (ShownFrequency(low_hz).to_string(), ShownFrequency(high_hz).to_string());
    match (low.split_once(' '), high.split_once(' ')) {
        _ if low == high => low,
        (Some((number, unit)), Some((_, other))) if unit == other => format!("{number} to {high}"),
        _ => format!("{low} to {high}"),
    }
}

/// A list of frequencies for display, `27 to 31 GHz (41 points)`; one frequency for a list of one.
#[must_use]
pub fn shown_frequencies(list_hz: &[f64]) -> String {
    match list_hz {
        [first, .., last] => {
            format!("{} ({} points)", shown_band((*first, *last)), list_hz.len())
        }
        [only] => ShownFrequency(*only).to_string(),
        [] => String::new(),
    }
}

/// Four significant digits, rounded down, so that what is shown as allowed is allowed.
pub(crate) fn rounded_down(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    // So small a value has no power of ten that scales it, and would be a row of zeros.
    if value.abs() < 1e-9 {
        return format!("{value:e}");
    }
    let scale = 10_f64.powf(3.0 - value.abs().log10().floor());
    format!("{}", (value * scale).floor() / scale)
}

/// A count with its noun, `1 die` or `3 dies`.
///
/// # Examples
/// ```
/// use fourphase::units::counted;
///
/// assert_eq!([counted(1_u64, "die"), counted(0_u64, "row")], ["1 die", "0 rows"]);
/// ```
#[must_use]
pub fn counted<N: fmt::Display + PartialEq + From<u8> + Copy>(count: N, noun: &str) -> String {
    format!("{count} {noun}{}", if count == N::from(1) { "" } else { "s" })
}

/// A number with its sign and the given number of decimals; zero has no sign.
///
/// ```
/// use fourphase::units::shown_signed;
///
/// assert_eq!(shown_signed(0.5, 2), "+0.50");
/// assert_eq!(shown_signed(-0.004, 2), "0.00");
/// ```
#[must_use]
pub fn shown_signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    let is_zero = text.chars().all(|c| matches!(c, '+' | '-' | '.' | '0'));
    if is_zero { format!("{:.decimals$}", 0.0) } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frequencies_with_units() {
        for (text, hz) in
            [("1", 1.0), ("2kHz", 2e3), ("3 mhz", 3e6), (".5GHZ", 5e8), ("0.1THz", 1e11)]
        {
            assert!((parse_frequency_hz(text).unwrap() - hz).abs() <= 1e-12 * hz, "{text}");
        }
        for text in ["", "GHz", "-1GHz", "inf", "nanHz", "1e400", "27.5 G", "1,5GHz", "--1"] {
            assert!(parse_frequency_hz(text).is_err(), "{text}");
        }
    }

    #[test]
    fn ranges_share_a_unit() {
        assert_eq!(parse_frequency_range_hz("27..31GHz").unwrap(), (27e9, 31e9));
        assert_eq!(parse_frequency_range_hz("500 MHz..1 GHz").unwrap(), (5e8, 1e9));
        assert_eq!(parse_frequency_range_hz("5..6Hz").unwrap(), (5.0, 6.0));
        assert_eq!(parse_frequency_range_hz("27e9..31e9").unwrap(), (27e9, 31e9));
        for text in ["31GHz..27GHz", "27GHz", "..", "1GHz..1GHz", "a..b", "27GHz..31"] {
            assert!(parse_frequency_range_hz(text).is_err(), "{text}");
        }
    }

    #[test]
    fn ranges_without_a_unit_are_refused_with_the_unit_to_write() {
        let refused = parse_frequency_range_hz("500..1500").unwrap_err().to_string();
        assert!(refused.contains("write 500MHz..1500MHz, or 500Hz..1500Hz"), "{refused}");
        let refused = parse_frequency_grid_hz("24..34:11").unwrap_err().to_string();
        assert!(refused.contains("write 24GHz..34GHz:11, or 24Hz..34Hz:11"), "{refused}");
    }

    #[test]
    fn complex_forms() {
        let z = |re, im| Complex64::new(re, im);
        for (text, want) in [
            ("50", z(50.0, 0.0)),
            ("40+10j", z(40.0, 10.0)),
            ("40-10J", z(40.0, -10.0)),
            ("-3j", z(0.0, -3.0)),
            ("1e2-2.5e-1j", z(100.0, -0.25)),
            ("1e-3j", z(0.0, 1e-3)),
            ("7+j", z(7.0, 1.0)),
        ] {
            assert_eq!(parse_complex(text).unwrap(), want, "{text}");
        }
        for text in ["", "50 ohm", "inf", "1+2", "x+1j", "nanj"] {
            assert!(parse_complex(text).is_err(), "{text}");
        }
    }

    #[test]
    fn angles_wrap_into_the_half_open_turn() {
        for (given, want) in
            [(0.0, 0.0), (180.0, 180.0), (-180.0, 180.0), (181.0, -179.0), (-450.0, -90.0)]
        {
            assert!((wrap_deg(given) - want).abs() < 1e-12);
        }
    }

    #[test]
    fn bands_say_their_unit_once() {
        assert_eq!(shown_band((27e9, 31e9)), "27 to 31 GHz");
        assert_eq!(shown_band((5e8, 1.5e9)), "500 MHz to 1.5 GHz");
        assert_eq!(shown_frequencies(&[27e9, 29e9, 31e9]), "27 to 31 GHz (3 points)");
        assert_eq!(shown_frequencies(&[29e9]), "29 GHz");
    }

    #[test]
    fn shown_frequencies_are_short_and_exact() {
        for (hz, want) in [
            (27.5e9, "27.5 GHz"),
            (1e6, "1 MHz"),
            (0.0, "0 Hz"),
            (123_456_789.0, "123.4568 MHz"),
            (200e9, "200 GHz"),
        ] {
            assert_eq!(ShownFrequency(hz).to_string(), want);
        }
    }
}
