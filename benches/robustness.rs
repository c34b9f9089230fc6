//! How errors and verdicts grow with noise, blur, compression, clipping, small spheres, hidden parts, an unknown
//! lens, or a sphere that the edge of the frame cuts.
//!
//! `cargo bench --bench robustness` takes careful made-up shots, spoils one thing at a time, and prints the figures of
//! each. With `-- --write docs` it writes `docs/robustness.md` with its plots and figures; `--shots N` sets the shots of a row.
#![allow(clippy::print_stdout, reason = "a bench reports on stdout")]

#[path = "robustness/conditions.rs"]
mod conditions;
mod made_up;
#[path = "robustness/rows.rs"]
mod rows;

use std::error::Error;
use std::path::{Path, PathBuf};

use conditions::{CONDITIONS, Condition};
use made_up::judge::judge;
use made_up::recipe::Recipe;
use made_up::{frames, sheet};
use plateproof::report::picture::render_plot;
use rows::Row;

/// First seed; never among those that uncertainties were tuned on.
const SEED: u64 = 21_000;
/// Shots in a row.
const SHOTS: u64 = 6;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let after = |name: &str| arguments.iter().position(|a| a == name).and_then(|i| arguments.get(i + 1)).cloned();
    let shots = after("--shots").and_then(|n| n.parse().ok()).unwrap_or(SHOTS);
    let only = after("--only");
    let keep = after("--keep").map(PathBuf::from);
    let mut text = format!("{}\nSeeds {SEED} to {}.\n", rows::INTRODUCTION, SEED + shots - 1);
    let folder = after("--write").map(PathBuf::from);
    for condition in CONDITIONS.iter().filter(|c| only.as_ref().is_none_or(|name| c.name == name)) {
        let rows = measure(condition, shots, keep.as_deref())?;
        let figures = rows::csv(condition, &rows);
        println!("{}\n{figures}", condition.title);
        text.push_str(&rows::section(condition));
        if let Some(folder) = &folder {
            std::fs::create_dir_all(folder.join("robustness"))?;
            std::fs::write(beside(folder, condition, "png"), render_plot(&rows::plot(condition, &rows))?)?;
            std::fs::write(beside(folder, condition, "csv"), figures)?;
        }
    }
    if let Some(folder) = folder.filter(|_| only.is_none()) {
        std::fs::write(folder.join("robustness.md"), text)?;
    }
    Ok(())
}

/// The file of a condition with this ending.
fn beside(folder: &Path, condition: &Condition, ending: &str) -> PathBuf {
    folder.join("robustness").join(format!("{}.{ending}", condition.name))
}

/// The same shots at every value of the condition.
fn measure(condition: &Condition, shots: u64, keep: Option<&Path>) -> Result<Vec<Row>, Box<dyn Error>> {
    let mut rows = Vec::new();
    for value in condition.values {
        let mut row = Row::new(*value);
        for seed in SEED..SEED + shots {
            let mut recipe = Recipe::careful(seed);
            (condition.spoil)(&mut recipe, *value);
            let judged = judge(&recipe)?;
            if let Some(why) = &judged.refused {
                println!("refused: {} {value}, seed {seed}: {why}", condition.name);
            }
            if let Some(folder) = keep {
                leave(&recipe, &folder.join(format!("{}_{value}_{seed}", condition.name)))?;
            }
            row.shots.push(judged);
        }
        rows.push(row);
    }
    Ok(rows)
}

/// Leaves a shot's frames and sheet in a folder.
fn leave(recipe: &Recipe, folder: &Path) -> Result<(), Box<dyn Error>> {
    std::fs::create_dir_all(folder)?;
    frames::write(recipe, folder)?;
    std::fs::write(folder.join("shot.json"), format!("{:#}", sheet::sheet_json(recipe)))?;
    Ok(())
}
