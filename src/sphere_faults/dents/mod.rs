//! Dents and bumps of a mirror sphere, found against the CG sphere.
//!
//! Where both spheres show the same surroundings, the CG's picture is laid over the photographed one. A dent of depth h
//! turns the surface normal by −∇h, so that each of its places shows what a true sphere shows where the normal is turned
//! by as much: the reflections about it stand off in a way that is odd about its middle. A light or a wall that was moved
//! in the CG stands off one way, and what is missing there has no counterpart beside it; neither is taken for a dent.

mod align;
mod pictures;
mod warp;

use nalgebra::Vector3;

use crate::image::Frame;
use crate::sphere::{MirrorGeometry, Outline, SphereFit, angle_between_rad};
use align::align;
use pictures::Pictures;
use warp::{Bump, find_bump};

/// More dents than this are not told: the CG then shows other surroundings.
const MOST_DENTS: usize = 5;

/// Nor are dents that spoil more of the sphere's picture than this.
const MOST_SHARE: f64 = 0.35;

/// What lies within so many widths of the middle is spoiled: the turn has fallen to a seventh of its largest there. A little
/// farther than a dent is fitted over, for real ones have no edge.
const SPOILED_WIDTHS: f64 = 2.6;

/// A place where the sphere is not round.
#[derive(Debug, Clone)]
pub struct Dent {
    /// Outward normal of the true sphere at its middle, camera axes.
    pub normal: Vector3<f64>,
    /// Angle about it, seen from the sphere's centre, within which reflections are spoiled, rad.
    pub radius_rad: f64,
    /// Its middle in the frame, px.
    pub middle_px: [f64; 2],
    /// How far reflections stand off at most, px.
    pub farthest_px: f64,
    /// Part of the difference between the two pictures there that it explains.
    pub explained: f64,
}

impl Dent {
    /// The place where the sphere mirrors `direction` is spoiled.
    pub fn covers(&self, geometry: &MirrorGeometry, direction: &Vector3<f64>) -> bool {
        geometry.locate(direction).is_some_and(|point| self.covers_point(geometry, point))
    }

    /// The surface at a frame point is spoiled; false off the sphere.
    pub fn covers_point(&self, geometry: &MirrorGeometry, point_px: [f64; 2]) -> bool {
        normal_at(geometry, point_px).is_some_and(|n| angle_between_rad(&n, &self.normal) <= self.radius_rad)
    }

    /// Its part of the sphere's picture.
    pub fn share(&self, geometry: &MirrorGeometry, outline: &Outline) -> f64 {
        outline.share(|point| self.covers_point(geometry, point))
    }

    /// What and where, for the report.
    pub fn words(&self) -> String {
        let [x, y] = self.middle_px;
        format!(
            "a dent or bump of the sphere about px {x:.0}, {y:.0}: reflections stand up to {:.1} px from where a round sphere \
             shows them, which explains {:.0} % of what differs from the CG there",
            self.farthest_px,
            100.0 * self.explained
        )
    }
}

/// One sphere's picture.
#[derive(Debug, Clone, Copy)]
pub struct Seen<'a> {
    /// The frame.
    pub frame: &'a Frame,
    /// The sphere as it was found.
    pub fit: &'a SphereFit,
    /// Its mirror geometry.
    pub geometry: &'a MirrorGeometry,
}

/// Looks for dents of the photographed sphere, the deepest first. Empty where there are none, or where the CG shows other
/// surroundings.
pub fn find_dents(photographed: Seen<'_>, cg: Seen<'_>) -> Vec<Dent> {
    let Some(pictures) = Pictures::gather(photographed, cg) else { return Vec::new() };
    let Some(mut aligned) = align(&pictures) else { return Vec::new() };
    let mut dents = Vec::new();
    while let Some((bump, explained)) = find_bump(&pictures, &aligned) {
        let Some(dent) = dent(&pictures, photographed.geometry, (&bump, explained)) else { return Vec::new() };
        dents.push(dent);
        if dents.len() > MOST_DENTS {
            return Vec::new();
        }
        aligned.add(&pictures, &bump);
    }
    let share: f64 = dents.iter().map(|dent| dent.share(photographed.geometry, &photographed.fit.outline)).sum();
    if share > MOST_SHARE { Vec::new() } else { dents }
}

fn dent(pictures: &Pictures, geometry: &MirrorGeometry, (bump, explained): (&Bump, f64)) -> Option<Dent> {
    let middle_px = pictures.frame_point(bump.middle);
    // On the picture's disc a place lies at the sine of its angle of incidence, so there a dent is a cap of a half sphere.
    let incidence_rad = 2.0 * (0.5 * SPOILED_WIDTHS * bump.width).min(1.0).asin();
    let sin_i = bump.middle[0].hypot(bump.middle[1]).min(1.0);
    let cos_i = (1.0 - sin_i * sin_i).sqrt();
    // The normal turns by less than the angle of incidence: by ψ, with sin ψ = sin α sin i, the ray's own angle to the axis.
    let sin_alpha = geometry.blind_half_angle_rad().sin();
    let normal_part = 1.0 - sin_alpha * cos_i / (1.0 - (sin_alpha * sin_i).powi(2)).sqrt();
    Some(Dent {
        normal: normal_at(geometry, middle_px)?,
        radius_rad: incidence_rad * normal_part,
        middle_px,
        farthest_px: bump.shift_cells.abs() * pictures.cell_px,
        explained,
    })
}

/// A mirror's normal halves the angle between the ray that comes and the one that goes.
fn normal_at(geometry: &MirrorGeometry, point_px: [f64; 2]) -> Option<Vector3<f64>> {
    let direction = geometry.reflect(point_px)?.direction;
    (direction - geometry.view().ray(point_px)).try_normalize(1e-9)
}
