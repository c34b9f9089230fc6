//! Programs run as processes of their own: what they took.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Errors end a bench.
pub(crate) type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

/// With this argument a bench is the decoding process.
const DECODE: &str = "--only-decode";
const PYTHON_PEER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/python_peer.py");

/// Whether this process was the decoding one; then it has decoded.
pub(crate) fn has_decoded() -> Outcome<bool> {
    let mut arguments = std::env::args_os().skip(1);
    if arguments.next().is_none_or(|first| first != DECODE) {
        return Ok(false);
    }
    for path in arguments {
        crate::yardstick::decode_rgb(Path::new(&path))?;
    }
    Ok(true)
}

/// This program as the one that decodes files one after the other.
pub(crate) fn decoding(files: impl IntoIterator<Item = PathBuf>) -> std::io::Result<Command> {
    let mut command = Command::new(std::env::current_exe()?);
    command.arg(DECODE).args(files);
    Ok(command)
}

/// What the Python script prints when it is asked for something about files.
pub(crate) fn python_output(python: &OsStr, asked: &[&str], files: &[PathBuf]) -> Outcome<String> {
    let output = Command::new(python).arg(PYTHON_PEER).args(asked).args(files).stderr(Stdio::inherit()).output()?;
    if !output.status.success() {
        return Err(format!("{PYTHON_PEER} ended with {}", output.status).into());
    }
    Ok(String::from_utf8(output.stdout)?)
}

/// What one process took.
pub(crate) struct Run {
    pub(crate) wall: Duration,
    pub(crate) processor: Duration,
    pub(crate) peak_bytes: u64,
}

/// Runs a process to its end, asking for its memory all the while. A check may end with status 1 (mismatch) or 3.
pub(crate) fn measure(command: &mut Command) -> Outcome<Run> {
    let before = processor_time_of_children();
    let start = Instant::now();
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn()?;
    let mut peak_bytes = 0;
    let status = loop {
        peak_bytes = peak_bytes.max(resident_peak_bytes(child.id()).unwrap_or(0));
        match child.try_wait()? {
            Some(status) => break status,
            None => std::thread::sleep(Duration::from_millis(2)),
        }
    };
    let wall = start.elapsed();
    let processor = processor_time_of_children().saturating_sub(before);
    match status.code() {
        Some(0 | 1 | 3) => Ok(Run { wall, processor, peak_bytes }),
        other => Err(format!("{command:?} ended with {other:?}").into()),
    }
}

/// Largest resident memory so far (`VmHWM`); `None` where the system does not tell.
fn resident_peak_bytes(process: u32) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kib: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024)
}

/// Processor time of all children that have ended: fields 16 and 17 of `/proc/self/stat` in hundredths of a second.
fn processor_time_of_children() -> Duration {
    let stat = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit_once(')').map_or("", |parts| parts.1);
    let ticks: u64 = after_name.split_whitespace().skip(13).take(2).filter_map(|n| n.parse::<u64>().ok()).sum();
    Duration::from_millis(ticks * 10)
}

pub(crate) fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1e3
}
