//! What the benches compare with: RGB of a file by the `exr` crate's own reader, which decompresses on all cores.

use std::path::Path;

use exr::error::UnitResult;
use exr::prelude::*;

/// Reads the file's RGB and gives the number of pixels.
pub(crate) fn decode_rgb(path: &Path) -> Result<usize> {
    let image = read()
        .no_deep_data()
        .largest_resolution_level()
        .rgb_channels(
            |size, _| (size.width(), vec![[0.0_f32; 3]; size.area()]),
            |(width, pixels), at, (r, g, b): (f32, f32, f32)| pixels[at.y() * *width + at.x()] = [r, g, b],
        )
        .first_valid_layer()
        .all_attributes()
        .from_file(path)?;
    Ok(std::hint::black_box(image.layer_data.channel_data.pixels.1).len())
}

/// Writes half-float channels with ZIP compression, as cameras' and renderers' files mostly come.
#[allow(dead_code, reason = "each bench is a program of its own and uses its part")]
pub(crate) fn write_half_zip(path: &Path, size: (usize, usize), channels: AnyChannels<FlatSamples>) -> UnitResult {
    let encoding = Encoding { compression: Compression::ZIP16, ..Encoding::FAST_LOSSLESS };
    let layer = Layer::new(size, LayerAttributes::default(), encoding, channels);
    Image::from_layer(layer).write().to_file(path)
}
