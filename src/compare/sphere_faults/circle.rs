//! Great circles of the sphere's surface, and where the camera sees them.

use nalgebra::Vector3;

use super::cells::Cells;
use crate::sphere::MirrorGeometry;

/// Cells between a point and the rim, at least: the lens mixes the rim with what stands behind the sphere.
const RIM_CELLS: f64 = 2.5;

/// Points on a circle, at most.
pub(super) const MOST_POINTS: usize = 144;

/// The sphere's surface before the camera; its radius is the unit of length.
pub(super) struct Surface<'a> {
    pub(super) geometry: &'a MirrorGeometry,
    centre: Vector3<f64>,
    /// Unit vector from the sphere to the camera.
    pub(super) towards: Vector3<f64>,
    /// Axes of the picture on the surface: to frame right and up the frame.
    pub(super) right: Vector3<f64>,
    pub(super) up: Vector3<f64>,
    /// Radius of the outline in cells.
    pub(super) radius_cells: f64,
    /// Largest angle between a normal and `towards` at which the surface is looked at.
    widest_rad: f64,
}

/// A point on a circle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Point {
    /// Angle along the circle from its point nearest to the camera.
    pub(super) phi_rad: f64,
    /// Where it is seen, in cells.
    pub(super) place: [f32; 2],
    /// Unit vector across the circle in the picture, cells.
    pub(super) across: [f32; 2],
    /// Cells along `across` per radian of the surface towards the plane's normal.
    pub(super) cells_per_rad: f64,
}

/// A great circle by its plane's normal, with the axes along which its points are counted.
#[derive(Debug, Clone, Copy)]
pub(super) struct Circle {
    pub(super) plane: Vector3<f64>,
    /// The circle's direction nearest to the camera.
    pub(super) nearest: Vector3<f64>,
    /// A quarter turn on.
    pub(super) onward: Vector3<f64>,
}

impl Circle {
    /// `None` for the rim itself.
    pub(super) fn new(plane: Vector3<f64>, towards: &Vector3<f64>) -> Option<Self> {
        let nearest = (towards - plane * plane.dot(towards)).try_normalize(1e-3)?;
        Some(Self { plane, nearest, onward: plane.cross(&nearest) })
    }

    fn normal(&self, phi_rad: f64) -> Vector3<f64> {
        self.nearest * phi_rad.cos() + self.onward * phi_rad.sin()
    }

    /// The circle whose plane is turned by `turn` along `nearest` and `onward`, rad.
    pub(super) fn turned(&self, turn: [f64; 2], towards: &Vector3<f64>) -> Option<Self> {
        Self::new((self.plane + self.nearest * turn[0] + self.onward * turn[1]).normalize(), towards)
    }
}

impl<'a> Surface<'a> {
    pub(super) fn new(geometry: &'a MirrorGeometry, radius_px: f64, cells: &Cells) -> Self {
        let sin_alpha = geometry.blind_half_angle_rad().sin();
        let radius_cells = radius_px / cells.block_px;
        let sin_widest = (1.0 - RIM_CELLS / radius_cells.max(1.0)).clamp(0.0, 1.0);
        let towards = geometry.towards_camera();
        let [right, up] = crate::sphere::tangents(&-towards);
        Self {
            geometry,
            right,
            up,
            centre: -towards / sin_alpha.max(1e-9),
            towards,
            radius_cells,
            widest_rad: sin_widest.asin() - (sin_widest * sin_alpha).asin(),
        }
    }

    /// Where the point with a normal is seen, px.
    pub(super) fn frame_point(&self, normal: &Vector3<f64>) -> Option<[f64; 2]> {
        self.geometry.view().project(&(self.centre + normal))
    }

    fn place(&self, normal: &Vector3<f64>, cells: &Cells) -> Option<[f64; 2]> {
        let point = self.frame_point(normal)?;
        Some(cells.place(point).map(f64::from))
    }

    /// The surface normal at a frame point.
    pub(super) fn normal_at(&self, point_px: [f64; 2]) -> Option<Vector3<f64>> {
        let seen = self.geometry.reflect(point_px)?;
        (seen.direction - self.geometry.view().ray(point_px)).try_normalize(1e-9)
    }

    pub(super) fn is_inside(&self, normal: &Vector3<f64>) -> bool {
        normal.dot(&self.towards) > self.widest_rad.cos()
    }

    /// How far from the camera's side the visible half of a circle is looked at, rad; `None` where nothing of it is.
    fn half_arc_rad(&self, circle: &Circle) -> Option<f64> {
        let ratio = self.widest_rad.cos() / circle.nearest.dot(&self.towards).max(1e-9);
        (ratio < 1.0).then(|| ratio.acos())
    }

    /// Points along the visible half of a circle, about a cell apart.
    pub(super) fn points(&self, circle: &Circle, cells: &Cells, most: usize) -> Vec<Point> {
        let Some(half_arc) = self.half_arc_rad(circle) else { return Vec::new() };
        let count = ((2.0 * half_arc * self.radius_cells * 0.7) as usize).clamp(8, most.min(MOST_POINTS));
        let point = |i: usize| {
            let phi_rad = half_arc * ((2 * i + 1) as f64 / count as f64 - 1.0);
            self.point(circle, phi_rad, cells)
        };
        (0..count).filter_map(point).collect()
    }

    fn point(&self, circle: &Circle, phi_rad: f64, cells: &Cells) -> Option<Point> {
        const STEP_RAD: f64 = 0.004;
        let normal = circle.normal(phi_rad);
        let place = self.place(&normal, cells)?;
        let ahead = self.place(&circle.normal(phi_rad + STEP_RAD), cells)?;
        let beside = self.place(&(normal + circle.plane * STEP_RAD), cells)?;
        let along = [ahead[0] - place[0], ahead[1] - place[1]];
        let length = along[0].hypot(along[1]).max(1e-12);
        let across = [-along[1] / length, along[0] / length];
        let moved = (beside[0] - place[0]) * across[0] + (beside[1] - place[1]) * across[1];
        Some(Point {
            phi_rad,
            place: place.map(|v| v as f32),
            across: across.map(|v| v as f32),
            cells_per_rad: moved / STEP_RAD,
        })
    }
}
