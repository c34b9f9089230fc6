//! Edge hypotheses on lines across a rough outline, and the cone that most of them agree on.

use std::f64::consts::TAU;

use nalgebra::Vector3;

use super::rim_model::{HALF_WINDOW, Rim, RimModel, STEP, WINDOW, Windows};
use crate::base::parallel;
use crate::optics::camera::View;
use crate::sphere::{SphereCone, tangents};

/// A line across the outline.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ray {
    /// Angle about the cone's axis, rad.
    pub phi_rad: f64,
    /// Where it crosses the outline, frame px.
    pub point: [f64; 2],
    /// Unit vector outwards, frame px.
    pub outward: [f64; 2],
    /// Change of the angle from the cone's axis per frame px along it, rad.
    pub rad_per_px: f64,
}

/// A possible edge on a ray.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hypothesis {
    /// Distance outwards from the rough outline, frame px.
    pub offset_px: f64,
    /// Standard deviation by the profile's own misfit, frame px.
    pub sd_px: f64,
    /// Misfit without an edge over misfit with it.
    pub gain: f64,
}

/// A ray with its possible edges.
#[derive(Debug, Clone)]
pub(super) struct Probed {
    /// The line.
    pub ray: Ray,
    /// Its possible edges; empty where nothing is seen.
    pub hypotheses: Vec<Hypothesis>,
    /// All of it lies on known pixels of the frame.
    pub is_in_frame: bool,
}

/// Direction at an angle about the axis and an angle from it.
fn direction(cone: &SphereCone, [right, up]: &[Vector3<f64>; 2], phi_rad: f64, from_axis_rad: f64) -> Vector3<f64> {
    cone.axis * from_axis_rad.cos() + (right * phi_rad.cos() + up * phi_rad.sin()) * from_axis_rad.sin()
}

/// The ray at one angle; `None` where the cone leaves the view.
pub(super) fn ray_at(view: &View, cone: &SphereCone, phi_rad: f64) -> Option<Ray> {
    let across = tangents(&cone.axis);
    let delta = cone.half_angle_rad * 1e-3;
    let point = view.project(&direction(cone, &across, phi_rad, cone.half_angle_rad))?;
    let beyond = view.project(&direction(cone, &across, phi_rad, cone.half_angle_rad + delta))?;
    let (dx, dy) = (beyond[0] - point[0], beyond[1] - point[1]);
    let length = dx.hypot(dy);
    (length > 0.0).then(|| Ray { phi_rad, point, outward: [dx / length, dy / length], rad_per_px: delta / length })
}

/// Reads up to three channels at a frame position; `None` outside the data or where masked.
pub(super) trait Sampler: Sync {
    /// Linear values.
    fn read(&self, point_px: [f64; 2]) -> Option<[f64; 3]>;
    /// Channels in use.
    fn channels(&self) -> usize;
    /// Frame px per sample.
    fn scale(&self) -> f64;
    /// The kind of rim expected.
    fn rim(&self) -> Rim;
}

/// How many rays, how many side lines each averages, and how far they reach.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layout {
    /// Rays.
    pub rays: usize,
    /// Parallel lines averaged per ray, one sample apart.
    pub lines: usize,
    /// Edges are sought up to this far from the rough outline, samples of the plane.
    pub reach: f64,
}

impl Layout {
    /// All of an outline of the given mean radius, in samples of the plane.
    pub(super) fn for_radius(radius_samples: f64, reach: f64) -> Self {
        let circumference = TAU * radius_samples;
        let rays = (circumference / 2.0).clamp(48.0, 360.0).round();
        let lines = (circumference / rays).round().clamp(1.0, 7.0);
        Self { rays: rays as usize, lines: lines as usize, reach }
    }
}

/// Profiles across the outline, one set of channels per ray.
#[derive(Debug)]
pub(super) struct Profile {
    ray: Ray,
    /// `None` where part of the line is outside the frame or masked.
    samples: Option<Vec<[f64; 3]>>,
}

/// Reads the profile of every ray.
pub(super) fn profiles(sampler: &impl Sampler, view: &View, cone: &SphereCone, layout: Layout) -> Vec<Profile> {
    let half = (layout.reach / STEP).ceil() as i64 + HALF_WINDOW as i64;
    parallel::filter_map(layout.rays, |i| {
        let phi_rad = TAU * i as f64 / layout.rays as f64;
        let ray = ray_at(view, cone, phi_rad)?;
        Some(Profile { ray, samples: read_profile(sampler, view, cone, &ray, layout, half) })
    })
}

fn read_profile(
    sampler: &impl Sampler,
    view: &View,
    cone: &SphereCone,
    ray: &Ray,
    layout: Layout,
    half: i64,
) -> Option<Vec<[f64; 3]>> {
    let mut sums = vec![[0.0; 3]; (2 * half + 1) as usize];
    for line in 0..layout.lines {
        let side = line as f64 - (layout.lines as f64 - 1.0) / 2.0;
        let turn = side * sampler.scale() * ray.rad_per_px / cone.half_angle_rad.sin();
        let own = if side == 0.0 { *ray } else { ray_at(view, cone, ray.phi_rad + turn)? };
        for (k, sum) in sums.iter_mut().enumerate() {
            let t = (k as i64 - half) as f64 * STEP * sampler.scale();
            let value = sampler.read([own.point[0] + t * own.outward[0], own.point[1] + t * own.outward[1]])?;
            sum.iter_mut().zip(value).for_each(|(s, v)| *s += v);
        }
    }
    let share = 1.0 / layout.lines as f64;
    sums.iter_mut().flatten().for_each(|s| *s *= share);
    Some(sums)
}

impl Profile {
    fn windows(&self, centre: usize, channels: usize) -> Windows {
        let Some(samples) = &self.samples else { return Windows::of(0, |_, _| 0.0) };
        let window = &samples[centre - HALF_WINDOW..centre - HALF_WINDOW + WINDOW];
        Windows::of(channels, |channel, row| window[row][channel])
    }

    /// The gain of the best edge near the rough outline.
    fn best_gain(&self, model: &RimModel, channels: usize) -> f64 {
        let middle = self.samples.as_ref().map_or(0, Vec::len) as i64 / 2;
        [-2, 0, 2]
            .iter()
            .filter_map(|shift| model.locate(&self.windows((middle + shift) as usize, channels)))
            .map(|found| found.gain)
            .fold(1.0, f64::max)
    }

    /// The line.
    pub(super) fn ray(&self) -> &Ray {
        &self.ray
    }

    /// Likelihood ratio of an edge at every sample within `reach` samples of the rough outline, from the inside out;
    /// `None` where part of the line is unseen.
    pub(super) fn likelihood_ratios(&self, model: &RimModel, channels: usize, reach: f64) -> Option<Vec<f64>> {
        let middle = self.samples.as_ref()?.len() / 2;
        let steps = (reach / STEP).round() as usize;
        let centres = middle - steps..middle + steps;
        Some(centres.map(|centre| model.likelihood_ratio(&self.windows(centre, channels))).collect())
    }

    /// Everything on this ray that looks like an edge.
    pub(super) fn probe(&self, model: &RimModel, channels: usize, scale: f64) -> Probed {
        let count = self.samples.as_ref().map_or(0, Vec::len);
        let mut hypotheses: Vec<Hypothesis> = Vec::new();
        for centre in (HALF_WINDOW..count.saturating_sub(HALF_WINDOW)).step_by(2) {
            let Some(found) = model.locate(&self.windows(centre, channels)) else { continue };
            let offset_px = ((centre as f64 - (count / 2) as f64) * STEP + found.offset) * scale;
            let next = Hypothesis { offset_px, sd_px: found.sd * scale, gain: found.gain };
            merge(&mut hypotheses, next, 0.5 * scale);
        }
        hypotheses.retain(|h| h.gain > LEAST_GAIN);
        Probed { ray: self.ray, hypotheses, is_in_frame: self.samples.is_some() }
    }
}

/// An edge must reduce the misfit by this factor to be a hypothesis at all.
const LEAST_GAIN: f64 = 2.5;

/// Windows overlap: of two finds of one edge the better stays.
fn merge(hypotheses: &mut Vec<Hypothesis>, next: Hypothesis, apart_px: f64) {
    match hypotheses.last_mut() {
        Some(last) if (last.offset_px - next.offset_px).abs() < apart_px => {
            if next.gain > last.gain {
                *last = next;
            }
        }
        _ => hypotheses.push(next),
    }
}

/// The blur under which the edges at the rough outline fit best, judged on a part of the rays.
pub(super) fn best_model(profiles: &[Profile], channels: usize, rim: Rim) -> Option<&'static RimModel> {
    const JUDGED: usize = 48;
    let stride = (profiles.len() / JUDGED).max(1);
    let judged: Vec<&Profile> = profiles.iter().step_by(stride).filter(|p| p.samples.is_some()).collect();
    let scored = parallel::map_each(RimModel::all(rim), |model| {
        let total: f64 = judged.iter().map(|p| p.best_gain(model, channels).ln()).sum();
        (total, model)
    });
    scored.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, model)| model)
}
