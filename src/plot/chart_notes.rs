//! Notes on the charts of a picture while it is drawn.
//!
//! The back end writes shapes alone. While a picture is drawn, its charts and curves are noted here, and
//! marks on the canvas say which shapes belong to which; the finished document has groups instead.

use super::chart_data::{ChartData, SeriesData};
use super::error::PlotError;
use plotters::coord::Shift;
use plotters::prelude::{BLACK, DrawingArea, RGBColor, SVGBackend};
use std::cell::RefCell;

type Canvas<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// What distinguishes the lines of a legend: their colour, and a number for their dash.
pub(super) type LineKey = (RGBColor, u8);

#[derive(Default)]
struct Notes {
    charts: Vec<ChartData>,
    /// The legend of the present chart; before the first one, that of the picture.
    legend: Vec<(LineKey, String)>,
    is_open: bool,
}

thread_local! {
    /// One for each picture that this thread draws: waiting for another, it may begin a further one.
    static NOTES: RefCell<Vec<Notes>> = const { RefCell::new(Vec::new()) };
}

fn with<T>(act: impl FnOnce(&mut Notes) -> T) -> Option<T> {
    NOTES.with_borrow_mut(|all| all.last_mut().map(act))
}

/// Keeps notes until it is dropped.
pub(super) struct Noting;

impl Noting {
    pub(super) fn begin() -> Self {
        NOTES.with_borrow_mut(|all| all.push(Notes::default()));
        Self
    }

    /// The charts, and whether the group of the last one is still open.
    pub(super) fn charts(&self) -> (Vec<ChartData>, bool) {
        with(|notes| (std::mem::take(&mut notes.charts), notes.is_open)).unwrap_or_default()
    }
}

impl Drop for Noting {
    fn drop(&mut self) {
        NOTES.with_borrow_mut(Vec::pop);
    }
}

/// Where no shape can be: marks are rectangles of one unit there, and their height is a code.
const MARK_X: i32 = -(1 << 28);
const MARK: &str = "<rect x=\"-268435456\" y=\"";
const KINDS: i32 = 4;
const END: i32 = 0;
const AXES: i32 = 1;
const DATA: i32 = 2;
const SERIES: i32 = 3;

fn mark(canvas: &Canvas<'_>, kind: i32, number: usize) -> Result<(), PlotError> {
    let (left, top) = canvas.get_base_pixel();
    let code = kind + KINDS * i32::try_from(number).unwrap_or(0);
    canvas.draw_pixel((MARK_X - left, code - top), &BLACK).map_err(PlotError::from_display)
}

/// Remembers a legend for the charts that follow and have none of their own.
pub(super) fn note_legend(legend: impl Iterator<Item = (LineKey, String)>) {
    with(|notes| notes.legend = legend.collect());
}

/// What was drawn up to here belonged to the chart before.
pub(super) fn end_data(canvas: &Canvas<'_>) -> Result<(), PlotError> {
    match with(|notes| std::mem::replace(&mut notes.is_open, false)) {
        Some(true) => mark(canvas, END, 0),
        _ => Ok(()),
    }
}

/// Axes and grid of the next chart follow.
pub(super) fn begin_axes(canvas: &Canvas<'_>, data: ChartData) -> Result<(), PlotError> {
    let number = with(|notes| {
        notes.charts.push(data);
        notes.charts.len() - 1
    });
    mark(canvas, AXES, number.unwrap_or(0))
}

/// Its data follow.
pub(super) fn begin_data(canvas: &Canvas<'_>) -> Result<(), PlotError> {
    mark(canvas, END, 0)?;
    let number = with(|notes| {
        notes.is_open = true;
        notes.charts.len().saturating_sub(1)
    });
    mark(canvas, DATA, number.unwrap_or(0))
}

/// A curve of the present chart follows; `false` where the legend does not name it. Without a legend a
/// curve over the axis has the name of the upright axis.
pub(super) fn begin_series(
    canvas: &Canvas<'_>,
    key: LineKey,
    data: impl FnOnce(&str) -> SeriesData,
) -> Result<bool, PlotError> {
    let number = with(|notes| {
        let named = notes.legend.iter().find(|(own, _)| *own == key);
        let has_legend = !notes.legend.is_empty();
        let chart = notes.charts.last_mut()?;
        let made = match named {
            Some((_, name)) => data(name),
            None if has_legend => return None,
            None => Some(data(chart.y_label.split(" (").next()?)).filter(is_over_axis)?,
        };
        chart.series.push(made);
        Some(chart.series.len() - 1)
    });
    match number.flatten() {
        Some(number) => mark(canvas, SERIES, number).map(|()| true),
        None => Ok(false),
    }
}

/// Whether a curve is no line across its chart and does not turn back.
fn is_over_axis(series: &SeriesData) -> bool {
    !series.is_across && series.points.windows(2).all(|two| two[0].0 < two[1].0)
}

/// The curve is complete.
pub(super) fn end_series(canvas: &Canvas<'_>, is_named: bool) -> Result<(), PlotError> {
    if is_named { mark(canvas, END, 0) } else { Ok(()) }
}

/// A drawing with groups in place of the marks.
pub(super) fn grouped(drawn: &str, is_open: bool) -> String {
    let mut parts = drawn.split(MARK);
    let mut made = String::with_capacity(drawn.len());
    made.push_str(parts.next().unwrap_or_default());
    for part in parts {
        let (code, rest) = part.split_once('"').unwrap_or((part, ""));
        let code: i32 = code.parse().unwrap_or(END);
        let number = code / KINDS;
        made.push_str(&match code % KINDS {
            AXES => format!("<g data-axes=\"{number}\">\n"),
            DATA => format!("<g data-chart=\"{number}\">\n"),
            SERIES => format!("<g data-series=\"{number}\">\n"),
            _ => "</g>\n".to_owned(),
        });
        made.push_str(rest.split_once("/>\n").map_or("", |(_, after)| after));
    }
    if is_open {
        // The document's own end comes last.
        let end = made.rfind("</svg>").unwrap_or(made.len());
        made.insert_str(end, "</g>\n");
    }
    made
}
