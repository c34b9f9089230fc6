//! How one picture lies over another beyond a mere shift: a projective map of the plane.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use crate::Estimate;

/// Numbers of the eight parameters.
pub(super) type Parameters = SVector<f64, 8>;
/// Their covariance.
pub(super) type Covariance = SMatrix<f64, 8, 8>;

/// What a camera did between two frames, from little to much.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum WarpModel {
    /// It moved by a shift of the picture.
    Translation,
    /// It rolled or zoomed as well.
    Similarity,
    /// It tilted, panned or moved against a plane.
    Homography,
}

impl WarpModel {
    /// All models, simplest first.
    pub const ALL: [Self; 3] = [Self::Translation, Self::Similarity, Self::Homography];

    /// The word in reports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Translation => "translation",
            Self::Similarity => "similarity",
            Self::Homography => "homography",
        }
    }

    /// Directions in the space of eight parameters that the model leaves free.
    pub(super) fn basis(self) -> Vec<Parameters> {
        let unit = |pairs: &[(usize, f64)]| {
            let mut direction = Parameters::zeros();
            for (i, v) in pairs {
                direction[*i] = *v;
            }
            direction
        };
        let translation = [unit(&[(2, 1.0)]), unit(&[(5, 1.0)])];
        match self {
            Self::Translation => translation.to_vec(),
            Self::Similarity => {
                let zoom_and_roll = [unit(&[(0, 1.0), (4, 1.0)]), unit(&[(1, -1.0), (3, 1.0)])];
                translation.into_iter().chain(zoom_and_roll).collect()
            }
            Self::Homography => (0..8).map(|i| unit(&[(i, 1.0)])).collect(),
        }
    }
}

/// A projective map from pixels of the fixed picture to pixels of the moving one: `moving(warp(x)) ≈ fixed(x)`.
///
/// Pixels are counted from the picture's top-left corner, a pixel's centre lying at +0.5. Inside, points are measured
/// from the picture's centre in halves of its longer side, so that all eight parameters are of one size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warp {
    /// `[1 + p0, p1, p2; p3, 1 + p4, p5; p6, p7, 1]` in normalised coordinates.
    pub(super) parameters: Parameters,
    centre: [f64; 2],
    unit_px: f64,
}

impl Warp {
    /// The map that moves nothing, for pictures of that size.
    pub fn identity(size: [f64; 2]) -> Self {
        let unit_px = (0.5 * size[0].max(size[1])).max(0.5);
        Self { parameters: Parameters::zeros(), centre: size.map(|s| 0.5 * s), unit_px }
    }

    /// A shift, right and down, px.
    pub fn shift(size: [f64; 2], shift_px: [f64; 2]) -> Self {
        Self::similarity(size, shift_px, 0.0, 1.0)
    }

    /// A roll about the picture's centre (+ = clockwise as seen in the picture) and a zoom, then a shift.
    pub fn similarity(size: [f64; 2], shift_px: [f64; 2], roll_rad: f64, zoom: f64) -> Self {
        let mut warp = Self::identity(size);
        let (sin, cos) = roll_rad.sin_cos();
        let (a, b) = (zoom * cos, zoom * sin);
        let [x, y] = shift_px.map(|d| d / warp.unit_px);
        warp.parameters = Parameters::from_column_slice(&[a - 1.0, -b, x, b, a - 1.0, y, 0.0, 0.0]);
        warp
    }

    fn matrix(&self) -> Matrix3<f64> {
        let p = &self.parameters;
        Matrix3::new(1.0 + p[0], p[1], p[2], p[3], 1.0 + p[4], p[5], p[6], p[7], 1.0)
    }

    fn normalised(&self, point: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|axis| (point[axis] - self.centre[axis]) / self.unit_px)
    }

    /// Where a point of the fixed picture lies in the moving one. A point on the map's horizon stays where it is.
    pub fn apply(&self, point: [f64; 2]) -> [f64; 2] {
        let [u, v] = self.normalised(point);
        let image = self.matrix() * Vector3::new(u, v, 1.0);
        if image.z < 1e-6 {
            return point;
        }
        [0, 1].map(|axis| self.centre[axis] + self.unit_px * image[axis] / image.z)
    }

    /// The centre of the fixed picture.
    pub(super) fn centre(&self) -> [f64; 2] {
        self.centre
    }

    /// How far a point moves, right and down, px.
    pub fn displacement(&self, point: [f64; 2]) -> [f64; 2] {
        let there = self.apply(point);
        [there[0] - point[0], there[1] - point[1]]
    }

    /// Change of the image point with each parameter, px.
    pub(super) fn jacobian(&self, point: [f64; 2]) -> SMatrix<f64, 2, 8> {
        let [u, v] = self.normalised(point);
        let image = self.matrix() * Vector3::new(u, v, 1.0);
        let scale = self.unit_px / image.z.max(1e-6);
        let (x, y) = (image.x / image.z.max(1e-6), image.y / image.z.max(1e-6));
        #[rustfmt::skip]
        let rows = SMatrix::<f64, 2, 8>::from_row_slice(&[
            u, v, 1.0, 0.0, 0.0, 0.0, -x * u, -x * v,
            0.0, 0.0, 0.0, u, v, 1.0, -y * u, -y * v,
        ]);
        rows * scale
    }

    /// The same map for pictures `factor` times as large.
    pub(super) fn scaled(&self, factor: f64) -> Self {
        Self { centre: self.centre.map(|c| c * factor), unit_px: self.unit_px * factor, ..*self }
    }

    /// The same map described about the centre of pictures of another size (same pixels).
    pub(super) fn about_centre_of(&self, size: [f64; 2]) -> Self {
        let target = Self::identity(size);
        let place = |w: &Self| Matrix3::new(w.unit_px, 0.0, w.centre[0], 0.0, w.unit_px, w.centre[1], 0.0, 0.0, 1.0);
        let (Some(own), Some(other)) = (place(self).try_inverse(), place(&target).try_inverse()) else { return target };
        let m = other * place(self) * self.matrix() * own * place(&target);
        let m = if m[(2, 2)].abs() > 1e-9 { m / m[(2, 2)] } else { Matrix3::identity() };
        let list = [m[(0, 0)] - 1.0, m[(0, 1)], m[(0, 2)], m[(1, 0)], m[(1, 1)] - 1.0, m[(1, 2)], m[(2, 0)], m[(2, 1)]];
        Self { parameters: Parameters::from_column_slice(&list), ..target }
    }

    /// Row by row, for points in pixels, the last element 1.
    pub fn matrix_px(&self) -> [[f64; 3]; 3] {
        let place = Matrix3::new(self.unit_px, 0.0, self.centre[0], 0.0, self.unit_px, self.centre[1], 0.0, 0.0, 1.0);
        let own = place.try_inverse().unwrap_or_else(Matrix3::identity);
        let m = place * self.matrix() * own;
        let m = if m[(2, 2)].abs() > 1e-12 { m / m[(2, 2)] } else { m };
        [0, 1, 2].map(|row| [0, 1, 2].map(|column| m[(row, column)]))
    }
}

/// A warp with what is known of its certainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Registration {
    /// The map from the fixed to the moving picture.
    pub warp: Warp,
    /// The simplest model that the pictures support.
    pub model: WarpModel,
    /// Robust standard deviation of what is left after alignment, in the unit of the values (log2 for log planes).
    pub residual: f64,
    /// Share of gradient energy that both pictures have in common, 0 to 1.
    pub agreement: f64,
    pub(super) covariance: Covariance,
    /// Displacement that no number of patches averages away, px.
    pub(super) method_sd_px: f64,
}

impl Registration {
    /// A plain shift as a registration of pictures of that size.
    pub(super) fn of_shift(shift: &super::Shift, size: [f64; 2]) -> Self {
        let warp = Warp::shift(size, [shift.dx_px.value, shift.dy_px.value]);
        let mut covariance = Covariance::zeros();
        covariance[(2, 2)] = (shift.dx_px.sd / warp.unit_px).powi(2);
        covariance[(5, 5)] = (shift.dy_px.sd / warp.unit_px).powi(2);
        Self {
            warp,
            model: WarpModel::Translation,
            residual: shift.residual,
            agreement: shift.agreement,
            covariance,
            method_sd_px: 0.0,
        }
    }

    /// The largest uncertainty of a displacement over the picture, px.
    pub fn largest_sd_px(&self, size: [f64; 2]) -> f64 {
        places(size).iter().flat_map(|p| self.displacement(*p)).map(|d| d.sd).fold(0.0, f64::max)
    }

    /// The same registration for pictures `factor` times as large.
    pub(super) fn scaled(&self, factor: f64) -> Self {
        Self { warp: self.warp.scaled(factor), method_sd_px: self.method_sd_px * factor, ..*self }
    }

    /// The same registration of pixels that are counted from elsewhere: the point that was the corner lies at `corner`.
    pub(super) fn moved(&self, corner: [f64; 2]) -> Self {
        let centre = [0, 1].map(|axis| self.warp.centre[axis] + corner[axis]);
        Self { warp: Warp { centre, ..self.warp }, ..*self }
    }

    /// How far a point moves, right and down, px.
    pub fn displacement(&self, point: [f64; 2]) -> [Estimate; 2] {
        let moved = self.warp.displacement(point);
        let jacobian = self.warp.jacobian(point);
        let cov = jacobian * self.covariance * jacobian.transpose();
        [0, 1].map(|axis| Estimate::new(moved[axis], cov[(axis, axis)].max(0.0).sqrt().hypot(self.method_sd_px)))
    }

    /// Root mean square distance that the points of a picture of that size move, px, with the uncertainty that the
    /// displacements at its points have along their own direction.
    pub fn misregistration_px(&self, size: [f64; 2]) -> Estimate {
        let points = places(size);
        let moved: Vec<[Estimate; 2]> = points.iter().map(|p| self.displacement(*p)).collect();
        let mean = |f: &dyn Fn(&[Estimate; 2]) -> f64| moved.iter().map(f).sum::<f64>() / moved.len() as f64;
        let square = mean(&|[x, y]| x.value.powi(2) + y.value.powi(2));
        let variance = mean(&|[x, y]| 0.5 * (x.sd.powi(2) + y.sd.powi(2)));
        Estimate::new(square.sqrt(), variance.sqrt())
    }

    /// Roll at the picture's centre, degrees, + = the moving picture is turned clockwise.
    pub fn roll_deg(&self) -> Estimate {
        let p = &self.warp.parameters;
        let roll = (p[3] - p[1]).atan2(2.0 + p[0] + p[4]);
        let mut slope = Parameters::zeros();
        (slope[1], slope[3]) = (-0.5, 0.5);
        Estimate::new(roll.to_degrees(), self.sd_along(&slope).to_degrees())
    }

    /// Zoom at the picture's centre, percent, + = the moving picture shows things larger.
    pub fn zoom_percent(&self) -> Estimate {
        let p = &self.warp.parameters;
        let area = (1.0 + p[0]) * (1.0 + p[4]) - p[1] * p[3];
        let mut slope = Parameters::zeros();
        (slope[0], slope[4]) = (0.5, 0.5);
        Estimate::new(100.0 * (area.abs().sqrt() - 1.0), 100.0 * self.sd_along(&slope))
    }

    fn sd_along(&self, slope: &Parameters) -> f64 {
        let variance = slope.dot(&(self.covariance * slope)).max(0.0);
        variance.sqrt().hypot(self.method_sd_px / self.warp.unit_px)
    }
}

/// Places spread evenly over a picture, its corners included.
pub(super) fn places(size: [f64; 2]) -> Vec<[f64; 2]> {
    const SIDE: usize = 5;
    let at = |i: usize, length: f64| length * i as f64 / (SIDE - 1) as f64;
    (0..SIDE * SIDE).map(|i| [at(i % SIDE, size[0]), at(i / SIDE, size[1])]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roll_zoom_and_shift_come_back() {
        let warp = Warp::similarity([400.0, 300.0], [3.0, -2.0], 0.01, 1.02);
        let found = Registration {
            warp,
            model: WarpModel::Similarity,
            residual: 0.0,
            agreement: 1.0,
            covariance: Covariance::zeros(),
            method_sd_px: 0.0,
        };
        assert!((found.roll_deg().value - 0.01_f64.to_degrees()).abs() < 1e-9);
        assert!((found.zoom_percent().value - 2.0).abs() < 1e-9);
        let [x, y] = warp.displacement([200.0, 150.0]);
        assert!((x - 3.0).abs() < 1e-12 && (y + 2.0).abs() < 1e-12);
    }

    #[test]
    fn the_jacobian_is_the_slope_of_the_map() {
        let mut warp = Warp::similarity([400.0, 300.0], [3.0, -2.0], 0.03, 1.02);
        (warp.parameters[6], warp.parameters[7]) = (0.02, -0.01);
        let (point, step) = ([317.0, 60.0], 1e-6);
        let jacobian = warp.jacobian(point);
        for i in 0..8 {
            let mut other = warp;
            other.parameters[i] += step;
            let moved = other.apply(point);
            for axis in 0..2 {
                let slope = (moved[axis] - warp.apply(point)[axis]) / step;
                assert!((slope - jacobian[(axis, i)]).abs() < 1e-2, "{i} {axis}");
            }
        }
    }

    #[test]
    fn a_map_stays_itself_about_another_centre_and_at_another_scale() {
        let mut warp = Warp::similarity([400.0, 300.0], [3.0, -2.0], 0.03, 1.02);
        (warp.parameters[6], warp.parameters[7]) = (0.02, -0.01);
        let there = warp.apply([100.0, 50.0]);
        let other = warp.about_centre_of([416.0, 310.0]).apply([100.0, 50.0]);
        let large = warp.scaled(4.0).apply([400.0, 200.0]);
        for axis in 0..2 {
            assert!((there[axis] - other[axis]).abs() < 1e-9);
            assert!((4.0 * there[axis] - large[axis]).abs() < 1e-9);
        }
    }
}
