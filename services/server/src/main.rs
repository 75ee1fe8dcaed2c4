//! benchringd, the server.

use clap::Parser as _;

#[tokio::main]
async fn main() -> std::process::ExitCode {
    match benchring_server::cli::Cli::parse().run().await {
        Ok(()) => std::process::ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("benchringd: {error:#}");
            std::process::ExitCode::from(2)
        }
    }
}
