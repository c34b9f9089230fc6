//! The sphere in a frame: its outline, and the mirror geometry that turns pixels into directions.

use nalgebra::{Matrix3, Matrix5, Vector3};

use crate::optics::camera::View;

mod cone;
pub mod find;
mod mirror;
mod polygon;
mod role;
mod told;

pub use cone::{cone_of_outline, cone_through, outline_of_cone, tangents};
pub use mirror::{
    MirrorGeometry, Reflection, angle_between_rad, azimuth_elevation_deg, azimuth_elevation_sd_rad, direction_of_deg,
};
pub use polygon::{inside_polygon, polygon_bounds};
pub use role::SphereRole;
pub use told::Told;

/// An ellipse in stored pixels from the display window's outer top-left corner (a pixel's centre is at +0.5).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outline {
    /// Centre column.
    pub centre_x: f64,
    /// Centre row.
    pub centre_y: f64,
    /// Larger semi-axis.
    pub semi_a: f64,
    /// Smaller semi-axis.
    pub semi_b: f64,
    /// Angle of the larger semi-axis from the +x axis towards +y (down the frame), in degrees, in (−90, 90].
    pub angle_deg: f64,
}

impl Outline {
    /// A circle.
    pub fn circle(centre_x: f64, centre_y: f64, radius: f64) -> Self {
        Self { centre_x, centre_y, semi_a: radius, semi_b: radius, angle_deg: 0.0 }
    }

    /// Radius of the circle of equal area.
    pub fn mean_radius(&self) -> f64 {
        (self.semi_a * self.semi_b).sqrt()
    }

    /// The point of the outline at parameter `t_rad`.
    pub fn point(&self, t_rad: f64) -> [f64; 2] {
        let (sin_r, cos_r) = self.angle_deg.to_radians().sin_cos();
        let (u, v) = (self.semi_a * t_rad.cos(), self.semi_b * t_rad.sin());
        [self.centre_x + u * cos_r - v * sin_r, self.centre_y + u * sin_r + v * cos_r]
    }

    /// The upright box around it: smallest and largest x and y, px.
    pub fn bounds_px(&self) -> [[f64; 2]; 2] {
        let (sin_r, cos_r) = self.angle_deg.to_radians().sin_cos();
        let half_x = (self.semi_a * cos_r).hypot(self.semi_b * sin_r);
        let half_y = (self.semi_a * sin_r).hypot(self.semi_b * cos_r);
        [[self.centre_x - half_x, self.centre_y - half_y], [self.centre_x + half_x, self.centre_y + half_y]]
    }

    /// Normalised radius of a point: 0 at the centre, 1 on the outline.
    pub fn normalised_radius(&self, point_px: [f64; 2]) -> f64 {
        let (sin_r, cos_r) = self.angle_deg.to_radians().sin_cos();
        let (dx, dy) = (point_px[0] - self.centre_x, point_px[1] - self.centre_y);
        ((dx * cos_r + dy * sin_r) / self.semi_a).hypot((dy * cos_r - dx * sin_r) / self.semi_b)
    }

    /// Whether points have a normalised radius below a limit, for many points.
    pub(crate) fn within(&self, limit: f64) -> impl Fn([f64; 2]) -> bool + use<> {
        /// Rounding of squared radii, as a part of them, is well below this.
        const ROUNDING: f64 = 1e-9;
        let outline = *self;
        let (sin_r, cos_r) = self.angle_deg.to_radians().sin_cos();
        let far = self.semi_a.max(self.semi_b) * limit.max(0.0) * (1.0 + ROUNDING);
        move |point| {
            let (dx, dy) = (point[0] - outline.centre_x, point[1] - outline.centre_y);
            if dx.abs() > far || dy.abs() > far {
                return false;
            }
            let (along, across) =
                ((dx * cos_r + dy * sin_r) / outline.semi_a, (dy * cos_r - dx * sin_r) / outline.semi_b);
            // The squares tell it but for what lies at the very edge.
            let part = (along * along + across * across) / (limit * limit);
            part <= 1.0 - ROUNDING || (part <= 1.0 + ROUNDING && along.hypot(across) < limit)
        }
    }

    /// The part of its inside that something covers, by 160 points each way.
    pub fn share(&self, covers: impl Fn([f64; 2]) -> bool) -> f64 {
        const POINTS: usize = 160;
        let [low, high] = self.bounds_px();
        let at = |axis: usize, i: usize| low[axis] + (high[axis] - low[axis]) * (i as f64 + 0.5) / POINTS as f64;
        let points = (0..POINTS * POINTS).map(|i| [at(0, i % POINTS), at(1, i / POINTS)]);
        let (mut inside, mut covered) = (0_u32, 0_u32);
        let within = self.within(1.0);
        for point in points.filter(|point| within(*point)) {
            inside += 1;
            covered += u32::from(covers(point));
        }
        f64::from(covered) / f64::from(inside.max(1))
    }

    /// As the contract writes it: centre x, centre y, a, b, angle.
    pub fn to_array(self) -> [f64; 5] {
        [self.centre_x, self.centre_y, self.semi_a, self.semi_b, self.angle_deg]
    }
}

/// The cone of rays that touch the sphere. Its axis and half-angle hold everything the frame says about where the
/// sphere is; the outline is the cone's intersection with the frame.
#[derive(Debug, Clone, PartialEq)]
pub struct SphereCone {
    /// Unit vector from the camera to the sphere's centre, camera axes (z < 0).
    pub axis: Vector3<f64>,
    /// Angular radius of the sphere seen from the camera, in radians.
    pub half_angle_rad: f64,
}

/// How the outline was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FoundBy {
    /// Given in the sheet or by an option.
    Given,
    /// Near a circle drawn by hand, from the edge that the picture shows there.
    Near,
    /// From the frame's alpha channel.
    Alpha,
    /// By search in the picture.
    Search,
}

impl FoundBy {
    /// The word the report uses.
    pub fn word(self) -> &'static str {
        match self {
            Self::Given => "given",
            Self::Near => "near",
            Self::Alpha => "alpha",
            Self::Search => "search",
        }
    }
}

/// A searched sphere less likely than this is not certain.
const CERTAIN_SCORE: f64 = 0.85;

/// One fitted sphere.
#[derive(Debug, Clone)]
pub struct SphereFit {
    /// The cone under the frame's view.
    pub cone: SphereCone,
    /// Covariance of (direction error along `tangent_x`, along `tangent_y`, half-angle error), rad². Tangents as
    /// from `mirror::tangents(axis)`.
    pub cone_cov: Matrix3<f64>,
    /// The outline in the frame.
    pub outline: Outline,
    /// Covariance of the five outline numbers in the contract's order and units.
    pub outline_cov: Matrix5<f64>,
    /// How it was found.
    pub found_by: FoundBy,
    /// Fraction of the outline with no usable edge (hidden, cut by the frame, or without contrast).
    pub unseen_fraction: f64,
    /// Longest stretch of the outline with no usable edge; `None` where no edges were sought or none is missing.
    pub gap: Option<RimGap>,
    /// Robust standard deviation of the edge points about the fit, px.
    pub edge_sd_px: f64,
    /// Quality in [0, 1] by which candidates are ranked.
    pub score: f64,
}

/// A stretch of a sphere's outline, by the angle about its centre in the frame (0 = frame right, a quarter turn = up).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RimGap {
    /// Where it begins, rad.
    pub from_rad: f64,
    /// How far it goes on, rad.
    pub length_rad: f64,
}

impl RimGap {
    /// Whether a point of the frame lies between this stretch and its chord: what hides a stretch of the outline by a
    /// straight edge hides that much of the sphere.
    pub fn cuts_off(&self, outline: &Outline, point_px: [f64; 2]) -> bool {
        let middle = self.from_rad + 0.5 * self.length_rad;
        let (right, up) = (point_px[0] - outline.centre_x, outline.centre_y - point_px[1]);
        (right * middle.cos() + up * middle.sin()) / outline.mean_radius() > (0.5 * self.length_rad).cos()
    }
}

impl RimGap {
    /// Whether a point lies behind this stretch, seen from the middle, or deeper by no more than this part of the radius than its chord
    /// is: what hides a stretch of the outline need not end in a straight edge.
    pub fn may_reach(&self, outline: &Outline, point_px: [f64; 2], deeper: f64) -> bool {
        let middle = self.from_rad + 0.5 * self.length_rad;
        let (right, up) = (point_px[0] - outline.centre_x, outline.centre_y - point_px[1]);
        let along = (right * middle.cos() + up * middle.sin()) / outline.mean_radius();
        let across = (up * middle.cos() - right * middle.sin()) / outline.mean_radius();
        along > (0.5 * self.length_rad).cos() - deeper && across.abs() < (0.5 * self.length_rad).sin()
    }
}

impl SphereFit {
    /// The same, doubted as far as it lies from where something else says that the sphere stands.
    #[must_use]
    pub(crate) fn doubted_against(self, view: &View, expected: &SphereCone) -> Self {
        self.doubted_in_part(view, expected, 1.0)
    }

    /// The same, where it stands there with this probability: the variance of a mixture of both places.
    #[must_use]
    pub(crate) fn doubted_in_part(mut self, view: &View, expected: &SphereCone, probability: f64) -> Self {
        let off = tangents(&self.cone.axis).map(|t| t.dot(&expected.axis));
        let off = [off[0], off[1], expected.half_angle_rad - self.cone.half_angle_rad];
        (0..3).for_each(|i| self.cone_cov[(i, i)] += probability * off[i].powi(2));
        if let Some(there) = outline_of_cone(view, expected) {
            let (ours, theirs) = (self.outline.to_array(), there.to_array());
            (0..4).for_each(|i| self.outline_cov[(i, i)] += probability * (theirs[i] - ours[i]).powi(2));
        }
        self
    }

    /// Found by a search that was not certain of it.
    pub fn hardly_mirrors(&self) -> bool {
        self.found_by == FoundBy::Search && self.score < CERTAIN_SCORE
    }
}

/// What the search for a sphere gives.
#[derive(Debug, Clone)]
pub struct SphereSearch {
    /// The best candidate.
    pub best: SphereFit,
    /// Others that are as good as the best within the evidence; non-empty means that nothing can be decided.
    pub rivals: Vec<SphereFit>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn within_tells_what_the_radius_tells() {
        let ellipse = Outline { centre_x: 40.5, centre_y: -12.0, semi_a: 21.0, semi_b: 13.5, angle_deg: 27.0 };
        for outline in [ellipse, Outline::circle(30.0, -20.0, 25.0)] {
            for limit in [0.5, 0.98, 1.0, 1.3] {
                let within = outline.within(limit);
                let places =
                    (0..300).flat_map(|x| (0..300).map(move |y| [0.25 * f64::from(x), 0.25 * f64::from(y) - 50.0]));
                // Points of a circle whose radius is a whole number lie at the very limit.
                for point in places.chain((0..32).map(|i| outline.point(f64::from(i) * 0.2))) {
                    assert_eq!(within(point), outline.normalised_radius(point) < limit, "{point:?} {limit}");
                }
            }
        }
    }
}
