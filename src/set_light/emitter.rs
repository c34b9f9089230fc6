//! Measured lights as lights of their own: which are taken out of the dome, and what each gives.

use nalgebra::Vector3;

use crate::colour::luminance;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::light::lights::Light;
use crate::shot::SetMirror;

/// A broader source keeps its shape in the picture: a disc of even brightness would not look like it (common practice,
/// no source).
const BROADEST_DEG: f64 = 15.0;

/// A light's picture reaches this many radii from its middle …
const REACH_RADII: f64 = 1.25;

/// … and this many cells further, over which lens and cells spread it.
const REACH_CELLS: f64 = 2.5;

/// Where a light is and how large.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Its distance is not known: a disc at infinity.
    Distant,
    /// A ball at a measured distance.
    Ball {
        /// Its middle from the middle of the mirror sphere, mm, camera axes.
        position_mm: Vector3<f64>,
        /// Its radius, mm.
        radius_mm: f64,
    },
}

/// One light taken out of the dome.
#[derive(Debug, Clone, PartialEq)]
pub struct Emitter {
    /// Its place among the lights of the record, most illuminance first.
    pub place: usize,
    /// Unit vector to it, camera axes.
    pub direction: Vector3<f64>,
    /// Radius of the even disc that it is written as, rad.
    pub radius_rad: f64,
    /// What it adds to a surface that faces it, working space: radiance × sr. What the dome keeps behind it is not in
    /// it.
    pub irradiance_rgb: [f64; 3],
    /// Where it is.
    pub shape: Shape,
}

impl Emitter {
    /// Its radiance as an even disc, working space: E / (π sin² ρ).
    pub fn radiance_rgb(&self) -> [f64; 3] {
        let projected = std::f64::consts::PI * self.radius_rad.sin().powi(2);
        self.irradiance_rgb.map(|e| e / projected)
    }
}

/// The directions that a light's picture covers.
#[derive(Debug, Clone, Copy)]
pub(super) struct Zone {
    pub(super) light: usize,
    pub(super) direction: Vector3<f64>,
    radius_rad: f64,
    reach_rad: f64,
}

impl Zone {
    /// How far from the middle of the light a direction is, in reaches; `None` outside.
    fn depth(&self, direction: &Vector3<f64>) -> Option<f64> {
        let chord = (direction - self.direction).norm();
        let reach = 2.0 * (0.5 * self.reach_rad).sin();
        (chord < reach).then(|| chord / reach)
    }
}

/// Of the lights that are taken out.
pub(super) fn zones(side: &SphereMeasurement) -> Vec<Zone> {
    let zone = |(light, seen): (usize, &Light)| {
        let radius_rad = radius_rad(seen);
        let cell = seen.point_px.and_then(|point| side.geometry.reflect(point));
        let cell_rad = cell.map_or(0.0, |cell| cell.turn_rad2_per_px2.sqrt() * side.image.block_px as f64);
        let reach_rad = seen.seen_radius_rad() * REACH_RADII + REACH_CELLS * cell_rad;
        (!is_broad(seen)).then_some(Zone { light, direction: seen.direction, radius_rad, reach_rad })
    };
    side.lights.all.iter().enumerate().filter_map(zone).collect()
}

/// Whether a light stays in the picture for its size.
pub(super) fn is_broad(light: &Light) -> bool {
    light.seen_radius_rad() > BROADEST_DEG.to_radians()
}

/// The zone of the light nearest to a direction, as its place in the list of zones.
pub(super) fn zone_of(zones: &[Zone], direction: &Vector3<f64>) -> Option<usize> {
    let inside = zones.iter().enumerate().filter_map(|(i, zone)| Some((i, zone.depth(direction)?)));
    inside.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(i, _)| i)
}

/// The measured size, else the largest that the picture allows.
fn radius_rad(light: &Light) -> f64 {
    light.angular_radius_deg.map_or(light.reach_rad, |radius| radius.value.to_radians()).max(1e-4)
}

/// The lights that were found to give anything, with what each gives.
pub(super) fn emitters(mirror: &SetMirror, zones: &[Zone], irradiance: &[[f64; 3]]) -> Vec<Emitter> {
    let order = mirror.by_strength();
    let of = |(zone, rgb): (&Zone, &[f64; 3])| {
        let irradiance_rgb = rgb.map(|value| value.max(0.0));
        let emitter = Emitter {
            place: order.iter().position(|light| *light == zone.light)?,
            direction: zone.direction,
            radius_rad: zone.radius_rad,
            irradiance_rgb,
            shape: shape(mirror, zone),
        };
        (luminance(irradiance_rgb) > 0.0).then_some(emitter)
    };
    let mut emitters: Vec<Emitter> = zones.iter().zip(irradiance).filter_map(of).collect();
    emitters.sort_by_key(|emitter| emitter.place);
    emitters
}

/// A ball where two mirrors told the distance. Its sight line starts where the sphere reflects it, not in its middle.
fn shape(mirror: &SetMirror, zone: &Zone) -> Shape {
    let told = mirror.distance_of(zone.light).and_then(|distance| distance.distance_mm);
    let Some(distance_mm) = told else { return Shape::Distant };
    let to_camera = mirror.side.geometry.towards_camera();
    let normal = (zone.direction + to_camera).try_normalize(1e-9).unwrap_or(to_camera);
    let sphere_mm = mirror.radius_mm.unwrap_or(0.0);
    let position_mm = normal * sphere_mm + zone.direction * distance_mm.value;
    // A convex mirror shows the size of what is near as from its focus, half a radius behind its surface.
    let seen_from_mm = distance_mm.value + 0.5 * sphere_mm;
    Shape::Ball { position_mm, radius_mm: seen_from_mm * zone.radius_rad.sin() }
}
