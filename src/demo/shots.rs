//! The shots: what was on set, how its frames were taken, and what is wrong in the CG.

use super::harbour::{self, DUSK, EVENING, EVENING_TIME};
use super::scene::Scene;
use super::set::{cabin_window, cloth, deck_at_dusk, deck_in_evening_sun, lamp, salt_hall};
use super::shot::{BuiltIn, CgFrame, CleanTake, EnvironmentTake, FromSet, GridTake, MirrorTake, Shot};
use crate::findings::ShotVerdict;

/// All shots in the order of the film.
pub(crate) fn shots() -> Vec<Shot> {
    vec![sf_0110(), sf_0140(), sf_0210(), sf_0230(), sf_0320(), sf_0350(), sf_0410(), sf_0430(), sf_0440(), sf_0500()]
}

/// A shot without errors on the given set.
fn faithful(name: &'static str, action: &'static str, set: Scene) -> Shot {
    Shot {
        name,
        action,
        built_in: "nothing beyond what a careful artist leaves",
        version: "v012",
        mended: None,
        focal_length_mm: 32.0,
        tilt_deg: -3.0,
        sphere_px: [560.0, 300.0],
        sphere_radius_px: 96.0,
        cg: set.clone(),
        set,
        mirror_take: MirrorTake::Good,
        clock: DUSK,
        heading_deg: None,
        cg_frame: CgFrame::Premultiplied,
        drift_stops: 0.0,
        figure_azimuth_deg: None,
        from_set: FromSet::default(),
        errors: BuiltIn::default(),
        environment: None,
        light_layers: &[],
        verdict: ShotVerdict::Match,
    }
}

fn sf_0110() -> Shot {
    let set = deck_at_dusk(110, 160.0)
        .with_panel(cabin_window())
        .with_panel(cloth(62.0, 14.0, [15.0, 11.0], 5600.0, 0.9))
        .with_light(lamp(-42.0, 34.0, 5.0, 3200.0, 60.0));
    Shot {
        figure_azimuth_deg: Some(-172.0),
        from_set: FromSet {
            clean: Some(CleanTake { shift_px: [0.02, -0.01], stops: 0.0 }),
            grid: Some(GridTake { k1: 0.03, undone: true }),
            ..FromSet::default()
        },
        errors: BuiltIn { exposure_stops: 0.05, heading_deg: 0.6, ..BuiltIn::default() },
        environment: Some(EnvironmentTake { heading_deg: 30.0, stops: 0.0 }),
        ..faithful("SF_0110", "the ferry casts off, the mate coils the line", set)
    }
}

fn sf_0140() -> Shot {
    let set = deck_at_dusk(140, 173.0)
        .with_panel(cabin_window())
        .with_light(lamp(38.0, 28.0, 4.5, 3200.0, 70.0))
        .with_light(lamp(-96.0, 22.0, 4.0, 4000.0, 26.0));
    Shot {
        built_in: "surroundings turned 14 deg counter-clockwise and tipped 1.5 deg; no lens distortion",
        version: "v007",
        focal_length_mm: 40.0,
        sphere_px: [402.0, 282.0],
        sphere_radius_px: 104.0,
        figure_azimuth_deg: Some(172.0),
        from_set: FromSet { grid: Some(GridTake { k1: 0.045, undone: false }), ..FromSet::default() },
        errors: BuiltIn { heading_deg: 14.0, tip_deg: 1.5, ..BuiltIn::default() },
        verdict: ShotVerdict::Mismatch,
        ..faithful("SF_0140", "the passenger counts the salt crates", set)
    }
}

fn sf_0210() -> Shot {
    let set = salt_hall(210)
        .with_panel(cloth(-120.0, 12.0, [14.0, 16.0], 5600.0, 0.7))
        .with_light(lamp(-34.0, 40.0, 6.0, 5600.0, 32.0));
    Shot {
        built_in: "0.65 stop under, 0.15 stop too red and 0.30 stop short of blue",
        version: "v003",
        mended: Some("v004"),
        focal_length_mm: 28.0,
        tilt_deg: -2.0,
        sphere_px: [520.0, 318.0],
        sphere_radius_px: 92.0,
        cg_frame: CgFrame::OverBackground,
        errors: BuiltIn { exposure_stops: -0.65, red_green_stops: 0.15, blue_green_stops: -0.30, ..BuiltIn::default() },
        verdict: ShotVerdict::Mismatch,
        ..faithful("SF_0210", "she hides behind the heap of salt", set)
    }
}

fn sf_0230() -> Shot {
    let key = lamp(-60.0, 20.0, 5.0, 4300.0, 50.0);
    let lit = |fill: f64| {
        let fill = cloth(70.0, -14.0, [28.0, 24.0], 4700.0, fill);
        salt_hall(230).with_panel(fill).with_light(key.clone())
    };
    Shot {
        built_in: "fill cloth 1.8 stops too weak",
        version: "v021",
        focal_length_mm: 35.0,
        tilt_deg: -2.0,
        sphere_px: [448.0, 290.0],
        sphere_radius_px: 100.0,
        cg: lit(0.42),
        verdict: ShotVerdict::Mismatch,
        ..faithful("SF_0230", "the foreman opens the hatch", lit(1.5))
    }
}

fn sf_0320() -> Shot {
    let without_rim =
        deck_at_dusk(320, 175.0).with_panel(cabin_window()).with_light(lamp(50.0, 42.0, 5.5, 4300.0, 48.0));
    Shot {
        built_in: "lamp behind the passenger's left shoulder left out; the clean plate moved and 0.25 stop over",
        version: "v009",
        focal_length_mm: 50.0,
        sphere_px: [600.0, 276.0],
        sphere_radius_px: 98.0,
        cg: without_rim.clone(),
        figure_azimuth_deg: Some(-174.0),
        from_set: FromSet { clean: Some(CleanTake { shift_px: [3.4, -1.2], stops: 0.25 }), ..FromSet::default() },
        verdict: ShotVerdict::Mismatch,
        ..faithful(
            "SF_0320",
            "the passenger looks back at the quay",
            without_rim.with_light(lamp(-118.0, 26.0, 4.0, 5200.0, 60.0)),
        )
    }
}

fn sf_0350() -> Shot {
    let set = deck_at_dusk(350, 150.0).with_panel(cabin_window()).with_light(lamp(-60.0, 24.0, 4.0, 3200.0, 80.0));
    Shot {
        built_in: "nothing in the CG; the mirror frame is too poor to prove it",
        version: "v004",
        sphere_px: [610.0, 330.0],
        sphere_radius_px: 31.0,
        mirror_take: MirrorTake::Poor,
        verdict: ShotVerdict::Unsure,
        ..faithful("SF_0350", "fog on the slip, nobody had time", set)
    }
}

fn sf_0410() -> Shot {
    let set = deck_at_dusk(410, -165.0)
        .with_panel(cabin_window())
        .with_panel(cloth(-70.0, 18.0, [15.0, 12.0], 5600.0, 0.8))
        .with_light(lamp(30.0, 36.0, 5.0, 3200.0, 55.0));
    Shot {
        built_in: "nothing in the CG; the mirror frame was exposed 0.6 stop more than the plate",
        version: "v002",
        focal_length_mm: 25.0,
        sphere_px: [470.0, 296.0],
        sphere_radius_px: 88.0,
        drift_stops: 0.6,
        verdict: ShotVerdict::Unsure,
        ..faithful("SF_0410", "second take after the filter change", set)
    }
}

fn sf_0430() -> Shot {
    let lit = |key: f64, rim: f64| {
        deck_at_dusk(430, 165.0)
            .with_panel(cabin_window())
            .with_light(lamp(-44.0, 32.0, 5.0, 3200.0, 60.0 * key))
            .with_light(lamp(128.0, 24.0, 4.5, 4300.0, 60.0 * rim))
    };
    Shot {
        built_in: "key 1.5 times as strong as on set, rim 0.6 times",
        version: "v005",
        focal_length_mm: 40.0,
        sphere_px: [430.0, 286.0],
        sphere_radius_px: 98.0,
        cg: lit(1.5, 0.6),
        light_layers: &["key", "rim", "dusk"],
        verdict: ShotVerdict::Mismatch,
        ..faithful("SF_0430", "the mate counts the crates by lamplight", lit(1.0, 1.0))
    }
}

fn sf_0440() -> Shot {
    let set = deck_at_dusk(440, 155.0).with_panel(cabin_window()).with_light(lamp(46.0, 38.0, 5.0, 3200.0, 50.0));
    Shot {
        built_in: "the captured environment is 0.8 stop too bright, and the CG was set up by it",
        version: "v003",
        sphere_px: [500.0, 290.0],
        sphere_radius_px: 96.0,
        errors: BuiltIn { exposure_stops: 0.8, ..BuiltIn::default() },
        environment: Some(EnvironmentTake { heading_deg: -75.0, stops: 0.8 }),
        verdict: ShotVerdict::Mismatch,
        ..faithful("SF_0440", "the lamp is carried ashore", set)
    }
}

/// The view's compass bearing in `SF_0500`.
const EVENING_HEADING_DEG: f64 = 52.0;

/// Thin cloud spreads the sun to this angular radius.
const SUN_RADIUS_DEG: f64 = 4.0;

/// Luminance of that disc.
const SUN_LUMINANCE: f64 = 165.0;

fn sf_0500() -> Shot {
    let sun = harbour::sun_at(EVENING_TIME);
    let azimuth_deg = harbour::azimuth_deg(sun.bearing_deg, EVENING_HEADING_DEG);
    let set = deck_in_evening_sun(500, azimuth_deg).with_light(lamp(
        azimuth_deg,
        sun.elevation_deg,
        SUN_RADIUS_DEG,
        4600.0,
        SUN_LUMINANCE,
    ));
    Shot {
        built_in: "nothing; the key is the evening sun behind thin cloud, and a grey sphere was shot too",
        version: "v008",
        sphere_px: [540.0, 292.0],
        clock: EVENING,
        heading_deg: Some(EVENING_HEADING_DEG),
        from_set: FromSet { matte: true, ..FromSet::default() },
        ..faithful("SF_0500", "the ferry comes in with the evening sun", set)
    }
}
