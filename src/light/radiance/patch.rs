//! What a small matte patch at the sphere's place receives, and the largest and smallest of it.

use nalgebra::Vector3;

use super::map::Source;
use crate::base::parallel;
use crate::sphere::tangents;

/// Patch normals are searched within this angle of the line from the sphere's centre to the camera.
pub const PATCH_CAP_DEG: f64 = 75.0;

/// Illuminance on one patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatchLight {
    /// Luminance × sr.
    pub luminance: f64,
    /// Part that was filled in, not measured.
    pub filled: f64,
    /// Part that comes from clipped points.
    pub clipped: f64,
}

/// Illuminance on a patch with the given unit normal.
pub fn patch_light(sources: &[Source], normal: &Vector3<f64>) -> PatchLight {
    let mut sum = PatchLight { luminance: 0.0, filled: 0.0, clipped: 0.0 };
    for source in sources {
        let cosine = source.direction.dot(normal);
        if cosine > 0.0 {
            sum.luminance += source.luminance * cosine;
            sum.filled += source.filled * cosine;
            sum.clipped += source.clipped * cosine;
        }
    }
    sum
}

/// Illuminance per channel of the working space.
pub fn patch_rgb(sources: &[Source], normal: &Vector3<f64>) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for source in sources {
        let cosine = source.direction.dot(normal);
        if cosine > 0.0 {
            for (total, light) in sum.iter_mut().zip(source.light) {
                *total += light * cosine;
            }
        }
    }
    sum
}

/// Mean illuminance over the cap of normals, per channel.
pub fn cap_mean_rgb(sources: &[Source], towards_camera: &Vector3<f64>) -> [f64; 3] {
    let normals = cap_normals(towards_camera, 12);
    let mut sum = [0.0; 3];
    for (normal, weight) in &normals {
        for (total, value) in sum.iter_mut().zip(patch_rgb(sources, normal)) {
            *total += value * weight;
        }
    }
    let weight: f64 = normals.iter().map(|(_, w)| w).sum();
    sum.map(|s| s / weight)
}

/// What a patch receives on the mean over the cap of normals from one unit of light, by the cosine of the angle between the light and the line
/// to the camera.
#[derive(Debug)]
pub(crate) struct CapWeight {
    by_cosine: Vec<f64>,
}

impl CapWeight {
    const STEPS: usize = 200;

    pub(crate) fn new() -> Self {
        let unit = |direction| Source { direction, light: [1.0; 3], luminance: 1.0, filled: 0.0, clipped: 0.0 };
        let of = |step: usize| {
            let cosine = 2.0 * step as f64 / Self::STEPS as f64 - 1.0;
            let light = Vector3::new((1.0 - cosine * cosine).max(0.0).sqrt(), 0.0, cosine);
            cap_mean_rgb(&[unit(light)], &Vector3::z())[0]
        };
        Self { by_cosine: (0..=Self::STEPS).map(of).collect() }
    }

    /// The weight of a light under this cosine.
    pub(crate) fn at(&self, cosine: f64) -> f64 {
        let place = f64::midpoint(cosine.clamp(-1.0, 1.0), 1.0) * Self::STEPS as f64;
        let before = (place as usize).min(Self::STEPS - 1);
        let part = place - before as f64;
        self.by_cosine[before] * (1.0 - part) + self.by_cosine[before + 1] * part
    }
}

/// Largest part that clipped points give of what any patch of the cap receives.
pub fn largest_clipped_share(sources: &[Source], towards_camera: &Vector3<f64>) -> f64 {
    let share = |normal: &Vector3<f64>| {
        let patch = patch_light(sources, normal);
        if patch.luminance > 0.0 { patch.clipped / patch.luminance } else { 0.0 }
    };
    cap_normals(towards_camera, 12).iter().map(|(normal, _)| share(normal)).fold(0.0, f64::max)
}

/// The patches that receive most and least.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extremes {
    /// Normal of the brightest patch.
    pub bright_normal: Vector3<f64>,
    /// What it receives.
    pub bright: PatchLight,
    /// Normal of the darkest patch.
    pub dark_normal: Vector3<f64>,
    /// What it receives.
    pub dark: PatchLight,
}

impl Extremes {
    /// Largest over smallest; `None` when the darkest patch receives nothing.
    pub fn ratio(&self) -> Option<f64> {
        (self.dark.luminance > 0.0).then(|| self.bright.luminance / self.dark.luminance)
    }
}

/// Rings of normals over the cap, with their share of its area; the last ring lies on the cap's edge, where the
/// darkest patch often is.
fn cap_normals(towards_camera: &Vector3<f64>, rings: usize) -> Vec<(Vector3<f64>, f64)> {
    let [right, up] = tangents(&-towards_camera);
    let cap_rad = PATCH_CAP_DEG.to_radians();
    let step = cap_rad / rings as f64;
    let mut normals = vec![(*towards_camera, 1.0 - (step * 0.5).cos())];
    for ring in 1..=rings {
        let angle = step * ring as f64;
        let band = (angle - step * 0.5).cos() - (angle + step * 0.5).min(cap_rad).cos();
        let count = (angle.sin() / step * 2.0 * std::f64::consts::PI).ceil().max(6.0) as usize;
        for i in 0..count {
            let (sin_t, cos_t) = (2.0 * std::f64::consts::PI * i as f64 / count as f64).sin_cos();
            let normal = towards_camera * angle.cos() + (right * cos_t + up * sin_t) * angle.sin();
            normals.push((normal.normalize(), band / count as f64));
        }
    }
    normals
}

/// The largest and smallest illuminance over the cap of normals: a scan of rings 3° apart, then a descent on the
/// cap. `None` without sources.
pub fn extremes(sources: &[Source], towards_camera: &Vector3<f64>) -> Option<Extremes> {
    if sources.is_empty() {
        return None;
    }
    let normals = cap_normals(towards_camera, 25);
    let lanes = Lanes::of(sources);
    let scan = parallel::map_each(&normals, |(n, _)| (*n, lanes.luminance_on(n)));
    let brightest = scan.iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let darkest = scan.iter().min_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let bright_normal = polish(sources, towards_camera, brightest, 1.0);
    let dark_normal = polish(sources, towards_camera, darkest, -1.0);
    Some(Extremes {
        bright_normal,
        bright: patch_light(sources, &bright_normal),
        dark_normal,
        dark: patch_light(sources, &dark_normal),
    })
}

/// Sources side by side, so that a patch is summed up in several lanes at once.
struct Lanes {
    /// Direction x, y, z and luminance.
    blocks: Vec<[[f64; LANES]; 4]>,
}

const LANES: usize = 8;

impl Lanes {
    fn of(sources: &[Source]) -> Self {
        let block = |some: &[Source]| {
            let mut block = [[0.0; LANES]; 4];
            for (lane, source) in some.iter().enumerate() {
                let Source { direction, luminance, .. } = source;
                for (row, value) in block.iter_mut().zip([direction.x, direction.y, direction.z, *luminance]) {
                    row[lane] = value;
                }
            }
            block
        };
        Self { blocks: sources.chunks(LANES).map(block).collect() }
    }

    /// Luminance × sr on a patch with that normal.
    fn luminance_on(&self, normal: &Vector3<f64>) -> f64 {
        let mut sums = [0.0; LANES];
        for [x, y, z, luminance] in &self.blocks {
            for lane in 0..LANES {
                let cosine = x[lane] * normal.x + y[lane] * normal.y + z[lane] * normal.z;
                sums[lane] += luminance[lane] * cosine.max(0.0);
            }
        }
        sums.iter().sum()
    }
}

/// Compass search from 1.5° down to 0.02°, held inside the cap.
fn polish(sources: &[Source], towards_camera: &Vector3<f64>, start: Vector3<f64>, sign: f64) -> Vector3<f64> {
    let limit = PATCH_CAP_DEG.to_radians().cos();
    let mut best = (start, sign * patch_light(sources, &start).luminance);
    let mut step_rad = 1.5_f64.to_radians();
    while step_rad > 3e-4 {
        let [right, up] = tangents(&best.0);
        let moved = [right, -right, up, -up].into_iter().find_map(|tangent| {
            let normal = (best.0 + tangent * step_rad).normalize();
            let value = sign * patch_light(sources, &normal).luminance;
            (normal.dot(towards_camera) >= limit - 1e-9 && value > best.1).then_some((normal, value))
        });
        match moved {
            Some(better) => best = better,
            None => step_rad *= 0.5,
        }
    }
    best.0
}
