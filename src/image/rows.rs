//! Pictures too large to be held whole, handed on in strips of whole rows from top to bottom.

use super::Frame;

/// Pixels of a strip, unless a single row of blocks has more: 48 MiB decoded.
pub(crate) const STRIP_PIXELS: usize = 4 << 20;

/// Takes a picture in strips.
pub trait RowSink: Send {
    /// The picture without its pixels, before the first strip. Its data window is that of the whole picture.
    fn begin(&mut self, header: &Frame);

    /// The next rows. The strip is a frame of its own whose data window spans these rows alone, and `first_row` is the first
    /// of them, counted from the top of the whole data window.
    fn rows(&mut self, strip: &Frame, first_row: usize);
}

/// Hands a frame that is there whole to a sink.
pub(crate) fn hand_over(frame: &Frame, sink: &mut dyn RowSink) {
    sink.begin(&without_pixels(frame));
    sink.rows(frame, 0);
}

/// The same frame with all that is known of it but its pixels.
pub(crate) fn without_pixels(frame: &Frame) -> Frame {
    Frame {
        path: frame.path.clone(),
        size: frame.size,
        data: frame.data,
        pixel_aspect: frame.pixel_aspect,
        space: frame.space.clone(),
        rgb: Vec::new(),
        alpha: None,
        clip_level: frame.clip_level,
        eight_bit: frame.eight_bit,
        integer_bits: frame.integer_bits,
        format: frame.format,
        meta: frame.meta.clone(),
        record: frame.record.clone(),
        warnings: frame.warnings.clone(),
    }
}
