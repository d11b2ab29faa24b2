//! A finished picture.

use super::chart_data::ChartData;
use super::error::PlotError;
use super::raster::png_of;

/// A finished picture, drawn once as vectors.
///
/// # Examples
/// ```
/// use fourphase::plot;
/// use fourphase::splitter::tolerance;
///
/// let picture = plot::tolerance(&tolerance(30.0, Some(0.2), None))?;
/// assert!(picture.svg().starts_with("<svg"));
/// assert!(picture.png()?.starts_with(b"\x89PNG"));
/// # Ok::<(), plot::PlotError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    name: String,
    svg: String,
    charts: Vec<ChartData>,
}

impl Picture {
    pub(super) fn new(name: &str, svg: String, charts: Vec<ChartData>) -> Self {
        Self { name: name.to_owned(), svg, charts }
    }

    /// What the picture shows, as its first line says it.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its charts with the values of their curves. In the SVG, a group with `data-axes` has the axes of
    /// the chart of that number, `data-chart` its data, and `data-series` in there one of its curves.
    #[must_use]
    pub fn charts(&self) -> &[ChartData] {
        &self.charts
    }

    /// The picture as an SVG document of 1600 x 1000 user units. It refers to no other file. Text
    /// is kept as text.
    #[must_use]
    pub fn svg(&self) -> &str {
        &self.svg
    }

    /// The picture as a PNG file of 1600 x 1000 pixels, rendered from the SVG with the embedded
    /// font.
    ///
    /// # Errors
    /// [`PlotError`] if the SVG cannot be rendered, which does not happen in practice.
    pub fn png(&self) -> Result<Vec<u8>, PlotError> {
        png_of(&self.svg)
    }
}
