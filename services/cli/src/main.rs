//! benchring, the tester's own tool: checks and analyses trial files with the very code of the service.

mod analyse;
mod args;
mod check;
mod documents;
mod json;
mod out;
mod run;
mod table;
mod tidy;

use std::process::ExitCode;

use clap::Parser as _;

fn main() -> ExitCode {
    match args::Cli::try_parse() {
        Ok(cli) => run::run(cli),
        Err(error) => {
            // Help and version are answers, all else is a usage that is not understood.
            let code = if error.use_stderr() { 2 } else { 0 };
            match error.print() {
                Ok(()) => ExitCode::from(code),
                Err(_) => ExitCode::from(2),
            }
        }
    }
}
