//! The pinhole view of one frame: pixels ↔ rays in camera axes.
//!
//! Camera axes, right-handed: x to frame right, y up the frame, z from the scene **towards** the camera. A ray that
//! leaves the camera has z < 0.

use nalgebra::Vector3;

use crate::image::Size;

/// Horizontal field of view assumed where nothing tells it, in degrees.
pub const ASSUMED_HORIZONTAL_FOV_DEG: f64 = 40.0;

/// The range of horizontal fields of view tried where nothing tells it, in degrees.
pub const UNKNOWN_FOV_RANGE_DEG: [f64; 2] = [18.0, 75.0];

/// Field of view that stands for parallel rays (the orthographic limit): small enough that a sphere which fills the
/// frame is seen under 0.06°, large enough for full numerical accuracy.
pub const PARALLEL_FOV_DEG: f64 = 0.125;

/// Where the field of view came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FovSource {
    /// Focal length and sensor of the shot sheet.
    Sheet,
    /// The file's own metadata (EXIF or OpenEXR attributes).
    File,
    /// An option of the command line.
    Option,
    /// Nothing told it: 40° is assumed and the doubt carried.
    Assumed,
}

impl FovSource {
    /// The word the report uses.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Sheet => "sheet",
            Self::File => "file",
            Self::Option => "option",
            Self::Assumed => "assumed",
        }
    }
}

/// The pinhole view of one frame, in stored pixels of its display window.
#[derive(Debug, Clone, PartialEq)]
pub struct View {
    /// Focal length in stored pixel widths.
    pub focal_px: f64,
    /// Principal point in pixels from the display window's top-left corner.
    pub centre_px: [f64; 2],
    /// Half of the width that the field of view spans, stored px: of the frame, or of what the frame was cut out of.
    pub half_width_px: f64,
    /// Pixel width over pixel height as displayed (anamorphic squeeze included).
    pub pixel_aspect: f64,
    /// Where the field of view came from.
    pub source: FovSource,
}

impl View {
    /// A view of a frame of `size` with the given horizontal field of view over its full display width.
    pub fn from_horizontal_fov(size: Size, pixel_aspect: f64, horizontal_fov_deg: f64, source: FovSource) -> Self {
        let width = size.width as f64;
        Self {
            focal_px: width / (2.0 * (horizontal_fov_deg.to_radians() / 2.0).tan()),
            centre_px: [width / 2.0, size.height as f64 / 2.0],
            half_width_px: width / 2.0,
            pixel_aspect,
            source,
        }
    }

    /// The same view with another horizontal field of view.
    #[must_use]
    pub fn with_horizontal_fov(&self, horizontal_fov_deg: f64) -> Self {
        Self { focal_px: self.half_width_px / (horizontal_fov_deg.to_radians() / 2.0).tan(), ..self.clone() }
    }

    /// The same view with the optical axis at another place of the frame: to the right of its centre and below it, as fractions of
    /// the frame's width.
    #[must_use]
    pub fn with_axis_at(&self, off_centre: [f64; 2]) -> Self {
        let width_px = 2.0 * self.half_width_px;
        let [across, down] = [off_centre[0] * width_px, off_centre[1] * width_px * self.pixel_aspect];
        Self { centre_px: [self.centre_px[0] + across, self.centre_px[1] + down], ..self.clone() }
    }

    /// Horizontal field of view over the full display width (of a cut frame: of what it was cut out of), in degrees; the optical
    /// axis taken for the centre of that width.
    pub fn horizontal_fov_deg(&self) -> f64 {
        2.0 * (self.half_width_px / self.focal_px).atan().to_degrees()
    }

    /// The view of a frame that was cut out of this one and scaled: the pixel `from` of this one is its pixel `to`.
    #[must_use]
    pub fn cut_out(&self, scale: f64, from: [f64; 2], to: [f64; 2]) -> Self {
        Self {
            focal_px: scale * self.focal_px,
            centre_px: [0, 1].map(|axis| to[axis] + scale * (self.centre_px[axis] - from[axis])),
            half_width_px: scale * self.half_width_px,
            ..self.clone()
        }
    }

    /// This view, with the horizontal field of view of another where nothing told its own.
    #[must_use]
    pub fn or_that_of(self, other: &Self) -> Self {
        if !self.is_assumed() || other.is_assumed() {
            return self;
        }
        Self { source: other.source.clone(), ..self.with_horizontal_fov(other.horizontal_fov_deg()) }
    }

    /// Nothing told the field of view.
    pub fn is_assumed(&self) -> bool {
        self.source == FovSource::Assumed
    }

    /// The unit vector from the camera through a point of the frame (pixels from the display window's corner).
    pub fn ray(&self, point_px: [f64; 2]) -> Vector3<f64> {
        let x = (point_px[0] - self.centre_px[0]) / self.focal_px;
        let y = -(point_px[1] - self.centre_px[1]) / (self.focal_px * self.pixel_aspect);
        Vector3::new(x, y, -1.0).normalize()
    }

    /// Where a ray meets the frame; `None` behind the camera.
    pub fn project(&self, ray: &Vector3<f64>) -> Option<[f64; 2]> {
        (ray.z < -1e-9).then(|| {
            let (x, y) = (ray.x / -ray.z, ray.y / -ray.z);
            [self.centre_px[0] + x * self.focal_px, self.centre_px[1] - y * self.focal_px * self.pixel_aspect]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cut-out sees along each of its pixels what the whole frame sees there, under any lens.
    #[test]
    fn a_cut_out_keeps_the_rays_of_its_pixels() {
        let whole = View::from_horizontal_fov(Size { width: 1600, height: 900 }, 1.0, 50.0, FovSource::Assumed);
        for fov in [50.0, 24.0] {
            let whole = whole.with_horizontal_fov(fov);
            let cut = View::from_horizontal_fov(Size { width: 1600, height: 900 }, 1.0, 50.0, FovSource::Assumed)
                .cut_out(0.5, [1100.0, 200.0], [80.0, 90.0])
                .with_horizontal_fov(fov);
            for (x, y) in [(1100.0, 200.0), (1040.0, 310.0)] {
                let there = [80.0 + 0.5 * (x - 1100.0), 90.0 + 0.5 * (y - 200.0)];
                assert!((whole.ray([x, y]) - cut.ray(there)).norm() < 1e-12);
            }
        }
    }

    #[test]
    fn an_axis_off_the_centre_moves_rays_and_keeps_the_field_of_view() {
        let size = Size { width: 1000, height: 500 };
        let centred = View::from_horizontal_fov(size, 2.0, 40.0, FovSource::File);
        let moved = centred.with_axis_at([-0.01, 0.02]);
        assert!((moved.horizontal_fov_deg() - 40.0).abs() < 1e-9);
        // Ten pixels to the left, and twenty pixel widths, which are forty pixel heights, down.
        assert!(moved.centre_px.iter().zip([490.0, 290.0]).all(|(a, b)| (a - b).abs() < 1e-9));
        assert!((moved.ray([490.0, 290.0]) - Vector3::new(0.0, 0.0, -1.0)).norm() < 1e-12);
        assert!((moved.ray([500.0, 250.0]) - centred.ray([510.0, 210.0])).norm() < 1e-12);
    }

    #[test]
    fn a_field_of_view_that_nothing_tells_is_the_others() {
        let view = |width: usize, fov: f64, source: FovSource| {
            View::from_horizontal_fov(Size { width, height: 500 }, 1.0, fov, source)
        };
        let plate = view(2000, 28.0, FovSource::File);
        let taken = view(1000, ASSUMED_HORIZONTAL_FOV_DEG, FovSource::Assumed).or_that_of(&plate);
        approx::assert_relative_eq!(taken.horizontal_fov_deg(), 28.0, max_relative = 1e-12);
        assert!(!taken.is_assumed() && (taken.centre_px[0] - 500.0).abs() < 1e-9);
        let own = view(1000, 50.0, FovSource::Sheet);
        assert_eq!(own.clone().or_that_of(&plate), own);
        let unknown = view(2000, ASSUMED_HORIZONTAL_FOV_DEG, FovSource::Assumed);
        assert!(view(1000, ASSUMED_HORIZONTAL_FOV_DEG, FovSource::Assumed).or_that_of(&unknown).is_assumed());
    }
}
