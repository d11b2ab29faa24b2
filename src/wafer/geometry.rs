//! Positions of dies on a wafer.
//!
//! Positions are in millimetres from the wafer's centre, x to the right and y up on the map. The
//! notch is drawn at its side and does not rotate the map.

use super::direction::Direction;
use super::error::SettingsError;

/// A position on a wafer, millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// Distance to the right of the origin.
    pub x_mm: f64,
    /// Distance above the origin.
    pub y_mm: f64,
}

impl Position {
    /// Distance from the wafer's centre.
    #[must_use]
    pub fn radius_mm(&self) -> f64 {
        self.x_mm.hypot(self.y_mm)
    }
}

/// A wafer with the numbering of its dies.
///
/// # Examples
/// ```
/// use fourphase::wafer::{Direction, WaferGeometry};
///
/// // 150 mm with dies of 2.4 by 2 mm; die y counts downwards.
/// let wafer = WaferGeometry::new(150.0, (2.4, 2.0))?.with_axes(Direction::Right, Direction::Down)?;
/// assert_eq!(wafer.position(10.0, 5.0).y_mm, -10.0);
/// assert!(wafer.with_edge_exclusion_mm(80.0).is_err());
/// # Ok::<(), fourphase::wafer::SettingsError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WaferGeometry {
    diameter_mm: f64,
    die_pitch_mm: (f64, f64),
    edge_exclusion_mm: f64,
    notch: Direction,
    x_axis: Direction,
    y_axis: Direction,
    centre_die: (f64, f64),
}

/// Maximum diameter and pitch, mm.
const MAX_SIZE_MM: f64 = 1e6;
/// Maximum coordinate of a die.
const MAX_DIE: f64 = 1e10;

fn check_size(what: &'static str, found: f64, most: f64) -> Result<(), SettingsError> {
    if found.abs() > most { Err(SettingsError::TooLarge { what, most, found }) } else { Ok(()) }
}

impl WaferGeometry {
    /// A wafer of a diameter, with the pitch of dies along die x and die y. By default there is no
    /// edge exclusion, die x increases to the right and die y upwards, the notch is at the bottom,
    /// and die (0, 0) is at the centre.
    ///
    /// # Errors
    /// [`SettingsError::NotAboveZero`] for a length that is not positive.
    pub fn new(diameter_mm: f64, die_pitch_mm: (f64, f64)) -> Result<Self, SettingsError> {
        for (what, found) in [
            ("wafer_diameter_mm", diameter_mm),
            ("die_pitch_mm along die x", die_pitch_mm.0),
            ("die_pitch_mm along die y", die_pitch_mm.1),
        ] {
            if !(found > 0.0 && found.is_finite()) {
                return Err(SettingsError::NotAboveZero { what, found });
            }
            check_size(what, found, MAX_SIZE_MM)?;
        }
        Ok(Self {
            diameter_mm,
            die_pitch_mm,
            edge_exclusion_mm: 0.0,
            notch: Direction::Down,
            x_axis: Direction::Right,
            y_axis: Direction::Up,
            centre_die: (0.0, 0.0),
        })
    }

    /// Sets an edge exclusion: dies in it do not count.
    ///
    /// # Errors
    /// [`SettingsError::EdgeExclusion`] below 0, or from the wafer's radius on.
    pub fn with_edge_exclusion_mm(mut self, width_mm: f64) -> Result<Self, SettingsError> {
        if !(0.0..self.radius_mm()).contains(&width_mm) {
            let radius_mm = self.radius_mm();
            return Err(SettingsError::EdgeExclusion { radius_mm, found: width_mm });
        }
        self.edge_exclusion_mm = width_mm;
        Ok(self)
    }

    /// Sets the directions in which die x and die y increase.
    ///
    /// # Errors
    /// [`SettingsError::Axes`] unless they are at a right angle.
    pub fn with_axes(
        mut self,
        x_axis: Direction,
        y_axis: Direction,
    ) -> Result<Self, SettingsError> {
        if !x_axis.is_across(y_axis) {
            return Err(SettingsError::Axes { x_axis, y_axis });
        }
        (self.x_axis, self.y_axis) = (x_axis, y_axis);
        Ok(self)
    }

    /// Sets the side of the map with the notch.
    #[must_use]
    pub fn with_notch(mut self, notch: Direction) -> Self {
        self.notch = notch;
        self
    }

    /// Sets the die numbers at the wafer's centre; halves are allowed.
    ///
    /// # Errors
    /// [`SettingsError::NotFinite`] for an infinite number.
    pub fn with_centre_die(mut self, centre_die: (f64, f64)) -> Result<Self, SettingsError> {
        for found in [centre_die.0, centre_die.1] {
            if !found.is_finite() {
                return Err(SettingsError::NotFinite { what: "centre_die", found });
            }
            check_size("centre_die", found, MAX_DIE)?;
        }
        self.centre_die = centre_die;
        Ok(self)
    }

    /// Sets die numbers at the centre that are multiples of one half.
    pub(super) fn centred_at(self, centre_die: (f64, f64)) -> Self {
        Self { centre_die, ..self }
    }

    /// Diameter of the wafer, mm.
    #[must_use]
    pub fn diameter_mm(&self) -> f64 {
        self.diameter_mm
    }

    /// Half of the diameter, mm.
    #[must_use]
    pub fn radius_mm(&self) -> f64 {
        0.5 * self.diameter_mm
    }

    /// Radius within which dies count, mm: that of the wafer minus its edge exclusion.
    #[must_use]
    pub fn counted_radius_mm(&self) -> f64 {
        self.radius_mm() - self.edge_exclusion_mm
    }

    /// Pitch of the dies along die x and die y, mm.
    #[must_use]
    pub fn die_pitch_mm(&self) -> (f64, f64) {
        self.die_pitch_mm
    }

    /// Width of the edge exclusion, mm.
    #[must_use]
    pub fn edge_exclusion_mm(&self) -> f64 {
        self.edge_exclusion_mm
    }

    /// The side of the map with the notch.
    #[must_use]
    pub fn notch(&self) -> Direction {
        self.notch
    }

    /// The direction in which die x increases on the map.
    #[must_use]
    pub fn x_axis(&self) -> Direction {
        self.x_axis
    }

    /// The direction in which die y increases on the map.
    #[must_use]
    pub fn y_axis(&self) -> Direction {
        self.y_axis
    }

    /// The die numbers at the wafer's centre.
    #[must_use]
    pub fn centre_die(&self) -> (f64, f64) {
        self.centre_die
    }

    /// The centre of a die on the map.
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

    /// The position of the notch on the wafer's edge.
    #[must_use]
    pub fn notch_position(&self) -> Position {
        let (x, y) = self.notch.step();
        Position { x_mm: self.radius_mm() * x, y_mm: self.radius_mm() * y }
    }

    /// Whether the centre of a die is off the wafer.
    #[must_use]
    pub fn is_off_wafer(&self, die_x: f64, die_y: f64) -> bool {
        self.position(die_x, die_y).radius_mm() > self.radius_mm()
    }

    /// Whether the farthest corner of a die is in the edge exclusion, or off the wafer.
    #[must_use]
    pub fn is_excluded(&self, die_x: f64, die_y: f64) -> bool {
        let middle = self.position(die_x, die_y);
        let (width, height) = self.die_size_mm();
        let corner = (middle.x_mm.abs() + 0.5 * width).hypot(middle.y_mm.abs() + 0.5 * height);
        corner > self.counted_radius_mm()
    }

    /// Width and height of a die on the map, mm.
    #[must_use]
    pub fn die_size_mm(&self) -> (f64, f64) {
        let (x_mm, y_mm) = self.die_pitch_mm;
        // Die x may be vertical on the map.
        match self.x_axis {
            Direction::Left | Direction::Right => (x_mm, y_mm),
            Direction::Up | Direction::Down => (y_mm, x_mm),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn geometry() -> WaferGeometry {
        WaferGeometry::new(150.0, (2.0, 3.0)).unwrap().with_edge_exclusion_mm(3.0).unwrap()
    }

    /// Die (2, 1) for every choice of axes, computed by hand; the notch is at its side and does not
    /// rotate the map.
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
                let made = geometry().with_notch(notch).with_axes(x_axis, y_axis).unwrap();
                let got = made.position(2.0, 1.0);
                assert_eq!((got.x_mm, got.y_mm), want, "{notch:?} {x_axis:?} {y_axis:?}");
                let notch = made.notch_position();
                assert_eq!((notch.x_mm, notch.y_mm), rim);
                // A die is as wide as the distance to its neighbour along x of the map.
                let beside = made.position(3.0, 1.0);
                let is_level = (beside.x_mm - got.x_mm).abs() > 1.0;
                assert_eq!(made.die_size_mm(), if is_level { (2.0, 3.0) } else { (3.0, 2.0) });
            }
        }
        for (x_axis, y_axis) in [(Right, Left), (Up, Up), (Down, Up)] {
            let error = geometry().with_axes(x_axis, y_axis).unwrap_err();
            assert_eq!(error, SettingsError::Axes { x_axis, y_axis });
        }
    }

    #[test]
    fn dies_on_the_rim_do_not_count() {
        let wafer = geometry();
        assert!(!wafer.is_excluded(0.0, 0.0));
        // A radius of 72 mm counts: corners at 35 * 2 + 1 = 71 and 36 * 2 + 1 = 73 mm.
        assert!(!wafer.is_excluded(35.0, 0.0));
        assert!(wafer.is_excluded(36.0, 0.0) && wafer.is_excluded(-36.0, 0.0));
        assert!(wafer.is_excluded(0.0, 24.0) && !wafer.is_excluded(0.0, 23.0));
    }

    #[test]
    fn a_wafer_that_cannot_be_is_refused_with_what_was_found() {
        for (made, says) in [
            (
                WaferGeometry::new(-150.0, (1.0, 1.0)),
                "wafer_diameter_mm must be above 0, found -150",
            ),
            (
                WaferGeometry::new(150.0, (1.0, f64::NAN)),
                "die_pitch_mm along die y must be above 0",
            ),
            (geometry().with_edge_exclusion_mm(75.0), "from 0 to below the wafer's radius of 75"),
            (
                geometry().with_centre_die((-1e308, 0.0)),
                "centre_die must be at most 1e10, found -1e308",
            ),
            (
                geometry().with_centre_die((0.0, f64::INFINITY)),
                "centre_die must be a finite number",
            ),
        ] {
            let error = made.unwrap_err().to_string();
            assert!(error.contains(says), "{error}");
        }
    }
}
