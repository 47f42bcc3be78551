//! The command line program; everything is in the library.
#![forbid(unsafe_code)]

use std::process::ExitCode;

fn main() -> ExitCode {
    tapewright::cli::main()
}
