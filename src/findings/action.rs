//! What to change, as data for other programs: the same as a finding's remedy says in words.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What undoes a finding. Directions are camera axes; gains multiply scene-linear light. In a finding `environment`
/// that concerns the reference, the captured environment stands in the CG's place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Action {
    /// Rotate all of the CG's light: about the vertical, then tilt, then roll (right-handed).
    TurnEnvironment {
        /// Rotation about the vertical, degrees, counter-clockwise seen from above.
        heading_deg: f64,
        /// Rotation about the axis to frame right, degrees.
        tilt_deg: f64,
        /// Rotation about the axis towards the camera, degrees.
        roll_deg: f64,
        /// Which vertical is meant: `world` where the camera's tilt is known, else `camera`.
        up: String,
    },
    /// Move one light of the CG to where the photograph shows it.
    TurnLight {
        /// Where it is in the CG.
        from: Place,
        /// Where it should be.
        to: Place,
    },
    /// Multiply the whole CG render.
    Gain {
        /// Factor for red, green and blue, linear BT.709.
        rgb: [f64; 3],
    },
    /// Multiply some of the CG's light.
    LightGain {
        /// Each part with its factor.
        lights: Vec<LightFactor>,
    },
    /// Add lights that are missing in the CG.
    AddLight {
        /// Each light as the photograph shows it.
        lights: Vec<LightSeen>,
    },
    /// Remove extra lights from the CG.
    RemoveLight {
        /// Each light as the CG shows it.
        lights: Vec<LightSeen>,
    },
    /// Render the CG sphere again with other settings.
    RenderAgain,
    /// Photograph something again on set, or find another take of it.
    ShootAgain,
    /// Supply something that is missing: a key of the shot sheet or a file.
    Give,
}

/// A direction.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Place {
    /// Azimuth in camera axes, degrees: 0 = from the camera side, + = frame right.
    pub azimuth_deg: f64,
    /// Elevation, degrees: + = above.
    pub elevation_deg: f64,
}

impl From<[f64; 2]> for Place {
    /// Azimuth and elevation in degrees.
    fn from([azimuth_deg, elevation_deg]: [f64; 2]) -> Self {
        Self { azimuth_deg, elevation_deg }
    }
}

/// Part of the CG's light and what to multiply it by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LightFactor {
    /// Which part.
    #[serde(flatten)]
    pub part: LightPart,
    /// Factor for red, green and blue, linear BT.709.
    pub rgb: [f64; 3],
}

/// Part of the CG's light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LightPart {
    /// The light in this direction.
    At(Place),
    /// These layers of the picture.
    Layers(Vec<String>),
    /// `keys`, `all_but_keys`, `lights` or `surroundings`.
    All(Share),
}

/// A share of all light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Share {
    /// The key lights.
    Keys,
    /// Everything else.
    AllButKeys,
    /// All single lights.
    Lights,
    /// Everything between the lights.
    Surroundings,
}

/// A light as one side shows it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LightSeen {
    /// Its direction.
    pub at: Place,
    /// Its share of all the light that a surface facing it receives, 0 to 1.
    pub share: f64,
    /// Of a light to be added: its illuminance over the key's, at least where the photograph cuts it off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub times_key: Option<f64>,
    /// Of a light to be added: its correlated colour temperature, K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cct_kelvin: Option<f64>,
}

impl LightSeen {
    /// A light of which no more is told.
    pub(crate) fn new(at: Place, share: f64) -> Self {
        Self { at, share, times_key: None, cct_kelvin: None }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    #[test]
    fn each_kind_reads_as_other_programs_expect_it() {
        let at = Place { azimuth_deg: 64.0, elevation_deg: 18.0 };
        let lamp = LightSeen::new(at, 0.6);
        let kinds = [
            (Action::Gain { rgb: [1.03, 1.0, 0.91] }, json!({ "kind": "gain", "rgb": [1.03, 1.0, 0.91] })),
            (
                Action::LightGain {
                    lights: vec![
                        LightFactor { part: LightPart::All(Share::AllButKeys), rgb: [2.0; 3] },
                        LightFactor { part: LightPart::Layers(vec!["rim".to_owned()]), rgb: [0.5; 3] },
                        LightFactor { part: LightPart::At(at), rgb: [3.0; 3] },
                    ],
                },
                json!({ "kind": "light-gain", "lights": [
                    { "all": "all_but_keys", "rgb": [2.0, 2.0, 2.0] },
                    { "layers": ["rim"], "rgb": [0.5, 0.5, 0.5] },
                    { "at": { "azimuth_deg": 64.0, "elevation_deg": 18.0 }, "rgb": [3.0, 3.0, 3.0] },
                ] }),
            ),
            (
                Action::AddLight { lights: vec![lamp] },
                json!({ "kind": "add-light", "lights": [
                    { "at": { "azimuth_deg": 64.0, "elevation_deg": 18.0 }, "share": 0.6 },
                ] }),
            ),
            (Action::ShootAgain, json!({ "kind": "shoot-again" })),
        ];
        let schema = schemars::schema_for!(Action);
        let validator = jsonschema::validator_for(schema.as_value()).unwrap();
        for (action, expected) in kinds {
            let written: Value = serde_json::to_value(&action).unwrap();
            assert_eq!(written, expected);
            assert!(validator.is_valid(&written), "{written}");
            assert_eq!(serde_json::from_value::<Action>(written).unwrap(), action);
        }
    }
}
