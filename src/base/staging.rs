//! Files under temporary names until they are whole, and what is left of them where a process was killed.
//!
//! A process holds a lock on each temporary file while it writes; the system gives the lock back when the process
//! ends, however it ends. Only a file that nobody holds and nobody has written to for a while is taken away.

use std::fs::{self, File};
use std::io::Write;
use std::path::Path;
use std::time::{Duration, SystemTime};

use tempfile::NamedTempFile;

use crate::{Error, Result};

const PREFIX: &str = ".plateproof-";
const SUFFIX: &str = ".tmp";

/// Between making a file and locking it lie microseconds; on this machine, where locks can be trusted, this is ample.
const PATIENCE_HERE: Duration = Duration::from_secs(10);

/// Locks of another machine may not be seen through a shared folder; a report is written within seconds.
const PATIENCE_ELSEWHERE: Duration = Duration::from_hours(1);

/// Whether files can be made in a folder, by making one that vanishes at once.
pub(crate) fn can_write_in(dir: &Path) -> Result<()> {
    stage(dir, dir, b"").map(drop)
}

/// The whole content, on disk, under a temporary name that vanishes unless renamed.
pub(crate) fn stage(dir: &Path, target: &Path, bytes: &[u8]) -> Result<NamedTempFile> {
    let failed = |e: std::io::Error| Error::io(target, &e);
    stage_filled(dir, target, |file| file.write_all(bytes).map_err(failed))
}

/// Writes one file: complete under a temporary name beside `path` first, then renamed over it.
///
/// # Errors
/// What `fill` returns, or `Io` where the folder is missing or does not take the file.
pub(crate) fn write_atomically(path: &Path, fill: impl FnOnce(&mut File) -> Result<()>) -> Result<()> {
    let dir = path.parent().filter(|dir| !dir.as_os_str().is_empty()).unwrap_or(Path::new("."));
    rename(stage_filled(dir, path, fill)?, path)?;
    sync_folder(dir);
    Ok(())
}

/// Gives a staged file its name.
pub(crate) fn rename(staged: NamedTempFile, target: &Path) -> Result<()> {
    staged.persist(target).map(drop).map_err(|e| Error::io(target, &e.error))
}

/// Makes the renames last through a power cut where the system can; the files themselves are on disk already.
pub(crate) fn sync_folder(dir: &Path) {
    if cfg!(unix) {
        let _ = File::open(dir).and_then(|folder| folder.sync_all());
    }
}

fn stage_filled(dir: &Path, target: &Path, fill: impl FnOnce(&mut File) -> Result<()>) -> Result<NamedTempFile> {
    let failed = |e: std::io::Error| Error::io(target, &e);
    let prefix = format!("{PREFIX}{}-", machine_mark());
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix).suffix(SUFFIX);
    // Temporary files are private by default; a report is for everyone whom the umask lets read.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut staged = builder.tempfile_in(dir).map_err(failed)?;
    // A file system without locks makes sweepers leave the file alone, so nothing is lost.
    let _ = staged.as_file().try_lock();
    fill(staged.as_file_mut())?;
    staged.as_file().sync_all().map_err(failed)?;
    Ok(staged)
}

/// Takes away temporary files in `dir` whose writers are surely dead. What cannot be looked at stays.
pub fn sweep_dead_files(dir: &Path) {
    let Ok(entries) = fs::read_dir(dir) else { return };
    let here = format!("{PREFIX}{}-", machine_mark());
    for entry in entries.flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        let ordinary = entry.file_type().is_ok_and(|kind| kind.is_file());
        if ordinary && name.starts_with(PREFIX) && name.ends_with(SUFFIX) {
            let patience = if name.starts_with(&here) { PATIENCE_HERE } else { PATIENCE_ELSEWHERE };
            if is_dead(&entry.path(), patience) {
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}

fn is_dead(path: &Path, patience: Duration) -> bool {
    let Ok(file) = File::options().write(true).open(path) else { return false };
    let age = file.metadata().and_then(|about| about.modified()).map(|time| SystemTime::now().duration_since(time));
    matches!(age, Ok(Ok(age)) if age >= patience) && file.try_lock().is_ok()
}

/// The same for all processes of one machine since it was started, and nothing that tells who it is.
fn machine_mark() -> String {
    let boot = fs::read("/proc/sys/kernel/random/boot_id").unwrap_or_default();
    if boot.is_empty() {
        return "any".to_owned();
    }
    blake3::hash(&boot).to_hex().as_str().chars().take(8).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn old(path: &Path, age: Duration) {
        File::options().write(true).open(path).unwrap().set_modified(SystemTime::now() - age).unwrap();
    }

    #[test]
    fn only_files_of_the_dead_are_taken_away() {
        let dir = tempfile::tempdir().unwrap();
        let at = |name: &str| dir.path().join(name);
        let mark = machine_mark();
        let dead_here = at(&format!("{PREFIX}{mark}-a{SUFFIX}"));
        let dead_elsewhere = at(&format!("{PREFIX}01234567-b{SUFFIX}"));
        let young_elsewhere = at(&format!("{PREFIX}01234567-c{SUFFIX}"));
        let foreign = at("notes.tmp");
        for path in [&dead_here, &dead_elsewhere, &young_elsewhere, &foreign] {
            fs::write(path, "half a rep").unwrap();
            old(path, Duration::from_mins(1));
        }
        old(&dead_elsewhere, Duration::from_secs(4000));
        let alive = stage(dir.path(), &at("r.json"), b"whole").unwrap();
        old(alive.path(), Duration::from_secs(4000));
        let fresh = at(&format!("{PREFIX}{mark}-d{SUFFIX}"));
        fs::write(&fresh, "just made").unwrap();
        sweep_dead_files(dir.path());
        let left = [&dead_here, &dead_elsewhere, &young_elsewhere, &foreign, &fresh].map(|path| path.exists());
        assert_eq!(left, [false, false, true, true, true]);
        assert!(alive.path().exists(), "its writer holds it");
    }
}
