//! Frames as ffmpeg decodes them, in the movie's own pixel format, each held against the time at which it has to be shown.

use std::ffi::OsString;
use std::io::{BufRead, BufReader};
use std::process::ChildStderr;
use std::sync::mpsc::{Receiver, Sender};
use std::time::{Duration, Instant};

use super::facts::Shown;
use super::known::Movie;
use super::layout::Layout;
use super::tool::{NoPiece, Pieces, Running, input_name, input_options, late, unreadable};
use crate::image::limits::Limits;
use crate::{Error, ErrorKind, Result};

/// So long is waited for a frame: a group of pictures of 8K video on a busy machine (common practice, no source).
const FRAME_PATIENCE: Duration = Duration::from_mins(2);

/// Frames of one take of which every `step`th is wanted, and the last.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run {
    /// Places among the frames as they are shown.
    pub(super) first: usize,
    pub(super) last: usize,
    pub(super) step: usize,
}

/// A frame in its own pixel format.
pub(super) struct Raw {
    pub(super) bytes: Vec<u8>,
    /// It holds two fields of different moments.
    pub(super) interlaced: bool,
}

/// What ffmpeg says of a frame that it hands over.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Said {
    shown_s: f64,
    interlaced: Option<bool>,
    pixel_format: String,
    size: [usize; 2],
}

/// ffmpeg at work on a run of frames.
pub(super) struct Decoder {
    running: Running,
    pieces: Pieces,
    said: Receiver<Said>,
    /// What came of the next frame.
    begun: Vec<u8>,
    frame_bytes: usize,
}

/// One frame.
///
/// # Errors
/// `Malformed` where it cannot be decoded, `Limit` where that takes too long, `Unsupported` without ffmpeg.
pub(super) fn one(movie: &Movie, frames: &[Shown], place: usize, layout: &Layout, limits: &Limits) -> Result<Raw> {
    let run = Run { first: place, last: place, step: 1 };
    let from_key = Decoder::start(movie, frames, run, layout, limits, true)?.next(movie, frames, place);
    match from_key {
        // Some files cannot be entered at the place that they name.
        Err(error) if error.kind == ErrorKind::Malformed => {
            Decoder::start(movie, frames, run, layout, limits, false)?.next(movie, frames, place)
        }
        other => other,
    }
}

impl Decoder {
    /// Starts on a run; from the last frame before it at which decoding may begin, or from the movie's beginning.
    pub(super) fn start(
        movie: &Movie,
        frames: &[Shown],
        run: Run,
        layout: &Layout,
        limits: &Limits,
        from_key: bool,
    ) -> Result<Self> {
        let arguments = arguments(movie, frames, run, limits, from_key)?;
        let (send, said) = std::sync::mpsc::channel();
        let listen = move |words: ChildStderr| listen(words, &send);
        let (running, answer) = Running::start("ffmpeg", &arguments, &movie.path, listen)?;
        let frame_bytes = layout.frame_bytes(movie.stream.size);
        Ok(Self { running, pieces: Pieces::of(answer), said, begun: Vec::new(), frame_bytes })
    }

    /// The next frame of the run, which has to be the one at `place`.
    pub(super) fn next(&mut self, movie: &Movie, frames: &[Shown], place: usize) -> Result<Raw> {
        let deadline = Instant::now() + FRAME_PATIENCE;
        while self.begun.len() < self.frame_bytes {
            match self.pieces.next(deadline) {
                Ok(piece) => self.begun.extend(piece),
                Err(NoPiece::Late) => return Err(late("ffmpeg", &movie.path, FRAME_PATIENCE)),
                Err(NoPiece::End) => return Err(unreadable(&movie.path, &self.running.end().1)),
            }
        }
        let rest = self.begun.split_off(self.frame_bytes);
        let bytes = std::mem::replace(&mut self.begun, rest);
        let said = self
            .said
            .recv_timeout(FRAME_PATIENCE)
            .map_err(|_| unreadable(&movie.path, "it does not say which frame it gives"))?;
        let wanted_s = movie.seconds(frames[place].at);
        let apart =
            |other: Option<&Shown>| other.map_or(f64::INFINITY, |other| (movie.seconds(other.at) - wanted_s).abs());
        let slack =
            0.5 * apart(place.checked_sub(1).and_then(|i| frames.get(i))).min(apart(frames.get(place + 1))).min(1.0);
        if (said.shown_s - wanted_s).abs() > slack {
            return Err(unreadable(&movie.path, "the frame at that place cannot be decoded"));
        }
        if said.pixel_format != movie.stream.pixel_format || said.size != movie.stream.size {
            return Err(unreadable(&movie.path, "size or pixel format changes within it"));
        }
        let by_stream = !matches!(movie.stream.fields.as_str(), "" | "progressive" | "unknown");
        Ok(Raw { bytes, interlaced: said.interlaced.unwrap_or(by_stream) })
    }
}

fn arguments(movie: &Movie, frames: &[Shown], run: Run, limits: &Limits, from_key: bool) -> Result<Vec<OsString>> {
    let mut arguments: Vec<OsString> = ["-nostdin", "-nostats", "-loglevel", "info"].map(OsString::from).into();
    arguments.extend(input_options(movie.container));
    arguments.extend(["-max_pixels".into(), limits.max_pixels.min(i32::MAX as u64).to_string().into()]);
    let key = frames[..=run.first].iter().rposition(|frame| frame.is_key).unwrap_or(0);
    if from_key && key > 0 {
        // Rounded down, so that the frame itself is not passed over.
        let start_s = (movie.seconds(frames[key].at) * 1e6).floor() / 1e6;
        arguments.extend(["-seek_timestamp", "1", "-noaccurate_seek", "-ss"].map(OsString::from));
        arguments.push(format!("{start_s:.6}").into());
    }
    // Codes, size and times stay as they are stored.
    arguments.extend(["-copyts", "-noautorotate", "-i"].map(OsString::from));
    arguments.push(input_name(&movie.path)?);
    arguments.extend(["-map", "0:V:0", "-an", "-sn", "-dn", "-autoscale", "0", "-vf"].map(OsString::from));
    arguments.push(filter(movie, frames, run)?.into());
    let count = (run.last - run.first).div_ceil(run.step) + 1;
    // A thousand frames a second by their count: none is doubled or left out to keep a rate.
    arguments.extend(["-r", "1000", "-frames:v"].map(OsString::from));
    arguments.extend([count.to_string().into(), "-f".into(), "rawvideo".into(), "pipe:1".into()]);
    Ok(arguments)
}

/// Lets pass the frames that are shown between the moments half way to their neighbours, and of those the wanted.
fn filter(movie: &Movie, frames: &[Shown], run: Run) -> Result<String> {
    let middle = |a: &Shown, b: &Shown| 0.5 * (movie.seconds(a.at) + movie.seconds(b.at));
    let (first, last) = (&frames[run.first], &frames[run.last]);
    let before = run.first.checked_sub(1).and_then(|i| frames.get(i));
    let after = frames.get(run.last + 1);
    if before.is_some_and(|f| f.at == first.at) || after.is_some_and(|f| f.at == last.at) {
        let cause = "two of its frames are shown at the same moment, so that they cannot be told apart";
        return Err(Error::new(ErrorKind::Unsupported, &movie.path, cause, "export the frame as OpenEXR or DPX"));
    }
    let from_s = before.map_or(movie.seconds(first.at) - 1.0, |frame| middle(frame, first));
    let to_s = after.map_or(movie.seconds(last.at) + 1.0, |frame| middle(last, frame));
    let every = if run.step > 1 {
        format!(",select='not(mod(n,{}))+eq(n,{})'", run.step, run.last - run.first)
    } else {
        String::new()
    };
    Ok(format!("select='between(t,{from_s:.9},{to_s:.9})'{every},showinfo=checksum=0,settb=1/1000,setpts=N"))
}

/// Hands on what is said of frames; gives the last of everything else.
fn listen(words: ChildStderr, send: &Sender<Said>) -> String {
    const KEPT_LINES: usize = 40;
    const LONGEST_LINE_BYTES: u64 = 1 << 14;
    let mut tick_s = None;
    let mut kept = Vec::new();
    let mut words = BufReader::new(words);
    loop {
        let mut line = Vec::new();
        let read = std::io::Read::take(&mut words, LONGEST_LINE_BYTES).read_until(b'\n', &mut line);
        if !matches!(read, Ok(1..)) {
            return kept.join("\n");
        }
        let line = String::from_utf8_lossy(&line).trim_end().to_owned();
        if line.contains("Parsed_showinfo") {
            tick_s = tick_s.or_else(|| time_base(&line));
            if let Some(said) = tick_s.and_then(|tick_s| said(&line, tick_s)) {
                let _ = send.send(said); // nobody may listen any longer
            }
            continue;
        }
        kept.push(line);
        if kept.len() > 2 * KEPT_LINES {
            kept.drain(..KEPT_LINES);
        }
    }
}

fn time_base(line: &str) -> Option<f64> {
    let (above, below) = line.split_once("config in time_base: ")?.1.split(',').next()?.split_once('/')?;
    Some(above.parse::<f64>().ok()? / below.parse::<f64>().ok()?)
}

fn said(line: &str, tick_s: f64) -> Option<Said> {
    let after = |key: &str| line.split_once(key).map(|(_, rest)| rest.split_whitespace().next().unwrap_or_default());
    let (width, height) = after(" s:")?.split_once('x')?;
    Some(Said {
        shown_s: after(" pts:")?.parse::<f64>().ok()? * tick_s,
        interlaced: after(" i:").map(|order| order != "P"),
        pixel_format: after(" fmt:")?.to_owned(),
        size: [width.parse().ok()?, height.parse().ok()?],
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lines of FFmpeg 5.1 and 7.1.
    #[test]
    fn what_is_said_of_a_frame_is_read() {
        let config = "[Parsed_showinfo_1 @ 0x55d] config in time_base: 1/12288, frame_rate: 24/1";
        let tick_s = time_base(config).unwrap();
        for line in [
            "[Parsed_showinfo_1 @ 0x55d] n:   0 pts:  43520 pts_time:3.54167 duration:    512 duration_time:0.0416667 fmt:yuv420p cl:left sar:1/1 s:96x64 i:P iskey:0 type:B ",
            "[Parsed_showinfo_1 @ 0x55d] n:   0 pts:  43520 pts_time:3.54167 pos:    1234 fmt:yuv420p sar:1/1 s:96x64 i:P iskey:0 type:B ",
        ] {
            let said = said(line, tick_s).unwrap();
            assert!((said.shown_s - 43_520.0 / 12_288.0).abs() < 1e-9);
            assert_eq!((said.interlaced, said.size, said.pixel_format.as_str()), (Some(false), [96, 64], "yuv420p"));
        }
        assert_eq!(said(config, tick_s), None);
    }
}
