//! The finder on pictures that nobody here drew: the shots of `golden/outside` and photographs of others.
//!
//! `cargo bench --bench outside -- --shots DIR [--half work|report] [--photographs DIR] [--list]`. `DIR` is where
//! `golden/outside/make_shots.py` wrote its frames; the photographs are those of the reference data. Each frame is looked at
//! alone, with the lens where its sheet tells it; with `--given circle` a circle is drawn about the sphere that is off by a
//! tenth of its radius in place and size, and with `--given shot` every shot is checked as it is, with its bracket, CG and plate. A sphere is *found* where centre and radius together are within 3 % of
//! the radius, *rough* where they are not and the stated standard deviations say so, *open* where several outlines are offered,
//! *wrong* where another outline is taken without doubt.
//!
//! `--shots DIR --half work --traits FILE` writes what the search knows of every round outline, a line each, with whether it is that
//! of a mirror sphere: `golden/outside/weigh_traits.py` fits the weights on it.
#![allow(clippy::print_stdout, reason = "a bench reports on stdout")]

mod finder;
mod photographs;
mod traits;

use std::error::Error;
use std::path::PathBuf;

use finder::{Looked, table};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let after = |name: &str| arguments.iter().position(|a| a == name).and_then(|i| arguments.get(i + 1)).cloned();
    let list = arguments.iter().any(|a| a == "--list");
    if let (Some(folder), Some(file)) = (after("--shots"), after("--traits")) {
        return traits::write(folder.as_ref(), &after("--half").unwrap_or_default(), file.as_ref());
    }
    let mut looked: Vec<Looked> = Vec::new();
    if let Some(folder) = after("--shots").map(PathBuf::from) {
        let [half, only] = ["--half", "--only"].map(|name| after(name).unwrap_or_default());
        let given = after("--given").unwrap_or_else(|| "nothing".to_owned());
        looked.extend(match given.as_str() {
            "nothing" => finder::shots(&folder, &half, &only, false)?,
            "circle" => finder::shots(&folder, &half, &only, true)?,
            "shot" => finder::checked(&folder, &half, &only)?,
            other => return Err(format!("--given {other}: nothing, circle or shot").into()),
        });
    }
    if let Some(folder) = after("--photographs").map(PathBuf::from) {
        looked.extend(photographs::looked(&folder, after("--only").as_deref()));
    }
    if list {
        for one in &looked {
            println!("{}", one.line());
        }
    }
    println!("{}", table(&looked));
    Ok(())
}
