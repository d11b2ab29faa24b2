//! The plane of amplitude imbalance and phase error, for the inverse question.

use super::canvas::picture;
use super::contour_plane::contour_axes;
use super::error::PlotError;
use super::style::Sizes;
use crate::splitter::contour_family;

/// Curves of constant rejection with the required one among them.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn tolerance(image_rejection_db: f64) -> Result<Vec<u8>, PlotError> {
    let family = contour_family(&[], Some(image_rejection_db));
    let title = format!(
        "Imbalance and phase error that keep {image_rejection_db} dB of image rejection (dashed)"
    );
    picture(|canvas| contour_axes(canvas, &family, &title, (1.0, 1.0), &[], Sizes::LARGE).map(drop))
}
