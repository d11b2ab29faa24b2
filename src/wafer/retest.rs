//! Several measurements of one die, and which of them counts.

use super::die::DieKey;
use std::collections::HashMap;

/// Which of several measurements of one die counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum RetestPolicy {
    /// The first.
    First,
    /// The last: a retest replaces what was before.
    #[default]
    Last,
    /// The best: the one that misses the fewest limits, and of these the one with the largest margin:
    /// in its unit where one quantity is limited, else the smallest as a share of its limit.
    Best,
    /// Each on its own.
    All,
}

impl RetestPolicy {
    /// All four.
    pub const ALL_POLICIES: [Self; 4] = [Self::First, Self::Last, Self::Best, Self::All];

    /// As the recipe has it.
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

/// How good a measurement of a die is: the better is the greater.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub(super) struct Rank {
    /// Minus the number of limits that it misses.
    kept: f64,
    margin: f64,
}

impl Rank {
    pub(super) fn new(missed_limits: u32, margin: f64) -> Self {
        Self { kept: -f64::from(missed_limits), margin }
    }
}

/// Which rows count, under a policy, of rows that are each about a die and may have a rank: how good the
/// row is, for [`RetestPolicy::Best`]. Rows without a rank (unreadable ones) are worse than any that has
/// one, and of equals the earlier counts.
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
                    // None is less than any number.
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
        // One limit missed by little is worse than none kept by less.
        let ranks = [Rank::new(1, 9.0), Rank::new(0, 0.1)].map(Some);
        let two: Vec<_> = [&keys[0]; 2].into_iter().zip(ranks).collect();
        assert_eq!(standing_rows(&two, RetestPolicy::Best), [false, true]);
        // An unreadable measurement never beats one that could be read.
        let unread: Vec<_> = rows([None, Some(20.0), Some(-5.0), None, None]).collect();
        assert_eq!(standing_rows(&unread, RetestPolicy::Best), [false, true, true, false, true]);
    }
}
