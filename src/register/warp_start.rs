//! From two pictures to a projective map: a coarse start, also for cameras that rolled or zoomed, then finer and finer.

use super::patch::Patch;
use super::warp::{Registration, Warp, WarpModel};
use super::warp_fit::{ROUGHLY_PX, SETTLED_PX, fit_warp, refine_warp};
use super::{LEAST_SIDE, NotRegistered, Plane, coarse_shift, pyramid, textured_corners};
use crate::base::parallel;

/// Rolls tried where a plain shift finds nothing in common, degrees.
const ROLLS_DEG: [f64; 7] = [0.0, 1.5, -1.5, 3.0, -3.0, 5.0, -5.0];
/// Zooms tried with each.
const ZOOMS: [f64; 5] = [1.0, 1.03, 0.97, 1.06, 0.94];

/// Registers two pictures of equal size by the simplest map that they support: a shift, a shift with roll and zoom, or
/// a homography.
///
/// Values may be linear or logarithmic; a gain, smooth offsets, and a minority of moved things do not matter. NaN is
/// masked.
///
/// # Errors
/// Why no map can be told; there is never a guess.
pub fn register_warp(fixed: &Plane, moving: &Plane) -> Result<Registration, NotRegistered> {
    register_warp_within(fixed, moving, SETTLED_PX)
}

/// The same, until a step moves nothing by more than `settled_px`.
pub(super) fn register_warp_within(
    fixed: &Plane,
    moving: &Plane,
    settled_px: f64,
) -> Result<Registration, NotRegistered> {
    let sides = [fixed.width(), fixed.height()];
    if sides != [moving.width(), moving.height()] || sides.iter().any(|s| *s < LEAST_SIDE) {
        return Err(NotRegistered::Size);
    }
    let pyramid = pyramid(fixed, moving);
    let coarsest = pyramid.last().map_or((fixed, moving), |(f, m)| (f, m));
    let mut why = NotRegistered::NoAgreement;
    for start in starts(coarsest.0, coarsest.1, &mut why) {
        if let Ok(found) = descend(&pyramid, &start, settled_px) {
            return Ok(found);
        }
    }
    Err(why)
}

/// Coarse maps worth a try: the plain shift, or else rolled and zoomed ones.
fn starts(fixed: &Plane, moving: &Plane, why: &mut NotRegistered) -> Vec<Warp> {
    let size = size_of(fixed);
    match coarse_shift(fixed, moving) {
        Ok(shift) => return vec![Warp::shift(size, shift.map(|d| d as f64))],
        Err(reason) => *why = reason,
    }
    if *why != NotRegistered::NoAgreement {
        return Vec::new();
    }
    let turned = |(roll, zoom): (f64, f64)| {
        let warp = Warp::similarity(size, [0.0; 2], roll.to_radians(), zoom);
        let shift = coarse_shift(fixed, &read_along(moving, &warp)).ok()?;
        Some(Warp::similarity(size, rotated(shift, roll.to_radians(), zoom), roll.to_radians(), zoom))
    };
    let tries = ROLLS_DEG.iter().flat_map(|roll| ZOOMS.map(|zoom| (*roll, zoom)));
    tries.skip(1).filter_map(turned).take(3).collect()
}

/// A shift found after a roll and zoom, as it is before them.
fn rotated(shift: [i64; 2], roll_rad: f64, zoom: f64) -> [f64; 2] {
    let [x, y] = shift.map(|d| d as f64);
    let (sin, cos) = roll_rad.sin_cos();
    [zoom * (cos * x - sin * y), zoom * (sin * x + cos * y)]
}

/// The picture read at the places that a map gives, bilinear.
pub(super) fn read_along(plane: &Plane, warp: &Warp) -> Plane {
    Plane::from_fn(plane.width(), plane.height(), |x, y| {
        let [u, v] = warp.apply([x as f64 + 0.5, y as f64 + 0.5]).map(|c| c - 0.5);
        bilinear(plane, u, v)
    })
}

fn bilinear(plane: &Plane, x: f64, y: f64) -> f32 {
    let (left, top) = (x.floor(), y.floor());
    let (s, t) = ((x - left) as f32, (y - top) as f32);
    let at = |i: i64, j: i64| plane.at(left as i64 + i, top as i64 + j);
    let row = |j: i64| (1.0 - s) * at(0, j) + if s > 0.0 { s * at(1, j) } else { 0.0 };
    (1.0 - t) * row(0) + if t > 0.0 { t * row(1) } else { 0.0 }
}

/// Refines a start on every level: roll and zoom on the coarse ones, the model by evidence on the finest.
fn descend(pyramid: &[(Plane, Plane)], start: &Warp, settled_px: f64) -> Result<Registration, NotRegistered> {
    let mut warp = *start;
    for (level, (fixed, moving)) in pyramid.iter().enumerate().rev() {
        let size = size_of(fixed);
        warp = warp.about_centre_of(size);
        let (f, m) = parallel::both(|| fixed.smoothed(), || moving.smoothed());
        let corners = textured_corners(&f);
        let cut = |[x0, y0]: [i64; 2], offset: [i64; 2]| {
            Patch::cut(|x, y| f.at(x0 + x, y0 + y), |x, y| m.at(x0 + x + offset[0], y0 + y + offset[1]))
        };
        if level == 0 {
            return fit_warp(&cut, &corners, &warp, size, settled_px);
        }
        // A first look with few parameters is safe; what it cannot say is left to the next level.
        if let Ok(found) = refine_warp(&cut, &corners, &warp, WarpModel::Similarity, size, ROUGHLY_PX) {
            warp = found.warp;
        }
        warp = warp.scaled(2.0);
    }
    Err(NotRegistered::Size)
}

pub(super) fn size_of(plane: &Plane) -> [f64; 2] {
    [plane.width() as f64, plane.height() as f64]
}
