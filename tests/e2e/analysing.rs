//! Trials handed over for analysis: by rpc, by JSON, and offline by the command line.

use std::io::Write as _;

use benchring_api::v1;
use benchring_cli::command;
use benchring_tests::{Ring, fixture, json, on_each};
use serde_json::Value;
use tonic::Code;

use crate::{reason, violations};

const SCREWS: &str = "methods/screw-drive-time/versions/1";

/// The screw trial of tester n, at a level of their own.
fn scaled(n: usize) -> anyhow::Result<v1::Trial> {
    let mut trial = fixture("screw-drive-time", n)?;
    for run in trial.arms.iter_mut().flat_map(|a| &mut a.charges).flat_map(|c| &mut c.runs) {
        let reading = run.reading.as_mut().unwrap();
        let seconds: f64 = reading.as_written.trim_end_matches(" s").parse()?;
        reading.as_written = format!("{:.2} s", seconds * (0.8 + 0.2 * n as f64));
    }
    Ok(trial)
}

async fn compared(ring: &Ring) -> anyhow::Result<v1::Stratum> {
    let request = v1::ComparePacksRequest {
        method: SCREWS.into(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        ..Default::default()
    };
    Ok(ring.pools().compare_packs(request).await?.into_inner().strata[0].clone())
}

fn near(one: f64, other: f64) {
    assert!((one - other).abs() <= 1e-12 * one.abs().max(1.0), "{one} and {other}");
}

/// What the service keeps and gives out says all that its own answer rests on.
#[tokio::test(flavor = "multi_thread")]
async fn trials_read_back_and_analysed_give_the_answer_of_the_service() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(4).await?;
        for n in 1..=3 {
            ring.accepted(&format!("t0{n}"), scaled(n)?).await?;
        }
        let client = json::Client::new(ring.address());
        let mut all: Vec<Value> = Vec::new();
        for list in ["packModels", "packSpecimens", "toolModels"] {
            let page = client.get(&format!("/v1/{list}?pageSize=100"), None).await?.ok()?;
            all.extend(page[list].as_array().unwrap().iter().cloned());
        }
        let listed = client.get("/v1/trials?pageSize=100", None).await?.ok()?;
        for trial in listed["trials"].as_array().unwrap() {
            let name = trial["name"].as_str().unwrap();
            all.push(client.get(&format!("/v1/{name}"), None).await?.ok()?);
        }
        let mut file = tempfile::NamedTempFile::new()?;
        file.write_all(serde_json::to_string(&all)?.as_bytes())?;
        let path = file.path().as_os_str().to_owned();
        let args = ["benchring".into(), "analyse".into(), "--json".into(), path];
        let done = tokio::task::spawn_blocking(move || command(args)).await?;
        assert_eq!(done.code, 0, "{}", done.err);
        let told: Value = serde_json::from_str(&done.out)?;
        let pair = &told["pairs"][0];
        assert_eq!((&pair["pack_a"], &pair["pack_b"]), (&"packModels/k5".into(), &"packModels/k8".into()));

        let answer = compared(&ring).await?;
        let headline = answer.headline.as_ref().unwrap();
        let effect = headline.effect.as_ref().unwrap();
        let number = |key: &str| pair[key].as_f64().unwrap();
        near(number("log_ratio").exp(), effect.estimate.unwrap());
        near(number("lower").exp(), effect.lower.unwrap());
        near(number("upper").exp(), effect.upper.unwrap());
        near(number("i2"), headline.i2_ratio);
        near(told["prior"]["s02"].as_f64().unwrap(), answer.prior.as_ref().unwrap().variance);
        assert_eq!(pair["wording"].as_str(), Some(answer.sentence.as_str()));
        for (row, tester) in pair["weights"].as_array().unwrap().iter().zip(&answer.testers) {
            near(row["weight"].as_f64().unwrap(), tester.weight_ratio);
        }
        let shared = told["shared"].as_object().unwrap();
        assert!(answer.shared.iter().all(|(key, value)| shared[key].as_str() == Some(value)), "{shared:?}");

        // The same by rpc.
        let of = |kind: &str| -> Vec<&Value> {
            all.iter().filter(|one| one["name"].as_str().unwrap().starts_with(kind)).collect()
        };
        let body = serde_json::json!({"trials": of("trials/"), "packModels": of("packModels/"),
            "packSpecimens": of("packSpecimens/"), "toolModels": of("toolModels/")});
        let by_rpc = client.post("/v1/pools:analyse", None, &body.to_string()).await?.ok()?;
        let stratum = &by_rpc["strata"][0]["pairs"][0]["stratum"];
        near(stratum["headline"]["effect"]["estimate"].as_f64().unwrap(), effect.estimate.unwrap());
        assert_eq!(stratum["sentence"].as_str(), Some(answer.sentence.as_str()));
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn trials_that_were_never_kept_are_analysed_and_not_kept() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let before = ring.data_version().await?;
    let trials = (1..=3).map(|n| Ok(v1::Trial { tester: format!("testers/t{n}"), ..scaled(n)? }));
    let trials: Vec<v1::Trial> = trials.collect::<anyhow::Result<_>>()?;
    let request = v1::AnalyseTrialsRequest { trials, ..Default::default() };
    let found = ring.pools().analyse_trials(request).await?.into_inner();
    let options = found.options.as_ref().unwrap();
    assert_eq!((options.prior(), options.order_bias()), (v1::PriorModel::Blend, v1::OrderBiasModel::Bound));
    assert!(!found.unchecked.is_empty(), "nothing is known of the packs");
    assert!(!found.strata.is_empty());
    assert_eq!(ring.data_version().await?, before);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn everything_wrong_with_what_is_handed_over_is_said_at_once() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let ask = async |change: &dyn Fn(&mut v1::AnalyseTrialsRequest)| {
        let mut request =
            v1::AnalyseTrialsRequest { trials: vec![scaled(1)?, scaled(2)?], ..Default::default() };
        change(&mut request);
        anyhow::Ok(ring.pools().analyse_trials(request).await.unwrap_err())
    };
    let none = ask(&|request| request.trials.clear()).await?;
    assert_eq!(violations(&none), [("trials".to_owned(), "REQUIRED".to_owned())]);

    let mixed = ask(&|request| request.trials[1].method = "methods/bore-time/versions/1".into()).await?;
    assert!(violations(&mixed).contains(&("trials[1].method".into(), "MIXED_METHODS".into())), "{mixed:?}");

    let several = ask(&|request| {
        request.options = Some(v1::PoolOptions { level_ratio: 2.0, prior: 9, ..Default::default() });
        request.reference = "k5".into();
        request.trials[0].tester = "nobody".into();
    })
    .await?;
    let found: Vec<String> = violations(&several).into_iter().map(|(field, _)| field).collect();
    for field in ["options.level_ratio", "options.prior", "reference", "trials[0].tester"] {
        assert!(found.iter().any(|one| one == field), "{field} is missing: {found:?}");
    }

    let reading = |request: &mut v1::AnalyseTrialsRequest, text: &str| {
        let run = &mut request.trials[1].arms[0].charges[0].runs[2];
        run.reading = Some(v1::Quantity { as_written: text.into(), ..Default::default() });
    };
    let zero = ask(&|request| reading(request, "0 s")).await?;
    let place = "trials[1].arms[0].charges[0].runs[2].reading";
    let found = violations(&zero);
    assert!(found.iter().any(|(f, r)| f.starts_with(place) && r == "NON_POSITIVE_READING"), "{found:?}");
    let other = ask(&|request| reading(request, "3 A.h")).await?;
    assert!(violations(&other).iter().any(|(field, _)| field.starts_with(place)), "{other:?}");

    let apart = ask(&|request| {
        for trial in &mut request.trials {
            trial.arms.truncate(1);
        }
    })
    .await?;
    assert_eq!(
        (apart.code(), reason(&apart).as_str()),
        (Code::FailedPrecondition, "NOT_CONNECTED"),
        "{apart:?}"
    );

    let alone = ask(&|request| {
        let prior = v1::PriorModel::Fit as i32;
        request.options = Some(v1::PoolOptions { prior, ..Default::default() });
        request.trials.truncate(1);
        for arm in &mut request.trials[0].arms {
            arm.charges.truncate(1);
            arm.charges[0].runs.truncate(1);
        }
    })
    .await?;
    assert_eq!(alone.code(), Code::FailedPrecondition, "{alone:?}");
    assert!(alone.message().contains("no_variance_and_one_tester"), "{alone:?}");
    ring.end().await
}
