//! `plateproof reflectance`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::args::{Format, ReflectanceArgs};
use super::assignment::Numbers;
use super::console::Console;
use super::exit::ExitStatus;
use super::{overrides, sphere, wrong_use};
use crate::findings::ErrorNote;
use crate::report::json::to_json_of;
use crate::shot::{MeasuredReflectance, ReflectanceQuery, measure_reflectance, note};

/// The format mark.
const REFLECTANCE_FORMAT: &str = "plateproof-reflectance/1";

/// What `--format json` prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
struct ReflectanceDocument {
    /// Always `plateproof-reflectance/1`.
    format: String,
    /// What was measured; absent where it could not be.
    #[serde(skip_serializing_if = "Option::is_none")]
    measured: Option<MeasuredReflectance>,
    /// Why it could not be measured, else null.
    error: Option<ErrorNote>,
}

pub(super) fn run(args: &ReflectanceArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    let query = query(args)?;
    let outcome = measure_reflectance(&query);
    let status = match &outcome {
        Ok(found) if found.unsure => ExitStatus::Unsure,
        Ok(_) => ExitStatus::AllMatch,
        Err(_) => ExitStatus::Unusable,
    };
    if let Err(error) = &outcome {
        Console::remark(&format!("plateproof: {}", note(error).lines()));
    }
    match args.format {
        Format::Json => {
            let error = outcome.as_ref().err().map(note);
            let document = ReflectanceDocument { format: REFLECTANCE_FORMAT.to_owned(), measured: outcome.ok(), error };
            console.answer(&to_json_of(&document))?;
        }
        Format::Text => {
            if let Ok(found) = &outcome {
                console.answer(&words(found))?;
            }
        }
    }
    Ok(status)
}

fn query(args: &ReflectanceArgs) -> anyhow::Result<ReflectanceQuery> {
    let frame = args.frame.to_str().ok_or_else(|| wrong_use("reflectance", "the frame's name is not Unicode"))?;
    Ok(ReflectanceQuery {
        image: args.picture.image_spec(frame, &args.config, args.limits),
        camera: overrides::camera(None, &args.lens, &args.frame)?,
        told: sphere::told("reflectance", &args.picture)?,
        seen_directly: corners("--seen-directly", &args.seen_directly)?,
        seen_in_sphere: corners("--seen-in-sphere", &args.seen_in_sphere)?,
    })
}

/// Corners from the numbers of an option.
fn corners(option: &str, numbers: &Numbers) -> anyhow::Result<Vec<[f64; 2]>> {
    let pairs = numbers.0.chunks_exact(2);
    if numbers.0.len() < 6 || !pairs.remainder().is_empty() {
        return Err(wrong_use("reflectance", format!("{option} takes three corners or more: X,Y,X,Y,X,Y")));
    }
    Ok(pairs.map(|p| [p[0], p[1]]).collect())
}

fn words(found: &MeasuredReflectance) -> String {
    let [r, g, b] = found.reflectance;
    let [sr, sg, sb] = found.reflectance_sd;
    let mut lines = vec![
        format!("The sphere reflects {r:.3} {g:.3} {b:.3} (sd {sr:.3} {sg:.3} {sb:.3}) in {}", found.colour_space),
        format!(
            "at {:.0} deg of incidence, from {} px seen directly and {} px in the sphere.",
            found.incidence_deg, found.pixels[0], found.pixels[1]
        ),
    ];
    if found.unsure {
        lines.push("UNSURE: do not use this in a shot sheet until the notes below are resolved.".to_owned());
    } else {
        lines.push("In the shot sheet, on the mirror:".to_owned());
        lines.push(format!(
            "  \"reflectance\": [{r:.3}, {g:.3}, {b:.3}], \"reflectance_sd_stops\": {:.2}",
            found.reflectance_sd_stops
        ));
    }
    lines.extend(found.warnings.iter().map(|w| format!("Note: {w}")));
    lines.join("\n") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn corners_come_in_pairs_and_threes() {
        let read = |text: &str| corners("--seen-directly", &text.parse().unwrap());
        assert_eq!(read("1,2,3,4,5,6").unwrap(), vec![[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]);
        assert!(read("1,2,3,4").is_err());
        assert!(read("1,2,3,4,5,6,7").is_err());
    }
}
