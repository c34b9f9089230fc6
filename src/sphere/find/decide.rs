//! Which of the round outlines is the mirror sphere, and whether that can be said at all.

use super::interior::Interior;
use super::search::{Finding, concentric};
use super::traits::traits;
use super::weigh::{log_odds, probabilities};

/// A finding with the probability that its place is that of the mirror sphere.
#[derive(Debug, Clone)]
pub(super) struct Ranked {
    pub finding: Finding,
    pub score: f64,
}

impl Ranked {
    /// Another outline of the same place. Of two that lie on one rim the one with more evidence places it better.
    fn join(&mut self, other: Self) {
        self.score += other.score;
        let (a, b) = (&self.finding, &other.finding);
        let apart = a.circle.distance(&b.circle) + (a.circle.radius - b.circle.radius).abs();
        if apart < ONE_RIM * a.circle.radius && b.consensus.evidence > a.consensus.evidence {
            self.finding = other.finding;
        }
    }
}

/// What the evidence allows.
#[derive(Debug)]
pub(super) enum Decision {
    /// One sphere, or several that may be it.
    Found { best: Box<Ranked>, rivals: Vec<Ranked> },
    /// Nothing round.
    NothingRound,
    /// Round things, none of them likely enough.
    NoMirror,
}

/// Smaller circles are not looked for: 24 px is asked, the rest is slack.
const LEAST_RADIUS_PX: f64 = 21.0;
/// Least probability of a place to be taken.
pub(crate) const LEAST_PROBABILITY: f64 = 0.67;
/// Places with at least this fraction of the best one's probability are rivals.
const RIVAL_FACTOR: f64 = 0.25;
/// So are places that would be taken without doubt if they stood alone: with the odds of this, natural log, against none. In
/// eight-fold cross-validation on `golden/outside` it leaves 3 of 81 spheres open.
const SURE_ALONE: f64 = 3.0;
/// Outlines belong to one place where their centres are nearer than this fraction of the larger radius …
const ONE_PLACE: f64 = 0.5;
/// … and the smaller radius is at least this fraction of the larger.
const ONE_SIZE: f64 = 0.6;
/// They lie on one rim where centres and radii together differ by less than this fraction of the radius.
const ONE_RIM: f64 = 0.01;

/// Two spheres of one kind: the radius is within this factor of the best's, and the evidence within that: whoever set up
/// two spheres set up two of a kind, and one of them may stand in a duller place.
const TWIN_SIZE: f64 = 1.1;
const TWIN_EVIDENCE: f64 = 0.4;
/// An inside that looks less like a mirror than this counts only where its outline is plain.
const LEAST_LIKENESS: f64 = 0.05;
/// A plain outline has at least this evidence (natural log) …
const PLAIN_EVIDENCE: f64 = 60.0;
/// … on at least this fraction of its lines …
const PLAIN_SUPPORT: f64 = 0.5;
/// … with no longer run of them unseen than this. Even surroundings, such as sky over sea, hardly show that they are
/// mirrored; so much detail has to be left, not running along the radius as spokes do, nor around it as rings do.
const PLAIN_GAP: f64 = 0.2;
const PLAIN_DETAIL: f64 = 0.06;
const PLAIN_SQUEEZE: f64 = 0.6;
const PLAIN_CONCENTRIC: f64 = 0.25;
/// It is taken where no other outline elsewhere has this part of its evidence.
const PLAIN_PART: f64 = 0.25;
/// Share of radial change common to all directions from which a round thing counts as painted rings.
const TARGET_CONCENTRIC: f64 = 0.5;

/// Least evidence (natural log) that an outline is there.
const LEAST_EVIDENCE: f64 = 18.0;
/// How far the evidence of edge elements counts beside that of the lines across the rim: both see the same edges.
const EDGEL_SHARE: f64 = 0.3;
/// Least fraction of lines that support the outline, and longest run of them that may not.
const LEAST_SUPPORT: f64 = 0.3;
const LONGEST_GAP: f64 = 0.5;
/// Widest scatter of the edges about the outline, in blurs of the edges (of at least 1 px).
const WIDEST_SCATTER: f64 = 0.9;

/// The edges bear the outline out, whatever is inside.
pub(super) fn is_outline(f: &Finding) -> bool {
    let c = &f.consensus;
    let tight = c.edge_sd_px <= WIDEST_SCATTER * c.blur.max(1.0);
    let evidence = c.evidence + EDGEL_SHARE * f.supported.evidence.max(0.0);
    let seen = c.support >= LEAST_SUPPORT && c.longest_gap <= LONGEST_GAP;
    evidence >= LEAST_EVIDENCE && seen && tight && is_large_enough(f)
}

fn is_large_enough(f: &Finding) -> bool {
    f.circle.radius >= LEAST_RADIUS_PX
}

/// From the first squeeze on less detail is asked of a mirror's inside, from the second on least.
const CLEAR_SQUEEZE: [f64; 2] = [1.6, 3.1];

/// How much the inside looks like a mirror, 0 to 1.
fn mirror_likeness(i: &Interior) -> f64 {
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

fn mirrors(f: &Finding) -> bool {
    mirror_likeness(&f.interior) >= LEAST_LIKENESS
}

/// The one plain round outline of a frame in which nothing looks like a mirror.
fn lone(findings: &[Finding]) -> Option<Finding> {
    let best = findings.iter().max_by(|a, b| a.consensus.evidence.total_cmp(&b.consensus.evidence))?;
    let (c, i) = (&best.consensus, &best.interior);
    let plain = c.evidence >= PLAIN_EVIDENCE && c.support >= PLAIN_SUPPORT && c.longest_gap <= PLAIN_GAP;
    let even = i.detail >= PLAIN_DETAIL && i.squeeze >= PLAIN_SQUEEZE && i.concentric <= PLAIN_CONCENTRIC;
    let is_elsewhere = |f: &&Finding| f.circle.distance(&best.circle) + f.circle.radius > 1.1 * best.circle.radius;
    let is_rival = |f: &Finding| f.circle != best.circle && f.consensus.evidence >= PLAIN_PART * c.evidence;
    (plain && even && !findings.iter().filter(is_elsewhere).any(is_rival)).then(|| best.clone())
}

/// Painted rings and wheels are the same all the way round; whatever is concentric with one is a part of it.
fn without_targets(findings: Vec<Finding>) -> Vec<Finding> {
    let targets: Vec<Finding> =
        findings.iter().filter(|f| f.interior.concentric > TARGET_CONCENTRIC).cloned().collect();
    findings.into_iter().filter(|f| targets.iter().all(|t| !concentric(&t.circle, &f.circle))).collect()
}

/// What is left to weigh: outlines that may be a mirror's.
pub(super) fn eligible(findings: Vec<Finding>) -> Vec<Finding> {
    let mut findings = without_targets(findings);
    findings.retain(is_large_enough);
    if findings.iter().any(mirrors) {
        findings.retain(mirrors);
        return findings;
    }
    lone(&findings).into_iter().collect()
}

/// Weighs the findings of one frame that are eligible; `None` where there was nothing round at all.
pub(super) fn decide(eligible: Option<Vec<Finding>>) -> Decision {
    let Some(eligible) = eligible else { return Decision::NothingRound };
    let mut places = places(eligible);
    if places.is_empty() {
        return Decision::NoMirror;
    }
    let best = places.remove(0);
    let of_none = 1.0 - best.score - places.iter().map(|p| p.score).sum::<f64>();
    let least = (RIVAL_FACTOR * best.score).min(SURE_ALONE.exp() * of_none.max(0.0));
    let is_rival = |r: &Ranked| r.score >= least || are_twins(r, &best);
    let rivals: Vec<Ranked> = places.into_iter().filter(is_rival).collect();
    // Two mirrors share what is one's alone: where only the choice between them is open, it is offered.
    let likely = best.score + rivals.iter().map(|r| r.score).sum::<f64>();
    if likely < LEAST_PROBABILITY {
        return Decision::NoMirror;
    }
    Decision::Found { best: Box::new(best), rivals }
}

fn are_twins(other: &Ranked, best: &Ranked) -> bool {
    let (a, b) = (&other.finding, &best.finding);
    let size = a.circle.radius / b.circle.radius;
    (TWIN_SIZE.recip()..TWIN_SIZE).contains(&size) && a.consensus.evidence >= TWIN_EVIDENCE * b.consensus.evidence
}

/// The likeliest outline of every place with the place's probability, likeliest first. Outlines of one place are of one
/// thing: first it is decided which thing mirrors, then which outline is its own.
fn places(findings: Vec<Finding>) -> Vec<Ranked> {
    let scores = probabilities(&log_odds(&traits(&findings)));
    let mut left: Vec<Ranked> =
        findings.into_iter().zip(scores).map(|(finding, score)| Ranked { finding, score }).collect();
    left.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut places: Vec<Ranked> = Vec::new();
    for next in left {
        match places.iter_mut().find(|p| is_one_place(&p.finding, &next.finding)) {
            Some(place) => place.join(next),
            None => places.push(next),
        }
    }
    places.sort_by(|a, b| b.score.total_cmp(&a.score));
    places
}

fn is_one_place(a: &Finding, b: &Finding) -> bool {
    let larger = a.circle.radius.max(b.circle.radius);
    a.circle.distance(&b.circle) < ONE_PLACE * larger && a.circle.radius.min(b.circle.radius) > ONE_SIZE * larger
}
