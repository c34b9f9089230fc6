//! A smooth continuation of what is known into directions that nothing shows.
//!
//! Known patches are averaged to ever coarser pictures; unknown ones then take what the next coarser picture shows and
//! are smoothed against their neighbours, so that they join what is known without an edge.

use std::f64::consts::PI;

use nalgebra::Vector3;

use crate::base::parallel;
use crate::image::{Frame, Size};
use crate::light::environment::{Convention, LatLong, direction};

/// Columns of the finest picture; 0.7 degrees each.
const COLUMNS: usize = 512;

/// Columns of the coarsest.
const LEAST_COLUMNS: usize = 4;

/// Rounds of smoothing on each picture; each carries an edge one patch further.
const ROUNDS: usize = 12;

/// Known values with the weight of what is known in each patch; a weight of 0 is unknown.
#[derive(Clone)]
struct Level {
    columns: usize,
    rgb: Vec<[f64; 3]>,
    weight: Vec<f64>,
}

/// Continues what `known` tells of directions over all of them. `None` where it tells nothing at all.
pub(super) fn continued(known: impl Fn(&Vector3<f64>) -> Option<[f64; 3]> + Sync) -> Option<LatLong> {
    let size = [COLUMNS, COLUMNS / 2];
    let told = parallel::map(size[0] * size[1], |patch| {
        let place = [(patch % COLUMNS) as f64, (patch / COLUMNS) as f64];
        let [longitude, latitude] = Convention::PixelPatches.longitude_latitude(place, size);
        known(&direction(longitude, latitude))
    });
    let steradian = |patch: usize| Convention::PixelPatches.steradian(patch / COLUMNS, size);
    let finest = Level {
        columns: COLUMNS,
        weight: told.iter().enumerate().map(|(patch, rgb)| rgb.map_or(0.0, |_| steradian(patch))).collect(),
        rgb: told.into_iter().map(Option::unwrap_or_default).collect(),
    };
    let rgb = finest.filled()?.into_iter().map(|rgb| rgb.map(|v| v.max(0.0) as f32)).collect();
    Some(LatLong::of(&Frame::computed("fill", Size { width: size[0], height: size[1] }, rgb), 1.0))
}

impl Level {
    fn rows(&self) -> usize {
        self.columns / 2
    }

    /// Half the columns and rows.
    fn halved(&self) -> Self {
        let columns = self.columns / 2;
        let (mut rgb, mut weight) = (Vec::new(), Vec::new());
        for patch in 0..columns * columns / 2 {
            let (x, y) = (2 * (patch % columns), 2 * (patch / columns));
            let (mut sum, mut all) = ([0.0; 3], 0.0);
            for from in [(x, y), (x + 1, y), (x, y + 1), (x + 1, y + 1)].map(|(x, y)| y * self.columns + x) {
                sum = [0, 1, 2].map(|c| sum[c] + self.weight[from] * self.rgb[from][c]);
                all += self.weight[from];
            }
            rgb.push(if all > 0.0 { sum.map(|s| s / all) } else { [0.0; 3] });
            weight.push(all);
        }
        Self { columns, rgb, weight }
    }

    /// Every patch, the unknown ones continued. `None` where nothing is known.
    fn filled(&self) -> Option<Vec<[f64; 3]>> {
        if self.columns <= LEAST_COLUMNS {
            return self.filled_with_mean();
        }
        let coarser = self.halved();
        let around = coarser.filled()?;
        let unknown: Vec<usize> = (0..self.rgb.len()).filter(|patch| self.weight[*patch] <= 0.0).collect();
        let mut rgb = self.rgb.clone();
        for patch in &unknown {
            rgb[*patch] = coarser.between(&around, [patch % self.columns, patch / self.columns]);
        }
        for _ in 0..ROUNDS {
            let smoothed = parallel::map_each(&unknown, |patch| self.mean_of_neighbours(&rgb, *patch));
            for (patch, value) in unknown.iter().zip(smoothed) {
                rgb[*patch] = value;
            }
        }
        Some(rgb)
    }

    fn filled_with_mean(&self) -> Option<Vec<[f64; 3]>> {
        let all: f64 = self.weight.iter().sum();
        if all <= 0.0 {
            return None;
        }
        let known = self.rgb.iter().zip(&self.weight);
        let mean = known.fold([0.0; 3], |sum, (rgb, weight)| [0, 1, 2].map(|c| sum[c] + weight / all * rgb[c]));
        Some(self.rgb.iter().zip(&self.weight).map(|(rgb, weight)| if *weight > 0.0 { *rgb } else { mean }).collect())
    }

    /// The value of this picture in the middle of a patch of the next finer one.
    fn between(&self, rgb: &[[f64; 3]], [x, y]: [usize; 2]) -> [f64; 3] {
        // The middle of a finer patch lies a quarter of a patch from that of its own coarser one.
        let near = |fine: usize| (fine / 2, if fine.is_multiple_of(2) { -1 } else { 1 });
        let ((column, across), (row, down)) = (near(x), near(y));
        let corners = [(0, 0, 9.0 / 16.0), (across, 0, 3.0 / 16.0), (0, down, 3.0 / 16.0), (across, down, 1.0 / 16.0)];
        corners.into_iter().fold([0.0; 3], |sum, (dx, dy, weight)| {
            let value = rgb[self.patch(column as i64 + dx, row as i64 + dy)];
            [0, 1, 2].map(|c| sum[c] + weight * value[c])
        })
    }

    fn mean_of_neighbours(&self, rgb: &[[f64; 3]], patch: usize) -> [f64; 3] {
        let (x, y) = ((patch % self.columns) as i64, (patch / self.columns) as i64);
        // Near the poles neighbours of a row stand closer than those of a column.
        let latitude = PI * ((y as f64 + 0.5) / self.rows() as f64 - 0.5);
        let across = 1.0 / latitude.cos().max(0.05).powi(2);
        let around = [(x - 1, y, across), (x + 1, y, across), (x, y - 1, 1.0), (x, y + 1, 1.0)];
        let total = 2.0 * across + 2.0;
        around.into_iter().fold([0.0; 3], |sum, (x, y, weight)| {
            let value = rgb[self.patch(x, y)];
            [0, 1, 2].map(|c| sum[c] + weight / total * value[c])
        })
    }

    /// Columns repeat; beyond a pole the rows go on down the other side.
    fn patch(&self, x: i64, y: i64) -> usize {
        let (columns, rows) = (self.columns as i64, self.rows() as i64);
        let (over, y) = if y < 0 {
            (columns / 2, -1 - y)
        } else if y >= rows {
            (columns / 2, 2 * rows - 1 - y)
        } else {
            (0, y)
        };
        (y * columns + (x + over).rem_euclid(columns)) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Light that changes slowly comes back in a hole of 20 degrees.
    #[test]
    fn a_hole_in_a_smooth_field_is_closed() {
        let field = |d: &Vector3<f64>| [2.0 + d.x, 2.0 + d.y, 1.0 + 0.5 * d.z];
        let hole = Vector3::new(0.3, 0.8, -0.5).normalize();
        let filled = continued(|d| (d.dot(&hole) < 20_f64.to_radians().cos()).then(|| field(d))).unwrap();
        for off in [Vector3::zeros(), Vector3::new(0.2, 0.0, 0.1), Vector3::new(0.0, -0.2, 0.2)] {
            let d = (hole + off).normalize();
            let (found, wanted) = (filled.radiance(&d, 0.0), field(&d));
            assert!((0..3).all(|c| (found[c] / wanted[c] - 1.0).abs() < 0.05), "{found:?} {wanted:?}");
        }
        let known = -hole;
        assert!((filled.radiance(&known, 0.0)[0] / field(&known)[0] - 1.0).abs() < 0.01);
        assert!(continued(|_| None).is_none());
    }
}
