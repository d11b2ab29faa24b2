//! Trends over a wafer, and comparison of its edge with its centre.

use super::geometry::Position;
use crate::quantile::median;
use nalgebra::{DMatrix, DVector};

/// A value at a position on a wafer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlacedValue {
    /// The position.
    pub position: Position,
    /// The value, in any unit.
    pub value: f64,
}

/// A trend over the wafer: value = level + tilt_x x + tilt_y y + radial r². Here x, y and the
/// distance r from the centre are in units of the wafer's radius, so every coefficient is the
/// change from the centre to the edge.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// The value at the centre.
    pub level: f64,
    /// The tilt along x: change from the centre to the right edge.
    pub tilt_x: f64,
    /// The tilt along y: change from the centre to the upper edge.
    pub tilt_y: f64,
    /// The radial trend: change from the centre to the edge in every direction.
    pub radial: f64,
    /// The residuals of the values, in their order.
    pub residuals: Vec<f64>,
    /// The share of the values' variance that the trend explains, 0 to 1; 0 where they do not vary.
    pub explained: f64,
}

/// Maximum number of steps in the decomposition of four columns, far more than needed.
const MAX_STEPS: usize = 2000;

/// The trend by least squares; `None` for fewer than four values, for values or positions that are
/// not finite, or where the positions do not determine the terms (all on one line or one circle).
#[must_use]
pub fn trend(values: &[PlacedValue], radius_mm: f64) -> Option<Trend> {
    let rows = values.len();
    let design = DMatrix::from_fn(rows, 4, |row, column| {
        let place = values[row].position;
        let (x, y) = (place.x_mm / radius_mm, place.y_mm / radius_mm);
        [1.0, x, y, x * x + y * y][column]
    });
    let wanted = DVector::from_iterator(rows, values.iter().map(|placed| placed.value));
    // The decomposition of a matrix with NaN or infinity does not end.
    if rows < 4 || !design.iter().chain(wanted.iter()).all(|number| number.is_finite()) {
        return None;
    }
    let decomposed = design.clone().try_svd(true, true, f64::EPSILON, MAX_STEPS)?;
    let largest = decomposed.singular_values.max();
    if decomposed.singular_values.min() <= 1e-9 * largest {
        return None;
    }
    let solution = decomposed.solve(&wanted, 0.0).ok()?;
    let residuals = &wanted - &design * &solution;
    #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53 dies")]
    let mean = wanted.sum() / rows as f64;
    let total: f64 = wanted.iter().map(|value| (value - mean).powi(2)).sum();
    Some(Trend {
        level: solution[0],
        tilt_x: solution[1],
        tilt_y: solution[2],
        radial: solution[3],
        explained: if total > 0.0 { 1.0 - residuals.norm_squared() / total } else { 0.0 },
        residuals: residuals.iter().copied().collect(),
    })
}

/// Medians of the outer ring and of the inner disk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EdgeComparison {
    /// Number of dies beyond the radius.
    pub edge_count: usize,
    /// Median of the dies beyond the radius.
    pub edge_median: f64,
    /// Number of dies within the radius.
    pub centre_count: usize,
    /// Median of the dies within the radius.
    pub centre_median: f64,
}

/// Compares the values beyond a radius with those within; `None` if either has none.
#[must_use]
pub fn edge_against_centre(values: &[PlacedValue], radius_mm: f64) -> Option<EdgeComparison> {
    let counted_median = |is_edge: bool| {
        let beyond = |placed: &&PlacedValue| placed.position.radius_mm() > radius_mm;
        let found: Vec<f64> = values
            .iter()
            .filter(|placed| beyond(placed) == is_edge)
            .map(|placed| placed.value)
            .collect();
        Some((found.len(), median(found)?))
    };
    let ((edge_count, edge_median), (centre_count, centre_median)) =
        (counted_median(true)?, counted_median(false)?);
    Some(EdgeComparison { edge_count, edge_median, centre_count, centre_median })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn trends_come_back() {
        let positions: Vec<Position> = (-5..=5)
            .flat_map(|x| {
                (-4..=4)
                    .map(move |y| Position { x_mm: 10.0 * f64::from(x), y_mm: 12.0 * f64::from(y) })
            })
            .collect();
        let placed = |position: Position| {
            let (x, y) = (position.x_mm / 75.0, position.y_mm / 75.0);
            let value = 30.0 + 0.5 * x - 0.25 * y - 2.0 * (x * x + y * y);
            PlacedValue { position, value }
        };
        let values: Vec<PlacedValue> = positions.into_iter().map(placed).collect();
        let got = trend(&values, 75.0).unwrap();
        for (got, want) in [
            (got.level, 30.0),
            (got.tilt_x, 0.5),
            (got.tilt_y, -0.25),
            (got.radial, -2.0),
            (got.explained, 1.0),
        ] {
            assert!((got - want).abs() < 1e-12, "{got} {want}");
        }
        assert!(got.residuals.iter().all(|residual| residual.abs() < 1e-12));
        // On one line the terms cannot be distinguished.
        let on_line = |x: u32| Position { x_mm: f64::from(x), y_mm: 0.0 };
        let line: Vec<PlacedValue> = (0..9).map(|x| placed(on_line(x))).collect();
        assert!(trend(&line, 75.0).is_none());
        assert!(trend(&values, 0.0).is_none());
        let ring = edge_against_centre(&values, 40.0).unwrap();
        assert_eq!(ring.edge_count + ring.centre_count, values.len());
        assert!(ring.edge_median < ring.centre_median);
        assert!(edge_against_centre(&values, 400.0).is_none());
    }
}
