//! The `plateproof` program.

use std::process::ExitCode;

fn main() -> ExitCode {
    plateproof::cli::run(std::env::args_os())
}
