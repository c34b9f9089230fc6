//! Findings at places where a glance at the whole frame shows what may be a mirror sphere.

use super::consensus::Consensus;
use super::flat::{Circle, circle_of_cone, cone_of_circle};
use super::glance::{Place, places};
use super::near::rims_from;
use super::ring::{Reach, Supported, circles_near};
use super::search::{Finding, MOST_CONCENTRIC, Prepared, same};
use crate::sphere::{Outline, cone_of_outline, outline_of_cone};

/// Places that are looked at closely because of a glance.
const MOST_GLANCED: usize = 3;
/// A glance places a sphere to within this, on the plane in which its radius spans at least so many samples; sizes about the circles
/// found there.
const GLANCED_REACH: Reach = Reach { centre_samples: 6.0, radius_fraction: 0.3 };
const GLANCED_SAMPLES: f64 = 18.0;
const GLANCED_SIZES: [f64; 3] = [0.95, 1.0, 1.05];
/// Edge elements bear out a rim where their circle is the same to within this fraction of the radius.
const SAME_EDGES: f64 = 0.04;

impl Prepared<'_> {
    /// Circles that the edges near a place seen at a glance bear out, and others a little larger and smaller.
    fn starts_about(&self, place: &Place) -> Vec<Outline> {
        let [x, y, radius] = place.circle;
        let seen = Outline::circle(x, y, radius);
        let circle = cone_of_outline(self.view, &seen).map(|cone| circle_of_cone(self.view, &cone));
        let map = self.maps().iter().rev().find(|m| radius / m.scale >= GLANCED_SAMPLES).or(self.maps().first());
        let near = circle.zip(map).map(|(c, map)| circles_near(map, self.view, &c, GLANCED_REACH)).unwrap_or_default();
        let outline = |c: &Circle| outline_of_cone(self.view, &cone_of_circle(self.view, c)?);
        let sized = |o: Outline| GLANCED_SIZES.map(|s| Outline::circle(o.centre_x, o.centre_y, s * o.mean_radius()));
        near.iter().filter_map(|s| outline(&s.circle)).chain([seen]).flat_map(sized).collect()
    }

    /// Findings where the frame looks at a glance as if a mirror sphere stood there, whatever the votes of its edges were.
    pub(super) fn glanced(&self) -> Vec<Finding> {
        let places = places(&self.planes, self.knee, MOST_GLANCED);
        let rims = places
            .iter()
            .flat_map(|place| rims_from(self, &self.starts_about(place)).into_iter().take(MOST_CONCENTRIC));
        rims.filter_map(|consensus| {
            let supported = self.borne_out(&consensus)?;
            self.described(consensus, supported)
        })
        .collect()
    }

    /// How far edge elements bear out a rim that was fitted without them.
    pub(super) fn borne_out(&self, consensus: &Consensus) -> Option<Supported> {
        let circle = self.circle_of(&consensus.aim)?;
        let bare = Supported { circle, evidence: 0.0 };
        let found = self.closer(self.maps(), &bare).filter(|s| same(&circle, &s.circle, SAME_EDGES));
        Some(found.unwrap_or(bare))
    }
}
