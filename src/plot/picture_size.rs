//! The size of every picture.

/// Pixels.
pub(super) const WIDTH: u32 = 1600;

/// Pixels.
pub(super) const HEIGHT: u32 = 1000;
