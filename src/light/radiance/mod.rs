//! Radiance by direction: what a sphere's pixels say about the light at its place.

mod grid;
mod map;
mod patch;
mod radiometry;
mod sphere_image;

pub use grid::{CELLS, DirectionGrid};
pub use map::{COMPARISON_FWHM_DEG, Deposit, DirectionMap, MapCell, Smoothed, Source};
pub(crate) use patch::CapWeight;
pub use patch::{
    Extremes, PATCH_CAP_DEG, PatchLight, cap_mean_rgb, extremes, largest_clipped_share, patch_light, patch_rgb,
};
pub use radiometry::{Radiometry, RecordingLimit};
pub use sphere_image::{Sample, SphereImage};
