//! Channel errors of dies over their distance from the wafer's centre.

use super::axis::range_of;
use super::canvas::{Canvas, picture, px};
use super::chart::{Axes, chart};
use super::error::PlotError;
use super::legend::Entry;
use super::lot_caption::lot_head;
use super::picture::Picture;
use super::series::{horizontal, line};
use super::style::{BLUE, Dash, GREY, ORANGE, SKY_BLUE, Sizes};
use crate::units::{counted, db_from_neper};
use crate::wafer::{
    LotHeading, LotResult, Position, RadialPoint, Spatial, radial_trend, ring_medians,
};
use plotters::prelude::{Circle, Color, EmptyElement};
use std::ops::Range;

/// One part of the error over the radius.
struct RadialPanel<'r> {
    title: String,
    y_label: &'static str,
    points: Vec<RadialPoint>,
    spatial: Option<&'r Spatial>,
    least_width: f64,
}

/// Both parts of the dies' channel errors over their distance from the wafer's centre.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn lot_radial(heading: &LotHeading<'_>, result: &LotResult) -> Result<Picture, PlotError> {
    let Some(map) = &result.map else {
        return Err(PlotError::from_display("there is no map"));
    };
    let fitted: Vec<usize> =
        result.wafers.iter().flat_map(|wafer| wafer.fitted.iter().copied()).collect();
    let radius = map.radius_mm();
    let parts = |part: &dyn Fn(num_complex::Complex64) -> f64| -> Vec<RadialPoint> {
        fitted
            .iter()
            .filter_map(|&row| {
                let row = &result.rows[row];
                Some((
                    row.position.as_ref().map(Position::radius_mm)?,
                    part(row.figures.as_ref()?.mean_error),
                ))
            })
            .collect()
    };
    let only = match result.wafers.as_slice() {
        [only] => Some(only),
        _ => None,
    };
    let sideband = heading.of_image_sideband();
    let panels = [
        RadialPanel {
            title: format!("Mean amplitude imbalance of each die{sideband}"),
            y_label: "Imbalance (dB)",
            points: parts(&|error| db_from_neper(error.re)),
            spatial: only.map(|wafer| &wafer.amplitude_db),
            least_width: 0.05,
        },
        RadialPanel {
            title: format!("Mean phase error of each die{sideband}"),
            y_label: "Phase error (deg)",
            points: parts(&|error| error.im.to_degrees()),
            spatial: only.map(|wafer| &wafer.phase_deg),
            least_width: 0.5,
        },
    ];
    let of = only.map_or_else(
        || counted(result.wafers.len(), "wafer"),
        |wafer| format!("Lot {}, wafer {}", wafer.lot, wafer.wafer),
    );
    let name = format!("{of}: {} from the centre to the edge", counted(fitted.len(), "die"));
    let align = panels.each_ref().map(RadialPanel::range);
    picture(&name, |canvas| {
        let body = lot_head(canvas, &name, heading, result, "")?;
        for (panel, part) in body.split_evenly((2, 1)).iter().zip(&panels) {
            part.draw(panel, radius, &align)?;
        }
        Ok(())
    })
}

impl RadialPanel<'_> {
    fn range(&self) -> Range<f64> {
        range_of(self.points.iter().map(|point| point.1).chain([0.0]), self.least_width)
    }

    fn draw(
        &self,
        panel: &Canvas<'_>,
        radius_mm: f64,
        align: &[Range<f64>],
    ) -> Result<(), PlotError> {
        let points = &self.points;
        let axes = Axes {
            title: &self.title,
            x_label: "Distance from the wafer's centre (mm)",
            y_label: self.y_label,
            x: 0.0..radius_mm,
            y: self.range(),
            align,
            ..Axes::default()
        };
        let trend = self.spatial.and_then(|spatial| spatial.trend.as_ref());
        let mut legend = vec![
            Entry { name: "a die", colour: SKY_BLUE, dash: Dash::Dots },
            Entry { name: "median of a ring", colour: BLUE, dash: Dash::Solid },
        ];
        if trend.is_some() {
            legend.push(Entry {
                name: "radial trend of the fit",
                colour: ORANGE,
                dash: Dash::Dashed,
            });
        }
        let (_, mut chart) = chart(panel, &axes, &legend, Sizes::LARGE)?;
        let thin = Sizes { line: 1, ..Sizes::LARGE };
        horizontal(&mut chart, &(0.0..radius_mm), 0.0, GREY, Dash::Solid, thin)?;
        let size = if points.len() > 500 { 2 } else { 5 };
        let dots = points.iter().map(|&point| {
            EmptyElement::at(point) + Circle::new((0, 0), px(size), SKY_BLUE.filled())
        });
        chart.draw_series(dots).map_err(PlotError::from_display)?;
        if let Some(trend) = trend {
            // A trend says nothing beyond the outermost die.
            let outermost_mm = points.iter().map(|point| point.0).fold(0.0, f64::max);
            let mut fitted = radial_trend(trend.level, trend.radial, radius_mm);
            fitted.retain(|point| point.0 <= outermost_mm);
            line(&mut chart, fitted, ORANGE, Dash::Dashed, Sizes::LARGE)?;
        }
        line(&mut chart, ring_medians(points, radius_mm), BLUE, Dash::Solid, Sizes::LARGE)
    }
}
