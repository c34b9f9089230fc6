//! How a sphere's pixels become radiance: exposure, reflectance, colour space, and what a recording can hold.

use nalgebra::{Matrix3, Vector3};

use crate::colour::ColourSpace;
use crate::image::Frame;
use crate::optics::material::Falloff;

/// How a frame's pixels become radiance.
#[derive(Debug, Clone)]
pub struct Radiometry {
    /// Reflectance of the sphere per channel of [`Radiometry::reflectance_space`].
    pub reflectance: [f64; 3],
    /// The colour space whose channels the reflectance tells of; `None`: the frame's own.
    pub reflectance_space: Option<ColourSpace>,
    /// Further factor on every pixel (1 where the frame was exposed like the plate).
    pub gain: f64,
    /// Further factor per channel of the working space: a drift of colour that is undone.
    pub working_gain: [f64; 3],
    /// Colours are premultiplied by alpha.
    pub premultiplied: bool,
    /// What the other side could record at most; applied to the pixels before they are averaged.
    pub limit: Option<RecordingLimit>,
    /// How the sphere's reflectance changes with the angle of incidence, where its material is known.
    pub falloff: Option<Falloff>,
}

impl Default for Radiometry {
    fn default() -> Self {
        Self {
            reflectance: [1.0; 3],
            reflectance_space: None,
            gain: 1.0,
            working_gain: [1.0; 3],
            premultiplied: false,
            limit: None,
            falloff: None,
        }
    }
}

impl Radiometry {
    /// The matrix from pixels of a frame in `space` to radiance in the working space, alpha and fall-off left aside.
    pub fn working_from_stored(&self, space: &ColourSpace) -> Matrix3<f64> {
        let undone = Matrix3::from_diagonal(&Vector3::from(self.reflectance.map(|r| self.gain / r)));
        let mirrored = match &self.reflectance_space {
            None => space.to_working * undone,
            Some(of) => match of.to_working.try_inverse() {
                Some(back) => of.to_working * undone * back * space.to_working,
                None => space.to_working * undone,
            },
        };
        Matrix3::from_diagonal(&Vector3::from(self.working_gain)) * mirrored
    }

    /// From pixels of a frame in `space` to what the other recording would have stored, and back; `None` where no
    /// limit applies or a space is singular.
    pub(super) fn through_limit(&self, space: &ColourSpace) -> Option<Limiter> {
        let limit = self.limit.as_ref()?;
        let stored_there = limit.stored_from_working * self.working_from_stored(space);
        Some(Limiter { stored_there, back: stored_there.try_inverse()?, ceiling: limit.ceiling })
    }
}

/// The ceiling of another recording.
#[derive(Debug, Clone)]
pub struct RecordingLimit {
    /// From radiance in the working space to that recording's pixels.
    stored_from_working: Matrix3<f64>,
    /// Pixel value per channel at which it clips.
    ceiling: [f64; 3],
}

impl RecordingLimit {
    /// That of a frame whose pixels become radiance like this; `None` where it states no ceiling.
    pub fn of(frame: &Frame, radiometry: &Radiometry) -> Option<Self> {
        let ceiling = frame.clip_level?.map(f64::from);
        Some(Self { stored_from_working: radiometry.working_from_stored(&frame.space).try_inverse()?, ceiling })
    }
}

/// A recording's ceiling as seen from another frame.
#[derive(Debug)]
pub(super) struct Limiter {
    stored_there: Matrix3<f64>,
    back: Matrix3<f64>,
    ceiling: [f64; 3],
}

impl Limiter {
    /// The pixel as the other recording would have kept it, where that is less than it is.
    pub(super) fn hold(&self, stored: [f64; 3]) -> Option<[f64; 3]> {
        let there = self.stored_there * Vector3::from(stored);
        let held = Vector3::from_fn(|channel, _| there[channel].min(self.ceiling[channel]));
        let reached = (0..3).any(|channel| there[channel] >= self.ceiling[channel]);
        reached.then(|| (self.back * held).into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: [f64; 3], b: [f64; 3]) {
        assert!(a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9), "{a:?} is not {b:?}");
    }

    fn space(name: &str) -> ColourSpace {
        ColourSpace::parse(name).unwrap()
    }

    fn seen(radiometry: &Radiometry, space: &ColourSpace, stored: [f64; 3]) -> [f64; 3] {
        (radiometry.working_from_stored(space) * Vector3::from(stored)).into()
    }

    #[test]
    fn a_tinted_sphere_is_undone_in_the_channels_that_its_tint_was_told_for() {
        let (told, stored_in) = (space("rec709"), space("acescg-ap1"));
        let light = [0.4, 0.7, 1.1];
        let tint = [0.55, 0.62, 0.70];
        let reflected: Vector3<f64> = Vector3::from([0, 1, 2].map(|c| light[c] * tint[c]));
        let stored = stored_in.to_working.try_inverse().unwrap() * reflected;
        let radiometry = Radiometry { reflectance: tint, reflectance_space: Some(told), ..Radiometry::default() };
        close(seen(&radiometry, &stored_in, stored.into()), light);
    }

    #[test]
    fn a_drift_is_undone_in_the_space_that_it_was_measured_in() {
        let ap1 = space("acescg-ap1");
        let light = [0.4, 0.7, 1.1];
        let drifted = Vector3::from([light[0] / 1.2, light[1], light[2] / 0.9]);
        let stored = ap1.to_working.try_inverse().unwrap() * drifted;
        let radiometry = Radiometry { working_gain: [1.2, 1.0, 0.9], ..Radiometry::default() };
        close(seen(&radiometry, &ap1, stored.into()), light);
    }

    #[test]
    fn a_ceiling_holds_in_the_other_recordings_channels() {
        let (ap1, rec709) = (space("acescg-ap1"), space("rec709"));
        let photographed = Radiometry { reflectance: [0.5; 3], gain: 2.0, ..Radiometry::default() };
        let limit = RecordingLimit {
            stored_from_working: photographed.working_from_stored(&rec709).try_inverse().unwrap(),
            ceiling: [1.0; 3],
        };
        let rendered = Radiometry { limit: Some(limit), ..Radiometry::default() };
        let limiter = rendered.through_limit(&ap1).unwrap();
        let stored = |light: [f64; 3]| (ap1.to_working.try_inverse().unwrap() * Vector3::from(light)).into();
        assert!(limiter.hold(stored([3.9, 3.0, 2.0])).is_none());
        let held = limiter.hold(stored([5.0, 3.0, 2.0])).unwrap();
        close(ap1.to_working(held), [4.0, 3.0, 2.0]);
    }
}
