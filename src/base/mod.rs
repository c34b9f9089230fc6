//! What everything else stands on: errors, units, files written whole, cores, dates and the sun, and statistics.

pub mod capture_time;
pub mod date;
pub mod error;
pub(crate) mod nearest;
pub mod nnls;
pub(crate) mod parallel;
pub(crate) mod relative;
pub(crate) mod robust;
pub(crate) mod staging;
pub mod statistics;
pub mod sun;
pub mod units;
