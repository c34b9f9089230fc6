//! Shots over their versions as a table for spreadsheets and plots (RFC 4180).

use super::Summary;
use super::csv::{cell, figure};

const COLUMNS: [&str; 12] = [
    "shot",
    "version",
    "verdict",
    "check",
    "mirror",
    "check_verdict",
    "waived",
    "value",
    "value_sd",
    "value_bound",
    "unit",
    "tolerance",
];

/// One row a check of a version, oldest version first, with a line of column names; a version of which nothing was
/// measured has one row without a check.
pub fn render_trend_csv(summary: &Summary) -> String {
    let mut text = COLUMNS.join(",") + "\r\n";
    for trend in &summary.trends {
        for point in &trend.versions {
            let of_version = [
                cell(&trend.shot),
                cell(point.version.as_deref().unwrap_or_default()),
                point.verdict.word().to_owned(),
            ];
            let checks = point.checks.iter().map(|check| {
                [
                    cell(check.check.name()),
                    cell(check.mirror.as_deref().unwrap_or_default()),
                    check.verdict.word().to_owned(),
                    if check.waived { "yes" } else { "no" }.to_owned(),
                    figure(check.value),
                    figure(check.value_sd),
                    cell(check.value_bound.as_deref().unwrap_or_default()),
                    cell(&check.unit),
                    figure(Some(check.tolerance)),
                ]
            });
            let none = point.checks.is_empty().then(<[String; COLUMNS.len() - 3]>::default);
            for check in checks.chain(none) {
                text += &of_version.join(",");
                text += ",";
                text += &check.join(",");
                text += "\r\n";
            }
        }
    }
    text
}
