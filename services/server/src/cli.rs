//! The command line of `benchringd`.

use clap::{Parser, Subcommand};

use crate::config::{Config, Overrides};
use crate::demo::DemoArgs;
use crate::run;

/// The shared test database for testers of cordless tool packs
#[derive(Debug, Parser)]
#[command(name = "benchringd", version, propagate_version = true)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve until a stop signal
    Serve(ServeArgs),
    /// Play an invented community through the public door, print what came of it, then serve
    Demo(DemoArgs),
    /// Bring the layout of the database up to date
    Migrate(MigrateArgs),
    /// Check or show the settings
    Config {
        #[command(subcommand)]
        what: ConfigCommand,
    },
}

#[derive(Debug, clap::Args)]
struct ServeArgs {
    #[command(flatten)]
    overrides: Overrides,
    /// Accept development tokens, which name any tester or moderator: for trying out only
    #[arg(long)]
    development: bool,
}

#[derive(Debug, clap::Args)]
struct MigrateArgs {
    #[command(flatten)]
    overrides: Overrides,
    /// Take back the newest step instead, with the data in what it brought
    #[arg(long)]
    down: bool,
}

#[derive(Debug, Subcommand)]
enum ConfigCommand {
    /// Read the settings and say what is wrong with them
    Check(Overrides),
    /// Print the settings in effect, secrets masked
    Print(Overrides),
}

impl Cli {
    /// Does what was asked.
    ///
    /// # Errors
    /// What stopped it, for the person at the terminal.
    pub async fn run(self) -> anyhow::Result<()> {
        match self.command {
            Command::Serve(args) => {
                let mut config = Config::load(&args.overrides)?;
                config.development |= args.development;
                run::init_logs(&config)?;
                run::serve(config).await
            }
            Command::Demo(args) => crate::demo::run(args).await,
            Command::Migrate(args) => {
                let config = Config::load(&args.overrides)?;
                run::migrate(&config, args.down).await
            }
            Command::Config { what: ConfigCommand::Check(overrides) } => {
                let config = Config::load(&overrides)?;
                crate::catalogue::load(&config.methods_dir)?;
                println!("settings are fine; the database is {}", config.database_shown());
                Ok(())
            }
            Command::Config { what: ConfigCommand::Print(overrides) } => {
                print!("{}", Config::load(&overrides)?.printed()?);
                Ok(())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory as _;

    use super::Cli;

    #[test]
    fn the_command_line_is_sound() {
        Cli::command().debug_assert();
    }
}
