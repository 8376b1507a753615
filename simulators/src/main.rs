//! The `simulators` program: serves, records, draws and checks simulated brewhouses.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::main()
}
