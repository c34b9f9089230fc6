//! The measured light of a CG while fixes are made to it in thought.

use nalgebra::{Rotation3, Vector3};

use crate::check::exposure::illuminance;
use crate::check::key_fill_ratio::ratio_stops;
use crate::colour::luminance;
use crate::compare::Comparison;
use crate::compare::rotation::{Turns, level_axes};
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::findings::{Action, LightPart, Place, Share};
use crate::light::lights::CO_KEY_STOPS;
use crate::light::radiance::{Source, extremes};
use crate::sphere::{angle_between_rad, direction_of_deg};

/// A place names the light that stands within this of it.
const AT_DEG: f64 = 6.0;

/// One light of the CG.
#[derive(Debug, Clone, Copy)]
struct Lamp {
    direction: Vector3<f64>,
    illuminance_rgb: [f64; 3],
    reach_rad: f64,
}

impl Lamp {
    fn illuminance(&self) -> f64 {
        luminance(self.illuminance_rgb)
    }
}

/// All light of the CG sphere, and what of it is a light.
#[derive(Debug, Clone)]
pub(in crate::shot) struct Light {
    sources: Vec<Source>,
    lamps: Vec<Lamp>,
    /// By how much the fixes brightened what lies between the lights, stops.
    pub(super) surroundings_stops: f64,
    /// By how much it was brighter than the photograph's before any fix, stops.
    level_stops: f64,
    /// What was turned so far.
    pub(super) turned: Turned,
}

/// What of the light was turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Turned {
    Nothing,
    All,
    /// The key was put where the photograph has it.
    Key,
}

impl Light {
    /// As the CG sphere shows it, on equal terms with the photograph.
    pub(in crate::shot) fn of(cg: &SphereMeasurement, level_stops: f64) -> Self {
        let lamp = |light: &crate::light::lights::Light| Lamp {
            direction: light.direction,
            illuminance_rgb: light.illuminance_rgb,
            reach_rad: light.reach_rad,
        };
        Self {
            sources: cg.sources.clone(),
            lamps: cg.lights.all.iter().map(lamp).collect(),
            surroundings_stops: 0.0,
            level_stops,
            turned: Turned::Nothing,
        }
    }

    /// The angle from a direction to the nearest light, degrees.
    pub(super) fn nearest_deg(&self, direction: &Vector3<f64>) -> Option<f64> {
        let apart = self.lamps.iter().map(|lamp| angle_between_rad(&lamp.direction, direction).to_degrees());
        apart.min_by(f64::total_cmp)
    }

    /// Whether a light stands at a place.
    pub(super) fn shows(&self, direction: &Vector3<f64>) -> bool {
        self.nearest(direction).is_some()
    }

    /// Contrast of this light less the photograph's, stops.
    pub(in crate::shot) fn key_fill_stops(&self, pair: &Comparison) -> Option<f64> {
        Some(ratio_stops(&self.side(pair))? - ratio_stops(&pair.mirror)?)
    }

    /// What a subject receives against the photograph, stops.
    pub(in crate::shot) fn illuminance_stops(&self, pair: &Comparison) -> Option<f64> {
        illuminance::stops(&pair.mirror, &self.side(pair))
    }

    /// All light, per channel.
    pub(super) fn total(&self) -> [f64; 3] {
        self.sources.iter().fold([0.0; 3], |sum, source| [0, 1, 2].map(|c| sum[c] + source.light[c]))
    }

    fn side(&self, pair: &Comparison) -> SphereMeasurement {
        let cg = pair.cg_on_equal_terms();
        let extremes = extremes(&self.sources, &cg.geometry.towards_camera());
        SphereMeasurement { sources: self.sources.clone(), extremes, ..cg.clone() }
    }

    /// Does what an action asks for. False where it changes no light, or names one that is not there.
    pub(in crate::shot) fn apply(&mut self, action: &Action, pair: &Comparison) -> bool {
        match action {
            Action::TurnEnvironment { heading_deg, tilt_deg, roll_deg, .. } => {
                let [tilt, roll] = pair.camera_tilt_roll_deg.unwrap_or_default();
                let turns = Turns { heading_deg: *heading_deg, tilt_deg: *tilt_deg, roll_deg: *roll_deg };
                self.turn(&turns.rotation(&level_axes(tilt, roll)));
                true
            }
            Action::TurnLight { from, to } => {
                let Some(index) = self.nearest(&direction(from)) else { return false };
                self.take_out(index);
                self.lamps[index].direction = direction(to);
                self.put_in(self.lamps[index]);
                self.turned = Turned::Key;
                true
            }
            Action::Gain { rgb } => {
                self.multiply(*rgb);
                true
            }
            Action::LightGain { lights } => lights.iter().all(|part| self.gain(&part.part, part.rgb)),
            Action::AddLight { lights } => lights.iter().all(|seen| self.add(&direction(&seen.at), pair)),
            Action::RemoveLight { lights } => lights.iter().all(|seen| {
                let found = self.nearest(&direction(&seen.at));
                if let Some(index) = found {
                    self.take_out(index);
                    self.lamps.remove(index);
                }
                found.is_some()
            }),
            Action::RenderAgain | Action::ShootAgain | Action::Give => false,
        }
    }

    fn nearest(&self, direction: &Vector3<f64>) -> Option<usize> {
        let apart = |index: &usize| angle_between_rad(&self.lamps[*index].direction, direction);
        let nearest = (0..self.lamps.len()).min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
        (apart(&nearest).to_degrees() < AT_DEG.max(self.lamps[nearest].reach_rad.to_degrees())).then_some(nearest)
    }

    fn turn(&mut self, rotation: &Rotation3<f64>) {
        self.sources.iter_mut().for_each(|source| source.direction = rotation * source.direction);
        self.lamps.iter_mut().for_each(|lamp| lamp.direction = rotation * lamp.direction);
        self.turned = Turned::All;
    }

    fn multiply(&mut self, rgb: [f64; 3]) {
        for source in &mut self.sources {
            source.light = [0, 1, 2].map(|c| source.light[c] * rgb[c]);
            source.luminance = luminance(source.light);
        }
        for lamp in &mut self.lamps {
            lamp.illuminance_rgb = [0, 1, 2].map(|c| lamp.illuminance_rgb[c] * rgb[c]);
        }
        self.surroundings_stops += luminance(rgb).max(1e-30).log2();
    }

    /// Multiplies some of the light.
    fn gain(&mut self, part: &LightPart, rgb: [f64; 3]) -> bool {
        let strongest = self.lamps.iter().map(Lamp::illuminance).fold(0.0, f64::max);
        let is_key = |lamp: &Lamp| lamp.illuminance() >= strongest * (-CO_KEY_STOPS).exp2();
        let chosen: Vec<usize> = match part {
            LightPart::At(place) => self.nearest(&direction(place)).into_iter().collect(),
            LightPart::All(Share::Lights) => (0..self.lamps.len()).collect(),
            LightPart::All(Share::Keys) => (0..self.lamps.len()).filter(|i| is_key(&self.lamps[*i])).collect(),
            LightPart::All(share) => {
                // Everything else: all of it, and the lights that do not count as that back as they were.
                let kept = |lamp: &Lamp| *share == Share::Surroundings || is_key(lamp);
                let back: Vec<usize> = (0..self.lamps.len()).filter(|i| kept(&self.lamps[*i])).collect();
                self.multiply(rgb);
                return back.into_iter().all(|index| self.multiply_lamp(index, rgb.map(f64::recip)));
            }
            LightPart::Layers(_) => return false,
        };
        !chosen.is_empty() && chosen.into_iter().all(|index| self.multiply_lamp(index, rgb))
    }

    fn multiply_lamp(&mut self, index: usize, rgb: [f64; 3]) -> bool {
        self.take_out(index);
        let lamp = &mut self.lamps[index];
        lamp.illuminance_rgb = [0, 1, 2].map(|c| lamp.illuminance_rgb[c] * rgb[c]);
        self.put_in(self.lamps[index]);
        true
    }

    /// Adds the light that the photograph shows there, as strong against the rest as there.
    fn add(&mut self, direction: &Vector3<f64>, pair: &Comparison) -> bool {
        let apart = |l: &&crate::light::lights::Light| angle_between_rad(&l.direction, direction);
        let Some(seen) = pair.mirror.lights.all.iter().min_by(|a, b| apart(a).total_cmp(&apart(b))) else {
            return false;
        };
        let level = (self.level_stops + self.surroundings_stops).exp2();
        let illuminance_rgb = seen.illuminance_rgb.map(|l| l * level);
        let lamp = Lamp { direction: *direction, illuminance_rgb, reach_rad: seen.reach_rad };
        self.lamps.push(lamp);
        self.put_in(lamp);
        true
    }

    /// Takes a light out of what shines within its reach, and leaves there what is not its own.
    fn take_out(&mut self, index: usize) {
        let lamp = self.lamps[index];
        let cosine = lamp.reach_rad.max(AT_DEG.to_radians()).cos();
        let inside = |s: &Source| s.direction.dot(&lamp.direction) >= cosine;
        let there =
            self.sources.iter().filter(|s| inside(s)).fold([0.0; 3], |sum, s| [0, 1, 2].map(|c| sum[c] + s.light[c]));
        let left = [0, 1, 2].map(|c| (1.0 - lamp.illuminance_rgb[c] / there[c].max(1e-30)).clamp(0.0, 1.0));
        for source in self.sources.iter_mut().filter(|s| s.direction.dot(&lamp.direction) >= cosine) {
            source.light = [0, 1, 2].map(|c| source.light[c] * left[c]);
            source.luminance = luminance(source.light);
        }
    }

    fn put_in(&mut self, lamp: Lamp) {
        let light = lamp.illuminance_rgb;
        self.sources.push(Source {
            direction: lamp.direction,
            light,
            luminance: luminance(light),
            filled: 0.0,
            clipped: 0.0,
        });
    }
}

fn direction(place: &Place) -> Vector3<f64> {
    direction_of_deg(place.azimuth_deg, place.elevation_deg)
}
