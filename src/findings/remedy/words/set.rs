//! What to do about cameras, notes and whatever else came from set, in words.

use super::Sentence;
use crate::findings::remedy::{CleanPlateMove, DistanceBy, Drift, Lens, LensThatFits, Slip, Step};

/// Less than this is not worth moving a sphere.
const LEAST_MOVE_MM: f64 = 1.0;

/// The steps that change no light.
pub(super) fn of_step(step: &Step) -> Sentence {
    match step {
        Step::PlaceCgSphere { up_to_deg, cg_offset_mm } => Sentence::with(
            format!("move the CG sphere to where the real one was{}", way_there(*cg_offset_mm)),
            format!("; until then, up to {up_to_deg:.1} deg of the highlight-direction error may come from this"),
        ),
        Step::SetCgView { fov_deg, lens_on_back_mm, told_by, width_ratio, slip } => {
            cg_view(*fov_deg, *lens_on_back_mm, told_by, *width_ratio, *slip)
        }
        Step::StateDistortion(lens) => Sentence::with(
            "state `cg.distortion`: \"none\", or what was applied",
            format!("; this lens is {}", lens.words()),
        ),
        Step::DistortInComp(lens) => format!("distort the CG in the comp with {}", lens.words()).into(),
        Step::Distort { pull_percent, rendered_without, lens } => distort(*pull_percent, *rendered_without, lens),
        Step::CheckSunNotes { place_by, time } => {
            format!("if it was the sun, check the location ({place_by}), the time ({time}) and the heading").into()
        }
        Step::CheckClock { time_by } => {
            format!("check the clock behind {time_by} and its time zone (daylight saving)").into()
        }
        Step::CorrectHeading { fitting_deg, noted_deg } => format!(
            "if the key is the sun, the camera looked towards {fitting_deg:.0} deg, not {noted_deg:.0} deg: correct \
             camera.heading_deg, or the time"
        )
        .into(),
        Step::GiveView { would_fit } => Sentence::with(
            "give focal length and sensor",
            would_fit.as_ref().map_or_else(String::new, |(name, fov_deg)| {
                format!("; the noted size and distance of {name} would fit {fov_deg:.1} deg horizontal")
            }),
        ),
        Step::OneGauge { .. } | Step::OddLens { .. } | Step::OddGauge(_) => gauge(step),
        Step::Drifted(drift) => drifted(*drift),
        Step::GreyContrast { more_stops } => grey_contrast(*more_stops),
        Step::MoveCleanPlate(way) => move_clean_plate(way).into(),
        Step::GainCleanPlate { rgb: [r, g, b] } => {
            format!("multiply the clean plate by {r:.3}, {g:.3}, {b:.3} (red, green, blue, linear)").into()
        }
        Step::BlurCleanPlate { px } => blur_clean_plate(*px).into(),
        _ => "".into(),
    }
}

/// How the CG sphere gets from its offset (to frame right, up the frame, towards the camera) to where it belongs.
fn way_there(cg_offset_mm: Option<[f64; 3]>) -> String {
    let Some(offset) = cg_offset_mm else { return String::new() };
    let ways = [["to frame left", "to frame right"], ["down", "up"], ["away from the camera", "towards the camera"]];
    let told = offset.iter().zip(ways).filter(|(mm, _)| mm.abs() >= LEAST_MOVE_MM);
    let words: Vec<String> = told
        .map(|(mm, [minus, plus])| format!("{:.0} mm {}", mm.abs(), if *mm > 0.0 { minus } else { plus }))
        .collect();
    if words.is_empty() { String::new() } else { format!(": {}", words.join(", ")) }
}

fn cg_view(
    fov_deg: f64,
    lens_on_back_mm: Option<[f64; 2]>,
    told_by: &str,
    width_ratio: f64,
    slip: Option<Slip>,
) -> Sentence {
    let on_back = lens_on_back_mm
        .map_or_else(String::new, |[focal, width]| format!(", {focal:.2} mm on a film back {width:.2} mm wide"));
    let view = if width_ratio < 1.0 { "too narrow" } else { "too wide" };
    let by = 100.0 * (width_ratio - 1.0).abs();
    let slip = slip.map_or_else(String::new, |slip| format!("; {}", slip_words(slip)));
    Sentence::with(
        format!("set the CG camera to {fov_deg:.2} deg horizontal{on_back}"),
        format!("; according to {told_by} its view is {by:.1} % {view}{slip}"),
    )
}

fn slip_words(slip: Slip) -> String {
    match slip {
        Slip::CropForgotten { read_out } => format!(
            "that is the whole sensor, of which only {:.1} % of the width was read out: the crop was forgotten",
            100.0 * read_out
        ),
        Slip::DownscaleTakenForCrop { from, to } => format!(
            "that is recorded_px over used_px: the downscale from {from} to {to} columns was mistaken for a crop"
        ),
        Slip::SqueezeMissing(squeeze) => format!("that is the squeeze of {squeeze}: the CG camera lacks it"),
        Slip::SqueezeTwice(squeeze) => format!("that is the squeeze of {squeeze}, applied once too often"),
        Slip::VerticalAsHorizontal => {
            "that is the plate's vertical field of view: the CG uses it as the horizontal one".to_owned()
        }
        Slip::HorizontalAsVertical => {
            "the plate's horizontal field of view was given to the CG as the vertical one".to_owned()
        }
        Slip::OtherGate { name, width_mm } => {
            format!("that is the same lens on the {name} gate ({width_mm:.2} mm wide)")
        }
    }
}

impl Lens {
    /// As a sheet states it.
    pub(crate) fn words(&self) -> String {
        let k2 = if self.k2 == 0.0 { String::new() } else { format!(", \"k2\": {:.5}", self.k2) };
        format!("{{ \"model\": \"{}\", \"k1\": {:.5}{k2} }}", self.model, self.k1)
    }
}

fn distort(pull_percent: f64, rendered_without: bool, lens: &Lens) -> Sentence {
    let kind = if pull_percent < 0.0 { "barrel, corners pulled in" } else { "pincushion, corners pushed out" };
    let does = if rendered_without {
        "the CG is rendered without distortion"
    } else {
        "the CG's stated distortion is different"
    };
    Sentence::with(
        format!("distort the CG with {}", lens.words()),
        format!("; the lens moves the corner by {pull_percent:+.2} % ({kind}), and {does}"),
    )
}

fn gauge(step: &Step) -> Sentence {
    let slip_words = |slip: Option<&str>| slip.map_or_else(String::new, |slip| format!(" ({slip})"));
    match step {
        Step::OneGauge { name, size, told_by, slip, lens } => Sentence::with(
            format!(
                "check {name}: its {size}, {} or the focal length is wrong{}",
                match told_by {
                    DistanceBy::Tape => "the noted distance",
                    DistanceBy::CameraHeight => "the camera's height or tilt",
                },
                slip_words(*slip)
            ),
            format!("; one object alone does not show which: measure another and its distance{}", lens_words(*lens)),
        ),
        Step::OddLens { gauges, deviation_percent, lens } => Sentence::with(
            format!(
                "check the focal length and the sensor: the notes on {} all deviate by {deviation_percent:+.1} %",
                gauges.join(" and ")
            ),
            lens_words(*lens),
        ),
        Step::OddGauge(odd) => format!(
            "check {}: either its {} is about {:.0} mm (noted {:.0}), or its distance about {:.0} mm ({} {:.0}){}",
            odd.name,
            odd.size,
            odd.size_mm[1],
            odd.size_mm[0],
            odd.distance_mm[1],
            match odd.told_by {
                DistanceBy::Tape => "noted",
                DistanceBy::CameraHeight => "by the camera's height and tilt",
            },
            odd.distance_mm[0],
            slip_words(odd.slip)
        )
        .into(),
        _ => "".into(),
    }
}

fn lens_words(lens: Option<LensThatFits>) -> String {
    lens.map_or_else(String::new, |lens| {
        format!(
            "; the notes would fit {:.1} deg horizontal, a focal length {:.1} % {}",
            lens.fov_deg,
            lens.longer_percent.abs(),
            if lens.longer_percent > 0.0 { "longer" } else { "shorter" }
        )
    })
}

fn drifted(drift: Drift) -> Sentence {
    let side = |stops: f64| if stops > 0.0 { "brighter" } else { "darker" };
    match drift {
        Drift::Corrected { stops } => Sentence::with(
            format!("the sphere frame is {:.2} stops {} than the plate", stops.abs(), side(stops)),
            "; the sheet asks for correction, and it was corrected",
        ),
        Drift::Stated { measured_stops, stated_stops } => Sentence::with(
            "correct exposure_stops (or the file's exposure data), or set \"correct_drift\": true",
            format!(
                "; the background says that the sphere frame is {measured_stops:+.2} stops from the plate, but \
                 {stated_stops:+.2} stops are stated and were corrected for"
            ),
        ),
        Drift::Uncorrected { stops } => Sentence::with(
            "use a sphere frame shot like the plate; if only its exposure differed, give exposure_stops or set \"correct_drift\": true",
            format!(
                "; the sphere frame is {:.2} stops {} than the plate and was not corrected",
                stops.abs(),
                side(stops)
            ),
        ),
    }
}

fn grey_contrast(more_stops: f64) -> Sentence {
    let side = if more_stops > 0.0 { "more" } else { "less" };
    Sentence::with(
        "check that grey and mirror sphere were shot in the same light and decoded the same way, and that neither frame \
         is tone-mapped",
        format!(
            "; the grey sphere shows {:.2} stops {side} contrast than the mirror sphere predicts",
            more_stops.abs()
        ),
    )
}

fn move_clean_plate(way: &CleanPlateMove) -> String {
    let side = |v: f64, plus: &str, minus: &str| format!("{:.2} px {}", v.abs(), if v > 0.0 { plus } else { minus });
    let shift = format!("{} and {}", side(way.right_px, "right", "left"), side(way.down_px, "down", "up"));
    let turn = way.roll_deg_and_scale.map_or_else(String::new, |[roll_deg, scale]| {
        let sense = if roll_deg > 0.0 { "clockwise" } else { "counter-clockwise" };
        format!(", turn it {:.2} deg {sense} and scale it by {scale:.4}", roll_deg.abs())
    });
    let rest = if way.in_perspective { " (all of it: matrix_plate_to_clean in the JSON report)" } else { "" };
    format!("move the clean plate {shift}{turn}{rest}")
}

fn blur_clean_plate(px: f64) -> String {
    if px > 0.0 {
        format!(
            "use the clean plate only for areas that are out of focus, or sharpen it carefully: it is softer by a blur of \
             {px:.1} px"
        )
    } else {
        format!("blur the clean plate by {:.1} px (standard deviation of a Gaussian)", -px)
    }
}
