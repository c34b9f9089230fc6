//! The page: paper, ink, shapes and pixels.

use tiny_skia::{Color, LineCap, Paint, PathBuilder, Pixmap, Rect, Stroke, StrokeDash, Transform};

use crate::{Error, ErrorKind, Result};

/// An 8-bit sRGB colour.
pub(super) type Rgb = [u8; 3];

/// Paper, slightly warm.
pub(super) const PAPER: Rgb = [251, 250, 246];
/// Main ink.
pub(super) const INK: Rgb = [27, 29, 33];
/// Ink of what matters less.
pub(super) const FAINT_INK: Rgb = [104, 106, 110];
/// Rules and frames.
pub(super) const RULE: Rgb = [186, 184, 176];
/// The card behind the grey spheres.
pub(super) const CARD: Rgb = [226, 224, 216];

/// A straight-sided area in page pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Area {
    pub(super) x: f32,
    pub(super) y: f32,
    pub(super) width: f32,
    pub(super) height: f32,
}

impl Area {
    pub(super) fn new(x: f32, y: f32, width: f32, height: f32) -> Self {
        Self { x, y, width, height }
    }

    pub(super) fn right(self) -> f32 {
        self.x + self.width
    }

    pub(super) fn holds(self, [x, y]: [f32; 2]) -> bool {
        (self.x..=self.right()).contains(&x) && (self.y..=self.bottom()).contains(&y)
    }

    pub(super) fn bottom(self) -> f32 {
        self.y + self.height
    }
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pen {
    pub(super) ink: Rgb,
    pub(super) opacity: f32,
    pub(super) width: f32,
    pub(super) dashed: bool,
}

impl Pen {
    pub(super) fn new(ink: Rgb, width: f32) -> Self {
        Self { ink, opacity: 1.0, width, dashed: false }
    }

    pub(super) fn opacity(self, opacity: f32) -> Self {
        Self { opacity, ..self }
    }

    pub(super) fn dashed(self, dashed: bool) -> Self {
        Self { dashed, ..self }
    }
}

/// The page while it is drawn.
pub(super) struct Canvas {
    pixmap: Pixmap,
}

impl Canvas {
    /// An empty sheet of paper.
    pub(super) fn new(width: u32, height: u32) -> Result<Self> {
        let mut pixmap = Pixmap::new(width, height).ok_or_else(|| {
            Error::new(ErrorKind::Limit, "evidence picture", "the page has no usable size", "report this as a fault")
        })?;
        pixmap.fill(colour(PAPER, 1.0));
        Ok(Self { pixmap })
    }

    /// Width and height, px.
    pub(super) fn size(&self) -> (f32, f32) {
        (self.pixmap.width() as f32, self.pixmap.height() as f32)
    }

    /// The finished page, three bytes a pixel.
    pub(super) fn into_rgb(self) -> (u32, u32, Vec<u8>) {
        let (width, height) = (self.pixmap.width(), self.pixmap.height());
        let rgb = self.pixmap.data().chunks_exact(4).flat_map(|rgba| [rgba[0], rgba[1], rgba[2]]).collect();
        (width, height, rgb)
    }

    /// Fills a rectangle.
    pub(super) fn fill(&mut self, area: Area, ink: Rgb) {
        if let Some(rect) = Rect::from_xywh(area.x, area.y, area.width, area.height) {
            self.pixmap.fill_rect(rect, &paint(ink, 1.0), Transform::identity(), None);
        }
    }

    /// Frames a rectangle, the line inside it.
    pub(super) fn frame(&mut self, area: Area, pen: Pen) {
        let half = pen.width / 2.0;
        let corners = [
            [area.x + half, area.y + half],
            [area.right() - half, area.y + half],
            [area.right() - half, area.bottom() - half],
            [area.x + half, area.bottom() - half],
        ];
        self.polygon(&corners, pen);
    }

    /// A line through points.
    pub(super) fn polyline(&mut self, points: &[[f32; 2]], pen: Pen) {
        self.stroke(points, false, pen);
    }

    /// A closed line through points.
    pub(super) fn polygon(&mut self, points: &[[f32; 2]], pen: Pen) {
        self.stroke(points, true, pen);
    }

    /// A circle.
    pub(super) fn circle(&mut self, centre: [f32; 2], radius: f32, pen: Pen) {
        if let Some(path) = PathBuilder::from_circle(centre[0], centre[1], radius) {
            let ink = paint(pen.ink, pen.opacity);
            self.pixmap.stroke_path(&path, &ink, &stroke_of(pen), Transform::identity(), None);
        }
    }

    /// Sets a block of pixels, clipped to the page; `None` leaves the page as it is.
    pub(super) fn pixels(
        &mut self,
        [x, y]: [usize; 2],
        [width, height]: [usize; 2],
        pixel: impl Fn(usize, usize) -> Option<Rgb>,
    ) {
        let page_width = self.pixmap.width() as usize;
        let columns = width.min(page_width.saturating_sub(x));
        let lines = self.pixmap.data_mut().chunks_exact_mut(page_width * 4).skip(y).take(height);
        for (row, line) in lines.enumerate() {
            for (column, rgba) in line.chunks_exact_mut(4).skip(x).take(columns).enumerate() {
                if let Some([r, g, b]) = pixel(column, row) {
                    rgba.copy_from_slice(&[r, g, b, 255]);
                }
            }
        }
    }

    /// Mixes `ink` into one pixel by `coverage`, 0 to 1.
    pub(super) fn blend(&mut self, x: i32, y: i32, ink: Rgb, coverage: f32) {
        let (width, height) = (self.pixmap.width() as i32, self.pixmap.height() as i32);
        if x < 0 || y < 0 || x >= width || y >= height {
            return;
        }
        let at = (y as usize * width as usize + x as usize) * 4;
        let Some(rgba) = self.pixmap.data_mut().get_mut(at..at + 3) else { return };
        for (channel, ink) in rgba.iter_mut().zip(ink) {
            let mixed = f32::from(*channel) + (f32::from(ink) - f32::from(*channel)) * coverage.clamp(0.0, 1.0);
            *channel = mixed.round() as u8;
        }
    }

    fn stroke(&mut self, points: &[[f32; 2]], closed: bool, pen: Pen) {
        if let Some(path) = path(points, closed) {
            let ink = paint(pen.ink, pen.opacity);
            self.pixmap.stroke_path(&path, &ink, &stroke_of(pen), Transform::identity(), None);
        }
    }
}

/// What stands for "unknown": grey with diagonal lines, the same wherever it lies on the page.
pub(super) fn hatch(x: usize, y: usize) -> Rgb {
    match (x + y) % 8 {
        0 => [158, 157, 152],
        1 | 7 => [184, 183, 177],
        _ => [206, 205, 199],
    }
}

fn colour([r, g, b]: Rgb, opacity: f32) -> Color {
    Color::from_rgba8(r, g, b, (opacity.clamp(0.0, 1.0) * 255.0).round() as u8)
}

fn paint(ink: Rgb, opacity: f32) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color(colour(ink, opacity));
    paint.anti_alias = true;
    paint
}

fn stroke_of(pen: Pen) -> Stroke {
    let dash = if pen.dashed { StrokeDash::new(vec![4.0, 3.0], 0.0) } else { None };
    let line_cap = if pen.dashed { LineCap::Butt } else { LineCap::Round };
    Stroke { width: pen.width, line_cap, dash, ..Stroke::default() }
}

/// A path through the finite points; nothing where fewer than two are left.
fn path(points: &[[f32; 2]], closed: bool) -> Option<tiny_skia::Path> {
    let mut builder = PathBuilder::new();
    let usable = points.iter().filter(|[x, y]| x.abs() < 1e5 && y.abs() < 1e5);
    for (index, &[x, y]) in usable.enumerate() {
        if index == 0 { builder.move_to(x, y) } else { builder.line_to(x, y) }
    }
    if closed && !builder.is_empty() {
        builder.close();
    }
    builder.finish()
}
