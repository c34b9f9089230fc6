//! One frame looked at, and tables of many.

use std::collections::BTreeMap;
use std::error::Error;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use plateproof::sheet::{CameraSpec, ImageSpec, load_sheet};
use plateproof::shot::{SphereQuery, measure_sphere};
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

/// Looks at one frame whose outline is known; `slack_px` is how well.
pub(crate) fn look(
    name: String,
    image: ImageSpec,
    camera: Option<CameraSpec>,
    (truth, slack_px): ([f64; 5], f64),
    classes: BTreeMap<String, String>,
) -> Looked {
    let begin = Instant::now();
    let found = measure_sphere(&SphereQuery { image, camera, ..SphereQuery::default() });
    let took = begin.elapsed();
    let radius = |o: &[f64; 5]| (o[2] * o[3]).sqrt();
    let off = |o: &[f64; 5]| [(o[0] - truth[0]).hypot(o[1] - truth[1]), radius(o) - radius(&truth)];
    let mut looked = Looked {
        name,
        classes,
        outcome: Outcome::Refused,
        off_px: [0.0; 2],
        sd_px: [0.0; 2],
        radius_px: radius(&truth),
        words: String::new(),
        took,
    };
    if let Some(sphere) = found.sphere {
        let sd = sphere.outline_px_sd;
        looked.off_px = off(&sphere.outline_px);
        looked.sd_px = [sd[0].hypot(sd[1]), sd[2].max(sd[3])];
        let off = looked.off_px.map(f64::abs);
        let near = off[0] + off[1] <= (ELSEWHERE * radius(&truth)).max(2.0 * slack_px);
        let told = (0..2).all(|i| off[i] <= EXPLAINED_SD * looked.sd_px[i] + slack_px);
        looked.outcome = match (near, told) {
            (true, _) => Outcome::Found,
            (false, true) => Outcome::Rough,
            (false, false) => Outcome::Wrong,
        };
        looked.words = format!("{:.1?}", sphere.outline_px);
    } else if !found.candidates.is_empty() {
        looked.outcome = Outcome::Open;
        looked.words = format!("{:.0?}", found.candidates);
    } else if let Some(error) = found.error {
        looked.words = error.cause;
    }
    looked
}

/// One frame of one shot with what is true of it.
pub(crate) struct ShotFrame {
    /// Shot and file.
    pub(crate) name: String,
    /// The frame.
    pub(crate) image: ImageSpec,
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
        for (index, exposure) in sheet.mirrors[0].bracket.iter().enumerate() {
            let shift = [0, 1].map(|axis| truth["bracket"]["shift_px"][index][axis].as_f64().unwrap_or(0.0));
            let mut image = exposure.clone();
            image.frame = at.join(&image.frame).to_string_lossy().into_owned();
            frames.push(ShotFrame {
                name: format!("{name}/{}", exposure.frame),
                image,
                camera: sheet.camera.clone(),
                outline: [outline[0] + shift[0], outline[1] + shift[1], outline[2], outline[3], outline[4]],
                truth: truth.clone(),
            });
        }
    }
    Ok(frames)
}

/// Looks at every frame of the sphere in every shot of a folder.
pub(crate) fn shots(folder: &Path, half: &str, only: &str) -> Result<Vec<Looked>, Box<dyn Error>> {
    let look = |f: ShotFrame| {
        let classes = classes(&f.truth);
        look(f.name, f.image, f.camera, (f.outline, 0.3), classes)
    };
    Ok(frames(folder, half, only)?.into_iter().map(look).collect())
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
