//! Figures and plots of one condition.

use std::fmt::Write;

use plateproof::findings::Verdict;
use plateproof::report::picture::{Plot, PlotPanel, PlotPoint};
use plateproof::sheet::Tolerances;

use crate::conditions::Condition;
use crate::made_up::judge::{CHECKS, Judged};

/// All shots at one value of a condition.
pub(crate) struct Row {
    pub(crate) value: f64,
    pub(crate) shots: Vec<Judged>,
}

impl Row {
    pub(crate) fn new(value: f64) -> Self {
        Self { value, shots: Vec::new() }
    }

    fn points(&self, check: &str) -> Vec<PlotPoint> {
        let point = |shot: &Judged| {
            let score = shot.scores.iter().find(|s| s.name == check)?;
            let verdict = shot.calls.iter().find(|c| c.check == check)?.verdict;
            Some(PlotPoint { across: self.value, value: score.value - score.truth, sd: score.sd, verdict })
        };
        self.shots.iter().filter_map(point).collect()
    }
}

pub(crate) const INTRODUCTION: &str = "# What happens as the input gets worse

Made by `cargo bench --bench robustness -- --write docs`; the same on every machine. Each plot takes carefully recorded
computer-made shots (sphere of 90 px radius, lens known, nothing wrong in the CG unless stated) and degrades one thing.
The bar through a mark reaches two standard deviations up and down, and the grey band is the tolerance. A tick is a match, a
filled square a mismatch, a diamond unsure. An arrow at the edge is an error off the scale, with its value beside it. A
short bar at the foot is a shot that was refused or gave no number. The correct verdict is `match` everywhere.

The CSV file beside each plot has the figures: `error` is the root mean square of measured minus true value, `sd` the median
of the standard deviations that the reports state, both in the unit of the check; then how many shots were `match`,
`mismatch` and `unsure`.
";

/// The condition's part of the page: its plot, and where its figures are.
pub(crate) fn section(condition: &Condition) -> String {
    let (title, name) = (condition.title, condition.name);
    format!("\n## {title}\n\n![{title}](robustness/{name}.png)\n\nFigures: [{name}.csv](robustness/{name}.csv)\n")
}

/// The figures of a condition, one line for each of its values.
pub(crate) fn csv(condition: &Condition, rows: &[Row]) -> String {
    let mut text = format!("\"{}\",shots,done", condition.across);
    for check in CHECKS {
        let _ = write!(text, ",{check} error,{check} sd,{check} match,{check} mismatch,{check} unsure");
    }
    text.push('\n');
    for row in rows {
        let done = row.shots.iter().filter(|s| s.refused.is_none()).count();
        let _ = write!(text, "{},{},{done}", row.value, row.shots.len());
        for check in CHECKS {
            cells(&mut text, row, check);
        }
        text.push('\n');
    }
    text
}

fn cells(text: &mut String, row: &Row, check: &str) {
    let points = row.points(check);
    let calls = row.shots.iter().flat_map(|s| &s.calls).filter(|c| c.check == check);
    let verdicts: Vec<Verdict> = calls.map(|c| c.verdict).collect();
    let count = |verdict: Verdict| verdicts.iter().filter(|v| **v == verdict).count();
    let said = [Verdict::Match, Verdict::Mismatch, Verdict::Unsure].map(count);
    if points.is_empty() {
        let _ = write!(text, ",,,{},{},{}", said[0], said[1], said[2]);
        return;
    }
    let error = (points.iter().map(|p| p.value * p.value).sum::<f64>() / points.len() as f64).sqrt();
    let mut sd: Vec<f64> = points.iter().map(|p| p.sd).collect();
    sd.sort_by(f64::total_cmp);
    let _ = write!(text, ",{error:.3},{:.3},{},{},{}", sd[sd.len() / 2], said[0], said[1], said[2]);
}

pub(crate) fn plot(condition: &Condition, rows: &[Row]) -> Plot {
    let t = Tolerances::default();
    let panels =
        [("deg", t.direction.deg), ("stops", t.key_fill.stops), ("stops", t.exposure.stops), ("stops", t.colour.stops)];
    let panels = CHECKS.into_iter().zip(panels).map(|(check, (unit, tolerance))| PlotPanel {
        heading: check.to_owned(),
        unit: unit.to_owned(),
        errors: true,
        tolerance,
        points: rows.iter().flat_map(|row| row.points(check)).collect(),
        without: rows
            .iter()
            .flat_map(|row| {
                let missing = row.shots.len() - row.points(check).len();
                std::iter::repeat_n(row.value, missing)
            })
            .collect(),
    });
    Plot {
        title: condition.title.to_owned(),
        across: condition.across.to_owned(),
        logarithmic: condition.logarithmic,
        panels: panels.collect(),
    }
}
