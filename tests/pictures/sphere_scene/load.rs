//! Frames for tests: from memory, from JPEG, from EXR.
#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]

use std::path::{Path, PathBuf};

use plateproof::image::{Frame, Size};

/// The folder of published pictures. Tests that need it are ignored where it is not named when they are built.
pub(crate) fn reference_data() -> PathBuf {
    std::env::var_os("PLATEPROOF_REFERENCE_DATA").map(PathBuf::from).expect("PLATEPROOF_REFERENCE_DATA names a folder")
}

pub(crate) fn frame_of(
    name: &str,
    size: Size,
    pixel_aspect: f64,
    rgb: Vec<[f32; 3]>,
    alpha: Option<Vec<f32>>,
    eight_bit: bool,
) -> Frame {
    Frame {
        pixel_aspect,
        alpha,
        clip_level: eight_bit.then_some([1.0; 3]),
        eight_bit,
        integer_bits: eight_bit.then_some(8),
        format: if eight_bit { "jpeg" } else { "exr" },
        ..Frame::computed(name, size, rgb)
    }
}

/// An 8-bit picture decoded as sRGB.
pub(crate) fn display_file(path: &Path) -> Frame {
    let image = image::open(path).unwrap().to_rgb8();
    let size = Size { width: image.width() as usize, height: image.height() as usize };
    let linear = |c: u8| {
        let v = f32::from(c) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    };
    let rgb = image.pixels().map(|p| p.0.map(linear)).collect();
    frame_of(&path.display().to_string(), size, 1.0, rgb, None, true)
}

/// The RGB (and alpha) of the first layer of an EXR.
pub(crate) fn exr_file(path: &Path) -> Frame {
    use exr::prelude::*;
    let image = read()
        .no_deep_data()
        .largest_resolution_level()
        .rgba_channels(
            |size, _| (size.width(), vec![[0.0_f32; 4]; size.area()]),
            |(width, pixels): &mut (usize, Vec<[f32; 4]>), position, (r, g, b, a): (f32, f32, f32, f32)| {
                pixels[position.y() * *width + position.x()] = [r, g, b, a];
            },
        )
        .first_valid_layer()
        .all_attributes()
        .from_file(path)
        .unwrap();
    let layer = &image.layer_data;
    let pixels = &layer.channel_data.pixels.1;
    let size = Size { width: layer.size.width(), height: layer.size.height() };
    let display = image.attributes.display_window;
    let shift = layer.attributes.layer_position - display.position;
    let alpha = layer.channel_data.channels.3.is_some().then(|| pixels.iter().map(|p| p[3]).collect());
    let rgb = pixels.iter().map(|p| [p[0], p[1], p[2]]).collect();
    let mut frame = frame_of(&path.display().to_string(), size, 1.0, rgb, alpha, false);
    frame.data.x = shift.x() as i64;
    frame.data.y = shift.y() as i64;
    frame.size = Size { width: display.size.width(), height: display.size.height() };
    frame
}
