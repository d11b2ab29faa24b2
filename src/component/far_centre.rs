//! Whether a component is used near the frequency that it is made for.

use crate::units::shown_band;
use std::ops::RangeInclusive;

/// A sentence for the user where a component of a kind, made for `center_ghz`, is used far from it: likely
/// its centre is in another unit. `None` where it is near.
///
/// # Examples
/// ```
/// use fourphase::component::far_centre;
///
/// assert_eq!(far_centre("wilkinson", 29.0, &(24e9..=34e9)), None);
/// let text = far_centre("wilkinson", 29000.0, &(24e9..=34e9)).unwrap();
/// assert!(text.starts_with("center_ghz = 29000 is far from 24 to 34 GHz"));
/// ```
#[must_use]
pub fn far_centre(kind: &str, center_ghz: f64, band_hz: &RangeInclusive<f64>) -> Option<String> {
    // A line may be defined at another frequency; what is made of quarter waves works around its centre.
    let farthest = match kind {
        "line" | "stub" | "coupled_pair" => 20.0,
        _ => 2.0,
    };
    let (low_hz, high_hz) = (*band_hz.start(), *band_hz.end());
    let center_hz = center_ghz * 1e9;
    (center_hz * farthest < low_hz || center_hz > farthest * high_hz).then(|| {
        format!(
            "center_ghz = {center_ghz} is far from {}, where it is used; center_ghz is in GHz",
            shown_band((low_hz, high_hz))
        )
    })
}
