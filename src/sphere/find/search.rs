//! The search itself: candidates of all sizes, the evidence for each, and who wins.

use std::ops::Range;
use std::sync::{Arc, OnceLock};

use super::consensus::{Aim, Consensus};
use super::contour::{Contour, contour};
use super::edgels::{EdgelMap, edgels};
use super::flat::{Circle, circle_of_cone, cone_of_circle};
use super::interior::{Interior, interior};
use super::look::look;
use super::plane::{Plane, patch, pyramid, tone_knee};
use super::refine::{quick_fit, refine};
use super::rim_chance::RimChance;
use super::ring::{Reach, Supported, circles_near};
use super::surround::{Surround, surround};
use super::votes::{SMALLEST_VOTED, candidates};
use crate::base::parallel;
use crate::image::Frame;
use crate::optics::camera::View;
use crate::sphere::{cone_of_outline, outline_of_cone};

/// Planes are made down to this many samples on the short side.
const SMALLEST_PLANE: usize = 24;
/// Circles are followed to a plane in which their radius spans at least so many samples.
const CLOSER_SAMPLES: f64 = 40.0;
/// Votes must stand out this many standard deviations.
const LEAST_PROMINENCE: f64 = 4.0;
/// Candidates looked at more closely.
const MOST_CANDIDATES: usize = 300;
/// Circles followed to a finer plane.
const MOST_FOLLOWED: usize = 80;
/// Circles fitted on rays.
const MOST_PROBED: usize = 40;
/// Circles refined to the pixel.
const MOST_REFINED: usize = 12;
/// Both where the sphere's place is known: all of them lie over each other there.
const MOST_EXPECTED: (usize, usize) = (8, 3);
/// Of the refined ones, about one centre.
pub(super) const MOST_CONCENTRIC: usize = 2;
/// Least evidence of the first fit on rays for a circle to be refined.
const PROMISING: f64 = 12.0;

/// A circle with all evidence about it.
#[derive(Debug, Clone)]
pub(super) struct Finding {
    /// The fitted cone.
    pub consensus: Consensus,
    /// Its circle in the search plane.
    pub circle: Circle,
    /// Evidence from edge elements.
    pub supported: Supported,
    /// How its inside looks.
    pub interior: Interior,
    /// How that goes with what is around it.
    pub surround: Surround,
    /// How much both together look like a mirror, to a learned eye.
    pub look: f64,
    /// How much looks like a rim on it, to another; looked at once, where it may matter.
    pub rim: Arc<OnceLock<RimChance>>,
}

/// A rim elsewhere is so much likelier, mean ln of the chance on a ray.
const BESIDE: f64 = 0.15;

impl Finding {
    /// The rim seems to lie elsewhere, about the same place.
    pub(super) fn is_beside_the_rim(&self) -> bool {
        !self.consensus.is_weighed && self.rim_chance().ln_missed > BESIDE
    }

    /// How much looks like a rim on it; as on the plainest where that was not looked at.
    pub(super) fn rim_chance(&self) -> RimChance {
        self.rim.get().copied().unwrap_or(RimChance::PLAINEST)
    }
}

/// The frame, prepared for the search.
pub(super) struct Prepared<'a> {
    pub frame: &'a Frame,
    pub view: &'a View,
    pub planes: Vec<Plane>,
    pub knee: f32,
    /// The circle about which alone is searched.
    expected: Option<Circle>,
    maps: OnceLock<Vec<EdgelMap>>,
    circles: OnceLock<Vec<Supported>>,
}

/// Where a sphere is expected, circles are looked for whose centre lies within this fraction of its radius …
const EXPECTED_REACH: f64 = 0.6;
/// … and whose radius is within this factor of it.
const EXPECTED_FACTOR: f64 = 1.6;

impl<'a> Prepared<'a> {
    pub(super) fn new(frame: &'a Frame, view: &'a View) -> Self {
        let planes = pyramid(frame, SMALLEST_PLANE);
        let knee = tone_knee(planes.get(1).unwrap_or(&planes[0]), frame.eight_bit);
        Self { frame, view, planes, knee, expected: None, maps: OnceLock::new(), circles: OnceLock::new() }
    }

    /// Only circles about this one are looked for.
    pub(super) fn expecting(self, expected: Circle) -> Self {
        Self { expected: Some(expected), ..self }
    }

    /// Where something tells that the sphere stands.
    pub(super) fn expected(&self) -> Option<&Circle> {
        self.expected.as_ref()
    }

    /// Radii that are looked for, px of the search plane.
    fn radii(&self) -> Range<f64> {
        self.expected.map_or(0.0..f64::INFINITY, |e| e.radius / EXPECTED_FACTOR..e.radius * EXPECTED_FACTOR)
    }

    fn is_looked_for(&self, circle: &Circle) -> bool {
        self.radii().contains(&circle.radius)
            && self.expected.is_none_or(|e| e.distance(circle) < EXPECTED_REACH * e.radius)
    }

    /// The planes on which circles are voted for, and the finer ones on which they are followed.
    fn searched_planes(&self) -> &[Plane] {
        let radii = self.radii();
        let first = self.planes.iter().rposition(|p| radii.start / p.scale >= CLOSER_SAMPLES).unwrap_or(0);
        let last = self.planes.iter().rposition(|p| radii.end / p.scale >= SMALLEST_VOTED).unwrap_or(0);
        &self.planes[first..=last.max(first)]
    }

    /// Every circle worth fitting, best evidence first; searched for once.
    fn circles(&self) -> &[Supported] {
        self.circles.get_or_init(|| self.search_circles())
    }

    /// Edge elements of the planes that are searched; looked for once.
    pub(super) fn maps(&self) -> &[EdgelMap] {
        self.maps.get_or_init(|| self.searched_planes().iter().map(|p| edgels(p, self.view, self.knee)).collect())
    }

    fn search_circles(&self) -> Vec<Supported> {
        let maps = self.maps();
        let radii = self.radii();
        let mut rough: Vec<(usize, Circle, f64)> = maps
            .iter()
            .enumerate()
            .flat_map(|(level, map)| candidates(map, &radii).into_iter().map(move |c| (level, c.circle, c.prominence)))
            .filter(|c| c.2 >= LEAST_PROMINENCE && self.is_looked_for(&c.1))
            .collect();
        rough.sort_by(|a, b| b.2.total_cmp(&a.2));
        rough.truncate(MOST_CANDIDATES);
        let reach = Reach { centre_samples: 3.0, radius_fraction: 0.18 };
        let found: Vec<Vec<Supported>> =
            parallel::map_each(&rough, |(level, circle, _)| circles_near(&maps[*level], self.view, circle, reach));
        let mut found = found.concat();
        found.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
        let mut distinct = distinct(found, 0.03);
        distinct.truncate(MOST_FOLLOWED);
        let closer: Vec<Option<Supported>> = parallel::map_each(&distinct, |s| self.closer(maps, s));
        let mut circles: Vec<Supported> =
            closer.into_iter().flatten().filter(|s| self.is_looked_for(&s.circle)).collect();
        circles.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
        self::distinct(circles, 0.02)
    }

    /// The same circle on the plane in which its radius spans about [`CLOSER_SAMPLES`] to twice that.
    pub(super) fn closer(&self, maps: &[EdgelMap], rough: &Supported) -> Option<Supported> {
        let reach = Reach { centre_samples: 3.0, radius_fraction: 0.07 };
        let radius = rough.circle.radius;
        let level = maps.iter().rposition(|m| radius / m.scale >= CLOSER_SAMPLES);
        let best = if let Some(level) = level {
            circles_near(&maps[level], self.view, &rough.circle, reach)
        } else {
            let centre = super::flat::to_frame(self.view, [rough.circle.x, rough.circle.y])?;
            let span = 1.6 * radius + 8.0;
            let patch = patch(self.frame, centre, [span, span * self.view.pixel_aspect]);
            circles_near(&edgels(&patch, self.view, self.knee), self.view, &rough.circle, reach)
        };
        best.into_iter().next()
    }

    /// The rim found by votes around one circle.
    pub(super) fn contour_near(&self, circle: &Circle) -> Option<Contour> {
        let cone = cone_of_circle(self.view, circle)?;
        let start = outline_of_cone(self.view, &cone)?;
        contour(self.frame, self.view, &start)
    }

    /// The circle in the search plane of what a fit drew. A fit under an assumed field of view carries a focal length
    /// of its own: only the outline in the frame is common to both.
    pub(super) fn circle_of(&self, aim: &Aim) -> Option<Circle> {
        let outline = outline_of_cone(&aim.view, &aim.cone)?;
        Some(circle_of_cone(self.view, &cone_of_outline(self.view, &outline)?))
    }

    /// A first fit on rays.
    fn probe(&self, supported: &Supported) -> Option<(Consensus, Supported)> {
        let cone = cone_of_circle(self.view, &supported.circle)?;
        let aim = Aim { view: self.view.clone(), cone };
        let consensus = quick_fit(self.frame, &self.planes, &aim, enough_samples(supported.circle.radius))?;
        let circle = self.circle_of(&consensus.aim)?;
        (consensus.evidence >= PROMISING).then_some((consensus, Supported { circle, ..*supported }))
    }

    /// Fits one circle to the pixel and looks inside.
    fn examine(&self, first: &Consensus, supported: &Supported) -> Option<Finding> {
        let consensus = refine(self.frame, &self.planes, &first.aim, enough_samples(supported.circle.radius))?;
        self.described(consensus, *supported)
    }

    /// Looks at what a fitted circle holds.
    pub(super) fn described(&self, consensus: Consensus, supported: Supported) -> Option<Finding> {
        let circle = self.circle_of(&consensus.aim)?;
        let plane = self.planes.iter().rev().find(|p| circle.radius / p.scale >= 30.0).unwrap_or(&self.planes[0]);
        let interior = interior(plane, self.view, &circle, consensus.blur, self.knee)?;
        let surround = surround(self.frame, self.view, &circle)?;
        let look = look(self.frame, self.view, &circle);
        Some(Finding { consensus, circle, supported, interior, surround, look, rim: Arc::default() })
    }

    /// All findings, best evidence first.
    pub(super) fn findings(&self) -> Vec<Finding> {
        let circles = self.circles();
        let (most_probed, most_refined) =
            if self.expected.is_some() { MOST_EXPECTED } else { (MOST_PROBED, MOST_REFINED) };
        let mut probed: Vec<(Consensus, Supported)> =
            parallel::filter_map(circles.len().min(most_probed), |i| self.probe(&circles[i]));
        probed.sort_by(|a, b| b.0.evidence.total_cmp(&a.0.evidence));
        let mut kept: Vec<(Consensus, Supported)> = Vec::new();
        for next in probed {
            let fresh = kept.iter().all(|k| !same(&k.1.circle, &next.1.circle, 0.015));
            let family = kept.iter().filter(|k| concentric(&k.1.circle, &next.1.circle)).count();
            if fresh && family < MOST_CONCENTRIC && kept.len() < most_refined {
                kept.push(next);
            }
        }
        let mut findings: Vec<Finding> = parallel::filter_map(kept.len(), |i| self.examine(&kept[i].0, &kept[i].1));
        findings.sort_by(|a, b| b.consensus.evidence.total_cmp(&a.consensus.evidence));
        findings
    }
}

/// Radius in samples from which a plane is used: 40, and for small spheres what the finest plane (half the frame's
/// resolution, and half its noise) gives.
fn enough_samples(radius_px: f64) -> f64 {
    (radius_px / 2.1).min(40.0)
}

/// One centre within a tenth of the larger radius.
pub(super) fn concentric(a: &Circle, b: &Circle) -> bool {
    a.distance(b) < 0.1 * a.radius.max(b.radius)
}

/// Centres and radii together differ by less than a fraction of the radius.
pub(super) fn same(a: &Circle, b: &Circle, fraction: f64) -> bool {
    a.distance(b) + (a.radius - b.radius).abs() <= fraction * a.radius
}

/// Keeps the first of circles that are the same within a fraction of the radius.
fn distinct(sorted: Vec<Supported>, fraction: f64) -> Vec<Supported> {
    let mut kept: Vec<Supported> = Vec::new();
    for next in sorted {
        if kept.iter().all(|k| !same(&k.circle, &next.circle, fraction)) {
            kept.push(next);
        }
    }
    kept
}
