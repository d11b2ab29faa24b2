//! Directions on the face of a wafer.

/// A direction on the wafer's face.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Towards the right.
    Right,
    /// Towards the left.
    Left,
    /// Upwards.
    Up,
    /// Downwards.
    Down,
}

impl Direction {
    /// All four directions.
    pub const ALL: [Self; 4] = [Self::Right, Self::Left, Self::Up, Self::Down];

    /// The name in a recipe.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
            Self::Up => "up",
            Self::Down => "down",
        }
    }

    /// The direction as a step (x, y).
    pub(super) fn step(self) -> (f64, f64) {
        match self {
            Self::Right => (1.0, 0.0),
            Self::Left => (-1.0, 0.0),
            Self::Up => (0.0, 1.0),
            Self::Down => (0.0, -1.0),
        }
    }

    /// Whether two directions are at a right angle.
    pub(super) fn is_across(self, other: Self) -> bool {
        let is_level = |direction| matches!(direction, Self::Right | Self::Left);
        is_level(self) != is_level(other)
    }
}
