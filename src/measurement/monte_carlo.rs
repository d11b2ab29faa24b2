//! Monte Carlo trials: seeded, in parallel, until the results are stable (JCGM 101:2008, 7.9).
//!
//! Every trial has its own random stream, so the result depends on the seed alone and not on the
//! number of threads. Trials are grouped in sequences; the scatter of the sequences' results gives
//! the stability of their mean. A result is the mean over sequences, whose values need not be kept,
//! so memory does not grow with the number of trials.

use super::error::MeasurementError;
use super::uncertainty_progress::{Counted, OnUncertainty, UncertaintyStage};
use crate::quantile::{QuantileDefinition, quantile};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng as _;
use rayon::iter::{IntoParallelIterator as _, ParallelIterator as _};
use std::num::NonZeroUsize;

/// Number of trials, seed and coverage.
///
/// # Examples
/// ```
/// use fourphase::measurement::TrialSettings;
///
/// let settings = TrialSettings::default().with_seed(7).with_coverage(0.99)?;
/// assert_eq!((settings.seed(), settings.coverage()), (7, 0.99));
/// assert!(TrialSettings::default().with_coverage(1.0).is_err());
/// # Ok::<(), fourphase::measurement::MeasurementError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrialSettings {
    seed: u64,
    trials: Option<NonZeroUsize>,
    stability: f64,
    coverage: f64,
}

impl Default for TrialSettings {
    /// Seed 1, trials until the rejection is stable to 0.05 dB, intervals of 95 % coverage.
    fn default() -> Self {
        Self { seed: 1, trials: None, stability: 0.05, coverage: 0.95 }
    }
}

impl TrialSettings {
    /// Sets the seed of the random streams.
    #[must_use]
    pub fn with_seed(self, seed: u64) -> Self {
        Self { seed, ..self }
    }

    /// Sets a fixed number of trials, independent of the stability.
    #[must_use]
    pub fn with_trials(self, trials: NonZeroUsize) -> Self {
        Self { trials: Some(trials), ..self }
    }

    /// Sets the stability: trials continue until twice the standard deviation of the mean, over
    /// sequences, of the first output's median and lower end is at most `stability`, in the
    /// output's unit. The upper end, which grows without bound near balance, does not count.
    ///
    /// # Errors
    /// [`MeasurementError::NotAStability`] unless it is above 0.
    pub fn with_stability(self, stability: f64) -> Result<Self, MeasurementError> {
        if stability > 0.0 {
            Ok(Self { stability, ..self })
        } else {
            Err(MeasurementError::NotAStability { found: stability })
        }
    }

    /// Sets the coverage probability of intervals.
    ///
    /// # Errors
    /// [`MeasurementError::NotACoverage`] unless it is above 0 and below 1.
    pub fn with_coverage(self, coverage: f64) -> Result<Self, MeasurementError> {
        if coverage > 0.0 && coverage < 1.0 {
            Ok(Self { coverage, ..self })
        } else {
            Err(MeasurementError::NotACoverage { found: coverage })
        }
    }

    /// The seed of the random streams.
    #[must_use]
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// The number of trials, if given.
    #[must_use]
    pub fn trials(&self) -> Option<NonZeroUsize> {
        self.trials
    }

    /// The stability required if the number of trials is not given.
    #[must_use]
    pub fn stability(&self) -> f64 {
        self.stability
    }

    /// The coverage probability of intervals.
    #[must_use]
    pub fn coverage(&self) -> f64 {
        self.coverage
    }
}

/// The distribution of one output over the trials.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spread {
    /// Mean of the finite values.
    pub mean: f64,
    /// Standard deviation of the finite values: the standard uncertainty.
    pub standard_uncertainty: f64,
    /// Median of all values.
    pub median: f64,
    /// The lower end of the coverage interval: for a rejection, an imbalance or a phase error that
    /// of the truths that are not refuted, for other quantities that of the probabilistically
    /// symmetric interval of the trials.
    pub low: f64,
    /// The upper end of the coverage interval.
    pub high: f64,
}

impl Spread {
    /// The difference between a best estimate and the median of the values: its bias.
    #[must_use]
    pub fn bias_of(&self, estimate: f64) -> f64 {
        estimate - self.median
    }

    /// Whether the coverage interval has no upper end.
    #[must_use]
    pub fn is_unbounded(&self) -> bool {
        self.high.is_infinite()
    }

    /// Replaces the interval.
    pub(super) fn with_interval(self, (low, high): (f64, f64)) -> Self {
        Self { low, high, ..self }
    }
}

/// The results of all trials.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Trials {
    /// One distribution for each output.
    pub(super) outputs: Vec<Spread>,
    /// For each condition the share of the trials in which it was true.
    pub(super) shares: Vec<f64>,
    /// The share of the trials in which all conditions were true.
    pub(super) share_of_all: f64,
    /// The number of trials.
    pub(super) count: usize,
    /// The stability reached; `None` after a single sequence.
    pub(super) stability: Option<f64>,
}

/// The result of one trial.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Trial {
    /// The outputs, in single precision because there are many.
    pub(super) outputs: Vec<f32>,
    /// Whether each condition was true.
    pub(super) held: Vec<bool>,
}

/// The results of one sequence.
struct Sequence {
    spreads: Vec<Spread>,
    shares: Vec<f64>,
    share_of_all: f64,
}

/// Maximum number of values that a sequence keeps: 80 MB.
const MAX_VALUES: usize = 20_000_000;
const MIN_SEQUENCE: usize = 1_000;
const MAX_SEQUENCES: usize = 40;

/// Runs trials until the first output's median and lower end are stable. `trial` gets its own
/// generator and returns `outputs` values each time. Their count is reported to `on_progress`.
///
/// # Errors
/// The first error of a trial, in the order of trials.
pub(super) fn run_trials<E: Send>(
    settings: &TrialSettings,
    outputs: usize,
    on_progress: OnUncertainty<'_>,
    trial: impl Fn(&mut ChaCha8Rng) -> Result<Trial, E> + Sync,
) -> Result<Trials, E> {
    let room = (MAX_VALUES / outputs.max(1)).max(MIN_SEQUENCE);
    let wanted = settings.trials.map(NonZeroUsize::get);
    let length = wanted.unwrap_or_else(|| sequence_length(settings.coverage)).min(room);
    let mut sequences: Vec<Sequence> = Vec::new();
    let mut done = 0;
    let counted = Counted::new(on_progress, UncertaintyStage::Trials);
    loop {
        let length = wanted.map_or(length, |wanted| (wanted - done).min(length));
        // The stability of a result needs two sequences at least.
        let total = wanted.unwrap_or((done + length).max(2 * length)) as u64;
        counted.begin(done as u64, total);
        let made = (done..done + length)
            .into_par_iter()
            .map(|number| {
                let mut random = ChaCha8Rng::seed_from_u64(settings.seed);
                random.set_stream(number as u64);
                let made = trial(&mut random);
                counted.one(total);
                made
            })
            .collect::<Vec<_>>()
            .into_iter()
            .collect::<Result<Vec<Trial>, E>>()?;
        done += length;
        sequences.push(summed(&made, outputs, settings.coverage));
        let stability = stability(&sequences);
        let is_enough = match wanted {
            Some(wanted) => done >= wanted,
            None => {
                stability.is_some_and(|reached| reached <= settings.stability)
                    || sequences.len() >= MAX_SEQUENCES
            }
        };
        if is_enough {
            return Ok(averaged(&sequences, outputs, done, stability));
        }
    }
}

/// Trials of a sequence: ten thousand, or a hundred times 1 / (1 - coverage).
fn sequence_length(coverage: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
    let for_coverage = (100.0 / (1.0 - coverage)).ceil().min(1e6) as usize;
    for_coverage.max(10_000)
}

/// The results of one sequence of at least one trial.
#[expect(clippy::cast_precision_loss, reason = "counts far below 2^53")]
fn summed(made: &[Trial], outputs: usize, coverage: f64) -> Sequence {
    let spread = |output: usize| {
        let mut values: Vec<f64> =
            made.iter().map(|trial| f64::from(trial.outputs[output])).collect();
        values.sort_by(f64::total_cmp);
        let finite: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
        let count = finite.len().max(1) as f64;
        let mean = finite.iter().sum::<f64>() / count;
        let squares: f64 = finite.iter().map(|value| (value - mean).powi(2)).sum();
        let tail = 0.5 * (1.0 - coverage);
        // JCGM 101:2008, 7.7. A sequence without trials does not occur.
        let at = |probability: f64| {
            quantile(&values, probability, QuantileDefinition::Five).unwrap_or(f64::NAN)
        };
        Spread {
            mean,
            standard_uncertainty: (squares / (count - 1.0).max(1.0)).sqrt(),
            median: at(0.5),
            low: at(tail),
            high: at(1.0 - tail),
        }
    };
    let share = |holds: &dyn Fn(&Trial) -> bool| {
        made.iter().filter(|trial| holds(trial)).count() as f64 / made.len() as f64
    };
    let conditions = made.first().map_or(0, |trial| trial.held.len());
    Sequence {
        spreads: (0..outputs).into_par_iter().map(spread).collect(),
        shares: (0..conditions).map(|at| share(&|trial| trial.held[at])).collect(),
        share_of_all: share(&|trial| trial.held.iter().all(|held| *held)),
    }
}

/// Twice the standard deviation of the mean of median or lower end, the larger of both.
#[expect(clippy::cast_precision_loss, reason = "few sequences")]
fn stability(sequences: &[Sequence]) -> Option<f64> {
    let count = sequences.len() as f64;
    if sequences.len() < 2 || sequences[0].spreads.is_empty() {
        return None;
    }
    let of = |answer: fn(&Spread) -> f64| {
        let values: Vec<f64> =
            sequences.iter().map(|sequence| answer(&sequence.spreads[0])).collect();
        let mean = values.iter().sum::<f64>() / count;
        let variance =
            values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (count - 1.0);
        Some(2.0 * (variance / count).sqrt()).filter(|twice| twice.is_finite())
    };
    let watched: [fn(&Spread) -> f64; 2] = [|spread| spread.median, |spread| spread.low];
    watched.into_iter().filter_map(of).reduce(f64::max)
}

fn averaged(
    sequences: &[Sequence],
    outputs: usize,
    count: usize,
    stability: Option<f64>,
) -> Trials {
    #[expect(clippy::cast_precision_loss, reason = "few sequences")]
    let number = sequences.len() as f64;
    let mean = |value: &dyn Fn(&Sequence) -> f64| sequences.iter().map(value).sum::<f64>() / number;
    let outputs = (0..outputs).map(|at| {
        let of = |answer: fn(&Spread) -> f64| mean(&|sequence| answer(&sequence.spreads[at]));
        Spread {
            mean: of(|spread| spread.mean),
            standard_uncertainty: of(|spread| spread.standard_uncertainty.powi(2)).sqrt(),
            median: of(|spread| spread.median),
            low: of(|spread| spread.low),
            high: of(|spread| spread.high),
        }
    });
    let conditions = 0..sequences[0].shares.len();
    Trials {
        outputs: outputs.collect(),
        shares: conditions.map(|at| mean(&|sequence| sequence.shares[at])).collect(),
        share_of_all: mean(&|sequence| sequence.share_of_all),
        count,
        stability,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::cast_possible_truncation)]
mod tests {
    use super::*;
    use crate::measurement::{ChannelErrorDistribution, UncertaintyProgress};
    use crate::splitter::image_rejection_of_error_db;
    use num_complex::Complex64;
    use rand_distr::{Distribution as _, StandardNormal, Uniform};
    use serde_json::Value;
    use std::convert::Infallible;

    /// Independently computed values, by case.
    fn cases(prefix: &str) -> Vec<Value> {
        let text = include_str!("../../tests/check-values/12_uncertainty.json");
        let topic: Value = serde_json::from_str(text).unwrap();
        let all = topic["cases"].as_array().unwrap().iter();
        let is_wanted = |case: &&Value| case["id"].as_str().unwrap().starts_with(prefix);
        let found: Vec<Value> = all.filter(is_wanted).cloned().collect();
        assert!(!found.is_empty(), "no case {prefix}");
        found
    }

    fn number(value: &Value, name: &str) -> f64 {
        value[name].as_f64().unwrap()
    }

    fn exactly(trials: usize) -> TrialSettings {
        TrialSettings::default().with_trials(NonZeroUsize::new(trials).unwrap())
    }

    fn drawn(random: &mut ChaCha8Rng) -> f64 {
        StandardNormal.sample(random)
    }

    /// The distribution equals that of two million trials of another program; a hundred thousand
    /// trials here.
    #[test]
    fn trials_agree_with_the_exact_distribution() {
        for case in cases("irr") {
            let of = |name: &str| number(&case["inputs"], name);
            let error = ChannelErrorDistribution::independent(
                (of("gain_db"), of("phase_deg")),
                (of("u_gain_db"), of("u_phase_deg")),
            )
            .unwrap();
            let covariance = error.covariance();
            let u = [covariance.amplitude_variance(), covariance.phase_variance()].map(f64::sqrt);
            let trials = run_trials::<Infallible>(&exactly(100_000), 1, &|_| {}, |random| {
                let (x, y) = (drawn(random), drawn(random));
                let drawn = error.mean() + Complex64::new(u[0] * x, u[1] * y);
                let db = image_rejection_of_error_db(drawn) as f32;
                Ok(Trial { outputs: vec![db], held: vec![db >= 30.0] })
            })
            .unwrap();
            let spread = trials.outputs[0];
            let theirs = &case["expected"]["monte_carlo"];
            // Four standard errors: of a mean s/sqrt(n), of a standard deviation s sqrt((k-1)/4n)
            // with a kurtosis k of at most 9 here.
            let s = number(theirs, "std_irr_db");
            assert!((spread.mean - number(theirs, "mean_irr_db")).abs() < 4.0 * s / 300.0);
            assert!((spread.standard_uncertainty - s).abs() < 4.0 * s * 1.42 / 310.0);
            for (got, probability) in
                [(spread.low, 0.025), (spread.median, 0.5), (spread.high, 0.975)]
            {
                // Of a quantile sqrt(p(1-p)/n) over the density, taken from neighbouring quantiles.
                let step = 0.004;
                let width = error.rejection_quantile_db(probability + step)
                    - error.rejection_quantile_db(probability - step);
                let spread =
                    (probability * (1.0 - probability) / 1e5_f64).sqrt() * width / (2.0 * step);
                let want = error.rejection_quantile_db(probability);
                assert!((got - want).abs() < 4.0 * spread, "{probability} {got} {want}");
            }
            let want = error.probability_of_rejection(30.0);
            let chance = (want * (1.0 - want) / 1e5).sqrt().max(1e-5);
            assert!((trials.shares[0] - want).abs() < 4.0 * chance);
        }
    }

    /// A fixed number of trials is reported from nothing to all of it.
    #[test]
    fn progress_ends_at_the_total() {
        let seen = std::sync::Mutex::new(Vec::new());
        let count = |progress: UncertaintyProgress| {
            assert_eq!(progress.total, 1000);
            seen.lock().unwrap().push(progress.done);
        };
        run_trials::<Infallible>(&exactly(1000), 0, &count, |_| Ok(Trial::default())).unwrap();
        let mut seen = seen.into_inner().unwrap();
        seen.sort_unstable();
        // About every hundredth part: 1000 / 128 is 7.
        assert_eq!((seen[0], seen[1], seen.len()), (0, 7, 143));
    }

    /// JCGM 101:2008, 9.4 (comparison loss, from memory): near 0 the linear law gives an
    /// uncertainty of 0, trials give the exact moments.
    #[test]
    fn a_square_near_zero_needs_trials() {
        for case in cases("jcgm101") {
            let (x1, u) = (number(&case["inputs"], "x1"), number(&case["inputs"], "u"));
            let trials = run_trials::<Infallible>(&exactly(200_000), 1, &|_| {}, |random| {
                let (a, b) = (drawn(random), drawn(random));
                let loss = ((x1 + u * a).powi(2) + (u * b).powi(2)) as f32;
                Ok(Trial { outputs: vec![loss], held: Vec::new() })
            })
            .unwrap();
            let expected = &case["expected"];
            let std = number(expected, "std_exact");
            let found = trials.outputs[0];
            // Four standard errors of 200,000 trials; an exponential's standard deviation is known to
            // sqrt(8/4n).
            assert!((found.mean - number(expected, "mean_exact")).abs() < 4.0 * std / 447.0);
            assert!((found.standard_uncertainty - std).abs() < 4.0 * std * 1.42 / 447.0);
            // Printed to one digit in units of 1e-6.
            assert!((found.standard_uncertainty - number(expected, "published_mc_u")).abs() < 2e-6);
        }
    }

    /// JCGM 101:2008, 9.2 (additive model, from memory): four normal inputs give -3.92 to 3.92,
    /// four rectangular ones -3.88 to 3.88. The trials continue until that is stable.
    #[test]
    fn the_additive_model_of_the_guide() {
        let settings = TrialSettings::default().with_stability(0.02).unwrap();
        let run = |is_normal: bool| {
            run_trials::<Infallible>(&settings, 1, &|_| {}, |random| {
                let half_width = 3_f64.sqrt();
                let rectangular = Uniform::new(-half_width, half_width).unwrap();
                let one = |random: &mut ChaCha8Rng| match is_normal {
                    true => drawn(random),
                    false => rectangular.sample(random),
                };
                let sum: f64 = (0..4).map(|_| one(random)).sum();
                Ok(Trial { outputs: vec![sum as f32], held: Vec::new() })
            })
            .unwrap()
        };
        for (is_normal, end) in [(true, 3.92), (false, 3.88)] {
            let trials = run(is_normal);
            let found = trials.outputs[0];
            assert!(trials.count >= 20_000 && trials.stability.unwrap() <= 0.02);
            // The ends are stable to 0.02 and printed to 0.005.
            assert!((found.low + end).abs() < 0.03 && (found.high - end).abs() < 0.03, "{found:?}");
            // Two standard errors of 20,000 trials with a standard deviation of 2; the seed is fixed.
            assert!((found.standard_uncertainty - 2.0).abs() < 0.02 && found.mean.abs() < 0.03);
            // A second run gives the same result, independent of the threads.
            assert_eq!(run(is_normal), trials);
        }
    }
}
