//! Single results: a number against its truth, a verdict against its truth, and what a shot's quality is.

use plateproof::findings::Verdict;

use super::perfect::Perfect;
use super::recipe::{Kept, Recipe};

/// One number with its uncertainty and its truth.
#[derive(Debug, Clone)]
pub(crate) struct Score {
    pub(crate) name: &'static str,
    pub(crate) value: f64,
    pub(crate) sd: f64,
    pub(crate) truth: f64,
}

impl Score {
    pub(crate) fn new(name: &'static str, value: f64, sd: f64, truth: f64) -> Self {
        Self { name, value, sd, truth }
    }

    /// Error in standard deviations.
    pub(crate) fn z(&self) -> f64 {
        (self.value - self.truth) / self.sd.max(1e-12)
    }

    /// A truth exists for it.
    pub(crate) fn counts(&self) -> bool {
        self.truth.is_finite() && self.value.is_finite()
    }
}

/// One verdict.
#[derive(Debug, Clone)]
pub(crate) struct Call {
    pub(crate) check: &'static str,
    pub(crate) seed: u64,
    /// True error in tolerances.
    pub(crate) size: f64,
    pub(crate) verdict: Verdict,
    /// The rule allows every verdict here.
    pub(crate) decidable: bool,
}

impl Call {
    pub(crate) fn new(check: &'static str, seed: u64, size: f64, decidable: bool, verdict: Verdict) -> Self {
        Self { check, seed, size, verdict, decidable }
    }

    /// Beyond 1.1 tolerances and called a match, or within tolerance and called a mismatch.
    pub(crate) fn is_false(&self) -> bool {
        (self.verdict == Verdict::Match && self.size > 1.1) || (self.verdict == Verdict::Mismatch && self.size < 1.0)
    }

    pub(crate) fn is_decided(&self) -> bool {
        matches!(self.verdict, Verdict::Match | Verdict::Mismatch)
    }

    /// Below half or above twice the tolerance, where the rule allows a decision.
    pub(crate) fn is_clear(&self) -> bool {
        self.decidable && !(0.5..=2.0).contains(&self.size)
    }
}

/// What a shot's input is like. A shot may be several things at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Quality {
    Good,
    SmallSphere,
    NoLens,
    Clipped,
    Hidden,
    SoftOrNoisy,
    CameraFile,
    Drifted,
    UnknownReflectance,
}

impl Quality {
    pub(crate) const ALL: [Self; 9] = [
        Self::Good,
        Self::SmallSphere,
        Self::NoLens,
        Self::Clipped,
        Self::Hidden,
        Self::SoftOrNoisy,
        Self::CameraFile,
        Self::Drifted,
        Self::UnknownReflectance,
    ];

    pub(crate) fn words(self) -> &'static str {
        match self {
            Self::Good => "good input",
            Self::SmallSphere => "radius under 40 px",
            Self::NoLens => "field of view unknown",
            Self::Clipped => "clipped light over 2 %",
            Self::Hidden => "sphere hidden over 5 %",
            Self::SoftOrNoisy => "blur over 1.1 px or much noise",
            Self::CameraFile => "camera JPEG",
            Self::Drifted => "drift over 0.1 stop",
            Self::UnknownReflectance => "reflectance unknown",
        }
    }

    /// Every word that fits a shot; `Good` where no other does.
    pub(crate) fn all_of(recipe: &Recipe, perfect: &Perfect) -> Vec<Self> {
        let told = [
            (Self::SmallSphere, recipe.radius_px < 40.0),
            (Self::NoLens, !recipe.fov_told),
            (Self::Clipped, perfect.clipped_share > 0.02),
            (Self::Hidden, recipe.hidden.is_some_and(|h| h.0 > 0.05)),
            (Self::SoftOrNoisy, recipe.blur_px > 1.1 || recipe.read_noise > 2.5e-3 || recipe.shot_noise > 2e-4),
            (Self::CameraFile, matches!(recipe.kept, Kept::Jpeg { .. })),
            (Self::Drifted, recipe.plate_drift_stops.is_some_and(|d| d.abs() > 0.1)),
            (Self::UnknownReflectance, matches!(recipe.told, super::recipe::Told::Unknown)),
        ];
        let list: Vec<Self> = told.into_iter().filter(|(_, is)| *is).map(|(quality, _)| quality).collect();
        if list.is_empty() { vec![Self::Good] } else { list }
    }
}
