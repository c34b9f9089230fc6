//! From a sphere's picture to the light that fell on it: radiance by direction, the lights in it, a captured
//! environment, and the gains of a CG's light layers.

pub mod environment;
pub(crate) mod footprint;
pub mod light_gains;
pub mod lights;
pub mod radiance;
