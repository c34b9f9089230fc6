//! The page of one sphere: what one frame says, without anything to compare it with.

use super::EvidenceSide;
use super::canvas::{Area, Canvas, INK};
use super::display::Display;
use super::header::Header;
use super::lettering::{HEADING, Lettering, SMALL};
use super::light_list::draw_light_list;
use super::light_marks::Shape;
use super::map_panel::{AXIS_BELOW, Map, draw_unwrapped};
use super::sphere_panel::{draw_crop, draw_matte, matte_words};
use crate::Result;
use crate::image::marked_png::encode_png;

const PAGE_WIDTH: f32 = 1140.0;
const MARGIN: f32 = 60.0;
const CONTENT_WIDTH: f32 = PAGE_WIDTH - 2.0 * MARGIN;
const CROP_SIDE: f32 = 380.0;
const MATTE_SIDE: f32 = 280.0;
const MAP_WIDTH: f32 = CONTENT_WIDTH;
const MAP_HEIGHT: f32 = MAP_WIDTH / 2.0;

/// The mark in a sphere picture's text chunk.
const SPHERE_MARK: &str = "plateproof-sphere/1";

/// One frame's sphere as a PNG file, 1140 px wide: crop with outline and lights, grey sphere, unwrapped light.
///
/// `heading` names the frame, of `lines` three are shown; `exposure` is the linear gain for display.
///
/// # Errors
/// `Parameter` where a picture's pixels do not fill its sides.
pub fn render_sphere_picture(side: &EvidenceSide, heading: &str, lines: &[String], exposure: f64) -> Result<Vec<u8>> {
    let mut canvas = Canvas::new(PAGE_WIDTH as u32, 1240)?;
    let lettering = Lettering::new();
    let display = Display::new(exposure);
    let header = Header { name: heading, version: None, verdict: None, badge: None, lines };
    let top = header.draw(&mut canvas, &lettering, Area::new(MARGIN, 32.0, CONTENT_WIDTH, 0.0)) + 24.0;

    draw_crop(
        &mut canvas,
        &lettering,
        &side.sphere,
        (Some(""), Shape::Ring),
        Area::new(MARGIN, top, CROP_SIDE, CROP_SIDE),
        &display,
    )?;
    let matte_left = MARGIN + CONTENT_WIDTH - MATTE_SIDE;
    let list_left = MARGIN + CROP_SIDE + 24.0;
    draw_light_list(
        &mut canvas,
        &lettering,
        &side.sphere,
        "",
        Area::new(list_left, top, matte_left - list_left - 24.0, CROP_SIDE),
    );
    draw_matte(&mut canvas, side, Area::new(matte_left, top, MATTE_SIDE, MATTE_SIDE), &display)?;
    lettering.text(&mut canvas, matte_left, top + MATTE_SIDE + 18.0, "grey sphere under this light,", SMALL);
    lettering.text(&mut canvas, matte_left, top + MATTE_SIDE + 36.0, "computed, not photographed", SMALL);
    if let Some(words) = matte_words(side) {
        lettering.text(&mut canvas, matte_left, top + MATTE_SIDE + 54.0, words, SMALL.inked(INK));
    }

    let map_top = top + CROP_SIDE + 50.0;
    lettering.text(&mut canvas, MARGIN, map_top - 12.0, "Light by direction", HEADING);
    let panel = Area::new(MARGIN, map_top, MAP_WIDTH, MAP_HEIGHT);
    let map = Map { area: panel, from_inside: false };
    draw_unwrapped(&mut canvas, &lettering, side, ("", Shape::Ring), map, &display)?;
    let foot = panel.bottom() + AXIS_BELOW + 34.0;
    let words = format!(
        "Shown {}, sRGB with a soft shoulder; hatched = not seen; a dot in a light = clipped.",
        display.gain_words()
    );
    lettering.text(&mut canvas, MARGIN, foot, &words, SMALL);

    let (width, height, rgb) = canvas.into_rgb();
    let used = ((foot + 24.0) as u32).min(height);
    let pixels = rgb.get(..width as usize * used as usize * 3).unwrap_or_default();
    encode_png(width, used, pixels, SPHERE_MARK)
}
