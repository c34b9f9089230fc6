//! `plateproof summary`.

use std::fs;
use std::path::{Path, PathBuf};

use super::args::{SummaryArgs, SummaryFormat};
use super::console::Console;
use super::exit::ExitStatus;
use super::progress::Progress;
use super::{refuse, wrong_use};
use crate::report::json::to_json_of;
use crate::report::picture::{OVERVIEW_ROWS, OverviewHead, OverviewRow, render_overview};
use crate::report::write::{remove_picture, replace_picture};
use crate::summary::{
    Layout, PAGE_COLUMNS, ReportSet, ShotLine, Summary, Versions, read_reports, render_csv, render_junit,
    render_summary_text, render_trend_csv, sphere_pair,
};
use crate::{Error, Result, printable, printable_text};

/// What the names of an overview's pages begin with.
const PAGE_NAME: &str = "overview.page-";

pub(super) fn run(args: &SummaryArgs, console: &mut Console) -> anyhow::Result<ExitStatus> {
    refuse::required("summary", &args.require)?;
    let progress = Progress::start(console.watched);
    progress.say("reading reports");
    if args.trend && args.format == SummaryFormat::Junit {
        return Err(wrong_use("summary", "--trend has no --format junit: a build server shows the newest version"));
    }
    let read = |paths: &[PathBuf], versions: Versions| {
        let mut reports = read_reports(paths, versions);
        reports.lines.iter_mut().for_each(|line| line.require(&args.require));
        reports
    };
    let mut now = read(&args.reports, if args.trend { Versions::All } else { Versions::Newest });
    keep_shots(&mut now, &args.shot)?;
    let named = args.against.as_ref().map(|path| printable(path)).unwrap_or_default();
    let earlier = args.against.as_ref().map(|path| {
        let mut earlier = read(std::slice::from_ref(path), Versions::Newest);
        earlier.lines.retain(|line| args.shot.is_empty() || args.shot.contains(&line.shot));
        (earlier, named.as_str())
    });
    let summary = Summary::new(now, earlier);
    drop(progress);
    let title = title(&args.reports);
    console.answer(&rendered(&summary, args, &title, console))?;
    if let Some(folder) = &args.overview {
        let pages = draw(&summary, folder, &title)?;
        let words = if pages == 1 { "page".to_owned() } else { format!("{pages} pages, the first of them") };
        Console::remark(&format!("plateproof: overview drawn: {words} {}", printable(&page_path(folder, 0, pages))));
    }
    Ok(ExitStatus::from(summary.verdict))
}

fn title(reports: &[PathBuf]) -> String {
    reports.iter().map(|path| path.to_string_lossy()).collect::<Vec<_>>().join(" ")
}

/// Leaves the named shots; one that has no report is wrong use.
fn keep_shots(reports: &mut ReportSet, names: &[String]) -> anyhow::Result<()> {
    if names.is_empty() {
        return Ok(());
    }
    if let Some(missing) = names.iter().find(|name| !reports.lines.iter().any(|line| line.shot == **name)) {
        return Err(wrong_use("summary", format!("--shot {}: no report of it", printable_text(missing))));
    }
    reports.lines.retain(|line| names.contains(&line.shot));
    reports.trends.retain(|trend| names.contains(&trend.shot));
    Ok(())
}

fn rendered(summary: &Summary, args: &SummaryArgs, title: &str, console: &Console) -> String {
    let columns = console.columns.unwrap_or(PAGE_COLUMNS);
    match args.format {
        SummaryFormat::Text => {
            render_summary_text(summary, title, Layout { all: args.all, colour: console.colour, columns })
        }
        SummaryFormat::Csv if args.trend => render_trend_csv(summary),
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
        replace_picture(&page_path(folder, page, pages), &render_overview(&head, &rows)?)?;
    }
    let drawn: Vec<PathBuf> = (0..pages).map(|page| page_path(folder, page, pages)).collect();
    pages_in(folder)?.into_iter().filter(|path| !drawn.contains(path)).try_for_each(|path| remove_picture(&path))?;
    Ok(pages)
}

/// Names with as many digits as all pages need, so that they sort as numbers do.
fn page_path(folder: &Path, page: usize, pages: usize) -> PathBuf {
    let digits = pages.to_string().len().max(3);
    folder.join(format!("{PAGE_NAME}{:0digits$}.png", page + 1))
}

/// The pages of an overview that a folder holds.
fn pages_in(folder: &Path) -> Result<Vec<PathBuf>> {
    let failed = |error: std::io::Error| Error::io(folder, &error);
    let paths = fs::read_dir(folder).map_err(failed)?.map(|entry| entry.map(|entry| entry.path()));
    let mut paths = paths.collect::<std::io::Result<Vec<PathBuf>>>().map_err(failed)?;
    paths.retain(|path| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let number = name.strip_prefix(PAGE_NAME).and_then(|rest| rest.strip_suffix(".png"));
        number.is_some_and(|digits| !digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit()))
    });
    Ok(paths)
}

fn lines(summary: &Summary) -> Vec<String> {
    let text = render_summary_text(summary, "", Layout::default());
    let counts: Vec<&str> = text.lines().skip(1).take_while(|line| !line.is_empty()).map(str::trim).collect();
    std::iter::once(counts.join(" ")).chain(summary.patterns.iter().map(|pattern| pattern.sentence.clone())).collect()
}

fn row(line: &ShotLine) -> OverviewRow {
    let picture = line.report.strip_suffix(".json").map(|stem| format!("{stem}.png"));
    OverviewRow {
        shot: line.shot.clone(),
        version: line.version.clone(),
        verdict: line.verdict,
        words: line.why.clone(),
        remedy: line.remedy.clone().unwrap_or_default(),
        change: line.change.as_ref().map(|change| change.kind.word().to_owned()),
        spheres: picture.and_then(|picture| sphere_pair(Path::new(&picture))),
    }
}
