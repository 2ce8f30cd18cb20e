//! The program: parses, dispatches, sets the exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    downbox::cli::run()
}
