//! Something in front of the photographed sphere: a flag, a hand, a stand.
//!
//! What hides a sphere hides it from its rim inwards and is mostly darker than what the CG shows there, or, as a hand in
//! the light, much brighter. Whether something hides it or something stood there that the CG lacks, the picture does not
//! tell. So every number is measured twice, as photographed and with the CG's light where the sphere may be hidden, and
//! one standard deviation is the difference. A long gap in the outline besides tells that something stands there,
//! however bright it is.

use std::f64::consts::PI;

use nalgebra::Vector3;

use crate::base::statistics::weighted_median;
use crate::colour::luminance;
use crate::compare::rotation::Rotation;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::radiance::{DirectionGrid, DirectionMap, MapCell, Source};

/// Rim half of the sphere's picture: directions more than 90° from the line to the camera, as a cosine.
const RIM_HALF_COSINE: f64 = 0.0;

/// Darker than what the CG shows by this factor: something stands there. Panels and sky that a CG has too bright by a
/// stop stay above it (common practice, no source).
const DARK_FACTOR: f64 = 0.4;

/// Beside such directions this factor is enough: the same thing before darker surroundings.
const DARK_BESIDE_FACTOR: f64 = 0.45;

/// Directions closer than this, rad, lie beside each other (the cells of the grid are 0.055 rad across).
const BESIDE_RAD: f32 = 0.09;

/// A gap of the outline is long from this on, rad; what hides a thirtieth of the sphere leaves a longer one.
const LONG_GAP_RAD: f64 = 0.9;

/// What a long gap cuts off counts as hidden where the median difference of the sides there is at least this much,
/// stops, and this many times as large as elsewhere. A rim without contrast leaves a gap too (common practice, no
/// source).
const GAP_DIFFERS_STOPS: f64 = 0.2;
const GAP_DIFFERS_TIMES: f64 = 1.5;

/// What is around a light reaches this far from it, rad.
const AROUND_RAD: f64 = 0.3;

/// Less than this fraction of all directions is a speck: noise, the edge of a lamp.
const SPECK_FRACTION: f64 = 0.01;

/// The CG's lights and this margin count only beside other hidden directions, rad: a lamp alone that the photograph
/// lacks stands elsewhere.
const LIGHT_MARGIN_RAD: f64 = 0.15;

/// The hidden directions are left out on both sides. The CG's colour error there may differ from that elsewhere by
/// about this much, stops (common practice, no source).
const ELSEWHERE_SD_STOPS: f64 = 0.16;

/// The directions that may be hidden on the photographed sphere.
#[derive(Debug, Clone)]
pub struct Hidden {
    /// Radiance per channel that the CG has there, brought to the photograph's level; `None` where nothing is hidden.
    cells: Vec<Option<[f64; 3]>>,
    /// Directions that are brighter on the photographed sphere by the same factor, lights too. Whoever leaves out one
    /// end of the ratios has to leave out the other too, or an overall difference would look like a local one.
    brighter: Vec<bool>,
    /// By how much the two differ in each direction that both show, stops, whatever the reason.
    differ: Vec<Option<f64>>,
    /// Fraction of all directions.
    pub fraction: f64,
}

/// One direction on both sides.
struct Pair {
    cell: usize,
    /// On the rim half, but not so near the rim that the surroundings are mixed in.
    rim_half: bool,
    /// Cut off by a long gap of the photographed outline.
    cut_off: bool,
    ratio: f64,
    cg: [f64; 3],
    lights: LightsThere,
}

/// Which side has a light in a direction.
#[derive(Clone, Copy)]
struct LightsThere {
    mirror: bool,
    cg: bool,
}

impl Hidden {
    /// Directions in which the photographed sphere is much darker than the CG's from the rim inwards, or much brighter.
    pub fn find(mirror: &SphereMeasurement, cg: &SphereMeasurement, rotation: Option<&Rotation>) -> Self {
        let grid = DirectionGrid::shared();
        let pairs = pairs(mirror, cg, rotation);
        let usual = usual_ratio(&pairs);
        let mut cells = vec![None; grid.directions.len()];
        let dark = |p: &&Pair, factor: f64| p.ratio < factor * usual;
        let shone = |p: &Pair| Some(p.cg.map(|c| c * usual));
        for p in pairs.iter().filter(|p| dark(p, DARK_FACTOR) && p.rim_half && !p.lights.cg) {
            cells[p.cell] = shone(p);
        }
        let mut brighter = vec![false; cells.len()];
        for p in pairs.iter().filter(|p| p.ratio * DARK_FACTOR > usual && p.rim_half) {
            brighter[p.cell] = true;
            // A hand in the light is brighter than what it hides; a lamp that the CG lacks is a light of its own.
            if !p.lights.mirror {
                cells[p.cell] = shone(p);
            }
        }
        if gap_hides(&pairs, usual) {
            pairs.iter().filter(|p| p.cut_off).for_each(|p| cells[p.cell] = shone(p));
        }
        let bright_beside = |p: &Pair| p.ratio * DARK_BESIDE_FACTOR > usual && !p.lights.mirror;
        let beside: Vec<&Pair> =
            pairs.iter().filter(|p| dark(p, DARK_BESIDE_FACTOR) || (p.rim_half && bright_beside(p))).collect();
        spread(&mut cells, &beside, &shone);
        let mut differ = vec![None; cells.len()];
        for p in pairs.iter().filter(|p| !p.lights.cg) {
            differ[p.cell] = Some((p.ratio / usual).max(1e-9).log2().abs());
        }
        let fraction =
            cells.iter().zip(&grid.steradian).filter(|c| c.0.is_some()).map(|c| c.1).sum::<f64>() / (4.0 * PI);
        if fraction < SPECK_FRACTION {
            return Self { cells: Vec::new(), brighter: Vec::new(), differ, fraction: 0.0 };
        }
        Self { cells, brighter, differ, fraction }
    }

    /// Whether a median or mean over both sides leaves out a direction of the grid: one that may be hidden, or one
    /// that differs as much in the opposite sense.
    pub fn leaves_out(&self, cell: usize) -> bool {
        self.holds(cell) || self.brighter.get(cell).is_some_and(|b| *b)
    }

    /// Whether nothing is hidden.
    pub fn is_empty(&self) -> bool {
        self.cells.is_empty()
    }

    /// Whether the sphere may be hidden in a direction of the grid.
    pub fn holds(&self, cell: usize) -> bool {
        self.cells.get(cell).is_some_and(Option::is_some)
    }

    /// Part of the directions within `reach_rad` of a direction that may be hidden.
    pub fn part_about(&self, direction: &Vector3<f64>, reach_rad: f64) -> f64 {
        let grid = DirectionGrid::shared();
        let near = self.cells.iter().enumerate().filter(|(i, _)| grid.directions[*i].dot(direction) >= reach_rad.cos());
        let (all, hidden) = near.fold((0.0, 0.0), |(all, hidden), (i, cell)| {
            (all + grid.steradian[i], hidden + if cell.is_some() { grid.steradian[i] } else { 0.0 })
        });
        if all > 0.0 { hidden / all } else { 0.0 }
    }

    /// Around a place (from `inner_rad` to [`AROUND_RAD`] further out) the photographed sphere differs from the CG's as
    /// it does not elsewhere: something may stand in front of it there, dark or bright, or it is another place.
    pub fn shows_something_else(&self, direction: &Vector3<f64>, inner_rad: f64) -> bool {
        let grid = DirectionGrid::shared();
        let (near, far) = (inner_rad.min(PI).cos(), (inner_rad + AROUND_RAD).min(PI).cos());
        let (mut around, mut elsewhere) = (Vec::new(), Vec::new());
        for (cell, stops) in self.differ.iter().enumerate() {
            let (Some(stops), cosine) = (stops, grid.directions[cell].dot(direction)) else { continue };
            if cosine < near && cosine > far {
                around.push((*stops, grid.steradian[cell]));
            } else if cosine <= far {
                elsewhere.push((*stops, grid.steradian[cell]));
            }
        }
        let elsewhere = weighted_median(elsewhere).unwrap_or(0.0);
        weighted_median(around).is_none_or(|there| there > GAP_DIFFERS_STOPS && there > GAP_DIFFERS_TIMES * elsewhere)
    }

    /// The photographed sphere's light with the hidden directions replaced by the CG's.
    pub fn undone(&self, mirror: &SphereMeasurement) -> DirectionMap {
        let mut map = mirror.image.map.clone();
        for (cell, light) in map.cells_mut().iter_mut().zip(&self.cells) {
            if let Some(light) = light {
                cell.light = light.map(|l| l * cell.steradian);
            }
        }
        map
    }

    /// The same completed over all directions.
    pub fn sources(&self, mirror: &SphereMeasurement) -> Vec<Source> {
        self.undone(mirror).completed()
    }
}

fn pairs(mirror: &SphereMeasurement, cg: &SphereMeasurement, rotation: Option<&Rotation>) -> Vec<Pair> {
    let grid = DirectionGrid::shared();
    let to_camera = mirror.geometry.towards_camera();
    let outline = &mirror.fit.outline;
    let gap = mirror.fit.gap.filter(|gap| gap.length_rad >= LONG_GAP_RAD);
    let cut_off = |direction: &Vector3<f64>| {
        gap.is_some_and(|g| mirror.geometry.locate(direction).is_some_and(|point| g.cuts_off(outline, point)))
    };
    let radiance = |cell: &MapCell| cell.light.map(|l| l / cell.steradian);
    let mut pairs = Vec::new();
    for (cell, direction) in grid.directions.iter().enumerate() {
        let source = rotation.map_or(*direction, |r| r.back(direction));
        let other = if rotation.is_some() { grid.cell(&source) } else { cell };
        let (a, b) = (&mirror.image.map.cells()[cell], &cg.image.map.cells()[other]);
        if a.steradian <= 0.0 || b.steradian <= 0.0 {
            continue;
        }
        let (ours, theirs) = (luminance(radiance(a)), radiance(b));
        if luminance(theirs) > 0.0 {
            pairs.push(Pair {
                cell,
                rim_half: direction.dot(&to_camera) < RIM_HALF_COSINE && mirror.is_inside_rim(direction),
                cut_off: cut_off(direction),
                ratio: ours / luminance(theirs),
                cg: theirs,
                lights: LightsThere {
                    mirror: mirror.lights.covers(direction, LIGHT_MARGIN_RAD),
                    cg: cg.lights.covers(&source, LIGHT_MARGIN_RAD),
                },
            });
        }
    }
    pairs
}

/// Median of photograph over CG, of what no gap cuts off where there is enough else.
fn usual_ratio(pairs: &[Pair]) -> f64 {
    median_of(pairs.iter().filter(|p| !p.cut_off), |p| p.ratio)
        .or_else(|| median_of(pairs.iter(), |p| p.ratio))
        .unwrap_or(1.0)
}

fn median_of<'a>(pairs: impl Iterator<Item = &'a Pair>, value: impl Fn(&Pair) -> f64) -> Option<f64> {
    let grid = DirectionGrid::shared();
    weighted_median(pairs.map(|p| (value(p), grid.steradian[p.cell])).collect())
}

/// Whether the sides differ where a gap cuts the outline, and less elsewhere.
fn gap_hides(pairs: &[Pair], usual: f64) -> bool {
    let differs = |cut_off: bool| {
        let stops = |p: &Pair| (p.ratio / usual).max(1e-9).log2().abs();
        median_of(pairs.iter().filter(|p| p.cut_off == cut_off), stops)
    };
    let elsewhere = differs(false).unwrap_or(0.0);
    differs(true).is_some_and(|there| there > GAP_DIFFERS_STOPS && there > GAP_DIFFERS_TIMES * elsewhere)
}

/// Grows the hidden region until no neighbour qualifies any more.
fn spread(cells: &mut [Option<[f64; 3]>], beside: &[&Pair], shone: &impl Fn(&Pair) -> Option<[f64; 3]>) {
    let grid = DirectionGrid::shared();
    loop {
        let touches = |p: &&&Pair| {
            let near = grid.neighbours(p.cell).iter().filter(|n| n.1 <= BESIDE_RAD);
            cells[p.cell].is_none() && near.into_iter().any(|n| cells[usize::from(n.0)].is_some())
        };
        let grown: Vec<&&Pair> = beside.iter().filter(touches).collect();
        if grown.is_empty() {
            return;
        }
        for p in grown {
            cells[p.cell] = shone(p);
        }
    }
}

/// What hidden directions do to a channel of the mean light, stops.
pub fn channel_sd_stops(hidden: &Hidden) -> f64 {
    ELSEWHERE_SD_STOPS * hidden.fraction
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_beside_dark_directions_is_reached_and_nothing_else() {
        let grid = DirectionGrid::shared();
        let pair = |cell: usize| Pair {
            cell,
            rim_half: true,
            cut_off: false,
            ratio: 0.5,
            cg: [1.0; 3],
            lights: LightsThere { mirror: false, cg: false },
        };
        let upper: Vec<Pair> = (0..grid.directions.len()).filter(|i| grid.directions[*i].y > 0.5).map(pair).collect();
        let lower = pair(grid.cell(&-Vector3::y()));
        let beside: Vec<&Pair> = upper.iter().chain([&lower]).collect();
        let mut cells = vec![None; grid.directions.len()];
        cells[grid.cell(&Vector3::y())] = Some([1.0; 3]);
        spread(&mut cells, &beside, &|p: &Pair| Some(p.cg));
        let hidden = Hidden { cells, brighter: Vec::new(), differ: Vec::new(), fraction: 0.25 };
        assert!(upper.iter().all(|p| hidden.holds(p.cell)));
        assert!(!hidden.holds(lower.cell));
        assert!(hidden.part_about(&Vector3::y(), 0.3) > 0.99);
        assert!(hidden.part_about(&-Vector3::y(), 0.3) < 0.01);
    }
}
