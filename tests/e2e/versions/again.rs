//! An earlier answer is had again, whatever was edited or decided since.

use std::collections::{BTreeMap, BTreeSet};

use benchring_api::v1;
use benchring_tests::{Ring, fixture, on_each};
use prost::Message as _;
use tonic::Code;

use super::club::{
    ask, ask_json, capacity, edit, edit_specimen, furnish, height, mass, price, questions, submit, trial,
};
use crate::{reason, violations};

/// Numbers that look drawn, the same in every run (a linear congruential generator, multiplier and increment of
/// Knuth's MMIX).
struct Drawn(u64);

impl Drawn {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % n
    }

    fn between(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.below(1000) as f64 / 1000.0
    }
}

/// Changes something that an answer may read.
async fn change(ring: &Ring, drawn: &mut Drawn, kept: &mut Vec<v1::Trial>, n: usize) -> anyhow::Result<()> {
    let (id, base) = [("k5", 5.0), ("k8", 8.0)][drawn.below(2)];
    match drawn.below(9) {
        0 => edit(ring, id, mass(drawn.between(0.5, 1.2)), &["mass"]).await?,
        1 => edit(ring, id, price(drawn.between(80.0, 160.0)), &["price"]).await?,
        2 => edit(ring, id, height(drawn.between(50.0, 70.0)), &["length", "width", "height"]).await?,
        3 => edit(ring, id, capacity(drawn.between(0.98, 1.02) * base), &["rated_capacity"]).await?,
        4 => {
            let designation = format!("{} mark {n}", id.to_uppercase());
            edit(ring, id, v1::PackModel { designation, ..Default::default() }, &["designation"]).await?;
        }
        5 => {
            let acquired = i32::try_from(1 + drawn.below(5))?;
            let specimen = format!("{id}-{}", 1 + drawn.below(3));
            edit_specimen(ring, &specimen, v1::PackSpecimen { acquired, ..Default::default() }).await?;
        }
        6 => {
            let at = drawn.below(kept.len());
            let decision =
                [v1::Decision::Dispute, v1::Decision::Accept, v1::Decision::Reject][drawn.below(3)];
            // A standing forbids some decisions: then nothing changes.
            match ring.decide(&kept[at], decision).await {
                Ok(decided) => kept[at] = decided,
                Err(status) => assert_eq!(reason(&status), "STANDING_FORBIDS", "{status}"),
            }
        }
        _ => {
            let name = ["screw-drive-time", "cuts-per-charge", "discharge-capacity"][drawn.below(3)];
            let (who, factor) = (1 + drawn.below(7), drawn.between(0.98, 1.01));
            let new = submit(ring, &format!("t0{who}"), trial(name, who, factor)?).await?;
            kept.push(if drawn.below(4) == 0 {
                new
            } else {
                ring.decide(&new, v1::Decision::Accept).await?
            });
        }
    }
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn after_any_edits_an_earlier_answer_is_had_again_to_the_byte() -> anyhow::Result<()> {
    on_each(|ring| async move {
        furnish(&ring).await?;
        let questions = questions();
        let mut kept = Vec::new();
        for n in 1..=3_usize {
            let tester = format!("t0{n}");
            kept.push(ring.accepted(&tester, trial("screw-drive-time", n, 1.0 + 0.02 * n as f64)?).await?);
            kept.push(ring.accepted(&tester, trial("cuts-per-charge", n, 1.0 + 0.02 * n as f64)?).await?);
        }
        kept.push(ring.accepted("t01", trial("discharge-capacity", 1, 1.0)?).await?);

        let mut drawn = Drawn(20_260_302);
        let mut told = Vec::new();
        for n in 0..14 {
            let at = ring.data_version().await?;
            for (name, question) in &questions {
                let answer = ask(&ring, question, None).await;
                let by_json = if n % 4 == 0 { Some(ask_json(&ring, question, None).await?) } else { None };
                told.push((at, *name, answer, by_json));
            }
            for part in 0..3 {
                change(&ring, &mut drawn, &mut kept, 3 * n + part).await?;
            }
        }
        assert!(told.iter().filter(|(_, _, answer, _)| answer.is_ok()).count() > 200);

        let mut by_tag: BTreeMap<String, v1::ComparePacksResponse> = BTreeMap::new();
        let mut different = BTreeSet::new();
        for (at, name, answer, by_json) in told {
            let again = ask(&ring, &questions[name], Some(at)).await;
            assert_eq!(again, answer, "{name} as of {at}");
            if let (Ok(again), Ok(answer)) = (&again, &answer) {
                assert_eq!(again.encode_to_vec(), answer.encode_to_vec(), "{name} as of {at}");
                assert_eq!(answer.data_version, at);
                different.insert(answer.etag.clone());
                // One tag, one answer, but for what waits.
                let answer = without_waiting(answer);
                let first = by_tag.entry(answer.etag.clone()).or_insert_with(|| answer.clone());
                assert_eq!(*first, answer, "{name} as of {at}");
            }
            if let Some(by_json) = by_json {
                assert_eq!(ask_json(&ring, &questions[name], Some(at)).await?, by_json, "{name} as of {at}");
            }
        }
        assert!(different.len() > 60, "the edits changed {} answers only", different.len());
        Ok(())
    })
    .await
}

/// An answer without its data version, and without what stands beside it because it waits for a decision.
fn without_waiting(answer: &v1::ComparePacksResponse) -> v1::ComparePacksResponse {
    let mut answer = answer.clone();
    answer.data_version = 0;
    for stratum in &mut answer.strata {
        stratum.with_pending = None;
        stratum.warnings.retain(|warning| warning.name != "with_pending");
    }
    answer
}

#[tokio::test(flavor = "multi_thread")]
async fn a_version_without_an_answer_says_what_to_ask() -> anyhow::Result<()> {
    on_each(|ring| async move {
        let empty = ring.data_version().await?;
        ring.furnish(1).await?;
        let furnished = ring.data_version().await?;
        ring.accepted("t01", fixture("screw-drive-time", 1)?).await?;
        let newest = ring.data_version().await?;
        let question = questions().remove("screws").unwrap();
        let ahead = format!("from 0 to {newest}");
        for (never, why, told) in [
            (-1, "NEGATIVE", "leave it out"),
            (i64::MIN, "NEGATIVE", "leave it out"),
            (newest + 1, "NO_SUCH_VERSION", ahead.as_str()),
            (i64::MAX, "NO_SUCH_VERSION", ahead.as_str()),
        ] {
            let asked = v1::ComparePacksRequest { data_version: Some(never), ..question.clone() };
            let refused = ring.pools().compare_packs(asked).await.unwrap_err();
            assert_eq!(violations(&refused), [("data_version".to_owned(), why.to_owned())]);
            assert!(refused.message().contains(told), "{refused}");
        }
        // K5 came first, K8 after its specimen.
        for (at, name) in [(empty, "packModels/k5"), (empty + 1, "packModels/k8")] {
            let (code, reason, message) = ask(&ring, &question, Some(at)).await.unwrap_err();
            assert_eq!((code, reason.as_str()), (Code::NotFound, "NO_EVIDENCE"));
            assert!(
                message.contains(name) && message.contains("is on record from data version"),
                "{message}"
            );
            assert!(message.contains(&format!("no answer as of {at}")), "{message}");
        }
        let (code, reason, message) = ask(&ring, &question, Some(furnished)).await.unwrap_err();
        assert_eq!((code, reason.as_str()), (Code::NotFound, "NO_EVIDENCE"));
        assert!(message.contains("submit a trial with both"), "{message}");
        assert!(ask(&ring, &question, Some(newest)).await.is_ok());
        Ok(())
    })
    .await
}
