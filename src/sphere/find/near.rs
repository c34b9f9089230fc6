//! A sphere whose place is told: roughly, by a circle drawn by hand, or exactly, by an outline that the picture is held
//! against.

use std::f64::consts::TAU;

use super::consensus::Consensus;
use super::search::{Finding, Prepared};
use super::traits::traits;
use super::weigh::{log_odds, shares};
use super::{
    CONFIRMED_EVIDENCE, LEAST_SUPPORT_NEAR, apart, circle_of_cone, consensus_from, fit_noted, large_enough,
    sphere_of_alpha, stated_sphere,
};
use crate::base::parallel;
use crate::image::{DataWindow, Frame};
use crate::optics::camera::View;
use crate::sphere::{FoundBy, Outline, SphereFit, Told, cone_of_outline};
use crate::{Error, ErrorKind, Result};

/// A rim found about a hand-drawn circle has its centre within this part of the radius, and its radius too: a little
/// more than the hand is off.
const FURTHEST: f64 = 0.2;

/// Smallest radius of a hand-drawn circle, px.
const SMALLEST_RADIUS_PX: f64 = 2.0;

/// Radii from which the edge is looked for, by the hand-drawn one; a fit reaches about 6 % to either side.
const RADII: [f64; 5] = [0.86, 0.93, 1.0, 1.08, 1.16];

/// Distances of the centres from which it is looked for, in radii, and how many stand at each.
const CENTRES: [(f64, usize); 3] = [(0.0, 1), (0.08, 6), (0.16, 10)];

/// Rims with at least this part of the best one's evidence are weighed, and so many at most.
const WORTH_WEIGHING: f64 = 0.3;
const MOST_WEIGHED: usize = 10;

/// How far off a circle drawn by hand is, centre and radius each, as a part of the radius (1 sd): a tenth, so that 15 % is nothing
/// unusual (common practice, no source).
const HAND_SD: f64 = 0.1;

/// Rims are about as plain where the evidence of one is at least this part of the other's.
const NEARLY_AS_GOOD: f64 = 0.9;

/// What is looked at reaches this many radii from the circle's centre, and a bit.
const REACH_RADII: f64 = 2.0;
const REACH_MARGIN_PX: f64 = 32.0;

/// The picture is held against a given outline this far from it, as a part of the radius …
const HELD_WITHIN: f64 = 0.03;
/// … and at least this far, px.
const HELD_WITHIN_PX: f64 = 1.5;

/// A given outline with less than this part of another rim's evidence is clearly the worse of the two.
const CLEARLY_WORSE: f64 = 0.7;

/// A given outline is that of an edge from which it lies no further than this part of the radius …
const SAME_EDGE: f64 = 0.005;
/// … or so many px (they are given to the half or whole pixel) …
const SAME_EDGE_PX: f64 = 0.75;
/// … or so many of the edge's own deviations.
const SAME_EDGE_SDS: f64 = 3.0;

/// No outline is known better than to this, px: common practice, no source.
const BEST_SD_PX: f64 = 0.1;

/// How well an outline is known where the picture shows nothing of it: px, and part of the radius (common practice, no
/// source).
const UNSEEN_SD_PX: f64 = 0.25;
const UNSEEN_SD_PART: f64 = 0.005;

/// A given outline after the picture was held against it.
#[derive(Debug, Clone)]
pub struct HeldAgainst {
    /// The outline as given, with the deviation that the picture supports.
    pub fit: SphereFit,
    /// An edge beside it that the picture shows clearly better.
    pub better: Option<Outline>,
}

/// The sphere that something is told of; `None` where nothing is. `who` names it in what has to be said.
///
/// # Errors
/// As [`find_near`] and [`hold_against`].
pub(crate) fn told_sphere(
    frame: &Frame,
    view: &View,
    told: Told,
    who: &str,
    remarks: &mut Vec<String>,
) -> Result<Option<SphereFit>> {
    match told {
        Told::Nothing => Ok(None),
        Told::Near(circle) => find_near(frame, view, circle).map(Some),
        Told::Outline(outline) => {
            let held = hold_against(frame, view, &outline)?;
            remarks.extend(held.better.map(|better| off_the_edge(who, &outline, &better)));
            Ok(Some(held.fit))
        }
    }
}

fn off_the_edge(who: &str, given: &Outline, better: &Outline) -> String {
    format!(
        "the given outline of {who} is {:.1} px off the edge that the picture shows ({}); it was kept, and its uncertainty covers the difference: give that edge instead, or give the circle as near_px to have it refined",
        apart(given, better),
        numbers(better)
    )
}

/// As `outline_px` takes it: three numbers where a circle says it to a tenth of a pixel.
fn numbers(outline: &Outline) -> String {
    let of = |numbers: &[f64]| numbers.iter().map(|number| format!("{number:.1}")).collect::<Vec<_>>().join(", ");
    if outline.semi_a - outline.semi_b < 0.1 {
        return of(&[outline.centre_x, outline.centre_y, outline.mean_radius()]);
    }
    of(&outline.to_array())
}

/// The sphere whose edge the picture shows about a circle drawn by hand (centre x, centre y, radius, px). The circle may
/// be off by 15 % of its radius. Of several edges the one is taken that most looks like a mirror's rim; its deviation covers the others
/// as far as they are likely. Where the frame's alpha outlines a round object there, that counts.
///
/// # Errors
/// [`ErrorKind::Parameter`] where the circle has no size or lies outside the frame, [`ErrorKind::NoSphere`] where the
/// picture shows no round edge there.
pub fn find_near(frame: &Frame, view: &View, circle: [f64; 3]) -> Result<SphereFit> {
    let drawn = drawn_circle(frame, circle)?;
    large_enough(frame)?;
    if let Some(fit) = sphere_of_alpha(frame, view).filter(|fit| is_meant(&fit.outline, &drawn)) {
        return Ok(fit);
    }
    let part = around(frame, &drawn);
    let prepared = Prepared::new(&part, view);
    let mut rims = rims_in(&prepared, &starts(&drawn));
    rims.extend(followed_rims(&prepared, &drawn));
    rims.retain(|rim| is_meant(&rim.fit.outline, &drawn));
    likeliest(&prepared, rims, &drawn).ok_or_else(|| not_seen(frame, circle))
}

fn drawn_circle(frame: &Frame, [x, y, radius]: [f64; 3]) -> Result<Outline> {
    let wrong = |cause: &str| {
        let remedy = "give near_px as [centre x, centre y, radius] in px of this frame";
        Err(Error::new(ErrorKind::Parameter, &frame.path, cause, remedy))
    };
    let (width, height) = (frame.size.width as f64, frame.size.height as f64);
    if ![x, y, radius].iter().all(|v| v.is_finite()) || radius < SMALLEST_RADIUS_PX {
        return wrong("the circle drawn by hand has no size");
    }
    let inside = (0.0..=width).contains(&x) && (0.0..=height).contains(&y) && radius <= 2.0 * width.max(height);
    if inside { Ok(Outline::circle(x, y, radius)) } else { wrong("the circle drawn by hand is outside the frame") }
}

fn not_seen(frame: &Frame, [x, y, radius]: [f64; 3]) -> Error {
    let cause = format!("the picture shows no round edge near the circle {x:.1},{y:.1},{radius:.1} drawn by hand");
    let remedy = "draw it closer to the sphere (within 15 % of its radius), or give the exact outline, which is used as it is (outline_px in a sheet, --outline on the command line)";
    Error::new(ErrorKind::NoSphere, &frame.path, cause, remedy)
}

fn is_meant(found: &Outline, drawn: &Outline) -> bool {
    let [centre, radius] = off(found, drawn);
    centre.max(radius) <= FURTHEST * drawn.mean_radius()
}

/// Distance of the centres and difference of the radii, px.
fn off(a: &Outline, b: &Outline) -> [f64; 2] {
    let centre = (a.centre_x - b.centre_x).hypot(a.centre_y - b.centre_y);
    [centre, (a.mean_radius() - b.mean_radius()).abs()]
}

/// The part of the frame about a circle: what lies elsewhere would only take time.
fn around(frame: &Frame, circle: &Outline) -> Frame {
    let reach = REACH_RADII * circle.semi_a + REACH_MARGIN_PX;
    let side = ((2.0 * reach).ceil() as usize).saturating_add(1);
    let (x, y) = ((circle.centre_x - reach).floor() as i64, (circle.centre_y - reach).floor() as i64);
    frame.cropped(&DataWindow { x, y, width: side, height: side })
}

fn starts(drawn: &Outline) -> Vec<Outline> {
    let at = |distance: f64, turn: f64, radius: f64| {
        let (shift, size) = (distance * drawn.semi_a, radius * drawn.semi_a);
        Outline::circle(drawn.centre_x + shift * turn.cos(), drawn.centre_y + shift * turn.sin(), size)
    };
    let turns = |count: usize| (0..count).map(move |i| TAU * i as f64 / count as f64);
    let centres = CENTRES.into_iter().flat_map(|(distance, count)| turns(count).map(move |turn| (distance, turn)));
    centres.flat_map(|(distance, turn)| RADII.map(|radius| at(distance, turn, radius))).collect()
}

/// An edge that the picture shows.
struct Rim {
    consensus: Consensus,
    fit: SphereFit,
}

impl Rim {
    /// `None` where the picture hardly shows it. Chances of a rim bear out one whose edges were weighed.
    fn seen(view: &View, consensus: Consensus) -> Option<Self> {
        let is_borne_out = consensus.is_weighed || consensus.evidence >= CONFIRMED_EVIDENCE;
        if !is_borne_out || consensus.support < LEAST_SUPPORT_NEAR {
            return None;
        }
        let fit = fit_noted(view, &consensus, FoundBy::Near, consensus.support)?;
        Some(Self { consensus, fit })
    }
}

/// Two outlines of one rim: they differ by less than 2 % of the radius.
fn alike(a: &SphereFit, b: &SphereFit) -> bool {
    apart(&a.outline, &b.outline) < 0.02 * b.outline.mean_radius()
}

/// The edges to which fits from these starts come, most evidence first, each once.
fn rims(part: &Frame, view: &View, starts: &[Outline]) -> Vec<Rim> {
    rims_in(&Prepared::new(part, view), starts)
}

fn rims_in(prepared: &Prepared<'_>, starts: &[Outline]) -> Vec<Rim> {
    let view = prepared.view;
    let mut found: Vec<Rim> =
        parallel::filter_map(starts.len(), |i| consensus_from(prepared, &starts[i]).and_then(|c| Rim::seen(view, c)));
    found.sort_by(|a, b| b.consensus.evidence.total_cmp(&a.consensus.evidence));
    let mut apart: Vec<Rim> = Vec::new();
    for rim in found {
        if !apart.iter().any(|known| alike(&known.fit, &rim.fit)) {
            apart.push(rim);
        }
    }
    apart
}

/// Rims to which a circle drawn by hand can be followed.
fn followed_rims(prepared: &Prepared<'_>, drawn: &Outline) -> Vec<Rim> {
    let view = prepared.view;
    let Some(cone) = cone_of_outline(view, drawn) else { return Vec::new() };
    prepared.followed_rims(&circle_of_cone(view, &cone)).into_iter().filter_map(|c| Rim::seen(view, c)).collect()
}

/// The rim that is likeliest by all that is known of rims, inside and around, and by how far a hand is off; doubted by how far off and
/// how likely the others are, and in full by those that are as plain. Edges alone would often take the reflections that run along the
/// rim for it.
fn likeliest(prepared: &Prepared<'_>, mut rims: Vec<Rim>, drawn: &Outline) -> Option<SphereFit> {
    let most = rims.iter().map(|rim| rim.consensus.evidence).max_by(f64::total_cmp)?;
    rims.retain(|rim| rim.consensus.is_weighed || rim.consensus.evidence >= WORTH_WEIGHING * most);
    rims.sort_by_key(|rim| !rim.consensus.is_weighed);
    rims.truncate(MOST_WEIGHED);
    let described = |rim: &Rim| prepared.found_by_itself(rim.consensus.clone());
    let Some(findings) = rims.iter().map(described).collect::<Option<Vec<Finding>>>() else {
        return nearest_of_the_best(rims, prepared.view, drawn);
    };
    prepared.look_at(&findings, f64::NEG_INFINITY);
    let odds =
        log_odds(&traits(&findings)).into_iter().zip(&rims).map(|(odds, rim)| odds + by_hand(&rim.fit.outline, drawn));
    let shares = shares(&odds.collect::<Vec<f64>>());
    let best = (0..shares.len()).max_by(|a, b| shares[*a].total_cmp(&shares[*b]))?;
    let taken = &rims[best];
    let as_plain = NEARLY_AS_GOOD * taken.consensus.evidence..=taken.consensus.evidence / NEARLY_AS_GOOD;
    let part = |rim: &Rim, share: f64| if as_plain.contains(&rim.consensus.evidence) { 1.0 } else { share };
    let doubted =
        |fit: SphereFit, (rim, share): (&Rim, f64)| fit.doubted_in_part(prepared.view, &rim.fit.cone, part(rim, share));
    Some(rims.iter().zip(shares).fold(taken.fit.clone(), doubted))
}

/// ln of how likely a hand draws this circle about that outline, up to a constant.
fn by_hand(outline: &Outline, drawn: &Outline) -> f64 {
    off(outline, drawn).map(|off| -0.5 * (off / (HAND_SD * drawn.mean_radius())).powi(2)).iter().sum()
}

/// Of the rims that as good as the same speaks for, the one nearest to the circle, doubted as far as the furthest of
/// the others.
fn nearest_of_the_best(mut rims: Vec<Rim>, view: &View, drawn: &Outline) -> Option<SphereFit> {
    rims.sort_by(|a, b| b.consensus.evidence.total_cmp(&a.consensus.evidence));
    let least = NEARLY_AS_GOOD * rims.first()?.consensus.evidence;
    rims.retain(|rim| rim.consensus.evidence >= least);
    rims.sort_by(|a, b| apart(&a.fit.outline, drawn).total_cmp(&apart(&b.fit.outline, drawn)));
    let mut rims = rims.into_iter();
    let nearest = rims.next()?.fit;
    let from_nearest = |rim: &Rim| apart(&rim.fit.outline, &nearest.outline);
    let furthest = rims.max_by(|a, b| from_nearest(a).total_cmp(&from_nearest(b)));
    Some(match furthest {
        Some(other) => nearest.doubted_against(view, &other.fit.cone),
        None => nearest,
    })
}

/// The sphere whose outline is given. The outline is kept; its deviation is what the picture supports: that of the edge
/// it lies on, or what parts it from the edge where the picture shows a clearly better one beside it.
///
/// # Errors
/// As [`given_sphere`](super::given_sphere).
pub fn hold_against(frame: &Frame, view: &View, outline: &Outline) -> Result<HeldAgainst> {
    let stated = |sd_px: f64| stated_sphere(frame, view, outline, sd_px);
    let unseen = stated(UNSEEN_SD_PX.max(UNSEEN_SD_PART * outline.mean_radius()))?;
    let Some(edge) = edge_beside(frame, view, outline) else {
        return Ok(HeldAgainst { fit: unseen, better: None });
    };
    let fit = stated(edge_sd_px(&edge.fit).max(BEST_SD_PX))?;
    let fit = SphereFit { gap: edge.fit.gap, ..fit }.doubted_against(view, &edge.fit.cone);
    Ok(HeldAgainst { fit, better: (!edge.is_given).then_some(edge.fit.outline) })
}

/// The edge that an outline is held against.
struct Edge {
    fit: SphereFit,
    /// The outline lies on it.
    is_given: bool,
}

fn edge_beside(frame: &Frame, view: &View, outline: &Outline) -> Option<Edge> {
    let edge = |fit: SphereFit| Edge { is_given: is_on(outline, &fit), fit };
    if large_enough(frame).is_err() {
        return None;
    }
    if let Some(fit) = sphere_of_alpha(frame, view).filter(|fit| is_beside(&fit.outline, outline)) {
        return Some(edge(fit));
    }
    let part = around(frame, outline);
    let mut rims = rims(&part, view, &starts_beside(outline));
    rims.retain(|rim| is_beside(&rim.fit.outline, outline));
    let least = CLEARLY_WORSE * rims.first()?.consensus.evidence;
    let own = rims.iter().position(|rim| is_on(outline, &rim.fit) && rim.consensus.evidence >= least);
    Some(edge(rims.swap_remove(own.unwrap_or(0)).fit))
}

/// The outline itself, and smaller and larger ones as far as another edge counts.
fn starts_beside(outline: &Outline) -> [Outline; 3] {
    [0.0, -HELD_WITHIN, HELD_WITHIN].map(|more| Outline {
        semi_a: outline.semi_a * (1.0 + more),
        semi_b: outline.semi_b * (1.0 + more),
        ..*outline
    })
}

fn is_beside(edge: &Outline, given: &Outline) -> bool {
    let [centre, radius] = off(edge, given);
    centre.max(radius) <= (HELD_WITHIN * given.mean_radius()).max(HELD_WITHIN_PX)
}

fn is_on(given: &Outline, edge: &SphereFit) -> bool {
    let near_enough = (SAME_EDGE * given.mean_radius()).max(SAME_EDGE_PX).max(SAME_EDGE_SDS * edge_sd_px(edge));
    apart(&edge.outline, given) <= near_enough
}

/// The largest deviation of centre and semi-axes, px.
fn edge_sd_px(fit: &SphereFit) -> f64 {
    (0..4).map(|i| fit.outline_cov[(i, i)].max(0.0).sqrt()).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Size;
    use crate::optics::camera::FovSource;
    use crate::register::test_scene::Random;
    use crate::sphere::cone_of_outline;

    const SIZE: Size = Size { width: 320, height: 240 };
    /// Edges of these frames lie where they are drawn to this, px.
    const PLACED_PX: f64 = 0.3;

    fn view() -> View {
        View::from_horizontal_fov(SIZE, 1.0, 20.0, FovSource::Option)
    }

    /// Discs with soft edges, later ones over earlier ones, on a grey wall with a little noise.
    fn discs(discs: &[([f64; 3], f64)]) -> Frame {
        let mut random = Random::new(7);
        let mut pixel = |i: usize| {
            let at = [(i % SIZE.width) as f64 + 0.5, (i / SIZE.width) as f64 + 0.5];
            let over = |below: f64, ([x, y, radius], value): &([f64; 3], f64)| {
                let cover = (radius - (at[0] - x).hypot(at[1] - y) + 0.5).clamp(0.0, 1.0);
                below + (value - below) * cover
            };
            let value = discs.iter().fold(0.2, over) + 0.002 * random.normal();
            [value as f32; 3]
        };
        Frame::computed("discs.exr", SIZE, (0..SIZE.width * SIZE.height).map(&mut pixel).collect())
    }

    const DISC: [f64; 3] = [150.0, 120.0, 60.0];

    fn one_disc() -> Frame {
        discs(&[(DISC, 0.6)])
    }

    fn off_the_disc(outline: &Outline) -> f64 {
        apart(outline, &Outline::circle(DISC[0], DISC[1], DISC[2]))
    }

    #[test]
    fn a_rough_circle_comes_to_the_edge() {
        let frame = one_disc();
        for (dx, dy, factor) in [(0.0, 0.0, 1.0), (9.0, 0.0, 1.0), (-6.0, 6.0, 1.14), (0.0, -8.0, 0.87)] {
            let drawn = [DISC[0] + dx, DISC[1] + dy, DISC[2] * factor];
            let fit = find_near(&frame, &view(), drawn).unwrap();
            assert!(off_the_disc(&fit.outline) < PLACED_PX, "{drawn:?}: {:?}", fit.outline);
            assert_eq!(fit.found_by, FoundBy::Near);
        }
    }

    #[test]
    fn where_nothing_round_is_the_error_says_so_and_asks_for_the_outline() {
        let error = find_near(&one_disc(), &view(), [270.0, 60.0, 30.0]).unwrap_err();
        assert_eq!(error.kind, ErrorKind::NoSphere);
        assert!(error.cause.contains("no round edge near the circle 270.0,60.0,30.0"), "{error}");
        assert!(error.remedy.contains("outline_px"), "{error}");
        for wrong in [[150.0, 120.0, 1.0], [f64::NAN, 120.0, 60.0], [-5.0, 120.0, 60.0], [150.0, 120.0, 1e9]] {
            assert_eq!(find_near(&one_disc(), &view(), wrong).unwrap_err().kind, ErrorKind::Parameter, "{wrong:?}");
        }
    }

    #[test]
    fn of_two_equally_plain_edges_one_is_taken_and_doubted_as_far_as_the_other() {
        let (frame, edges) = (discs(&[([150.0, 120.0, 66.0], 0.4), (DISC, 0.6)]), [60.0, 66.0]);
        for radius in edges {
            let fit = find_near(&frame, &view(), [150.0, 120.0, radius]).unwrap();
            let taken = fit.outline.mean_radius();
            assert!(edges.iter().any(|edge| (taken - edge).abs() < PLACED_PX), "{radius}: {:?}", fit.outline);
            let sd = fit.outline_cov[(2, 2)].sqrt();
            assert!((5.0..8.0).contains(&sd), "{radius}: sd {sd}");
        }
    }

    /// Closed form: what is at a distance d with probability p adds p d² to the variance.
    #[test]
    fn another_place_is_doubted_by_its_distance_and_probability() {
        let fit = find_near(&one_disc(), &view(), DISC).unwrap();
        let other = cone_of_outline(&view(), &Outline::circle(150.0, 120.0, 66.0)).unwrap();
        let variance = |p: f64| fit.clone().doubted_in_part(&view(), &other, p).outline_cov[(2, 2)];
        approx::assert_relative_eq!(variance(0.25) - variance(0.0), 0.25 * 36.0, max_relative = 0.1);
    }

    #[test]
    fn a_given_outline_is_kept_with_the_deviation_that_the_picture_supports() {
        let frame = one_disc();
        let held = |outline: Outline| hold_against(&frame, &view(), &outline).unwrap();
        let sd = |fit: &SphereFit| fit.outline_cov[(2, 2)].sqrt();

        let on_it = held(Outline::circle(150.0, 120.0, 60.0));
        assert!(on_it.better.is_none() && (0.09..0.25).contains(&sd(&on_it.fit)), "{on_it:?}");

        let beside = Outline::circle(150.0, 120.0, 61.5);
        let off = held(beside);
        assert_eq!((off.fit.outline, off.fit.found_by), (beside, FoundBy::Given));
        assert!(off_the_disc(&off.better.unwrap()) < PLACED_PX, "{:?}", off.better);
        assert!(sd(&off.fit) > 1.2, "the sd covers the edge: {}", sd(&off.fit));

        let nowhere = held(Outline::circle(270.0, 60.0, 30.0));
        assert!(nowhere.better.is_none() && (sd(&nowhere.fit) - 0.25).abs() < 0.02, "{nowhere:?}");
    }

    #[test]
    fn an_outline_off_the_edge_is_told_with_its_name() {
        let mut remarks = Vec::new();
        let told = Told::Outline(Outline::circle(150.0, 120.0, 61.5));
        told_sphere(&one_disc(), &view(), told, "mirror m1", &mut remarks).unwrap();
        assert!(remarks[0].starts_with("the given outline of mirror m1 is 1."), "{remarks:?}");
        assert!(remarks[0].contains("off the edge that the picture shows (150.0, 120.0, 60.0)"), "{remarks:?}");
    }
}
