//! One frame looked at, and tables of many.

use std::collections::BTreeMap;
use std::error::Error;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use plateproof::findings::{SphereReport, SphereRole};
use plateproof::sheet::{CameraSpec, ImageSpec, load_sheet};
use plateproof::shot::{RunOptions, SphereQuery, check_shot, measure_sphere};
use plateproof::sphere::Told;
use serde_json::Value;

/// An outline further off than this, centre and radius together as a share of the radius, is not that of the sphere.
pub(crate) const ELSEWHERE: f64 = 0.03;

/// Stated standard deviations that explain a difference.
const EXPLAINED_SD: f64 = 2.5;

/// What came of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Outcome {
    /// The sphere.
    Found,
    /// The sphere, placed no better than it says.
    Rough,
    /// Several outlines that nothing decides between.
    Open,
    /// Nothing.
    Refused,
    /// Another outline, and no doubt.
    Wrong,
}

/// One frame that was looked at.
#[derive(Debug, Clone)]
pub(crate) struct Looked {
    /// Its name.
    pub(crate) name: String,
    /// What it is: one word for each way to sort.
    pub(crate) classes: BTreeMap<String, String>,
    /// What came of it.
    pub(crate) outcome: Outcome,
    /// Centre and radius off, px.
    pub(crate) off_px: [f64; 2],
    /// Their stated sd, px.
    pub(crate) sd_px: [f64; 2],
    /// True radius, px.
    pub(crate) radius_px: f64,
    /// Found outline, or why there is none.
    pub(crate) words: String,
    /// How long it took.
    pub(crate) took: Duration,
}

impl Looked {
    /// One line of the list.
    pub(crate) fn line(&self) -> String {
        format!(
            "{:<28} {:<8} r {:6.1} off {:6.2} {:6.2} sd {:5.2} {:5.2} {:5.2} s  {}",
            self.name,
            format!("{:?}", self.outcome).to_lowercase(),
            self.radius_px,
            self.off_px[0],
            self.off_px[1],
            self.sd_px[0],
            self.sd_px[1],
            self.took.as_secs_f64(),
            self.words
        )
    }
}

/// A place that is known: the outline, and how well, px.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    /// Centre, semi-axes, angle.
    pub(crate) outline: [f64; 5],
    /// Its own uncertainty.
    pub(crate) slack_px: f64,
}

/// Looks at one frame whose outline is known.
pub(crate) fn look(
    name: String,
    image: ImageSpec,
    camera: Option<CameraSpec>,
    told: Told,
    truth: Place,
    classes: BTreeMap<String, String>,
) -> Looked {
    let begin = Instant::now();
    let found = measure_sphere(&SphereQuery { image, camera, told, ..SphereQuery::default() });
    let mut looked = nothing(name, classes, radius(&truth.outline), begin.elapsed());
    if let Some(sphere) = found.sphere {
        judge(&mut looked, &sphere, &truth);
    } else if !found.candidates.is_empty() {
        looked.outcome = Outcome::Open;
        looked.words = format!("{:.0?}", found.candidates);
    } else if let Some(error) = found.error {
        looked.words = error.cause;
    }
    looked
}

fn nothing(name: String, classes: BTreeMap<String, String>, radius_px: f64, took: Duration) -> Looked {
    let (outcome, words) = (Outcome::Refused, String::new());
    Looked { name, classes, outcome, off_px: [0.0; 2], sd_px: [0.0; 2], radius_px, words, took }
}

fn judge(looked: &mut Looked, sphere: &SphereReport, truth: &Place) {
    let sd = sphere.outline_px_sd;
    looked.off_px = off(&sphere.outline_px, &truth.outline);
    looked.sd_px = [sd[0].hypot(sd[1]), sd[2].max(sd[3])];
    let off = looked.off_px.map(f64::abs);
    let near = off[0] + off[1] <= (ELSEWHERE * looked.radius_px).max(2.0 * truth.slack_px);
    let told = (0..2).all(|i| off[i] <= EXPLAINED_SD * looked.sd_px[i] + truth.slack_px);
    looked.outcome = match (near, told) {
        (true, _) => Outcome::Found,
        (false, true) => Outcome::Rough,
        (false, false) => Outcome::Wrong,
    };
    looked.words = format!("{:.1?}", sphere.outline_px);
}

fn radius(outline: &[f64; 5]) -> f64 {
    (outline[2] * outline[3]).sqrt()
}

/// How far the centre is off, and the radius.
fn off(outline: &[f64; 5], truth: &[f64; 5]) -> [f64; 2] {
    [(outline[0] - truth[0]).hypot(outline[1] - truth[1]), radius(outline) - radius(truth)]
}

/// One frame of one shot with what is true of it.
pub(crate) struct ShotFrame {
    /// Shot and file.
    pub(crate) name: String,
    /// The frame.
    pub(crate) image: ImageSpec,
    /// The plate of the shot, without the sphere.
    pub(crate) plate: Option<ImageSpec>,
    /// Its camera, where the sheet tells it.
    pub(crate) camera: Option<CameraSpec>,
    /// The sphere's outline in it.
    pub(crate) outline: [f64; 5],
    /// Everything that is true.
    pub(crate) truth: Value,
}

/// Every frame of the sphere in every shot of a folder.
pub(crate) fn frames(folder: &Path, half: &str, only: &str) -> Result<Vec<ShotFrame>, Box<dyn Error>> {
    let mut names: Vec<String> = fs::read_dir(folder)?
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter(|name| name.starts_with(half) && name.contains(only))
        .filter(|name| folder.join(name).join("truth.json").exists())
        .collect();
    names.sort();
    let mut frames = Vec::new();
    for name in names {
        let at = folder.join(&name);
        let truth: Value = serde_json::from_slice(&fs::read(at.join("truth.json"))?)?;
        let sheet = load_sheet(&at.join("shot.json"))?;
        let outline = numbers(&truth["sphere"]["outline_px"]);
        let placed = |image: &ImageSpec| ImageSpec {
            frame: at.join(&image.frame).to_string_lossy().into_owned(),
            ..image.clone()
        };
        for (index, exposure) in sheet.mirrors[0].bracket.iter().enumerate() {
            let shift = [0, 1].map(|axis| truth["bracket"]["shift_px"][index][axis].as_f64().unwrap_or(0.0));
            frames.push(ShotFrame {
                name: format!("{name}/{}", exposure.frame),
                image: placed(exposure),
                plate: sheet.plate.as_ref().map(placed),
                camera: sheet.camera.clone(),
                outline: [outline[0] + shift[0], outline[1] + shift[1], outline[2], outline[3], outline[4]],
                truth: truth.clone(),
            });
        }
    }
    Ok(frames)
}

/// How the outline of a path-traced frame is known.
const RENDERED_SLACK_PX: f64 = 0.3;

/// Looks at every frame of the sphere in every shot of a folder, alone or with a circle drawn by hand.
pub(crate) fn shots(folder: &Path, half: &str, only: &str, by_hand: bool) -> Result<Vec<Looked>, Box<dyn Error>> {
    let look = |f: ShotFrame| {
        let told = if by_hand { Told::Near(drawn_by_hand(&f)) } else { Told::Nothing };
        let place = Place { outline: f.outline, slack_px: RENDERED_SLACK_PX };
        look(f.name, f.image, f.camera, told, place, classes(&f.truth))
    };
    Ok(frames(folder, half, only)?.into_iter().map(look).collect())
}

/// How far off a circle is that a hand draws, as a share of the radius: centre and radius each.
const BY_HAND: f64 = 0.1;

/// A circle off by [`BY_HAND`], to a side that the frame's name decides.
fn drawn_by_hand(frame: &ShotFrame) -> [f64; 3] {
    let turn = frame.name.bytes().fold(7_u32, |sum, byte| sum.wrapping_mul(31).wrapping_add(u32::from(byte)));
    let angle = f64::from(turn % 360).to_radians();
    let radius = radius(&frame.outline);
    let larger = if (turn / 360).is_multiple_of(2) { 1.0 + BY_HAND } else { 1.0 - BY_HAND };
    let off = BY_HAND * radius;
    [frame.outline[0] + off * angle.cos(), frame.outline[1] + off * angle.sin(), radius * larger]
}

/// Checks every shot of a folder as it is, with its bracket, its CG and its plate: the photographed spheres.
pub(crate) fn checked(folder: &Path, half: &str, only: &str) -> Result<Vec<Looked>, Box<dyn Error>> {
    let mut shots: BTreeMap<String, Vec<ShotFrame>> = BTreeMap::new();
    for frame in frames(folder, half, only)? {
        let shot = frame.name.split('/').next().unwrap_or_default().to_owned();
        shots.entry(shot).or_default().push(frame);
    }
    let mut looked = Vec::new();
    for (name, frames) in shots {
        let sheet = load_sheet(&folder.join(&name).join("shot.json"))?;
        let begin = Instant::now();
        let report = check_shot(&sheet, RunOptions::default()).report;
        let place = |frame: &ShotFrame| Place { outline: frame.outline, slack_px: RENDERED_SLACK_PX };
        let mut one = nothing(name, classes(&frames[0].truth), radius(&frames[0].outline), begin.elapsed());
        let sphere = report.spheres.iter().find(|s| s.role == SphereRole::Mirror);
        if let Some(sphere) = sphere {
            // A bracket is measured in one of its frames, and a hand that held the camera moved.
            let apart = |p: &Place| off(&sphere.outline_px, &p.outline)[0];
            let truth = frames.iter().map(place).min_by(|a, b| apart(a).total_cmp(&apart(b)));
            judge(&mut one, sphere, &truth.unwrap_or_else(|| place(&frames[0])));
        } else if let Some(error) = report.error {
            one.words = error.cause;
        }
        looked.push(one);
    }
    Ok(looked)
}

pub(crate) fn numbers(value: &Value) -> [f64; 5] {
    [0, 1, 2, 3, 4].map(|i| value[i].as_f64().unwrap_or(0.0))
}

fn classes(truth: &Value) -> BTreeMap<String, String> {
    let told = &truth["classes"];
    let mut classes = BTreeMap::new();
    for key in ["setting", "surface", "format", "focus", "exposure", "plain", "hiding"] {
        let word = told[key].as_str().map_or_else(|| told[key].to_string(), str::to_owned);
        classes.insert(key.to_owned(), word);
    }
    let radius = told["radius_px"].as_f64().unwrap_or(0.0);
    let size = [(40.0, "24 to 40 px"), (80.0, "40 to 80 px"), (160.0, "80 to 160 px"), (1e9, "160 px and more")];
    let size = size.iter().find(|(most, _)| radius < *most).map_or("", |s| s.1);
    classes.insert("size".to_owned(), size.to_owned());
    classes
}

/// Counts by class.
pub(crate) fn table(looked: &[Looked]) -> String {
    let mut text = String::from(
        "| class | frames | found | rough | open | refused | wrong | found or rough, % | median off, px | beyond 3 sd |\n|---|---|---|---|---|---|---|---|---|---|\n",
    );
    row(&mut text, "all", &looked.iter().collect::<Vec<_>>());
    let mut keys: Vec<(&String, &String)> = looked.iter().flat_map(|l| &l.classes).collect();
    keys.sort();
    keys.dedup();
    for (key, value) in keys {
        let of_class: Vec<&Looked> = looked.iter().filter(|l| l.classes.get(key) == Some(value)).collect();
        row(&mut text, &format!("{key}: {value}"), &of_class);
    }
    text
}

fn row(text: &mut String, name: &str, looked: &[&Looked]) {
    let count = |outcome| looked.iter().filter(|l| l.outcome == outcome).count();
    let all = looked.len();
    let mut off: Vec<f64> = Vec::new();
    let mut beyond = 0;
    for l in looked.iter().filter(|l| l.outcome == Outcome::Found) {
        off.push(l.off_px[0] + l.off_px[1].abs());
        beyond += usize::from(l.off_px[0] > 3.0 * l.sd_px[0] || l.off_px[1].abs() > 3.0 * l.sd_px[1]);
    }
    off.sort_by(f64::total_cmp);
    let found = count(Outcome::Found);
    let _ = writeln!(
        text,
        "| {name} | {all} | {found} | {} | {} | {} | {} | {:.0} | {:.2} | {beyond} |",
        count(Outcome::Rough),
        count(Outcome::Open),
        count(Outcome::Refused),
        count(Outcome::Wrong),
        100.0 * (found + count(Outcome::Rough)) as f64 / all.max(1) as f64,
        off.get(off.len() / 2).copied().unwrap_or(0.0),
    );
}
