//! benchring on the command line.

use std::process::ExitCode;

fn main() -> ExitCode {
    let done = benchring_cli::command(std::env::args_os());
    eprint!("{}", done.err);
    match benchring_cli::print(&done.out) {
        Ok(()) => ExitCode::from(done.code),
        Err(error) => {
            eprintln!("benchring: standard output: {error}");
            ExitCode::from(2)
        }
    }
}
