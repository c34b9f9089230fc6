//! What is asked of a file, and what a decoder hands back before it becomes a [`Frame`].

use std::path::Path;

use super::encoding::Encoding;
use super::limits::Limits;
use super::{CaptureMeta, DataWindow, Frame, InputRecord, MovieRequest, RawBalance, Size};
use crate::colour::ColourSpace;

/// Something taken for true about a file, and who said so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Belief<T> {
    /// What is believed.
    pub value: T,
    /// Who said so: `sheet`, `option`, `file`, `chromaticities`, `profile` or `default`.
    pub from: &'static str,
}

/// Which file to open and what is already known about it.
#[derive(Debug, Clone)]
pub struct OpenRequest<'a> {
    /// The file.
    pub path: &'a Path,
    /// The path as the sheet gives it, for the report.
    pub shown_as: &'a str,
    /// `plate`, `mirror`, `cg`, …
    pub role: &'a str,
    /// Encoding from the sheet or an option; overrides the file.
    pub encoding: Option<Belief<Encoding>>,
    /// Colour space from the sheet or an option; overrides the file.
    pub colour_space: Option<Belief<ColourSpace>>,
    /// OpenEXR layer, part, view or channel to read.
    pub layer: Option<&'a str>,
    /// Scene-linear value at or above which a channel counts as clipped.
    pub clip_level: Option<f64>,
    /// Read the coverage channel too, where there is one.
    pub want_alpha: bool,
    /// Which frame of a movie, and what is known of it.
    pub movie: MovieRequest<'a>,
    /// How a raw still is balanced.
    pub raw_balance: RawBalance,
    /// What the file may cost.
    pub limits: &'a Limits,
}

impl<'a> OpenRequest<'a> {
    /// A file of which nothing is told but its role. It is shown as its path, or as its role where that is no text.
    pub fn of(path: &'a Path, role: &'a str, limits: &'a Limits) -> Self {
        Self {
            path,
            shown_as: path.to_str().unwrap_or(role),
            role,
            encoding: None,
            colour_space: None,
            layer: None,
            clip_level: None,
            want_alpha: false,
            movie: MovieRequest::default(),
            raw_balance: RawBalance::default(),
            limits,
        }
    }
}

/// What a decoder found, before it becomes a [`Frame`].
pub(super) struct Parts {
    pub(super) size: Size,
    pub(super) data: DataWindow,
    pub(super) pixel_aspect: f64,
    pub(super) encoding: Belief<Encoding>,
    pub(super) space: Belief<ColourSpace>,
    pub(super) rgb: Vec<[f32; 3]>,
    pub(super) alpha: Option<Vec<f32>>,
    pub(super) masked: u64,
    /// The format's own ceiling, used where the request gives none.
    pub(super) clip_level: Option<f64>,
    pub(super) integer_bits: Option<u8>,
    pub(super) format: &'static str,
    pub(super) meta: CaptureMeta,
    pub(super) layer: Option<String>,
    pub(super) decoded_fraction: f64,
    pub(super) blake3: String,
    pub(super) warnings: Vec<String>,
}

impl Parts {
    /// The frame with its entry for the report.
    pub(super) fn into_frame(mut self, request: &OpenRequest<'_>) -> Frame {
        self.warnings.extend(masked_words(self.masked, true));
        let record = self.record(request);
        Frame {
            path: request.path.to_path_buf(),
            size: self.size,
            data: self.data,
            pixel_aspect: self.pixel_aspect,
            space: self.space.value,
            rgb: self.rgb,
            alpha: self.alpha,
            clip_level: request.clip_level.or(self.clip_level).map(|level| [level as f32; 3]),
            eight_bit: self.integer_bits.is_some_and(|bits| bits <= 8),
            integer_bits: self.integer_bits,
            format: self.format,
            meta: self.meta,
            record,
            warnings: self.warnings,
        }
    }

    fn record(&self, request: &OpenRequest<'_>) -> InputRecord {
        InputRecord {
            role: request.role.to_owned(),
            file: request.shown_as.to_owned(),
            width: self.size.width,
            height: self.size.height,
            encoding: self.encoding.value.name().to_owned(),
            encoding_from: self.encoding.from.to_owned(),
            colour_space: self.space.value.name.clone(),
            colour_space_from: self.space.from.to_owned(),
            layer: self.layer.clone(),
            decoded_fraction: self.decoded_fraction,
            masked_pixels: self.masked,
            blake3: self.blake3.clone(),
            movie: None,
            raw: None,
        }
    }
}

/// What to say of masked pixels of a picture that was read whole, where there are any.
pub(crate) fn masked_pixels_words(masked: u64) -> Option<String> {
    masked_words(masked, true)
}

/// What to say of masked pixels, where there are any.
pub(super) fn masked_words(masked: u64, complete: bool) -> Option<String> {
    let (pixels, was) = if masked == 1 { ("pixel", "was") } else { ("pixels", "were") };
    let among = if complete { "" } else { " of the part that was read" };
    (masked > 0).then(|| format!("{masked} {pixels}{among} held NaN or Inf and {was} left out"))
}

/// Largest difference between matrix entries at which two colour spaces count as one; published chromaticities are
/// rounded to 0.0001 to 0.001.
const SAME_SPACE_SLACK: f64 = 5e-3;

/// Names of the colour spaces that numbers in a file may turn out to mean.
const NAMED_SPACES: [&str; 5] = ["rec709", "rec2020", "p3-d65", "aces2065-1", "acescg"];

/// Two spaces are one within rounding.
pub(super) fn same_space(a: &ColourSpace, b: &ColourSpace) -> bool {
    (a.to_working - b.to_working).amax() < SAME_SPACE_SLACK
}

/// A space given by its numbers, under its name where it is one of the named ones within rounding.
pub(super) fn named_space(space: ColourSpace) -> ColourSpace {
    NAMED_SPACES
        .iter()
        .filter_map(|name| ColourSpace::parse(name))
        .find(|named| same_space(named, &space))
        .unwrap_or(space)
}
