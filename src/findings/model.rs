//! The report's data, exactly as the JSON file holds it.
//!
//! Keys that format 1 does not promise carry `serde(default)`, so that a report written by an earlier build or by
//! another program still reads; such a number reads as 0 and such a text as empty.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::{CheckId, Concerns, InputRecord, Remedy, SequenceReport, ShotVerdict, SphereRole, Verdict};

/// The format mark of a report.
pub const REPORT_FORMAT: &str = "plateproof-report/1";

/// The report of one shot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// Always `plateproof-report/1`.
    #[schemars(extend("const" = REPORT_FORMAT))]
    pub format: String,
    /// The program that wrote the report.
    pub tool: ToolNote,
    /// The shot's name.
    pub shot: String,
    /// The CG version, if the sheet or an option gives one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub version: Option<String>,
    /// The worst verdict of the findings that concern the CG.
    pub verdict: ShotVerdict,
    /// Every sphere that was measured: each mirror sphere before its CG sphere.
    pub spheres: Vec<SphereReport>,
    /// The results: one entry per check and mirror, mismatches first.
    pub findings: Vec<Finding>,
    /// Every file that was read.
    pub inputs: Vec<InputRecord>,
    /// Conventions and assumptions behind the numbers, one sentence each.
    #[serde(default)]
    pub assumptions: Vec<String>,
    /// Warnings about the input, one sentence each.
    pub warnings: Vec<String>,
    /// Required checks without a definite result.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub required_undecided: Vec<String>,
    /// Keys of the sheet that this version accepts but does not use.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_used: Vec<String>,
    /// The sheet's `notes`, unchanged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notes: Option<Map<String, Value>>,
    /// A moving shot over time; everything else in the report describes its worst frame.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sequence: Option<SequenceReport>,
    /// Hashes by which a later run knows whether the report is still valid; absent if the shot could not be checked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub provenance: Option<Provenance>,
    /// Why the shot could not be checked; null if it was.
    pub error: Option<ErrorNote>,
}

impl Report {
    /// The report of a shot that could not be checked.
    pub fn failed(shot: &str, version: Option<String>, error: &crate::Error) -> Self {
        Self { verdict: ShotVerdict::Error, error: Some(error.into()), ..Self::begun(shot, version) }
    }

    /// A report that says nothing yet: nothing compared is `unsure`.
    pub(crate) fn begun(shot: &str, version: Option<String>) -> Self {
        Self {
            format: REPORT_FORMAT.to_owned(),
            tool: ToolNote::current(),
            shot: shot.to_owned(),
            version,
            verdict: ShotVerdict::Unsure,
            spheres: Vec::new(),
            findings: Vec::new(),
            inputs: Vec::new(),
            assumptions: Vec::new(),
            warnings: Vec::new(),
            required_undecided: Vec::new(),
            not_used: Vec::new(),
            notes: None,
            sequence: None,
            provenance: None,
            error: None,
        }
    }
}

/// Hashes by which a later run knows whether a report is still valid.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Provenance {
    /// Hash of the program's version, the sheet with everything it extends, the options, and the content of every file
    /// that the sheet names.
    pub fingerprint: String,
    /// BLAKE3 hash of the text report.
    pub text_blake3: String,
    /// BLAKE3 hash of the evidence picture, if there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub picture_blake3: Option<String>,
    /// BLAKE3 hashes of the shot's other files, listed by the part of the file name that follows shot and version.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub beside_blake3: BTreeMap<String, String>,
    /// BLAKE3 hash of this JSON report itself, computed with this value left empty.
    pub report_blake3: String,
}

/// The program that wrote a report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ToolNote {
    /// Always `plateproof`.
    pub name: String,
    /// Its version.
    pub version: String,
}

impl ToolNote {
    /// This build.
    pub fn current() -> Self {
        Self { name: "plateproof".to_owned(), version: env!("CARGO_PKG_VERSION").to_owned() }
    }
}

#[allow(clippy::trivially_copy_pass_by_ref, reason = "serde hands a reference over")]
fn is_zero(fraction: &f64) -> bool {
    *fraction == 0.0
}

/// One sphere in one frame, as measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SphereReport {
    /// `mirror` for the photographed sphere, `cg` for the rendered one.
    pub role: SphereRole,
    /// Name of the mirror, as in the sheet.
    pub name: String,
    /// The outline: centre x, centre y, semi-axis a, semi-axis b (px), angle (deg).
    pub outline_px: [f64; 5],
    /// Standard deviations of the five numbers of `outline_px`.
    pub outline_px_sd: [f64; 5],
    /// How the outline was found: `given`, `near`, `alpha` or `search`.
    pub found_by: String,
    /// Fraction of the outline that has no usable edge.
    #[serde(default)]
    pub unseen_outline_fraction: f64,
    /// Horizontal field of view that was used, degrees.
    #[serde(default)]
    pub horizontal_fov_deg: f64,
    /// Source of the field of view: `sheet`, `file`, `option` or `assumed`.
    #[serde(default)]
    pub horizontal_fov_from: String,
    /// Half-angle of the cone of directions behind the sphere, which it cannot show, degrees.
    #[serde(default)]
    pub blind_half_angle_deg: f64,
    /// Fraction of the sphere's pixels with at least one clipped channel.
    pub clipped_fraction: f64,
    /// Fraction of the sphere's pixels that contained NaN or Inf.
    #[serde(default)]
    pub invalid_fraction: f64,
    /// Fraction of the sphere left out of every comparison: what the sheet says to ignore, and the seam.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub ignored_fraction: f64,
    /// Blur of a worn or brushed surface, degrees: the angle within which half of the light of a point source is
    /// reflected. Absent if no blur was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface_blur_deg: Option<f64>,
    /// Standard deviation of `surface_blur_deg`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface_blur_deg_sd: Option<f64>,
    /// The camera's response curve, if it was measured from a bracket of non-linear files.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub response_curve: Option<ResponseReport>,
    /// The lights, in order of illuminance, strongest first.
    pub lights: Vec<LightReport>,
    /// Whether two or more lights are within 1/3 stop of the brightest, so that there is no single key.
    #[serde(default)]
    pub no_single_key: bool,
    /// Largest divided by smallest illuminance of a matt patch at the sphere's position (see `assumptions`).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_ratio: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_ratio_sd: Option<f64>,
    /// `lower` if clipping makes it only a lower bound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_ratio_bound: Option<String>,
    /// `key_fill_ratio` in stops.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_stops: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_stops_sd: Option<f64>,
    /// `lower` if clipping makes it only a lower bound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_stops_bound: Option<String>,
    /// Azimuth and elevation that the brightest patch faces, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub brightest_patch_deg: Option<[f64; 2]>,
    /// Azimuth and elevation that the darkest patch faces, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub darkest_patch_deg: Option<[f64; 2]>,
}

/// A camera's response curve, measured from a bracket (Debevec & Malik 1997).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ResponseReport {
    /// Robust standard deviation of single samples about the fit, stops.
    pub residual_stops: f64,
    /// Number of samples used.
    pub samples: usize,
    /// Slope of the measured curve divided by that of the nominal encoding; 1 = the same.
    pub slope_against_nominal: f64,
    /// Exposures as stated, stops.
    pub stated_stops: Vec<f64>,
    /// Exposures as measured from the pictures, stops; mean and range are those of `stated_stops`.
    pub measured_stops: Vec<f64>,
    /// Standard deviations of `measured_stops`.
    pub measured_stops_sd: Vec<f64>,
    /// 8-bit code values at which the curve is given.
    pub codes: Vec<u8>,
    /// Base-2 logarithm of the light at those code values, for red, green and blue; code 118 is 18 % grey.
    pub log2_light_rgb: [Vec<f64>; 3],
}

/// One light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LightReport {
    /// Azimuth, degrees: 0 = from the camera side, +90 = frame right, 180 = from behind.
    pub azimuth_deg: f64,
    /// Its standard deviation; large near the zenith, where azimuth is poorly defined.
    #[serde(default)]
    pub azimuth_deg_sd: f64,
    /// Elevation, degrees; + = above.
    pub elevation_deg: f64,
    /// Its standard deviation.
    #[serde(default)]
    pub elevation_deg_sd: f64,
    /// Standard deviation of the direction, degrees (root mean square of the two tangent components).
    pub direction_sd_deg: f64,
    /// Angular radius of the light, degrees: that of a uniform disc with the same second moment. Absent if the light is
    /// too small to measure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub angular_radius_deg: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub angular_radius_deg_sd: Option<f64>,
    /// Why the size could not be measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub angular_radius_reason: Option<String>,
    /// Illuminance on a surface facing the light: scene-linear luminance × steradian.
    pub illuminance: f64,
    /// Its standard deviation.
    #[serde(default)]
    pub illuminance_sd: f64,
    /// `lower` if the light is clipped, so that its illuminance is only a lower bound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub illuminance_bound: Option<String>,
    /// The light's share of everything that a surface facing it receives, 0 to 1.
    pub share: f64,
    /// Its standard deviation.
    #[serde(default)]
    pub share_sd: f64,
    /// Whether any of its pixels are clipped.
    pub clipped: bool,
    /// Linear colour, green = 1, with BT.709 primaries.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colour_rgb: Option<[f64; 3]>,
    /// Correlated colour temperature, kelvin, under the file's white balance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cct_kelvin: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cct_kelvin_sd: Option<f64>,
    /// Distance from the Planckian locus in CIE 1960 uv; + = towards green.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duv: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duv_sd: Option<f64>,
    /// Why the colour could not be measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colour_reason: Option<String>,
}

/// Result of one check on one mirror.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// Name of the check.
    pub check: CheckId,
    /// What it is about: `cg` for the CG, `reference` for the material from set, which does not count against the CG.
    pub concerns: Concerns,
    /// Name of the mirror, as in the sheet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mirror: Option<String>,
    /// The verdict.
    pub verdict: Verdict,
    /// The error that the check measures, CG minus photographed. If it could not be measured it is absent, and `reason`
    /// says why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// One standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_sd: Option<f64>,
    /// `lower` or `upper` if only a bound is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_bound: Option<String>,
    /// Unit of `value`, `value_sd` and `tolerance`.
    pub unit: String,
    /// The tolerance that `value` was compared with.
    pub tolerance: f64,
    /// Further numbers, each with its unit in the name of its key.
    pub detail: Map<String, Value>,
    /// Why the verdict is what it is, if that is not obvious from the numbers.
    pub reason: String,
    /// What to do; in JSON `remedy` has the words and `action` the same for other programs.
    #[serde(flatten)]
    #[schemars(with = "super::remedy::Written")]
    pub remedy: Remedy,
    /// The waiver that covers this finding, an object as in the sheet; the finding then counts as a match.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waived: Option<Value>,
}

/// Colour of the CG compared with the photographed one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Balance {
    /// CG minus photographed, log2 of red over green.
    pub red_green_stops: f64,
    /// Its standard deviation.
    pub red_green_stops_sd: f64,
    /// CG minus photographed, log2 of blue over green.
    pub blue_green_stops: f64,
    /// Its standard deviation.
    pub blue_green_stops_sd: f64,
    /// Factors for red, green and blue by which to multiply the CG, green = 1.
    pub gain_rgb: [f64; 3],
    /// Their standard deviations.
    pub gain_rgb_sd: [f64; 3],
    /// CG minus photographed, mired; + = CG warmer. Absent far from the Planckian locus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mired_error: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mired_error_sd: Option<f64>,
    /// Duv of the CG minus that of the photograph; + = CG greener.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duv_error: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duv_error_sd: Option<f64>,
    /// CIEDE2000 difference of a grey patch of Y = 0.18 under both lights, for information.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delta_e_2000: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delta_e_2000_sd: Option<f64>,
}

/// Why a shot could not be checked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ErrorNote {
    /// The file with the problem.
    pub file: String,
    /// What is wrong.
    pub cause: String,
    /// What to do, in a sentence.
    pub remedy: String,
    /// Where no sphere was found: an option `--near X,Y,R` (px) for each round thing in the frame, the likeliest first. If
    /// one of them is the sphere, add its option to the command.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub candidates: Vec<String>,
}

impl From<&crate::Error> for ErrorNote {
    fn from(error: &crate::Error) -> Self {
        Self {
            file: crate::printable(&error.file),
            cause: error.cause.clone(),
            remedy: error.remedy.clone(),
            candidates: error.candidates.clone(),
        }
    }
}

impl ErrorNote {
    /// For people: file, cause and remedy in one line, then each candidate on its own.
    pub fn lines(&self) -> String {
        let first = format!("{}: {}; {}", self.file, self.cause, self.remedy);
        std::iter::once(first)
            .chain(self.candidates.iter().map(|option| format!("  {option}")))
            .collect::<Vec<_>>()
            .join("\n")
    }
}

/// A file written beside the report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Attachment {
    /// The part of the file name that follows the shot's name and version, such as `moved.png`.
    pub ending: String,
    /// The whole file.
    pub bytes: Vec<u8>,
}
