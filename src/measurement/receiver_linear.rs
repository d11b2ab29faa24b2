//! The linear law of propagation (JCGM 100:2008 and 102:2011) through a receiver: half of the
//! change from minus to plus one standard deviation of each independent error, as a root sum
//! square.

use super::channel_error::ChannelErrorDistribution;
use super::contribution::Contribution;
use super::error_covariance::{PlanCovariance, half_difference};
use super::plan_noise::{PlanNoise, SharedBy};
use super::receiver_propagation::{Component, UncertainReceiver};
use crate::downconverter::{
    Budget, BudgetRow, Contributor, PlanLevels, PlanPoint, Receiver, ReceiverError, ReceiverGrid,
    ReceiverPath, ReceiverPlan, Varied, budget_rows,
};
use num_complex::Complex64;
use rayon::iter::{IntoParallelRefIterator as _, ParallelIterator as _};

/// Uncertainty of a row of the error budget, linear.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetUncertainty {
    /// The contributor of the row.
    pub contributor: Contributor,
    /// Standard uncertainty of the amplitude error of the row, nepers.
    pub u_amplitude: f64,
    /// Standard uncertainty of the phase error of the row, radians.
    pub u_phase: f64,
}

/// One error and its effect on every point of the plan.
pub(super) struct Effect {
    component: Component,
    changes: Vec<Change>,
}

/// The errors of all points by one error of a part.
struct Change {
    /// Where it is, for an error of which each frequency has one of its own; `None` for one that is the
    /// same everywhere.
    grid: Option<ReceiverGrid>,
    /// For each point the errors in the image and in the wanted sideband.
    errors: Vec<[Complex64; 2]>,
    /// Of a receiver with switched mixers the worst levels over the plan.
    levels: LevelErrors,
}

/// Errors of the worst levels of a receiver with switched mixers, dB.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct LevelErrors {
    /// Minimum LO power at a mixer.
    pub(super) lo_power: f64,
    /// Maximum conversion loss.
    pub(super) conversion_loss: f64,
    /// Maximum noise figure.
    pub(super) noise_figure: f64,
    /// Maximum LO power out of the RF port.
    pub(super) lo_at_rf_port: f64,
}

impl LevelErrors {
    fn half_difference(plus: &Self, minus: &Self) -> Self {
        // Levels that are infinite on both sides do not move.
        let half = |one: f64, other: f64| {
            if one.total_cmp(&other).is_eq() { 0.0 } else { 0.5 * (one - other) }
        };
        Self {
            lo_power: half(plus.lo_power, minus.lo_power),
            conversion_loss: half(plus.conversion_loss, minus.conversion_loss),
            noise_figure: half(plus.noise_figure, minus.noise_figure),
            lo_at_rf_port: half(plus.lo_at_rf_port, minus.lo_at_rf_port),
        }
    }
}

/// The errors of the levels by each independent error.
pub(super) fn level_errors(effects: &[Effect]) -> Vec<LevelErrors> {
    effects.iter().flat_map(|effect| &effect.changes).map(|change| change.levels).collect()
}

impl UncertainReceiver<'_> {
    /// The covariances of all points with the errors of each part scaled, without correlation
    /// between points.
    pub(super) fn scaled_noise(
        &self,
        effects: &[Effect],
        points: usize,
        scaled: impl Fn(&str) -> f64,
    ) -> PlanNoise {
        let mut noise = PlanNoise::exact(points);
        for Effect { component, changes } in effects {
            let source = &self.parts[component.part].sources[component.source];
            let part = self.names_of(component.part, source).unwrap_or_default();
            let size = scaled(&part) * component.widening;
            for change in changes {
                let change = change.errors.iter().map(|pair| pair.map(|error| error * size));
                noise.add(&change.collect::<Vec<_>>(), SharedBy::All);
            }
        }
        noise
    }

    /// The effects of all errors.
    pub(super) fn effects(&self) -> Result<Vec<Effect>, ReceiverError> {
        let own = self.solve(&self.unchanged())?;
        let effect = |&component: &Component| {
            let [plus, minus] =
                [1.0, -1.0].map(|size| self.solve_from(&own, &self.moved(component, size)?));
            let (plus, minus) = (plus?, minus?);
            let change = |grid: Option<ReceiverGrid>| {
                let solved = |moved: &Varied| {
                    let is_moved = |on| grid.is_none_or(|grid| grid == on);
                    self.points_and_levels(|on| if is_moved(on) { moved } else { &own })
                };
                let ((plus, plus_levels), (minus, minus_levels)) =
                    (solved(&plus)?, solved(&minus)?);
                Ok(Change {
                    grid,
                    errors: half_differences(&plus, &minus),
                    levels: LevelErrors::half_difference(&plus_levels, &minus_levels),
                })
            };
            let grids = match component.is_independent {
                true => self.grids_of(component).into_iter().map(Some).collect(),
                false => vec![None],
            };
            let changes = grids.into_iter().map(change).collect::<Result<_, ReceiverError>>()?;
            Ok(Effect { component, changes })
        };
        // Results are collected first, so that of several errors the first in order is reported.
        let effects: Vec<_> = self.components().par_iter().map(effect).collect();
        effects.into_iter().collect()
    }

    /// The points, and the levels of switched mixers.
    fn points_and_levels<'v>(
        &self,
        of: impl Fn(ReceiverGrid) -> &'v Varied,
    ) -> Result<(Vec<PlanPoint>, LevelErrors), ReceiverError> {
        let (points, switched) = self.variation.points_and_levels_of_each(&of)?;
        let Some(PlanLevels { worst: switched, .. }) = switched else {
            return Ok((points, LevelErrors::default()));
        };
        let power = self.variation.min_lo_power(of(ReceiverGrid::Path(ReceiverPath::Lo)))?;
        let levels = LevelErrors {
            lo_power: power.map_or(f64::NEG_INFINITY, |drive| drive.power_dbm),
            conversion_loss: switched.conversion_loss_db,
            noise_figure: switched.noise_figure_db,
            lo_at_rf_port: switched.lo_at_rf_port_dbm,
        };
        Ok((points, levels))
    }

    /// The contribution of each source at one point, in descending order; `points` are the
    /// receiver's own and `covariance` is that of the point.
    pub(super) fn contributions(
        &self,
        effects: &[Effect],
        points: &[PlanPoint],
        at: usize,
        covariance: &PlanCovariance,
    ) -> Vec<Contribution> {
        let mut own: Vec<Vec<PlanCovariance>> = self
            .parts
            .iter()
            .map(|part| vec![PlanCovariance::default(); part.sources.len()])
            .collect();
        for Effect { component, changes } in effects {
            for change in changes {
                let [image, wanted] = change.errors[at];
                own[component.part][component.source].add(image, wanted);
            }
        }
        let mean = points[at].balance.channel_error;
        let variance = |covariance: &PlanCovariance| {
            ChannelErrorDistribution::of_solved(mean, covariance.image)
                .linear_uncertainty_db()
                .powi(2)
        };
        let total = variance(covariance);
        let mut contributions = Vec::new();
        for (at, (part, sources)) in self.parts.iter().zip(&own).enumerate() {
            for (source, own) in part.sources.iter().zip(sources) {
                let Some(part) = self.names_of(at, source) else { continue };
                contributions.push(Contribution {
                    part,
                    source: source.name().to_owned(),
                    covariance: own.image,
                    share: if total > 0.0 { variance(own) / total } else { 0.0 },
                });
            }
        }
        contributions.sort_by(|one, other| other.share.total_cmp(&one.share));
        contributions
    }

    /// Uncertainty of the rows of the budget, which is that of one point of the plan.
    pub(super) fn budget(
        &self,
        budget: &Budget,
        at: usize,
    ) -> Result<Vec<BudgetUncertainty>, ReceiverError> {
        let one = self.variation.at_point(at)?;
        let changed: Vec<_> = self
            .components()
            .par_iter()
            .map(|&component| self.budget_changes(&one, component))
            .collect();
        let mut rows: Vec<BudgetUncertainty> = budget
            .rows
            .iter()
            .map(|row| BudgetUncertainty {
                contributor: row.contributor.clone(),
                u_amplitude: 0.0,
                u_phase: 0.0,
            })
            .collect();
        for changes in changed {
            for [plus, minus] in changes? {
                for row in &mut rows {
                    let of = |list: &[BudgetRow]| {
                        let found = list.iter().find(|own| own.contributor == row.contributor);
                        found.map(|own| own.error)
                    };
                    // A contributor that is missing in the changed receiver has no change.
                    if let (Some(plus), Some(minus)) = (of(&plus), of(&minus)) {
                        let half = half_difference(plus, minus);
                        row.u_amplitude = row.u_amplitude.hypot(half.re);
                        row.u_phase = row.u_phase.hypot(half.im);
                    }
                }
            }
        }
        Ok(rows)
    }

    /// The budgets of a receiver at one point, with one error at plus and at minus one standard
    /// deviation.
    fn budget_changes(
        &self,
        one: &Receiver,
        component: Component,
    ) -> Result<Vec<[Vec<BudgetRow>; 2]>, ReceiverError> {
        // At one point each path has frequencies of its own; the channel error takes one of each.
        let grids = self.grids_of(component);
        let moved_together: Vec<&[ReceiverGrid]> =
            if component.is_independent { grids.chunks(1).collect() } else { vec![&grids] };
        let moved = self.moved_parts(component);
        let mut changes = Vec::new();
        for together in moved_together {
            let [plus, minus] = [1.0, -1.0].map(|size| {
                let mut varied = one.clone();
                let networks = self.moved(component, size)?;
                for &grid in together {
                    for &(place, part) in self.places.iter().filter(|(_, at)| moved.contains(at)) {
                        if let Some(network) = networks[part].get(grid) {
                            self.put(&mut varied, (place, part), grid, network)?;
                        }
                    }
                }
                budget_rows(&varied)
            });
            if let (Some(plus), Some(minus)) = (plus?, minus?) {
                changes.push([plus, minus]);
            }
        }
        Ok(changes)
    }
}

/// The covariance of each of `points` points from all effects.
pub(super) fn covariances(effects: &[Effect], points: usize) -> Vec<PlanCovariance> {
    let mut covariances = vec![PlanCovariance::default(); points];
    for change in effects.iter().flat_map(|effect| &effect.changes) {
        for (covariance, [image, wanted]) in covariances.iter_mut().zip(&change.errors) {
            covariance.add(*image, *wanted);
        }
    }
    covariances
}

/// The noise of the points of a plan, widened for decisions where it is from few repeats.
pub(super) fn plan_noise_of(effects: &[Effect], plan: &ReceiverPlan) -> PlanNoise {
    noise_of(effects, plan, true)
}

/// The noise of the points of a plan as it is.
pub(super) fn plain_noise_of(effects: &[Effect], plan: &ReceiverPlan) -> PlanNoise {
    noise_of(effects, plan, false)
}

fn noise_of(effects: &[Effect], plan: &ReceiverPlan, is_widened: bool) -> PlanNoise {
    let points = plan.points().len();
    let mut noise = PlanNoise::exact(points);
    let los: Vec<usize> = (0..plan.lo_hz().len()).map(|lo| plan.points_of_lo(lo).len()).collect();
    let each = vec![1; points];
    for Effect { component, changes } in effects {
        let widening = if is_widened { component.widening } else { 1.0 };
        for Change { grid, errors, .. } in changes {
            let widened = errors.iter().map(|pair| pair.map(|error| error * widening));
            let widened: Vec<_> = widened.collect();
            // Of a noise that differs from frequency to frequency the LO's is shared by its IFs, every
            // point has an RF of its own, and that at an IF is shared by the points with this IF.
            match grid {
                None => noise.add(&widened, SharedBy::All),
                Some(ReceiverGrid::Path(ReceiverPath::Lo)) => {
                    noise.add(&widened, SharedBy::Runs(&los));
                }
                Some(ReceiverGrid::Path(ReceiverPath::Rf)) => {
                    noise.add(&widened, SharedBy::Runs(&each));
                }
                Some(ReceiverGrid::If) => {
                    for intermediate in 0..plan.if_hz().len() {
                        let own = plan.points().iter().zip(&widened).map(|(point, pair)| {
                            let is_its = point.intermediate == intermediate;
                            if is_its { *pair } else { [Complex64::ZERO; 2] }
                        });
                        noise.add(&own.collect::<Vec<_>>(), SharedBy::All);
                    }
                }
            }
        }
    }
    noise
}

fn half_differences(plus: &[PlanPoint], minus: &[PlanPoint]) -> Vec<[Complex64; 2]> {
    let pairs = plus.iter().map(|point| point.balance).zip(minus.iter().map(|point| point.balance));
    pairs
        .map(|(plus, minus)| {
            [
                half_difference(plus.channel_error, minus.channel_error),
                half_difference(plus.wanted_error, minus.wanted_error),
            ]
        })
        .collect()
}
