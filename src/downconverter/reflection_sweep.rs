//! Load-reflection sweep: the image rejection with a reflection of one magnitude at every phase, at
//! the mixers' LO ports or at the isolated ports of the LO path.
//!
//! In:  a solved receiver.
//! Out: worst and best rejection over the plan, and the phases of reflection at which they occur.

use super::error::Result;
use super::receiver::Receiver;
use super::signal_path::LoRf;
use super::solution::{
    DriveWeights, Evaluation, Solved, SolvedPath, Voltages, power_ratios, worst_rejection,
};
use super::swept_path::SweptPath;
use crate::network::Load;
use crate::units::wrap_deg;
use num_complex::Complex64;

/// The ports whose terminations are swept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SweptPorts {
    /// The mixers' LO ports.
    Mixers,
    /// The other terminated ports of the LO path.
    Isolated,
}

/// Where the magnitude of swept reflections is from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReflectionOrigin {
    /// It was given.
    Given,
    /// It is the mean of the loads themselves, at the centre of the LO range.
    Loads,
    /// It is 0.1, since the loads themselves match.
    Assumed,
}

/// The rejection over a sweep of load reflections, all phases.
#[derive(Clone, Debug, PartialEq)]
pub struct LoadReflectionSweep {
    /// The ports, all with the same reflection.
    pub ports: SweptPorts,
    /// The magnitude of the reflection, in the receiver's reference impedances.
    pub reflection: f64,
    /// Where the magnitude is from.
    pub origin: ReflectionOrigin,
    /// The worst rejection over the plan at the worst phase, dB.
    pub worst_db: f64,
    /// The worst phase, degrees.
    pub worst_angle_deg: f64,
    /// LO of the worst rejection, Hz.
    pub worst_at_lo_hz: f64,
    /// IF of the worst rejection, Hz.
    pub worst_at_if_hz: f64,
    /// The worst rejection over the plan at the best phase, dB.
    pub best_db: f64,
    /// The best phase, degrees.
    pub best_angle_deg: f64,
    /// The loads that have the worst reflection, ohm: by the port where each stands.
    pub worst_loads_ohm: Vec<(String, Complex64)>,
}

/// Phases tried before the search is refined around the worst and the best.
const ANGLES: u32 = 36;
/// Each refinement tries both sides of the best so far and halves the step: from 5 degrees to 0.08.
const REFINEMENTS: u32 = 7;
/// Loads with a smaller reflection count as perfect, and the default is swept in their place.
const MIN_REFLECTION: f64 = 1e-3;
const DEFAULT_REFLECTION: f64 = 0.1;

/// The sweeps at the mixers' LO ports and at the isolated ports, where there are loads.
pub(super) fn load_reflection_sweeps(
    receiver: &Receiver,
    solved: &Solved,
    evaluation: &Evaluation<'_>,
) -> Result<Vec<LoadReflectionSweep>> {
    let (settings, plan) = (receiver.reflection_sweep(), receiver.plan());
    let lo = &solved.paths.lo.path;
    let weights = DriveWeights::new(receiver, Voltages::of(&solved.paths), evaluation);
    let mut sweeps = Vec::new();
    for (ports, ends, given) in [
        (SweptPorts::Mixers, lo.mixer_loads(receiver), settings.mixer_reflection),
        (SweptPorts::Isolated, lo.isolated_loads(receiver), settings.isolated_reflection),
    ] {
        if ends.is_empty() {
            continue;
        }
        let (reflection, origin) = match given {
            Some(given) => (given, ReflectionOrigin::Given),
            None => match own_magnitude(receiver, &solved.paths.lo, &ends)? {
                mean if mean < MIN_REFLECTION => (DEFAULT_REFLECTION, ReflectionOrigin::Assumed),
                mean => (mean, ReflectionOrigin::Loads),
            },
        };
        // Where the path is singular with matched ports, it is solved as a whole for each phase.
        let swept = SweptPath::new(receiver, &solved.paths.lo, &ends).ok();
        let weights = weights.as_ref();
        let mut sweep =
            Sweep { receiver, solved, evaluation, ends: &ends, reflection, swept, weights };
        let tried = sweep.tried()?;
        let worst = sweep.refined(&tried, |one, other| one.db < other.db)?;
        let best = sweep.refined(&tried, |one, other| one.db > other.db)?;
        sweeps.push(LoadReflectionSweep {
            ports,
            reflection,
            origin,
            worst_db: worst.db,
            worst_angle_deg: worst.angle_deg,
            worst_at_lo_hz: plan.points()[worst.point].lo_hz,
            worst_at_if_hz: plan.points()[worst.point].if_hz,
            best_db: best.db,
            best_angle_deg: best.angle_deg,
            worst_loads_ohm: sweep.loads_ohm(worst.angle_deg),
        });
    }
    Ok(sweeps)
}

/// The mean magnitude of the loads' reflections at the centre of the LO range.
fn own_magnitude(receiver: &Receiver, lo: &SolvedPath, ends: &[usize]) -> Result<f64> {
    let points = lo.reduced.grid().len();
    let reflections = lo.path.reflections(&lo.reduced, &lo.terminations)?;
    let centre = receiver.plan().centre();
    #[expect(clippy::cast_precision_loss, reason = "a receiver has few loads")]
    let count = ends.len() as f64;
    Ok(ends.iter().map(|end| reflections[end * points + centre].norm()).sum::<f64>() / count)
}

struct Sweep<'a> {
    receiver: &'a Receiver,
    solved: &'a Solved,
    evaluation: &'a Evaluation<'a>,
    ends: &'a [usize],
    reflection: f64,
    swept: Option<SweptPath<'a>>,
    weights: Option<&'a DriveWeights>,
}

/// The worst rejection over the plan at one phase of reflection, and the point where it occurs.
#[derive(Clone, Copy)]
struct AtPhase {
    angle_deg: f64,
    db: f64,
    point: usize,
}

impl Sweep<'_> {
    fn at(&mut self, angle_deg: f64) -> Result<AtPhase> {
        let value = Complex64::from_polar(self.reflection, angle_deg.to_radians());
        let LoRf { lo, rf } = &self.solved.paths;
        let lo = match &mut self.swept {
            Some(swept) => swept.voltages(value)?,
            None => {
                let mut terminations = lo.terminations.clone();
                for &end in self.ends {
                    terminations[end] = Load::Reflection(value);
                }
                lo.path.voltages(self.receiver, &lo.reduced, &terminations)?
            }
        };
        let voltages = Voltages { lo: &lo, rf: &rf.voltages };
        let ratios = match self.weights {
            Some(weights) => weights.power_ratios(self.receiver, &lo),
            None => power_ratios(self.receiver, voltages, self.evaluation)?,
        };
        let (db, point) = worst_rejection(self.receiver, &ratios)?;
        Ok(AtPhase { angle_deg, db, point })
    }

    /// The loads with a reflection of this phase.
    fn loads_ohm(&self, angle_deg: f64) -> Vec<(String, Complex64)> {
        let value = Complex64::from_polar(self.reflection, angle_deg.to_radians());
        let path = &self.solved.paths.lo.path;
        let load = |&end: &usize| {
            let port = path.open_port(end);
            let ohm = self.receiver.reference_ohm(port) * (1.0 + value) / (1.0 - value);
            Some((self.receiver.port_name(port)?, ohm))
        };
        self.ends.iter().filter_map(load).collect()
    }

    /// The phases of a coarse sweep.
    fn tried(&mut self) -> Result<Vec<AtPhase>> {
        let step_deg = 360.0 / f64::from(ANGLES);
        (0..ANGLES).map(|at| self.at(f64::from(at) * step_deg - 180.0 + step_deg)).collect()
    }

    /// The most extreme of the tried phases, refined by halving the step around it.
    fn refined(
        &mut self,
        tried: &[AtPhase],
        is_beyond: impl Fn(&AtPhase, &AtPhase) -> bool,
    ) -> Result<AtPhase> {
        let mut found = tried[0];
        for other in tried {
            if is_beyond(other, &found) {
                found = *other;
            }
        }
        let mut step_deg = 180.0 / f64::from(ANGLES);
        for _ in 0..REFINEMENTS {
            for side in [-1.0, 1.0] {
                let beside = self.at(wrap_deg(found.angle_deg + side * step_deg))?;
                if is_beyond(&beside, &found) {
                    found = beside;
                }
            }
            step_deg /= 2.0;
        }
        Ok(found)
    }
}
