//! A picture as its SVG shows it: shapes with their corners, and texts.

use resvg::usvg;

/// A corner, pixels.
type Corner = (f64, f64);

/// A shape with its colour.
#[derive(Debug)]
pub(crate) struct Shape {
    pub(crate) colour: String,
    pub(crate) low: Corner,
    pub(crate) high: Corner,
}

impl Shape {
    fn holds(&self, at: Corner) -> bool {
        // A tenth of a pixel is the unit of the canvas.
        let within = |value: f64, low: f64, high: f64| value > low - 0.15 && value < high + 0.15;
        within(at.0, self.low.0, self.high.0) && within(at.1, self.low.1, self.high.1)
    }

    fn size(&self) -> Corner {
        (self.high.0 - self.low.0, self.high.1 - self.low.1)
    }
}

/// A picture.
pub(crate) struct SvgPicture {
    shapes: Vec<Shape>,
    /// The frames of its charts.
    frames: Vec<Shape>,
    pub(crate) texts: Vec<String>,
}

/// The colours in which data and limits are drawn, of M. Okabe and K. Ito (2008).
const DATA: [&str; 6] = ["#0072B2", "#E69F00", "#009E73", "#CC79A7", "#56B4E9", "#D55E00"];

impl SvgPicture {
    /// Reads a document, which a renderer must be able to read as well.
    pub(crate) fn read(svg: &str) -> Self {
        let tree = usvg::Tree::from_str(svg, &usvg::Options::default()).unwrap();
        assert_eq!((tree.size().width(), tree.size().height()), (1600.0, 1000.0));
        assert!(!svg.contains("href") && !svg.contains("url("), "it refers to something else");
        let (mut shapes, mut frames, mut texts) = (Vec::new(), Vec::new(), Vec::new());
        for element in svg.split('<') {
            if let Some((_, text)) = element.split_once('>').filter(|_| element.starts_with("text"))
            {
                texts.push(text.trim().to_owned());
            }
            if let Some(shape) = shape(element) {
                let (width, height) = shape.size();
                let is_frame = shape.colour == "#6E6E6E"
                    && element.starts_with("polyline")
                    && corners(element).len() == 5
                    && width.min(height) > 100.0;
                if is_frame { frames.push(shape) } else { shapes.push(shape) }
            }
        }
        Self { shapes, frames, texts }
    }

    /// Refuses data that leave the frame of their chart. What lies in no frame must be as small as a
    /// sample of a legend.
    pub(crate) fn assert_data_within_frames(&self, name: &str) {
        assert!(!self.frames.is_empty(), "{name}: no frame");
        for shape in self.shapes.iter().filter(|shape| DATA.contains(&shape.colour.as_str())) {
            let centre = (0.5 * (shape.low.0 + shape.high.0), 0.5 * (shape.low.1 + shape.high.1));
            match self.frames.iter().find(|frame| frame.holds(centre)) {
                Some(frame) => assert!(
                    frame.holds(shape.low) && frame.holds(shape.high),
                    "{name}: {shape:?} leaves {frame:?}"
                ),
                None => {
                    let (width, height) = shape.size();
                    assert!(width < 45.0 && height < 25.0, "{name}: {shape:?} is in no frame");
                }
            }
        }
    }

    /// Refuses anything beyond the sheet.
    pub(crate) fn assert_on_sheet(&self, name: &str) {
        for shape in &self.shapes {
            let is_on = shape.low.0 >= 0.0
                && shape.low.1 >= 0.0
                && shape.high.0 <= 1600.0
                && shape.high.1 <= 1000.0;
            assert!(is_on, "{name}: {shape:?}");
        }
    }

    pub(crate) fn has_text(&self, part: &str) -> bool {
        self.texts.iter().any(|text| text.contains(part))
    }
}

fn attribute<'e>(element: &'e str, name: &str) -> Option<&'e str> {
    let (_, rest) = element.split_once(&format!(" {name}=\""))?;
    rest.split_once('"').map(|(value, _)| value)
}

/// The corners of an element, pixels; a circle has its centre.
fn corners(element: &str) -> Vec<Corner> {
    let number =
        |name: &str| attribute(element, name)?.parse::<f64>().ok().map(|units| units / 10.0);
    if let Some(points) = attribute(element, "points") {
        let corner = |pair: &str| {
            let (x, y) = pair.split_once(',').unwrap();
            (x.parse::<f64>().unwrap() / 10.0, y.parse::<f64>().unwrap() / 10.0)
        };
        return points.split_whitespace().map(corner).collect();
    }
    if let (Some(x), Some(y)) = (number("cx"), number("cy")) {
        return vec![(x, y)];
    }
    match (number("x"), number("y"), number("width"), number("height")) {
        (Some(x), Some(y), Some(width), Some(height)) => vec![(x, y), (x + width, y + height)],
        _ => Vec::new(),
    }
}

fn shape(element: &str) -> Option<Shape> {
    let kinds = ["polyline", "polygon", "circle", "rect"];
    if !kinds.iter().any(|kind| element.starts_with(kind)) {
        return None;
    }
    let painted = ["stroke", "fill"].into_iter().filter_map(|name| attribute(element, name));
    let colour = painted.into_iter().find(|colour| colour.starts_with('#'))?.to_owned();
    let corners = corners(element);
    let fold = |pick: fn(f64, f64) -> f64, start: f64| {
        corners.iter().fold((start, start), |found, at| (pick(found.0, at.0), pick(found.1, at.1)))
    };
    let (low, high) = (fold(f64::min, f64::MAX), fold(f64::max, f64::MIN));
    Some(Shape { colour, low, high })
}
