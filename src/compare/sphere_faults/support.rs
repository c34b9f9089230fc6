//! How much of a circle shows a line.

use nalgebra::{Matrix2, Vector2};

use super::cells::Cells;
use super::circle::{Circle, Point, Surface};
use super::profile::{Profile, REACH};
use crate::base::robust::median_of;
use crate::base::statistics::SD_PER_MEDIAN_DEVIATION;

/// Sections along the visible half of a circle: a line has to be seen along all of it, not in one place.
const SECTIONS: usize = 8;

/// Beyond this many cells the seam is in none of the profile's taps.
const CLEAR: isize = 5;

/// A line stands out from its neighbourhood by this many times the usual departure there.
const STANDS_OUT: f32 = 2.5;

/// What differs less than this, in ln, is rounding of the file and no line.
const LEAST_DEPTH: f32 = 0.004;

/// The two sides of a line differ by less than this many times its depth; those of an edge do not.
const SIDES_ALIKE: f32 = 1.0;

/// A point tells where a line of this part of the depth would be told.
const TELLING: f64 = 0.7;

/// The line's depth changes along the seam by this factor at most: at a slant it is thinner in the picture.
const ALIKE: f64 = 3.0;

/// What the points of a circle say of a line of one sign.
#[derive(Debug, Clone)]
pub(super) struct Support {
    points: Vec<Told>,
    /// Depth of the line, ln of luminance: the median of where one is seen; positive.
    pub(super) depth: f64,
}

/// What one point says.
#[derive(Debug, Clone, Copy)]
struct Told {
    /// Section of the circle.
    section: usize,
    phi_rad: f64,
    cells_per_rad: f64,
    /// A line deeper than this would be told here.
    needed: f32,
    /// The line that is there, with its distance from the circle in cells.
    line: Option<(f32, f64)>,
}

impl Told {
    /// Cells by which the circle moves here for a turn of its plane.
    fn row(&self) -> Vector2<f64> {
        Vector2::new(self.phi_rad.cos(), self.phi_rad.sin()) * -self.cells_per_rad
    }

    /// A line of about that depth is there.
    fn shows(&self, depth: f64) -> bool {
        self.line.is_some_and(|(deep, _)| (1.0 / ALIKE..=ALIKE).contains(&(f64::from(deep) / depth)))
    }
}

impl Support {
    /// `sign` is +1 for a bright line and −1 for a dark one; `reach` is how many cells off the circle it may be.
    pub(super) fn of(
        surface: &Surface<'_>,
        circle: &Circle,
        cells: &Cells,
        (sign, most): (f32, usize),
        reach: isize,
    ) -> Self {
        let places = surface.points(circle, cells, most);
        let told = |(i, point): (usize, &Point)| {
            let (needed, line) = line_in(&Profile::read(cells, point), sign, reach)?;
            let section = i * SECTIONS / places.len();
            Some(Told { section, phi_rad: point.phi_rad, cells_per_rad: point.cells_per_rad, needed, line })
        };
        let points: Vec<Told> = places.iter().enumerate().filter_map(told).collect();
        let mut depths: Vec<f32> = points.iter().filter_map(|p| Some(p.line?.0)).collect();
        Self { depth: median_of(&mut depths), points }
    }

    /// Points that could be looked at.
    pub(super) fn judged(&self) -> usize {
        self.points.len()
    }

    fn telling(&self, depth: f64) -> impl Iterator<Item = &Told> {
        self.points.iter().filter(move |p| f64::from(p.needed) < TELLING * depth)
    }

    /// Points at which a line of that depth would have been told.
    pub(super) fn telling_count(&self, depth: f64) -> usize {
        self.telling(depth).count()
    }

    /// The part of them that shows one.
    pub(super) fn fraction(&self, depth: f64) -> f64 {
        let seen = self.telling(depth).filter(|p| p.shows(depth)).count();
        seen as f64 / self.telling_count(depth).max(1) as f64
    }

    /// Sections with an answer, and the part of them where most of the points show the line.
    pub(super) fn evenness(&self, depth: f64) -> (usize, f64) {
        let mut sections = [[0_u32; 2]; SECTIONS];
        for point in self.telling(depth) {
            sections[point.section][0] += 1;
            sections[point.section][1] += u32::from(point.shows(depth));
        }
        let answering = sections.iter().filter(|s| s[0] >= 2);
        let shown = answering.clone().filter(|s| 2 * s[1] > s[0]).count();
        let count = answering.count();
        (count, shown as f64 / count.max(1) as f64)
    }

    /// How well the circle is supported, for choosing among circles: points that show the line less telling ones that
    /// do not, as a part of all.
    pub(super) fn merit(&self) -> f64 {
        let telling = self.telling_count(self.depth) as f64;
        telling * (2.0 * self.fraction(self.depth) - 1.0) / self.judged().max(1) as f64
    }

    fn seen(&self) -> impl Iterator<Item = (&Told, f64)> {
        self.points.iter().filter(|p| p.shows(self.depth)).filter_map(|p| Some((p, p.line?.1)))
    }

    /// The turn of the circle that lays it over the line, by least squares, and the covariance of that turn; rad.
    pub(super) fn turn(&self) -> Option<([f64; 2], Matrix2<f64>)> {
        let (mut normal, mut right) = (Matrix2::zeros(), Vector2::zeros());
        for (point, off) in self.seen() {
            normal += point.row() * point.row().transpose();
            right += point.row() * off;
        }
        let inverse = normal.try_inverse()?;
        let turn = inverse * right;
        let squared: f64 = self.seen().map(|(p, off)| (off - p.row().dot(&turn)).powi(2)).sum();
        let scatter = squared / (self.seen().count() as f64 - 2.0).max(1.0);
        Some(([turn.x, turn.y], inverse * scatter))
    }

    /// The line's depth and its sd, from how the points scatter about it.
    pub(super) fn depth_with_sd(&self) -> (f64, f64) {
        let mut off: Vec<f32> = self.seen().filter_map(|(p, _)| Some((p.line?.0 - self.depth as f32).abs())).collect();
        let count = off.len().max(1) as f64;
        // A median's sd is 1.2533 times that of a mean (normal errors).
        (self.depth, 1.2533 * SD_PER_MEDIAN_DEVIATION * median_of(&mut off) / count.sqrt())
    }

    /// How far the line lies off the circle, rms in cells.
    pub(super) fn scatter_cells(&self) -> f64 {
        let squared: f64 = self.seen().map(|(_, off)| off * off).sum();
        (squared / self.seen().count().max(1) as f64).sqrt()
    }
}

/// How deep a line has to be to be told from what is beside it, and the line within reach of the circle that is.
/// `None` where too little is known.
fn line_in(profile: &Profile, sign: f32, reach: isize) -> Option<(f32, Option<(f32, f64)>)> {
    let depth = |off: isize| sign * profile.line(off);
    let peak = (-reach..=reach).filter(|o| depth(*o).is_finite()).max_by(|a, b| depth(*a).total_cmp(&depth(*b)))?;
    let deepest = depth(peak);
    let beside = (reach + 2..=REACH as isize).flat_map(|off| [-off, off]);
    let known = |off: &isize| depth(*off).is_finite();
    let rival = beside.clone().filter(known).map(depth).fold(LEAST_DEPTH, f32::max);
    let mut usual: Vec<f32> = beside.filter(|o| o.abs() >= CLEAR).filter(known).map(|o| depth(o).abs()).collect();
    if usual.len() < 2 {
        return None;
    }
    let differ = profile.sides_differ(peak) / SIDES_ALIKE;
    let needed = rival.max(STANDS_OUT * median_of(&mut usual) as f32).max(differ);
    Some((needed, (deepest > needed).then(|| (deepest, peak as f64 + between(peak, &depth)))))
}

/// Where between three cells the top of a parabola lies.
fn between(peak: isize, depth: &impl Fn(isize) -> f32) -> f64 {
    let (before, here, after) = (depth(peak - 1), depth(peak), depth(peak + 1));
    let bend = before - 2.0 * here + after;
    let top = 0.5 * (before - after) / bend;
    if bend < 0.0 && top.is_finite() { f64::from(top.clamp(-0.5, 0.5)) } else { 0.0 }
}

/// The circle laid over the line that it shows, in a few rounds.
pub(super) fn laid_over(surface: &Surface<'_>, first: Circle, cells: &Cells, how: (f32, usize)) -> (Circle, Support) {
    const FARTHEST_RAD: f64 = 0.1;
    let mut best = first;
    for reach in [2, 1] {
        let turn = Support::of(surface, &best, cells, how, reach).turn();
        let turn = turn.filter(|(turn, _)| turn[0].hypot(turn[1]) < FARTHEST_RAD);
        best = turn.and_then(|(turn, _)| best.turned(turn, &surface.towards)).unwrap_or(best);
    }
    (best, Support::of(surface, &best, cells, how, 1))
}
