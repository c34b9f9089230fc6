//! Which part of the frames is decoded.
//!
//! A large render with coverage tells where its sphere stands, and the photographed one stands there too. So only what
//! is around that place is decoded first, of plate and mirror frame alike, and the photographed sphere is looked for
//! there. It is only believed where the search is sure of it and both spheres stand at the same place; on any doubt
//! everything is read whole and the whole frame is searched.

use std::collections::BTreeMap;

use crate::Result;
use crate::base::parallel;
use crate::check::SHOT_CHECKS;
use crate::image::{DataWindow, Frame, Opened, Wanted};
use crate::optics::camera::View;
use crate::sheet::{AlphaKind, CgSphereSpec, MirrorSpec, ShotSheet};
use crate::sphere::find::find_sphere_about;
use crate::sphere::{FoundBy, Outline, SphereCone, SphereSearch, outline_of_cone};

use super::intake;
use super::reconcile::same;
use super::sought::{Sought, find};

/// Frames with fewer pixels are read whole: there is nothing to gain.
const LEAST_PIXELS: usize = 1 << 21;

/// The part reaches this many radii above and below the sphere's centre …
const RADII_DOWN: f64 = 1.4;

/// … and this many to the left and the right, which is where the photographed sphere is looked for, …
const RADII_ACROSS: f64 = 2.2;

/// … and at least these fractions of the frame's width and height each way: the drift is measured on what the part shows.
const LEAST_PART: [f64; 2] = [0.25, 0.18];

/// Where the part would hold more than this fraction of the pixels, the frame is read whole.
const LARGEST_PART: f64 = 0.8;

/// Copying the part that is searched pays where the frame is this many times as wide.
const WORTH_A_CROP: usize = 3;

/// What is decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scope {
    /// What is around the spheres, where their places are known.
    Part,
    /// Everything.
    Whole,
}

impl Scope {
    /// Where a shot begins: in part, unless some check looks at whole frames.
    pub(super) fn first_for(sheet: &ShotSheet) -> Self {
        let whole = SHOT_CHECKS.iter().any(|check| check.reads_whole_frames() && check.is_asked(sheet));
        if whole { Self::Whole } else { Self::Part }
    }

    /// What is read of a CG frame.
    pub(super) fn of_cg(self, header: &Frame) -> Wanted {
        if self == Self::Part && is_large(header) { Wanted::Covered } else { Wanted::All }
    }
}

/// Where one mirror's spheres stand, before the photographed one has been looked for.
#[derive(Debug, Clone)]
pub(super) struct Place {
    /// The search that found the CG's sphere.
    pub(super) search: SphereSearch,
    /// What there is to say of its outline where that is given.
    pub(super) remarks: Vec<String>,
}

impl Place {
    /// The cone that the CG's sphere fills.
    pub(super) fn cone(&self) -> &SphereCone {
        &self.search.best.cone
    }
}

/// The places of all mirrors that have a CG sphere, by name.
pub(super) type Places = BTreeMap<String, Place>;

/// The places that the CG frames tell by their coverage. `None` unless all of them do.
pub(super) fn places(sheet: &ShotSheet, cg: &BTreeMap<&str, &Opened>) -> Option<Places> {
    let pairs: Vec<(&MirrorSpec, &CgSphereSpec)> =
        sheet.mirrors.iter().filter_map(|m| Some((m, sheet.cg_sphere(&m.name)?))).collect();
    let placed: Vec<Option<(String, Place)>> = parallel::map_each(&pairs, |(mirror, spec)| {
        Some((mirror.name.clone(), place(sheet, spec, &cg.get(mirror.name.as_str())?.frame)?))
    });
    placed.into_iter().collect()
}

fn place(sheet: &ShotSheet, spec: &CgSphereSpec, frame: &Frame) -> Option<Place> {
    // Small frames are read whole, and without coverage the place takes a search that may as well run beside the
    // photograph's.
    if frame.alpha.is_none() || frame.size.width * frame.size.height < LEAST_PIXELS {
        return None;
    }
    let view = intake::view_of(frame, sheet.cg_camera().as_ref(), &mut Vec::new());
    let mut remarks = Vec::new();
    let search = find(frame, &view, &Sought::of_cg(spec), &mut remarks).ok()?;
    // Where the sheet gives an outline, coverage may have told the part of another thing.
    let [low, high] = search.best.outline.bounds_px();
    let (data, size) = (frame.data, [frame.size.width, frame.size.height]);
    let shown = |axis: usize, start: i64, length: usize| {
        let (low, high) = (low[axis].max(0.0), high[axis].min(size[axis] as f64));
        low >= start as f64 - 1.0 && high <= start as f64 + length as f64 + 1.0
    };
    let is_there = shown(0, data.x, data.width) && shown(1, data.y, data.height);
    (is_there && search.best.found_by != FoundBy::Search).then_some(Place { search, remarks })
}

/// The part of a plate or mirror frame in which the spheres of these places stand, with background around them.
pub(super) fn around<'a>(
    header: &Frame,
    sheet: &ShotSheet,
    places: impl Iterator<Item = &'a Place>,
    given: Option<Outline>,
) -> Wanted {
    if !is_large(header) {
        return Wanted::All;
    }
    let view = intake::view_of(header, sheet.camera.as_ref(), &mut Vec::new());
    let outlines = places.map(|place| outline_of_cone(&view, place.cone())).chain(given.map(Some));
    let parts: Option<Vec<DataWindow>> = outlines.map(|outline| Some(part_about(header, &outline?))).collect();
    let part = parts.and_then(|parts| parts.into_iter().reduce(|a, b| a.hull(&b)));
    let pixels = |window: &DataWindow| window.width as f64 * window.height as f64;
    let small = |part: &DataWindow| pixels(&part.within(&header.data)) <= LARGEST_PART * pixels(&header.data);
    part.filter(small).map_or(Wanted::All, Wanted::Window)
}

fn part_about(header: &Frame, outline: &Outline) -> DataWindow {
    let radius = outline.semi_a.max(outline.semi_b);
    let span = |centre: f64, radii: f64, least: f64| {
        let half = (radii * radius).max(least);
        ((centre - half).floor() as i64, ((2.0 * half).ceil() as usize).saturating_add(1))
    };
    let (x, width) = span(outline.centre_x, RADII_ACROSS, LEAST_PART[0] * header.size.width as f64);
    let (y, height) = span(outline.centre_y, RADII_DOWN, LEAST_PART[1] * header.size.height as f64);
    DataWindow { x, y, width, height }.moved_into(&header.data)
}

fn is_large(header: &Frame) -> bool {
    header.data.width.saturating_mul(header.data.height) >= LEAST_PIXELS
}

/// The photographed sphere where the CG's stands; `None` where the search leaves any doubt.
pub(super) fn find_at(frame: &Frame, view: &View, cone: &SphereCone) -> Option<SphereSearch> {
    let outline = outline_of_cone(view, cone)?;
    let reach = RADII_ACROSS * outline.semi_a.max(outline.semi_b);
    let left = (outline.centre_x - reach).floor() as i64;
    let around = DataWindow { x: left, width: (2.0 * reach).ceil() as usize, ..frame.data };
    let cropped = (frame.data.width > WORTH_A_CROP * around.width).then(|| frame.cropped(&around));
    let search = find_sphere_about(cropped.as_ref().unwrap_or(frame), view, cone).ok()?;
    (search.rivals.is_empty() && same(&search.best.cone, cone)).then_some(search)
}

/// Opens one image of the sheet, in part where `choose` says so.
pub(super) fn open(
    sheet: &ShotSheet,
    spec: &crate::sheet::ImageSpec,
    role: &str,
    choose: &(dyn Fn(&Frame) -> Wanted + Sync),
) -> Result<Opened> {
    let says_nothing = |s: &CgSphereSpec| std::ptr::eq(&raw const s.image, spec) && s.alpha == AlphaKind::None;
    let want_alpha = role == "cg" && !sheet.cg.spheres.iter().any(says_nothing);
    intake::open_part_of(spec, &sheet.base_dir, role, want_alpha, choose)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Size;

    #[test]
    fn a_part_reaches_as_far_at_the_frames_edge_and_is_narrower_than_the_frame() {
        let size = Size { width: 400, height: 200 };
        let header = Frame::computed("plate.exr", size, vec![[0.0; 3]; size.width * size.height]);
        let part =
            |x: f64, y: f64, radius: f64| part_about(&header, &Outline::circle(x, y, radius)).within(&header.data);
        let middle = part(200.0, 100.0, 20.0);
        assert_eq!((middle.x, middle.width, middle.y, middle.height), (100, 201, 64, 73));
        for (x, y) in [(0.0, 0.0), (400.0, 200.0), (20.0, 190.0)] {
            let corner = part(x, y, 20.0);
            assert_eq!((corner.width, corner.height), (middle.width, middle.height), "{x} {y}");
        }
        assert_eq!(part(200.0, 100.0, 1e19), header.data);
    }
}
