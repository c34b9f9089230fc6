//! One side of a comparison: everything that one frame's sphere says, with the uncertainty of where it says it.

use nalgebra::Vector3;

use crate::base::units::Estimate;
use crate::image::Frame;
use crate::light::lights::{Light, Lights, find_lights};
use crate::light::radiance::{Extremes, Radiometry, Source, SphereImage, extremes, largest_clipped_share};
use crate::optics::camera::View;
use crate::sphere::{FoundBy, MirrorGeometry, SphereFit, SphereRole, cone_of_outline};

/// A lens in use blurs the rim over about this many px (1.6 px sd, of which 1.5 sd; common practice, no source).
const RIM_BLUR_PX: f64 = 2.5;

/// A light is spread by its blur over about this much beside its own size, px.
const SPREAD_PX: f64 = 2.5;

/// How far a frame's numbers can be trusted as light, beyond noise.
#[allow(clippy::struct_excessive_bools, reason = "each is a doubt of its own")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Trust {
    /// A camera file with an unknown tone curve (an 8-bit picture developed in the camera).
    pub tone_curve: bool,
    /// A camera file whose curve was recovered from a bracket.
    pub recovered_curve: bool,
    /// A CG picture with a view transform baked in: exposure and colour mean nothing.
    pub view_transform: bool,
    /// The camera balanced its white by itself.
    pub auto_white_balance: bool,
}

impl Trust {
    /// The same after a bracket told the tone curve.
    #[must_use]
    pub fn after(self, recovered_curve: bool) -> Self {
        Self { tone_curve: self.tone_curve && !recovered_curve, recovered_curve, ..self }
    }
}

/// Uncertainty of the sphere's reflectance that does not cancel between the sides.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ReflectanceUncertainty {
    /// All channels together, stops.
    pub common_sd_stops: f64,
    /// Between channels, stops.
    pub channel_sd_stops: f64,
}

/// One side.
#[derive(Debug, Clone)]
pub struct SphereMeasurement {
    /// Photographed or rendered.
    pub role: SphereRole,
    /// Name of the mirror entry.
    pub name: String,
    /// The fitted sphere.
    pub fit: SphereFit,
    /// The view it was fitted in.
    pub view: View,
    /// Its mirror geometry.
    pub geometry: MirrorGeometry,
    /// Its pixels as radiance.
    pub image: SphereImage,
    /// Its light completed over all directions.
    pub sources: Vec<Source>,
    /// Its lights.
    pub lights: Lights,
    /// Its brightest and darkest patch.
    pub extremes: Option<Extremes>,
    /// Trust in its numbers.
    pub trust: Trust,
    /// Uncertainty of its reflectance.
    pub reflectance: ReflectanceUncertainty,
    /// Fraction of the sphere that the sheet asks to ignore or a seam spoils; taken out of the frame before.
    pub ignored_fraction: f64,
}

/// What a side is made from.
#[derive(Debug, Clone)]
pub struct MeasurementRequest<'a> {
    /// Photographed or rendered.
    pub role: SphereRole,
    /// Name of the mirror entry.
    pub name: &'a str,
    /// The frame.
    pub frame: &'a Frame,
    /// The view.
    pub view: &'a View,
    /// The fitted sphere.
    pub fit: &'a SphereFit,
    /// How pixels become radiance.
    pub radiometry: &'a Radiometry,
    /// Trust in the numbers.
    pub trust: Trust,
    /// Uncertainty of the reflectance.
    pub reflectance: ReflectanceUncertainty,
}

impl SphereMeasurement {
    /// Measures a side.
    pub fn measure(request: &MeasurementRequest<'_>) -> Self {
        let geometry = MirrorGeometry::new(request.view, &request.fit.cone);
        let image = SphereImage::gather(request.frame, &geometry, &request.fit.outline, request.radiometry);
        let sources = image.map.completed();
        let mut lights = find_lights(&image, &sources, request.role == SphereRole::Mirror);
        for light in &mut lights.all {
            light.point_px = geometry.locate(&light.direction);
        }
        let extremes = extremes(&sources, &geometry.towards_camera());
        let mut side = Self {
            role: request.role,
            name: request.name.to_owned(),
            fit: request.fit.clone(),
            view: request.view.clone(),
            geometry,
            image,
            sources,
            lights,
            extremes,
            trust: request.trust,
            reflectance: request.reflectance,
            ignored_fraction: 0.0,
        };
        widen_lights_on_rim(&mut side);
        side
    }

    /// Records that this fraction of the sphere was taken out on purpose, so that it does not count as missing.
    #[must_use]
    pub fn with_ignored(mut self, fraction: f64) -> Self {
        self.ignored_fraction = fraction;
        // Below a thousandth it is the rim, where the two fractions are counted a little differently.
        let rest = self.image.invalid_fraction - fraction;
        self.image.invalid_fraction = if fraction == 0.0 || rest > 1e-3 { rest } else { 0.0 };
        self
    }

    /// Direction in which the frame point `point_px` would be seen if the horizontal field of view were another.
    /// The outline stays; the cone behind it follows.
    pub fn direction_under_fov(&self, point_px: [f64; 2], horizontal_fov_deg: f64) -> Option<Vector3<f64>> {
        let view = self.view.with_horizontal_fov(horizontal_fov_deg);
        let cone = cone_of_outline(&view, &self.fit.outline)?;
        Some(MirrorGeometry::new(&view, &cone).reflect(point_px)?.direction)
    }

    /// Whether a direction is seen far enough inside the rim that lens blur does not mix it with the background.
    pub fn is_inside_rim(&self, direction: &Vector3<f64>) -> bool {
        self.inside_blur_px(self.radii_from_centre(direction)) >= 0.0
    }

    /// Whether part of a light of this reach may be seen inside the rim and another part mixed with the background.
    pub fn straddles_rim(&self, direction: &Vector3<f64>, reach_rad: f64) -> bool {
        let from_centre = self.radii_from_centre(direction);
        let px_per_rad = 0.5 * self.fit.outline.mean_radius() * (1.0 - from_centre * from_centre).sqrt();
        self.inside_blur_px(from_centre).abs() < reach_rad * px_per_rad + SPREAD_PX
    }

    /// Where a mirror sphere shows a direction: at the sine of half of its angle to the camera, in radii.
    fn radii_from_centre(&self, direction: &Vector3<f64>) -> f64 {
        let cosine = direction.dot(&self.geometry.towards_camera()).clamp(-1.0, 1.0);
        ((1.0 - cosine) / 2.0).sqrt()
    }

    /// How far inside the blurred rim that is.
    fn inside_blur_px(&self, from_centre: f64) -> f64 {
        self.fit.outline.mean_radius() * (1.0 - from_centre) - RIM_BLUR_PX
    }

    /// Whether a direction is seen right on the rim of a photographed sphere, where most of a small light may be
    /// lost.
    pub fn is_on_rim(&self, direction: &Vector3<f64>) -> bool {
        self.role == SphereRole::Mirror && self.fit.found_by != FoundBy::Alpha && !self.is_inside_rim(direction)
    }

    /// Largest part that clipped pixels give of what any patch of the cap receives.
    pub fn clipped_share(&self) -> f64 {
        if self.image.clipped_fraction == 0.0 {
            return 0.0;
        }
        largest_clipped_share(&self.sources, &self.geometry.towards_camera())
    }
}

/// A light may have lost as much light as it shows, or more (on made-up shots up to seven times).
const LOST: f64 = 1.0;

/// Widens the strength of every light on the rim. Nothing of a rendered sphere with alpha is lost.
fn widen_lights_on_rim(side: &mut SphereMeasurement) {
    let on_rim: Vec<bool> = side.lights.all.iter().map(|light| side.is_on_rim(&light.direction)).collect();
    for (light, _) in side.lights.all.iter_mut().zip(on_rim).filter(|(_, on_rim)| *on_rim) {
        widen(light);
    }
}

fn widen(light: &mut Light) {
    let Estimate { value, sd } = light.illuminance;
    light.illuminance.sd = sd.hypot(LOST * value);
    light.flux_sd = light.flux_sd.hypot(LOST * value);
    let share = light.share.value;
    light.share.sd = light.share.sd.hypot(LOST * share * (1.0 - share));
}
