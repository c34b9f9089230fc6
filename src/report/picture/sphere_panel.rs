//! Square panels: the sphere as photographed or rendered, and the matte sphere predicted from it.

use super::canvas::{Area, CARD, Canvas, INK, PAPER, Pen, RULE, hatch};
use super::display::Display;
use super::lettering::Lettering;
use super::light_marks::{self, Shape};
use super::resize::resized;
use super::{EvidenceSide, LinearPicture};
use crate::Result;

/// Radius of a light's mark on the sphere.
const MARK_RADIUS: f32 = 9.0;

/// The crop with the fitted outline and the lights that are seen in it.
pub(super) fn draw_crop(
    canvas: &mut Canvas,
    lettering: &Lettering,
    side: &EvidenceSide,
    panel: Area,
    display: &Display,
) -> Result<()> {
    let fit = draw_square(canvas, &side.crop, panel, display, Unknown::Hatched)?;
    let outline: Vec<_> = side.outline_points.iter().map(|point| fit.place(*point)).collect();
    // The line lies on the very edge that the eye should check, so it is thin and lets the edge through.
    canvas.polygon(&outline, Pen::new(INK, 3.0).opacity(0.45));
    canvas.polygon(&outline, Pen::new([255, 214, 10], 1.3));
    for (number, light) in light_marks::numbered(&side.lights) {
        let Some(at) = light.crop_xy.map(|at| fit.place(at)) else { continue };
        light_marks::symbol(canvas, at, MARK_RADIUS, Shape::Ring, light.clipped);
        light_marks::tag(canvas, lettering, at, MARK_RADIUS, &number.to_string(), panel);
    }
    canvas.frame(panel, Pen::new(INK, 1.0));
    Ok(())
}

/// The matte sphere on a card.
pub(super) fn draw_matte(canvas: &mut Canvas, side: &EvidenceSide, panel: Area, display: &Display) -> Result<()> {
    canvas.fill(panel, CARD);
    let inset = (panel.width * 0.04).round();
    let inner = Area::new(panel.x + inset, panel.y + inset, panel.width - 2.0 * inset, panel.height - 2.0 * inset);
    draw_square(canvas, &side.matte, inner, display, Unknown::Bare)?;
    canvas.frame(panel, Pen::new(RULE, 1.0));
    Ok(())
}

/// What shows where nothing is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Unknown {
    Hatched,
    Bare,
}

/// How a picture was fitted into a panel.
struct Fit {
    left: f32,
    top: f32,
    scale: f32,
}

impl Fit {
    /// The largest size of the picture's own shape within the panel, centred.
    fn new(picture: &LinearPicture, panel: Area) -> Self {
        let (width, height) = (picture.width.max(1) as f32, picture.height.max(1) as f32);
        let scale = (panel.width / width).min(panel.height / height);
        let left = (panel.x + (panel.width - width * scale) / 2.0).round();
        let top = (panel.y + (panel.height - height * scale) / 2.0).round();
        Self { left, top, scale }
    }

    fn place(&self, [x, y]: [f64; 2]) -> [f32; 2] {
        [self.left + x as f32 * self.scale, self.top + y as f32 * self.scale]
    }
}

fn draw_square(
    canvas: &mut Canvas,
    picture: &LinearPicture,
    panel: Area,
    display: &Display,
    unknown: Unknown,
) -> Result<Fit> {
    let source = picture.source()?;
    let fit = Fit::new(picture, panel);
    let width = (picture.width as f32 * fit.scale).round().max(1.0) as usize;
    let height = (picture.height as f32 * fit.scale).round().max(1.0) as usize;
    let fitted = resized(&source, width, height);
    let (left, top) = (fit.left as usize, fit.top as usize);
    if unknown == Unknown::Hatched {
        canvas.fill(panel, PAPER);
    }
    canvas.pixels([left, top], [width, height], |x, y| match fitted.get(y * width + x) {
        Some(rgb) if !rgb[0].is_nan() => Some(display.rgb(*rgb)),
        _ => (unknown == Unknown::Hatched).then(|| hatch(left + x, top + y)),
    });
    Ok(fit)
}
