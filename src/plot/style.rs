//! The common look: canvas, colours, letters, axes, legends.

use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, Ranged, ValueFormatter};
use plotters::coord::types::RangedCoordf64;
use plotters::coord::{Shift, cartesian::Cartesian2d};
use plotters::prelude::{
    BitMapBackend, ChartBuilder, ChartContext, Circle, Color, DashedLineSeries, DrawingArea,
    EmptyElement, FontStyle, IntoDrawingArea, IntoFont, LineSeries, PathElement, Polygon, RGBColor,
    Rectangle, ShapeStyle, Text, TextStyle, WHITE,
};
use plotters::style::{
    register_font,
    text_anchor::{HPos, Pos, VPos},
};
use std::cell::RefCell;
use std::fmt;
use std::ops::Range;
use std::sync::OnceLock;

/// Why a picture could not be drawn.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("cannot draw the picture: {0}")]
pub struct PlotError(String);

impl PlotError {
    pub(super) fn from_display(error: impl fmt::Display) -> Self {
        Self(error.to_string())
    }
}

/// Drawn so many times as large as shown.
const ENLARGEMENT: u32 = 3;
/// The size of every picture.
pub(super) const WIDTH: u32 = 1600;
/// The size of every picture.
pub(super) const HEIGHT: u32 = 1000;

pub(super) const BLACK: RGBColor = RGBColor(0, 0, 0);
pub(super) const ORANGE: RGBColor = RGBColor(230, 159, 0);
pub(super) const SKY_BLUE: RGBColor = RGBColor(86, 180, 233);
pub(super) const GREEN: RGBColor = RGBColor(0, 158, 115);
pub(super) const BLUE: RGBColor = RGBColor(0, 114, 178);
pub(super) const VERMILION: RGBColor = RGBColor(213, 94, 0);
pub(super) const PURPLE: RGBColor = RGBColor(204, 121, 167);
pub(super) const GREY: RGBColor = RGBColor(110, 110, 110);
pub(super) const GRID: RGBColor = RGBColor(222, 222, 222);

/// Colours for lines, in the order in which a legend takes them.
pub(super) const LINES: [RGBColor; 7] = [BLUE, VERMILION, GREEN, ORANGE, PURPLE, SKY_BLUE, BLACK];

pub(super) type Canvas<'a> = DrawingArea<BitMapBackend<'a>, Shift>;
pub(super) type Chart<'a, 'b> = ChartContext<'a, BitMapBackend<'b>, Cartesian2d<Axis, Axis>>;

/// Sizes of letters and lines on a panel, in pixels of the finished picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sizes {
    pub(super) title: u32,
    pub(super) label: u32,
    pub(super) line: u32,
}

impl Sizes {
    /// For a panel that fills the picture or half of it.
    pub(super) const LARGE: Self = Self { title: 30, label: 24, line: 3 };
    /// For a quarter of the picture.
    pub(super) const SMALL: Self = Self { title: 23, label: 19, line: 2 };
}

/// Pixels of the enlarged canvas.
pub(super) fn px(pixels: u32) -> u32 {
    pixels * ENLARGEMENT
}

/// The same for offsets.
#[expect(clippy::cast_possible_wrap, reason = "a picture is far smaller than 2^31")]
pub(super) fn px_i(pixels: u32) -> i32 {
    px(pixels) as i32
}

/// A finished picture as PNG.
pub(super) fn picture(
    draw: impl FnOnce(&Canvas<'_>) -> Result<(), PlotError>,
) -> Result<Vec<u8>, PlotError> {
    static FONT: OnceLock<Result<(), PlotError>> = OnceLock::new();
    let registered = FONT.get_or_init(|| {
        register_font("sans-serif", FontStyle::Normal, dejavu::sans::regular())
            .map_err(|_| PlotError("the embedded font is damaged".to_owned()))
    });
    registered.clone()?;
    thread_local! {
        /// The enlarged canvas takes 43 MB; memory that is used again need not be made ready again.
        static PIXELS: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    }
    let (width, height) = (px(WIDTH), px(HEIGHT));
    PIXELS.with_borrow_mut(|pixels| {
        pixels.clear();
        pixels.resize((width * height * 3) as usize, 255);
        {
            let canvas = BitMapBackend::with_buffer(pixels, (width, height)).into_drawing_area();
            draw(&canvas)?;
            canvas.present().map_err(PlotError::from_display)?;
        }
        encode(&reduced(pixels))
    })
}

/// Averages squares of pixels into one.
fn reduced(pixels: &[u8]) -> Vec<u8> {
    let side = ENLARGEMENT as usize;
    let row = WIDTH as usize * side * 3;
    let area = ENLARGEMENT * ENLARGEMENT;
    let mut small = Vec::with_capacity(WIDTH as usize * HEIGHT as usize * 3);
    let mut sums = vec![[0_u32; 3]; WIDTH as usize];
    for rows in pixels.chunks_exact(row * side) {
        sums.fill([0; 3]);
        for line in rows.chunks_exact(row) {
            for (sum, square) in sums.iter_mut().zip(line.chunks_exact(3 * side)) {
                for pixel in square.chunks_exact(3) {
                    for channel in 0..3 {
                        sum[channel] += u32::from(pixel[channel]);
                    }
                }
            }
        }
        let mean = |sum: &u32| u8::try_from((sum + area / 2) / area).unwrap_or(u8::MAX);
        small.extend(sums.iter().flatten().map(mean));
    }
    small
}

fn encode(pixels: &[u8]) -> Result<Vec<u8>, PlotError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, WIDTH, HEIGHT);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().map_err(PlotError::from_display)?;
    writer.write_image_data(pixels).map_err(PlotError::from_display)?;
    writer.finish().map_err(PlotError::from_display)?;
    Ok(bytes)
}

/// Letters of a size and colour.
pub(super) fn letters(size: u32, colour: RGBColor) -> TextStyle<'static> {
    ("sans-serif", px(size)).into_font().color(&colour)
}

/// A linear axis with ticks at round values, written with the digits that tell them apart.
#[derive(Clone)]
pub(super) struct Axis {
    scale: RangedCoordf64,
    ticks: Vec<f64>,
    digits: usize,
}

impl Axis {
    /// About `wanted` ticks.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "small counts"
    )]
    fn over(range: &Range<f64>, wanted: usize) -> Self {
        let width = (range.end - range.start).max(f64::MIN_POSITIVE);
        let rough = width / wanted.max(1) as f64;
        let decade = 10_f64.powf(rough.log10().floor());
        let steps = [1.0, 2.0, 5.0, 10.0].map(|factor| factor * decade);
        let step = steps.into_iter().find(|&step| step >= rough).unwrap_or(10.0 * decade);
        let first = (range.start / step - 1e-9).ceil();
        let ticks = (0..100)
            .map(|at| (first + f64::from(at)) * step)
            .take_while(|value| *value <= range.end + 1e-9 * step)
            // Minus zero would be labelled -0.
            .map(|value| if value.abs() < 1e-9 * step { 0.0 } else { value })
            .collect();
        let digits = (-(step * 1.0001).log10().floor()).max(0.0) as usize;
        Self { scale: range.clone().into(), ticks, digits }
    }
}

impl Axis {
    /// Letters of the longest tick.
    fn longest(&self) -> u32 {
        let lengths = self.ticks.iter().map(|tick| self.format_ext(tick).chars().count());
        u32::try_from(lengths.max().unwrap_or(1)).unwrap_or(1)
    }
}

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        self.scale.map(value, limit)
    }

    fn key_points<Hint: KeyPointHint>(&self, _hint: Hint) -> Vec<f64> {
        self.ticks.clone()
    }

    fn range(&self) -> Range<f64> {
        self.scale.range()
    }
}

impl ValueFormatter<f64> for Axis {
    fn format_ext(&self, value: &f64) -> String {
        format!("{value:.0$}", self.digits)
    }
}

/// What stands around a chart.
pub(super) struct Axes<'t> {
    pub(super) title: &'t str,
    pub(super) x_label: &'t str,
    pub(super) y_label: &'t str,
    pub(super) x: Range<f64>,
    pub(super) y: Range<f64>,
}

/// A name in a legend, and the line it stands for.
pub(super) struct Entry<'t> {
    pub(super) name: &'t str,
    pub(super) colour: RGBColor,
    pub(super) dash: Dash,
}

/// How a line is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Dash {
    Solid,
    Dashed,
    Dotted,
    /// Not a line but a shaded area.
    Area,
    /// An area crossed by strokes.
    Hatched,
    /// An empty area crossed out.
    Crossed,
    /// Not a line but points.
    Dots,
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
    let row_count = u32::try_from(rows.len()).unwrap_or(1);
    let around = Around::of(sizes, if rows.is_empty() { 0 } else { row_count });
    let (head, _) = panel.split_vertically(around.top);
    let style = letters(sizes.title, BLACK).pos(Pos::new(HPos::Center, VPos::Center));
    let centre = i32::try_from(width / 2).unwrap_or_default();
    let middle = i32::try_from(title_height / 2).unwrap_or_default();
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
    let rows = u32::try_from(legend_rows(panel, legend, sizes)?.len()).unwrap_or(1);
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

/// An entry as a row of a legend has it: its name cut to the width of the panel, and the width that
/// it takes.
struct Placed<'e> {
    entry: &'e Entry<'e>,
    name: String,
    width: i32,
}

/// The length of a legend's sample of a line.
const SAMPLE: u32 = 40;

/// A legend in as few rows as the panel's width allows.
fn legend_rows<'e>(
    panel: &Canvas<'_>,
    legend: &'e [Entry<'e>],
    sizes: Sizes,
) -> Result<Vec<Vec<Placed<'e>>>, PlotError> {
    let style = letters(sizes.label * 9 / 10, BLACK);
    let beside = px_i(SAMPLE + 8);
    let widest = i32::try_from(panel.dim_in_pixel().0).unwrap_or_default() - px_i(40);
    let mut rows: Vec<Vec<Placed<'e>>> = Vec::new();
    let mut taken = i32::MAX;
    for entry in legend {
        let name = shortened(panel, entry.name, &style, widest - beside)?;
        let width = beside + width_of(panel, &name, &style)?;
        taken = taken.saturating_add(px_i(sizes.label) + width);
        let placed = Placed { entry, name, width };
        match rows.last_mut() {
            Some(row) if taken <= widest => row.push(placed),
            _ => {
                taken = width;
                rows.push(vec![placed]);
            }
        }
    }
    Ok(rows)
}

fn draw_legend_row(
    head: &Canvas<'_>,
    row: &[Placed<'_>],
    y: u32,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let style = letters(sizes.label * 9 / 10, BLACK).pos(Pos::new(HPos::Left, VPos::Center));
    let (sample, gap) = (px_i(SAMPLE), px_i(sizes.label));
    let total: i32 = row.iter().map(|placed| placed.width).sum::<i32>()
        + gap * i32::try_from(row.len().saturating_sub(1)).unwrap_or_default();
    let (panel_width, _) = head.dim_in_pixel();
    let mut x = (i32::try_from(panel_width).unwrap_or_default() - total) / 2;
    let y = i32::try_from(y).unwrap_or_default();
    for Placed { entry, name, width } in row {
        let stroke = ShapeStyle::from(&entry.colour).stroke_width(px(sizes.line));
        let stretch = |from: i32, length: i32| {
            head.draw(&PathElement::new(vec![(x + from, y), (x + from + length, y)], stroke))
                .map_err(PlotError::from_display)
        };
        match entry.dash {
            Dash::Area => {
                let area = Rectangle::new(
                    [(x, y - px_i(8)), (x + sample, y + px_i(8))],
                    entry.colour.mix(SHADE).filled(),
                );
                head.draw(&area).map_err(PlotError::from_display)?;
            }
            Dash::Crossed => {
                let (low, high) = ((x, y - px_i(8)), (x + sample, y + px_i(8)));
                let style = ShapeStyle::from(&entry.colour).stroke_width(px(1));
                for ends in [vec![low, high], vec![(low.0, high.1), (high.0, low.1)]] {
                    head.draw(&PathElement::new(ends, style)).map_err(PlotError::from_display)?;
                }
                head.draw(&Rectangle::new([low, high], style)).map_err(PlotError::from_display)?;
            }
            Dash::Hatched => {
                let (low, high) = ((x, y - px_i(8)), (x + sample, y + px_i(8)));
                hatch(head, (low, high), entry.colour)?;
                let frame = Rectangle::new(
                    [low, high],
                    ShapeStyle::from(&entry.colour).stroke_width(px(2)),
                );
                head.draw(&frame).map_err(PlotError::from_display)?;
            }
            Dash::Dots => {
                let dot =
                    Circle::new((x + sample / 2, y), px(sizes.line * 2), entry.colour.filled());
                head.draw(&dot).map_err(PlotError::from_display)?;
            }
            Dash::Solid => stretch(0, sample)?,
            Dash::Dashed => {
                stretch(0, px_i(16))?;
                stretch(sample - px_i(16), px_i(16))?;
            }
            Dash::Dotted => {
                for dot in 0..5 {
                    stretch(dot * sample / 5, px_i(sizes.line * 4 / 3))?;
                }
            }
        }
        words(head, (x + sample + px_i(8), y), name, &style)?;
        x += width + gap;
    }
    Ok(())
}

/// Crosses a rectangle by strokes that go on in the rectangles beside it.
pub(super) fn hatch(
    canvas: &Canvas<'_>,
    (low, high): (Pixel, Pixel),
    colour: RGBColor,
) -> Result<(), PlotError> {
    let every = px_i(11);
    let first = (low.0 + low.1).div_euclid(every) + 1;
    for sum in (first..).map(|at| at * every).take_while(|sum| *sum < high.0 + high.1) {
        let (from, to) = (low.0.max(sum - high.1), high.0.min(sum - low.1));
        let stroke = ShapeStyle::from(&colour).stroke_width(px(1));
        canvas
            .draw(&PathElement::new(vec![(from, sum - from), (to, sum - to)], stroke))
            .map_err(PlotError::from_display)?;
    }
    Ok(())
}

/// Writes at a place of a panel.
pub(super) fn words(
    panel: &Canvas<'_>,
    at: Pixel,
    text: &str,
    style: &TextStyle<'_>,
) -> Result<(), PlotError> {
    panel.draw(&Text::new(text, at, style.clone())).map_err(PlotError::from_display)
}

/// How wide a text will be.
pub(super) fn width_of(
    panel: &Canvas<'_>,
    text: &str,
    style: &TextStyle<'_>,
) -> Result<i32, PlotError> {
    let (width, _) = panel.estimate_text_size(text, style).map_err(PlotError::from_display)?;
    Ok(i32::try_from(width).unwrap_or_default())
}

/// A text, with its middle left out where it would be wider than it may; names often differ at the
/// end only.
pub(super) fn shortened(
    panel: &Canvas<'_>,
    text: &str,
    style: &TextStyle<'_>,
    widest: i32,
) -> Result<String, PlotError> {
    let letters: Vec<char> = text.chars().collect();
    // Far longer ones need not be measured letter by letter.
    let mut kept = letters.len().min(200);
    loop {
        let shown: String = if kept == letters.len() {
            text.to_owned()
        } else {
            let (first, last) = (kept - kept / 2, letters.len() - kept / 2);
            letters[..first].iter().chain(&['…']).chain(&letters[last..]).collect()
        };
        if kept == 0 || width_of(panel, &shown, style)? <= widest {
            return Ok(shown);
        }
        kept -= 1;
    }
}

/// About so many round values of a range, as an axis would write them.
pub(super) fn ticks(range: &Range<f64>, wanted: usize) -> Vec<(f64, String)> {
    let axis = Axis::over(range, wanted);
    axis.ticks.iter().map(|tick| (*tick, axis.format_ext(tick))).collect()
}

/// How strongly an area is shaded.
const SHADE: f64 = 0.18;

/// Draws a line through the finite ones among the points, broken where one is not.
pub(super) fn line(
    chart: &mut Chart<'_, '_>,
    points: impl IntoIterator<Item = (f64, f64)>,
    colour: RGBColor,
    dash: Dash,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let stroke = ShapeStyle::from(&colour).stroke_width(px(sizes.line));
    let points: Vec<(f64, f64)> = points.into_iter().collect();
    let (width, height) = chart.plotting_area().dim_in_pixel();
    let per_pixel =
        |range: Range<f64>, pixels: u32| (range.end - range.start) / f64::from(pixels.max(1));
    let scale = (per_pixel(chart.x_range(), width), per_pixel(chart.y_range(), height));
    for run in points.split(|(_, y)| !y.is_finite()).filter(|run| !run.is_empty()) {
        if let [alone] = run {
            let dot =
                EmptyElement::at(*alone) + Circle::new((0, 0), px(sizes.line * 2), colour.filled());
            chart.draw_series(std::iter::once(dot)).map_err(PlotError::from_display)?;
            continue;
        }
        let run = essential(run, scale).into_iter();
        if matches!(dash, Dash::Dashed | Dash::Dotted) {
            let (on, off) = match dash {
                Dash::Dotted => (px(sizes.line * 4 / 3), px(sizes.line * 4 / 3)),
                _ => (px(sizes.line * 5), px(sizes.line * 3)),
            };
            chart
                .draw_series(DashedLineSeries::new(run, on, off, stroke))
                .map_err(PlotError::from_display)?;
        } else {
            chart.draw_series(LineSeries::new(run, stroke)).map_err(PlotError::from_display)?;
        }
    }
    Ok(())
}

/// The points of a line that matter to the eye: those left out lie less than a pixel of the
/// enlarged canvas off the line through the others. The canvas rounds every point to its pixels,
/// which would show as steps along a line that is nearly level.
///
/// U. Ramer (1972), D. H. Douglas and T. K. Peucker (1973).
fn essential(points: &[(f64, f64)], scale: (f64, f64)) -> Vec<(f64, f64)> {
    const TOLERANCE_PIXELS: f64 = 1.0;
    let mut keep = vec![false; points.len()];
    let last = points.len() - 1;
    (keep[0], keep[last]) = (true, true);
    let mut open = vec![(0, last)];
    while let Some((from, to)) = open.pop() {
        let ((x0, y0), (x1, y1)) = (points[from], points[to]);
        let (dx, dy) = ((x1 - x0) / scale.0, (y1 - y0) / scale.1);
        let length = dx.hypot(dy);
        let distance = |&(x, y): &(f64, f64)| {
            let (px, py) = ((x - x0) / scale.0, (y - y0) / scale.1);
            // A line that comes back to where it began has no direction.
            if length > 0.0 { (dx * py - dy * px).abs() / length } else { px.hypot(py) }
        };
        let farthest = (from + 1..to)
            .max_by(|&one, &other| distance(&points[one]).total_cmp(&distance(&points[other])));
        if let Some(at) = farthest.filter(|&at| distance(&points[at]) > TOLERANCE_PIXELS) {
            keep[at] = true;
            open.extend([(from, at), (at, to)]);
        }
    }
    points.iter().zip(keep).filter(|(_, keep)| *keep).map(|(point, _)| *point).collect()
}

/// Shades a stretch of the x axis over the whole height.
pub(super) fn shade(
    chart: &mut Chart<'_, '_>,
    x: (f64, f64),
    y: &Range<f64>,
    colour: RGBColor,
) -> Result<(), PlotError> {
    area(chart, &[(x.0, y.start), (x.1, y.start)], &[(x.0, y.end), (x.1, y.end)], colour)
}

/// Shades what lies between two lines over the same places.
pub(super) fn area(
    chart: &mut Chart<'_, '_>,
    lower: &[(f64, f64)],
    upper: &[(f64, f64)],
    colour: RGBColor,
) -> Result<(), PlotError> {
    let corners: Vec<(f64, f64)> = lower.iter().chain(upper.iter().rev()).copied().collect();
    chart
        .draw_series(std::iter::once(Polygon::new(corners, colour.mix(SHADE).filled())))
        .map_err(PlotError::from_display)?;
    Ok(())
}

/// Writes a word at a place of the whole picture, as a chart gives it, on white so that lines
/// beneath do not cross it.
pub(super) fn note(
    panel: &Canvas<'_>,
    at: (i32, i32),
    text: &str,
    colour: RGBColor,
    sizes: Sizes,
) -> Result<(), PlotError> {
    let style = letters(sizes.label * 4 / 5, colour).pos(Pos::new(HPos::Center, VPos::Center));
    let (width, height) =
        panel.estimate_text_size(text, &style).map_err(PlotError::from_display)?;
    let half = |size: u32| i32::try_from(size / 2).unwrap_or_default() + px_i(3);
    let (columns, rows) = panel.get_pixel_range();
    let (x, y) = (at.0 - columns.start, at.1 - rows.start);
    let back = Rectangle::new(
        [(x - half(width), y - half(height)), (x + half(width), y + half(height))],
        WHITE.mix(0.85).filled(),
    );
    panel.draw(&back).map_err(PlotError::from_display)?;
    panel.draw(&Text::new(text.to_owned(), (x, y), style)).map_err(PlotError::from_display)
}

/// A place on the whole picture, or on a panel.
pub(super) type Pixel = (i32, i32);

/// A place for a word beside one of several marked points: clear of the points of a line, inside
/// the chart, and nearer to its own point than to the others. `None` if there is none.
pub(super) fn place_beside(
    at: Pixel,
    (line, others): (&[Pixel], &[Pixel]),
    (columns, rows): &(Range<i32>, Range<i32>),
    text: &str,
    sizes: Sizes,
) -> Option<Pixel> {
    let letters = i32::try_from(text.chars().count()).unwrap_or_default();
    let half_width = (px_i(sizes.label) * letters / 4).max(1);
    let half_height = px_i(sizes.label) * 3 / 5;
    let (dx, dy) = (half_width + px_i(12), half_height + px_i(8));
    // The nearest point of the word's box.
    let distance = |place: (i32, i32), point: (i32, i32)| {
        let x = f64::from(((point.0 - place.0).abs() - half_width).max(0));
        let y = f64::from(((point.1 - place.1).abs() - half_height).max(0));
        x.hypot(y)
    };
    [(1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (1, 1), (-1, -1), (-1, 1)]
        .map(|(x, y)| (at.0 + x * dx, at.1 + y * dy))
        .into_iter()
        .filter(|&(x, y)| {
            columns.contains(&(x - half_width))
                && columns.contains(&(x + half_width))
                && rows.contains(&(y - half_height))
                && rows.contains(&(y + half_height))
        })
        .find(|&place| {
            let is_clear = line.iter().all(|&point| distance(place, point) > f64::from(px_i(3)));
            is_clear
                && others.iter().all(|&other| distance(place, other) > 1.5 * distance(place, at))
        })
}

/// A range that holds all finite values with a little room, and is never empty.
pub(super) fn range_of(values: impl IntoIterator<Item = f64>, least_width: f64) -> Range<f64> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for value in values.into_iter().filter(|value| value.is_finite()) {
        (low, high) = (low.min(value), high.max(value));
    }
    if low > high {
        return 0.0..least_width.max(1.0);
    }
    let missing = (least_width - (high - low)).max(0.0) / 2.0;
    let room = 0.06 * (high - low).max(least_width);
    low - missing - room..high + missing + room
}
