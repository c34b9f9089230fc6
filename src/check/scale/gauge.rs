//! Things of known size in the picture, and the distance that the picture gives them.

use super::scaled;
use crate::base::units::Estimate;
use crate::check::{PairEvidence, ShotEvidence};
use crate::optics::camera::View;
use crate::sheet::MeasuredSpec;
use crate::sphere::{Outline, angle_between_rad, cone_of_outline};

/// Engraved focal lengths are good to this, relative (common practice, no source).
const LENS_SD: f64 = 0.01;

/// A sphere's noted diameter is good to this, relative (common practice, no source).
const DIAMETER_SD: f64 = 0.005;

/// A measured object's length with its standing askew, relative (common practice, no source).
const LENGTH_SD: f64 = 0.02;

/// An object's end is marked this well, px (common practice, no source).
const END_SD_PX: f64 = 1.0;

/// A tape's own error, relative, and the distance from where it was held to where the rays cross, mm (common
/// practice, no source).
const TAPE_SD: f64 = 0.005;
const TAPE_START_SD_MM: f64 = 30.0;

/// What is seen.
#[derive(Debug, Clone)]
enum Seen {
    /// A sphere's outline, and the sd of its cone's half-angle under the view it was fitted in.
    Sphere { outline: Outline, half_angle_sd_rad: f64 },
    /// Both ends of a length.
    Ends([[f64; 2]; 2]),
}

/// Something of known size.
#[derive(Debug, Clone)]
pub(super) struct Gauge {
    /// For people: `sphere m1`, `tile`.
    pub(super) name: String,
    /// Diameter or length, mm.
    size_mm: f64,
    /// Its noted distance, mm.
    pub(super) noted_mm: Option<f64>,
    pub(super) view: View,
    seen: Seen,
}

/// Every sphere with a diameter and every measured object.
pub(super) fn all(shot: &ShotEvidence<'_>) -> Vec<Gauge> {
    let noted_mm = shot.sheet.camera.as_ref().and_then(|camera| camera.distance_mm);
    let spheres = shot.pairs.iter().filter_map(|pair| {
        let name = &pair.comparison.mirror.name;
        let diameter_mm = shot.sheet.mirror(name)?.diameter_mm?;
        let first = shot.sheet.mirrors.first().is_some_and(|mirror| mirror.name == *name);
        Some(sphere(pair, diameter_mm, noted_mm.filter(|_| first)))
    });
    let objects =
        shot.plate_view.into_iter().flat_map(|view| shot.sheet.measured_lengths.iter().map(|m| object(m, view)));
    spheres.chain(objects).collect()
}

fn sphere(pair: &PairEvidence<'_>, diameter_mm: f64, noted_mm: Option<f64>) -> Gauge {
    let side = &pair.comparison.mirror;
    Gauge {
        name: format!("sphere {}", crate::printable_text(&side.name)),
        size_mm: diameter_mm,
        noted_mm,
        view: side.view.clone(),
        seen: Seen::Sphere { outline: side.fit.outline, half_angle_sd_rad: side.fit.cone_cov[(2, 2)].max(0.0).sqrt() },
    }
}

pub(super) fn object(measured: &MeasuredSpec, view: &View) -> Gauge {
    Gauge {
        name: crate::printable_text(&measured.name),
        size_mm: measured.length_mm(),
        noted_mm: measured.distance_mm(),
        view: view.clone(),
        seen: Seen::Ends(measured.ends_px),
    }
}

impl Gauge {
    #[cfg(test)]
    pub(super) fn of_outline(name: &str, diameter_mm: f64, noted_mm: f64, view: &View, outline: Outline) -> Self {
        let half_angle_sd_rad = 0.1 / view.focal_px;
        let seen = Seen::Sphere { outline, half_angle_sd_rad };
        Self { name: name.to_owned(), size_mm: diameter_mm, noted_mm: Some(noted_mm), view: view.clone(), seen }
    }

    /// Half the angle under which it is seen. Of a sphere half of it is R / D as a sine, and so it is of a length
    /// whose ends are equally far away.
    fn half_angle_rad(&self, view: &View) -> Option<f64> {
        let half = match &self.seen {
            Seen::Sphere { outline, .. } => cone_of_outline(view, outline)?.half_angle_rad,
            Seen::Ends([a, b]) => 0.5 * angle_between_rad(&view.ray(*a), &view.ray(*b)),
        };
        (half > 1e-9 && half < 1.5).then_some(half)
    }

    fn distance_under(&self, view: &View) -> Option<f64> {
        Some(self.size_mm / 2.0 / self.half_angle_rad(view)?.sin())
    }

    /// Distance by the picture, mm: to the sphere's centre, or to both ends.
    pub(super) fn distance_mm(&self) -> Option<Estimate> {
        let distance = self.distance_under(&self.view)?;
        let own = self.own_sd()?;
        let longer = self.distance_under(&scaled(&self.view, 1.0 + LENS_SD))?;
        Some(Estimate::new(distance, (distance * own).hypot(longer - distance)))
    }

    /// Relative uncertainty of the distance from outline and size: what is not shared with other gauges.
    fn own_sd(&self) -> Option<f64> {
        let half = self.half_angle_rad(&self.view)?;
        let (angle_sd, size_sd) = match &self.seen {
            Seen::Sphere { half_angle_sd_rad, .. } => (*half_angle_sd_rad, DIAMETER_SD),
            Seen::Ends(_) => (END_SD_PX / 2.0_f64.sqrt() / self.view.focal_px, LENGTH_SD),
        };
        Some((angle_sd / half.tan()).hypot(size_sd))
    }

    /// Picture over note, minus 1.
    pub(super) fn deviation(&self) -> Option<Estimate> {
        let (distance, noted) = (self.distance_mm()?, self.noted_mm?);
        Some(Estimate::new(distance.value / noted - 1.0, (distance.sd / noted).hypot(self.tape_sd()?)))
    }

    fn tape_sd(&self) -> Option<f64> {
        Some(TAPE_SD.hypot(TAPE_START_SD_MM / self.noted_mm?))
    }

    /// The logarithm of picture over note, with the uncertainty that it does not share with other gauges.
    pub(super) fn log_ratio(&self) -> Option<Estimate> {
        let deviation = self.deviation().filter(|deviation| deviation.value > -1.0)?;
        Some(Estimate::new((1.0 + deviation.value).ln(), self.own_sd()?.hypot(self.tape_sd()?)))
    }

    /// The view under which picture and notes agree, where there is one between 2 and 140 degrees.
    pub(super) fn fitting_view(&self) -> Option<View> {
        let noted = self.noted_mm?;
        let (mut wide, mut narrow) = (140.0_f64, 2.0_f64);
        let too_far = |fov: f64| self.distance_under(&self.view.with_horizontal_fov(fov)).map(|d| d > noted);
        if too_far(wide)? || !too_far(narrow)? {
            return None;
        }
        for _ in 0..60 {
            let middle = f64::midpoint(wide, narrow);
            if too_far(middle)? { narrow = middle } else { wide = middle }
        }
        Some(self.view.with_horizontal_fov(f64::midpoint(wide, narrow)))
    }

    /// Picture against note, for people.
    pub(super) fn words(&self) -> Option<String> {
        let (distance, noted) = (self.distance_mm()?, self.noted_mm?);
        Some(format!(
            "{}: {:.0} +/- {:.0} mm according to the picture, {noted:.0} mm noted",
            self.name, distance.value, distance.sd
        ))
    }

    pub(super) fn is_sphere(&self) -> bool {
        matches!(self.seen, Seen::Sphere { .. })
    }

    /// Its size, for people.
    pub(super) fn size_words(&self) -> String {
        let what = if self.is_sphere() { "diameter" } else { "length" };
        format!("{what} {:.0} mm", self.size_mm)
    }
}
