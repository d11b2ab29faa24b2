//! The rejection over rings of reflection: the same magnitude at every angle, at the LO ports of
//! the elements or at the terminations of the LO side (isolated ports).

use super::error::ReceiverError;
use super::receiver::Receiver;
use super::side::{Endings, Side};
use super::solution::{Evaluation, Voltages, balances};
use crate::network::{Load, Network};
use num_complex::Complex64;

/// Which loads go round the ring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RingPlace {
    /// Those at the elements' LO ports.
    Mixers,
    /// The others of the LO side.
    Isolated,
}

/// What a ring of reflection does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoadRing {
    /// Which loads, all alike.
    pub place: RingPlace,
    /// The magnitude.
    pub reflection: f64,
    /// Whether it was given; otherwise it is that of the loads themselves.
    pub is_given: bool,
    /// The worst rejection over the plan at the worst angle, dB.
    pub worst_db: f64,
    /// That angle, degrees.
    pub worst_angle_deg: f64,
    /// Where in the plan, Hz.
    pub worst_at_lo_hz: f64,
    /// Where in the plan, Hz.
    pub worst_at_if_hz: f64,
    /// The worst rejection over the plan at the best angle, dB.
    pub best_db: f64,
    /// That angle, degrees.
    pub best_angle_deg: f64,
}

/// Angles tried before the search is refined around the worst and the best.
const ANGLES: u32 = 36;
/// Each tries both sides of the best so far and halves the step: from 10 degrees to 0.1.
const REFINEMENTS: u32 = 7;
/// Loads better than this are taken for perfect, and this is tried in their place.
const SMALLEST_RING: f64 = 1e-3;
const DEFAULT_RING: f64 = 0.1;

/// Both rings, as far as there are loads.
pub(super) fn load_rings(
    receiver: &Receiver,
    lo: &Side,
    reduced: &Network,
    voltages: &Voltages,
    evaluation: &Evaluation<'_>,
) -> Result<Vec<LoadRing>, ReceiverError> {
    let terminations = lo.terminations(receiver);
    let elements = lo.element_loads(receiver);
    let mut rings = Vec::new();
    for (place, ends, given) in [
        (RingPlace::Mixers, elements, receiver.ring.mixer_reflection),
        (RingPlace::Isolated, terminations, receiver.ring.isolated_reflection),
    ] {
        if ends.is_empty() {
            continue;
        }
        let reflection = match given {
            Some(given) => given,
            None => own_magnitude(receiver, lo, reduced, &ends)?,
        };
        let ring = Ring { receiver, lo, reduced, voltages, evaluation, ends: &ends, reflection };
        let (worst, best) = ring.extremes()?;
        let ifs = receiver.plan.if_hz.len();
        rings.push(LoadRing {
            place,
            reflection,
            is_given: given.is_some(),
            worst_db: worst.db,
            worst_angle_deg: worst.angle_deg,
            worst_at_lo_hz: receiver.plan.lo_hz[worst.point / ifs],
            worst_at_if_hz: receiver.plan.if_hz[worst.point % ifs],
            best_db: best.db,
            best_angle_deg: best.angle_deg,
        });
    }
    Ok(rings)
}

/// The mean magnitude of the loads at the centre of the LO grid.
fn own_magnitude(
    receiver: &Receiver,
    lo: &Side,
    reduced: &Network,
    ends: &[usize],
) -> Result<f64, ReceiverError> {
    let points = reduced.grid().len();
    let reflections = lo.reflections(reduced, &lo.endings(receiver))?;
    let centre = receiver.plan.centre();
    #[expect(clippy::cast_precision_loss, reason = "a receiver has few loads")]
    let count = ends.len() as f64;
    let mean =
        ends.iter().map(|end| reflections[end * points + centre].norm()).sum::<f64>() / count;
    Ok(if mean < SMALLEST_RING { DEFAULT_RING } else { mean })
}

struct Ring<'a> {
    receiver: &'a Receiver,
    lo: &'a Side,
    reduced: &'a Network,
    voltages: &'a Voltages,
    evaluation: &'a Evaluation<'a>,
    ends: &'a [usize],
    reflection: f64,
}

#[derive(Clone, Copy)]
struct Extreme {
    angle_deg: f64,
    db: f64,
    point: usize,
}

impl Ring<'_> {
    fn at(&self, angle_deg: f64) -> Result<Extreme, ReceiverError> {
        let value = Complex64::from_polar(self.reflection, angle_deg.to_radians());
        let mut endings: Endings = self.lo.endings(self.receiver);
        for &end in self.ends {
            endings[end] = Load::Reflection(value);
        }
        let voltages = Voltages {
            lo: self.lo.voltages(self.receiver, self.reduced, &endings)?,
            rf: self.voltages.rf.clone(),
        };
        let all = balances(self.receiver, &voltages, self.evaluation);
        let mut worst = Extreme { angle_deg, db: f64::INFINITY, point: 0 };
        for (point, balance) in all.iter().enumerate() {
            if balance.image_rejection_db < worst.db {
                worst.db = balance.image_rejection_db;
                worst.point = point;
            }
        }
        Ok(worst)
    }

    /// The worst and the best angle.
    fn extremes(&self) -> Result<(Extreme, Extreme), ReceiverError> {
        let step_deg = 360.0 / f64::from(ANGLES);
        let tried: Vec<Extreme> = (0..ANGLES)
            .map(|at| self.at(f64::from(at) * step_deg - 180.0 + step_deg))
            .collect::<Result<_, _>>()?;
        let worse = |one: &Extreme, other: &Extreme| one.db < other.db;
        let better = |one: &Extreme, other: &Extreme| one.db > other.db;
        Ok((self.refined(&tried, step_deg, worse)?, self.refined(&tried, step_deg, better)?))
    }

    /// The most extreme of the tried angles, and its surroundings searched by halving.
    fn refined(
        &self,
        tried: &[Extreme],
        step_deg: f64,
        is_beyond: impl Fn(&Extreme, &Extreme) -> bool,
    ) -> Result<Extreme, ReceiverError> {
        let mut found = tried[0];
        for extreme in tried {
            if is_beyond(extreme, &found) {
                found = *extreme;
            }
        }
        let mut step_deg = step_deg / 2.0;
        for _ in 0..REFINEMENTS {
            for side in [-1.0, 1.0] {
                let beside = self.at(crate::units::wrap_deg(found.angle_deg + side * step_deg))?;
                if is_beyond(&beside, &found) {
                    found = beside;
                }
            }
            step_deg /= 2.0;
        }
        Ok(found)
    }
}
