//! Which of the circles is the mirror sphere, and whether that can be said at all.

use super::flat::Circle;
use super::interior::Interior;
use super::search::{Finding, concentric};

/// A finding with its quality in [0, 1].
#[derive(Debug, Clone)]
pub(super) struct Ranked {
    pub finding: Finding,
    pub score: f64,
}

/// What the evidence allows.
#[derive(Debug)]
pub(super) enum Decision {
    /// One sphere, or several that are equally good.
    Found { best: Box<Ranked>, rivals: Vec<Ranked> },
    /// Nothing round enough.
    NothingRound,
    /// Round things, but none that mirrors: the one with the best evidence.
    NoMirror(Box<Finding>),
}

/// Least evidence (natural log) that an outline is there.
const LEAST_EVIDENCE: f64 = 18.0;
/// How far the evidence of edge elements counts beside that of the lines across the rim: both see the same edges.
const EDGEL_SHARE: f64 = 0.3;
/// Least fraction of rays that support the outline.
const LEAST_SUPPORT: f64 = 0.3;
/// Smaller circles are not looked for: 24 px is asked, the rest is slack.
const LEAST_RADIUS_PX: f64 = 21.0;
/// Widest scatter of the edges about the outline, in blurs of the edges (of at least 1 px).
const WIDEST_SCATTER: f64 = 0.9;
/// Least score of a mirror sphere.
const LEAST_SCORE: f64 = 0.12;
/// Scores within this factor of the best are rivals.
const RIVAL_FACTOR: f64 = 0.5;

/// So is one whose radius is within this factor of the best's, and whose evidence within that: whoever set up two spheres set
/// up two of a kind, and one of them may stand in a duller place.
const TWIN_SIZE: f64 = 1.1;
const TWIN_EVIDENCE: f64 = 0.4;

/// The edges bear the outline out.
pub(super) fn is_outline(f: &Finding) -> bool {
    let c = &f.consensus;
    let large = f.circle.radius >= LEAST_RADIUS_PX;
    let tight = c.edge_sd_px <= WIDEST_SCATTER * c.blur.max(1.0);
    let evidence = c.evidence + EDGEL_SHARE * f.supported.evidence.max(0.0);
    evidence >= LEAST_EVIDENCE && c.support >= LEAST_SUPPORT && c.longest_gap <= 0.5 && tight && large
}

/// From the first squeeze on less detail is asked of a mirror's inside, from the second on least.
const CLEAR_SQUEEZE: [f64; 2] = [1.6, 3.1];

/// How much the inside looks like a mirror, 0 to 1.
pub(super) fn mirror_likeness(i: &Interior) -> f64 {
    // The clearer the squeeze along the rim, the less there has to be to see.
    let clarity = ramp(i.squeeze, CLEAR_SQUEEZE[0], CLEAR_SQUEEZE[1]);
    let between = |plain: f64, clear: f64| plain + (clear - plain) * clarity;
    let detail = ramp(i.detail, between(0.1, 0.035), between(0.18, 0.05));
    let ringed = ramp(i.concentric, 0.25, 0.45).max(ramp(i.inner_squeeze, 4.0, 8.0));
    detail * ramp(i.squeeze, 0.8, 1.6) * (1.0 - ringed)
}

/// 0 up to `low`, 1 from `high`.
fn ramp(value: f64, low: f64, high: f64) -> f64 {
    ((value - low) / (high - low)).clamp(0.0, 1.0)
}

pub(super) fn decide(findings: Vec<Finding>) -> Decision {
    let outlines: Vec<Finding> = findings.into_iter().filter(is_outline).collect();
    if outlines.is_empty() {
        return Decision::NothingRound;
    }
    let outlines = without_chance(without_targets(outlines));
    let Some(strongest) = strongest(&outlines).cloned() else { return Decision::NothingRound };
    let lone = lone(&outlines);
    let mut ranked: Vec<Ranked> = outlines
        .into_iter()
        .map(|finding| {
            let evidence = finding.consensus.evidence;
            let score = evidence / (evidence + 20.0) * mirror_likeness(&finding.interior);
            Ranked { finding, score }
        })
        .filter(|r| r.score > LEAST_SCORE)
        .collect();
    ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
    let ranked = without_nested(ranked);
    let mut ranked = ranked.into_iter();
    let Some(best) = ranked.next().or(lone) else { return Decision::NoMirror(Box::new(strongest)) };
    let rivals = ranked.filter(|r| r.score >= RIVAL_FACTOR * best.score || are_twins(r, &best)).collect();
    Decision::Found { best: Box::new(best), rivals }
}

fn are_twins(other: &Ranked, best: &Ranked) -> bool {
    let (a, b) = (&other.finding, &best.finding);
    let size = a.circle.radius / b.circle.radius;
    (TWIN_SIZE.recip()..TWIN_SIZE).contains(&size) && a.consensus.evidence >= TWIN_EVIDENCE * b.consensus.evidence
}

/// Where nothing looks clearly like a mirror, an outline with at least this evidence (natural log) …
const LONE_EVIDENCE: f64 = 60.0;
/// … seen on at least this fraction of its lines, with no longer run of them unseen than this …
const LONE_SUPPORT: f64 = 0.5;
const LONE_GAP: f64 = 0.2;
/// … with more detail inside than shading has, not running along the radius as spokes do, nor around it as rings do …
const LONE_DETAIL: f64 = 0.06;
const LONE_SQUEEZE: f64 = 0.6;
const LONE_CONCENTRIC: f64 = 0.25;
/// … is taken for the sphere where no other outline elsewhere has this part of its evidence.
const LONE_PART: f64 = 0.25;
/// Its score: below that of anything that looks like a mirror, so that it can be told.
pub(in crate::sphere) const LONE_SCORE: f64 = 0.1;

fn strongest(outlines: &[Finding]) -> Option<&Finding> {
    outlines.iter().max_by(|a, b| a.consensus.evidence.total_cmp(&b.consensus.evidence))
}

/// The one plain round outline of a frame. Even surroundings, such as sky over sea, hardly show that they are mirrored.
fn lone(outlines: &[Finding]) -> Option<Ranked> {
    let best = strongest(outlines)?;
    let (c, i) = (&best.consensus, &best.interior);
    let plain = c.evidence >= LONE_EVIDENCE && c.support >= LONE_SUPPORT && c.longest_gap <= LONE_GAP;
    let may_mirror = i.detail >= LONE_DETAIL && i.squeeze >= LONE_SQUEEZE && i.concentric <= LONE_CONCENTRIC;
    let elsewhere = |f: &&Finding| f.circle.distance(&best.circle) + f.circle.radius > 1.1 * best.circle.radius;
    let rival = |f: &Finding| f.consensus.evidence >= LONE_PART * c.evidence;
    let alone = !outlines.iter().filter(elsewhere).any(|f| rival(f) && f.circle != best.circle);
    (plain && may_mirror && alone).then(|| Ranked { finding: best.clone(), score: LONE_SCORE })
}

/// An outline seen on less than this fraction of its lines …
const CHANCE_SUPPORT: f64 = 0.6;
/// … is chance where one seen on at least this fraction …
const PLAIN_SUPPORT: f64 = 0.7;
/// … with so many times its evidence …
const PLAIN_EVIDENCE: f64 = 4.0;
/// … lies over it: centres and radii together differ by less than this fraction of the radius …
const OVERLAP: f64 = 0.35;
/// … but not about its centre, as a sphere's inner rings do.
const ECCENTRIC: f64 = 0.05;

/// Two spheres do not lie in each other off centre: of two such outlines the one that hardly shows shares an arc with
/// the other and follows something else for the rest.
fn without_chance(outlines: Vec<Finding>) -> Vec<Finding> {
    let plain: Vec<(Circle, f64)> = outlines
        .iter()
        .filter(|f| f.consensus.support >= PLAIN_SUPPORT)
        .map(|f| (f.circle, f.consensus.evidence))
        .collect();
    let over = |a: &Circle, b: &Circle| {
        let apart = a.distance(b);
        apart > ECCENTRIC * a.radius && apart + (a.radius - b.radius).abs() < OVERLAP * a.radius
    };
    let is_chance = |f: &Finding| {
        f.consensus.support < CHANCE_SUPPORT
            && plain.iter().any(|(c, evidence)| *evidence > PLAIN_EVIDENCE * f.consensus.evidence && over(&f.circle, c))
    };
    outlines.into_iter().filter(|f| !is_chance(f)).collect()
}

/// Painted rings and wheels: the same all the way round. Whatever is concentric with one is a part of it.
fn without_targets(outlines: Vec<Finding>) -> Vec<Finding> {
    let targets: Vec<Circle> =
        outlines.iter().filter(|f| f.interior.concentric > TARGET_CONCENTRIC).map(|f| f.circle).collect();
    outlines.into_iter().filter(|f| targets.iter().all(|t| !concentric(t, &f.circle))).collect()
}

/// Share of radial change common to all directions from which a round thing counts as painted rings.
const TARGET_CONCENTRIC: f64 = 0.5;

/// Circles inside a larger good one are its reflections or rings; of nearly equal circles the first stays.
fn without_nested(ranked: Vec<Ranked>) -> Vec<Ranked> {
    let nested = |inner: &Ranked, outer: &Ranked| {
        let (i, o) = (&inner.finding.circle, &outer.finding.circle);
        let apart = i.distance(o);
        let same = apart + (i.radius - o.radius).abs() < 0.1 * o.radius;
        let inside = i.radius < o.radius && apart + 0.7 * i.radius < o.radius && outer.score > 0.4 * inner.score;
        same || inside
    };
    let keep: Vec<bool> = (0..ranked.len())
        .map(|i| {
            (0..ranked.len()).all(|j| {
                let beaten = nested(&ranked[i], &ranked[j]);
                let larger = ranked[j].finding.circle.radius > ranked[i].finding.circle.radius * 1.1;
                !(beaten && (j < i || larger) && i != j)
            })
        })
        .collect();
    ranked.into_iter().zip(keep).filter(|(_, keep)| *keep).map(|(r, _)| r).collect()
}
