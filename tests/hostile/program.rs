//! Runs the program as a person or a render farm does.

use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Nothing here may take longer, even on a busy machine.
const PATIENCE: Duration = Duration::from_mins(4);

/// How a run ended.
pub(super) struct Ended {
    pub(super) status: i32,
    pub(super) out: String,
    pub(super) err: String,
}

impl Ended {
    /// It refused what it was given: status 2, in words that no terminal takes for commands.
    pub(super) fn refused(&self) -> &Self {
        assert_eq!(self.status, 2, "{}{}", self.out, self.err);
        self.tame()
    }

    /// No control codes but line ends, and no panic.
    pub(super) fn tame(&self) -> &Self {
        for text in [&self.out, &self.err] {
            let text = text.replace("\r\n", "\n");
            assert!(!text.chars().any(|c| c.is_control() && c != '\n'), "{text:?}");
            assert!(!text.contains("panicked"), "{text}");
        }
        self
    }

    /// Somewhere in what was said.
    pub(super) fn says(&self, words: &str) -> &Self {
        assert!(self.out.contains(words) || self.err.contains(words), "{words}?\n{}{}", self.out, self.err);
        self
    }
}

pub(super) fn run(folder: &Path, words: &[&str]) -> Ended {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("plateproof"));
    end(command.current_dir(folder).args(words))
}

/// The same after a line of shell that sets the limits of the process, such as `ulimit -v 1000000`.
pub(super) fn run_under(limits: &str, folder: &Path, words: &[&str]) -> Ended {
    let mut command = Command::new("sh");
    command.arg("-c").arg(format!("{limits}; exec \"$0\" \"$@\"")).arg(assert_cmd::cargo::cargo_bin!("plateproof"));
    end(command.current_dir(folder).args(words))
}

/// Waits for the end; a run that takes too long, or that a signal ends, fails the test.
fn end(command: &mut Command) -> Ended {
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let id = child.id();
    let (sender, receiver) = std::sync::mpsc::channel::<()>();
    let watch = std::thread::spawn(move || {
        let start = Instant::now();
        while receiver.try_recv() == Err(std::sync::mpsc::TryRecvError::Empty) {
            if start.elapsed() > PATIENCE {
                drop(Command::new("kill").arg("-9").arg(id.to_string()).status());
                return;
            }
            sleep(Duration::from_millis(20));
        }
    });
    child.stdin.take();
    let Output { status, stdout, stderr } = child.wait_with_output().unwrap();
    drop(sender);
    watch.join().unwrap();
    let [out, err] = [stdout, stderr].map(|bytes| String::from_utf8(bytes).unwrap());
    let status = status.code().unwrap_or_else(|| panic!("ended by a signal: {status}\n{err}"));
    Ended { status, out, err }
}
