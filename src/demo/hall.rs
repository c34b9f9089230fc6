//! The invented salt hall on the quay: planked walls, roof beams, a rough floor, heaps and crates.

use nalgebra::Vector3;

use super::block::{Block, face_factor};
use super::noise::{layered_noise, value_noise};

/// A hall round the camera. Radiances are linear BT.709.
#[derive(Debug, Clone, PartialEq)]
pub struct Hall {
    /// The room's inner faces; its colour is that of the floor.
    pub room: Block,
    /// Planks of the walls.
    pub wall: [f64; 3],
    /// Roof between the beams.
    pub roof: [f64; 3],
    /// What stands in the hall.
    pub blocks: Vec<Block>,
    /// Seed of every texture.
    pub seed: u64,
}

impl Hall {
    /// Radiance from a direction of the level axes.
    pub(crate) fn radiance(&self, d: &Vector3<f64>) -> [f64; 3] {
        let hits = self.blocks.iter().filter_map(|block| Some((block.outer_hit(d)?, block)));
        if let Some((hit, block)) = hits.min_by(|a, b| a.0.distance.total_cmp(&b.0.distance)) {
            let grain = layered_noise(self.seed + 4, hit.on_face().map(|c| c * 7.0), 4);
            return block.colour.map(|c| c * face_factor(hit.axis) * (0.5 + grain));
        }
        let Some(hit) = self.room.inner_hit(d) else { return self.wall };
        match hit.axis {
            1 if d.y > 0.0 => self.roof_at(&hit.point),
            1 => self.floor_at(&hit.point),
            axis => self.wall_at(&hit.point, axis),
        }
    }

    fn roof_at(&self, p: &Vector3<f64>) -> [f64; 3] {
        let beam = ((p.z / 2.2).fract().abs() - 0.5).abs() < 0.1;
        let board = value_noise(self.seed + 1, [(p.x / 0.3).floor() * 5.1, p.z * 0.2]);
        self.roof.map(|c| c * (0.6 + 0.6 * board) * if beam { 0.4 } else { 1.0 })
    }

    fn floor_at(&self, p: &Vector3<f64>) -> [f64; 3] {
        let patches = layered_noise(self.seed + 2, [p.x * 1.3, p.z * 1.3], 6);
        self.room.colour.map(|c| c * (0.35 + 1.3 * patches))
    }

    fn wall_at(&self, p: &Vector3<f64>, axis: usize) -> [f64; 3] {
        let along = p[2 - axis];
        let board = value_noise(self.seed + 30 + axis as u64, [(along / 0.24).floor() * 4.3, p.y * 0.3]);
        let gap = ((along / 0.24).fract().abs() - 0.5).abs() > 0.46;
        let stains = layered_noise(self.seed + 60 + axis as u64, [along * 1.1, p.y * 0.6], 5);
        self.wall.map(|c| c * (0.45 + 0.5 * board + 0.7 * stains) * if gap { 0.4 } else { 1.0 })
    }
}
