//! Text on the page.

use ab_glyph::{Font, FontRef, PxScale, ScaleFont, point};

use super::canvas::{Canvas, FAINT_INK, INK, Rgb};
use crate::printable_text;

/// Inter Regular 4.0, SIL Open Font License 1.1 (its text lies beside the file).
static INTER_REGULAR: &[u8] = include_bytes!("typeface/Inter-Regular.otf");

/// The two faces on the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Face {
    /// Fixed width, for numbers and tables.
    Fixed,
    /// Proportional, for headings.
    Plain,
}

/// How text is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Style {
    face: Face,
    size: f32,
    ink: Rgb,
}

impl Style {
    pub(super) const fn new(face: Face, size: f32, ink: Rgb) -> Self {
        Self { face, size, ink }
    }

    pub(super) const fn inked(self, ink: Rgb) -> Self {
        Self { ink, ..self }
    }
}

/// Table text.
pub(super) const TABLE: Style = Style::new(Face::Fixed, 16.0, INK);
/// Small text: axes, remarks. Still read at half the page's size.
pub(super) const SMALL: Style = Style::new(Face::Fixed, 16.0, FAINT_INK);
/// Headings of panels.
pub(super) const HEADING: Style = Style::new(Face::Plain, 21.0, INK);

/// The fonts, read once for a page.
pub(super) struct Lettering {
    fixed: Option<FontRef<'static>>,
    plain: Option<FontRef<'static>>,
}

impl Lettering {
    /// The two openly licensed fonts that the program carries.
    pub(super) fn new() -> Self {
        Self {
            fixed: FontRef::try_from_slice(epaint_default_fonts::HACK_REGULAR).ok(),
            plain: FontRef::try_from_slice(INTER_REGULAR).ok(),
        }
    }

    /// Sets one line with its baseline at `y`, beginning at `x`; returns where it ends. Control characters are escaped.
    pub(super) fn text(&self, canvas: &mut Canvas, x: f32, y: f32, text: &str, style: Style) -> f32 {
        let Some(font) = self.font(style.face) else { return x };
        let scaled = font.as_scaled(PxScale::from(style.size));
        let mut pen_x = x;
        for c in printable_text(text).chars() {
            let id = scaled.glyph_id(c);
            let glyph = id.with_scale_and_position(style.size, point(pen_x, y));
            pen_x += scaled.h_advance(id);
            let Some(outline) = scaled.outline_glyph(glyph) else { continue };
            let corner = outline.px_bounds().min;
            let (left, top) = (corner.x as i32, corner.y as i32);
            outline.draw(|dx, dy, coverage| canvas.blend(left + dx as i32, top + dy as i32, style.ink, coverage));
        }
        pen_x
    }

    /// Sets one line that ends at `x`.
    pub(super) fn text_right(&self, canvas: &mut Canvas, x: f32, y: f32, text: &str, style: Style) {
        self.text(canvas, (x - self.width(text, style)).round(), y, text, style);
    }

    /// Sets one line with its middle at `x`.
    pub(super) fn text_centred(&self, canvas: &mut Canvas, x: f32, y: f32, text: &str, style: Style) {
        self.text(canvas, (x - self.width(text, style) / 2.0).round(), y, text, style);
    }

    /// Width of a line in pixels.
    pub(super) fn width(&self, text: &str, style: Style) -> f32 {
        let Some(font) = self.font(style.face) else { return 0.0 };
        let scaled = font.as_scaled(PxScale::from(style.size));
        printable_text(text).chars().map(|c| scaled.h_advance(scaled.glyph_id(c))).sum()
    }

    /// `text`, cut with three dots where it is wider than `room`.
    pub(super) fn fitted(&self, text: &str, style: Style, room: f32) -> String {
        if self.width(text, style) <= room {
            return text.to_owned();
        }
        let mut kept = String::new();
        let mut left = room - self.width("...", style);
        for c in text.chars() {
            left -= self.width(c.encode_utf8(&mut [0; 4]), style);
            if left < 0.0 {
                break;
            }
            kept.push(c);
        }
        kept.trim_end().to_owned() + "..."
    }

    /// `text` in at most `most` lines no wider than `room`; the last one is cut where there is more.
    pub(super) fn wrapped(&self, text: &str, style: Style, room: f32, most: usize) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in text.split_whitespace() {
            match lines.last_mut() {
                Some(line) if self.width(&format!("{line} {word}"), style) > room => {
                    lines.push(word.to_owned());
                }
                Some(line) => {
                    line.push(' ');
                    line.push_str(word);
                }
                None => lines.push(word.to_owned()),
            }
        }
        let cut = lines.len() > most;
        lines.truncate(most);
        if let Some(last) = lines.last_mut().filter(|_| cut) {
            last.push_str(" ...");
        }
        lines.iter().map(|line| self.fitted(line, style, room)).collect()
    }

    fn font(&self, face: Face) -> Option<&FontRef<'static>> {
        match face {
            Face::Fixed => self.fixed.as_ref(),
            Face::Plain => self.plain.as_ref(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_fonts_read_and_hold_our_letters() {
        let lettering = Lettering::new();
        for font in [lettering.fixed.unwrap(), lettering.plain.unwrap()] {
            for c in ('!'..='~').chain(['°', '±', 'ä', 'é', 'ø']) {
                assert_ne!(font.glyph_id(c).0, 0, "{c}");
            }
        }
    }

    #[test]
    fn fitted_text_fits() {
        let lettering = Lettering::new();
        let long = "salt ferry ".repeat(40);
        let fitted = lettering.fitted(&long, TABLE, 200.0);
        assert!(lettering.width(&fitted, TABLE) <= 200.0);
        assert!(fitted.ends_with("..."));
        assert_eq!(lettering.fitted("short", TABLE, 200.0), "short");
    }

    #[test]
    fn wrapped_text_keeps_to_its_lines() {
        let lettering = Lettering::new();
        let lines = lettering.wrapped(&"turn the key ".repeat(20), SMALL, 300.0, 3);
        assert_eq!(lines.len(), 3);
        assert!(lines.iter().all(|line| lettering.width(line, SMALL) <= 300.0));
        assert!(lines[2].ends_with("..."));
        assert_eq!(lettering.wrapped("two words", SMALL, 300.0, 3), ["two words"]);
    }
}
