//! The uncertainty to reduce, and its reduction, for an undecided rejection to be decided.

use super::contribution::Contribution;
use super::plane_noise::allowed;
use super::root::root;

/// The reduction of uncertainty that decides an undecided requirement on the rejection.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// The part whose uncertainty contributes most.
    pub part: String,
    /// The share of this part in the variance of the rejection.
    pub share: f64,
    /// The fraction to which the uncertainty of this part must be reduced for the requirement to be
    /// decided, all others unchanged; `None` if not even 0 decides it.
    pub reduce_to: Option<f64>,
    /// The fraction to which all uncertainties together must be reduced; `None` if not even 0
    /// decides it.
    pub reduce_all_to: Option<f64>,
}

/// The uncertainty to reduce for an undecided rejection; `None` where no part contributes.
/// `remaining` is the smaller of the probabilities against either decision, with the uncertainty of
/// one part, or of all, scaled by a factor. A requirement is decided if that probability is below
/// `risk`.
pub(super) fn advice(
    contributions: &[Contribution],
    risk: f64,
    remaining: impl Fn(Option<&str>, f64) -> Option<f64>,
) -> Option<Advice> {
    let mut parts: Vec<(&str, f64)> = Vec::new();
    for contribution in contributions {
        match parts.iter_mut().find(|(name, _)| *name == contribution.part) {
            Some((_, share)) => *share += contribution.share,
            None => parts.push((&contribution.part, contribution.share)),
        }
    }
    let largest = parts.into_iter().max_by(|one, other| one.1.total_cmp(&other.1));
    let (part, share) = largest.filter(|(_, share)| *share > 0.0)?;
    // The maximum fraction of an uncertainty with which the requirement is decided.
    let largest_decided = |part: Option<&str>| {
        let excess = |size: f64| remaining(part, size).map_or(1.0, |own| own - allowed(risk));
        if excess(0.0) >= 0.0 {
            None
        } else if excess(1.0) < 0.0 {
            Some(1.0)
        } else {
            Some(root((0.0, 1.0), 1e-4, excess))
        }
    };
    Some(Advice {
        part: part.to_owned(),
        share,
        reduce_to: largest_decided(Some(part)),
        reduce_all_to: largest_decided(None),
    })
}
