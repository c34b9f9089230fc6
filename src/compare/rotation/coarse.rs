//! The first look over all rotations: where in the rotation group the two spheres are worth a closer look.
//!
//! A rotation is a turn about the vertical followed by a tilt of that vertical (a "lean"). On a picture of the source
//! in latitude and longitude a turn only shifts columns, so that all turns of one lean are tried at once.

use std::f64::consts::{PI, TAU};

use nalgebra::{Rotation3, Unit, UnitQuaternion, Vector3};

use super::correlation;
use super::field::LogField;
use crate::base::parallel;
use crate::light::radiance::DirectionGrid;

/// Turns of one lean, and the angle between neighbours of the grid.
const TURNS: usize = 24;
const STEP_DEG: f64 = 360.0 / TURNS as f64;

/// Columns of the picture between neighbouring turns (3°), and its rows (3°).
const SUBCOLUMNS: usize = 5;
const ROWS: usize = 60;

/// On the broadly averaged light every 13th direction is compared.
const STRIDE: usize = 13;

/// Least number of directions known on both sides.
const LEAST_SHARED: f32 = 50.0;

/// Number of places from which to walk uphill, how many of those walks are finished, and how many at most are
/// refined.
const STARTS: usize = 16;
const CLOSER: usize = 8;
const REFINED: usize = 6;

/// Steps of the walk, degrees, with the stride over directions that is dense enough for each.
const FIRST_WALK: [(f64, usize); 2] = [(8.0, 4), (4.0, 4)];
const LAST_WALK: [(f64, usize); 1] = [(2.0, 2)];

/// Walks that end closer than this have reached the same maximum.
const SAME_HILL_DEG: f64 = 4.0;

/// A maximum can neither win nor rival the best one if its distance from a correlation of 1 exceeds the best's by
/// this factor and by this amount.
const HOPELESS_FACTOR: f64 = 3.0;
const HOPELESS_MARGIN: f64 = 0.1;

/// The best places of a grid over the rotation group on the broadly averaged light, apart from each other, each walked
/// uphill on the light itself until slopes can take over.
pub(super) fn coarse_starts(target: &LogField, source: &LogField) -> Vec<UnitQuaternion<f64>> {
    let starts = places(target, source);
    let mut walked: Vec<Place> = parallel::filter_map(starts.len(), |i| climb(target, source, starts[i], &FIRST_WALK));
    walked.sort_by(|a, b| b.1.total_cmp(&a.1));
    walked.truncate(CLOSER);
    let mut hills: Vec<Place> = parallel::filter_map(walked.len(), |i| climb(target, source, walked[i].0, &LAST_WALK));
    hills.sort_by(|a, b| b.1.total_cmp(&a.1));
    hills.truncate(REFINED);
    let Some(best) = hills.first().map(|h| h.1) else { return Vec::new() };
    let hopeless = 1.0 - HOPELESS_FACTOR * (1.0 - best) - HOPELESS_MARGIN;
    let mut starts: Vec<UnitQuaternion<f64>> = Vec::new();
    for (rotation, correlation) in hills {
        if correlation >= hopeless && starts.iter().all(|s| s.angle_to(&rotation).to_degrees() > SAME_HILL_DEG) {
            starts.push(rotation);
        }
    }
    starts
}

/// A rotation and its correlation.
type Place = (UnitQuaternion<f64>, f64);

/// The rotations of the grid with the highest correlations, apart from each other.
fn places(target: &LogField, source: &LogField) -> Vec<UnitQuaternion<f64>> {
    let (leans, seen, picture) = (leans(), Seen::of(&target.coarse), Picture::of(&source.coarse));
    let by_lean = parallel::map(leans.len(), |i| picture.correlations(&seen, &leans[i]));
    let all = by_lean.iter().flatten().enumerate();
    let mut scored: Vec<(f32, usize)> = all.filter_map(|(index, c)| c.map(|c| (c, index))).collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut starts: Vec<UnitQuaternion<f64>> = Vec::new();
    for (_, index) in scored {
        if starts.len() >= STARTS {
            break;
        }
        let rotation = leans[index / TURNS] * turn(index % TURNS);
        if starts.iter().all(|s| s.angle_to(&rotation).to_degrees() > STEP_DEG * 1.2) {
            starts.push(rotation);
        }
    }
    starts
}

fn turn(index: usize) -> UnitQuaternion<f64> {
    UnitQuaternion::from_axis_angle(&Vector3::y_axis(), (index as f64 * STEP_DEG).to_radians())
}

/// Tilts of the vertical spread over the sphere of its places.
fn leans() -> Vec<UnitQuaternion<f64>> {
    let tilted = |tilt: usize| {
        let tilt_rad = (tilt as f64 * STEP_DEG).to_radians();
        let count = (TURNS as f64 * tilt_rad.sin()).round().max(1.0) as usize;
        (0..count).map(move |i| {
            let way = TAU * i as f64 / count as f64;
            let axis = Unit::new_normalize(Vector3::new(way.cos(), 0.0, way.sin()));
            UnitQuaternion::from_axis_angle(&axis, tilt_rad)
        })
    };
    (0..=TURNS / 2).flat_map(tilted).collect()
}

/// Directions of the target with their values about the mean.
struct Seen(Vec<(Vector3<f64>, f32)>);

impl Seen {
    fn of(field: &[f64]) -> Self {
        let grid = DirectionGrid::shared();
        let mean = mean(field);
        let known = (0..field.len()).step_by(STRIDE).filter(|cell| !field[*cell].is_nan());
        Self(known.map(|cell| (grid.directions[cell], (field[cell] - mean) as f32)).collect())
    }
}

/// Values about the mean by latitude and longitude. A row holds, for each subcolumn, the value and the weight (1 known,
/// 0 unknown) a turn further back from one place to the next, twice round, so that all turns of a direction lie side by
/// side wherever it begins.
struct Picture {
    values: Vec<[f32; 2 * TURNS]>,
    weights: Vec<[f32; 2 * TURNS]>,
}

impl Picture {
    fn of(field: &[f64]) -> Self {
        let grid = DirectionGrid::shared();
        let mean = mean(field);
        let at = |row: usize, column: usize| {
            let (sin_polar, cos_polar) = ((row as f64 + 0.5) / ROWS as f64 * PI).sin_cos();
            let (sin_a, cos_a) = ((column as f64 + 0.5) / (TURNS * SUBCOLUMNS) as f64 * TAU).sin_cos();
            field[grid.cell(&Vector3::new(sin_polar * sin_a, cos_polar, sin_polar * cos_a))]
        };
        let mut picture = Self { values: Vec::new(), weights: Vec::new() };
        for row in 0..ROWS {
            for sub in 0..SUBCOLUMNS {
                let read: [f64; 2 * TURNS] =
                    std::array::from_fn(|j| at(row, (2 * TURNS - j) % TURNS * SUBCOLUMNS + sub));
                picture.values.push(read.map(|v| if v.is_nan() { 0.0 } else { (v - mean) as f32 }));
                picture.weights.push(read.map(|v| if v.is_nan() { 0.0 } else { 1.0 }));
            }
        }
        picture
    }

    /// Where the values of a direction begin, turned back about the vertical by zero, one, two … steps.
    fn begins(direction: &Vector3<f64>) -> (usize, usize) {
        let row = (direction.y.clamp(-1.0, 1.0).acos() / PI * ROWS as f64) as usize;
        let columns = (TURNS * SUBCOLUMNS) as f64;
        let column = (direction.x.atan2(direction.z).rem_euclid(TAU) / TAU * columns) as usize;
        let column = column.min(TURNS * SUBCOLUMNS - 1);
        (row.min(ROWS - 1) * SUBCOLUMNS + column % SUBCOLUMNS, TURNS - column / SUBCOLUMNS)
    }

    /// Correlation of the target with the source after each turn and the lean; `None` where too little is shared.
    fn correlations(&self, seen: &Seen, lean: &UnitQuaternion<f64>) -> [Option<f32>; TURNS] {
        let back: Rotation3<f64> = lean.inverse().to_rotation_matrix();
        let [mut n, mut sx, mut sy, mut sxx, mut syy, mut sxy] = [[0.0_f32; TURNS]; 6];
        for (direction, x) in &seen.0 {
            let (row, first) = Self::begins(&(back * direction));
            let values = &self.values[row][first..first + TURNS];
            let weights = &self.weights[row][first..first + TURNS];
            for k in 0..TURNS {
                let (y, w) = (values[k], weights[k]);
                n[k] += w;
                sx[k] += w * x;
                sy[k] += y;
                sxx[k] += w * x * x;
                syy[k] += y * y;
                sxy[k] += x * y;
            }
        }
        std::array::from_fn(|k| {
            let (vx, vy) = (sxx[k] - sx[k] * sx[k] / n[k], syy[k] - sy[k] * sy[k] / n[k]);
            let structured = n[k] > LEAST_SHARED && vx > 1e-4 && vy > 1e-4;
            structured.then(|| (sxy[k] - sx[k] * sy[k] / n[k]) / (vx * vy).sqrt())
        })
    }
}

/// Mean of what is known.
fn mean(field: &[f64]) -> f64 {
    let (sum, count) = field.iter().filter(|v| !v.is_nan()).fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
    sum / f64::max(count, 1.0)
}

/// Compass search in the three small rotations, step by step of a walk.
fn climb(target: &LogField, source: &LogField, start: UnitQuaternion<f64>, walk: &[(f64, usize)]) -> Option<Place> {
    let axes = [Vector3::x(), -Vector3::x(), Vector3::y(), -Vector3::y(), Vector3::z(), -Vector3::z()];
    let mut best = (start, f64::NAN);
    for (step_deg, stride) in walk {
        let score =
            |rotation: &UnitQuaternion<f64>| correlation(&target.luminance, &source.luminance, rotation, *stride);
        best.1 = score(&best.0)?;
        let better = |from: &Place| {
            axes.iter().find_map(|axis| {
                let candidate = UnitQuaternion::from_scaled_axis(axis * step_deg.to_radians()) * from.0;
                score(&candidate).filter(|s| *s > from.1 + 1e-9).map(|s| (candidate, s))
            })
        };
        while let Some(found) = better(&best) {
            best = found;
        }
    }
    Some(best)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::radiance::CELLS;

    /// Some hills of light, known on a part of all directions.
    fn field(unknown_below: f64) -> Vec<f64> {
        let hills = [
            (Vector3::new(0.3, 0.5, 0.8), 3.0),
            (Vector3::new(-0.9, 0.2, 0.1), 2.0),
            (Vector3::new(0.1, -0.8, -0.5), 1.0),
        ];
        let value = |d: &Vector3<f64>| hills.iter().map(|(h, s)| s * (6.0 * (d.dot(&h.normalize()) - 1.0)).exp()).sum();
        DirectionGrid::shared()
            .directions
            .iter()
            .map(|d| if d.z < unknown_below { f64::NAN } else { value(d) })
            .collect()
    }

    #[test]
    fn all_turns_of_a_lean_are_as_tried_one_by_one() {
        let (target, source) = (field(-0.7), field(-0.9));
        let (seen, picture) = (Seen::of(&target), Picture::of(&source));
        assert_eq!(source.len(), CELLS);
        for lean in leans().iter().step_by(17) {
            for (index, fast) in picture.correlations(&seen, lean).into_iter().enumerate() {
                let one = correlation(&target, &source, &(*lean * turn(index)), STRIDE);
                let (fast, one) = (f64::from(fast.unwrap()), one.unwrap());
                // The picture's cells are 3° wide and those of the grid as wide: each reads up to 2.5° beside.
                assert!((fast - one).abs() < 0.05, "{index}: {fast} {one}");
            }
        }
    }

    #[test]
    fn the_grid_holds_no_turn_and_leaves_no_rotation_further_than_a_step_away() {
        let all: Vec<_> = leans().iter().flat_map(|lean| (0..TURNS).map(|i| *lean * turn(i))).collect();
        assert!(all.iter().any(|r| r.angle() < 1e-9));
        for step in 0..200 {
            let s = f64::from(step);
            let rotation =
                UnitQuaternion::from_scaled_axis(Vector3::new((1.3 * s).sin(), (2.1 * s).cos(), (0.7 * s).sin()) * 1.8);
            let nearest = all.iter().map(|r| r.angle_to(&rotation).to_degrees()).fold(f64::INFINITY, f64::min);
            assert!(nearest < STEP_DEG, "{nearest}");
        }
    }
}
