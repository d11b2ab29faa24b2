//! The kinds of splitters by the nominal phase between their outputs.

use crate::requirement::Quantity;
use crate::units::wrap_deg;
use std::fmt;

/// The nominal phase difference between the two outputs of a splitter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SplitterKind {
    /// 90 degrees, either output leading: a quadrature coupler.
    Quadrature,
    /// 180 degrees: a balun.
    Antiphase,
    /// 0 degrees: a divider.
    Inphase,
}

impl SplitterKind {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Quadrature, Self::Antiphase, Self::Inphase];

    /// The name in files and on the command line.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Quadrature => "quadrature",
            Self::Antiphase => "antiphase",
            Self::Inphase => "inphase",
        }
    }

    /// The kind of that [`name`](Self::name).
    ///
    /// ```
    /// use fourphase::splitter::SplitterKind;
    /// assert_eq!(SplitterKind::from_name("antiphase"), Some(SplitterKind::Antiphase));
    /// assert_eq!(SplitterKind::from_name("balun"), None);
    /// ```
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// The nominal phase difference nearest to a measured one, degrees.
    #[must_use]
    pub fn nominal_deg(self, measured_deg: f64) -> f64 {
        match self {
            Self::Quadrature if wrap_deg(measured_deg) < 0.0 => -90.0,
            Self::Quadrature => 90.0,
            Self::Antiphase => 180.0,
            Self::Inphase => 0.0,
        }
    }

    /// The rejection that imbalance and phase error of this kind degrade: that of the common mode
    /// for an antiphase splitter, that of the image for the others.
    #[must_use]
    pub fn rejection(self) -> Quantity {
        match self {
            Self::Antiphase => Quantity::CommonModeRejection,
            Self::Quadrature | Self::Inphase => Quantity::ImageRejection,
        }
    }

    /// Whether a quantity can be limited for a splitter of this kind.
    #[must_use]
    pub fn has(self, quantity: Quantity) -> bool {
        quantity == self.rejection()
            || matches!(quantity, Quantity::AmplitudeImbalance | Quantity::PhaseError)
    }
}

impl fmt::Display for SplitterKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
