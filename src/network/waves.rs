//! The three wave definitions in one form.
//!
//! a = F (V + Z I) and b = F (V - H I) at a port of reference Z, where
//!
//! | definition | F | H | source |
//! |---|---|---|---|
//! | power | 1 / (2 √Re Z) | Z* | K. Kurokawa, IEEE Trans. MTT 13 (1965) 194-202 |
//! | pseudo | √Re Z / (2 \|Z\|) | Z | R. B. Marks, D. F. Williams, J. Res. NIST 97 (1992) 533-562 |
//! | travelling | 1 / (2 √Z) | Z | the same, for Z the line's own impedance |
//!
//! For real Z the three agree. From a and b follow V = (H a + Z b) / (F (Z + H)) and
//! I = (a - b) / (F (Z + H)).

use num_complex::Complex64;

/// The wave definition of a scattering matrix. The definitions differ only where reference
/// impedances are complex.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum WaveDefinition {
    /// |a|² - |b|² is the power into the port, for any complex reference impedance.
    #[default]
    Kurokawa,
    /// The waves of a multimode calibration referred to any impedance.
    MarksWilliams,
    /// The waves that travel on a line of the reference impedance.
    LineImpedance,
}

/// F, Z and H of one port.
#[derive(Clone, Copy, Debug)]
pub(super) struct PortWaves {
    pub(super) factor: Complex64,
    pub(super) reference: Complex64,
    pub(super) reflected: Complex64,
}

impl PortWaves {
    pub(super) fn new(definition: WaveDefinition, reference_ohm: Complex64) -> Self {
        let (factor, reflected) = match definition {
            WaveDefinition::Kurokawa => {
                ((0.5 / reference_ohm.re.sqrt()).into(), reference_ohm.conj())
            }
            WaveDefinition::MarksWilliams => {
                ((0.5 * reference_ohm.re.sqrt() / reference_ohm.norm()).into(), reference_ohm)
            }
            WaveDefinition::LineImpedance => (0.5 / reference_ohm.sqrt(), reference_ohm),
        };
        Self { factor, reference: reference_ohm, reflected }
    }

    /// b / a of a load of the given impedance at this port.
    pub(super) fn reflection_of(&self, impedance_ohm: Complex64) -> Complex64 {
        (impedance_ohm - self.reflected) / (impedance_ohm + self.reference)
    }
}
