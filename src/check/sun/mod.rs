//! `sun`: is the key the sun, and was the camera's heading noted right?

mod notes;

use nalgebra::Vector3;

use super::{Addition, FileNote, ShotCheck, ShotEvidence, blank_of_shot, put, set_value_and_verdict};
use crate::Result;
use crate::base::sun::{SunPosition, sun_position};
use crate::base::units::{Estimate, wrap_deg};
use crate::compare::sphere_measurement::SphereMeasurement;
use crate::compare::uncertainty::{optics, outline};
use crate::findings::remedy::{Ask, Step};
use crate::findings::{Concerns, Finding, Verdict};
use crate::light::lights::Light;
use crate::sheet::{CameraSpec, ShotSheet};
use crate::sphere::angle_between_rad;

pub use super::docs::sun::DOC;
use notes::SunNotes;

/// Uncertainties where nothing tells them, degrees (common practice, no source).
const HEADING_SD_DEG: f64 = 3.0;
const TILT_SD_DEG: f64 = 1.0;
const UNKNOWN_TILT_SD_DEG: f64 = 3.0;

/// Two minutes of time, in which the sun moves half a degree at the most.
const TIME_SD_DEG: f64 = 0.5;

/// Known no better than this (1 sd), the sun's place does not tell which light is the sun (common practice, no source).
const LOOSEST_SUN_DEG: f64 = 4.5;

/// Below this the sun lights nothing directly: its upper edge is under the horizon.
const SUNSET_DEG: f64 = -0.3;

/// The check.
#[derive(Debug)]
pub struct Sun;

impl ShotCheck for Sun {
    fn doc(&self) -> &'static super::CheckDoc {
        &DOC
    }

    fn is_asked(&self, sheet: &ShotSheet) -> bool {
        sheet.location.is_some() || sheet.camera.as_ref().is_some_and(|camera| camera.heading_deg.is_some())
    }

    fn reads_whole_frames(&self) -> bool {
        false
    }

    fn needs(&self) -> &'static str {
        "for a shot in the sun, add camera.heading_deg and place (latitude_deg, longitude_deg, time)"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let finding = blank_of_shot(&DOC, Concerns::Reference, shot.sheet.tolerances.sun.deg);
        Ok(Addition::of(check(shot, finding)))
    }
}

/// Where the sun should be seen, camera axes; `None` where that is not known to [`LOOSEST_SUN_DEG`], or it is below the
/// horizon.
pub(crate) fn expected_direction(sheet: &ShotSheet, files: &[FileNote]) -> Option<Vector3<f64>> {
    let notes = SunNotes::gather(sheet, files).ok()?;
    let pose = Pose::of(sheet.camera.as_ref(), notes.heading_deg);
    let sun = sun_position(notes.julian_date, notes.latitude_deg, notes.longitude_deg);
    let towards = sun_direction(&sun, pose.heading_deg.filter(|_| sun.elevation_deg > SUNSET_DEG)?);
    let sd_deg = (pose.heading_sd_deg * towards.x.hypot(towards.z)).hypot(pose.tilt_sd_deg);
    (sd_deg <= LOOSEST_SUN_DEG).then_some(())?;
    Some(level(&towards, -pose.tilt_deg))
}

fn check(shot: &ShotEvidence<'_>, mut finding: Finding) -> Finding {
    let notes = match SunNotes::gather(shot.sheet, shot.files) {
        Ok(notes) => notes,
        Err(missing) => {
            finding.verdict = Verdict::NotGiven;
            finding.reason = missing;
            return finding;
        }
    };
    let Some((side, key)) = shot.pairs.iter().find_map(|pair| {
        let side = &pair.comparison.mirror;
        Some((side, side.lights.key()?))
    }) else {
        finding.reason = "the photographed sphere shows no light that stands out".to_owned();
        return finding;
    };
    let sun = sun_position(notes.julian_date, notes.latitude_deg, notes.longitude_deg);
    let pose = Pose::of(shot.sheet.camera.as_ref(), notes.heading_deg);
    let measured = Measured::of(side, key, &pose);
    describe(&mut finding, &notes, &sun, &measured);
    if pose.heading_deg.is_some() {
        with_heading(&mut finding, &notes, &sun, &side.lights.all, &measured, &pose);
    } else {
        without_heading(&mut finding, &sun, &measured);
    }
    finding
}

/// How the camera stood.
struct Pose {
    heading_deg: Option<f64>,
    heading_sd_deg: f64,
    tilt_deg: f64,
    /// Of the tilt, with any roll that is not undone.
    tilt_sd_deg: f64,
}

impl Pose {
    fn of(camera: Option<&CameraSpec>, heading_deg: Option<f64>) -> Self {
        let tilt_deg = camera.and_then(|camera| camera.tilt_deg);
        let tilt_sd_deg = if tilt_deg.is_some() { TILT_SD_DEG } else { UNKNOWN_TILT_SD_DEG };
        let roll_deg = camera.and_then(|camera| camera.roll_deg).unwrap_or(0.0);
        Self {
            heading_deg,
            heading_sd_deg: camera.and_then(|camera| camera.heading_sd_deg).unwrap_or(HEADING_SD_DEG),
            tilt_deg: tilt_deg.unwrap_or(0.0),
            tilt_sd_deg: tilt_sd_deg.hypot(roll_deg),
        }
    }
}

/// A light in level axes: its bearing from the view, clockwise, and its height.
struct Measured {
    direction: Vector3<f64>,
    from_view_deg: f64,
    elevation_deg: Estimate,
    bearing_sd_deg: f64,
    sd_deg: f64,
}

impl Measured {
    fn of(side: &SphereMeasurement, light: &Light, pose: &Pose) -> Self {
        let direction = level(&light.direction, pose.tilt_deg);
        let cov = outline::direction_cov(side, light) + optics::direction_cov(side, light);
        let own_sd_deg = (cov.trace().max(0.0) / 2.0).sqrt().to_degrees();
        let sd_deg = own_sd_deg.hypot(TIME_SD_DEG);
        let elevation = direction.y.clamp(-1.0, 1.0).asin();
        let level_sd_deg = sd_deg.hypot(pose.tilt_sd_deg);
        Self {
            direction,
            from_view_deg: direction.x.atan2(-direction.z).to_degrees(),
            elevation_deg: Estimate::new(elevation.to_degrees(), level_sd_deg),
            bearing_sd_deg: (level_sd_deg / elevation.cos().max(0.02)).min(180.0),
            sd_deg: level_sd_deg,
        }
    }
}

/// A direction in camera axes as a level camera would have it; `tilt_deg` is + for looking up.
fn level(direction: &Vector3<f64>, tilt_deg: f64) -> Vector3<f64> {
    let (sin, cos) = tilt_deg.to_radians().sin_cos();
    Vector3::new(direction.x, direction.y * cos - direction.z * sin, direction.y * sin + direction.z * cos)
}

/// Towards the sun in the axes of a level camera that looks along `heading_deg`.
fn sun_direction(sun: &SunPosition, heading_deg: f64) -> Vector3<f64> {
    let (sin_from, cos_from) = (sun.bearing_deg - heading_deg).to_radians().sin_cos();
    let (sin_up, cos_up) = sun.elevation_deg.to_radians().sin_cos();
    Vector3::new(cos_up * sin_from, sin_up, -cos_up * cos_from)
}

fn describe(finding: &mut Finding, notes: &SunNotes, sun: &SunPosition, measured: &Measured) {
    let detail = &mut finding.detail;
    detail.insert("sun_bearing_true_deg".to_owned(), sun.bearing_deg.into());
    detail.insert("sun_elevation_deg".to_owned(), sun.elevation_deg.into());
    put(detail, "key_elevation_deg", measured.elevation_deg);
    detail.insert("place_by".to_owned(), notes.place_by.clone().into());
    detail.insert("time".to_owned(), notes.time.to_string().into());
    detail.insert("time_by".to_owned(), notes.time_by.clone().into());
}

fn with_heading(
    finding: &mut Finding,
    notes: &SunNotes,
    sun: &SunPosition,
    lights: &[Light],
    measured: &Measured,
    pose: &Pose,
) {
    let heading_deg = pose.heading_deg.unwrap_or(0.0);
    let towards = sun_direction(sun, heading_deg);
    let angle_deg = angle_between_rad(&towards, &measured.direction).to_degrees();
    let heading_sd_deg = pose.heading_sd_deg * towards.x.hypot(towards.z);
    let value = Estimate::new(angle_deg, measured.sd_deg.hypot(heading_sd_deg));
    let fitting_deg = (sun.bearing_deg - measured.from_view_deg).rem_euclid(360.0);
    let heading_error = wrap_deg(heading_deg - fitting_deg);
    let heading_error_sd = measured.bearing_sd_deg.hypot(pose.heading_sd_deg);
    put(&mut finding.detail, "heading_error_deg", Estimate::new(heading_error, heading_error_sd));
    set_value_and_verdict(finding, value, "compass, tilt and time are no more precise than this");
    if finding.verdict == Verdict::Match {
        return;
    }
    let unsure = finding.verdict == Verdict::Unsure;
    let uncertainty = if unsure { format!("{}; most likely ", finding.reason) } else { String::new() };
    explain(finding, &Case { notes, sun, lights, measured, pose, towards, heading_deg, fitting_deg });
    finding.reason = uncertainty + &finding.reason;
}

/// What is known where sun and key are apart.
struct Case<'a> {
    notes: &'a SunNotes,
    sun: &'a SunPosition,
    lights: &'a [Light],
    measured: &'a Measured,
    pose: &'a Pose,
    /// Where the sun should be seen by the noted heading.
    towards: Vector3<f64>,
    heading_deg: f64,
    /// The heading under which the key would be the sun.
    fitting_deg: f64,
}

fn explain(finding: &mut Finding, case: &Case<'_>) {
    let Case { notes, sun, lights, measured, pose, towards, heading_deg, fitting_deg } = case;
    let height_error = measured.elevation_deg.value - sun.elevation_deg;
    let same_height = height_error.abs() <= 0.5 * finding.tolerance + 2.0 * measured.elevation_deg.sd;
    if sun.elevation_deg < SUNSET_DEG {
        finding.reason = format!("the key is not the sun: it was {:.1} deg below the horizon", -sun.elevation_deg);
        finding.remedy = check_the_notes(notes).into();
    } else if let Some(hour) = hour_that_fits(notes, measured, *heading_deg, finding.tolerance) {
        finding.reason = format!("an hour {hour} would put the sun where the key is");
        finding.remedy = Step::CheckClock { time_by: notes.time_by.clone() }.into();
    } else if same_height {
        finding.reason = format!("the key has the sun's height ({:.1} deg) but not its bearing", sun.elevation_deg);
        finding.remedy = Step::CorrectHeading { fitting_deg: *fitting_deg, noted_deg: *heading_deg }.into();
    } else {
        finding.reason = not_the_sun(lights, sun, measured, towards, pose);
        finding.remedy = [Ask::NotTheSun.into(), check_the_notes(notes)].into_iter().collect();
    }
}

fn check_the_notes(notes: &SunNotes) -> Step {
    Step::CheckSunNotes { place_by: notes.place_by.clone(), time: notes.time.to_string() }
}

/// `later` or `earlier`, where the sun an hour away stands at the key.
fn hour_that_fits(notes: &SunNotes, measured: &Measured, heading_deg: f64, tolerance: f64) -> Option<&'static str> {
    let angle_at = |hours: f64| {
        let sun = sun_position(notes.julian_date + hours / 24.0, notes.latitude_deg, notes.longitude_deg);
        angle_between_rad(&sun_direction(&sun, heading_deg), &measured.direction).to_degrees()
    };
    let near = |hours: f64| angle_at(hours) < 0.3 * tolerance;
    if near(1.0) { Some("later") } else { near(-1.0).then_some("earlier") }
}

fn not_the_sun(
    lights: &[Light],
    sun: &SunPosition,
    measured: &Measured,
    towards: &Vector3<f64>,
    pose: &Pose,
) -> String {
    let near = |light: &&Light| angle_between_rad(&level(&light.direction, pose.tilt_deg), towards).to_degrees() < 6.0;
    let other = lights.iter().skip(1).position(|light| near(&light));
    let other = other.map_or_else(String::new, |i| format!("; light {} of the sphere is where the sun was", i + 2));
    format!(
        "the key is not the sun: it is {:.1} deg above the horizon, the sun was {:.1} deg{other}",
        measured.elevation_deg.value, sun.elevation_deg
    )
}

/// Only the heights can be compared.
fn without_heading(finding: &mut Finding, sun: &SunPosition, measured: &Measured) {
    let error = measured.elevation_deg.value - sun.elevation_deg;
    finding.value = Some(error.abs());
    finding.value_sd = Some(measured.elevation_deg.sd);
    finding.value_bound = Some("lower".to_owned());
    if error.abs() - 2.0 * measured.elevation_deg.sd > finding.tolerance {
        finding.verdict = Verdict::Mismatch;
        finding.reason = format!(
            "the key is not the sun: it is {:.1} deg above the horizon, the sun was {:.1} deg",
            measured.elevation_deg.value, sun.elevation_deg
        );
        finding.remedy = [Ask::NotTheSun, Ask::SunPlaceAndTime].map(Step::Ask).into_iter().collect();
        return;
    }
    let fitting_deg = (sun.bearing_deg - measured.from_view_deg).rem_euclid(360.0);
    finding.reason =
        format!("no heading was noted; if the key is the sun, the camera looked towards {fitting_deg:.0} deg");
    finding.remedy = Ask::Heading.into();
}

#[cfg(test)]
mod tests;
