//! PNG of a picture.

use super::error::PlotError;
use super::picture_size::{HEIGHT, WIDTH};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};
use std::sync::{Arc, LazyLock};

/// The embedded font alone: fonts of the system would make pictures differ between machines.
static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    Arc::new(fonts)
});

/// Upright edges of filled rectangles fall on whole pixels, as nearly all do anyway. Smoothing them takes
/// as long as everything else.
const STYLE: &str = "<style>rect[stroke=\"none\"]{shape-rendering:crispEdges}</style>";

/// The PNG of an SVG document of a picture's size.
pub(super) fn png_of(svg: &str) -> Result<Vec<u8>, PlotError> {
    let options = Options { fontdb: Arc::clone(&FONTS), ..Options::default() };
    let head = svg.find('>').map_or(0, |at| at + 1);
    let styled = [&svg[..head], STYLE, &svg[head..]].concat();
    let tree = Tree::from_str(&styled, &options).map_err(PlotError::from_display)?;
    let mut pixels = Pixmap::new(WIDTH, HEIGHT)
        .ok_or_else(|| PlotError::from_display("there is no memory for its pixels"))?;
    resvg::render(&tree, Transform::identity(), &mut pixels.as_mut());
    // Everything is on a white rectangle, so that no pixel is transparent.
    let mut opaque = vec![0; 3 * pixels.pixels().len()];
    for (opaque, pixel) in opaque.chunks_exact_mut(3).zip(pixels.data().chunks_exact(4)) {
        opaque.copy_from_slice(&pixel[..3]);
    }
    encode(&opaque)
}

fn encode(pixels: &[u8]) -> Result<Vec<u8>, PlotError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, WIDTH, HEIGHT);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    // The level below writes files twice as large.
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().map_err(PlotError::from_display)?;
    writer.write_image_data(pixels).map_err(PlotError::from_display)?;
    writer.finish().map_err(PlotError::from_display)?;
    Ok(bytes)
}
