//! What is remarkable about a trial, as a moderator and its tester read it, and beside an answer.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture, json, on_each};
use tonic::Code;

use crate::{reason, violations};

/// A trial of screws at another level, as another tester at another timber has it.
fn at_level(n: usize, factor: f64) -> anyhow::Result<v1::Trial> {
    let mut trial = fixture("screw-drive-time", n)?;
    for run in trial.arms.iter_mut().flat_map(|a| &mut a.charges).flat_map(|c| &mut c.runs) {
        let reading = run.reading.as_mut().unwrap();
        let seconds: f64 = reading.as_written.trim_end_matches(" s").parse()?;
        reading.as_written = format!("{:.2} s", seconds * factor);
    }
    Ok(trial)
}

async fn five(ring: &Ring) -> anyhow::Result<()> {
    ring.furnish(6).await?;
    for n in 1..=5 {
        ring.accepted(&format!("t0{n}"), at_level(n, 0.8 + 0.1 * n as f64)?).await?;
    }
    Ok(())
}

fn screening(name: &str) -> v1::GetScreeningRequest {
    v1::GetScreeningRequest { name: name.to_owned() }
}

fn compare() -> v1::ComparePacksRequest {
    v1::ComparePacksRequest {
        method: "methods/screw-drive-time/versions/1".into(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        ..Default::default()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_slip_is_flagged_on_arrival_and_holds_nothing() -> anyhow::Result<()> {
    on_each(|ring| async move {
        five(&ring).await?;
        let mut trial = at_level(6, 1.0)?;
        let reading = trial.arms[0].charges[0].runs[1].reading.as_mut().unwrap();
        let seconds: f64 = reading.as_written.trim_end_matches(" s").parse()?;
        reading.as_written = format!("{:.4} s", seconds / 10.0);
        let request = v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() };
        let kept = ring.trials().submit_trial(by("tester-t06", request)).await?.into_inner();
        let told =
            ring.moderation().get_screening(by("moderator-m01", screening(&kept.name))).await?.into_inner();
        let slip = told.flags.iter().find(|flag| flag.kind == "unit_slip").unwrap();
        assert_eq!((slip.level(), slip.rule.as_str()), (v1::FlagLevel::Run, "R21"));
        assert_eq!(slip.field, "arms[0].charges[0].runs[1].reading");
        assert!((slip.causes[0].factor - 10.0).abs() < 1e-12 && slip.cause.contains("factor 10"), "{slip:?}");
        assert!((slip.causes[0].corrected - seconds).abs() < 1e-9 && slip.left_out_of_screened);
        let pair = &told.pairs[0];
        assert_eq!((pair.testers_count, pair.trials_count), (5, 5));
        assert_eq!(told.prior.as_ref().unwrap().trials_count, 5);
        assert_eq!(told.data_version, ring.data_version().await?);

        // Its tester reads the same; another tester learns no more of it than of what is not there.
        let own =
            ring.moderation().get_screening(by("tester-t06", screening(&kept.name))).await?.into_inner();
        assert_eq!(own, told);
        let hidden =
            ring.moderation().get_screening(by("tester-t01", screening(&kept.name))).await.unwrap_err();
        let absent =
            ring.moderation().get_screening(by("tester-t01", screening("trials/never"))).await.unwrap_err();
        assert_eq!((hidden.code(), reason(&hidden)), (Code::NotFound, reason(&absent)));
        assert_eq!(hidden.message().replace(&kept.name, "trials/never"), absent.message());
        let anyone = ring.moderation().get_screening(screening(&kept.name)).await.unwrap_err();
        assert_eq!(anyone.code(), Code::Unauthenticated);
        let wrong =
            ring.moderation().get_screening(by("moderator-m01", screening("packs/x"))).await.unwrap_err();
        assert_eq!(violations(&wrong), [("name".to_owned(), "NOT_A_NAME".to_owned())]);

        // The same by JSON.
        let path = format!("/v1/{}/screening", kept.name);
        let shown = json::Client::new(ring.address()).get(&path, Some("moderator-m01")).await?.ok()?;
        assert_eq!(shown["flags"].as_array().map(Vec::len), Some(told.flags.len()));
        assert_eq!(shown["flags"][0]["sentence"].as_str(), Some(told.flags[0].sentence.as_str()));

        // A flag holds nothing: the trial is accepted as any other, and the headline has it whole.
        ring.decide(&kept, v1::Decision::Accept).await?;
        let answer = ring.pools().compare_packs(compare()).await?.into_inner();
        let stratum = &answer.strata[0];
        assert_eq!(stratum.headline.as_ref().unwrap().basis.unwrap().trials_count, 6);
        let screened = stratum.screened.as_ref().unwrap();
        assert_ne!(stratum.screened, stratum.headline);
        assert_eq!(screened.basis.unwrap().trials_count, 6);
        let run_out = stratum.screened_left_out.iter().find(|left| left.reason == "RUN_OUTLIER").unwrap();
        assert_eq!(run_out.trials, std::slice::from_ref(&kept.name));
        let flag =
            stratum.flags.iter().find(|flag| flag.trial == kept.name && flag.kind == "unit_slip").unwrap();
        assert_eq!(flag.sentence, slip.sentence);
        let influence = stratum.influence.as_ref().unwrap();
        assert_eq!(influence.rows.len(), stratum.testers.len());
        for (row, tester) in influence.rows.iter().zip(&stratum.testers) {
            assert_eq!(row.unit, tester.unit);
            assert!((row.weight_ratio - tester.weight_ratio).abs() < 1e-9);
        }
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_level_in_minutes_is_r20_also_where_the_trial_is_not_pooled() -> anyhow::Result<()> {
    on_each(|ring| async move {
        five(&ring).await?;
        let kept = ring.accepted("t06", at_level(6, 60.0)?).await?;
        let told =
            ring.moderation().get_screening(by("moderator-m01", screening(&kept.name))).await?.into_inner();
        let level = told.flags.iter().find(|flag| flag.rule == "R20");
        let level = level.unwrap_or_else(|| panic!("{told:?}"));
        assert_eq!((level.level(), level.severity()), (v1::FlagLevel::Trial, v1::FlagSeverity::Outlier));
        assert!(level.causes.iter().any(|cause| (cause.factor - 60.0).abs() < 1e-12), "{level:?}");
        assert_eq!((level.compared_testers_count, level.trial.as_str()), (5, kept.name.as_str()));
        assert!(
            !level.left_out_of_screened && level.sentence.contains("beside 5 other testers"),
            "{level:?}"
        );
        Ok(())
    })
    .await
}
