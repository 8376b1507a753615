//! The `simulators` program: serves, records, draws and checks simulated brewhouses.

use std::process::ExitCode;

fn main() -> ExitCode {
    simulators::cli::main()
}
