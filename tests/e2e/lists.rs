//! Lists of trials while others write, and what a filter lets through.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture, on_each};
use tonic::Status;

use crate::violations;

fn named(trial: v1::Trial, id: &str) -> v1::SubmitTrialRequest {
    v1::SubmitTrialRequest { trial: Some(trial), trial_id: id.into(), ..Default::default() }
}

/// Every name of the list, page by page.
async fn all(ring: &Ring, who: &str, filter: &str, page_size: i32) -> Result<Vec<String>, Status> {
    let (mut names, mut page_token) = (Vec::new(), String::new());
    loop {
        let asked = v1::ListTrialsRequest { page_size, page_token, filter: filter.into(), view: 0 };
        let page = ring.trials().list_trials(by(who, asked)).await?.into_inner();
        assert!(page.trials.len() <= usize::try_from(page_size).unwrap());
        names.extend(page.trials.into_iter().map(|trial| trial.name));
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return Ok(names);
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_turned_while_four_testers_write_have_no_doubles_and_no_gaps() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let trial = fixture("discharge-capacity", 1)?;
        let mut there = BTreeSet::new();
        for n in 0..12 {
            let request = named(trial.clone(), &format!("first-{n}"));
            there.insert(ring.trials().submit_trial(by("tester-t01", request)).await?.into_inner().name);
        }
        let done = Arc::new(AtomicBool::new(false));
        let writers: Vec<_> = (2..=5)
            .map(|tester| {
                let (mut trials, trial, done) = (ring.trials(), trial.clone(), Arc::clone(&done));
                tokio::spawn(async move {
                    let (who, mut kept) = (format!("tester-t0{tester}"), 0);
                    while kept == 0 || (!done.load(Ordering::Relaxed) && kept < 50) {
                        let request = named(trial.clone(), &format!("later-{tester}-{kept}"));
                        trials.submit_trial(by(&who, request)).await?;
                        kept += 1;
                    }
                    Ok::<_, Status>(kept)
                })
            })
            .collect();
        for page_size in [1, 2, 3, 5] {
            let names = all(&ring, "moderator-m01", "", page_size).await?;
            let distinct: BTreeSet<_> = names.iter().cloned().collect();
            assert_eq!(names.len(), distinct.len(), "doubles in pages of {page_size}: {names:?}");
            assert!(distinct.is_superset(&there), "gaps in pages of {page_size}: {names:?}");
        }
        done.store(true, Ordering::Relaxed);
        let mut written = 0;
        for writer in writers {
            written += writer.await??;
        }
        // Afterwards everything is there, newest first, whatever the size of a page.
        let names = all(&ring, "moderator-m01", "", 7).await?;
        assert_eq!(names.len(), there.len() + written);
        assert_eq!(names, all(&ring, "moderator-m01", "", 200).await?);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_filter_lets_through_what_it_says_and_never_what_is_hidden() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(2).await?;
        for (id, tester, name, accept) in [
            ("a", "t01", "screw-drive-time", true),
            ("b", "t02", "screw-drive-time", false),
            ("c", "t02", "cuts-per-charge", true),
            ("d", "t01", "discharge-capacity", false),
        ] {
            let specimen = if tester == "t01" { 1 } else { 2 };
            let request = named(fixture(name, specimen)?, id);
            let kept =
                ring.trials().submit_trial(by(&format!("tester-{tester}"), request)).await?.into_inner();
            if accept {
                ring.decide(&kept, v1::Decision::Accept).await?;
            }
        }
        for (who, filter, expected) in [
            ("moderator-m01", "", "d c b a"),
            ("tester-t01", "", "d c a"),
            ("tester-t03", "", "c a"),
            ("tester-t03", "standing = pending", ""),
            ("tester-t03", "NOT standing = accepted", ""),
            ("tester-t03", "tester = \"testers/t02\" OR tester = \"testers/t01\"", "c a"),
            ("tester-t02", "standing = pending", "b"),
            ("moderator-m01", "standing != accepted", "d b"),
            ("moderator-m01", "method = \"methods/screw-drive-time/versions/1\"", "b a"),
            ("moderator-m01", "pack_specimen = \"packSpecimens/k5-2\"", "c b"),
            ("moderator-m01", "pack_model = \"packModels/k8\" AND tester = \"testers/t01\"", "d a"),
            // OR binds tighter than AND.
            (
                "moderator-m01",
                "tester = \"testers/t01\" AND standing = pending OR standing = accepted",
                "d a",
            ),
            (
                "moderator-m01",
                "(tester = \"testers/t01\" AND standing = pending) OR standing = accepted",
                "d c a",
            ),
            ("moderator-m01", "performed_time >= \"2026-03-02T09:30:00Z\"", "d c b a"),
            ("moderator-m01", "performed_time < \"2026-03-02T09:30:00Z\"", ""),
            ("moderator-m01", "tool_model = \"toolModels/saw-s6\"", "c"),
            ("moderator-m01", "tool_model != \"toolModels/saw-s6\"", "d b a"),
        ] {
            let names = all(&ring, who, filter, 3).await?;
            let ids: Vec<_> = names.iter().map(|name| name.trim_start_matches("trials/")).collect();
            assert_eq!(ids.join(" "), expected, "{who}: {filter}");
        }
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_cannot_be_is_refused_by_its_field() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for _ in 0..3 {
        let request = named(fixture("discharge-capacity", 1)?, "");
        ring.trials().submit_trial(by("tester-t01", request)).await?;
    }
    let asked = v1::ListTrialsRequest { page_size: 1, ..Default::default() };
    let token =
        ring.trials().list_trials(by("tester-t01", asked.clone())).await?.into_inner().next_page_token;
    assert!(!token.is_empty());
    let mut bent = token.clone();
    bent.replace_range(..1, if token.starts_with('A') { "B" } else { "A" });
    let with = |page_token: &str| v1::ListTrialsRequest { page_token: page_token.into(), ..asked.clone() };
    for (field, wrong) in [
        ("page_size", v1::ListTrialsRequest { page_size: -1, ..Default::default() }),
        ("page_token", with(&bent)),
        ("page_token", with("x")),
        ("page_token", with(&"x".repeat(10_000))),
        ("page_token", v1::ListTrialsRequest { filter: "standing = pending".into(), ..with(&token) }),
        ("page_token", v1::ListTrialsRequest { view: v1::TrialView::Full.into(), ..with(&token) }),
        ("filter", v1::ListTrialsRequest { filter: "x".repeat(2_001), ..Default::default() }),
        ("filter", v1::ListTrialsRequest { filter: "(".repeat(1_900), ..Default::default() }),
        ("view", v1::ListTrialsRequest { view: 77, ..Default::default() }),
    ] {
        let told = violations(&ring.trials().list_trials(by("tester-t01", wrong)).await.unwrap_err());
        assert_eq!((told.len(), told[0].0.as_str()), (1, field), "{told:?}");
    }
    // A token of another list is foreign too, and a page may change its size.
    let packs = v1::ListPackModelsRequest { page_token: token.clone(), ..Default::default() };
    assert_eq!(violations(&ring.packs().list_pack_models(packs).await.unwrap_err())[0].0, "page_token");
    let rest = v1::ListTrialsRequest { page_size: 50, ..with(&token) };
    let rest = ring.trials().list_trials(by("tester-t01", rest)).await?.into_inner();
    assert_eq!((rest.trials.len(), rest.next_page_token.as_str()), (2, ""));
    ring.end().await
}
