//! The demo show: shots of an invented film about a salt ferry, with mismatches that are known because code put them in.
//!
//! Nothing here was photographed. Place, film, shot names, sphere and camera are made up; every frame is computed from
//! a closed description of the light ([`scene::Scene`]) by [`render::render`].

mod block;
mod develop;
mod hall;
mod noise;
mod open_air;
pub mod render;
pub mod scene;

pub use block::Block;
pub use develop::{Noise, Veil};
pub use hall::Hall;
pub use open_air::OpenAir;
