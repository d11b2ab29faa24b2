//! Retest rules: which of several measurements of one die counts.

use super::die::DieKey;
use std::collections::HashMap;

/// The retest rule.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum RetestPolicy {
    /// The first measurement counts.
    First,
    /// The last measurement counts: a retest replaces earlier ones.
    #[default]
    Last,
    /// The best measurement counts: the one that misses the fewest limits, and of these the one
    /// with the maximum margin. The margin is in its unit if one quantity is limited, otherwise the
    /// minimum share of a limit.
    Best,
    /// Every measurement counts.
    All,
}

impl RetestPolicy {
    /// All four rules.
    pub const ALL_POLICIES: [Self; 4] = [Self::First, Self::Last, Self::Best, Self::All];

    /// The name in a recipe.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::First => "first",
            Self::Last => "last",
            Self::Best => "best",
            Self::All => "all",
        }
    }
}

/// The rank of a measurement of a die: the better one is greater.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub(super) struct Rank {
    /// Minus the number of missed limits.
    kept: f64,
    margin: f64,
}

impl Rank {
    pub(super) fn new(missed_limits: u32, margin: f64) -> Self {
        Self { kept: -f64::from(missed_limits), margin }
    }
}

/// The rows that count under a retest rule. Each row has a die and may have a rank, which
/// [`RetestPolicy::Best`] uses. Rows without a rank (unreadable ones) are worse than any row with
/// one, and of equal rows the earlier one counts.
pub(super) fn standing_rows(rows: &[(&DieKey, Option<Rank>)], policy: RetestPolicy) -> Vec<bool> {
    if policy == RetestPolicy::All {
        return vec![true; rows.len()];
    }
    let mut chosen: HashMap<&DieKey, usize> = HashMap::new();
    for (row, (key, rank)) in rows.iter().enumerate() {
        chosen
            .entry(key)
            .and_modify(|before| {
                let is_better = match policy {
                    RetestPolicy::First | RetestPolicy::All => false,
                    RetestPolicy::Last => true,
                    // `None` is less than any number.
                    RetestPolicy::Best => *rank > rows[*before].1,
                };
                if is_better {
                    *before = row;
                }
            })
            .or_insert(row);
    }
    rows.iter().enumerate().map(|(row, (key, _))| chosen[key] == row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_measurement_of_each_die_counts() {
        let key = |die_x| DieKey { lot: "L".into(), wafer: "W".into(), die_x, die_y: 0 };
        let keys = [1, 2, 1, 1, 3].map(key);
        let rows = |margins: [Option<f64>; 5]| {
            keys.iter().zip(margins.map(|margin| margin.map(|margin| Rank::new(0, margin))))
        };
        let ranked: Vec<_> = rows([Some(30.0), Some(20.0), Some(35.0), Some(35.0), None]).collect();
        for (policy, want) in [
            (RetestPolicy::First, [true, true, false, false, true]),
            (RetestPolicy::Last, [false, true, false, true, true]),
            (RetestPolicy::Best, [false, true, true, false, true]),
            (RetestPolicy::All, [true; 5]),
        ] {
            assert_eq!(standing_rows(&ranked, policy), want, "{policy:?}");
        }
        // One limit missed by a little is worse than none met by less.
        let ranks = [Rank::new(1, 9.0), Rank::new(0, 0.1)].map(Some);
        let two: Vec<_> = [&keys[0]; 2].into_iter().zip(ranks).collect();
        assert_eq!(standing_rows(&two, RetestPolicy::Best), [false, true]);
        // An unreadable measurement is never better than a readable one.
        let unread: Vec<_> = rows([None, Some(20.0), Some(-5.0), None, None]).collect();
        assert_eq!(standing_rows(&unread, RetestPolicy::Best), [false, true, true, false, true]);
    }
}
