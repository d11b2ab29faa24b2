//! The LO at the mixers as phasors.

use super::canvas::{Canvas, picture, px, px_i};
use super::caption::Caption;
use super::distinct_lines::look;
use super::error::PlotError;
use super::labels::{Labels, Place, along, distance, rounded};
use super::lettering::{shortened, width_of, words};
use super::picture::Picture;
use super::style::{BLACK, GREY, Sizes, letters};
use crate::downconverter::{DownconverterResult, LoPoint, MixerDrive, Receiver};
use crate::units::{ShownFrequency, db_from_amplitude, shown_signed};
use plotters::prelude::{Circle, Color, PathElement, Polygon, RGBColor, ShapeStyle};
use plotters::style::text_anchor::{HPos, Pos, VPos};

const FAINT: RGBColor = RGBColor(190, 190, 190);
/// The mean magnitude, as a share of a panel's shorter side.
const RADIUS: f64 = 0.30;
/// The maximum deviation as it is drawn, as a share of the mean magnitude.
const LARGEST_DEVIATION: f64 = 0.35;
const NAME_SIZE: u32 = 20;
/// Two lines of text under each panel.
const NOTES_HEIGHT: u32 = Sizes::LARGE.label * 8 / 5 * 2 + 10;

/// The LO voltage of every mixer as a phasor at the minimum, the middle and the maximum LO; turned
/// so that the ideal phases, a quarter turn apart, are on the axes. What an arrow deviates
/// from its ideal, the mean magnitude in quadrature, is magnified.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_phasors(
    caption: &Caption<'_>,
    receiver: &Receiver,
    result: &DownconverterResult,
) -> Result<Picture, PlotError> {
    let mut shown = vec![0, receiver.plan().centre(), result.lo.len().saturating_sub(1)];
    shown.dedup();
    let points: Vec<&LoPoint> = shown.iter().filter_map(|&at| result.lo.get(at)).collect();
    let turns = f64::from(receiver.mixing().lo_harmonic());
    let largest = points
        .iter()
        .flat_map(|point| deviations(point))
        .fold(0.0_f64, |largest, at| largest.max(at.0.hypot(at.1)));
    let magnification = magnification(largest);
    let counted = match receiver.mixing().lo_harmonic() {
        1 => String::new(),
        times => format!("; phases count {times} times"),
    };
    let name = match magnification {
        1.0 => format!("LO voltage at each mixer{counted}"),
        times => format!(
            "LO voltage at each mixer, deviations from ideal {times} times as large{counted}"
        ),
    };
    picture(&name, |canvas| {
        let body = caption.head(canvas, &name)?;
        for (panel, point) in body.split_evenly((1, points.len().max(1))).iter().zip(points) {
            // A high panel would leave the words far below its circle.
            let (width, height) = panel.dim_in_pixel();
            let spare = height.saturating_sub(px(NOTES_HEIGHT) + width * 5 / 4) / 2;
            let panel = panel.margin(spare, spare, 0, 0);
            Diagram::of(&panel, point, turns, magnification).draw(&panel, receiver)?;
        }
        Ok(())
    })
}

/// What each arrow deviates from its ideal, over the mean magnitude: along the ideal and across it.
fn deviations(point: &LoPoint) -> impl Iterator<Item = Place> {
    let mean = point.mean_lo_magnitude().filter(|mean| *mean > 0.0).unwrap_or(1.0);
    point.mixers.iter().map(move |drive| {
        let (sine, cosine) = drive.lo_phase_error_deg.to_radians().sin_cos();
        let ratio = drive.lo_magnitude / mean;
        (ratio * cosine - 1.0, ratio * sine)
    })
}

/// The largest of 1, 2, 5, 10 .. 1000 with which a deviation still fits into the picture.
fn magnification(largest: f64) -> f64 {
    let steps = [1000.0, 500.0, 200.0, 100.0, 50.0, 20.0, 10.0, 5.0, 2.0];
    steps.into_iter().find(|step| step * largest <= LARGEST_DEVIATION).unwrap_or(1.0)
}

/// An arrow, and what is written beside it.
struct Arrow {
    ideal: Place,
    tip: Place,
    /// Counter-clockwise from the right, radians.
    direction: f64,
    /// The mixers whose arrows coincide, by number.
    mixers: Vec<usize>,
    error: String,
}

/// The phasors at one LO on their panel.
struct Diagram<'r> {
    point: &'r LoPoint,
    width: f64,
    height: f64,
    origin: Place,
    /// Units of the mean magnitude.
    radius: f64,
    arrows: Vec<Arrow>,
}

impl<'r> Diagram<'r> {
    fn of(panel: &Canvas<'_>, point: &'r LoPoint, turns: f64, magnification: f64) -> Self {
        let (width, height) = panel.dim_in_pixel();
        let (width, height) =
            (f64::from(width), f64::from(height.saturating_sub(px(NOTES_HEIGHT))));
        let radius = RADIUS * width.min(height);
        let origin = (0.5 * width, 0.5 * height);
        let ideal_deg = |drive: &MixerDrive| turns * drive.lo_phase_deg - drive.lo_phase_error_deg;
        // The ideal of the first mixer points to the right.
        let turned_deg = point.mixers.first().map_or(0.0, ideal_deg);
        let mut arrows: Vec<Arrow> = Vec::new();
        for (at, (drive, deviation)) in point.mixers.iter().zip(deviations(point)).enumerate() {
            let direction = (ideal_deg(drive) - turned_deg).to_radians();
            let (sine, cosine) = direction.sin_cos();
            let place = |along: f64, across: f64| {
                (
                    origin.0 + radius * (along * cosine - across * sine),
                    origin.1 - radius * (along * sine + across * cosine),
                )
            };
            let tip = place(1.0 + magnification * deviation.0, magnification * deviation.1);
            let near = 3.0 * f64::from(px(1));
            let same = arrows.iter_mut().find(|other| {
                distance(other.tip, tip) < near && distance(other.ideal, place(1.0, 0.0)) < near
            });
            match same {
                Some(other) => other.mixers.push(at),
                None => arrows.push(Arrow {
                    ideal: place(1.0, 0.0),
                    tip,
                    direction,
                    mixers: vec![at],
                    error: error_text(point, drive),
                }),
            }
        }
        Self { point, width, height, origin, radius, arrows }
    }

    fn draw(&self, panel: &Canvas<'_>, receiver: &Receiver) -> Result<(), PlotError> {
        let obstacles = self
            .arrows
            .iter()
            .flat_map(|arrow| along(self.origin, arrow.tip).chain(along(arrow.ideal, arrow.tip)));
        let frame = ((0.0, 0.0), (self.width, self.height));
        let mut labels = Labels::on(frame, obstacles.collect());
        self.axes(panel, &mut labels)?;
        for (at, arrow) in self.arrows.iter().enumerate() {
            self.arrow(panel, arrow, look(at).0)?;
        }
        for arrow in &self.arrows {
            let names: Vec<&str> = arrow
                .mixers
                .iter()
                .filter_map(|&at| receiver.mixers().get(at))
                .map(|mixer| mixer.name.as_str())
                .collect();
            let style = letters(NAME_SIZE, BLACK);
            let widest = rounded((0.42 * self.width, 0.0)).0;
            let name = shortened(panel, &names.join(", "), &style, widest)?;
            let lines = [name, arrow.error.clone()];
            labels.put(panel, (arrow.tip, arrow.direction), &lines, (NAME_SIZE, BLACK))?;
        }
        self.notes(panel)
    }

    /// Faint axes and the circle of the mean magnitude.
    fn axes(&self, panel: &Canvas<'_>, labels: &mut Labels) -> Result<(), PlotError> {
        let faint = ShapeStyle::from(&FAINT).stroke_width(px(2));
        let style = letters(NAME_SIZE - 3, GREY).pos(Pos::new(HPos::Center, VPos::Center));
        let reach = self.radius * (1.0 + LARGEST_DEVIATION) * 1.04;
        for (text, (x, y)) in
            [("0°", (1.0, 0.0)), ("90°", (0.0, -1.0)), ("180°", (-1.0, 0.0)), ("270°", (0.0, 1.0))]
        {
            let at = |length: f64| (self.origin.0 + x * length, self.origin.1 + y * length);
            let axis = vec![rounded(self.origin), rounded(at(reach))];
            panel.draw(&PathElement::new(axis, faint)).map_err(PlotError::from_display)?;
            let half = (0.5 * f64::from(width_of(panel, text, &style)?), f64::from(px(10)));
            let centre = at(reach + f64::from(px(4)) + f64::abs(x) * half.0 + f64::abs(y) * half.1);
            words(panel, rounded(centre), text, &style)?;
            labels.keep_off(centre, half);
        }
        let circle = (0..=180).map(|step| {
            let (sine, cosine) = f64::from(2 * step).to_radians().sin_cos();
            rounded((self.origin.0 + self.radius * cosine, self.origin.1 - self.radius * sine))
        });
        let circle = PathElement::new(circle.collect::<Vec<_>>(), faint);
        panel.draw(&circle).map_err(PlotError::from_display)
    }

    /// An arrow from the origin, and the line from its ideal to its tip.
    fn arrow(&self, panel: &Canvas<'_>, arrow: &Arrow, colour: RGBColor) -> Result<(), PlotError> {
        let tip = arrow.tip;
        let deviation = vec![rounded(arrow.ideal), rounded(tip)];
        let stroke = ShapeStyle::from(&colour).stroke_width(px(3));
        panel.draw(&PathElement::new(deviation, stroke)).map_err(PlotError::from_display)?;
        let ring = ShapeStyle::from(&BLACK).stroke_width(px(2));
        panel
            .draw(&Circle::new(rounded(arrow.ideal), px(5), ring))
            .map_err(PlotError::from_display)?;
        let length = distance(tip, self.origin);
        if length < f64::from(px(4)) {
            // No LO at all: a dot.
            let dot = Circle::new(rounded(tip), px(6), colour.filled());
            return panel.draw(&dot).map_err(PlotError::from_display);
        }
        let forward = ((tip.0 - self.origin.0) / length, (tip.1 - self.origin.1) / length);
        let head = f64::from(px(18)).min(0.6 * length);
        let at = |back: f64, aside: f64| {
            rounded((
                tip.0 - back * forward.0 - aside * forward.1,
                tip.1 - back * forward.1 + aside * forward.0,
            ))
        };
        let half = 0.5 * f64::from(px(4));
        let shaft =
            vec![at(length, half), at(0.8 * head, half), at(0.8 * head, -half), at(length, -half)];
        let point = vec![at(0.0, 0.0), at(head, 0.4 * head), at(head, -0.4 * head)];
        for corners in [shaft, point] {
            panel.draw(&Polygon::new(corners, colour.filled())).map_err(PlotError::from_display)?;
        }
        Ok(())
    }

    fn notes(&self, panel: &Canvas<'_>) -> Result<(), PlotError> {
        let label = Sizes::LARGE.label;
        // A receiver has mixers; without any there is no mean.
        let mean = self.point.mean_lo_magnitude().unwrap_or(0.0);
        let notes = [
            (format!("LO {}", ShownFrequency(self.point.lo_hz)), label),
            (format!("circle: mean {mean:.3} V/√W; ring: ideal"), label * 5 / 6),
        ];
        for (row, (text, size)) in (0_u32..).zip(notes) {
            let style = letters(size, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
            let below = f64::from(px(label * 8 / 5 * row + label));
            let text = shortened(panel, &text, &style, rounded((self.width, 0.0)).0 - px_i(10))?;
            words(panel, rounded((self.origin.0, self.height + below)), &text, &style)?;
        }
        Ok(())
    }
}

/// A mixer's magnitude over the mean in dB and its phase error in degrees.
fn error_text(point: &LoPoint, drive: &MixerDrive) -> String {
    let mean = point.mean_lo_magnitude().unwrap_or(0.0);
    if drive.lo_magnitude <= 0.0 || mean <= 0.0 {
        return "no LO".to_owned();
    }
    let db = db_from_amplitude(drive.lo_magnitude / mean);
    format!("{} dB, {} deg", shown_signed(db, 2), shown_signed(drive.lo_phase_error_deg, 2))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_deviation_fits() {
        for (largest, expected) in [(0.0, 1000.0), (0.02, 10.0), (0.2, 1.0), (3.0, 1.0)] {
            assert!((magnification(largest) - expected).abs() < 1e-9, "{largest}");
        }
    }
}
