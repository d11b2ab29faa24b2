//! Results as PNG pictures.
//!
//! Everything is drawn three times as large and reduced, which smooths lines and letters; the
//! letters come from an embedded font, so that no system font or library is needed. Colours are
//! from the set of M. Okabe and K. Ito, "Color Universal Design" (2008), which people with
//! colour-blindness can tell apart; lines differ in dash as well.

mod overlay;
mod splitter;
mod style;
mod tolerance;

pub use overlay::overlay;
pub use splitter::{contours, imbalance, losses, overview, rejection};
pub use style::PlotError;
pub use tolerance::tolerance;
