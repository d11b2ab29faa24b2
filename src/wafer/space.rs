//! Where dies lie on a wafer, and what changes over it.
//!
//! Positions are in millimetres with the wafer's centre at nought, x to the right and y up as one
//! looks at the map, where the notch is at the side that the recipe names.

use nalgebra::{DMatrix, DVector};

/// A direction on the wafer's face.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Towards the right.
    Right,
    /// Towards the left.
    Left,
    /// Up.
    Up,
    /// Down.
    Down,
}

impl Direction {
    /// All four.
    pub const ALL: [Self; 4] = [Self::Right, Self::Left, Self::Up, Self::Down];

    /// As the recipe has it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
            Self::Up => "up",
            Self::Down => "down",
        }
    }

    /// As a step: (x, y).
    fn step(self) -> (f64, f64) {
        match self {
            Self::Right => (1.0, 0.0),
            Self::Left => (-1.0, 0.0),
            Self::Up => (0.0, 1.0),
            Self::Down => (0.0, -1.0),
        }
    }

    /// Whether two directions are across one another.
    #[must_use]
    pub fn is_across(self, other: Self) -> bool {
        let (one, other) = (self.step(), other.step());
        one.0 * other.0 + one.1 * other.1 == 0.0
    }
}

/// A place on a wafer, millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// To the right.
    pub x_mm: f64,
    /// Up.
    pub y_mm: f64,
}

impl Position {
    /// Distance from the wafer's centre.
    #[must_use]
    pub fn radius_mm(&self) -> f64 {
        self.x_mm.hypot(self.y_mm)
    }
}

/// A wafer and how die numbers count on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WaferGeometry {
    /// Diameter.
    pub diameter_mm: f64,
    /// From die to die along die x and die y.
    pub die_pitch_mm: (f64, f64),
    /// The rim on which dies do not count.
    pub edge_exclusion_mm: f64,
    /// Where the notch is on the map.
    pub notch: Direction,
    /// Where die x grows on the map.
    pub x_axis: Direction,
    /// Where die y grows on the map.
    pub y_axis: Direction,
    /// The die numbers at the wafer's centre; halves are allowed.
    pub centre_die: (f64, f64),
}

impl WaferGeometry {
    /// The middle of a die on the map.
    #[must_use]
    pub fn position(&self, die_x: f64, die_y: f64) -> Position {
        let along_x = (die_x - self.centre_die.0) * self.die_pitch_mm.0;
        let along_y = (die_y - self.centre_die.1) * self.die_pitch_mm.1;
        let (x_step, y_step) = (self.x_axis.step(), self.y_axis.step());
        Position {
            x_mm: along_x * x_step.0 + along_y * y_step.0,
            y_mm: along_x * x_step.1 + along_y * y_step.1,
        }
    }

    /// The middle of the rim where the notch is.
    #[must_use]
    pub fn notch_position(&self) -> Position {
        let (x, y) = self.notch.step();
        Position { x_mm: 0.5 * self.diameter_mm * x, y_mm: 0.5 * self.diameter_mm * y }
    }

    /// Whether a die's middle lies beyond the wafer's rim.
    #[must_use]
    pub fn is_off_wafer(&self, die_x: f64, die_y: f64) -> bool {
        self.position(die_x, die_y).radius_mm() > 0.5 * self.diameter_mm
    }

    /// Whether a die's farthest corner lies on the rim that is excluded, or off the wafer.
    #[must_use]
    pub fn is_excluded(&self, die_x: f64, die_y: f64) -> bool {
        let middle = self.position(die_x, die_y);
        let (width, height) = self.die_size_mm();
        let corner = (middle.x_mm.abs() + 0.5 * width).hypot(middle.y_mm.abs() + 0.5 * height);
        corner > 0.5 * self.diameter_mm - self.edge_exclusion_mm
    }

    /// Width and height of a die as the map shows it.
    #[must_use]
    pub fn die_size_mm(&self) -> (f64, f64) {
        let (x_mm, y_mm) = self.die_pitch_mm;
        // Die x may run up the page.
        match self.x_axis {
            Direction::Left | Direction::Right => (x_mm, y_mm),
            Direction::Up | Direction::Down => (y_mm, x_mm),
        }
    }
}

/// A trend over the wafer: value = level + slope_x x + slope_y y + bowl r², r in units of the wafer's
/// radius, x and y likewise, so that every coefficient is the change from the centre to the rim.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// At the centre.
    pub level: f64,
    /// From the centre to the right rim.
    pub slope_x: f64,
    /// From the centre to the upper rim.
    pub slope_y: f64,
    /// From the centre to the rim, all round.
    pub bowl: f64,
    /// What the trend does not explain, in the order of the values.
    pub residuals: Vec<f64>,
    /// The share of the values' variance that the trend explains, 0 to 1; 0 where they do not vary.
    pub explained: f64,
}

/// The trend by least squares; `None` for fewer than four values, or dies that do not tell the terms
/// apart (all on one line or one circle).
#[must_use]
pub fn trend(positions: &[Position], values: &[f64], radius_mm: f64) -> Option<Trend> {
    if positions.len() != values.len() || values.len() < 4 {
        return None;
    }
    let rows = values.len();
    let design = DMatrix::from_fn(rows, 4, |row, column| {
        let (x, y) = (positions[row].x_mm / radius_mm, positions[row].y_mm / radius_mm);
        [1.0, x, y, x * x + y * y][column]
    });
    let decomposed = design.clone().svd(true, true);
    let largest = decomposed.singular_values.max();
    if decomposed.singular_values.min() <= 1e-9 * largest {
        return None;
    }
    let wanted = DVector::from_column_slice(values);
    let solution = decomposed.solve(&wanted, 0.0).ok()?;
    let residuals = &wanted - &design * &solution;
    #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53 dies")]
    let mean = wanted.sum() / rows as f64;
    let total: f64 = wanted.iter().map(|value| (value - mean).powi(2)).sum();
    Some(Trend {
        level: solution[0],
        slope_x: solution[1],
        slope_y: solution[2],
        bowl: solution[3],
        explained: if total > 0.0 { 1.0 - residuals.norm_squared() / total } else { 0.0 },
        residuals: residuals.iter().copied().collect(),
    })
}

/// Medians of the outer ring and of the inner disk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EdgeComparison {
    /// Dies beyond the radius.
    pub edge_count: usize,
    /// Their median.
    pub edge_median: f64,
    /// Dies within.
    pub centre_count: usize,
    /// Their median.
    pub centre_median: f64,
}

/// The dies beyond a radius against those within; `None` if either has none.
#[must_use]
pub fn edge_against_centre(
    positions: &[Position],
    values: &[f64],
    radius_mm: f64,
) -> Option<EdgeComparison> {
    let (mut edge, mut centre): (Vec<f64>, Vec<f64>) = (Vec::new(), Vec::new());
    for (position, value) in positions.iter().zip(values) {
        if position.radius_mm() > radius_mm { edge.push(*value) } else { centre.push(*value) }
    }
    let median = |values: &mut Vec<f64>| {
        values.sort_by(f64::total_cmp);
        super::quantile(values, 0.5)
    };
    Some(EdgeComparison {
        edge_count: edge.len(),
        edge_median: median(&mut edge)?,
        centre_count: centre.len(),
        centre_median: median(&mut centre)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn geometry() -> WaferGeometry {
        WaferGeometry {
            diameter_mm: 150.0,
            die_pitch_mm: (2.0, 3.0),
            edge_exclusion_mm: 3.0,
            notch: Direction::Down,
            x_axis: Direction::Right,
            y_axis: Direction::Up,
            centre_die: (0.0, 0.0),
        }
    }

    /// Die (2, 1) under every choice of axes, worked out on paper; the notch stands where it is named
    /// and turns nothing.
    #[test]
    fn a_map_is_right_side_up_for_every_notch_and_axis() {
        use Direction::{Down, Left, Right, Up};
        for (x_axis, y_axis, want) in [
            (Right, Up, (4.0, 3.0)),
            (Left, Up, (-4.0, 3.0)),
            (Right, Down, (4.0, -3.0)),
            (Left, Down, (-4.0, -3.0)),
            (Up, Right, (3.0, 4.0)),
            (Up, Left, (-3.0, 4.0)),
            (Down, Right, (3.0, -4.0)),
            (Down, Left, (-3.0, -4.0)),
        ] {
            for (notch, rim) in [
                (Down, (0.0, -75.0)),
                (Up, (0.0, 75.0)),
                (Left, (-75.0, 0.0)),
                (Right, (75.0, 0.0)),
            ] {
                let made = WaferGeometry { notch, x_axis, y_axis, ..geometry() };
                let got = made.position(2.0, 1.0);
                assert_eq!((got.x_mm, got.y_mm), want, "{notch:?} {x_axis:?} {y_axis:?}");
                let notch = made.notch_position();
                assert_eq!((notch.x_mm, notch.y_mm), rim);
                // A die is as wide as its neighbour along the page's x is far.
                let beside = made.position(3.0, 1.0);
                let is_level = (beside.x_mm - got.x_mm).abs() > 1.0;
                assert_eq!(made.die_size_mm(), if is_level { (2.0, 3.0) } else { (3.0, 2.0) });
            }
        }
        assert!(Right.is_across(Up) && !Right.is_across(Left) && !Up.is_across(Up));
    }

    #[test]
    fn dies_on_the_rim_do_not_count() {
        let wafer = geometry();
        assert!(!wafer.is_excluded(0.0, 0.0));
        // 72 mm are left: corners at 35 * 2 + 1 = 71 and 36 * 2 + 1 = 73 mm.
        assert!(!wafer.is_excluded(35.0, 0.0));
        assert!(wafer.is_excluded(36.0, 0.0) && wafer.is_excluded(-36.0, 0.0));
        assert!(wafer.is_excluded(0.0, 24.0) && !wafer.is_excluded(0.0, 23.0));
    }

    #[test]
    fn trends_come_back() {
        let positions: Vec<Position> = (-5..=5)
            .flat_map(|x| {
                (-4..=4)
                    .map(move |y| Position { x_mm: 10.0 * f64::from(x), y_mm: 12.0 * f64::from(y) })
            })
            .collect();
        let value = |p: &Position| {
            let (x, y) = (p.x_mm / 75.0, p.y_mm / 75.0);
            30.0 + 0.5 * x - 0.25 * y - 2.0 * (x * x + y * y)
        };
        let values: Vec<f64> = positions.iter().map(value).collect();
        let got = trend(&positions, &values, 75.0).unwrap();
        for (got, want) in [
            (got.level, 30.0),
            (got.slope_x, 0.5),
            (got.slope_y, -0.25),
            (got.bowl, -2.0),
            (got.explained, 1.0),
        ] {
            assert!((got - want).abs() < 1e-12, "{got} {want}");
        }
        assert!(got.residuals.iter().all(|residual| residual.abs() < 1e-12));
        // On one line the terms cannot be told apart.
        let line: Vec<Position> =
            (0..9).map(|x| Position { x_mm: f64::from(x), y_mm: 0.0 }).collect();
        assert!(trend(&line, &[1.0; 9], 75.0).is_none());
        let ring = edge_against_centre(&positions, &values, 40.0).unwrap();
        assert_eq!(ring.edge_count + ring.centre_count, positions.len());
        assert!(ring.edge_median < ring.centre_median);
        assert!(edge_against_centre(&positions, &values, 400.0).is_none());
    }
}
