//! One look at a file: what it says about itself and what it shows.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::take::Take;
use crate::Result;
use crate::image::encoding::Encoding;
use crate::image::limits::Limits;
use crate::image::open::{Belief, OpenRequest, open};
use crate::image::{CaptureMeta, Frame, MovieRequest, Size};
use crate::optics::camera::{ASSUMED_HORIZONTAL_FOV_DEG, FovSource, View};
use crate::sphere::find::find_sphere;
use crate::sphere::{FoundBy, Outline, SphereFit};

/// An environment is twice as wide as high, within this.
const TWO_TO_ONE: f64 = 0.005;

/// Over this part of a sphere clipped, highlights are lost.
const CLIPPED: f64 = 0.001;

/// What one look tells. The pixels are gone.
#[derive(Debug, Clone)]
pub(super) struct Look {
    pub(super) path: PathBuf,
    pub(super) size: Size,
    pub(super) pixel_aspect: f64,
    pub(super) meta: CaptureMeta,
    pub(super) eight_bit: bool,
    /// Some of it is transparent.
    pub(super) cut_out: bool,
    /// The round thing in it is painted in a few flat colours: no light falls on it.
    pub(super) drawn: bool,
    /// The mirror sphere in it.
    pub(super) sphere: Option<SphereSeen>,
    /// It is a movie; everything else is of one of its frames.
    pub(super) take: Option<Take>,
}

/// A mirror sphere in a picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct SphereSeen {
    pub(super) outline: Outline,
    /// The outline is that of the coverage channel.
    pub(super) by_alpha: bool,
    /// Its highlights are clipped.
    pub(super) clipped: bool,
}

/// Opens one frame.
pub(super) fn open_as(
    path: &Path,
    movie: MovieRequest<'_>,
    encoding: Option<Belief<Encoding>>,
    limits: &Limits,
) -> Result<Frame> {
    let shown_as = crate::printable(path);
    open(&OpenRequest {
        shown_as: &shown_as,
        encoding,
        want_alpha: true,
        movie,
        ..OpenRequest::of(path, "unknown", limits)
    })
}

/// Looks at it. The frame is gone afterwards.
pub(super) fn look_at(frame: Frame) -> Look {
    let cut_out = frame.alpha.as_ref().is_some_and(|alpha| alpha.iter().any(|a| *a < 0.5));
    let two_to_one = is_two_to_one(frame.size);
    let found = if two_to_one { None } else { find(&frame) };
    let told_by_camera = frame.meta.camera.is_some() || frame.meta.exposure_time_s.is_some();
    let drawn = !told_by_camera && found.as_ref().is_some_and(|fit| is_drawn(&frame, &fit.outline));
    let sphere = found.filter(|_| !drawn).map(|fit| SphereSeen {
        outline: fit.outline,
        by_alpha: fit.found_by == FoundBy::Alpha,
        clipped: is_clipped(&frame, &fit.outline),
    });
    Look {
        path: frame.path.clone(),
        size: frame.size,
        pixel_aspect: frame.pixel_aspect,
        meta: frame.meta,
        eight_bit: frame.eight_bit,
        cut_out,
        drawn,
        sphere,
        take: None,
    }
}

/// The sphere, as a check looks for it with nothing known.
fn find(frame: &Frame) -> Option<SphereFit> {
    let fov = ASSUMED_HORIZONTAL_FOV_DEG;
    let view = View::from_horizontal_fov(frame.size, frame.pixel_aspect, fov, FovSource::Assumed);
    find_sphere(frame, &view).ok().map(|search| search.best)
}

fn is_two_to_one(size: Size) -> bool {
    (size.width as f64 / (2.0 * size.height as f64) - 1.0).abs() < TWO_TO_ONE
}

impl Look {
    /// It is cut out along the outline of a sphere, as a render is.
    pub(super) fn is_cut_sphere(&self) -> bool {
        self.cut_out && self.sphere.is_some_and(|sphere| sphere.by_alpha)
    }

    /// Twice as wide as high.
    pub(super) fn is_two_to_one(&self) -> bool {
        is_two_to_one(self.size)
    }

    /// The file's own name.
    pub(super) fn name(&self) -> String {
        self.path.file_name().unwrap_or_default().to_string_lossy().into_owned()
    }
}

/// Of a photographed or rendered sphere's pixels at least this part differ; a drawing repeats a few colours (common practice, no source).
const LEAST_DIFFERENT: f64 = 0.03;

/// So many pixels are looked at, in rows and columns that span the outline.
const LOOKED_AT: i64 = 64;

fn is_drawn(frame: &Frame, outline: &Outline) -> bool {
    let mut colours: BTreeSet<[u32; 3]> = BTreeSet::new();
    let mut seen = 0_usize;
    for row in 0..LOOKED_AT {
        for column in 0..LOOKED_AT {
            let place = |i: i64, middle: f64| {
                let across = 2.0 * (i as f64 + 0.5) / LOOKED_AT as f64 - 1.0;
                middle + 0.9 * outline.semi_b * across
            };
            let point = [place(column, outline.centre_x), place(row, outline.centre_y)];
            if outline.normalised_radius(point) > 0.9 {
                continue;
            }
            let Some(value) = frame.pixel(point[0].floor() as i64, point[1].floor() as i64) else { continue };
            seen += 1;
            colours.insert(value.map(f32::to_bits));
        }
    }
    (colours.len() as f64) < LEAST_DIFFERENT * seen as f64
}

fn is_clipped(frame: &Frame, outline: &Outline) -> bool {
    let Some(level) = frame.clip_level else { return false };
    let reach = outline.semi_a.ceil() as i64;
    let (x, y) = (outline.centre_x as i64, outline.centre_y as i64);
    let (mut clipped, mut seen) = (0_u64, 0_u64);
    for row in (y - reach).max(0)..(y + reach).min(frame.size.height as i64) {
        for column in (x - reach).max(0)..(x + reach).min(frame.size.width as i64) {
            let inside = outline.normalised_radius([column as f64 + 0.5, row as f64 + 0.5]) < 0.95;
            let Some(value) = frame.pixel(column, row).filter(|_| inside) else { continue };
            seen += 1;
            clipped += u64::from((0..3).any(|channel| value[channel] >= level[channel] * 0.998));
        }
    }
    clipped as f64 > CLIPPED * seen as f64
}
