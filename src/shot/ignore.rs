//! Regions of the photographed sphere that do not count, taken out of both sides.
//!
//! What one side does not show must not be held against the other, so a region is taken out by direction: of the
//! photograph and of the CG alike. Its pixels become unknown, as those outside the data window are.

use std::sync::atomic::{AtomicU64, Ordering};

use nalgebra::Vector3;

use crate::base::parallel;
use crate::compare::sphere_faults::{Band, Seam};
use crate::findings::Report;
use crate::image::Frame;
use crate::optics::camera::View;
use crate::sheet::{IgnoreRegion, IgnoreSpec, MirrorSpec};
use crate::sphere::{MirrorGeometry, SphereFit, direction_of_deg, polygon_bounds};

use super::drawn::Drawn;

/// The regions of one mirror entry: as the sheet asks, and what its seam spoils.
pub(super) struct Ignored<'a> {
    /// Axis and cosine of the half-angle.
    cones: Vec<(Vector3<f64>, f64)>,
    polygons: Vec<&'a [[f64; 2]]>,
    /// The polygons over the photographed sphere; `None` where there are none.
    drawn: Option<Drawn>,
    seam: Option<Seam>,
    /// Geometry of the photographed sphere, in whose frame the polygons are drawn.
    photographed: MirrorGeometry,
}

impl<'a> Ignored<'a> {
    /// What the sheet asks; it may be nothing.
    pub(super) fn of(spec: &'a MirrorSpec, view: &View, fit: &SphereFit) -> Self {
        let mut ignored = Self {
            cones: Vec::new(),
            polygons: Vec::new(),
            drawn: None,
            seam: None,
            photographed: MirrorGeometry::new(view, &fit.cone),
        };
        for region in spec.ignore.iter().filter_map(IgnoreSpec::region) {
            match region {
                IgnoreRegion::Cone { azimuth_deg, elevation_deg, radius_deg } => {
                    ignored.cones.push((direction_of_deg(azimuth_deg, elevation_deg), radius_deg.to_radians().cos()));
                }
                IgnoreRegion::Polygon(corners) => ignored.polygons.push(corners),
            }
        }
        if !ignored.polygons.is_empty() {
            ignored.drawn = Some(Drawn::within(&ignored.polygons, fit.outline.bounds_px()));
        }
        ignored
    }

    /// The same with what a seam spoils.
    pub(super) fn with_seam(self, seam: Option<Seam>) -> Self {
        Self { seam, ..self }
    }

    /// Nothing is taken out.
    pub(super) fn is_empty(&self) -> bool {
        self.cones.is_empty() && self.polygons.is_empty() && self.seam.is_none()
    }

    fn covers(&self, direction: &Vector3<f64>) -> bool {
        let spoiled = |seam: &Seam| seam.band.covers(&self.photographed, direction);
        self.is_asked(direction) || self.seam.as_ref().is_some_and(spoiled)
    }

    /// The sheet asks to ignore a direction.
    fn is_asked(&self, direction: &Vector3<f64>) -> bool {
        let in_cone = self.cones.iter().any(|(axis, cosine)| axis.dot(direction) >= *cosine);
        let is_drawn = |drawn: &Drawn| self.photographed.locate(direction).is_some_and(|point| drawn.holds(point));
        in_cone || self.drawn.as_ref().is_some_and(is_drawn)
    }

    /// The part of the photographed sphere's picture that the sheet asks to ignore, whatever else is wrong there.
    fn asked_share(&self, fit: &SphereFit) -> f64 {
        let asked = |point| self.photographed.reflect(point).is_some_and(|seen| self.is_asked(&seen.direction));
        fit.outline.share(asked)
    }

    /// Makes the region's pixels of a sphere unknown and gives their fraction of the sphere.
    pub(super) fn take_out(&self, frame: &mut Frame, view: &View, fit: &SphereFit) -> f64 {
        let geometry = MirrorGeometry::new(view, &fit.cone);
        let reflected = |point: [f64; 2]| geometry.reflect(point).map(|seen| self.covers(&seen.direction));
        take_out(frame, &fit.outline.bounds_px(), &reflected)
    }

    /// Makes everything inside the polygons unknown, on the sphere or beside it.
    pub(super) fn take_out_drawn(&self, frame: &mut Frame) {
        let bounds = self.polygons.iter().filter_map(|corners| polygon_bounds(corners));
        let hull = |[low, high]: [[f64; 2]; 2], [l, h]: [[f64; 2]; 2]| {
            [[low[0].min(l[0]), low[1].min(l[1])], [high[0].max(h[0]), high[1].max(h[1])]]
        };
        let Some(bounds) = bounds.reduce(hull) else { return };
        let data = frame.data;
        let drawn = Drawn::on_pixels(&self.polygons, [data.x, data.y], [data.width, data.height]);
        take_out(frame, &bounds, &|point| Some(drawn.holds(point)));
    }

    /// The report's lines: what the sheet asks and what the seam spoils.
    pub(super) fn note(&self, spec: &MirrorSpec, fit: &SphereFit, report: &mut Report) {
        let sphere = format!("mirror {}", spec.name);
        report.warnings.extend(self.seam.as_ref().map(|seam| {
            let share = seam.band.share(&self.photographed, &fit.outline);
            seam_words(&sphere, seam, share)
        }));
        if !spec.ignore.is_empty() {
            Self::note_asked(spec, self.asked_share(fit), report);
        }
    }

    fn note_asked(spec: &MirrorSpec, fraction: f64, report: &mut Report) {
        let regions: Vec<String> = spec.ignore.iter().map(IgnoreSpec::words).collect();
        let percent = 100.0 * fraction;
        report.assumptions.push(format!(
            "mirror {}: {percent:.1} % of the sphere is ignored on both sides, as the sheet says: {}",
            spec.name,
            regions.join("; ")
        ));
        if fraction == 0.0 {
            report.warnings.push(format!(
                "mirror {}: the area that the sheet ignores does not touch the sphere; are its directions or pixels those of this frame?",
                spec.name
            ));
        }
    }
}

/// The report's line on a seam: what, where and how much of the sphere goes with it.
pub(super) fn seam_words(sphere: &str, seam: &Seam, share: f64) -> String {
    format!(
        "{sphere}: {}; a band of {:.1} px along it, {:.1} % of the sphere, is ignored",
        seam.words(),
        2.0 * seam.band.half_width_px,
        100.0 * share
    )
}

/// Makes the pixels of a sphere that a seam spoils unknown, and gives their fraction of it.
pub(super) fn take_out_seam(frame: &mut Frame, view: &View, fit: &SphereFit, band: &Band) -> f64 {
    let geometry = MirrorGeometry::new(view, &fit.cone);
    let spoiled = |point: [f64; 2]| geometry.reflect(point).map(|_| band.covers_point(&geometry, point));
    take_out(frame, &fit.outline.bounds_px(), &spoiled)
}

/// Masks the pixels for which `covered` says true. Gives masked over asked, where it said anything at all.
fn take_out(frame: &mut Frame, bounds: &[[f64; 2]; 2], covered: &(dyn Fn([f64; 2]) -> Option<bool> + Sync)) -> f64 {
    let data = frame.data;
    let [first, last] = [0, 1].map(|end| {
        let at = |axis: usize, start: i64, length: usize| {
            (bounds[end][axis].clamp(-1e9, 1e9) as i64 - start + end as i64).clamp(0, length as i64) as usize
        };
        [at(0, data.x, data.width), at(1, data.y, data.height)]
    });
    let width = data.width.max(1);
    let rows = frame.rgb.get_mut(first[1] * width..(last[1] * width).max(first[1] * width)).unwrap_or_default();
    let (asked, masked) = (AtomicU64::new(0), AtomicU64::new(0));
    parallel::each_row(rows, width, |row, pixels| {
        let (mut asked_here, mut masked_here) = (0, 0);
        for column in first[0]..last[0].min(pixels.len()) {
            let (x, y) = (data.x + column as i64, data.y + (first[1] + row) as i64);
            let Some(hit) = covered([x as f64 + 0.5, y as f64 + 0.5]) else { continue };
            asked_here += 1;
            if hit {
                masked_here += 1;
                pixels[column] = [f32::NAN; 3];
            }
        }
        asked.fetch_add(asked_here, Ordering::Relaxed);
        masked.fetch_add(masked_here, Ordering::Relaxed);
    });
    let (asked, masked) = (asked.into_inner(), masked.into_inner());
    masked as f64 / asked.max(1) as f64
}
