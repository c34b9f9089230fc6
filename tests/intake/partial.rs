//! OpenEXR files of which only a part is decoded, or only a part was ever written.

use std::ops::Range;
use std::path::{Path, PathBuf};

use exr::prelude::*;
use plateproof::ErrorKind;
use plateproof::image::limits::Limits;
use plateproof::image::open::{OpenRequest, open_part};
use plateproof::image::{DataWindow, Frame, Opened, Wanted};

use super::open_plain;

const WIDTH: usize = 160;
const HEIGHT: usize = 400;
/// Rows and columns of the object in the middle.
const OBJECT: Range<usize> = 170..230;
const ACROSS: Range<usize> = 100..110;
/// The data window begins this far below the display window's top.
const TOP: i32 = 12;

/// A picture whose every pixel is told by its row and column; covered in the object's rows, in some columns.
fn write(folder: &Path, encoding: Encoding) -> PathBuf {
    let place = |i: usize| (i % WIDTH, i / WIDTH);
    let plane = |value: &dyn Fn(usize, usize) -> f32| {
        FlatSamples::F32((0..WIDTH * HEIGHT).map(|i| value(place(i).0, place(i).1)).collect())
    };
    let covered = |x: usize, y: usize| OBJECT.contains(&y) && ACROSS.contains(&x);
    let channels = [
        AnyChannel::new("A", plane(&|x, y| f32::from(u8::from(covered(x, y))))),
        AnyChannel::new("B", plane(&|_, _| 0.25)),
        AnyChannel::new("G", plane(&|x, _| x as f32)),
        AnyChannel::new("R", plane(&|_, y| y as f32)),
    ];
    let attributes = LayerAttributes { layer_position: Vec2(0, TOP), ..LayerAttributes::default() };
    let layer = Layer::new((WIDTH, HEIGHT), attributes, encoding, AnyChannels::sort(channels.into_iter().collect()));
    let path = folder.join("written.exr");
    let display = ImageAttributes::with_size((WIDTH, HEIGHT + 2 * TOP as usize));
    Image::new(display, layer).write().to_file(&path).unwrap();
    path
}

fn lines(compression: Compression) -> Encoding {
    Encoding { compression, blocks: Blocks::ScanLines, line_order: LineOrder::Increasing }
}

fn window(rows: &Range<i64>, columns: &Range<i64>) -> DataWindow {
    let [height, width] = [rows, columns].map(|span| (span.end - span.start) as usize);
    DataWindow { x: columns.start, y: rows.start, width, height }
}

fn tiles() -> Encoding {
    Encoding { compression: Compression::ZIP16, blocks: Blocks::Tiles(Vec2(16, 16)), line_order: LineOrder::Increasing }
}

fn part_of(path: &Path, choose: &(dyn Fn(&Frame) -> Wanted + Sync)) -> Opened {
    let limits = Limits::default();
    let request = OpenRequest { shown_as: "cg.exr", want_alpha: true, ..OpenRequest::of(path, "cg", &limits) };
    open_part(&request, choose).unwrap()
}

/// Every pixel that is there is the one of the whole file.
fn assert_same_pixels(part: &Frame, whole: &Frame) {
    assert_eq!(part.size, whole.size);
    assert_eq!(part.rgb.len(), part.data.width * part.data.height);
    for y in part.data.y..part.data.y + part.data.height as i64 {
        for x in part.data.x..part.data.x + part.data.width as i64 {
            assert_eq!(part.pixel(x, y), whole.pixel(x, y), "{x} {y}");
            assert_eq!(part.alpha_at(x, y), whole.alpha_at(x, y), "{x} {y}");
        }
    }
}

#[test]
fn a_chosen_part_has_the_same_pixels_as_the_whole_file() {
    let folder = tempfile::tempdir().unwrap();
    for encoding in [lines(Compression::ZIP16), lines(Compression::PIZ), lines(Compression::Uncompressed), tiles()] {
        let path = write(folder.path(), encoding);
        let whole = open_plain(&path).unwrap();
        let parts = [(100..101, 0..160), (95..260, 17..18), (-40..30, -9..16), (380..900, 95..400)];
        for (rows, columns) in parts {
            let choose = |frame: &Frame| {
                assert_eq!((frame.size, frame.rgb.len()), (whole.size, 0), "only the header is known");
                Wanted::Window(window(&rows, &columns))
            };
            let part = part_of(&path, &choose);
            let (left, right) = (columns.start.max(0), columns.end.min(WIDTH as i64));
            assert_eq!((part.frame.data.x, part.frame.data.width as i64), (left, right - left));
            let (first, last) = (rows.start.max(i64::from(TOP)), rows.end.min(i64::from(TOP) + HEIGHT as i64));
            assert_eq!((part.frame.data.y, part.frame.data.height as i64), (first, last - first));
            assert!(!part.complete);
            assert!(part.frame.record.decoded_fraction < 0.8 && part.frame.record.decoded_fraction > 0.0);
            assert_eq!(part.frame.record.blake3, whole.record.blake3, "the hash is of the whole file");
            assert_same_pixels(&part.frame, &whole);
        }
    }
}

#[test]
fn a_part_outside_the_picture_or_no_choice_mean_the_whole() {
    let folder = tempfile::tempdir().unwrap();
    let path = write(folder.path(), lines(Compression::ZIP16));
    let nothing =
        [(1000..2000, 0..40), (50..50, 0..40), (50..90, 160..180)].map(|(y, x)| Wanted::Window(window(&y, &x)));
    for wanted in nothing.into_iter().chain([Wanted::All]) {
        let part = part_of(&path, &|_| wanted);
        let data = part.frame.data;
        assert!(part.complete && (data.width, data.height) == (WIDTH, HEIGHT), "{wanted:?}");
    }
}

#[test]
fn a_crop_keeps_places_and_pixels() {
    let folder = tempfile::tempdir().unwrap();
    let whole = open_plain(&write(folder.path(), lines(Compression::ZIP16))).unwrap();
    for (x, y, width, height) in [(3, 20, 10, 30), (-5, -5, 20, 40), (30, 300, 100, 900)] {
        let crop = whole.cropped(&DataWindow { x, y, width, height });
        assert_eq!(crop.rgb.len(), crop.data.width * crop.data.height);
        assert_eq!(crop.pixel(x.max(0), y.max(20)), whole.pixel(x.max(0), y.max(20)));
        assert_eq!(
            crop.alpha_at(35, 305),
            whole.alpha_at(35, 305).filter(|_| x + width as i64 > 35 && y + height as i64 > 305)
        );
        assert_eq!(crop.pixel(x - 1, y), None);
    }
}

#[test]
fn only_what_is_covered_is_decoded() {
    let folder = tempfile::tempdir().unwrap();
    for encoding in [lines(Compression::ZIP16), lines(Compression::ZIP1), lines(Compression::PIZ), tiles()] {
        let path = write(folder.path(), encoding);
        let part = part_of(&path, &|_| Wanted::Covered);
        let top = part.frame.data.y - i64::from(TOP);
        let bottom = top + part.frame.data.height as i64;
        assert!(top <= OBJECT.start as i64 && bottom >= OBJECT.end as i64, "{encoding:?}: {top}..{bottom}");
        let (left, right) = (part.frame.data.x, part.frame.data.x + part.frame.data.width as i64);
        assert!(left <= ACROSS.start as i64 && right >= ACROSS.end as i64, "{encoding:?}: {left}..{right}");
        assert!(part.frame.data.width < WIDTH / 2 && !part.complete, "{encoding:?}");
        assert!(part.frame.record.decoded_fraction < 0.45, "{encoding:?}");
        assert_same_pixels(&part.frame, &open_plain(&path).unwrap());
    }
}

/// The offset table of a one-part file begins behind the header; the first block's offset tells where it ends.
fn table_of(bytes: &[u8], blocks: usize) -> Range<usize> {
    let start = (0..bytes.len() - 8 * blocks)
        .find(|at| {
            let offset = |i: usize| u64::from_le_bytes(bytes[at + 8 * i..at + 8 * i + 8].try_into().unwrap());
            offset(0) == (at + 8 * blocks) as u64 && offset(1) > offset(0) && offset(1) < bytes.len() as u64
        })
        .unwrap();
    start..start + 8 * blocks
}

#[test]
fn a_render_that_was_killed_gives_the_blocks_that_are_there() {
    let folder = tempfile::tempdir().unwrap();
    for (encoding, blocks) in [(lines(Compression::ZIP16), 25), (tiles(), 250)] {
        let path = write(folder.path(), encoding);
        let whole = open_plain(&path).unwrap();
        let mut bytes = std::fs::read(&path).unwrap();
        let table = table_of(&bytes, blocks);
        bytes[table.clone()].fill(0);
        let data = table.end;
        let cut = data + (bytes.len() - data) * 3 / 5;
        std::fs::write(&path, &bytes[..cut]).unwrap();

        let frame = open_plain(&path).unwrap();
        let fraction = frame.record.decoded_fraction;
        assert!((0.3..0.8).contains(&fraction), "{fraction}");
        assert!(frame.warnings.iter().any(|w| w.contains("unfinished")), "{:?}", frame.warnings);
        assert_eq!(frame.pixel(5, i64::from(TOP)), whole.pixel(5, i64::from(TOP)), "what is there is right");
        assert_eq!(frame.pixel(5, i64::from(TOP) + HEIGHT as i64 - 1), None, "what is missing is missing");
        let present = frame.rgb.iter().filter(|p| p[0].is_finite()).count() as f64 / frame.rgb.len() as f64;
        assert!((present - fraction).abs() < 0.01, "{present} {fraction}");

        std::fs::write(&path, &bytes[..data]).unwrap();
        let error = open_plain(&path).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Malformed);
        assert!(error.cause.contains("unfinished"), "{error}");
    }
}
