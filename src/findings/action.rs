//! What to change, as data for other programs: the same that a finding's remedy says in words.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What undoes a finding. Directions are camera axes; gains multiply scene-linear light. In a finding `environment`
/// that concerns the reference, the captured environment stands in the CG's place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Action {
    /// Turn all of the CG's light: about up, then tilt, then roll (right-handed).
    TurnEnvironment {
        /// About up, counter-clockwise seen from above.
        heading_deg: f64,
        /// About the axis to the right.
        tilt_deg: f64,
        /// About the axis towards the camera.
        roll_deg: f64,
        /// What up is: `world` where the camera's tilt is known, else `camera`.
        up: String,
    },
    /// Move one light of the CG to where the photograph has it.
    TurnLight {
        /// Where it stands in the CG.
        from: Place,
        /// Where it belongs.
        to: Place,
    },
    /// Multiply the whole CG.
    Gain {
        /// Factor of each channel, working space.
        rgb: [f64; 3],
    },
    /// Multiply some of the CG's light.
    LightGain {
        /// Each part with its factor.
        lights: Vec<LightFactor>,
    },
    /// Add the lights that the CG lacks.
    AddLight {
        /// Each as the photograph shows it.
        lights: Vec<LightSeen>,
    },
    /// Remove the lights that the CG has too many.
    RemoveLight {
        /// Each as the CG shows it.
        lights: Vec<LightSeen>,
    },
    /// Render the CG sphere again in another way.
    RenderAgain,
    /// Record something on set again, or find another take of it.
    ShootAgain,
    /// Give what is missing on the shot sheet or beside it.
    Give,
}

/// A direction.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Place {
    /// 0 from the camera side, + to frame right.
    pub azimuth_deg: f64,
    /// + above.
    pub elevation_deg: f64,
}

impl From<[f64; 2]> for Place {
    /// Azimuth and elevation in degrees.
    fn from([azimuth_deg, elevation_deg]: [f64; 2]) -> Self {
        Self { azimuth_deg, elevation_deg }
    }
}

/// Some of the CG's light and what to multiply it by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LightFactor {
    /// Which.
    #[serde(flatten)]
    pub part: LightPart,
    /// Factor of each channel, working space.
    pub rgb: [f64; 3],
}

/// Some of the CG's light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LightPart {
    /// The light that stands there.
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
    /// Whatever stands out as a light.
    Lights,
    /// What lies between the lights.
    Surroundings,
}

/// A light as one side shows it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LightSeen {
    /// Where it stands.
    pub at: Place,
    /// Part of the light on a plane that faces it.
    pub share: f64,
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    #[test]
    fn each_kind_reads_as_other_programs_expect_it() {
        let at = Place { azimuth_deg: 64.0, elevation_deg: 18.0 };
        let lamp = LightSeen { at, share: 0.6 };
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
