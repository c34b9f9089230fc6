//! Movies: the right frame with the right codes, held against an independent library, and hostile files.
//!
//! Without FFmpeg these tests say that they were skipped.

use std::path::{Path, PathBuf};
use std::process::Command;

use plateproof::ErrorKind;
use plateproof::image::encoding::Encoding;
use plateproof::image::limits::Limits;
use plateproof::image::open::{Belief, OpenRequest, frame_count, open};
use plateproof::image::{CodeRange, Field, Frame, Matrix, MoviePass, MovieRequest};
use serde_json::Value;

/// Signals are printed with six digits, and 32-bit floats hold seven.
const SIGNAL_SLACK: f32 = 2e-6;

fn golden(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/movies").join(name)
}

fn expected() -> Value {
    serde_json::from_slice(&std::fs::read(golden("expected.json")).unwrap()).unwrap()
}

/// Whether the programs are there; says so where they are not.
fn installed() -> bool {
    let there = |program| Command::new(program).arg("-version").output().is_ok_and(|out| out.status.success());
    let both = there("ffmpeg") && there("ffprobe");
    if !both {
        println!("SKIPPED: ffmpeg and ffprobe are not installed, so no movie was read");
    }
    both
}

/// Opens a frame with its codes as signals.
fn opened(path: &Path, movie: MovieRequest<'_>) -> plateproof::Result<Frame> {
    let encoding = Some(Belief { value: Encoding::SceneLinear, from: "sheet" });
    opened_as(path, movie, encoding)
}

fn opened_as(path: &Path, movie: MovieRequest<'_>, encoding: Option<Belief<Encoding>>) -> plateproof::Result<Frame> {
    open(&OpenRequest {
        shown_as: "ferry_take2.mov",
        encoding,
        movie,
        ..OpenRequest::of(path, "plate", &Limits::default())
    })
}

fn numbered(number: u32) -> MovieRequest<'static> {
    MovieRequest { frame_number: Some(number), ..MovieRequest::default() }
}

/// The number that a frame shows in Gray code (`golden/movies/make.py`), in rows from `first_row` on.
fn shown_number(frame: &Frame, rows: impl Fn(i64) -> bool) -> u64 {
    let mut gray = 0_u64;
    for bit in 0..8 {
        let (top, left) = (8 + bit / 4 * 26 + 5, 6 + bit % 4 * 22 + 4);
        let block = (top..top + 10).filter(|y| rows(*y)).flat_map(|y| (left..left + 10).map(move |x| (x, y)));
        let values: Vec<f32> = block.map(|(x, y)| frame.pixel(x, y).unwrap()[1]).collect();
        gray = gray << 1 | u64::from(values.iter().sum::<f32>() / values.len() as f32 > 0.47);
    }
    let mut number = 0;
    while gray > 0 {
        (number, gray) = (number ^ gray, gray >> 1);
    }
    number
}

fn any_row(_: i64) -> bool {
    true
}

/// Even and uneven frame lengths, four wrappings, B-frames, and an edit list that begins within a group of pictures: every frame
/// shows its own number. PyAV tells which numbers there are.
#[test]
fn the_frame_that_is_asked_for_is_the_frame_that_comes() {
    if !installed() {
        return;
    }
    for movie in expected()["counters"].as_array().unwrap() {
        let path = golden(movie["file"].as_str().unwrap());
        let numbers: Vec<u64> = serde_json::from_value(movie["numbers"].clone()).unwrap();
        let times_s: Vec<f64> = serde_json::from_value(movie["times_s"].clone()).unwrap();
        assert_eq!(frame_count(&path, &Limits::default()).unwrap(), Some(numbers.len() as u32), "{}", path.display());
        let last = numbers.len() as u32;
        for number in [1, 2, 3, 7, 11, 12, 13, 14, 25, 36, 37, last - 1, last] {
            let Some(shown) = numbers.get(number as usize - 1) else { continue };
            let frame = opened(&path, numbered(number)).unwrap();
            assert_eq!(shown_number(&frame, any_row), *shown, "{} frame {number}", path.display());
            let record = frame.record.movie.unwrap();
            assert_eq!((record.frame_number, record.frames), (number, last));
            assert!(
                (record.time_s - times_s[number as usize - 1]).abs() < 2e-6,
                "{} {}",
                record.time_s,
                path.display()
            );
        }
    }
}

/// One pass gives the same pixels as asking for each frame alone, also where the order is left.
#[test]
fn a_pass_over_a_take_gives_the_same_frames() {
    if !installed() {
        return;
    }
    for name in ["counter_even.mp4", "counter_uneven.mp4", "counter_edited.mp4", "counter_even.mts"] {
        let path = golden(name);
        for planned in [vec![5, 9, 13, 17, 20], vec![2, 3, 11, 40], vec![30]] {
            let pass = MoviePass::new(path.clone(), &planned);
            for number in planned.iter().chain(&[planned[0], 41]) {
                let request = MovieRequest { pass: Some(&pass), ..numbered(*number) };
                let [together, alone] = [request, numbered(*number)].map(|request| opened(&path, request).unwrap());
                assert_eq!(together.rgb, alone.rgb, "{name} frame {number} of {planned:?}");
            }
        }
    }
}

/// The codes that PyAV decodes, brought to red, green and blue by the equations of ITU-T H.273 in 64-bit floats elsewhere: to less than
/// a tenth of a 16-bit code.
#[test]
fn codes_are_exact_in_every_range_matrix_and_depth() {
    if !installed() {
        return;
    }
    let expected = expected();
    let files = expected["codes"].as_array().unwrap();
    assert!(files.len() >= 10);
    for file in files {
        let name = file["file"].as_str().unwrap();
        let signals: Vec<[f32; 3]> = serde_json::from_value(file["signals"].clone()).unwrap();
        let frame = opened(&golden(name), numbered(1)).unwrap();
        assert_eq!(frame.rgb.len(), signals.len(), "{name}");
        for (pixel, signal) in frame.rgb.iter().zip(&signals) {
            for channel in 0..3 {
                let apart = (pixel[channel] - signal[channel]).abs();
                assert!(apart <= SIGNAL_SLACK * (1.0 + signal[channel].abs()), "{name}: {pixel:?} {signal:?}");
            }
        }
        let record = frame.record.movie.as_ref().unwrap();
        let told = [&record.pixel_format, &record.code_range, record.matrix.as_ref().unwrap()];
        assert_eq!(told, ["format", "range", "matrix"].map(|key| file[key].as_str().unwrap()), "{name}");
        assert_eq!((&*record.code_range_from, record.matrix_from.as_deref()), ("file", Some("file")), "{name}");
        assert_eq!((frame.integer_bits.map(u64::from), frame.format), (file["bits"].as_u64(), "movie"), "{name}");
        assert!(
            frame.rgb.iter().flatten().any(|v| *v > 1.1) && frame.rgb.iter().flatten().any(|v| *v < -0.1),
            "{name}"
        );
    }
}

#[test]
fn timecodes_name_frames() {
    if !installed() {
        return;
    }
    let at = |text| MovieRequest { timecode: Some(text), ..MovieRequest::default() };
    let path = golden("timecode.mov");
    for (text, number) in [("01:12:03:10", 1), ("01:12:03:14", 5), ("01:12:03:21", 12)] {
        let frame = opened(&path, at(text)).unwrap();
        assert_eq!(shown_number(&frame, any_row), number, "{text}");
        assert_eq!(frame.record.movie.unwrap().timecode.as_deref(), Some(text));
    }
    for (text, file) in [("01:12:03:22", "timecode.mov"), ("01:12:03:09", "timecode.mov"), ("noon", "timecode.mov")] {
        let error = opened(&golden(file), at(text)).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Parameter);
        assert!(error.remedy.contains("01:12:03:10 to 01:12:03:21"), "{error}");
    }
    let error = opened(&golden("counter_even.mkv"), at("00:00:00:01")).unwrap_err();
    assert!(error.cause.contains("no timecode") && error.remedy.contains("1 to 60"), "{error}");
}

#[test]
fn a_turned_movie_stands_upright() {
    if !installed() {
        return;
    }
    let stored = opened(&golden("counter_even.mp4"), numbered(7)).unwrap();
    let turned = opened(&golden("counter_turned.mp4"), numbered(7)).unwrap();
    assert_eq!([turned.size.width, turned.size.height], [64, 96]);
    for (x, y) in [(0, 0), (10, 12), (95, 63), (40, 20)] {
        // A quarter clockwise: the stored row below becomes the shown column to the left.
        assert_eq!(stored.pixel(x, y), turned.pixel(63 - y, x));
    }
    assert!(turned.warnings.iter().any(|w| w.contains("turned by 90 deg clockwise")), "{:?}", turned.warnings);
}

/// Rows 1, 3, … show one number, rows 2, 4, … another.
#[test]
fn interlaced_frames_are_refused_or_give_one_field() {
    if !installed() {
        return;
    }
    let path = golden("fields.mp4");
    let error = opened(&path, numbered(3)).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Unsupported);
    assert!(error.cause.contains("interlaced") && error.remedy.contains("upper"), "{error}");
    for (field, number) in [(Field::Upper, 3), (Field::Lower, 103)] {
        let frame = opened(&path, MovieRequest { field: Some(field), ..numbered(3) }).unwrap();
        assert_eq!(shown_number(&frame, any_row), number);
        assert_eq!([frame.size.width, frame.size.height], [96, 64]);
        assert!(frame.warnings.iter().any(|w| w.contains("interpolated")), "{:?}", frame.warnings);
        assert_eq!(frame.record.movie.unwrap().field, Some(field));
    }
    let whole = opened(&path, MovieRequest { field: Some(Field::Whole), ..numbered(3) }).unwrap();
    assert_eq!([0, 1].map(|odd| shown_number(&whole, |y| y % 2 == odd)), [3, 103]);
}

#[test]
fn what_the_stream_does_not_say_is_asked_for_or_told() {
    if !installed() {
        return;
    }
    let error = opened_as(&golden("timecode.mov"), numbered(1), None).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Parameter);
    assert!(error.cause.contains("unspecified") && error.remedy.contains("s-log3"), "{error}");
    let frame = opened_as(&golden("codes_h264_limited.mp4"), numbered(1), None).unwrap();
    assert_eq!((&*frame.record.encoding, &*frame.record.encoding_from), ("bt709", "file"));
    assert!(frame.warnings.iter().any(|w| w.contains("log")), "{:?}", frame.warnings);
    assert!(frame.is_display_picture(), "an ordinary movie has its look in it");
    let frame = opened(&golden("timecode.mov"), numbered(1)).unwrap();
    assert!(frame.warnings.iter().any(|w| w.contains("matrix")), "{:?}", frame.warnings);
    assert!(frame.warnings.iter().any(|w| w.contains("primaries")), "{:?}", frame.warnings);
    let log = Some(Belief { value: Encoding::SLog3, from: "sheet" });
    let told = opened_as(&golden("codes_prores_422.mov"), numbered(1), log).unwrap();
    let record = told.record.movie.as_ref().unwrap();
    assert_eq!((&*record.code_range, &*record.code_range_from), ("full", "default"));
    let limited = MovieRequest { code_range: Some(CodeRange::Limited), matrix: Some(Matrix::Bt601), ..numbered(1) };
    let told = opened_as(&golden("codes_prores_422.mov"), limited, log).unwrap();
    let record = told.record.movie.unwrap();
    assert_eq!((&*record.code_range_from, record.matrix.as_deref()), ("sheet", Some("bt601")));
    for number in [0, 61, u32::MAX] {
        let error = opened(&golden("counter_even.mp4"), numbered(number)).unwrap_err();
        assert!(error.kind == ErrorKind::Parameter && error.remedy.contains("1 to 60"), "{error}");
    }
    assert!(opened(&golden("counter_even.mp4"), MovieRequest::default()).unwrap_err().cause.contains("which frame"));
}

/// Nothing in a name is an option, a protocol, a pattern or a list.
#[test]
fn names_are_names() {
    if !installed() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    for name in [
        "-i.mov",
        "http:quay.mov",
        "concat:a|b.mp4",
        "take%03d.mp4",
        "a b'\"$(x);`y`.mov",
        "\\,[in].mp4",
        "line\nbreak.mov",
    ] {
        let path = folder.path().join(name);
        std::fs::copy(golden("counter_even.mp4"), &path).unwrap();
        let frame = opened(&path, numbered(7)).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_eq!(shown_number(&frame, any_row), 7, "{name}");
    }
}

/// A file that leads to others, by whatever name, opens none of them.
#[test]
fn lists_of_other_files_are_no_movies() {
    let folder = tempfile::tempdir().unwrap();
    let movie = folder.path().join("a.mp4");
    std::fs::copy(golden("counter_even.mp4"), &movie).unwrap();
    for (name, text) in [
        ("list.mov", format!("ffconcat version 1.0\nfile '{}'\n", movie.display())),
        ("list.mp4", format!("#EXTM3U\n#EXTINF:1,\n{}\n", movie.display())),
        ("list.mkv", "v=0\no=- 0 0 IN IP4 127.0.0.1\nm=video 5000 RTP/AVP 96\n".to_owned()),
    ] {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        assert_eq!(opened(&path, numbered(1)).unwrap_err().kind, ErrorKind::Malformed, "{name}");
    }
}

/// Cut off and changed files are refused or give the frame that they still hold; none panics, hangs, or passes for another frame.
#[test]
fn damaged_movies_are_refused_or_give_the_right_frame() {
    if !installed() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let (mut taken, mut refused) = (0, 0);
    let mut seed = 0x5a17_fe44_u32;
    let mut roll = |below: usize| {
        seed ^= seed << 13;
        seed ^= seed >> 17;
        seed ^= seed << 5;
        seed as usize % below
    };
    for name in ["counter_even.mp4", "counter_even.mkv", "timecode.mov"] {
        let whole = std::fs::read(golden(name)).unwrap();
        let cuts = (0..6).map(|i| whole[..whole.len() * i / 6].to_vec());
        let changed: Vec<Vec<u8>> = (0..10)
            .map(|_| {
                let mut bytes = whole.clone();
                (0..4).for_each(|_| bytes[roll(whole.len())] = roll(256) as u8);
                bytes
            })
            .collect();
        for (i, bytes) in cuts.chain(changed).enumerate() {
            let path = folder.path().join(format!("{i}_{name}"));
            std::fs::write(&path, bytes).unwrap();
            match opened(&path, numbered(9)) {
                Ok(frame) => {
                    taken += 1;
                    assert_eq!(frame.rgb.len(), frame.size.width * frame.size.height);
                }
                Err(error) => {
                    refused += 1;
                    assert!(!error.cause.is_empty() && !error.remedy.is_empty());
                }
            }
        }
    }
    println!("{taken} taken, {refused} refused");
    assert!(taken > 0 && refused > 10, "{taken} {refused}");
}

#[test]
fn limits_hold_before_anything_is_decoded() {
    if !installed() {
        return;
    }
    let path = golden("counter_even.mp4");
    for limits in [
        Limits { max_pixels: 1000, ..Limits::default() },
        Limits { max_bytes: 10_000, ..Limits::default() },
        Limits { max_file_bytes: 1000, ..Limits::default() },
    ] {
        let request = OpenRequest { shown_as: "a.mp4", movie: numbered(1), ..OpenRequest::of(&path, "plate", &limits) };
        assert_eq!(open(&request).unwrap_err().kind, ErrorKind::Limit);
    }
}

/// Keys of movies are for movies.
#[test]
fn a_still_has_no_timecode() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/dpx/rgb_10_a_big.dpx");
    let request = MovieRequest { timecode: Some("00:00:00:00"), ..MovieRequest::default() };
    let error = opened(&path, request).unwrap_err();
    assert!(error.cause.contains("`timecode` is for movies"), "{error}");
}
