//! Points of a grey sphere's picture with their normals, and how they agree with a mirror's light.

use nalgebra::Vector3;

use super::point::ShadedPoint;
use super::recover::RecoveredLight;
use crate::base::parallel;
use crate::base::statistics::{median, robust_sd};
use crate::base::units::{Estimate, Stops};
use crate::colour::luminance;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::image::Frame;
use crate::light::radiance::{Source, patch_rgb};
use crate::optics::camera::View;
use crate::sphere::{MirrorGeometry, SphereFit};

/// Points across the sphere's diameter.
const ACROSS: usize = 48;

/// Points beyond this fraction of the radius are left out: paint gains gloss there and the rim mixes.
const RIM: f64 = 0.92;

/// Points this near to the brightest and darkest place count for the contrast.
const AROUND_DEG: f64 = 12.0;

/// Points needed for an answer.
const LEAST_POINTS: usize = 100;

/// The paint's unevenness is not independent from point to point: so many points count as one (common practice, no
/// source).
const POINTS_PER_SAMPLE: f64 = 25.0;

/// The known, unclipped points of a matte sphere of the given reflectance (in the frame's own colour space).
pub fn shaded_points(frame: &Frame, view: &View, fit: &SphereFit, reflectance: [f64; 3]) -> Vec<ShadedPoint> {
    let geometry = MirrorGeometry::new(view, &fit.cone);
    let radius = fit.outline.semi_a;
    let step = (2.0 * radius / ACROSS as f64).max(1.0);
    let side = (step as i64).clamp(1, 9);
    let count = (2.0 * radius / step).ceil().max(1.0) as usize;
    let at = |i: usize| {
        let x = fit.outline.centre_x - radius + ((i % count) as f64 + 0.5) * step;
        let y = fit.outline.centre_y - radius + ((i / count) as f64 + 0.5) * step;
        if fit.outline.normalised_radius([x, y]) > RIM {
            return None;
        }
        let seen = geometry.reflect([x, y])?;
        // The normal halves the angle between the mirrored direction and the way back to the camera.
        let normal = (seen.direction - view.ray([x, y])).try_normalize(1e-12)?;
        let mean = mean(frame, [x, y], side)?;
        let radiance = [0, 1, 2].map(|c| std::f64::consts::PI * mean[c] / reflectance[c]);
        Some(ShadedPoint { normal, illuminance_rgb: frame.space.to_working(radiance) })
    };
    parallel::filter_map(count * count, at)
}

/// Mean of a small square; `None` where something is unknown or clipped.
fn mean(frame: &Frame, centre: [f64; 2], side: i64) -> Option<[f64; 3]> {
    let clip = frame.clip_level.unwrap_or([f32::INFINITY; 3]);
    let corner = centre.map(|v| (v - 0.5 * side as f64).round() as i64);
    let mut sum = [0.0; 3];
    for y in corner[1]..corner[1] + side {
        for x in corner[0]..corner[0] + side {
            let rgb = frame.pixel(x, y)?;
            for c in 0..3 {
                if rgb[c] >= clip[c] {
                    return None;
                }
                sum[c] += f64::from(rgb[c]);
            }
        }
    }
    Some(sum.map(|s| s / (side * side) as f64))
}

/// How a grey sphere agrees with a mirror's light; photographed minus predicted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agreement {
    /// Light at the brightest over light at the darkest place of the mirror.
    pub contrast_stops: Estimate,
    /// Median of the luminance.
    pub level_stops: Estimate,
    /// Median of red over green.
    pub red_green_stops: Estimate,
    /// Median of blue over green.
    pub blue_green_stops: Estimate,
}

/// Compares points with what the mirror's light, recovered lights added, would make of them. `None` where too little
/// is comparable.
pub fn agreement(
    mirror: &SphereMeasurement,
    points: &[ShadedPoint],
    recovered: &[RecoveredLight],
) -> Option<Agreement> {
    let differences: Vec<Difference> =
        parallel::filter_map(points.len(), |i| Difference::of(&points[i], &mirror.sources, recovered, mirror));
    if differences.len() < LEAST_POINTS {
        return None;
    }
    Some(Agreement {
        contrast_stops: contrast(mirror, &differences)?,
        level_stops: middle(differences.iter().map(|d| d.luminance))?,
        red_green_stops: middle(differences.iter().map(|d| d.red_green))?,
        blue_green_stops: middle(differences.iter().map(|d| d.blue_green))?,
    })
}

/// How unevenly points depart from the prediction, as a robust standard deviation about their median, stops.
pub(super) fn scatter_stops(
    mirror: &SphereMeasurement,
    points: &[ShadedPoint],
    recovered: &[RecoveredLight],
) -> Option<f64> {
    let of = |i: usize| Difference::of(&points[i], &mirror.sources, recovered, mirror).map(|d| d.luminance);
    let departures = parallel::filter_map(points.len(), of);
    if departures.len() < LEAST_POINTS {
        return None;
    }
    let middle = median(departures.iter().copied())?;
    robust_sd(departures, middle)
}

/// One point's departure, stops.
struct Difference {
    normal: Vector3<f64>,
    luminance: f64,
    red_green: f64,
    blue_green: f64,
}

impl Difference {
    fn of(
        point: &ShadedPoint,
        sources: &[Source],
        recovered: &[RecoveredLight],
        mirror: &SphereMeasurement,
    ) -> Option<Self> {
        let mut predicted = patch_rgb(sources, &point.normal);
        for light in recovered {
            let cosine = mirror.lights.all[light.light].direction.dot(&point.normal).max(0.0);
            for c in 0..3 {
                predicted[c] += light.added_rgb[c] * cosine;
            }
        }
        let stops = |a: f64, b: f64| Stops::from_ratio(a, b).map(|s| s.0);
        let seen = point.illuminance_rgb;
        let channel = [stops(seen[0], predicted[0])?, stops(seen[1], predicted[1])?, stops(seen[2], predicted[2])?];
        Some(Self {
            normal: point.normal,
            luminance: stops(luminance(seen), luminance(predicted))?,
            red_green: channel[0] - channel[1],
            blue_green: channel[2] - channel[1],
        })
    }
}

/// Difference at the brightest place minus that at the darkest.
fn contrast(mirror: &SphereMeasurement, differences: &[Difference]) -> Option<Estimate> {
    let extremes = mirror.extremes.as_ref()?;
    let near = |normal: &Vector3<f64>| {
        // The darkest place is often beyond what is looked at: the nearest tenth stands for it.
        let mut angles: Vec<(f64, f64)> = differences.iter().map(|d| (d.normal.dot(normal), d.luminance)).collect();
        angles.sort_by(|a, b| b.0.total_cmp(&a.0));
        let within = angles.iter().take_while(|a| a.0 > AROUND_DEG.to_radians().cos()).count();
        middle(angles.iter().take(within.max(differences.len() / 10)).map(|a| a.1))
    };
    Some(near(&extremes.bright_normal)?.minus(near(&extremes.dark_normal)?))
}

/// Median and its standard deviation.
fn middle(values: impl Iterator<Item = f64>) -> Option<Estimate> {
    let values: Vec<f64> = values.collect();
    let median = median(values.iter().copied())?;
    let samples = (values.len() as f64 / POINTS_PER_SAMPLE).max(1.0);
    Some(Estimate::new(median, 1.253 * robust_sd(values, median)? / samples.sqrt()))
}
