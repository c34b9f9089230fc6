//! Hostile input: the corpus of the fuzz targets, cut and spoilt files, files that swell, names that mean harm, and disks
//! that take nothing. `docs/hostile_input.md` has the table of it.
#![allow(clippy::unwrap_used, reason = "a helper of a test fails the test")]
#![allow(clippy::print_stdout, reason = "a skipped test says why")]

mod bombs;
mod corpus;
mod disks;
mod drive;
mod memory;
mod names;
mod program;
mod seeds;
mod sheets;
