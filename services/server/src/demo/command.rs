//! `benchringd demo`: from the command line to a played community, a report and a running server.

use std::io::IsTerminal as _;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use anyhow::Context as _;
use benchring_domain::method::Catalogue;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use tonic::transport::{Channel, Endpoint};

use super::community::{SEED, sessions_of_the_roster};
use super::play::Players;
use super::report::{Style, report, where_to_look};
use super::seeds;
use super::story::{Object, Story};
use crate::config::Config;
use crate::run::{self, Running, SystemClock};

/// What the demo is told.
#[derive(Debug, Clone, clap::Args)]
pub struct DemoArgs {
    /// Print and exit instead of serving
    #[arg(long)]
    once: bool,
    /// Print one JSON object, for scripts; implies --once
    #[arg(long)]
    json: bool,
    /// Seed of the community
    #[arg(long, default_value_t = SEED)]
    seed: u64,
    /// Trials to play; more than the twelve testers have brings further testers of the same kind
    #[arg(long, value_name = "N")]
    trials: Option<usize>,
    /// Play so many communities in process instead, and print how often the intervals held the truth
    #[arg(long, value_name = "N", conflicts_with_all = ["once", "json", "trials", "data_dir"])]
    seeds: Option<usize>,
    /// Keep the database here instead of in a temporary folder
    #[arg(long, value_name = "DIR")]
    data_dir: Option<PathBuf>,
    /// Address to serve on
    #[arg(long, value_name = "ADDR:PORT")]
    listen: Option<SocketAddr>,
    /// Address for probes and metrics
    #[arg(long, value_name = "ADDR:PORT")]
    admin_listen: Option<SocketAddr>,
}

/// Plays the demo.
///
/// # Errors
/// What stopped it, for the person at the terminal.
pub async fn run(args: DemoArgs) -> anyhow::Result<()> {
    if let Some(count) = args.seeds {
        let seed = args.seed;
        let outcome = tokio::task::spawn_blocking(move || seeds::play(seed, count)).await??;
        println!("{}", outcome.table());
        return Ok(());
    }
    let once = args.once || args.json;
    let temporary = tempfile::tempdir().context("cannot make a temporary folder")?;
    let folder = args.data_dir.clone().unwrap_or_else(|| temporary.path().to_owned());
    let running = start(&args, folder, once).await?;
    let story = play(&args, &running).await;
    let story = match story {
        Ok(story) => story,
        Err(error) => {
            running.stop.cancel();
            running.ended.await??;
            return Err(error);
        }
    };
    tell(&args, &story)?;
    if once {
        running.stop.cancel();
    } else {
        print!("{}", where_to_look(&running.address.to_string(), style()));
        let stop = running.stop.clone();
        tokio::spawn(async move {
            run::stop_signal().await;
            stop.cancel();
        });
    }
    running.ended.await?
}

/// Starts the server that the community plays at. With `--once` any free port will do.
async fn start(args: &DemoArgs, folder: PathBuf, once: bool) -> anyhow::Result<Running> {
    let defaults = Config::defaults()?;
    let any = SocketAddr::from(([127, 0, 0, 1], 0));
    let port = |given: Option<SocketAddr>, usual| given.unwrap_or(if once { any } else { usual });
    let config = Config {
        listen: port(args.listen, defaults.listen),
        admin_listen: port(args.admin_listen, defaults.admin_listen),
        data_dir: folder,
        development: true,
        drain_lameduck_ms: 0,
        drain_limit_ms: 2000,
        ..defaults
    };
    run::start(config, Arc::new(SystemClock)).await
}

async fn play(args: &DemoArgs, running: &Running) -> anyhow::Result<Story> {
    let count = args.trials.unwrap_or_else(sessions_of_the_roster);
    let progress = progress_bar(args.json, count);
    let endpoint: Endpoint = Channel::from_shared(format!("http://{}", running.address))?;
    let channel = endpoint.connect().await.context("the demo cannot reach its own server")?;
    let catalogue = Catalogue::embedded().context("the catalogue of methods does not fit together")?;
    let story = Players::new(channel, args.seed, &progress).play(count, &catalogue).await;
    progress.finish_and_clear();
    story
}

fn progress_bar(quiet: bool, count: usize) -> ProgressBar {
    if quiet || !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::with_draw_target(Some(count as u64), ProgressDrawTarget::stderr());
    let style = ProgressStyle::with_template("{msg} {wide_bar} {pos} of {len} trials");
    if let Ok(style) = style {
        bar.set_style(style);
    }
    bar.set_message("an invented community is testing");
    bar
}

fn tell(args: &DemoArgs, story: &Story) -> anyhow::Result<()> {
    if args.json {
        println!("{}", serde_json::to_string(&Object::of(story))?);
    } else {
        print!("{}", report(story, style()));
    }
    Ok(())
}

/// Bold headings on a terminal only, and never where `NO_COLOR` is set.
fn style() -> Style {
    let plain =
        !std::io::stdout().is_terminal() || std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    if plain { Style::Plain } else { Style::Terminal }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What `demo --once --json` prints, read back.
    #[tokio::test(flavor = "multi_thread")]
    async fn the_demo_plays_at_its_own_server() {
        let folder = tempfile::tempdir().unwrap();
        let args = DemoArgs {
            once: true,
            json: true,
            seed: SEED,
            trials: None,
            seeds: None,
            data_dir: None,
            listen: None,
            admin_listen: None,
        };
        let running = start(&args, folder.path().to_owned(), true).await.unwrap();
        let story = play(&args, &running).await.unwrap();
        running.stop.cancel();
        running.ended.await.unwrap().unwrap();
        let object = serde_json::to_value(Object::of(&story)).unwrap();
        assert!(object["comparisons"].as_array().unwrap().len() >= 10, "{object}");
        assert_eq!(object["faults"].as_array().unwrap().len(), 14);
        assert!(object["data_version"].as_i64().unwrap() > i64::try_from(sessions_of_the_roster()).unwrap());
    }
}
