//! Normalisation of Z, Y, H and G in version 1 files.

use crate::network::ParameterKind;
use num_complex::Complex64;

/// Converts the normalised Z, Y, H and G of version 1 to ohms, siemens and ratios.
pub(super) fn unnormalise(kind: ParameterKind, references_ohm: &[f64], entries: &mut [Complex64]) {
    if kind == ParameterKind::Scattering {
        return;
    }
    let factors = normalisation(kind, references_ohm);
    for matrix in entries.chunks_exact_mut(factors.len()) {
        for (entry, factor) in matrix.iter_mut().zip(&factors) {
            *entry *= factor;
        }
    }
}

/// The normalisation factor of each entry of a version 1 matrix, row-major.
///
/// With voltages in units of √R V and currents in V/√R: Z by √(Ri Rj), Y by its inverse, and H and
/// G by the mixture that follows. With equal reference impedances this is R, 1/R and 1.
pub(super) fn normalisation(kind: ParameterKind, references_ohm: &[f64]) -> Vec<f64> {
    let across = |row: f64, column: f64| match kind {
        ParameterKind::Scattering => 1.0,
        ParameterKind::Impedance => (row * column).sqrt(),
        _ => 1.0 / (row * column).sqrt(),
    };
    match (kind, references_ohm) {
        (ParameterKind::HybridH, &[one, two]) => {
            vec![one, (one / two).sqrt(), (one / two).sqrt(), 1.0 / two]
        }
        (ParameterKind::HybridG, &[one, two]) => {
            vec![1.0 / one, (two / one).sqrt(), (two / one).sqrt(), two]
        }
        _ => references_ohm
            .iter()
            .flat_map(|&row| references_ohm.iter().map(move |&column| across(row, column)))
            .collect(),
    }
}
