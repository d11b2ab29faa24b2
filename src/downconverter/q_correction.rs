//! A correction of Q as it is set: a gain, a phase, and the point where they act.
//!
//! I and Q are those at the output (times t_I and t_Q, so that ideally Q = I in the wanted and Q =
//! -I in the image sideband). A gain g and a phase φ change Q to
//!
//! | acts on | wanted sideband | image sideband |
//! |---|---|---|
//! | `if_phase` | g e^{jφ} Q | g e^{jφ} Q |
//! | `lo_phase`, φ of Q's LO, which counts n times | g e^{±jnφ} Q | g e^{∓jnφ} Q |
//! | `digital` | g/cos φ Q - j tan φ I | the same |
//!
//! The upper signs are those of a wanted lower sideband. For I and Q before their combination as I
//! ± jQ the last line is a matrix of real numbers: Q' = g/cos φ Q ∓ tan φ I. It is the complex
//! weight g e^{jφ} of `if_phase` times a common factor, so the rejection is the same; but it
//! rotates Q relative to I in opposite directions in the two sidebands, as a quadrature error in
//! the LO path does.

use super::error::{ReceiverError, Result};
use super::frequency_plan::Sideband;
use super::iq_balance::{Combination, IqOutputs, IqPair};
use crate::units::amplitude_from_db;
use num_complex::Complex64;
use std::fmt;

/// The point where a correction of Q acts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum CorrectionDomain {
    /// On the phase of Q at IF, as a complex weight after the mixers.
    #[default]
    IfPhase,
    /// On the phase of Q's LO; the gain acts on Q's amplitude.
    LoPhase,
    /// On I and Q as numbers: a matrix of real numbers.
    Digital,
}

impl CorrectionDomain {
    /// All points, in the order of messages.
    pub const ALL: [Self; 3] = [Self::IfPhase, Self::LoPhase, Self::Digital];

    /// The name in descriptions and documents.
    pub fn name(self) -> &'static str {
        match self {
            Self::IfPhase => "if_phase",
            Self::LoPhase => "lo_phase",
            Self::Digital => "digital",
        }
    }
}

impl fmt::Display for CorrectionDomain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A correction of Q; none by default.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct QCorrection {
    acts_on: CorrectionDomain,
    amplitude_db: f64,
    phase_deg: f64,
}

/// Phases of a digital correction stay below 90 degrees by this margin, because its numbers grow
/// without limit there.
const DIGITAL_PHASE_DEG: f64 = 89.0;

impl QCorrection {
    /// A gain, -1000 to 1000 dB, and a phase, degrees; that of a digital correction from -89 to 89.
    ///
    /// # Errors
    /// [`ReceiverError::OutOfRange`].
    pub fn new(acts_on: CorrectionDomain, amplitude_db: f64, phase_deg: f64) -> Result<Self> {
        if !(-1000.0..=1000.0).contains(&amplitude_db) {
            let (what, expected) = ("the amplitude of a correction", "from -1000 to 1000 dB");
            return Err(ReceiverError::OutOfRange { what, expected, found: amplitude_db });
        }
        let (limit_deg, expected) = match acts_on {
            CorrectionDomain::Digital => (DIGITAL_PHASE_DEG, "from -89 to 89 degrees if digital"),
            _ => (1000.0, "from -1000 to 1000 degrees"),
        };
        if !(-limit_deg..=limit_deg).contains(&phase_deg) {
            let what = "the phase of a correction";
            return Err(ReceiverError::OutOfRange { what, expected, found: phase_deg });
        }
        Ok(Self { acts_on, amplitude_db, phase_deg })
    }

    /// The point where it acts.
    pub fn acts_on(&self) -> CorrectionDomain {
        self.acts_on
    }

    /// The gain of Q, dB.
    pub fn amplitude_db(&self) -> f64 {
        self.amplitude_db
    }

    /// The phase, degrees.
    pub fn phase_deg(&self) -> f64 {
        self.phase_deg
    }

    /// Whether it has no effect.
    pub fn is_none(&self) -> bool {
        self.amplitude_db == 0.0 && self.phase_deg == 0.0
    }

    /// The matrix of real numbers for I and Q, if the correction is digital: rows for I and Q.
    /// `turn` is the +j or -j with which Q is combined.
    pub fn matrix(&self, turn: Complex64) -> Option<[[f64; 2]; 2]> {
        let phase = self.phase_deg.to_radians();
        let from_i = if turn.im > 0.0 { -phase.tan() } else { phase.tan() };
        let from_q = amplitude_from_db(self.amplitude_db) / phase.cos();
        (self.acts_on == CorrectionDomain::Digital).then_some([[1.0, 0.0], [from_i, from_q]])
    }

    /// The outputs with the correction. `combination` is that of I and Q without it; the LO phase
    /// counts `lo_turns` times.
    pub(super) fn applied(
        &self,
        outputs: &IqOutputs,
        combination: &Combination,
        lo_turns: i32,
    ) -> IqOutputs {
        if self.is_none() {
            return *outputs;
        }
        let into = |sideband: Sideband| {
            let pair = outputs.of_sideband(sideband);
            let Factors { q, from_i } = self.factors(sideband, lo_turns);
            let i_as_q = combination.i * pair.i / combination.q;
            IqPair { i: pair.i, q: q * pair.q + from_i * i_as_q }
        };
        IqOutputs { upper: into(Sideband::Upper), lower: into(Sideband::Lower) }
    }

    /// The channel error of the wanted sideband, nepers and radians, with this correction at another
    /// setting, from the error without a correction.
    pub(super) fn wanted_error_at(
        &self,
        (amplitude_db, phase_deg): (f64, f64),
        uncorrected: Complex64,
        wanted: Sideband,
        lo_turns: i32,
    ) -> Complex64 {
        let set = Self { acts_on: self.acts_on, amplitude_db, phase_deg };
        let Factors { q, from_i } = set.factors(wanted, lo_turns);
        (q * uncorrected.exp() + from_i).ln()
    }

    /// The channel error of a sideband without the correction, from the one with it: nepers and
    /// radians. `ideal` is Q over I without errors: 1 in the wanted, -1 in the image sideband.
    pub(super) fn undone(
        &self,
        error: Complex64,
        ideal: f64,
        sideband: Sideband,
        lo_turns: i32,
    ) -> Complex64 {
        let Factors { q, from_i } = self.factors(sideband, lo_turns);
        ((ideal * error.exp() - from_i) / (ideal * q)).ln()
    }

    fn factors(&self, sideband: Sideband, lo_turns: i32) -> Factors {
        let (gain, phase) = (amplitude_from_db(self.amplitude_db), self.phase_deg.to_radians());
        let turned =
            |phase: f64| Factors { q: Complex64::from_polar(gain, phase), from_i: Complex64::ZERO };
        match (self.acts_on, sideband) {
            (CorrectionDomain::IfPhase, _) => turned(phase),
            // The phase of the LO is subtracted in the upper sideband and added in the lower.
            (CorrectionDomain::LoPhase, Sideband::Upper) => turned(-f64::from(lo_turns) * phase),
            (CorrectionDomain::LoPhase, Sideband::Lower) => turned(f64::from(lo_turns) * phase),
            (CorrectionDomain::Digital, _) => Factors {
                q: Complex64::from(gain / phase.cos()),
                from_i: Complex64::new(0.0, -phase.tan()),
            },
        }
    }
}

/// The factors in Q' = q Q + from_i I, for I and Q at the output.
struct Factors {
    q: Complex64,
    from_i: Complex64,
}
