//! From a rough candidate to circles that the edge elements around it bear out, with how much they bear them out.

use std::f64::consts::TAU;

use nalgebra::{Matrix3, Vector3};

use super::edgels::{Edgel, EdgelMap};
use super::flat::Circle;
use crate::optics::camera::View;

/// Angular sectors in which support is counted.
const SECTORS: usize = 64;
/// An element is aligned where its normal is within about 23° of the radius.
const ALIGNED_COS: f64 = 0.92;
/// Half-width of the ring in which elements support a circle, in plane samples.
const TOLERANCE: f64 = 1.3;
/// Chance that a visible piece of rim yields a supporting element.
const RIM_YIELD: f64 = 0.8;

/// A circle with the evidence for it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Supported {
    /// The circle.
    pub circle: Circle,
    /// Log-likelihood ratio of "a circle is here" against "these are the elements of the surround, by chance".
    pub evidence: f64,
}

/// The best circles near a candidate: several radii where several are borne out.
pub(super) fn circles_near(map: &EdgelMap, view: &View, start: &Circle, reach: Reach) -> Vec<Supported> {
    let s = map.scale;
    let low = start.radius * (1.0 - reach.radius_fraction) - reach.centre_samples * s;
    let high = start.radius * (1.0 + reach.radius_fraction) + reach.centre_samples * s;
    let ring = map.ring(view, [start.x, start.y], low * 0.75, high * 1.3);
    let mut found: Vec<Supported> = Vec::new();
    for rough in grid_search(&ring, start, reach, s) {
        let Some(circle) = refined(&ring, rough, s) else { continue };
        if found.iter().all(|f| f.circle.distance(&circle) + (f.circle.radius - circle.radius).abs() > 1.5 * s) {
            found.push(supported(&ring, circle, s));
        }
    }
    found.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    found
}

/// How far around the start to look.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reach {
    /// Centre shifts up to this many plane samples.
    pub centre_samples: f64,
    /// Radii within this fraction.
    pub radius_fraction: f64,
}

/// Circles on a grid of centres, each with its best radii by sectors covered.
fn grid_search(ring: &[Edgel], start: &Circle, reach: Reach, scale: f64) -> Vec<Circle> {
    const STEP: f64 = 1.5;
    const KEEP: usize = 4;
    let steps = (reach.centre_samples / STEP).round() as i32;
    let low = (start.radius * (1.0 - reach.radius_fraction) / scale).floor();
    let bins = ((start.radius * (1.0 + reach.radius_fraction) / scale).ceil() - low) as usize + 1;
    let pieces: Vec<Piece> = ring.iter().filter_map(|e| Piece::about(e, start, scale)).collect();
    let mut scored: Vec<(f64, Circle)> = Vec::new();
    for iy in -steps..=steps {
        for ix in -steps..=steps {
            let shift = [(f64::from(ix) * STEP) as f32, (f64::from(iy) * STEP) as f32];
            let masks = sector_masks(&pieces, shift, low as f32, bins);
            let (x, y) = (start.x + f64::from(shift[0]) * scale, start.y + f64::from(shift[1]) * scale);
            for (bin, score) in radius_peaks(&masks) {
                scored.push((score, Circle { x, y, radius: (low + bin as f64 + 0.5) * scale }));
            }
        }
    }
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut kept: Vec<Circle> = Vec::new();
    for (_, circle) in scored {
        let fresh = kept.iter().all(|k| k.distance(&circle) + (k.radius - circle.radius).abs() > 2.5 * scale);
        if fresh && kept.len() < KEEP {
            kept.push(circle);
        }
    }
    kept
}

/// An element relative to the start's centre, in plane samples, with the bit of its sector.
struct Piece {
    dx: f32,
    dy: f32,
    nx: f32,
    ny: f32,
    sector_bit: u64,
}

impl Piece {
    /// `None` where the normal is too far off the radius for any centre near the start.
    fn about(edgel: &Edgel, start: &Circle, scale: f64) -> Option<Self> {
        let (dx, dy) = (f64::from(edgel.x) - start.x, f64::from(edgel.y) - start.y);
        let along = (dx * f64::from(edgel.nx) + dy * f64::from(edgel.ny)).abs();
        (along > 0.7 * (dx * dx + dy * dy).sqrt()).then(|| Self {
            dx: (dx / scale) as f32,
            dy: (dy / scale) as f32,
            nx: edgel.nx,
            ny: edgel.ny,
            sector_bit: 1 << sector_of(dx, dy),
        })
    }
}

/// For each radius bin, which sectors hold an aligned element.
fn sector_masks(pieces: &[Piece], shift: [f32; 2], low: f32, bins: usize) -> Vec<u64> {
    let mut masks = vec![0_u64; bins];
    for piece in pieces {
        let (dx, dy) = (piece.dx - shift[0], piece.dy - shift[1]);
        let square = dx * dx + dy * dy;
        let along = dx * piece.nx + dy * piece.ny;
        if along * along < (ALIGNED_COS * ALIGNED_COS) as f32 * square {
            continue;
        }
        let bin = square.sqrt() - low;
        if bin >= 0.0 && (bin as usize) < bins {
            masks[bin as usize] |= piece.sector_bit;
        }
    }
    masks
}

/// Radius and sector of an element about a centre, where its normal points along the radius.
fn aligned(edgel: &Edgel, centre: [f64; 2]) -> Option<(f64, usize)> {
    let (dx, dy) = (f64::from(edgel.x) - centre[0], f64::from(edgel.y) - centre[1]);
    let radius = (dx * dx + dy * dy).sqrt();
    let along = (dx * f64::from(edgel.nx) + dy * f64::from(edgel.ny)).abs();
    (along >= ALIGNED_COS * radius).then(|| (radius, sector_of(dx, dy)))
}

fn sector_of(dx: f64, dy: f64) -> usize {
    ((dy.atan2(dx) / TAU + 0.5) * SECTORS as f64) as usize % SECTORS
}

/// Radius bins whose three-bin union covers locally most sectors, scored by what they exceed the typical bin by.
fn radius_peaks(masks: &[u64]) -> Vec<(usize, f64)> {
    let covered: Vec<u32> = (0..masks.len())
        .map(|i| {
            let next = masks.get(i + 1).copied().unwrap_or(0);
            let last = if i > 0 { masks[i - 1] } else { 0 };
            (masks[i] | next | last).count_ones()
        })
        .collect();
    let mut sorted = covered.clone();
    sorted.sort_unstable();
    let typical = f64::from(sorted[sorted.len() / 2]);
    let is_peak = |i: usize| {
        let near = &covered[i.saturating_sub(1)..(i + 2).min(covered.len())];
        covered[i] >= 16 && near.iter().all(|c| *c <= covered[i])
    };
    (0..covered.len()).filter(|i| is_peak(*i)).map(|i| (i, f64::from(covered[i]) - 0.5 * typical)).collect()
}

/// Least-squares circle through the supporting elements, reweighted with a shrinking tolerance.
fn refined(ring: &[Edgel], rough: Circle, scale: f64) -> Option<Circle> {
    let mut circle = rough;
    for tolerance in [2.5, 2.0, 1.6, 1.3, 1.3] {
        circle = reweighted(ring, &circle, tolerance * scale)?;
    }
    let moved = rough.distance(&circle) + (rough.radius - circle.radius).abs();
    (moved < 6.0 * scale && circle.radius > 4.0 * scale).then_some(circle)
}

/// One step: residuals are linear in the shift of centre and radius; Tukey's biweight limits outliers.
fn reweighted(ring: &[Edgel], circle: &Circle, tolerance: f64) -> Option<Circle> {
    let mut normal = Matrix3::<f64>::zeros();
    let mut right_side = Vector3::zeros();
    for edgel in ring {
        let (dx, dy) = (f64::from(edgel.x) - circle.x, f64::from(edgel.y) - circle.y);
        let distance = (dx * dx + dy * dy).sqrt();
        let residual = distance - circle.radius;
        let along = (dx * f64::from(edgel.nx) + dy * f64::from(edgel.ny)).abs();
        if residual.abs() >= tolerance || along < ALIGNED_COS * distance {
            continue;
        }
        let weight = (1.0 - (residual / tolerance).powi(2)).powi(2);
        let row = Vector3::new(dx / distance, dy / distance, 1.0);
        normal += row * row.transpose() * weight;
        right_side += row * (residual * weight);
    }
    let step = normal.try_inverse()? * right_side;
    let next = Circle { x: circle.x + step.x, y: circle.y + step.y, radius: circle.radius + step.z };
    (step.norm() < circle.radius).then_some(next)
}

/// Counts support per sector and weighs it against the chance that the surround's elements give.
pub(super) fn supported(ring: &[Edgel], circle: Circle, scale: f64) -> Supported {
    let tolerance = TOLERANCE * scale;
    let mut hit = [false; SECTORS];
    let mut others = [0.0_f64; SECTORS];
    let (inner, outer) = (circle.radius * 0.75, circle.radius * 1.3);
    for edgel in ring {
        let Some((radius, sector)) = aligned(edgel, [circle.x, circle.y]) else { continue };
        if (radius - circle.radius).abs() <= tolerance {
            hit[sector] = true;
        } else if radius > inner && radius < outer {
            others[sector] += 1.0;
        }
    }
    let share = 2.0 * tolerance / (outer - inner - 2.0 * tolerance).max(tolerance);
    let typical = others.iter().sum::<f64>() / SECTORS as f64;
    let evidence = (0..SECTORS)
        .map(|i| {
            let expected = (0.5 * others[i] + 0.5 * typical) * share;
            let chance = (1.0 - (-expected).exp()).clamp(0.02, 0.75);
            if hit[i] { (RIM_YIELD / chance).ln() } else { ((1.0 - RIM_YIELD) / (1.0 - chance)).ln() }
        })
        .sum();
    Supported { circle, evidence }
}
