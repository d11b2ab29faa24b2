//! What the charts of a picture show, as numbers beside the drawing.

use std::ops::Range;

/// A chart of a picture.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ChartData {
    /// Its title; may be empty.
    pub title: String,
    /// The label of the horizontal axis, with its unit.
    pub x_label: String,
    /// The label of the upright axis, with its unit.
    pub y_label: String,
    /// The range of the horizontal axis.
    pub x: Range<f64>,
    /// The range of the upright axis.
    pub y: Range<f64>,
    /// The frame: left, top, right and bottom, in units of the picture's `viewBox`.
    pub frame: [i32; 4],
    /// The curves that its legend names; `data-series` of a group in the picture is a place in this list.
    pub series: Vec<SeriesData>,
}

/// A curve of a chart.
#[derive(Clone, Debug, PartialEq)]
pub struct SeriesData {
    /// Its name in the legend.
    pub name: String,
    /// Its points as they were given, also where they are beyond the frame or not finite.
    pub points: Vec<(f64, f64)>,
    /// Whether it is a straight line across the chart, such as a limit, and no curve of the data.
    pub is_across: bool,
    /// Its colour, as `#rrggbb`.
    pub colour: String,
    /// Its width, in units of the picture's `viewBox`.
    pub width: u32,
    /// The lengths of a dash and of the gap after it, in the same units; none for a solid line.
    pub dashes: Option<(u32, u32)>,
}
