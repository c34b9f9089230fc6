//! Which light of a CG is too strong or too weak where its contrast is off, and by how much.
//!
//! What a patch receives is the sum over the lights, so a light's gain follows from the light itself and not from the
//! patches' ratio. Where one paired light, set to what the photograph shows of it, brings the contrast into tolerance,
//! it is named; else all that differ; else the keys and everything else are solved for from both patches.

use nalgebra::{Matrix2, Vector2, Vector3};

use crate::base::units::Stops;
use crate::compare::Comparison;
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::findings::remedy::{ContrastCure, LightToMend};
use crate::light::lights::Light;
use crate::light::radiance::patch_light;
use crate::sphere::{angle_between_rad, azimuth_elevation_deg};

/// A gain nearer to one than this is none, stops (common practice, no source).
const NO_GAIN_STOPS: f64 = 0.1;

/// A light's own error counts from this many standard deviations on.
const CLEAR_SDS: f64 = 2.0;

/// No lamp is wrong by a larger factor than this; the light is not there, or another one.
const LARGEST_GAIN: f64 = 64.0;

/// A gain that a lamp may need.
pub(crate) fn is_sane_gain(gain: f64) -> bool {
    gain.is_finite() && gain < LARGEST_GAIN && gain > LARGEST_GAIN.recip()
}

/// Two lights farther apart than this after the advised turn are no pair.
const TURNED_APART_RAD: f64 = 0.2;

/// The two patches whose ratio is judged, on both sides, and the level by which the whole CG is off.
struct Patches<'a> {
    cg: &'a SphereMeasurement,
    /// The photographed patches' normals, turned to where the CG has that light.
    normals: [Vector3<f64>; 2],
    mirror: [f64; 2],
    /// CG over photograph where both show the same surroundings; one where the exposure is right.
    level: f64,
    tolerance_stops: f64,
}

/// A light of the CG that should be this much stronger.
#[derive(Clone, Copy)]
struct Wrong<'a> {
    light: &'a Light,
    is_key: bool,
    gain: f64,
}

/// What to multiply, and whether that holds with the exposure corrected; `None` where no gains mend the contrast.
pub(super) fn cure(pair: &Comparison, cg: &SphereMeasurement) -> Option<(bool, ContrastCure)> {
    let extremes = pair.mirror.extremes?;
    let off = level_stops(pair).filter(|stops| stops.abs() > pair.tolerances.exposure.stops).unwrap_or(0.0);
    let patches = Patches {
        cg,
        normals: [extremes.bright_normal, extremes.dark_normal].map(|normal| in_cg(pair, &normal)),
        mirror: [extremes.bright.luminance, extremes.dark.luminance],
        level: off.exp2(),
        tolerance_stops: pair.tolerances.key_fill.stops,
    };
    let cure = patches.by_lights(pair).or_else(|| patches.by_key_and_rest())?;
    Some((off != 0.0, cure))
}

/// Where the CG has the light that the photograph shows in a direction.
fn in_cg(pair: &Comparison, direction: &Vector3<f64>) -> Vector3<f64> {
    pair.rotation.as_ref().map_or(*direction, |rotation| rotation.back(direction))
}

/// By how much the surroundings of the CG are brighter, stops.
fn level_stops(pair: &Comparison) -> Option<f64> {
    crate::compare::shared::median_stops(pair.shared()).map(|median| median.0)
}

impl Patches<'_> {
    /// The ratio's error with these lights mended, stops.
    fn left_stops(&self, wrong: &[Wrong<'_>]) -> Option<f64> {
        let [bright, dark] = self.normals.map(|normal| {
            let more = |w: &Wrong<'_>| (w.gain - 1.0) * on_patch(w.light, &normal);
            patch_light(&self.cg.sources, &normal).luminance + wrong.iter().map(more).sum::<f64>()
        });
        let mended = Stops::from_ratio(bright, dark)?;
        Some((mended - Stops::from_ratio(self.mirror[0], self.mirror[1])?).0)
    }

    fn by_lights(&self, pair: &Comparison) -> Option<ContrastCure> {
        let wrong = self.wrong_lights(pair);
        let mends = |left: f64| left.abs() <= self.tolerance_stops;
        let alone = wrong.iter().filter_map(|w| Some((self.left_stops(&[*w])?.abs(), *w)));
        let best = alone.min_by(|a, b| a.0.total_cmp(&b.0)).filter(|(left, _)| mends(*left));
        let named = match best {
            Some((_, alone)) => vec![alone],
            None => Some(wrong).filter(|wrong| self.left_stops(wrong).is_some_and(mends))?,
        };
        Some(ContrastCure::Lights(named.iter().map(to_mend).collect()))
    }

    /// The paired lights whose own strength is clearly off.
    fn wrong_lights(&self, pair: &Comparison) -> Vec<Wrong<'_>> {
        let wrong = pair.pairing().pairs.iter().copied().filter_map(|(m, c)| {
            let (ours, theirs) = (&pair.mirror.lights.all[m], &self.cg.lights.all[c]);
            let apart = angle_between_rad(&in_cg(pair, &ours.direction), &theirs.direction);
            if pair.rotation.is_some() && apart > TURNED_APART_RAD {
                return None;
            }
            let gain = ours.illuminance.value * self.level / theirs.illuminance.value;
            let relative = |light: &Light| light.illuminance.sd / light.illuminance.value.max(1e-30);
            let sd = relative(ours).hypot(relative(theirs));
            let clear = gain.ln().abs() > CLEAR_SDS * sd && gain.log2().abs() > NO_GAIN_STOPS;
            (is_sane_gain(gain) && clear).then_some(Wrong { light: theirs, is_key: c == 0, gain })
        });
        wrong.collect()
    }

    /// Keys and everything else, so that both patches receive what the photographed ones do.
    fn by_key_and_rest(&self) -> Option<ContrastCure> {
        let keys = self.cg.lights.co_keys();
        let by_keys = self.normals.map(|normal| keys.iter().map(|key| on_patch(key, &normal)).sum::<f64>());
        let all = self.normals.map(|normal| patch_light(&self.cg.sources, &normal).luminance);
        let light = Matrix2::new(by_keys[0], all[0] - by_keys[0], by_keys[1], all[1] - by_keys[1]);
        let gains = light.try_inverse()? * Vector2::from(self.mirror) * self.level;
        let (key, rest) = (gains.x, gains.y);
        if !is_sane_gain(key) || !is_sane_gain(rest) {
            return None;
        }
        let off = |gain: f64| (gain.log2().abs() >= NO_GAIN_STOPS).then_some(gain);
        let (several_keys, keys, rest) = (keys.len() > 1, off(key), off(rest));
        (keys.is_some() || rest.is_some()).then_some(ContrastCure::KeysAndRest { several_keys, keys, rest })
    }
}

/// What a patch receives from a light.
fn on_patch(light: &Light, normal: &Vector3<f64>) -> f64 {
    light.illuminance.value * light.direction.dot(normal).max(0.0)
}

fn to_mend(wrong: &Wrong<'_>) -> LightToMend {
    let at = azimuth_elevation_deg(&wrong.light.direction).into();
    LightToMend { at, is_key: wrong.is_key, gain: wrong.gain }
}
