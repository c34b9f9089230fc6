//! What is sound and what is not in an environment picture itself.

use std::collections::BTreeMap;
use std::f64::consts::PI;

use super::{Convention, convention_of};
use crate::base::parallel;
use crate::base::statistics::{median, robust_sd};
use crate::colour::luminance;
use crate::image::Frame;

/// Half float ends at 65504 (IEEE 754 binary16); values this near have met the end.
const HALF_FLOAT_END: f32 = 65000.0;

/// The dark end of the range: this part of all directions is darker.
const DARK_PART: f64 = 0.01;

/// Wider pictures are subsampled for the histogram; everything else uses every pixel.
const HISTOGRAM_COLUMNS: usize = 4096;

/// Bins of the histogram of luminance: this many per stop, over this range of stops.
const BINS_PER_STOP: f64 = 16.0;
const BIN_RANGE_STOPS: [f64; 2] = [-40.0, 40.0];

/// This many pixels with exactly the same largest value look like a clip level.
const PLATEAU_PIXELS: u64 = 12;

/// A seam stands out by this many times the usual step between neighbouring columns, and by this many stops.
const SEAM_TIMES: f64 = 4.0;
const SEAM_STOPS: f64 = 0.05;

/// A pole is uneven where its row varies by more than this many steps between neighbouring rows, and by this many
/// stops.
const POLE_TIMES: f64 = 6.0;
const POLE_STOPS: f64 = 0.3;

/// Rings around the nadir are looked at up to this angle from it, degrees.
const NADIR_REACH_DEG: f64 = 45.0;

/// A round edge around the nadir: most of the ring steps the same way by this many stops.
const EDGE_STOPS: f64 = 0.4;
const EDGE_PART: f64 = 0.8;

/// What is dark around the nadir is darker than the ground around it by this many stops.
const DARK_STOPS: f64 = 1.5;

/// Light that met a ceiling.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Clipping {
    /// Solid angle at a ceiling that is known (the sheet's `clip_level`, the format's own), sr.
    pub steradian: f64,
    /// Many pixels share exactly the largest value: most likely a ceiling, of this stored value.
    pub plateau: Option<f64>,
    /// Solid angle of that plateau, sr.
    pub plateau_steradian: f64,
}

/// A place where the picture does not meet itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seam {
    /// Median step across it, stops.
    pub stops: f64,
    /// The usual step between neighbours, stops.
    pub usual_stops: f64,
}

/// The survey's outcome.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Survey {
    /// Samples are floating-point.
    pub is_float: bool,
    /// Columns over rows.
    pub aspect: f64,
    /// log2 of the brightest over the level below which 1 % of all directions lie; `None` for a black picture.
    pub range_stops: Option<f64>,
    /// Light that met a ceiling.
    pub clipping: Clipping,
    /// Part of all directions that is black, negative or masked.
    pub empty_fraction: f64,
    /// Left and right edge do not meet.
    pub edge_seam: Option<Seam>,
    /// The rows at the poles vary, though each shows one direction: top, bottom.
    pub pole_spread: [Option<Seam>; 2],
    /// A round patch covers the nadir up to this angle from it, degrees.
    pub nadir_patch_deg: Option<f64>,
    /// Something dark stands at the nadir, by so many stops.
    pub nadir_dark_stops: Option<f64>,
}

/// Surveys the stored pixels.
pub fn survey(frame: &Frame) -> Survey {
    let mut strips = SurveyInStrips::new(frame);
    strips.take(frame, 0);
    strips.finish()
}

/// A survey while the picture comes in in strips: sums over all pixels, and of the pixels themselves only the few rows
/// and columns that are looked at more closely.
#[derive(Debug)]
pub struct SurveyInStrips {
    convention: Convention,
    /// What each stored channel adds to luminance.
    luminance: [f64; 3],
    width: usize,
    height: usize,
    clip_level: Option<[f32; 3]>,
    is_float: bool,
    all: RowSums,
    /// The rows at the poles and the rings around the nadir; empty until their strip comes.
    rows: BTreeMap<usize, Vec<[f32; 3]>>,
    /// The columns at the left and right edge, row by row.
    edges: Vec<[[f32; 3]; EDGE_COLUMNS]>,
}

/// Columns kept at the edges: three on the left, two on the right.
const EDGE_COLUMNS: usize = 5;

/// Pixels of one row, counted.
#[derive(Debug, Default)]
struct Tally {
    empty: u64,
    clipped: u64,
    brightest: f64,
    /// Largest stored value of any channel, and how many pixels hold exactly that.
    top: f32,
    at_top: u64,
}

/// Sums over one row.
#[derive(Debug, Default)]
struct RowSums {
    histogram: Vec<f64>,
    brightest: f64,
    /// Largest stored value of any channel, and how many pixels hold exactly that.
    ceiling: f32,
    at_ceiling: u64,
    at_ceiling_steradian: f64,
    clipped: f64,
    empty: f64,
}

impl RowSums {
    fn add(&mut self, other: &Self) {
        self.histogram.resize(other.histogram.len().max(self.histogram.len()), 0.0);
        for (sum, more) in self.histogram.iter_mut().zip(&other.histogram) {
            *sum += more;
        }
        self.brightest = self.brightest.max(other.brightest);
        self.clipped += other.clipped;
        self.empty += other.empty;
        self.meet(other.ceiling, other.at_ceiling, other.at_ceiling_steradian);
    }

    fn meet(&mut self, value: f32, count: u64, steradian: f64) {
        if value > self.ceiling {
            (self.ceiling, self.at_ceiling, self.at_ceiling_steradian) = (value, count, steradian);
        } else if value.to_bits() == self.ceiling.to_bits() {
            self.at_ceiling += count;
            self.at_ceiling_steradian += steradian;
        }
    }
}

fn range_stops(all: &RowSums) -> Option<f64> {
    let total: f64 = all.histogram.iter().sum();
    let mut sum = 0.0;
    let dark = all.histogram.iter().position(|sr| {
        sum += sr;
        sum >= DARK_PART * total && *sr > 0.0
    })?;
    let dark_stops = BIN_RANGE_STOPS[0] + (dark as f64 + 0.5) / BINS_PER_STOP;
    (all.brightest > 0.0).then(|| (all.brightest.log2() - dark_stops).max(0.0))
}

fn clipping(all: &RowSums) -> Clipping {
    let plateau = all.clipped == 0.0 && all.at_ceiling >= PLATEAU_PIXELS;
    Clipping {
        steradian: all.clipped,
        plateau: plateau.then_some(f64::from(all.ceiling)),
        plateau_steradian: if plateau { all.at_ceiling_steradian } else { 0.0 },
    }
}

impl SurveyInStrips {
    /// Of the frame that `header` tells of.
    pub fn new(header: &Frame) -> Self {
        let alone = |channel: usize| std::array::from_fn(|c| if c == channel { 1.0 } else { 0.0 });
        let luminance = std::array::from_fn(|channel| luminance(header.space.to_working(alone(channel))));
        let (width, height) = (header.data.width, header.data.height);
        let mut survey = Self {
            convention: convention_of(header),
            luminance,
            width,
            height,
            clip_level: header.clip_level,
            is_float: header.integer_bits.is_none(),
            all: RowSums::default(),
            rows: BTreeMap::new(),
            edges: Vec::new(),
        };
        let poles = [0, 1, height.saturating_sub(2), height.saturating_sub(1)];
        let rings = survey.ring_rows().into_iter().map(|(_, row)| row);
        survey.rows = poles.into_iter().chain(rings).map(|row| (row, Vec::new())).collect();
        survey
    }

    /// Takes the next strip, whose first row is `first_row` of the whole picture.
    pub fn take(&mut self, strip: &Frame, first_row: usize) {
        let sums: Vec<RowSums> =
            parallel::map(strip.data.height, |row| self.row(first_row + row, self.row_of(strip, row)));
        for sum in &sums {
            self.all.add(sum);
        }
        for row in 0..strip.data.height {
            let pixels = self.row_of(strip, row);
            let edge = self.edge_columns().map(|column| pixels.get(column).copied().unwrap_or([f32::NAN; 3]));
            self.edges.push(edge);
            if let Some(kept) = self.rows.get_mut(&(first_row + row)) {
                *kept = pixels.to_vec();
            }
        }
    }

    fn row_of<'s>(&self, strip: &'s Frame, row: usize) -> &'s [[f32; 3]] {
        strip.rgb.get(row * self.width..(row + 1) * self.width).unwrap_or_default()
    }

    fn edge_columns(&self) -> [usize; EDGE_COLUMNS] {
        [0, 1, 2, self.width.saturating_sub(2), self.width.saturating_sub(1)]
    }

    /// What it comes to, once all strips were taken.
    pub fn finish(self) -> Survey {
        Survey {
            is_float: self.is_float,
            aspect: self.width as f64 / self.height.max(1) as f64,
            range_stops: range_stops(&self.all),
            clipping: clipping(&self.all),
            empty_fraction: self.all.empty / (4.0 * PI),
            edge_seam: self.edge_seam(),
            pole_spread: [self.pole_spread(0, 1), self.pole_spread(self.height - 1, self.height.saturating_sub(2))],
            nadir_patch_deg: self.nadir_patch_deg(),
            nadir_dark_stops: self.nadir_dark_stops(),
        }
    }

    /// A pixel of those that are kept.
    fn pixel(&self, column: usize, row: usize) -> Option<[f32; 3]> {
        let kept = self.rows.get(&row).and_then(|pixels| pixels.get(column)).copied();
        let at_edge = || {
            let place = self.edge_columns().iter().position(|edge| *edge == column)?;
            self.edges.get(row).map(|edges| edges[place])
        };
        kept.or_else(at_edge).filter(|rgb| rgb.iter().all(|v| v.is_finite()))
    }

    /// log2 of luminance; `None` where black or masked.
    fn stops(&self, column: usize, row: usize) -> Option<f64> {
        self.luminance_of(self.pixel(column, row)?).map(f64::log2)
    }

    /// The luminance of a stored pixel; `None` where black.
    fn luminance_of(&self, rgb: [f32; 3]) -> Option<f64> {
        let [r, g, b] = self.luminance;
        let y = r * f64::from(rgb[0]) + g * f64::from(rgb[1]) + b * f64::from(rgb[2]);
        (y > 0.0).then_some(y)
    }

    /// The sums over the pixels of a row.
    fn row(&self, row: usize, pixels: &[[f32; 3]]) -> RowSums {
        let bins = ((BIN_RANGE_STOPS[1] - BIN_RANGE_STOPS[0]) * BINS_PER_STOP) as usize;
        let mut sums = RowSums { histogram: vec![0.0; bins], ..RowSums::default() };
        let whole = self.convention.steradian(row, [self.width, self.height]);
        let every = (self.width / HISTOGRAM_COLUMNS).max(1);
        let counted_row = row.is_multiple_of(every);
        // Of a picture that shows its edge twice either column is half a pixel.
        let edges = usize::from(self.convention == Convention::OpenExr);
        let (first, rest) = pixels.split_at(edges.min(pixels.len()));
        let (middle, last) = rest.split_at(rest.len().saturating_sub(edges));
        for (pixels, steradian) in [(first, 0.5 * whole), (middle, whole), (last, 0.5 * whole)] {
            let tally = self.tally(pixels);
            sums.brightest = sums.brightest.max(tally.brightest);
            sums.empty += tally.empty as f64 * steradian;
            sums.clipped += tally.clipped as f64 * steradian;
            sums.meet(tally.top, tally.at_top, tally.at_top as f64 * steradian);
        }
        for (column, rgb) in pixels.iter().enumerate().step_by(every).filter(|_| counted_row) {
            let Some(y) = self.luminance_of(*rgb).filter(|y| y.is_finite()) else { continue };
            let at_edge = edges > 0 && (column == 0 || column + 1 == self.width);
            let bin = ((y.log2() - BIN_RANGE_STOPS[0]) * BINS_PER_STOP).clamp(0.0, bins as f64 - 1.0);
            sums.histogram[bin as usize] += if at_edge { 0.5 * whole } else { whole };
        }
        sums
    }

    /// Counts pixels that are all as large. Luminance is finite where all channels are: even a factor of zero leaves the
    /// others NaN.
    fn tally(&self, pixels: &[[f32; 3]]) -> Tally {
        let larger = |a: f32, b: f32| if a > b { a } else { b };
        let ceiling = self.ceiling();
        let mut tally = Tally::default();
        for rgb in pixels {
            let Some(y) = self.luminance_of(*rgb).filter(|y| *y < f64::INFINITY) else {
                tally.empty += 1;
                continue;
            };
            if y > tally.brightest {
                tally.brightest = y;
            }
            let largest = larger(larger(rgb[0], rgb[1]), larger(rgb[2], 0.0));
            if largest > tally.top {
                (tally.top, tally.at_top) = (largest, 0);
            }
            tally.at_top += u64::from(largest.to_bits() == tally.top.to_bits());
            let is_clipped = rgb[0] >= ceiling[0] || rgb[1] >= ceiling[1] || rgb[2] >= ceiling[2];
            tally.clipped += u64::from(is_clipped);
        }
        tally
    }

    /// The stored value per channel from which on light counts as cut off.
    fn ceiling(&self) -> [f32; 3] {
        match self.clip_level {
            Some(level) => level,
            None if !self.is_float => [0.999; 3],
            None => [HALF_FLOAT_END; 3],
        }
    }

    /// Steps across the edge against steps beside it, over all rows but those next to the poles.
    fn edge_seam(&self) -> Option<Seam> {
        if self.width < 8 || self.height < 8 {
            return None;
        }
        let last = self.width - 1;
        let rows = || self.height / 16..self.height - self.height / 16;
        let step = |a: usize, b: usize, row: usize| Some((self.stops(a, row)? - self.stops(b, row)?).abs());
        let stops = median(rows().filter_map(|row| step(0, last, row)))?;
        let beside = rows().flat_map(|row| [step(0, 1, row), step(last, last - 1, row), step(1, 2, row)]);
        let usual_stops = median(beside.flatten())?;
        (stops > SEAM_STOPS + SEAM_TIMES * usual_stops).then_some(Seam { stops, usual_stops })
    }

    /// Spread along a pole's row against the steps to the next row.
    fn pole_spread(&self, pole: usize, next: usize) -> Option<Seam> {
        if self.height < 8 {
            return None;
        }
        let along: Vec<f64> = (0..self.width).filter_map(|c| self.stops(c, pole)).collect();
        let middle = median(along.iter().copied())?;
        let stops = robust_sd(along, middle)?;
        let steps = (0..self.width).filter_map(|c| Some((self.stops(c, pole)? - self.stops(c, next)?).abs()));
        let usual_stops = median(steps)?;
        (stops > POLE_STOPS + POLE_TIMES * usual_stops).then_some(Seam { stops, usual_stops })
    }

    /// Rows from the nadir up to the reach, with their angle from it in degrees; about one a degree.
    fn ring_rows(&self) -> Vec<(f64, usize)> {
        let size = [self.width, self.height];
        let angle = |row: usize| {
            let latitude = self.convention.longitude_latitude([0.0, row as f64], size)[1].to_degrees();
            (90.0 + latitude, row)
        };
        let rows = (0..self.height).rev().step_by((self.height / 180).max(1)).map(angle);
        rows.take_while(|(angle, _)| *angle <= NADIR_REACH_DEG).collect()
    }

    /// What these rows show.
    fn nadir_rings(&self) -> Vec<(f64, Vec<Option<f64>>)> {
        let columns = (self.width / 128).max(1);
        let ring = |row: usize| (0..self.width).step_by(columns).map(|column| self.stops(column, row)).collect();
        self.ring_rows().into_iter().map(|(angle, row)| (angle, ring(row))).collect()
    }

    /// The strongest ring at which nearly all columns step the same way.
    fn nadir_patch_deg(&self) -> Option<f64> {
        let rings = self.nadir_rings();
        let step = |pair: &[(f64, Vec<Option<f64>>)]| {
            // Over two rings, so that a soft edge counts too.
            let (inner, outer) = (&pair[0], &pair[2]);
            let steps: Vec<f64> = inner.1.iter().zip(&outer.1).filter_map(|(a, b)| Some((*b)? - (*a)?)).collect();
            let clear = |sign: f64| steps.iter().filter(|s| sign * **s > EDGE_STOPS).count();
            let part = clear(1.0).max(clear(-1.0)) as f64 / steps.len().max(1) as f64;
            (part >= EDGE_PART && steps.len() >= 16).then_some(pair[1].0)
        };
        rings.windows(3).filter(|w| w[0].0 > 1.0).find_map(step)
    }

    /// How much darker the nadir (within 12°) is than the ground around it (25° to 40°), where clearly so.
    fn nadir_dark_stops(&self) -> Option<f64> {
        let rings = self.nadir_rings();
        let level = |from: f64, to: f64| {
            let inside = rings.iter().filter(|(angle, _)| (from..to).contains(angle));
            median(inside.flat_map(|(_, ring)| ring.iter().flatten().copied()))
        };
        let darker = level(25.0, 40.0)? - level(0.0, 12.0)?;
        (darker > DARK_STOPS).then_some(darker)
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector3;

    use super::*;
    use crate::image::{DataWindow, EnvironmentMap, Size};
    use crate::light::environment::{PredictedSphere, direction};

    const WIDTH: usize = 256;

    /// A picture of what arrives from each direction, in OpenEXR's convention.
    fn picture(height: usize, radiance: impl Fn(&Vector3<f64>) -> f64) -> Frame {
        let size = [WIDTH, height];
        let rgb: Vec<[f32; 3]> = (0..WIDTH * height)
            .map(|i| {
                let at = [(i % WIDTH) as f64, (i / WIDTH) as f64];
                let [lon, lat] = Convention::OpenExr.longitude_latitude(at, size);
                [radiance(&direction(lon, lat)) as f32; 3]
            })
            .collect();
        let data = DataWindow { x: 0, y: 0, width: WIDTH, height };
        let alpha = vec![1.0; rgb.len()];
        let mut frame = PredictedSphere { data, rgb, alpha }.frame(Size { width: WIDTH, height }, 1.0);
        frame.meta.environment_map = Some(EnvironmentMap::LatLong);
        frame
    }

    /// A broad glow to one side over an even ground.
    fn glow(d: &Vector3<f64>) -> f64 {
        0.3 + 0.15 * d.x + 0.1 * d.y + 0.05 * d.z * d.x
    }

    #[test]
    fn a_sound_capture_has_no_faults() {
        let sun = direction(0.4, 0.7);
        let found = survey(&picture(128, |d| glow(d) + 3000.0 * f64::exp(-(d - sun).norm_squared() / 0.0005)));
        assert!(found.is_float && (found.aspect - 2.0).abs() < 1e-9);
        assert_eq!((found.edge_seam, found.pole_spread), (None, [None, None]));
        assert_eq!((found.nadir_patch_deg, found.nadir_dark_stops), (None, None));
        assert_eq!((found.clipping, found.empty_fraction), (Clipping::default(), 0.0));
        let stops = found.range_stops.unwrap();
        // The glow's least is 0.3 − √(0.15² + 0.1²) but for the small last term, its darkest 1 % little above; the
        // sun's top falls between pixels.
        assert!((stops - (3000.0_f64 / 0.12).log2()).abs() < 0.4, "{stops}");
    }

    /// Against the solid angles of the pixels, added up one by one.
    #[test]
    fn what_is_empty_or_cut_off_is_weighed_by_its_solid_angle() {
        let kinds = [[0.0; 3], [65504.0; 3], [f32::NAN, 1.0, 1.0], [0.2, f32::INFINITY, 0.2], [0.1, 0.3, -0.1]];
        for attribute in [Some(EnvironmentMap::LatLong), None] {
            let mut frame = picture(128, glow);
            frame.meta.environment_map = attribute;
            let (mut empty, mut clipped) = (0.0, 0.0);
            for (i, rgb) in frame.rgb.iter_mut().enumerate() {
                let (column, row) = (i % WIDTH, i / WIDTH);
                let kind = (i * i + 5 * row) % 17;
                if let Some(other) = kinds.get(kind) {
                    *rgb = *other;
                }
                let is_half = attribute.is_some() && (column == 0 || column + 1 == WIDTH);
                let convention = if attribute.is_some() { Convention::OpenExr } else { Convention::PixelPatches };
                let steradian = convention.steradian(row, [WIDTH, 128]) * if is_half { 0.5 } else { 1.0 };
                empty += if matches!(kind, 0 | 2 | 3) { steradian } else { 0.0 };
                clipped += if kind == 1 { steradian } else { 0.0 };
            }
            let found = survey(&frame);
            approx::assert_relative_eq!(found.empty_fraction * 4.0 * PI, empty, max_relative = 1e-9);
            approx::assert_relative_eq!(found.clipping.steradian, clipped, max_relative = 1e-9);
            assert!(empty > 0.1 && clipped > 0.1, "{empty} {clipped}");
        }
    }

    #[test]
    fn a_seam_and_a_crop_are_found() {
        let step = |d: &Vector3<f64>| glow(d) * if d.x >= 0.0 { 1.15 } else { 1.0 };
        let seam = survey(&picture(128, step)).edge_seam;
        // At the edge x changes its sign; so it does in the middle, which is no seam of the picture's edge.
        assert!((seam.unwrap().stops - 1.15_f64.log2()).abs() < 0.02, "{seam:?}");
        assert!(survey(&picture(100, glow)).aspect > 2.5);
    }

    #[test]
    fn a_pole_that_varies_is_found() {
        let mut frame = picture(128, glow);
        for (column, rgb) in frame.rgb.iter_mut().take(WIDTH).enumerate() {
            *rgb = [if column % 64 < 32 { 0.1 } else { 0.6 }; 3];
        }
        // The row below follows, as where a flat picture was pasted on.
        let (first, rest) = frame.rgb.split_at_mut(WIDTH);
        rest[..WIDTH].copy_from_slice(first);
        let found = survey(&frame);
        assert!(found.pole_spread[0].is_some() && found.pole_spread[1].is_none(), "{:?}", found.pole_spread);
    }

    #[test]
    fn a_ceiling_is_found_where_it_is_stated_and_suspected_where_not() {
        let sun = direction(0.4, 0.3);
        let cap = |d: &Vector3<f64>| if (d - sun).norm() < 0.2 { 16.0 } else { glow(d) };
        let mut frame = picture(128, cap);
        let suspected = survey(&frame).clipping;
        assert_eq!((suspected.plateau, suspected.steradian), (Some(16.0), 0.0));
        let whole = PI * 0.2 * 0.2; // a cap of chord c has π c² sr
        assert!((suspected.plateau_steradian / whole - 1.0).abs() < 0.03);
        frame.clip_level = Some([16.0; 3]);
        let stated = survey(&frame).clipping;
        assert_eq!(stated.plateau, None);
        assert!((stated.steradian / whole - 1.0).abs() < 0.03);
    }

    #[test]
    fn a_patch_and_a_tripod_at_the_nadir_are_told_apart() {
        let nadir = -Vector3::y();
        let patch = survey(&picture(128, |d| if (d - nadir).norm() < 0.35 { 0.9 } else { glow(d) }));
        let radius = patch.nadir_patch_deg.unwrap();
        assert!((radius - 20.0).abs() < 3.0 && patch.nadir_dark_stops.is_none(), "{patch:?}");
        // Three legs from a dark head: no round edge, but dark.
        let legs = |d: &Vector3<f64>| {
            let (from_nadir, around) = ((d - nadir).norm(), d.x.atan2(d.z));
            let leg = f64::cos(3.0 * around) > 0.3 && from_nadir < 0.6;
            if leg || from_nadir < 0.12 { 0.01 } else { glow(d) }
        };
        let tripod = survey(&picture(128, legs));
        assert!(tripod.nadir_dark_stops.is_none_or(|s| s > DARK_STOPS));
        let head = survey(&picture(128, |d| {
            let wobble = 0.25 + 0.12 * f64::cos(3.0 * d.x.atan2(d.z));
            if (d - nadir).norm() < wobble { 0.01 } else { glow(d) }
        }));
        assert!(head.nadir_dark_stops.unwrap() > 2.0 && head.nadir_patch_deg.is_none(), "{head:?}");
    }
}
