//! The PNG file that carries our mark.

use crate::{Error, ErrorKind, Result};

/// Keyword of the text chunk by which we know our own pictures.
pub(crate) const PICTURE_KEYWORD: &str = "plateproof";

/// The eight bytes at the start of every PNG file (PNG, section 5.2).
pub(crate) const PNG_SIGNATURE: [u8; 8] = *b"\x89PNG\r\n\x1a\n";

/// PNG bytes of an 8-bit sRGB picture, three bytes a pixel, with `mark` in a text chunk before the pixels.
pub(crate) fn encode_png(width: u32, height: u32, rgb: &[u8], mark: &str) -> Result<Vec<u8>> {
    let failed = |e: png::EncodingError| {
        Error::new(ErrorKind::Io, "evidence picture", e.to_string(), "run again without the picture")
    };
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    // One filter for all rows: trying all five on each takes longer than everything else on the page.
    encoder.set_filter(png::Filter::Paeth);
    encoder.set_source_srgb(png::SrgbRenderingIntent::Perceptual);
    encoder.add_text_chunk(PICTURE_KEYWORD.to_owned(), mark.to_owned()).map_err(failed)?;
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(rgb).map_err(failed)?;
    writer.finish().map_err(failed)?;
    Ok(bytes)
}
