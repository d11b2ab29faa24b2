//! Several networks on the frequencies that all of them cover.

use super::container::Network;
use super::error::NetworkError;
use super::grid::FrequencyGrid;
use super::interpolation::{Interpolated, onto_grid};

/// Brings networks to the frequencies that all of them cover: the points of the one with most
/// points there, and the ends of the common range.
///
/// # Errors
/// [`NetworkError::NoCommonBand`] if no range is common to all; errors of [`onto_grid`].
pub fn on_common_grid(blocks: &[Network]) -> Result<Vec<Interpolated>, NetworkError> {
    let grid = common_grid(&blocks.iter().collect::<Vec<_>>())?;
    blocks.iter().map(|block| onto_grid(block, &grid)).collect()
}

/// The points, of the network that has most there, within the band that all networks cover, and the
/// ends of that band.
pub(crate) fn common_grid(blocks: &[&Network]) -> Result<FrequencyGrid, NetworkError> {
    let first_hz = blocks.iter().map(|block| block.grid().first_hz()).fold(0.0, f64::max);
    let last_hz = blocks.iter().map(|block| block.grid().last_hz()).fold(f64::INFINITY, f64::min);
    if first_hz > last_hz {
        return Err(NetworkError::NoCommonBand { first_hz, last_hz });
    }
    let inside = |block: &&Network| -> Vec<f64> {
        block
            .grid()
            .as_hz()
            .iter()
            .copied()
            .filter(|hz| (first_hz..=last_hz).contains(hz))
            .collect()
    };
    let mut points_hz =
        blocks.iter().map(inside).max_by_key(Vec::len).ok_or(NetworkError::NoNetworks)?;
    for end_hz in [first_hz, last_hz] {
        if !points_hz.iter().any(|hz| hz.total_cmp(&end_hz).is_eq()) {
            points_hz.push(end_hz);
        }
    }
    points_hz.sort_by(f64::total_cmp);
    points_hz.dedup();
    FrequencyGrid::from_hz(points_hz)
}
