//! The pixels of the written map and the directions that they show.

use nalgebra::Vector3;

use crate::light::environment::{Convention, direction};

/// Columns of the map: 0.35 degrees each, finer than the cells on which a sphere is measured.
pub const COLUMNS: usize = 1024;

/// Rows of the map.
pub const ROWS: usize = COLUMNS / 2;

/// A lat-long grid by OpenEXR's `envmap` convention (`ImfEnvmap.h`, "Latitude-Longitude Map"), which OpenUSD's
/// `DomeLight` adopts: pixel (0, 0) has latitude +90° and longitude +180°, latitude 0 longitude 0 points to +z,
/// longitude +90° to +x. The first and the last column show the same directions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MapGrid;

impl MapGrid {
    const SIZE: [usize; 2] = [COLUMNS, ROWS];

    /// Number of pixels.
    pub fn len() -> usize {
        COLUMNS * ROWS
    }

    /// The direction that a place of the grid shows, map axes; 0 is the middle of the first column and row.
    pub fn direction_at(place: [f64; 2]) -> Vector3<f64> {
        let [longitude, latitude] = Convention::OpenExr.longitude_latitude(place, Self::SIZE);
        direction(longitude, latitude)
    }

    /// The direction in the middle of a pixel, map axes.
    pub fn direction(pixel: usize) -> Vector3<f64> {
        Self::direction_at([(pixel % COLUMNS) as f64, (pixel / COLUMNS) as f64])
    }

    /// Solid angle of a pixel, sr; all of them add up to 4π.
    pub fn steradian(pixel: usize) -> f64 {
        let column = pixel % COLUMNS;
        let whole = Convention::OpenExr.steradian(pixel / COLUMNS, Self::SIZE);
        // Both edges show the same directions.
        if column == 0 || column == COLUMNS - 1 { 0.5 * whole } else { whole }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_grid_covers_the_sphere_once() {
        let all: f64 = (0..MapGrid::len()).map(MapGrid::steradian).sum();
        approx::assert_relative_eq!(all, 4.0 * std::f64::consts::PI, epsilon = 1e-9);
    }

    /// The corners and axes as `ImfEnvmap.h` words them.
    #[test]
    fn directions_are_those_of_the_published_convention() {
        let middle = [(COLUMNS as f64 - 1.0) / 2.0, (ROWS as f64 - 1.0) / 2.0];
        assert!((MapGrid::direction_at(middle) - Vector3::z()).norm() < 1e-12);
        assert!((MapGrid::direction_at([middle[0] / 2.0, middle[1]]) - Vector3::x()).norm() < 1e-12);
        assert!((MapGrid::direction(0) - Vector3::y()).norm() < 1e-12);
        assert!((MapGrid::direction(MapGrid::len() - 1) + Vector3::y()).norm() < 1e-12);
    }
}
