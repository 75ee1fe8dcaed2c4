//! A question over many trials.

use benchring_api::v1;
use benchring_tests::{by, fixture, json, on_each};
use prost::Message as _;
use tonic::Code;
use tonic_types::StatusExt as _;

use crate::{reason, violations};

const SCREWS: &str = "methods/screw-drive-time/versions/1";

fn compare(method: &str, a: &str, b: &str) -> v1::ComparePacksRequest {
    v1::ComparePacksRequest {
        method: method.into(),
        pack_a: format!("packModels/{a}"),
        pack_b: format!("packModels/{b}"),
        ..Default::default()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn three_testers_are_pooled_and_what_waits_stands_beside() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(4).await?;
        for n in 1..=3 {
            let mut trial = fixture("screw-drive-time", n)?;
            // Each tester has a level of their own: it cancels.
            for run in trial.arms.iter_mut().flat_map(|a| &mut a.charges).flat_map(|c| &mut c.runs) {
                let reading = run.reading.as_mut().unwrap();
                let seconds: f64 = reading.as_written.trim_end_matches(" s").parse()?;
                reading.as_written = format!("{:.2} s", seconds * (0.8 + 0.2 * n as f64));
            }
            ring.accepted(&format!("t0{n}"), trial).await?;
        }
        let answer = ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await?.into_inner();
        let stratum = &answer.strata[0];
        let headline = stratum.headline.as_ref().unwrap();
        let basis = headline.basis.unwrap();
        assert_eq!((basis.testers_count, basis.units_count, basis.trials_count), (3, 3, 3));
        assert_eq!((basis.specimens_a_count, basis.specimens_b_count), (3, 3));
        assert_eq!(stratum.testers.len(), 3);
        let effect = headline.effect.as_ref().unwrap();
        let ratio = effect.estimate.unwrap();
        assert!(ratio > 0.9 && ratio < 1.0 && effect.lower() < ratio && ratio < effect.upper(), "{effect:?}");
        let percent = headline.percent.as_ref().unwrap();
        let (less, gain) = (percent.time_reduction_percent.as_ref(), percent.rate_gain_percent.as_ref());
        let (less, gain) = (less.unwrap().estimate(), gain.unwrap().estimate());
        assert!(
            (less - 100.0 * (1.0 - ratio)).abs() < 1e-9 && (gain - 100.0 * (1.0 / ratio - 1.0)).abs() < 1e-9
        );
        assert!(answer.sentence.contains("less time") && answer.sentence.contains("a rate gain of"));
        assert!(!answer.cautions.is_empty() && stratum.with_pending.is_none());

        // The same by JSON, to the last digit.
        let path = format!("/v1/pools:compare?method={SCREWS}&packA=packModels/k5&packB=packModels/k8");
        let told = json::Client::new(ring.address()).get(&path, None).await?.ok()?;
        assert_eq!(told["strata"][0]["headline"]["effect"]["estimate"].as_f64(), Some(ratio));
        assert_eq!(told["sentence"].as_str(), Some(answer.sentence.as_str()));

        // A pending trial changes nothing but what stands beside.
        let request =
            v1::SubmitTrialRequest { trial: Some(fixture("screw-drive-time", 4)?), ..Default::default() };
        ring.trials().submit_trial(by("tester-t04", request)).await?;
        let later = ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await?.into_inner();
        assert_eq!(later.strata[0].headline, stratum.headline);
        let beside = later.strata[0].with_pending.as_ref().unwrap();
        assert_eq!(beside.basis.unwrap().testers_count, 4);

        // After more decisions the older answer is had again, bit for bit.
        ring.accepted("t05", fixture("screw-drive-time", 4)?).await?;
        let now = ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await?.into_inner();
        assert_ne!(now.strata[0].headline, stratum.headline);
        let as_of = v1::ComparePacksRequest {
            data_version: Some(answer.data_version),
            ..compare(SCREWS, "k5", "k8")
        };
        let again = ring.pools().compare_packs(as_of).await?.into_inner();
        assert_eq!(again, answer);
        let never = v1::ComparePacksRequest { data_version: Some(1_000_000), ..compare(SCREWS, "k5", "k8") };
        assert_eq!(violations(&ring.pools().compare_packs(never).await.unwrap_err())[0].0, "data_version");
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn no_evidence_islands_and_what_cannot_be_divided_say_what_is_missing() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(2).await?;
        let none = ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await.unwrap_err();
        assert_eq!((none.code(), reason(&none).as_str()), (Code::NotFound, "NO_EVIDENCE"));
        assert!(none.message().contains("submit a trial with both"), "{none}");
        let unknown = ring.pools().compare_packs(compare(SCREWS, "k5", "k9")).await.unwrap_err();
        assert_eq!(reason(&unknown), "NOT_FOUND");

        let mut trial = fixture("screw-drive-time", 1)?;
        trial.arms[1].pack_specimen = "packSpecimens/k5-2".into();
        ring.accepted("t01", trial).await?;
        let mut trial = fixture("screw-drive-time", 1)?;
        trial.arms[0].pack_specimen = "packSpecimens/m4-1".into();
        ring.accepted("t02", trial).await?;
        let island = ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await.unwrap_err();
        assert_eq!((island.code(), reason(&island).as_str()), (Code::FailedPrecondition, "NOT_CONNECTED"));

        let mut forbidden = compare(SCREWS, "k5", "k8");
        forbidden.normalisation = v1::Normalisation::PerRatedAh.into();
        let refused = ring.pools().compare_packs(forbidden).await.unwrap_err();
        assert_eq!(violations(&refused), [("normalisation".to_owned(), "NOT_NORMALISABLE".to_owned())]);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn work_per_charge_is_divided_by_rated_and_by_measured_capacity() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        ring.accepted("t01", fixture("cuts-per-charge", 1)?).await?;
        let cuts = "methods/cuts-per-charge/versions/1";
        let ask = |n: v1::Normalisation| v1::ComparePacksRequest {
            normalisation: n.into(),
            ..compare(cuts, "k5", "k8")
        };
        let ratio = |answer: v1::ComparePacksResponse| {
            answer.strata[0].headline.as_ref().unwrap().effect.as_ref().unwrap().estimate()
        };
        let plain =
            ratio(ring.pools().compare_packs(ask(v1::Normalisation::Unspecified)).await?.into_inner());
        assert!((plain - (88.0 + 90.5) / (38.5 + 37.0)).abs() < 1e-9, "{plain}");
        let rated = ratio(ring.pools().compare_packs(ask(v1::Normalisation::PerRatedAh)).await?.into_inner());
        assert!((rated - plain * 5.0 / 8.0).abs() < 1e-9, "{rated}");
        // Before anyone measured them there is nothing to divide by.
        let none = ring.pools().compare_packs(ask(v1::Normalisation::PerMeasuredAh)).await.unwrap_err();
        assert!(reason(&none) == "NO_EVIDENCE" && none.message().contains("discharge"), "{none}");
        ring.accepted("t01", fixture("discharge-capacity", 1)?).await?;
        let measured = ring.pools().compare_packs(ask(v1::Normalisation::PerMeasuredAh)).await?.into_inner();
        let expected = plain * (4.91_f64 * 4.93).sqrt() / (7.88_f64 * 7.91).sqrt();
        let measured = ratio(measured);
        assert!((measured - expected).abs() < 1e-9, "{measured} {expected}");
        Ok(())
    })
    .await
}

/// Whatever is decided later, the answer of each earlier moment is had again, bit for bit, by both doors.
#[tokio::test(flavor = "multi_thread")]
async fn every_earlier_answer_is_had_again_bit_for_bit() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(3).await?;
        let (mut kept, mut answers) = (Vec::new(), Vec::new());
        for n in 1..=3 {
            kept.push(ring.accepted(&format!("t0{n}"), fixture("screw-drive-time", n)?).await?);
            answers.push(ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await?.into_inner());
        }
        for trial in kept.iter().take(2) {
            let disputed = ring.decide(trial, v1::Decision::Dispute).await?;
            answers.push(ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await?.into_inner());
            ring.decide(&disputed, v1::Decision::Reject).await?;
            answers.push(ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await?.into_inner());
        }
        let trials = |answer: &v1::ComparePacksResponse| {
            answer.strata[0].headline.as_ref().unwrap().basis.unwrap().trials_count
        };
        // A disputed trial counts until it is decided again; a rejected one does not.
        assert_eq!(answers.iter().map(trials).collect::<Vec<_>>(), [1, 2, 3, 3, 2, 2, 1]);
        let output =
            benchring_api::descriptors().get_message_by_name("benchring.v1.ComparePacksResponse").unwrap();
        for answer in &answers {
            let as_of = v1::ComparePacksRequest {
                data_version: Some(answer.data_version),
                ..compare(SCREWS, "k5", "k8")
            };
            let again = ring.pools().compare_packs(as_of).await?.into_inner();
            assert_eq!(again.encode_to_vec().len(), answer.encode_to_vec().len());
            assert_eq!(again, *answer);
            let path = format!(
                "/v1/pools:compare?method={SCREWS}&packA=packModels/k5&packB=packModels/k8&dataVersion={}",
                answer.data_version
            );
            let by_json = json::Client::new(ring.address()).get(&path, None).await?.ok()?;
            let mut by_grpc = prost_reflect::DynamicMessage::new(output.clone());
            by_grpc.transcode_from(answer)?;
            assert_eq!(by_json, serde_json::to_value(&by_grpc)?);
        }
        Ok(())
    })
    .await
}

/// A pack that its maker lent counts, and what the answer would be without it stands beside.
#[tokio::test(flavor = "multi_thread")]
async fn packs_from_their_maker_are_told_apart() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(2).await?;
        let specimen = v1::PackSpecimen {
            pack_model: "packModels/k8".into(),
            acquired: v1::Acquired::LentByMaker.into(),
            ..Default::default()
        };
        let request = v1::CreatePackSpecimenRequest {
            pack_specimen_id: "k8-lent".into(),
            pack_specimen: Some(specimen),
            ..Default::default()
        };
        ring.packs().create_pack_specimen(by("tester-t02", request)).await?;
        ring.accepted("t01", fixture("screw-drive-time", 1)?).await?;
        let mut flattered = fixture("screw-drive-time", 2)?;
        flattered.arms[1].pack_specimen = "packSpecimens/k8-lent".into();
        for run in flattered.arms[1].charges.iter_mut().flat_map(|c| &mut c.runs) {
            let reading = run.reading.as_mut().unwrap();
            let seconds: f64 = reading.as_written.trim_end_matches(" s").parse()?;
            reading.as_written = format!("{:.2} s", 0.8 * seconds);
        }
        ring.accepted("t02", flattered).await?;
        let answer = ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await?.into_inner();
        let stratum = &answer.strata[0];
        let (all, without) = (stratum.headline.as_ref(), stratum.without_maker_supplied.as_ref());
        let (all, without) = (all.unwrap(), without.unwrap());
        assert_eq!((all.basis.unwrap().trials_count, without.basis.unwrap().trials_count), (2, 1));
        let ratio = |pooled: &v1::PooledEffect| pooled.effect.as_ref().unwrap().estimate();
        assert!(ratio(all) < ratio(without) * 0.95, "{} {}", ratio(all), ratio(without));
        Ok(())
    })
    .await
}

/// What stands beside an effect comes by both doors alike: classes, completion, levels, direction, and the strip of
/// normalisations, where the winner may flip.
#[tokio::test(flavor = "multi_thread")]
async fn classes_completion_and_normalisations_stand_beside_the_effect() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        ring.accepted("t01", fixture("cuts-per-charge", 1)?).await?;
        ring.accepted("t01", fixture("discharge-capacity", 1)?).await?;
        let cuts = "methods/cuts-per-charge/versions/1";
        let asked = v1::ComparePacksRequest {
            all_normalisations: true,
            overall_across_classes: true,
            ..compare(cuts, "k5", "k8")
        };
        let answer = ring.pools().compare_packs(asked).await?.into_inner();
        let stratum = &answer.strata[0];
        assert_eq!(stratum.direction(), v1::Direction::NotEnoughEvidence);
        assert_eq!(stratum.direction_because[0], "1 voting units, 3 are needed");
        assert_eq!(stratum.completion.len(), 2);
        assert_eq!(stratum.completion[0].exact_runs_count, stratum.completion[0].runs_count);
        assert!(stratum.failures.as_ref().unwrap().sentence.contains("planned runs exact"));
        assert_eq!(stratum.levels[0].signal(), v1::LevelSignal::Unspecified);
        let overall = answer.classes[0].overall.as_ref().unwrap();
        assert!(overall.effect.is_none() && overall.sentence.starts_with("no one number"), "{overall:?}");

        let bar = |one: v1::Normalisation| {
            let mut bars = stratum.normalisations.iter();
            bars.find(|bar| bar.normalised.as_ref().unwrap().normalisation() == one).unwrap()
        };
        let ratio = |one| bar(one).effect.as_ref().unwrap().effect.as_ref().unwrap().estimate();
        assert!(ratio(v1::Normalisation::Unspecified) > 2.0);
        let rated = ratio(v1::Normalisation::PerRatedAh);
        assert!((rated - ratio(v1::Normalisation::Unspecified) * 5.0 / 8.0).abs() < 1e-9, "{rated}");
        let measured = bar(v1::Normalisation::PerMeasuredAh).normalised.as_ref().unwrap();
        assert_eq!(measured.badge(), v1::NormalisationBadge::Measured);
        assert_eq!(measured.divisor_b.as_ref().unwrap().specimens_count, 1);
        assert!(bar(v1::Normalisation::PerMeasuredWh).effect.is_none());
        assert!(bar(v1::Normalisation::PerMeasuredWh).missing.contains("discharge"));

        let path = format!(
            "/v1/pools:compare?method={cuts}&packA=packModels/k5&packB=packModels/k8&allNormalisations=true&overallAcrossClasses=true"
        );
        let by_json = json::Client::new(ring.address()).get(&path, None).await?.ok()?;
        let output =
            benchring_api::descriptors().get_message_by_name("benchring.v1.ComparePacksResponse").unwrap();
        let mut by_grpc = prost_reflect::DynamicMessage::new(output);
        by_grpc.transcode_from(&answer)?;
        assert_eq!(by_json, serde_json::to_value(&by_grpc)?);
        Ok(())
    })
    .await
}

fn rank(method: &str) -> v1::RankPacksRequest {
    v1::RankPacksRequest { method: method.into(), league: true, ..Default::default() }
}

#[tokio::test(flavor = "multi_thread")]
async fn packs_are_ranked_alike_by_both_doors_and_agree_with_the_comparison() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(4).await?;
        let none = ring.pools().rank_packs(rank(SCREWS)).await.unwrap_err();
        assert_eq!((none.code(), reason(&none).as_str()), (Code::NotFound, "NO_EVIDENCE"));
        for n in 1..=3 {
            ring.accepted(&format!("t0{n}"), fixture("screw-drive-time", n)?).await?;
        }
        let mut asked = rank(SCREWS);
        asked.reference = "packModels/k5".into();
        let ranking = ring.pools().rank_packs(asked).await?.into_inner();
        assert_eq!((ranking.islands.len(), ranking.bridges.len()), (1, 0));
        let island = &ranking.islands[0];
        assert_eq!((island.packs.len(), island.league.len(), island.league_rows_count), (2, 1, 1));
        let k8 = island.packs.iter().find(|p| p.pack == "packModels/k8").unwrap();
        let compared = ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await?.into_inner();
        let (ours, theirs) = (
            k8.effect.as_ref().unwrap().effect.as_ref().unwrap(),
            compared.strata[0].headline.as_ref().unwrap().effect.as_ref().unwrap(),
        );
        assert!((ours.estimate() - theirs.estimate()).abs() < 1e-12);
        assert!((ours.lower() - theirs.lower()).abs() < 1e-12);
        assert_eq!(compared.strata[0].base, i32::from(v1::EvidenceBase::Direct));
        assert!(ranking.sentence.contains("ranks first of 2 packs"), "{}", ranking.sentence);
        assert!(ranking.etag.starts_with("W/\"") && ranking.data_version > 0);

        let path = format!("/v1/pools:rank?method={SCREWS}&reference=packModels/k5&league=true");
        let client = json::Client::new(ring.address());
        let told = client.get(&path, None).await?.ok()?;
        assert_eq!(told["sentence"].as_str(), Some(ranking.sentence.as_str()));
        assert_eq!(told["islands"][0]["packs"][0]["pack"].as_str(), Some(island.packs[0].pack.as_str()));

        // The stratum by its id is the same one.
        let mut again = rank(SCREWS);
        (again.reference, again.stratum) = ("packModels/k5".into(), ranking.stratum.clone());
        assert_eq!(ring.pools().rank_packs(again).await?.into_inner().islands, ranking.islands);

        let mut bad = rank("methods/none/versions/1");
        (bad.reference, bad.stratum) = ("k5".into(), "?".into());
        bad.options = Some(v1::PoolOptions { level_ratio: 3.0, ..Default::default() });
        let refused = violations(&ring.pools().rank_packs(bad).await.unwrap_err());
        let fields: Vec<&str> = refused.iter().map(|(field, _)| field.as_str()).collect();
        assert_eq!(fields, ["method", "options.level_ratio", "reference", "stratum"]);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn islands_are_ranked_apart_and_a_comparison_across_names_the_bridge() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(2).await?;
        let client = json::Client::new(ring.address());
        let n6 = include_str!("../fixtures/pack-k8.json").replace("\"K8\"", "\"N6\"");
        client.post("/v1/packModels?packModelId=n6", Some("tester-t01"), &n6).await?.ok()?;
        let specimen = "{\"packModel\":\"packModels/n6\",\"acquired\":\"ACQUIRED_BOUGHT_RETAIL\"}";
        client.post("/v1/packSpecimens?packSpecimenId=n6-1", Some("tester-t01"), specimen).await?.ok()?;
        let mut first = fixture("screw-drive-time", 1)?;
        first.arms[1].pack_specimen = "packSpecimens/m4-1".into();
        ring.accepted("t01", first).await?;
        let mut second = fixture("screw-drive-time", 2)?;
        second.arms[0].pack_specimen = "packSpecimens/n6-1".into();
        ring.accepted("t02", second).await?;
        let ranking = ring.pools().rank_packs(rank(SCREWS)).await?.into_inner();
        let sizes: Vec<usize> = ranking.islands.iter().map(|i| i.packs.len()).collect();
        assert_eq!((sizes, ranking.bridges.len()), (vec![2, 2], 1));
        assert!(ranking.sentence.contains("1 further island"), "{}", ranking.sentence);
        assert!(ranking.bridges[0].sentence.contains("in one trial joins them"));
        let apart = ring.pools().compare_packs(compare(SCREWS, "k5", "k8")).await.unwrap_err();
        assert_eq!((apart.code(), reason(&apart).as_str()), (Code::FailedPrecondition, "NOT_CONNECTED"));
        let metadata = apart.get_details_error_info().unwrap().metadata;
        assert!(metadata["bridge_pack_a"].starts_with("packModels/"), "{metadata:?}");
        assert!(apart.message().contains(&metadata["bridge_pack_b"]), "{apart}");
        Ok(())
    })
    .await
}
