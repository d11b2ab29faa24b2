//! The plane of amplitude imbalance and phase error, for the inverse question.

use super::canvas::picture;
use super::contour_plane::contour_axes;
use super::error::PlotError;
use super::style::Sizes;
use crate::splitter::ToleranceResult;

/// Curves of constant rejection with the required one among them.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn tolerance(result: &ToleranceResult) -> Result<Vec<u8>, PlotError> {
    let (image_rejection_db, family) = (result.image_rejection_db, result.contours());
    let title = format!(
        "Imbalance and phase error that keep {image_rejection_db} dB of image rejection (dashed)"
    );
    picture(|canvas| contour_axes(canvas, &family, &title, (1.0, 1.0), &[], Sizes::LARGE).map(drop))
}
