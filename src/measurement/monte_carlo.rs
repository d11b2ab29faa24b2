//! Trials: seeded, in parallel, as many as a stated stability asks for (JCGM 101:2008, 7.9).
//!
//! Every trial draws from a stream of its own, so that the result depends on the seed alone and not
//! on the number of threads. Trials come in sequences; the spread of the sequences' answers tells how
//! stable their mean is. An answer is the mean over sequences, whose values need not be kept: so
//! memory does not grow with the number of trials.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng as _;
use rayon::iter::{IntoParallelIterator as _, ParallelIterator as _};

/// How many trials, and from where they start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrialSettings {
    /// Where the streams begin.
    pub seed: u64,
    /// Exactly so many; as many as the stability asks for when absent.
    pub trials: Option<usize>,
    /// Twice the standard deviation of the mean, over sequences, of the first output's median and lower
    /// end shall be no larger, in its unit. The upper end, which near balance goes up without bound,
    /// decides nothing.
    pub stability: f64,
    /// The probability that intervals hold.
    pub coverage: f64,
}

impl Default for TrialSettings {
    fn default() -> Self {
        Self { seed: 1, trials: None, stability: 0.05, coverage: 0.95 }
    }
}

/// What the values of one output come to.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Spread {
    /// Mean of the values that are finite.
    pub mean: f64,
    /// Their standard deviation: the standard uncertainty.
    pub standard_uncertainty: f64,
    /// Half of all values are below.
    pub median: f64,
    /// The probabilistically symmetric coverage interval.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
}

/// What all trials come to.
#[derive(Clone, Debug, PartialEq)]
pub struct Trials {
    /// One per output.
    pub outputs: Vec<Spread>,
    /// One per condition: in what share of the trials it held.
    pub shares: Vec<f64>,
    /// How many trials there were.
    pub count: usize,
    /// What the stability came to; `None` after a single sequence.
    pub stability: Option<f64>,
}

/// What one trial gives.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Trial {
    /// In single precision, since there are many.
    pub outputs: Vec<f32>,
    /// Whether each condition held.
    pub held: Vec<bool>,
}

/// What a sequence comes to: one spread per output, one share per condition.
type Sequence = (Vec<Spread>, Vec<f64>);

/// Values that a sequence keeps at most: 80 MB.
const MOST_VALUES: usize = 20_000_000;
const FEWEST_PER_SEQUENCE: usize = 1_000;
const MOST_SEQUENCES: usize = 40;

/// Runs trials until the first output's median and lower end are stable. `trial` gets a generator of
/// its own and gives so many outputs each time.
///
/// # Errors
/// The first error of a trial, in the order of trials.
pub fn run_trials<E: Send>(
    settings: &TrialSettings,
    outputs: usize,
    trial: impl Fn(&mut ChaCha8Rng) -> Result<Trial, E> + Sync,
) -> Result<Trials, E> {
    let room = (MOST_VALUES / outputs.max(1)).max(FEWEST_PER_SEQUENCE);
    let length = settings.trials.unwrap_or_else(|| least_length(settings.coverage)).clamp(1, room);
    let mut sequences: Vec<Sequence> = Vec::new();
    let mut done = 0;
    loop {
        let length = settings.trials.map_or(length, |trials| (trials - done).min(length));
        let made = (done..done + length)
            .into_par_iter()
            .map(|number| {
                let mut random = ChaCha8Rng::seed_from_u64(settings.seed);
                random.set_stream(number as u64);
                trial(&mut random)
            })
            .collect::<Vec<_>>()
            .into_iter()
            .collect::<Result<Vec<Trial>, E>>()?;
        done += length;
        sequences.push(summed(&made, outputs, settings.coverage));
        let stability = stability(&sequences);
        let is_enough = match settings.trials {
            Some(trials) => done >= trials.max(1),
            None => {
                stability.is_some_and(|reached| reached <= settings.stability)
                    || sequences.len() >= MOST_SEQUENCES
            }
        };
        if is_enough {
            return Ok(averaged(&sequences, outputs, done, stability));
        }
    }
}

/// Trials of a sequence: ten thousand, or a hundred times what lies outside the interval.
fn least_length(coverage: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
    let for_coverage = (100.0 / (1.0 - coverage)).ceil().min(1e6) as usize;
    for_coverage.max(10_000)
}

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
        Spread {
            mean,
            standard_uncertainty: (squares / (count - 1.0).max(1.0)).sqrt(),
            median: quantile(&values, 0.5),
            low: quantile(&values, tail),
            high: quantile(&values, 1.0 - tail),
        }
    };
    let spreads = (0..outputs).into_par_iter().map(spread).collect();
    let conditions = made.first().map_or(0, |trial| trial.held.len());
    let share = |condition: usize| {
        made.iter().filter(|trial| trial.held[condition]).count() as f64 / made.len() as f64
    };
    (spreads, (0..conditions).map(share).collect())
}

/// Between sorted values as JCGM 101 has it: the share p lies below the value at p times their number.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a place in a list"
)]
fn quantile(sorted: &[f64], probability: f64) -> f64 {
    let place = (probability * sorted.len() as f64 - 0.5).clamp(0.0, (sorted.len() - 1) as f64);
    let (below, share) = (place.floor() as usize, place.fract());
    let above = (below + 1).min(sorted.len() - 1);
    if share == 0.0 || sorted[below].total_cmp(&sorted[above]).is_eq() {
        return sorted[below];
    }
    sorted[below] + share * (sorted[above] - sorted[below])
}

/// Twice the standard deviation of the mean, of median or lower end, whichever is larger.
#[expect(clippy::cast_precision_loss, reason = "few sequences")]
fn stability(sequences: &[Sequence]) -> Option<f64> {
    let count = sequences.len() as f64;
    if sequences.len() < 2 || sequences[0].0.is_empty() {
        return None;
    }
    let of = |answer: fn(&Spread) -> f64| {
        let values: Vec<f64> = sequences.iter().map(|(spreads, _)| answer(&spreads[0])).collect();
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
    let outputs = (0..outputs).map(|at| Spread {
        mean: mean(&|(spreads, _)| spreads[at].mean),
        standard_uncertainty: mean(&|(spreads, _)| spreads[at].standard_uncertainty.powi(2)).sqrt(),
        median: mean(&|(spreads, _)| spreads[at].median),
        low: mean(&|(spreads, _)| spreads[at].low),
        high: mean(&|(spreads, _)| spreads[at].high),
    });
    Trials {
        outputs: outputs.collect(),
        shares: (0..sequences[0].1.len()).map(|at| mean(&|(_, shares)| shares[at])).collect(),
        count,
        stability,
    }
}
