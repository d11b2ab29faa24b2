//! The container of network data: one square matrix per frequency, checked once, in one block.

use super::error::{MAX_REFERENCE_OHM, MIN_REFERENCE_OHM, NetworkError};
use super::grid::FrequencyGrid;
use super::modes::check_modes;
use super::parameter_kind::ParameterKind;
use super::ports::{Port, PortMode};
use super::waves::WaveDefinition;
use num_complex::Complex64;

/// An N-port over frequency.
///
/// Every value has: at least one port and one frequency, frequencies that never descend, one square
/// matrix of finite numbers per frequency, and a reference impedance with a positive real part for
/// every port. Z is in ohms, Y in siemens; H and G are in the units of their entries.
///
/// ```
/// use fourphase::network::{FrequencyGrid, Network, ParameterKind, Port};
/// use num_complex::Complex64;
///
/// // A 75 ohm load seen from 50 ohm, at 1 GHz.
/// let grid = FrequencyGrid::from_hz(vec![1e9])?;
/// let load = Network::new(ParameterKind::Scattering, grid, 1, vec![0.2.into()], vec![50.0.into()])?;
/// assert_eq!(load.matrix(0).at(Port::from_index(0), Port::from_index(0)), Complex64::new(0.2, 0.0));
/// # Ok::<(), fourphase::network::NetworkError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Network {
    kind: ParameterKind,
    waves: WaveDefinition,
    grid: FrequencyGrid,
    ports: usize,
    entries: Vec<Complex64>,
    references_ohm: Vec<Complex64>,
    modes: Option<Vec<PortMode>>,
}

impl Network {
    /// Takes the matrices point after point, row-major: `grid.len() * ports * ports` entries.
    ///
    /// `references_ohm` holds one value for all ports, one per port, or one per port for each
    /// point (point-major). A mixed-mode row still counts as one port here, with the reference
    /// of its mode.
    ///
    /// Entries are within [`ParameterKind::max_magnitude`]; reference impedances have a real part
    /// from 1e-12 ohm and parts up to 1e12 ohm.
    ///
    /// # Errors
    /// An error for the first rule that is not met, with the port and frequency concerned.
    pub fn new(
        kind: ParameterKind,
        grid: FrequencyGrid,
        ports: usize,
        entries: Vec<Complex64>,
        references_ohm: Vec<Complex64>,
    ) -> Result<Self, NetworkError> {
        if ports == 0 {
            return Err(NetworkError::NoPorts);
        }
        let points = grid.len();
        let wanted = ports.checked_mul(ports).and_then(|size| size.checked_mul(points));
        if wanted != Some(entries.len()) {
            return Err(NetworkError::EntryCount { ports, points, found: entries.len() });
        }
        if kind.is_two_port_only() && ports != 2 {
            return Err(NetworkError::TwoPortsOnly { kind, ports });
        }
        check_entries(kind, &grid, ports, &entries)?;
        let references_ohm = checked_references(references_ohm, ports, points)?;
        Ok(Self {
            kind,
            waves: WaveDefinition::Kurokawa,
            grid,
            ports,
            entries,
            references_ohm,
            modes: None,
        })
    }

    /// The same matrices, interpreted in another wave definition. This matters for complex
    /// reference impedances only.
    #[must_use]
    pub fn with_wave_definition(mut self, waves: WaveDefinition) -> Self {
        self.waves = waves;
        self
    }

    /// Sets the mode of each row of a mixed-mode network.
    ///
    /// Every single-ended port is in one row, as itself, or in two, the differential and the common
    /// mode of its pair.
    ///
    /// # Errors
    /// [`NetworkError::ModeCount`] unless there is one mode per row, [`NetworkError::NoSuchPort`]
    /// for a mode of a port beyond the rows, [`NetworkError::ModesOfPort`] for a port that is
    /// missing from the modes, named too often, or in two pairs.
    pub fn with_modes(mut self, modes: Vec<PortMode>) -> Result<Self, NetworkError> {
        check_modes(&modes, self.ports)?;
        let mixed = modes.iter().any(|mode| !matches!(mode, PortMode::Single(_)));
        self.modes = mixed.then_some(modes);
        Ok(self)
    }

    /// The parameter of the matrices.
    #[must_use]
    pub fn kind(&self) -> ParameterKind {
        self.kind
    }

    /// The wave definition of a scattering matrix.
    #[must_use]
    pub fn wave_definition(&self) -> WaveDefinition {
        self.waves
    }

    /// The frequencies.
    #[must_use]
    pub fn grid(&self) -> &FrequencyGrid {
        &self.grid
    }

    /// The number of ports, which is the number of rows of each matrix.
    #[must_use]
    pub fn ports(&self) -> usize {
        self.ports
    }

    /// The mode of each row of a mixed-mode network; `None` for a single-ended one.
    #[must_use]
    pub fn modes(&self) -> Option<&[PortMode]> {
        self.modes.as_deref()
    }

    /// The matrix of one frequency point.
    ///
    /// # Panics
    /// If `point` is not below `grid().len()`.
    #[must_use]
    pub fn matrix(&self, point: usize) -> MatrixView<'_> {
        let size = self.ports * self.ports;
        MatrixView { entries: &self.entries[point * size..(point + 1) * size], ports: self.ports }
    }

    /// All entries, point after point, row-major.
    #[must_use]
    pub fn entries(&self) -> &[Complex64] {
        &self.entries
    }

    /// The reference impedances of all ports at one frequency point.
    ///
    /// # Panics
    /// If `point` is not below `grid().len()`.
    #[must_use]
    pub fn references_ohm(&self, point: usize) -> &[Complex64] {
        if self.references_ohm.len() == self.ports {
            &self.references_ohm
        } else {
            &self.references_ohm[point * self.ports..(point + 1) * self.ports]
        }
    }

    /// Whether the reference impedances are the same at every frequency.
    #[must_use]
    pub fn has_constant_references(&self) -> bool {
        self.references_ohm.len() == self.ports
    }

    /// Checks that the network has a port of this number.
    ///
    /// # Errors
    /// [`NetworkError::NoSuchPort`] if the network has fewer ports.
    pub fn check_port(&self, port: Port) -> Result<Port, NetworkError> {
        if port.index() < self.ports {
            Ok(port)
        } else {
            Err(NetworkError::NoSuchPort { port, ports: self.ports })
        }
    }

    /// A network of the same grid, ports and modes with other matrices.
    pub(super) fn with_matrices(
        &self,
        kind: ParameterKind,
        entries: Vec<Complex64>,
        references_ohm: Vec<Complex64>,
    ) -> Result<Self, NetworkError> {
        let made = Self::new(kind, self.grid.clone(), self.ports, entries, references_ohm)?
            .with_wave_definition(self.waves);
        Ok(Self { modes: self.modes.clone(), ..made })
    }

    /// The reference impedances as stored: one per port, or one per port and point.
    pub(crate) fn stored_references(&self) -> &[Complex64] {
        &self.references_ohm
    }
}

/// Checks that every entry is finite and within the range in which products of entries are finite.
fn check_entries(
    kind: ParameterKind,
    grid: &FrequencyGrid,
    ports: usize,
    entries: &[Complex64],
) -> Result<(), NetworkError> {
    let max_magnitude = kind.max_magnitude();
    // Real and imaginary parts are tested first: this avoids a square root for nearly all entries.
    let is_within =
        |entry: &Complex64| entry.re.abs() <= max_magnitude && entry.im.abs() <= max_magnitude;
    let Some(at) = entries.iter().position(|entry| !is_within(entry)) else { return Ok(()) };
    let within = at % (ports * ports);
    let (row, column) = (Port::from_index(within / ports), Port::from_index(within % ports));
    let frequency_hz = grid.as_hz()[at / (ports * ports)];
    Err(if entries[at].is_finite() {
        NetworkError::TooLarge { kind, row, column, frequency_hz, found: entries[at] }
    } else {
        NetworkError::NotFinite { row, column, frequency_hz }
    })
}

/// One reference per port, or per port and point, each with a positive real part.
pub(super) fn checked_references(
    given_ohm: Vec<Complex64>,
    ports: usize,
    points: usize,
) -> Result<Vec<Complex64>, NetworkError> {
    let references_ohm = if given_ohm.len() == 1 { vec![given_ohm[0]; ports] } else { given_ohm };
    if references_ohm.len() != ports && references_ohm.len() != ports * points {
        return Err(NetworkError::ReferenceCount { ports, found: references_ohm.len() });
    }
    for (at, &value_ohm) in references_ohm.iter().enumerate() {
        let port = Port::from_index(at % ports);
        if !(value_ohm.re > 0.0 && value_ohm.is_finite()) {
            return Err(NetworkError::Reference { port, value_ohm });
        }
        let is_within = |part_ohm: f64| part_ohm.abs() <= MAX_REFERENCE_OHM;
        if !(value_ohm.re >= MIN_REFERENCE_OHM
            && is_within(value_ohm.re)
            && is_within(value_ohm.im))
        {
            return Err(NetworkError::ReferenceRange { port, value_ohm });
        }
    }
    Ok(references_ohm)
}

/// The matrix of one frequency point.
#[derive(Clone, Copy, Debug)]
pub struct MatrixView<'a> {
    entries: &'a [Complex64],
    ports: usize,
}

impl<'a> MatrixView<'a> {
    /// The entry for the responding port `row` and the driven port `column`.
    ///
    /// # Panics
    /// If a port is beyond the matrix.
    #[must_use]
    pub fn at(&self, row: Port, column: Port) -> Complex64 {
        assert!(column.index() < self.ports, "column {column} of a {}-port", self.ports);
        self.entries[row.index() * self.ports + column.index()]
    }

    /// The entries, row-major.
    #[must_use]
    pub fn as_slice(&self) -> &'a [Complex64] {
        self.entries
    }

    /// The rows, top to bottom.
    pub fn rows(&self) -> impl Iterator<Item = &'a [Complex64]> + use<'a> {
        self.entries.chunks_exact(self.ports)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(points: usize) -> FrequencyGrid {
        FrequencyGrid::linear(1e9, 2e9, points).unwrap()
    }

    fn build(
        ports: usize,
        entries: usize,
        references: Vec<Complex64>,
    ) -> Result<Network, NetworkError> {
        Network::new(
            ParameterKind::Scattering,
            grid(3),
            ports,
            vec![Complex64::ZERO; entries],
            references,
        )
    }

    #[test]
    fn the_constructor_refuses_what_breaks_a_rule() {
        let fifty = Complex64::from(50.0);
        assert!(build(2, 12, vec![fifty]).is_ok());
        assert!(build(2, 12, vec![fifty; 6]).is_ok());
        assert_eq!(
            build(2, 11, vec![fifty]).unwrap_err(),
            NetworkError::EntryCount { ports: 2, points: 3, found: 11 }
        );
        assert_eq!(build(0, 0, vec![fifty]).unwrap_err(), NetworkError::NoPorts);
        assert_eq!(
            build(2, 12, vec![fifty; 3]).unwrap_err(),
            NetworkError::ReferenceCount { ports: 2, found: 3 }
        );
        let bad = Complex64::new(0.0, 50.0);
        assert_eq!(
            build(2, 12, vec![fifty, bad]).unwrap_err(),
            NetworkError::Reference { port: Port::from_index(1), value_ohm: bad }
        );
        let mut entries = vec![Complex64::ZERO; 12];
        entries[6].re = f64::NAN;
        let refused =
            Network::new(ParameterKind::Scattering, grid(3), 2, entries, vec![fifty]).unwrap_err();
        assert!(
            matches!(refused, NetworkError::NotFinite { row, column, .. } if row.number() == 2 && column.number() == 1)
        );
        let h =
            Network::new(ParameterKind::HybridH, grid(1), 3, vec![Complex64::ZERO; 9], vec![fifty]);
        assert!(matches!(h, Err(NetworkError::TwoPortsOnly { ports: 3, .. })));
    }

    #[test]
    fn huge_port_counts_do_not_overflow() {
        assert!(build(usize::MAX, 12, vec![Complex64::from(50.0)]).is_err());
    }
}
