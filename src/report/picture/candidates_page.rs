//! The page of a refused frame: the frame with the round things in it outlined and numbered.

use super::LinearPicture;
use super::canvas::{Area, Canvas, INK, PAPER, Pen};
use super::display::Display;
use super::lettering::{Face, Lettering, SMALL, Style, TABLE};
use super::resize::resized;
use super::sphere_panel::OUTLINE;
use crate::Result;
use crate::findings::REPORT_FORMAT;
use crate::image::marked_png::encode_png;

/// Room for two lines of text below the picture, px.
const FOOT: f32 = 52.0;
const MARGIN: f32 = 12.0;
/// Narrower pages would cut the words below the picture.
const LEAST_WIDTH: usize = 480;

/// Numbers beside the outlines.
const NUMBER: Style = Style::new(Face::Fixed, 22.0, INK);
const NUMBER_HEIGHT: f32 = 26.0;

/// A frame in its own size as a PNG file, with closed polygons in its pixel coordinates drawn and numbered from 1.
/// `heading` names the frame; `exposure` is the linear gain for display.
///
/// # Errors
/// `Parameter` where the picture's pixels do not fill its sides.
pub fn render_candidates(
    picture: &LinearPicture,
    outlines: &[Vec<[f64; 2]>],
    heading: &str,
    exposure: f64,
) -> Result<Vec<u8>> {
    let (width, height) = (picture.width, picture.height);
    let mut canvas = Canvas::new(width.max(LEAST_WIDTH) as u32, height as u32 + FOOT as u32)?;
    let (lettering, display) = (Lettering::new(), Display::new(exposure));
    let pixels = resized(&picture.source()?, width, height);
    canvas.pixels([0, 0], [width, height], |x, y| {
        let (rgb, known) = pixels[y * width + x];
        (known > 0.0).then(|| display.rgb(rgb))
    });
    let panel = Area::new(0.0, 0.0, width as f32, height as f32);
    for (index, outline) in outlines.iter().enumerate() {
        draw_numbered(&mut canvas, &lettering, index + 1, outline, panel);
    }
    words_below(&mut canvas, &lettering, heading, &display, height as f32);
    let (width, height, rgb) = canvas.into_rgb();
    encode_png(width, height, &rgb, REPORT_FORMAT)
}

fn draw_numbered(canvas: &mut Canvas, lettering: &Lettering, number: usize, outline: &[[f64; 2]], panel: Area) {
    let points: Vec<[f32; 2]> = outline.iter().map(|point| point.map(|v| v as f32)).collect();
    for pen in [Pen::new(INK, 4.0).opacity(0.5), Pen::new(OUTLINE, 1.6)] {
        canvas.polygon(&points, pen);
    }
    let Some(top) = points.iter().copied().min_by(|a, b| a[1].total_cmp(&b[1])) else { return };
    // On a card of its own: the number has to be read on any picture. What reaches beyond the picture is moved into it.
    let words = number.to_string();
    let card_width = lettering.width(&words, NUMBER) + 10.0;
    let x = (top[0] - card_width / 2.0).clamp(panel.x, (panel.right() - card_width).max(panel.x));
    let y = (top[1] - NUMBER_HEIGHT - 3.0).clamp(panel.y, (panel.bottom() - NUMBER_HEIGHT).max(panel.y));
    canvas.fill(Area::new(x.round(), y.round(), card_width.round(), NUMBER_HEIGHT), OUTLINE);
    lettering.text(canvas, (x + 5.0).round(), (y + 20.0).round(), &words, NUMBER);
}

fn words_below(canvas: &mut Canvas, lettering: &Lettering, heading: &str, display: &Display, top: f32) {
    let (width, _) = canvas.size();
    canvas.fill(Area::new(0.0, top, width, FOOT), PAPER);
    let room = width - 2.0 * MARGIN;
    let name = lettering.fitted(heading, TABLE, room);
    lettering.text(canvas, MARGIN, top + 20.0, &name, TABLE);
    let words = format!("No sphere was found. Round things, numbered as listed; shown {}.", display.gain_words());
    lettering.text(canvas, MARGIN, top + 40.0, &lettering.fitted(&words, SMALL, room), SMALL);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outlines_are_drawn_in_their_places_and_those_at_the_edge_keep_their_numbers() {
        let picture = LinearPicture { width: 200, height: 100, rgb: vec![[0.2; 3]; 20_000] };
        let square = |x: f64, y: f64| vec![[x, y], [x + 40.0, y], [x + 40.0, y + 40.0], [x, y + 40.0]];
        let png = render_candidates(&picture, &[square(60.0, 40.0), square(-20.0, -20.0)], "a.jpg", 1.0).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(&png)).read_info().unwrap();
        let mut rgb = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut rgb).unwrap();
        assert_eq!((info.width, info.height), (480, 152));
        let at = |x: usize, y: usize| &rgb[(y * 480 + x) * 3..][..3];
        assert!(at(100, 60)[2] < 60, "the right side of the first square is yellow: {:?}", at(100, 60));
        assert_eq!(at(2, 2), OUTLINE, "the card of the second number was moved into the picture");
    }
}
