//! What a picture of many dies says above its charts.

use super::canvas::{Canvas, offset, px, px_i};
use super::error::PlotError;
use super::lettering::{shortened, words};
use super::style::{BLACK, letters};
use crate::wafer::{LotHeading, LotResult};
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Room above a picture for its name and what it is about.
const CAPTION: u32 = 100;

/// Writes a picture's name and what its dies are, and returns what is left of the canvas.
pub(super) fn captioned<'b>(
    canvas: &Canvas<'b>,
    name: &str,
    heading: &LotHeading<'_>,
    result: &LotResult,
    more: &str,
) -> Result<Canvas<'b>, PlotError> {
    let (head, body) = canvas.split_vertically(px(CAPTION));
    let centre = offset(head.dim_in_pixel().0 / 2);
    let centred = Pos::new(HPos::Center, VPos::Center);
    let joined = |parts: &[String]| -> String {
        let parts: Vec<&str> =
            parts.iter().map(String::as_str).filter(|part| !part.is_empty()).collect();
        parts.join("; ")
    };
    let measured = joined(&[heading.title(), heading.frequencies(result), more.to_owned()]);
    let judged = joined(&[heading.limits(result), heading.retests()]);
    for (text, y, size) in [(name.to_owned(), 24, 30), (measured, 58, 17), (judged, 84, 17)] {
        let style = letters(size, BLACK).pos(centred);
        let shown = shortened(&head, &text, &style, 2 * centre - px_i(30))?;
        words(&head, (centre, px_i(y)), &shown, &style)?;
    }
    Ok(body)
}
