//! Bond wires and ribbons: inductance and resistance with the skin effect.

use super::construction::{REFERENCE_OHM, at, not_negative, positive, scattering};
use super::error::ComponentError;
use super::lumped::{Arrangement, Elements, shunt_element};
use crate::network::{FrequencyGrid, Network, Wiring, join};
use num_complex::Complex64;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Permeability of free space over 2 π, H/m.
const MU_0_OVER_2_PI: f64 = 2e-7;

/// The conductor between the pads of a bond, straight and in free space; ground nearby lowers its
/// inductance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum BondConductor {
    /// An inductance, H, the same at every frequency.
    Inductance(f64),
    /// A round wire.
    Wire {
        /// Length, m.
        length_m: f64,
        /// Diameter, m.
        diameter_m: f64,
        /// Conductivity, S/m; infinite for a perfect conductor.
        conductivity_s_per_m: f64,
    },
    /// A flat ribbon.
    Ribbon {
        /// Length, m.
        length_m: f64,
        /// Width, m.
        width_m: f64,
        /// Thickness, m.
        thickness_m: f64,
        /// Conductivity, S/m; infinite for a perfect conductor.
        conductivity_s_per_m: f64,
    },
}

/// A bond wire or ribbon with a pad at each end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bond {
    /// The conductor between the pads.
    pub conductor: BondConductor,
    /// Resistance in series with that of the conductor, ohms.
    pub resistance_ohm: f64,
    /// Capacitance to ground of each pad, F.
    pub pad_capacitance_f: f64,
}

impl BondConductor {
    /// Impedance at a frequency in Hz, ohms: j ω times the inductance of currents on the surface,
    /// plus the internal impedance of the metal.
    ///
    /// # Method
    /// Outside, a straight conductor has 0.2 uH per m times l (ln(2 l / r) - 1); r is the radius of a
    /// wire, for a ribbon that of the wire with the same capacitance: its width over 4 if it is thin
    /// (G. Polya and G. Szego, "Isoperimetric Inequalities in Mathematical Physics", the rectangle).
    /// Inside, a wire has Z = γ I0(γr) / (2 π r σ I1(γr)) per length with γ = (1 + j)/δ and the skin depth
    /// δ (S. Ramo, J. Whinnery, T. Van Duzer, "Fields and Waves in Communication Electronics"); at
    /// zero frequency both make l (ln(4 l / d) - 0.75). Inside, a ribbon of area A and perimeter P has
    /// Z = γ coth(γ A / P) / (P σ): its resistance at zero frequency, and that of its surface when δ is
    /// small. The current of a ribbon is taken to be on its surface at all frequencies, which at
    /// frequencies where δ is above its thickness gives 0.02 uH per m too little. All from memory.
    ///
    /// # Errors
    /// [`ComponentError::OutOfRange`] for a length, diameter, width, thickness or conductivity that is
    /// not positive; [`ComponentError::ShortWire`] where the formula gives no positive inductance.
    ///
    /// # Examples
    /// ```
    /// use fourphase::component::BondConductor;
    ///
    /// // 187 pH at zero frequency.
    /// let wire = BondConductor::Wire {
    ///     length_m: 300e-6,
    ///     diameter_m: 25e-6,
    ///     conductivity_s_per_m: 41e6,
    /// };
    /// let inductance_h = wire.inductance_h(29e9)?;
    /// assert!((172e-12..175e-12).contains(&inductance_h));
    /// # Ok::<(), fourphase::component::ComponentError>(())
    /// ```
    pub fn impedance_ohm(&self, frequency_hz: f64) -> Result<Complex64, ComponentError> {
        not_negative("frequency_hz", frequency_hz)?;
        let omega = TAU * frequency_hz;
        let outside_h = self.outside_h()?;
        Ok(Complex64::new(0.0, omega * outside_h) + self.internal_ohm(omega))
    }

    /// Inductance at a frequency in Hz, H; at zero frequency that of 1 Hz.
    ///
    /// # Errors
    /// As [`BondConductor::impedance_ohm`].
    pub fn inductance_h(&self, frequency_hz: f64) -> Result<f64, ComponentError> {
        let frequency_hz = frequency_hz.max(1.0);
        Ok(self.impedance_ohm(frequency_hz)?.im / (TAU * frequency_hz))
    }

    /// The inductance of currents on the surface, H.
    fn outside_h(&self) -> Result<f64, ComponentError> {
        let (length_m, across_m, radius_m) = match *self {
            Self::Inductance(inductance_h) => return not_negative("inductance_h", inductance_h),
            Self::Wire { length_m, diameter_m, conductivity_s_per_m } => {
                positive_or_infinite(conductivity_s_per_m)?;
                (length_m, positive("diameter_m", diameter_m)?, 0.5 * diameter_m)
            }
            Self::Ribbon { length_m, width_m, thickness_m, conductivity_s_per_m } => {
                positive_or_infinite(conductivity_s_per_m)?;
                positive("width_m", width_m)?;
                positive("thickness_m", thickness_m)?;
                (length_m, width_m.max(thickness_m), equivalent_radius_m(width_m, thickness_m))
            }
        };
        positive("length_m", length_m)?;
        let outside_h = MU_0_OVER_2_PI * length_m * ((2.0 * length_m / radius_m).ln() - 1.0);
        if outside_h > 0.0 {
            Ok(outside_h)
        } else {
            Err(ComponentError::ShortWire { length_m, diameter_m: across_m })
        }
    }

    /// The internal impedance of checked dimensions, ohms.
    fn internal_ohm(&self, omega: f64) -> Complex64 {
        let (length_m, perimeter_m, area_m2, conductivity_s_per_m) = match *self {
            Self::Inductance(_) => return Complex64::ZERO,
            Self::Wire { length_m, diameter_m, conductivity_s_per_m } => {
                let area_m2 = 0.25 * PI * diameter_m * diameter_m;
                (length_m, PI * diameter_m, area_m2, conductivity_s_per_m)
            }
            Self::Ribbon { length_m, width_m, thickness_m, conductivity_s_per_m } => {
                let perimeter_m = 2.0 * (width_m + thickness_m);
                (length_m, perimeter_m, width_m * thickness_m, conductivity_s_per_m)
            }
        };
        if conductivity_s_per_m.is_infinite() {
            return Complex64::ZERO;
        }
        // γ = (1 + j)/δ with δ² = 2/(ω μ σ).
        let over_depth = (PI * MU_0_OVER_2_PI * omega * conductivity_s_per_m).sqrt();
        let gamma = Complex64::new(over_depth, over_depth);
        let surface = length_m / (perimeter_m * conductivity_s_per_m);
        let depth_m = area_m2 / perimeter_m;
        if over_depth * depth_m < SLOW {
            return Complex64::from(length_m / (area_m2 * conductivity_s_per_m));
        }
        surface
            * gamma
            * match self {
                Self::Wire { .. } => bessel_ratio(2.0 * gamma * depth_m),
                _ => 1.0 / (gamma * depth_m).tanh(),
            }
    }
}

/// A conductor thinner than this multiple of the skin depth carries a uniform current.
const SLOW: f64 = 1e-6;

fn positive_or_infinite(conductivity_s_per_m: f64) -> Result<(), ComponentError> {
    if conductivity_s_per_m == f64::INFINITY {
        return Ok(());
    }
    positive("conductivity_s_per_m", conductivity_s_per_m).map(drop)
}

/// I0(z)/I1(z) of modified Bessel functions for an argument of positive real part, by the continued
/// fraction I1/I0 = 1/(2/z + 1/(4/z + 1/(6/z + ..))); for large ones by 1 + 1/(2z) + 3/(8z²).
fn bessel_ratio(z: Complex64) -> Complex64 {
    /// From here on the next term of the expansion, 3/(8 z³), is below 4e-10.
    const LARGE: f64 = 1000.0;
    if z.norm() > LARGE {
        return 1.0 + 0.5 / z + 0.375 / (z * z);
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "20 to 2020")]
    let terms = 20 + 2 * z.norm() as u32;
    let rest = (2..=terms).rev().fold(Complex64::ZERO, |rest, term| {
        let own = 2.0 * f64::from(term) / z;
        if rest == Complex64::ZERO { own } else { own + 1.0 / rest }
    });
    2.0 / z + 1.0 / rest
}

/// The radius of the round wire with the capacitance of a rectangle. With the complete elliptic
/// integrals K and E of modulus k, and those of the complementary one, sides of 4 r (E - k'² K) and
/// 4 r (E' - k² K') make it r.
fn equivalent_radius_m(width_m: f64, thickness_m: f64) -> f64 {
    let (long_m, short_m) = (width_m.max(thickness_m), width_m.min(thickness_m));
    let side = |square: f64| {
        let (first, second) = elliptic_integrals(square);
        second - (1.0 - square) * first
    };
    // k² = 1/2 makes a square, k² = 1 a strip without thickness.
    let (mut low, mut high) = (0.5, 1.0);
    for _ in 0..60 {
        let square = 0.5 * (low + high);
        if side(1.0 - square) * long_m > side(square) * short_m {
            low = square;
        } else {
            high = square;
        }
    }
    0.25 * long_m / side(low)
}

/// The complete elliptic integrals of the first and second kind for the square of the modulus, below
/// 1, by the arithmetic-geometric mean.
fn elliptic_integrals(square: f64) -> (f64, f64) {
    let (mut arithmetic, mut geometric) = (1.0, (1.0 - square).sqrt());
    let (mut sum, mut weight) = (0.5 * square, 0.5);
    for _ in 0..40 {
        let difference: f64 = 0.5 * (arithmetic - geometric);
        if difference.abs() < 1e-16 {
            break;
        }
        weight *= 2.0;
        sum += weight * difference * difference;
        (arithmetic, geometric) = (0.5 * (arithmetic + geometric), (arithmetic * geometric).sqrt());
    }
    let first = FRAC_PI_2 / arithmetic;
    (first, first * (1.0 - sum))
}

/// Inductance in H of a straight round wire in free space at low frequency, where the current is
/// uniform, from its length and diameter in m: 0.2 uH per m times l (ln(4 l / d) - 0.75). Ground
/// nearby lowers the inductance, and the skin effect does too: see
/// [`BondConductor::impedance_ohm`].
///
/// Source: F. W. Grover, "Inductance Calculations" (1946), from memory.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a length or diameter that is not positive;
/// [`ComponentError::ShortWire`] where the formula gives no positive inductance, about half a
/// diameter.
///
/// # Examples
/// ```
/// use fourphase::component::wire_inductance_h;
///
/// // The usual estimate is 0.8 nH per mm of a wire of 25 um.
/// let inductance_h = wire_inductance_h(1e-3, 25e-6)?;
/// assert!((0.8e-9..0.9e-9).contains(&inductance_h));
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn wire_inductance_h(length_m: f64, diameter_m: f64) -> Result<f64, ComponentError> {
    positive("length_m", length_m)?;
    positive("diameter_m", diameter_m)?;
    let inductance_h = 2e-7 * length_m * ((4.0 * length_m / diameter_m).ln() - 0.75);
    if inductance_h > 0.0 {
        Ok(inductance_h)
    } else {
        Err(ComponentError::ShortWire { length_m, diameter_m })
    }
}

/// The two-port of a bond, in 50 ohm: a pad, the conductor, a pad.
///
/// # Errors
/// [`ComponentError::OutOfRange`] for a negative or infinite value, and those of
/// [`BondConductor::impedance_ohm`].
///
/// # Examples
/// ```
/// use fourphase::component::{Bond, BondConductor, bond};
/// use fourphase::network::FrequencyGrid;
///
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let conductor = BondConductor::Inductance(200e-12);
/// let wire = Bond { conductor, resistance_ohm: 0.3, pad_capacitance_f: 15e-15 };
/// assert_eq!(bond(&grid, &wire)?.ports(), 2);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn bond(grid: &FrequencyGrid, bond: &Bond) -> Result<Network, ComponentError> {
    not_negative("resistance_ohm", bond.resistance_ohm)?;
    let pad = Elements { capacitance_f: Some(bond.pad_capacitance_f), ..Elements::default() };
    let pad = shunt_element(grid, &pad, Arrangement::Series)?;
    let mut entries = Vec::with_capacity(4 * grid.len());
    for &hz in grid.as_hz() {
        let own_ohm = bond.conductor.impedance_ohm(hz)? + bond.resistance_ohm;
        let whole_ohm = own_ohm + 2.0 * REFERENCE_OHM;
        let (reflected, passed) = (own_ohm / whole_ohm, 2.0 * REFERENCE_OHM / whole_ohm);
        entries.extend([reflected, passed, passed, reflected]);
    }
    let blocks = [pad.clone(), scattering(grid, 2, entries)?, pad];
    let wiring = Wiring {
        joins: vec![vec![at(0, 2), at(1, 1)], vec![at(1, 2), at(2, 1)]],
        outside: vec![at(0, 1), at(2, 2)],
    };
    Ok(join(&blocks, &wiring)?)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Values of M. Abramowitz, I. Stegun, "Handbook of Mathematical Functions", tables 9.8 and 17.1.
    #[test]
    fn functions_agree_with_tables() {
        let ratio = bessel_ratio(Complex64::from(1.0));
        assert!((ratio.re - 1.266_065_878 / 0.565_159_104).abs() < 1e-8, "{ratio}");
        let near =
            bessel_ratio(Complex64::new(999.9, 0.0)) - bessel_ratio(Complex64::new(1000.1, 0.0));
        assert!(near.norm() < 1e-6);
        let (first, second) = elliptic_integrals(0.5);
        assert!((first - 1.854_074_677).abs() < 1e-9 && (second - 1.350_643_881).abs() < 1e-9);
    }

    /// The logarithmic capacity of a square is 0.59017 of its side, that of a strip a quarter.
    #[test]
    fn a_rectangle_is_between_a_strip_and_a_square() {
        assert!((equivalent_radius_m(1.0, 1.0) - 0.590_170).abs() < 1e-6);
        assert!((equivalent_radius_m(1.0, 1e-9) - 0.25).abs() < 1e-6);
        assert!((equivalent_radius_m(3.0, 1.0) - equivalent_radius_m(1.0, 3.0)).abs() < 1e-12);
    }

    /// At zero frequency a wire has the inductance of a uniform current and its resistance; where the
    /// skin is thin, resistance and internal reactance are equal.
    #[test]
    fn a_wire_goes_from_uniform_current_to_skin() {
        let (length_m, diameter_m, conductivity_s_per_m) = (300e-6, 25e-6, 41e6);
        let wire = BondConductor::Wire { length_m, diameter_m, conductivity_s_per_m };
        let slow_h = wire_inductance_h(length_m, diameter_m).unwrap();
        assert!((wire.inductance_h(1e5).unwrap() / slow_h - 1.0).abs() < 1e-4);
        let resistance_ohm = length_m / (0.25 * PI * diameter_m.powi(2) * conductivity_s_per_m);
        assert!((wire.impedance_ohm(0.0).unwrap().re / resistance_ohm - 1.0).abs() < 1e-9);
        let fast = wire.internal_ohm(TAU * 29e9);
        assert!((fast.im / fast.re - 1.0).abs() < 0.03 && fast.re > 4.0 * resistance_ohm);
        let perfect =
            BondConductor::Wire { length_m, diameter_m, conductivity_s_per_m: f64::INFINITY };
        assert!(perfect.impedance_ohm(29e9).unwrap().re.abs() < 1e-300);
    }

    /// A wide ribbon has less inductance than a wire of the same cross-section.
    #[test]
    fn a_ribbon_has_less_inductance_than_a_wire() {
        let ribbon = |width_m: f64| BondConductor::Ribbon {
            length_m: 300e-6,
            width_m,
            thickness_m: 12.5e-6,
            conductivity_s_per_m: 41e6,
        };
        let inductance_h = |width_m: f64| ribbon(width_m).inductance_h(29e9).unwrap();
        assert!((100e-12..150e-12).contains(&inductance_h(75e-6)), "{}", inductance_h(75e-6));
        assert!(inductance_h(250e-6) < inductance_h(75e-6));
        let own = ribbon(75e-6).impedance_ohm(0.0).unwrap();
        assert!((own.re - 300e-6 / (75e-6 * 12.5e-6 * 41e6)).abs() < 1e-9);
    }
}
