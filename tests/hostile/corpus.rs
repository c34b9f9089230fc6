//! The corpus replayed, cut, and changed at random from a fixed seed.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use super::drive::{self, Outcome};
use super::seeds;

/// Steps in which files are cut.
const CUT_STEP_BYTES: usize = 37;

/// Changed files made from each file of the corpus, where `PLATEPROOF_MUTATIONS` says nothing else.
const MUTATIONS: u64 = 300;

/// No input of a few kilobytes may take longer: no loop without end, even on a busy machine.
const PATIENCE: Duration = Duration::from_secs(10);
/// Tries of an input before it counts as slow.
const TRIES: usize = 5;

type Drive = fn(&[u8], &Path) -> Outcome;

fn drive_of(kind: &str) -> Drive {
    match kind {
        "sheet" => drive::sheet,
        "picture" => drive::picture,
        "exif" => drive::exif,
        "report" => drive::report,
        #[cfg(feature = "ocio")]
        "config" => drive::config,
        _ => drive::clf,
    }
}

fn corpus(kind: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(kind)
}

/// Every committed file of one kind by name, those that fuzzing found among them.
fn files(kind: &str) -> BTreeMap<String, Vec<u8>> {
    let read = |path: PathBuf| (path.file_name().unwrap().to_string_lossy().into_owned(), fs::read(&path).unwrap());
    fs::read_dir(corpus(kind)).unwrap().map(|entry| read(entry.unwrap().path())).collect()
}

/// Puts one input through and holds its time: that of its fastest try. A machine may stall, above all where a program that reads it has
/// to be loaded again; what an input costs by itself stays.
fn timed(drive: Drive, bytes: &[u8], folder: &Path, what: &str) -> Outcome {
    let mut tries = Vec::new();
    while tries.len() < TRIES {
        let start = Instant::now();
        let outcome = drive(bytes, folder);
        tries.push(start.elapsed());
        if tries[tries.len() - 1] < PATIENCE {
            return outcome;
        }
    }
    let kept = std::env::temp_dir().join("plateproof_slow_input");
    fs::write(&kept, bytes).unwrap();
    panic!("{what} took {tries:?}; it is kept as {}", kept.display());
}

/// With `PLATEPROOF_WRITE_CORPUS` set the seeds are written anew first.
#[test]
fn every_seed_is_in_the_corpus_and_sound() {
    let folder = tempfile::tempdir().unwrap();
    for (kind, seeds) in seeds::kinds() {
        if std::env::var_os("PLATEPROOF_WRITE_CORPUS").is_some() {
            fs::create_dir_all(corpus(kind)).unwrap();
            for (name, bytes) in &seeds {
                fs::write(corpus(kind).join(name), bytes).unwrap();
            }
        }
        let committed = files(kind);
        for (name, _) in &seeds {
            let bytes = committed.get(*name).unwrap_or_else(|| panic!("{kind}/{name} is missing"));
            assert_eq!(timed(drive_of(kind), bytes, folder.path(), name), Outcome::Taken, "{kind}/{name}");
        }
    }
}

#[test]
fn the_whole_corpus_is_taken_or_refused() {
    let folder = tempfile::tempdir().unwrap();
    for (kind, _) in seeds::kinds() {
        for (name, bytes) in files(kind) {
            timed(drive_of(kind), &bytes, folder.path(), &name);
        }
    }
}

/// Pictures are cut in `tests/intake/hostile.rs` too, which also holds what becomes of them; here every kind is.
#[test]
fn cut_at_every_37th_byte_nothing_breaks() {
    let folder = tempfile::tempdir().unwrap();
    for (kind, _) in seeds::kinds() {
        let mut cuts = 0;
        for (name, whole) in files(kind) {
            for length in (0..whole.len()).step_by(CUT_STEP_BYTES) {
                timed(drive_of(kind), &whole[..length], folder.path(), &format!("{name} cut to {length}"));
                cuts += 1;
            }
        }
        println!("{kind}: {cuts} cut files");
        assert!(cuts > 20, "{kind}");
    }
}

/// A cut sheet or transform is no sheet or transform: half of one must never pass for a whole one.
#[test]
fn a_cut_text_is_never_taken_for_a_whole_one() {
    let folder = tempfile::tempdir().unwrap();
    for kind in ["sheet", "clf"] {
        for (name, bytes) in seeds::kinds().into_iter().find(|(k, _)| *k == kind).unwrap().1 {
            let whole = bytes.trim_ascii_end();
            for length in (0..whole.len()).step_by(CUT_STEP_BYTES) {
                let outcome = drive_of(kind)(&whole[..length], folder.path());
                assert_eq!(outcome, Outcome::Refused, "{name} cut to {length} of {}", whole.len());
            }
        }
    }
}

/// What a fuzzer does, bounded and from a fixed seed: so it runs everywhere and finds the same on every run.
#[test]
fn changed_at_random_nothing_breaks() {
    let rounds = std::env::var("PLATEPROOF_MUTATIONS").ok().and_then(|text| text.parse().ok()).unwrap_or(MUTATIONS);
    let folder = tempfile::tempdir().unwrap();
    for (kind, _) in seeds::kinds() {
        let files: Vec<_> = files(kind).into_values().collect();
        let mut dice = Dice(0x5a17_fe44_2031_0304);
        let (mut taken, mut refused) = (0, 0);
        for round in 0..rounds * files.len() as u64 {
            let changed = dice.change(&files, round as usize % files.len());
            match timed(drive_of(kind), &changed, folder.path(), &format!("{kind} in round {round}")) {
                Outcome::Taken => taken += 1,
                Outcome::Refused => refused += 1,
            }
        }
        println!("{kind}: {taken} taken, {refused} refused");
        assert!(taken > 0 && refused > 0, "{kind}: {taken} {refused}: the changes are too small or too large");
    }
}

/// Numbers that are the same on every run (xorshift64*; Vigna, ACM TOMS 42, 2016).
struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 33) as usize % below.max(1)
    }

    /// One of the files with one to six changes.
    fn change(&mut self, files: &[Vec<u8>], which: usize) -> Vec<u8> {
        let mut bytes = files[which].clone();
        for _ in 0..=self.roll(6) {
            self.change_once(&mut bytes, files);
        }
        bytes
    }

    fn change_once(&mut self, bytes: &mut Vec<u8>, files: &[Vec<u8>]) {
        const TELLING: [u8; 8] = [0, 1, 0x7f, 0x80, 0xff, b'9', b'"', b'-'];
        let at = self.roll(bytes.len());
        let end = (at + 1 + self.roll(16)).min(bytes.len());
        match self.roll(7) {
            0 if at < bytes.len() => bytes[at] ^= 1 << self.roll(8),
            1 if at < bytes.len() => bytes[at] = TELLING[self.roll(8)],
            2 => bytes[at..end].fill(TELLING[self.roll(8)]),
            3 => drop(bytes.drain(at..end)),
            4 => {
                let again = bytes[at..end].to_vec();
                drop(bytes.splice(at..at, again));
            }
            5 => {
                let other = &files[self.roll(files.len())];
                let from = self.roll(other.len());
                let piece = &other[from..(from + 1 + self.roll(64)).min(other.len())];
                drop(bytes.splice(at..end, piece.iter().copied()));
            }
            _ => bytes.truncate(at),
        }
    }
}
