//! Answers as of earlier versions, and tags that change when an answer can and at no other time.

use std::collections::{BTreeMap, BTreeSet};

use anyhow::Context as _;
use benchring_api::v1;
use benchring_api::v1::Normalisation as N;
use benchring_tests::{Ring, by, fixture, json, on_each};
use prost::Message as _;
use tonic::{Code, Status};

use crate::{reason, violations};

const SCREWS: &str = "methods/screw-drive-time/versions/1";
const CUTS: &str = "methods/cuts-per-charge/versions/1";
const CAPACITY: &str = "methods/discharge-capacity/versions/1";

/// Every normalisation that three methods permit, scopes, centres and another level, by name.
fn questions() -> BTreeMap<&'static str, v1::ComparePacksRequest> {
    let ask = |method: &str, normalisation: N| v1::ComparePacksRequest {
        method: method.into(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        normalisation: normalisation.into(),
        ..Default::default()
    };
    let within =
        |scope: v1::PoolScope| v1::ComparePacksRequest { scope: Some(scope), ..ask(SCREWS, N::Unspecified) };
    let centre = |band: &str, centre: &str| v1::PoolScope {
        centres: vec![v1::BandCentre { band: band.into(), centre: centre.into() }],
        ..Default::default()
    };
    let mut all = BTreeMap::from([
        ("screws", ask(SCREWS, N::Unspecified)),
        ("screws per_kg", ask(SCREWS, N::PerKgOnRate)),
        ("screws near 6 mm", within(centre("screw_diameter", "6 mm"))),
        ("screws near 12 mm", within(centre("screw_diameter", "12 mm"))),
        (
            "screws by impact driver",
            within(v1::PoolScope { tool_type: "impact_driver".into(), ..Default::default() }),
        ),
        ("cuts", ask(CUTS, N::Unspecified)),
        ("cuts per_kg", ask(CUTS, N::PerKg)),
        ("cuts per_litre", ask(CUTS, N::PerLitre)),
        ("cuts per_price", ask(CUTS, N::PerPrice)),
        ("cuts per_rated_ah", ask(CUTS, N::PerRatedAh)),
        ("cuts per_rated_wh", ask(CUTS, N::PerRatedWh)),
        ("cuts per_measured_ah", ask(CUTS, N::PerMeasuredAh)),
        ("cuts per_measured_wh", ask(CUTS, N::PerMeasuredWh)),
        ("capacity", ask(CAPACITY, N::Unspecified)),
        ("capacity per_kg", ask(CAPACITY, N::PerKg)),
        ("capacity per_litre", ask(CAPACITY, N::PerLitre)),
        ("capacity per_price", ask(CAPACITY, N::PerPrice)),
        ("capacity per_rated_ah", ask(CAPACITY, N::PerRatedAh)),
    ]);
    let options = v1::PoolOptions { level_ratio: 0.9, ..Default::default() };
    let level = v1::ComparePacksRequest { options: Some(options), ..ask(SCREWS, N::Unspecified) };
    all.insert("screws at 90 %", level);
    let cuts =
        v1::ComparePacksRequest { scope: Some(centre("cut_area", "144 cm2")), ..ask(CUTS, N::PerRatedAh) };
    all.insert("cuts per_rated_ah near 144 cm2", cuts);
    all
}

/// A trial of a fixture by the n-th specimens, its readings times `factor`.
fn trial(name: &str, n: usize, factor: f64) -> anyhow::Result<v1::Trial> {
    let mut trial = fixture(name, n)?;
    for run in trial.arms.iter_mut().flat_map(|a| &mut a.charges).flat_map(|c| &mut c.runs) {
        let Some(reading) = run.reading.as_mut().filter(|reading| !reading.as_written.is_empty()) else {
            continue;
        };
        let (number, unit) = reading.as_written.split_once(' ').context("a number and its unit")?;
        reading.as_written = format!("{:.2} {unit}", number.parse::<f64>()? * factor);
    }
    Ok(trial)
}

async fn submit(ring: &Ring, tester: &str, trial: v1::Trial) -> Result<v1::Trial, Status> {
    let request = v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() };
    Ok(ring.trials().submit_trial(by(&format!("tester-{tester}"), request)).await?.into_inner())
}

/// Revises the fields of `model` that it names; empty ones are those that `mask` names.
async fn edit(ring: &Ring, id: &str, model: v1::PackModel, mask: &[&str]) -> Result<(), Status> {
    let request = v1::UpdatePackModelRequest {
        pack_model: Some(v1::PackModel { name: format!("packModels/{id}"), ..model }),
        update_mask: Some(prost_types::FieldMask { paths: mask.iter().map(|p| (*p).to_owned()).collect() }),
        ..Default::default()
    };
    ring.packs().update_pack_model(by("moderator-m01", request)).await?;
    Ok(())
}

async fn edit_specimen(ring: &Ring, id: &str, specimen: v1::PackSpecimen) -> Result<(), Status> {
    let request = v1::UpdatePackSpecimenRequest {
        pack_specimen: Some(v1::PackSpecimen { name: format!("packSpecimens/{id}"), ..specimen }),
        ..Default::default()
    };
    ring.packs().update_pack_specimen(by("moderator-m01", request)).await?;
    Ok(())
}

fn written(text: String) -> Option<v1::Quantity> {
    Some(v1::Quantity { as_written: text, ..Default::default() })
}

fn mass(kg: f64) -> v1::PackModel {
    v1::PackModel { mass: written(format!("{kg:.2} kg")), ..Default::default() }
}

fn capacity(ah: f64) -> v1::PackModel {
    v1::PackModel { rated_capacity: written(format!("{ah:.2} Ah")), ..Default::default() }
}

fn height(mm: f64) -> v1::PackModel {
    let [length, width] = [120.0, 80.0].map(|mm: f64| written(format!("{mm} mm")));
    v1::PackModel { length, width, height: written(format!("{mm:.1} mm")), ..Default::default() }
}

fn price(euro: f64) -> v1::PackModel {
    let price = v1::Price {
        amount: format!("{euro:.2}"),
        currency: "EUR".into(),
        date: "2026-03-02".into(),
        region: "SE".into(),
    };
    v1::PackModel { price: Some(price), ..Default::default() }
}

/// Two packs with all that answers divide by, and specimens one to seven of each.
async fn furnish(ring: &Ring) -> anyhow::Result<()> {
    ring.furnish(7).await?;
    for (id, kg, euro, mm) in [("k5", 0.66, 99.0, 65.0), ("k8", 1.02, 149.0, 66.0)] {
        edit(ring, id, mass(kg), &["mass", "rated_energy"]).await?;
        edit(ring, id, price(euro), &["price"]).await?;
        edit(ring, id, height(mm), &["length", "width", "height"]).await?;
    }
    Ok(())
}

type Told = Result<v1::ComparePacksResponse, (Code, String, String)>;

async fn ask(ring: &Ring, question: &v1::ComparePacksRequest, at: Option<i64>) -> Told {
    let question = v1::ComparePacksRequest { data_version: at, ..question.clone() };
    match ring.pools().compare_packs(question).await {
        Ok(answer) => Ok(answer.into_inner()),
        Err(status) => Err((status.code(), reason(&status), status.message().to_owned())),
    }
}

async fn ask_json(
    ring: &Ring,
    question: &v1::ComparePacksRequest,
    at: Option<i64>,
) -> anyhow::Result<String> {
    let question = v1::ComparePacksRequest { data_version: at, ..question.clone() };
    let input = benchring_api::descriptors().get_message_by_name("benchring.v1.ComparePacksRequest");
    let mut message = prost_reflect::DynamicMessage::new(input.context("a descriptor")?);
    message.transcode_from(&question)?;
    let body = serde_json::to_string(&message)?;
    let answer = json::Client::new(ring.address()).post("/v1/pools:compare", None, &body).await?;
    let mut told = answer.json()?;
    // Made anew for every refusal, to find it in the log.
    if let Some(problem) = told.as_object_mut().filter(|_| !answer.status.is_success()) {
        problem.retain(|key, _| key != "requestId" && key != "instance");
    }
    Ok(format!("{} {} {told}", answer.status, answer.header("etag")))
}

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

/// `t01` registered the specimens that `t02` runs: as a moderator they have a part in what `t02` finds.
#[tokio::test(flavor = "multi_thread")]
async fn a_new_tester_weighs_nothing_until_an_unrelated_moderator_accepts() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(3).await?;
        let question = questions().remove("screws").unwrap();
        let by_friend = async |trial: &v1::Trial| {
            let request = v1::DecideTrialRequest {
                name: trial.name.clone(),
                decision: v1::Decision::Accept.into(),
                reason: "looks sound".into(),
                etag: trial.etag.clone(),
                request_id: String::new(),
            };
            ring.moderation().decide_trial(by("moderator-t01", request)).await
        };
        let first = submit(&ring, "t02", trial("screw-drive-time", 1, 1.0)?).await?;
        by_friend(&first).await?;
        let (_, why, message) = ask(&ring, &question, None).await.unwrap_err();
        assert_eq!(why, "NO_EVIDENCE");
        assert!(
            message.contains("no unrelated moderator has accepted a trial of its tester yet"),
            "{message}"
        );

        ring.accepted("t03", trial("screw-drive-time", 2, 1.0)?).await?;
        let answer = ask(&ring, &question, None).await.unwrap();
        let trials = |answer: &v1::ComparePacksResponse| {
            answer.strata[0].headline.as_ref().unwrap().basis.unwrap().trials_count
        };
        assert_eq!((trials(&answer), answer.left_out[0].reason.as_str()), (1, "NEW_TESTER"));
        assert_eq!(answer.left_out[0].trials, [first.name.clone()], "it is public, so it is named");
        assert!(answer.strata[0].with_pending.is_none(), "it does not wait either");

        // The next is accepted by somebody else: both count, and one vote of the two testers who share no pack.
        ring.accepted("t02", trial("screw-drive-time", 3, 1.02)?).await?;
        let later = ask(&ring, &question, None).await.unwrap();
        assert_eq!((trials(&later), later.left_out.len()), (3, 0));
        assert_ne!(later.etag, answer.etag);
        assert_eq!(ask(&ring, &question, Some(answer.data_version)).await.unwrap(), answer);
        Ok(())
    })
    .await
}
