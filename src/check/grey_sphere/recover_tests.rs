//! Grey spheres under light whose sum is known in closed form: an even sky of radiance L gives πL on every patch, a
//! distant light of illuminance E adds E times the cosine.

use nalgebra::Vector3;

use super::super::agreement;
use super::*;
use crate::compare::sphere_measurement::{MeasurementRequest, ReflectanceUncertainty, Trust};
use crate::findings::SphereRole;
use crate::image::{Frame, Size};
use crate::light::radiance::Radiometry;
use crate::optics::camera::{FovSource, View};
use crate::register::test_scene::{clipped, frame};
use crate::sphere::find::given_sphere;
use crate::sphere::{MirrorGeometry, Outline, direction_of_deg};

const SIZE: [usize; 2] = [260, 240];
const SKY: [f64; 3] = [0.20, 0.22, 0.27];
/// Azimuth, elevation, radius (deg), radiance of each lamp.
type Lamp = ([f64; 3], [f64; 3]);

fn view() -> View {
    View::from_horizontal_fov(Size { width: SIZE[0], height: SIZE[1] }, 1.0, 20.0, FovSource::Sheet)
}

fn outline() -> Outline {
    Outline::circle(130.0, 120.0, 95.0)
}

fn radiance(direction: &Vector3<f64>, lamps: &[Lamp]) -> [f64; 3] {
    let lit = |lamp: &&Lamp| direction_of_deg(lamp.0[0], lamp.0[1]).dot(direction) > lamp.0[2].to_radians().cos();
    lamps.iter().find(lit).map_or(SKY, |lamp| lamp.1)
}

/// The mirror sphere, clipped at `level`.
fn mirror(lamps: &[Lamp], level: f32) -> SphereMeasurement {
    let (view, outline) = (view(), outline());
    let fit = given_sphere(&frame(SIZE, |_, _| [0.1; 3]), &view, &outline, 0.05).unwrap();
    let geometry = MirrorGeometry::new(&view, &fit.cone);
    // Nine points a pixel, clipped as light and not as mean.
    let shade = |x: f64, y: f64| {
        let mut sum = [0.0; 3];
        for (dx, dy) in (0..9).map(|i| ((i % 3 - 1) as f64 / 3.0, (i / 3 - 1) as f64 / 3.0)) {
            let seen = geometry.reflect([x + dx, y + dy]).map_or([0.05; 3], |r| radiance(&r.direction, lamps));
            (0..3).for_each(|c| sum[c] += seen[c] / 9.0);
        }
        sum
    };
    let picture: Frame = clipped(frame(SIZE, shade), level);
    SphereMeasurement::measure(&MeasurementRequest {
        role: SphereRole::Mirror,
        name: "m1",
        frame: &picture,
        view: &view,
        fit: &fit,
        radiometry: &Radiometry::default(),
        trust: Trust::default(),
        reflectance: ReflectanceUncertainty::default(),
    })
}

/// Illuminance of a disc of radius ρ facing the patch: π sin²ρ above the sky's radiance.
fn above_sky(lamp: &Lamp, channel: usize) -> f64 {
    std::f64::consts::PI * lamp.0[2].to_radians().sin().powi(2) * (lamp.1[channel] - SKY[channel])
}

/// The grey sphere in closed form, `factor` times as bright as its reflectance says.
fn matte(lamps: &[Lamp], factor: f64) -> Vec<ShadedPoint> {
    let (view, outline) = (view(), outline());
    let fit = given_sphere(&frame(SIZE, |_, _| [0.1; 3]), &view, &outline, 0.05).unwrap();
    let geometry = MirrorGeometry::new(&view, &fit.cone);
    let picture = frame(SIZE, |x, y| {
        let Some(seen) = geometry.reflect([x, y]) else { return [0.02; 3] };
        let normal = (seen.direction - view.ray([x, y])).normalize();
        [0, 1, 2].map(|c| {
            let lit = |lamp: &Lamp| above_sky(lamp, c) * direction_of_deg(lamp.0[0], lamp.0[1]).dot(&normal).max(0.0);
            let illuminance = std::f64::consts::PI * SKY[c] + lamps.iter().map(lit).sum::<f64>();
            factor * 0.18 * illuminance / std::f64::consts::PI
        })
    });
    super::super::shaded_points(&picture, &view, &fit, [0.18; 3])
}

const KEY: Lamp = ([-40.0, 30.0, 6.0], [90.0, 78.0, 60.0]);
const SECOND: Lamp = ([60.0, 15.0, 5.0], [70.0, 75.0, 90.0]);

/// Off by no more than the sum over the mirror's cells is.
const SUM_STOPS: f64 = 0.06;

fn check(lamps: &[Lamp], level: f32, factor: f64, known: bool) {
    let side = mirror(lamps, level);
    let points = matte(lamps, factor);
    let found = recover(&side, &points, known);
    assert_eq!(found.len(), lamps.len(), "{:?}", side.lights.all.len());
    for lamp in lamps {
        let direction = direction_of_deg(lamp.0[0], lamp.0[1]);
        let nearest = |r: &&RecoveredLight| side.lights.all[r.light].direction.dot(&direction) > 0.99;
        let light = found.iter().find(nearest).expect("the lamp");
        let truth = std::f64::consts::PI * lamp.0[2].to_radians().sin().powi(2) * luminance(lamp.1);
        let error = (light.illuminance.value / truth).log2();
        assert!(error.abs() < SUM_STOPS, "{error} {light:?} {truth}");
        assert!(error.abs() < 2.5 * light.stops_sd(), "{error} {}", light.stops_sd());
        // The clipped picture itself is short by more than two stops.
        let seen = side.lights.all[light.light].illuminance.value;
        assert!((truth / seen).log2() > 2.0, "{seen} {truth}");
    }
    let agreement = agreement(&side, &points, &found).unwrap();
    assert!(agreement.contrast_stops.value.abs() < 0.08, "{agreement:?}");
}

#[test]
fn one_clipped_key_is_recovered() {
    check(&[KEY], 8.0, 1.0, true);
}

#[test]
fn two_clipped_lights_are_told_apart() {
    check(&[KEY, SECOND], 8.0, 1.0, true);
}

#[test]
fn the_reflectance_need_not_be_known_where_a_side_is_in_shade() {
    // Half as bright as 0.18 would be; the sides that the key does not reach tell the factor.
    let side = mirror(&[KEY], 8.0);
    let points = matte(&[KEY], 0.5);
    let found = recover(&side, &points, false);
    let truth = std::f64::consts::PI * KEY.0[2].to_radians().sin().powi(2) * luminance(KEY.1);
    let error = (found[0].illuminance.value / truth).log2();
    assert!(error.abs() < 0.15, "{error}");
}

#[test]
fn nothing_is_recovered_where_nothing_is_clipped_and_agreement_is_measured() {
    let side = mirror(&[KEY], 1e4);
    let points = matte(&[KEY], 0.5);
    assert!(recover(&side, &points, true).is_empty());
    let found = agreement(&side, &points, &[]).unwrap();
    assert!((found.level_stops.value + 1.0).abs() < 0.05, "{found:?}");
    assert!(found.contrast_stops.value.abs() < 0.06 && found.red_green_stops.value.abs() < 0.03, "{found:?}");
    let softer: Vec<ShadedPoint> =
        points.iter().map(|p| ShadedPoint { illuminance_rgb: p.illuminance_rgb.map(|v| v.powf(0.8)), ..*p }).collect();
    assert!(agreement(&side, &softer, &[]).unwrap().contrast_stops.value < -0.2);
}
