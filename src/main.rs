//! Starts the command line; everything else is in the library, where tests reach it.

use std::process::ExitCode;

fn main() -> ExitCode {
    lauterd::cli::main()
}
