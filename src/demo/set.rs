//! The invented places of the film and the lamps put up there.

use super::block::Block;
use super::hall::Hall;
use super::open_air::OpenAir;
use super::scene::{Backdrop, DiscLight, Panel, Scene, black_body, direction_of};

/// The ferry's deck at dusk. `glow_azimuth_deg` is where the sun went down.
pub fn deck_at_dusk(seed: u64, glow_azimuth_deg: f64) -> Scene {
    Scene::new(Backdrop::OpenAir(OpenAir {
        zenith: [0.060, 0.100, 0.210],
        horizon: [0.400, 0.310, 0.270],
        glow: [0.520, 0.250, 0.105],
        glow_towards: direction_of(glow_azimuth_deg, 2.0),
        cloud: [0.300, 0.230, 0.250],
        sea: [0.018, 0.032, 0.042],
        deck: [0.125, 0.098, 0.074],
        blocks: deck_load(),
        seed,
    }))
}

/// The deck while the sun still stands over the harbour, on the side of `sun_azimuth_deg`.
pub fn deck_in_evening_sun(seed: u64, sun_azimuth_deg: f64) -> Scene {
    Scene::new(Backdrop::OpenAir(OpenAir {
        zenith: [0.060, 0.105, 0.210],
        horizon: [0.240, 0.245, 0.265],
        glow: [0.170, 0.125, 0.080],
        glow_towards: direction_of(sun_azimuth_deg, 8.0),
        cloud: [0.250, 0.235, 0.230],
        sea: [0.022, 0.035, 0.047],
        deck: [0.120, 0.100, 0.080],
        blocks: deck_load(),
        seed,
    }))
}

/// The salt hall on the quay, lit by what comes through its openings.
pub fn salt_hall(seed: u64) -> Scene {
    let room = Block::new([-7.0, -1.45, -9.0], [6.0, 4.6, 8.0], [0.150, 0.135, 0.115]);
    let salt = [0.420, 0.410, 0.395];
    let crate_wood = [0.150, 0.105, 0.065];
    Scene::new(Backdrop::Hall(Hall {
        room,
        wall: [0.115, 0.094, 0.072],
        roof: [0.060, 0.052, 0.046],
        blocks: vec![
            Block::new([-6.6, -1.45, -8.6], [-3.1, -0.2, -6.2], salt),
            Block::new([-5.4, -0.2, -8.6], [-3.9, 0.5, -7.0], salt),
            Block::new([2.6, -1.45, -7.8], [4.2, -0.45, -6.4], crate_wood),
            Block::new([2.9, -0.45, -7.7], [4.0, 0.35, -6.6], crate_wood),
            Block::new([4.3, -1.45, -3.0], [5.6, 0.1, -1.5], crate_wood),
            Block::new([-6.2, -1.45, 2.0], [-4.4, 0.4, 4.4], salt),
        ],
        seed,
    }))
}

/// Crates, a winch and the wheelhouse behind the camera.
fn deck_load() -> Vec<Block> {
    let wood = [0.165, 0.115, 0.072];
    let white_paint = [0.230, 0.225, 0.215];
    let iron = [0.050, 0.054, 0.060];
    vec![
        Block::new([-4.1, -1.45, -5.6], [-2.7, -0.55, -4.5], wood),
        Block::new([-3.8, -0.55, -5.5], [-2.8, 0.05, -4.6], wood),
        Block::new([2.5, -1.45, -5.7], [3.9, -0.75, -4.9], iron),
        Block::new([2.9, -0.75, -5.5], [3.2, 1.9, -5.2], iron),
        Block::new([-2.0, -1.45, 4.2], [3.4, 2.2, 8.5], white_paint),
        Block::new([-4.4, -1.45, 0.6], [-3.3, -0.4, 2.1], wood),
    ]
}

/// A lamp of one colour temperature; `luminance` is that of its disc.
pub fn lamp(azimuth_deg: f64, elevation_deg: f64, angular_radius_deg: f64, kelvin: f64, luminance: f64) -> DiscLight {
    DiscLight::new(azimuth_deg, elevation_deg, angular_radius_deg, black_body(kelvin).map(|c| c * luminance))
}

/// A lamp behind a frame of cloth: large and soft.
pub fn cloth(azimuth_deg: f64, elevation_deg: f64, half_size_deg: [f64; 2], kelvin: f64, luminance: f64) -> Panel {
    Panel::new(azimuth_deg, elevation_deg, half_size_deg, 6.0, black_body(kelvin).map(|c| c * luminance))
}

/// The wheelhouse's lit window, behind the camera to its right.
pub fn cabin_window() -> Panel {
    Panel::new(12.0, 7.0, [5.5, 3.2], 0.6, black_body(2700.0).map(|c| c * 0.9))
}

/// Camera and crew as the photographed sphere shows them: dark, in its middle.
pub fn crew() -> [Panel; 2] {
    let dark = [0.020, 0.021, 0.024];
    [Panel::new(2.0, -7.0, [3.4, 6.0], 1.2, dark), Panel::new(-7.5, -6.0, [1.8, 6.5], 1.0, dark).rounded()]
}

/// An actor in the plate who is not there when the sphere is shot.
pub fn figure(azimuth_deg: f64) -> [Panel; 2] {
    let coat = [0.055, 0.050, 0.062];
    let face = [0.190, 0.120, 0.090];
    [
        Panel::new(azimuth_deg, -11.0, [2.0, 10.0], 0.5, coat).rounded(),
        Panel::new(azimuth_deg, -0.6, [0.8, 1.15], 0.3, face).rounded(),
    ]
}
