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
    /// Which program wrote it.
    pub tool: ToolNote,
    /// The shot's name.
    pub shot: String,
    /// The CG version, where the sheet or an option gives one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub version: Option<String>,
    /// The worst of the findings that concern the CG.
    pub verdict: ShotVerdict,
    /// Every sphere measured, mirror before CG.
    pub spheres: Vec<SphereReport>,
    /// One entry per check and mirror, worst first.
    pub findings: Vec<Finding>,
    /// Every file read.
    pub inputs: Vec<InputRecord>,
    /// Conventions and assumptions under which the numbers hold, one sentence each.
    #[serde(default)]
    pub assumptions: Vec<String>,
    /// Things the reader should know.
    pub warnings: Vec<String>,
    /// Checks that had to be decided and were not.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub required_undecided: Vec<String>,
    /// Sheet keys that this version accepts and does not use.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_used: Vec<String>,
    /// The sheet's `notes`, carried along.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notes: Option<Map<String, Value>>,
    /// A moving shot over time; all else in the report is about its worst frame.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sequence: Option<SequenceReport>,
    /// What the report came from, where the shot could be done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub provenance: Option<Provenance>,
    /// Why the shot could not be done, else null.
    pub error: Option<ErrorNote>,
}

impl Report {
    /// The report of a shot that could not be done.
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

/// By what a later run knows that a report still holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Provenance {
    /// Hash of the program's version, the sheet with what it extends, the options, and the content of every file that
    /// the sheet names.
    pub fingerprint: String,
    /// Content hash of the text report.
    pub text_blake3: String,
    /// Content hash of the evidence picture, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub picture_blake3: Option<String>,
    /// Content hashes of further files of the shot, by what follows its name and version in theirs.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub beside_blake3: BTreeMap<String, String>,
    /// Content hash of this very report with this value left empty.
    pub report_blake3: String,
}

/// Which program wrote a report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ToolNote {
    /// `plateproof`.
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

/// What one frame's sphere says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SphereReport {
    /// Photographed or rendered.
    pub role: SphereRole,
    /// Name of the mirror entry.
    pub name: String,
    /// Centre x, centre y, semi-axis a, semi-axis b (px), angle (deg).
    pub outline_px: [f64; 5],
    /// Their standard deviations.
    pub outline_px_sd: [f64; 5],
    /// `given`, `alpha` or `search`.
    pub found_by: String,
    /// Fraction of the outline that shows no usable edge.
    #[serde(default)]
    pub unseen_outline_fraction: f64,
    /// Horizontal field of view used, degrees.
    #[serde(default)]
    pub horizontal_fov_deg: f64,
    /// Where it came from: `sheet`, `file`, `option` or `assumed`.
    #[serde(default)]
    pub horizontal_fov_from: String,
    /// Half-angle of the cone of directions that the sphere cannot show, degrees.
    #[serde(default)]
    pub blind_half_angle_deg: f64,
    /// Fraction of the sphere's pixels in which some channel is clipped.
    pub clipped_fraction: f64,
    /// Fraction of the sphere's pixels that held NaN or Inf.
    #[serde(default)]
    pub invalid_fraction: f64,
    /// Fraction of the sphere that does not count: what the sheet asks to ignore, and what the seam spoils.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub ignored_fraction: f64,
    /// Angle within which a worn or brushed sphere mirrors half of a point's light; absent where it is clear.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface_blur_deg: Option<f64>,
    /// One sd of `surface_blur_deg`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface_blur_deg_sd: Option<f64>,
    /// The camera's response curve, where a bracket of files that are not linear told it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub response_curve: Option<ResponseReport>,
    /// The lights, most illuminance first.
    pub lights: Vec<LightReport>,
    /// Two or more lights are within 1/3 stop of the brightest: there is no single key.
    #[serde(default)]
    pub no_single_key: bool,
    /// Largest over smallest illuminance on a matte patch (see `assumptions`).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_ratio: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_ratio_sd: Option<f64>,
    /// `lower` where clipping makes it a bound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_ratio_bound: Option<String>,
    /// The same in stops.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_stops: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_stops_sd: Option<f64>,
    /// `lower` where clipping makes it a bound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key_fill_stops_bound: Option<String>,
    /// Azimuth and elevation of the patch normal that receives most, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub brightest_patch_deg: Option<[f64; 2]>,
    /// Azimuth and elevation of the patch normal that receives least, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub darkest_patch_deg: Option<[f64; 2]>,
}

/// A camera's response curve, recovered from a bracket (Debevec & Malik 1997).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ResponseReport {
    /// Robust standard deviation of one reading about the fit, stops.
    pub residual_stops: f64,
    /// Samples used.
    pub samples: usize,
    /// Steepness against the nominal encoding, 1 = as steep.
    pub slope_against_nominal: f64,
    /// Stops of the exposures as stated.
    pub stated_stops: Vec<f64>,
    /// Stops as the pictures have them, mean and span as stated.
    pub measured_stops: Vec<f64>,
    /// Standard deviation of each of them.
    pub measured_stops_sd: Vec<f64>,
    /// 8-bit codes at which the curve is listed.
    pub codes: Vec<u8>,
    /// Base-2 logarithm of the light at those codes for red, green and blue; code 118 is 18 % grey.
    pub log2_light_rgb: [Vec<f64>; 3],
}

/// One light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LightReport {
    /// 0 = from the camera side, +90 = frame right, 180 = from behind.
    pub azimuth_deg: f64,
    /// Its standard deviation; large near the zenith, where azimuth means little.
    #[serde(default)]
    pub azimuth_deg_sd: f64,
    /// Positive = above.
    pub elevation_deg: f64,
    /// Its standard deviation.
    #[serde(default)]
    pub elevation_deg_sd: f64,
    /// Standard deviation of the direction, degrees (root mean square of the two tangent components).
    pub direction_sd_deg: f64,
    /// Uniform disc of the same second moment; absent where unresolved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub angular_radius_deg: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub angular_radius_deg_sd: Option<f64>,
    /// Why the size is absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub angular_radius_reason: Option<String>,
    /// Scene-linear luminance × steradian on a plane facing the light.
    pub illuminance: f64,
    /// Its standard deviation.
    #[serde(default)]
    pub illuminance_sd: f64,
    /// `lower` where the light is clipped.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub illuminance_bound: Option<String>,
    /// Share of what a plane facing the light receives.
    pub share: f64,
    /// Its standard deviation.
    #[serde(default)]
    pub share_sd: f64,
    /// Some of its pixels are clipped.
    pub clipped: bool,
    /// Linear colour, green = 1, in the working space.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colour_rgb: Option<[f64; 3]>,
    /// Correlated colour temperature as balanced in the file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cct_kelvin: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cct_kelvin_sd: Option<f64>,
    /// Distance from the Planckian locus in CIE 1960 uv, + = green side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duv: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duv_sd: Option<f64>,
    /// Why the colour is absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colour_reason: Option<String>,
}

/// One check's outcome on one mirror.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// Name of the check.
    pub check: CheckId,
    /// `cg`, or `reference` for what came from set.
    pub concerns: Concerns,
    /// Name of the mirror entry.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mirror: Option<String>,
    /// The verdict.
    pub verdict: Verdict,
    /// CG minus plate side; absent with a reason where it could not be measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// One standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_sd: Option<f64>,
    /// `lower` or `upper` where only a bound is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_bound: Option<String>,
    /// Unit of value, sd and tolerance.
    pub unit: String,
    /// The tolerance it was held against.
    pub tolerance: f64,
    /// Further numbers, each with its unit in the name.
    pub detail: Map<String, Value>,
    /// Why the verdict is what it is, where that needs saying.
    pub reason: String,
    /// What to do; in JSON `remedy` has the words and `action` the same for other programs.
    #[serde(flatten)]
    #[schemars(with = "super::remedy::Written")]
    pub remedy: Remedy,
    /// A waiver from the sheet that covers this finding.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waived: Option<Value>,
}

/// Colour of one side against the other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Balance {
    /// CG minus plate side, log2 of red over green.
    pub red_green_stops: f64,
    /// Its standard deviation.
    pub red_green_stops_sd: f64,
    /// CG minus plate side, log2 of blue over green.
    pub blue_green_stops: f64,
    /// Its standard deviation.
    pub blue_green_stops_sd: f64,
    /// What the CG would be multiplied by, green = 1.
    pub gain_rgb: [f64; 3],
    /// Its standard deviations.
    pub gain_rgb_sd: [f64; 3],
    /// CG minus plate side in reciprocal megakelvin, + = CG warmer; absent far from the Planckian locus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mired_error: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mired_error_sd: Option<f64>,
    /// CG minus plate side, + = CG greener.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duv_error: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duv_error_sd: Option<f64>,
    /// CIEDE2000 of a grey patch of Y = 0.18 under both, for information.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delta_e_2000: Option<f64>,
    /// Its standard deviation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delta_e_2000_sd: Option<f64>,
}

/// Why a shot could not be done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ErrorNote {
    /// The file concerned.
    pub file: String,
    /// What is wrong.
    pub cause: String,
    /// What to do.
    pub remedy: String,
    /// Options of the command line of which one may settle it, the likeliest first: `--near X,Y,R` for each round
    /// thing that a frame without a sphere shows, in px.
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
    /// What follows the shot's name and version in the file name, such as `moved.png`.
    pub ending: String,
    /// The whole file.
    pub bytes: Vec<u8>,
}
