//! Radiance by direction: what was seen, what a second sphere adds, what is restored, and what is filled in.

use std::f64::consts::PI;

use nalgebra::Vector3;

use super::emitter::{self, Emitter, Zone};
use super::fill;
use super::grid::{COLUMNS, MapGrid};
use super::seen::{self, Seen};
use super::stage::Stage;
use crate::base::parallel;
use crate::colour::luminance;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::environment::LatLong;
use crate::shot::SetMirror;
use crate::sphere::angle_between_rad;

/// Points across a pixel of the map.
const POINTS: usize = 2;

/// What a pixel of the map stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The sphere showed it.
    Measured,
    /// The sphere did not show it, and another mirror sphere did.
    OtherMirror,
    /// At the recording's ceiling, and a grey sphere told what is missing.
    Restored,
    /// At the recording's ceiling: its value is a lower bound.
    Bounded,
    /// Nothing showed it: continued from what is around it.
    Filled,
}

/// The light of one mirror by direction. Pixels go row by row in the order of [`MapGrid`].
#[derive(Debug, Clone)]
pub struct SetMap {
    /// Radiance, working space, lights included.
    pub full: Vec<[f32; 3]>,
    /// The same without the lights that are lights of their own.
    pub dome: Vec<[f32; 3]>,
    /// What each pixel stands on.
    pub kind: Vec<Kind>,
    /// Luminance × sr that writing values below 0 as 0 adds: no light source is negative, but noise is, and so are
    /// colours outside BT.709.
    pub added_by_zero: f64,
}

impl SetMap {
    /// 1 where the value was measured, 0 where it was not: filled, or at a ceiling.
    pub fn alpha(&self) -> Vec<f32> {
        let measured = |kind: &Kind| matches!(kind, Kind::Measured | Kind::OtherMirror);
        self.kind.iter().map(|kind| if measured(kind) { 1.0 } else { 0.0 }).collect()
    }

    /// Solid angle over that of all directions, and luminance × sr, of the pixels of a kind.
    pub fn amount(&self, kind: Kind) -> (f64, f64) {
        let of_kind = self.kind.iter().enumerate().filter(|(_, k)| **k == kind);
        let sum = of_kind.fold((0.0, 0.0), |(solid, light), (pixel, _)| {
            let steradian = MapGrid::steradian(pixel);
            (solid + steradian, light + steradian * luminance(self.full[pixel].map(f64::from)))
        });
        (sum.0 / (4.0 * PI), sum.1)
    }
}

/// A smaller part of the light is not worth a word (0.007 stop).
const LEAST_TOLD: f64 = 0.005;

/// The largest half float (IEEE 754 binary16).
const HALF_MAX: f32 = 65504.0;

impl SetMap {
    /// What is said where values below 0 were more than a trifle.
    pub(super) fn below_zero(&self) -> Option<String> {
        let all: f64 =
            (0..self.full.len()).map(|i| MapGrid::steradian(i) * luminance(self.full[i].map(f64::from))).sum();
        let part = self.added_by_zero / all.max(1e-30);
        (part > LEAST_TOLD).then(|| {
            format!(
                "values below 0 (noise, or colours outside BT.709) are written as 0, which adds {:.1} % to the light",
                100.0 * part
            )
        })
    }

    /// What is said where the written picture cannot hold its brightest values.
    pub(super) fn over_half_float(&self) -> Option<String> {
        let over = self.full.iter().flatten().filter(|value| **value > HALF_MAX).count();
        (over > 0).then(|| {
            format!("{over} values of the map are above {HALF_MAX}, the largest half float, and are written as that")
        })
    }
}

/// Draws the light that a mirror shows, with the lights that are taken out of its dome.
pub(super) fn draw(mirror: &SetMirror, others: &[&SphereMeasurement], stage: &Stage) -> (SetMap, Vec<Emitter>) {
    let side = &mirror.side;
    let mut pixels = parallel::map(MapGrid::len(), |pixel| seen_in(side, others, stage, pixel));
    restore(mirror, stage, &mut pixels);
    let zones = emitter::zones(side);
    let around = fill::continued(|own| {
        let direction = stage.in_camera_axes(own);
        let is_light = emitter::zone_of(&zones, &direction).is_some();
        if is_light { None } else { unclipped(side, others, &direction) }
    });
    let full = parallel::map(MapGrid::len(), |pixel| match &pixels[pixel] {
        Some((rgb, _)) => rgb.map(|value| value.max(0.0) as f32),
        None => behind(around.as_ref(), pixel).map(|value| value as f32),
    });
    let added = |(pixel, seen): (usize, &Option<([f64; 3], Kind)>)| {
        let below = seen.map_or([0.0; 3], |(rgb, _)| rgb.map(|value| (-value).max(0.0)));
        luminance(below) * MapGrid::steradian(pixel)
    };
    let added_by_zero = pixels.iter().enumerate().map(added).sum();
    let kind = pixels.iter().map(|pixel| pixel.as_ref().map_or(Kind::Filled, |(_, kind)| *kind)).collect();
    let (dome, irradiance) = taken_out(&full, &zones, around.as_ref(), stage);
    (SetMap { full, dome, kind, added_by_zero }, emitter::emitters(mirror, &zones, &irradiance))
}

/// What the smooth continuation has behind a pixel.
fn behind(around: Option<&LatLong>, pixel: usize) -> [f64; 3] {
    around.map_or([0.0; 3], |around| around.radiance(&MapGrid::direction(pixel), 0.0))
}

/// A direction below every ceiling, by the sphere itself or by another.
fn unclipped(side: &SphereMeasurement, others: &[&SphereMeasurement], direction: &Vector3<f64>) -> Option<[f64; 3]> {
    let own = seen::on(side, direction).filter(|seen| !seen.clipped).map(|seen| seen.rgb);
    own.or_else(|| seen::on_another(others, direction))
}

/// A pixel from several points across it; `None` where half of them or more show nothing.
fn seen_in(
    side: &SphereMeasurement,
    others: &[&SphereMeasurement],
    stage: &Stage,
    pixel: usize,
) -> Option<([f64; 3], Kind)> {
    let (mut sum, mut count, mut kind) = ([0.0; 3], 0, Kind::Measured);
    for point in 0..POINTS * POINTS {
        let offset = |i: usize| (i as f64 + 0.5) / POINTS as f64 - 0.5;
        let place =
            [(pixel % COLUMNS) as f64 + offset(point % POINTS), (pixel / COLUMNS) as f64 + offset(point / POINTS)];
        let direction = stage.in_camera_axes(&MapGrid::direction_at(place));
        let own = seen::on(side, &direction);
        let (rgb, of) = match own {
            Some(Seen { rgb, clipped: false }) => (rgb, Kind::Measured),
            _ => match (seen::on_another(others, &direction), own) {
                (Some(rgb), _) => (rgb, Kind::OtherMirror),
                (None, Some(seen)) => (seen.rgb, Kind::Bounded),
                (None, None) => continue,
            },
        };
        sum = [0, 1, 2].map(|c| sum[c] + rgb[c]);
        count += 1;
        // One doubtful point makes the pixel doubtful.
        if kind != Kind::Bounded && of != Kind::Measured {
            kind = of;
        }
    }
    (2 * count > POINTS * POINTS).then(|| (sum.map(|s| s / f64::from(count as u32)), kind))
}

/// Adds what grey spheres told of clipped lights to the clipped pixels of each, evenly.
fn restore(mirror: &SetMirror, stage: &Stage, pixels: &mut [Option<([f64; 3], Kind)>]) {
    if mirror.recovered.is_empty() {
        return;
    }
    let clipped: Vec<usize> =
        (0..pixels.len()).filter(|pixel| matches!(pixels[*pixel], Some((_, Kind::Bounded)))).collect();
    let lights = &mirror.side.lights.all;
    // Of the clipped lights the one whose edge is nearest.
    let owner = |direction: &Vector3<f64>| {
        let beyond = |light: usize| angle_between_rad(direction, &lights[light].direction) - lights[light].reach_rad;
        let told = (0..lights.len()).filter(|light| lights[*light].clipped);
        told.min_by(|a, b| beyond(*a).total_cmp(&beyond(*b)))
    };
    let owned: Vec<(usize, Option<usize>, f64)> = parallel::map_each(&clipped, |pixel| {
        let direction = stage.in_camera_axes(&MapGrid::direction(*pixel));
        let light = owner(&direction);
        let cosine = light.map_or(0.0, |light| direction.dot(&lights[light].direction).max(0.0));
        (*pixel, light, cosine * MapGrid::steradian(*pixel))
    });
    for told in &mirror.recovered {
        let of_light = || owned.iter().filter(|(_, light, _)| *light == Some(told.light));
        let facing: f64 = of_light().map(|(_, _, facing)| facing).sum();
        if facing <= 0.0 {
            continue;
        }
        for (pixel, _, _) in of_light() {
            if let Some((rgb, kind)) = &mut pixels[*pixel] {
                *rgb = [0, 1, 2].map(|c| rgb[c] + told.added_rgb[c] / facing);
                *kind = Kind::Restored;
            }
        }
    }
}

/// The picture with every light replaced by what is around it, and what each light adds to a surface that faces it.
fn taken_out(
    full: &[[f32; 3]],
    zones: &[Zone],
    around: Option<&LatLong>,
    stage: &Stage,
) -> (Vec<[f32; 3]>, Vec<[f64; 3]>) {
    let replaced: Vec<Option<(usize, [f32; 3])>> = parallel::map(full.len(), |pixel| {
        let zone = emitter::zone_of(zones, &stage.in_camera_axes(&MapGrid::direction(pixel)))?;
        let behind = behind(around, pixel);
        let stands_out = luminance(full[pixel].map(f64::from)) > luminance(behind);
        stands_out.then(|| (zone, behind.map(|value| value as f32)))
    });
    let mut irradiance = vec![[0.0; 3]; zones.len()];
    let mut dome = full.to_vec();
    for (pixel, replaced) in replaced.into_iter().enumerate() {
        let Some((zone, behind)) = replaced else { continue };
        let direction = stage.in_camera_axes(&MapGrid::direction(pixel));
        let facing = direction.dot(&zones[zone].direction).max(0.0) * MapGrid::steradian(pixel);
        for channel in 0..3 {
            irradiance[zone][channel] += facing * f64::from(full[pixel][channel] - behind[channel]);
        }
        dome[pixel] = behind;
    }
    (dome, irradiance)
}
