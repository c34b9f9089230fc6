//! Content hashes of files, read anew or, where asked to, trusted by the files' times.
//!
//! A file whose size, time of change and inode are as they were when it was hashed is taken to hold what it held. That
//! spares reading every frame of a show that has not changed. What the files were is kept beside the reports, since reports
//! hold no times: the same frames give the same report wherever and whenever they are checked.

use std::collections::BTreeMap;
use std::fs::{File, Metadata};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use serde::{Deserialize, Serialize};

use crate::report::write::write_whole;
use crate::{Error, ErrorKind, Result};

/// The format mark of the list.
const FORMAT: &str = "plateproof-times/1";

/// What the names of such lists begin with.
const PREFIX: &str = "plateproof-times.";

/// A longer list is not one of ours: a million files are some 200 MB.
const MAX_LIST_BYTES: u64 = 1 << 30;

/// A file is trusted later on only if it had been left alone for so long when it was hashed: one that changes within the
/// clock's step, or on a machine whose clock goes slow, may keep its time (common practice, no source).
const SETTLED: Duration = Duration::from_secs(10);

/// Whether a file is such a list by its name.
pub fn is_times_name(name: &str) -> bool {
    name.strip_prefix(PREFIX).is_some_and(|rest| rest.strip_suffix(".json").is_some())
}

/// The content hash of a file; `None` where it cannot be read.
pub(crate) fn hash_of_file(path: &Path) -> Option<String> {
    path.metadata().ok().filter(Metadata::is_file)?;
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(File::open(path).ok()?).ok()?;
    Some(hasher.finalize().to_hex().to_string())
}

/// By what a file is known again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Stamp {
    bytes: u64,
    /// Time of the last change since 1970, whole seconds and nanoseconds.
    changed_s: u64,
    changed_ns: u32,
    /// 0 where the system has none.
    inode: u64,
}

/// A file as it was when it was hashed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Known {
    #[serde(flatten)]
    stamp: Stamp,
    blake3: String,
}

#[derive(Debug, Default, Serialize, Deserialize)]
struct List {
    format: String,
    files: BTreeMap<PathBuf, Known>,
}

/// Hashes of the files of a run.
#[derive(Debug, Default)]
pub struct FileHashes {
    /// Where the list is kept; `None` where every file is read.
    kept_at: Option<PathBuf>,
    /// Of earlier runs.
    known: BTreeMap<PathBuf, Known>,
    /// Of this run.
    met: Mutex<BTreeMap<PathBuf, Known>>,
}

impl FileHashes {
    /// Every file is read.
    pub fn read_anew() -> Self {
        Self::default()
    }

    /// Files are trusted that are as the list in `dir` has them; `stem` tells the lists of one folder apart. Without a list
    /// every file is read once.
    ///
    /// # Errors
    /// `Malformed` where something else stands in the list's place.
    pub fn by_times(dir: &Path, stem: &str) -> Result<Self> {
        let path = dir.join(format!("{PREFIX}{stem}.json"));
        let known = if path.symlink_metadata().is_ok() { read_list(&path)?.files } else { BTreeMap::new() };
        Ok(Self { kept_at: Some(path), known, met: Mutex::default() })
    }

    /// The content hash of a file; `None` where it cannot be read.
    pub fn of(&self, path: &Path) -> Option<String> {
        if self.kept_at.is_none() {
            return hash_of_file(path);
        }
        let begun = SystemTime::now();
        let name = std::path::absolute(path).ok()?;
        let before = stamp(path)?;
        if let Some(known) = self.known.get(&name).filter(|known| known.stamp == before) {
            self.keep(name, known.clone());
            return Some(known.blake3.clone());
        }
        let blake3 = hash_of_file(path)?;
        self.note(path, &blake3, begun);
        Some(blake3)
    }

    /// Notes the hash of a file whose reading began at `begun`, unless the file had been changed shortly before or has been
    /// since.
    pub(super) fn note(&self, path: &Path, blake3: &str, begun: SystemTime) {
        if self.kept_at.is_none() {
            return;
        }
        let (Ok(name), Some(stamp)) = (std::path::absolute(path), stamp(path)) else { return };
        let changed = UNIX_EPOCH + Duration::new(stamp.changed_s, stamp.changed_ns);
        if begun.duration_since(changed).is_ok_and(|age| age >= SETTLED) {
            self.keep(name, Known { stamp, blake3: blake3.to_owned() });
        }
    }

    fn keep(&self, name: PathBuf, known: Known) {
        self.met.lock().unwrap_or_else(PoisonError::into_inner).insert(name, known);
    }

    /// Writes the list for the next run; after a run that was `cut_short` with what earlier ones knew of the files that it
    /// did not come to.
    ///
    /// # Errors
    /// Where the folder cannot be written to.
    pub fn close(self, cut_short: bool) -> Result<()> {
        let Some(path) = self.kept_at else { return Ok(()) };
        let mut files = if cut_short { self.known } else { BTreeMap::new() };
        files.extend(self.met.into_inner().unwrap_or_else(PoisonError::into_inner));
        let list = List { format: FORMAT.to_owned(), files };
        let bytes = serde_json::to_vec(&list).map_err(|error| {
            let remedy = "give the frames names that are text, or leave out --trust-times";
            Error::new(ErrorKind::Parameter, &path, format!("cannot be written: {error}"), remedy)
        })?;
        write_whole(&path, &bytes)
    }
}

fn read_list(path: &Path) -> Result<List> {
    let failed = |error: std::io::Error| Error::io(path, &error);
    let none = |cause: &str| {
        let remedy = "move it away, and every file is read once more";
        Error::new(ErrorKind::Malformed, path, format!("is no list of files and times: {cause}"), remedy)
    };
    let about = path.metadata().map_err(failed)?;
    if !about.is_file() || about.len() > MAX_LIST_BYTES {
        return Err(none("not a file, or far too large"));
    }
    let mut bytes = Vec::new();
    File::open(path).map_err(failed)?.take(MAX_LIST_BYTES).read_to_end(&mut bytes).map_err(failed)?;
    let list: List = serde_json::from_slice(&bytes).map_err(|error| none(&error.to_string()))?;
    if list.format == FORMAT { Ok(list) } else { Err(none("another format")) }
}

/// `None` where there is no such file.
fn stamp(path: &Path) -> Option<Stamp> {
    let about = path.metadata().ok().filter(Metadata::is_file)?;
    let changed = about.modified().ok()?.duration_since(UNIX_EPOCH).unwrap_or_default();
    Some(Stamp {
        bytes: about.len(),
        changed_s: changed.as_secs(),
        changed_ns: changed.subsec_nanos(),
        inode: inode(&about),
    })
}

#[cfg(unix)]
fn inode(about: &Metadata) -> u64 {
    std::os::unix::fs::MetadataExt::ino(about)
}

#[cfg(not(unix))]
fn inode(_: &Metadata) -> u64 {
    0
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    /// Writes a file that was changed `age_s` seconds ago.
    fn put(path: &Path, text: &str, age_s: u64) {
        fs::write(path, text).unwrap();
        let then = UNIX_EPOCH + Duration::from_secs(1_700_000_000) - Duration::from_secs(age_s);
        File::options().write(true).open(path).unwrap().set_modified(then).unwrap();
    }

    fn hash(text: &str) -> String {
        blake3::hash(text.as_bytes()).to_hex().to_string()
    }

    #[test]
    fn a_file_is_trusted_by_size_time_and_inode() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("plate.exr");
        let again = || FileHashes::by_times(dir.path(), "x").unwrap();
        let told = |hashes: FileHashes| {
            let told = hashes.of(&path);
            hashes.close(false).unwrap();
            told
        };
        put(&path, "first", 0);
        assert_eq!(told(again()), Some(hash("first")));
        // Its content changed behind its stamp: that it is not seen shows that it was not read.
        put(&path, "other", 0);
        assert_eq!(told(again()), Some(hash("first")));
        assert_eq!(FileHashes::read_anew().of(&path), Some(hash("other")));
        put(&path, "other", 1);
        assert_eq!(told(again()), Some(hash("other")), "another time");
        put(&path, "longer", 1);
        assert_eq!(told(again()), Some(hash("longer")), "another size");
        let new = dir.path().join("new");
        put(&new, "forged", 1);
        fs::rename(&new, &path).unwrap();
        assert_eq!(
            told(again()),
            if cfg!(unix) { Some(hash("forged")) } else { Some(hash("longer")) },
            "another inode"
        );
        fs::remove_file(&path).unwrap();
        assert_eq!(told(again()), None);
    }

    #[test]
    fn a_file_that_was_changed_just_now_is_read_again() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("plate.exr");
        fs::write(&path, "first").unwrap();
        let hashes = FileHashes::by_times(dir.path(), "x").unwrap();
        assert_eq!(hashes.of(&path), Some(hash("first")));
        assert!(hashes.met.lock().unwrap().is_empty());
    }

    #[test]
    fn a_run_cut_short_keeps_what_was_known_and_foreign_files_stay() {
        let dir = tempfile::tempdir().unwrap();
        let [a, b] = ["a", "b"].map(|name| dir.path().join(name));
        put(&a, "a", 0);
        put(&b, "b", 0);
        let list = |cut_short: bool, path: &Path| {
            let hashes = FileHashes::by_times(dir.path(), "x").unwrap();
            hashes.of(path);
            hashes.close(cut_short).unwrap();
            read_list(&dir.path().join("plateproof-times.x.json")).unwrap().files.len()
        };
        assert_eq!([list(false, &a), list(true, &b), list(false, &b)], [1, 2, 1]);
        fs::write(dir.path().join("plateproof-times.y.json"), "{}").unwrap();
        assert_eq!(FileHashes::by_times(dir.path(), "y").unwrap_err().kind, ErrorKind::Malformed);
    }
}
