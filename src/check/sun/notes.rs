//! Place, time and heading: from the sheet, else from the files.

use crate::CaptureTime;
use crate::check::FileNote;
use crate::sheet::ShotSheet;

/// What is needed to place the sun, and who says so.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SunNotes {
    pub(super) latitude_deg: f64,
    pub(super) longitude_deg: f64,
    pub(super) place_by: String,
    pub(super) time: CaptureTime,
    pub(super) time_by: String,
    pub(super) julian_date: f64,
    /// Compass bearing of the view.
    pub(super) heading_deg: Option<f64>,
}

impl SunNotes {
    /// Gathers it, the sphere's frame before the plate; the error says what is missing.
    pub(super) fn gather(sheet: &ShotSheet, files: &[FileNote]) -> Result<Self, String> {
        let of_role = |role: &'static str| files.iter().filter(move |file| file.role == role);
        let set: Vec<&FileNote> = of_role("mirror").chain(of_role("plate")).collect();
        let (latitude_deg, longitude_deg, place_by) =
            place(sheet, &set).ok_or("the place is unknown: add location.latitude_deg and location.longitude_deg")?;
        let (time, time_by) = time(sheet, &set).ok_or("the time is unknown: add location.time")?;
        let julian_date = time.julian_date().ok_or_else(|| {
            format!("{time} ({time_by}) has no time zone: add location.time, such as 2026-06-21T17:20:00+02:00")
        })?;
        let noted = sheet.camera.as_ref().and_then(|camera| camera.heading_deg);
        let heading_deg = noted.or_else(|| set.iter().find_map(|file| file.meta.heading_deg));
        Ok(Self { latitude_deg, longitude_deg, place_by, time, time_by, julian_date, heading_deg })
    }
}

fn place(sheet: &ShotSheet, files: &[&FileNote]) -> Option<(f64, f64, String)> {
    let noted = sheet.location.as_ref().and_then(|place| Some((place.latitude_deg?, place.longitude_deg?)));
    let by_sheet = noted.map(|(latitude, longitude)| (latitude, longitude, "sheet".to_owned()));
    by_sheet
        .or_else(|| files.iter().find_map(|file| Some((file.meta.latitude_deg?, file.meta.longitude_deg?, name(file)))))
}

fn time(sheet: &ShotSheet, files: &[&FileNote]) -> Option<(CaptureTime, String)> {
    let noted = sheet.location.as_ref().and_then(|place| CaptureTime::parse(place.time.as_deref()?));
    noted
        .map(|time| (time, "sheet".to_owned()))
        .or_else(|| files.iter().find_map(|file| Some((file.meta.captured?, name(file)))))
}

fn name(file: &FileNote) -> String {
    crate::printable_text(&file.file)
}
