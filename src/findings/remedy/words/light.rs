//! What to do with the light of a CG, in words.

use super::Sentence;
use crate::base::units::wrap_deg;
use crate::findings::Place;
use crate::findings::numbers::{fixed, place_words};
use crate::findings::remedy::{ContrastCure, LayerChange, LightToMend, Remaining, Step, Strength, Subject, Turn};
use crate::sphere::{azimuth_elevation_deg, direction_of_deg};

/// Above this elevation azimuth means little, and frame axes are used instead.
const STEEP_DEG: f64 = 60.0;

/// A light to be added is told to this step of colour temperature.
const KELVIN_TOLD: f64 = 10.0;

/// Less than this is not worth turning, degrees.
const LEAST_TURN_DEG: f64 = 0.05;

impl Subject {
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Cg => "the CG",
            Self::Environment => "the environment",
        }
    }

    fn key(self) -> &'static str {
        match self {
            Self::Cg => "the CG key",
            Self::Environment => "the environment's key",
        }
    }

    fn light(self) -> &'static str {
        match self {
            Self::Cg => "the CG light",
            Self::Environment => "the environment's light",
        }
    }
}

fn at(Place { azimuth_deg, elevation_deg }: Place) -> String {
    place_words([azimuth_deg, elevation_deg])
}

/// The steps that name lights one by one.
pub(super) fn of_single_lights(step: &Step, subject: Subject) -> Sentence {
    let whose = subject.name();
    match step {
        Step::AddKey { light } => Sentence::with(
            format!("add a light at {}, or strengthen what {whose} has there", at(light.at)),
            "; the photographed key has no counterpart",
        ),
        Step::RemoveKey { light } => Sentence::with(
            format!("remove the light at {}", at(light.at)),
            format!("; {whose}'s key matches none of the photographed lights"),
        ),
        Step::KeyGains(gains) => {
            let words = |(place, gain): &(Place, f64)| format!("the light at {} by {gain:.2}", at(*place));
            let words: Vec<String> = gains.iter().map(words).collect();
            Sentence::with(
                format!("multiply {}", words.join(" and ")),
                format!("; {whose}'s strongest light is not the strongest photographed one"),
            )
        }
        Step::AddLight { light, strength } => {
            format!("add a light at {}{}", at(light.at), strength_words(strength)).into()
        }
        Step::RemoveLight { light } => format!("remove the light at {}", at(light.at)).into(),
        Step::LookForLamp { at: place } => Sentence::with(
            format!("check for a lamp at {} that {whose} lacks, or strengthen what {whose} has there", at(*place)),
            "; a shorter exposure of the sphere shows by how much",
        ),
        _ => "".into(),
    }
}

fn strength_words(strength: &Strength) -> String {
    let least = if strength.at_least { "at least " } else { "" };
    let colour = strength.kelvin.map(|kelvin| format!(", {:.0} K", (kelvin / KELVIN_TOLD).round() * KELVIN_TOLD));
    let ratio = strength.times_key.map(|times| format!(", {least}{times:.2} of the key's illuminance"));
    colour.into_iter().chain(ratio).collect()
}

pub(super) fn turn_key(turn: &Turn, subject: Subject) -> String {
    let key = subject.key();
    let ([from_azimuth, from_elevation], [to_azimuth, to_elevation]) =
        (azimuth_elevation_deg(&turn.from), azimuth_elevation_deg(&turn.to));
    if from_elevation.abs().max(to_elevation.abs()) > STEEP_DEG {
        let change = turn.to - turn.from;
        let steps = [
            along_axis(change.x, ["frame right", "frame left"]),
            along_axis(change.z, ["the camera", "the background"]),
        ];
        let steps: Vec<String> = steps.into_iter().flatten().collect();
        return if steps.is_empty() {
            "nothing to turn".to_owned()
        } else {
            format!("move {key} {}", steps.join(" and "))
        };
    }
    let mut steps = Vec::new();
    let turned_deg = wrap_deg(to_azimuth - from_azimuth);
    if turned_deg.abs() >= LEAST_TURN_DEG {
        let sense = if turned_deg > 0.0 { "counter-clockwise" } else { "clockwise" };
        // The side to which the turn alone moves it.
        let turned = direction_of_deg(to_azimuth, from_elevation);
        let side = if turned.x > turn.from.x { "right" } else { "left" };
        steps.push(format!("turn {key} {:.1} deg {sense} seen from above (towards frame {side})", turned_deg.abs()));
    }
    let raise_deg = to_elevation - from_elevation;
    if raise_deg.abs() >= LEAST_TURN_DEG {
        let verb = if raise_deg > 0.0 { "raise" } else { "lower" };
        let what = if steps.is_empty() { key } else { "it" };
        steps.push(format!("{verb} {what} {:.1} deg", raise_deg.abs()));
    }
    if steps.is_empty() { "nothing to turn".to_owned() } else { steps.join(" and ") }
}

/// The angle under which a chord's component is seen, and towards what.
fn along_axis(chord: f64, [positive, negative]: [&str; 2]) -> Option<String> {
    let degrees = (2.0 * (chord * 0.5).clamp(-1.0, 1.0).asin()).to_degrees();
    let towards = if degrees > 0.0 { positive } else { negative };
    (degrees.abs() >= LEAST_TURN_DEG).then(|| format!("{:.1} deg towards {towards}", degrees.abs()))
}

pub(super) fn contrast(off_stops: f64, with_exposure: bool, cure: &ContrastCure, subject: Subject) -> Sentence {
    let key = subject.key();
    let cures = match cure {
        ContrastCure::Lights(lights) => lights.iter().map(|light| light_to_mend(light, subject)).collect(),
        ContrastCure::KeysAndRest { several_keys, keys, rest } => {
            let plural = if *several_keys { "s" } else { "" };
            vec![match (keys, rest) {
                (Some(keys), Some(rest)) => {
                    format!("multiply {key}{plural} by {keys:.2} and everything else by {rest:.2}")
                }
                (Some(keys), None) => format!("multiply {key}{plural} by {keys:.2}"),
                (None, Some(rest)) => format!("multiply everything but {key}{plural} by {rest:.2}"),
                (None, None) => String::new(),
            }]
        }
        ContrastCure::Patches { brightest_stops, darkest_stops } => vec![format!(
            "compare the sides of the two grey spheres: on {} the brightest patch is {brightest_stops:+.2} stops off, \
             the darkest {darkest_stops:+.2}",
            subject.name()
        )],
    };
    let exposure = if with_exposure { "correct the exposure, then " } else { "" };
    let way = if off_stops > 0.0 { "contrasty" } else { "flat" };
    let off = format!("; {} is {:.2} stops too {way}", subject.light(), off_stops.abs());
    let mut cures = cures.into_iter();
    let first = cures.next().unwrap_or_default();
    Sentence::with(format!("{exposure}{first}"), cures.fold(String::new(), |words, cure| words + "; " + &cure) + &off)
}

fn light_to_mend(light: &LightToMend, subject: Subject) -> String {
    let stops = light.gain.log2();
    format!(
        "multiply {} at {} by {:.2} (it is {:.2} stops too {})",
        if light.is_key { subject.key() } else { subject.light() },
        at(light.at),
        light.gain,
        stops.abs(),
        if stops > 0.0 { "weak" } else { "strong" },
    )
}

/// `0.80 stops too bright`.
fn too_bright_or_dark(stops: f64) -> String {
    format!("{:.2} stops too {}", stops.abs(), if stops > 0.0 { "bright" } else { "dark" })
}

pub(super) fn multiply(off_stops: f64, subject: Subject) -> String {
    format!("multiply {} by {:.2} (it is {})", subject.name(), (-off_stops).exp2(), too_bright_or_dark(off_stops))
}

pub(super) fn multiply_rgb([r, g, b]: [f64; 3], warm_mired: Option<f64>, subject: Subject) -> String {
    let warmth = warm_mired.map_or_else(String::new, |mired| {
        format!(" (it is {:.0} mired too {})", mired.abs(), if mired > 0.0 { "warm" } else { "cool" })
    });
    format!("multiply {} by R {r:.2} G {g:.2} B {b:.2}{warmth}", subject.name())
}

pub(super) fn lamps_and_surroundings(
    illuminance_stops: f64,
    surroundings_stops: Option<f64>,
    lamps_gain: Option<f64>,
) -> Sentence {
    let around = surroundings_stops.map(|stops| format!("multiply the surroundings by {:.2}", (-stops).exp2()));
    let lamps = lamps_gain.map_or_else(
        || "look for lamps that are missing, extra or elsewhere".to_owned(),
        |gain| format!("multiply the lamps by {gain:.2}"),
    );
    let steps: Vec<String> = around.into_iter().chain([lamps]).collect();
    let why = surroundings_stops.map_or_else(
        || "the surroundings are right".to_owned(),
        |stops| format!("the surroundings are {}", too_bright_or_dark(stops)),
    );
    Sentence::with(
        steps.join(" and "),
        format!("; the light on a subject is {}, {why}", too_bright_or_dark(illuminance_stops)),
    )
}

/// A turn of the environment: heading, tilt and roll, degrees.
pub(crate) fn turn_words([heading_deg, tilt_deg, roll_deg]: [f64; 3]) -> String {
    let turns = heading_deg.abs() >= LEAST_TURN_DEG;
    let sense = if heading_deg > 0.0 { "counter-clockwise" } else { "clockwise" };
    let mut steps = Vec::new();
    if turns {
        steps.push(format!("turn the environment {heading_deg:+.1} deg about the vertical ({sense} seen from above)"));
    }
    let further = [
        ("tilt", tilt_deg, ["its top towards the camera", "its top away from the camera"]),
        ("roll", roll_deg, ["counter-clockwise as the camera sees it", "clockwise as the camera sees it"]),
    ];
    for (verb, degrees, [positive, negative]) in further.into_iter().filter(|(_, degrees, _)| *degrees != 0.0) {
        let what = if steps.is_empty() { "the environment" } else { "it" };
        let sense = if degrees > 0.0 { positive } else { negative };
        steps.push(format!("{verb} {what} {degrees:+.1} deg ({sense})"));
    }
    steps.join(", then ")
}

pub(super) fn turn_environment(turn: [f64; 3], leaves: &Remaining) -> Sentence {
    let stops = |what: &str, value: Option<f64>| value.map(|v| format!("{what} {} stops", fixed(v, 2, true)));
    let parts = [
        leaves.key_deg.map(|degrees| format!("key {degrees:.1} deg")),
        stops("exposure", leaves.exposure_stops),
        stops("key/fill", leaves.key_fill_stops),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    let left = if parts.is_empty() { "nothing that could be measured".to_owned() } else { parts.join(", ") };
    Sentence::with(turn_words(turn), format!("; remaining error: {left}"))
}

pub(super) fn layer_gains(changes: &[LayerChange], leaves: &Remaining) -> Sentence {
    let advice: Vec<String> = changes.iter().map(layer_change).collect();
    let advice = if advice.is_empty() { "leave every light as it is".to_owned() } else { advice.join(", ") };
    let number = |what: &str, value: Option<f64>| value.map(|v| format!("{what} {}", fixed(v, 2, true)));
    let parts = [
        number("exposure", leaves.exposure_stops),
        number("key/fill", leaves.key_fill_stops),
        number("colour", leaves.colour_stops),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    let left = if parts.is_empty() { "nothing measurable".to_owned() } else { format!("{} stops", parts.join(", ")) };
    Sentence::with(advice, format!("; remaining error: {left}"))
}

fn layer_change(change: &LayerChange) -> String {
    let layers = layers_named(&change.layers);
    let warmth = change
        .warmer_mired
        .map(|mired| format!("{:.0} mired {}", mired.abs(), if mired > 0.0 { "warmer" } else { "cooler" }));
    match (change.gain, warmth) {
        (Some(0.0), _) => format!("switch {layers} off"),
        (Some(gain), Some(warmth)) => format!("multiply {layers} by {gain:.2} and make it {warmth}"),
        (Some(gain), None) => format!("multiply {layers} by {gain:.2}"),
        (None, Some(warmth)) => format!("make {layers} {warmth}"),
        (None, None) => layers,
    }
}

/// `layer key`, `layers key + rim`.
pub(crate) fn layers_named(layers: &str) -> String {
    format!("{} {layers}", if layers.contains(" + ") { "layers" } else { "layer" })
}
