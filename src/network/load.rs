//! Ports terminated in loads other than their reference impedances.

use super::lu::Lu;
use super::waves::PortWaves;
use super::{Network, NetworkError, ParameterKind, Port, change_reference, convert, onto_grid};
use num_complex::Complex64;

/// The termination of a port.
#[derive(Clone, Debug, PartialEq)]
pub enum Load {
    /// An impedance in ohms, the same at every frequency. Its real part may be zero (a short) but
    /// not negative.
    Impedance(Complex64),
    /// A one-port, interpolated where its frequencies differ.
    OnePort(Network),
    /// b/a in the waves of the terminated port, the same at every frequency; 1 is an open for any
    /// real reference impedance.
    Reflection(Complex64),
}

impl Load {
    /// b / a of the load at each frequency of `network`, in the waves of its `port`.
    ///
    /// # Errors
    /// [`NetworkError::OutsideData`] where a one-port does not cover the grid, and errors of
    /// [`convert`] and [`change_reference`].
    ///
    /// # Panics
    /// If there is no such port.
    pub fn reflections(
        &self,
        network: &Network,
        port: Port,
    ) -> Result<Vec<Complex64>, NetworkError> {
        let points = network.grid().len();
        let reference_at = |point: usize| network.references_ohm(point)[port.index()];
        match self {
            Self::Impedance(impedance_ohm) => Ok((0..points)
                .map(|point| {
                    PortWaves::new(network.wave_definition(), reference_at(point))
                        .reflection_of(*impedance_ohm)
                })
                .collect()),
            Self::Reflection(value) => Ok(vec![*value; points]),
            // As it is after the first time.
            Self::OnePort(one_port)
                if one_port.kind() == ParameterKind::Scattering
                    && one_port.wave_definition() == network.wave_definition()
                    && one_port.grid() == network.grid()
                    && (0..points).all(|at| one_port.references_ohm(at)[0] == reference_at(at)) =>
            {
                Ok(one_port.entries().to_vec())
            }
            Self::OnePort(one_port) => {
                let scattering = convert(one_port, ParameterKind::Scattering)?;
                let on_grid = onto_grid(&scattering, network.grid())?.network;
                let references = (0..points).map(reference_at).collect();
                Ok(change_reference(&on_grid, references, network.wave_definition())?
                    .entries()
                    .to_vec())
            }
        }
    }
}

/// The scattering network with loads at some of its ports.
///
/// The result has the ports of `network`, in order. Its column j holds the waves that leave every
/// port when a unit wave enters port j and the loads are connected. For ports without a load this
/// is the scattering matrix of the loaded network; the row of a loaded port is the wave that its
/// load receives.
///
/// # Errors
/// [`NetworkError::NoSuchPort`], [`NetworkError::PortTwice`], [`NetworkError::OutsideData`] where
/// a load's file does not cover the grid, [`NetworkError::Ringing`] with the frequency at which
/// network and loads are singular.
///
/// # Method
/// b = S (a + Γ b), so b = (1 - S Γ)⁻¹ S a, with Γ diagonal and zero at ports without a load.
pub fn close_ports(network: &Network, loads: &[(Port, Load)]) -> Result<Network, NetworkError> {
    let scattering = convert(network, ParameterKind::Scattering)?;
    let mut reflections = Vec::with_capacity(loads.len());
    for (at, (port, load)) in loads.iter().enumerate() {
        scattering.check_port(*port)?;
        if loads[..at].iter().any(|(earlier, _)| earlier == port) {
            return Err(NetworkError::PortTwice { port: *port });
        }
        let values = load
            .reflections(&scattering, *port)
            .map_err(|source| NetworkError::InLoad { port: *port, source: Box::new(source) })?;
        reflections.push((port.index(), values));
    }
    let points = scattering.grid().len();
    let mut all = vec![Complex64::ZERO; scattering.ports() * points];
    for (port, values) in reflections {
        all[port * points..(port + 1) * points].copy_from_slice(&values);
    }
    let every: Vec<usize> = (0..scattering.ports()).collect();
    let entries = terminated_waves(&scattering, &all, &every)?;
    scattering.with_matrices(
        ParameterKind::Scattering,
        entries,
        scattering.stored_references().to_vec(),
    )
}

/// The waves that leave every port of a scattering network for a unit wave into each of the `driven`
/// ports, with every port terminated: point after point, a row for each port, a column for each driven
/// one. `reflections` holds b/a of the terminations: port after port, point after point.
///
/// # Errors
/// [`NetworkError::Ringing`].
pub(crate) fn terminated_waves(
    scattering: &Network,
    reflections: &[Complex64],
    driven: &[usize],
) -> Result<Vec<Complex64>, NetworkError> {
    let (ports, points) = (scattering.ports(), scattering.grid().len());
    let mut waves = Vec::with_capacity(points * ports * driven.len());
    let mut system = vec![Complex64::ZERO; ports * ports];
    let mut lu = Lu::new(ports);
    for (point, matrix) in scattering.entries().chunks_exact(ports * ports).enumerate() {
        for (row, (own, values)) in
            system.chunks_exact_mut(ports).zip(matrix.chunks_exact(ports)).enumerate()
        {
            for (column, (entry, value)) in own.iter_mut().zip(values).enumerate() {
                *entry = -value * reflections[column * points + point];
            }
            own[row] += 1.0;
            waves.extend(driven.iter().map(|&column| values[column]));
        }
        let ringing = |_| NetworkError::Ringing { frequency_hz: scattering.grid().as_hz()[point] };
        lu.factor(&system).map_err(ringing)?;
        lu.solve(&mut waves[point * ports * driven.len()..], driven.len());
    }
    Ok(waves)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::{FrequencyGrid, WaveDefinition};

    fn two_port(entries: [Complex64; 4]) -> Network {
        let grid = FrequencyGrid::from_hz(vec![1e9]).unwrap();
        Network::new(ParameterKind::Scattering, grid, 2, entries.to_vec(), vec![50.0.into()])
            .unwrap()
    }

    #[test]
    fn a_load_equals_its_impedance_as_reference() {
        let c = Complex64::new;
        let network = two_port([c(0.1, 0.2), c(0.5, -0.3), c(0.4, -0.35), c(-0.2, 0.1)]);
        let port = Port::from_index(1);
        let load_ohm = c(33.0, 12.0);
        let closed = close_ports(&network, &[(port, Load::Impedance(load_ohm))]).unwrap();
        let seen =
            change_reference(&network, vec![50.0.into(), load_ohm], WaveDefinition::Kurokawa)
                .unwrap();
        // In power waves a port whose reference impedance is the load has no incident wave.
        assert!((closed.entries()[0] - seen.entries()[0]).norm() < 1e-14);
    }

    #[test]
    fn textbook_input_reflection() {
        let c = Complex64::new;
        let s = [c(0.1, 0.2), c(0.5, -0.3), c(0.4, -0.35), c(-0.2, 0.1)];
        let short =
            close_ports(&two_port(s), &[(Port::from_index(1), Load::Impedance(Complex64::ZERO))])
                .unwrap();
        // Γ_in = S11 + S12 S21 Γ / (1 - S22 Γ), any textbook; Γ = -1 for a short.
        let want = s[0] - s[1] * s[2] / (1.0 + s[3]);
        assert!((short.entries()[0] - want).norm() < 1e-14);
    }

    #[test]
    fn a_shorted_short_stub_rings() {
        let through = two_port([Complex64::ZERO, Complex64::ONE, Complex64::ONE, Complex64::ZERO]);
        let short = || Load::Impedance(Complex64::ZERO);
        let rings = close_ports(
            &through,
            &[(Port::from_index(0), short()), (Port::from_index(1), short())],
        );
        assert!(matches!(rings, Err(NetworkError::Ringing { .. })));
    }
}
