//! Spheres photographed on set.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{IgnoreSpec, ImageSpec, schema_parts};
use crate::optics::material::Material;
use crate::sphere::{Outline, Told};

/// One mirror sphere photographed on set. In a sheet, a plain string is short for an object with that `frame`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct MirrorSpec {
    /// Name of the sphere. If left out: `m1`, `m2`, … in the order of the sheet.
    #[schemars(length(min = 1))]
    pub name: String,
    /// The exposures of a bracket. A single `frame` is a bracket of one; once loaded, a sheet always has at least one
    /// here.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 32))]
    pub bracket: Vec<ImageSpec>,
    /// `frame` instead of a bracket, and what applies to every exposure (`encoding`, `colour_space`, `clip_level`,
    /// `layer`); once loaded, it has been copied into each entry of `bracket`.
    #[serde(flatten, skip_serializing)]
    pub whole: ImageSpec,
    /// Linear reflectance (red, green, blue) in the frame's own colour space, or the name of a material. If left out:
    /// unknown.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::mirror_reflectance")]
    pub reflectance: Option<MirrorReflectance>,
    /// One standard deviation of that reflectance, in stops.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 10.0))]
    pub reflectance_sd_stops: Option<f64>,
    /// Diameter in millimetres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("exclusiveMinimum" = 0))]
    pub diameter_mm: Option<f64>,
    /// The same diameter as written down on set, instead of `diameter_mm`: `"25 cm"`, `"10 in"`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub diameter: Option<String>,
    /// Position of the sphere's centre, mm from any origin: towards frame right, up the frame, along the lens axis.
    /// Whether the third number grows towards the camera or away from it is found from the pictures.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub position_mm: Option<[f64; 3]>,
    /// The sphere's outline, instead of searching for it, px: centre x, centre y, radius; or centre x, centre y, the
    /// two semi-axes, and the angle of the first in degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::outline_px")]
    pub outline_px: Option<Vec<f64>>,
    /// A circle drawn around the sphere by hand, accurate to 15 % of its radius, px: centre x, centre y, radius. Used
    /// instead of `outline_px`; the program refines it on the picture.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::near_px")]
    pub near_px: Option<Vec<f64>>,
    /// Regions of the sphere to leave out of every comparison, on the photographed and the CG sphere: crew, tripod, the
    /// photographer.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ignore: Vec<IgnoreSpec>,
    /// Whether to correct the photographed sphere by the exposure and colour drift measured between the plate and the
    /// sphere frame.
    pub correct_drift: bool,
}

/// Reflectance of a photographed mirror sphere.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum MirrorReflectance {
    /// Linear red, green and blue in the frame's own colour space, the same at every angle.
    Rgb([f64; 3]),
    /// Of a material, depending on colour and angle.
    Material(Material),
}

impl MirrorReflectance {
    /// Linear reflectance at normal incidence.
    pub fn head_on(self) -> [f64; 3] {
        match self {
            Self::Rgb(rgb) => rgb,
            Self::Material(material) => material.reflectance(0.0),
        }
    }

    /// The material, if one is given.
    pub fn material(self) -> Option<Material> {
        match self {
            Self::Rgb(_) => None,
            Self::Material(material) => Some(material),
        }
    }
}

impl MirrorSpec {
    /// The outline, if one was given instead of searching for it.
    pub fn outline(&self) -> Option<Outline> {
        outline_from(self.outline_px.as_deref()?)
    }

    /// What is given about its position in the frame.
    pub fn told(&self) -> Told {
        Told::of(self.outline(), self.near_px.as_deref().and_then(near_from))
    }
}

/// A grey sphere or card photographed on set. In a sheet, a plain string is short for an object with that `frame`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub struct MatteSpec {
    /// Name of the sphere or card.
    #[schemars(length(min = 1))]
    pub name: String,
    /// The exposures of a bracket.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schemars(length(max = 32))]
    pub bracket: Vec<ImageSpec>,
    /// As for a mirror sphere.
    #[serde(flatten, skip_serializing)]
    pub whole: ImageSpec,
    /// Linear reflectance (red, green, blue) in the frame's own colour space.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::reflectance_rgb")]
    pub reflectance: Option<[f64; 3]>,
    /// The outline, px; as for a mirror sphere.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::outline_px")]
    pub outline_px: Option<Vec<f64>>,
    /// A circle drawn around it by hand, px; as for a mirror sphere.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(schema_with = "schema_parts::near_px")]
    pub near_px: Option<Vec<f64>>,
}

impl MatteSpec {
    /// The outline, if one was given instead of searching for it.
    pub fn outline(&self) -> Option<Outline> {
        outline_from(self.outline_px.as_deref()?)
    }

    /// What is given about its position in the frame.
    pub fn told(&self) -> Told {
        Told::of(self.outline(), self.near_px.as_deref().and_then(near_from))
    }
}

/// An outline from the three or five numbers of a sheet or an option; `None` for any other count, or where a
/// semi-axis is not positive.
pub(crate) fn outline_from(numbers: &[f64]) -> Option<Outline> {
    let outline = match *numbers {
        [x, y, radius] => Outline::circle(x, y, radius),
        [centre_x, centre_y, semi_a, semi_b, angle_deg] => Outline { centre_x, centre_y, semi_a, semi_b, angle_deg },
        _ => return None,
    };
    (outline.semi_a > 0.0 && outline.semi_b > 0.0).then(|| ordered(outline))
}

/// Smallest radius of a circle drawn by hand, px.
const SMALLEST_NEAR_PX: f64 = 2.0;

/// A circle drawn by hand from the three numbers of a sheet or an option; `None` for any other count, and if its radius
/// is not above 0.
pub(crate) fn near_from(numbers: &[f64]) -> Option<[f64; 3]> {
    let circle: [f64; 3] = numbers.try_into().ok()?;
    (circle.iter().all(|number| number.is_finite()) && circle[2] >= SMALLEST_NEAR_PX).then_some(circle)
}

/// The same ellipse with the larger semi-axis first, as [`Outline`] promises, and its angle in (−90, 90].
fn ordered(outline: Outline) -> Outline {
    let turned = outline.semi_b > outline.semi_a;
    let angle_deg = outline.angle_deg + if turned { 90.0 } else { 0.0 };
    let half_turn = angle_deg.rem_euclid(180.0);
    Outline {
        semi_a: outline.semi_a.max(outline.semi_b),
        semi_b: outline.semi_a.min(outline.semi_b),
        angle_deg: if half_turn > 90.0 { half_turn - 180.0 } else { half_turn },
        ..outline
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_numbers_are_a_circle_and_five_an_ellipse() {
        assert_eq!(outline_from(&[10.0, 20.0, 5.0]), Some(Outline::circle(10.0, 20.0, 5.0)));
        let given = outline_from(&[10.0, 20.0, 4.0, 5.0, 10.0]).unwrap();
        assert_eq!(given, Outline { centre_x: 10.0, centre_y: 20.0, semi_a: 5.0, semi_b: 4.0, angle_deg: -80.0 });
        assert_eq!(outline_from(&[10.0, 20.0, 0.0]), None);
        assert_eq!(outline_from(&[10.0, 20.0, 5.0, 4.0]), None);
    }

    #[test]
    fn a_circle_drawn_by_hand_has_three_numbers_and_a_size() {
        assert_eq!(near_from(&[10.0, 20.0, 2.0]), Some([10.0, 20.0, 2.0]));
        for wrong in [&[10.0, 20.0][..], &[10.0, 20.0, 1.9], &[10.0, 20.0, 5.0, 5.0], &[f64::NAN, 20.0, 5.0]] {
            assert_eq!(near_from(wrong), None, "{wrong:?}");
        }
    }
}
