//! Checks whether a file can be that of a passive part, and names the likely mistake if it cannot.

use super::file::TouchstoneFile;
use super::option_line::NumberFormat;
use crate::network::{
    Network, NetworkError, ParameterKind, PassivePartFinding, passive_part_findings,
};
use num_complex::Complex64;
use std::fmt;
use std::ops::RangeInclusive;

/// The reason for which a file is not accepted as that of a passive part.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PassiveFileError {
    /// It shows gain that no measurement error explains.
    #[error("{finding}{}", .likely.map(|likely| format!("; likely {likely}")).unwrap_or_default())]
    NotPassive {
        /// The property that a passive part does not have.
        finding: PassivePartFinding,
        /// The mistake without which the numbers would be those of a passive part.
        likely: Option<Mislabelling>,
    },
    /// The network of the file has no scattering matrix.
    #[error(transparent)]
    Network(#[from] NetworkError),
}

/// Numbers labelled with a format that is not theirs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Mislabelling {
    /// Decibels and degrees, labelled as real and imaginary parts.
    DecibelsAsRealImaginary,
    /// Magnitude and degrees, labelled as real and imaginary parts.
    AnglesAsRealImaginary,
    /// Decibels and degrees, labelled as magnitude and angle.
    DecibelsAsMagnitudes,
    /// Magnitude and degrees, labelled as decibels and angle.
    MagnitudesAsDecibels,
    /// Real and imaginary parts, labelled as decibels and angle.
    RealImaginaryAsDecibels,
    /// Real and imaginary parts, labelled as magnitude and angle.
    RealImaginaryAsMagnitudes,
}

impl fmt::Display for Mislabelling {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::DecibelsAsRealImaginary => "numbers in dB and degrees, labelled RI instead of DB",
            Self::AnglesAsRealImaginary => "magnitudes and degrees, labelled RI instead of MA",
            Self::DecibelsAsMagnitudes => "numbers in dB and degrees, labelled MA instead of DB",
            Self::MagnitudesAsDecibels => "magnitudes and degrees, labelled DB instead of MA",
            Self::RealImaginaryAsDecibels => "real and imaginary parts, labelled DB instead of RI",
            Self::RealImaginaryAsMagnitudes => {
                "real and imaginary parts, labelled MA instead of RI"
            }
        })
    }
}

impl Mislabelling {
    /// The mistakes that are possible in a format.
    fn of(format: NumberFormat) -> &'static [Self] {
        match format {
            NumberFormat::RealImaginary => {
                &[Self::DecibelsAsRealImaginary, Self::AnglesAsRealImaginary]
            }
            NumberFormat::MagnitudeAngle => {
                &[Self::RealImaginaryAsMagnitudes, Self::DecibelsAsMagnitudes]
            }
            NumberFormat::DecibelAngle => {
                &[Self::RealImaginaryAsDecibels, Self::MagnitudesAsDecibels]
            }
        }
    }

    /// The entry as it was likely meant; `None` where the number cannot have that meaning.
    fn meant(self, read: Complex64) -> Option<Complex64> {
        let from_db = |db: f64, degrees: f64| {
            let fits = (-200.0..=1.0).contains(&db) && degrees.abs() <= 360.0;
            fits.then(|| Complex64::from_polar(10_f64.powf(db / 20.0), degrees.to_radians()))
        };
        let from_magnitude = |magnitude: f64, degrees: f64| {
            let fits = (0.0..=1.1).contains(&magnitude) && degrees.abs() <= 360.0;
            fits.then(|| Complex64::from_polar(magnitude, degrees.to_radians()))
        };
        let from_parts = |re: f64, im: f64| {
            let meant = Complex64::new(re, im);
            (meant.norm() <= 1.1).then_some(meant)
        };
        let degrees = read.arg().to_degrees();
        match self {
            Self::DecibelsAsRealImaginary => from_db(read.re, read.im),
            Self::AnglesAsRealImaginary => from_magnitude(read.re, read.im),
            // A negative magnitude was read as a phase shift of 180 degrees.
            Self::DecibelsAsMagnitudes => from_db(-read.norm(), degrees - 180.0),
            Self::MagnitudesAsDecibels => from_magnitude(20.0 * read.norm().log10(), degrees),
            Self::RealImaginaryAsDecibels => from_parts(20.0 * read.norm().log10(), degrees),
            // A negative real part was read as a phase shift of 180 degrees.
            Self::RealImaginaryAsMagnitudes if degrees.abs() > 90.0 => {
                from_parts(-read.norm(), degrees - 180.0_f64.copysign(degrees))
            }
            Self::RealImaginaryAsMagnitudes => from_parts(read.norm(), degrees),
        }
    }

    /// Whether the numbers of a file, read as they were likely meant, are those of a passive part.
    fn explains(self, network: &Network, band_hz: RangeInclusive<f64>) -> bool {
        let meant: Option<Vec<Complex64>> =
            network.entries().iter().map(|&read| self.meant(read)).collect();
        let references = network.references_ohm(0).to_vec();
        let meant = meant.and_then(|entries| {
            let grid = network.grid().clone();
            let kind = ParameterKind::Scattering;
            Network::new(kind, grid, network.ports(), entries, references).ok()
        });
        let findings = meant.and_then(|network| passive_part_findings(&network, band_hz).ok());
        findings.is_some_and(|findings| !findings.iter().any(PassivePartFinding::is_excluded))
    }
}

/// Findings that contradict a passive, reciprocal part over a range of frequencies.
///
/// With `accept_active`, gain is a finding like the others.
///
/// # Errors
/// [`PassiveFileError::NotPassive`] for gain that no measurement error explains, with the likely
/// mistake; [`PassiveFileError::Network`] where the file's network has no scattering matrix.
///
/// # Examples
/// ```
/// use fourphase::touchstone::{ReadOptions, parse, passive_file_findings};
///
/// A divider written in dB, with MA in its option line.
/// let text = "# GHz S MA R 50\n29 -25 10 -3.1 -90 -3.1 -90 -25 10\n";
/// let file = parse(text.as_bytes(), "line.s2p".as_ref(), &ReadOptions::default())?;
/// let refused = passive_file_findings(&file, 28e9..=30e9, false).unwrap_err().to_string();
/// assert!(refused.ends_with("likely numbers in dB and degrees, labelled MA instead of DB"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn passive_file_findings(
    file: &TouchstoneFile,
    band_hz: RangeInclusive<f64>,
    accept_active: bool,
) -> Result<Vec<PassivePartFinding>, PassiveFileError> {
    let mut findings = passive_part_findings(&file.network, band_hz.clone())?;
    findings.extend(small_angles(file));
    let excluded = findings.iter().find(|finding| finding.is_excluded());
    let Some(&finding) = excluded.filter(|_| !accept_active) else { return Ok(findings) };
    let is_scattering = file.network.kind() == ParameterKind::Scattering;
    let mut candidates = Mislabelling::of(file.number_format).iter().copied();
    let likely = candidates
        .find(|candidate| is_scattering && candidate.explains(&file.network, band_hz.clone()));
    Err(PassiveFileError::NotPassive { finding, likely })
}

/// Angles of a whole file that are too small for degrees: they may be imaginary parts, or radians.
fn small_angles(file: &TouchstoneFile) -> Option<PassivePartFinding> {
    /// In radians no angle exceeds half a turn.
    const HALF_TURN: f64 = 3.15;
    let has_angles = file.number_format != NumberFormat::RealImaginary;
    let hz = file.network.grid().as_hz();
    // A narrow or short sweep may have little phase.
    if !has_angles || hz.len() < 5 || hz[hz.len() - 1] < 1.05 * hz[0] {
        return None;
    }
    // A negative magnitude is read as a phase shift of 180 degrees.
    let angle = |entry: &Complex64| {
        let degrees = entry.arg().to_degrees().abs();
        degrees.min(180.0 - degrees)
    };
    let largest_deg = file.network.entries().iter().map(angle).fold(0.0, f64::max);
    // Data that are exactly real may be those of resistors.
    (largest_deg > 1e-3 && largest_deg < HALF_TURN)
        .then_some(PassivePartFinding::SmallAngles { largest_deg })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::touchstone::{ReadOptions, parse};

    fn likely(option_line: &str, row: &str) -> Option<Mislabelling> {
        let text = format!("{option_line}\n{row}\n");
        let file = parse(text.as_bytes(), "part.s2p".as_ref(), &ReadOptions::default()).unwrap();
        match passive_file_findings(&file, 28e9..=30e9, false).unwrap_err() {
            PassiveFileError::NotPassive { likely, .. } => likely,
            other => panic!("{other}"),
        }
    }

    #[test]
    fn the_likely_mistake_is_told_where_one_explains_the_numbers() {
        let decibels = "29 -22 130 -1.1 -95 -1.1 -95 -24 20";
        let parts = "29 0.02 0.05 0.6 -0.65 0.6 -0.65 0.01 0.03";
        let magnitudes = "29 0.08 130 0.88 -95 0.88 -95 0.06 20";
        for (line, row, cause) in [
            ("# GHz S RI R 50", decibels, Some(Mislabelling::DecibelsAsRealImaginary)),
            ("# GHz S RI R 50", magnitudes, Some(Mislabelling::AnglesAsRealImaginary)),
            ("# GHz S MA R 50", decibels, Some(Mislabelling::DecibelsAsMagnitudes)),
            ("# GHz S DB R 50", magnitudes, Some(Mislabelling::MagnitudesAsDecibels)),
            ("# GHz S DB R 50", parts, Some(Mislabelling::RealImaginaryAsDecibels)),
            // An amplifier is not a passive part, and no label explains its gain.
            ("# GHz S DB R 50", "29 -12 10 15 -60 -30 20 -10 0", None),
        ] {
            assert_eq!(likely(line, row), cause, "{line}: {row}");
        }
        let text = "# GHz S DB R 50\n29 -12 10 15 -60 -30 20 -10 0\n";
        let file = parse(text.as_bytes(), "a.s2p".as_ref(), &ReadOptions::default()).unwrap();
        assert_eq!(passive_file_findings(&file, 28e9..=30e9, true).unwrap().len(), 2);
    }
}
