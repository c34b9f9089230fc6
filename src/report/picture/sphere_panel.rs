//! Square panels: the sphere as photographed or rendered, and the grey sphere predicted from it.

use super::canvas::{Area, CARD, Canvas, INK, PAPER, Pen, RULE, Rgb, hatch};
use super::display::Display;
use super::lettering::Lettering;
use super::light_marks::{self, Beside, Shape};
use super::resize::resized;
use super::{EvidenceSide, LinearPicture, ShownSphere};
use crate::Result;

/// The fitted outline.
pub(super) const OUTLINE: Rgb = [255, 214, 10];
/// Radius of a light's mark on the sphere.
const MARK_RADIUS: f32 = 9.0;

/// The crop with the fitted outline and the lights that are seen in it. They are named where there is a letter for them.
pub(super) fn draw_crop(
    canvas: &mut Canvas,
    lettering: &Lettering,
    sphere: &ShownSphere,
    (letter, shape): (Option<&str>, Shape),
    panel: Area,
    display: &Display,
) -> Result<()> {
    let fit = draw_fitted(canvas, &sphere.crop, panel, display, hatch)?;
    let outline: Vec<_> = sphere.outline_points.iter().map(|point| fit.place(*point)).collect();
    // The line lies on the very edge that the eye should check, so it is thin and lets the edge through.
    for pen in [Pen::new(INK, 3.0).opacity(0.45), Pen::new(OUTLINE, 1.3)] {
        draw_within(canvas, &outline, panel, pen);
    }
    for (number, light) in light_marks::numbered(&sphere.lights) {
        let Some(at) = light.crop_xy.map(|at| fit.place(at)).filter(|at| panel.holds(*at)) else { continue };
        light_marks::symbol(canvas, at, MARK_RADIUS, shape, light.clipped);
        if let Some(letter) = letter {
            let name = format!("{letter}{number}");
            light_marks::tag(canvas, lettering, at, MARK_RADIUS, &name, Beside::Above, panel);
        }
    }
    for ghost in &sphere.ghosts {
        let Some(at) = ghost.crop_xy.map(|at| fit.place(at)).filter(|at| panel.holds(*at)) else { continue };
        light_marks::symbol(canvas, at, MARK_RADIUS, Shape::Ghost, false);
        if letter.is_some() {
            let words = format!("{} missing", ghost.name);
            light_marks::tag(canvas, lettering, at, MARK_RADIUS, &words, Beside::Below, panel);
        }
    }
    canvas.frame(panel, Pen::new(INK, 1.0));
    Ok(())
}

/// The grey sphere on a card.
pub(super) fn draw_matte(canvas: &mut Canvas, side: &EvidenceSide, panel: Area, display: &Display) -> Result<()> {
    canvas.fill(panel, CARD);
    let inset = (panel.width * 0.04).round();
    let inner = Area::new(panel.x + inset, panel.y + inset, panel.width - 2.0 * inset, panel.height - 2.0 * inset);
    draw_fitted(canvas, &side.matte, inner, display, |_, _| CARD)?;
    canvas.frame(panel, Pen::new(RULE, 1.0));
    Ok(())
}

/// What has to be said of a grey sphere under lights of which some are known from below only.
pub(super) fn matte_words(side: &EvidenceSide) -> Option<&'static str> {
    side.sphere.lights.iter().any(|light| light.clipped).then_some("brighter in truth: a light is clipped")
}

/// The parts of a closed line that lie within the panel.
fn draw_within(canvas: &mut Canvas, points: &[[f32; 2]], panel: Area, pen: Pen) {
    if points.iter().all(|point| panel.holds(*point)) {
        canvas.polygon(points, pen);
        return;
    }
    let closed: Vec<_> = points.iter().chain(points.first()).copied().collect();
    for run in closed.split(|point| !panel.holds(*point)) {
        canvas.polyline(run, pen);
    }
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

/// Draws a picture as large as the panel allows; what is unknown shows `behind`.
fn draw_fitted(
    canvas: &mut Canvas,
    picture: &LinearPicture,
    panel: Area,
    display: &Display,
    behind: impl Fn(usize, usize) -> Rgb,
) -> Result<Fit> {
    let fit = Fit::new(picture, panel);
    let width = (picture.width as f32 * fit.scale).round().max(1.0) as usize;
    let height = (picture.height as f32 * fit.scale).round().max(1.0) as usize;
    let fitted = resized(&picture.source()?, width, height);
    let (left, top) = (fit.left as usize, fit.top as usize);
    canvas.pixels([left, top], [width, height], |x, y| {
        let (rgb, known) = fitted.get(y * width + x)?;
        let behind = if *known < 1.0 { behind(left + x, top + y) } else { PAPER };
        Some(mixed(behind, display.rgb(*rgb), *known))
    });
    Ok(fit)
}

/// A soft edge where a pixel is known in part.
fn mixed(behind: Rgb, before: Rgb, known: f32) -> Rgb {
    std::array::from_fn(|c| {
        let (behind, before) = (f32::from(behind[c]), f32::from(before[c]));
        (behind + (before - behind) * known.clamp(0.0, 1.0)).round() as u8
    })
}
