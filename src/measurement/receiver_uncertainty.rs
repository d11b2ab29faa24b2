//! A receiver whose parts are known only so well.
//!
//! Two routes: the linear law of propagation (JCGM 100:2008 and 102:2011) for channel error, imbalance
//! and quadrature error at each point, for the budget, and for what each source contributes; and
//! trials (JCGM 101:2008) for the rejection, for the worst of everything over the plan, and for the
//! decision.

use super::advice::{Advice, OpenRejection};
use super::channel_error::ChannelErrorDistribution;
use super::conformity::{Assessment, DecidedRequirement, Decision, DecisionSettings};
use super::monte_carlo::{Spread, Trial, TrialSettings, run_trials};
use super::uncertainty_source::{Deviates, Errors, Source};
use crate::downconverter::{
    BudgetRow, Contributor, DownconverterResult, Place, PlanPoint, Receiver, ReceiverError,
    ReceiverQuantity, Variation, Varied, Way, analyse_receiver,
};
use crate::network::{Network, NetworkError, ParameterKind, convert};
use crate::units::{db_from_neper, wrap_deg};
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rayon::iter::{IntoParallelRefIterator as _, ParallelIterator as _};
use std::borrow::Cow;

/// A part, or everything that one file describes, with errors that its places share.
#[derive(Clone, Debug)]
pub struct UncertainPart {
    /// A block's name, or a file's.
    pub name: String,
    /// Where it stands.
    pub places: Vec<Place>,
    /// What makes it uncertain.
    pub sources: Vec<PartSource>,
}

/// A source of uncertainty at the frequencies of both ways.
#[derive(Clone, Debug)]
pub struct PartSource {
    /// Its name.
    pub name: String,
    /// LO and RF; `None` where the part does not lie on that way.
    pub on_ways: [Option<Source>; 2],
}

/// How well one point of the plan is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PointUncertainty {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz.
    pub if_hz: f64,
    /// Of the rejection, by trials, dB; its upper end is that of the highest truth, see
    /// [`ChannelErrorDistribution::highest_truth_db`], where that is higher: infinite where the point
    /// may be perfect.
    pub rejection: Spread,
    /// Of the channel error, linear.
    pub channel_error: ChannelErrorDistribution,
    /// Of the imbalance in the wanted sideband, linear, dB.
    pub u_imbalance_db: f64,
    /// Of the quadrature error in the wanted sideband, linear, degrees.
    pub u_quadrature_deg: f64,
}

/// What one source of one part contributes at the point of worst rejection.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// The part.
    pub part: String,
    /// The source.
    pub source: String,
    /// Covariance of the channel error that it alone makes.
    pub covariance: [[f64; 2]; 2],
    /// Its share of the variance of the rejection.
    pub share: f64,
}

/// How well a row of the error budget is known, linear.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetUncertainty {
    /// Whose row it is.
    pub contributor: Contributor,
    /// Nepers.
    pub u_amplitude: f64,
    /// Radians.
    pub u_phase: f64,
}

/// A receiver whose parts are known only so well.
#[derive(Clone, Debug, PartialEq)]
pub struct ReceiverUncertainty {
    /// What trials and rules come to.
    pub assessment: Assessment,
    /// Each point of the plan.
    pub points: Vec<PointUncertainty>,
    /// The worst rejection over the plan, dB.
    pub worst_rejection: Spread,
    /// The largest imbalance over the plan, either way, dB.
    pub largest_imbalance: Spread,
    /// The largest quadrature error over the plan, either way, degrees.
    pub largest_quadrature: Spread,
    /// The least LO power over the plan, dBm, where the receiver limits it.
    pub least_power: Option<Spread>,
    /// Largest first.
    pub contributions: Vec<Contribution>,
    /// In the order of the budget.
    pub budget: Vec<BudgetUncertainty>,
    /// Where the rejection is undecided.
    pub advice: Option<Advice>,
}

/// Propagates the uncertainty of a receiver's parts.
///
/// # Errors
/// Those of [`Variation::new`], and of solving the receiver with parts that are off by their errors.
pub fn receiver_uncertainty(
    receiver: &Receiver,
    result: &DownconverterResult,
    parts: &[UncertainPart],
    trial_settings: &TrialSettings,
    decisions: &DecisionSettings,
) -> Result<ReceiverUncertainty, ReceiverError> {
    let bench = Bench::new(receiver, parts)?;
    let worst = worst_place(result);
    let linear = bench.linear(&result.points, worst)?;
    let requirements = &result.verdict.requirements;
    let has_power = receiver.limits.lo_power_dbm_min.is_some();
    let heads = 3 + usize::from(has_power);
    let trials = run_trials(trial_settings, heads + result.points.len(), |random| {
        let varied = bench.solve(&bench.drawn(random)?)?;
        let points = bench.variation.points(&varied)?;
        let extremes = Extremes::of(&points);
        let power = bench.variation.least_drive(&varied).map(|drive| drive.power_dbm);
        #[expect(clippy::cast_possible_truncation, reason = "kept in single precision")]
        let outputs = [extremes.rejection_db, extremes.imbalance_db, extremes.quadrature_deg]
            .into_iter()
            .chain(power)
            .chain(points.iter().map(|point| point.balance.image_rejection_db))
            .map(|value| value as f32)
            .collect();
        let mut held: Vec<bool> = requirements
            .iter()
            .map(|requirement| {
                let limit = requirement.limit;
                match requirement.quantity {
                    ReceiverQuantity::ImageRejection => extremes.rejection_db >= limit,
                    ReceiverQuantity::AmplitudeImbalance => extremes.imbalance_db <= limit,
                    ReceiverQuantity::QuadratureError => extremes.quadrature_deg <= limit,
                    ReceiverQuantity::LoPower => power.is_some_and(|power| power >= limit),
                }
            })
            .collect();
        held.push(held.iter().all(|held| *held));
        Ok::<_, ReceiverError>(Trial { outputs, held })
    })?;
    let coverage = trial_settings.coverage;
    let points: Vec<PointUncertainty> = result
        .points
        .iter()
        .zip(&linear.points)
        .zip(&trials.outputs[heads..])
        .map(|((point, linear), rejection)| {
            let channel_error = ChannelErrorDistribution {
                mean: point.balance.channel_error,
                covariance: linear.image,
            };
            let highest = channel_error.highest_truth_db(coverage) + point.balance.sideband_gain_db;
            PointUncertainty {
                lo_hz: point.lo_hz,
                if_hz: point.if_hz,
                rejection: Spread { high: rejection.high.max(highest), ..*rejection },
                channel_error,
                u_imbalance_db: db_from_neper(linear.wanted[0].sqrt()),
                u_quadrature_deg: linear.wanted[1].sqrt().to_degrees(),
            }
        })
        .collect();
    let requirements: Vec<DecidedRequirement> = requirements
        .iter()
        .zip(&trials.shares)
        .map(|(requirement, share)| {
            decisions.decide(requirement.quantity.name(), requirement.margin, *share)
        })
        .collect();
    // The requirement on the rejection, what it came to, and the share of the trials that met it.
    let rejection = result
        .verdict
        .requirements
        .iter()
        .zip(requirements.iter().zip(&trials.shares))
        .find(|(held, _)| held.quantity == ReceiverQuantity::ImageRejection);
    let advice = rejection
        .filter(|(_, (decided, _))| decided.decision == Decision::Undecided)
        .and_then(|(held, (_, share))| {
            let open = OpenRejection {
                error: points[worst].channel_error,
                limit_db: held.limit - result.summary.worst.balance.sideband_gain_db,
                probability: *share,
                conformity: decisions.conformity,
            };
            open.advice(&linear.contributions)
        });
    let required_db = rejection.map(|(held, (decided, _))| (held.limit, decided.rule));
    let highs = points.iter().map(|point| point.rejection.high);
    Ok(ReceiverUncertainty {
        assessment: Assessment::new(
            &trials,
            trial_settings,
            &points[worst].channel_error,
            requirements,
            required_db,
        ),
        worst_rejection: with_highest(trials.outputs[0], highs),
        largest_imbalance: trials.outputs[1],
        largest_quadrature: trials.outputs[2],
        least_power: has_power.then(|| trials.outputs[3]),
        points,
        contributions: linear.contributions,
        budget: bench.budget(result, worst)?,
        advice,
    })
}

/// How well each point of a receiver's plan is known, by the linear law alone: what many dies of one
/// receiver have in common.
///
/// # Errors
/// As [`receiver_uncertainty`].
pub fn plan_covariances(
    receiver: &Receiver,
    points: &[PlanPoint],
    parts: &[UncertainPart],
) -> Result<Vec<PlanCovariance>, ReceiverError> {
    Ok(Bench::new(receiver, parts)?.linear(points, 0)?.points)
}

/// The spread of the worst of several rejections, which is no better in truth than any of them.
pub(super) fn with_highest(worst: Spread, highs: impl Iterator<Item = f64>) -> Spread {
    Spread { high: worst.high.max(highs.fold(f64::INFINITY, f64::min)), ..worst }
}

fn worst_place(result: &DownconverterResult) -> usize {
    let worst = &result.summary.worst;
    let is_it = |point: &PlanPoint| point == worst;
    result.points.iter().position(is_it).unwrap_or(0)
}

/// The worst of everything over a plan, without signs.
struct Extremes {
    rejection_db: f64,
    imbalance_db: f64,
    quadrature_deg: f64,
}

impl Extremes {
    fn of(points: &[PlanPoint]) -> Self {
        let mut worst =
            Self { rejection_db: f64::INFINITY, imbalance_db: 0.0, quadrature_deg: 0.0 };
        for point in points {
            let (imbalance_db, quadrature_deg) = point.balance.wanted();
            worst.rejection_db = worst.rejection_db.min(point.balance.image_rejection_db);
            worst.imbalance_db = worst.imbalance_db.max(imbalance_db.abs());
            worst.quadrature_deg = worst.quadrature_deg.max(quadrature_deg.abs());
        }
        worst
    }
}

/// A receiver ready to be solved with parts that are off.
struct Bench<'a> {
    parts: &'a [UncertainPart],
    variation: Variation,
    /// The part in each changing place.
    part_of: Vec<usize>,
    places: Vec<Place>,
    /// Each part's own scattering network, on either way.
    nominal: Vec<[Option<Network>; 2]>,
}

/// Networks of all parts, on either way.
type Networks = Vec<[Option<Network>; 2]>;

/// What linear propagation gives.
struct Linear {
    points: Vec<PlanCovariance>,
    contributions: Vec<Contribution>,
}

/// How well a point of the plan is known, linear.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PlanCovariance {
    /// Covariance of the channel error, nepers and radians.
    pub image: [[f64; 2]; 2],
    /// Variances of the error in the wanted sideband: nepers and radians.
    pub wanted: [f64; 2],
}

impl PlanCovariance {
    fn add(&mut self, image: Complex64, wanted: Complex64) {
        self.image[0][0] += image.re * image.re;
        self.image[0][1] += image.re * image.im;
        self.image[1][0] += image.re * image.im;
        self.image[1][1] += image.im * image.im;
        self.wanted[0] += wanted.re * wanted.re;
        self.wanted[1] += wanted.im * wanted.im;
    }
}

/// One deviate of one source of one part.
#[derive(Clone, Copy)]
struct Component {
    part: usize,
    source: usize,
    number: usize,
    is_independent: bool,
}

impl<'a> Bench<'a> {
    fn new(receiver: &Receiver, parts: &'a [UncertainPart]) -> Result<Self, ReceiverError> {
        let mut part_of = Vec::new();
        let mut places = Vec::new();
        let mut nominal = Vec::new();
        for (at, part) in parts.iter().enumerate() {
            let mut own = [None, None];
            for (slot, way) in own.iter_mut().zip(Way::BOTH) {
                let network = part.places.iter().find_map(|&place| receiver.network_at(place, way));
                if let Some(network) = network {
                    *slot = Some(convert(network, ParameterKind::Scattering)?);
                }
            }
            nominal.push(own);
            places.extend(&part.places);
            part_of.extend(part.places.iter().map(|_| at));
        }
        let variation = Variation::new(receiver.clone(), &places, true)?;
        Ok(Self { parts, variation, part_of, places, nominal })
    }

    fn solve(&self, networks: &Networks) -> Result<Varied, ReceiverError> {
        self.variation.solve(|place, way| {
            let part = self.part_of[place];
            let index = usize::from(way == Way::Rf);
            let network = networks[part][index].as_ref().or(self.nominal[part][index].as_ref());
            network.map(Cow::Borrowed).ok_or_else(|| NetworkError::NoFrequencies.into())
        })
    }

    /// One part's network with its errors.
    fn with_errors(
        &self,
        part: usize,
        way: usize,
        errors: &Errors,
    ) -> Result<Option<Network>, ReceiverError> {
        let Some(own) = &self.nominal[part][way] else { return Ok(None) };
        let entries = errors.applied(own.entries());
        let points = own.grid().len();
        let references = (0..points).flat_map(|point| own.references_ohm(point).to_vec()).collect();
        let network =
            Network::new(own.kind(), own.grid().clone(), own.ports(), entries, references)?;
        Ok(Some(network.with_wave_definition(own.wave_definition())))
    }

    /// Networks of one trial.
    fn drawn(&self, random: &mut ChaCha8Rng) -> Result<Networks, ReceiverError> {
        let mut errors = [Errors::default(), Errors::default()];
        let mut networks = Vec::with_capacity(self.parts.len());
        for (at, part) in self.parts.iter().enumerate() {
            for (errors, own) in errors.iter_mut().zip(&self.nominal[at]) {
                errors.clear(own.as_ref().map_or(0, |own| own.entries().len()));
            }
            for source in &part.sources {
                let mut common: Option<Deviates> = None;
                let ways = source.on_ways.iter().zip(&self.nominal[at]).zip(&mut errors);
                for ((source, own), errors) in ways {
                    let (Some(source), Some(own)) = (source, own) else { continue };
                    let deviates = match common.take().filter(|_| !source.is_independent()) {
                        Some(common) => common,
                        None => source.draw(own.ports(), own.grid().len(), random),
                    };
                    source.add(own.ports(), own.entries(), &deviates, errors);
                    common = Some(deviates);
                }
            }
            networks
                .push([self.with_errors(at, 0, &errors[0])?, self.with_errors(at, 1, &errors[1])?]);
        }
        Ok(networks)
    }

    /// Every deviate that does something.
    fn components(&self) -> Vec<Component> {
        let mut all = Vec::new();
        for (at, part) in self.parts.iter().enumerate() {
            for (number, source) in part.sources.iter().enumerate() {
                let Some(any) = source.on_ways.iter().flatten().next() else { continue };
                let ports = self.nominal[at].iter().flatten().next().map_or(0, Network::ports);
                let acting = (0..any.components(ports)).filter(|&component| {
                    let ways = source.on_ways.iter().flatten();
                    ways.into_iter().any(|source| source.has_effect(ports, component))
                });
                all.extend(acting.map(|component| Component {
                    part: at,
                    source: number,
                    number: component,
                    is_independent: any.is_independent(),
                }));
            }
        }
        all
    }

    /// Networks with one deviate at so many standard deviations, at every point.
    fn moved(&self, component: Component, size: f64) -> Result<Networks, ReceiverError> {
        let mut networks: Networks = self.parts.iter().map(|_| [None, None]).collect();
        let source = &self.parts[component.part].sources[component.source];
        let ways = source.on_ways.iter().zip(&self.nominal[component.part]);
        for (way, (source, own)) in ways.enumerate() {
            let (Some(source), Some(own)) = (source, own) else { continue };
            let ports = own.ports();
            let deviates = Deviates::unit(source.components(ports), component.number, size);
            let mut errors = Errors::default();
            errors.clear(own.entries().len());
            source.add(ports, own.entries(), &deviates, &mut errors);
            networks[component.part][way] = self.with_errors(component.part, way, &errors)?;
        }
        Ok(networks)
    }

    fn linear(&self, own_points: &[PlanPoint], worst: usize) -> Result<Linear, ReceiverError> {
        let own = self.solve(&self.parts.iter().map(|_| [None, None]).collect())?;
        let components = self.components();
        // Half of what plus and minus one standard deviation differ by, for each way on which points
        // err apart, or for both together.
        let changes = components
            .par_iter()
            .map(|&component| {
                let ends = [1.0, -1.0].map(|size| self.solve(&self.moved(component, size)?));
                let [plus, minus] = ends;
                let (plus, minus) = (plus?, minus?);
                let pairs = if component.is_independent {
                    vec![
                        [
                            self.variation.points_of_ways(&plus, &own)?,
                            self.variation.points_of_ways(&minus, &own)?,
                        ],
                        [
                            self.variation.points_of_ways(&own, &plus)?,
                            self.variation.points_of_ways(&own, &minus)?,
                        ],
                    ]
                } else {
                    vec![[self.variation.points(&plus)?, self.variation.points(&minus)?]]
                };
                Ok(pairs.into_iter().map(|[plus, minus]| halves(&plus, &minus)).collect::<Vec<_>>())
            })
            .collect::<Vec<Result<Vec<Vec<[Complex64; 2]>>, ReceiverError>>>();
        let mut points = vec![PlanCovariance::default(); own_points.len()];
        let mut at_worst: Vec<Vec<PlanCovariance>> = self
            .parts
            .iter()
            .map(|part| vec![PlanCovariance::default(); part.sources.len()])
            .collect();
        for (component, changes) in components.iter().zip(changes) {
            for change in changes? {
                for (point, [image, wanted]) in points.iter_mut().zip(&change) {
                    point.add(*image, *wanted);
                }
                let [image, wanted] = change[worst];
                at_worst[component.part][component.source].add(image, wanted);
            }
        }
        let mean = own_points[worst].balance.channel_error;
        let variance = |covariance| {
            ChannelErrorDistribution { mean, covariance }.linear_uncertainty_db().powi(2)
        };
        let total = variance(points[worst].image);
        let mut contributions = Vec::new();
        for (part, sources) in self.parts.iter().zip(&at_worst) {
            for (source, at_worst) in part.sources.iter().zip(sources) {
                contributions.push(Contribution {
                    part: part.name.clone(),
                    source: source.name.clone(),
                    covariance: at_worst.image,
                    share: if total > 0.0 { variance(at_worst.image) / total } else { 0.0 },
                });
            }
        }
        contributions.sort_by(|one, other| other.share.total_cmp(&one.share));
        Ok(Linear { points, contributions })
    }

    /// How well the rows of the budget are known.
    fn budget(
        &self,
        result: &DownconverterResult,
        worst: usize,
    ) -> Result<Vec<BudgetUncertainty>, ReceiverError> {
        let Some(budget) = &result.budget else { return Ok(Vec::new()) };
        let one = self.variation.at_point(worst)?;
        let changes = self
            .components()
            .par_iter()
            .map(|&component| {
                let mut rows = Vec::new();
                // At one point each way has frequencies of its own; the channel error takes one of each.
                let ways: &[&[usize]] =
                    if component.is_independent { &[&[0], &[1]] } else { &[&[0, 1]] };
                for ways in ways {
                    let ends = [1.0, -1.0].map(|size| {
                        let mut varied = one.clone();
                        let networks = self.moved(component, size)?;
                        for &way in *ways {
                            let Some(network) = &networks[component.part][way] else { continue };
                            let way = Way::BOTH[way];
                            for (place, part) in self.places.iter().zip(&self.part_of) {
                                if *part == component.part
                                    && let Some(own) = one.network_at(*place, way)
                                {
                                    let there = crate::network::onto_grid(network, own.grid())?;
                                    varied.set_network_at(*place, way, there.network);
                                }
                            }
                        }
                        Ok::<_, ReceiverError>(analyse_receiver(&varied)?.budget)
                    });
                    let [plus, minus] = ends;
                    if let (Some(plus), Some(minus)) = (plus?, minus?) {
                        rows.push([plus.rows, minus.rows]);
                    }
                }
                Ok(rows)
            })
            .collect::<Vec<Result<Vec<[Vec<BudgetRow>; 2]>, ReceiverError>>>();
        let mut rows: Vec<BudgetUncertainty> = budget
            .rows
            .iter()
            .map(|row| BudgetUncertainty {
                contributor: row.contributor.clone(),
                u_amplitude: 0.0,
                u_phase: 0.0,
            })
            .collect();
        for changed in changes {
            for [plus, minus] in changed? {
                for row in &mut rows {
                    let of = |list: &[BudgetRow]| {
                        let found = list.iter().find(|own| own.contributor == row.contributor);
                        found.map(|own| own.error)
                    };
                    if let (Some(plus), Some(minus)) = (of(&plus), of(&minus)) {
                        let half = half_of(plus, minus);
                        row.u_amplitude = row.u_amplitude.hypot(half.re);
                        row.u_phase = row.u_phase.hypot(half.im);
                    }
                }
            }
        }
        Ok(rows)
    }
}

/// Half the difference of two channel errors.
fn half_of(plus: Complex64, minus: Complex64) -> Complex64 {
    let phase = wrap_deg((plus.im - minus.im).to_degrees()).to_radians();
    Complex64::new(0.5 * (plus.re - minus.re), 0.5 * phase)
}

fn halves(plus: &[PlanPoint], minus: &[PlanPoint]) -> Vec<[Complex64; 2]> {
    let pairs = plus.iter().map(|point| point.balance).zip(minus.iter().map(|point| point.balance));
    pairs
        .map(|(plus, minus)| {
            [
                half_of(plus.channel_error, minus.channel_error),
                half_of(plus.wanted_error, minus.wanted_error),
            ]
        })
        .collect()
}
