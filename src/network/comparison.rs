//! Comparison of two networks, entry by entry.

use super::common_grid::common_grid;
use super::{Network, NetworkError, ParameterKind, Port, change_reference, convert, onto_grid};
use crate::units::db_from_amplitude;
use num_complex::Complex64;

/// The maximum difference with its frequency, and the root mean square over frequency.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Difference {
    /// Difference of maximum magnitude: second minus first, with its sign.
    pub worst: f64,
    /// Frequency of the maximum, Hz.
    pub worst_at_hz: f64,
    /// Root mean square over frequency.
    pub rms: f64,
}

/// The difference of one matrix entry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EntryDifference {
    /// The responding port.
    pub row: Port,
    /// The driven port.
    pub column: Port,
    /// Magnitudes, dB; `None` where an entry of either is zero.
    pub magnitude_db: Option<Difference>,
    /// Phases, degrees, wrapped to (-180, 180]; `None` where an entry of either is zero.
    pub phase_deg: Option<Difference>,
    /// |difference| of the complex values.
    pub vector: Difference,
}

/// Two networks compared over the band that both cover.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// The common band, Hz.
    pub band_hz: (f64, f64),
    /// The first network on the common grid, as S.
    pub first: Network,
    /// The second network on the common grid, as S in the reference impedances of the first.
    pub second: Network,
    /// All entries, row by row; at least one.
    entries: Vec<EntryDifference>,
    /// Whether the second network was brought to the reference impedances of the first.
    pub was_renormalised: bool,
}

impl Comparison {
    /// Every entry, row by row.
    #[must_use]
    pub fn entries(&self) -> &[EntryDifference] {
        &self.entries
    }

    /// The entry with the maximum vector difference.
    #[must_use]
    pub fn worst(&self) -> &EntryDifference {
        // A network has at least one port, so there is an entry.
        self.entries[1..].iter().fold(&self.entries[0], larger_vector)
    }

    /// Whether every entry differs by at most `limit`, as |difference| of complex values.
    #[must_use]
    pub fn is_within(&self, limit: f64) -> bool {
        self.worst().vector.worst <= limit
    }
}

fn larger_vector<'e>(one: &'e EntryDifference, other: &'e EntryDifference) -> &'e EntryDifference {
    if other.vector.worst.total_cmp(&one.vector.worst).is_ge() { other } else { one }
}

/// Compares two networks as S: second minus first.
///
/// # Errors
/// [`NetworkError::PortCount`], [`NetworkError::UnequalModes`] if their rows stand for different
/// modes, [`NetworkError::NoCommonBand`], [`NetworkError::NoSuchMatrix`].
pub fn compare(first: &Network, second: &Network) -> Result<Comparison, NetworkError> {
    let ports = first.ports();
    if second.ports() != ports {
        return Err(NetworkError::PortCount { expected: ports, found: second.ports() });
    }
    if first.modes() != second.modes() {
        return Err(NetworkError::UnequalModes);
    }
    let scattering = |network: &Network| convert(network, ParameterKind::Scattering);
    let (first, second) = (scattering(first)?, scattering(second)?);
    let grid = common_grid(&[&first, &second])?;
    let (first, second) = (onto_grid(&first, &grid)?.network, onto_grid(&second, &grid)?.network);
    let was_renormalised = first.stored_references() != second.stored_references();
    let moved =
        change_reference(&second, first.stored_references().to_vec(), first.wave_definition())?;
    let grid = first.grid().as_hz();
    let entries = (0..ports * ports)
        .map(|at| {
            let of =
                |network: &Network, point: usize| network.entries()[point * ports * ports + at];
            let pairs: Vec<(f64, Complex64, Complex64)> = grid
                .iter()
                .enumerate()
                .map(|(point, &hz)| (hz, of(&first, point), of(&moved, point)))
                .collect();
            let are_telling =
                pairs.iter().all(|(_, one, other)| one.norm() > 0.0 && other.norm() > 0.0);
            let over = |value: fn(Complex64, Complex64) -> f64| {
                difference(pairs.iter().map(|&(hz, one, other)| (hz, value(one, other))))
            };
            EntryDifference {
                row: Port::from_index(at / ports),
                column: Port::from_index(at % ports),
                magnitude_db: are_telling
                    .then(|| over(|one, other| db_from_amplitude(other.norm() / one.norm()))),
                phase_deg: are_telling
                    .then(|| over(|one, other| (other * one.conj()).arg().to_degrees())),
                vector: over(|one, other| (other - one).norm()),
            }
        })
        .collect();
    let band_hz = (first.grid().first_hz(), first.grid().last_hz());
    Ok(Comparison { band_hz, entries, was_renormalised, second: moved, first })
}

fn difference(values: impl Iterator<Item = (f64, f64)>) -> Difference {
    let (mut found, mut squares, mut count) = (Difference::default(), 0.0, 0.0);
    for (hz, value) in values {
        if value.abs() > found.worst.abs() || count == 0.0 {
            found = Difference { worst: value, worst_at_hz: hz, rms: 0.0 };
        }
        squares += value * value;
        count += 1.0;
    }
    Difference { rms: (squares / f64::max(count, 1.0)).sqrt(), ..found }
}
