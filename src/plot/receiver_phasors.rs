//! The LO at the elements as phasors.

use super::canvas::{Canvas, WIDTH, picture, px, px_i};
use super::error::PlotError;
use super::lettering::{shortened, width_of, words};
use super::nested_lines::look;
use super::style::{BLACK, GREY, Sizes, letters};
use crate::downconverter::{DownconverterResult, LoPoint, Receiver};
use crate::units::{ShownFrequency, shown_signed};
use plotters::prelude::{Color, PathElement, Polygon, RGBColor, Rectangle, ShapeStyle, WHITE};
use plotters::style::text_anchor::{HPos, Pos, VPos};

const FAINT: RGBColor = RGBColor(190, 190, 190);
/// The largest magnitude, as a share of a panel's shorter side.
const REACH: f64 = 0.38;
const NAME_SIZE: u32 = 21;
/// Three lines of text under each panel.
const NOTES_HEIGHT: u32 = Sizes::LARGE.label * 8 / 5 * 3 + 10;

/// The LO voltage of every element as a phasor at the lowest, the middle and the highest LO; turned
/// so that the set of ideal phases, a quarter turn apart, lies on the axes.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_phasors(
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<Vec<u8>, PlotError> {
    let mut shown = vec![0, receiver.plan().centre(), result.lo.len().saturating_sub(1)];
    shown.dedup();
    let points: Vec<&LoPoint> = shown.iter().filter_map(|&at| result.lo.get(at)).collect();
    let largest = points
        .iter()
        .flat_map(|point| &point.mixers)
        .map(|drive| drive.lo_magnitude)
        .fold(f64::MIN_POSITIVE, f64::max);
    let turns = f64::from(receiver.mixing().lo_harmonic());
    let title = match receiver.mixing().lo_harmonic() {
        1 => "LO voltage at each element".to_owned(),
        times => format!("LO voltage at each element; phase counts {times} times"),
    };
    picture(|canvas| {
        let (head, rest) = canvas.split_vertically(px(Sizes::LARGE.title * 9 / 5));
        let style = letters(Sizes::LARGE.title, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
        words(&head, (px_i(WIDTH / 2), px_i(Sizes::LARGE.title * 9 / 10)), &title, &style)?;
        for (panel, point) in rest.split_evenly((1, points.len().max(1))).iter().zip(points) {
            // A high panel would leave the words far below its circle.
            let (width, height) = panel.dim_in_pixel();
            let spare = height.saturating_sub(NOTES_HEIGHT * px(1) + width * 9 / 8) / 2;
            let panel = panel.margin(spare, spare, 0, 0);
            Diagram::of(&panel, point, largest, turns).draw(&panel, receiver)?;
        }
        Ok(())
    })
}

/// A place on a panel, not yet rounded to its pixels.
type Place = (f64, f64);

/// The phasors at one LO on their panel.
struct Diagram<'r> {
    point: &'r LoPoint,
    width: f64,
    height: f64,
    origin: Place,
    /// Pixels of the largest magnitude of all panels.
    reach: f64,
    /// Pixels of the mean magnitude.
    mean: f64,
    mean_magnitude: f64,
    tips: Vec<Place>,
}

impl<'r> Diagram<'r> {
    fn of(panel: &Canvas<'_>, point: &'r LoPoint, largest: f64, turns: f64) -> Self {
        let (width, height) = panel.dim_in_pixel();
        let notes = px(NOTES_HEIGHT);
        let (width, height) = (f64::from(width), f64::from(height.saturating_sub(notes)));
        let reach = REACH * width.min(height);
        let origin = (0.5 * width, 0.5 * height);
        let scale = reach / largest;
        // The first element's ideal is at nought.
        let turned_deg =
            point.mixers.first().map_or(0.0, |m| turns * m.lo_phase_deg - m.lo_phase_error_deg);
        let tips = point.mixers.iter().map(|drive| {
            let (sine, cosine) = (turns * drive.lo_phase_deg - turned_deg).to_radians().sin_cos();
            let length = drive.lo_magnitude * scale;
            (origin.0 + length * cosine, origin.1 - length * sine)
        });
        // A receiver has mixers; without any the circle shrinks to its centre.
        let mean_magnitude = point.mean_lo_magnitude().unwrap_or(0.0);
        Self {
            width,
            height,
            origin,
            reach,
            mean: mean_magnitude * scale,
            mean_magnitude,
            tips: tips.collect(),
            point,
        }
    }

    fn draw(&self, panel: &Canvas<'_>, receiver: &Receiver) -> Result<(), PlotError> {
        let mut taken = self.axes(panel)?;
        for (at, tip) in self.tips.iter().enumerate() {
            // Arrows that lie on one another are drawn the thinner the later.
            let above = self.tips[at + 1..].iter().filter(|other| distance(**other, *tip) < 24.0);
            let thickness = above.take(4).fold(4.0, |thickness, _| thickness + 3.0);
            self.arrow(panel, *tip, thickness, look(at).0)?;
        }
        for (at, mixer) in receiver.mixers().iter().enumerate().take(self.tips.len()) {
            self.name(panel, at, &mixer.name, &mut taken)?;
        }
        self.notes(panel, receiver)
    }

    /// Faint axes and the circle of the mean magnitude; gives the places of their labels.
    fn axes(&self, panel: &Canvas<'_>) -> Result<Vec<Label>, PlotError> {
        let faint = ShapeStyle::from(&FAINT).stroke_width(px(2));
        let style = letters(NAME_SIZE - 3, GREY).pos(Pos::new(HPos::Center, VPos::Center));
        let mut taken = Vec::new();
        for (text, (x, y)) in
            [("0°", (1.0, 0.0)), ("90°", (0.0, -1.0)), ("180°", (-1.0, 0.0)), ("270°", (0.0, 1.0))]
        {
            let at = |length: f64| (self.origin.0 + x * length, self.origin.1 + y * length);
            let axis = vec![rounded(self.origin), rounded(at(1.06 * self.reach))];
            panel.draw(&PathElement::new(axis, faint)).map_err(PlotError::from_display)?;
            let half = Label::half(panel, text, NAME_SIZE - 3)?;
            let label =
                Label { centre: at(1.06 * self.reach + x.abs() * half.0 + y.abs() * half.1), half };
            words(panel, rounded(label.centre), text, &style)?;
            taken.push(label);
        }
        let circle = (0..=360).map(|deg| {
            let (sine, cosine) = f64::from(deg).to_radians().sin_cos();
            rounded((self.origin.0 + self.mean * cosine, self.origin.1 - self.mean * sine))
        });
        panel
            .draw(&PathElement::new(circle.collect::<Vec<_>>(), faint))
            .map_err(PlotError::from_display)?;
        Ok(taken)
    }

    fn arrow(
        &self,
        panel: &Canvas<'_>,
        tip: Place,
        thickness: f64,
        colour: RGBColor,
    ) -> Result<(), PlotError> {
        let length = distance(tip, self.origin);
        if length < 1.0 {
            // No LO at all: a dot.
            let dot = Rectangle::new(
                [rounded((tip.0 - 15.0, tip.1 - 15.0)), rounded((tip.0 + 15.0, tip.1 + 15.0))],
                colour.filled(),
            );
            return panel.draw(&dot).map_err(PlotError::from_display);
        }
        let along = ((tip.0 - self.origin.0) / length, (tip.1 - self.origin.1) / length);
        let enlarged = f64::from(px(1));
        let head = ((10.0 + 2.5 * thickness) * enlarged).min(0.6 * length);
        let at = |forth: f64, aside: f64| {
            rounded((
                tip.0 - forth * along.0 - aside * along.1,
                tip.1 - forth * along.1 + aside * along.0,
            ))
        };
        let half = 0.5 * thickness * enlarged;
        let shaft =
            vec![at(length, half), at(0.8 * head, half), at(0.8 * head, -half), at(length, -half)];
        let point = vec![at(0.0, 0.0), at(head, 0.42 * head), at(head, -0.42 * head)];
        for corners in [shaft, point] {
            panel.draw(&Polygon::new(corners, colour.filled())).map_err(PlotError::from_display)?;
        }
        Ok(())
    }

    /// Writes an element's name where nothing is yet, as near to its arrow's tip as can be.
    fn name(
        &self,
        panel: &Canvas<'_>,
        at: usize,
        name: &str,
        taken: &mut Vec<Label>,
    ) -> Result<(), PlotError> {
        let tip = self.tips[at];
        let style = letters(NAME_SIZE, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
        let text = shortened(panel, name, &style, rounded((0.42 * self.width, 0.0)).0)?;
        let half = Label::half(panel, &text, NAME_SIZE)?;
        let outward = (self.origin.1 - tip.1).atan2(tip.0 - self.origin.0);
        let enlarged = f64::from(px(1));
        let candidates = (0..12).flat_map(|ring| {
            let gap = (10.0 + 22.0 * f64::from(ring)) * enlarged;
            // Outward first, then to either side in turn.
            (0..24).map(move |step| {
                let side = if step % 2 == 0 { 1.0 } else { -1.0 };
                let angle = outward + side * f64::from((step + 1) / 2) * 15_f64.to_radians();
                let (sine, cosine) = angle.sin_cos();
                let centre = (tip.0 + (half.0 + gap) * cosine, tip.1 - (half.1 + gap) * sine);
                (ring, Label { centre, half })
            })
        });
        let place = candidates
            .into_iter()
            .find(|(_, label)| self.is_free(label, taken))
            .unwrap_or((0, Label { centre: tip, half }));
        let (ring, label) = place;
        if ring > 1 {
            let leader = vec![rounded(tip), rounded(label.nearest(tip))];
            let stroke = ShapeStyle::from(&GREY).stroke_width(px(1));
            panel.draw(&PathElement::new(leader, stroke)).map_err(PlotError::from_display)?;
        }
        let back = Rectangle::new(
            [
                rounded((label.centre.0 - half.0, label.centre.1 - half.1)),
                rounded((label.centre.0 + half.0, label.centre.1 + half.1)),
            ],
            WHITE.mix(0.85).filled(),
        );
        panel.draw(&back).map_err(PlotError::from_display)?;
        words(panel, rounded(label.centre), &text, &style)?;
        taken.push(label);
        Ok(())
    }

    /// Inside the panel, clear of all arrows and of other labels.
    fn is_free(&self, label: &Label, taken: &[Label]) -> bool {
        let ((x, y), (half_x, half_y)) = (label.centre, label.half);
        let is_inside = x - half_x > 0.0
            && x + half_x < self.width
            && y - half_y > 0.0
            && y + half_y < self.height;
        let clear = 7.0 * f64::from(px(1));
        let along = |tip: &Place| {
            let tip = *tip;
            (0..=40).map(move |step| {
                let share = f64::from(step) / 40.0;
                (
                    self.origin.0 + share * (tip.0 - self.origin.0),
                    self.origin.1 + share * (tip.1 - self.origin.1),
                )
            })
        };
        is_inside
            && taken.iter().all(|other| !label.meets(other))
            && self.tips.iter().flat_map(along).all(|at| distance(label.nearest(at), at) > clear)
    }

    fn notes(&self, panel: &Canvas<'_>, receiver: &Receiver) -> Result<(), PlotError> {
        let label = Sizes::LARGE.label;
        let mut notes = vec![
            format!("LO {}", ShownFrequency(self.point.lo_hz)),
            format!("circle: mean {:.3} V/√W", self.mean_magnitude),
        ];
        if let Some((at, error_deg)) = self.point.largest_phase_error()
            && let Some(mixer) = receiver.mixers().get(at)
        {
            let error = shown_signed(error_deg, 2);
            let style = letters(label * 5 / 6, BLACK);
            let widest = rounded((0.4 * self.width, 0.0)).0;
            let name = shortened(panel, &mixer.name, &style, widest)?;
            notes.push(format!("largest error: {name} {error} deg"));
        }
        for (row, (text, size)) in
            (0_u32..).zip(notes.iter().zip([label, label * 5 / 6, label * 5 / 6]))
        {
            let style = letters(size, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
            let below = f64::from(px(label * 8 / 5 * row + label));
            let text = shortened(panel, text, &style, rounded((self.width, 0.0)).0)?;
            words(panel, rounded((self.origin.0, self.height + below)), &text, &style)?;
        }
        Ok(())
    }
}

/// The box of a label.
#[derive(Clone, Copy)]
struct Label {
    centre: Place,
    half: (f64, f64),
}

impl Label {
    /// Half the width and height of a text, with a little room.
    fn half(panel: &Canvas<'_>, text: &str, size: u32) -> Result<(f64, f64), PlotError> {
        let width = width_of(panel, text, &letters(size, BLACK))?;
        let room = f64::from(px(4));
        Ok((0.5 * f64::from(width) + room, 0.6 * f64::from(px(size))))
    }

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

fn distance(one: Place, other: Place) -> f64 {
    (one.0 - other.0).hypot(one.1 - other.1)
}

#[expect(clippy::cast_possible_truncation, reason = "within a picture")]
fn rounded(place: Place) -> (i32, i32) {
    (place.0.round() as i32, place.1.round() as i32)
}
