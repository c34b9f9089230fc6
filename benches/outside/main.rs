//! The finder on pictures that nobody here drew: the shots of `golden/outside` and photographs of others.
//!
//! `cargo bench --bench outside -- --shots DIR [--half work|report] [--photographs DIR] [--list]`. `DIR` is where
//! `golden/outside/make_shots.py` wrote its frames; the photographs are those of the reference data. Each frame is looked at
//! alone, with the lens where its sheet tells it. A sphere is *found* where centre and radius together are within 3 % of
//! the radius or what is stated explains the difference, *wrong* where it is taken without doubt and lies elsewhere.
#![allow(clippy::print_stdout, reason = "a bench reports on stdout")]

mod finder;
mod photographs;

use std::error::Error;
use std::path::PathBuf;

use finder::{Looked, table};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let after = |name: &str| arguments.iter().position(|a| a == name).and_then(|i| arguments.get(i + 1)).cloned();
    let list = arguments.iter().any(|a| a == "--list");
    let mut looked: Vec<Looked> = Vec::new();
    if let Some(folder) = after("--shots").map(PathBuf::from) {
        let half = after("--half");
        looked.extend(finder::shots(&folder, half.as_deref(), after("--only").as_deref())?);
    }
    if let Some(folder) = after("--photographs").map(PathBuf::from) {
        looked.extend(photographs::looked(&folder, after("--only").as_deref()));
    }
    if list {
        looked.iter().for_each(|l| println!("{}", l.line()));
    }
    println!("{}", table(&looked));
    Ok(())
}
