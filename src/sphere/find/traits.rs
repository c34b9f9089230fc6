//! What is known of a round outline, as numbers that can be weighed against each other.

use super::search::Finding;

/// How many traits there are.
pub(super) const COUNT: usize = 18;

/// Names of the traits, in their order.
pub const TRAIT_NAMES: [&str; COUNT] = [
    "ln_rim_evidence",
    "ln_edge_evidence",
    "support",
    "longest_gap",
    "ln_scatter_by_radius",
    "ln_blur_by_radius",
    "ln_detail",
    "ln_typical_detail",
    "ln_inner_squeeze",
    "concentric",
    "ln_outer_evidence",
    "darker",
    "colour_apart",
    "continues",
    "colour_continues",
    "look",
    "rim_chance",
    "rim_missed",
];

/// From here on a darker inside tells nothing more, natural log: a mirror before a bright window may show a dark room.
const MOST_DARKER: f64 = 1.0;

/// Less detail inside tells nothing more, natural log: even surroundings hardly show that they are mirrored.
const LEAST_DETAIL: f64 = -1.4;
const LEAST_TYPICAL_DETAIL: f64 = -2.0;

/// Smallest value whose logarithm is taken.
const LEAST: f64 = 1e-3;

/// Traits of every finding of one frame.
pub(super) fn traits(findings: &[Finding]) -> Vec<[f64; COUNT]> {
    findings.iter().map(|f| traits_of(f, findings)).collect()
}

fn traits_of(f: &Finding, all: &[Finding]) -> [f64; COUNT] {
    let (c, i, s) = (&f.consensus, &f.interior, &f.surround);
    let ln = |v: f64| v.max(LEAST).ln();
    let ln_evidence = |v: f64| v.max(0.0).ln_1p();
    let radius = f.circle.radius;
    [
        ln_evidence(c.evidence),
        ln_evidence(f.supported.evidence),
        c.support,
        c.longest_gap,
        ln(c.edge_sd_px / radius),
        ln(c.blur / radius),
        ln(i.detail).max(LEAST_DETAIL),
        ln(i.typical_detail).max(LEAST_TYPICAL_DETAIL),
        ln(i.inner_squeeze),
        i.concentric,
        ln_evidence(strongest(all.iter().filter(|o| is_around(f, o)))),
        (-s.brighter).clamp(0.0, MOST_DARKER),
        s.colour_apart,
        s.continues,
        s.colour_continues,
        f.look,
        f.rim_chance().ln_chance,
        f.rim_chance().ln_missed,
    ]
}

fn strongest<'a>(findings: impl Iterator<Item = &'a Finding>) -> f64 {
    findings.map(|f| f.consensus.evidence).fold(0.0, f64::max)
}

/// A clearly larger circle that holds most of this one.
fn is_around(f: &Finding, other: &Finding) -> bool {
    let larger = other.circle.radius > 1.06 * f.circle.radius;
    larger && f.circle.distance(&other.circle) + 0.7 * f.circle.radius < other.circle.radius
}
