//! One picture as the sheet describes it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::image::limits::Limits;
use crate::image::{CodeRange, Field, Matrix, MoviePass, MovieRequest, RawBalance, is_movie_name};
use crate::{Error, ErrorKind, Result};

/// One picture. In a sheet, a plain string is short for an object with that `frame`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[schemars(extend("required" = ["frame"]))]
pub struct ImageSpec {
    /// The file, relative to the sheet. `####` or `%04d` is replaced by the frame number.
    #[schemars(length(min = 1))]
    pub frame: String,
    /// How code values relate to light: a name (`scene-linear`, `srgb`, …; see `plateproof explain encodings`), or a
    /// Common LUT Format file (`show.clf`, relative to the sheet) that converts code values to scene-linear light, or
    /// `ocio:NAME`, a colour space of the OpenColorIO config given by `--ocio` or `$OCIO` (`ocio:` alone: by its file rules). If
    /// left out: what the file says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub encoding: Option<String>,
    /// `rec709`, `rec2020`, `p3-d65`, `aces2065-1`, `acescg` or `xyz`. If left out: what the file says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colour_space: Option<String>,
    /// Scene-linear value at which the recording clips.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub clip_level: Option<f64>,
    /// `fixed`: the camera's white balance was set by hand, even if the file says otherwise. For a raw still, `as-shot` (the
    /// camera's own balance, also if this is left out) or `unit` (daylight is neutral in every frame, whatever the camera was set to).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub white_balance: Option<WhiteBalance>,
    /// Layer or part to read, if the file has several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layer: Option<String>,
    /// Exposure relative to the plate, stops; + = recorded brighter. Radiance = pixel / 2^stops.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = -40.0, max = 40.0))]
    pub exposure_stops: Option<f64>,
    /// The frame number that replaces `####` or `%04d`; for a movie the frame, counted from 1 in display order.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frame_number: Option<u32>,
    /// First and last frame to check: numbers that replace `####` or `%04d`, or frames of a movie counted from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frame_range: Option<[u32; 2]>,
    /// The frame of a movie by its timecode, instead of its number: `01:12:03:14`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(length(min = 1))]
    pub timecode: Option<String>,
    /// For an interlaced movie: use the `upper` or the `lower` field, with the rows between interpolated, or the `whole`
    /// frame if both fields show the same moment, whatever the movie says. If left out: interlaced frames are refused.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<Field>,
    /// For a movie whose stream states the wrong range: `limited` (black and white at 64 and 940 of 10 bits) or `full`.
    /// If left out: what the stream says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub code_range: Option<CodeRange>,
    /// For a movie whose stream states no matrix, or the wrong one: the matrix that turned red, green and blue into luma
    /// and colour differences, `bt709`, `bt601`, `bt2020` or `smpte240`. If left out: what the stream says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub matrix: Option<Matrix>,
    /// `encoding` came from a command-line option, not from the sheet.
    #[serde(skip)]
    pub encoding_by_option: bool,
    /// `colour_space` came from a command-line option, not from the sheet.
    #[serde(skip)]
    pub colour_space_by_option: bool,
    /// The colour config in which an encoding `ocio:NAME` is looked up. Set by whoever runs the program, never by a sheet.
    #[serde(skip)]
    pub colour_config: Option<Arc<str>>,
    /// A pass over the movie, where more of its frames are wanted.
    #[serde(skip)]
    pub pass: Option<Arc<MoviePass>>,
    /// How much memory and time reading the file may take. Set by whoever runs the program, never by a sheet.
    #[serde(skip)]
    pub limits: Limits,
}

/// How the camera's white balance was set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum WhiteBalance {
    /// Set by hand.
    Fixed,
    /// Of a raw still: as the camera balanced it.
    AsShot,
    /// Of a raw still: no gains, so that daylight is neutral.
    Unit,
}

impl ImageSpec {
    /// A picture of which only the file is given.
    pub fn of_frame(frame: impl Into<String>) -> Self {
        Self { frame: frame.into(), ..Self::default() }
    }

    /// The file name with its frame number filled in: `frame_number`, else the first of `frame_range`.
    ///
    /// # Errors
    /// Where the name holds `####` or `%04d` and neither number is given.
    pub fn file_name(&self) -> Result<String> {
        let Some(pattern) = NumberPattern::find(&self.frame) else { return Ok(self.frame.clone()) };
        let number = self.frame_number.or(self.frame_range.map(|range| range[0])).ok_or_else(|| {
            let cause = format!("`{}` stands for a frame number, and none is given", pattern.text);
            Error::new(ErrorKind::Parameter, &self.frame, cause, "add `frame_number` or `frame_range` beside `frame`")
        })?;
        Ok(pattern.fill(number))
    }

    /// No file is named.
    pub(crate) fn names_no_file(&self) -> bool {
        self.frame.is_empty()
    }

    /// It is a frame of a movie, by the name's ending.
    pub fn is_movie(&self) -> bool {
        is_movie_name(&self.frame)
    }

    /// Its name stands for many frames, of which a number tells one.
    pub fn has_numbers(&self) -> bool {
        self.is_movie() || NumberPattern::find(&self.frame).is_some()
    }

    /// What is asked of a movie; the first of `frame_range` where no frame is named.
    pub(crate) fn movie_request(&self) -> MovieRequest<'_> {
        let first = || self.frame_range.map(|range| range[0]).filter(|_| self.timecode.is_none());
        MovieRequest {
            // The number of a still stands in its name by now.
            frame_number: self.frame_number.or_else(first).filter(|_| self.is_movie() || !self.has_numbers()),
            timecode: self.timecode.as_deref(),
            field: self.field,
            code_range: self.code_range,
            matrix: self.matrix,
            pass: self.pass.as_deref(),
        }
    }

    /// How a raw still is balanced.
    pub(crate) fn raw_balance(&self) -> RawBalance {
        if self.white_balance == Some(WhiteBalance::Unit) { RawBalance::Unit } else { RawBalance::AsShot }
    }

    /// The file itself; a relative name is taken from `base_dir`.
    ///
    /// # Errors
    /// As [`Self::file_name`].
    pub fn path(&self, base_dir: &Path) -> Result<PathBuf> {
        Ok(base_dir.join(self.file_name()?))
    }
}

/// The place of the frame number in a file name.
struct NumberPattern<'a> {
    before: &'a str,
    text: &'a str,
    after: &'a str,
    digits: usize,
}

impl<'a> NumberPattern<'a> {
    fn find(name: &'a str) -> Option<Self> {
        // A folder may carry a lone # in its name; only the file's own name is a pattern.
        let file_start = name.rfind(['/', '\\']).map_or(0, |at| at + 1);
        Self::find_hashes(name, file_start).or_else(|| Self::find_percent(name, file_start))
    }

    fn find_hashes(name: &'a str, from: usize) -> Option<Self> {
        let start = from + name.get(from..)?.rfind('#')? + 1;
        let digits = name[from..start].chars().rev().take_while(|&c| c == '#').count();
        // A lone # is an ordinary character: `take#3.exr`.
        (digits >= 2).then(|| Self::at(name, start - digits, start, digits))
    }

    fn find_percent(name: &'a str, from: usize) -> Option<Self> {
        let start = from + name.get(from..)?.rfind('%')?;
        let width = name[start + 1..].find('d')?;
        let digits = &name[start + 1..start + 1 + width];
        let plain = digits.len() <= 3 && digits.chars().all(|c| c.is_ascii_digit());
        plain.then(|| Self::at(name, start, start + 2 + width, digits.parse().unwrap_or(0).min(20)))
    }

    fn at(name: &'a str, start: usize, end: usize, digits: usize) -> Self {
        Self { before: &name[..start], text: &name[start..end], after: &name[end..], digits }
    }

    fn fill(&self, number: u32) -> String {
        format!("{}{number:0digits$}{}", self.before, self.after, digits = self.digits.min(20))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbered(frame: &str, number: u32) -> String {
        ImageSpec { frame_number: Some(number), ..ImageSpec::of_frame(frame) }.file_name().unwrap()
    }

    #[test]
    fn both_number_patterns_are_filled() {
        assert_eq!(numbered("plate.####.exr", 7), "plate.0007.exr");
        assert_eq!(numbered("plate.%04d.exr", 1001), "plate.1001.exr");
        assert_eq!(numbered("plate.%d.exr", 7), "plate.7.exr");
        assert_eq!(numbered("dir##/plate.##.exr", 123), "dir##/plate.123.exr");
        assert_eq!(numbered("take#3.exr", 12), "take#3.exr");
        assert_eq!(numbered("dir#1/plate.exr", 12), "dir#1/plate.exr");
        assert_eq!(numbered("100%.exr", 12), "100%.exr");
    }

    #[test]
    fn a_range_gives_its_first_frame() {
        let image = ImageSpec { frame_range: Some([1001, 1010]), ..ImageSpec::of_frame("p.####.exr") };
        assert_eq!(image.path(Path::new("a")).unwrap(), Path::new("a/p.1001.exr"));
    }

    #[test]
    fn a_pattern_without_number_is_an_error() {
        let error = ImageSpec::of_frame("p.####.exr").file_name().unwrap_err();
        assert!(error.to_string().contains("frame_number"), "{error}");
    }
}
