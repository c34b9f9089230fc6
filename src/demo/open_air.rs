//! The invented ferry at its quay: sky with cloud and evening glow, a far coast, the sea, a planked deck with rail and
//! salt crates.

use nalgebra::Vector3;

use super::block::{Block, face_factor};
use super::noise::{layered_noise, smooth, value_noise};

/// Height of the camera above the deck in metres.
const EYE_ABOVE_DECK_M: f64 = 1.45;
/// Height of the camera above the sea in metres.
const EYE_ABOVE_SEA_M: f64 = 3.4;
/// The rail runs along the deck's edges: left and right, front (−z), back.
const DECK_EDGE_M: DeckEdge = DeckEdge { side: 4.6, front: -6.0, back: 10.0 };

struct DeckEdge {
    side: f64,
    front: f64,
    back: f64,
}

/// Sky, sea and deck. Radiances are linear BT.709.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenAir {
    /// Sky overhead.
    pub zenith: [f64; 3],
    /// Sky at the horizon.
    pub horizon: [f64; 3],
    /// Added round the point of the horizon where the sun went down.
    pub glow: [f64; 3],
    /// Unit vector towards that point.
    pub glow_towards: Vector3<f64>,
    /// Lit cloud.
    pub cloud: [f64; 3],
    /// Sea seen steeply.
    pub sea: [f64; 3],
    /// Planks of the deck.
    pub deck: [f64; 3],
    /// Crates, winches and walls, on deck or off.
    pub blocks: Vec<Block>,
    /// Seed of every texture.
    pub seed: u64,
}

impl OpenAir {
    /// Radiance from a direction of the level axes.
    pub(crate) fn radiance(&self, d: &Vector3<f64>) -> [f64; 3] {
        if let Some(rgb) = self.nearest_block(d).or_else(|| self.rail(d)).or_else(|| self.deck(d)) {
            return rgb;
        }
        if d.y < 0.0 { self.sea(d) } else { self.coast(d).unwrap_or_else(|| self.sky(d)) }
    }

    fn nearest_block(&self, d: &Vector3<f64>) -> Option<[f64; 3]> {
        let hits = self.blocks.iter().filter_map(|block| Some((block.outer_hit(d)?, block)));
        let (hit, block) = hits.min_by(|a, b| a.0.distance.total_cmp(&b.0.distance))?;
        let [along, up] = hit.on_face();
        let board = value_noise(self.seed + 11, [(up * 5.0).floor() * 7.3, along * 0.8]);
        let grain = layered_noise(self.seed + 12, [along * 9.0, up * 24.0], 3);
        let factor = face_factor(hit.axis) * (0.55 + 0.45 * board + 0.5 * (grain - 0.5));
        Some(block.colour.map(|c| c * factor))
    }

    /// Posts and two bars along the deck's edge.
    fn rail(&self, d: &Vector3<f64>) -> Option<[f64; 3]> {
        let planes = [(0, DECK_EDGE_M.side), (0, -DECK_EDGE_M.side), (2, DECK_EDGE_M.front), (2, DECK_EDGE_M.back)];
        planes.into_iter().find_map(|(axis, at)| {
            let distance = at / d[axis];
            if !(distance > 0.0 && distance.is_finite()) {
                return None;
            }
            let p = d * distance;
            let (along, height) = (p[2 - axis], p.y + EYE_ABOVE_DECK_M);
            let in_reach = if axis == 0 {
                (DECK_EDGE_M.front..DECK_EDGE_M.back).contains(&along)
            } else {
                along.abs() < DECK_EDGE_M.side
            };
            let bar = (height - 1.02).abs() < 0.045 || (height - 0.55).abs() < 0.025;
            let post = (0.0..1.05).contains(&height) && ((along / 1.3).fract().abs() - 0.5).abs() < 0.03;
            (in_reach && (bar || post))
                .then(|| self.deck.map(|c| c * (0.9 + 0.5 * value_noise(self.seed, [along, height]))))
        })
    }

    fn deck(&self, d: &Vector3<f64>) -> Option<[f64; 3]> {
        if d.y >= -1e-6 {
            return None;
        }
        let p = d * (EYE_ABOVE_DECK_M / -d.y);
        let on_deck = p.x.abs() < DECK_EDGE_M.side && p.z > DECK_EDGE_M.front && p.z < DECK_EDGE_M.back;
        on_deck.then(|| {
            let plank = (p.x / 0.16).floor();
            let gap = ((p.x / 0.16).fract().abs() - 0.5).abs() > 0.46;
            let tone = 0.7 + 0.6 * value_noise(self.seed + 5, [plank * 3.7, p.z * 0.3]);
            let wet = layered_noise(self.seed + 6, [p.x * 0.9, p.z * 0.9], 3);
            let grain = layered_noise(self.seed + 7, [p.x * 40.0, p.z * 3.0], 2);
            let dry = self.deck.map(|c| c * tone * (0.75 + 0.5 * grain) * if gap { 0.35 } else { 1.0 });
            if wet <= 0.45 {
                return dry;
            }
            let mirrored = self.sky(&Vector3::new(d.x, -d.y, d.z));
            blend(dry, mirrored, 0.22 * smooth((wet - 0.45) * 5.0))
        })
    }

    fn sea(&self, d: &Vector3<f64>) -> [f64; 3] {
        let p = d * (EYE_ABOVE_SEA_M / (-d.y).max(1e-4));
        let distance = p.x.hypot(p.z);
        // Waves far away are smaller than a pixel: they fade instead of flickering.
        let strength = 1.0 / (1.0 + distance / 90.0);
        let wave = layered_noise(self.seed + 3, [p.x * 0.55, p.z * 0.9], 3) - 0.5;
        let mirrored = self.sky(&Vector3::new(d.x, -d.y, d.z));
        // Water mirrors more the flatter it is looked at; the power follows Schlick's approximation (1994, from memory).
        let grazing = 0.06 + 0.8 * (1.0 - (-d.y).min(1.0)).powi(5);
        blend(self.sea, mirrored, grazing).map(|c| c * (1.0 + 1.6 * strength * wave))
    }

    fn coast(&self, d: &Vector3<f64>) -> Option<[f64; 3]> {
        if d.y > 0.05 {
            return None; // no hill is higher
        }
        let ring = Vector3::new(d.x, 0.0, d.z).normalize();
        let height = 0.055 * layered_noise(self.seed + 9, [ring.x * 3.0, ring.z * 3.0], 4) - 0.012;
        (d.y < height).then(|| {
            let haze =
                0.35 + 0.25 * value_noise(self.seed + 10, [ring.x * 40.0 + d.y * 90.0, ring.z * 40.0 + d.y * 160.0]);
            blend(self.sea.map(|c| c * 0.5), self.horizon, haze)
        })
    }

    fn sky(&self, d: &Vector3<f64>) -> [f64; 3] {
        let base = blend(self.horizon, self.zenith, d.y.max(0.0).powf(0.55));
        let near = (-(1.0 - d.dot(&self.glow_towards)) / 0.16).exp();
        let lit = [0, 1, 2].map(|c| base[c] + self.glow[c] * near);
        let flat = 1.0 / (d.y.max(0.0) + 0.18);
        let cover = layered_noise(self.seed + 1, [d.x * flat * 1.6, d.z * flat * 2.6], 4);
        blend(lit, self.cloud, 0.75 * smooth((cover - 0.46) * 4.5))
    }
}

/// `behind` where `coverage` is 0, `front` where it is 1.
pub(crate) fn blend(behind: [f64; 3], front: [f64; 3], coverage: f64) -> [f64; 3] {
    [0, 1, 2].map(|c| behind[c] + (front[c] - behind[c]) * coverage)
}
