//! Shots that reuse the frames of another and differ in one note, or in one frame that follows from it: one for each
//! check of the notes.

use nalgebra::Vector3;
use serde_json::{Value, json};

use super::frames;
use super::render::{Background, Picture, RenderOptions, render};
use super::shots::{SENSOR_MM, SIZE, Shot};
use crate::CaptureTime;
use crate::camera::{FovSource, View};
use crate::report::ShotVerdict;
use crate::sheet::SHEET_FORMAT;
use crate::sun::sun_position;

/// Where and when the ferry lay at its quay: a North Sea harbour that does not exist, a quarter of an hour before
/// sunset.
const LATITUDE_DEG: f64 = 54.9;
const LONGITUDE_DEG: f64 = 8.0;
const SUNSET_TIME: &str = "2026-05-12T21:00:00+02:00";

/// The glow on the horizon stands this far right of the view (see the set of `SF_0110`).
const GLOW_RIGHT_OF_VIEW_DEG: f64 = 20.0;

/// Focal length of the wrong CG camera, mm.
const WRONG_FOCAL_MM: f64 = 35.0;

/// The distance was noted so much too large.
const WRONG_DISTANCE: f64 = 1.2;

/// Two posts of the deck's rail (see `open_air`), metres from the eye: half of 1.3 m to either side.
const RAIL_POST_M: [f64; 3] = [0.65, -0.90, -6.0];

/// What is wrong in the notes of a shot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoteFault {
    /// The CG camera has a longer lens.
    CgLens,
    /// The distance from lens to sphere.
    Distance,
    /// The sphere frame is that of the next morning.
    NextMorning,
    /// The key is taken for the sun.
    KeyForSun,
}

/// A shot on another one's frames.
#[derive(Debug, Clone, Copy)]
pub struct Variant {
    /// Name of the shot.
    pub name: &'static str,
    /// The shot whose frames it uses.
    pub of: &'static str,
    /// What code put wrong, in one line.
    pub built_in: &'static str,
    /// What.
    pub fault: NoteFault,
    /// The one check that must speak.
    pub fires: &'static str,
    /// What the shot must come out as.
    pub verdict: ShotVerdict,
}

/// Every such shot, in the order of the film.
pub static VARIANTS: &[Variant] = &[
    Variant {
        name: "SF_0510",
        of: "SF_0110",
        built_in: "CG rendered through 35 mm where the plate was shot at 32 mm",
        fault: NoteFault::CgLens,
        fires: "camera",
        verdict: ShotVerdict::Mismatch,
    },
    Variant {
        name: "SF_0520",
        of: "SF_0110",
        built_in: "distance to the sphere noted a fifth too large",
        fault: NoteFault::Distance,
        fires: "scale",
        verdict: ShotVerdict::Match,
    },
    Variant {
        name: "SF_0530",
        of: "SF_0110",
        built_in: "sphere frame of the next morning",
        fault: NoteFault::NextMorning,
        fires: "set-notes",
        verdict: ShotVerdict::Match,
    },
    Variant {
        name: "SF_0540",
        of: "SF_0110",
        built_in: "the lamp on deck taken for the evening sun",
        fault: NoteFault::KeyForSun,
        fires: "sun",
        verdict: ShotVerdict::Match,
    },
];

/// The name of the frame that a variant brings itself.
pub(super) fn own_frame(variant: &Variant) -> Option<&'static str> {
    match variant.fault {
        NoteFault::CgLens => Some("cg_sphere.v013.1001.exr"),
        NoteFault::NextMorning => Some("mirror.exr"),
        NoteFault::Distance | NoteFault::KeyForSun => None,
    }
}

/// The picture of that frame.
pub(super) fn own_picture(variant: &Variant, shot: &Shot) -> Picture {
    if variant.fault == NoteFault::CgLens { through_wrong_lens(shot) } else { frames::mirror(shot) }
}

/// The CG sphere where it stands, through the wrong lens.
fn through_wrong_lens(shot: &Shot) -> Picture {
    let fov_deg = 2.0 * (SENSOR_MM[0] / (2.0 * WRONG_FOCAL_MM)).atan().to_degrees();
    let view = View::from_horizontal_fov(SIZE, 1.0, fov_deg, FovSource::Sheet);
    let options = RenderOptions { background: Background::Transparent, ..RenderOptions::default() };
    let sphere = frames::sphere(shot, super::shots::GOOD_SPHERE);
    render(&shot.cg_scene(), &view, SIZE, Some(&sphere), &options)
}

/// The sheet: what differs from the other shot's.
pub(super) fn sheet(variant: &Variant, shot: &Shot, distance_mm: f64) -> Value {
    let mut sheet = json!({
        "format": SHEET_FORMAT,
        "shot": variant.name,
        "extends": format!("../{}/shot.json", variant.of),
        "notes": { "action": shot.action, "known_error": variant.built_in }
    });
    match variant.fault {
        NoteFault::CgLens => {
            sheet["cg"] = json!({
                "version": "v013",
                "spheres": [{ "mirror": "m1", "frame": own_frame(variant) }],
                "camera": { "focal_length_mm": WRONG_FOCAL_MM }
            });
        }
        NoteFault::Distance => {
            let metres = WRONG_DISTANCE * distance_mm / 1000.0;
            sheet["camera"] = json!({ "distance": format!("{metres:.2} m") });
            sheet["measured"] = json!([rail(shot)]);
        }
        NoteFault::NextMorning => {
            sheet["mirrors"] = json!([{ "name": "m1", "bracket": [own_frame(variant)] }]);
        }
        NoteFault::KeyForSun => {
            sheet["place"] =
                json!({ "latitude_deg": LATITUDE_DEG, "longitude_deg": LONGITUDE_DEG, "time": SUNSET_TIME });
            sheet["camera"] = json!({ "heading_deg": heading_deg().round() });
        }
    }
    sheet
}

/// The bearing of the view under which the sun goes down in the glow.
fn heading_deg() -> f64 {
    let julian = CaptureTime::parse(SUNSET_TIME).and_then(CaptureTime::julian_date).unwrap_or(0.0);
    let sun = sun_position(julian, LATITUDE_DEG, LONGITUDE_DEG);
    (sun.bearing_deg - GLOW_RIGHT_OF_VIEW_DEG).rem_euclid(360.0)
}

/// Two posts of the rail as measured on set, noted in feet.
fn rail(shot: &Shot) -> Value {
    let [x, y, z] = RAIL_POST_M;
    let scene = shot.set_with_actor();
    let ends: Vec<[f64; 2]> = [-x, x]
        .iter()
        .filter_map(|side| shot.view().project(&scene.in_camera_axes(&Vector3::new(*side, y, z).normalize())))
        .map(|point| point.map(|px| (px * 10.0).round() / 10.0))
        .collect();
    let feet = |metres: f64| (metres / 0.3048 * 100.0).round() / 100.0;
    json!({
        "name": "two posts of the rail",
        "ends_px": ends,
        "length": feet(2.0 * x),
        "unit": "ft",
        "distance": feet(Vector3::new(x, y, z).norm())
    })
}
