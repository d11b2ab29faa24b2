//! Legends.

use super::canvas::{Canvas, Pixel, offset, px, px_i};
use super::chart_notes::LineKey;
use super::error::PlotError;
use super::lettering::{shortened, width_of, words};
use super::series::{CLOSE, WIDE, hatch, outline};
use super::style::{BLACK, Dash, SHADE, Sizes, VERMILION, letters};
use plotters::prelude::{Circle, Color, PathElement, RGBColor, Rectangle, ShapeStyle};
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// A name in a legend, and its line.
pub(super) struct Entry<'t> {
    pub(super) name: &'t str,
    pub(super) colour: RGBColor,
    pub(super) dash: Dash,
}

/// What distinguishes the entries of a legend, and their names.
pub(super) fn keys(legend: &[Entry<'_>]) -> impl Iterator<Item = (LineKey, String)> {
    legend.iter().map(|entry| ((entry.colour, entry.dash as u8), entry.name.to_owned()))
}

/// The dashed line of a limit, if there is one.
pub(super) fn limit_entry(name: Option<&String>) -> Option<Entry<'_>> {
    name.map(|name| Entry { name, colour: VERMILION, dash: Dash::Dashed })
}

/// An entry as a row of a legend has it: its name cut to the width of the panel, and the width that
/// it takes.
pub(super) struct Placed<'e> {
    entry: &'e Entry<'e>,
    name: String,
    width: i32,
}

impl Entry<'_> {
    /// From where an entry begins to where its name does.
    fn sample_width(&self) -> i32 {
        if self.dash == Dash::Word { 0 } else { px_i(SAMPLE + 8) }
    }
}

/// The length of a legend's sample of a line.
const SAMPLE: u32 = 40;

/// A legend in as few rows as the panel's width allows.
pub(super) fn legend_rows<'e>(
    panel: &Canvas<'_>,
    legend: &'e [Entry<'e>],
    sizes: Sizes,
) -> Result<Vec<Vec<Placed<'e>>>, PlotError> {
    let style = letters(sizes.label * 9 / 10, BLACK);
    let widest = offset(panel.dim_in_pixel().0) - px_i(40);
    let mut rows: Vec<Vec<Placed<'e>>> = Vec::new();
    let mut taken = i32::MAX;
    for entry in legend {
        let beside = entry.sample_width();
        let name = shortened(panel, entry.name, &style, widest - beside)?;
        let width = beside + width_of(panel, &name, &style)?;
        taken = taken.saturating_add(px_i(sizes.label) + width);
        let placed = Placed { entry, name, width };
        match rows.last_mut() {
            Some(row) if taken <= widest => row.push(placed),
            _ => {
                taken = width;
                rows.push(vec![placed]);
            }
        }
    }
    Ok(rows)
}

pub(super) fn draw_legend_row(
    head: &Canvas<'_>,
    row: &[Placed<'_>],
    y: u32,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let style = letters(sizes.label * 9 / 10, BLACK).pos(Pos::new(HPos::Left, VPos::Center));
    let gap = px_i(sizes.label);
    // A gap follows each entry but the last.
    let total = row.iter().map(|placed| placed.width + gap).sum::<i32>() - gap;
    let (panel_width, _) = head.dim_in_pixel();
    let mut x = (offset(panel_width) - total) / 2;
    let y = offset(y);
    for Placed { entry, name, width } in row {
        draw_sample(head, entry, (x, y), sizes)?;
        words(head, (x + entry.sample_width(), y), name, &style)?;
        x += width + gap;
    }
    Ok(())
}

/// The sample of an entry, to the right of a place.
fn draw_sample(
    head: &Canvas<'_>,
    entry: &Entry<'_>,
    (x, y): Pixel,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let sample = px_i(SAMPLE);
    let stroke = ShapeStyle::from(&entry.colour).stroke_width(px(sizes.line));
    let stretch = |from: i32, length: i32| {
        head.draw(&PathElement::new(vec![(x + from, y), (x + from + length, y)], stroke))
            .map_err(PlotError::from_display)
    };
    match entry.dash {
        Dash::Area => {
            let area = Rectangle::new(
                [(x, y - px_i(8)), (x + sample, y + px_i(8))],
                entry.colour.mix(SHADE).filled(),
            );
            head.draw(&area).map_err(PlotError::from_display)?;
        }
        Dash::HatchedArea => {
            let (low, high) = ((x, y - px_i(8)), (x + sample, y + px_i(8)));
            let area = Rectangle::new([low, high], entry.colour.mix(SHADE).filled());
            head.draw(&area).map_err(PlotError::from_display)?;
            hatch(head, (low, high), entry.colour, CLOSE)?;
        }
        Dash::Faded => {
            let (low, high) = ((x, y - px_i(8)), (x + sample, y + px_i(8)));
            let area = Rectangle::new([low, high], entry.colour.mix(0.35).filled());
            head.draw(&area).map_err(PlotError::from_display)?;
            outline(head, (low, high), entry.colour, 1)?;
        }
        Dash::Framed => {
            outline(head, ((x, y - px_i(8)), (x + sample, y + px_i(8))), entry.colour, 4)?;
        }
        Dash::Word => {}
        Dash::Crossed => {
            let (low, high) = ((x, y - px_i(8)), (x + sample, y + px_i(8)));
            let style = ShapeStyle::from(&entry.colour).stroke_width(px(1));
            for ends in [vec![low, high], vec![(low.0, high.1), (high.0, low.1)]] {
                head.draw(&PathElement::new(ends, style)).map_err(PlotError::from_display)?;
            }
            outline(head, (low, high), entry.colour, 1)?;
        }
        Dash::Hatched | Dash::WideHatched => {
            let (low, high) = ((x, y - px_i(8)), (x + sample, y + px_i(8)));
            let spacing = if entry.dash == Dash::Hatched { CLOSE } else { WIDE };
            hatch(head, (low, high), entry.colour, spacing)?;
            outline(head, (low, high), entry.colour, 1)?;
        }
        Dash::Dots => {
            let dot = Circle::new((x + sample / 2, y), px(sizes.line * 2), entry.colour.filled());
            head.draw(&dot).map_err(PlotError::from_display)?;
        }
        Dash::Solid => stretch(0, sample)?,
        Dash::Dashed => {
            stretch(0, px_i(16))?;
            stretch(sample - px_i(16), px_i(16))?;
        }
        Dash::Dotted => {
            for dot in 0..5 {
                stretch(dot * sample / 5, px_i(sizes.line * 4 / 3))?;
            }
        }
    }
    Ok(())
}
