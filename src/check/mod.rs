//! The checks: what is compared, and what each says about itself.

pub mod docs;

pub use docs::{CHECK_DOCS, CheckDoc};
