//! The report of one shot: plain data here, rendering in the files beside it. Rendering computes nothing.

pub mod json;
mod model;
pub mod picture;
pub mod text;

pub use model::{
    Balance, ErrorNote, Finding, InputRecord, LightReport, Report, ShotVerdict, SphereReport, SphereRole, ToolNote,
    Verdict,
};
