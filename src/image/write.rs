//! Frames → files: OpenEXR and JPEG. For the demo show and for tests; what the tool reports is written elsewhere.
//!
//! Every file is written beside its target under another name and renamed when complete, so nobody reads half a file.

use std::io::{BufWriter, Write};
use std::path::Path;

use exr::prelude::{
    AnyChannel, AnyChannels, Blocks, Compression, Encoding, FlatSamples, Image, ImageAttributes, Layer,
    LayerAttributes, LineOrder, Vec2, WritableImage, f16,
};

use super::{DataWindow, Size};
use crate::base::error::{Error, ErrorKind, Result};
use crate::base::staging::write_atomically;

/// Primaries and white of ITU-R BT.709 as CIE 1931 xy: red, green, blue, white.
pub const REC709_CHROMATICITIES: [[f32; 2]; 4] = [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06], [0.3127, 0.3290]];

/// Sample type of the channels in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SampleDepth {
    /// 16-bit half float. Values beyond ±65504 are limited to it.
    #[default]
    Half,
    /// 32-bit float.
    Float,
}

/// What is written into the header beside the pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct ExrAttributes {
    /// Sample type.
    pub depth: SampleDepth,
    /// CIE 1931 xy of red, green, blue and white.
    pub chromaticities: Option<[[f32; 2]; 4]>,
    /// Pixel width over pixel height as displayed.
    pub pixel_aspect: f32,
    /// `expTime` in seconds.
    pub exposure_time_s: Option<f32>,
    /// `aperture` as f-number.
    pub f_number: Option<f32>,
    /// `isoSpeed`.
    pub iso_speed: Option<f32>,
    /// `capDate`, local time as `YYYY:MM:DD hh:mm:ss`.
    pub capture_date: Option<String>,
    /// `utcOffset`: what has to be added to `capDate` to get UTC, seconds.
    pub utc_offset_s: Option<f32>,
    /// `software`: what wrote the file.
    pub software: Option<String>,
    /// `comments`: what the picture is, in words.
    pub comments: Option<String>,
    /// The picture is a lat-long environment (`envmap`).
    pub lat_long: bool,
    /// Other float attributes by name (`pinholeFocalLength` …). With more than one of them, the bytes of the header
    /// may differ from run to run.
    pub other_floats: Vec<(String, f32)>,
}

impl Default for ExrAttributes {
    fn default() -> Self {
        Self {
            depth: SampleDepth::Half,
            chromaticities: Some(REC709_CHROMATICITIES),
            pixel_aspect: 1.0,
            exposure_time_s: None,
            f_number: None,
            iso_speed: None,
            capture_date: None,
            utc_offset_s: None,
            software: None,
            comments: None,
            lat_long: false,
            other_floats: Vec::new(),
        }
    }
}

impl ExrAttributes {
    fn shared(&self, size: Size) -> ImageAttributes {
        let mut shared = ImageAttributes::with_size(Vec2(size.width, size.height));
        shared.pixel_aspect = self.pixel_aspect;
        shared.chromaticities =
            self.chromaticities.map(|[red, green, blue, white]| exr::meta::attribute::Chromaticities {
                red: Vec2(red[0], red[1]),
                green: Vec2(green[0], green[1]),
                blue: Vec2(blue[0], blue[1]),
                white: Vec2(white[0], white[1]),
            });
        shared
    }

    fn own(&self, data: DataWindow) -> LayerAttributes {
        let mut own = LayerAttributes {
            layer_position: Vec2(data.x as i32, data.y as i32),
            exposure: self.exposure_time_s,
            aperture: self.f_number,
            iso_speed: self.iso_speed,
            capture_date: self.capture_date.as_deref().map(Into::into),
            utc_offset: self.utc_offset_s,
            software_name: self.software.as_deref().map(Into::into),
            comments: self.comments.as_deref().map(Into::into),
            environment_map: self.lat_long.then_some(exr::meta::attribute::EnvironmentMap::LatitudeLongitude),
            ..LayerAttributes::default()
        };
        for (name, value) in &self.other_floats {
            own.other.insert(name.as_str().into(), exr::meta::attribute::AttributeValue::F32(*value));
        }
        own
    }
}

/// Writes scene-linear pixels as a ZIP-compressed OpenEXR file with channels R, G, B and, where given, A.
///
/// `size` is the display window; `rgb` and `alpha` fill the data window row by row.
///
/// # Errors
/// `Parameter` where the pixels do not fill the data window, `Io` where the file cannot be written.
///
/// ```
/// use plateproof::image::{DataWindow, Size, write::{ExrAttributes, write_exr}};
/// let folder = tempfile::tempdir().unwrap();
/// let data = DataWindow { x: 0, y: 0, width: 2, height: 1 };
/// let pixels = [[0.18, 0.18, 0.18], [1.0, 0.5, 0.25]];
/// write_exr(&folder.path().join("two.exr"), Size { width: 2, height: 1 }, data, &pixels, None,
///           &ExrAttributes::default()).unwrap();
/// ```
pub fn write_exr(
    path: &Path,
    size: Size,
    data: DataWindow,
    rgb: &[[f32; 3]],
    alpha: Option<&[f32]>,
    attributes: &ExrAttributes,
) -> Result<()> {
    let bytes = exr_bytes(path, size, data, rgb, alpha, attributes)?;
    write_atomically(path, |file| file.write_all(&bytes).map_err(|error| Error::io(path, &error)))
}

/// The same file in memory; `path` is what errors name.
///
/// # Errors
/// As [`write_exr`].
pub fn exr_bytes(
    path: &Path,
    size: Size,
    data: DataWindow,
    rgb: &[[f32; 3]],
    alpha: Option<&[f32]>,
    attributes: &ExrAttributes,
) -> Result<Vec<u8>> {
    let pixels = data.width.saturating_mul(data.height);
    let filled = rgb.len() == pixels && alpha.is_none_or(|a| a.len() == pixels);
    if pixels == 0 || !filled || size.width == 0 || size.height == 0 {
        return Err(Error::new(
            ErrorKind::Parameter,
            path,
            format!("{} pixels cannot fill a window of {} × {}", rgb.len(), data.width, data.height),
            "give one value per pixel of a window that is not empty",
        ));
    }
    encode(path, size, data, channels_of(rgb, alpha, attributes.depth), attributes)
}

fn encode(
    path: &Path,
    size: Size,
    data: DataWindow,
    channels: AnyChannels<FlatSamples>,
    attributes: &ExrAttributes,
) -> Result<Vec<u8>> {
    let encoding =
        Encoding { compression: Compression::ZIP16, blocks: Blocks::ScanLines, line_order: LineOrder::Increasing };
    let layer = Layer::new(Vec2(data.width, data.height), attributes.own(data), encoding, channels);
    let mut image = Image::from_layer(layer);
    image.attributes = attributes.shared(size);
    let mut bytes = std::io::Cursor::new(Vec::new());
    image.write().to_unbuffered(&mut bytes).map_err(|error| cannot_write(path, &error.to_string()))?;
    Ok(bytes.into_inner())
}

/// One layer beside the picture: channels `name.R`, `name.G`, `name.B`.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedLayer {
    /// Its name.
    pub name: String,
    /// Its pixels, as many as the picture's.
    pub rgb: Vec<[f32; 3]>,
}

/// Writes a picture that fills its display window, with further layers in the same file.
///
/// # Errors
/// As [`write_exr`]; also where a layer has another number of pixels.
pub fn write_layered_exr(
    path: &Path,
    size: Size,
    rgb: &[[f32; 3]],
    alpha: Option<&[f32]>,
    layers: &[NamedLayer],
    attributes: &ExrAttributes,
) -> Result<()> {
    let data = DataWindow { x: 0, y: 0, width: size.width, height: size.height };
    let pixels = data.width.saturating_mul(data.height);
    let lengths = layers.iter().map(|l| l.rgb.len()).chain(alpha.map(<[f32]>::len)).chain([rgb.len()]);
    if pixels == 0 || lengths.into_iter().any(|length| length != pixels) {
        let cause = format!("the layers do not all fill {} × {}", size.width, size.height);
        return Err(Error::new(ErrorKind::Parameter, path, cause, "give one value per pixel and layer"));
    }
    let mut list = channel_list("", rgb, alpha, attributes.depth);
    for layer in layers {
        list.extend(channel_list(&format!("{}.", layer.name), &layer.rgb, None, attributes.depth));
    }
    let bytes = encode(path, size, data, AnyChannels::sort(list.into_iter().collect()), attributes)?;
    write_atomically(path, |file| file.write_all(&bytes).map_err(|error| Error::io(path, &error)))
}

/// R, G, B and, where there is coverage, A.
fn channels_of(rgb: &[[f32; 3]], alpha: Option<&[f32]>, depth: SampleDepth) -> AnyChannels<FlatSamples> {
    AnyChannels::sort(channel_list("", rgb, alpha, depth).into_iter().collect())
}

fn channel_list(
    prefix: &str,
    rgb: &[[f32; 3]],
    alpha: Option<&[f32]>,
    depth: SampleDepth,
) -> Vec<AnyChannel<FlatSamples>> {
    let name = |letter: &str| format!("{prefix}{letter}");
    let colours = ["R", "G", "B"].into_iter().enumerate();
    let mut list: Vec<_> = colours
        .map(|(channel, letter)| {
            AnyChannel::new(name(letter).as_str(), samples_of(rgb.iter().map(|p| p[channel]), depth))
        })
        .collect();
    list.extend(alpha.map(|alpha| AnyChannel::new(name("A").as_str(), samples_of(alpha.iter().copied(), depth))));
    list
}

fn samples_of(values: impl Iterator<Item = f32>, depth: SampleDepth) -> FlatSamples {
    match depth {
        SampleDepth::Half => FlatSamples::F16(values.map(half_of).collect()),
        SampleDepth::Float => FlatSamples::F32(values.collect()),
    }
}

/// Half float without overflow to infinity; NaN and infinities stay what they are.
fn half_of(value: f32) -> f16 {
    let limit = f16::MAX.to_f32();
    f16::from_f32(if value.is_finite() { value.clamp(-limit, limit) } else { value })
}

/// Writes display-referred 8-bit RGB as JPEG. `quality` is 1 to 100.
///
/// # Errors
/// `Parameter` where the pixels do not fill the frame, `Io` where the file cannot be written.
pub fn write_jpeg(path: &Path, size: Size, rgb: &[[u8; 3]], quality: u8) -> Result<()> {
    let fits = u16::try_from(size.width).is_ok() && u16::try_from(size.height).is_ok();
    if !fits || rgb.is_empty() || rgb.len() != size.width * size.height {
        return Err(Error::new(
            ErrorKind::Parameter,
            path,
            format!("{} pixels do not make a JPEG of {} × {}", rgb.len(), size.width, size.height),
            "give one value per pixel and at most 65535 pixels a side",
        ));
    }
    write_atomically(path, |file| {
        let mut buffer = BufWriter::new(file);
        let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut buffer, quality.clamp(1, 100));
        encoder
            .encode(rgb.as_flattened(), size.width as u32, size.height as u32, image::ExtendedColorType::Rgb8)
            .map_err(|error| cannot_write(path, &error.to_string()))?;
        buffer.flush().map_err(|error| Error::io(path, &error))
    })
}

fn cannot_write(path: &Path, cause: &str) -> Error {
    Error::new(
        ErrorKind::Io,
        path,
        format!("could not be written: {cause}"),
        "check the disk and the path, then run again",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use exr::prelude::{ReadChannels, ReadLayers};

    const SIZE: Size = Size { width: 4, height: 3 };

    #[test]
    fn exr_comes_back_with_window_attributes_and_values() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("overscan.exr");
        let data = DataWindow { x: -1, y: 2, width: 3, height: 2 };
        let rgb: Vec<[f32; 3]> = (0..6).map(|i| [i as f32, 0.25 * i as f32, if i == 5 { 1e9 } else { -0.5 }]).collect();
        let alpha = [0.0, 0.25, 0.5, 0.75, 1.0, 1.0];
        let attributes = ExrAttributes {
            exposure_time_s: Some(0.02),
            f_number: Some(2.8),
            iso_speed: Some(800.0),
            pixel_aspect: 2.0,
            other_floats: vec![("pinholeFocalLength".to_owned(), 32.0)],
            ..ExrAttributes::default()
        };
        write_exr(&path, SIZE, data, &rgb, Some(&alpha), &attributes).unwrap();
        let image = exr::prelude::read()
            .no_deep_data()
            .largest_resolution_level()
            .all_channels()
            .first_valid_layer()
            .all_attributes()
            .from_file(&path)
            .unwrap();
        assert_eq!(image.attributes.display_window.size, Vec2(4, 3));
        assert_eq!(image.attributes.chromaticities.unwrap().white, Vec2(0.3127, 0.3290));
        assert_eq!(image.attributes.pixel_aspect.to_bits(), 2.0_f32.to_bits());
        let own = &image.layer_data.attributes;
        assert_eq!(own.layer_position, Vec2(-1, 2));
        assert_eq!((own.exposure, own.aperture, own.iso_speed), (Some(0.02), Some(2.8), Some(800.0)));
        assert_eq!(own.other.len(), 1);
        let list = &image.layer_data.channel_data.list;
        let values = |index: usize| list[index].sample_data.values_as_f32().collect::<Vec<f32>>();
        assert_eq!(list.iter().map(|c| c.name.to_string()).collect::<String>(), "ABGR");
        assert_eq!(values(0), alpha);
        assert_eq!(values(3), [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]);
        assert_eq!(values(1)[5].to_bits(), 65504.0_f32.to_bits(), "half float ends at 65504");
    }

    #[test]
    fn jpeg_comes_back_with_size_and_colour() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("flat.jpg");
        write_jpeg(&path, SIZE, &[[200, 100, 50]; 12], 95).unwrap();
        let back = image::open(&path).unwrap().to_rgb8();
        assert_eq!(back.dimensions(), (4, 3));
        assert!(back.pixels().all(|p| p.0.iter().zip([200, 100, 50]).all(|(a, b)| a.abs_diff(b) <= 3)));
    }

    #[test]
    fn pixels_that_do_not_fill_the_frame_are_refused_and_leave_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("no");
        let data = DataWindow { x: 0, y: 0, width: 4, height: 3 };
        let exr = write_exr(&path, SIZE, data, &[[0.0; 3]; 11], None, &ExrAttributes::default()).unwrap_err();
        let jpeg = write_jpeg(&path, SIZE, &[[0; 3]; 13], 90).unwrap_err();
        assert_eq!((exr.kind, jpeg.kind), (ErrorKind::Parameter, ErrorKind::Parameter));
        let failed = write_atomically(&path, |_| Err(cannot_write(&path, "test"))).unwrap_err();
        assert_eq!(failed.kind, ErrorKind::Io);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
        let nowhere = folder.path().join("missing").join("x.jpg");
        assert_eq!(write_jpeg(&nowhere, SIZE, &[[0; 3]; 12], 90).unwrap_err().kind, ErrorKind::Io);
    }
}
