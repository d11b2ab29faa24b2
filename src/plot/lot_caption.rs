//! What a picture of many dies says above its charts.

use super::canvas::Canvas;
use super::caption::{captioned, joined};
use super::error::PlotError;
use crate::wafer::{LotHeading, LotResult};

/// Writes a picture's name and what its dies are, and returns what is left of the canvas.
pub(super) fn lot_head<'b>(
    canvas: &Canvas<'b>,
    name: &str,
    heading: &LotHeading<'_>,
    result: &LotResult,
    more: &str,
) -> Result<Canvas<'b>, PlotError> {
    let (title, frequencies) = (heading.title(), heading.frequencies(result));
    let measured = joined([title.as_str(), heading.file, frequencies.as_str(), more]);
    let (limits, retests) = (heading.limits(result), heading.retests());
    captioned(canvas, name, &[measured, joined([limits.as_str(), retests.as_str()])])
}
