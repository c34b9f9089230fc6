//! Where spheres stand, in millimetres of the camera's axes.

use nalgebra::Vector3;

use super::triangulate::Sight;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::uncertainty::{optics, outline};
use crate::light::lights::Light;
use crate::sheet::ShotSheet;
use crate::sphere::tangents;

/// A noted place is good to this, each way, mm (common practice, no source: a tape held to a sphere's middle).
const NOTED_SD_MM: f64 = 20.0;

/// A sphere with its place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    /// Its centre, mm.
    pub(super) centre_mm: Vector3<f64>,
    /// Standard deviation across the line of sight and along it, mm.
    pub(super) sd_mm: [f64; 2],
    /// Its radius, mm.
    pub(super) radius_mm: f64,
}

impl Place {
    /// The place by the picture: the cone that a sphere of this radius fills. `None` without a field of view.
    pub(super) fn seen(side: &SphereMeasurement, radius_mm: f64) -> Option<Self> {
        let half_angle = side.fit.cone.half_angle_rad;
        if side.view.is_assumed() || !(half_angle > 1e-6 && half_angle < 1.5) {
            return None;
        }
        let distance_mm = radius_mm / half_angle.sin();
        let variance = |i: usize| side.fit.cone_cov[(i, i)].max(0.0);
        let across = distance_mm * (0.5 * (variance(0) + variance(1))).sqrt();
        let along = distance_mm * variance(2).sqrt() / half_angle.tan();
        Some(Self { centre_mm: side.fit.cone.axis * distance_mm, sd_mm: [across, along], radius_mm })
    }

    /// The standard deviation along a direction, mm.
    pub(super) fn sd_along_mm(&self, direction: &Vector3<f64>) -> f64 {
        let sight = self.centre_mm.try_normalize(1e-9).unwrap_or_else(|| -Vector3::z());
        let along = sight.dot(direction).clamp(-1.0, 1.0);
        (self.sd_mm[1] * along).hypot(self.sd_mm[0] * (1.0 - along * along).sqrt())
    }

    /// The standard deviation of each coordinate, mm.
    pub(super) fn axes_sd_mm(&self) -> [f64; 3] {
        [Vector3::x(), Vector3::y(), Vector3::z()].map(|axis| self.sd_along_mm(&axis))
    }
}

/// How the feet of two mirrors' sight lines lie to each other.
#[derive(Debug, Clone)]
pub(super) struct Baseline {
    /// From the first centre to the second, mm.
    pub(super) between_mm: Vector3<f64>,
    /// Of every coordinate, mm.
    pub(super) sd_mm: f64,
    /// `position_mm` or `picture`.
    pub(super) from: &'static str,
}

/// From one mirror to another: as noted on set, else by the picture.
///
/// # Errors
/// With what is missing, in words.
pub(super) fn baseline(
    sheet: &ShotSheet,
    [a, b]: [&SphereMeasurement; 2],
    seen: [Option<&Place>; 2],
) -> Result<Baseline, String> {
    let by_picture = seen[0].zip(seen[1]).map(|(a, b)| {
        let between_mm = b.centre_mm - a.centre_mm;
        let along = between_mm.try_normalize(1e-9).unwrap_or_else(Vector3::x);
        let [u, v] = tangents(&along);
        let sd = [along, u, v].iter().map(|axis| a.sd_along_mm(axis).hypot(b.sd_along_mm(axis))).fold(0.0, f64::max);
        Baseline { between_mm, sd_mm: sd, from: "picture" }
    });
    let noted = |side: &SphereMeasurement| sheet.mirror(&side.name)?.position_mm;
    let Some((first, second)) = noted(a).zip(noted(b)) else {
        return by_picture
            .ok_or_else(|| "give both mirrors position_mm, or diameter_mm with focal length and sensor".to_owned());
    };
    let between_mm = Vector3::from(second) - Vector3::from(first);
    let noted = Baseline { between_mm, sd_mm: NOTED_SD_MM * 2.0_f64.sqrt(), from: "position_mm" };
    // Along the lens people note how far away a thing is; the axis of the camera points the other way.
    let away = Baseline { between_mm: between_mm.component_mul(&Vector3::new(1.0, 1.0, -1.0)), ..noted.clone() };
    let Some(by_picture) = by_picture else {
        return by_bearing([noted, away], [a, b]);
    };
    let off_mm = |candidate: &Baseline| (candidate.between_mm - by_picture.between_mm).norm();
    let best = if off_mm(&away) < off_mm(&noted) { away } else { noted };
    let allowed_mm = 3.0 * best.sd_mm.hypot(by_picture.sd_mm) + 0.02 * by_picture.between_mm.norm();
    if off_mm(&best) > allowed_mm {
        return Err(format!(
            "position_mm puts {} and {} {:.0} mm apart, the picture {:.0} mm: check the places, diameters and lens",
            crate::printable_text(&a.name),
            crate::printable_text(&b.name),
            between_mm.norm(),
            by_picture.between_mm.norm()
        ));
    }
    Ok(best)
}

/// Which way along the lens the notes count, told by where both spheres are seen, without their size.
fn by_bearing(ways: [Baseline; 2], sides: [&SphereMeasurement; 2]) -> Result<Baseline, String> {
    let [one, other] = ways.each_ref().map(|way| unlikeness(way, sides));
    let alike = (ways[0].between_mm - ways[1].between_mm).norm() < ways[0].sd_mm;
    let [first, second] = ways;
    match (one, other) {
        (Some(_), Some(_)) if alike => Ok(first),
        (Some(one), other) if other.is_none_or(|other| other > one + WAY_MARGIN) => Ok(first),
        (one, Some(other)) if one.is_none_or(|one| one > other + WAY_MARGIN) => Ok(second),
        _ => Err("the picture does not show whether position_mm counts towards the camera or away from it: add \
                  diameter_mm, focal length and sensor"
            .to_owned()),
    }
}

/// One way along the lens is taken where the other is less likely by this much (as a sum of squared deviations).
const WAY_MARGIN: f64 = 6.0;

/// How little a displacement fits two spheres seen in their directions, as a sum of squared deviations; `None` where
/// one would stand behind the camera.
fn unlikeness(way: &Baseline, sides: [&SphereMeasurement; 2]) -> Option<f64> {
    if sides.iter().any(|side| side.view.is_assumed()) {
        return None;
    }
    let [a, b] = sides.map(|side| side.fit.cone.axis);
    // b D_b − a D_a = the displacement, in the least-squares sense.
    let (cos, between) = (a.dot(&b), way.between_mm);
    let denominator = 1.0 - cos * cos;
    if denominator < 1e-6 {
        return None;
    }
    let (on_a, on_b) = (-a.dot(&between), b.dot(&between));
    let distance_a = (on_a + cos * on_b) / denominator;
    let distance_b = (on_b + cos * on_a) / denominator;
    if distance_a <= 0.0 || distance_b <= 0.0 {
        return None;
    }
    let missed_mm = (b * distance_b - a * distance_a - between).norm();
    let radius = |side: &SphereMeasurement, distance: f64| distance * side.fit.cone.half_angle_rad.sin();
    let larger = (radius(sides[0], distance_a) / radius(sides[1], distance_b)).ln();
    Some((missed_mm / way.sd_mm).powi(2) + (larger / SIZES_SD).powi(2))
}

/// Mirror spheres of one shot are of about one size, natural logarithm (common practice, no source).
const SIZES_SD: f64 = 0.3;

/// A light's sight line. A mirror shows a near light from where on its surface it is reflected, not from its centre.
pub(super) fn sight(side: &SphereMeasurement, light: &Light, centre_mm: Vector3<f64>, radius_mm: f64) -> Sight {
    let towards_camera = -side.fit.cone.axis;
    let normal = (light.direction + towards_camera).try_normalize(1e-9).unwrap_or(towards_camera);
    let cov = outline::direction_cov(side, light) + optics::direction_cov(side, light);
    Sight {
        foot_mm: centre_mm + normal * radius_mm,
        direction: light.direction,
        sd_rad: (cov.trace() / 2.0).max(0.0).sqrt(),
    }
}
