//! One photographed sphere against its rendered one: both measured alike, their lights paired, turned onto each other, and
//! how uncertain each difference is.

mod comparison;
pub mod haze;
pub mod pairing;
pub mod rotation;
pub(crate) mod shared;
pub(crate) mod shown;
pub mod side;
pub mod sphere_faults;
pub mod uncertainty;

pub use comparison::Comparison;
