//! The seam between the half shells of a mirror sphere.

use nalgebra::Vector3;

use super::band::Band;
use super::cells::Cells;
use super::circle::{Circle, MOST_POINTS, Surface};
use super::ridges::{candidates, ridges};
use super::support::{Support, laid_over};
use super::width::{Breadth, breadth};
use crate::base::statistics::{median, robust_sd};
use crate::base::units::Estimate;
use crate::image::Frame;
use crate::sphere::{MirrorGeometry, SphereFit, angle_between_rad, azimuth_elevation_deg};

/// Radius of the sphere in cells, at most.
const MOST_RADIUS_CELLS: f64 = 130.0;

/// Smallest sphere on which seams are looked for, radius in px.
const LEAST_RADIUS_PX: f64 = 30.0;

/// A circle through the sphere's middle is an edge of the world too. The nearest such edge leaves the circle by about
/// 0.6 of the distance to the middle over most of the arc; it must leave the profile's middle taps.
const OFF_MIDDLE_CELLS: f64 = 7.0;

/// Circles nearer to the rim than this at every point are lost in its blur.
const OFF_RIM_CELLS: f64 = 7.0;

/// Nearer to the rim than this part of the radius the world is squeezed so much that all its lines run along the rim.
const FARTHEST_OUT: f64 = 0.88;

/// Points that could be looked at, at least.
const LEAST_JUDGED: usize = 30;

/// Fewest points at which a line of this depth would be detected, as a number and as a fraction of all.
const LEAST_TELLING: usize = 24;
const LEAST_TELLING_PART: f64 = 0.25;

/// Part of them that must show it.
const LEAST_FRACTION: f64 = 0.7;

/// Fewest sections of the circle with usable points, and the fraction of them that must show the line.
const LEAST_SECTIONS: usize = 4;
const LEAST_EVEN: f64 = 0.75;

/// A seam is plane: the line lies on the circle to this rms, cells.
const MOST_SCATTER_CELLS: f64 = 0.4;

/// It must stand above the other circles of the same picture by this many of their sd, and its merit must exceed that
/// of the best of them by this.
const STANDS_OUT_SD: f64 = 6.0;
const ABOVE_RIVAL: f64 = 0.1;

/// Number of other circles that show what any circle of this picture looks like, and of points on each.
const NULL_CIRCLES: usize = 48;
const NULL_POINTS: usize = 64;

/// Neighbouring points share pixels: this many count as one.
const POINTS_ALIKE: f64 = 1.5;

/// Spread of the other circles, at least: that of a fraction of so many points.
const LEAST_SPREAD: f64 = 0.05;

/// A circle within this angle of the seam shows the seam itself, rad.
const SAME_CIRCLE_RAD: f64 = 0.26;

/// The position of the line is known no better than this fraction of a cell, however many pixels show it (seen on
/// made-up spheres).
const PLACE_SD_CELLS: f64 = 0.25;

/// A seam that was found.
#[derive(Debug, Clone)]
pub struct Seam {
    /// What it spoils.
    pub band: Band,
    /// Angle by which the plane of its circle may be off, one sd, rad.
    pub plane_sd_rad: f64,
    /// Part of the places at which it would be seen that show it.
    pub seen_fraction: f64,
    /// How many sd of the other circles of the picture it stands above them.
    pub above_others_sd: f64,
    /// Brightness on it against beside it, over a pixel's width, less one; negative where it is dark.
    pub contrast: Estimate,
    /// Where it comes nearest to the camera, px.
    pub nearest_px: [f64; 2],
}

impl Seam {
    /// The two lie on the same great circle, within what edges of spheres seen from elsewhere may differ.
    pub fn is_at(&self, other: &Self) -> bool {
        let angle = angle_between_rad(&self.band.plane, &other.band.plane);
        angle.min(std::f64::consts::PI - angle) < 0.5 * SAME_CIRCLE_RAD
    }

    /// What and where, for the report.
    pub fn words(&self) -> String {
        let towards_camera = if self.band.plane.z < 0.0 { -self.band.plane } else { self.band.plane };
        let [azimuth, elevation] = azimuth_elevation_deg(&towards_camera);
        let [x, y] = self.nearest_px;
        format!(
            "a seam of the sphere: a line {:.0} +/- {:.0} % {} than beside it on the great circle about azimuth {azimuth:.1} deg, \
             elevation {elevation:.1} deg (+/- {:.1} deg), nearest to the camera at px {x:.0}, {y:.0}, in {:.0} % of the \
             places that would show it",
            100.0 * self.contrast.value.abs(),
            100.0 * self.contrast.sd,
            if self.contrast.value < 0.0 { "darker" } else { "brighter" },
            self.plane_sd_rad.to_degrees().max(0.05),
            100.0 * self.seen_fraction,
        )
    }
}

/// A circle with the line that it shows: +1 bright, −1 dark.
struct Found {
    circle: Circle,
    support: Support,
    sign: f32,
}

/// Looks for the seam. `None` where the sphere shows none, or it cannot be told from the world.
pub fn find_seam(frame: &Frame, geometry: &MirrorGeometry, fit: &SphereFit) -> Option<Seam> {
    if fit.outline.semi_b < LEAST_RADIUS_PX {
        return None;
    }
    let cells = Cells::gather(frame, &fit.outline, MOST_RADIUS_CELLS);
    let surface = Surface::new(geometry, fit.outline.mean_radius(), &cells);
    let all = lines(&surface, &cells);
    let best = all.first()?;
    if !is_clear(best, &all) {
        return None;
    }
    let above_others_sd = above_others(&surface, &cells, best)?;
    if above_others_sd < STANDS_OUT_SD {
        return None;
    }
    let (_, covariance) = best.support.turn()?;
    let Breadth { half_width_cells, contrast } = breadth(&surface, &best.circle, &cells, &best.support, best.sign);
    Some(Seam {
        band: Band { plane: best.circle.plane, half_width_px: half_width_cells * cells.block_px },
        plane_sd_rad: covariance.trace().max(0.0).sqrt().hypot(PLACE_SD_CELLS / surface.radius_cells),
        seen_fraction: best.support.fraction(best.support.depth),
        above_others_sd,
        contrast,
        nearest_px: surface.frame_point(&best.circle.nearest)?,
    })
}

/// The circles that show a line best, the best first.
fn lines(surface: &Surface<'_>, cells: &Cells) -> Vec<Found> {
    let judged = |plane: &Vector3<f64>| is_judged(plane, surface);
    let mut all = Vec::new();
    for (ridges, sign) in ridges(surface, cells).iter().zip([1.0_f32, -1.0]) {
        for circle in candidates(ridges, surface, &judged) {
            let (circle, support) = laid_over(surface, circle, cells, (sign, MOST_POINTS));
            if judged(&circle.plane) && support.judged() >= LEAST_JUDGED {
                all.push(Found { circle, support, sign });
            }
        }
    }
    all.sort_by(|a, b| b.support.merit().total_cmp(&a.support.merit()));
    all
}

/// The circle is neither an edge of the world in line with the camera nor one with the rim.
fn is_judged(plane: &Vector3<f64>, surface: &Surface<'_>) -> bool {
    let bulge_cells = plane.dot(&surface.towards).abs() * surface.radius_cells;
    let farthest = (surface.radius_cells - OFF_RIM_CELLS).min(FARTHEST_OUT * surface.radius_cells);
    (OFF_MIDDLE_CELLS..=farthest).contains(&bulge_cells)
}

/// The line is seen along all of the circle, lies on it, and no other circle shows one nearly as well.
fn is_clear(best: &Found, all: &[Found]) -> bool {
    let support = &best.support;
    let telling = support.telling_count(support.depth);
    let (sections, even) = support.evenness(support.depth);
    let others = all.iter().filter(|found| is_other(&found.circle, &best.circle));
    let rival = others.map(|found| found.support.merit()).fold(0.0, f64::max);
    telling >= LEAST_TELLING
        && telling as f64 >= LEAST_TELLING_PART * support.judged() as f64
        && support.fraction(support.depth) >= LEAST_FRACTION
        && sections >= LEAST_SECTIONS
        && even >= LEAST_EVEN
        && support.scatter_cells() <= MOST_SCATTER_CELLS
        && support.merit() >= rival + ABOVE_RIVAL
}

fn is_other(one: &Circle, other: &Circle) -> bool {
    one.plane.dot(&other.plane).abs() < SAME_CIRCLE_RAD.cos()
}

/// How many sd the supported part stands above that of circles all over the sphere but near the one in question;
/// `None` where too few of those tell.
fn above_others(surface: &Surface<'_>, cells: &Cells, best: &Found) -> Option<f64> {
    const LEAST_CIRCLES: usize = 8;
    let depth = best.support.depth;
    let others = everywhere(surface).filter_map(|plane| Circle::new(plane, &surface.towards));
    let others = others.filter(|circle| is_judged(&circle.plane, surface) && is_other(circle, &best.circle));
    let told = others.map(|circle| Support::of(surface, &circle, cells, (best.sign, NULL_POINTS), 1));
    let told = told.filter(|support| support.telling_count(depth) >= LEAST_TELLING / 3);
    let told: Vec<f64> = told.map(|support| support.fraction(depth)).collect();
    if told.len() < LEAST_CIRCLES {
        return None;
    }
    let usual = median(told.iter().copied())?;
    let spread = robust_sd(told, usual)?.max(LEAST_SPREAD);
    let chance = usual * (1.0 - usual) * POINTS_ALIKE / best.support.telling_count(depth).max(1) as f64;
    Some((best.support.fraction(depth) - usual) / spread.hypot(chance.sqrt()))
}

/// Planes evenly all over the half sphere of normals: a spiral by the golden angle.
fn everywhere(surface: &Surface<'_>) -> impl Iterator<Item = Vector3<f64>> {
    let golden_rad = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    let (right, up, towards) = (surface.right, surface.up, surface.towards);
    (0..NULL_CIRCLES).map(move |i| {
        let facing = (i as f64 + 0.5) / NULL_CIRCLES as f64;
        let (sin, cos) = (golden_rad * i as f64).sin_cos();
        (right * cos + up * sin) * (1.0 - facing * facing).sqrt() + towards * facing
    })
}
