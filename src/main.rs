//! The `plateproof` program.

use std::process::ExitCode;

/// Frames and planes of many megabytes come and go on all cores at once; the system's allocator hands each back to the
/// system and waits for its pages again.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    plateproof::cli::run(std::env::args_os())
}
