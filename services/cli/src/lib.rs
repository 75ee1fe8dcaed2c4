//! benchring, the tester's own tool: plans trials, checks and analyses trial files with the very code of the service.

mod analyse;
mod args;
mod check;
mod documents;
mod json;
mod network;
mod out;
mod plan;
mod run;
mod table;
mod tidy;

use clap::Parser as _;

pub use out::print;

/// What a command came to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Done {
    /// Exit code: 0 done, 1 the files break a rule or there is no number to give, 2 the command or a file cannot be read.
    pub code: u8,
    /// For standard output.
    pub out: String,
    /// For standard error.
    pub err: String,
}

/// Does what the command line asks; `args` begins with the name of the program.
pub fn command(args: impl IntoIterator<Item = std::ffi::OsString>) -> Done {
    match args::Cli::try_parse_from(args) {
        Ok(cli) => run::run(&cli),
        // Help and version are answers, all else is a command that is not understood.
        Err(error) if error.use_stderr() => {
            Done { code: 2, out: String::new(), err: error.render().to_string() }
        }
        Err(error) => Done { code: 0, out: error.render().to_string(), err: String::new() },
    }
}
