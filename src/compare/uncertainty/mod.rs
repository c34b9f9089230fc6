//! Where every standard deviation comes from.
//!
//! One file per cause. Each holds the constants of that cause with their reasons and the functions that carry it on to
//! the numbers of the report; checks only name the terms that concern them and combine them. Causes are independent, so
//! variances add. `benches/coverage.rs` holds the result against shots of known truth.
//!
//! | cause | file | reaches |
//! |---|---|---|
//! | outline of the sphere | [`outline`] (its covariance: `sphere::find`) | directions, key/fill |
//! | one light's picture: noise, few cells, background, blur | `light` | direction, size, illuminance, share, colour |
//! | a light on the rim, where most of it may be lost | `rim` | illuminance, share, which light is the key; patches |
//! | recording's ceiling | [`clipping`] | which values count as light; bounds |
//! | a lens darker towards its corners | `fall_off` | exposure |
//! | directions not shown | [`blind_cone`] | patches, key/fill |
//! | a mirror sphere that blurs | [`surface_blur`] | its lights' size, illuminance, direction; exposure, key/fill, colour |
//! | light of lamps scattered over the frame | `veil` | exposure, contrast |
//! | what stands before the sphere | [`hidden`] | patches, key/fill, exposure, colour, lights of one side only |
//! | lens not known | [`optics`] | everything, by measuring again at both ends of the range |
//! | tone curve, automatic white balance | [`tone_curve`] | exposure, contrast, colour |
//! | sphere's reflectance | [`reflectance`] | exposure, colour |
//! | channels → temperature, Duv, colour difference | [`colour`] | whatever is said about a colour |
//! | blended lights | `blended_lights` | directions |
//! | errors that both sides share | [`common_mode`] | takes out of directions and key/fill what cancels |
//! | single parts of the sky on which a number depends | [`scatter`], `surroundings`, [`jackknife`] | exposure, contrast, colour |
//!
//! The drift of the reference is in `check::reference_drift`, which measures it.

pub(crate) mod blended_lights;
pub mod blind_cone;
pub mod clipping;
pub mod common_mode;
pub mod drift;
pub(crate) mod fall_off;
pub mod hidden;
pub mod jackknife;
pub mod optics;
pub mod outline;
pub mod patch;
pub mod reflectance;
pub(crate) mod rim;
pub mod scatter;
pub mod surface_blur;
pub(crate) mod surroundings;
pub mod tone_curve;
pub(crate) mod veil;
