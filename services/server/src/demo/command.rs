//! `benchringd demo`: from the command line to a played community, a report and a running server.

use std::io::{IsTerminal as _, Write as _};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use anyhow::{Context as _, ensure};
use benchring_domain::method::Catalogue;
use indicatif::{ProgressBar, ProgressStyle};
use tonic::transport::Endpoint;

use super::alarms;
use super::community::{SEED, sessions_of_the_roster};
use super::object::Object;
use super::play::Players;
use super::report::{Style, report, where_to_look};
use super::seeds;
use super::story::Story;
use crate::config::Config;
use crate::run::{Running, SystemClock, start, stop_signal};

/// Options of the demo.
#[derive(Debug, Clone, clap::Args)]
pub struct DemoArgs {
    /// Address for gRPC, gRPC-Web, JSON and page; with --once any free port where none is given
    #[arg(long, env = "BENCHRING_LISTEN", value_name = "ADDR:PORT")]
    listen: Option<SocketAddr>,
    /// Address for probes and metrics
    #[arg(long, env = "BENCHRING_ADMIN_LISTEN", value_name = "ADDR:PORT")]
    admin_listen: Option<SocketAddr>,
    /// Keep the database in this folder, which must not hold one yet; without it the database is temporary
    #[arg(long, value_name = "DIR")]
    data_dir: Option<PathBuf>,
    /// Seed of the community: the same seed prints the same numbers
    #[arg(long, default_value_t = SEED)]
    seed: u64,
    /// Trials to send; more than the twelve testers have bring more testers
    #[arg(long, default_value_t = sessions_of_the_roster(), value_name = "N")]
    trials: usize,
    /// Print and end, in place of serving on
    #[arg(long)]
    once: bool,
    /// Print one JSON object in place of the report, for scripts; implies --once
    #[arg(long)]
    json: bool,
    /// Instead: judge N communities in process, without a server, and print how often intervals hold the truth
    #[arg(long, value_name = "N", conflicts_with_all = ["listen", "admin_listen", "data_dir", "trials", "once", "json"])]
    seeds: Option<usize>,
    /// Instead: check N trials in process in which nobody slips, and print how often each check says something; then
    /// plant slips in some of them, and print how often they are noticed
    #[arg(long, value_name = "N", conflicts_with_all = ["listen", "admin_listen", "data_dir", "trials", "once", "json", "seeds"])]
    false_alarms: Option<usize>,
}

impl DemoArgs {
    /// Whether the demo ends once it has told its story.
    fn ends(&self) -> bool {
        self.once || self.json
    }
}

/// Plays the demo.
///
/// # Errors
/// What stopped it, for the person at the terminal.
pub async fn run(args: DemoArgs) -> anyhow::Result<()> {
    if let Some(count) = args.seeds {
        ensure!(count > 0, "--seeds 0 would judge nothing: give 1 or more");
        let outcome = tokio::task::spawn_blocking(move || seeds::play(args.seed, count)).await??;
        return print(&outcome.table());
    }
    if let Some(count) = args.false_alarms {
        ensure!(count > 0, "--false-alarms 0 would check nothing: give 1 or more");
        let outcome = tokio::task::spawn_blocking(move || alarms::play(args.seed, count)).await??;
        return print(&outcome.tables());
    }
    // Gone with all that is in it when the demo ends.
    let temporary = match args.data_dir {
        Some(_) => None,
        None => Some(tempfile::tempdir().context("cannot make a temporary folder")?),
    };
    let kept = args.data_dir.as_deref();
    let data_dir = kept.or(temporary.as_ref().map(tempfile::TempDir::path)).context("no folder")?;
    let running = serve(&args, data_dir).await?;
    let told = tell(&args, &running).await;
    running.stop.cancel();
    let ended = running.ended.await.context("the server task broke")?;
    told.and(ended)
}

/// Plays, prints, and serves on unless told not to.
async fn tell(args: &DemoArgs, running: &Running) -> anyhow::Result<()> {
    let story = play(args, running).await?;
    let style = style();
    print(&if args.json { json(&story)? } else { report(&story, style) })?;
    if let Some(kept) = &args.data_dir {
        eprintln!("The database is kept in {}.", kept.display());
    }
    if !args.ends() {
        eprint!("{}", where_to_look(&running.address.to_string(), style));
        stop_signal().await;
    }
    Ok(())
}

/// Starts the real server, with development tokens.
async fn serve(args: &DemoArgs, data_dir: &Path) -> anyhow::Result<Running> {
    let mut config = Config::defaults()?;
    config.development = true;
    data_dir.clone_into(&mut config.data_dir);
    let any = SocketAddr::from(([127, 0, 0, 1], 0));
    let port = |given: Option<SocketAddr>, usual| given.unwrap_or(if args.ends() { any } else { usual });
    config.listen = port(args.listen, config.listen);
    config.admin_listen = port(args.admin_listen, config.admin_listen);
    // Nobody waits for the end of a demo.
    config.drain_lameduck_ms = 0;
    config.drain_limit_ms = 2000;
    let database = PathBuf::from(config.database_url());
    ensure!(
        !database.exists(),
        "{} holds a database already: name an empty folder, so that the demo cannot mix with real data",
        data_dir.display()
    );
    start(config, Arc::new(SystemClock)).await
}

async fn play(args: &DemoArgs, running: &Running) -> anyhow::Result<Story> {
    let catalogue = Catalogue::embedded()?;
    let endpoint = Endpoint::from_shared(format!("http://{}", running.address))?;
    let channel = endpoint.connect().await.context("the demo cannot reach its own server")?;
    // Drawn on standard error, and only where that is a terminal.
    let progress = ProgressBar::new(args.trials as u64);
    progress.set_style(
        ProgressStyle::with_template("{msg} {bar:40} {pos}/{len} trials, {elapsed}")
            .context("the template of the progress bar")?,
    );
    progress.set_message("testing");
    let started = Instant::now();
    let story = Players::new(channel, args.seed, &progress).play(args.trials, &catalogue).await;
    progress.finish_and_clear();
    let mut story = story?;
    story.took = started.elapsed();
    Ok(story)
}

fn json(story: &Story) -> anyhow::Result<String> {
    Ok(serde_json::to_string_pretty(&Object::of(story))? + "\n")
}

/// Bold on a terminal, unless `NO_COLOR` is set to anything (no-color.org).
fn style() -> Style {
    let wanted = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    if wanted && std::io::stdout().is_terminal() { Style::Terminal } else { Style::Plain }
}

/// Prints, and takes it well when nobody reads on, as in a pipe to `head`.
fn print(text: &str) -> anyhow::Result<()> {
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        other => other.context("cannot print"),
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser as _;

    use super::*;
    use crate::demo::community::faults::FAULTS;
    use crate::demo::compared::Compared;
    use crate::demo::truth::Truths;

    #[derive(Debug, clap::Parser)]
    struct Line {
        #[command(flatten)]
        args: DemoArgs,
    }

    fn args() -> DemoArgs {
        Line::try_parse_from(["demo", "--once"]).unwrap().args
    }

    #[tokio::test]
    async fn played_through_the_door_the_answers_are_those_of_the_same_code_in_process() {
        let folder = tempfile::tempdir().unwrap();
        let args = args();
        let running = serve(&args, folder.path()).await.unwrap();
        let story = play(&args, &running).await.unwrap();
        running.stop.cancel();
        running.ended.await.unwrap().unwrap();

        let (inside, _) =
            seeds::community(SEED, &Catalogue::embedded().unwrap(), &Truths::compute()).unwrap();
        assert_eq!(inside.len(), story.compared.len());
        for (one, other) in inside.iter().zip(&story.compared) {
            assert_eq!((one.truth, one.raw), (other.truth, other.raw), "{:?}", one.asked);
            let numbers = |compared: &Compared| {
                let pooled = compared.pooled.as_ref()?;
                Some([
                    pooled.ratio?,
                    pooled.lower?,
                    pooled.upper?,
                    pooled.testers as f64,
                    pooled.trials as f64,
                ])
            };
            let pairs = numbers(one).into_iter().flatten().zip(numbers(other).into_iter().flatten());
            for (inside, outside) in pairs {
                assert!(
                    (inside - outside).abs() <= 1e-9 * outside.abs(),
                    "{:?}: {inside} and {outside}",
                    one.asked
                );
            }
            assert_eq!(numbers(one).is_some(), numbers(other).is_some(), "{:?}", one.asked);
        }

        assert_eq!(story.accepted, sessions_of_the_roster());
        for about in &FAULTS {
            assert!(story.caught.contains_key(&about.fault), "{} is not noticed", about.id);
        }
        let object: serde_json::Value = serde_json::from_str(&json(&story).unwrap()).unwrap();
        assert!(object["comparisons"].as_array().unwrap().len() >= 15);
        assert_eq!(object["faults"].as_array().unwrap().len(), 14);
        let claims = object["claims"].as_array().unwrap();
        assert_eq!(claims.len(), 6);
        for claim in claims {
            assert_eq!(claim["verdict"], claim["expected"], "{claim}");
        }
        assert_eq!(claims[1]["up_to"], "REACHED");
        assert!(object["data_version"].as_i64().unwrap() > 100);
    }

    #[tokio::test]
    async fn a_folder_with_a_database_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("benchring.db"), "somebody's").unwrap();
        let refused = serve(&args(), folder.path()).await.unwrap_err();
        assert!(refused.to_string().contains("holds a database already"), "{refused}");
    }

    #[test]
    fn seeds_go_with_nothing_that_needs_a_server() {
        assert!(Line::try_parse_from(["demo", "--seeds", "3", "--once"]).is_err());
        assert_eq!(Line::try_parse_from(["demo", "--seeds", "3"]).unwrap().args.seeds, Some(3));
        assert!(Line::try_parse_from(["demo", "--seeds", "3", "--false-alarms", "3"]).is_err());
    }
}
