//! Lights: every source brighter than its surroundings that matters for the illuminance at the sphere's place.

mod measure;
mod watershed;

use nalgebra::{Matrix3, Vector3};

use crate::base::parallel;
use crate::base::units::Estimate;
use crate::colour::cct_ohno2013::{CctDuv, cct_duv_from_working_rgb};
use crate::colour::luminance;
use crate::light::footprint::Footprint;
use crate::light::radiance::{PatchLight, Source, SphereImage, patch_light};
use measure::{Ground, Measured};
use watershed::{Basin, Basins, NONE, find_basins};

/// A light is at least this much brighter than its surroundings (0.7 stop; common practice, no source).
const MIN_CONTRAST: f64 = 1.6;

/// A source of this radius must stand out twice as much as a small one (common practice, no source).
const BROAD_DEG: f64 = 30.0;

/// Lights that give less than this share of what a plane facing them receives are left to the fill.
const MIN_SHARE: f64 = 0.02;

/// Nor do lights count that give less than this fraction of the illuminance on the brightest light's plane.
const MIN_FRACTION_OF_KEY_PLANE: f64 = 0.015;

/// At most this many basins are measured, most light first.
const MAX_CANDIDATES: usize = 32;

/// Two lights within this many stops of each other: no single key.
pub const CO_KEY_STOPS: f64 = 1.0 / 3.0;

/// One light.
#[derive(Debug, Clone)]
pub struct Light {
    /// Unit vector to the light, camera axes.
    pub direction: Vector3<f64>,
    /// Standard deviation of the direction, each way across it, from the picture alone, rad.
    pub picture_sd_rad: f64,
    /// The part of it that uneven surroundings cause, rad.
    pub pull_sd_rad: f64,
    /// Radius of the uniform disc of the same second moment, degrees, or why it is unresolved.
    pub angular_radius_deg: Result<Estimate, &'static str>,
    /// Radius of the disc of the core's luminance that gives the same flux, rad; a working size even where the
    /// second moment is unresolved.
    pub reach_rad: f64,
    /// Illuminance on a plane facing the light: luminance × sr.
    pub illuminance: Estimate,
    /// One sd of all flux from its place in the picture, background included.
    pub flux_sd: f64,
    /// `illuminance` per channel, working space.
    pub illuminance_rgb: [f64; 3],
    /// Share of what a plane facing the light receives.
    pub share: Estimate,
    /// Some of its pixels are at the recording's ceiling: illuminance and share are lower bounds.
    pub clipped: bool,
    /// Colour temperature of the light, where it has one.
    pub cct: Option<CctDuv>,
    /// Relative sd of a channel of `illuminance_rgb` on its own.
    pub channel_sd: f64,
    /// What the surroundings behind the light may add to `illuminance_rgb`, all channels at once (one sd).
    pub behind_rgb: [f64; 3],
    /// Where it is seen in the frame, px.
    pub point_px: Option<[f64; 2]>,
}

/// Lights are of one size where their radii are within half an octave of each other.
const ONE_SIZE: f64 = std::f64::consts::SQRT_2;

impl Light {
    /// Radius of what is seen of the light, rad.
    pub fn seen_radius_rad(&self) -> f64 {
        self.angular_radius_deg.map_or(self.reach_rad, |radius| radius.value.to_radians().max(self.reach_rad))
    }

    /// Difference of the two radii, rad, where they are not of one size; else 0.
    pub fn unlike_size_rad(&self, other: &Self) -> f64 {
        let (a, b) = (self.seen_radius_rad(), other.seen_radius_rad());
        if a.max(b) > ONE_SIZE * a.min(b) { (a - b).abs() } else { 0.0 }
    }
}

/// The lights of one sphere, most illuminance first.
#[derive(Debug, Clone, Default)]
pub struct Lights {
    /// Most illuminance first.
    pub all: Vec<Light>,
}

impl Lights {
    /// The light that gives most illuminance.
    pub fn key(&self) -> Option<&Light> {
        self.all.first()
    }

    /// The key and every light within 1/3 stop of it.
    pub fn co_keys(&self) -> &[Light] {
        let Some(key) = self.key() else { return &[] };
        let limit = key.illuminance.value * (-CO_KEY_STOPS).exp2();
        let count = self.all.iter().take_while(|l| l.illuminance.value >= limit).count();
        &self.all[..count]
    }

    /// Two or more lights are within 1/3 stop of the brightest.
    pub fn no_single_key(&self) -> bool {
        self.co_keys().len() > 1
    }

    /// A direction lies inside a light or within `margin_rad` of its edge.
    pub fn covers(&self, direction: &Vector3<f64>, margin_rad: f64) -> bool {
        self.all
            .iter()
            .any(|l| direction.dot(&l.direction) > (l.reach_rad + margin_rad).min(std::f64::consts::PI).cos())
    }
}

/// Finds the lights in a sphere's picture. `sources` is the same light completed over all directions; `photographed`
/// tells a sensor's picture from a render.
pub fn find_lights(image: &SphereImage, sources: &[Source], photographed: bool) -> Lights {
    let values = denoised(image);
    let floor = ambient(&values);
    let basins = find_basins(&values, image.width, floor * MIN_CONTRAST as f32);
    let ground = Ground { image, label: &basins.label };
    let cores = cores(&ground, &basins, image);
    let mut owner = vec![NONE; values.len()];
    for (index, core) in cores.iter().enumerate() {
        for cell in core {
            owner[*cell] = index as u32;
        }
    }
    let mut all: Vec<Light> = parallel::filter_map(cores.len(), |index| {
        let measured = ground.measure(&cores[index], &owner, index as u32).filter(stands_out)?;
        Some(describe(&measured, sources, image, photographed)).filter(|l| l.share.value >= MIN_SHARE)
    });
    all.sort_by(|a, b| b.illuminance.value.total_cmp(&a.illuminance.value));
    let plane = all.first().map_or(0.0, |key| key.illuminance.value / key.share.value.max(1e-6));
    all.retain(|l| l.illuminance.value >= MIN_FRACTION_OF_KEY_PLANE * plane);
    // Only of those that are kept: it takes a search through a table.
    parallel::each(&mut all, |_, light| light.cct = cct_duv_from_working_rgb(light.illuminance_rgb));
    Lights { all }
}

/// A small source need stand out only a little; a broad one more, or every bright part of a sky would be a light.
fn stands_out(m: &Measured) -> bool {
    let reach_deg = (1.0 - m.steradian / (2.0 * std::f64::consts::PI)).clamp(-1.0, 1.0).acos().to_degrees();
    m.core_luminance >= MIN_CONTRAST * (1.0 + reach_deg / BROAD_DEG) * m.background
}

/// Luminance with single-cell noise taken down by a 3×3 mean of the cells present; NaN off the sphere.
fn denoised(image: &SphereImage) -> Vec<f32> {
    parallel::map(image.samples.len(), |cell| {
        let Some(own) = &image.samples[cell] else { return f32::NAN };
        let (mut sum, mut weight) = (4.0 * own.luminance, 4.0);
        for other in watershed::neighbours(cell, image.width, image.samples.len()) {
            if let Some(sample) = &image.samples[other] {
                sum += sample.luminance;
                weight += 1.0;
            }
        }
        sum / weight
    })
}

/// Lower quartile of the luminance over the sphere's picture: the level no light sinks to.
fn ambient(values: &[f32]) -> f32 {
    let mut present: Vec<f32> = values.iter().copied().filter(|v| v.is_finite()).collect();
    if present.is_empty() {
        return f32::INFINITY;
    }
    let quarter = present.len() / 4;
    let (_, value, _) = present.select_nth_unstable_by(quarter, f32::total_cmp);
    value.max(0.0)
}

/// The cores of the basins that carry most light: cells above half of the top, without streaks.
fn cores(ground: &Ground<'_>, basins: &Basins, image: &SphereImage) -> Vec<Vec<usize>> {
    let mut flux = vec![0.0; basins.basins.len()];
    for (cell, label) in basins.label.iter().enumerate() {
        if let (true, Some(sample)) = (*label != NONE, &image.samples[cell]) {
            let level = 0.5 * basins.basins[*label as usize].peak;
            if f64::from(sample.luminance) > level {
                flux[*label as usize] += f64::from(sample.luminance) * sample.steradian;
            }
        }
    }
    let mut order: Vec<usize> = (0..flux.len()).collect();
    order.sort_by(|a, b| flux[*b].total_cmp(&flux[*a]).then(a.cmp(b)));
    order.truncate(MAX_CANDIDATES);
    parallel::map_each(&order, |h| core(ground, &basins.basins[*h]))
}

fn core(ground: &Ground<'_>, basin: &Basin) -> Vec<usize> {
    let half = ground.plateau(basin.peak_cell, 0.5 * basin.peak);
    // A single hot cell must not set the level for a whole window: the upper tenth decides.
    let mut values: Vec<f64> =
        half.iter().filter_map(|c| ground.image.samples[*c].as_ref()).map(|s| f64::from(s.luminance)).collect();
    values.sort_by(f64::total_cmp);
    let top = values.get(values.len() * 9 / 10).copied().unwrap_or(basin.peak).min(basin.peak);
    let clipped: Vec<usize> =
        half.iter().copied().filter(|c| ground.image.samples[*c].as_ref().is_some_and(|s| s.clipped)).collect();
    if clipped.len() > half.len() / 8 {
        return ground.body(&clipped);
    }
    ground.body(&ground.plateau(basin.peak_cell, 0.5 * top))
}

fn describe(m: &Measured, sources: &[Source], image: &SphereImage, photographed: bool) -> Light {
    let around = patch_light(sources, &m.direction);
    let value = luminance(m.illuminance_rgb);
    let footprint = footprint(m, value, image, photographed);
    let illuminance = Estimate::new(value, footprint.illuminance_sd());
    Light {
        direction: m.direction,
        picture_sd_rad: footprint.direction_sd_rad(),
        pull_sd_rad: footprint.pull_sd_rad(),
        angular_radius_deg: angular_radius(m, &footprint),
        reach_rad: footprint.reach_rad(),
        illuminance,
        flux_sd: footprint.flux_sd(),
        illuminance_rgb: m.illuminance_rgb,
        share: share(&illuminance, &around, &footprint),
        clipped: m.clipped,
        cct: None,
        channel_sd: footprint.channel_sd(),
        behind_rgb: footprint.behind_rgb(),
        point_px: None,
    }
}

fn footprint(m: &Measured, illuminance: f64, image: &SphereImage, photographed: bool) -> Footprint {
    Footprint {
        illuminance,
        steradian: m.steradian,
        zone_steradian: m.zone_steradian,
        background: m.background,
        background_sd: m.background_sd,
        background_rgb: m.background_rgb,
        concentration: m.concentration,
        core_cells: m.core_cells,
        unseen_fraction: m.unseen_fraction,
        cell_rad: (m.blur_spread * 12.0).sqrt(),
        px_per_cell: image.block_px as f64,
        noise_sd: image.noise_sd,
        clipped: m.clipped,
        photographed,
    }
}

fn share(illuminance: &Estimate, around: &PatchLight, footprint: &Footprint) -> Estimate {
    let total = around.luminance.max(illuminance.value).max(1e-30);
    let value = illuminance.value / total;
    Estimate::new(value, footprint.share_sd(value, around.filled, total))
}

/// The uniform disc with this spread: 1 − |mean direction| = (1 − cos ρ)/2.
fn angular_radius(m: &Measured, footprint: &Footprint) -> Result<Estimate, &'static str> {
    if m.spread < 1.5 * m.blur_spread {
        return Err("smaller than the picture resolves");
    }
    let cosine = (1.0 - 2.0 * m.spread).clamp(-1.0, 1.0);
    let radius_rad = cosine.acos();
    Ok(Estimate::new(radius_rad.to_degrees(), footprint.radius_sd_rad(radius_rad).to_degrees()))
}

/// Covariance of a unit direction (3×3, rad²) with the given isotropic sd across it.
pub fn isotropic_cov(direction: &Vector3<f64>, sd_rad: f64) -> Matrix3<f64> {
    (Matrix3::identity() - direction * direction.transpose()) * (sd_rad * sd_rad)
}
