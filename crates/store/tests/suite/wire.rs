//! A wire to PostgreSQL that breaks between a commit and its answer.

use std::sync::Arc;
use std::sync::atomic::{AtomicI32, Ordering};

use anyhow::Context;
use benchring_store::{Store, StoreError, StoreSettings, TrialQuery, Visibility};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

use crate::database::TestDatabase;
use crate::values::{by, furnish, new_trial, under};

/// Forwards to `server` and breaks at the answers to so many commits.
async fn wire(server: String, cuts: Arc<AtomicI32>) -> anyhow::Result<u16> {
    let listener = TcpListener::bind("127.0.0.1:0").await?;
    let port = listener.local_addr()?.port();
    tokio::spawn(async move {
        while let Ok((client, _)) = listener.accept().await {
            tokio::spawn(forward(client, server.clone(), Arc::clone(&cuts)));
        }
    });
    Ok(port)
}

async fn forward(mut client: TcpStream, server: String, cuts: Arc<AtomicI32>) -> anyhow::Result<()> {
    let mut server = TcpStream::connect(server).await?;
    let (mut up, mut down) = (vec![0; 1 << 16], vec![0; 1 << 16]);
    loop {
        tokio::select! {
            read = client.read(&mut up) => {
                let sent = &up[..read?];
                anyhow::ensure!(!sent.is_empty(), "the client has gone");
                let commit = sent.windows(6).any(|word| word == b"COMMIT");
                server.write_all(sent).await?;
                if commit && cuts.fetch_sub(1, Ordering::SeqCst) > 0 {
                    // The server has answered, so the commit is done; its answer goes nowhere.
                    let answer = server.read(&mut down).await?;
                    anyhow::bail!("an answer of {answer} bytes was cut off");
                }
            }
            read = server.read(&mut down) => {
                let answer = &down[..read?];
                anyhow::ensure!(!answer.is_empty(), "the server has gone");
                client.write_all(answer).await?;
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_commit_whose_answer_is_lost_is_settled_by_its_request_id() -> anyhow::Result<()> {
    let Some(ring) = TestDatabase::postgres().await? else { return Ok(()) };
    let (front, name) = ring.settings.url.rsplit_once('/').context("a database")?;
    let (scheme, server) = front.rsplit_once('@').context("an account")?;
    let cuts = Arc::new(AtomicI32::new(0));
    let port = wire(server.to_owned(), Arc::clone(&cuts)).await?;
    let url = format!("{scheme}@127.0.0.1:{port}/{name}");
    let store = Store::open(&StoreSettings { url, ..ring.settings.clone() }).await?;
    furnish(&store).await?;

    cuts.store(1, Ordering::SeqCst);
    let act = under(by("t01", 60)?, "SubmitTrial", "r1", "p");
    let settled = store.trial_add(new_trial("one", "t01")?, act).await?;
    assert_eq!(settled.id.as_str(), "one");
    assert!(cuts.load(Ordering::SeqCst) <= 0, "the wire was cut");

    cuts.store(1, Ordering::SeqCst);
    let unknown = store.trial_add(new_trial("two", "t01")?, by("t01", 61)?).await.err();
    assert!(matches!(unknown, Some(StoreError::OutcomeUnknown)), "{unknown:?}");

    // Cut again and again: not settled here, but by the client's own next try.
    cuts.store(2, Ordering::SeqCst);
    let act = under(by("t01", 62)?, "SubmitTrial", "r3", "p");
    let first = store.trial_add(new_trial("three", "t01")?, act.clone()).await;
    let id = match first {
        Ok(row) => row.id,
        Err(StoreError::OutcomeUnknown) => store.trial_add(new_trial("four", "t01")?, act).await?.id,
        Err(other) => return Err(other.into()),
    };
    assert_eq!(id.as_str(), "three");
    let kept = store.trial_list(&TrialQuery::new(Visibility::All, 10)).await?;
    assert_eq!(kept.iter().map(|row| row.id.as_str()).collect::<Vec<_>>(), ["three", "two", "one"]);
    let verdict = store.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (8, None));
    store.close().await?;
    ring.remove().await
}
