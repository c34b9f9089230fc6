//! The evidence picture: what was measured, laid out like a printed lab sheet so that the eye can check it.
//!
//! The caller computes everything; here it is only drawn. Pictures come in scene-linear BT.709 with NaN where nothing
//! is known. Maps by direction ("unwrapped") are twice as wide as high: azimuth grows to the right from −180° at the
//! left edge over 0° (from the camera) in the middle to +180°, so frame left lies left of the middle and frame right
//! right of it; elevation +90° is the top row.

mod candidates_page;
mod canvas;
mod curve_page;
mod display;
mod evidence_page;
mod header;
mod known_area;
mod lettering;
mod light_list;
mod light_marks;
mod map_panel;
mod overview_page;
mod plot_page;
mod resize;
#[cfg(test)]
mod sample;
mod sphere_page;
mod sphere_panel;
mod stops_scale;
mod verdict_mark;

pub use candidates_page::render_candidates;
pub use curve_page::render_curves;
pub use evidence_page::render_evidence;
pub use overview_page::{OVERVIEW_ROWS, OverviewHead, OverviewRow, Thumbnail, render_overview};
pub use plot_page::{Plot, PlotPanel, PlotPoint, render_plot};
pub use sphere_page::render_sphere_picture;

use crate::findings::{ShotVerdict, Verdict};
use crate::{Error, ErrorKind, Result};

/// A scene-linear picture in BT.709, rows from the top, NaN where nothing is known.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearPicture {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// `width × height` pixels.
    pub rgb: Vec<[f32; 3]>,
}

/// A map of one number, rows from the top, NaN where nothing is known.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearPictureGrey {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// `width × height` values.
    pub values: Vec<f32>,
}

/// One light to be marked. Lights are numbered from 1 in the order given.
#[derive(Debug, Clone, PartialEq)]
pub struct LightMark {
    /// Where it is seen in the crop, px from the outer corner of its first pixel; `None` where it is not seen.
    pub crop_xy: Option<[f64; 2]>,
    /// 0 = from the camera side, +90 = frame right.
    pub azimuth_deg: f64,
    /// Positive = above.
    pub elevation_deg: f64,
    /// Radius of the equivalent disc; `None` where it is unresolved.
    pub angular_radius_deg: Option<f64>,
    /// What it carries of the side's light, such as `71 %` or `>=36 %`.
    pub share: String,
    /// A word for the list, such as `key`; mostly empty.
    pub label: String,
    /// Some of its pixels are clipped.
    pub clipped: bool,
}

/// A photographed light that the CG lacks, marked where it would be.
#[derive(Debug, Clone, PartialEq)]
pub struct GhostMark {
    /// Its name among the photographed ones, such as `P2`.
    pub name: String,
    /// Where it would be seen in the crop, px; `None` where it would not be seen.
    pub crop_xy: Option<[f64; 2]>,
    /// 0 = from the camera side, +90 = frame right.
    pub azimuth_deg: f64,
    /// Positive = above.
    pub elevation_deg: f64,
}

/// One sphere as it stands in its frame.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownSphere {
    /// Heading, such as `photographed: m1`.
    pub title: String,
    /// The sphere with a margin, in the frame's own pixels.
    pub crop: LinearPicture,
    /// The fitted outline as a closed polygon, in the crop's pixel coordinates.
    pub outline_points: Vec<[f64; 2]>,
    /// The lights, most illuminance first.
    pub lights: Vec<LightMark>,
    /// Lights that this side lacks.
    pub ghosts: Vec<GhostMark>,
}

/// What is shown of one side.
#[derive(Debug, Clone, PartialEq)]
pub struct EvidenceSide {
    /// Its sphere.
    pub sphere: ShownSphere,
    /// Radiance by direction, twice as wide as high.
    pub unwrapped: LinearPicture,
    /// A grey sphere as this light would show it; NaN beyond its outline.
    pub matte: LinearPicture,
}

/// One row of the table of findings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FindingLine {
    /// Name of the check.
    pub check: String,
    /// Its number and tolerance in words; see [`finding_words`](super::amiss::finding_words).
    pub text: String,
    /// Its verdict; a waived mismatch is given as `Match`, its text says that it is waived.
    pub verdict: Verdict,
    /// It is of what came from set, not of the CG.
    pub is_on_set: bool,
    /// What came from set does not fit.
    pub is_set_problem: bool,
}

/// Everything on the evidence picture of one shot.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The shot's name.
    pub shot: String,
    /// The CG version.
    pub version: Option<String>,
    /// The shot's verdict.
    pub verdict: ShotVerdict,
    /// What is wrong, the first fix, what is wrong on set: a few lines, of which six are shown.
    pub headline: Vec<String>,
    /// How many on-set problems there are, in words.
    pub set_badge: Option<String>,
    /// Unwrapped panels are drawn as a lat-long map seen from inside.
    pub from_inside: bool,
    /// The findings, worst first.
    pub findings: Vec<FindingLine>,
    /// The side from set.
    pub mirror: EvidenceSide,
    /// The rendered side.
    pub cg: EvidenceSide,
    /// The other mirrors of the shot with their CG spheres, which are shown small.
    pub others: Vec<[ShownSphere; 2]>,
    /// CG minus mirror in stops by direction, NaN where unknown.
    pub difference_stops: LinearPictureGrey,
    /// Linear gain under which both sides are shown.
    pub exposure: f64,
}

impl LinearPicture {
    /// The pixels for resizing.
    fn source(&self) -> Result<resize::Source<'_, 3>> {
        check_size(self.width, self.height, self.rgb.len())?;
        Ok(resize::Source { width: self.width, height: self.height, pixels: &self.rgb })
    }
}

/// A picture whose pixels do not fill its sides would be drawn askew.
fn check_size(width: usize, height: usize, pixels: usize) -> Result<()> {
    if pixels > 0 && width.checked_mul(height) == Some(pixels) {
        return Ok(());
    }
    let cause = format!("a part of {width} x {height} px comes with {pixels} pixels");
    Err(Error::new(ErrorKind::Parameter, "evidence picture", cause, "run again without the picture"))
}

#[cfg(test)]
mod tests;
