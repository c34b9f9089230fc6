//! Does the stated uncertainty cover the truth?
//!
//! `cargo bench --bench coverage` makes shots of varied quality from seeds, checks them with the library and holds
//! every finding against what a perfect measurement would say: how often the 95 % interval covers the truth, the mean
//! squared error over the stated variance, false verdicts, and how much is decided. Options after `--`: `--shots N`,
//! `--tuning` (the seeds that uncertainties may be tuned on, never reported), `--first N` (seeds from there on), `--seed N` (one shot, with its numbers;
//! `--keep FOLDER` leaves its frames there),
//! `--lines` (a line per shot), `--list FILE` (every number with its truth, tab-separated), `--write FILE` (the table as
//! Markdown).
#![allow(clippy::print_stdout, reason = "a bench reports on stdout")]

#[path = "coverage/golden.rs"]
mod golden;
mod made_up;
#[path = "coverage/table.rs"]
mod table;

use std::error::Error;
use std::path::{Path, PathBuf};
use std::time::Instant;

use made_up::judge::{Judged, judge_with_help, letter};
use made_up::recipe::Recipe;
use made_up::{frames, sheet};

/// First seed of the reported shots.
const REPORTED_SEED: u64 = 26_000;
/// First seed of the shots on which uncertainties may be tuned.
const TUNING_SEED: u64 = 1_000;
/// Shots in the reported table.
const SHOTS: u64 = 240;

/// Errors beyond so many standard deviations are listed with `--lines`.
const WILD: f64 = 3.0;

struct Options {
    shots: u64,
    first: u64,
    lines: bool,
    only: Option<u64>,
    write: Option<String>,
    list: Option<String>,
    keep: Option<PathBuf>,
}

impl Options {
    fn read() -> Self {
        let arguments: Vec<String> = std::env::args().skip(1).collect();
        let has = |name: &str| arguments.iter().any(|a| a == name);
        let after = |name: &str| arguments.iter().position(|a| a == name).and_then(|i| arguments.get(i + 1)).cloned();
        let number = |name: &str| after(name).and_then(|text| text.parse::<u64>().ok());
        Self {
            shots: number("--shots").unwrap_or(SHOTS),
            first: number("--first").unwrap_or(if has("--tuning") { TUNING_SEED } else { REPORTED_SEED }),
            lines: has("--lines"),
            only: number("--seed"),
            write: after("--write"),
            list: after("--list"),
            keep: after("--keep").map(PathBuf::from),
        }
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let options = Options::read();
    if let Some(seed) = options.only {
        return one(seed, options.keep.as_deref());
    }
    let start = Instant::now();
    let mut all = Vec::new();
    for seed in options.first..options.first + options.shots {
        let judged = judge_with_help(&Recipe::draw(seed))?;
        if options.lines {
            println!("{}", line(seed, &judged));
            for wild in judged.scores.iter().filter(|s| s.counts() && s.z().abs() > WILD) {
                println!("    {}", score_line(wild));
            }
        }
        all.push(judged);
    }
    let golden = if options.first == REPORTED_SEED { golden::judged() } else { Vec::new() };
    let text = table::table(options.first, &all, &golden);
    println!("{text}\n{} shots in {:.0} s", options.shots, start.elapsed().as_secs_f64());
    if let Some(path) = options.list {
        std::fs::write(path, list(options.first, &all))?;
    }
    println!("{}", table::tails(options.first, &all));
    if let Some(path) = options.write {
        std::fs::write(Path::new(&path).with_extension("csv"), table::csv(&all))?;
        std::fs::write(path, table::document(&text))?;
    }
    Ok(())
}

/// Every number: seed, radius, blur, name, value, sd, truth, qualities.
fn list(first: u64, all: &[Judged]) -> String {
    let rows = all.iter().zip(first..).flat_map(|(judged, seed)| {
        let recipe = Recipe::draw(seed);
        let row = move |s: &made_up::score::Score| {
            let made = format!("{seed}\t{:.1}\t{:.2}", recipe.radius_px, recipe.blur_px);
            format!("{made}\t{}\t{}\t{}\t{}\t{:?}\n", s.name, s.value, s.sd, s.truth, judged.qualities)
        };
        judged.scores.iter().map(row)
    });
    rows.collect()
}

/// One shot in full; its frames and sheet are left in a folder where one is named.
fn one(seed: u64, keep: Option<&Path>) -> Result<(), Box<dyn Error>> {
    let recipe = Recipe::draw(seed);
    println!("{recipe:#?}");
    if let Some(folder) = keep {
        std::fs::create_dir_all(folder)?;
        frames::write(&recipe, folder)?;
        std::fs::write(folder.join("shot.json"), format!("{:#}", sheet::sheet_json(&recipe)))?;
    }
    let judged = judge_with_help(&recipe)?;
    for score in &judged.scores {
        println!("{}", score_line(score));
    }
    println!("{}", line(seed, &judged));
    Ok(())
}

fn score_line(score: &made_up::score::Score) -> String {
    let z = score.z();
    format!("{:34} {:10.4} +/- {:8.4} truth {:10.4} z {z:6.2}", score.name, score.value, score.sd, score.truth)
}

/// Error and uncertainty of the four comparisons, and the verdicts.
fn line(seed: u64, judged: &Judged) -> String {
    if let Some(why) = &judged.refused {
        return format!("{seed} refused: {why}");
    }
    let number = |name: &str| {
        let score = judged.scores.iter().find(|s| s.name == name);
        score.map_or_else(|| "      -      ".to_owned(), |s| format!("{:+.3}/{:.3}", s.value - s.truth, s.sd))
    };
    let numbers: Vec<String> = made_up::judge::CHECKS.iter().map(|c| number(c)).collect();
    let calls: String = judged.calls.iter().map(|c| letter(c.verdict)).collect();
    let lies: Vec<&str> = judged.calls.iter().filter(|c| c.is_false()).map(|c| c.check).collect();
    format!("{seed} {} {calls} {lies:?} {:?}", numbers.join(" "), judged.qualities)
}
