//! The `evenfall` program; see `evenfall --help`.

use std::process::ExitCode;

fn main() -> ExitCode {
    evenfall::cli::run(std::env::args_os())
}
