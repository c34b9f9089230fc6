//! From a raw file to a scene-linear frame in the camera's own colours.

use std::path::Path;

use rawler::RawImageData;

use super::super::limits::{Limits, PIXEL_BYTES, room, zeroed};
use super::super::request::{Belief, OpenRequest, Parts};
use super::super::stream::InputFile;
use super::super::{DataWindow, Frame, Size, exif};
use super::calibration::{self, CameraSpace};
use super::still::{self, Still, unsupported};
use super::structure::{self, SAMPLE_BYTES};
use super::{RawBalance, RawRecord};
use crate::base::parallel;
use crate::colour::ColourSpace;
use crate::image::encoding::Encoding;
use crate::{Error, ErrorKind, Result};

/// Share of the way from black to white at which a photosite counts as full, as for other lossless files (common practice,
/// no source).
const FULL: f32 = 254.0 / 255.0;

/// Opens a raw still.
///
/// # Errors
/// See [`super::super::open::open`]; `Parameter` where the request wants another curve or colour space than the sensor's.
pub(in crate::image) fn open(request: &OpenRequest<'_>, file: &InputFile) -> Result<Frame> {
    let path = request.path;
    let refused = [
        request.encoding.filter(|e| !e.value.is_linear()).map(|_| "encoding"),
        request.colour_space.as_ref().map(|_| "colour_space"),
    ];
    if let Some(key) = refused.into_iter().flatten().next() {
        let cause = format!("`{key}` is given, but a raw still is linear, in its sensor's own colours");
        return Err(Error::new(ErrorKind::Parameter, path, cause, format!("leave out `{key}`")));
    }
    // The reader takes a copy whose directories may be put right.
    if file.length().saturating_mul(2) > request.limits.max_bytes {
        let cause = format!("the file has {} bytes, too many to hold in memory", file.length());
        return Err(Error::new(ErrorKind::Limit, path, cause, "give a smaller file, or raise --max-decoded"));
    }
    let bytes = file.whole(path)?;
    let mut copy = room(path, bytes.len())?;
    copy.extend_from_slice(&bytes);
    let curve = structure::check(path, &mut copy, request.limits)?.and_then(|largest| largest.curve);
    let (still, blake3) =
        parallel::both(|| still::read(path, copy, curve, request.limits), || blake3::hash(&bytes).to_hex().to_string());
    Development::of(request, still?)?.into_frame(request, &bytes, blake3)
}

/// Pixels of the frame that the file gives, and bytes that opening it takes besides; `None` where it cannot be read.
pub(in crate::image) fn cost(path: &Path, limits: &Limits) -> Option<[u64; 2]> {
    let file = InputFile::open(path, limits).ok().filter(|file| file.length() <= limits.max_bytes)?;
    let mut bytes = file.whole(path).ok()?.into_owned();
    let largest = structure::check(path, &mut bytes, limits).ok()?;
    let [pixels, samples] = match largest {
        Some(largest) => [largest.pixels, largest.samples],
        None => still::size(bytes)?,
    };
    // A mosaic has one sample where its pixels have a quarter of their colours.
    let pixels = if samples > pixels { pixels } else { pixels.div_ceil(4) };
    let scratch_bytes = file.length().saturating_mul(2).saturating_add(samples.saturating_mul(2 * SAMPLE_BYTES));
    // Turning it upright takes a second picture.
    let scratch_bytes = scratch_bytes.saturating_add(pixels.saturating_mul(PIXEL_BYTES));
    Some([pixels, scratch_bytes])
}

/// How a still becomes a frame.
struct Development {
    still: Still,
    /// Side of the block of photosites that makes a pixel.
    block: usize,
    /// First photosite used, and columns and rows of the frame before it is turned upright.
    first: [usize; 2],
    stored: Size,
    balance: RawBalance,
    gains: [f64; 3],
    camera: Option<CameraSpace>,
    notes: Vec<String>,
}

impl Development {
    fn of(request: &OpenRequest<'_>, mut still: Still) -> Result<Self> {
        let mut notes = std::mem::take(&mut still.notes);
        let [x, y, width, height] = still.used;
        let (block, first) = match &still.mosaic {
            None => (1, [x, y]),
            Some(mosaic) => {
                let other = || unsupported(request.path, "its mosaic has other colours than red, green and blue");
                let block = mosaic.block().ok_or_else(other)?;
                (block, mosaic.first_block(block, [x, y]))
            }
        };
        let fitting = |start: usize, from: usize, length: usize| (from + length).saturating_sub(start) / block;
        let stored = Size { width: fitting(first[0], x, width), height: fitting(first[1], y, height) };
        if stored.width == 0 || stored.height == 0 {
            return Err(still::damaged(request.path, "it holds no picture"));
        }
        let grey = still.mosaic.is_none() && still.samples == 1;
        let (balance, gains) = balance(request.raw_balance, &still, grey, &mut notes);
        let camera = if grey { None } else { camera_space(&still, balance, &mut notes) };
        Ok(Self { still, block, first, stored, balance, gains, camera, notes })
    }

    fn into_frame(mut self, request: &OpenRequest<'_>, bytes: &[u8], blake3: String) -> Result<Frame> {
        let (rgb, masked) = self.pixels(request.path)?;
        let orientation = self.still.orientation;
        let (rgb, size) = upright(rgb, self.stored, orientation);
        let meta = self.meta(bytes, orientation >= 5);
        let encoding = Belief { value: Encoding::SceneLinear, from: "file" };
        let space = match &self.camera {
            Some(camera) => Belief { value: camera.space.clone(), from: "file" },
            None => Belief { value: ColourSpace::rec709(), from: "default" },
        };
        let record = self.record();
        let mut frame = Parts {
            size,
            data: DataWindow { x: 0, y: 0, width: size.width, height: size.height },
            pixel_aspect: 1.0,
            encoding: request.encoding.unwrap_or(encoding),
            space,
            rgb,
            alpha: None,
            masked,
            clip_level: Some(f64::from(FULL)),
            integer_bits: matches!(self.still.data, RawImageData::Integer(_)).then_some(self.still.bits),
            format: "raw",
            meta,
            layer: None,
            decoded_fraction: 1.0,
            blake3,
            warnings: self.notes,
        }
        .into_frame(request);
        frame.record.raw = Some(record);
        frame.eight_bit = false;
        if request.clip_level.is_none() {
            frame.clip_level = Some(self.gains.map(|gain| gain as f32 * FULL));
        }
        Ok(frame)
    }

    fn meta(&mut self, bytes: &[u8], turned: bool) -> super::super::CaptureMeta {
        let [_, _, width, height] = self.still.used;
        let shown = if turned { Size { width: height, height: width } } else { Size { width, height } };
        let mut meta = self.still.meta.clone();
        if bytes.starts_with(b"II*\0") || bytes.starts_with(b"MM\0*") {
            let facts = super::super::guard::contain(|| exif::read(bytes, shown, turned)).unwrap_or_default();
            self.notes.extend(facts.warnings);
            meta = facts.meta;
        }
        meta.orientation = Some(self.still.orientation).filter(|o| *o != 1);
        if self.balance == RawBalance::Unit {
            meta.auto_white_balance = Some(false);
        }
        meta
    }

    fn record(&self) -> RawRecord {
        let still = &self.still;
        let levels = &still.black.levels;
        let known = still.calibrations.iter().filter(|c| c.kelvin.is_some()).count();
        let camera_matrix = match (&self.camera, known) {
            (None, _) => "none",
            (Some(_), 2..) => "two-illuminants",
            (Some(_), _) => "one-illuminant",
        };
        RawRecord {
            white_balance: self.balance.name().to_owned(),
            gains: self.gains,
            camera_matrix: camera_matrix.to_owned(),
            matrix_kelvin: self.camera.as_ref().map(|camera| camera.kelvin.round()),
            photosites_per_pixel: self.block,
            used_px: [self.first[0], self.first[1], self.stored.width * self.block, self.stored.height * self.block],
            black_code: levels.iter().map(|level| f64::from(*level)).sum::<f64>() / levels.len().max(1) as f64,
            white_code: still.white.iter().copied().map(f64::from).fold(f64::INFINITY, f64::min).min(1e9),
        }
    }

    /// Every pixel, and how many of them held no number.
    fn pixels(&self, path: &Path) -> Result<(Vec<[f32; 3]>, u64)> {
        let mut rgb = zeroed::<[f32; 3]>(path, self.stored.width * self.stored.height)?;
        let gains = self.gains.map(|gain| gain as f32);
        parallel::each_row(&mut rgb, self.stored.width, |row, pixels| {
            for (column, pixel) in pixels.iter_mut().enumerate() {
                let light = self.pixel(column, row);
                *pixel = std::array::from_fn(|c| light[c] * gains[c]);
                if pixel.iter().any(|value| !value.is_finite()) {
                    *pixel = [f32::NAN; 3];
                }
            }
        });
        let masked = rgb.iter().filter(|pixel| pixel[0].is_nan()).count() as u64;
        Ok((rgb, masked))
    }

    /// Red, green and blue as shares of the way from black to full; full where any photosite of that colour is.
    fn pixel(&self, column: usize, row: usize) -> [f32; 3] {
        let still = &self.still;
        let [x, y] = [self.first[0] + column * self.block, self.first[1] + row * self.block];
        let Some(mosaic) = &still.mosaic else {
            let light: [f32; 3] = std::array::from_fn(|c| still.light(x, y, c.min(still.samples - 1)));
            return light.map(|light| if light >= FULL { light.max(1.0) } else { light });
        };
        let (mut sums, mut counts, mut full) = ([0.0_f32; 3], [0.0_f32; 3], [false; 3]);
        for i in 0..self.block * self.block {
            let [x, y] = [x + i % self.block, y + i / self.block];
            let (colour, light) = (mosaic.at(x, y), still.light(x, y, 0));
            sums[colour] += light;
            counts[colour] += 1.0;
            full[colour] |= light >= FULL;
        }
        std::array::from_fn(|c| if full[c] { 1.0 } else { sums[c] / counts[c] })
    }
}

impl Still {
    /// The linear code of a stored one; beyond a table's end its last (DNG specification 1.7.1, `LinearizationTable`).
    fn linear(&self, code: u16) -> u16 {
        let Some(table) = &self.curve else { return code };
        table.get(usize::from(code)).or(table.last()).copied().unwrap_or(code)
    }

    /// One sample as a share of the way from black to white.
    fn light(&self, x: usize, y: usize, sample: usize) -> f32 {
        let place = (y * self.width + x) * self.samples + sample;
        let code = match &self.data {
            RawImageData::Integer(data) => data.get(place).map_or(f32::NAN, |code| f32::from(self.linear(*code))),
            RawImageData::Float(data) => data.get(place).copied().unwrap_or(f32::NAN),
        };
        // One for each place of a 2 × 2 mosaic, or one for each sample, or one for all.
        let which = match (self.samples, self.white.len()) {
            (1, 4) => y % 2 * 2 + x % 2,
            (1, _) => 0,
            _ => sample,
        };
        let white = self.white.get(which).or(self.white.first()).copied().unwrap_or(f32::NAN);
        let black = self.black.at(x, y, sample, self.samples);
        (code - black) / (white - black)
    }
}

/// Gains, green = 1.
fn balance(wanted: RawBalance, still: &Still, grey: bool, notes: &mut Vec<String>) -> (RawBalance, [f64; 3]) {
    match (wanted, still.neutral) {
        _ if grey => {
            notes.push("the picture has one channel: it is taken as grey and says nothing about colour".to_owned());
            (RawBalance::Unit, [1.0; 3])
        }
        (RawBalance::AsShot, Some(neutral)) => (RawBalance::AsShot, neutral.map(f64::recip)),
        (RawBalance::AsShot, None) => {
            notes.push("it does not tell the camera's white balance: \"white_balance\": \"unit\" was taken".to_owned());
            (RawBalance::Unit, [1.0; 3])
        }
        (RawBalance::Unit, _) => (RawBalance::Unit, [1.0; 3]),
    }
}

fn camera_space(still: &Still, balance: RawBalance, notes: &mut Vec<String>) -> Option<CameraSpace> {
    let of = match (balance, still.neutral) {
        (RawBalance::AsShot, Some(neutral)) => calibration::balanced(&still.calibrations, neutral),
        _ => calibration::without_balance(&still.calibrations),
    };
    if of.is_none() {
        let note =
            "no colour matrix of the camera is known: its colours were taken for BT.709 and are not to be trusted";
        notes.push(note.to_owned());
    }
    of
}

/// The picture as it was held (orientations of EXIF 2.32, tag 274).
fn upright(rgb: Vec<[f32; 3]>, stored: Size, orientation: u16) -> (Vec<[f32; 3]>, Size) {
    if !(2..=8).contains(&orientation) {
        return (rgb, stored);
    }
    let Size { width, height } = stored;
    let size = if orientation >= 5 { Size { width: height, height: width } } else { stored };
    let from = |x: usize, y: usize| match orientation {
        2 => (width - 1 - x, y),
        3 => (width - 1 - x, height - 1 - y),
        4 => (x, height - 1 - y),
        5 => (y, x),
        6 => (y, height - 1 - x),
        7 => (width - 1 - y, height - 1 - x),
        _ => (width - 1 - y, x),
    };
    let turned = parallel::map(size.width * size.height, |i| {
        let (x, y) = from(i % size.width, i / size.width);
        rgb[y * width + x]
    });
    (turned, size)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EXIF 2.32, tag 274: where row 0 and column 0 of the stored picture are seen.
    #[test]
    fn every_orientation_turns_the_picture_upright() {
        let stored = Size { width: 3, height: 2 };
        let rgb: Vec<[f32; 3]> = (0..6).map(|i| [i as f32; 3]).collect();
        let seen = [
            (1, "012/345"),
            (2, "210/543"),
            (3, "543/210"),
            (4, "345/012"),
            (5, "03/14/25"),
            (6, "30/41/52"),
            (7, "52/41/30"),
            (8, "25/14/03"),
        ];
        for (orientation, rows) in seen {
            let (turned, size) = upright(rgb.clone(), stored, orientation);
            let text: Vec<String> = turned
                .chunks(size.width)
                .map(|row| row.iter().map(|p| (p[0] as u8).to_string()).collect::<String>())
                .collect();
            assert_eq!(text.join("/"), rows, "orientation {orientation}");
        }
    }
}
