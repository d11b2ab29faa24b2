//! Results as pictures.
//!
//! Each picture is drawn once, as vectors, on plotters' SVG back end; [`Picture`] gives it as SVG and,
//! rendered with the embedded font, as PNG. Text stays text: files are small, words can be searched
//! and read aloud. Colours are from the set of M. Okabe and K. Ito, "Color Universal Design" (2008),
//! and from ColorBrewer's sets for maps (2003), which people with colour-blindness can distinguish;
//! lines differ in dash as well, areas that fail are hatched.

mod axis;
mod canvas;
mod caption;
mod chart;
mod chart_data;
mod chart_notes;
mod clipping;
mod colour_scale;
mod contour_plane;
mod coverage;
mod distinct_lines;
mod error;
mod frequency_axis;
mod if_lines;
mod labels;
mod legend;
mod lettering;
mod lot_caption;
mod lot_curves;
mod lot_distribution;
mod lot_radial;
mod lot_wafers;
mod lot_yield;
mod overlay;
mod picture;
mod picture_size;
mod raster;
mod receiver_budget;
mod receiver_contours;
mod receiver_curves;
mod receiver_lo_chain;
mod receiver_map;
mod receiver_phasors;
mod rejection_axis;
mod series;
mod splitter_curves;
mod style;
mod switching_curves;
mod tolerance_chart;
mod track;
mod verdict_bands;
mod wafer_map;
mod wafer_scales;

pub use caption::Caption;
pub use chart_data::{ChartData, SeriesData};
pub use coverage::{receiver_coverage, receiver_tones, splitter_coverage};
pub use error::PlotError;
pub use lot_curves::lot_curves;
pub use lot_distribution::lot_distribution;
pub use lot_radial::lot_radial;
pub use lot_wafers::lot_wafers;
pub use lot_yield::lot_yield;
pub use overlay::overlay;
pub use picture::Picture;
pub use receiver_budget::receiver_budget;
pub use receiver_contours::receiver_contours;
pub use receiver_curves::{receiver_drive, receiver_imbalance, receiver_rejection};
pub use receiver_lo_chain::{input_window, lo_level_plan, lo_spectrum, spurious_map};
pub use receiver_map::{receiver_rejection_map, switching_map};
pub use receiver_phasors::receiver_phasors;
pub use splitter_curves::{contours, imbalance, losses, overview, rejection};
pub use switching_curves::{
    conductance_waveforms, switching_leakage, switching_over_drive, switching_over_lo,
};
pub use tolerance_chart::tolerance;
pub(crate) use wafer_map::limit_code;
pub use wafer_map::wafer_map;
pub use wafer_scales::WaferScales;
