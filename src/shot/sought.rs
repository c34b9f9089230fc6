//! One sphere of a frame as it was asked for: searched, refined about a circle drawn by hand, or as given.

use crate::Result;
use crate::image::Frame;
use crate::optics::camera::View;
use crate::sheet::{CgSphereSpec, MirrorSpec};
use crate::sphere::find::{find_sphere, told_sphere};
use crate::sphere::{SphereSearch, Told};

/// What is looked for.
#[derive(Debug, Clone)]
pub(super) struct Sought {
    /// What is told of its place.
    pub(super) told: Told,
    /// Its name in what has to be said.
    pub(super) who: String,
}

impl Sought {
    /// The photographed sphere.
    pub(super) fn of_mirror(spec: &MirrorSpec) -> Self {
        Self { told: spec.told(), who: format!("mirror {}", spec.name) }
    }

    /// The rendered one that stands for a mirror.
    pub(super) fn of_cg(spec: &CgSphereSpec) -> Self {
        Self { told: spec.told(), who: format!("the CG sphere of mirror {}", spec.mirror.as_deref().unwrap_or("?")) }
    }

    /// The only sphere of a frame that was given alone.
    pub(super) fn alone(told: Told) -> Self {
        Self { told, who: "the sphere".to_owned() }
    }
}

/// The sphere of a frame: as told, else found. What there is to say of a given outline goes into `remarks`.
pub(super) fn find(frame: &Frame, view: &View, sought: &Sought, remarks: &mut Vec<String>) -> Result<SphereSearch> {
    match told_sphere(frame, view, sought.told, &sought.who, remarks)? {
        Some(best) => Ok(SphereSearch { best, rivals: Vec::new() }),
        None => find_sphere(frame, view),
    }
}
