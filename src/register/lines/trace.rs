//! From edge points to long smooth edges: each is followed both ways, over gaps where other edges cross.

use super::Edge;
use super::edgels::{Edgel, Edgels};

/// Points that the local direction is taken from.
const MEMORY: usize = 40;
/// A point counts when it lies within this distance of the line through those before it, px.
const NEAR_PX: f64 = 1.0;
/// Cosine of the largest angle between two points' edges (20°).
const SAME_DIRECTION: f64 = 0.94;
/// An edge is followed over gaps of up to this many pixels once it is this long.
const LONGEST_GAP_PX: f64 = 30.0;
const SURE_POINTS: usize = 24;
/// An edge is at least this share of the picture's longer side.
const LEAST_LENGTH: f64 = 0.1;
/// Points per pixel of an edge's length; a diagonal seen without gaps has 0.7.
const LEAST_SEEN: f64 = 0.45;
/// Length of the pieces whose points are averaged, px.
const PIECE_PX: f64 = 8.0;
/// A lens bends a line into a smooth curve: what a cubic leaves may be no more than this, px.
const ROUGHEST_PX: f64 = 0.5;
/// Edges kept, longest first: more add time, not knowledge.
const MOST_EDGES: usize = 600;

/// Follows all edges; places in the result are pixels of the frame.
pub(super) fn trace(edgels: &Edgels, scale: f64) -> Vec<Edge> {
    let least = LEAST_LENGTH * edgels.width.max(edgels.height) as f64;
    let mut order: Vec<usize> = (0..edgels.list.len()).collect();
    order.sort_by(|a, b| edgels.list[*b].strength.total_cmp(&edgels.list[*a].strength));
    let mut used = vec![false; edgels.list.len()];
    let mut found = Vec::new();
    for seed in order {
        if used[seed] {
            continue;
        }
        let chain = Tracer { edgels, used: &mut used }.both_ways(seed);
        found.extend(edge_of(&chain, least, scale));
    }
    found.sort_by(|a: &Edge, b| b.length().total_cmp(&a.length()));
    found.truncate(MOST_EDGES);
    found
}

struct Tracer<'a> {
    edgels: &'a Edgels,
    used: &'a mut [bool],
}

impl Tracer<'_> {
    fn both_ways(&mut self, seed: usize) -> Vec<[f64; 2]> {
        self.used[seed] = true;
        let first = self.edgels.list[seed];
        let along = [-first.across[1], first.across[0]];
        let mut chain = vec![first];
        self.extend(&mut chain, along);
        chain.reverse();
        self.extend(&mut chain, along.map(|c| -c));
        chain.iter().map(|e| e.place).collect()
    }

    /// Adds points at the end of a chain, in the direction `along` while there is but one.
    fn extend(&mut self, chain: &mut Vec<Edgel>, along: [f64; 2]) {
        let (mut head, mut direction) = ahead(chain, along);
        let mut gap = 0.0;
        let allowed = |chain: &[Edgel]| if chain.len() >= SURE_POINTS { LONGEST_GAP_PX } else { 2.0 };
        while gap <= allowed(chain) {
            gap += 1.0;
            let target = [head[0] + gap * direction[0], head[1] + gap * direction[1]];
            if let Some(next) = self.nearest(target, direction) {
                self.used[next] = true;
                chain.push(self.edgels.list[next]);
                (head, direction) = ahead(chain, direction);
                gap = 0.0;
            }
        }
    }

    /// The unused point nearest to the line of travel around a place, ahead of it and with its direction.
    fn nearest(&self, target: [f64; 2], direction: [f64; 2]) -> Option<usize> {
        let [x, y] = target.map(|c| c.floor() as i64);
        let around = (-1..=1).flat_map(|dy| (-1..=1).map(move |dx| (x + dx, y + dy)));
        let near = around.filter_map(|(x, y)| {
            let index = self.at(x, y)?;
            let edgel = &self.edgels.list[index];
            let away = [edgel.place[0] - target[0], edgel.place[1] - target[1]];
            let aside = (away[0] * direction[1] - away[1] * direction[0]).abs();
            let forward = away[0] * direction[0] + away[1] * direction[1];
            let turned = (edgel.across[0] * direction[1] - edgel.across[1] * direction[0]).abs();
            (aside <= NEAR_PX && forward.abs() <= 0.95 && turned >= SAME_DIRECTION).then_some((index, aside))
        });
        near.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(index, _)| index)
    }

    fn at(&self, x: i64, y: i64) -> Option<usize> {
        let inside = x >= 0 && y >= 0 && (x as usize) < self.edgels.width && (y as usize) < self.edgels.height;
        let slot = *inside.then(|| self.edgels.at.get(y as usize * self.edgels.width + x as usize)).flatten()?;
        let index = (slot as usize).checked_sub(1)?;
        (!self.used[index]).then_some(index)
    }
}

/// Foot of the chain's end on the line through its last points, and that line's direction.
fn ahead(chain: &[Edgel], before: [f64; 2]) -> ([f64; 2], [f64; 2]) {
    let last = &chain[chain.len().saturating_sub(MEMORY)..];
    let end = last[last.len() - 1];
    if last.len() < 5 {
        // Too short for a line: the edge's own direction.
        let along = [-end.across[1], end.across[0]];
        let sign = if along[0] * before[0] + along[1] * before[1] < 0.0 { -1.0 } else { 1.0 };
        return (end.place, along.map(|c| sign * c));
    }
    let places: Vec<[f64; 2]> = last.iter().map(|e| e.place).collect();
    let (middle, mut direction) = line_through(&places);
    if direction[0] * before[0] + direction[1] * before[1] < 0.0 {
        direction = direction.map(|c| -c);
    }
    let reach = (end.place[0] - middle[0]) * direction[0] + (end.place[1] - middle[1]) * direction[1];
    let foot = [0, 1].map(|axis| middle[axis] + reach * direction[axis]);
    // Half-way between the line, which lags on a curve, and the noisy point.
    ([0, 1].map(|axis| 0.5 * (foot[axis] + end.place[axis])), direction)
}

/// Centre and direction of the line of least squared distances.
pub(super) fn line_through(points: &[[f64; 2]]) -> ([f64; 2], [f64; 2]) {
    let n = points.len().max(1) as f64;
    let middle = [0, 1].map(|axis| points.iter().map(|p| p[axis]).sum::<f64>() / n);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in points {
        let (x, y) = (p[0] - middle[0], p[1] - middle[1]);
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    (middle, [angle.cos(), angle.sin()])
}

/// A chain as an edge in frame pixels, where it is long, whole and smooth enough.
fn edge_of(chain: &[[f64; 2]], least: f64, scale: f64) -> Option<Edge> {
    let (first, last) = (chain.first()?, chain.last()?);
    let length = (first[0] - last[0]).hypot(first[1] - last[1]);
    if length < least || (chain.len() as f64) < LEAST_SEEN * length {
        return None;
    }
    let (middle, direction) = line_through(chain);
    let mut local: Vec<[f64; 2]> = chain
        .iter()
        .map(|p| {
            let (x, y) = (p[0] - middle[0], p[1] - middle[1]);
            [x * direction[0] + y * direction[1], y * direction[0] - x * direction[1]]
        })
        .collect();
    local.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let pieces = pieces(&local);
    if roughness(&pieces)? > ROUGHEST_PX {
        return None;
    }
    let back = |[s, d]: &[f64; 2]| {
        [
            scale * (middle[0] + s * direction[0] - d * direction[1]),
            scale * (middle[1] + s * direction[1] + d * direction[0]),
        ]
    };
    Some(Edge { points: pieces.iter().map(back).collect() })
}

/// Means over pieces of equal length.
fn pieces(sorted: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let start = sorted.first().map_or(0.0, |p| p[0]);
    let piece = |p: &[f64; 2]| ((p[0] - start) / PIECE_PX) as usize;
    let groups = sorted.chunk_by(|a, b| piece(a) == piece(b)).filter(|g| g.len() >= 3);
    groups.map(|g| [0, 1].map(|axis| g.iter().map(|p| p[axis]).sum::<f64>() / g.len() as f64)).collect()
}

/// Root mean square of what a cubic leaves; `None` for too few points.
fn roughness(points: &[[f64; 2]]) -> Option<f64> {
    if points.len() < 6 {
        return None;
    }
    let reach = points.iter().map(|p| p[0].abs()).fold(1e-9, f64::max);
    let rows = nalgebra::DMatrix::from_fn(points.len(), 4, |i, j| (points[i][0] / reach).powi(j as i32));
    let right = nalgebra::DVector::from_fn(points.len(), |i, _| points[i][1]);
    let solved = (rows.transpose() * &rows).cholesky()?.solve(&(rows.transpose() * &right));
    let left = right - rows * solved;
    Some((left.norm_squared() / points.len() as f64).sqrt())
}
