//! What to do about a finding, as data. [`words`] makes the sentences, [`Remedy::action`] what other programs may act
//! on.

mod ask;
mod step;
mod words;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Action, LightFactor, LightPart, LightSeen, Share};

pub(crate) use ask::Ask;
pub(crate) use step::{
    CleanPlateMove, ContrastCure, DistanceBy, Drift, LayerChange, Lens, LensThatFits, LightToMend, OddGauge, ReadAs,
    Remaining, Slip, Step, Strength, Swap, Turn, Waits,
};
pub(crate) use words::{layers_named, turn_words};

/// What to do about a finding; empty where nothing is asked for.
///
/// A remedy that was read from a report has the report's sentence and action, and no more.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(from = "Written", into = "Written")]
pub struct Remedy {
    steps: Vec<Step>,
    subject: Subject,
    /// Each holds for all that stands before it.
    conditions: Vec<Condition>,
}

/// A remedy as a report holds it.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
pub(super) struct Written {
    /// What to do, in a sentence; empty if nothing has to be done.
    remedy: String,
    /// What to do, as data for other programs: a gain, a turn, lights to add or remove, or what has to be given, shot or
    /// rendered again. Absent if it is none of these, or if another finding has to be fixed first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    action: Option<Action>,
}

impl From<Written> for Remedy {
    fn from(written: Written) -> Self {
        if written.remedy.is_empty() {
            Self::default()
        } else {
            Step::Told { words: written.remedy, action: written.action }.into()
        }
    }
}

impl From<Remedy> for Written {
    fn from(remedy: Remedy) -> Self {
        Self { remedy: remedy.words(), action: remedy.action() }
    }
}

impl From<Step> for Remedy {
    fn from(step: Step) -> Self {
        Self { steps: vec![step], ..Self::default() }
    }
}

impl From<Ask> for Remedy {
    fn from(ask: Ask) -> Self {
        Step::Ask(ask).into()
    }
}

/// Whose light the steps change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Subject {
    /// The CG.
    #[default]
    Cg,
    /// The captured environment, which stands in the CG's place where it is compared with the photographed sphere.
    Environment,
}

/// What has to be known or done before a remedy, or holds of it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Condition {
    /// It stands on the advised turn of the environment, after which so much is left, stops.
    AfterTheTurn { left_stops: f64 },
    /// One gain of each channel mends the exposure too.
    WithExposure { rgb: [f64; 3] },
    /// The CG follows the environment, which has to be mended in its place.
    EnvironmentFirst,
    /// The CG's file does not say its colour space.
    ColourSpaceAssumed { file: String, space: String },
    /// The sphere's tint is not known.
    ReflectanceFirst,
    /// By how much depends on whether the photograph is clipped.
    ClipLevelOpen,
    /// Other findings ask for the same.
    AskedByOthers,
}

impl Remedy {
    /// A sentence from elsewhere, such as the remedy of an error.
    pub fn told(words: impl Into<String>) -> Self {
        Written { remedy: words.into(), action: None }.into()
    }

    /// A sentence from elsewhere that asks for something on the sheet or beside it.
    pub(crate) fn give(words: impl Into<String>) -> Self {
        Written { remedy: words.into(), action: Some(Action::Give) }.into()
    }

    /// Nothing is asked for.
    pub fn is_empty(&self) -> bool {
        self.steps.is_empty()
    }

    /// All of it in words, without a full stop; empty where nothing is asked for.
    pub fn words(&self) -> String {
        words::whole(self)
    }

    /// What to do first, in words: without what would remain after it and what may be done besides.
    pub fn short(&self) -> String {
        words::short(self)
    }

    /// The same for other programs; absent where another finding comes first, or where no kind of action says it.
    ///
    /// An action is of one kind: that of the first step that has one. Lights to add or remove are collected.
    pub fn action(&self) -> Option<Action> {
        if let Some(condition) = self.conditions.iter().rev().find(|condition| condition.replaces_action()) {
            return condition.action();
        }
        let mut actions = self.steps.iter().filter_map(Step::action);
        let mut first = actions.next()?;
        for more in actions {
            match (&mut first, more) {
                (Action::AddLight { lights }, Action::AddLight { lights: more })
                | (Action::RemoveLight { lights }, Action::RemoveLight { lights: more }) => lights.extend(more),
                _ => {}
            }
        }
        Some(first)
    }

    /// Something else than light is the likelier cause.
    pub(crate) fn comes_before_light(&self) -> bool {
        matches!(
            self.steps.first(),
            Some(Step::WrongEncoding(_) | Step::EncodedLight { .. } | Step::CutAtWhite | Step::Swapped(_))
        )
    }

    /// One more thing to do.
    pub(crate) fn add(&mut self, step: impl Into<Step>) {
        self.steps.push(step.into());
    }

    /// One more thing that holds of it.
    pub(crate) fn hold(&mut self, condition: Condition) {
        self.conditions.push(condition);
    }

    /// The steps of several remedies as one, about the light of another subject.
    pub(crate) fn of_all<'a>(remedies: impl IntoIterator<Item = &'a Self>, subject: Subject) -> Self {
        let steps = remedies.into_iter().flat_map(|remedy| remedy.steps.clone()).collect();
        Self { steps, subject, conditions: Vec::new() }
    }
}

impl std::fmt::Display for Remedy {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.words())
    }
}

impl FromIterator<Step> for Remedy {
    fn from_iter<T: IntoIterator<Item = Step>>(steps: T) -> Self {
        Self { steps: steps.into_iter().collect(), ..Self::default() }
    }
}

impl Condition {
    /// What it asks for comes before the remedy's own action.
    fn replaces_action(&self) -> bool {
        !matches!(self, Self::AfterTheTurn { .. } | Self::WithExposure { .. })
    }

    fn action(&self) -> Option<Action> {
        let asks = matches!(self, Self::ColourSpaceAssumed { .. } | Self::ReflectanceFirst | Self::ClipLevelOpen);
        asks.then_some(Action::Give)
    }
}

impl Step {
    fn action(&self) -> Option<Action> {
        let grey = |part, gain: f64| LightFactor { part, rgb: [gain; 3] };
        let share = |share, gain: &Option<f64>| gain.map(|gain| grey(LightPart::All(share), gain));
        Some(match self {
            Self::Ask(ask) => ask.action()?,
            Self::Told { action, .. } => action.clone()?,
            Self::TurnKey(turn) => Action::TurnLight { from: turn.place_of_light(), to: turn.wanted_place() },
            Self::AddLight { light, strength } => {
                let told = LightSeen { times_key: strength.times_key, cct_kelvin: strength.kelvin, ..*light };
                Action::AddLight { lights: vec![told] }
            }
            Self::AddKey { light } => Action::AddLight { lights: vec![*light] },
            Self::RemoveLight { light } | Self::RemoveKey { light } => Action::RemoveLight { lights: vec![*light] },
            Self::KeyGains(gains) => {
                Action::LightGain { lights: gains.iter().map(|(at, gain)| grey(LightPart::At(*at), *gain)).collect() }
            }
            Self::Contrast { cure, .. } => Action::LightGain {
                lights: match cure {
                    ContrastCure::Lights(lights) => {
                        lights.iter().map(|light| grey(LightPart::At(light.at), light.gain)).collect()
                    }
                    ContrastCure::KeysAndRest { keys, rest, .. } => {
                        share(Share::Keys, keys).into_iter().chain(share(Share::AllButKeys, rest)).collect()
                    }
                    ContrastCure::Patches { .. } => return None,
                },
            },
            Self::Multiply { off_stops } => Action::Gain { rgb: [(-off_stops).exp2(); 3] },
            Self::MultiplyRgb { rgb, .. } => Action::Gain { rgb: *rgb },
            Self::LampsAndSurroundings { surroundings_stops, lamps_gain, .. } => {
                let lamps = share(Share::Lights, &Some((*lamps_gain)?));
                let around = share(Share::Surroundings, &surroundings_stops.map(|stops| (-stops).exp2()));
                Action::LightGain { lights: around.into_iter().chain(lamps).collect() }
            }
            Self::TurnEnvironment { turn: [heading_deg, tilt_deg, roll_deg], up, .. } => Action::TurnEnvironment {
                heading_deg: *heading_deg,
                tilt_deg: *tilt_deg,
                roll_deg: *roll_deg,
                up: (*up).to_owned(),
            },
            Self::LayerGains { factors, .. } => Action::LightGain {
                lights: factors
                    .iter()
                    .map(|(layers, rgb)| LightFactor { part: LightPart::Layers(layers.clone()), rgb: *rgb })
                    .collect(),
            },
            Self::EncodedLight { .. }
            | Self::CutAtWhite
            | Self::Swapped(_)
            | Self::PlaceCgSphere { .. }
            | Self::SetCgView { .. } => Action::RenderAgain,
            Self::GreyContrast { .. } | Self::LookForLamp { .. } => Action::ShootAgain,
            Self::WrongEncoding(_)
            | Self::StateDistortion(_)
            | Self::CheckSunNotes { .. }
            | Self::CheckClock { .. }
            | Self::CorrectHeading { .. }
            | Self::GiveView { .. }
            | Self::OneGauge { .. }
            | Self::OddLens { .. }
            | Self::OddGauge(_)
            | Self::Drifted(_) => Action::Give,
            Self::Wait(_)
            | Self::DistortInComp(_)
            | Self::Distort { .. }
            | Self::MoveCleanPlate(_)
            | Self::GainCleanPlate { .. }
            | Self::BlurCleanPlate { .. } => return None,
        })
    }
}

#[cfg(test)]
mod tests;
