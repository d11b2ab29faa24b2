//! How many sidebands a receiver's switched mixers need.
//!
//! All points of the plan are solved with few sidebands. Those that move most, that with the strongest
//! LO, where conductances have the most harmonics, and the centre are solved with more and more. What a number of sidebands leaves is what the next number moves,
//! divided by one minus the ratio of that move to the one before: exact where moves shrink by one
//! factor, as over numbers that grow by one factor where the error falls as a power of them (hard
//! switches), and too large where they shrink ever faster (smooth switches, whose coefficients fall
//! exponentially).

use super::error::Result;
use super::iq_balance::rejection_db;
use super::lo_if_plan::LoIfPoint;
use super::receiver::Receiver;
use super::sideband_path::{make_store, sideband_path};
use super::sideband_store::{SidebandCount, SidebandStore};
use super::switched_figures::{conversion_loss, noise_figure_db};
use super::switched_outputs::{SwitchedPlan, SwitchedVoltages};
use crate::units::db_from_neper;
use num_complex::Complex64;
use rayon::prelude::*;

/// Results have converged when more sidebands would move them by less than this, dB.
const CONVERGED_DB: f64 = 1e-3;
/// So have images whose amplitude moves by less than this part of the wanted signal.
const CONVERGED_IMAGE: f64 = 1e-6;
/// Comparisons are shown to a tenth of a decibel.
const COMPARED_DB: f64 = 2e-2;
/// Where even that needs more, comparisons take so many.
const MOST_COMPARED: usize = 25;
/// Numbers of sidebands that are tried, in units of a quarter of the first one. Each step adds
/// an odd and an even one at least: where only one of them matters a step without it moves nothing.
const TRIED_QUARTERS: [usize; 12] = [4, 6, 8, 10, 12, 16, 20, 24, 32, 40, 48, 64];
/// The first number of sidebands, unless the LO's harmonic is higher.
const FIRST_SIDEBANDS: usize = 4;
/// The last one, likewise.
const LAST_SIDEBANDS: usize = 64;
/// Moves that shrink less than to this part are taken to shrink to it.
const SLOWEST_DECAY: f64 = 0.9;
/// Of the points that move most so many are solved with more and more sidebands.
const MOST_MOVED: usize = 2;

/// What must converge at a point.
#[derive(Clone, Copy, Debug)]
struct Figures {
    /// Relative to the wanted signal.
    image: Complex64,
    levels_db: [Option<f64>; 4],
}

/// Finds how many sidebands the switched mixers of a receiver need, and keeps them with it; nothing where
/// they are known already, and for multipliers. `lo` holds the LO voltages at the mixers.
pub(super) fn find_sidebands(receiver: &Receiver, lo: &[Complex64]) -> Result<()> {
    if receiver.switching().is_none() || receiver.sideband_store().is_some() {
        return Ok(());
    }
    let count = match receiver.sideband_count() {
        Some(count) => count,
        None => found_count(receiver, lo)?,
    };
    receiver.keep_sideband_store(make_store(receiver, count, receiver.plan().points())?);
    Ok(())
}

fn found_count(receiver: &Receiver, lo: &[Complex64]) -> Result<SidebandCount> {
    if let Some(sidebands) = receiver.switching().and_then(|own| own.sidebands) {
        return Ok(SidebandCount {
            compared: sidebands.min(most_compared(receiver)),
            ..given(sidebands)
        });
    }
    let first = FIRST_SIDEBANDS.max(harmonic(receiver).next_power_of_two());
    let most = LAST_SIDEBANDS.max(4 * first);
    let tried: Vec<usize> = TRIED_QUARTERS
        .iter()
        .map(|quarters| quarters * first / 4)
        .filter(|sidebands| *sidebands <= most)
        .collect();
    let search = Search::new(receiver, lo, [tried[0], tried[1]])?;
    let Found { sidebands, compared, left_db } = search.found(&tried)?;
    let converged = Some(left_db < CONVERGED_DB);
    Ok(SidebandCount { sidebands, compared, converged, left_db: Some(left_db) })
}

/// A number of sidebands that is not found by convergence.
fn given(sidebands: usize) -> SidebandCount {
    SidebandCount { sidebands, compared: sidebands, converged: None, left_db: None }
}

/// The sidebands of some points with the RF network on them.
struct Trial {
    store: SidebandStore,
    rf: Vec<Complex64>,
}

impl Trial {
    fn new(receiver: &Receiver, sidebands: usize, points: &[LoIfPoint]) -> Result<Self> {
        let store = make_store(receiver, given(sidebands), points)?;
        let path = sideband_path(receiver, &store)?;
        let reduced = path.reduce(receiver, &path.blocks)?;
        let rf = path.voltages(receiver, &reduced, &path.terminations(receiver)?)?;
        Ok(Self { store, rf })
    }

    fn plan<'a>(&'a self, receiver: &'a Receiver, lo: &'a [Complex64]) -> Result<SwitchedPlan<'a>> {
        let voltages = SwitchedVoltages { lo, rf: &self.rf };
        SwitchedPlan::new(receiver, &self.store, voltages, false)
    }
}

/// How many sidebands are needed.
struct Found {
    sidebands: usize,
    compared: usize,
    left_db: f64,
}

/// The points that are solved again, with their figures for the second number of sidebands.
struct Search<'a> {
    receiver: &'a Receiver,
    lo: &'a [Complex64],
    choice: usize,
    samples: Vec<LoIfPoint>,
    figures: Vec<Figures>,
    /// How far they moved from the first number to the second, dB.
    moved_db: f64,
}

impl<'a> Search<'a> {
    fn new(
        receiver: &'a Receiver,
        lo: &'a [Complex64],
        [first, second]: [usize; 2],
    ) -> Result<Self> {
        let all = receiver.plan().points();
        let few = Trial::new(receiver, first, all)?;
        let choice = favourable_choice(receiver, few.plan(receiver, lo)?)?;
        let before = figures(receiver, &few, lo, choice, all)?;
        let more = Trial::new(receiver, second, all)?;
        let now = figures(receiver, &more, lo, choice, all)?;
        let mut moves: Vec<(f64, usize)> =
            before.iter().zip(&now).map(|(one, other)| one.moved_db(other)).zip(0..).collect();
        moves.sort_by(|one, other| other.0.total_cmp(&one.0));
        let plan = receiver.plan();
        let strongest = plan.points_of_lo(strongest_lo(receiver, few.plan(receiver, lo)?));
        let mut samples: Vec<usize> = moves.iter().take(MOST_MOVED).map(|(_, at)| *at).collect();
        samples.extend([strongest.start, strongest.end.saturating_sub(1), plan.centre_point()]);
        samples.sort_unstable();
        samples.dedup();
        Ok(Self {
            receiver,
            lo,
            choice,
            samples: samples.iter().map(|at| all[*at]).collect(),
            figures: samples.iter().map(|at| now[*at]).collect(),
            moved_db: moves.first().map_or(0.0, |(moved_db, _)| *moved_db),
        })
    }

    /// The first of the tried numbers that suffices, or the last.
    fn found(self, tried: &[usize]) -> Result<Found> {
        let Self { receiver, lo, choice, samples, mut figures, mut moved_db } = self;
        let mut compared = None;
        let mut left_db = remainder_db(moved_db, None);
        let mut at = 1;
        loop {
            if left_db < COMPARED_DB {
                compared.get_or_insert(tried[at - 1]);
            }
            if left_db < CONVERGED_DB || at + 1 == tried.len() {
                break;
            }
            at += 1;
            let more = Trial::new(receiver, tried[at], &samples)?;
            let now = self::figures(receiver, &more, lo, choice, &samples)?;
            let moves = figures.iter().zip(&now).map(|(one, other)| one.moved_db(other));
            let next_db = moves.fold(0.0, f64::max);
            left_db = remainder_db(next_db, Some(moved_db));
            (figures, moved_db) = (now, next_db);
        }
        let mut sidebands = tried[at - 1];
        if left_db >= CONVERGED_DB {
            // What the last number leaves is not measured but follows from the decay so far.
            (sidebands, left_db) = (tried[at], left_db - moved_db);
        }
        let compared = compared.unwrap_or(sidebands).min(most_compared(receiver));
        Ok(Found { sidebands, compared, left_db })
    }
}

/// Sidebands of comparisons at most.
fn most_compared(receiver: &Receiver) -> usize {
    MOST_COMPARED.max(harmonic(receiver))
}

fn harmonic(receiver: &Receiver) -> usize {
    usize::try_from(receiver.mixing().lo_harmonic()).unwrap_or(1)
}

/// What is left of a result before it moved, from that move and the one before.
fn remainder_db(moved_db: f64, before_db: Option<f64>) -> f64 {
    let decay = match before_db {
        Some(before_db) if before_db > 0.0 => (moved_db / before_db).min(SLOWEST_DECAY),
        Some(_) => 0.0,
        None => SLOWEST_DECAY,
    };
    moved_db / (1.0 - decay)
}

impl Figures {
    /// The largest move to another solution, dB. An image counts by the whole vector by which it moves:
    /// how much of that changes the rejection differs from number to number.
    fn moved_db(&self, other: &Self) -> f64 {
        let image_moved = (self.image - other.image).norm();
        let mut moved_db = 0.0_f64;
        if image_moved >= CONVERGED_IMAGE {
            moved_db = db_from_neper(image_moved / self.image.norm().max(other.image.norm()));
        }
        for (one, other) in self.levels_db.iter().zip(&other.levels_db) {
            if let (Some(one), Some(other)) = (one, other) {
                moved_db = moved_db.max((one - other).abs());
            }
        }
        moved_db
    }
}

/// The LO at which a mixer has the highest LO voltage.
fn strongest_lo(receiver: &Receiver, mut solved: SwitchedPlan<'_>) -> usize {
    let mut peak_v = |lo: usize| {
        solved.set_lo(lo);
        solved.peaks_v().iter().map(|peak| peak.norm()).fold(0.0, f64::max)
    };
    let peaks_v: Vec<f64> = (0..receiver.plan().lo_hz().len()).map(&mut peak_v).collect();
    let higher = |best: usize, lo: usize| if peaks_v[lo] > peaks_v[best] { lo } else { best };
    (0..peaks_v.len()).reduce(higher).unwrap_or(0)
}

/// The combination with the better rejection at the centre of the plan.
fn favourable_choice(receiver: &Receiver, mut solved: SwitchedPlan<'_>) -> Result<usize> {
    let centre = &receiver.plan().points()[receiver.plan().centre_point()];
    solved.solve(centre)?;
    let outputs = solved.outputs();
    let wanted = receiver.plan().wanted();
    let rejection = |choice: usize| {
        let combination = receiver.output().choices[choice].transfers[centre.intermediate];
        let pair = |sideband| combination.apply(outputs.of_sideband(sideband));
        rejection_db(pair(wanted), pair(wanted.opposite()))
    };
    let better = |best, choice| if rejection(choice) > rejection(best) { choice } else { best };
    Ok((0..receiver.output().choices.len()).reduce(better).unwrap_or(0))
}

/// The figures at some points of the plan.
fn figures(
    receiver: &Receiver,
    trial: &Trial,
    lo: &[Complex64],
    choice: usize,
    points: &[LoIfPoint],
) -> Result<Vec<Figures>> {
    let plan = receiver.plan();
    let (wanted, correction) = (plan.wanted(), receiver.output().correction);
    let solved = trial.plan(receiver, lo)?;
    let at_point = |solved: &mut SwitchedPlan<'_>, point: &LoIfPoint| {
        solved.solve(point)?;
        let combination = receiver.output().choices[choice].transfers[point.intermediate];
        let turns = receiver.mixing().lo_harmonic();
        let outputs = correction.applied(&solved.outputs(), &combination, turns);
        let z = |sideband| combination.apply(outputs.of_sideband(sideband));
        let (kept, image) = (z(wanted), z(wanted.opposite()));
        let loss = conversion_loss(receiver, &trial.store, solved, point.if_hz);
        let figure_db = noise_figure_db(receiver, solved, &combination, &correction);
        Ok(Figures {
            image: image / kept,
            levels_db: [loss.i_db, loss.q_db, loss.both_db, figure_db],
        })
    };
    points.par_iter().map_init(|| solved.clone(), at_point).collect()
}
