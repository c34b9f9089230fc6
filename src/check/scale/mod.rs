//! `scale`: do the sizes and distances noted on set fit the pictures?

mod gauge;
mod odd_one;

use serde_json::{Value, json};

use super::{Addition, FileNote, ShotCheck, ShotEvidence, blank_of_shot, set_value_and_verdict};
use crate::Result;
use crate::base::units::Estimate;
use crate::findings::remedy::Step;
use crate::findings::{Concerns, Finding, Verdict};
use crate::optics::camera::View;
use crate::sheet::ShotSheet;

pub use super::docs::scale::DOC;
use gauge::Gauge;

/// The check.
#[derive(Debug)]
pub struct Scale;

impl ShotCheck for Scale {
    fn doc(&self) -> &'static super::CheckDoc {
        &DOC
    }

    fn is_asked(&self, sheet: &ShotSheet) -> bool {
        !sheet.measured_lengths.is_empty() || sheet.mirrors.iter().any(|mirror| mirror.diameter_mm.is_some())
    }

    fn reads_whole_frames(&self) -> bool {
        false
    }

    fn needs(&self) -> &'static str {
        "add a mirror's diameter_mm and camera.distance_mm, or a measured object with its distance"
    }

    fn run(&self, shot: &ShotEvidence<'_>) -> Result<Addition> {
        let finding = blank_of_shot(&DOC, Concerns::Reference, shot.sheet.tolerances.scale.percent);
        Ok(Addition::of(compare(shot, finding)))
    }
}

fn compare(shot: &ShotEvidence<'_>, mut finding: Finding) -> Finding {
    let gauges = gauge::all(shot);
    let noted: Vec<&Gauge> = gauges.iter().filter(|gauge| gauge.noted_mm.is_some()).collect();
    if noted.is_empty() {
        finding.verdict = Verdict::NotGiven;
        finding.reason =
            [Some(nothing_noted(&gauges)), lens_words(shot.files)].into_iter().flatten().collect::<Vec<_>>().join("; ");
        return finding;
    }
    if let Some(assumed) = noted.iter().find(|gauge| gauge.view.is_assumed()) {
        return without_field_of_view(finding, assumed);
    }
    finding.detail.insert("gauges".to_owned(), noted.iter().map(|gauge| to_json(gauge)).collect());
    let deviations = noted.iter().filter_map(|gauge| Some((*gauge, gauge.deviation()?)));
    let Some((_, worst)) = deviations.max_by(|a, b| a.1.value.abs().total_cmp(&b.1.value.abs())) else {
        finding.reason = "the picture gives no distance to compare with the notes".to_owned();
        return finding;
    };
    let percent = Estimate::new(100.0 * worst.value, 100.0 * worst.sd);
    set_value_and_verdict(
        &mut finding,
        percent,
        "outline, focal length and tape together are no more precise than this",
    );
    if finding.verdict != Verdict::Match {
        let remedy = odd_one::odd_one_out(&noted, finding.tolerance / 100.0);
        let words: Vec<String> = noted.iter().filter_map(|gauge| gauge.words()).collect();
        let uncertainty = std::mem::take(&mut finding.reason);
        finding.reason = [words.join("; "), uncertainty, lens_words(shot.files).unwrap_or_default()]
            .into_iter()
            .filter(|w| !w.is_empty())
            .collect::<Vec<_>>()
            .join("; ");
        finding.remedy = remedy;
    }
    finding
}

/// Where the distances of the picture begin, and what the lens was focused at, as the files from set tell.
fn lens_words(files: &[FileNote]) -> Option<String> {
    let meta = || files.iter().filter(|file| matches!(file.role, "plate" | "mirror")).map(|file| &file.meta);
    let pupil = meta().find_map(|meta| meta.entrance_pupil_mm).map(|mm| {
        format!("the picture's distances begin at the entrance pupil, {mm:.0} mm in front of the image plane (entrancePupilOffset): take that off a distance taped from the sensor's mark")
    });
    let focus = meta().find_map(|meta| meta.focus_m).map(|m| format!("the lens was focused at {m:.2} m"));
    let words: Vec<String> = [pupil, focus].into_iter().flatten().collect();
    (!words.is_empty()).then(|| words.join("; "))
}

fn to_json(gauge: &Gauge) -> Value {
    let mut value = json!({ "name": gauge.name, "noted_mm": gauge.noted_mm });
    if let Some(distance) = gauge.distance_mm() {
        value["distance_mm"] = distance.value.into();
        value["distance_mm_sd"] = distance.sd.into();
    }
    if let Some(deviation) = gauge.deviation() {
        value["deviation_percent"] = (100.0 * deviation.value).into();
        value["deviation_percent_sd"] = (100.0 * deviation.sd).into();
    }
    value
}

/// Distances without a note to hold them against are still worth telling.
fn nothing_noted(gauges: &[Gauge]) -> String {
    let known = gauges.iter().filter(|gauge| !gauge.view.is_assumed());
    let told: Vec<String> = known
        .filter_map(|gauge| {
            let distance = gauge.distance_mm()?;
            Some(format!(
                "according to the picture, {} is {:.0} +/- {:.0} mm away",
                gauge.name, distance.value, distance.sd
            ))
        })
        .collect();
    let ask = "no distance was noted: add camera.distance_mm or a measured object's distance";
    std::iter::once(ask.to_owned()).chain(told).collect::<Vec<_>>().join("; ")
}

/// Without a field of view a size and a distance tell it, and nothing can be checked.
fn without_field_of_view(mut finding: Finding, gauge: &Gauge) -> Finding {
    finding.reason = "the field of view is unknown, so the picture gives no distance".to_owned();
    let would_fit = gauge.fitting_view().map(|view| (gauge.name.clone(), view.horizontal_fov_deg()));
    finding.remedy = Step::GiveView { would_fit }.into();
    finding
}

/// The same view with its focal length multiplied.
fn scaled(view: &View, factor: f64) -> View {
    View { focal_px: view.focal_px * factor, ..view.clone() }
}

#[cfg(test)]
mod tests;
