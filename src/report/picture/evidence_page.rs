//! The evidence page of a shot: both spheres, both unwrapped, their difference, both matte spheres, the findings.

use super::canvas::{Area, Canvas, FAINT_INK, INK, Pen, RULE, hatch};
use super::display::Display;
use super::header::Header;
use super::lettering::{HEADING, Lettering, SMALL, TABLE};
use super::light_list::draw_light_list;
use super::light_marks::{Shape, symbol};
use super::map_panel::{AXIS_BELOW, draw_difference, draw_stops_legend, draw_unwrapped};
use super::sphere_panel::{OUTLINE, draw_crop, draw_matte, matte_words};
use super::verdict_mark::verdict_mark;
use super::{Evidence, FindingLine};
use crate::Result;
use crate::findings::{REPORT_FORMAT, Verdict};
use crate::image::marked_png::encode_with_spheres;

const PAGE_WIDTH: f32 = 1600.0;
/// The page grows where the table of findings needs more.
const LEAST_PAGE_HEIGHT: f32 = 1456.0;

/// Rows of the table of findings; a page with more would be no page any more.
const MOST_ROWS: usize = 40;
/// A row whose text takes two lines.
const TALLEST_ROW: f32 = 54.0;
const MARGIN: f32 = 68.0;
const CONTENT_WIDTH: f32 = PAGE_WIDTH - 2.0 * MARGIN;
/// Between the two columns; holds the elevation axis of the right one, as the margin holds that of the left one.
const GUTTER: f32 = 56.0;
const COLUMN_WIDTH: f32 = (CONTENT_WIDTH - GUTTER) / 2.0;
const MAP_WIDTH: f32 = COLUMN_WIDTH;
const MAP_HEIGHT: f32 = MAP_WIDTH / 2.0;
const CROP_SIDE: f32 = 312.0;
/// Between the crops of the two spheres.
const CROP_GAP: f32 = 20.0;
const MATTE_SIDE: f32 = 232.0;
/// From a heading's top to its panel.
const HEADING_HEIGHT: f32 = 32.0;
/// Between one row of panels and the heading of the next.
const ROW_GAP: f32 = 14.0;

/// The evidence picture as a PNG file 1600 px wide and 1456 px high, higher where there are many findings.
///
/// Both sides are shown under one gain and one display transform (see the source of `display`), unknown directions
/// hatched grey. The picture carries the mark by which [`write_report`](crate::report::write_report) knows it.
///
/// # Errors
/// `Parameter` where a picture's pixels do not fill its sides.
pub fn render_evidence(evidence: &Evidence) -> Result<Vec<u8>> {
    let room = LEAST_PAGE_HEIGHT + TALLEST_ROW * evidence.findings.len().min(MOST_ROWS) as f32;
    let mut page = Page {
        canvas: Canvas::new(PAGE_WIDTH as u32, room as u32)?,
        lettering: Lettering::new(),
        display: Display::new(evidence.exposure),
        evidence,
    };
    let head_end = page.head();
    let spheres_top = head_end + 12.0;
    let spheres_end = page.spheres(spheres_top)?;
    let maps_end = page.maps(spheres_end + ROW_GAP)?;
    let difference_end = page.difference(maps_end + ROW_GAP)?;
    let findings_end = page.findings(maps_end + ROW_GAP);
    let key_top = difference_end.max(findings_end + 14.0);
    page.key(key_top);
    let end = LEAST_PAGE_HEIGHT.max(key_top + 78.0).round();
    page.foot(end - 24.0);
    let (width, height, rgb) = page.canvas.into_rgb();
    let used = (end as u32).min(height);
    let pixels = rgb.get(..width as usize * used as usize * 3).unwrap_or_default();
    encode_with_spheres(width, used, pixels, REPORT_FORMAT, crop_places(spheres_top))
}

/// Where the crops of both spheres stand, for those who cut them out of the page.
fn crop_places(spheres_top: f32) -> [[usize; 3]; 2] {
    let (top, side) = ((spheres_top + HEADING_HEIGHT).ceil() as usize, CROP_SIDE as usize);
    [MARGIN, MARGIN + CROP_SIDE + CROP_GAP].map(|left| [left as usize, top, side])
}

struct Page<'a> {
    canvas: Canvas,
    lettering: Lettering,
    display: Display,
    evidence: &'a Evidence,
}

impl Page<'_> {
    fn head(&mut self) -> f32 {
        let header = Header {
            name: &self.evidence.shot,
            version: self.evidence.version.as_deref(),
            verdict: Some(self.evidence.verdict),
            lines: &self.evidence.headline,
        };
        header.draw(&mut self.canvas, &self.lettering, Area::new(MARGIN, 32.0, CONTENT_WIDTH, 0.0))
    }

    fn heading(&mut self, x: f32, y: f32, words: &str, room: f32) {
        let words = self.lettering.fitted(words, HEADING, room);
        self.lettering.text(&mut self.canvas, x, y + 22.0, &words, HEADING);
    }

    /// Both spheres, the lists of their lights, both matte spheres.
    fn spheres(&mut self, y: f32) -> Result<f32> {
        let evidence = self.evidence;
        let top = y + HEADING_HEIGHT;
        let mut x = MARGIN;
        for side in [&evidence.mirror, &evidence.cg] {
            self.heading(x, y, &side.title, CROP_SIDE);
            draw_crop(&mut self.canvas, &self.lettering, side, Area::new(x, top, CROP_SIDE, CROP_SIDE), &self.display)?;
            x += CROP_SIDE + CROP_GAP;
        }
        let mattes_left = MARGIN + CONTENT_WIDTH - 2.0 * MATTE_SIDE - 16.0;
        self.light_lists(x + 12.0, y, mattes_left - 32.0 - x);
        self.mattes(mattes_left, y)?;
        Ok(top + CROP_SIDE)
    }

    fn light_lists(&mut self, x: f32, y: f32, width: f32) {
        self.heading(x, y, "Lights", width);
        let half = CROP_SIDE / 2.0;
        for (index, side) in [&self.evidence.mirror, &self.evidence.cg].into_iter().enumerate() {
            let area = Area::new(x, y + HEADING_HEIGHT + index as f32 * half, width, half - 8.0);
            draw_light_list(&mut self.canvas, &self.lettering, side, area);
        }
    }

    fn mattes(&mut self, left: f32, y: f32) -> Result<()> {
        self.heading(left, y, "Grey matte sphere under each light", 2.0 * MATTE_SIDE + 16.0);
        let top = y + HEADING_HEIGHT;
        let mut x = left;
        for side in [&self.evidence.mirror, &self.evidence.cg] {
            draw_matte(&mut self.canvas, side, Area::new(x, top, MATTE_SIDE, MATTE_SIDE), &self.display)?;
            let words = self.lettering.fitted(&side.title, SMALL, MATTE_SIDE);
            self.lettering.text(&mut self.canvas, x, top + MATTE_SIDE + 18.0, &words, SMALL);
            if let Some(words) = matte_words(side) {
                self.lettering.text(&mut self.canvas, x, top + MATTE_SIDE + 36.0, words, SMALL.inked(INK));
            }
            x += MATTE_SIDE + 16.0;
        }
        let remark = "predicted from the unwrapped light, not photographed";
        self.lettering.text(&mut self.canvas, left, top + MATTE_SIDE + 58.0, remark, SMALL);
        Ok(())
    }

    /// Both sides unwrapped by direction.
    fn maps(&mut self, y: f32) -> Result<f32> {
        let evidence = self.evidence;
        let top = y + HEADING_HEIGHT;
        for (column, side) in [&evidence.mirror, &evidence.cg].into_iter().enumerate() {
            let left = MARGIN + column as f32 * (COLUMN_WIDTH + GUTTER);
            self.heading(left, y, &format!("{}, unwrapped by direction", side.title), MAP_WIDTH);
            let panel = Area::new(left, top, MAP_WIDTH, MAP_HEIGHT);
            draw_unwrapped(&mut self.canvas, &self.lettering, side, panel, &self.display)?;
        }
        Ok(top + MAP_HEIGHT + AXIS_BELOW)
    }

    /// The difference in stops with its legend; returns where the legend begins.
    fn difference(&mut self, y: f32) -> Result<f32> {
        let evidence = self.evidence;
        let left = MARGIN;
        self.heading(left, y, "CG minus plate side, in stops", MAP_WIDTH);
        let panel = Area::new(left, y + HEADING_HEIGHT, MAP_WIDTH, MAP_HEIGHT);
        // Rings last: they show within the squares.
        let sides = [(&evidence.cg, "C", Shape::Square), (&evidence.mirror, "P", Shape::Ring)];
        draw_difference(&mut self.canvas, &self.lettering, &evidence.difference_stops, sides, panel)?;
        let below = panel.bottom() + AXIS_BELOW + 10.0;
        let bar = Area::new(left + 128.0, below, MAP_WIDTH - 256.0, 16.0);
        draw_stops_legend(&mut self.canvas, &self.lettering, bar);
        self.lettering.text_right(&mut self.canvas, bar.x - 12.0, below + 13.0, "CG darker", SMALL.inked(INK));
        self.lettering.text(&mut self.canvas, bar.right() + 12.0, below + 13.0, "CG brighter", SMALL.inked(INK));
        Ok(below)
    }

    /// What the marks mean, below the findings and no higher than the legend of the difference.
    fn key(&mut self, y: f32) {
        let left = MARGIN + COLUMN_WIDTH + GUTTER;
        let (middle, step) = (y + 8.0, MAP_WIDTH / 5.0);
        let columns: [f32; 5] = std::array::from_fn(|index| left + 12.0 + index as f32 * (step - 1.0));
        let [ring, square, clipped, outline, unseen] = columns;
        symbol(&mut self.canvas, [ring, middle], 8.0, Shape::Ring, false);
        symbol(&mut self.canvas, [square, middle], 6.0, Shape::Square, false);
        symbol(&mut self.canvas, [clipped, middle], 8.0, Shape::Ring, true);
        for pen in [Pen::new(INK, 3.0).opacity(0.45), Pen::new(OUTLINE, 1.3)] {
            self.canvas.polyline(&[[outline - 9.0, middle], [outline + 9.0, middle]], pen);
        }
        let corner = [(unseen - 10.0) as usize, y as usize];
        self.canvas.pixels(corner, [20, 16], |x, y| Some(hatch(corner[0] + x, corner[1] + y)));
        for (x, words) in
            columns.into_iter().zip(["plate light P", "CG light C", "clipped", "outline", "not seen, ignored"])
        {
            self.lettering.text(&mut self.canvas, x + 17.0, middle + 5.0, words, SMALL);
        }
    }

    /// The table of findings, worst first; returns where it ends.
    fn findings(&mut self, y: f32) -> f32 {
        let left = MARGIN + COLUMN_WIDTH + GUTTER;
        self.heading(left, y, "Findings", MAP_WIDTH);
        let mut row = y + HEADING_HEIGHT;
        self.rule(left, row);
        let evidence = self.evidence;
        let (not_given, made): (Vec<_>, Vec<_>) =
            evidence.findings.iter().partition(|finding| finding.verdict == Verdict::NotGiven);
        if evidence.findings.is_empty() {
            self.lettering.text(&mut self.canvas, left, row + 23.0, "nothing was compared", TABLE);
            row += 34.0;
        }
        for finding in made.iter().take(MOST_ROWS) {
            row = self.finding_row(left, row, finding);
        }
        if made.len() > MOST_ROWS {
            row = self.small_lines(left, row, &format!("and {} more in the text report", made.len() - MOST_ROWS));
        }
        if !not_given.is_empty() {
            let names: Vec<_> = not_given.iter().map(|finding| finding.check.as_str()).collect();
            row = self.small_lines(left, row, &format!("not given: {}", names.join(", ")));
        }
        row
    }

    /// A remark below the table, in up to three lines; returns where it ends.
    fn small_lines(&mut self, left: f32, y: f32, words: &str) -> f32 {
        let lines = self.lettering.wrapped(words, SMALL, MAP_WIDTH, 3);
        for (index, line) in lines.iter().enumerate() {
            self.lettering.text(&mut self.canvas, left, y + 20.0 + index as f32 * 18.0, line, SMALL);
        }
        y + 6.0 + lines.len() as f32 * 18.0
    }

    fn finding_row(&mut self, left: f32, y: f32, finding: &FindingLine) -> f32 {
        let ink = if finding.verdict == Verdict::NotGiven { FAINT_INK } else { INK };
        let style = TABLE.inked(ink);
        let baseline = y + 23.0;
        let word = if finding.is_set_problem { "set-problem" } else { finding.verdict.word() };
        verdict_mark(&mut self.canvas, [left + 8.0, baseline - 5.0], finding.verdict);
        self.lettering.text(&mut self.canvas, left + 28.0, baseline, word, style);
        let check = self.lettering.fitted(&finding.check, style, 182.0);
        self.lettering.text(&mut self.canvas, left + 128.0, baseline, &check, style);
        let room = MAP_WIDTH - 316.0;
        let lines = self.lettering.wrapped(&finding.text, style, room, 2);
        for (index, line) in lines.iter().enumerate() {
            self.lettering.text(&mut self.canvas, left + 316.0, baseline + index as f32 * 20.0, line, style);
        }
        let bottom = y + 34.0 + lines.len().saturating_sub(1) as f32 * 20.0;
        self.rule(left, bottom);
        bottom
    }

    fn rule(&mut self, left: f32, y: f32) {
        self.canvas.polyline(&[[left, y], [left + MAP_WIDTH, y]], Pen::new(RULE, 1.0));
    }

    /// Under which display transform the page shows light.
    fn foot(&mut self, y: f32) {
        let gain = self.display.gain_words();
        let words = format!("Both sides shown {gain}, sRGB with a soft shoulder above half of white.");
        self.lettering.text(&mut self.canvas, MARGIN, y, &words, SMALL);
        let program = concat!("plateproof ", env!("CARGO_PKG_VERSION"));
        self.lettering.text_right(&mut self.canvas, MARGIN + CONTENT_WIDTH, y, program, SMALL);
    }
}
