//! A tag changes exactly when its answer can.

use std::collections::BTreeMap;

use benchring_api::v1;
use benchring_tests::{Ring, by, json, on_each};

use super::club::{
    CUTS, ask, capacity, edit, edit_specimen, furnish, height, mass, price, questions, submit, trial,
};

/// Tag and evidence version of every question, as of a version.
async fn tags(ring: &Ring, at: Option<i64>) -> BTreeMap<&'static str, (String, i64)> {
    let mut tags = BTreeMap::new();
    for (name, question) in questions() {
        if let Ok(answer) = ask(ring, &question, at).await {
            tags.insert(name, (answer.etag, answer.evidence_version));
        }
    }
    tags
}

/// Holds what changed since `before` against what was to change.
async fn changed(
    ring: &Ring,
    before: &mut BTreeMap<&'static str, (String, i64)>,
    what: &str,
    expected: impl Fn(&str) -> bool,
) -> anyhow::Result<()> {
    let now = tags(ring, None).await;
    let version = ring.data_version().await?;
    for (name, tag) in &now {
        let moved = before.get(name) != Some(tag);
        assert_eq!(moved, expected(name), "{what}: {name}");
        assert_eq!(moved, before.get(name).is_none_or(|earlier| earlier.0 != tag.0), "{what}: {name}");
        assert!(!moved || tag.1 == version, "{what}: {name} bears {} at {version}", tag.1);
    }
    assert_eq!(now.len(), before.len(), "{what}");
    *before = now;
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tag_changes_when_the_answer_can_and_at_no_other_time() -> anyhow::Result<()> {
    on_each(|ring| async move {
        furnish(&ring).await?;
        for n in 1..=3_usize {
            ring.accepted(&format!("t0{n}"), trial("screw-drive-time", n, 1.0)?).await?;
        }
        ring.accepted("t01", trial("cuts-per-charge", 1, 1.0)?).await?;
        ring.accepted("t01", trial("discharge-capacity", 1, 1.0)?).await?;
        let mut now = tags(&ring, None).await;
        let (first, first_version) = (now.clone(), ring.data_version().await?);
        // All but the pooled energy that nobody measured and the screws that nobody drove.
        assert_eq!(now.len(), questions().len() - 2, "{now:?}");

        // What no answer reads.
        edit(&ring, "m4", mass(0.5), &["mass"]).await?;
        changed(&ring, &mut now, "another pack", |_| false).await?;
        let aliases = v1::PackModel { aliases: vec!["K five".into()], ..Default::default() };
        edit(&ring, "k5", aliases, &["aliases"]).await?;
        changed(&ring, &mut now, "an alias", |_| false).await?;
        let waiting = submit(&ring, "t04", trial("screw-drive-time", 4, 0.97)?).await?;
        let check = v1::CheckTrialRequest { trial: Some(trial("cuts-per-charge", 4, 1.0)?) };
        ring.trials().check_trial(by("tester-t04", check)).await?;
        changed(&ring, &mut now, "a pending trial and a check", |_| false).await?;
        ring.decide(&waiting, v1::Decision::Reject).await?;
        changed(&ring, &mut now, "the end of a pending trial", |_| false).await?;
        let label = v1::PackSpecimen { label: "with a dent".into(), ..Default::default() };
        edit_specimen(&ring, "k5-1", label).await?;
        changed(&ring, &mut now, "a label", |_| false).await?;
        let lent = |acquired: v1::Acquired| v1::PackSpecimen {
            acquired: acquired.into(),
            ..Default::default()
        };
        edit_specimen(&ring, "k5-7", lent(v1::Acquired::LentByMaker)).await?;
        changed(&ring, &mut now, "a specimen that nobody ran", |_| false).await?;

        // What some read, and they alone.
        let per = |what: &'static str| move |name: &str| name.contains(what);
        edit(&ring, "k5", mass(0.7), &["mass"]).await?;
        changed(&ring, &mut now, "mass", per("per_kg")).await?;
        edit(&ring, "k8", price(139.0), &["price"]).await?;
        changed(&ring, &mut now, "price", per("per_price")).await?;
        edit(&ring, "k8", height(64.0), &["length", "width", "height"]).await?;
        changed(&ring, &mut now, "height", per("per_litre")).await?;
        edit(&ring, "k5", capacity(5.1), &["rated_capacity"]).await?;
        changed(&ring, &mut now, "rated capacity", per("per_rated")).await?;
        let named = v1::PackModel { designation: "K5 mark 2".into(), ..Default::default() };
        edit(&ring, "k5", named, &["designation"]).await?;
        changed(&ring, &mut now, "a name that sentences bear", |_| true).await?;
        edit_specimen(&ring, "k5-3", lent(v1::Acquired::LentByMaker)).await?;
        changed(&ring, &mut now, "how a specimen was acquired", per("screws")).await?;
        ring.accepted("t02", trial("discharge-capacity", 2, 1.0)?).await?;
        let measured = |name: &str| name.starts_with("capacity") || name == "cuts per_measured_ah";
        changed(&ring, &mut now, "a discharge", measured).await?;
        ring.accepted("t05", trial("screw-drive-time", 5, 1.01)?).await?;
        changed(&ring, &mut now, "an accepted trial", per("screws")).await?;

        // As of then, the answers bear the tags that they bore.
        assert_eq!(tags(&ring, Some(first_version)).await, first);
        let path = format!(
            "/v1/pools:compare?method={CUTS}&packA=packModels/k5&packB=packModels/k8&dataVersion={first_version}"
        );
        let tag = first["cuts"].0.as_str();
        let client = json::Client::new(ring.address());
        let same = client.call(http::Method::GET, &path, &[("if-none-match", tag)], "").await?;
        assert_eq!(same.status.as_u16(), 304);
        Ok(())
    })
    .await
}
