//! Errors over a condition: points with their uncertainty, the tolerance as a band.

use super::canvas::{Area, CARD, Canvas, FAINT_INK, INK, Pen, RULE};
use super::lettering::{HEADING, Lettering, SMALL, TABLE};
use super::verdict_mark::sized_mark;
use crate::Result;
use crate::findings::numbers::fixed;
use crate::findings::{REPORT_FORMAT, Verdict};
use crate::image::marked_png::encode_png;

const PAGE_WIDTH: f32 = 1180.0;
const MARGIN: f32 = 40.0;
const TOP: f32 = 84.0;
const PANEL_HEIGHT: f32 = 230.0;
/// From one row of panels to the next.
const STEP: f32 = 318.0;
/// Room for the numbers left of a panel.
const SCALE_WIDTH: f32 = 70.0;
/// Room for what the marks mean.
const FOOT: f32 = 56.0;
/// What the marks mean.
const MARKS: [&str; 2] = [
    "tick: match; square: mismatch; diamond: unsure; bar: two standard deviations each way; grey: within tolerance",
    "arrow: off the scale, with the number; short bar at the foot: no number",
];
/// Points on one page at most; more would be a black area.
const MOST_POINTS: usize = 4000;
/// Numbers written beside one arrow; the rest are counted.
const MOST_NUMBERS: usize = 4;
/// From one of these numbers to the next.
const NUMBER_STEP: f32 = 17.0;

/// A page of plots over the same condition.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// Heading of the page.
    pub title: String,
    /// What is across, with its unit.
    pub across: String,
    /// Equal factors are equally far apart; needs numbers above 0.
    pub logarithmic: bool,
    /// One panel for each number.
    pub panels: Vec<PlotPanel>,
}

/// One number over the condition.
#[derive(Debug, Clone, PartialEq)]
pub struct PlotPanel {
    /// Heading.
    pub heading: String,
    /// Unit of the number.
    pub unit: String,
    /// The numbers are errors, about 0; else amounts, from 0 up.
    pub errors: bool,
    /// Half-height of the grey band; 0 for none.
    pub tolerance: f64,
    /// The points, in any order.
    pub points: Vec<PlotPoint>,
    /// Conditions under which there was no number.
    pub without: Vec<f64>,
}

/// One result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlotPoint {
    /// The condition.
    pub across: f64,
    /// The number.
    pub value: f64,
    /// Its standard deviation; the bar reaches two of them up and down.
    pub sd: f64,
    /// Decides the symbol.
    pub verdict: Verdict,
}

/// The plots as a PNG file 1180 px wide, two panels in a row. Bars reach two standard deviations up and down; a tick
/// is a match, a filled square a mismatch, a diamond undecided, an arrow a number off the scale, a bar at the foot a
/// condition without a number. Numbers that are not finite are left out.
///
/// # Errors
/// `Io` where the picture cannot be encoded.
pub fn render_plot(plot: &Plot) -> Result<Vec<u8>> {
    let rows = plot.panels.len().div_ceil(2).max(1);
    let height = TOP + STEP * rows as f32 + FOOT;
    let mut page = Page { canvas: Canvas::new(PAGE_WIDTH as u32, height as u32)?, lettering: Lettering::new(), plot };
    page.lettering.text(&mut page.canvas, MARGIN, 48.0, &plot.title, HEADING);
    let width = (PAGE_WIDTH - 3.0 * MARGIN) / 2.0 - SCALE_WIDTH;
    for (index, panel) in plot.panels.iter().enumerate() {
        let x = MARGIN + SCALE_WIDTH + (index % 2) as f32 * (width + SCALE_WIDTH + MARGIN);
        let y = TOP + 24.0 + (index / 2) as f32 * STEP;
        page.panel(panel, Area::new(x, y, width, PANEL_HEIGHT));
    }
    for (line, words) in MARKS.iter().enumerate() {
        let y = height - FOOT + 20.0 + 22.0 * line as f32;
        page.lettering.text(&mut page.canvas, MARGIN, y, words, SMALL);
    }
    let (width, height, rgb) = page.canvas.into_rgb();
    encode_png(width, height, &rgb, REPORT_FORMAT)
}

struct Page<'a> {
    canvas: Canvas,
    lettering: Lettering,
    plot: &'a Plot,
}

/// From numbers to places on the page.
struct Axes {
    area: Area,
    logarithmic: bool,
    errors: bool,
    across: [f64; 2],
    reach: f64,
}

impl Axes {
    fn new(area: Area, plot: &Plot, panel: &PlotPanel) -> Self {
        let all = plot.panels.iter().flat_map(|p| p.points.iter().map(|p| p.across).chain(p.without.iter().copied()));
        let usable = all.filter(|x| x.is_finite() && (!plot.logarithmic || *x > 0.0));
        let (low, high) = usable.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)));
        let across = if low < high { [low, high] } else { [low.min(0.9), low.max(1.1)].map(finite_or_one) };
        let ends = panel.points.iter().map(|p| p.value.abs() + 2.0 * p.sd).filter(|v| v.is_finite());
        // A few wild errors must not flatten the rest: the scale holds 19 of 20.
        let mut sorted: Vec<f64> = ends.collect();
        sorted.sort_by(f64::total_cmp);
        let held = if panel.errors { sorted.get(sorted.len() * 19 / 20) } else { None };
        let most = held.or(sorted.last()).copied().unwrap_or(0.0);
        let reach = most.max(1.3 * panel.tolerance);
        let reach = if reach > 0.0 { 1.05 * reach } else { 1.0 };
        Self { area, logarithmic: plot.logarithmic, errors: panel.errors, across, reach }
    }

    fn x(&self, across: f64) -> f32 {
        let place = |v: f64| if self.logarithmic { v.max(1e-12).ln() } else { v };
        let [low, high] = self.across.map(place);
        let inset = 0.04 + 0.92 * ((place(across) - low) / (high - low).max(1e-12));
        self.area.x + self.area.width * inset.clamp(0.0, 1.0) as f32
    }

    /// Whether a number lies off the scale, and if so whether above it.
    fn beyond(&self, value: f64) -> Option<bool> {
        let low = if self.errors { -self.reach } else { 0.0 };
        (value > self.reach || value < low).then_some(value > self.reach)
    }

    fn y(&self, value: f64) -> f32 {
        let share = value / self.reach;
        let up = if self.errors { 0.5 + 0.5 * share } else { share }.clamp(0.0, 1.0);
        self.area.bottom() - self.area.height * up as f32
    }
}

fn finite_or_one(value: f64) -> f64 {
    if value.is_finite() { value } else { 1.0 }
}

impl Page<'_> {
    fn panel(&mut self, panel: &PlotPanel, area: Area) {
        let axes = Axes::new(area, self.plot, panel);
        let what = if panel.errors { "error in " } else { "" };
        let heading = format!("{}, {what}{}", panel.heading, panel.unit);
        self.lettering.text(&mut self.canvas, area.x, area.y - 10.0, &heading, TABLE);
        self.band(&axes, panel.tolerance);
        self.scales(&axes, panel);
        let points = || panel.points.iter().filter(|p| p.across.is_finite() && p.value.is_finite()).take(MOST_POINTS);
        for point in points() {
            self.point(&axes, point);
        }
        self.arrows(&axes, points());
        for across in panel.without.iter().filter(|x| x.is_finite()).take(MOST_POINTS) {
            let x = axes.x(*across);
            self.canvas.polyline(&[[x, area.bottom() - 9.0], [x, area.bottom() - 1.0]], Pen::new(INK, 2.0));
        }
        self.canvas.frame(area, Pen::new(INK, 1.0));
    }

    fn band(&mut self, axes: &Axes, tolerance: f64) {
        if tolerance > 0.0 && tolerance.is_finite() {
            let (top, bottom) = (axes.y(tolerance), axes.y(-tolerance));
            self.canvas.fill(Area::new(axes.area.x, top, axes.area.width, bottom - top), CARD);
        }
    }

    fn scales(&mut self, axes: &Axes, panel: &PlotPanel) {
        let step = round_step(axes.reach);
        for k in if panel.errors { -4_i32 } else { 0 }..=4 {
            let value = f64::from(k) * step;
            if value.abs() > axes.reach {
                continue;
            }
            let y = axes.y(value);
            self.canvas.polyline(&[[axes.area.x, y], [axes.area.right(), y]], Pen::new(RULE, 1.0));
            let places = decimals(step);
            let words = if panel.errors { format!("{value:+.places$}") } else { format!("{value:.places$}") };
            self.lettering.text_right(&mut self.canvas, axes.area.x - 8.0, y + 4.0, &words, SMALL);
        }
        let mut marked: Vec<f64> = panel.points.iter().map(|p| p.across).chain(panel.without.iter().copied()).collect();
        marked.retain(|x| x.is_finite());
        marked.sort_by(f64::total_cmp);
        marked.dedup();
        let below = axes.area.bottom() + 18.0;
        let mut free_from = f32::NEG_INFINITY;
        for across in marked {
            let words = short(across);
            let (x, half) = (axes.x(across), self.lettering.width(&words, SMALL) / 2.0);
            if x - half > free_from {
                self.lettering.text_centred(&mut self.canvas, x, below, &words, SMALL);
                free_from = x + half + 6.0;
            }
        }
        let middle = axes.area.x + axes.area.width / 2.0;
        self.lettering.text_centred(&mut self.canvas, middle, below + 20.0, &self.plot.across, SMALL.inked(INK));
    }

    fn point(&mut self, axes: &Axes, point: &PlotPoint) {
        let (x, y) = (axes.x(point.across), axes.y(point.value));
        if point.sd.is_finite() {
            let ends = [[x, axes.y(point.value - 2.0 * point.sd)], [x, axes.y(point.value + 2.0 * point.sd)]];
            self.canvas.polyline(&ends, Pen::new(FAINT_INK, 1.2).opacity(0.7));
        }
        if axes.beyond(point.value).is_none() {
            sized_mark(&mut self.canvas, [x, y], point.verdict, 4.0);
        }
    }
}

impl Page<'_> {
    /// The numbers off the scale: one arrow for each condition and edge, with its numbers beneath one another.
    fn arrows<'p>(&mut self, axes: &Axes, points: impl Iterator<Item = &'p PlotPoint>) {
        let beyond = |p: &PlotPoint| axes.beyond(p.value).map(|up| (up, p.across, p.value));
        let mut off: Vec<(bool, f64, f64)> = points.filter_map(beyond).collect();
        off.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(b.2.abs().total_cmp(&a.2.abs())));
        for same in off.chunk_by(|a, b| a.0 == b.0 && a.1.total_cmp(&b.1).is_eq()) {
            let (up, across, _) = same[0];
            let mut words: Vec<String> = same.iter().take(MOST_NUMBERS).map(|p| fixed(p.2, 1, axes.errors)).collect();
            if same.len() > MOST_NUMBERS {
                words.push(format!("and {} more", same.len() - MOST_NUMBERS));
            }
            self.arrow(axes, axes.x(across), up, &words);
        }
    }

    /// An arrow at the edge that the numbers lie beyond, with the numbers beside it, the furthest nearest the edge.
    fn arrow(&mut self, axes: &Axes, x: f32, up: bool, words: &[String]) {
        let (tip, back) = if up { (axes.area.y + 3.0, 11.0) } else { (axes.area.bottom() - 3.0, -11.0) };
        self.canvas.polyline(&[[x - 5.0, tip + 0.6 * back], [x, tip], [x + 5.0, tip + 0.6 * back]], Pen::new(INK, 2.0));
        self.canvas.polyline(&[[x, tip], [x, tip + back]], Pen::new(INK, 2.0));
        let first = if up { tip + 13.0 } else { tip - 3.0 };
        for (line, words) in words.iter().enumerate() {
            let room = self.lettering.width(words, SMALL);
            let beside = if x + 8.0 + room > axes.area.right() { x - 8.0 - room } else { x + 8.0 };
            let down = NUMBER_STEP * line as f32;
            let baseline = if up { first + down } else { first - down };
            self.lettering.text(&mut self.canvas, beside, baseline, words, SMALL.inked(INK));
        }
    }
}

/// A round step of which two to four fit into `reach`.
fn round_step(reach: f64) -> f64 {
    let decade = reach.max(1e-9).log10().floor();
    let unit = 10.0_f64.powf(decade);
    let steps = [0.25, 0.5, 1.0, 2.0, 2.5].map(|s| s * unit);
    steps.into_iter().find(|s| reach / s < 4.5).unwrap_or(2.5 * unit)
}

fn decimals(step: f64) -> usize {
    let digits = (2.0 - step.max(1e-9).log10().floor()).clamp(0.0, 6.0) as usize;
    digits.saturating_sub(usize::from(step >= 1e-6))
}

/// A condition in few letters.
fn short(value: f64) -> String {
    let text = format!("{value:.4}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plot(points: Vec<PlotPoint>) -> Plot {
        let panel = PlotPanel {
            heading: "exposure".to_owned(),
            unit: "stops".to_owned(),
            errors: true,
            tolerance: 0.25,
            points,
            without: vec![8.0],
        };
        Plot { title: "Over blur".to_owned(), across: "blur, px".to_owned(), logarithmic: true, panels: vec![panel; 3] }
    }

    #[test]
    fn a_page_has_two_rows_for_three_panels() {
        let point = PlotPoint { across: 2.0, value: 0.1, sd: 0.02, verdict: Verdict::Match };
        let png = render_plot(&plot(vec![point, PlotPoint { across: 4.0, ..point }])).unwrap();
        assert_eq!(u32::from_be_bytes(png[16..20].try_into().unwrap()), 1180);
        assert_eq!(u32::from_be_bytes(png[20..24].try_into().unwrap()), 776);
    }

    #[test]
    fn amounts_stand_on_zero_and_errors_about_it() {
        let point = PlotPoint { across: 2.0, value: 10.0, sd: 0.0, verdict: Verdict::Match };
        let mut plot = plot(vec![point]);
        let area = Area::new(0.0, 0.0, 100.0, 200.0);
        let axes = |plot: &Plot| Axes::new(area, plot, &plot.panels[0]);
        assert!((axes(&plot).y(0.0) - 100.0).abs() < 1e-3);
        plot.panels[0].errors = false;
        assert!((axes(&plot).y(0.0) - 200.0).abs() < 1e-3);
        assert!((axes(&plot).y(10.0) - 200.0 / 21.0).abs() < 0.1);
    }

    /// Nineteen of twenty bars fit the scale: one wild error is beyond it, in the direction of its sign.
    #[test]
    fn a_wild_error_is_off_the_scale_on_its_own_side() {
        let near = PlotPoint { across: 2.0, value: 0.2, sd: 0.01, verdict: Verdict::Match };
        let mut points = vec![near; 30];
        points.push(PlotPoint { value: 26.9, ..near });
        let plot = plot(points);
        let axes = Axes::new(Area::new(0.0, 0.0, 100.0, 200.0), &plot, &plot.panels[0]);
        let sides = [26.9, -26.9, 0.2].map(|value| axes.beyond(value));
        assert_eq!(sides, [Some(true), Some(false), None]);
        assert!(render_plot(&plot).is_ok());
    }

    #[test]
    fn odd_numbers_do_not_stop_it() {
        let wild = [f64::NAN, f64::INFINITY, 0.0, -1.0, 1e300];
        let points = wild.map(|v| PlotPoint { across: v, value: v, sd: v, verdict: Verdict::Unsure }).to_vec();
        assert!(render_plot(&plot(points)).is_ok());
        assert!(render_plot(&plot(Vec::new())).is_ok());
    }

    #[test]
    fn steps_are_round_and_few() {
        for reach in [0.013, 0.3, 1.0, 7.4, 96.0] {
            let steps = reach / round_step(reach);
            assert!((1.0..4.5).contains(&steps), "{reach}: {steps}");
        }
    }
}
