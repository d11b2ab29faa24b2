//! What must be known better for an undecided rejection to be decided.

use super::channel_error::ChannelErrorDistribution;
use super::conformity::normal_deviate;
use super::receiver_uncertainty::Contribution;

/// What would decide a requirement on the rejection that is undecided.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// The part whose uncertainty contributes most.
    pub part: String,
    /// Its share of the variance of the rejection.
    pub share: f64,
    /// To what fraction of itself its uncertainty must shrink for the requirement to be decided, all
    /// else as it is; `None` if even nought would not decide it.
    pub reduce_to: Option<f64>,
    /// The same for all uncertainties together.
    pub reduce_all_to: Option<f64>,
}

/// A rejection that is not decided.
pub(super) struct OpenRejection {
    /// Where it is worst.
    pub(super) error: ChannelErrorDistribution,
    /// Without what the paths favour.
    pub(super) limit_db: f64,
    /// That the requirement is met over the whole plan, by trials.
    pub(super) probability: f64,
    pub(super) conformity: f64,
}

impl OpenRejection {
    /// What must be known better for it to be decided.
    pub(super) fn advice(&self, contributions: &[Contribution]) -> Option<Advice> {
        let mut parts: Vec<(&str, f64, [[f64; 2]; 2])> = Vec::new();
        for contribution in contributions {
            match parts.iter_mut().find(|(name, ..)| *name == contribution.part) {
                Some((_, share, covariance)) => {
                    *share += contribution.share;
                    *covariance = sum(covariance, &contribution.covariance, 1.0);
                }
                None => {
                    parts.push((&contribution.part, contribution.share, contribution.covariance));
                }
            }
        }
        let largest = parts.into_iter().max_by(|one, other| one.1.total_cmp(&other.1));
        let (part, share, own) = largest.filter(|(_, share, _)| *share > 0.0)?;
        Some(Advice {
            part: part.to_owned(),
            share,
            reduce_to: self.largest_decided(&own),
            reduce_all_to: self.largest_decided(&self.error.covariance),
        })
    }

    /// How far this point alone is from the limit if of a covariance so much is left, in normal deviates.
    fn distance(&self, covariance: &[[f64; 2]; 2], size: f64) -> f64 {
        let covariance = sum(&self.error.covariance, covariance, size * size - 1.0);
        let error = ChannelErrorDistribution { mean: self.error.mean, covariance };
        normal_deviate(error.probability_of_rejection(self.limit_db))
    }

    /// The largest fraction of an uncertainty with which the requirement is decided.
    fn largest_decided(&self, covariance: &[[f64; 2]; 2]) -> Option<f64> {
        // Over the whole plan the worst of many points counts: by so many deviates it is worse than
        // this point alone, whatever the size of the errors.
        let worse = self.distance(covariance, 1.0) - normal_deviate(self.probability);
        let needed = normal_deviate(self.conformity);
        let is_decided = |size: f64| (self.distance(covariance, size) - worse).abs() >= needed;
        if !is_decided(0.0) {
            return None;
        }
        let (mut decided, mut open) = (0.0, 1.0);
        for _ in 0..30 {
            let middle = 0.5 * (decided + open);
            if is_decided(middle) {
                decided = middle;
            } else {
                open = middle;
            }
        }
        Some(decided)
    }
}

/// One covariance and so much of another.
fn sum(one: &[[f64; 2]; 2], other: &[[f64; 2]; 2], size: f64) -> [[f64; 2]; 2] {
    std::array::from_fn(|row| {
        std::array::from_fn(|column| one[row][column] + size * other[row][column])
    })
}
