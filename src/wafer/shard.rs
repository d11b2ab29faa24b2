//! A part of a list of dies, for runs on several machines.

use std::fmt;
use std::str::FromStr;

/// A part of a list: every `count`-th row, starting with row `number`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Shard {
    count: u64,
    number: u64,
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.count)
    }
}

/// A text that is not a shard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a shard is K/N with K from 1 to N, such as 2/8")]
pub struct ShardError;

impl FromStr for Shard {
    type Err = ShardError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let shard = text.split_once('/').and_then(|(number, count)| {
            Self::new(number.trim().parse().ok()?, count.trim().parse().ok()?)
        });
        shard.ok_or(ShardError)
    }
}

impl Shard {
    /// The whole list.
    pub const WHOLE: Self = Self { number: 1, count: 1 };

    /// A shard; `number` counts from 1 to `count`, otherwise `None`.
    #[must_use]
    pub fn new(number: u64, count: u64) -> Option<Self> {
        (1..=count).contains(&number).then_some(Self { number, count })
    }

    /// All shards of a list that is split into `count` shards.
    pub(crate) fn all_of(count: u64) -> impl Iterator<Item = Self> {
        (1..=count).map(move |number| Self { count, number })
    }

    /// The number of shards of the list.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.count
    }

    /// The number of rows of this shard, in a list of `rows` rows.
    #[must_use]
    pub fn share_of(&self, rows: u64) -> u64 {
        rows / self.count + u64::from(rows % self.count >= self.number)
    }

    /// Whether a row, counted from 0, belongs to this shard.
    #[must_use]
    pub fn owns(&self, row: u64) -> bool {
        row % self.count == self.number - 1
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn shards_share_out_every_row_once() {
        for count in 1..=7 {
            for row in 0..50 {
                let owners = (1..=count).filter(|&n| Shard::new(n, count).unwrap().owns(row));
                assert_eq!(owners.count(), 1);
            }
            for rows in 0..30 {
                for number in 1..=count {
                    let shard = Shard::new(number, count).unwrap();
                    let owned = (0..rows).filter(|&row| shard.owns(row)).count();
                    assert_eq!(shard.share_of(rows), owned as u64);
                    assert_eq!(shard.to_string().parse(), Ok(shard));
                }
            }
        }
        assert!(Shard::WHOLE.owns(0) && Shard::WHOLE.owns(9));
        assert!(Shard::new(0, 3).is_none() && Shard::new(4, 3).is_none());
    }
}
