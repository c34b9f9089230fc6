//! The head of a page and the stamp with the verdict.

use super::canvas::{Area, CARD, Canvas, FAINT_INK, INK, PAPER, Pen, RULE};
use super::lettering::{Face, Lettering, Style};
use super::verdict_mark::set_problem_mark;
use crate::findings::ShotVerdict;

const NAME: Style = Style::new(Face::Plain, 46.0, INK);
const VERSION: Style = Style::new(Face::Plain, 30.0, FAINT_INK);
const STAMP: Style = Style::new(Face::Fixed, 26.0, INK);
const BADGE: Style = Style::new(Face::Fixed, 19.0, INK);
const LINE: Style = Style::new(Face::Fixed, 17.0, INK);
const LINE_HEIGHT: f32 = 24.0;

/// Lines of explanation under the name.
const LINES_SHOWN: usize = 6;

/// What stands at the head of a page.
pub(super) struct Header<'a> {
    pub(super) name: &'a str,
    pub(super) version: Option<&'a str>,
    pub(super) verdict: Option<ShotVerdict>,
    /// A second, lighter stamp beside the verdict.
    pub(super) badge: Option<&'a str>,
    pub(super) lines: &'a [String],
}

impl Header<'_> {
    /// Draws the head from `area.y` down; returns where the page goes on.
    pub(super) fn draw(&self, canvas: &mut Canvas, lettering: &Lettering, area: Area) -> f32 {
        let stamp_left = self.verdict.map_or(area.right(), |verdict| stamp(canvas, lettering, verdict, area));
        let stamp_left =
            self.badge.map_or(stamp_left, |words| badge(canvas, lettering, words, stamp_left - 14.0, area.y));
        self.draw_name(canvas, lettering, area, stamp_left - area.x - 24.0);
        let mut y = area.y + 76.0;
        for line in self.shown_lines(lettering, area.width) {
            lettering.text(canvas, area.x, y, &line, LINE);
            y += LINE_HEIGHT;
        }
        let rule = y - 6.0;
        canvas.polyline(&[[area.x, rule], [area.right(), rule]], Pen::new(RULE, 1.5));
        rule
    }

    fn draw_name(&self, canvas: &mut Canvas, lettering: &Lettering, area: Area, room: f32) {
        let name_room = if self.version.is_some() { room * 0.7 } else { room };
        let name = lettering.fitted(self.name, NAME, name_room);
        let end = lettering.text(canvas, area.x, area.y + 40.0, &name, NAME);
        if let Some(version) = self.version {
            let version = lettering.fitted(version, VERSION, area.x + room - end - 16.0);
            lettering.text(canvas, end + 16.0, area.y + 40.0, &version, VERSION);
        }
    }

    fn shown_lines(&self, lettering: &Lettering, room: f32) -> Vec<String> {
        let wrapped = self.lines.iter().flat_map(|line| lettering.wrapped(line, LINE, room, 3));
        wrapped.take(LINES_SHOWN).collect()
    }
}

/// The verdict as a stamp at the right: filled where something is off, grey where undecided. Returns its left edge.
fn stamp(canvas: &mut Canvas, lettering: &Lettering, verdict: ShotVerdict, area: Area) -> f32 {
    let words = verdict.word().to_uppercase();
    let width = lettering.width(&words, STAMP).ceil() + 44.0;
    let place = Area::new((area.right() - width).round(), area.y, width, 48.0);
    let baseline = place.y + 33.0;
    let filled = matches!(verdict, ShotVerdict::Mismatch | ShotVerdict::Error);
    if filled {
        canvas.fill(place, INK);
    } else {
        if verdict == ShotVerdict::Unsure {
            canvas.fill(place, CARD);
        }
        canvas.frame(place, Pen::new(INK, 2.5));
    }
    let ink = if filled { PAPER } else { INK };
    lettering.text(canvas, place.x + 22.0, baseline, &words, STAMP.inked(ink));
    place.x
}

/// A stamp that ends at `right`, framed thinly with the mark of an on-set problem. Returns its left edge.
fn badge(canvas: &mut Canvas, lettering: &Lettering, words: &str, right: f32, top: f32) -> f32 {
    let words = words.to_uppercase();
    let width = lettering.width(&words, BADGE).ceil() + 58.0;
    let place = Area::new((right - width).round(), top, width, 48.0);
    canvas.frame(place, Pen::new(INK, 1.5));
    set_problem_mark(canvas, [place.x + 22.0, place.y + 24.0]);
    lettering.text(canvas, place.x + 40.0, place.y + 31.0, &words, BADGE);
    place.x
}
