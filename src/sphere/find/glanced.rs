//! Findings at places where a glance at the whole frame shows what may be a mirror sphere.

use super::consensus::{Aim, Consensus};
use super::consensus_from;
use super::flat::{Circle, circle_of_cone, cone_of_circle};
use super::glance::{Place, places};
use super::refine::weighed_fits;
use super::rim_chance::followed;
use super::ring::Supported;
use super::search::{Finding, Prepared, same};
use crate::sphere::{Outline, cone_of_outline, outline_of_cone};

/// Places that are looked at closely because of a glance.
const MOST_GLANCED: usize = 3;
/// Edge elements bear out a rim where their circle is the same to within this fraction of the radius.
const SAME_EDGES: f64 = 0.04;

impl Prepared<'_> {
    /// Findings where the frame looks at a glance as if a mirror sphere stood there, whatever the votes of its edges were.
    pub(super) fn glanced(&self) -> Vec<Finding> {
        let circle = |place: Place| {
            let [x, y, radius] = place.circle;
            Some(circle_of_cone(self.view, &cone_of_outline(self.view, &Outline::circle(x, y, radius))?))
        };
        let circles = places(&self.planes, self.knee, MOST_GLANCED).into_iter().filter_map(circle);
        circles.flat_map(|circle| self.rims_about(&circle)).collect()
    }

    /// Findings at the rim to which a rough circle can be followed.
    pub(super) fn rims_about(&self, rough: &Circle) -> Vec<Finding> {
        self.followed_rims(rough).into_iter().filter_map(|consensus| self.found_by_itself(consensus)).collect()
    }

    /// Rims to which a rough circle can be followed, doubted as far as they lie from where the rim is likeliest.
    pub(super) fn followed_rims(&self, rough: &Circle) -> Vec<Consensus> {
        let Some((likeliest, chances)) = followed(self.frame, self.view, rough) else { return Vec::new() };
        let Some(cone) = cone_of_circle(self.view, &likeliest) else { return Vec::new() };
        let start = Aim { view: self.view.clone(), cone };
        let fits = weighed_fits(self.frame, &self.planes, &start, &chances);
        let weighed = fits.into_iter().filter_map(|fit| fit.doubted_against(&start));
        let plain = outline_of_cone(&start.view, &start.cone).and_then(|outline| consensus_from(self, &outline));
        weighed.chain(plain).collect()
    }

    /// What an outline that the votes of the edges did not give shows.
    pub(super) fn found_by_itself(&self, consensus: Consensus) -> Option<Finding> {
        let supported = self.borne_out(&consensus)?;
        self.described(consensus, supported)
    }

    /// How far edge elements bear out a rim that was fitted without them.
    pub(super) fn borne_out(&self, consensus: &Consensus) -> Option<Supported> {
        let circle = self.circle_of(&consensus.aim)?;
        let bare = Supported { circle, evidence: 0.0 };
        let found = self.closer(self.maps(), &bare).filter(|s| same(&circle, &s.circle, SAME_EDGES));
        Some(found.unwrap_or(bare))
    }
}
