//! Many reports at one glance: worst first, what the shots share, and what changed since an earlier set.
//!
//! A summary reads reports and nothing else. Each report becomes one [`ShotLine`] as soon as it is read, so memory
//! grows by about a kilobyte a shot.

mod compare;
mod csv;
mod document;
mod expected;
mod find;
mod junit;
mod line;
mod pattern;
mod text;
mod thumbnail;
mod version;

pub use compare::{Change, ChangeKind, Comparison, Gone, compare};
pub use csv::render_csv;
pub use document::{Counts, SUMMARY_FORMAT, Summary, summary_schema};
pub use find::{ReportSet, read_reports};
pub use junit::render_junit;
pub use line::{CheckLine, Number, ShotLine};
pub use pattern::{Pattern, patterns};
pub use text::render_summary_text;
pub use thumbnail::{SpherePair, sphere_pair};
pub use version::compare_versions;
