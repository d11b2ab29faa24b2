//! Checks whether a file can be that of a passive part, and names the likely mistake if it cannot.

use super::file::{TouchstoneFile, Version};
use super::option_line::NumberFormat;
use crate::network::{
    Network, NetworkError, ParameterKind, PassivePartFinding, Quality, findings_of_quality,
    gain_finding, passive_part_findings,
};
use crate::units::{amplitude_from_db, db_from_amplitude};
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
    /// Angles in radians.
    Radians,
    /// Losses as positive decibels.
    PositiveLosses,
    /// Scattering parameters, labelled as impedances.
    ScatteringAsImpedances,
    /// Scattering parameters, labelled as admittances.
    ScatteringAsAdmittances,
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
            Self::Radians => "angles in radians, which a file has in degrees",
            Self::PositiveLosses => {
                "losses as positive numbers: a level below the incident one is negative in dB"
            }
            Self::ScatteringAsImpedances => "S-parameters, labelled Z instead of S",
            Self::ScatteringAsAdmittances => "S-parameters, labelled Y instead of S",
        })
    }
}

/// No angle in radians is larger than a half turn.
const HALF_TURN: f64 = 3.15;

impl Mislabelling {
    /// The mistakes that are possible in a file.
    fn of(file: &TouchstoneFile) -> &'static [Self] {
        match (file.network.kind(), file.number_format) {
            (ParameterKind::Impedance, _) => &[Self::ScatteringAsImpedances],
            (ParameterKind::Admittance, _) => &[Self::ScatteringAsAdmittances],
            (ParameterKind::Scattering, NumberFormat::RealImaginary) => {
                &[Self::DecibelsAsRealImaginary, Self::AnglesAsRealImaginary]
            }
            (ParameterKind::Scattering, NumberFormat::MagnitudeAngle) => {
                &[Self::RealImaginaryAsMagnitudes, Self::Radians, Self::DecibelsAsMagnitudes]
            }
            (ParameterKind::Scattering, NumberFormat::DecibelAngle) => &[
                Self::RealImaginaryAsDecibels,
                Self::MagnitudesAsDecibels,
                Self::Radians,
                Self::PositiveLosses,
            ],
            _ => &[],
        }
    }

    /// An entry read as it was likely meant, with the references of its row and column in ohm; `None`
    /// where the number cannot have been that.
    fn meant(self, read: Complex64, version: Version, reference_ohm: f64) -> Option<Complex64> {
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
            Self::Radians => (degrees.abs() <= HALF_TURN && read.norm() <= 1.1)
                .then(|| Complex64::from_polar(read.norm(), degrees)),
            Self::PositiveLosses => from_db(-20.0 * read.norm().log10(), degrees),
            // Version 1 normalises to the reference, and the reader has undone that.
            Self::ScatteringAsImpedances if version.has_keywords() => from_parts(read.re, read.im),
            Self::ScatteringAsAdmittances if version.has_keywords() => from_parts(read.re, read.im),
            Self::ScatteringAsImpedances => {
                from_parts(read.re / reference_ohm, read.im / reference_ohm)
            }
            Self::ScatteringAsAdmittances => {
                from_parts(read.re * reference_ohm, read.im * reference_ohm)
            }
        }
    }

    /// Whether a file's numbers, read as they were likely meant, are those of a passive part.
    fn explains(self, file: &TouchstoneFile, band_hz: RangeInclusive<f64>) -> bool {
        let network = &file.network;
        let ports = network.ports();
        let entries = network.entries().iter().enumerate();
        let meant: Option<Vec<Complex64>> = entries
            .map(|(at, &read)| {
                let reference = |port: usize| file.port_references_ohm.get(port).copied();
                let (row, column) = (at / ports % ports, at % ports);
                let both_ohm2 = reference(row)? * reference(column)?;
                self.meant(read, file.version, both_ohm2.sqrt())
            })
            .collect();
        let references = network.references_ohm(0).to_vec();
        let meant = meant.and_then(|entries| {
            let grid = network.grid().clone();
            Network::new(ParameterKind::Scattering, grid, ports, entries, references).ok()
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
/// [`PassiveFileError::NotPassive`] for gain that no measurement error explains and for angles that are
/// no degrees, with the likely mistake; [`PassiveFileError::Network`] where the file's network has no
/// scattering matrix.
///
/// # Examples
/// ```
/// use fourphase::touchstone::{ReadOptions, parse, passive_file_findings};
///
/// // A divider written in dB, with MA in its option line.
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
    let findings = passive_part_findings(&file.network, band_hz.clone())?;
    judged(file, band_hz, findings, accept_active)
}

/// The findings over a whole file that its figures of quality do not show, and gain.
///
/// # Errors
/// [`PassiveFileError::NotPassive`] as [`passive_file_findings`].
///
/// # Examples
/// ```
/// use fourphase::network::assess;
/// use fourphase::touchstone::{ReadOptions, findings_beside_quality, parse};
///
/// let text = "# GHz S RI R 50\n29 0.1 0\n29 0.3 0\n";
/// let file = parse(text.as_bytes(), "load.s1p".as_ref(), &ReadOptions::default())?;
/// let findings = findings_beside_quality(&file, &assess(&file.network)?)?;
/// assert!(findings[0].to_string().starts_with("S(1,1) has two values at 29 GHz"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn findings_beside_quality(
    file: &TouchstoneFile,
    quality: &Quality,
) -> Result<Vec<PassivePartFinding>, PassiveFileError> {
    judged(file, ALL_HZ, findings_of_quality(&file.network, quality)?, false)
}

/// The reason for which a file's numbers are likely labelled with a format that is not theirs; `None`
/// if there is none. A file of an active part has gain and no such reason.
///
/// # Examples
/// ```
/// use fourphase::touchstone::{ReadOptions, mislabelled, parse};
///
/// let text = "# GHz S RI R 50\n29 -25 10 -3.1 -90 -3.1 -90 -25 10\n";
/// let file = parse(text.as_bytes(), "line.s2p".as_ref(), &ReadOptions::default())?;
/// assert!(mislabelled(&file).is_some());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn mislabelled(file: &TouchstoneFile) -> Option<PassiveFileError> {
    let gain = gain_finding(&file.network).ok()?;
    let error = judged(file, ALL_HZ, gain.into_iter().collect(), false).err()?;
    matches!(error, PassiveFileError::NotPassive { likely: Some(_), .. }).then_some(error)
}

const ALL_HZ: RangeInclusive<f64> = f64::NEG_INFINITY..=f64::INFINITY;

/// The findings of a network with those of its numbers' format, or the error that they are.
fn judged(
    file: &TouchstoneFile,
    band_hz: RangeInclusive<f64>,
    mut findings: Vec<PassivePartFinding>,
    accept_active: bool,
) -> Result<Vec<PassivePartFinding>, PassiveFileError> {
    findings.extend(small_angles(file));
    findings.extend(levels_above_zero(file));
    findings.extend(unusual_reference(file));
    if accept_active {
        return Ok(findings);
    }
    let explained = || {
        let mut candidates = Mislabelling::of(file).iter().copied();
        candidates.find(|candidate| candidate.explains(file, band_hz.clone()))
    };
    if let Some(&finding) = findings.iter().find(|finding| finding.is_excluded()) {
        return Err(PassiveFileError::NotPassive { finding, likely: explained() });
    }
    let small = findings.iter().find(|own| matches!(own, PassivePartFinding::SmallAngles { .. }));
    if let Some(&finding) = small.filter(|_| cannot_be_degrees(file))
        && let Some(likely) = explained()
    {
        return Err(PassiveFileError::NotPassive { finding, likely: Some(likely) });
    }
    Ok(findings)
}

/// The fewest points from which a whole sweep is judged.
const FEWEST_POINTS: usize = 5;

/// Angles of a whole file that are so small that they may be no degrees: imaginary parts, or radians.
fn small_angles(file: &TouchstoneFile) -> Option<PassivePartFinding> {
    let has_angles = file.number_format != NumberFormat::RealImaginary;
    let hz = file.network.grid().as_hz();
    // A narrow or short sweep may show little phase.
    if !has_angles || hz.len() < FEWEST_POINTS || hz[hz.len() - 1] < 1.05 * hz[0] {
        return None;
    }
    let (mut largest_deg, mut tangent) = (0.0_f64, 0.0);
    for &entry in file.network.entries() {
        // A larger angle has a larger ratio of the parts, which needs no arctangent.
        if entry.im.abs() > tangent * entry.re.abs() {
            largest_deg = largest_deg.max(folded_deg(entry));
            tangent = largest_deg.to_radians().tan();
            if largest_deg >= HALF_TURN {
                return None;
            }
        }
    }
    // Exactly real data are those of resistors.
    (largest_deg > 1e-3).then_some(PassivePartFinding::SmallAngles { largest_deg })
}

/// The distance of an angle from that of a real number: a negative magnitude is read as a turn by 180
/// degrees.
fn folded_deg(entry: Complex64) -> f64 {
    let degrees = entry.arg().to_degrees().abs();
    degrees.min(180.0 - degrees)
}

/// Whether angles that are small over a whole file cannot be degrees.
///
/// An electrically small part may have small angles, such as an open at 1 GHz.
fn cannot_be_degrees(file: &TouchstoneFile) -> bool {
    /// Above it 3.15 degrees are less than 0.9 ps: no part with reference planes around it is as short
    /// (ours; pads on a die are 100 um and more apart).
    const NO_PART_IS_SMALL_HZ: f64 = 10e9;
    /// Imaginary parts or radians below this make no difference that matters.
    const SMALLEST: f64 = 0.05;
    let network = &file.network;
    let size = network.ports() * network.ports();
    let entries = network.entries();
    if !entries.iter().any(|entry| folded_deg(*entry) > SMALLEST) {
        return false;
    }
    let steps = || entries.iter().zip(&entries[size.min(entries.len())..]);
    // Radians jump by a full turn where an angle passes a half turn.
    let jumps = |(before, after): (&Complex64, &Complex64)| {
        let step = after.arg().to_degrees() - before.arg().to_degrees();
        (step.abs() - std::f64::consts::TAU).abs() < 0.5
    };
    // A magnitude that changes its sign is a real part.
    let flips = |(before, after): (&Complex64, &Complex64)| before.re * after.re < 0.0;
    network.grid().last_hz() >= NO_PART_IS_SMALL_HZ || steps().any(jumps) || steps().any(flips)
}

/// A reference impedance that a slip of the pen makes of 50 ohm.
fn unusual_reference(file: &TouchstoneFile) -> Option<PassivePartFinding> {
    /// Measurements and simulations refer to 10 to 200 ohm, the differential mode included (ours).
    const USUAL_OHM: RangeInclusive<f64> = 10.0..=200.0;
    let mut references = file.port_references_ohm.iter().copied();
    let ohm = references.find(|ohm| !USUAL_OHM.contains(ohm))?;
    Some(PassivePartFinding::UnusualReference { ohm })
}

/// Levels in dB that are above 0 at every point of every entry.
fn levels_above_zero(file: &TouchstoneFile) -> Option<PassivePartFinding> {
    let entries = file.network.entries();
    let is_scattering = file.network.kind() == ParameterKind::Scattering;
    let points = file.network.grid().len();
    if file.number_format != NumberFormat::DecibelAngle || !is_scattering || points < FEWEST_POINTS
    {
        return None;
    }
    // The rounding of 0 dB, which an ideal open has, is no gain.
    let threshold = amplitude_from_db(1e-3).powi(2);
    if !entries.iter().all(|entry| entry.norm_sqr() > threshold) {
        return None;
    }
    let levels_db = || entries.iter().map(|entry| db_from_amplitude(entry.norm()));
    let smallest_db = levels_db().fold(f64::INFINITY, f64::min);
    let largest_db = levels_db().fold(f64::NEG_INFINITY, f64::max);
    Some(PassivePartFinding::LevelsAboveZero { smallest_db, largest_db })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::touchstone::{ReadOptions, parse};

    /// The mistake that is named for a part with these numbers at five frequencies.
    fn likely(option_line: &str, row: &str) -> Option<Mislabelling> {
        let numbers = row.strip_prefix("29").unwrap();
        let rows = [27.0, 28.0, 29.0, 30.0, 31.0].map(|ghz| format!("{ghz}{numbers}\n"));
        let text = format!("{option_line}\n{}", rows.concat());
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
            (
                "# GHz S DB R 50",
                "29 22 130 1.1 -95 1.1 -95 24 20",
                Some(Mislabelling::PositiveLosses),
            ),
            ("# GHz S MA R 50", "29 0.1 2.2 0.9 1.6 0.9 1.6 0.1 1.1", Some(Mislabelling::Radians)),
            ("# GHz Z RI R 50", parts, Some(Mislabelling::ScatteringAsImpedances)),
            ("# GHz Y RI R 50", parts, Some(Mislabelling::ScatteringAsAdmittances)),
            // An amplifier is no passive part, and no label explains it.
            ("# GHz S DB R 50", "29 -12 10 15 -60 -30 20 -10 0", None),
        ] {
            assert_eq!(likely(line, row), cause, "{line}: {row}");
        }
        let text = "# GHz S DB R 50\n29 -12 10 15 -60 -30 20 -10 0\n";
        let file = parse(text.as_bytes(), "a.s2p".as_ref(), &ReadOptions::default()).unwrap();
        assert_eq!(passive_file_findings(&file, 28e9..=30e9, true).unwrap().len(), 2);
    }
}
