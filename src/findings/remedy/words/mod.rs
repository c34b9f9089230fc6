//! Remedies in words: the one place where their sentences stand.
//!
//! A sentence has a head, which says what to do and stands alone where room is short, and a tail: what would remain,
//! and what may be done besides.

mod light;
mod set;

pub(crate) use light::{layers_named, turn_words};

use super::{Ask, Condition, ReadAs, Remedy, Step, Subject, Swap, Waits};

/// What is asked for, and what is said of it.
pub(super) struct Sentence {
    head: String,
    tail: String,
}

impl Sentence {
    fn with(head: impl Into<String>, tail: impl Into<String>) -> Self {
        Self { head: head.into(), tail: tail.into() }
    }

    fn whole(&self) -> String {
        format!("{}{}", self.head, self.tail)
    }

    /// A remark on all of it: what has a tail already is told of by its head without the remark.
    fn remarked(mut self, remark: &str) -> Self {
        if self.tail.is_empty() {
            self.head.push_str(remark);
        } else {
            self.tail.push_str(remark);
        }
        self
    }
}

impl From<String> for Sentence {
    fn from(head: String) -> Self {
        Self { head, tail: String::new() }
    }
}

impl From<&str> for Sentence {
    fn from(head: &str) -> Self {
        head.to_owned().into()
    }
}

/// The sentence of a whole remedy; empty where nothing is asked for.
pub(super) fn whole(remedy: &Remedy) -> String {
    sentence(remedy).whole()
}

/// Its head.
pub(super) fn short(remedy: &Remedy) -> String {
    sentence(remedy).head
}

fn sentence(remedy: &Remedy) -> Sentence {
    let mut steps = remedy.steps.iter().map(|step| of_step(step, remedy.subject));
    let Some(mut all) = steps.next() else { return "".into() };
    for more in steps {
        all.tail.push_str("; ");
        all.tail.push_str(&more.whole());
    }
    remedy.conditions.iter().fold(all, |all, condition| under(all, condition, remedy.subject))
}

fn under(all: Sentence, condition: &Condition, subject: Subject) -> Sentence {
    match condition {
        Condition::AfterTheTurn { left_stops } => {
            let tail = format!("{} (after the advised turn, which leaves {left_stops:+.2} stops)", all.tail);
            Sentence { tail, ..all }
        }
        Condition::WithExposure { rgb: [r, g, b] } => {
            let head = format!("multiply {} by R {r:.2} G {g:.2} B {b:.2}, exposure and colour in one", subject.name());
            Sentence::with(head, format!("; colour alone: {}", all.whole()))
        }
        Condition::EnvironmentFirst => Sentence::with(
            "fix the environment that lights the CG, render again, then check again",
            format!("; for the CG alone: {}", all.whole()),
        ),
        Condition::ColourSpaceAssumed { file, space } => all.remarked(&format!(
            " (but {file} does not say its colour space and {space} is assumed: find that out first)"
        )),
        Condition::ReflectanceFirst => Sentence::with(
            "first give the sphere's reflectance, R, G and B: a tinted sphere looks like this",
            format!("; if it is neutral, {}", all.whole()),
        ),
        Condition::ClipLevelOpen => all.remarked(&format!(" (the amount depends on it: {})", Ask::ClipLevel.words())),
        Condition::AskedByOthers => all,
    }
}

fn of_step(step: &Step, subject: Subject) -> Sentence {
    match step {
        Step::Ask(ask) => of_ask(*ask),
        Step::Told { words, .. } => words.as_str().into(),
        Step::Wait(waits) => wait(waits).into(),
        Step::WrongEncoding(files) => wrong_encoding(files),
        Step::EncodedLight { slope } => Sentence::with(
            "before touching any light, render without a view transform, and with the scene-linear environment",
            format!("; the CG's light is the photograph's to the power of {slope:.2}, as a display encoding leaves it"),
        ),
        Step::CutAtWhite => Sentence::with(
            "before touching any light, use the whole environment: this one is cut off at display white",
            "; the CG's lights all end at 1.0, where the photograph goes beyond",
        ),
        Step::Swapped(swap) => swapped(*swap),
        Step::TurnKey(turn) => light::turn_key(turn, subject).into(),
        Step::AddKey { .. }
        | Step::RemoveKey { .. }
        | Step::KeyGains(_)
        | Step::AddLight { .. }
        | Step::RemoveLight { .. }
        | Step::LookForLamp { .. } => light::of_single_lights(step, subject),
        Step::Contrast { off_stops, with_exposure, cure } => light::contrast(*off_stops, *with_exposure, cure, subject),
        Step::Multiply { off_stops } => light::multiply(*off_stops, subject).into(),
        Step::MultiplyRgb { rgb, warm_mired } => light::multiply_rgb(*rgb, *warm_mired, subject).into(),
        Step::LampsAndSurroundings { illuminance_stops, surroundings_stops, lamps_gain } => {
            light::lamps_and_surroundings(*illuminance_stops, *surroundings_stops, *lamps_gain)
        }
        Step::TurnEnvironment { turn, leaves, .. } => light::turn_environment(*turn, leaves),
        Step::LayerGains { changes, leaves, .. } => light::layer_gains(changes, leaves),
        _ => set::of_step(step),
    }
}

fn of_ask(ask: Ask) -> Sentence {
    match ask.besides() {
        "" => ask.words().into(),
        besides => Sentence::with(ask.words(), format!("; {besides}")),
    }
}

fn wait(waits: &Waits) -> String {
    match waits {
        Waits::FollowsFrom(first) => format!("follows from {first}: fix that first, then check again"),
        Waits::Remains { first, stops } => {
            format!("fix {first} first, then check again: {stops:+.2} stops would be left here")
        }
        Waits::PartRemains(first) => format!("fix {first} first, then check again: part of this would remain"),
        Waits::LightThere(first) => {
            format!("same cause as {first}: fix that first, then check again")
        }
        Waits::ContrastByDirection => {
            "fix highlight-direction first, then check again: the contrast differs only because the light comes from a \
             different direction"
                .to_owned()
        }
    }
}

fn wrong_encoding(files: &[ReadAs; 2]) -> Sentence {
    let [mirror, cg] =
        files.each_ref().map(|read| format!("{} is read as {} (by {})", read.file, read.encoding, read.from));
    Sentence::with(
        "before touching any light, check encoding and layer of both frames: so large a difference rarely comes from \
         light",
        format!("; {mirror}, {cg}"),
    )
}

impl Swap {
    /// What the CG shows.
    pub(crate) fn seen(self) -> String {
        let how = match self {
            Self::LeftAndRight => "with left and right swapped",
            Self::TopAndBottom => "with top and bottom swapped",
            Self::UpsideDown => "upside down",
        };
        format!("the CG shows the photograph's surroundings {how}")
    }
}

fn swapped(swap: Swap) -> Sentence {
    let cure = match swap {
        Swap::LeftAndRight => "flop the picture or the environment (left to right)",
        Swap::TopAndBottom => "flip the picture or the environment (top to bottom)",
        Swap::UpsideDown => "turn the picture or the environment by 180 deg",
    };
    Sentence::with(format!("before touching any light, {cure}"), format!("; {}", swap.seen()))
}
