//! Text report.
