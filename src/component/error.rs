//! Errors of a component's kind or parameters.

use super::parameter_limit::ParameterLimit;
use crate::network::NetworkError;
use crate::units::UnitError;

/// The reason for which a component cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ComponentError {
    /// A number outside the limits of the parameter.
    #[error("{name} must be {limit}, found {}", shortest(*value))]
    OutOfRange {
        /// The parameter.
        name: &'static str,
        /// The limits.
        limit: ParameterLimit,
        /// The value found.
        value: f64,
    },
    /// A frequency in the wrong unit.
    #[error(transparent)]
    Unit(#[from] UnitError),
    /// A value of the wrong type, such as a word where a number is needed.
    #[error("expected {expected} for {name}, found {found}")]
    WrongValue {
        /// The parameter.
        name: &'static str,
        /// The type or words expected.
        expected: String,
        /// The value found.
        found: String,
    },
    /// A parameter that has no default and is not given.
    #[error("{of} needs {name}; it takes {takes}")]
    Missing {
        /// The kind of component.
        of: &'static str,
        /// The parameter.
        name: &'static str,
        /// All parameters of the kind.
        takes: String,
    },
    /// A parameter that the kind does not have.
    #[error("unknown parameter '{name:.60}' of {of}; it takes {takes}")]
    UnknownParameter {
        /// The kind of component.
        of: &'static str,
        /// The name found.
        name: String,
        /// All parameters of the kind.
        takes: String,
    },
    /// The former name of a parameter.
    #[error("parameter '{name}' is now '{now}'")]
    RenamedParameter {
        /// The name found.
        name: String,
        /// Its present name.
        now: &'static str,
    },
    /// A parameter given more than once.
    #[error("duplicate parameter '{name:.60}'")]
    ParameterTwice {
        /// The parameter.
        name: String,
    },
    /// A text that is not of the form NAME=VALUE.
    #[error("'{text:.60}' is not a parameter: expected NAME=VALUE, such as center_ghz=29")]
    NotAParameter {
        /// The text.
        text: String,
    },
    /// A kind that does not exist.
    #[error("there is no component of kind '{kind:.60}'; the kinds are {}", known.join(", "))]
    UnknownKind {
        /// The name found.
        kind: String,
        /// The names of all kinds.
        known: Vec<&'static str>,
    },
    /// The former name of a kind.
    #[error("kind '{kind}' is now '{now}'")]
    RenamedKind {
        /// The name found.
        kind: String,
        /// Its present name.
        now: &'static str,
    },
    /// A bond with both an inductance and dimensions, or with neither.
    #[error(
        "a bond needs either inductance_ph, or length_um and diameter_um, or length_um, width_um and \
         thickness_um"
    )]
    BondInductance,
    /// A wire for which the formula of its inductance gives no positive value.
    #[error(
        "the inductance of a wire needs a length above half its diameter, found a length of {} um \
         and a diameter of {} um",
        shortest(length_m * 1e6),
        shortest(diameter_m * 1e6)
    )]
    ShortWire {
        /// Length, m.
        length_m: f64,
        /// Diameter, m.
        diameter_m: f64,
    },
    /// A radial stub whose outer radius does not exceed its inner one.
    #[error(
        "the outer radius of a radial stub must be above its inner radius of {} um, found {} um",
        shortest(inner_m * 1e6),
        shortest(outer_m * 1e6)
    )]
    Radii {
        /// Inner radius, m.
        inner_m: f64,
        /// Outer radius, m.
        outer_m: f64,
    },
    /// A radial stub too many wavelengths long for its Bessel functions.
    #[error(
        "the outer radius of a radial stub must be below {limit} wavelengths, found {}",
        shortest(*wavelengths)
    )]
    LongRadialStub {
        /// Outer radius over the wavelength at the highest frequency.
        wavelengths: f64,
        /// The maximum that is computed.
        limit: f64,
    },
    /// Mode impedances of a pair whose even mode is not above its odd mode.
    #[error(
        "the even-mode impedance of a coupled pair must be above the odd-mode impedance of {} ohm, \
         found {} ohm",
        shortest(*odd_ohm),
        shortest(*even_ohm)
    )]
    ModeOrder {
        /// Even-mode impedance, ohms.
        even_ohm: f64,
        /// Odd-mode impedance, ohms.
        odd_ohm: f64,
    },
    /// A hybrid whose isolated port would receive all the power that its loss leaves.
    #[error(
        "the isolation of a hybrid must be above its loss of {} dB, found {} dB",
        shortest(*loss_db),
        shortest(*isolation_db)
    )]
    NoOutputPower {
        /// Isolation, positive dB.
        isolation_db: f64,
        /// Loss, positive dB.
        loss_db: f64,
    },
    /// A set of errors that no passive component can have.
    #[error(
        "no passive component has these errors: they need at least {missing_db:.3} dB more loss"
    )]
    NotPassive {
        /// Loss missing, dB.
        missing_db: f64,
    },
    /// A coupling whose amplitude ratio is not between 0 and 1.
    #[error("coupling_db must be above 0 and at most 1000, found {}", shortest(*coupling_db))]
    Coupling {
        /// The coupling, positive dB.
        coupling_db: f64,
    },
    /// An interdigitated coupler with an odd number of strips, or none.
    #[error("an interdigitated coupler needs an even number of strips, 2 or more, found {strips}")]
    Strips {
        /// The number of strips.
        strips: usize,
    },
    /// A number of stages for which a divider has no default.
    #[error(
        "a divider of {stages} stages needs an impedance and a resistor for each stage; \
         defaults exist for 1 and 2 stages"
    )]
    Stages {
        /// The number of stages.
        stages: usize,
    },
    /// Lists without one impedance and one resistor for each stage.
    #[error(
        "each stage of a divider needs an impedance and a resistor, \
         found {impedances} impedances and {resistors} resistors{}",
        for_stages(*stages)
    )]
    StageLists {
        /// The number of stages, if given.
        stages: Option<usize>,
        /// The number of impedances.
        impedances: usize,
        /// The number of resistors.
        resistors: usize,
    },
    /// A strip too narrow or wide, or a gap too small or large, for the formulas.
    #[error(
        "the formulas for microstrip give no impedance for strips of {} heights of the substrate{}",
        shortest(*width_to_height),
        with_gap(*gap_to_height)
    )]
    OutsideFormulas {
        /// Width over the height of the substrate.
        width_to_height: f64,
        /// Gap over the height of the substrate, for coupled strips.
        gap_to_height: Option<f64>,
    },
    /// An impedance that no width or gap on this substrate gives.
    #[error("{what} of {value_ohm:.1} ohm cannot be made on this substrate")]
    NoGeometry {
        /// The strip or mode.
        what: &'static str,
        /// Its impedance, ohms.
        value_ohm: f64,
    },
    /// Joining the parts failed.
    #[error(transparent)]
    Network(#[from] NetworkError),
}

impl ComponentError {
    /// The name of the parameter concerned, if it is one that was given.
    #[must_use]
    pub fn parameter(&self) -> Option<&str> {
        match self {
            Self::OutOfRange { name, .. } | Self::WrongValue { name, .. } => Some(name),
            Self::UnknownParameter { name, .. }
            | Self::RenamedParameter { name, .. }
            | Self::ParameterTwice { name } => Some(name),
            Self::Unit(
                UnitError::Gigahertz { name, .. }
                | UnitError::TooSmall { name, .. }
                | UnitError::Conductivity { name, .. },
            ) => Some(name),
            Self::Coupling { .. } => Some("coupling_db"),
            Self::Strips { .. } => Some("strips"),
            Self::Radii { .. } | Self::LongRadialStub { .. } => Some("outer_radius_um"),
            Self::ShortWire { .. } => Some("length_um"),
            Self::NoOutputPower { .. } => Some("isolation_db"),
            Self::UnknownKind { .. } | Self::RenamedKind { .. } => Some("kind"),
            _ => None,
        }
    }
}

fn for_stages(stages: Option<usize>) -> String {
    match stages {
        Some(stages) => format!(" for {stages} stages"),
        None => String::new(),
    }
}

fn with_gap(gap_to_height: Option<f64>) -> String {
    match gap_to_height {
        Some(gap) => format!(" with a gap of {} heights", shortest(gap)),
        None => String::new(),
    }
}

/// At most nine digits, without zeros at the end.
fn shortest(value: f64) -> String {
    // The rounded text of a number can be parsed; infinities and NaN have no digits to round.
    let rounded = format!("{value:.8e}").parse().unwrap_or(value);
    if rounded == 0.0 || (1e-4..1e9).contains(&f64::abs(rounded)) {
        format!("{rounded}")
    } else {
        format!("{rounded:e}")
    }
}
