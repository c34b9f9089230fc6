//! What is asked of a movie beside what is asked of every picture.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::MoviePass;

/// Which frame of a movie, and what somebody knows better than its stream.
#[derive(Debug, Clone, Copy, Default)]
pub struct MovieRequest<'a> {
    /// The frame, counted from 1 in the order shown.
    pub frame_number: Option<u32>,
    /// The frame by its label, in place of its number.
    pub timecode: Option<&'a str>,
    /// What to take of interlaced frames.
    pub field: Option<Field>,
    /// Range of the codes.
    pub code_range: Option<CodeRange>,
    /// Matrix of luma.
    pub matrix: Option<Matrix>,
    /// A pass over the take that other frames are read in too.
    pub pass: Option<&'a MoviePass>,
}

/// The key of a frame's number.
pub(in super::super) const NUMBER_KEY: &str = "frame_number";

impl MovieRequest<'_> {
    /// Something is asked that only a movie has. The number in a still's name is none of its request.
    pub(in super::super) fn asks_for_a_movie(&self) -> Option<&'static str> {
        let asked = [
            (self.frame_number.is_some(), NUMBER_KEY),
            (self.timecode.is_some(), "timecode"),
            (self.field.is_some(), "field"),
            (self.code_range.is_some(), "code_range"),
            (self.matrix.is_some(), "matrix"),
        ];
        asked.into_iter().find_map(|(asked, key)| asked.then_some(key))
    }
}

/// What is taken of an interlaced frame, whose two fields are of different moments.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Field {
    /// The field of the first, third, … row; the rows between are interpolated.
    Upper,
    /// The field of the second, fourth, … row; the rows between are interpolated.
    Lower,
    /// Both: they are of one moment, whatever the stream says.
    Whole,
}

/// What codes stand for black and white.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CodeRange {
    /// 16 and 235 of 8 bits, 64 and 940 of 10 bits; codes beyond are kept.
    Limited,
    /// The lowest and the highest.
    Full,
}

impl CodeRange {
    /// The word of sheets and reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Limited => "limited",
            Self::Full => "full",
        }
    }
}

/// What red, green and blue weigh in luma.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Matrix {
    /// ITU-R BT.709.
    Bt709,
    /// ITU-R BT.601.
    Bt601,
    /// ITU-R BT.2020, non-constant luminance.
    Bt2020,
    /// SMPTE ST 240.
    Smpte240,
}

impl Matrix {
    /// The word of sheets and reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Bt709 => "bt709",
            Self::Bt601 => "bt601",
            Self::Bt2020 => "bt2020",
            Self::Smpte240 => "smpte240",
        }
    }
}
