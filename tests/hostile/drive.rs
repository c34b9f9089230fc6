//! What hostile bytes are put through, and what has to hold whatever they are. The fuzz targets and the ordinary tests
//! share it.

use std::fs;
use std::path::Path;

use plateproof::Error;
use plateproof::image::clf::ClfTransform;
#[cfg(feature = "ocio")]
use plateproof::image::colour_config::{ConfigRequest, ConfigTransform};
use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open, open_rows};
use plateproof::image::probe::probe;
use plateproof::image::{Frame, RowSink};
use plateproof::sheet::{load_sheet, peek_sheet};
use plateproof::summary::{
    Layout, Summary, Versions, read_reports, render_csv, render_junit, render_summary_text, render_trend_csv,
};

/// What became of the bytes. Anything else is a fault: a panic, a broken promise about the result, no end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Outcome {
    /// They were understood, if perhaps with a warning.
    Taken,
    /// They were refused, with file, cause and remedy.
    Refused,
}

/// Small enough that a fuzzer gets through many inputs, large enough for the seeds.
const LIMITS: Limits = Limits { max_pixels: 1 << 18, max_file_bytes: 1 << 24, max_bytes: 1 << 25 };

/// What sheets of the corpus extend.
const BASE: &[u8] = include_bytes!("../../docs/examples/show.json");

/// A shot sheet.
pub(super) fn sheet(bytes: &[u8], folder: &Path) -> Outcome {
    let path = folder.join("shot.json");
    fs::write(&path, bytes).expect("the test's own folder takes files");
    fs::write(folder.join("show.json"), BASE).expect("the test's own folder takes files");
    peek_sheet(&path);
    judge(load_sheet(&path), |sheet| {
        let name = plateproof::report::report_stem(&sheet.shot, sheet.cg.version.as_deref());
        assert!(Path::new(&name).components().count() == 1 && !name.starts_with('.'), "{name:?} stays in its folder");
        sheet.checked_again(&path).expect("a sheet that was taken holds its own rules");
    })
}

/// A picture. TGA files have no mark of their own, so whatever is no other kind is read as one.
pub(super) fn picture(bytes: &[u8], folder: &Path) -> Outcome {
    let path = folder.join("frame.tga");
    fs::write(&path, bytes).expect("the test's own folder takes files");
    probe(&path, &LIMITS);
    in_strips(&path);
    judge(open_plain(&path), |frame| is_sound(&frame))
}

/// The same picture handed on in strips: every row once and in order, with the same pixels, or the same refusal.
fn in_strips(path: &Path) {
    let request = OpenRequest { want_alpha: false, ..plain(path) };
    let mut strips = Strips::default();
    match (open_rows(&request, &mut strips), open(&request)) {
        (Ok(header), Ok(whole)) => {
            assert!(strips.rgb.len() == whole.rgb.len() && header.record == whole.record);
            let bits = |rgb: &[f32; 3]| rgb.map(f32::to_bits);
            assert!(strips.rgb.iter().map(bits).eq(whole.rgb.iter().map(bits)));
        }
        (Err(strips), Err(whole)) => assert_eq!(strips.to_string(), whole.to_string()),
        (strips, whole) => panic!("in strips {:?}, whole {:?}", strips.err(), whole.err()),
    }
}

#[derive(Default)]
struct Strips {
    rgb: Vec<[f32; 3]>,
    width: usize,
}

impl RowSink for Strips {
    fn begin(&mut self, header: &Frame) {
        self.width = header.data.width;
    }

    fn rows(&mut self, strip: &Frame, first_row: usize) {
        assert_eq!(self.rgb.len(), first_row * self.width);
        self.rgb.extend(&strip.rgb);
    }
}

/// An EXIF block, inside a small camera file.
pub(super) fn exif(bytes: &[u8], folder: &Path) -> Outcome {
    const CARRIER: &[u8] = include_bytes!("../../fuzz/corpus/picture/plain.jpg");
    let kept = &bytes[..bytes.len().min(65_000)];
    let length = (kept.len() + 8) as u16;
    let mut file = vec![0xff, 0xd8, 0xff, 0xe1];
    file.extend(length.to_be_bytes());
    file.extend(b"Exif\0\0");
    file.extend(kept);
    file.extend(&CARRIER[2..]);
    let path = folder.join("camera.jpg");
    fs::write(&path, file).expect("the test's own folder takes files");
    let frame = open_plain(&path).expect("damaged EXIF never costs the picture");
    is_sound(&frame);
    let damaged = frame.warnings.iter().any(|warning| warning.contains("EXIF"));
    if damaged { Outcome::Refused } else { Outcome::Taken }
}

/// A colour transform.
pub(super) fn clf(bytes: &[u8], folder: &Path) -> Outcome {
    let path = folder.join("show.clf");
    fs::write(&path, bytes).expect("the test's own folder takes files");
    judge(ClfTransform::read(&path), |transform| {
        for value in [-1e30, -1.0, 0.0, 0.18, 1.0, 65_504.0, f64::MAX] {
            let out = transform.apply([value, 0.5, -value]);
            assert!(out.iter().all(|v| v.is_finite()), "{value} becomes {out:?}");
        }
    })
}

/// A colour config (OpenColorIO), beside tables that it may name.
#[cfg(feature = "ocio")]
pub(super) fn config(bytes: &[u8], folder: &Path) -> Outcome {
    let folder = folder.join("config");
    let tables = folder.join("tables");
    fs::create_dir_all(&tables).expect("the test's own folder takes folders");
    for (name, table) in TABLES {
        fs::write(tables.join(name), table).expect("the test's own folder takes files");
    }
    let path = folder.join("config.ocio");
    fs::write(&path, bytes).expect("the test's own folder takes files");
    let mut outcome = Outcome::Refused;
    // By its rules, by a role, by a name.
    for name in ["", "scene_linear", "dock log"] {
        let picture = Path::new("plate.dpx");
        let request = ConfigRequest { config: path.to_str(), name, picture, space_is_told: true };
        let judged = judge(ConfigTransform::read(&request), |transform| {
            for code in [0.0, 0.18, 1.0, -1.0, 65_504.0, f32::MAX] {
                transform.apply([code, 0.5, -code]);
            }
        });
        if judged == Outcome::Taken {
            outcome = Outcome::Taken;
        }
    }
    outcome
}

#[cfg(feature = "ocio")]
const TABLES: [(&str, &[u8]); 3] = [
    ("gangway.clf", include_bytes!("../../golden/colour_config/tables/gangway.clf")),
    ("salt.spi1d", include_bytes!("../../golden/colour_config/tables/salt.spi1d")),
    ("small.cube", b"LUT_3D_SIZE 2\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n"),
];

/// A report, as `summary` reads it back.
pub(super) fn report(bytes: &[u8], folder: &Path) -> Outcome {
    let folder = folder.join("reports");
    fs::create_dir_all(&folder).expect("the test's own folder takes folders");
    fs::write(folder.join("SF_0660.report.json"), bytes).expect("the test's own folder takes files");
    let mut set = read_reports(&[folder], Versions::All);
    let refused = set.unusable.pop();
    let summary = Summary::new(set, None);
    let text = render_summary_text(&summary, "reports", Layout::default());
    assert!(!text.contains('\u{1b}'), "fit for a terminal: {text:?}");
    assert!(render_csv(&summary).starts_with("shot,") && render_trend_csv(&summary).starts_with("shot,"));
    assert!(render_junit(&summary).ends_with("</testsuites>\n"));
    judge(refused.map_or(Ok(()), Err), |()| assert_eq!(summary.shots.len(), 1))
}

fn judge<T>(result: Result<T, Error>, holds: impl FnOnce(T)) -> Outcome {
    match result {
        Ok(value) => {
            holds(value);
            Outcome::Taken
        }
        Err(error) => {
            let told = error.to_string();
            assert!(!error.cause.is_empty() && !error.remedy.is_empty(), "{told}");
            assert!(!told.contains('\u{1b}') && !told.contains('\n'), "fit for a terminal: {told:?}");
            Outcome::Refused
        }
    }
}

fn open_plain(path: &Path) -> Result<Frame, Error> {
    open(&plain(path))
}

fn plain(path: &Path) -> OpenRequest<'_> {
    OpenRequest { shown_as: "frame", want_alpha: true, ..OpenRequest::of(path, "plate", &LIMITS) }
}

fn is_sound(frame: &Frame) {
    let pixels = frame.data.width * frame.data.height;
    assert!(pixels > 0 && pixels as u64 <= LIMITS.max_pixels, "{pixels} pixels");
    assert_eq!(frame.rgb.len(), pixels);
    assert!(frame.alpha.as_ref().is_none_or(|alpha| alpha.len() == pixels));
    assert!(frame.rgb.iter().flatten().all(|v| !v.is_infinite()), "infinite light");
    assert!(frame.pixel_aspect.is_finite() && frame.pixel_aspect > 0.0, "pixel aspect {}", frame.pixel_aspect);
    assert!((0.0..=1.0).contains(&frame.record.decoded_fraction));
    let meta = &frame.meta;
    let numbers = [
        meta.exposure_time_s,
        meta.f_number,
        meta.t_stop,
        meta.iso,
        meta.focal_length_mm,
        meta.sensor_width_mm,
        meta.horizontal_fov_deg,
        meta.matrix_fov_deg,
        meta.latitude_deg,
        meta.longitude_deg,
        meta.altitude_m,
        meta.heading_deg,
        meta.exposure_stops(),
    ];
    assert!(numbers.iter().flatten().all(|v| v.is_finite()), "{meta:?}");
}
