//! Shots rendered by an independent path tracer, from sheet to report, held against what was put into them.
//!
//! Source of every expected number: `golden/path_traced` (its README says how the truth was computed; no pixel was read
//! for it). The bounds are the project's own requirements. `-- --nocapture` prints a line per shot.

#![allow(clippy::unwrap_used, reason = "a test stops where its input is not what it should be")]
#![allow(clippy::print_stdout, reason = "shows the measured errors with --nocapture")]

mod shot;
mod truth;
mod verdicts;

use std::sync::LazyLock;

use plateproof::findings::{ShotVerdict, Verdict};

use shot::Shot;
use truth::{CHECKS, number};

/// Every golden shot, checked once.
static SHOTS: LazyLock<Vec<Shot>> =
    LazyLock::new(|| truth::folders().iter().map(|folder| Shot::check(folder)).collect());

fn shot(name: &str) -> &'static Shot {
    SHOTS.iter().find(|s| s.name == name).unwrap_or_else(|| panic!("no shot {name}"))
}

/// Collects what is out of bounds, so that one run names everything.
#[derive(Default)]
struct Ledger {
    held: usize,
    broken: Vec<String>,
}

impl Ledger {
    fn within(&mut self, what: &str, error: f64, bound: f64) {
        self.that(what, error.abs() <= bound, &format!("off by {error:.4}, allowed {bound:.4}"));
    }

    /// Holds a finding's value against truth; a finding that is not there or has no value is out of bounds.
    fn value(&mut self, shot: &Shot, check: &str, truth: f64, bound: f64) {
        match shot.value(check) {
            Ok(value) => self.within(&shot.name, value - truth, bound),
            Err(why) => self.that(&shot.name, false, &why),
        }
    }

    fn that(&mut self, what: &str, holds: bool, why: &str) {
        self.held += 1;
        if !holds {
            self.broken.push(format!("{what}: {why}"));
        }
    }

    fn settle(self) {
        assert!(self.held > 0, "nothing was held against truth");
        assert!(
            self.broken.is_empty(),
            "{} of {} out of bounds:\n{}",
            self.broken.len(),
            self.held,
            self.broken.join("\n")
        );
    }
}

#[test]
fn a_line_per_shot() {
    println!("errors against truth: angle deg, key/fill stops, exposure stops, colour stops (r/g, b/g)");
    println!("verdicts (M match, X mismatch, ? unsure): direction, key/fill, exposure, colour | drift");
    for shot in SHOTS.iter() {
        println!("{}", shot.line());
    }
    assert!(SHOTS.len() >= 18);
    assert!(SHOTS.iter().all(|s| s.report.error.is_none()), "a shot could not be done");
    let faults =
        SHOTS.iter().flat_map(|s| &s.report.warnings).filter(|w| w.contains("dent or bump") || w.contains("seam"));
    assert_eq!(faults.count(), 0, "the spheres are round and seamless");
    let rough = SHOTS.iter().flat_map(|s| &s.report.spheres).filter(|sphere| sphere.surface_blur_deg.is_some());
    assert_eq!(rough.count(), 0, "no sphere is rough, whatever else is wrong with the shot");
}

#[test]
fn outlines_lie_within_a_tenth_of_a_pixel() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        for sphere in shot.spheres() {
            let (found, truth) = (sphere.report.outline_px, shot.truth.outline(sphere.side));
            let what = format!("{} {}", shot.name, sphere.side);
            ledger.within(&format!("{what} centre"), (found[0] - truth[0]).hypot(found[1] - truth[1]), 0.1);
            ledger.within(&format!("{what} a"), found[2] - truth[2], 0.1);
            ledger.within(&format!("{what} b"), found[3] - truth[3], 0.1);
        }
    }
    ledger.settle();
}

#[test]
fn the_direction_error_is_right() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        let truth = shot.truth.error("highlight-direction");
        ledger.value(shot, "highlight-direction", number(&truth["value_deg"]), shot.direction_bound_deg());
    }
    ledger.settle();
}

#[test]
fn every_light_is_where_it_was_put() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        for sphere in shot.spheres() {
            for light in shot.truth.lights(sphere.side) {
                let what = format!("{} {} {}", shot.name, sphere.side, light.name);
                match sphere.nearest(&light) {
                    Some((angle_deg, _)) => ledger.within(&what, angle_deg, light.place_bound_deg()),
                    None => ledger.that(&what, false, "not found"),
                }
            }
        }
    }
    ledger.settle();
}

#[test]
fn no_light_is_made_up() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        for sphere in shot.spheres() {
            let truth = shot.truth.lights(sphere.side);
            for light in sphere.report.lights.iter().filter(|l| l.share >= 0.10) {
                let known = truth.iter().any(|t| sphere.nearest(t).is_some_and(|found| std::ptr::eq(found.1, light)));
                let what = format!("{} {}", shot.name, sphere.side);
                ledger.that(&what, known, &format!("light at {:.1}, {:.1}", light.azimuth_deg, light.elevation_deg));
            }
        }
    }
    ledger.settle();
}

#[test]
fn missing_and_extra_lights_are_named() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        let [missing, extra] = shot.truth.unpaired();
        for (key, side, truth) in [("missing_in_cg", "mirror", missing), ("extra_in_cg", "cg", extra)] {
            let mut named = shot.unpaired_that_matter(key, side);
            named.sort();
            ledger.that(&format!("{} {key}", shot.name), named == truth, &format!("{named:?}, truth {truth:?}"));
        }
    }
    ledger.settle();
}

#[test]
fn sizes_of_lights_are_right_or_absent() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        for sphere in shot.spheres() {
            for light in shot.truth.lights(sphere.side) {
                let what = format!("{} {} {}", shot.name, sphere.side, light.name);
                let Some((_, found)) = sphere.nearest(&light).filter(|f| !f.1.clipped) else { continue };
                match found.angular_radius_deg {
                    size if !light.resolved => ledger.that(&what, size.is_none(), &format!("unresolved, yet {size:?}")),
                    Some(size) if light.normalised_radius < 0.9 => {
                        let bound = (0.05 * light.angular_radius_deg).max(0.2);
                        ledger.within(&what, size - light.angular_radius_deg, bound);
                    }
                    None if light.normalised_radius < 0.9 => ledger.that(&what, false, "no size"),
                    _ => (),
                }
            }
        }
    }
    ledger.settle();
}

#[test]
fn exposure_is_right() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        let Some(finding) = shot.finding("exposure") else {
            ledger.that(&shot.name, false, "no exposure");
            continue;
        };
        // What a subject receives is on equal terms where the photograph clips, of which the truth file says nothing.
        let whole = shot.truth.clip_level().is_none();
        for (key, of_truth, held) in
            [("surroundings_stops", "value_stops", true), ("illuminance_stops", "illuminance_stops", whole)]
        {
            let truth = number(&shot.truth.error("exposure")[of_truth]);
            if held {
                ledger.within(&format!("{} {key}", shot.name), number(&finding.detail[key]) - truth, 0.03);
            }
        }
    }
    ledger.settle();
}

/// Where the photograph clips its key, the value is one on equal terms, of which the truth file says nothing.
#[test]
fn key_fill_ratio_is_right() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter().filter(|s| s.truth.clip_level().is_none()) {
        let truth = number(&shot.truth.error("key-fill-ratio")["value_stops"]);
        ledger.value(shot, "key-fill-ratio", truth, 0.08);
    }
    ledger.settle();
}

#[test]
fn overall_colour_is_right() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        let truth = &shot.truth.error("colour-balance")["overall"];
        let Some(found) = shot.finding("colour-balance").and_then(|f| f.detail.get("overall")) else {
            ledger.that(&shot.name, false, "no overall colour");
            continue;
        };
        for key in ["red_green_stops", "blue_green_stops"] {
            ledger.within(&format!("{} {key}", shot.name), number(&found[key]) - number(&truth[key]), 0.02);
        }
    }
    ledger.settle();
}

#[test]
fn drift_against_the_plate_is_right() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        // Where the sphere fills the frame, too little background is left, and the finding may say so.
        let crowded = shot.name == "sf_140_cg_own_camera";
        if crowded && shot.verdict("reference-drift") == Some(Verdict::Unsure) {
            continue;
        }
        ledger.value(shot, "reference-drift", shot.truth.unexplained_drift_stops(), 0.02);
    }
    ledger.settle();
}

/// The report's shift is where the mirror frame's picture lies against the plate's.
#[test]
fn a_shifted_plate_is_registered() {
    let shot = shot("sf_160_two_keys_plate_shifted");
    let detail = &shot.finding("reference-drift").expect("a finding").detail;
    let truth = shot.truth.plate_minus_mirror_px().map(|d| -d);
    let mut ledger = Ledger::default();
    for (key, truth) in ["shift_x_px", "shift_y_px"].into_iter().zip(truth) {
        ledger.within(key, number(&detail[key]) - truth, 0.05);
    }
    ledger.settle();
}

#[test]
fn no_verdict_is_false() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        for call in verdicts::calls(shot) {
            let what = format!("{} {}", shot.name, call.check);
            ledger.that(&what, call.falsehood.is_none(), call.falsehood.unwrap_or_default());
        }
        for check in CHECKS {
            // The truth file's word on exposure is on the surroundings alone; the calls above judge both numbers.
            if check == "exposure" {
                continue;
            }
            let (expected, verdict) = (shot.truth.expected(check), shot.verdict(check));
            let why = format!("{verdict:?} where the truth says {expected}");
            ledger.that(&format!("{} {check}", shot.name), verdicts::allowed(expected, verdict), &why);
        }
    }
    ledger.settle();
}

/// At least 90 % of the findings whose truth is below half or above twice the tolerance are decided.
#[test]
fn nine_of_ten_clear_findings_are_decided() {
    let clear: Vec<_> = SHOTS.iter().flat_map(verdicts::calls).filter(|c| c.clear).collect();
    let unsure: Vec<_> = clear.iter().filter(|c| !c.decided).map(|c| format!("{} {}", c.shot, c.check)).collect();
    println!("{} of {} clear findings decided; not: {unsure:?}", clear.len() - unsure.len(), clear.len());
    assert!(clear.len() >= 70, "only {} clear findings", clear.len());
    assert!(unsure.len() * 10 <= clear.len(), "undecided: {unsure:?}");
}

#[test]
fn the_shot_s_verdict_follows() {
    let mut ledger = Ledger::default();
    for shot in SHOTS.iter() {
        let (expected, verdict) = (shot.truth.expected_shot(), shot.report.verdict);
        let wrong = match expected {
            "match" => verdict == ShotVerdict::Mismatch,
            "mismatch" => verdict == ShotVerdict::Match,
            _ => false,
        };
        ledger.that(&shot.name, !wrong && verdict != ShotVerdict::Error, &format!("{} for {expected}", verdict.word()));
    }
    ledger.settle();
}

#[test]
fn a_clipped_key_leaves_contrast_unsure() {
    let shot = shot("sf_130_clipped");
    assert_eq!(shot.verdict("key-fill-ratio"), Some(Verdict::Unsure));
}

#[test]
fn a_corrected_drift_does_not_accuse_the_cg() {
    let shot = shot("sf_170_mirror_drifted");
    assert_ne!(shot.report.verdict, ShotVerdict::Mismatch);
    assert_eq!(shot.verdict("reference-drift"), Some(Verdict::Mismatch));
}
