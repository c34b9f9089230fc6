//! Two measured sides, ready to be judged.

use std::sync::OnceLock;

use super::pairing::{Pairing, pair_sides};
use super::rotation::{Rotation, RotationSearch};
use super::shared::{SharedDirection, shared_directions};
use super::sphere_measurement::SphereMeasurement;
use super::uncertainty::common_mode::CommonMode;
use super::uncertainty::drift::DriftUncertainty;
use super::uncertainty::hidden::Hidden;
use super::uncertainty::surface_blur::SurfaceBlurUncertainty;
use super::uncertainty::{clipping, optics};
use crate::sheet::Tolerances;

/// Two sides of one mirror, ready to be compared.
#[derive(Debug)]
pub struct Comparison {
    /// The photographed sphere.
    pub mirror: SphereMeasurement,
    /// The rendered sphere as it is.
    pub cg: SphereMeasurement,
    /// The rendered sphere limited to what the photograph could record; `None` where nothing is clipped.
    pub cg_limited: Option<SphereMeasurement>,
    /// The same pair under the smallest and the largest field of view, where it is unknown.
    pub other_views: Vec<(SphereMeasurement, SphereMeasurement)>,
    /// The rotation that best maps the CG's light on the mirror's, where it is well determined.
    pub rotation: Option<Rotation>,
    /// All that the search over rotations found; `None` where there is nothing to hold on to.
    pub rotation_search: Option<RotationSearch>,
    /// Blur of the photographed sphere; `None` where it is clear.
    pub surface_blur: Option<SurfaceBlurUncertainty>,
    /// Tilt and roll of the plate's camera, where the sheet tells its tilt: they say where up is.
    pub camera_tilt_roll_deg: Option<[f64; 2]>,
    /// What the reference drift adds to the uncertainty.
    pub drift: DriftUncertainty,
    /// What the lens may have taken from the photographed sphere, and the CG lacks, one sd in stops.
    pub fall_off_sd_stops: f64,
    /// The CG picture was cut out of its frame, and its sphere taken to stand where the photographed one does.
    pub place_is_assumed: bool,
    /// Tolerances.
    pub tolerances: Tolerances,
    /// What follows from the two sides, found once.
    pub(crate) derived: Derived,
}

/// What several checks ask of two sides; each is found by whoever asks first.
#[derive(Debug, Default)]
pub(crate) struct Derived {
    hidden: OnceLock<Hidden>,
    shared: OnceLock<Vec<SharedDirection>>,
    pairing: OnceLock<Pairing>,
}

impl Comparison {
    /// The rendered sphere on equal terms with the photograph.
    pub fn cg_on_equal_terms(&self) -> &SphereMeasurement {
        self.cg_limited.as_ref().unwrap_or(&self.cg)
    }

    /// Records which fractions of the photographed and the rendered sphere were taken out on purpose.
    #[must_use]
    pub(crate) fn with_ignored(mut self, [mirror, cg]: [f64; 2]) -> Self {
        self.mirror = self.mirror.with_ignored(mirror);
        self.cg = self.cg.with_ignored(cg);
        self
    }

    /// The same where plate and mirror frame may differ by this much.
    pub(crate) fn with_drift_uncertainty(self, drift: DriftUncertainty) -> Self {
        Self { drift, ..self }
    }

    /// The directions that something in front of the photographed sphere may hide.
    pub fn hidden(&self) -> &Hidden {
        let find = || Hidden::find(&self.mirror, self.cg_on_equal_terms(), self.rotation.as_ref());
        self.derived.hidden.get_or_init(find)
    }

    /// The directions that both spheres show on equal terms, a rotation undone.
    pub(crate) fn shared(&self) -> &[SharedDirection] {
        let find = || shared_directions(&self.mirror, self.cg_on_equal_terms(), self.rotation.as_ref());
        self.derived.shared.get_or_init(find)
    }

    /// Which light is which, on equal terms, as they lie.
    pub(crate) fn pairing(&self) -> &Pairing {
        self.derived.pairing.get_or_init(|| pair_sides(&self.mirror, self.cg_on_equal_terms()))
    }

    /// Error that limiting the CG to the photograph's clip level may cause in a number of it, stops.
    pub(crate) fn limiting_sd_stops(&self, stops: impl Fn(&SphereMeasurement) -> Option<f64>) -> f64 {
        let Some(limited) = self.cg_limited.as_ref().and_then(&stops) else { return 0.0 };
        let effect = stops(&self.cg).map_or(0.0, |whole| whole - limited);
        let outline = &self.mirror.fit.outline;
        let sphere_px = std::f64::consts::PI * outline.semi_a * outline.semi_b;
        let areas = self.mirror.lights.all.iter().filter(|light| light.clipped).count();
        clipping::equal_terms_sd_stops(effect, self.mirror.image.clipped_fraction * sphere_px, areas)
    }

    /// How alike the surroundings of the two spheres are, seen from the camera.
    pub fn common_mode(&self, cg: &SphereMeasurement) -> CommonMode {
        let shared = shared_directions(&self.mirror, cg, None);
        let levels = shared.iter().map(|s| ([s.mirror.luminance.log2(), s.cg.luminance.log2()], s.steradian));
        CommonMode::of(&levels.collect::<Vec<_>>())
    }

    /// One standard deviation of a quantity from not knowing the field of view: how far it moves over the range
    /// tried, taken as uniform. Zero where the field of view is known.
    pub fn fov_sd(&self, base: f64, quantity: impl Fn(&SphereMeasurement, &SphereMeasurement) -> Option<f64>) -> f64 {
        optics::even_sd(base, self.other_views.iter().filter_map(|(mirror, cg)| quantity(mirror, cg)))
    }

    /// One standard deviation of a quantity from the photographed sphere's surface blur. Zero on a clear sphere.
    pub fn surface_blur_sd(&self, quantity: impl Fn(&SphereMeasurement, &SphereMeasurement) -> Option<f64>) -> f64 {
        let Some(uncertainty) = &self.surface_blur else { return 0.0 };
        let of = |cg: &SphereMeasurement| quantity(&self.mirror, cg);
        of(&self.cg).zip(of(&uncertainty.blurred_cg)).map_or(0.0, |(sharp, blurred)| (blurred - sharp).abs())
    }
}
