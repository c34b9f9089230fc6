//! Where a lat-long picture shows a direction.
//!
//! Both conventions show the world as seen from inside: +z in the middle, +x to the left of it at a quarter of the
//! width. They differ by half a pixel at most.

use std::f64::consts::PI;

use nalgebra::Vector3;

/// How directions meet the pixels of a lat-long picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Convention {
    /// OpenEXR with the `envmap` attribute (`ImfEnvmap.cpp`, `LatLongMap`): the first and the last column show the same
    /// direction, and the first and the last row are the poles.
    OpenExr,
    /// Pixels are patches that cover the sphere without overlap; what most programs mean without the attribute (common
    /// practice, no source).
    PixelPatches,
}

impl Convention {
    /// The point that shows a direction, counted in pixels with 0 in the middle of the first pixel: column, row.
    ///
    /// ```
    /// use nalgebra::Vector3;
    /// use plateproof::light::environment::Convention;
    /// let [column, row] = Convention::OpenExr.point(&Vector3::z(), [1024, 512]);
    /// assert_eq!((column, row), (511.5, 255.5));
    /// ```
    pub fn point(self, direction: &Vector3<f64>, [width, height]: [usize; 2]) -> [f64; 2] {
        // Near the poles the arc sine loses accuracy; the arc tangent does not.
        let latitude = direction.y.atan2(direction.x.hypot(direction.z));
        let longitude = direction.x.atan2(direction.z);
        let (across, down) = (0.5 - longitude / (2.0 * PI), 0.5 - latitude / PI);
        match self {
            Self::OpenExr => [across * (width as f64 - 1.0), down * (height as f64 - 1.0)],
            Self::PixelPatches => [across * width as f64 - 0.5, down * height as f64 - 0.5],
        }
    }

    /// Longitude and latitude in radians of a point; the inverse of [`Self::point`].
    pub fn longitude_latitude(self, [column, row]: [f64; 2], [width, height]: [usize; 2]) -> [f64; 2] {
        let (across, down) = match self {
            Self::OpenExr => (column / (width as f64 - 1.0).max(1.0), row / (height as f64 - 1.0).max(1.0)),
            Self::PixelPatches => ((column + 0.5) / width as f64, (row + 0.5) / height as f64),
        };
        [(0.5 - across) * 2.0 * PI, (0.5 - down) * PI]
    }

    /// Columns after which the picture repeats.
    pub fn period(self, width: usize) -> f64 {
        match self {
            Self::OpenExr => (width as f64 - 1.0).max(1.0),
            Self::PixelPatches => width as f64,
        }
    }

    /// Solid angle of one pixel of a row, sr. In the OpenEXR convention the first and last column count half; the
    /// value is that of a whole one.
    pub fn steradian(self, row: usize, [width, height]: [usize; 2]) -> f64 {
        let edge = |row: f64| self.longitude_latitude([0.0, row], [width, height])[1].clamp(-PI / 2.0, PI / 2.0).sin();
        2.0 * PI / self.period(width) * (edge(row as f64 - 0.5) - edge(row as f64 + 0.5))
    }
}

/// The unit vector of a longitude and a latitude in radians.
pub fn direction(longitude: f64, latitude: f64) -> Vector3<f64> {
    let (sin_lon, cos_lon) = longitude.sin_cos();
    let (sin_lat, cos_lat) = latitude.sin_cos();
    Vector3::new(sin_lon * cos_lat, sin_lat, cos_lon * cos_lat)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The mapping of OpenEXR's `ImfEnvmap.cpp` (main cfa2502d) worked out in Python for a picture of 1024 × 512; where
    /// only a column or a row is determined, the other is `None`.
    #[test]
    fn agrees_with_the_published_mapping() {
        let middle = Some(255.5);
        for (x, y, z, column, row) in [
            (0.0, 0.0, 1.0, Some(511.5), middle),
            (1.0, 0.0, 0.0, Some(255.75), middle),
            (-1.0, 0.0, 0.0, Some(767.25), middle),
            (0.0, 0.0, -1.0, Some(0.0), middle),
            (0.0, 1.0, 0.0, None, Some(0.0)),
            (0.0, -1.0, 0.0, None, Some(511.0)),
            (1.0, 1.0, 1.0, Some(383.625), Some(155.388)),
        ] {
            let found = Convention::OpenExr.point(&Vector3::new(x, y, z), [1024, 512]);
            let off = |wanted: Option<f64>, found: f64| wanted.map_or(0.0, |w: f64| (w - found).abs());
            assert!(off(column, found[0]) < 1e-9 && off(row, found[1]) < 1e-3, "{x} {y} {z}: {found:?}");
        }
    }

    #[test]
    fn points_come_back_and_the_sphere_is_whole() {
        for convention in [Convention::OpenExr, Convention::PixelPatches] {
            let size = [200, 100];
            for d in [[0.3, 0.2, 0.5], [-0.3, -0.9, 0.1], [0.1, 0.4, -0.8]] {
                let d = Vector3::from(d).normalize();
                let [lon, lat] = convention.longitude_latitude(convention.point(&d, size), size);
                assert!((direction(lon, lat) - d).norm() < 1e-12);
            }
            let sum: f64 = (0..100).map(|row| convention.steradian(row, size) * convention.period(200)).sum();
            approx::assert_relative_eq!(sum, 4.0 * PI, epsilon = 1e-9);
        }
    }
}
