//! The PNG file that carries our mark.

use crate::{Error, ErrorKind, Result};

/// Keyword of the text chunk by which we know our own pictures.
pub(crate) const PICTURE_KEYWORD: &str = "plateproof";

/// Keyword of the text chunk that says where the two spheres stand on an evidence page.
pub(crate) const SPHERES_KEYWORD: &str = "plateproof-spheres";

/// The eight bytes at the start of every PNG file (PNG, section 5.2).
pub(crate) const PNG_SIGNATURE: [u8; 8] = *b"\x89PNG\r\n\x1a\n";

/// PNG bytes of an 8-bit sRGB picture, three bytes a pixel, with `mark` in a text chunk before the pixels.
pub(crate) fn encode_png(width: u32, height: u32, rgb: &[u8], mark: &str) -> Result<Vec<u8>> {
    encode_with_texts(width, height, rgb, &[(PICTURE_KEYWORD, mark.to_owned())])
}

/// The same with the places of two square pictures on the page: left, top and side, px.
pub(crate) fn encode_with_spheres(
    width: u32,
    height: u32,
    rgb: &[u8],
    mark: &str,
    places: [[usize; 3]; 2],
) -> Result<Vec<u8>> {
    let words = places.map(|place| place.map(|number| number.to_string()).join(" ")).join("; ");
    encode_with_texts(width, height, rgb, &[(PICTURE_KEYWORD, mark.to_owned()), (SPHERES_KEYWORD, words)])
}

/// Reads what [`encode_with_spheres`] wrote; `None` for anything else and for numbers that no page holds.
pub(crate) fn parse_sphere_places(text: &str) -> Option<[[usize; 3]; 2]> {
    let place = |words: &str| {
        let numbers: Vec<usize> =
            words.split_whitespace().map(str::parse).collect::<std::result::Result<_, _>>().ok()?;
        <[usize; 3]>::try_from(numbers).ok().filter(|numbers| numbers.iter().all(|n| *n <= 1 << 16) && numbers[2] > 0)
    };
    let (first, second) = text.split_once(';')?;
    Some([place(first)?, place(second)?])
}

fn encode_with_texts(width: u32, height: u32, rgb: &[u8], texts: &[(&str, String)]) -> Result<Vec<u8>> {
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
    for (keyword, text) in texts {
        encoder.add_text_chunk((*keyword).to_owned(), text.clone()).map_err(failed)?;
    }
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(rgb).map_err(failed)?;
    writer.finish().map_err(failed)?;
    Ok(bytes)
}
