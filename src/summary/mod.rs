//! Many reports at one glance: worst first, what the shots share, and what changed since an earlier set.
//!
//! A summary reads reports and nothing else. Each report becomes one [`ShotLine`] as soon as it is read, so memory
//! grows by some eight kilobytes a report, and by two more where all versions are asked for.

mod change;
mod compare;
mod csv;
mod document;
mod expected;
mod find;
mod junit;
mod line;
mod number;
mod page;
mod pattern;
mod quantity;
mod tally;
mod text;
mod thumbnail;
mod trend;
mod trend_csv;
mod trend_text;
mod version;

pub use change::{Change, ChangeKind};
pub use compare::{Comparison, Gone, compare};
pub use csv::render_csv;
pub use document::{Counts, SUMMARY_FORMAT, Summary, summary_schema};
pub use find::{ReportSet, Versions, read_reports};
pub use junit::render_junit;
pub use line::{CheckLine, ShotLine};
pub use number::Number;
pub use page::PAGE_COLUMNS;
pub use pattern::{Pattern, patterns};
pub use tally::{CheckCount, FaultGroup, by_check, fault_groups};
pub use text::{Layout, render_summary_text};
pub use thumbnail::{SpherePair, sphere_pair};
pub use trend::{ShotTrend, TrendCheck, VersionPoint};
pub use trend_csv::render_trend_csv;
pub use version::compare_versions;
