//! Surface blur of the mirror sphere: which lights it may hide, and how far it may move sums of light.
//!
//! Sums are not corrected. The CG's light is blurred as the photographed sphere blurs, and how far a number moves is
//! its uncertainty; so blur alone cannot cause a mismatch.

use nalgebra::Vector3;

use crate::base::parallel;
use crate::base::units::Estimate;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::surface_blur::SurfaceBlur;
use crate::image::Frame;
use crate::light::lights::Light;
use crate::light::radiance::{CELLS, DirectionGrid, DirectionMap, extremes};
use crate::sphere::angle_between_rad;

/// Second moment of a uniform disc by its radius squared is ¼ each way: blur of variance σ² adds 4 σ² to the square.
const RADIUS_OF_VARIANCE: f64 = 4.0;

/// Half-light radius squared of a normal spread of variance 1 is 2 ln 2.
const VARIANCE_OF_HALF_LIGHT: f64 = 1.0 / (2.0 * std::f64::consts::LN_2);

/// The tail of the spread reaches past the cells over which a light is summed; its second moment there is known to this
/// fraction.
const MOMENT_SD: f64 = 0.5;

/// A light that keeps no more than this fraction of its contrast may not be seen.
const LOST_CONTRAST: f64 = 0.25;

/// What surface blur does to a comparison.
#[derive(Debug, Clone)]
pub struct SurfaceBlurUncertainty {
    /// The blur.
    pub surface_blur: SurfaceBlur,
    /// The CG with its map, sources and extremes blurred in the same way; its lights stay as they are.
    pub blurred_cg: SphereMeasurement,
}

impl SurfaceBlurUncertainty {
    /// Estimates the blur and widens the photographed lights for it. `None`, and nothing touched, on a clear sphere.
    /// `frames` are the photographed one and the CG's, `sun` where the sun should stand.
    pub(crate) fn find(
        mirror: &mut SphereMeasurement,
        cg: &SphereMeasurement,
        frames: [&Frame; 2],
        sun: Option<Vector3<f64>>,
    ) -> Option<Self> {
        let surface_blur = SurfaceBlur::estimate(mirror, cg, frames, sun)?;
        let geometry = mirror.geometry.clone();
        for light in &mut mirror.lights.all {
            let seen = light.point_px.and_then(|p| geometry.reflect(p));
            widen(light, &surface_blur, seen.map_or(1.0, |s| s.sin_incidence));
        }
        Some(Self { blurred_cg: blurred(cg, &surface_blur), surface_blur })
    }

    /// The report's line.
    pub(crate) fn words(&self, mirror: &str) -> String {
        let degrees = self.surface_blur.half_light_rad.value.to_degrees();
        let sd = self.surface_blur.half_light_rad.sd.to_degrees();
        let (told_by, what) = if self.surface_blur.witnesses == 0 {
            ("the whole picture".to_owned(), "a worn or brushed sphere, or one out of focus")
        } else if self.surface_blur.by_sun_alone {
            ("the sun".to_owned(), "a worn or brushed sphere, or thin cloud before the sun")
        } else {
            (format!("{} lights", self.surface_blur.witnesses), "a worn or brushed sphere")
        };
        format!(
            "mirror {mirror}: the mirror sphere blurs by {degrees:.1} +/- {sd:.1} deg (half of a point's light \
             falls within that angle; measured from {told_by}): {what}. Sizes of its lights are upper bounds where \
             they are given, and the possible effect of the blur is included in every uncertainty"
        )
    }

    /// The blur leaves so little of a light's contrast that the photographed sphere need not show it.
    pub(crate) fn may_hide(&self, light: &Light) -> bool {
        self.surface_blur.energy_within(light.reach_rad) < LOST_CONTRAST
    }
}

/// Takes the blur out of one light's size, and adds the uncertainty that it brings to size, direction and strength.
fn widen(light: &mut Light, surface_blur: &SurfaceBlur, sin_incidence: f64) {
    let tail = 1.0 - surface_blur.energy_within(light.reach_rad);
    let lost = tail * light.illuminance.value;
    light.illuminance = light.illuminance.widened(lost);
    light.share = light.share.widened(tail * light.share.value);
    // A rough surface sends its peak beside the mirrored direction, towards grazing (Torrance & Sparrow 1967): by the
    // square of the slopes' width times the tangent of the angle of incidence.
    let cosine = (1.0 - sin_incidence * sin_incidence).max(1e-4).sqrt();
    let off_specular = 0.5 * surface_blur.half_light_rad.value.powi(2) * sin_incidence / cosine;
    light.picture_sd_rad = light.picture_sd_rad.hypot(off_specular.min(surface_blur.half_light_rad.value));
    light.angular_radius_deg = light.angular_radius_deg.and_then(|size| deconvolved(size, surface_blur));
}

/// In quadrature: radius² − 4 σ².
fn deconvolved(size_deg: Estimate, surface_blur: &SurfaceBlur) -> Result<Estimate, &'static str> {
    let blur_deg =
        Estimate::new(surface_blur.half_light_rad.value.to_degrees(), surface_blur.half_light_rad.sd.to_degrees());
    let part = RADIUS_OF_VARIANCE * VARIANCE_OF_HALF_LIGHT;
    let taken = part * blur_deg.value.powi(2);
    let taken_sd = (2.0 * part * blur_deg.value * blur_deg.sd).hypot(MOMENT_SD * taken);
    let squared = size_deg.value.powi(2) - taken;
    let squared_sd = taken_sd.hypot(2.0 * size_deg.value * size_deg.sd);
    if squared <= squared_sd {
        return Err("smaller than the mirror sphere's blur resolves");
    }
    let radius = squared.sqrt();
    Ok(Estimate::new(radius, squared_sd / (2.0 * radius)))
}

/// The side's light as a blurring sphere would show it.
fn blurred(side: &SphereMeasurement, surface_blur: &SurfaceBlur) -> SphereMeasurement {
    let map = blurred_map(&side.image.map, surface_blur);
    let sources = map.completed();
    let extremes = extremes(&sources, &side.geometry.towards_camera());
    let mut side = SphereMeasurement { sources, extremes, ..side.clone() };
    side.image.map = map;
    side
}

/// Every cell's light handed to the cells round it; what was not seen stays unseen and takes no part.
fn blurred_map(map: &DirectionMap, surface_blur: &SurfaceBlur) -> DirectionMap {
    let grid = DirectionGrid::shared();
    let density = |from: &Vector3<f64>, to: &Vector3<f64>| surface_blur.density(angle_between_rad(from, to));
    let totals: Vec<f64> = parallel::map(CELLS, |from| {
        let to = grid.directions.iter().zip(&grid.steradian);
        to.map(|(direction, steradian)| density(&grid.directions[from], direction) * steradian).sum()
    });
    let radiance = parallel::map(CELLS, |to| {
        let (mut light, mut seen) = ([0.0; 3], 0.0);
        for (from, cell) in map.cells().iter().enumerate().filter(|(_, cell)| cell.steradian > 0.0) {
            let part = density(&grid.directions[from], &grid.directions[to]) / totals[from];
            seen += part * cell.steradian;
            for (sum, value) in light.iter_mut().zip(cell.light) {
                *sum += value * part;
            }
        }
        light.map(|l| if seen > 0.0 { l / seen } else { 0.0 })
    });
    map.with_radiance(&radiance)
}
