//! The summary as a table for spreadsheets (RFC 4180).

use super::{ShotLine, Summary};
use crate::findings::ShotVerdict;
use crate::printable_text;

const COLUMNS: [&str; 18] = [
    "shot",
    "version",
    "verdict",
    "check",
    "mirror",
    "value",
    "value_sd",
    "value_bound",
    "unit",
    "tolerance",
    "why",
    "remedy",
    "waived",
    "warnings",
    "change",
    "earlier_version",
    "earlier_verdict",
    "report",
];

/// One row a shot, worst first, with a line of column names; numbers with a decimal point, lines ended as RFC 4180
/// wants them.
///
/// Text that a spreadsheet would take for a formula is preceded by an apostrophe.
pub fn render_csv(summary: &Summary) -> String {
    let mut text = COLUMNS.join(",") + "\r\n";
    for line in &summary.shots {
        text += &(row(line).join(",") + "\r\n");
    }
    text
}

fn row(line: &ShotLine) -> [String; COLUMNS.len()] {
    let number = line.number.as_ref();
    let change = line.change.as_ref();
    let words = |text: Option<&str>| cell(text.unwrap_or_default());
    [
        cell(&line.shot),
        words(line.version.as_deref()),
        line.verdict.word().to_owned(),
        words(number.map(|n| n.check.name())),
        words(number.and_then(|n| n.mirror.as_deref())),
        figure(number.map(|n| n.value)),
        figure(number.and_then(|n| n.value_sd)),
        words(number.and_then(|n| n.value_bound.as_deref())),
        words(number.map(|n| n.unit.as_str())),
        figure(number.map(|n| n.tolerance)),
        cell(&line.why),
        words(line.remedy.as_deref()),
        line.waived.to_string(),
        line.warnings.to_string(),
        words(change.map(|c| c.kind.word())),
        words(change.and_then(|c| c.earlier_version.as_deref())),
        words(change.and_then(|c| c.earlier_verdict).map(ShotVerdict::word)),
        cell(&line.report),
    ]
}

pub(super) fn figure(number: Option<f64>) -> String {
    number.filter(|n| n.is_finite()).map(|n| n.to_string()).unwrap_or_default()
}

pub(super) fn cell(text: &str) -> String {
    let mut text = printable_text(text);
    if text.starts_with(['=', '+', '-', '@']) {
        text.insert(0, '\'');
    }
    if text.contains([',', '"', '\n', '\r']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text }
}

#[cfg(test)]
mod tests {
    use super::super::document::tests::full;
    use super::*;

    /// Splits one line of RFC 4180.
    fn cells(line: &str) -> Vec<String> {
        let (mut cells, mut quoted) = (vec![String::new()], false);
        for c in line.chars() {
            match c {
                '"' => quoted = !quoted,
                ',' if !quoted => cells.push(String::new()),
                c => cells.last_mut().unwrap().push(c),
            }
        }
        cells
    }

    #[test]
    fn every_row_has_every_column_and_no_formula() {
        let text = render_csv(&full());
        let rows: Vec<Vec<String>> = text.trim_end().split("\r\n").map(cells).collect();
        assert_eq!(rows.len(), 5);
        assert!(rows.iter().all(|row| row.len() == COLUMNS.len()), "{text}");
        assert_eq!(rows[2][0], "'=SF_0030");
        assert!(rows[2][5].parse::<f64>().is_ok(), "{text}");
        assert!(!text.contains('\u{1b}'));
    }
}
