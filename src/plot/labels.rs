//! Labels beside marked points, each where nothing is yet.

use super::canvas::{Canvas, Pixel, count, px};
use super::error::PlotError;
use super::lettering::{width_of, words};
use super::style::{GREY, letters};
use plotters::prelude::{Color, PathElement, RGBColor, Rectangle, ShapeStyle, WHITE};
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// A place on a panel, not yet rounded to its units.
pub(super) type Place = (f64, f64);

/// The box of a label.
#[derive(Clone, Copy)]
struct Label {
    centre: Place,
    half: (f64, f64),
}

/// The labels of a panel, what they keep clear of, and the part of the panel that they stay on.
pub(super) struct Labels {
    /// Upper left and lower right.
    frame: (Place, Place),
    taken: Vec<Label>,
    obstacles: Vec<Place>,
    /// The points that have a label, with its lines.
    labelled: Vec<(Place, Vec<String>)>,
}

impl Labels {
    pub(super) fn on(frame: (Place, Place), obstacles: Vec<Place>) -> Self {
        Self { frame, taken: Vec::new(), obstacles, labelled: Vec::new() }
    }

    /// Keeps labels off a box.
    pub(super) fn keep_off(&mut self, centre: Place, half: (f64, f64)) {
        self.taken.push(Label { centre, half });
    }

    /// Writes lines as near to a point as can be, first in the direction `outward` (radians,
    /// counter-clockwise), with a thin line to the point where they are away from it.
    pub(super) fn put(
        &mut self,
        panel: &Canvas<'_>,
        (at, outward): (Place, f64),
        lines: &[String],
        (size, colour): (u32, RGBColor),
    ) -> Result<(), PlotError> {
        // Points of tracks that nearly coincide share one label: a knot of equal ones says no more.
        let near = f64::from(px(4 * size));
        let is_near = |other: &Place| (other.0 - at.0).hypot(other.1 - at.1) < near;
        if self.labelled.iter().any(|(other, own)| own == lines && is_near(other)) {
            return Ok(());
        }
        self.labelled.push((at, lines.to_vec()));
        let style = letters(size, colour).pos(Pos::new(HPos::Center, VPos::Center));
        let mut width = 0;
        for line in lines {
            width = width.max(width_of(panel, line, &style)?);
        }
        let line_height = f64::from(px(size)) * 1.15;
        let rows = f64::from(count(lines.len()));
        let half = (0.5 * f64::from(width) + f64::from(px(4)), 0.5 * rows * line_height);
        let unit = f64::from(px(1));
        let mut best: Option<(usize, u32, Label)> = None;
        for ring in 0..14_u32 {
            let gap = (10.0 + 16.0 * f64::from(ring)) * unit;
            for step in 0..24_u32 {
                // Outward first, then to either side in turn.
                let side = if step.is_multiple_of(2) { 1.0 } else { -1.0 };
                let angle = outward + side * f64::from(step.div_ceil(2)) * 15_f64.to_radians();
                let (sine, cosine) = angle.sin_cos();
                let centre = (at.0 + (half.0 + gap) * cosine, at.1 - (half.1 + gap) * sine);
                let label = Label { centre, half };
                let conflicts = self.conflicts(&label, at);
                if best.as_ref().is_none_or(|(least, ..)| conflicts < *least) {
                    best = Some((conflicts, ring, label));
                }
            }
            if best.as_ref().is_some_and(|(conflicts, ..)| *conflicts == 0) {
                break;
            }
        }
        let Some((_, ring, label)) = best else { return Ok(()) };
        if ring > 0 {
            let leader = vec![rounded(at), rounded(label.nearest(at))];
            let stroke = ShapeStyle::from(&GREY).stroke_width(px(1));
            panel.draw(&PathElement::new(leader, stroke)).map_err(PlotError::from_display)?;
        }
        let (centre, half) = (label.centre, label.half);
        let corners = [
            rounded((centre.0 - half.0, centre.1 - half.1)),
            rounded((centre.0 + half.0, centre.1 + half.1)),
        ];
        let back = Rectangle::new(corners, WHITE.mix(0.85).filled());
        panel.draw(&back).map_err(PlotError::from_display)?;
        for (row, line) in (0_u32..).zip(lines) {
            let y = centre.1 + (f64::from(row) - 0.5 * (rows - 1.0)) * line_height;
            words(panel, rounded((centre.0, y)), line, &style)?;
        }
        self.taken.push(label);
        Ok(())
    }

    /// How much a label covers; a place beyond the frame, on another label or on its own point counts
    /// most.
    fn conflicts(&self, label: &Label, own: Place) -> usize {
        let ((x, y), (half_x, half_y)) = (label.centre, label.half);
        let ((left, top), (right, bottom)) = self.frame;
        let is_inside =
            x - half_x > left && x + half_x < right && y - half_y > top && y + half_y < bottom;
        let clear = 5.0 * f64::from(px(1));
        let covered =
            self.obstacles.iter().filter(|at| distance(label.nearest(**at), **at) < clear).count();
        let hides_own = distance(label.nearest(own), own) < 1.4 * clear;
        let met = self.taken.iter().filter(|other| label.meets(other)).count();
        covered + 1000 * (met + usize::from(hides_own)) + if is_inside { 0 } else { 100_000 }
    }
}

impl Label {
    fn meets(&self, other: &Self) -> bool {
        (self.centre.0 - other.centre.0).abs() < self.half.0 + other.half.0
            && (self.centre.1 - other.centre.1).abs() < self.half.1 + other.half.1
    }

    /// The point of the box nearest to a place.
    fn nearest(&self, to: Place) -> Place {
        let within = |value: f64, centre: f64, half: f64| value.clamp(centre - half, centre + half);
        (within(to.0, self.centre.0, self.half.0), within(to.1, self.centre.1, self.half.1))
    }
}

pub(super) fn distance(one: Place, other: Place) -> f64 {
    (one.0 - other.0).hypot(one.1 - other.1)
}

/// Points along a stretch, for labels to keep clear of.
pub(super) fn along(from: Place, to: Place) -> impl Iterator<Item = Place> {
    (0..=40).map(move |step| {
        let share = f64::from(step) / 40.0;
        (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1))
    })
}

#[expect(clippy::cast_possible_truncation, reason = "within a picture")]
pub(super) fn rounded(place: Place) -> Pixel {
    (place.0.round() as i32, place.1.round() as i32)
}
