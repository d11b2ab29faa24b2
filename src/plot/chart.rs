//! Title, legend, axes and grid around data.

use super::axis::{Axis, Chart, Ticks};
use super::canvas::{Canvas, Pixel, count, offset, px, px_i};
use super::chart_data::ChartData;
use super::chart_notes::{begin_axes, begin_data, end_data, note_legend};
use super::error::PlotError;
use super::legend::{Entry, Placed, draw_legend_row, keys, legend_rows};
use super::lettering::{shortened, words};
use super::series::outline;
use super::style::{BLACK, GREY, GRID, Sizes, letters};
use plotters::prelude::{ChartBuilder, Color};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::ops::Range;

/// The labels around a chart.
#[derive(Default)]
pub(super) struct Axes<'t> {
    /// Empty where the picture's caption says it.
    pub(super) title: &'t str,
    pub(super) x_label: &'t str,
    pub(super) y_label: &'t str,
    pub(super) x: Range<f64>,
    pub(super) y: Range<f64>,
    pub(super) x_ticks: Ticks<'t>,
    pub(super) y_ticks: Ticks<'t>,
    /// The upright axes of charts above and below, with which the frame aligns.
    pub(super) align: &'t [Range<f64>],
    /// Whether a colour scale follows at the right.
    pub(super) has_scale: bool,
}

/// Draws title, legend, axes and grid on a panel and returns the chart for its data. The legend
/// is in a strip of its own above the axes, never over data.
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
    end_data(panel)?;
    if !legend.is_empty() {
        note_legend(keys(legend));
    }
    let rows = legend_rows(panel, legend, sizes)?;
    let around = Around::of(axes, sizes, count(rows.len()));
    let (head, _) = panel.split_vertically(around.top);
    draw_head(&head, axes, &rows, sizes)?;
    let x = Axis::with(&axes.x, axes.x_ticks, (width / px(sizes.label * 5)).clamp(3, 12) as usize);
    let wanted = (height / px(sizes.label * 4)).clamp(3, 10) as usize;
    let y = Axis::with(&axes.y, axes.y_ticks, wanted);
    let aligned = axes.align.iter().map(|other| Axis::over(other, wanted).longest());
    let longest = aligned.fold(y.longest(), u32::max);
    let mut builder = ChartBuilder::on(panel);
    builder
        .margin_top(around.top)
        .margin_right(around.right)
        .margin_bottom(px(8))
        .margin_left(around.left)
        .x_label_area_size(around.bottom - px(8))
        .y_label_area_size(if has_upright_numbers { axis_width(longest, sizes) } else { px(4) });
    let mut chart = builder.build_cartesian_2d(x, y).map_err(PlotError::from_display)?;
    begin_axes(panel, chart_data(axes, &chart))?;
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
    let (columns, rows) = chart.plotting_area().get_pixel_range();
    let (left, top) = panel.get_base_pixel();
    let corners = ((columns.start, rows.start), (columns.end, rows.end));
    let on_panel = |at: Pixel| (at.0 - left, at.1 - top);
    outline(panel, (on_panel(corners.0), on_panel(corners.1)), GREY, 1)?;
    begin_data(panel)?;
    Ok((panel.clone(), chart))
}

fn chart_data(axes: &Axes<'_>, chart: &Chart<'_, '_>) -> ChartData {
    let (columns, rows) = chart.plotting_area().get_pixel_range();
    ChartData {
        title: axes.title.to_owned(),
        x_label: axes.x_label.to_owned(),
        y_label: axes.y_label.to_owned(),
        x: axes.x.clone(),
        y: axes.y.clone(),
        frame: [columns.start, rows.start, columns.end, rows.end],
        series: Vec::new(),
    }
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

/// Draws title and legend over the whole width of a panel, and returns the panels for a square chart
/// without either and for the scale beside it, both together in the middle of the rest.
pub(super) fn square_panels<'b>(
    panel: &Canvas<'b>,
    axes: &Axes<'_>,
    (title, legend): (&str, &[Entry<'_>]),
    sizes: Sizes,
    scale_width: u32,
) -> Result<(Canvas<'b>, Canvas<'b>), PlotError> {
    let headed = Axes { title, ..Axes::default() };
    end_data(panel)?;
    note_legend(keys(legend));
    let rows = legend_rows(panel, legend, sizes)?;
    let height = Around::of(&headed, sizes, count(rows.len())).top;
    let (head, rest) = panel.split_vertically(height);
    draw_head(&head, &headed, &rows, sizes)?;
    let (width, height) = rest.dim_in_pixel();
    let around = Around::of(axes, sizes, 0);
    let longest = Axis::with(&axes.y, axes.y_ticks, 8).longest();
    let across = around.left + axis_width(longest, sizes) + around.right;
    let upright = around.top + around.bottom;
    let side = width
        .saturating_sub(across + px(scale_width))
        .min(height.saturating_sub(upright))
        .max(px(50));
    let spare = (
        width.saturating_sub(across + side + px(scale_width)) / 2,
        height.saturating_sub(upright + side),
    );
    let middle = rest.margin(0, spare.1, spare.0, spare.0);
    Ok(middle.split_horizontally(across + side))
}

/// Draws a legend over the whole width of a panel, and returns the rest of the panel.
pub(super) fn legend_strip<'b>(
    panel: &Canvas<'b>,
    legend: &[Entry<'_>],
    sizes: Sizes,
) -> Result<Canvas<'b>, PlotError> {
    let untitled = Axes::default();
    end_data(panel)?;
    note_legend(keys(legend));
    let rows = legend_rows(panel, legend, sizes)?;
    let height = Around::of(&untitled, sizes, count(rows.len())).top;
    let (head, rest) = panel.split_vertically(height);
    draw_head(&head, &untitled, &rows, sizes)?;
    Ok(rest)
}

/// Draws a title and the rows of a legend below it.
fn draw_head(
    head: &Canvas<'_>,
    axes: &Axes<'_>,
    rows: &[Vec<Placed<'_>>],
    sizes: Sizes,
) -> Result<(), PlotError> {
    let title_height = title_height(axes, sizes);
    let row_height = px(sizes.label * 8 / 5);
    let style = letters(sizes.title, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
    let centre = offset(head.dim_in_pixel().0 / 2);
    let shown = shortened(head, axes.title, &style, 2 * centre - px_i(20))?;
    words(head, (centre, offset(title_height / 2)), &shown, &style)?;
    let middles = (0..).map(|row| title_height + row_height * (2 * row + 1) / 2);
    rows.iter().zip(middles).try_for_each(|(row, y)| draw_legend_row(head, row, y, sizes))
}

fn title_height(axes: &Axes<'_>, sizes: Sizes) -> u32 {
    if axes.title.is_empty() { px(4) } else { px(sizes.title * 9 / 5) }
}

/// Room around the axes, beside the numbers at the left.
struct Around {
    top: u32,
    right: u32,
    bottom: u32,
    left: u32,
}

impl Around {
    fn of(axes: &Axes<'_>, sizes: Sizes, legend_rows: u32) -> Self {
        let legend = if legend_rows == 0 { px(4) } else { px(sizes.label * 8 / 5) * legend_rows };
        Self {
            top: title_height(axes, sizes) + legend,
            right: if axes.has_scale { px(4) } else { px(sizes.label * 3 / 2) },
            bottom: px(8) + px(sizes.label * 3),
            left: px(10),
        }
    }
}

/// Room for the numbers of an axis at the left; for short ones as much as for three letters, so that
/// charts above one another seldom differ.
fn axis_width(longest: u32, sizes: Sizes) -> u32 {
    px(sizes.label * 7 / 4) + longest.max(3) * px(sizes.label * 11 / 20)
}
