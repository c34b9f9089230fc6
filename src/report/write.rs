//! Writing a report's files: each complete under a temporary name first, then renamed, and never over a foreign file.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{BufReader, Read, Write};
use std::path::{Path, PathBuf};

use serde::Deserialize;

pub use crate::base::staging::sweep_dead_files;

use super::marks::{CDL_START, FIXES_FORMAT, SET_LIGHT_FORMAT, STAGE_START, TEXT_MARK};
use super::to_json;
use crate::base::error::is_invisible;
use crate::base::staging::{rename, stage, sync_folder, write_atomically};
use crate::findings::{Attachment, REPORT_FORMAT, Report, ShotVerdict};
use crate::image::marked_png::{PICTURE_KEYWORD, PNG_SIGNATURE};
use crate::{Error, ErrorKind, Result, printable_text};

/// The first line of a text report is no longer: 80 columns, each with the marks that may combine in it.
const TEXT_HEAD_BYTES: u64 = 16_384;

/// Longest stem in bytes: leaves room for the endings within the 255 bytes that file systems allow a name.
const STEM_LIMIT: usize = 160;

/// A JSON report larger than this is not one of ours.
const JSON_LIMIT_BYTES: u64 = 64 << 20;

/// Our mark in a picture stands within this many bytes of its start.
const PICTURE_HEAD_BYTES: u64 = 4096;

/// What follows the name in the file of a refused frame's round things.
pub(crate) const CANDIDATES_ENDING: &str = "candidates.png";

/// First bytes of an OpenEXR file (OpenEXR file layout, "Magic Number").
const EXR_MAGIC: [u8; 4] = [0x76, 0x2f, 0x31, 0x01];

/// Where a report went.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WrittenPaths {
    /// `<stem>.report.json`.
    pub json: PathBuf,
    /// `<stem>.report.txt`.
    pub text: PathBuf,
    /// `<stem>.report.png`, where there is a picture.
    pub picture: Option<PathBuf>,
    /// Further files of the same shot, such as `<stem>.curve.png` of a moving one.
    pub beside: Vec<PathBuf>,
}

/// The name before `.report.json`: `<shot>[.<version>]` in letters and digits of every script, `.`, `_` and `-`.
///
/// Characters that trouble file systems, shells or terminals (spaces, other ASCII signs, control characters,
/// invisible ones and those that change the direction of writing) become `%` and their UTF-8 bytes in hexadecimal
/// (RFC 3986, section 2.1). Names that differ only in case stay different. The first letter of a name that would be a
/// hidden file, an option or a device is escaped too, and so is a dot at the end. A very long name is cut and ends in
/// sixteen digits of its hash.
///
/// ```
/// use plateproof::report::report_stem;
/// assert_eq!(report_stem("SF_0420", Some("v012")), "SF_0420.v012");
/// assert_eq!(report_stem("場面一", None), "場面一");
/// assert_eq!(report_stem("../etc", None), "%2E.%2Fetc");
/// ```
pub fn report_stem(shot: &str, version: Option<&str>) -> String {
    let named = match version.filter(|version| !version.is_empty()) {
        Some(version) => format!("{shot}.{version}"),
        None => shot.to_owned(),
    };
    if named.is_empty() {
        return UNNAMED.to_owned();
    }
    let device = is_device_name(&named);
    let last = named.chars().count() - 1;
    let mut stem = String::with_capacity(named.len());
    for (place, c) in named.chars().enumerate() {
        let at_the_edge = (place == 0 && (device || matches!(c, '.' | '-'))) || (place == last && c == '.');
        if is_borne(c) && !at_the_edge {
            stem.push(c);
        } else {
            escape(c, &mut stem);
        }
    }
    cut_to_limit(stem, &named)
}

/// No escaped name looks like this: its `%` is not followed by a hexadecimal number.
const UNNAMED: &str = "%unnamed";

/// Whether a character may stand in a file name as it is.
fn is_borne(c: char) -> bool {
    if c.is_ascii() {
        return c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-');
    }
    !c.is_control() && !c.is_whitespace() && !is_invisible(c)
}

/// Of a half-byte, in capitals.
fn hex_digit(half: u8) -> char {
    char::from_digit(u32::from(half), 16).unwrap_or('0').to_ascii_uppercase()
}

fn escape(c: char, out: &mut String) {
    for byte in c.encode_utf8(&mut [0; 4]).bytes() {
        out.extend(['%', hex_digit(byte >> 4), hex_digit(byte & 0xF)]);
    }
}

/// Writes `<stem>.report.json`, `.txt` and, where given, `.png` into `dir`, which is made where missing.
///
/// Each file is complete and on disk under a temporary name in the same folder before it takes its final name, the
/// JSON last. Without a picture, an earlier picture of the same report is removed: it would show other numbers.
///
/// # Errors
/// `Parameter` where a file of that name is not a report of this shot and version, or `dir` is a file; `Io` where
/// writing fails: each file is then either the earlier one or the new one, whole.
pub fn write_report(
    dir: &Path,
    report: &Report,
    text: &str,
    picture_png: Option<&[u8]>,
    attachments: &[Attachment],
) -> Result<WrittenPaths> {
    make_folder(dir)?;
    let stem = report_stem(&report.shot, report.version.as_deref());
    let path = |ending: &str| dir.join(format!("{stem}.report.{ending}"));
    let (json, plain, picture) = (path("json"), path("txt"), path("png"));
    let earlier_beside = check_same_report(&json, report)?;
    check_ours(&plain, is_our_text, "text report")?;
    check_ours(&picture, is_our_picture, "evidence picture")?;
    let beside = attachments.iter().map(|file| stage_beside(dir, &stem, file)).collect::<Result<Vec<_>>>()?;

    let staged_picture = picture_png.map(|png| stage(dir, &picture, png)).transpose()?;
    let staged_text = stage(dir, &plain, text.as_bytes())?;
    let staged_json = stage(dir, &json, to_json(report).as_bytes())?;
    match staged_picture {
        Some(staged) => rename(staged, &picture)?,
        None => remove_if_there(&picture)?,
    }
    let mut written_beside = Vec::new();
    for (staged, target) in beside {
        rename(staged, &target)?;
        written_beside.push(target);
    }
    let beside_report = |ending: &String| dir.join(format!("{stem}.{}", safe_ending(ending)));
    let stale = earlier_beside
        .iter()
        .map(beside_report)
        .chain([dir.join(format!("{stem}.curve.png")), dir.join(format!("{stem}.{CANDIDATES_ENDING}"))]);
    stale.filter(|path| !written_beside.contains(path)).try_for_each(|path| remove_if_marked(&path))?;
    rename(staged_text, &plain)?;
    rename(staged_json, &json)?;
    sync_folder(dir);
    let picture = picture_png.is_some().then_some(picture);
    Ok(WrittenPaths { json, text: plain, picture, beside: written_beside })
}

/// Removes the report `<stem>.report.json` in `dir` with the files beside it, if it says only that a shot could not
/// be done. Everything else stays, and so does what cannot be removed.
pub(crate) fn remove_failed(dir: &Path, json_name: &str) {
    let Some(stem) = json_name.strip_suffix(".report.json").filter(|stem| !stem.contains(['/', '\\'])) else { return };
    let json = dir.join(json_name);
    let file = open_existing(&json).ok().flatten();
    let report: Option<Identity> =
        file.and_then(|file| serde_json::from_reader(BufReader::new(file.take(JSON_LIMIT_BYTES))).ok());
    if !report.is_some_and(|report| report.format == REPORT_FORMAT && report.verdict == ShotVerdict::Error.word()) {
        return;
    }
    let text = dir.join(format!("{stem}.report.txt"));
    let _ = check_ours(&text, is_our_text, "text report").and_then(|()| remove_if_there(&text));
    let _ = remove_if_marked(&dir.join(format!("{stem}.{CANDIDATES_ENDING}")));
    let _ = remove_if_there(&json);
}

/// What an earlier run put beside its report and this one does not would show other numbers.
fn remove_if_marked(path: &Path) -> Result<()> {
    if check_ours(path, carries_our_mark, "file").is_ok() { remove_if_there(path) } else { Ok(()) }
}

fn safe_ending(ending: &str) -> String {
    ending.chars().map(safe_character).collect()
}

/// An attachment ready to be renamed: `<stem>.<ending>`, over nothing but an earlier one that carries our mark.
fn stage_beside(dir: &Path, stem: &str, file: &Attachment) -> Result<(tempfile::NamedTempFile, PathBuf)> {
    let target = dir.join(format!("{stem}.{}", safe_ending(&file.ending)));
    check_ours(&target, carries_our_mark, "file")?;
    Ok((stage(dir, &target, &file.bytes)?, target))
}

/// Writes several files of ours into `dir`, which is made where missing: all are complete and on disk under temporary
/// names before the first takes its own, and none is written over a file without our mark.
///
/// # Errors
/// As [`write_report`].
pub fn write_marked(dir: &Path, files: &[(String, Vec<u8>)]) -> Result<Vec<PathBuf>> {
    make_folder(dir)?;
    let mut staged = Vec::new();
    for (name, bytes) in files {
        let target = dir.join(name);
        check_ours(&target, carries_our_mark, "file")?;
        staged.push((stage(dir, &target, bytes)?, target));
    }
    let mut written = Vec::new();
    for (file, target) in staged {
        rename(file, &target)?;
        written.push(target);
    }
    sync_folder(dir);
    Ok(written)
}

/// A PNG with our text chunk, an EXR or OpenUSD layer whose head names us as its writer, or a file of fixes or record of
/// light that begins as ours do.
fn carries_our_mark(file: File) -> bool {
    let mut head = Vec::new();
    if file.take(PICTURE_HEAD_BYTES).read_to_end(&mut head).is_err() {
        return false;
    }
    let formats = [FIXES_FORMAT, SET_LIGHT_FORMAT];
    let json = head.starts_with(b"{") && formats.iter().any(|format| holds(&head, format.as_bytes()));
    let named = head.starts_with(&EXR_MAGIC) || head.starts_with(STAGE_START.as_bytes());
    is_marked_png(&head) || (named && holds(&head, b"plateproof")) || json || head.starts_with(CDL_START.as_bytes())
}

fn holds(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

/// Writes one file with the same care: complete under a temporary name first, then renamed over `path`.
///
/// # Errors
/// `Io` where the folder is missing or writing fails.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    write_atomically(path, |file| file.write_all(bytes).map_err(|e| Error::io(path, &e)))
}

/// Writes a picture of ours with the same care, and never over a foreign picture.
///
/// # Errors
/// As [`write_report`].
pub fn replace_picture(path: &Path, png: &[u8]) -> Result<()> {
    check_ours(path, is_our_picture, "picture")?;
    write_whole(path, png)
}

/// Removes an earlier picture of ours.
///
/// # Errors
/// As [`write_report`].
pub fn remove_picture(path: &Path) -> Result<()> {
    check_ours(path, is_our_picture, "picture")?;
    remove_if_there(path)
}

fn safe_character(c: char) -> char {
    if c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-') { c } else { '_' }
}

/// Names that one widespread system reserves for devices, whatever the ending; the digits may be superscripts.
fn is_device_name(name: &str) -> bool {
    let first = name.split('.').next().unwrap_or_default().trim_end().to_uppercase();
    let numbered = ["COM", "LPT"].iter().find_map(|port| first.strip_prefix(port));
    let number = |rest: &str| {
        let mut digits = rest.chars();
        digits.next().is_some_and(|c| c.is_ascii_digit() || matches!(c, '\u{b9}' | '\u{b2}' | '\u{b3}'))
            && digits.next().is_none()
    };
    matches!(first.as_str(), "CON" | "PRN" | "AUX" | "NUL" | "CONIN$" | "CONOUT$") || numbered.is_some_and(number)
}

/// Digits of the hash at the end of a name that was cut, and the hyphen before them.
const HASH_DIGITS: usize = 16;

/// Two long names that differ only in their tails must not meet in one file.
fn cut_to_limit(mut stem: String, named: &str) -> String {
    if stem.len() > STEM_LIMIT {
        let hash = blake3::hash(named.as_bytes()).to_hex();
        stem.truncate(stem.floor_char_boundary(STEM_LIMIT - HASH_DIGITS - 1));
        stem.push('-');
        stem.push_str(hash.get(..HASH_DIGITS).unwrap_or_default());
    }
    stem
}

fn make_folder(dir: &Path) -> Result<()> {
    if dir.exists() && !dir.is_dir() {
        return Err(Error::new(ErrorKind::Parameter, dir, "is a file, not a folder", "name a folder for the reports"));
    }
    fs::create_dir_all(dir).map_err(|e| Error::io(dir, &e))
}

/// What tells whose report a JSON file is; its other keys are passed over unread.
#[derive(Deserialize)]
struct Identity {
    format: String,
    shot: String,
    version: Option<String>,
    #[serde(default)]
    verdict: String,
    provenance: Option<FilesBeside>,
}

/// The endings of the files that an earlier run put beside its report.
#[derive(Deserialize)]
struct FilesBeside {
    #[serde(default)]
    beside_blake3: BTreeMap<String, String>,
}

/// An earlier report may be replaced only by one of the same shot and version. Returns the endings of the files
/// beside it.
fn check_same_report(path: &Path, report: &Report) -> Result<Vec<String>> {
    let Some(file) = open_existing(path)? else { return Ok(Vec::new()) };
    let earlier: Option<Identity> = serde_json::from_reader(BufReader::new(file.take(JSON_LIMIT_BYTES))).ok();
    let Some(earlier) = earlier.filter(|earlier| earlier.format == REPORT_FORMAT) else {
        return Err(foreign(path, "report"));
    };
    if earlier.shot == report.shot && earlier.version == report.version {
        let beside = earlier.provenance.map(|provenance| provenance.beside_blake3);
        return Ok(beside.into_iter().flat_map(BTreeMap::into_keys).collect());
    }
    let version = earlier.version.map(|version| format!(" {version}")).unwrap_or_default();
    let cause = format!("holds the report of another shot, {}", printable_text(&format!("{}{version}", earlier.shot)));
    Err(Error::new(ErrorKind::Parameter, path, cause, "rename one of the two shots, or write to another folder"))
}

/// Refuses `path` where something stands there that `ours` does not know.
fn check_ours(path: &Path, ours: fn(File) -> bool, kind: &str) -> Result<()> {
    let known = open_existing(path)?.is_none_or(ours);
    if known { Ok(()) } else { Err(foreign(path, kind)) }
}

/// The ordinary file at `path`, `None` where nothing is there. A folder, pipe or device is foreign and not opened.
fn open_existing(path: &Path) -> Result<Option<File>> {
    match fs::metadata(path) {
        Ok(meta) if meta.is_file() => File::open(path).map(Some).map_err(|e| Error::io(path, &e)),
        Ok(_) => Err(foreign(path, "report")),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(Error::io(path, &e)),
    }
}

fn foreign(path: &Path, kind: &str) -> Error {
    let cause = format!("something else than a plateproof {kind} stands there and is not written over");
    Error::new(ErrorKind::Parameter, path, cause, "move it away, or write to another folder")
}

fn is_our_text(file: File) -> bool {
    let mut head = Vec::new();
    if file.take(TEXT_HEAD_BYTES).read_to_end(&mut head).is_err() {
        return false;
    }
    head.split(|byte| *byte == b'\n').next().is_some_and(|line| line.ends_with(TEXT_MARK.as_bytes()))
}

/// Looks for our text chunk among the first chunks of a PNG file.
fn is_our_picture(file: File) -> bool {
    let mut head = Vec::new();
    file.take(PICTURE_HEAD_BYTES).read_to_end(&mut head).is_ok() && is_marked_png(&head)
}

fn is_marked_png(head: &[u8]) -> bool {
    let Some(mut rest) = head.strip_prefix(&PNG_SIGNATURE) else { return false };
    let mark = [b"tEXt".as_slice(), PICTURE_KEYWORD.as_bytes(), b"\0"].concat();
    while let Some((length, chunk)) = rest.split_first_chunk::<4>() {
        if chunk.starts_with(&mark) {
            return true;
        }
        // A chunk is its length, a four-byte name, that many bytes and a four-byte check sum (PNG, section 5.3).
        let next = (u32::from_be_bytes(*length) as usize).saturating_add(8);
        rest = chunk.get(next..).unwrap_or_default();
    }
    false
}

fn remove_if_there(path: &Path) -> Result<()> {
    match fs::remove_file(path) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(Error::io(path, &e)),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::sample;
    use crate::image::marked_png::encode_png;
    use crate::report::render_text;

    fn names_in(dir: &Path) -> Vec<String> {
        let mut names: Vec<_> =
            fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    fn write(dir: &Path, report: &Report, png: Option<&[u8]>) -> Result<WrittenPaths> {
        write_report(dir, report, &render_text(report, false), png, &[])
    }

    fn small_png() -> Vec<u8> {
        encode_png(2, 1, &[0, 0, 0, 255, 255, 255], "plateproof-report/1").unwrap()
    }

    #[test]
    fn hostile_names_stay_in_the_folder() {
        for (shot, version, stem) in [
            ("SF_0420", Some("v012"), "SF_0420.v012"),
            ("SF_0420", Some(""), "SF_0420"),
            ("", None, "%unnamed"),
            (".", None, "%2E"),
            ("..", None, "%2E%2E"),
            ("-rf", None, "%2Drf"),
            ("a/b\\c:d\u{0}\n", None, "a%2Fb%5Cc%3Ad%00%0A"),
            ("F\u{e4}hre \u{202e}", None, "F\u{e4}hre%20%E2%80%AE"),
            ("100%", None, "100%25"),
            ("quay.", None, "quay%2E"),
            ("nul", Some("v1"), "%6Eul.v1"),
            ("Com1", None, "%43om1"),
            ("lpt\u{b2}", None, "%6Cpt\u{b2}"),
            ("common", None, "common"),
            ("com10", None, "com10"),
        ] {
            assert_eq!(report_stem(shot, version), stem, "{shot:?}");
        }
    }

    #[test]
    fn letters_of_every_script_stay_and_no_two_names_meet() {
        let names = [
            "\u{5834}\u{9762}\u{4e00}",
            "\u{5834}\u{9762}\u{4e8c}",
            "\u{c4}1",
            "\u{d6}1",
            "\u{41f}\u{430}\u{440}\u{43e}\u{43c}",
            "\u{645}\u{634}\u{647}\u{62f}",
            "\u{926}\u{943}\u{936}\u{94d}\u{92f}",
        ];
        assert!(names.iter().all(|name| report_stem(name, None) == *name));
        let close = [
            "a b",
            "a_b",
            "a%20b",
            "a\u{a0}b",
            "a\u{200b}b",
            "ab",
            "a/b",
            "a\\b",
            "unnamed",
            "%unnamed",
            "",
            "nul",
            "%6Eul",
            "_nul",
        ];
        let stems: std::collections::BTreeSet<String> = close.iter().map(|name| report_stem(name, None)).collect();
        assert_eq!(stems.len(), close.len(), "{stems:?}");
    }

    #[test]
    fn long_names_are_cut_but_stay_apart() {
        let long = "x".repeat(1000);
        let (one, two) = (report_stem(&long, Some("v1")), report_stem(&long, Some("v2")));
        assert_eq!(one.len(), STEM_LIMIT);
        assert_ne!(one, two);
        assert!(report_stem(&"\u{5834}".repeat(400), None).len() <= STEM_LIMIT);
    }

    #[test]
    fn a_report_is_written_whole_and_may_be_written_again() {
        let root = tempfile::tempdir().unwrap();
        let dir = root.path().join("made/on the way");
        let report = sample::mismatch();
        let written = write(&dir, &report, Some(&small_png())).unwrap();
        let all = ["SF_0420.v012.report.json", "SF_0420.v012.report.png", "SF_0420.v012.report.txt"];
        assert_eq!(names_in(&dir), all, "no temporary file is left");
        assert_eq!(fs::read_to_string(&written.json).unwrap(), to_json(&report));
        assert_eq!(fs::read_to_string(&written.text).unwrap(), render_text(&report, false));
        assert_eq!(fs::read(written.picture.unwrap()).unwrap(), small_png());

        write(&dir, &report, Some(&small_png())).unwrap();
        assert_eq!(names_in(&dir), all);
        assert_eq!(write(&dir, &report, None).unwrap().picture, None);
        assert_eq!(names_in(&dir), [all[0], all[2]], "the earlier picture would show other numbers");
    }

    #[test]
    fn foreign_files_are_not_written_over() {
        let unmarked = fs_png_without_mark();
        let foreign: [(&str, &[u8]); 6] = [
            ("json", b"{\"format\": \"another/1\", \"shot\": \"SF_0420\", \"version\": \"v012\"}"),
            ("json", b"not json at all"),
            ("json", b""),
            ("txt", b"shopping list\n"),
            ("png", b"\x89PNG\r\n\x1a\n\xff\xff\xff\xffIHDR"),
            ("png", &unmarked),
        ];
        for (ending, content) in foreign {
            let dir = tempfile::tempdir().unwrap();
            let name = format!("SF_0420.v012.report.{ending}");
            fs::write(dir.path().join(&name), content).unwrap();
            let error = write(dir.path(), &sample::mismatch(), Some(&small_png())).unwrap_err();
            assert_eq!(error.kind, ErrorKind::Parameter);
            assert_eq!(error.file, dir.path().join(&name));
            assert_eq!(fs::read(dir.path().join(&name)).unwrap(), content);
            assert_eq!(names_in(dir.path()), [name], "nothing else was written");
        }
    }

    fn fs_png_without_mark() -> Vec<u8> {
        let marked = small_png();
        let at = marked.windows(4).position(|window| window == b"tEXt").unwrap();
        let mut unmarked = marked;
        unmarked[at + 4] = b'P';
        unmarked
    }

    #[test]
    fn folders_and_other_shots_are_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir(dir.path().join("SF_0420.v012.report.txt")).unwrap();
        assert_eq!(write(dir.path(), &sample::mismatch(), None).unwrap_err().kind, ErrorKind::Parameter);

        let dir = tempfile::tempdir().unwrap();
        let mut dotted = sample::mismatch();
        (dotted.shot, dotted.version) = ("SF_0420.v012".to_owned(), None);
        write(dir.path(), &dotted, None).unwrap();
        let error = write(dir.path(), &sample::mismatch(), None).unwrap_err();
        assert!(error.cause.contains("another shot, SF_0420.v012"), "{error}");
    }

    #[test]
    fn a_file_in_the_place_of_the_folder_is_said() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("reports");
        fs::write(&file, "x").unwrap();
        assert_eq!(write(&file, &sample::mismatch(), None).unwrap_err().kind, ErrorKind::Parameter);
    }

    #[test]
    fn single_files_are_replaced_whole() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("m1.json");
        write_whole(&path, b"first, longer").unwrap();
        write_whole(&path, b"second").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"second");
        assert_eq!(names_in(dir.path()), ["m1.json"]);
    }
}
