//! Results as PNG pictures.
//!
//! Everything is drawn three times as large and reduced, which smooths lines and letters; the
//! letters come from an embedded font, so that no system font or library is needed. Colours are
//! from the set of M. Okabe and K. Ito, "Color Universal Design" (2008), which people with
//! colour-blindness can tell apart; lines differ in dash as well.

mod coverage;
mod lot;
mod overlay;
mod receiver_budget;
mod receiver_contours;
mod receiver_curves;
mod receiver_map;
mod receiver_phasors;
mod scale;
mod splitter_curves;
mod style;
mod tolerance_chart;
mod wafer_map;

pub use coverage::{receiver_coverage, receiver_tones, splitter_coverage};
pub use lot::{lot_curves, lot_distribution, lot_radial, lot_wafers, lot_yield};
pub use overlay::overlay;
pub use receiver_budget::receiver_budget;
pub use receiver_contours::receiver_contours;
pub use receiver_curves::{receiver_drive, receiver_imbalance, receiver_rejection};
pub use receiver_map::receiver_rejection_map;
pub use receiver_phasors::receiver_phasors;
pub use splitter_curves::{contours, imbalance, losses, overview, rejection};
pub use style::PlotError;
pub use tolerance_chart::tolerance;
pub use wafer_map::wafer_map;
