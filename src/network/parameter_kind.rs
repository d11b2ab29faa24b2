//! The parameters by which a network is described.

use std::fmt;

/// Which quantities a matrix relates.
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
    /// The letter by which files know it.
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
