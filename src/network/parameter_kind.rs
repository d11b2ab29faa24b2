//! The parameters by which a network is described.

use std::fmt;

/// The quantities that a matrix relates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ParameterKind {
    /// S: reflected waves from incident waves.
    Scattering,
    /// Z: voltages from currents, ohms.
    Impedance,
    /// Y: currents from voltages, siemens.
    Admittance,
    /// H: (V1, I2) from (I1, V2), two ports.
    HybridH,
    /// G: (I1, V2) from (V1, I2), two ports.
    HybridG,
}

impl ParameterKind {
    /// The letter of the parameter in files.
    #[must_use]
    pub fn letter(self) -> char {
        match self {
            Self::Scattering => 'S',
            Self::Impedance => 'Z',
            Self::Admittance => 'Y',
            Self::HybridH => 'H',
            Self::HybridG => 'G',
        }
    }

    /// The maximum real or imaginary part of an entry: 1e9 for S; 1e30 for Z (ohm), Y (siemens), H
    /// and G. Products of a few such entries, as conversions and decompositions form them, are far
    /// within double precision.
    #[must_use]
    pub fn max_magnitude(self) -> f64 {
        match self {
            Self::Scattering => 1e9,
            Self::Impedance | Self::Admittance | Self::HybridH | Self::HybridG => 1e30,
        }
    }

    /// Whether the parameter exists for two ports only.
    #[must_use]
    pub fn is_two_port_only(self) -> bool {
        matches!(self, Self::HybridH | Self::HybridG)
    }
}

impl fmt::Display for ParameterKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.letter())
    }
}
