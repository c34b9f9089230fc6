//! Shots that reuse the frames of another and differ in one note, or in the frames that follow from it: one for
//! each check of the notes.

use nalgebra::Vector3;
use serde_json::{Value, json};

use super::frames;
use super::from_set::MATTE_NAME;
use super::harbour::{self, SUNSET_TIME};
use super::lantern::{Lantern, sphere_place_mm};
use super::matte::matte;
use super::render::{Background, Picture, RenderOptions, render};
use super::scene::Scene;
use super::sheets::SPHERE_DIAMETER_MM;
use super::shot::{GOOD_SPHERE, SENSOR_MM, SIZE, Shot};
use super::shots::shots;
use super::truth::{CheckTruth, decided, matte_contrast_stops, stops};
use crate::findings::ShotVerdict;
use crate::optics::camera::{FovSource, View};
use crate::sheet::SHEET_FORMAT;

/// The glow on the horizon stands this far right of the view (see the set of `SF_0110`).
const GLOW_RIGHT_OF_VIEW_DEG: f64 = 20.0;

/// Focal length of the wrong CG camera, mm.
const WRONG_FOCAL_MM: f64 = 35.0;

/// The distance was noted so much too large.
const WRONG_DISTANCE: f64 = 1.2;

/// Two posts of the deck's rail (see `open_air`), metres from the eye: half of 1.3 m to either side.
const RAIL_POST_M: [f64; 3] = [0.65, -0.90, -6.0];

/// How far from the first mirror's reflection of it the key of `SF_0560` hangs, mm.
const LANTERN_MM: f64 = 1500.0;

/// Centre and radius in the frame of that shot's second mirror, and of the CG sphere that answers its first, px.
const SECOND_MIRROR_PX: ([f64; 2], f64) = ([700.0, 258.0], 76.0);
const CG_ELSEWHERE_PX: ([f64; 2], f64) = ([800.0, 318.0], 96.0);

/// Places were noted to this, mm.
const NOTED_TO_MM: f64 = 10.0;

/// What a thick cloud leaves of the sun: 5.6 stops less.
const BEHIND_CLOUD: f64 = 0.02;

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
    /// Nothing any more: the CG's lights have the gains of the set.
    Mended,
    /// The key hangs near, and one CG sphere stands elsewhere than its mirror.
    Elsewhere,
    /// The grey sphere was shot in other light than the mirror.
    OtherLight,
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
    /// The one check that must speak, if any.
    pub fires: Option<&'static str>,
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
        fires: Some("field-of-view"),
        verdict: ShotVerdict::Mismatch,
    },
    Variant {
        name: "SF_0520",
        of: "SF_0110",
        built_in: "distance to the sphere noted a fifth too large",
        fault: NoteFault::Distance,
        fires: Some("scale"),
        verdict: ShotVerdict::Match,
    },
    Variant {
        name: "SF_0530",
        of: "SF_0110",
        built_in: "sphere frame of the next morning",
        fault: NoteFault::NextMorning,
        fires: Some("set-notes"),
        verdict: ShotVerdict::Match,
    },
    Variant {
        name: "SF_0540",
        of: "SF_0110",
        built_in: "the lamp on deck taken for the evening sun",
        fault: NoteFault::KeyForSun,
        fires: Some("sun"),
        verdict: ShotVerdict::Match,
    },
    Variant {
        name: "SF_0550",
        of: "SF_0430",
        built_in: "nothing any more: key and rim have the gains that were advised",
        fault: NoteFault::Mended,
        fires: None,
        verdict: ShotVerdict::Match,
    },
    Variant {
        name: "SF_0560",
        of: "SF_0430",
        built_in: "CG sphere half a metre beside the mirror's place, lit as if the near key were far away",
        fault: NoteFault::Elsewhere,
        fires: Some("sphere-place"),
        verdict: ShotVerdict::Mismatch,
    },
    Variant {
        name: "SF_0570",
        of: "SF_0500",
        built_in: "grey sphere shot after a cloud had covered the sun",
        fault: NoteFault::OtherLight,
        fires: Some("grey-sphere"),
        verdict: ShotVerdict::Match,
    },
];

impl Variant {
    /// What a perfect measurement says of the check that the variant is about; `None` where notes alone are wrong.
    pub fn truth(&self) -> Option<CheckTruth> {
        let shot = shots().into_iter().find(|shot| shot.name == self.of)?;
        match self.fault {
            NoteFault::Mended => Some(stops("light-gains", 0.0, 0.33)),
            NoteFault::Elsewhere => {
                let (first, elsewhere) = (sphere_place_mm(&shot), sphere_place_mm(&elsewhere(&shot)));
                let error = lantern(&shot)?.parallax_deg(&first, &(elsewhere - first));
                Some(CheckTruth { check: "sphere-place", error, unit: "deg", expected: decided(error, 5.0) })
            }
            NoteFault::OtherLight => {
                let error = matte_contrast_stops(&shot, &shot.set_with_crew(), &under_cloud(&shot));
                Some(stops("grey-sphere", error, 0.33))
            }
            NoteFault::CgLens | NoteFault::Distance | NoteFault::NextMorning | NoteFault::KeyForSun => None,
        }
    }
}

/// The CG's frame of each of the two spheres in [`NoteFault::Elsewhere`].
const TWO_CG: [&str; 2] = ["cg_sphere.v006.m1.1001.exr", "cg_sphere.v006.m2.1001.exr"];
const SECOND_MIRROR: &str = "mirror_2.exr";

/// The names of the frames that a variant brings itself.
pub(super) fn own_frames(variant: &Variant) -> &'static [&'static str] {
    match variant.fault {
        NoteFault::CgLens => &["cg_sphere.v013.1001.exr"],
        NoteFault::NextMorning => &["mirror.exr"],
        NoteFault::Mended => &["cg_sphere.v006.1001.exr"],
        NoteFault::Elsewhere => &[TWO_CG[0], TWO_CG[1], SECOND_MIRROR],
        NoteFault::OtherLight => &[MATTE_NAME],
        NoteFault::Distance | NoteFault::KeyForSun => &[],
    }
}

/// The picture of such a frame; that of [`NoteFault::Mended`] has layers and is [`mended`]'s.
pub(super) fn own_picture(variant: &Variant, shot: &Shot, name: &str) -> Picture {
    match variant.fault {
        NoteFault::CgLens => through_wrong_lens(shot),
        NoteFault::OtherLight => matte(shot, &under_cloud(shot)),
        NoteFault::Elsewhere if name == SECOND_MIRROR => frames::mirror(&second(variant, shot)),
        NoteFault::Elsewhere if name == TWO_CG[1] => frames::cg(&second(variant, shot)),
        NoteFault::Elsewhere => frames::cg(&elsewhere(shot)),
        _ => frames::mirror(shot),
    }
}

/// The shot after the CG's lights were mended.
pub(super) fn mended(shot: &Shot) -> Shot {
    Shot { cg: shot.set.clone(), ..shot.clone() }
}

/// The shot with the CG sphere that answers its mirror elsewhere, in the light that the mirror saw.
fn elsewhere(shot: &Shot) -> Shot {
    let (sphere_px, sphere_radius_px) = CG_ELSEWHERE_PX;
    Shot { sphere_px, sphere_radius_px, ..mended(shot) }
}

/// The key as a lamp at its place.
fn lantern(shot: &Shot) -> Option<Lantern> {
    let key = shot.empty_set().lights_in_camera_axes().into_iter().next()?;
    Some(Lantern::seen_as(&key, &sphere_place_mm(shot), LANTERN_MM))
}

/// The shot at its second mirror, which sees the near key in another direction.
fn second(variant: &Variant, shot: &Shot) -> Shot {
    let (sphere_px, sphere_radius_px) = SECOND_MIRROR_PX;
    let mut second = Shot { name: variant.name, sphere_px, sphere_radius_px, ..shot.clone() };
    let place_mm = sphere_place_mm(&second);
    if let (Some(lantern), Some(key)) = (lantern(shot), second.set.lights.first_mut()) {
        let (direction, radius_rad) = lantern.seen_from(&place_mm);
        key.direction = shot.empty_set().in_level_axes(&direction);
        key.angular_radius_rad = radius_rad;
    }
    mended(&second)
}

/// The set as the mirror saw it, with the sun behind a cloud.
fn under_cloud(shot: &Shot) -> Scene {
    let mut scene = shot.set_with_crew();
    scene.lights.iter_mut().for_each(|light| light.radiance = light.radiance.map(|l| l * BEHIND_CLOUD));
    scene
}

/// The CG sphere where it stands, through the wrong lens.
fn through_wrong_lens(shot: &Shot) -> Picture {
    let fov_deg = 2.0 * (SENSOR_MM[0] / (2.0 * WRONG_FOCAL_MM)).atan().to_degrees();
    let view = View::from_horizontal_fov(SIZE, 1.0, fov_deg, FovSource::Sheet);
    let options = RenderOptions { background: Background::Transparent, ..RenderOptions::default() };
    let sphere = frames::sphere(shot, GOOD_SPHERE);
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
                "spheres": [{ "mirror": "m1", "frame": own_frames(variant)[0] }],
                "camera": { "focal_length_mm": WRONG_FOCAL_MM }
            });
        }
        NoteFault::Distance => {
            let metres = WRONG_DISTANCE * distance_mm / 1000.0;
            sheet["camera"] = json!({ "distance": format!("{metres:.2} m") });
            sheet["measured_lengths"] = json!([rail(shot)]);
        }
        NoteFault::NextMorning => {
            sheet["mirrors"] = json!([{ "name": "m1", "bracket": own_frames(variant) }]);
        }
        NoteFault::KeyForSun => {
            sheet["location"] = harbour::place();
            sheet["location"]["time"] = json!(SUNSET_TIME);
            sheet["camera"] = json!({ "heading_deg": heading_deg().round() });
        }
        NoteFault::Mended => {
            sheet["cg"] = json!({
                "version": "v006",
                "spheres": [{ "mirror": "m1", "frame": own_frames(variant)[0] }]
            });
        }
        NoteFault::Elsewhere => tell_two_mirrors(&mut sheet, variant, shot),
        NoteFault::OtherLight => {
            sheet["grey_spheres"] = json!([{ "name": "g1", "bracket": own_frames(variant) }]);
        }
    }
    sheet
}

/// The mirrors at their noted places, and the CG spheres without the layers of the other shot's.
fn tell_two_mirrors(sheet: &mut Value, variant: &Variant, shot: &Shot) {
    let position = |shot: &Shot| {
        // As people note it: how far away, where the camera's axis counts towards it.
        let place_mm = sphere_place_mm(shot).component_mul(&Vector3::new(1.0, 1.0, -1.0));
        place_mm.map(|mm| (mm / NOTED_TO_MM).round() * NOTED_TO_MM)
    };
    sheet["mirrors"] = json!([
        {
            "name": "m1",
            "position_mm": position(shot).as_slice(),
            // The CG sphere stands elsewhere, and so does not tell which of the round things is the mirror.
            "outline_px": frames::outline_px(shot)
        },
        {
            "name": "m2",
            "bracket": [SECOND_MIRROR],
            "reflectance": GOOD_SPHERE,
            "reflectance_sd_stops": 0.03,
            "diameter_mm": SPHERE_DIAMETER_MM,
            "position_mm": position(&second(variant, shot)).as_slice()
        }
    ]);
    let sphere = |mirror: &str, frame: &str| {
        json!({
            "mirror": mirror,
            "frame": frame,
            "reflectance": "same-as-mirror",
            "alpha": "premultiplied",
            "light_layers": []
        })
    };
    sheet["cg"] = json!({ "version": "v006", "spheres": [sphere("m1", TWO_CG[0]), sphere("m2", TWO_CG[1])] });
}

/// The bearing of the view under which the sun goes down in the glow.
fn heading_deg() -> f64 {
    (harbour::sun_at(SUNSET_TIME).bearing_deg - GLOW_RIGHT_OF_VIEW_DEG).rem_euclid(360.0)
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
