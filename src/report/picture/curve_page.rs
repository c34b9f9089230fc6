//! A moving shot over time: one plot for each check, its tolerance as a band.

use std::cmp::Reverse;

use super::canvas::{Area, CARD, Canvas, FAINT_INK, INK, Pen, RULE};
use super::header::Header;
use super::lettering::{HEADING, Lettering, SMALL};
use super::verdict_mark::verdict_mark;
use crate::Result;
use crate::findings::numbers::fixed;
use crate::findings::{Curve, FrameValue, Naming, REPORT_FORMAT, Report, SequenceReport};
use crate::image::marked_png::encode_png;
use crate::report::glance::Glance;

const PAGE_WIDTH: f32 = 1240.0;
const MARGIN: f32 = 64.0;
const TOP: f32 = 192.0;
const PLOT_LEFT: f32 = 132.0;
const PLOT_HEIGHT: f32 = 170.0;
/// From one plot to the next.
const STEP: f32 = 236.0;
const FOOT: f32 = 64.0;

/// Curves on one page; a shot has a handful of checks for each of a few mirrors.
const MOST_CURVES: usize = 30;

/// The curves as a PNG file 1240 px wide: frame number across, each number with its standard deviation as a bar, its
/// verdict as the symbol of the evidence page, the tolerance as a grey band, the worst frame as an upright line.
///
/// # Errors
/// `Io` where the picture cannot be encoded.
pub fn render_curves(report: &Report, sequence: &SequenceReport) -> Result<Vec<u8>> {
    let mut curves = sequence.curves();
    let shows = |curve: &Curve<'_>| {
        let points = sequence.points(*curve);
        let mut numbers = points.iter().filter_map(|(_, value)| Some((value.value?, value.unit.as_str())));
        // A count of nothing throughout is no curve.
        numbers.any(|(number, unit)| unit != COUNT || number != 0.0)
    };
    curves.retain(shows);
    curves.sort_by_key(|curve| Reverse(sequence.points(*curve).iter().map(|(_, value)| value.verdict).max()));
    curves.truncate(MOST_CURVES);
    let height = TOP + STEP * curves.len().max(1) as f32 + FOOT;
    let mut page =
        Page { canvas: Canvas::new(PAGE_WIDTH as u32, height as u32)?, lettering: Lettering::new(), sequence };
    page.head(report);
    let naming = Naming::of(report);
    for (index, curve) in curves.into_iter().enumerate() {
        page.plot(TOP + STEP * index as f32, curve, &naming.name_of_curve(curve));
    }
    page.foot(height - 28.0);
    let (width, height, rgb) = page.canvas.into_rgb();
    encode_png(width, height, &rgb, REPORT_FORMAT)
}

struct Page<'a> {
    canvas: Canvas,
    lettering: Lettering,
    sequence: &'a SequenceReport,
}

impl Page<'_> {
    fn head(&mut self, report: &Report) {
        let s = self.sequence;
        let frames = format!(
            "frames {} to {}, {} samples; the upright line is the worst frame, {}",
            s.first_frame,
            s.last_frame,
            s.frames.len(),
            s.worst_frame
        );
        let version = report.version.as_deref();
        let about_cg = format!("at that frame: {}", Glance::of(report).cg);
        let header = Header {
            name: &report.shot,
            version,
            verdict: Some(report.verdict),
            badge: None,
            lines: &[frames, about_cg],
        };
        header.draw(&mut self.canvas, &self.lettering, Area::new(MARGIN, 32.0, PAGE_WIDTH - 2.0 * MARGIN, 0.0));
    }

    fn plot(&mut self, y: f32, curve: Curve<'_>, name: &str) {
        let points = self.sequence.points(curve);
        let (unit, tolerance) = points.first().map_or(("", 0.0), |(_, v)| (v.unit.as_str(), v.tolerance));
        let words = self.lettering.fitted(&format!("{name}, {unit}"), HEADING, PAGE_WIDTH - 2.0 * MARGIN);
        self.lettering.text(&mut self.canvas, MARGIN, y + 2.0, &words, HEADING);
        let area = Area::new(PLOT_LEFT, y + 20.0, PAGE_WIDTH - MARGIN - PLOT_LEFT, PLOT_HEIGHT);
        let axes = Axes::new(area, [self.sequence.first_frame, self.sequence.last_frame], &points, tolerance);
        self.band(&axes, tolerance);
        self.scales(&axes, unit);
        let worst = axes.x(self.sequence.worst_frame);
        self.canvas.polyline(&[[worst, area.y], [worst, area.bottom()]], Pen::new(FAINT_INK, 1.2));
        self.curve(&axes, &points);
        self.canvas.frame(area, Pen::new(INK, 1.0));
    }

    /// What is within tolerance.
    fn band(&mut self, axes: &Axes, tolerance: f64) {
        if tolerance > 0.0 && tolerance.is_finite() {
            let (top, bottom) = (axes.y(tolerance), axes.y(-tolerance));
            self.canvas.fill(Area::new(axes.area.x, top, axes.area.width, bottom - top), CARD);
        }
    }

    fn scales(&mut self, axes: &Axes, unit: &str) {
        let decimals = match unit {
            "deg" => 1,
            COUNT => 0,
            _ => 2,
        };
        let values = [axes.low, 0.0, axes.high];
        let first = usize::from(axes.low == 0.0);
        for value in values.into_iter().skip(first) {
            let y = axes.y(value);
            self.canvas.polyline(&[[axes.area.x, y], [axes.area.right(), y]], Pen::new(RULE, 1.0));
            let words = fixed(value, decimals, !is_never_negative(unit));
            self.lettering.text_right(&mut self.canvas, axes.area.x - 8.0, y + 4.0, &words, SMALL);
        }
        let (first, last) = (self.sequence.first_frame, self.sequence.last_frame);
        let below = axes.area.bottom() + 18.0;
        self.lettering.text(&mut self.canvas, axes.area.x, below, &first.to_string(), SMALL);
        self.lettering.text_right(&mut self.canvas, axes.area.right(), below, &last.to_string(), SMALL);
        let worst = self.sequence.worst_frame;
        if worst != first && worst != last {
            let x = axes.x(worst).clamp(axes.area.x + 90.0, axes.area.right() - 90.0);
            self.lettering.text_centred(&mut self.canvas, x, below, &format!("worst {worst}"), SMALL.inked(INK));
        }
    }

    fn curve(&mut self, axes: &Axes, points: &[(u32, &FrameValue)]) {
        let mut run: Vec<[f32; 2]> = Vec::new();
        for (frame, point) in points {
            match point.value {
                Some(value) => run.push([axes.x(*frame), axes.y(value)]),
                // A frame without a number breaks the line.
                None => self.canvas.polyline(&std::mem::take(&mut run), Pen::new(INK, 1.4)),
            }
        }
        self.canvas.polyline(&run, Pen::new(INK, 1.4));
        for (frame, point) in points {
            let Some(value) = point.value else { continue };
            let x = axes.x(*frame);
            if let Some(sd) = point.value_sd {
                let bar = [[x, axes.y(value - sd)], [x, axes.y(value + sd)]];
                self.canvas.polyline(&bar, Pen::new(FAINT_INK, 1.2));
            }
            verdict_mark(&mut self.canvas, [x, axes.y(value)], point.verdict);
        }
    }

    fn foot(&mut self, y: f32) {
        let words = "grey: within tolerance; bar: 1 standard deviation; square: mismatch; diamond: unsure; tick: match";
        self.lettering.text(&mut self.canvas, MARGIN, y, words, SMALL);
        let words = format!("plateproof {}", env!("CARGO_PKG_VERSION"));
        self.lettering.text_right(&mut self.canvas, PAGE_WIDTH - MARGIN, y, &words, SMALL);
    }
}

/// The unit of contradictions, which are counted.
const COUNT: &str = "contradictions";

/// An axis whose ends would read alike says nothing.
const SMALLEST_SPAN: f64 = 1e-6;

fn is_never_negative(unit: &str) -> bool {
    matches!(unit, "deg" | COUNT)
}

/// Frame numbers and values on the page.
struct Axes {
    area: Area,
    frames: [f64; 2],
    low: f64,
    high: f64,
}

impl Axes {
    /// Axes that hold every point with its deviation, zero and the tolerance on both sides; angles and counts, which
    /// are never negative, from zero up. Where all of this is zero the axis goes to one.
    fn new(area: Area, frames: [u32; 2], points: &[(u32, &FrameValue)], tolerance: f64) -> Self {
        let tolerance = if tolerance.is_finite() { tolerance.max(0.0) } else { 0.0 };
        let measured = || points.iter().filter_map(|(_, v)| Some((v.value?, v.value_sd.unwrap_or(0.0))));
        let reach = |low: f64, high: f64| (low.is_finite() && high.is_finite()).then_some((low, high));
        let ends = measured().filter_map(|(value, sd)| reach(value - sd, value + sd));
        let from_zero = points.iter().all(|(_, v)| is_never_negative(&v.unit));
        let start = if from_zero { 0.0 } else { -tolerance };
        let (low, high) = ends.fold((start, tolerance), |(low, high), (l, h)| (low.min(l), high.max(h)));
        let low = if from_zero { 0.0 } else { low * 1.1 };
        let high = if high - low > SMALLEST_SPAN { high * 1.1 } else { low + 1.0 };
        Self { area, frames: frames.map(f64::from), low, high }
    }

    fn x(&self, frame: u32) -> f32 {
        let [first, last] = self.frames;
        let along = if last > first { (f64::from(frame) - first) / (last - first) } else { 0.5 };
        // The first and the last mark keep clear of the frame.
        self.area.x + 14.0 + (along.clamp(0.0, 1.0) as f32) * (self.area.width - 28.0)
    }

    fn y(&self, value: f64) -> f32 {
        let up = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        self.area.bottom() - up as f32 * self.area.height
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample::{self, keep_for_looking};
    use crate::findings::{Concerns, FrameReport, ShotVerdict, Verdict};

    fn value(check: &str, unit: &str, tolerance: f64, number: Option<f64>) -> FrameValue {
        let verdict = match number {
            Some(number) if number.abs() > tolerance => Verdict::Mismatch,
            Some(_) => Verdict::Match,
            None => Verdict::Unsure,
        };
        FrameValue {
            check: check.into(),
            mirror: Some("m1".to_owned()),
            concerns: Concerns::Cg,
            verdict,
            value: number,
            value_sd: number.map(|_| tolerance / 5.0),
            unit: unit.to_owned(),
            tolerance,
        }
    }

    #[test]
    fn an_axis_never_goes_from_zero_to_zero() {
        let area = Area::new(0.0, 0.0, 100.0, 100.0);
        let none = value("set-notes", COUNT, 0.0, Some(0.0));
        let axes = Axes::new(area, [1001, 1010], &[(1001, &none)], 0.0);
        assert_eq!((axes.low, axes.high), (0.0, 1.0));
        assert!((axes.y(0.0) - area.bottom()).abs() < 1e-3);
        let flat = value("exposure", "stops", 0.0, Some(0.0));
        let axes = Axes::new(area, [1001, 1010], &[(1001, &flat)], 0.0);
        assert!(axes.high - axes.low >= 1.0);
    }

    #[test]
    fn curves_are_drawn_with_gaps_and_single_samples() {
        let frames = (0..15_u32).map(|i| {
            let t = f64::from(i) / 5.0;
            let stops = (i != 7).then(|| 0.3 * t.sin());
            let values =
                vec![value("exposure", "stops", 0.25, stops), value("highlight-direction", "deg", 5.0, Some(2.0 * t))];
            FrameReport { frame: 1001 + 10 * i, verdict: ShotVerdict::Match, error: None, values }
        });
        let mut sequence = SequenceReport {
            first_frame: 1001,
            last_frame: 1141,
            every_frames: 10,
            worst_frame: 1091,
            frames: frames.collect(),
        };
        let png = render_curves(&sample::mismatch(), &sequence).unwrap();
        keep_for_looking("curves.png", &png);
        sequence.frames.truncate(1);
        assert!(png.len() > render_curves(&sample::mismatch(), &sequence).unwrap().len() / 2);
        sequence.frames.clear();
        assert!(render_curves(&sample::mismatch(), &sequence).is_ok());
    }
}
