//! A shot without a sheet has a name that was only guessed, so its report may meet that of other files.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use serde_json::Value;

use crate::report::{InputRecord, REPORT_FORMAT, report_stem};
use crate::sheet::ShotSheet;
use crate::{Error, ErrorKind, Result};

/// A report larger than this is not one of ours.
const MAX_REPORT_BYTES: u64 = 64 << 20;

/// Refuses a shot whose report would replace that of other input files.
pub(super) fn refuse_other_files(out: &Path, sheet: &ShotSheet) -> Result<()> {
    let stem = report_stem(&sheet.shot, sheet.cg.version.as_deref());
    let path = out.join(format!("{stem}.report.json"));
    let Some(earlier) = inputs_of(&path).filter(|inputs| !inputs.is_empty()) else { return Ok(()) };
    let ours: BTreeSet<String> = sheet.images().iter().filter_map(|(_, image)| image.file_name().ok()).collect();
    let theirs: BTreeSet<String> = earlier.iter().map(|input| input.file.clone()).collect();
    if ours == theirs && !all_from_set_changed(sheet, &earlier) {
        return Ok(());
    }
    let list = theirs.iter().map(|file| crate::printable_text(file)).collect::<Vec<_>>().join(", ");
    let cause = format!("is the report of other files ({list}), which this one would replace");
    let remedy = "name this shot with --shot NAME, its render with --version-name NAME, or give another --out";
    Err(Error::new(ErrorKind::Parameter, path, cause, remedy))
}

/// What a report of ours came from; `None` where there is none.
fn inputs_of(path: &Path) -> Option<Vec<InputRecord>> {
    let file = File::open(path).ok()?;
    let value: Value = serde_json::from_reader(BufReader::new(file.take(MAX_REPORT_BYTES))).ok()?;
    let ours = value.get("format").and_then(Value::as_str) == Some(REPORT_FORMAT);
    ours.then(|| serde_json::from_value(value.get("inputs")?.clone()).ok())?
}

/// Files of the same names in another folder: a render is made again and again, a plate and its sphere are not.
fn all_from_set_changed(sheet: &ShotSheet, earlier: &[InputRecord]) -> bool {
    let from_set: Vec<&InputRecord> = earlier.iter().filter(|input| input.role != "cg").collect();
    let changed =
        |input: &&InputRecord| hash(&sheet.base_dir.join(&input.file)).is_some_and(|hash| hash != input.blake3);
    !from_set.is_empty() && from_set.iter().all(changed)
}

fn hash(path: &Path) -> Option<String> {
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(File::open(path).ok()?).ok()?;
    Some(hasher.finalize().to_hex().to_string())
}
