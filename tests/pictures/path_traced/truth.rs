//! What `truth.json` of a golden shot says.

use std::path::{Path, PathBuf};

use nalgebra::Vector3;
use plateproof::sphere::direction_of_deg;
use serde_json::Value;

/// The checks that are held against truth, in the order of the table.
pub(crate) const CHECKS: [&str; 4] = ["highlight-direction", "key-fill-ratio", "exposure", "colour-balance"];

/// The folders of all golden shots, by name.
pub(crate) fn folders() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/path_traced");
    let entries = std::fs::read_dir(&root).expect("golden/path_traced is part of the repository");
    let mut list: Vec<PathBuf> = entries.map(|e| e.unwrap().path()).filter(|p| p.join("truth.json").exists()).collect();
    list.sort();
    list
}

/// One light as it was placed.
pub(crate) struct Light {
    pub(crate) name: String,
    pub(crate) direction: Vector3<f64>,
    pub(crate) angular_radius_deg: f64,
    pub(crate) share: f64,
    /// Where its middle is seen: 0 at the sphere's centre, 1 on its rim.
    pub(crate) normalised_radius: f64,
    pub(crate) degrees_per_px: f64,
    pub(crate) resolved: bool,
}

impl Light {
    /// What the direction may be off by: 0.15°, or what 0.1 px is worth here where that is more.
    pub(crate) fn direction_bound_deg(&self) -> f64 {
        0.15_f64.max(0.1 * self.degrees_per_px)
    }

    /// The same for the absolute direction of one light. Pixels are boxes and the renders have no lens blur, so a light
    /// that fits into one pixel may lie anywhere in it: half its diagonal is what the picture cannot tell.
    pub(crate) fn place_bound_deg(&self) -> f64 {
        let hidden_px = if self.resolved { 0.0 } else { 0.5_f64.sqrt() };
        self.direction_bound_deg() + hidden_px * self.degrees_per_px
    }
}

/// Truth of one shot.
pub(crate) struct Truth(Value);

impl Truth {
    pub(crate) fn read(folder: &Path) -> Self {
        let text = std::fs::read_to_string(folder.join("truth.json")).unwrap();
        Self(serde_json::from_str(&text).expect("strict JSON"))
    }

    pub(crate) fn expected_shot(&self) -> &str {
        self.0["expected_shot"].as_str().unwrap()
    }

    /// `match`, `mismatch`, `either`, `unsure` or `not-mismatch`.
    pub(crate) fn expected(&self, check: &str) -> &str {
        self.error(check)["expected"].as_str().unwrap()
    }

    /// CG minus plate side.
    pub(crate) fn error(&self, check: &str) -> &Value {
        &self.0["errors_cg_minus_mirror"][check]
    }

    pub(crate) fn lights(&self, side: &str) -> Vec<Light> {
        let unresolved = names(&self.0[side]["unresolved_lights"]);
        self.0[side]["lights"].as_array().unwrap().iter().map(|entry| light(entry, &unresolved)).collect()
    }

    pub(crate) fn outline(&self, side: &str) -> [f64; 5] {
        let list: Vec<f64> = self.0[side]["outline_px"].as_array().unwrap().iter().map(number).collect();
        list.try_into().unwrap()
    }

    /// Names of the lights without a partner: missing in the CG, extra in it.
    pub(crate) fn unpaired(&self) -> [Vec<String>; 2] {
        ["missing_in_cg", "extra_in_cg"].map(|key| names(&self.error("highlight-direction")[key]))
    }

    pub(crate) fn unpaired_shares(&self) -> Vec<f64> {
        let [missing, extra] = self.unpaired();
        let share = |side: &str, name: &String| self.lights(side).iter().find(|l| l.name == *name).unwrap().share;
        missing.iter().map(|n| share("mirror", n)).chain(extra.iter().map(|n| share("cg", n))).collect()
    }

    pub(crate) fn clip_level(&self) -> Option<f64> {
        self.0["photograph"]["clip_level"].as_f64()
    }

    /// Stops by which the mirror frame is brighter than the plate beyond what its attributes say.
    pub(crate) fn unexplained_drift_stops(&self) -> f64 {
        number(&self.0["reference-drift"]["unexplained_stops_mirror_minus_plate"])
    }

    /// The plate's picture lies this much further right and down than the mirror frame's.
    pub(crate) fn plate_minus_mirror_px(&self) -> [f64; 2] {
        let shift = &self.0["reference-drift"]["plate_minus_mirror_px"];
        [number(&shift[0]), number(&shift[1])]
    }
}

fn light(entry: &Value, unresolved: &[String]) -> Light {
    let name = entry["name"].as_str().unwrap().to_owned();
    Light {
        direction: direction_of_deg(number(&entry["azimuth_deg"]), number(&entry["elevation_deg"])),
        angular_radius_deg: number(&entry["angular_radius_deg"]),
        share: number(&entry["share"]),
        normalised_radius: number(&entry["normalised_radius"]),
        degrees_per_px: number(&entry["degrees_per_px"]),
        resolved: !unresolved.contains(&name),
        name,
    }
}

fn names(list: &Value) -> Vec<String> {
    list.as_array().unwrap().iter().map(|name| name.as_str().unwrap().to_owned()).collect()
}

pub(crate) fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"))
}
