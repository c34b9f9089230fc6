//! Surface blur told by the whole picture.
//!
//! A very rough sphere leaves no light that could be paired with the CG's. Then the CG's lights look extra, though the
//! photographed sphere only spreads theirs. But its whole picture is more like the CG's once that is blurred.

use super::SurfaceBlur;
use super::kernel::Shape;
use crate::base::parallel;
use crate::base::units::Estimate;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::radiance::{DirectionGrid, DirectionMap, Smoothed};

/// Half-light radii that are tried, degrees.
const TRIED_DEG: [f64; 4] = [4.0, 9.0, 18.0, 36.0];

/// The true radius lies anywhere between those beside the best; its relative sd.
const TRIED_SD: f64 = 0.35;

/// Blur has to take away this fraction of the variance that the pictures do not share. Of 146 path-traced shots
/// (`golden/outside`) it does so on 13 of 18 rough spheres and on 4 of 128 others, all out of focus and below 60 px.
const EXPLAINS: f64 = 0.5;

/// Every so many directions are looked at.
const STRIDE: usize = 12;

/// Directions clipped more than this take no part.
const CLIPPED: f64 = 0.01;

/// The blur under which the CG is most like the photograph; `None` where none makes it clearly more so.
pub(super) fn blur_of(mirror: &SphereMeasurement, cg: &SphereMeasurement) -> Option<SurfaceBlur> {
    let cells: Vec<usize> = (0..DirectionGrid::shared().directions.len()).step_by(STRIDE).collect();
    let theirs = cg.image.map.compared();
    let sharp: Vec<Option<f64>> = cells.iter().map(|cell| theirs[*cell].and_then(usable)).collect();
    let unshared = |light: &[Option<f64>]| unshared(mirror, &cells, light);
    let as_it_is = unshared(&sharp)?;
    let blurs = TRIED_DEG.map(|degrees| SurfaceBlur {
        half_light_rad: Estimate::new(degrees.to_radians(), TRIED_SD * degrees.to_radians()),
        witnesses: 0,
        by_sun_alone: false,
        shape: Shape::LongTailed,
    });
    let tried = blurs.into_iter().filter_map(|blur| Some((unshared(&blurred(&cg.image.map, &blur, &cells))?, blur)));
    let (left, blur) = tried.min_by(|a, b| a.0.total_cmp(&b.0))?;
    (left < (1.0 - EXPLAINS) * as_it_is).then_some(blur)
}

fn usable(light: Smoothed) -> Option<f64> {
    (light.clipped <= CLIPPED && light.luminance > 0.0).then_some(light.luminance)
}

/// Luminance that a blurring sphere would show in some directions.
fn blurred(map: &DirectionMap, blur: &SurfaceBlur, cells: &[usize]) -> Vec<Option<f64>> {
    let grid = DirectionGrid::shared();
    parallel::map_each(cells, |to| {
        let there = &grid.directions[*to];
        let seen = map.cells().iter().zip(&grid.directions).filter(|(cell, _)| cell.steradian > 0.0);
        let (light, steradian) = seen.fold((0.0, 0.0), |(light, steradian), (cell, from)| {
            let density = blur.density(crate::sphere::angle_between_rad(there, from));
            let luminance = crate::colour::luminance(cell.light);
            (light + density * luminance, steradian + density * cell.steradian)
        });
        (steradian > 0.0 && light > 0.0).then(|| light / steradian)
    })
}

/// The part of the variance that the logarithms of both luminances do not share, 0 to 1. An unknown tone curve changes
/// it little.
fn unshared(mirror: &SphereMeasurement, cells: &[usize], theirs: &[Option<f64>]) -> Option<f64> {
    let grid = DirectionGrid::shared();
    let ours = mirror.image.map.compared();
    let mut sums = [0.0; 6];
    for (cell, theirs) in cells.iter().zip(theirs) {
        let (Some(a), Some(b)) = (ours[*cell].and_then(usable), theirs) else { continue };
        let (x, y, weight) = (a.ln(), b.ln(), grid.steradian[*cell]);
        [1.0, x, y, x * x, y * y, x * y].iter().zip(&mut sums).for_each(|(value, sum)| *sum += weight * value);
    }
    let [weight, x, y, xx, yy, xy] = sums;
    let (x, y) = (x / weight, y / weight);
    let (xx, yy, xy) = (xx / weight - x * x, yy / weight - y * y, xy / weight - x * y);
    (xx > 0.0 && yy > 0.0).then(|| 1.0 - (xy / (xx * yy).sqrt()).max(0.0).powi(2))
}
