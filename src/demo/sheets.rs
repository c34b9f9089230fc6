//! The shot sheets of the show.

use serde_json::{Value, json};

use super::frames::CAMERA_CLIP_LEVEL;
use super::frames::sphere;
use super::harbour;
use super::shot::{CgFrame, GOOD_SPHERE, MirrorTake, SENSOR_MM, SIZE, Shot};

/// Diameter of the invented production's sphere.
pub(crate) const SPHERE_DIAMETER_MM: f64 = 250.0;

/// Names of a shot's frames, in its own folder.
pub(crate) struct FrameNames {
    pub(crate) plate: &'static str,
    pub(crate) mirror: &'static str,
    pub(crate) cg: String,
    pub(crate) environment: Option<&'static str>,
}

impl FrameNames {
    pub(crate) fn of(shot: &Shot) -> Self {
        let mirror = match shot.mirror_take {
            MirrorTake::Good => "mirror.exr",
            MirrorTake::Poor => "mirror.jpg",
        };
        Self {
            plate: "plate.1001.exr",
            mirror,
            cg: format!("cg_sphere.{}.1001.exr", shot.version),
            environment: shot.environment.map(|_| "environment.exr"),
        }
    }
}

/// What all shots have in common.
pub(crate) fn show_sheet() -> Value {
    json!({
        "format": "plateproof-shot/1",
        "tolerances": { "exposure": { "stops": 0.25 } },
        "notes": {
            "film": "The Salt Ferry, a short film that does not exist",
            "made_by": "plateproof demo; every frame is computed, nothing was photographed"
        }
    })
}

/// One shot's sheet.
pub(crate) fn shot_sheet(shot: &Shot) -> Value {
    let names = FrameNames::of(shot);
    let mut sheet = json!({
        "format": "plateproof-shot/1",
        "shot": shot.name,
        "extends": "../show.json",
        "plate": { "frame": names.plate, "encoding": "scene-linear", "clip_level": CAMERA_CLIP_LEVEL },
        "mirrors": [mirror(shot, &names)],
        "cg": { "version": shot.version, "spheres": [cg_sphere(shot, &names)] },
        "notes": { "action": shot.action, "known_error": shot.built_in }
    });
    if matches!(shot.mirror_take, MirrorTake::Good) {
        sheet["camera"] = camera(shot);
        sheet["cg"]["camera"] = json!({ "focal_length_mm": shot.focal_length_mm, "sensor_mm": SENSOR_MM });
    }
    if let (Some(take), Some(frame)) = (shot.environment, names.environment) {
        sheet["environment"] = json!({ "frame": frame, "heading_deg": take.heading_deg });
    }
    if let Some(heading_deg) = shot.heading_deg {
        sheet["location"] = harbour::place();
        sheet["camera"]["heading_deg"] = json!(heading_deg);
    }
    shot.from_set.tell(shot, &mut sheet);
    sheet
}

fn mirror(shot: &Shot, names: &FrameNames) -> Value {
    match shot.mirror_take {
        MirrorTake::Good => json!({
            "name": "m1",
            "bracket": [names.mirror],
            "reflectance": shot.reflectance(),
            "reflectance_sd_stops": 0.03,
            "diameter_mm": SPHERE_DIAMETER_MM
        }),
        MirrorTake::Poor => json!({ "name": "m1", "bracket": [names.mirror] }),
    }
}

fn cg_sphere(shot: &Shot, names: &FrameNames) -> Value {
    let mut sphere = json!({ "mirror": "m1", "frame": names.cg });
    sphere["reflectance"] = match shot.mirror_take {
        MirrorTake::Good => json!("same-as-mirror"),
        MirrorTake::Poor => json!(GOOD_SPHERE),
    };
    if shot.cg_frame == CgFrame::Premultiplied {
        sphere["alpha"] = json!("premultiplied");
    }
    if !shot.light_layers.is_empty() {
        sphere["light_layers"] = json!(shot.light_layers);
    }
    sphere
}

/// How far the sphere stands from the lens.
pub(crate) fn sphere_distance_mm(shot: &Shot) -> f64 {
    SPHERE_DIAMETER_MM / 2.0 / sphere(shot, GOOD_SPHERE).cone.half_angle_rad.sin()
}

fn camera(shot: &Shot) -> Value {
    json!({
        "id": "A",
        "focal_length_mm": shot.focal_length_mm,
        "squeeze": 1,
        "sensor_mm": SENSOR_MM,
        "sensor_px": [3840, 2160],
        "used_px": [3840, 2160],
        "recorded_px": [SIZE.width, SIZE.height],
        "tilt_deg": shot.tilt_deg,
        "roll_deg": 0,
        "distance_mm": sphere_distance_mm(shot).round()
    })
}
