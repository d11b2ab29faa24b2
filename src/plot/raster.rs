//! PNG of a picture that was drawn enlarged.

use super::error::PlotError;

/// The PNG of pixels, three bytes each, of a picture that is `width` by `height` pixels when it is
/// finished and so many times as large in either direction now.
pub(super) fn png_of(
    pixels: &[u8],
    (width, height): (u32, u32),
    enlargement: u32,
) -> Result<Vec<u8>, PlotError> {
    encode(&reduced(pixels, width, enlargement), (width, height))
}

/// Averages squares of pixels into one.
fn reduced(pixels: &[u8], width: u32, enlargement: u32) -> Vec<u8> {
    let side = enlargement as usize;
    let row = width as usize * side * 3;
    let area = enlargement * enlargement;
    let mut small = Vec::with_capacity(pixels.len() / (side * side));
    let mut sums = vec![[0_u32; 3]; width as usize];
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
        #[expect(clippy::cast_possible_truncation, reason = "the mean of bytes is a byte")]
        let mean = |sum: &u32| ((sum + area / 2) / area) as u8;
        small.extend(sums.iter().flatten().map(mean));
    }
    small
}

fn encode(pixels: &[u8], (width, height): (u32, u32)) -> Result<Vec<u8>, PlotError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().map_err(PlotError::from_display)?;
    writer.write_image_data(pixels).map_err(PlotError::from_display)?;
    writer.finish().map_err(PlotError::from_display)?;
    Ok(bytes)
}
