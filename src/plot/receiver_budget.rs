//! The error budget as bars.

use super::axis::{range_of, ticks};
use super::canvas::{Canvas, count, offset, picture, px, px_i};
use super::caption::Caption;
use super::error::PlotError;
use super::lettering::{shortened, width_of, words};
use super::picture::Picture;
use super::picture_size::{HEIGHT, WIDTH};
use super::rejection_axis::{HIGHEST_REJECTION_DB, LOWEST_REJECTION_DB};
use super::style::{BLACK, BLUE, GREY, GRID, Sizes, VERMILION, letters};
use crate::downconverter::{Budget, DownconverterResult};
use crate::units::{ShownFrequency, db_from_neper, shown_signed};
use num_complex::Complex64;
use plotters::prelude::{Color, PathElement, Rectangle, ShapeStyle};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::ops::Range;

// Columns of the finished picture.
const NAMES: Range<u32> = 16..330;
const AMPLITUDE: Range<u32> = 346..816;
const PHASE: Range<u32> = 852..1322;
const REJECTION: Range<u32> = 1346..1584;
/// Rows of the finished picture between which the bars are.
const BARS: Range<u32> = 150..900;
/// The smallest range of the axes, nepers and radians.
const LEAST_WIDTH: f64 = 0.0115;
/// Rows are no higher than this, however few they are.
const HIGHEST_ROW: u32 = 97;

/// What each part adds to the channel error at the worst point, amplitude beside phase, with the
/// total below and the rejection if the part were ideal.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn receiver_budget(
    caption: &Caption<'_>,
    result: &DownconverterResult,
) -> Result<Picture, PlotError> {
    let centred = Pos::new(HPos::Center, VPos::Center);
    let worst = &result.summary.worst;
    let name = format!(
        "Error budget at the worst point, Q over I in the image sideband: LO {}, IF {}",
        ShownFrequency(worst.lo_hz),
        ShownFrequency(worst.if_hz)
    );
    picture(&name, |canvas| {
        caption.head(canvas, &name)?;
        let Some(budget) = &result.budget else {
            let why = "No budget: with every part ideal, one of the channels has no output.";
            let style = letters(Sizes::LARGE.label, BLACK).pos(centred);
            return words(canvas, (px_i(WIDTH / 2), px_i(HEIGHT / 2)), why, &style);
        };
        bars(canvas, budget, worst.balance.image_rejection_db)
    })
}

/// A line of the picture.
struct Row {
    name: String,
    error: Complex64,
    rejection: String,
    is_total: bool,
}

fn bars(canvas: &Canvas<'_>, budget: &Budget, worst_db: f64) -> Result<(), PlotError> {
    let decibels = |value: f64| match value {
        value if value > HIGHEST_REJECTION_DB => format!("over {HIGHEST_REJECTION_DB} dB"),
        value if value < LOWEST_REJECTION_DB => format!("under {LOWEST_REJECTION_DB} dB"),
        value => format!("{value:.1} dB"),
    };
    let mut rows: Vec<Row> = budget
        .rows
        .iter()
        .map(|row| Row {
            name: row.contributor.to_string(),
            error: row.error,
            rejection: row
                .if_ideal_db
                .map_or_else(|| "–".to_owned(), |db| format!("if ideal {}", decibels(db))),
            is_total: false,
        })
        .collect();
    rows.push(Row {
        name: "total".to_owned(),
        error: budget.total,
        rejection: format!("now {}", decibels(worst_db)),
        is_total: true,
    });
    let table = Table::of(rows.len());
    let head = letters(Sizes::LARGE.label, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
    let middle = |columns: &Range<u32>| px_i(u32::midpoint(columns.start, columns.end));
    let above = px_i(BARS.start - 32);
    words(canvas, (middle(&AMPLITUDE), above), "Amplitude (dB)", &head)?;
    words(canvas, (middle(&PHASE), above), "Phase (deg)", &head)?;
    words(canvas, (middle(&REJECTION), above), "Rejection", &head)?;

    let name_style = letters(table.size, BLACK).pos(Pos::new(HPos::Right, VPos::Center));
    let rejection_style = letters(table.size, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
    for (at, row) in rows.iter().enumerate() {
        let y = table.middle(at);
        let widest = px_i(NAMES.end - NAMES.start);
        let name = shortened(canvas, &row.name, &name_style, widest)?;
        words(canvas, (px_i(NAMES.end), y), &name, &name_style)?;
        words(canvas, (middle(&REJECTION), y), &row.rejection, &rejection_style)?;
    }
    let amplitudes: Vec<f64> = rows.iter().map(|row| db_from_neper(row.error.re)).collect();
    let phases: Vec<f64> = rows.iter().map(|row| row.error.im.to_degrees()).collect();
    // Both panels show the same range of nepers and radians: equal lengths degrade the rejection
    // about equally.
    let parts = rows.iter().flat_map(|row| [row.error.re, row.error.im]);
    let range = range_of(parts.chain([0.0]), LEAST_WIDTH);
    let scaled = |unit: fn(f64) -> f64| unit(range.start)..unit(range.end);
    panel(canvas, &table, &AMPLITUDE, &amplitudes, (&rows, &scaled(db_from_neper), 3))?;
    panel(canvas, &table, &PHASE, &phases, (&rows, &scaled(f64::to_degrees), 2))?;
    let note = letters(Sizes::LARGE.label * 4 / 5, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
    let middle = (px_i(u32::midpoint(AMPLITUDE.end, PHASE.start)), px_i(HEIGHT - 26));
    words(canvas, middle, "Scales are tied: 1 dB is as long as 6.6 deg.", &note)?;
    // The total is separate from its parts.
    let y = table.middle(rows.len() - 1) - table.row / 2;
    let rule = PathElement::new(
        vec![(px_i(NAMES.start), y), (px_i(REJECTION.end), y)],
        ShapeStyle::from(&GREY).stroke_width(px(1)),
    );
    canvas.draw(&rule).map_err(PlotError::from_display)
}

/// The places of the rows.
struct Table {
    /// Height of a row.
    row: i32,
    rows: i32,
    /// Size of letters.
    size: u32,
}

impl Table {
    fn of(rows: usize) -> Self {
        let rows = count(rows).max(1);
        let row = (px(BARS.end - BARS.start) / rows).min(px(HIGHEST_ROW)).max(1);
        let size = (row / px(1) * 3 / 4).clamp(8, Sizes::LARGE.label * 11 / 12);
        Self { row: offset(row), rows: offset(rows), size }
    }

    fn middle(&self, at: usize) -> i32 {
        px_i(BARS.start) + self.row * offset(count(at)) + self.row / 2
    }

    fn bottom(&self) -> i32 {
        px_i(BARS.start) + self.row * self.rows
    }
}

/// The bars of one quantity.
fn panel(
    canvas: &Canvas<'_>,
    table: &Table,
    columns: &Range<u32>,
    values: &[f64],
    (rows, range, digits): (&[Row], &Range<f64>, usize),
) -> Result<(), PlotError> {
    let number = letters(table.size * 11 / 12, BLACK);
    let texts: Vec<String> = values.iter().map(|value| shown_signed(*value, digits)).collect();
    // Numbers are beyond the ends of the bars and need space there.
    let mut widest = 0;
    for text in &texts {
        widest = widest.max(width_of(canvas, text, &number)?);
    }
    let room = widest + px_i(10);
    // Both panels have room at both ends, so that their scales stay tied.
    let room = room.max(px_i(table.size * 4));
    let left = px_i(columns.start) + room;
    let right = px_i(columns.end) - room;
    #[expect(clippy::cast_possible_truncation, reason = "within the picture")]
    let place = |value: f64| {
        let share = (value - range.start) / (range.end - range.start);
        left + (share * f64::from(right - left)).round() as i32
    };
    let (top, bottom) = (px_i(BARS.start), table.bottom());
    let upright = |x: i32, style: ShapeStyle| {
        canvas
            .draw(&PathElement::new(vec![(x, top), (x, bottom)], style))
            .map_err(PlotError::from_display)
    };
    let tick_style =
        letters(Sizes::LARGE.label * 4 / 5, BLACK).pos(Pos::new(HPos::Center, VPos::Top));
    for (value, text) in ticks(range, 4) {
        let x = place(value);
        upright(x, GRID.stroke_width(px(1)))?;
        words(canvas, (x, bottom + px_i(10)), &text, &tick_style)?;
    }
    for (at, (value, text)) in values.iter().zip(&texts).enumerate() {
        let (y, half) = (table.middle(at), (table.row * 3 / 10).max(1));
        let colour = if rows[at].is_total { VERMILION } else { BLUE };
        let end = if value.is_finite() { place(*value) } else { place(0.0) };
        let (from, to) = (end.min(place(0.0)), end.max(place(0.0)));
        let bar = Rectangle::new([(from, y - half), (to, y + half)], colour.filled());
        canvas.draw(&bar).map_err(PlotError::from_display)?;
        let (x, side) =
            if *value < 0.0 { (from - px_i(6), HPos::Right) } else { (to + px_i(6), HPos::Left) };
        words(canvas, (x, y), text, &number.clone().pos(Pos::new(side, VPos::Center)))?;
    }
    upright(place(0.0), ShapeStyle::from(&BLACK).stroke_width(px(2)))
}
