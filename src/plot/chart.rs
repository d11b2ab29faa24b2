//! Title, legend, axes and grid around data.

use super::axis::{Axis, Chart};
use super::canvas::{Canvas, count, offset, px};
use super::error::PlotError;
use super::legend::{Entry, draw_legend_row, legend_rows};
use super::style::{BLACK, GREY, GRID, Sizes, letters};
use plotters::prelude::{ChartBuilder, Color, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::ops::Range;

/// What stands around a chart.
pub(super) struct Axes<'t> {
    pub(super) title: &'t str,
    pub(super) x_label: &'t str,
    pub(super) y_label: &'t str,
    pub(super) x: Range<f64>,
    pub(super) y: Range<f64>,
}

/// Draws title, legend, axes and grid on a panel and returns the chart for its data. The legend
/// stands in a strip of its own above the axes, never over data.
pub(super) fn chart<'a, 'b>(
    panel: &'a Canvas<'b>,
    axes: &Axes<'_>,
    legend: &[Entry<'_>],
    sizes: Sizes,
) -> Result<(Canvas<'b>, Chart<'a, 'b>), PlotError> {
    chart_with(panel, axes, legend, sizes, true)
}

fn chart_with<'a, 'b>(
    panel: &'a Canvas<'b>,
    axes: &Axes<'_>,
    legend: &[Entry<'_>],
    sizes: Sizes,
    has_upright_numbers: bool,
) -> Result<(Canvas<'b>, Chart<'a, 'b>), PlotError> {
    let (width, height) = panel.dim_in_pixel();
    let title_height = px(sizes.title * 9 / 5);
    let rows = legend_rows(panel, legend, sizes)?;
    let row_height = px(sizes.label * 8 / 5);
    let around = Around::of(sizes, count(rows.len()));
    let (head, _) = panel.split_vertically(around.top);
    let style = letters(sizes.title, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
    let centre = offset(width / 2);
    let middle = offset(title_height / 2);
    head.draw(&Text::new(axes.title, (centre, middle), style)).map_err(PlotError::from_display)?;
    for (row, y) in rows.iter().zip((0..).map(|row| title_height + row_height * (2 * row + 1) / 2))
    {
        draw_legend_row(&head, row, y, sizes)?;
    }

    let x = Axis::over(&axes.x, (width / px(sizes.label * 5)).clamp(3, 12) as usize);
    let y = Axis::over(&axes.y, (height / px(sizes.label * 4)).clamp(3, 10) as usize);
    let mut builder = ChartBuilder::on(panel);
    builder
        .margin_top(around.top)
        .margin_right(around.right)
        .margin_bottom(px(8))
        .margin_left(around.left)
        .x_label_area_size(around.bottom - px(8))
        .y_label_area_size(if has_upright_numbers { axis_width(&y, sizes) } else { px(4) });
    let mut chart = builder.build_cartesian_2d(x, y).map_err(PlotError::from_display)?;
    let mut mesh = chart.configure_mesh();
    if !has_upright_numbers {
        mesh.disable_y_mesh().disable_y_axis();
    }
    mesh.max_light_lines(0)
        .bold_line_style(GRID.stroke_width(px(1)))
        .axis_style(GREY.stroke_width(px(1)))
        .set_all_tick_mark_size(px(5))
        .x_desc(axes.x_label)
        .y_desc(axes.y_label)
        .label_style(letters(sizes.label * 9 / 10, BLACK))
        .axis_desc_style(letters(sizes.label, BLACK))
        .draw()
        .map_err(PlotError::from_display)?;
    Ok((panel.clone(), chart))
}

/// The same for rows that are named beside the chart: nothing is written along the upright axis.
pub(super) fn row_chart<'a, 'b>(
    panel: &'a Canvas<'b>,
    axes: &Axes<'_>,
    legend: &[Entry<'_>],
    sizes: Sizes,
) -> Result<(Canvas<'b>, Chart<'a, 'b>), PlotError> {
    chart_with(panel, axes, legend, sizes, false)
}

/// The same for a map: a unit is as long across as up. The ranges grow as the panel asks.
pub(super) fn map_chart<'a, 'b>(
    panel: &'a Canvas<'b>,
    axes: &Axes<'_>,
    legend: &[Entry<'_>],
    sizes: Sizes,
) -> Result<(Canvas<'b>, Chart<'a, 'b>), PlotError> {
    let (width, height) = panel.dim_in_pixel();
    let rows = count(legend_rows(panel, legend, sizes)?.len());
    let around = Around::of(sizes, rows);
    let left = around.left + axis_width(&Axis::over(&axes.y, 8), sizes);
    let inner = (
        f64::from(width.saturating_sub(left + around.right).max(1)),
        f64::from(height.saturating_sub(around.top + around.bottom).max(1)),
    );
    let (x, y) = (axes.x.end - axes.x.start, axes.y.end - axes.y.start);
    let unit = (x / inner.0).max(y / inner.1);
    let grown = |range: &Range<f64>, pixels: f64| {
        let (middle, half) = (0.5 * (range.start + range.end), 0.5 * unit * pixels);
        middle - half..middle + half
    };
    let axes = Axes { x: grown(&axes.x, inner.0), y: grown(&axes.y, inner.1), ..*axes };
    chart(panel, &axes, legend, sizes)
}

/// Room around the axes, beside the numbers at the left.
struct Around {
    top: u32,
    right: u32,
    bottom: u32,
    left: u32,
}

impl Around {
    fn of(sizes: Sizes, legend_rows: u32) -> Self {
        let legend = if legend_rows == 0 { px(4) } else { px(sizes.label * 8 / 5) * legend_rows };
        Self {
            top: px(sizes.title * 9 / 5) + legend,
            right: px(sizes.label * 3 / 2),
            bottom: px(8) + px(sizes.label * 3),
            left: px(10),
        }
    }
}

/// Room for the numbers of an axis at the left; for short ones as much as for three letters, so that
/// charts above one another seldom differ.
fn axis_width(y: &Axis, sizes: Sizes) -> u32 {
    px(sizes.label * 7 / 4) + y.longest().max(3) * px(sizes.label * 11 / 20)
}
