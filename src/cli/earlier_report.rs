//! A shot without a sheet has a name that was only guessed, so its report may meet that of other files.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use serde_json::Value;

use crate::findings::{InputRecord, REPORT_FORMAT};
use crate::report::report_stem;
use crate::sheet::ShotSheet;
use crate::show::hash_of_file;
use crate::{Error, ErrorKind, Result};

/// A report larger than this is not one of ours.
const MAX_REPORT_BYTES: u64 = 64 << 20;

/// Refuses a shot whose report would replace that of another one: of one with nothing from set in common. A render is
/// made again and again, under whatever name; a plate and its spheres are not.
pub(super) fn refuse_other_shot(out: &Path, sheet: &ShotSheet) -> Result<()> {
    let stem = report_stem(&sheet.shot, sheet.cg.version.as_deref());
    let path = out.join(format!("{stem}.report.json"));
    let Some(earlier) = inputs_of(&path) else { return Ok(()) };
    let theirs: Vec<&InputRecord> = earlier.iter().filter(|input| input.role != "cg").collect();
    if theirs.is_empty() {
        return Ok(());
    }
    let from_set = sheet.plate.iter().chain(sheet.mirrors.iter().flat_map(|mirror| &mirror.bracket));
    let ours: BTreeSet<String> =
        from_set.filter_map(|image| hash_of_file(&sheet.base_dir.join(image.file_name().ok()?))).collect();
    if ours.is_empty() || theirs.iter().any(|input| ours.contains(&input.blake3)) {
        return Ok(());
    }
    let list = theirs.iter().map(|input| crate::printable_text(&input.file)).collect::<Vec<_>>().join(", ");
    let cause = format!("is the report of a different shot ({list}), which this one would replace");
    Err(Error::new(ErrorKind::Parameter, path, cause, "name this shot with --shot NAME, or give another --out"))
}

/// What a report of ours came from; `None` where there is none.
fn inputs_of(path: &Path) -> Option<Vec<InputRecord>> {
    let file = File::open(path).ok()?;
    let value: Value = serde_json::from_reader(BufReader::new(file.take(MAX_REPORT_BYTES))).ok()?;
    let ours = value.get("format").and_then(Value::as_str) == Some(REPORT_FORMAT);
    ours.then(|| serde_json::from_value(value.get("inputs")?.clone()).ok())?
}
