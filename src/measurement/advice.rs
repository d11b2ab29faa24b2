//! Which uncertainty must be reduced, and by how much, for an undecided rejection to be decided.

use super::channel_error::ChannelErrorDistribution;
use super::contribution::Contribution;
use super::error_covariance::ErrorCovariance;
use super::normal::normal_deviate;
use super::root::root;

/// What would decide a requirement on the rejection that is undecided.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// The part whose uncertainty contributes most.
    pub part: String,
    /// Its share of the variance of the rejection.
    pub share: f64,
    /// The fraction of itself to which its uncertainty must be reduced for the requirement to be
    /// decided, all others unchanged; `None` if not even 0 would decide it.
    pub reduce_to: Option<f64>,
    /// The same for all uncertainties together.
    pub reduce_all_to: Option<f64>,
}

/// A rejection that is not decided.
pub(super) struct UndecidedRejection {
    /// The channel error at the point of worst rejection.
    pub(super) error: ChannelErrorDistribution,
    /// The limit without the sideband gain of the paths.
    pub(super) limit_db: f64,
    /// The probability that the requirement is met over the whole plan, by trials.
    pub(super) probability: f64,
    /// The probability of conformity required.
    pub(super) conformity: f64,
}

impl UndecidedRejection {
    /// The uncertainty to reduce; `None` where nothing contributes.
    pub(super) fn advice(&self, contributions: &[Contribution]) -> Option<Advice> {
        let mut parts: Vec<(&str, f64, ErrorCovariance)> = Vec::new();
        for contribution in contributions {
            match parts.iter_mut().find(|(name, ..)| *name == contribution.part) {
                Some((_, share, covariance)) => {
                    *share += contribution.share;
                    *covariance = covariance.plus(&contribution.covariance);
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
            reduce_all_to: self.largest_decided(&self.error.covariance()),
        })
    }

    /// The distance of this point alone from the limit, in normal deviates, with the uncertainty of
    /// one part scaled by `size`.
    fn distance(&self, part: &ErrorCovariance, size: f64) -> f64 {
        let covariance = self.error.covariance().with_scaled(part, size);
        let error = ChannelErrorDistribution::of_solved(self.error.mean(), covariance);
        normal_deviate(error.probability_of_rejection(self.limit_db))
    }

    /// The largest fraction of an uncertainty with which the requirement is decided.
    fn largest_decided(&self, part: &ErrorCovariance) -> Option<f64> {
        // Over the whole plan the worst of many points counts. That lowers the distance from the limit
        // by a number of deviates that is taken to be the same whatever the size of the errors.
        let lowered = self.distance(part, 1.0) - normal_deviate(self.probability);
        let needed = normal_deviate(self.conformity);
        let excess = |size: f64| (self.distance(part, size) - lowered).abs() - needed;
        if excess(0.0) < 0.0 {
            None
        } else if excess(1.0) >= 0.0 {
            Some(1.0)
        } else {
            Some(root((0.0, 1.0), 1e-9, excess))
        }
    }
}
