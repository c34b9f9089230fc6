//! What ffprobe tells of a movie: its picture stream, and when each of its frames is shown.

use std::ffi::OsString;
use std::path::Path;
use std::time::Duration;

use serde_json::Value;

use super::Container;
use super::tool::{answer, input_name, input_options, unreadable};
use super::turn::Turn;
use crate::{Error, ErrorKind, Result};

/// What there is to say of all streams; tens of kilobytes are much.
const MAX_STREAMS_BYTES: usize = 4 << 20;

/// More frames than a day holds at 120 a second are no take.
const MAX_FRAMES: usize = 12_000_000;

/// Bytes of a line about a frame.
const FRAME_LINE_BYTES: usize = 40;

/// The header is read in moments; a busy machine and a slow disk have room (common practice, no source).
const HEADER_PATIENCE: Duration = Duration::from_mins(1);

/// Finding all frames reads the whole file: at the least so many bytes a second are expected.
const SLOWEST_BYTES_A_SECOND: u64 = 10 << 20;

/// The picture stream.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stream {
    /// Columns and rows as stored.
    pub(super) size: [usize; 2],
    /// As ffmpeg names them; empty where nothing is said.
    pub(super) codec: String,
    pub(super) pixel_format: String,
    pub(super) range: String,
    pub(super) matrix: String,
    pub(super) primaries: String,
    pub(super) transfer: String,
    pub(super) siting: String,
    /// `progressive`, or an order of fields.
    pub(super) fields: String,
    /// Width over height of a stored pixel.
    pub(super) pixel_aspect: f64,
    /// How it asks to be turned; `None` for a turn that is no quarter turn.
    pub(super) turn: Option<Turn>,
    /// Nominal frames a second.
    pub(super) rate: f64,
    /// The time base of its times, s.
    pub(super) tick_s: [i64; 2],
    /// The label of its first frame.
    pub(super) timecode: Option<String>,
    /// Camera make and model.
    pub(super) camera: Option<String>,
}

/// A frame's place in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Shown {
    /// When it is shown, in ticks.
    pub(super) at: i64,
    /// Decoding may begin there.
    pub(super) is_key: bool,
}

/// The picture stream of a movie.
///
/// # Errors
/// As [`answer`]; `Malformed` where there is no picture in it.
pub(super) fn stream(path: &Path, container: Container) -> Result<Stream> {
    let entries = "stream=codec_type,codec_name,width,height,pix_fmt,color_range,color_space,color_transfer,color_primaries,\
                   chroma_location,field_order,sample_aspect_ratio,r_frame_rate,avg_frame_rate,time_base:\
                   stream_disposition=attached_pic,timed_thumbnails:stream_tags:stream_side_data:format_tags";
    let bytes = answer(
        "ffprobe",
        &probe(path, container, &["-show_entries", entries, "-of", "json"])?,
        path,
        HEADER_PATIENCE,
        MAX_STREAMS_BYTES,
    )?;
    let said: Value = serde_json::from_slice(&bytes).map_err(|error| unreadable(path, &error.to_string()))?;
    let streams = said["streams"].as_array().map(Vec::as_slice).unwrap_or_default();
    let is_still = |stream: &Value| {
        ["attached_pic", "timed_thumbnails"].iter().any(|key| stream["disposition"][*key].as_i64() == Some(1))
    };
    let picture = streams.iter().find(|stream| stream["codec_type"] == "video" && !is_still(stream));
    let none = || {
        Error::new(
            ErrorKind::Malformed,
            path,
            "there is no picture in this movie",
            "name the movie that holds the picture",
        )
    };
    let picture = picture.ok_or_else(none)?;
    let text = |key: &str| picture[key].as_str().unwrap_or_default().to_owned();
    let side = || picture["side_data_list"].as_array().into_iter().flatten();
    let matrix = side().find_map(|data| data["displaymatrix"].as_str());
    let tags = || std::iter::once(&said["format"]).chain(std::iter::once(picture)).chain(streams).map(|of| &of["tags"]);
    let tag = |key: &str| tags().find_map(|tags| tags[key].as_str()).map(str::to_owned);
    let count = |key: &str| picture[key].as_u64().unwrap_or(0) as usize;
    let rate = ["r_frame_rate", "avg_frame_rate"].iter().find_map(|key| fraction(picture[*key].as_str()?, '/'));
    let camera =
        [tag("com.apple.quicktime.make"), tag("com.apple.quicktime.model")].map(Option::unwrap_or_default).join(" ");
    Ok(Stream {
        size: [count("width"), count("height")],
        codec: text("codec_name"),
        pixel_format: text("pix_fmt"),
        range: text("color_range"),
        matrix: text("color_space"),
        primaries: text("color_primaries"),
        transfer: text("color_transfer"),
        siting: text("chroma_location"),
        fields: text("field_order"),
        pixel_aspect: fraction(&text("sample_aspect_ratio"), ':').unwrap_or(1.0),
        turn: matrix.map_or(Some(Turn::NONE), Turn::of_text),
        rate: rate.unwrap_or(0.0),
        tick_s: whole_fraction(&text("time_base")).ok_or_else(|| unreadable(path, "its times have no unit"))?,
        timecode: tag("timecode"),
        camera: Some(camera.trim().to_owned()).filter(|camera| !camera.is_empty()),
    })
}

/// When each frame is shown, first shown first: what an edit list leaves out is not among them.
///
/// # Errors
/// As [`answer`]; `Unsupported` where frames have no times.
pub(super) fn frames(path: &Path, container: Container, file_bytes: u64) -> Result<Vec<Shown>> {
    let patience = HEADER_PATIENCE + Duration::from_secs(file_bytes / SLOWEST_BYTES_A_SECOND);
    let options = ["-select_streams", "V:0", "-show_entries", "packet=pts,flags", "-of", "csv=p=0"];
    let arguments = probe(path, container, &options)?;
    let bytes = answer("ffprobe", &arguments, path, patience, MAX_FRAMES * FRAME_LINE_BYTES)?;
    let mut frames = Vec::new();
    for line in String::from_utf8_lossy(&bytes).lines() {
        let Some((time, flags)) = line.split_once(',') else { continue };
        if flags.contains(['D', 'C']) {
            continue; // decoded and not shown, or damaged
        }
        let Ok(at) = time.trim().parse() else {
            let cause = "its frames have no times, so that none of them can be told from the others";
            let remedy =
                "put it into a MOV, MP4 or MKV file without coding it again, or export the frame as OpenEXR or DPX";
            return Err(Error::new(ErrorKind::Unsupported, path, cause, remedy));
        };
        frames.push(Shown { at, is_key: flags.contains('K') });
    }
    frames.sort_unstable();
    if frames.is_empty() { Err(unreadable(path, "it holds no frames")) } else { Ok(frames) }
}

fn probe(path: &Path, container: Container, options: &[&str]) -> Result<Vec<OsString>> {
    let mut arguments = vec!["-v".into(), "error".into()];
    arguments.extend(input_options(container));
    arguments.extend(options.iter().map(OsString::from));
    arguments.extend(["-i".into(), input_name(path)?]);
    Ok(arguments)
}

/// `24000/1001` or `64:45`; `None` for nothing and for zero.
fn fraction(text: &str, mark: char) -> Option<f64> {
    let (above, below) = text.split_once(mark)?;
    let value = above.parse::<f64>().ok()? / below.parse::<f64>().ok()?;
    (value.is_finite() && value > 0.0).then_some(value)
}

fn whole_fraction(text: &str) -> Option<[i64; 2]> {
    let (above, below) = text.split_once('/')?;
    let numbers: [i64; 2] = [above.parse().ok()?, below.parse().ok()?];
    numbers.iter().all(|number| *number > 0).then_some(numbers)
}
