//! Things of known size in the picture, and the distance that the picture gives them.

use nalgebra::Vector3;

use super::scaled;
use crate::base::units::Estimate;
use crate::check::{PairEvidence, ShotEvidence};
use crate::compare::rotation::level_axes;
use crate::findings::remedy::DistanceBy;
use crate::optics::camera::View;
use crate::sheet::{CameraSpec, MeasuredSpec};
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

/// A camera's tilt, noted from a digital level or a head's scale, and where its height was measured to (common practice,
/// no source).
const TILT_SD_RAD: f64 = 0.5 * std::f64::consts::PI / 180.0;
const HEIGHT_SD_MM: f64 = 20.0;

/// Flatter than this below the horizon the ground tells no distance, rad.
const LEAST_DEPRESSION_RAD: f64 = 0.035;

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
    pub(super) size_mm: f64,
    /// Its distance as noted, or as the camera's height gives it, mm.
    pub(super) noted_mm: Option<f64>,
    noted_by: NotedBy,
    pub(super) view: View,
    seen: Seen,
}

/// Where a distance that is held against the picture comes from.
#[derive(Debug, Clone, Copy)]
enum NotedBy {
    Tape,
    /// Relative sd of the distance.
    CameraHeight(f64),
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
    let camera = shot.sheet.camera.as_ref();
    let objects = shot
        .plate_view
        .into_iter()
        .flat_map(|view| shot.sheet.measured_lengths.iter().map(move |measured| object(measured, view, camera)));
    spheres.chain(objects).collect()
}

fn sphere(pair: &PairEvidence<'_>, diameter_mm: f64, noted_mm: Option<f64>) -> Gauge {
    let side = &pair.comparison.mirror;
    Gauge {
        name: format!("sphere {}", crate::printable_text(&side.name)),
        size_mm: diameter_mm,
        noted_mm,
        noted_by: NotedBy::Tape,
        view: side.view.clone(),
        seen: Seen::Sphere { outline: side.fit.outline, half_angle_sd_rad: side.fit.cone_cov[(2, 2)].max(0.0).sqrt() },
    }
}

pub(super) fn object(measured: &MeasuredSpec, view: &View, camera: Option<&CameraSpec>) -> Gauge {
    let on_ground = || camera.filter(|_| measured.stands_on_ground).and_then(|c| standing_mm(measured, view, c));
    let (noted_mm, noted_by) = match (measured.distance_mm(), on_ground()) {
        (None, Some(by_height)) => (Some(by_height.value), NotedBy::CameraHeight(by_height.sd / by_height.value)),
        (taped, _) => (taped, NotedBy::Tape),
    };
    Gauge {
        name: crate::printable_text(&measured.name),
        size_mm: measured.length_mm(),
        noted_mm,
        noted_by,
        view: view.clone(),
        seen: Seen::Ends(measured.ends_px),
    }
}

/// Distance of something upright that stands on the ground, mm: the lens is so high above its foot, and sees it so far below
/// the horizon. Returned as [`Gauge::distance_mm`] counts it, to two ends that are equally far away under the same angle.
fn standing_mm(measured: &MeasuredSpec, view: &View, camera: &CameraSpec) -> Option<Estimate> {
    let (height_mm, [tilt, roll]) = (camera.height_mm?, camera.tilt_roll_deg()?);
    let level = level_axes(tilt, roll);
    let up = level.column(1).into_owned();
    let below = |ray: &Vector3<f64>| (-ray.dot(&up)).clamp(-1.0, 1.0).asin();
    let rays = measured.ends_px.map(|end| view.ray(end));
    let foot = rays.into_iter().max_by(|a, b| below(a).total_cmp(&below(b)))?;
    let depression = below(&foot);
    if depression < LEAST_DEPRESSION_RAD || height_mm <= 0.0 {
        return None;
    }
    let at = foot * (height_mm / depression.sin());
    let top = at + up * measured.length_mm();
    let distance = measured.length_mm() / 2.0 / (0.5 * angle_between_rad(&at, &top)).sin();
    let end_rad = END_SD_PX / view.focal_px;
    let relative = (HEIGHT_SD_MM / height_mm).hypot(TILT_SD_RAD.hypot(end_rad) / depression.tan());
    Some(Estimate::new(distance, relative * distance))
}

impl Gauge {
    #[cfg(test)]
    pub(super) fn of_outline(name: &str, diameter_mm: f64, noted_mm: f64, view: &View, outline: Outline) -> Self {
        let half_angle_sd_rad = 0.1 / view.focal_px;
        let seen = Seen::Sphere { outline, half_angle_sd_rad };
        Self {
            name: name.to_owned(),
            size_mm: diameter_mm,
            noted_mm: Some(noted_mm),
            noted_by: NotedBy::Tape,
            view: view.clone(),
            seen,
        }
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
        Some(match self.noted_by {
            NotedBy::Tape => TAPE_SD.hypot(TAPE_START_SD_MM / self.noted_mm?),
            NotedBy::CameraHeight(sd) => sd,
        })
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
            "{}: {:.0} +/- {:.0} mm according to the picture, {noted:.0} mm {}",
            self.name,
            distance.value,
            distance.sd,
            match self.distance_by() {
                DistanceBy::Tape => "noted",
                DistanceBy::CameraHeight => "by the camera's height and tilt",
            }
        ))
    }

    /// What tells its distance besides the picture.
    pub(super) fn distance_by(&self) -> DistanceBy {
        match self.noted_by {
            NotedBy::Tape => DistanceBy::Tape,
            NotedBy::CameraHeight(_) => DistanceBy::CameraHeight,
        }
    }

    pub(super) fn is_sphere(&self) -> bool {
        matches!(self.seen, Seen::Sphere { .. })
    }

    /// What its size is called.
    pub(super) fn size_name(&self) -> &'static str {
        if self.is_sphere() { "diameter" } else { "length" }
    }

    /// Its size, for people.
    pub(super) fn size_words(&self) -> String {
        format!("{} {:.0} mm", self.size_name(), self.size_mm)
    }
}
