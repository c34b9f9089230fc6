//! The shot sheet's top level.

use std::path::PathBuf;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::{
    CameraSpec, CgSpec, CgSphereSpec, EnvironmentSpec, ImageSpec, MatteSpec, MeasuredSpec, MirrorSpec, PlaceSpec,
    Tolerances, WaiverSpec,
};
use crate::image::limits::Limits;

/// The value of `format` in a sheet.
pub const SHEET_FORMAT: &str = "plateproof-shot/1";

/// One shot: what was photographed, what was rendered, and what is known about both.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[schemars(extend("required" = ["format"]))]
pub struct ShotSheet {
    /// Always `plateproof-shot/1`.
    #[schemars(extend("const" = SHEET_FORMAT))]
    pub format: String,
    /// Another sheet, relative to this one, that supplies every key left out here.
    #[serde(skip_serializing)]
    pub extends: Option<String>,
    /// The shot's name.
    #[schemars(length(min = 1))]
    pub shot: String,
    /// The folder that relative paths start from.
    #[serde(skip)]
    pub base_dir: PathBuf,
    /// The live-action plate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plate: Option<ImageSpec>,
    /// Mirror spheres photographed on set.
    #[schemars(length(min = 1, max = 32))]
    pub mirrors: Vec<MirrorSpec>,
    /// Grey spheres or cards photographed on set.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 32))]
    pub grey_spheres: Vec<MatteSpec>,
    /// The rendered spheres and the CG camera.
    pub cg: CgSpec,
    /// The camera that shot the plate and the sphere frames.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub camera: Option<CameraSpec>,
    /// The environment map (lat-long) that lights the CG.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub environment: Option<EnvironmentSpec>,
    /// The clean plate: the same view without the actors.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clean_plate: Option<ImageSpec>,
    /// A picture of straight lines taken through the same lens, to measure its distortion.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub straight_lines: Option<ImageSpec>,
    /// Lengths measured on set.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub measured_lengths: Vec<MeasuredSpec>,
    /// Where and when the sphere was photographed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub location: Option<PlaceSpec>,
    /// Tolerances: how far the CG may be off and still match.
    pub tolerances: Tolerances,
    /// Mismatches that somebody accepts until a date.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub waivers: Vec<WaiverSpec>,
    /// Checks that need a definite result: if one of them is `unsure` or `not-given`, the shot is at best `unsure`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 32))]
    pub require: Vec<String>,
    /// Notes of your own; they are copied into the report.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub notes: Option<Map<String, Value>>,
}

impl ShotSheet {
    /// The mirror of that name.
    pub fn mirror(&self, name: &str) -> Option<&MirrorSpec> {
        self.mirrors.iter().find(|mirror| mirror.name == name)
    }

    /// Sets how much memory and time reading each picture may take.
    pub fn limit_pictures(&mut self, limits: Limits) {
        self.each_picture(|image| image.limits = limits);
    }

    /// Sets the colour config in which encodings `ocio:NAME` are looked up.
    pub fn use_colour_config(&mut self, config: Option<&Arc<str>>) {
        self.each_picture(|image| image.colour_config = config.cloned());
    }

    fn each_picture(&mut self, change: impl FnMut(&mut ImageSpec)) {
        let brackets = self.mirrors.iter_mut().map(|mirror| &mut mirror.bracket);
        let brackets = brackets.chain(self.grey_spheres.iter_mut().map(|matte| &mut matte.bracket));
        let single = [&mut self.plate, &mut self.clean_plate, &mut self.straight_lines].into_iter().flatten();
        let single = single.chain(self.environment.iter_mut().flat_map(EnvironmentSpec::pictures_mut));
        let single = single.chain(self.cg.spheres.iter_mut().map(|sphere| &mut sphere.image));
        single.chain(brackets.flatten()).for_each(change);
    }

    /// The rendered sphere that matches the mirror of that name.
    pub fn cg_sphere(&self, mirror: &str) -> Option<&CgSphereSpec> {
        self.cg.spheres.iter().find(|sphere| sphere.mirror.as_deref() == Some(mirror))
    }

    /// The CG camera: its own keys, else those of the plate's camera. If it has its own film back, the render covers
    /// all of it, and how much of the real sensor was read out is ignored.
    pub fn cg_camera(&self) -> Option<CameraSpec> {
        match (&self.cg.camera, &self.camera) {
            (Some(own), Some(plate)) => {
                let plate = if own.sensor_size_mm().is_some() { plate.without_read_out() } else { plate.clone() };
                Some(own.or(&plate))
            }
            (own, plate) => own.clone().or_else(|| plate.clone()),
        }
    }
}
