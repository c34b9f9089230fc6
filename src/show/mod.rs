//! Many shots: which part of a show a process takes, how much memory they may use, which results still hold, and
//! shots that move.

mod budget;
mod cost;
mod file_hashes;
mod machine;
mod manifest;
mod options;
mod part;
mod provenance;
mod sequence;

pub use budget::{Claim, MemoryBudget};
pub use cost::{Need, file_bytes, need};
pub(crate) use file_hashes::hash_of_file;
pub use file_hashes::{FileHashes, is_times_name};
pub use machine::default_budget_bytes;
pub use manifest::{Ledger, MANIFEST_FORMAT, Manifest, Planned, RunName, is_manifest_name, read_manifest};
pub use options::Options;
pub use part::{Part, parts_by_size};
pub use provenance::{StillValid, seal, still_valid};
pub use sequence::{check, frame_numbers};
