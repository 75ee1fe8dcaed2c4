//! Mistakes made when results are put together.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture, json};

use super::bench::{SCREWS, ask, estimate, only, put, quantity, question, runs, scale, shared};

#[tokio::test(flavor = "multi_thread")]
async fn one_specimen_speaks_for_a_model() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for n in 1..=3 {
        ring.accepted(&format!("t0{n}"), fixture(SCREWS, 1)?).await?;
    }
    let answer = ask(&ring, question(SCREWS)).await?;
    let (stratum, headline) = only(&answer);
    let basis = headline.basis.unwrap();
    assert_eq!((basis.testers_count, basis.specimens_a_count, basis.specimens_b_count), (3, 1, 1));
    // Testers who passed one pack round have one vote.
    assert_eq!(basis.units_count, 1);
    assert!(stratum.warnings.iter().any(|w| w.name == "shared_specimen"), "{:?}", stratum.warnings);
    assert_eq!(stratum.direction(), v1::Direction::NotEnoughEvidence);
    let because = stratum.direction_because.join("; ");
    assert!(because.contains("specimen"), "{because}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn averages_across_tools() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    let drill = include_str!("../../fixtures/tool-driver.json").replace("impact_driver", "drill_driver");
    let drill = drill.replace("driver D2", "drill D3");
    let client = json::Client::new(ring.address());
    client.post("/v1/toolModels?toolModelId=drill-d3", Some("tester-t01"), &drill).await?.ok()?;
    ring.accepted("t01", fixture(SCREWS, 1)?).await?;
    let mut hungry = fixture(SCREWS, 2)?;
    hungry.tool_model = "toolModels/drill-d3".into();
    for run in hungry.arms[1].charges.iter_mut().flat_map(|c| &mut c.runs) {
        scale(run, 0.7);
    }
    ring.accepted("t02", hungry).await?;
    let asked = v1::ComparePacksRequest { overall_across_classes: true, ..question(SCREWS) };
    let answer = ask(&ring, asked).await?;
    assert_eq!(shared(&answer, "tool_type"), ["drill_driver", "impact_driver"]);
    let by_tool: Vec<f64> = answer.strata.iter().map(|s| estimate(s.headline.as_ref())).collect();
    assert!((by_tool[0] / by_tool[1]).ln().abs() > 0.3, "{by_tool:?}");
    assert!(answer.classes.iter().all(|family| family.overall.as_ref().is_none_or(|o| o.effect.is_none())));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn raw_means_across_testers() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(3).await?;
    ring.accepted("t01", fixture(SCREWS, 1)?).await?;
    let alone = estimate(Some(only(&ask(&ring, question(SCREWS)).await?).1));
    // Slow wood: both packs take twice as long.
    let mut slow = fixture(SCREWS, 2)?;
    runs(&mut slow).for_each(|run| scale(run, 2.0));
    ring.accepted("t02", slow).await?;
    // Quick wood, and pack K8 only: it tells nothing about K5.
    let mut single = fixture(SCREWS, 3)?;
    single.arms.remove(0);
    single.plan.as_mut().unwrap().order_design = v1::OrderDesign::SinglePack.into();
    for (n, run) in runs(&mut single).enumerate() {
        run.position_count = i32::try_from(n + 1).ok();
        scale(run, 0.25);
    }
    let single = ring.accepted("t03", single).await?;
    let answer = ask(&ring, question(SCREWS)).await?;
    let (_, headline) = only(&answer);
    assert!((estimate(Some(headline)) / alone - 1.0).abs() < 1e-6, "levels cancel");
    assert_eq!(headline.basis.unwrap().trials_count, 2);
    let out: Vec<_> = answer.left_out.iter().map(|l| (l.reason.as_str(), l.trials.as_slice())).collect();
    assert_eq!(out, [("ONE_ARM", &[single.name][..])]);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn the_best_run_is_quoted() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut sent = fixture(SCREWS, 1)?;
    let mut seconds = [Vec::new(), Vec::new()];
    for (arm, seconds) in sent.arms.iter_mut().zip(&mut seconds) {
        for run in arm.charges.iter_mut().flat_map(|c| &mut c.runs) {
            let written = &mut run.reading.as_mut().unwrap().as_written;
            if written == "2.44 s" {
                *written = "1.80 s".into();
            }
            seconds.push(written.trim_end_matches(" s").parse::<f64>()?);
        }
    }
    let kept = ring.accepted("t01", sent).await?;
    assert_eq!(kept.arms[1].charges.iter().map(|c| c.runs.len()).sum::<usize>(), 16, "every run is kept");
    let answer = ask(&ring, question(SCREWS)).await?;
    let (_, headline) = only(&answer);
    let sum = |times: &[f64]| times.iter().sum::<f64>();
    let best = |times: &[f64]| times.iter().copied().fold(f64::INFINITY, f64::min);
    let (means, bests) = (sum(&seconds[1]) / sum(&seconds[0]), best(&seconds[1]) / best(&seconds[0]));
    let told = estimate(Some(headline));
    assert!((told - means).abs() < 1e-9 && told > bests + 0.2, "{told} {means} {bests}");
    assert_eq!(headline.basis.unwrap().runs_b_count, 16);
    ring.end().await
}

/// The largest effect of any class stands beside those of the others, and no number over all of them hides it.
#[tokio::test(flavor = "multi_thread")]
async fn up_to_n_percent_checked_against_a_mean() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    for (n, power, factor) in [(1, "150 W", 1.0), (2, "600 W", 0.75)] {
        let mut sent = fixture(SCREWS, n)?;
        for arm in &mut sent.arms {
            put(&mut arm.conditions, "mean_input_power", quantity(power));
        }
        for run in sent.arms[1].charges.iter_mut().flat_map(|c| &mut c.runs) {
            scale(run, factor);
        }
        ring.accepted(&format!("t0{n}"), sent).await?;
    }
    let asked = v1::ComparePacksRequest { overall_across_classes: true, ..question(SCREWS) };
    let answer = ask(&ring, asked).await?;
    let [family] = &answer.classes[..] else { panic!("{:?}", answer.classes) };
    let rows: Vec<_> =
        family.rows.iter().map(|r| (r.demand_class.as_str(), estimate(r.effect.as_ref()))).collect();
    assert!(matches!(rows[..], [("d1", light), ("d3", heavy)] if heavy < 0.8 * light), "{rows:?}");
    let overall = family.overall.as_ref().unwrap();
    assert!(overall.effect.is_none() && !overall.failed.is_empty(), "{overall:?}");
    ring.end().await
}

/// Who sends the same again under another name has run the same specimens, and so has no second vote; and the answer without
/// each vote in turn shows how much hangs on one.
#[tokio::test(flavor = "multi_thread")]
async fn same_data_sent_twice_or_under_two_names() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    ring.accepted("t01", fixture(SCREWS, 1)?).await?;
    let mut other = fixture(SCREWS, 2)?;
    for run in other.arms[1].charges.iter_mut().flat_map(|c| &mut c.runs) {
        scale(run, 0.8);
    }
    // A client that tries again is answered as the first time.
    let request = v1::SubmitTrialRequest {
        trial: Some(other.clone()),
        request_id: uuid::Uuid::new_v4().to_string(),
        ..Default::default()
    };
    let first = ring.trials().submit_trial(by("tester-t02", request.clone())).await?.into_inner();
    assert_eq!(ring.trials().submit_trial(by("tester-t02", request)).await?.into_inner(), first);
    ring.decide(&first, v1::Decision::Accept).await?;
    let once = ask(&ring, question(SCREWS)).await?;
    let again = ring.accepted("t03", other).await?;
    let told = again.findings.iter().find(|f| f.kind == "duplicate_trial");
    let told = told.unwrap_or_else(|| panic!("{:?}", again.findings));
    assert!(told.message.contains("readings") && !told.question.is_empty(), "{told:?}");
    let answer = ask(&ring, question(SCREWS)).await?;
    let (stratum, headline) = only(&answer);
    let basis = headline.basis.unwrap();
    assert_eq!((basis.trials_count, basis.testers_count, basis.units_count), (3, 3, 2));
    let row = stratum.testers.iter().find(|row| row.unit == "testers/t02").unwrap();
    assert_eq!(row.testers, ["testers/t02", "testers/t03"]);
    assert!(row.trials.contains(&first.name) && row.trials.contains(&again.name), "{row:?}");
    let equal = |answer: &v1::ComparePacksResponse| only(answer).0.equal_vote.as_ref().unwrap().estimate();
    assert!((equal(&answer) / equal(&once) - 1.0).abs() < 1e-9, "a copy is no second vote");
    let without_one = stratum.leave_one_out.as_ref().unwrap();
    assert!(without_one.upper() / without_one.lower() > 1.2, "{without_one:?}");
    ring.end().await
}
