//! The lines above every picture: what it shows, of what, from which file.

use super::canvas::{Canvas, count, offset, px, px_i};
use super::error::PlotError;
use super::lettering::{shortened, words};
use super::style::{BLACK, Sizes, letters};
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// The room of a caption's first line, and of each further one.
const NAME_HEIGHT: u32 = 46;
const LINE_HEIGHT: u32 = 25;
const LINE_SIZE: u32 = 18;

/// What a picture is of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Caption<'t> {
    /// The title of the receiver or part; may be empty.
    pub subject: &'t str,
    /// The file that describes it or holds its data; may be empty.
    pub file: &'t str,
    /// The date of the data as the file states it.
    pub date: Option<&'t str>,
}

impl Caption<'_> {
    /// Writes the caption, and returns what is left of the canvas.
    pub(super) fn head<'b>(
        &self,
        canvas: &Canvas<'b>,
        name: &str,
    ) -> Result<Canvas<'b>, PlotError> {
        let date = self.date.map(|date| format!("dated {date}"));
        let parts = [self.subject, self.file, date.as_deref().unwrap_or_default()];
        captioned(canvas, name, &[joined(parts)])
    }
}

/// The parts that are not empty, as one line.
pub(super) fn joined<'p>(parts: impl IntoIterator<Item = &'p str>) -> String {
    let parts: Vec<&str> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    parts.join("; ")
}

/// Writes a picture's name and further lines, and returns what is left of the canvas.
pub(super) fn captioned<'b>(
    canvas: &Canvas<'b>,
    name: &str,
    lines: &[String],
) -> Result<Canvas<'b>, PlotError> {
    let lines: Vec<&String> = lines.iter().filter(|line| !line.is_empty()).collect();
    let height = NAME_HEIGHT + LINE_HEIGHT * count(lines.len()) + 6;
    let (head, body) = canvas.split_vertically(px(height));
    let centre = offset(head.dim_in_pixel().0 / 2);
    let rows = std::iter::once((name, NAME_HEIGHT / 2 + 4, Sizes::LARGE.title)).chain(
        (0..).zip(lines).map(|(at, line)| {
            let y = NAME_HEIGHT + LINE_HEIGHT * at + LINE_HEIGHT / 2;
            (line.as_str(), y, LINE_SIZE)
        }),
    );
    for (text, y, size) in rows {
        let style = letters(size, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
        let shown = shortened(&head, text, &style, 2 * centre - px_i(30))?;
        words(&head, (centre, px_i(y)), &shown, &style)?;
    }
    Ok(body)
}
