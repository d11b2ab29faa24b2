//! Frequency grids: finite, not negative, never descending.

use super::NetworkError;

/// Frequencies in hertz: at least one, finite, not negative, never descending.
///
/// Equal neighbours are allowed, because a sweep of several segments repeats the frequency at which
/// two segments meet; [`FrequencyGrid::first_repeat`] finds them for work that needs distinct
/// points.
#[derive(Clone, Debug, PartialEq)]
pub struct FrequencyGrid {
    points_hz: Vec<f64>,
}

impl FrequencyGrid {
    /// Takes frequencies in hertz, in ascending order.
    ///
    /// # Errors
    /// Names the first point that breaks a rule, and its value.
    pub fn from_hz(points_hz: Vec<f64>) -> Result<Self, NetworkError> {
        let mut previous_hz = 0.0;
        for (index, &value_hz) in points_hz.iter().enumerate() {
            if !(value_hz.is_finite() && value_hz >= 0.0) {
                return Err(NetworkError::NotAFrequency { index, value_hz });
            }
            if value_hz < previous_hz {
                return Err(NetworkError::Descending { index, value_hz });
            }
            previous_hz = value_hz;
        }
        if points_hz.is_empty() { Err(NetworkError::NoFrequencies) } else { Ok(Self { points_hz }) }
    }

    /// `points` equidistant frequencies from `first_hz` to `last_hz`, both included.
    ///
    /// # Errors
    /// As [`FrequencyGrid::from_hz`]; also for zero points.
    pub fn linear(first_hz: f64, last_hz: f64, points: usize) -> Result<Self, NetworkError> {
        Self::from_hz(crate::units::equidistant(first_hz, last_hz, points))
    }

    /// The frequencies in hertz.
    #[must_use]
    pub fn as_hz(&self) -> &[f64] {
        &self.points_hz
    }

    /// The number of points; never zero.
    #[must_use]
    #[expect(clippy::len_without_is_empty, reason = "a grid is never empty")]
    pub fn len(&self) -> usize {
        self.points_hz.len()
    }

    /// The minimum frequency, Hz.
    #[must_use]
    pub fn first_hz(&self) -> f64 {
        self.points_hz[0]
    }

    /// The maximum frequency, Hz.
    #[must_use]
    pub fn last_hz(&self) -> f64 {
        self.points_hz[self.points_hz.len() - 1]
    }

    /// The first duplicate frequency, if there is one.
    #[must_use]
    pub fn first_repeat(&self) -> Option<f64> {
        self.points_hz
            .windows(2)
            .find(|pair| pair[0].total_cmp(&pair[1]).is_eq())
            .map(|pair| pair[0])
    }

    /// The number of points whose frequency equals that of the point before.
    #[must_use]
    pub fn repeats(&self) -> usize {
        self.points_hz.windows(2).filter(|pair| pair[0].total_cmp(&pair[1]).is_eq()).count()
    }

    /// The spacing of the points.
    #[must_use]
    pub fn spacing(&self) -> Spacing {
        let steps = |value: fn(f64) -> f64| {
            let (mut smallest, mut largest) = (f64::INFINITY, f64::NEG_INFINITY);
            for pair in self.points_hz.windows(2) {
                let step = value(pair[1]) - value(pair[0]);
                (smallest, largest) = (smallest.min(step), largest.max(step));
            }
            smallest > 0.0 && largest - smallest <= SPACING_TOLERANCE * largest
        };
        match self.points_hz.len() {
            1 => Spacing::Single,
            _ if steps(|hz| hz) => Spacing::Uniform,
            _ if self.first_hz() > 0.0 && steps(f64::ln) => Spacing::Logarithmic,
            _ => Spacing::Uneven,
        }
    }

    /// The index of the point nearest to a frequency.
    #[must_use]
    pub fn nearest(&self, frequency_hz: f64) -> usize {
        let above = self.points_hz.partition_point(|&point_hz| point_hz < frequency_hz);
        if above == 0 {
            return 0;
        }
        if above == self.points_hz.len() {
            return above - 1;
        }
        let closer_below =
            frequency_hz - self.points_hz[above - 1] <= self.points_hz[above] - frequency_hz;
        if closer_below { above - 1 } else { above }
    }
}

/// Steps equal within this share count as equal, because files round their frequencies.
const SPACING_TOLERANCE: f64 = 1e-3;

/// The spacing of the points of a grid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spacing {
    /// One point.
    Single,
    /// Equal steps.
    Uniform,
    /// Equal ratios.
    Logarithmic,
    /// Neither equal steps nor equal ratios.
    Uneven,
}

impl Spacing {
    /// The name of the spacing, one word.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Single => "single",
            Self::Uniform => "uniform",
            Self::Logarithmic => "logarithmic",
            Self::Uneven => "uneven",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rules_are_kept() {
        assert!(FrequencyGrid::from_hz(vec![]).is_err());
        assert!(FrequencyGrid::from_hz(vec![1.0, 0.5]).is_err());
        assert!(FrequencyGrid::from_hz(vec![-1.0]).is_err());
        assert!(FrequencyGrid::from_hz(vec![f64::NAN]).is_err());
        let grid = FrequencyGrid::from_hz(vec![1.0, 2.0, 2.0, 4.0]).unwrap();
        assert_eq!(grid.first_repeat(), Some(2.0));
        assert_eq!(grid.nearest(3.1), 3);
        assert_eq!(grid.nearest(0.0), 0);
        assert_eq!(grid.nearest(9.0), 3);
    }

    #[test]
    fn linear_grid_hits_both_ends() {
        let grid = FrequencyGrid::linear(27e9, 31e9, 401).unwrap();
        assert_eq!((grid.first_hz(), grid.last_hz(), grid.len()), (27e9, 31e9, 401));
    }
}
