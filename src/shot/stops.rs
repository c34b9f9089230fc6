//! How each exposure of a bracket was exposed against the plate.

use crate::findings::Report;
use crate::image::Frame;
use crate::register::bracket::{measured_stops, stops_from_metadata};

use super::Exposure;

/// Stops against the plate that are less sure than this do not count, one sd.
const SURE_SD_STOPS: f64 = 0.05;

/// What tells the stops of an exposure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Told {
    Sheet,
    /// Metadata of this file and the plate's.
    PlateMetadata,
    /// Metadata of the files of the bracket; which of them was exposed like the plate, nothing tells.
    BracketMetadata,
    /// The background that the exposure shares with the plate.
    PlatePicture,
    /// The pictures themselves, by the same doubt.
    Pictures,
    Nothing,
}

/// The stops of each exposure: as the sheet states them, else as its and the plate's metadata do. Those of which neither
/// tells are held against one that is told, or else the middle one, which is then taken as exposed like the plate: by
/// metadata, else by the pictures.
pub(super) fn settle(name: &str, exposures: &[Exposure], plate: Option<&Frame>, report: &mut Report) -> Vec<f64> {
    let mut told: Vec<(f64, Told)> = exposures.iter().map(|exposure| by_plate(exposure, plate)).collect();
    if told.len() > 1 && told.iter().all(|t| t.1 == Told::Nothing) {
        by_background(exposures, plate, &mut told);
    }
    if told.len() > 1 && told.iter().any(|t| t.1 == Told::Nothing) {
        among_themselves(exposures, &mut told);
    }
    note(name, exposures, &told, report);
    told.into_iter().map(|t| t.0).collect()
}

fn by_plate(exposure: &Exposure, plate: Option<&Frame>) -> (f64, Told) {
    if let Some(stops) = exposure.stops {
        return (stops, Told::Sheet);
    }
    match plate.and_then(|plate| stops_from_metadata(&plate.meta, &exposure.frame.meta)) {
        Some(stops) => (stops.0, Told::PlateMetadata),
        None => (0.0, Told::Nothing),
    }
}

/// Stops of the exposures that show the plate's background in the plate's place, by what most of its pixels say.
fn by_background(exposures: &[Exposure], plate: Option<&Frame>, told: &mut [(f64, Told)]) {
    let Some(plate) = plate.filter(|plate| !plate.is_display_picture()) else { return };
    let measured = exposures.iter().map(|e| measured_stops(plate, &e.frame).filter(|s| s.sd < SURE_SD_STOPS));
    for (entry, stops) in told.iter_mut().zip(measured) {
        if let Some(stops) = stops {
            *entry = (stops.value, Told::PlatePicture);
        }
    }
}

fn among_themselves(exposures: &[Exposure], told: &mut [(f64, Told)]) {
    let known = told.iter().position(|t| t.1 != Told::Nothing);
    let anchor = known.unwrap_or_else(|| middle(exposures));
    let at = &exposures[anchor].frame;
    for (exposure, entry) in exposures.iter().zip(told.iter_mut()).filter(|(_, entry)| entry.1 == Told::Nothing) {
        let by_metadata = stops_from_metadata(&at.meta, &exposure.frame.meta).map(|s| (s.0, Told::BracketMetadata));
        let by_picture = || measured_stops(at, &exposure.frame).map(|s| (s.value, Told::Pictures));
        if let Some((stops, from)) = by_metadata.or_else(by_picture) {
            *entry = (stops, from);
        }
    }
    let of_anchor = if known.is_some() { told[anchor].0 } else { 0.0 };
    for entry in told.iter_mut().filter(|t| matches!(t.1, Told::BracketMetadata | Told::Pictures)) {
        entry.0 += of_anchor;
    }
}

/// The exposure in the middle by metadata, else by mean brightness.
fn middle(exposures: &[Exposure]) -> usize {
    let brightness = |frame: &Frame| {
        let step = (frame.rgb.len() / 10_000).max(1);
        frame.rgb.iter().step_by(step).map(|rgb| f64::from(rgb[1])).filter(|v| v.is_finite()).sum::<f64>()
    };
    let by_metadata: Option<Vec<f64>> = exposures.iter().map(|e| e.frame.meta.exposure_stops()).collect();
    let levels = by_metadata.unwrap_or_else(|| exposures.iter().map(|e| brightness(&e.frame)).collect());
    let mut order: Vec<usize> = (0..levels.len()).collect();
    order.sort_by(|a, b| levels[*a].total_cmp(&levels[*b]));
    order[order.len() / 2]
}

fn note(name: &str, exposures: &[Exposure], told: &[(f64, Told)], report: &mut Report) {
    for (exposure, (stops, from)) in exposures.iter().zip(told) {
        let from = match from {
            Told::Sheet => "the sheet",
            Told::PlateMetadata => "the files' exposure metadata",
            Told::BracketMetadata => "the bracket's own exposure metadata",
            Told::PlatePicture => "the background that it shares with the plate",
            Told::Pictures => "what its picture shows against the others of the bracket",
            Told::Nothing => continue,
        };
        if stops.abs() > 1e-6 {
            let file = &exposure.frame.record.file;
            report
                .assumptions
                .push(format!("{file} counts as exposed {stops:+.2} stops against the plate, according to {from}"));
        }
    }
    let nothing_by_plate = told.iter().all(|t| !matches!(t.1, Told::Sheet | Told::PlateMetadata | Told::PlatePicture));
    if told.len() > 1 && nothing_by_plate {
        report.warnings.push(format!(
            "mirror {name}: it is not known which exposure of its bracket was exposed like the plate; the middle one is assumed. Give exposure_stops"
        ));
    }
}
