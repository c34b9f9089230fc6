//! The evidence page of a shot: both spheres, both unwrapped, their difference, both grey spheres, the findings.

use super::canvas::{Area, Canvas, INK, Pen, RULE, hatch};
use super::display::Display;
use super::header::Header;
use super::lettering::{Face, HEADING, Lettering, SMALL, Style, TABLE};
use super::light_list::draw_light_list;
use super::light_marks::{Shape, symbol};
use super::map_panel::{AXIS_BELOW, Map, draw_difference, draw_stops_legend, draw_unwrapped};
use super::sphere_panel::{OUTLINE, draw_crop, draw_matte, matte_words};
use super::verdict_mark::{set_problem_mark, verdict_mark};
use super::{Evidence, EvidenceSide, FindingLine};
use crate::Result;
use crate::findings::{REPORT_FORMAT, Verdict};
use crate::image::marked_png::encode_with_spheres;

const PAGE_WIDTH: f32 = 1600.0;
/// The page grows where the table of findings needs more.
const LEAST_PAGE_HEIGHT: f32 = 1560.0;

/// Rows of the table of findings; a page with more would be no page any more.
const MOST_ROWS: usize = 40;
/// A row whose text takes three lines under the name of its check.
const TALLEST_ROW: f32 = 100.0;
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
const MATTE_SIDE: f32 = 200.0;
/// From a heading's top to its panel.
const HEADING_HEIGHT: f32 = 32.0;
/// Between one row of panels and the heading of the next.
const ROW_GAP: f32 = 14.0;
/// Crops of the other mirrors, below the difference: pairs beside one another, and at most.
const OTHER_SIDE: f32 = 166.0;
const OTHERS_ABREAST: usize = 2;
const MOST_OTHERS: usize = 6;
/// Heading, crop and gap.
const OTHER_ROW: f32 = OTHER_SIDE + 44.0;
/// From the legend of the difference to what stands below.
const LEGEND_HEIGHT: f32 = 52.0;
/// From one mark of the key to the next.
const KEY_STEP: f32 = 236.0;
/// Headings of the groups of findings.
const GROUP: Style = Style::new(Face::Plain, 18.0, INK);

/// The evidence picture as a PNG file 1600 px wide and 1560 px high, higher where there are many findings.
///
/// Both sides are shown under one gain and one display transform (see the source of `display`), unknown directions
/// hatched grey. The picture carries the mark by which [`write_report`](crate::report::write_report) knows it.
///
/// # Errors
/// `Parameter` where a picture's pixels do not fill its sides.
pub fn render_evidence(evidence: &Evidence) -> Result<Vec<u8>> {
    let room = LEAST_PAGE_HEIGHT
        + TALLEST_ROW * evidence.findings.len().min(MOST_ROWS) as f32
        + OTHER_ROW * evidence.others.len().min(MOST_OTHERS).div_ceil(OTHERS_ABREAST) as f32;
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
    let legend_top = page.difference(maps_end + ROW_GAP)?;
    let left_end = page.others(legend_top)?;
    let findings_end = page.findings(maps_end + ROW_GAP);
    let key_top = legend_top.max(findings_end + 14.0);
    page.key(key_top);
    let end = LEAST_PAGE_HEIGHT.max(key_top + 96.0).max(left_end + 40.0).round();
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

impl<'a> Page<'a> {
    fn head(&mut self) -> f32 {
        let header = Header {
            name: &self.evidence.shot,
            version: self.evidence.version.as_deref(),
            verdict: Some(self.evidence.verdict),
            badge: self.evidence.set_badge.as_deref(),
            lines: &self.evidence.headline,
        };
        header.draw(&mut self.canvas, &self.lettering, Area::new(MARGIN, 32.0, CONTENT_WIDTH, 0.0))
    }

    /// Both sides, each with the letter and the shape of its lights.
    fn sides(&self) -> [(&'a EvidenceSide, (&'static str, Shape)); 2] {
        [(&self.evidence.mirror, ("P", Shape::Ring)), (&self.evidence.cg, ("C", Shape::Square))]
    }

    fn heading(&mut self, x: f32, y: f32, words: &str, room: f32) {
        let words = self.lettering.fitted(words, HEADING, room);
        self.lettering.text(&mut self.canvas, x, y + 22.0, &words, HEADING);
    }

    /// Both spheres, the lists of their lights, both grey spheres.
    fn spheres(&mut self, y: f32) -> Result<f32> {
        let top = y + HEADING_HEIGHT;
        let mut x = MARGIN;
        for (side, (letter, shape)) in self.sides() {
            let mark = (Some(letter), shape);
            self.heading(x, y, &side.sphere.title, CROP_SIDE);
            let area = Area::new(x, top, CROP_SIDE, CROP_SIDE);
            draw_crop(&mut self.canvas, &self.lettering, &side.sphere, mark, area, &self.display)?;
            x += CROP_SIDE + CROP_GAP;
        }
        let mattes_left = MARGIN + CONTENT_WIDTH - 2.0 * MATTE_SIDE - 16.0;
        self.light_lists(x + 12.0, y, mattes_left - 32.0 - x);
        self.mattes(mattes_left, y)?;
        Ok(top + CROP_SIDE)
    }

    fn light_lists(&mut self, x: f32, y: f32, width: f32) {
        self.heading(x, y, "Lights (angles in degrees)", width);
        let half = CROP_SIDE / 2.0;
        for (index, (side, (letter, _))) in self.sides().into_iter().enumerate() {
            let area = Area::new(x, y + HEADING_HEIGHT + index as f32 * half, width, half - 8.0);
            draw_light_list(&mut self.canvas, &self.lettering, &side.sphere, letter, area);
        }
    }

    fn mattes(&mut self, left: f32, y: f32) -> Result<()> {
        self.heading(left, y, "Grey sphere as lit on set, as lit in CG", 2.0 * MATTE_SIDE + 16.0);
        let top = y + HEADING_HEIGHT;
        let mut x = left;
        for side in [&self.evidence.mirror, &self.evidence.cg] {
            draw_matte(&mut self.canvas, side, Area::new(x, top, MATTE_SIDE, MATTE_SIDE), &self.display)?;
            let words = self.lettering.fitted(&side.sphere.title, SMALL, MATTE_SIDE);
            self.lettering.text(&mut self.canvas, x, top + MATTE_SIDE + 18.0, &words, SMALL);
            if let Some(words) = matte_words(side) {
                self.lettering.text(&mut self.canvas, x, top + MATTE_SIDE + 40.0, words, SMALL.inked(INK));
            }
            x += MATTE_SIDE + 16.0;
        }
        let remark = "computed, not photographed";
        self.lettering.text(&mut self.canvas, left, top + MATTE_SIDE + 62.0, remark, SMALL);
        Ok(())
    }

    /// Both sides unwrapped by direction.
    fn maps(&mut self, y: f32) -> Result<f32> {
        let top = y + HEADING_HEIGHT;
        for (column, (side, mark)) in self.sides().into_iter().enumerate() {
            let left = MARGIN + column as f32 * (COLUMN_WIDTH + GUTTER);
            self.heading(left, y, &format!("{}, light by direction", side.sphere.title), MAP_WIDTH);
            let panel = Area::new(left, top, MAP_WIDTH, MAP_HEIGHT);
            let map = Map { area: panel, from_inside: self.evidence.from_inside };
            draw_unwrapped(&mut self.canvas, &self.lettering, side, mark, map, &self.display)?;
        }
        Ok(top + MAP_HEIGHT + AXIS_BELOW)
    }

    /// The difference in stops with its legend; returns where the legend begins.
    fn difference(&mut self, y: f32) -> Result<f32> {
        let evidence = self.evidence;
        let left = MARGIN;
        self.heading(left, y, "CG minus photographed, in stops", MAP_WIDTH);
        let panel = Area::new(left, y + HEADING_HEIGHT, MAP_WIDTH, MAP_HEIGHT);
        // Rings last: they show within the squares.
        let sides = [(&evidence.cg, "C", Shape::Square), (&evidence.mirror, "P", Shape::Ring)];
        let map = Map { area: panel, from_inside: evidence.from_inside };
        draw_difference(&mut self.canvas, &self.lettering, &evidence.difference_stops, sides, map)?;
        let below = panel.bottom() + AXIS_BELOW + 10.0;
        let bar = Area::new(left + 150.0, below, MAP_WIDTH - 300.0, 16.0);
        draw_stops_legend(&mut self.canvas, &self.lettering, bar);
        self.lettering.text_right(&mut self.canvas, bar.x - 12.0, below + 13.0, "- CG darker", SMALL.inked(INK));
        self.lettering.text(&mut self.canvas, bar.right() + 12.0, below + 13.0, "+ CG brighter", SMALL.inked(INK));
        Ok(below)
    }

    /// The spheres of the other mirrors, below the legend of the difference; returns where they end.
    fn others(&mut self, legend_top: f32) -> Result<f32> {
        let evidence = self.evidence;
        let mut y = legend_top + LEGEND_HEIGHT;
        let shown = &evidence.others[..evidence.others.len().min(MOST_OTHERS)];
        for row in shown.chunks(OTHERS_ABREAST) {
            let mut x = MARGIN;
            for pair in row {
                // Their lights are numbered on their own, so names would mislead.
                for (sphere, mark) in pair.iter().zip([(None, Shape::Ring), (None, Shape::Square)]) {
                    let words = self.lettering.fitted(&sphere.title, SMALL.inked(INK), OTHER_SIDE);
                    self.lettering.text(&mut self.canvas, x, y + 16.0, &words, SMALL.inked(INK));
                    let area = Area::new(x, y + 24.0, OTHER_SIDE, OTHER_SIDE);
                    draw_crop(&mut self.canvas, &self.lettering, sphere, mark, area, &self.display)?;
                    x += OTHER_SIDE + 10.0;
                }
                x += 8.0;
            }
            y += OTHER_ROW;
        }
        if evidence.others.len() > MOST_OTHERS {
            let words = format!("and {} more mirrors", evidence.others.len() - MOST_OTHERS);
            self.lettering.text(&mut self.canvas, MARGIN, y, &words, SMALL);
            y += 24.0;
        }
        Ok(if shown.is_empty() { legend_top } else { y })
    }

    /// What the marks mean, below the findings and no higher than the legend of the difference; in two rows.
    fn key(&mut self, y: f32) {
        let left = MARGIN + COLUMN_WIDTH + GUTTER + 12.0;
        let columns: [f32; 3] = std::array::from_fn(|index| left + index as f32 * KEY_STEP);
        let rows = [y + 8.0, y + 36.0];
        let places = rows.map(|middle| columns.map(|x| [x, middle]));
        let [[ring, square, ghost], [clipped, outline, unseen]] = places;
        symbol(&mut self.canvas, ring, 8.0, Shape::Ring, false);
        symbol(&mut self.canvas, square, 6.0, Shape::Square, false);
        symbol(&mut self.canvas, ghost, 8.0, Shape::Ghost, false);
        symbol(&mut self.canvas, clipped, 8.0, Shape::Ring, true);
        for pen in [Pen::new(INK, 3.0).opacity(0.45), Pen::new(OUTLINE, 1.3)] {
            self.canvas.polyline(&[[outline[0] - 9.0, outline[1]], [outline[0] + 9.0, outline[1]]], pen);
        }
        let corner = [(unseen[0] - 10.0) as usize, (unseen[1] - 8.0) as usize];
        self.canvas.pixels(corner, [20, 16], |x, y| Some(hatch(corner[0] + x, corner[1] + y)));
        let words =
            [["photographed light", "CG light", "missing in the CG"], ["clipped light", "outline found", "not seen"]];
        for ([x, middle], words) in places.into_iter().flatten().zip(words.into_iter().flatten()) {
            self.lettering.text(&mut self.canvas, x + 18.0, middle + 5.5, words, SMALL);
        }
    }

    /// The table of findings, worst first; returns where it ends.
    fn findings(&mut self, y: f32) -> f32 {
        let left = MARGIN + COLUMN_WIDTH + GUTTER;
        self.heading(left, y, "Findings [tolerance]", MAP_WIDTH);
        let mut row = y + HEADING_HEIGHT;
        self.rule(left, row);
        let evidence = self.evidence;
        let (not_given, made): (Vec<_>, Vec<_>) =
            evidence.findings.iter().partition(|finding| finding.verdict == Verdict::NotGiven);
        if evidence.findings.is_empty() {
            self.lettering.text(&mut self.canvas, left, row + 23.0, "nothing was compared", TABLE);
            row += 34.0;
        }
        let (on_set, cg): (Vec<_>, Vec<_>) = made.into_iter().partition(|finding| finding.is_on_set);
        for (group, lines) in [("CG", cg), ("On set", on_set)] {
            if lines.is_empty() {
                continue;
            }
            self.lettering.text(&mut self.canvas, left, row + 24.0, group, GROUP);
            row += 32.0;
            self.rule(left, row);
            for finding in lines.iter().take(MOST_ROWS) {
                row = self.finding_row(left, row, finding);
            }
            if lines.len() > MOST_ROWS {
                let words = format!("and {} more in the text report", lines.len() - MOST_ROWS);
                row = self.small_lines(left, row, &words);
            }
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
        let baseline = y + 23.0;
        let mark = [left + 9.0, baseline - 5.0];
        if finding.is_set_problem {
            set_problem_mark(&mut self.canvas, mark);
        } else {
            verdict_mark(&mut self.canvas, mark, finding.verdict);
        }
        let word = if finding.is_set_problem { "set-problem" } else { finding.verdict.word() };
        self.lettering.text(&mut self.canvas, left + 26.0, baseline, word, TABLE);
        let check = self.lettering.fitted(&finding.check, TABLE, 250.0);
        self.lettering.text(&mut self.canvas, left + 140.0, baseline, &check, TABLE);
        // Words stand under the check's name, where there is room for a sentence; a number beside it.
        let is_number = !matches!(finding.verdict, Verdict::Mismatch | Verdict::Unsure);
        let (x, first) = if is_number { (left + 396.0, baseline) } else { (left + 140.0, baseline + 21.0) };
        let lines = self.lettering.wrapped(&finding.text, TABLE, left + MAP_WIDTH - x, 3);
        for (index, line) in lines.iter().enumerate() {
            self.lettering.text(&mut self.canvas, x, first + index as f32 * 20.0, line, TABLE);
        }
        let bottom = first + lines.len().saturating_sub(1) as f32 * 20.0 + 11.0;
        self.rule(left, bottom);
        bottom
    }

    fn rule(&mut self, left: f32, y: f32) {
        self.canvas.polyline(&[[left, y], [left + MAP_WIDTH, y]], Pen::new(RULE, 1.0));
    }

    /// Under which display transform the page shows light.
    fn foot(&mut self, y: f32) {
        let gain = self.display.gain_words();
        let words = format!("Display: all spheres {gain}, sRGB, highlights rolled off.");
        self.lettering.text(&mut self.canvas, MARGIN, y, &words, SMALL);
        let program = concat!("plateproof ", env!("CARGO_PKG_VERSION"));
        self.lettering.text_right(&mut self.canvas, MARGIN + CONTENT_WIDTH, y, program, SMALL);
    }
}
