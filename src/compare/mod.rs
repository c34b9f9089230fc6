//! One photographed sphere against its rendered one: both measured alike, their lights paired, turned onto each other,
//! and how uncertain each difference is.

mod comparison;
pub mod pairing;
pub mod rotation;
pub(crate) mod shared;
pub mod sphere_faults;
pub mod sphere_measurement;
pub mod surface_blur;
pub mod uncertainty;
pub(crate) mod visibility;

pub use comparison::Comparison;
pub(crate) use comparison::Derived;
