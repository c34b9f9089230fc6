//! The overview of many shots, laid out as a printed table, one row a shot, on as many pages as it takes.

use super::canvas::{Area, CARD, Canvas, FAINT_INK, INK, PAPER, Pen, RULE, Rgb, hatch};
use super::lettering::{Face, Lettering, SMALL, Style, TABLE};
use super::resize::{Source, resized};
use crate::Result;
use crate::findings::{REPORT_FORMAT, ShotVerdict};
use crate::image::marked_png::encode_png;

const PAGE_WIDTH: f32 = 1240.0;
const PAGE_HEIGHT: f32 = 1754.0;
const MARGIN: f32 = 64.0;
const RIGHT: f32 = PAGE_WIDTH - MARGIN;
/// Where the table begins.
const TABLE_TOP: f32 = 212.0;
const ROW_HEIGHT: f32 = 148.0;
/// Side of one sphere in the table.
const SPHERE_SIDE: f32 = 120.0;
const SHOT_X: f32 = MARGIN + 2.0 * SPHERE_SIDE + 28.0;
const VERDICT_X: f32 = SHOT_X + 216.0;
const WORDS_X: f32 = VERDICT_X + 152.0;

const TITLE: Style = Style::new(Face::Plain, 40.0, INK);
const SHOT: Style = Style::new(Face::Plain, 27.0, INK);
const VERDICT: Style = Style::new(Face::Fixed, 16.0, INK);
const REMEDY_LINE: f32 = 20.0;

/// Shots on one page.
pub const OVERVIEW_ROWS: usize = 10;

/// A small square picture, 8-bit sRGB, three bytes a pixel, rows from the top.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thumbnail {
    /// Pixels across and down.
    pub side: usize,
    /// `side × side` pixels.
    pub rgb: Vec<u8>,
}

/// One shot of the table.
#[derive(Debug, Clone, PartialEq)]
pub struct OverviewRow {
    /// The shot's name.
    pub shot: String,
    /// The CG version.
    pub version: Option<String>,
    /// Its verdict.
    pub verdict: ShotVerdict,
    /// What is wrong, why nothing can be decided, or that all agrees.
    pub words: String,
    /// What to do; empty where nothing has to be done.
    pub remedy: String,
    /// What became of it since an earlier set.
    pub change: Option<String>,
    /// The photographed and the CG sphere, where they can be shown.
    pub spheres: Option<[Thumbnail; 2]>,
}

/// The head of every page.
#[derive(Debug, Clone, PartialEq)]
pub struct OverviewHead {
    /// What is summed up.
    pub title: String,
    /// A few lines on the whole show; three are shown.
    pub lines: Vec<String>,
    /// This page, counted from 1, and how many there are.
    pub page: [usize; 2],
}

/// One page of the overview as a PNG file of 1240 × 1754 px; of `rows` at most [`OVERVIEW_ROWS`] are shown.
///
/// # Errors
/// `Io` where the picture cannot be encoded.
pub fn render_overview(head: &OverviewHead, rows: &[OverviewRow]) -> Result<Vec<u8>> {
    let mut page = Page { canvas: Canvas::new(PAGE_WIDTH as u32, PAGE_HEIGHT as u32)?, lettering: Lettering::new() };
    page.head(head);
    for (index, row) in rows.iter().take(OVERVIEW_ROWS).enumerate() {
        page.row(TABLE_TOP + index as f32 * ROW_HEIGHT, row);
    }
    page.foot(head.page);
    let (width, height, rgb) = page.canvas.into_rgb();
    encode_png(width, height, &rgb, REPORT_FORMAT)
}

struct Page {
    canvas: Canvas,
    lettering: Lettering,
}

impl Page {
    fn head(&mut self, head: &OverviewHead) {
        self.fitted(MARGIN, 92.0, &head.title, TITLE, RIGHT - MARGIN);
        let lines = head.lines.iter().flat_map(|line| self.lettering.wrapped(line, TABLE, RIGHT - MARGIN, 2));
        for (index, line) in lines.take(3).collect::<Vec<_>>().into_iter().enumerate() {
            self.lettering.text(&mut self.canvas, MARGIN, 128.0 + index as f32 * 22.0, &line, TABLE);
        }
        let columns = [(MARGIN, "photographed"), (MARGIN + SPHERE_SIDE + 8.0, "CG"), (SHOT_X, "shot, version")];
        for (x, words) in
            columns.into_iter().chain([(VERDICT_X, "verdict"), (WORDS_X, "what is wrong, and what to do")])
        {
            self.lettering.text(&mut self.canvas, x, TABLE_TOP - 16.0, words, SMALL);
        }
        self.rule(TABLE_TOP - 6.0, 1.8);
    }

    fn row(&mut self, y: f32, row: &OverviewRow) {
        let top = y + (ROW_HEIGHT - SPHERE_SIDE) / 2.0 - 3.0;
        for (index, x) in [MARGIN, MARGIN + SPHERE_SIDE + 8.0].into_iter().enumerate() {
            let picture = row.spheres.as_ref().map(|pair| &pair[index]);
            self.sphere(Area::new(x, top, SPHERE_SIDE, SPHERE_SIDE), picture);
        }
        let baseline = y + 42.0;
        self.fitted(SHOT_X, baseline, &row.shot, SHOT, VERDICT_X - SHOT_X - 16.0);
        if let Some(version) = &row.version {
            self.fitted(SHOT_X, baseline + 26.0, version, TABLE.inked(FAINT_INK), VERDICT_X - SHOT_X - 16.0);
        }
        if let Some(change) = &row.change {
            self.fitted(SHOT_X, baseline + 52.0, change, SMALL, VERDICT_X - SHOT_X - 16.0);
        }
        self.stamp(Area::new(VERDICT_X, y + 20.0, 124.0, 32.0), row.verdict);
        self.words(y, row);
        self.rule(y + ROW_HEIGHT - 6.0, 1.0);
    }

    /// What is wrong over what to do about it, which may fill what is left of the row.
    fn words(&mut self, top: f32, row: &OverviewRow) {
        let room = RIGHT - WORDS_X;
        let end = top + ROW_HEIGHT - 10.0;
        let mut y = top + 24.0;
        for line in self.clauses(&row.words, room, 4) {
            self.lettering.text(&mut self.canvas, WORDS_X, y, &line, TABLE);
            y += REMEDY_LINE;
        }
        if row.remedy.is_empty() {
            return;
        }
        y += 4.0;
        let lines = ((end - y) / REMEDY_LINE).floor().max(0.0) as usize + 1;
        for line in self.clauses(&format!("fix: {}", row.remedy), room, lines) {
            self.lettering.text(&mut self.canvas, WORDS_X, y, &line, SMALL);
            y += REMEDY_LINE;
        }
    }

    /// As many whole clauses as so many lines hold; the first one is cut if it alone does not fit.
    fn clauses(&self, text: &str, room: f32, lines: usize) -> Vec<String> {
        let mut words = text;
        while self.lettering.wrapped(words, TABLE, room, lines + 1).len() > lines {
            let Some((shorter, _)) = words.rsplit_once("; ") else { break };
            words = shorter;
        }
        self.lettering.wrapped(words, TABLE, room, lines)
    }

    /// A sphere from the evidence picture, or hatching where there is none.
    fn sphere(&mut self, panel: Area, picture: Option<&Thumbnail>) {
        let corner = [panel.x as usize, panel.y as usize];
        let side = panel.width as usize;
        match picture.and_then(|picture| shrunk(picture, side)) {
            Some(pixels) => {
                self.canvas.pixels(corner, [side, side], |x, y| pixels.get(y * side + x).copied());
            }
            None => self.canvas.pixels(corner, [side, side], |x, y| Some(hatch(corner[0] + x, corner[1] + y))),
        }
        self.canvas.frame(panel, Pen::new(INK, 1.0));
    }

    /// The verdict: filled where something is off, grey where undecided, as on the evidence page.
    fn stamp(&mut self, place: Area, verdict: ShotVerdict) {
        let filled = matches!(verdict, ShotVerdict::Mismatch | ShotVerdict::Error);
        if filled {
            self.canvas.fill(place, INK);
        } else {
            if verdict == ShotVerdict::Unsure {
                self.canvas.fill(place, CARD);
            }
            self.canvas.frame(place, Pen::new(INK, 2.0));
        }
        let style = VERDICT.inked(if filled { PAPER } else { INK });
        let words = verdict.word().to_uppercase();
        self.lettering.text_centred(&mut self.canvas, place.x + place.width / 2.0, place.y + 22.0, &words, style);
    }

    fn fitted(&mut self, x: f32, y: f32, text: &str, style: Style, room: f32) {
        let text = self.lettering.fitted(text, style, room);
        self.lettering.text(&mut self.canvas, x, y, &text, style);
    }

    fn rule(&mut self, y: f32, width: f32) {
        self.canvas.polyline(&[[MARGIN, y], [RIGHT, y]], Pen::new(RULE, width));
    }

    fn foot(&mut self, [page, pages]: [usize; 2]) {
        let y = PAGE_HEIGHT - 48.0;
        let words =
            "worst first; hatched around a sphere: the render has no background; hatched all over: no evidence picture";
        self.lettering.text(&mut self.canvas, MARGIN, y, words, SMALL);
        let words = format!("page {page} of {pages}   plateproof {}", env!("CARGO_PKG_VERSION"));
        self.lettering.text_right(&mut self.canvas, RIGHT, y, &words, SMALL);
    }
}

/// The picture at `side` × `side`. Means of code values: at this size the eye sees no difference to means of light.
fn shrunk(picture: &Thumbnail, side: usize) -> Option<Vec<Rgb>> {
    let pixels: Vec<[f32; 3]> = picture.rgb.as_chunks::<3>().0.iter().map(|rgb| rgb.map(f32::from)).collect();
    if pixels.is_empty() || pixels.len() != picture.side.checked_mul(picture.side)? {
        return None;
    }
    let source = Source { width: picture.side, height: picture.side, pixels: &pixels };
    Some(resized(&source, side, side).into_iter().map(|(rgb, _)| rgb.map(|c| c.round() as u8)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample::keep_for_looking;

    fn row(verdict: ShotVerdict) -> OverviewRow {
        let side = 40;
        let sphere = Thumbnail { side, rgb: (0..side * side).flat_map(|i| [(i % side * 6) as u8, 90, 60]).collect() };
        OverviewRow {
            shot: "SF_0420".to_owned(),
            version: Some("v012".to_owned()),
            verdict,
            words: "the CG is 0.64 stops too bright".to_owned(),
            remedy: "multiply the CG by 0.64".to_owned(),
            change: Some("worse, was v011 match".to_owned()),
            spheres: (verdict != ShotVerdict::Error).then(|| [sphere.clone(), sphere]),
        }
    }

    #[test]
    fn a_page_carries_our_mark_and_shows_the_spheres() {
        let rows = [ShotVerdict::Error, ShotVerdict::Mismatch, ShotVerdict::Unsure, ShotVerdict::Match].map(row);
        let head = OverviewHead { title: "Salt ferry".to_owned(), lines: vec!["4 shots".to_owned()], page: [1, 1] };
        let png = render_overview(&head, &rows).unwrap();
        keep_for_looking("overview.png", &png);
        let mut reader = png::Decoder::new(std::io::Cursor::new(&png)).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut pixels).unwrap();
        let at = |x: f32, y: f32| &pixels[(y as usize * PAGE_WIDTH as usize + x as usize) * 3..][..3];
        let middle = TABLE_TOP + ROW_HEIGHT * 1.5;
        assert_eq!(at(MARGIN + SPHERE_SIDE / 2.0, middle)[1..], [90, 60]);
        assert_ne!(at(MARGIN + SPHERE_SIDE / 2.0, TABLE_TOP + ROW_HEIGHT / 2.0)[1..], [90, 60]);
    }

    #[test]
    fn a_picture_that_does_not_fill_its_square_is_not_shown() {
        assert_eq!(shrunk(&Thumbnail { side: 3, rgb: vec![0; 5] }, 4), None);
        assert_eq!(shrunk(&Thumbnail { side: usize::MAX, rgb: vec![0; 6] }, 4), None);
        assert_eq!(shrunk(&Thumbnail { side: 1, rgb: vec![9, 8, 7] }, 2), Some(vec![[9, 8, 7]; 4]));
    }
}
