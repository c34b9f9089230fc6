//! Which part of a picture is decoded.

use super::{DataWindow, Frame};

/// Which part of a picture is wanted. Only OpenEXR files can be read in part; others are read whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Wanted {
    /// Everything.
    #[default]
    All,
    /// The rows and columns in which something is covered, as far as the file's alpha tells: of what is lower than 32
    /// rows and stands alone, or sticks out sideways by more than 32 px, some or all may be left out. Everything where
    /// nothing covered is met, or without alpha.
    Covered,
    /// These pixels of the display window; everything where none of them is there.
    Window(DataWindow),
}

/// A frame that may have been read in part.
#[derive(Debug, Clone)]
pub struct Opened {
    /// The frame. Its data window spans the pixels that were read, and `record.decoded_fraction` and
    /// `record.masked_pixels` count what was read.
    pub frame: Frame,
    /// Everything was read.
    pub complete: bool,
}

impl DataWindow {
    /// What of it lies in another window; without pixels, at that one's nearest edge, where none does.
    #[must_use]
    pub fn within(&self, other: &Self) -> Self {
        let inside = |from: i64, count: usize, start: i64, length: usize| {
            let end = start.saturating_add_unsigned(length as u64);
            let (low, high) = (from.clamp(start, end), from.saturating_add_unsigned(count as u64).clamp(start, end));
            (low, (high - low) as usize)
        };
        let (x, width) = inside(self.x, self.width, other.x, other.width);
        let (y, height) = inside(self.y, self.height, other.y, other.height);
        Self { x, y, width, height }
    }

    /// Moved, where it reaches out of another window, as far as it has to be to lie in that one.
    #[must_use]
    pub fn moved_into(&self, other: &Self) -> Self {
        let inside = |from: i64, count: usize, start: i64, length: usize| {
            let last = start.saturating_add_unsigned(length as u64).saturating_sub_unsigned(count as u64);
            from.min(last).max(start)
        };
        let (x, y) =
            (inside(self.x, self.width, other.x, other.width), inside(self.y, self.height, other.y, other.height));
        Self { x, y, ..*self }
    }

    /// The smallest window that holds both.
    #[must_use]
    pub fn hull(&self, other: &Self) -> Self {
        let span = |a: i64, a_length: usize, b: i64, b_length: usize| {
            let end = a.saturating_add_unsigned(a_length as u64).max(b.saturating_add_unsigned(b_length as u64));
            (a.min(b), end.saturating_sub(a.min(b)) as usize)
        };
        let (x, width) = span(self.x, self.width, other.x, other.width);
        let (y, height) = span(self.y, self.height, other.y, other.height);
        Self { x, y, width, height }
    }
}

impl Frame {
    /// The frame cut down to the pixels that lie in a window of its display window; everything else stays as it is.
    #[must_use]
    pub fn cropped(&self, window: &DataWindow) -> Self {
        let data = window.within(&self.data);
        let first = |y: usize| y * self.data.width + (data.x - self.data.x) as usize;
        let row = |y: usize| first(y)..first(y) + data.width;
        let top = (data.y - self.data.y) as usize;
        let rows = top..top + data.height;
        Self {
            path: self.path.clone(),
            size: self.size,
            data,
            pixel_aspect: self.pixel_aspect,
            space: self.space.clone(),
            rgb: rows.clone().flat_map(|y| &self.rgb[row(y)]).copied().collect(),
            alpha: self.alpha.as_ref().map(|alpha| rows.flat_map(|y| &alpha[row(y)]).copied().collect()),
            clip_level: self.clip_level,
            eight_bit: self.eight_bit,
            integer_bits: self.integer_bits,
            format: self.format,
            meta: self.meta.clone(),
            record: self.record.clone(),
            warnings: self.warnings.clone(),
        }
    }
}
