//! The command line.

use std::process::ExitCode;

fn main() -> ExitCode {
    evendraw::command::main()
}
