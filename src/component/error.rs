//! What can be wrong with a component's parameters.

use crate::network::NetworkError;

/// Why a component cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ComponentError {
    /// A parameter that must be positive.
    #[error("{name} needs a positive number, got {}", shortest(*value))]
    NotPositive {
        /// Its name.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// A parameter that must not be negative.
    #[error("{name} needs zero or a positive number, got {}", shortest(*value))]
    Negative {
        /// Its name.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// A parameter that must not be so large.
    #[error("{name} cannot be above {limit}, got {}", shortest(*value))]
    TooLarge {
        /// Its name.
        name: &'static str,
        /// Its value.
        value: f64,
        /// The largest that makes sense.
        limit: f64,
    },
    /// A parameter that must be a number.
    #[error("{name} needs to be a finite number, got {value}")]
    NotFinite {
        /// Its name.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// Two ways to give the same thing, of which one must be chosen.
    #[error("give either {one}, or {other}")]
    Either {
        /// One way.
        one: &'static str,
        /// The other.
        other: &'static str,
    },
    /// A set of errors that no passive part can have.
    #[error("no passive part is like that: it needs at least {missing_db:.3} dB more loss")]
    NotPassive {
        /// Loss missing, dB.
        missing_db: f64,
    },
    /// A coupling that is not between 0 and 1.
    #[error("a coupling of {coupling_db} dB is not between 0 dB and infinity")]
    Coupling {
        /// As given, positive dB.
        coupling_db: f64,
    },
    /// An interdigitated coupler needs an even number of strips.
    #[error("an interdigitated coupler needs an even number of strips from 2, got {strips}")]
    Strips {
        /// As given.
        strips: usize,
    },
    /// A divider's stages that have no default.
    #[error(
        "a divider of {stages} stages needs an impedance and a resistor for each; defaults exist for 1 and 2"
    )]
    Stages {
        /// As asked for.
        stages: usize,
    },
    /// No width or gap on this substrate gives the impedance.
    #[error("{what} of {value_ohm:.1} ohm is beyond what can be made on this substrate")]
    NoGeometry {
        /// What was wanted.
        what: &'static str,
        /// Its value.
        value_ohm: f64,
    },
    /// Joining the parts failed.
    #[error(transparent)]
    Network(#[from] NetworkError),
}

/// At most nine digits, without a tail of zeros before or after.
fn shortest(value: f64) -> String {
    let rounded = format!("{value:.8e}").parse().unwrap_or(value);
    if rounded == 0.0 || (1e-4..1e9).contains(&f64::abs(rounded)) {
        format!("{rounded}")
    } else {
        format!("{rounded:e}")
    }
}
