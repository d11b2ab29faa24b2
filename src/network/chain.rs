//! Chain matrices of cascaded two-ports and 2N-ports.
//!
//! Ports 1..N are on the left, N+1..2N on the right. With currents into the network,
//!
//! | form | definition |
//! |---|---|
//! | voltage (ABCD) | (V, I) left = M (V, -I) right |
//! | wave cascade (T) | (b, a) left = T (a, b) right |
//!
//! The product of two chain matrices is the cascade in the direction of the signal. A chain matrix
//! exists where the transmission from left to right can be inverted. Source: D. A. Frickey, IEEE
//! Trans. MTT 42 (1994) 205-211, with the conjugate reference impedances of power waves; here the
//! forms follow from the definitions for any waves.

use super::lu::Lu;
use super::waves::PortWaves;
use super::{
    FrequencyGrid, Network, NetworkError, ParameterKind, Port, Terminal, WaveDefinition, Wiring,
    convert, join,
};
use num_complex::Complex64;

/// The form of a chain matrix.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChainForm {
    /// ABCD: relates voltages and currents.
    Voltage,
    /// T: relates waves.
    WaveCascade,
}

/// Chain matrices over frequency, 2N by 2N, row-major, point after point.
#[derive(Clone, Debug, PartialEq)]
pub struct Chain {
    form: ChainForm,
    /// Ports on each side.
    side: usize,
    grid: FrequencyGrid,
    entries: Vec<Complex64>,
}

impl Chain {
    /// Chain matrices with `side` ports on each side: `grid.len() * (2 side)^2` entries.
    ///
    /// # Errors
    /// [`NetworkError::NoPorts`], and [`NetworkError::EntryCount`] for more or fewer entries.
    pub fn new(
        form: ChainForm,
        side: usize,
        grid: FrequencyGrid,
        entries: Vec<Complex64>,
    ) -> Result<Self, NetworkError> {
        let (ports, points) = (side.saturating_mul(2), grid.len());
        if side == 0 {
            return Err(NetworkError::NoPorts);
        }
        let wanted = ports.checked_mul(ports).and_then(|size| size.checked_mul(points));
        if wanted != Some(entries.len()) {
            return Err(NetworkError::EntryCount { ports, points, found: entries.len() });
        }
        Ok(Self { form, side, grid, entries })
    }

    /// All entries, point after point, row-major.
    #[must_use]
    pub fn entries(&self) -> &[Complex64] {
        &self.entries
    }
}

/// The chain matrices of a 2N-port.
///
/// # Errors
/// [`NetworkError::OddPorts`]; [`NetworkError::MixedMode`]; [`NetworkError::NoInverse`] with the
/// first frequency at which nothing passes from left to right.
pub fn to_chain(network: &Network, form: ChainForm) -> Result<Chain, NetworkError> {
    let ports = network.ports();
    if !ports.is_multiple_of(2) {
        return Err(NetworkError::OddPorts { ports });
    }
    if network.modes().is_some() {
        return Err(NetworkError::MixedMode);
    }
    let scattering = convert(network, ParameterKind::Scattering)?;
    let side = ports / 2;
    let mut entries = Vec::with_capacity(scattering.entries().len());
    let mut transmission = vec![Complex64::ZERO; side * side];
    let mut lu = Lu::new(side);
    for (point, s) in scattering.entries().chunks_exact(ports * ports).enumerate() {
        for row in 0..side {
            let from = (side + row) * ports;
            transmission[row * side..(row + 1) * side].copy_from_slice(&s[from..from + side]);
        }
        lu.factor(&transmission).map_err(|_| NetworkError::NoInverse {
            what: "transmission from left to right",
            frequency_hz: scattering.grid().as_hz()[point],
        })?;
        // a_left = S_RL⁻¹ (b_right - S_RR a_right), then b_left = S_LL a_left + S_LR a_right.
        let mut incoming = vec![Complex64::ZERO; side * ports];
        for row in 0..side {
            incoming[row * ports + side + row] = Complex64::ONE;
            for column in 0..side {
                incoming[row * ports + column] = -s[(side + row) * ports + side + column];
            }
        }
        lu.solve(&mut incoming, ports);
        let mut matrix = Vec::with_capacity(ports * ports);
        for row in 0..side {
            for column in 0..ports {
                let through: Complex64 =
                    (0..side).map(|k| s[row * ports + k] * incoming[k * ports + column]).sum();
                let direct =
                    if column < side { s[row * ports + side + column] } else { Complex64::ZERO };
                matrix.push(through + direct);
            }
        }
        matrix.extend(incoming);
        if form == ChainForm::Voltage {
            matrix = Frames::of(&scattering, point).voltage_from_waves(&matrix);
        }
        entries.extend(matrix);
    }
    Ok(Chain { form, side, grid: scattering.grid().clone(), entries })
}

/// The scattering network of chain matrices, in the reference impedances given (one, or one per
/// port).
///
/// # Errors
/// [`NetworkError::NoInverse`] with the frequency at which the chain belongs to no scattering
/// matrix; errors of [`Network::new`].
pub fn from_chain(
    chain: &Chain,
    references_ohm: Vec<Complex64>,
    waves: WaveDefinition,
) -> Result<Network, NetworkError> {
    let (side, ports) = (chain.side, 2 * chain.side);
    let blank = vec![Complex64::ZERO; chain.entries.len()];
    let frame =
        Network::new(ParameterKind::Scattering, chain.grid.clone(), ports, blank, references_ohm)?
            .with_wave_definition(waves);
    let mut entries = Vec::with_capacity(chain.entries.len());
    let mut lu = Lu::new(side);
    for (point, given) in chain.entries.chunks_exact(ports * ports).enumerate() {
        let t = match chain.form {
            ChainForm::WaveCascade => given.to_vec(),
            ChainForm::Voltage => Frames::of(&frame, point).waves_from_voltage(given),
        };
        let block = |rows: usize, columns: usize| -> Vec<Complex64> {
            (0..side * side)
                .map(|at| t[(rows * side + at / side) * ports + columns * side + at % side])
                .collect()
        };
        let no_inverse = |_| NetworkError::NoInverse {
            what: "chain matrix's lower right",
            frequency_hz: chain.grid.as_hz()[point],
        };
        lu.factor(&block(1, 1)).map_err(no_inverse)?;
        // S_RL = T22⁻¹, S_RR = -T22⁻¹ T21, S_LL = T12 S_RL, S_LR = T11 + T12 S_RR.
        let mut lower = vec![Complex64::ZERO; side * ports];
        for row in 0..side {
            lower[row * ports + row] = Complex64::ONE;
            for column in 0..side {
                lower[row * ports + side + column] = -t[(side + row) * ports + column];
            }
        }
        lu.solve(&mut lower, ports);
        for row in 0..side {
            for column in 0..ports {
                let through: Complex64 =
                    (0..side).map(|k| t[row * ports + side + k] * lower[k * ports + column]).sum();
                let direct =
                    if column < side { Complex64::ZERO } else { t[row * ports + column - side] };
                entries.push(through + direct);
            }
        }
        entries.extend(lower);
    }
    Ok(Network::new(
        ParameterKind::Scattering,
        chain.grid.clone(),
        ports,
        entries,
        frame.stored_references().to_vec(),
    )?
    .with_wave_definition(waves))
}

/// Cascades two 2N-ports: ports N+1..2N of the first connect to ports 1..N of the second.
///
/// Unlike a product of chain matrices this needs no transmission to exist.
///
/// # Errors
/// [`NetworkError::OddPorts`], [`NetworkError::PortCount`], [`NetworkError::UnequalGrids`],
/// [`NetworkError::SingularLoop`].
pub fn chain(first: &Network, second: &Network) -> Result<Network, NetworkError> {
    let ports = first.ports();
    if !ports.is_multiple_of(2) {
        return Err(NetworkError::OddPorts { ports });
    }
    if second.ports() != ports {
        return Err(NetworkError::PortCount { expected: ports, found: second.ports() });
    }
    let side = ports / 2;
    let at = |block: usize, index: usize| Terminal { block, port: Port::from_index(index) };
    let joins = (0..side).map(|port| vec![at(0, side + port), at(1, port)]).collect();
    let outside = (0..side).map(|port| at(0, port)).chain((0..side).map(|port| at(1, side + port)));
    join(&[first.clone(), second.clone()], &Wiring { joins, outside: outside.collect() })
}

/// V and I of every port from its waves: V = (H a + Z b) s, I = (a - b) s.
struct Frames {
    side: usize,
    /// (Z s, H s, s) of each port.
    ports: Vec<(Complex64, Complex64, Complex64)>,
}

impl Frames {
    fn of(network: &Network, point: usize) -> Self {
        let ports = network
            .references_ohm(point)
            .iter()
            .map(|&reference_ohm| {
                let PortWaves { factor, reference, reflected } =
                    PortWaves::new(network.wave_definition(), reference_ohm);
                let scale = (factor * (reference + reflected)).inv();
                (reference * scale, reflected * scale, scale)
            })
            .collect();
        Self { side: network.ports() / 2, ports }
    }

    /// (V, I) left = L (b, a) left and (V, -I) right = R (a, b) right: M = L T R⁻¹.
    fn voltage_from_waves(&self, t: &[Complex64]) -> Vec<Complex64> {
        self.between(t, |port| self.left(port), |port| inverse(self.right(port)))
    }

    /// T = L⁻¹ M R.
    fn waves_from_voltage(&self, m: &[Complex64]) -> Vec<Complex64> {
        self.between(m, |port| inverse(self.left(port)), |port| self.right(port))
    }

    fn left(&self, port: usize) -> [Complex64; 4] {
        let (zs, hs, s) = self.ports[port];
        [zs, hs, -s, s]
    }

    fn right(&self, port: usize) -> [Complex64; 4] {
        let (zs, hs, s) = self.ports[self.side + port];
        [hs, zs, -s, s]
    }

    fn between(
        &self,
        matrix: &[Complex64],
        left: impl Fn(usize) -> [Complex64; 4],
        right: impl Fn(usize) -> [Complex64; 4],
    ) -> Vec<Complex64> {
        let (side, ports) = (self.side, 2 * self.side);
        let mut out = vec![Complex64::ZERO; ports * ports];
        for row in 0..side {
            let l = left(row);
            for column in 0..side {
                let r = right(column);
                let at = |i: usize, j: usize| matrix[(i * side + row) * ports + j * side + column];
                for i in 0..2 {
                    for j in 0..2 {
                        out[(i * side + row) * ports + j * side + column] = l[2 * i]
                            * (at(0, 0) * r[j] + at(0, 1) * r[2 + j])
                            + l[2 * i + 1] * (at(1, 0) * r[j] + at(1, 1) * r[2 + j]);
                    }
                }
            }
        }
        out
    }
}

fn inverse([a, b, c, d]: [Complex64; 4]) -> [Complex64; 4] {
    let scale = (a * d - b * c).inv();
    [d * scale, -b * scale, -c * scale, a * scale]
}
