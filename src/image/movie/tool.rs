//! ffprobe and ffmpeg called as programs: without a shell, with one file by its whole path, without network, for a limited time and a
//! limited answer.

use std::ffi::OsString;
use std::io::Read;
use std::path::Path;
use std::process::{Child, ChildStderr, ChildStdout, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::Container;
use crate::{Error, ErrorKind, Result};

/// Of what a program says beside its answer, the last so many bytes are kept.
const KEPT_WORDS_BYTES: usize = 1 << 16;

/// Bytes that are taken from a pipe at once.
const PIECE_BYTES: usize = 1 << 18;

/// How to get the programs.
const INSTALL: &str = "install FFmpeg (Debian, Ubuntu: apt install ffmpeg; macOS: brew install ffmpeg; Windows: winget install ffmpeg) \
                       and run again, or export the frame as OpenEXR or DPX";

/// One of the programs at work. It ends with this.
pub(super) struct Running {
    child: Child,
    words: Option<JoinHandle<String>>,
}

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Options before the file: nothing is asked, nothing but that file is opened, and it is taken for what its first bytes say.
pub(super) fn input_options(container: Container) -> Vec<OsString> {
    ["-hide_banner", "-protocol_whitelist", "file", "-f", container.reader()].map(OsString::from).into()
}

/// The file's whole path, so that nothing in its name is taken for an option, a protocol or a pattern.
pub(super) fn input_name(path: &Path) -> Result<OsString> {
    let path = std::path::absolute(path).map_err(|error| Error::io(path, &error))?;
    let mut name = OsString::from("file:");
    name.push(path);
    Ok(name)
}

impl Running {
    /// Starts `program`; gives what it writes. What it says beside goes to `listen`, which gives back what of it may have to be told.
    pub(super) fn start(
        program: &str,
        arguments: &[OsString],
        path: &Path,
        listen: impl FnOnce(ChildStderr) -> String + Send + 'static,
    ) -> Result<(Self, ChildStdout)> {
        let mut command = Command::new(program);
        command.args(arguments).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        // They would write files, and colours into what they say.
        command.env_remove("FFREPORT").env_remove("AV_LOG_FORCE_COLOR").env("AV_LOG_FORCE_NOCOLOR", "1");
        let mut child = command.spawn().map_err(|error| not_started(program, path, &error))?;
        let (answer, words) = (child.stdout.take(), child.stderr.take());
        let words = words.map(|words| std::thread::spawn(move || listen(words)));
        let running = Self { child, words };
        let none = || Error::new(ErrorKind::Io, path, format!("nothing can be read from {program}"), "run again");
        Ok((running, answer.ok_or_else(none)?))
    }

    /// Waits for its end and gives what it said last, and whether it was content.
    pub(super) fn end(&mut self) -> (bool, String) {
        let ended = self.child.wait().is_ok_and(|status| status.success());
        let words = self.words.take().and_then(|words| words.join().ok()).unwrap_or_default();
        (ended, words)
    }
}

fn not_started(program: &str, path: &Path, error: &std::io::Error) -> Error {
    if error.kind() == std::io::ErrorKind::NotFound {
        let cause = format!("movies are read through {program}, and no such program is found");
        return Error::new(ErrorKind::Unsupported, path, cause, INSTALL);
    }
    let cause = format!("{program}, through which movies are read, could not be started: {error}");
    Error::new(ErrorKind::Io, path, cause, "check that it runs, then run again")
}

/// Reads to the end, so that the program never waits, and keeps the last.
fn last_words(mut words: ChildStderr) -> String {
    let (mut kept, mut piece) = (Vec::new(), vec![0; 1 << 13]);
    while let Ok(count @ 1..) = words.read(&mut piece) {
        kept.extend_from_slice(&piece[..count]);
        if kept.len() > 2 * KEPT_WORDS_BYTES {
            kept.drain(..kept.len() - KEPT_WORDS_BYTES);
        }
    }
    String::from_utf8_lossy(&kept).into_owned()
}

/// What a program writes, in pieces, so that waiting for it can be limited.
pub(super) struct Pieces {
    pieces: Receiver<std::io::Result<Vec<u8>>>,
}

/// Why no further piece came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoPiece {
    /// The program has written all.
    End,
    /// It took too long.
    Late,
}

impl Pieces {
    /// Reads `answer` ahead by no more than four pieces.
    pub(super) fn of(mut answer: ChildStdout) -> Self {
        let (send, pieces) = sync_channel(4);
        std::thread::spawn(move || {
            loop {
                let mut piece = vec![0; PIECE_BYTES];
                let read = answer.read(&mut piece);
                let last = !matches!(read, Ok(1..));
                let sent = send.send(read.map(|count| {
                    piece.truncate(count);
                    piece
                }));
                if last || sent.is_err() {
                    return;
                }
            }
        });
        Self { pieces }
    }

    /// The next piece, waited for until `deadline`.
    pub(super) fn next(&self, deadline: Instant) -> std::result::Result<Vec<u8>, NoPiece> {
        match self.pieces.recv_timeout(deadline.saturating_duration_since(Instant::now())) {
            Ok(Ok(piece)) if !piece.is_empty() => Ok(piece),
            Ok(_) | Err(RecvTimeoutError::Disconnected) => Err(NoPiece::End),
            Err(RecvTimeoutError::Timeout) => Err(NoPiece::Late),
        }
    }
}

/// Runs `program` to its end; its answer.
///
/// # Errors
/// `Unsupported` where it is not installed, `Limit` where it takes longer than `patience` or answers more than `max_bytes`,
/// `Malformed` where it cannot read the file.
pub(super) fn answer(
    program: &str,
    arguments: &[OsString],
    path: &Path,
    patience: Duration,
    max_bytes: usize,
) -> Result<Vec<u8>> {
    let deadline = Instant::now() + patience;
    let (mut running, answer) = Running::start(program, arguments, path, last_words)?;
    let pieces = Pieces::of(answer);
    let mut bytes = Vec::new();
    loop {
        match pieces.next(deadline) {
            Ok(piece) if bytes.len() + piece.len() > max_bytes => {
                let cause = format!("{program} says more about it than any movie has to say");
                return Err(Error::new(ErrorKind::Limit, path, cause, "cut the take shorter"));
            }
            Ok(piece) => bytes.extend(piece),
            Err(NoPiece::Late) => return Err(late(program, path, patience)),
            Err(NoPiece::End) => break,
        }
    }
    let (content, words) = running.end();
    if content { Ok(bytes) } else { Err(unreadable(path, &words)) }
}

/// A program took too long.
pub(super) fn late(program: &str, path: &Path, patience: Duration) -> Error {
    let cause = format!("{program} gave no answer for {} s and was stopped", patience.as_secs());
    Error::new(ErrorKind::Limit, path, cause, "copy the movie to a faster disk, or export the frame as OpenEXR or DPX")
}

/// A program could not read the file; `words` is what it said.
pub(super) fn unreadable(path: &Path, words: &str) -> Error {
    let mut said = words.lines().map(str::trim).filter(|line| !line.is_empty() && !line.contains("showinfo"));
    let said = said.next_back().unwrap_or("no reason given");
    // What it says begins with the part of it that speaks and the file's name.
    let said = said.rsplit_once("] ").map_or(said, |(_, said)| said);
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let said = said.split_once(&format!("{name}: ")).map_or(said, |(_, said)| said);
    let cause = format!("FFmpeg cannot read this movie: {}", said.trim_end_matches('.'));
    Error::new(ErrorKind::Malformed, path, cause, "copy the movie again, or export the frame as OpenEXR or DPX")
}
