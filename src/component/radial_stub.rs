//! Radial stubs.

use super::construction::{FREE_SPACE_OHM, checked, positive, scattering};
use super::cylinder_functions::{Order, bessel, neumann};
use super::error::ComponentError;
use super::lumped::shunt_scattering;
use super::parameter_limit::ParameterLimit;
use crate::network::{FrequencyGrid, Network};
use crate::units::SPEED_OF_LIGHT_M_PER_S;
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Maximum outer radius in wavelengths, because the effort of the Bessel functions grows with it.
const MAX_WAVELENGTHS: f64 = 1e4;

/// A sector of metal in shunt to the signal path, open at its outer edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RadialStub {
    /// Radius of the connection to the line, m.
    pub inner_radius_m: f64,
    /// Outer radius, m.
    pub outer_radius_m: f64,
    /// Angle of the sector, degrees, at most 360.
    pub sector_deg: f64,
    /// Height of the substrate, m.
    pub height_m: f64,
    /// Effective relative permittivity.
    pub effective_permittivity: f64,
}

impl RadialStub {
    fn check(&self, last_hz: f64) -> Result<(), ComponentError> {
        let (inner_m, outer_m) = (self.inner_radius_m, self.outer_radius_m);
        positive("inner_radius_m", inner_m)?;
        positive("outer_radius_m", outer_m)?;
        if outer_m <= inner_m {
            return Err(ComponentError::Radii { inner_m, outer_m });
        }
        checked("sector_deg", ParameterLimit::UpToFullTurn, self.sector_deg)?;
        positive("height_m", self.height_m)?;
        positive("effective_permittivity", self.effective_permittivity)?;
        let wavelengths = self.wave_number_per_m(last_hz) * outer_m / TAU;
        if wavelengths > MAX_WAVELENGTHS {
            return Err(ComponentError::LongRadialStub { wavelengths, limit: MAX_WAVELENGTHS });
        }
        Ok(())
    }

    fn wave_number_per_m(&self, frequency_hz: f64) -> f64 {
        TAU * frequency_hz * self.effective_permittivity.sqrt() / SPEED_OF_LIGHT_M_PER_S
    }

    /// Input reactance in ohms of a radial line with an open edge, wave number k and radii a < b:
    /// X = (h Z / (a θ)) (J0(ka) N1(kb) - N0(ka) J1(kb)) / (J1(ka) N1(kb) - N1(ka) J1(kb)).
    fn reactance_ohm(&self, frequency_hz: f64) -> f64 {
        let k = self.wave_number_per_m(frequency_hz);
        let (inner, outer) = (k * self.inner_radius_m, k * self.outer_radius_m);
        let wave_ohm = FREE_SPACE_OHM / self.effective_permittivity.sqrt();
        let (j0, j1) = (bessel(Order::Zero, inner), bessel(Order::One, inner));
        let (n0, n1) = (neumann(Order::Zero, inner), neumann(Order::One, inner));
        let (j1_outer, n1_outer) = (bessel(Order::One, outer), neumann(Order::One, outer));
        let scale = wave_ohm * self.height_m / (self.inner_radius_m * self.sector_deg.to_radians());
        scale * (j0 * n1_outer - n0 * j1_outer) / (j1 * n1_outer - n1 * j1_outer)
    }
}

/// The two-port of a radial stub from its connected ports to ground, in 50 ohm.
///
/// Source: N. Marcuvitz, "Waveguide Handbook" (1951), section 1.7, from memory; a test compares it
/// with a chain of short lines of growing width.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a parameter out of range, [`ComponentError::Radii`] for an
/// outer radius that is not above the inner one, [`ComponentError::LongRadialStub`] for one of more
/// than 10,000 wavelengths.
///
/// # Examples
/// ```
/// use fourphase::component::{RadialStub, radial_stub};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::linear(24e9, 34e9, 11)?;
/// let sector = RadialStub {
///     inner_radius_m: 40e-6,
///     outer_radius_m: 600e-6,
///     sector_deg: 60.0,
///     height_m: 100e-6,
///     effective_permittivity: 9.0,
/// };
/// // It is resonant between 26 and 27 GHz, where it shorts the path.
/// let network = radial_stub(&grid, &sector)?;
/// assert!(network.entries().chunks_exact(4).any(|s| s[2].norm() < 0.1));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn radial_stub(grid: &FrequencyGrid, stub: &RadialStub) -> Result<Network, ComponentError> {
    stub.check(grid.last_hz())?;
    let entries = grid.as_hz().iter().flat_map(|&hz| {
        // At zero frequency it is an open.
        let (n, d) = if hz > 0.0 {
            (Complex64::new(0.0, stub.reactance_ohm(hz)), Complex64::ONE)
        } else {
            (Complex64::ONE, Complex64::ZERO)
        };
        shunt_scattering(n, d)
    });
    scattering(grid, 2, entries.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_radial_stub_is_a_chain_of_widening_lines() {
        let stub = RadialStub {
            inner_radius_m: 40e-6,
            outer_radius_m: 600e-6,
            sector_deg: 60.0,
            height_m: 100e-6,
            effective_permittivity: 9.0,
        };
        let hz = 29e9;
        // Backwards from the open edge: short parallel-plate lines of the local width.
        let (steps, root) = (20_000, stub.effective_permittivity.sqrt());
        let width = (stub.outer_radius_m - stub.inner_radius_m) / f64::from(steps);
        let mut admittance = Complex64::ZERO;
        for step in (0..steps).rev() {
            let radius = stub.inner_radius_m + (f64::from(step) + 0.5) * width;
            let local_ohm =
                376.730_313_668 / root * stub.height_m / (radius * stub.sector_deg.to_radians());
            let tangent =
                Complex64::new(0.0, (TAU * hz * root / SPEED_OF_LIGHT_M_PER_S * width).tan());
            let normal = admittance * local_ohm;
            admittance = (normal + tangent) / (1.0 + normal * tangent) / local_ohm;
        }
        let want = (1.0 / admittance).im;
        assert!(
            (stub.reactance_ohm(hz) / want - 1.0).abs() < 1e-5,
            "{} {want}",
            stub.reactance_ohm(hz)
        );
    }
}
