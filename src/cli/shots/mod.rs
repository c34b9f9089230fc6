//! Checks many shots at once, writes their reports and sums them up.
//!
//! A fixed number of workers takes the shots in order. What is kept of a shot that is done is a count and the hash of its
//! report; the reports are on disk. Answers come out one by one in the order of the shots, whichever is done first.

mod line;
mod worker;

use std::collections::BTreeMap;
use std::io;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::thread;

use textwrap::core::display_width;

use super::args::Format;
use super::console::Console;
use super::exit::ExitStatus;
use super::interrupt;
use super::progress::Progress;
use crate::report::write::sweep_dead_files;
use crate::report::{WrittenPaths, render_text};
use crate::sheet::ShotSheet;
use crate::show::{FileHashes, Ledger, MemoryBudget, Options, Planned, RunName};
use crate::{Error, Result, printable, printable_text};
use line::{Done, Tally, one_line, row};
use worker::Worker;
pub(super) use worker::{beside, planned, planned_as, resolved};

/// Stack of a worker, as large as that of the main thread on the systems in use.
const WORKER_STACK_BYTES: usize = 8 << 20;

/// What is wanted of every shot.
#[derive(Debug)]
pub(super) struct Wanted {
    /// What tells this run from others.
    pub(super) run: RunName,
    /// Folder for the reports.
    pub(super) out: PathBuf,
    /// What is printed.
    pub(super) format: Format,
    /// What decides about a report besides sheet and files.
    pub(super) options: Options,
    /// Check again what has not changed.
    pub(super) again: bool,
    /// Take files for unchanged whose size, time and inode are.
    pub(super) trust_times: bool,
    /// One line a shot however few there are, as befits a part of a show.
    pub(super) as_list: bool,
    /// Shots in work at once.
    pub(super) jobs: usize,
    /// Memory that they share, bytes.
    pub(super) memory: u64,
}

/// A shot to be checked.
#[derive(Debug)]
pub(super) struct Task {
    /// Its sheet, or what errors name in its place.
    pub(super) origin: PathBuf,
    /// Why it is not checked.
    pub(super) refused: Option<Error>,
    /// What its report will be.
    pub(super) planned: Planned,
}

impl Task {
    /// The name of its report.
    fn stem(&self) -> &str {
        let name = self.planned.report.as_str();
        name.strip_suffix(".report.json").unwrap_or(name)
    }
}

/// Loads the sheet of a task.
pub(super) type Load<'a> = dyn Fn(&Task) -> Result<ShotSheet> + Sync + 'a;

/// Checks all shots; one that cannot be done does not stop the others.
pub(super) fn run_shots(
    tasks: &[Task],
    wanted: &Wanted,
    load: &Load<'_>,
    console: &mut Console,
) -> anyhow::Result<ExitStatus> {
    interrupt::listen();
    sweep_dead_files(&wanted.out);
    let planned = tasks.iter().map(|task| task.planned.clone()).collect();
    let ledger = Ledger::open(&wanted.out, &wanted.run, planned)?;
    let hashes = if wanted.trust_times {
        FileHashes::by_times(&wanted.out, &wanted.run.mark())?
    } else {
        FileHashes::read_anew()
    };
    let worker = Worker {
        wanted,
        load,
        hashes,
        budget: MemoryBudget::new(wanted.memory),
        keep_report: tasks.len() == 1 && !wanted.as_list,
    };
    let progress = Progress::start(console.watched).over(tasks.len());
    let (next, failed) = (AtomicUsize::new(0), AtomicBool::new(false));
    let (sender, receiver) = channel();
    let mut teller = Teller {
        wanted,
        console,
        progress,
        ledger,
        count: tasks.len(),
        widest: tasks.iter().map(|task| display_width(task.stem())).max().unwrap_or_default(),
        next: 0,
        tally: Tally::default(),
        status: ExitStatus::AllMatch,
    };
    thread::scope(|scope| {
        for _ in 0..wanted.jobs.clamp(1, tasks.len().max(1)) {
            let sender = sender.clone();
            let (worker, next, failed, progress) = (&worker, &next, &failed, teller.progress.clone());
            thread::Builder::new().stack_size(WORKER_STACK_BYTES).spawn_scoped(scope, move || {
                while !interrupt::stopping() && !failed.load(Ordering::SeqCst) {
                    let index = next.fetch_add(1, Ordering::SeqCst);
                    let Some(task) = tasks.get(index) else { break };
                    progress.say(&printable(&task.origin));
                    let done = worker.shot(task);
                    progress.step();
                    if sender.send((index, done)).is_err() {
                        break;
                    }
                }
            })?;
        }
        drop(sender);
        let told = teller.tell_in_order(&receiver);
        failed.store(told.is_err(), Ordering::SeqCst);
        told
    })?;
    worker.hashes.close(teller.tally.told < tasks.len())?;
    teller.finish()
}

/// Says what came of the shots, in their order.
struct Teller<'a> {
    wanted: &'a Wanted,
    console: &'a mut Console,
    progress: Progress,
    ledger: Ledger,
    count: usize,
    /// Columns of the longest name.
    widest: usize,
    /// The shot that is to be told next.
    next: usize,
    tally: Tally,
    status: ExitStatus,
}

impl Teller<'_> {
    fn tell_in_order(&mut self, receiver: &Receiver<(usize, Done)>) -> io::Result<()> {
        let mut early = BTreeMap::new();
        for (index, done) in receiver {
            early.insert(index, done);
            while let Some(done) = early.remove(&self.next) {
                self.tell(self.next, done)?;
                self.next += 1;
            }
        }
        // Where the run was stopped, shots may be missing in between.
        early.into_iter().try_for_each(|(index, done)| self.tell(index, done))
    }

    fn tell(&mut self, index: usize, mut done: Done) -> io::Result<()> {
        self.ledger.done(index, done.report_blake3.take());
        self.status = self.status.max(ExitStatus::from(done.verdict));
        if let Some(error) = done.not_written.take() {
            self.status = ExitStatus::Unusable;
            self.remark(&error.to_string());
        }
        let shows_report = self.wanted.format == Format::Text && self.count == 1 && !self.wanted.as_list;
        if let Some(remark) = done.remark.take().filter(|_| !shows_report) {
            self.remark(&remark);
        }
        let answer = match self.wanted.format {
            Format::Json => one_line(&mut done),
            Format::Text if shows_report => self.whole_report(&mut done),
            Format::Text => row(&done, self.widest),
        };
        self.tally.add(&done);
        self.progress.aside(|| self.console.answer(&answer))
    }

    fn whole_report(&self, done: &mut Done) -> String {
        let Some(report) = done.report.take() else { return String::new() };
        render_text(&report, self.console.colour) + &written_words(done.written.as_ref(), done.unchanged)
    }

    fn remark(&self, text: &str) {
        self.progress.aside(|| Console::remark(&format!("plateproof: {}", printable_text(text))));
    }

    /// Prints the summary of several shots and gives the exit status of all.
    fn finish(self) -> anyhow::Result<ExitStatus> {
        let Self { wanted, console, progress, ledger, count, tally, mut status, .. } = self;
        drop(progress);
        ledger.close()?;
        if wanted.format == Format::Text && count > 0 && (count > 1 || wanted.as_list) {
            console.answer(&tally.summary(&wanted.out))?;
        }
        if tally.told < count {
            status = ExitStatus::Interrupted;
            let done = tally.told;
            Console::remark(&format!(
                "plateproof: stopped after {done} of {count} shots; the same command carries on from there"
            ));
        }
        Ok(status)
    }
}

fn written_words(written: Option<&WrittenPaths>, unchanged: bool) -> String {
    let Some(paths) = written else { return String::new() };
    let mut endings = "txt, json".to_owned();
    endings += if paths.picture.is_some() { ", png" } else { "" };
    for path in &paths.beside {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        endings += ", ";
        endings += &printable_text(&name);
    }
    let how = if unchanged { "Unchanged since the last run (--again checks again)" } else { "Written" };
    format!("\n{how}: {} ({endings})\n", printable(&paths.text))
}
