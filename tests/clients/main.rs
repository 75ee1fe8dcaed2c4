//! Real clients, each against a server of its own: Python with grpcio, buf curl, curl; and the two examples
//! of the README as they stand there.
//!
//! What a machine lacks is said and skipped; in CI it fails.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on has failed")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;

use benchring_server::config::Config;
use benchring_server::run::{self, Running, SystemClock};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap()
}

/// A server of its own on free ports, over a new SQLite file.
async fn server(folder: &Path) -> Running {
    let any = "127.0.0.1:0".parse().unwrap();
    let config = Config {
        listen: any,
        admin_listen: any,
        data_dir: folder.to_owned(),
        development: true,
        drain_lameduck_ms: 0,
        drain_limit_ms: 1000,
        ..Config::defaults().unwrap()
    };
    run::start(config, Arc::new(SystemClock)).await.unwrap()
}

/// Whether `program` runs here; missing in CI is a failure.
fn has(program: &str, argument: &str) -> bool {
    let there = Command::new(program).arg(argument).output().is_ok_and(|o| o.status.success());
    assert!(there || std::env::var_os("CI").is_none(), "{program} is missing in CI");
    if !there {
        eprintln!("skipped: no {program} found");
    }
    there
}

fn with_tools(command: &mut Command) -> &mut Command {
    let here = root().join("tests/clients/node_modules/.bin");
    let path = format!("{}:{}", here.display(), std::env::var("PATH").unwrap_or_default());
    command.current_dir(root()).env("PATH", path)
}

fn buf() -> String {
    let local = root().join("tests/clients/node_modules/.bin/buf");
    if local.exists() { local.display().to_string() } else { "buf".to_owned() }
}

fn python() -> String {
    std::env::var("BENCHRING_TEST_PYTHON").unwrap_or_else(|_| "python3".to_owned())
}

fn said(output: &Output) -> String {
    format!("{}\n{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// Runs a command off the threads that serve it, and wants it to succeed.
async fn succeeds(mut command: Command) -> String {
    let output = tokio::task::spawn_blocking(move || command.output().unwrap()).await.unwrap();
    assert!(output.status.success(), "{}", said(&output));
    said(&output)
}

fn script(name: &str, address: &str) -> Command {
    let mut command = Command::new("bash");
    with_tools(&mut command).arg(format!("tests/clients/{name}")).env("BENCHRING_ADDRESS", address);
    command
}

async fn end(running: Running) {
    running.stop.cancel();
    running.ended.await.unwrap().unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn curl_buf_and_python_submit_read_back_and_compare() {
    if !has("curl", "--version") || !has("python3", "--version") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let running = server(folder.path()).await;
    let address = running.address.to_string();
    let text = succeeds(script("curl.sh", &address)).await;
    assert!(text.contains("curl: fine") && text.contains("rate gain"), "{text}");
    if has(&buf(), "--version") {
        let text = succeeds(script("buf_curl.sh", &address)).await;
        assert!(text.contains("buf curl: fine") && text.contains("rate gain"), "{text}");
    }
    if has_grpcio() {
        let mut command = Command::new(python());
        with_tools(&mut command).args([
            "tests/clients/python_client.py",
            &address,
            "proto",
            "tests/fixtures",
        ]);
        let text = succeeds(command).await;
        assert!(text.contains("python: fine") && text.contains("rate gain"), "{text}");
    }
    end(running).await;
}

fn has_grpcio() -> bool {
    let check = Command::new(python()).args(["-c", "import grpc, grpc_tools, google.rpc"]).output();
    let there = check.is_ok_and(|o| o.status.success());
    assert!(there || std::env::var_os("CI").is_none(), "grpcio is missing in CI");
    if !there {
        eprintln!("skipped: no Python with grpcio found (tests/clients/requirements.txt)");
    }
    there
}

/// The fenced block of the README that follows `<!-- run: NAME -->`.
fn example(name: &str) -> String {
    let readme = std::fs::read_to_string(root().join("README.md")).unwrap();
    let (_, after) =
        readme.split_once(&format!("<!-- run: {name} -->")).unwrap_or_else(|| panic!("no {name}"));
    let block = after.split("```").nth(1).unwrap();
    block.strip_prefix("sh\n").unwrap().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_examples_of_the_readme_work_as_they_stand() {
    if !has("curl", "--version") || !has("python3", "--version") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let running = server(folder.path()).await;
    let address = running.address.to_string();
    let bash = |text: String| {
        let mut command = Command::new("bash");
        with_tools(&mut command).args(["-euo", "pipefail", "-c", &text]);
        command
    };
    let text = succeeds(bash(example("curl").replace("127.0.0.1:7070", &address))).await;
    assert!(text.contains("STANDING_ACCEPTED") && text.contains("a rate gain of"), "{text}");
    if has_grpcio() {
        // The environment of the example is made already; its stubs go to a folder of this test.
        let stubs = folder.path().join("stubs");
        std::fs::create_dir(&stubs).unwrap();
        let text: String = example("python")
            .lines()
            .filter(|line| !line.starts_with("python3 -m venv") && !line.contains("pip install"))
            .flat_map(|line| [line, "\n"])
            .collect();
        let text = text
            .replace("venv/bin/python", &python())
            .replace("=venv ", &format!("={} ", stubs.display()))
            .replace("127.0.0.1:7070", &address);
        let text = succeeds(bash(text)).await;
        assert!(text.contains("STANDING_PENDING") && text.contains("a rate gain of"), "{text}");
    }
    end(running).await;
}
