//! What the raw reader gives, as what is needed here.
//!
//! The reader is other people's code, under the LGPL, for files whose makers publish nothing: it may end in a panic, also on
//! threads that it starts. So it runs on threads of its own, on which panics are silent and become errors.

use std::path::Path;
use std::sync::Arc;

use nalgebra::{Matrix3, Vector3};
use rawler::decoders::{Decoder, FormatHint, RawDecodeParams, RawMetadata, WellKnownIFD};
use rawler::formats::tiff::IFD;
use rawler::rawimage::{BlackLevel, RawPhotometricInterpretation};
use rawler::rawsource::RawSource;
use rawler::{RawImage, RawImageData, RawlerError};

use super::super::CaptureMeta;
use super::super::guard::contain_on_own_threads;
use super::super::limits::Limits;
use super::DEVELOP_IT;
use super::calibration::{Calibration, kelvin_of};
use super::mosaic::Mosaic;
use super::structure::SAMPLE_BYTES;
use crate::base::capture_time::parse_offset_s;
use crate::{CaptureTime, Error, ErrorKind, Result};

/// Tags of DNG (specification 1.7.1) that the reader hands over without using them.
mod tag {
    pub(super) const WIDTH: u16 = 256;
    pub(super) const HEIGHT: u16 = 257;
    pub(super) const SAMPLES: u16 = 277;
    pub(super) const BLACK_PER_COLUMN: u16 = 50_715;
    pub(super) const BLACK_PER_ROW: u16 = 50_716;
    pub(super) const WHITE: u16 = 50_717;
    pub(super) const MATRICES: [[u16; 3]; 2] = [[50_778, 50_721, 50_723], [50_779, 50_722, 50_724]];
    pub(super) const ANALOG_BALANCE: u16 = 50_727;
    pub(super) const CORRECTIONS: [u16; 3] = [51_008, 51_009, 51_022];
}

/// A picture as its sensor recorded it.
#[derive(Debug)]
pub(super) struct Still {
    /// Pixels of a row.
    pub(super) width: usize,
    pub(super) data: RawImageData,
    /// Table from stored codes to linear ones.
    pub(super) curve: Option<Vec<u16>>,
    /// `None`: three samples a pixel, or a single one without colour.
    pub(super) mosaic: Option<Mosaic>,
    /// Samples of a pixel.
    pub(super) samples: usize,
    pub(super) black: Black,
    /// One code for all, or one for each sample or place of a 2 × 2 mosaic.
    pub(super) white: Vec<f32>,
    /// What is to be shown: first column, first row, columns, rows.
    pub(super) used: [usize; 4],
    /// As EXIF counts them, 1 to 8.
    pub(super) orientation: u16,
    pub(super) calibrations: Vec<Calibration>,
    /// Camera's values of what was to be grey, green = 1.
    pub(super) neutral: Option<[f64; 3]>,
    pub(super) bits: u8,
    /// What the reader makes of EXIF, for files that are not TIFF-like.
    pub(super) meta: CaptureMeta,
    pub(super) notes: Vec<String>,
}

/// Codes of black, a pattern that repeats from `origin` on, and what is added in each column and row from there.
#[derive(Debug)]
pub(super) struct Black {
    pub(super) levels: Vec<f32>,
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) origin: [usize; 2],
    pub(super) per_column: Vec<f32>,
    pub(super) per_row: Vec<f32>,
}

impl Black {
    /// Code of black of a sample of the photosite at a place of the stored picture.
    pub(super) fn at(&self, x: usize, y: usize, sample: usize, samples: usize) -> f32 {
        let [from_left, from_top] = [x.saturating_sub(self.origin[0]), y.saturating_sub(self.origin[1])];
        let place = (from_top % self.height * self.width + from_left % self.width) * samples + sample;
        let added = |list: &[f32], at: usize| list.get(at).copied().unwrap_or(0.0);
        self.levels.get(place).copied().unwrap_or(0.0)
            + added(&self.per_column, from_left)
            + added(&self.per_row, from_top)
    }
}

/// Reads the picture of a file whose directories have been checked.
///
/// # Errors
/// `Malformed` where the reader gives up, `Unsupported` where it does not know the camera, `Limit`.
pub(super) fn read(path: &Path, bytes: Vec<u8>, curve: Option<Vec<u16>>, limits: &Limits) -> Result<Still> {
    let source = RawSource::new_from_shared_vec(Arc::new(bytes));
    let read = contain_on_own_threads(|| {
        let decoder = rawler::get_decoder(&source).map_err(|error| not_read(path, &error))?;
        within(path, decoder.as_ref(), &source, limits)?;
        let image = decoder.raw_image(&source, &RawDecodeParams::default(), false);
        let image = image.map_err(|error| not_read(path, &error))?;
        still(path, decoder.as_ref(), &source, image)
    });
    let still = read.map_err(|_| damaged(path, NOT_FOLLOWED))??;
    Ok(Still { curve, ..still })
}

/// Where the reader gives up.
const NOT_FOLLOWED: &str = "its reader cannot follow it";

/// Pixels and samples that the reader would hold; `None` where the file cannot be read.
pub(super) fn size(bytes: Vec<u8>) -> Option<[u64; 2]> {
    let source = RawSource::new_from_shared_vec(Arc::new(bytes));
    contain_on_own_threads(|| size_of(rawler::get_decoder(&source).ok()?.as_ref(), &source)).ok().flatten()
}

fn size_of(decoder: &dyn Decoder, source: &RawSource) -> Option<[u64; 2]> {
    if decoder.format_hint() == FormatHint::DNG {
        let raw = decoder.ifd(WellKnownIFD::Raw).ok().flatten()?;
        let number = |tag: u16| raw.get_entry(tag).map(|entry| entry.value.force_usize(0) as u64);
        let pixels = number(tag::WIDTH)?.saturating_mul(number(tag::HEIGHT)?);
        return Some([pixels, pixels.saturating_mul(number(tag::SAMPLES)?)]);
    }
    // Measures without decoding.
    let image = decoder.raw_image(source, &RawDecodeParams::default(), true).ok()?;
    let pixels = image.width as u64 * image.height as u64;
    Some([pixels, pixels.saturating_mul(image.cpp as u64)])
}

fn within(path: &Path, decoder: &dyn Decoder, source: &RawSource, limits: &Limits) -> Result<()> {
    let [pixels, samples] = size_of(decoder, source).ok_or_else(|| damaged(path, "it states no size"))?;
    limits.check_picture(path, pixels, 1, false, samples.saturating_mul(2 * SAMPLE_BYTES))?;
    super::super::limits::room_for(
        path,
        usize::try_from(samples.saturating_mul(2 * SAMPLE_BYTES)).unwrap_or(usize::MAX),
    )
}

pub(super) fn damaged(path: &Path, what: &str) -> Error {
    let cause = format!("the raw file is damaged or incomplete ({})", crate::printable_text(what.trim()));
    Error::new(ErrorKind::Malformed, path, cause, "copy the file from the camera's card again")
}

pub(super) fn unsupported(path: &Path, what: &str) -> Error {
    let cause = format!("this form of raw still is not read ({})", crate::printable_text(what));
    Error::new(ErrorKind::Unsupported, path, cause, DEVELOP_IT)
}

fn not_read(path: &Path, error: &RawlerError) -> Error {
    match error {
        RawlerError::Unsupported { what, make, model, .. } => {
            unsupported(path, &format!("{} {} {}", what.trim(), make.trim(), model.trim()))
        }
        // What it says depends on which of its threads came first.
        RawlerError::DecoderFailed(_) => damaged(path, NOT_FOLLOWED),
    }
}

fn still(path: &Path, decoder: &dyn Decoder, source: &RawSource, image: RawImage) -> Result<Still> {
    let dng = decoder.format_hint() == FormatHint::DNG;
    let (width, height, samples) = (image.width, image.height, image.cpp);
    let there = match &image.data {
        RawImageData::Integer(data) => data.len(),
        RawImageData::Float(data) => data.len(),
    };
    if width == 0 || height == 0 || Some(there) != width.checked_mul(height).and_then(|n| n.checked_mul(samples)) {
        return Err(damaged(path, "its picture is not of the size that it states"));
    }
    if image.fuji_rotation_width.is_some() {
        return Err(unsupported(path, "photosites turned by 45 degrees"));
    }
    let mosaic = mosaic_of(path, &image)?;
    let raw = decoder.ifd(WellKnownIFD::Raw).ok().flatten().filter(|_| dng);
    let root = decoder.ifd(WellKnownIFD::Root).ok().flatten().filter(|_| dng);
    let active = image.active_area.map_or([0, 0], |area| [area.p.x, area.p.y]);
    let metadata = decoder.raw_metadata(source, &RawDecodeParams::default()).ok();
    let calibrations = root.as_deref().map(calibrations_of_dng).filter(|all| !all.is_empty());
    Ok(Still {
        width,
        curve: None,
        mosaic,
        samples,
        black: black_of(&image.blacklevel, raw.as_deref(), active),
        white: white_of(&image, raw.as_deref()),
        used: used_of(path, &image)?,
        orientation: orientation_of(&image, metadata.as_ref()),
        calibrations: calibrations.unwrap_or_else(|| calibrations_of_camera(&image)),
        neutral: neutral_of(&image),
        bits: u8::try_from(image.bps).unwrap_or(16).clamp(1, 32),
        meta: metadata.map(|metadata| meta_of(&metadata)).unwrap_or_default(),
        notes: notes(raw.as_deref()),
        data: image.data,
    })
}

fn mosaic_of(path: &Path, image: &RawImage) -> Result<Option<Mosaic>> {
    let cfa = match (&image.photometric, image.cpp) {
        (RawPhotometricInterpretation::Cfa(config), 1) if config.cfa.width > 0 => &config.cfa,
        (RawPhotometricInterpretation::Cfa(_), 3) | (_, 1 | 3) => return Ok(None),
        (_, samples) => return Err(unsupported(path, &format!("{samples} samples a pixel"))),
    };
    let colours = (0..cfa.width * cfa.height).map(|i| cfa.color_at(i / cfa.width, i % cfa.width) as u8);
    Ok(Some(Mosaic { width: cfa.width, height: cfa.height, colours: colours.collect() }))
}

/// The crop that the camera recommends, else all that light fell on, else everything.
fn used_of(path: &Path, image: &RawImage) -> Result<[usize; 4]> {
    let Some(area) = image.crop_area.or(image.active_area) else { return Ok([0, 0, image.width, image.height]) };
    let inside =
        |from: usize, length: usize, all: usize| length > 0 && from.checked_add(length).is_some_and(|end| end <= all);
    if inside(area.p.x, area.d.w, image.width) && inside(area.p.y, area.d.h, image.height) {
        return Ok([area.p.x, area.p.y, area.d.w, area.d.h]);
    }
    Err(damaged(path, "its crop lies outside its picture"))
}

/// DNG counts the pattern from the first photosite that light fell on; elsewhere it begins with the picture.
fn black_of(black: &BlackLevel, raw: Option<&IFD>, active: [usize; 2]) -> Black {
    let list = |tag: u16| {
        let entry = raw.and_then(|ifd| ifd.get_entry(tag))?;
        Some((0..entry.value.count()).map(|i| entry.value.force_f32(i)).collect::<Vec<f32>>())
    };
    Black {
        levels: black.as_vec(),
        width: black.width.max(1),
        height: black.height.max(1),
        origin: if raw.is_some() { active } else { [0, 0] },
        per_column: list(tag::BLACK_PER_COLUMN).unwrap_or_default(),
        per_row: list(tag::BLACK_PER_ROW).unwrap_or_default(),
    }
}

/// Floating-point samples end at 1 where nothing else is stated (DNG specification 1.7.1, `WhiteLevel`).
fn white_of(image: &RawImage, raw: Option<&IFD>) -> Vec<f32> {
    let stated = raw.is_none_or(|ifd| ifd.has_entry(tag::WHITE));
    if matches!(image.data, RawImageData::Float(_)) && !stated { vec![1.0] } else { image.whitelevel.as_vec() }
}

fn orientation_of(image: &RawImage, metadata: Option<&RawMetadata>) -> u16 {
    let told = Some(image.orientation.to_u16()).filter(|o| *o > 1);
    let by_exif = || metadata.and_then(|metadata| metadata.exif.orientation);
    told.or_else(by_exif).filter(|o| (1..=8).contains(o)).unwrap_or(1)
}

/// Colour matrices of a DNG, with the gains and the calibration of this very camera.
fn calibrations_of_dng(root: &IFD) -> Vec<Calibration> {
    let numbers = |tag: u16, count: usize| {
        let entry = root.get_entry(tag).filter(|entry| entry.value.count() == count)?;
        Some((0..count).map(|i| f64::from(entry.value.force_f32(i))).collect::<Vec<f64>>())
    };
    let gains = numbers(tag::ANALOG_BALANCE, 3)
        .map_or_else(Matrix3::identity, |gains| Matrix3::from_diagonal(&Vector3::from_row_slice(&gains)));
    let of = |[illuminant, matrix, own]: [u16; 3]| {
        let own = numbers(own, 9).map_or_else(Matrix3::identity, |own| Matrix3::from_row_slice(&own));
        let kelvin = root.get_entry(illuminant).and_then(|entry| kelvin_of(entry.value.force_u16(0)));
        Some(Calibration { kelvin, own: gains * own, matrix: Matrix3::from_row_slice(&numbers(matrix, 9)?) })
    };
    tag::MATRICES.into_iter().filter_map(of).collect()
}

/// Those that the reader lists for the camera.
fn calibrations_of_camera(image: &RawImage) -> Vec<Calibration> {
    let listed = image.color_matrix.iter().filter(|(_, matrix)| matrix.len() == 9);
    let of = |(illuminant, matrix): (&rawler::imgop::xyz::Illuminant, &Vec<f32>)| {
        let matrix: Vec<f64> = matrix.iter().map(|v| f64::from(*v)).collect();
        let kelvin = kelvin_of(u16::from(*illuminant));
        Calibration { kelvin, own: Matrix3::identity(), matrix: Matrix3::from_row_slice(&matrix) }
    };
    let mut all: Vec<Calibration> = listed.map(of).collect();
    // They are listed in no order.
    all.sort_by(|a, b| b.kelvin.unwrap_or(0.0).total_cmp(&a.kelvin.unwrap_or(0.0)));
    all
}

/// Gains beyond these are none that a camera chose (common practice, no source).
const GAINS: std::ops::RangeInclusive<f64> = 0.1..=10.0;

fn neutral_of(image: &RawImage) -> Option<[f64; 3]> {
    let [red, green, blue, _] = image.wb_coeffs.map(f64::from);
    let gains = [red / green, 1.0, blue / green];
    gains.iter().all(|gain| GAINS.contains(gain)).then(|| gains.map(f64::recip))
}

fn meta_of(metadata: &RawMetadata) -> CaptureMeta {
    let exif = &metadata.exif;
    let ratio = |value: &Option<rawler::formats::tiff::Rational>| {
        let value = value.as_ref()?;
        Some(f64::from(value.n) / f64::from(value.d)).filter(|v| v.is_finite() && *v > 0.0)
    };
    let iso = exif.iso_speed.or(exif.recommended_exposure_index).or(exif.iso_speed_ratings.map(u32::from));
    let offset = exif.offset_time_original.as_deref().and_then(parse_offset_s);
    CaptureMeta {
        exposure_time_s: ratio(&exif.exposure_time),
        f_number: ratio(&exif.fnumber),
        iso: iso.filter(|iso| *iso > 0).map(f64::from),
        focal_length_mm: ratio(&exif.focal_length),
        auto_white_balance: exif.white_balance.map(|mode| mode == 0),
        camera: Some(format!("{} {}", metadata.make.trim(), metadata.model.trim())).filter(|name| name.len() > 1),
        camera_serial: exif.serial_number.clone(),
        lens: exif.lens_model.clone(),
        lens_serial: exif.lens_serial_number.clone(),
        captured: exif.date_time_original.as_deref().and_then(CaptureTime::parse).map(|local| local.or_offset(offset)),
        ..CaptureMeta::default()
    }
}

fn notes(raw: Option<&IFD>) -> Vec<String> {
    let corrected = raw.is_some_and(|ifd| tag::CORRECTIONS.iter().any(|tag| ifd.has_entry(*tag)));
    let note = "it holds lists of corrections (shading, distortion, bad photosites), which are not applied";
    corrected.then(|| note.to_owned()).into_iter().collect()
}
