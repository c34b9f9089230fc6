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

impl Frame {
    /// The frame cut down to the pixels that lie in a window of its display window; everything else stays as it is.
    #[must_use]
    pub fn cropped(&self, window: &DataWindow) -> Self {
        let span = |low: i64, length: usize, from: i64, count: usize| {
            let inside = |at: i64| (at - low).clamp(0, length as i64) as usize;
            inside(from)..inside(from.saturating_add(count as i64))
        };
        let columns = span(self.data.x, self.data.width, window.x, window.width);
        let rows = span(self.data.y, self.data.height, window.y, window.height);
        let data = DataWindow {
            x: self.data.x + columns.start as i64,
            y: self.data.y + rows.start as i64,
            width: columns.len(),
            height: rows.len(),
        };
        let stride = self.data.width;
        let row = |y: usize| y * stride + columns.start..y * stride + columns.end;
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
