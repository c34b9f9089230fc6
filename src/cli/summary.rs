//! `plateproof summary`.

use std::fs;
use std::path::{Path, PathBuf};

use super::args::{SummaryArgs, SummaryFormat};
use super::console::Console;
use super::exit::ExitStatus;
use super::progress::Progress;
use super::refuse;
use crate::report::json::to_json_of;
use crate::report::picture::{OVERVIEW_ROWS, OverviewHead, OverviewRow, render_overview};
use crate::report::write::{remove_picture, replace_picture};
use crate::summary::{ShotLine, Summary, read_reports, render_csv, render_junit, render_summary_text, sphere_pair};
use crate::{Error, Result, printable};

pub(super) fn run(args: &SummaryArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    refuse::required("summary", &args.require)?;
    let progress = Progress::start(console.watched);
    progress.say("reading reports");
    let read = |paths: &[PathBuf]| {
        let mut reports = read_reports(paths);
        reports.lines.iter_mut().for_each(|line| line.require(&args.require));
        reports
    };
    let now = read(&args.reports);
    let named = args.against.as_ref().map(|path| printable(path)).unwrap_or_default();
    let earlier = args.against.as_ref().map(|path| (read(std::slice::from_ref(path)), named.as_str()));
    let summary = Summary::new(now, earlier);
    drop(progress);
    let title = title(&args.reports);
    console.answer(&rendered(&summary, args, &title, console.colour))?;
    if let Some(folder) = &args.overview {
        let pages = draw(&summary, folder, &title)?;
        let words = if pages == 1 { "page".to_owned() } else { format!("{pages} pages, the first of them") };
        Console::remark(&format!("plateproof: overview drawn: {words} {}", printable(&page_path(folder, 0))));
    }
    Ok(ExitStatus::from(summary.verdict))
}

fn title(reports: &[PathBuf]) -> String {
    reports.iter().map(|path| path.to_string_lossy()).collect::<Vec<_>>().join(" ")
}

fn rendered(summary: &Summary, args: &SummaryArgs, title: &str, colour: bool) -> String {
    match args.format {
        SummaryFormat::Text => render_summary_text(summary, title, args.all, colour),
        SummaryFormat::Json => to_json_of(summary),
        SummaryFormat::Csv => render_csv(summary),
        SummaryFormat::Junit => render_junit(summary),
    }
}

/// Draws every page and says how many; pages of an earlier, longer overview are taken away.
fn draw(summary: &Summary, folder: &Path, title: &str) -> Result<usize> {
    fs::create_dir_all(folder).map_err(|error| Error::io(folder, &error))?;
    let pages = summary.shots.len().div_ceil(OVERVIEW_ROWS).max(1);
    for page in 0..pages {
        let shots = summary.shots.iter().skip(page * OVERVIEW_ROWS).take(OVERVIEW_ROWS);
        let rows: Vec<OverviewRow> = shots.map(row).collect();
        let head = OverviewHead { title: title.to_owned(), lines: lines(summary), page: [page + 1, pages] };
        replace_picture(&page_path(folder, page), &render_overview(&head, &rows)?)?;
    }
    let mut later = (pages..).map(|page| page_path(folder, page)).take_while(|path| path.exists());
    later.try_for_each(|path| remove_picture(&path))?;
    Ok(pages)
}

fn page_path(folder: &Path, page: usize) -> PathBuf {
    folder.join(format!("overview.page-{}.png", page + 1))
}

fn lines(summary: &Summary) -> Vec<String> {
    let text = render_summary_text(summary, "", false, false);
    let counts: Vec<&str> = text.lines().skip(1).take_while(|line| !line.is_empty()).map(str::trim).collect();
    std::iter::once(counts.join(" ")).chain(summary.patterns.iter().map(|pattern| pattern.sentence.clone())).collect()
}

fn row(line: &ShotLine) -> OverviewRow {
    let picture = line.report.strip_suffix(".json").map(|stem| format!("{stem}.png"));
    OverviewRow {
        shot: line.shot.clone(),
        version: line.version.clone(),
        verdict: line.verdict,
        check: line.number.as_ref().map(|n| n.check.clone()).unwrap_or_default(),
        number: number_and_set(line),
        remedy: line.remedy.clone().or_else(|| line.reason.clone()).unwrap_or_default(),
        change: line.change.as_ref().map(|change| change.kind.word().to_owned()),
        spheres: picture.and_then(|picture| sphere_pair(Path::new(&picture))),
    }
}

/// The number, and what from set does not fit.
fn number_and_set(line: &ShotLine) -> String {
    let number = line.number.as_ref().map_or_else(|| line.why.clone(), |n| n.words.clone());
    let set = line.set_words();
    if set.is_empty() { number } else { format!("{number}; {set}") }
}
