//! The sky cut into patches.

use nalgebra::Vector3;

/// Bands of equal height, which on a sphere have equal areas.
const BANDS: usize = 6;
/// Sectors of a band.
const SECTORS: usize = 8;

/// Patches of equal solid angle into which the sphere of directions is cut.
pub const PATCHES: usize = BANDS * SECTORS;

/// The patch that holds a unit direction.
pub fn patch_of(direction: &Vector3<f64>) -> usize {
    let band = ((0.5 - 0.5 * direction.y).clamp(0.0, 1.0) * BANDS as f64) as usize;
    let turn = direction.x.atan2(direction.z) / std::f64::consts::TAU + 0.5;
    let sector = (turn.clamp(0.0, 1.0) * SECTORS as f64) as usize;
    band.min(BANDS - 1) * SECTORS + sector.min(SECTORS - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_direction_has_its_patch() {
        for d in [Vector3::x(), -Vector3::x(), Vector3::y(), -Vector3::y(), Vector3::z(), -Vector3::z()] {
            assert!(patch_of(&d) < PATCHES);
        }
    }
}
