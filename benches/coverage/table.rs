//! The table.

use std::fmt::Write;

use crate::made_up::judge::{CHECKS, Judged};
use crate::made_up::score::{Call, Quality, Score};

/// Half-width of a 95 % interval in standard deviations.
const NINETY_FIVE: f64 = 1.96;

/// Statistics of one number over many shots.
struct Statistics {
    count: usize,
    covered: f64,
    mean_z2: f64,
    median_z2: f64,
    mean_z: f64,
}

impl Statistics {
    fn of<'a>(scores: impl Iterator<Item = &'a Score>) -> Option<Self> {
        let z: Vec<f64> = scores.filter(|s| s.counts()).map(Score::z).collect();
        if z.is_empty() {
            return None;
        }
        let count = z.len() as f64;
        let mut squares: Vec<f64> = z.iter().map(|z| z * z).collect();
        squares.sort_by(f64::total_cmp);
        Some(Self {
            count: z.len(),
            covered: z.iter().filter(|z| z.abs() <= NINETY_FIVE).count() as f64 / count,
            mean_z2: squares.iter().sum::<f64>() / count,
            median_z2: squares[squares.len() / 2],
            mean_z: z.iter().sum::<f64>() / count,
        })
    }

    fn cells(&self) -> String {
        format!(
            "{} | {:.1} % | {:.2} | {:.2} | {:+.2}",
            self.count,
            100.0 * self.covered,
            self.mean_z2,
            self.median_z2,
            self.mean_z
        )
    }
}

/// Everything as Markdown. Nothing in it depends on the machine.
pub(crate) fn table(first_seed: u64, shots: &[Judged], golden: &[Judged]) -> String {
    let mut text = String::new();
    let refused = shots.iter().filter(|s| s.refused.is_some()).count();
    let helped = shots.iter().filter(|s| s.helped.is_some()).count();
    let _ = writeln!(
        text,
        "Seeds {first_seed} to {}: {} made-up shots; in {helped} the search refused and the outline was given by hand, {refused} \
         could not be done at all; {} path-traced shots.\n",
        first_seed + shots.len() as u64 - 1,
        shots.len(),
        golden.len()
    );
    comparisons(&mut text, shots, golden);
    verdicts(&mut text, shots, golden);
    by_quality(&mut text, shots);
    text
}

/// What is looked up seldom: which shots make the tails, and which the search refused. Printed, not kept.
pub(crate) fn tails(first_seed: u64, shots: &[Judged]) -> String {
    let mut text = String::new();
    wild(&mut text, first_seed, shots);
    refusals(&mut text, first_seed, shots);
    text
}

/// Every number of the reports and every quality of the input as CSV.
pub(crate) fn csv(shots: &[Judged]) -> String {
    let mut text = "quality,number,count,95 % interval covers %,mean z^2,median z^2,mean z\n".to_owned();
    let mut names: Vec<&str> = shots.iter().flat_map(|s| &s.scores).map(|s| s.name).collect();
    names.sort_unstable();
    names.dedup();
    for name in names {
        csv_row(&mut text, "all", shots.iter(), name);
    }
    for quality in Quality::ALL {
        for check in CHECKS {
            csv_row(&mut text, quality.words(), shots.iter().filter(|s| s.qualities.contains(&quality)), check);
        }
    }
    text
}

fn csv_row<'a>(text: &mut String, quality: &str, shots: impl Iterator<Item = &'a Judged>, name: &str) {
    let scores = shots.flat_map(|s| &s.scores).filter(|s| s.name == name);
    if let Some(statistics) = Statistics::of(scores) {
        let _ = writeln!(text, "{quality},{name},{}", statistics.cells().replace(" %", "").replace(" | ", ","));
    }
}

const HEAD: &str = "| | count | 95 % interval covers | mean z² | median z² | mean z |\n|---|---|---|---|---|---|";

fn comparisons(text: &mut String, shots: &[Judged], golden: &[Judged]) {
    let _ = writeln!(text, "### The four comparisons\n\n{HEAD}");
    for check in CHECKS {
        row(text, check, shots, check);
        row(text, &format!("{check}, path-traced"), golden, check);
    }
}

fn row(text: &mut String, label: &str, shots: &[Judged], name: &str) {
    let scores = shots.iter().flat_map(|s| &s.scores).filter(|s| s.name == name);
    if let Some(statistics) = Statistics::of(scores) {
        let _ = writeln!(text, "| {label} | {} |", statistics.cells());
    }
}

fn verdicts(text: &mut String, shots: &[Judged], golden: &[Judged]) {
    let _ = writeln!(
        text,
        "\n### Verdicts\n\n| | match or mismatch | of these false | good input, clear truth | of these decided |\n|---|---|---|---|---|"
    );
    for (set, word) in [(shots, ""), (golden, ", path-traced")] {
        for check in CHECKS {
            verdict_row(text, &format!("{check}{word}"), set, |c| c.check == check);
        }
        verdict_row(text, &format!("all{word}"), set, |_| true);
    }
    let lies: Vec<String> = shots
        .iter()
        .flat_map(|s| s.calls.iter().map(move |c| (s, c)))
        .filter(|(_, c)| c.is_false())
        .map(|(s, c)| format!("{} {} {:?} at {:.2} tolerances {:?}", c.seed, c.check, c.verdict, c.size, s.qualities))
        .collect();
    let _ = writeln!(text, "\nFalse: {}.", if lies.is_empty() { "none".to_owned() } else { lies.join("; ") });
}

/// Errors beyond so many standard deviations are listed.
const WILD: f64 = 3.0;

/// Which shots make the tails.
fn wild(text: &mut String, first_seed: u64, shots: &[Judged]) {
    let of_shot = |(shot, seed): (&Judged, u64)| {
        let far = shot.scores.iter().filter(|s| CHECKS.contains(&s.name) && s.counts() && s.z().abs() > WILD);
        let words = |s: &Score| format!("{seed} {} {:+.1} {:?}", s.name, s.z(), shot.qualities);
        far.map(words).collect::<Vec<_>>()
    };
    let list = shots.iter().zip(first_seed..).flat_map(of_shot).collect::<Vec<_>>();
    let _ = writeln!(text, "\nBeyond 3 sd: {}.", if list.is_empty() { "none".to_owned() } else { list.join("; ") });
}

fn verdict_row(text: &mut String, label: &str, shots: &[Judged], which: impl Fn(&Call) -> bool) {
    let calls: Vec<&Call> = shots.iter().flat_map(|s| &s.calls).filter(|c| which(c)).collect();
    let decided = calls.iter().filter(|c| c.is_decided()).count();
    let lies = calls.iter().filter(|c| c.is_false()).count();
    let good = shots.iter().filter(|s| s.qualities == [Quality::Good]);
    let clear: Vec<&Call> = good.flat_map(|s| &s.calls).filter(|c| which(c) && c.is_clear()).collect();
    let settled = clear.iter().filter(|c| c.is_decided()).count();
    let percent = |part: usize, whole: usize| 100.0 * part as f64 / whole.max(1) as f64;
    let _ = writeln!(
        text,
        "| {label} | {decided} | {lies} ({:.1} %) | {} | {settled} ({:.0} %) |",
        percent(lies, decided),
        clear.len(),
        percent(settled, clear.len())
    );
}

/// How often the interval covers the truth, a row for each quality.
fn by_quality(text: &mut String, shots: &[Judged]) {
    let heads = CHECKS.join(" | ");
    let _ = writeln!(
        text,
        "\n### By quality of the input\n\nHow often the 95 % interval covers the truth, in percent; a shot may be in several \
         rows. All figures: [coverage.csv](coverage.csv).\n\n| | count | {heads} |\n|---|---|{}",
        "---|".repeat(CHECKS.len())
    );
    for quality in Quality::ALL {
        let of_quality: Vec<&Judged> = shots.iter().filter(|s| s.qualities.contains(&quality)).collect();
        let statistics =
            |check: &str| Statistics::of(of_quality.iter().flat_map(|s| &s.scores).filter(|s| s.name == check));
        let cell = |check: &str| statistics(check).map_or("-".to_owned(), |s| format!("{:.1}", 100.0 * s.covered));
        let cells = CHECKS.map(cell).join(" | ");
        let _ = writeln!(text, "| {} | {} | {cells} |", quality.words(), of_quality.len());
    }
}

fn refusals(text: &mut String, first_seed: u64, shots: &[Judged]) {
    let list: Vec<String> = shots
        .iter()
        .zip(first_seed..)
        .filter_map(|(s, seed)| Some(format!("- {seed}: {}", s.refused.as_ref().or(s.helped.as_ref())?)))
        .collect();
    let _ = writeln!(
        text,
        "\n### Refused by the search\n\n{}",
        if list.is_empty() { "None.".to_owned() } else { list.join("\n") }
    );
}

/// The document that is committed.
pub(crate) fn document(table: &str) -> String {
    format!("{INTRODUCTION}\n{table}")
}

const INTRODUCTION: &str = "# Does the stated uncertainty cover the truth?

Made by `cargo bench --bench coverage -- --write docs/coverage.md`; the same on every machine. Shots are drawn from
seeds (`benches/made_up/`): sphere radius 16 to 150 px, one to four lamps, soft panels, noise, blur, clipping, stand,
something in front of the sphere, lens known or not, reflectance known or not, drift against the plate, camera JPEGs,
and errors of up to three tolerances in the CG. Truth comes from the scenes by the definitions of the report, never from
a pixel. z is the error over the stated standard deviation. No seed is reported on which anything was tuned or that led to a
change.

Target: coverage 90 to 99 %, mean z² 0.7 to 1.4, false verdicts under 1 %, at least 90 % decided on good input.
";
