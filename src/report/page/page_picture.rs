//! Pictures of a page: the vectors of the report's pictures, with values and a description.

use super::page_value::number;
use super::picture_captions::caption;
use crate::plot::{ChartData, Picture, SeriesData};
use crate::units::counted;
use serde_json::{Value, json};
use std::collections::HashMap;

/// A picture of a report, with the name of its files.
pub(in super::super) struct NamedPicture {
    pub(in super::super) name: String,
    pub(in super::super) picture: Picture,
}

/// A picture of a page.
pub(super) struct PagePicture {
    /// Distinguishes it in the page.
    pub(super) id: String,
    pub(super) title: String,
    /// What its marks are, and the result.
    pub(super) caption: String,
    /// The same with the ranges of its curves, for those who do not see it.
    pub(super) described: String,
    /// The die of the result, as [`die_key`](super::lot_data::die_key) has it; empty if none.
    pub(super) die: String,
    /// The upper end of its view box.
    pub(super) top: u32,
    /// The content of its `svg` element.
    pub(super) shapes: String,
    charts: Vec<ChartData>,
}

/// Values of a curve that a page holds.
const MOST_VALUES: usize = 1000;
/// Charts of a picture whose curves are described.
const MOST_CHARTS: usize = 3;
/// Curves of a chart that are described one by one.
const MOST_DESCRIBED: usize = 6;
/// The height of the line with the name, which the page has as a heading.
const NAME_HEIGHT: u32 = 460;
/// The height of a picture.
const HEIGHT: u32 = 10_000;

impl PagePicture {
    /// A picture; `result` states what came of it.
    pub(super) fn of(named: &NamedPicture, result: &str) -> Self {
        let picture = &named.picture;
        let parts = [caption(&named.name), result.trim()];
        let parts: Vec<&str> = parts.into_iter().filter(|part| !part.is_empty()).collect();
        let caption = parts.join(" ");
        let charts = picture.charts().iter().take(MOST_CHARTS);
        let mut described = format!("{caption}{}", charts.map(description).collect::<String>());
        if !described.contains(|letter: char| letter.is_ascii_digit()) {
            described.push_str(" The values are in the tables of this report.");
        }
        let shapes = shapes(picture.svg());
        let (top, shapes) = match without_name(&shapes, picture.name()) {
            Some(rest) => (NAME_HEIGHT, rest),
            None => (0, shapes),
        };
        Self {
            id: format!("picture-{}", named.name),
            title: picture.name().to_owned(),
            caption,
            described: described.trim().to_owned(),
            die: String::new(),
            top,
            shapes,
            charts: picture.charts().to_vec(),
        }
    }

    /// Its height without what is above the view box.
    pub(super) fn height(&self) -> u32 {
        HEIGHT - self.top
    }
}

/// A picture without its name, if its first words are the name.
fn without_name(shapes: &str, name: &str) -> Option<String> {
    let (before, rest) = shapes.split_once("<text ")?;
    let (words, after) = rest.split_once("</text>")?;
    let (_, words) = words.split_once('>')?;
    let plain = words.trim().replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"");
    let plain = plain.replace("&apos;", "'").replace("&#39;", "'").replace("&amp;", "&");
    (before.is_empty() && plain == name).then(|| after.to_owned())
}

/// What stands between the root element of a picture and its end, without its title.
fn shapes(svg: &str) -> String {
    let inside = svg.split_once("</title>\n").map_or(svg, |(_, inside)| inside);
    let inside = inside.rsplit_once("</svg>").map_or(inside, |(inside, _)| inside);
    // The page is white too; texts stand in lines of their own; digits of sizes are below a pixel.
    let background = "<rect x=\"0\" y=\"0\" width=\"16000\" height=\"10000\" fill=\"#FFFFFF\" stroke=\"none\"/>\n";
    let inside = inside.strip_prefix(background).unwrap_or(inside);
    let mut shorter = String::with_capacity(inside.len());
    let mut parts = inside.split("font-size=\"");
    shorter.push_str(parts.next().unwrap_or_default());
    for part in parts {
        let (size, rest) = part.split_once('"').unwrap_or((part, ""));
        let whole = size.split('.').next().unwrap_or(size);
        shorter.push_str(&format!("font-size=\"{whole}\"{rest}"));
    }
    let shorter = dark_words(&shorter)
        .replace(">\n<", "><")
        .replace(" \"/>", "\"/>")
        .replace("\n</text>", "</text>");
    shorter.chars().map(|letter| if is_direction(letter) { '\u{FFFD}' } else { letter }).collect()
}

/// Words in the colours of curves, which on white are too pale to be read by everybody, in darker ones.
fn dark_words(shapes: &str) -> String {
    const DARKER: [(&str, &str); 7] = [
        ("#D55E00", "#A34700"),
        ("#009E73", "#00694C"),
        ("#E69F00", "#7A5400"),
        ("#56B4E9", "#1B6592"),
        ("#CC79A7", "#94426F"),
        ("#0072B2", "#00639C"),
        ("#6E6E6E", "#5A5A5A"),
    ];
    let mut parts = shapes.split("<text ");
    let mut made = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (head, rest) = part.split_once('>').unwrap_or((part, ""));
        let mut head = head.to_owned();
        for (pale, dark) in DARKER {
            head = head.replace(pale, dark);
        }
        made.push_str(&format!("<text {head}>{rest}"));
    }
    made
}

/// Characters that change the direction of the text after them.
fn is_direction(letter: char) -> bool {
    matches!(letter, '\u{61C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

/// The curves of a chart in words: from which value to which, and where. Curves that turn back along
/// their axis, as in a plane, have no such range.
fn description(chart: &ChartData) -> String {
    let ascends = |series: &&SeriesData| series.points.windows(2).all(|two| two[0].0 < two[1].0);
    let curves: Vec<&SeriesData> =
        chart.series.iter().filter(|one| !one.is_across).filter(ascends).collect();
    let told = curves.iter().take(MOST_DESCRIBED).filter_map(|series| {
        let known = || series.points.iter().filter(|(_, y)| y.is_finite());
        let low = known().min_by(|one, other| one.1.total_cmp(&other.1))?;
        let high = known().max_by(|one, other| one.1.total_cmp(&other.1))?;
        let ends = [low.1, low.0, high.1, high.0].map(rounded);
        let [low, low_at, high, high_at] = &ends;
        Some(format!(" {}: {low} (at {low_at}) to {high} (at {high_at}).", series.name))
    });
    let told: String = told.collect();
    if told.is_empty() || chart.y_label.is_empty() {
        return String::new();
    }
    let more = curves.len().saturating_sub(MOST_DESCRIBED);
    let more = if more > 0 { format!(" {} more.", counted(more, "curve")) } else { String::new() };
    format!(" {} against {}.{told}{more}", chart.y_label, chart.x_label)
}

/// Four significant digits, which is what a sentence about a curve needs.
fn rounded(value: f64) -> String {
    let nearest: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    number(nearest, "")
}

/// The values of all pictures for the scripts. Abscissas that curves have in common stand once.
pub(super) fn picture_data(pictures: &[PagePicture]) -> Value {
    let mut abscissas: Vec<Value> = Vec::new();
    let mut places: HashMap<Vec<u64>, usize> = HashMap::new();
    let mut series = |one: &SeriesData| {
        let points = thinned(&one.points);
        let bits: Vec<u64> = points.iter().map(|(x, _)| x.to_bits()).collect();
        let place = *places.entry(bits).or_insert_with(|| {
            abscissas.push(points.iter().map(|(x, _)| short(*x)).collect());
            abscissas.len() - 1
        });
        json!({
            "name": one.name,
            "across": one.is_across,
            "colour": one.colour,
            "width": one.width,
            "dashes": one.dashes.map(|(on, off)| format!("{on} {off}")),
            "x": place,
            "y": points.iter().map(|(_, y)| short(*y)).collect::<Vec<_>>(),
        })
    };
    let charts: Vec<Value> = pictures
        .iter()
        .map(|picture| {
            let chart = |chart: &ChartData| {
                json!({
                    "title": chart.title,
                    "xLabel": chart.x_label,
                    "yLabel": chart.y_label,
                    "x": [chart.x.start, chart.x.end],
                    "y": [chart.y.start, chart.y.end],
                    "frame": chart.frame,
                    "series": chart.series.iter().map(&mut series).collect::<Vec<_>>(),
                })
            };
            json!({ "id": picture.id, "charts": picture.charts.iter().map(chart).collect::<Vec<_>>() })
        })
        .collect();
    json!({ "pictures": charts, "abscissas": abscissas })
}

/// Nine significant digits; `null` for what is no finite number.
fn short(value: f64) -> Value {
    let nearest: Option<f64> = format!("{value:.8e}").parse().ok();
    nearest.filter(|value| value.is_finite()).map_or(Value::Null, |value| match value {
        whole if whole.fract() == 0.0 && whole.abs() < 1e15 => {
            #[expect(clippy::cast_possible_truncation, reason = "whole and small")]
            let whole = whole as i64;
            Value::from(whole)
        }
        value => Value::from(value),
    })
}

/// Points of a curve: all, or of every stretch the first, the last, the minimum and the maximum.
pub(super) fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    if points.len() <= MOST_VALUES {
        return points.to_vec();
    }
    let stretch = points.len().div_ceil(MOST_VALUES / 4);
    let mut kept = Vec::with_capacity(MOST_VALUES);
    for part in points.chunks(stretch) {
        let by = |order: fn(f64, f64) -> bool| {
            (0..part.len())
                .reduce(|best, at| if order(part[at].1, part[best].1) { at } else { best })
        };
        let mut places: Vec<usize> =
            [Some(0), by(|a, b| a < b), by(|a, b| a > b), Some(part.len() - 1)]
                .into_iter()
                .flatten()
                .collect();
        places.sort_unstable();
        places.dedup();
        kept.extend(places.into_iter().map(|at| part[at]));
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thinned_curves_keep_their_extremes() {
        let mut points: Vec<(f64, f64)> = (0..5000).map(|at| (f64::from(at), 30.0)).collect();
        points[1234].1 = 3.0;
        points[4000].1 = 90.0;
        let kept = thinned(&points);
        assert!(kept.len() <= MOST_VALUES + 4, "{}", kept.len());
        assert!(kept.contains(&(1234.0, 3.0)) && kept.contains(&(4000.0, 90.0)));
        assert!(kept.contains(&points[0]) && kept.contains(&points[4999]));
        assert!(kept.windows(2).all(|pair| pair[0].0 < pair[1].0));
    }

    #[test]
    fn the_name_of_a_picture_is_taken_out_of_it() {
        let shapes = "<text x=\"1\">\na &lt; b</text><text>c</text>";
        assert_eq!(without_name(shapes, "a < b").as_deref(), Some("<text>c</text>"));
        assert_eq!(without_name(shapes, "a"), None);
        assert_eq!(without_name("<g/><text>a</text>", "a"), None);
    }

    #[test]
    fn curves_are_described_with_the_digits_of_a_sentence() {
        let series = |points: &[(f64, f64)]| SeriesData {
            name: "curve".to_owned(),
            points: points.to_vec(),
            is_across: false,
            colour: String::new(),
            width: 1,
            dashes: None,
        };
        let mut chart = ChartData {
            title: String::new(),
            x_label: "LO (GHz)".to_owned(),
            y_label: "Loss (dB)".to_owned(),
            x: 0.0..1.0,
            y: 0.0..1.0,
            frame: [0; 4],
            series: vec![series(&[(27.0, 3.123_456), (28.5, 9.0), (29.0, 5.0)])],
        };
        let told = " Loss (dB) against LO (GHz). curve: 3.123 (at 27) to 9 (at 28.5).";
        assert_eq!(description(&chart), told);
        chart.series = vec![series(&[(27.0, 3.0), (26.0, 9.0)])];
        assert_eq!(description(&chart), "");
    }

    #[test]
    fn values_keep_nine_digits() {
        assert_eq!(short(25.323_101_093_044_347), json!(25.323_101_1));
        assert_eq!(short(27.0), json!(27));
        assert_eq!(short(f64::NAN), Value::Null);
    }
}
