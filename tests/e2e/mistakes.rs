//! The mistakes that make results from home wrong, each with the field, check or computation that prevents or reveals
//! it.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture};
use tonic_types::StatusExt as _;

use crate::made::{
    check, choose, findings, put, quantity, read, refusals, runs, set, set_typed, trial, typed,
};
use crate::{reason, violations};

const SCREWS: &str = "methods/screw-drive-time/versions/1";

async fn ring() -> anyhow::Result<Ring> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(3).await?;
    Ok(ring)
}

async fn compare(ring: &Ring, method: &str) -> anyhow::Result<v1::ComparePacksResponse> {
    let asked = v1::ComparePacksRequest {
        method: method.into(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        ..Default::default()
    };
    Ok(ring.pools().compare_packs(asked).await?.into_inner())
}

fn effect(pooled: Option<&v1::PooledEffect>) -> v1::Interval {
    pooled.and_then(|pooled| pooled.effect.clone()).unwrap()
}

fn by_rule<'a>(checked: &'a v1::CheckTrialResponse, rule: &str) -> &'a v1::Finding {
    let all = findings(checked);
    all.iter().find(|finding| finding.rule == rule).unwrap_or_else(|| panic!("no {rule}: {all:?}"))
}

fn of_kind<'a>(checked: &'a v1::CheckTrialResponse, kind: &str) -> &'a v1::Finding {
    let all = findings(checked);
    all.iter().find(|finding| finding.kind == kind).unwrap_or_else(|| panic!("no {kind}: {all:?}"))
}

fn obstacles(checked: &v1::CheckTrialResponse) -> Vec<&str> {
    let kept = checked.trial.as_ref().unwrap_or_else(|| panic!("{:?}", checked.violations));
    kept.pooling_obstacles.iter().map(|one| one.reason.as_str()).collect()
}

fn text(of: &str) -> v1::condition::Value {
    v1::condition::Value::Text(of.into())
}

/// Pack K5 with a change.
fn pack(change: impl FnOnce(&mut v1::PackModel)) -> v1::CreatePackModelRequest {
    let mut pack = v1::PackModel {
        maker: "K".into(),
        designation: "K5".into(),
        chemistry: "nmc".into(),
        series_count: Some(5),
        label_voltage: Some(typed("18 V")),
        label_voltage_kind: v1::LabelVoltageKind::Nominal.into(),
        nominal_voltage: Some(typed("18 V")),
        rated_capacity: Some(typed("5 Ah")),
        rated_energy: Some(typed("90 Wh")),
        ..Default::default()
    };
    change(&mut pack);
    v1::CreatePackModelRequest { pack_model: Some(pack), validate_only: true, ..Default::default() }
}

#[tokio::test(flavor = "multi_thread")]
async fn bit_or_blade_wears_during_the_session() -> anyhow::Result<()> {
    let ring = ring().await?;
    // One arm with a fresh bit, the other with a used one.
    let mut worn = fixture("screw-drive-time", 1)?;
    for (arm, (bit, used)) in worn.arms.iter_mut().zip([("bit 1", 0.0), ("bit 2", 90.0)]) {
        for run in arm.charges.iter_mut().flat_map(|charge| &mut charge.runs) {
            put(&mut run.conditions, "accessory_ref", text(bit));
            let count = v1::condition::Value::Quantity(quantity(used, "1"));
            put(&mut run.conditions, "accessory_use_count", count);
        }
    }
    let told = refusals(&check(&ring, worn).await?);
    assert!(told.contains("use one for all packs or ones that begin alike"), "{told}");
    ring.end().await
}

/// All of one pack, then all of the other.
fn blocked() -> anyhow::Result<v1::Trial> {
    let mut trial = fixture("screw-drive-time", 1)?;
    trial.plan.as_mut().unwrap().order_design = v1::OrderDesign::Blocked.into();
    for (position, run) in runs(&mut trial).enumerate() {
        run.position_count = Some(i32::try_from(position + 1)?);
    }
    Ok(trial)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_first_then_b() -> anyhow::Result<()> {
    let ring = ring().await?;
    let told = check(&ring, blocked()?).await?;
    assert!(of_kind(&told, "blocked_order").message.contains("next time run the packs in turn"));
    ring.accepted("t01", blocked()?).await?;
    let answer = compare(&ring, SCREWS).await?;
    let headline = answer.strata[0].headline.as_ref().unwrap();
    let (with, without) =
        (headline.effect.as_ref().unwrap(), headline.effect_without_order_bias.as_ref().unwrap());
    assert!(headline.order_bias > 0.0 && with.upper() > without.upper() && with.lower() < without.lower());
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn warm_pack_straight_off_the_charger() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut warm = trial("screw-drive-time");
    set(&mut warm, "pack_start_temperature", 34.0, "°C");
    let told = check(&ring, warm).await?;
    assert!(by_rule(&told, "R14").message.contains("counts as full_warm and the trial is not pooled"));
    assert_eq!(obstacles(&told), ["STATE_DOUBTFUL"]);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn timed_runs_far_down_the_charge() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut deep = trial("screw-drive-time");
    set(&mut deep, "runs_since_charge", 60.0, "1");
    set(&mut deep, "mean_input_power", 1200.0, "W");
    read(&mut deep, 4.0, "s");
    let told = check(&ring, deep).await?;
    assert!(by_rule(&told, "R23").message.contains("recharge between rounds"), "{told:?}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn cold_shed() -> anyhow::Result<()> {
    let ring = ring().await?;
    for (n, air) in [(1, 20.0), (2, 2.0)] {
        let mut trial = fixture("screw-drive-time", n)?;
        set(&mut trial, "ambient_temperature", air, "°C");
        set(&mut trial, "pack_start_temperature", air, "°C");
        ring.accepted(&format!("t0{n}"), trial).await?;
    }
    let answer = compare(&ring, SCREWS).await?;
    assert_eq!(answer.strata.len(), 2, "a cold trial is not mixed with a mild one");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn partial_charge_called_full() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut partial = trial("discharge-capacity");
    set(&mut partial, "open_circuit_voltage", 19.0, "V");
    let told = check(&ring, partial).await?;
    let asked = by_rule(&told, "R11");
    assert_eq!((asked.question.as_str(), asked.suggestion.as_str()), ("was it a partial charge?", "partial"));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn piece_changes_between_packs() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut changed = fixture("screw-drive-time", 1)?;
    put(&mut changed.arms[1].conditions, "workpiece_batch", text("beam 2"));
    let told = refusals(&check(&ring, changed).await?);
    assert!(told.contains("workpiece_batch") && told.contains("submit one for each"), "{told}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn cm_mm_in_and_nominal_board_sizes() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut slipped = trial("crosscut-time");
    set(&mut slipped, "cut_width", 20.0, "mm");
    set(&mut slipped, "cut_height", 15.0, "mm");
    read(&mut slipped, 8.0, "s");
    let told = check(&ring, slipped).await?;
    let asked = by_rule(&told, "R18");
    assert!(asked.question.contains("20 cm (200 mm)"), "{asked:?}");
    let mut nominal = trial("crosscut-time");
    set_typed(&mut nominal, "cut_width", "2x4");
    let told = refusals(&check(&ring, nominal).await?);
    assert!(told.contains("measure"), "{told}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn seconds_and_minutes() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut slipped = trial("no-load-runtime");
    set(&mut slipped, "mean_input_power", 100.0, "W");
    set(&mut slipped, "energy_delivered", 50.0, "Wh");
    read(&mut slipped, 30.0, "s");
    let told = check(&ring, slipped).await?;
    assert_eq!(by_rule(&told, "R17").suggestion, "30 min (1800 s)");
    let mut one = fixture("screw-drive-time", 1)?;
    runs(&mut one).take(1).for_each(|run| run.reading = Some(typed("2.6 min")));
    let told = check(&ring, one).await?;
    let asked = of_kind(&told, "unit_slip");
    assert!(asked.rule == "R21" && asked.suggestion == "2.6 s", "{asked:?}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn percent_faster_used_for_percent_less_time() -> anyhow::Result<()> {
    let ring = ring().await?;
    ring.accepted("t01", fixture("screw-drive-time", 1)?).await?;
    let answer = compare(&ring, SCREWS).await?;
    let forms = answer.strata[0].headline.as_ref().unwrap().percent.clone().unwrap();
    let less = forms.time_reduction_percent.unwrap().estimate() / 100.0;
    let gain = forms.rate_gain_percent.unwrap().estimate() / 100.0;
    assert!((less - gain / (1.0 + gain)).abs() < 1e-9 && (less - gain).abs() > 1e-3);
    let mut claimed = trial("screw-drive-time");
    runs(&mut claimed).for_each(|run| run.reading = Some(typed("20 % faster")));
    assert!(refusals(&check(&ring, claimed).await?).contains("time_reduction"));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn label_ampere_hours_taken_as_measured() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut short = trial("discharge-capacity");
    read(&mut short, 3.9, "Ah");
    let told = check(&ring, short).await?;
    let noted = by_rule(&told, "R09");
    assert!(noted.message.contains("3.9 A·h measured over 5 A·h on the label") && noted.question.is_empty());
    ring.accepted("t01", fixture("cuts-per-charge", 1)?).await?;
    let asked = v1::ComparePacksRequest {
        method: "methods/cuts-per-charge/versions/1".into(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        normalisation: v1::Normalisation::PerRatedAh.into(),
        ..Default::default()
    };
    let answer = ring.pools().compare_packs(asked).await?.into_inner();
    assert!(answer.strata[0].warnings.iter().any(|w| w.name == "labels_assumed_exact"));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn maximum_voltage_taken_as_nominal() -> anyhow::Result<()> {
    let ring = ring().await?;
    let request = pack(|p| {
        p.label_voltage = Some(typed("20 V"));
        p.nominal_voltage = Some(typed("20 V"));
        p.rated_energy = Some(typed("100 Wh"));
    });
    let kept = ring.packs().create_pack_model(by("tester-t01", request)).await?.into_inner();
    let rules: Vec<&str> = kept.findings.iter().map(|finding| finding.rule.as_str()).collect();
    assert_eq!(rules, ["R02", "R03"]);
    assert_eq!(kept.findings[0].suggestion, "18 V");
    let request = pack(|p| p.rated_energy = Some(typed("100 Wh")));
    let kept = ring.packs().create_pack_model(by("tester-t01", request)).await?.into_inner();
    assert!(kept.findings[0].rule == "R01" && kept.findings[0].message.contains("maximum voltage"));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn ampere_hours_compared_across_voltages() -> anyhow::Result<()> {
    let ring = ring().await?;
    // Energy has methods of its own, and a reading in A.h is none.
    let mut capacity = trial("discharge-energy");
    read(&mut capacity, 5.0, "Ah");
    let told = refusals(&check(&ring, capacity).await?);
    assert!(told.contains("for energy write W·h"), "{told}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn one_specimen_speaks_for_a_model() -> anyhow::Result<()> {
    let ring = ring().await?;
    for tester in ["t01", "t02", "t03"] {
        ring.accepted(tester, fixture("screw-drive-time", 1)?).await?;
    }
    let basis = compare(&ring, SCREWS).await?.strata[0].headline.as_ref().unwrap().basis.unwrap();
    let counts = (basis.testers_count, basis.units_count, basis.specimens_a_count, basis.specimens_b_count);
    assert_eq!(counts, (3, 1, 1, 1), "three testers of one loan are one unit");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn averages_across_tools() -> anyhow::Result<()> {
    let ring = ring().await?;
    ring.accepted("t01", fixture("screw-drive-time", 1)?).await?;
    let mut heavy = fixture("screw-drive-time", 2)?;
    set(&mut heavy, "mean_input_power", 900.0, "W");
    ring.accepted("t02", heavy).await?;
    let answer = compare(&ring, SCREWS).await?;
    let mut classes: Vec<&str> = answer.strata.iter().map(|stratum| stratum.demand_class.as_str()).collect();
    classes.sort_unstable();
    assert_eq!(classes, ["d2", "d4"]);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn raw_means_across_testers() -> anyhow::Result<()> {
    let ring = ring().await?;
    ring.accepted("t01", fixture("screw-drive-time", 1)?).await?;
    let before = effect(compare(&ring, SCREWS).await?.strata[0].headline.as_ref());
    // A slower tester who did more of one pack would turn a comparison of raw means.
    let mut slow = fixture("screw-drive-time", 2)?;
    for run in runs(&mut slow) {
        let seconds: f64 = run.reading.as_ref().unwrap().as_written.trim_end_matches(" s").parse()?;
        run.reading = Some(quantity(4.0 * seconds, "s"));
    }
    ring.accepted("t02", slow).await?;
    let after = effect(compare(&ring, SCREWS).await?.strata[0].headline.as_ref());
    assert!((after.estimate() / before.estimate() - 1.0).abs() < 1e-6, "{before:?} {after:?}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn failed_or_stopped_runs_left_out() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut short = fixture("screw-drive-time", 1)?;
    short.arms[0].charges[0].runs.pop();
    let told = check(&ring, short).await?;
    let asked = of_kind(&told, "plan_differs");
    assert!(asked.message.contains("send"), "{asked:?}");
    let mut unsaid = trial("screw-drive-time");
    runs(&mut unsaid).for_each(|run| run.end_criterion = 0);
    assert!(refusals(&check(&ring, unsaid).await?).contains("why the run ended is missing"));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stalled_pack_has_no_result() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut stalled = fixture("screw-drive-time", 1)?;
    let run = &mut stalled.arms[0].charges[0].runs[0];
    run.end_criterion = v1::EndCriterion::ToolStall.into();
    let second = &mut stalled.arms[0].charges[0].runs[1];
    (second.end_criterion, second.reading) = (v1::EndCriterion::ToolStall.into(), None);
    let kept = ring.accepted("t01", stalled).await?;
    let runs = &kept.arms[0].charges[0].runs;
    assert_eq!((runs[0].outcome.as_str(), runs[1].outcome.as_str()), ("right_censored", "failed_at_load"));
    let answer = compare(&ring, SCREWS).await?;
    let stratum = &answer.strata[0];
    assert!(stratum.complete_case.is_some() && stratum.failed_as_slowest.is_some());
    let row = stratum.completion.iter().find(|row| row.pack_model == "packModels/k5").unwrap();
    assert_eq!(row.outcomes.get("failed_at_load/tool_stall"), Some(&1), "{row:?}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn best_run_quoted() -> anyhow::Result<()> {
    let ring = ring().await?;
    ring.accepted("t01", fixture("screw-drive-time", 1)?).await?;
    let answer = compare(&ring, SCREWS).await?;
    let found = effect(answer.strata[0].headline.as_ref());
    let times = |arm: usize| {
        let trial = fixture("screw-drive-time", 1).unwrap();
        let runs = trial.arms[arm].charges.iter().flat_map(|charge| &charge.runs);
        let times: Vec<f64> = runs
            .map(|r| r.reading.as_ref().unwrap().as_written.trim_end_matches(" s").parse().unwrap())
            .collect();
        times
    };
    let mean = |times: &[f64]| times.iter().sum::<f64>() / times.len() as f64;
    let best = |times: &[f64]| times.iter().copied().fold(f64::INFINITY, f64::min);
    let (a, b) = (times(0), times(1));
    assert!((found.estimate() - mean(&b) / mean(&a)).abs() < 1e-9);
    assert!((found.estimate() - best(&b) / best(&a)).abs() > 1e-6);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn hand_timing_of_short_events() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut hand = trial("screw-drive-time");
    choose(&mut hand, "timing_method", "hand_stopwatch");
    read(&mut hand, 1.0, "s");
    let told = check(&ring, hand.clone()).await?;
    assert!(by_rule(&told, "R22").message.contains("time 2 together"), "{told:?}");
    choose(&mut hand, "timing_method", "batch_hand");
    set(&mut hand, "timing_batch", 5.0, "1");
    assert!(findings(&check(&ring, hand).await?).iter().all(|finding| finding.rule != "R22"));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn temperature_compared_at_cut_off() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut rise = trial("temperature-rise");
    let mut other = rise.arms[0].clone();
    other.pack_specimen = "packSpecimens/k8-1".into();
    rise.arms.push(other);
    rise.plan.as_mut().unwrap().order_design = v1::OrderDesign::NotRecorded.into();
    choose(&mut rise, "temperature_basis", "fixed_work");
    let told = refusals(&check(&ring, rise).await?);
    assert!(told.contains("packs are compared at like work"), "{told}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn two_wire_sag() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut two_wire = trial("discharge-capacity");
    read(&mut two_wire, 5.0, "Ah");
    set(&mut two_wire, "energy_delivered", 80.0, "Wh");
    choose(&mut two_wire, "sense_wiring", "two_wire");
    let told = check(&ring, two_wire).await?;
    assert_eq!(by_rule(&told, "R10").rule, "R10");
    let mut unsaid = trial("discharge-capacity");
    unsaid.conditions.retain(|condition| condition.field != "sense_wiring");
    assert!(refusals(&check(&ring, unsaid).await?).contains("sense_wiring"));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn different_pulse_length_or_state_of_charge() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut unlike = trial("pulse-resistance");
    let mut other = unlike.arms[0].clone();
    other.pack_specimen = "packSpecimens/k8-1".into();
    unlike.arms.push(other);
    unlike.plan.as_mut().unwrap().order_design = v1::OrderDesign::NotRecorded.into();
    for (arm, percent) in unlike.arms.iter_mut().zip([80.0, 50.0]) {
        for run in arm.charges.iter_mut().flat_map(|charge| &mut charge.runs) {
            let state = v1::condition::Value::Quantity(quantity(percent, "%"));
            put(&mut run.conditions, "state_of_charge", state);
        }
    }
    let told = check(&ring, unlike).await?;
    assert!(obstacles(&told).contains(&"ARMS_APART"), "{told:?}");
    let mut unsaid = trial("pulse-resistance");
    unsaid.conditions.retain(|condition| condition.field != "pulse_duration");
    assert!(refusals(&check(&ring, unsaid).await?).contains("pulse_duration"));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn bigger_pack_is_slower_to_charge() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut charge = trial("recharge-time");
    let mut other = charge.arms[0].clone();
    other.pack_specimen = "packSpecimens/k8-1".into();
    charge.arms.push(other);
    charge.plan.as_mut().unwrap().order_design = v1::OrderDesign::NotRecorded.into();
    for (arm, minutes) in charge.arms.iter_mut().zip([50.0, 80.0]) {
        for run in arm.charges.iter_mut().flat_map(|charge| &mut charge.runs) {
            run.reading = Some(quantity(minutes, "min"));
        }
    }
    ring.accepted("t01", charge).await?;
    let ask = |normalisation: v1::Normalisation| v1::ComparePacksRequest {
        method: "methods/recharge-time/versions/1".into(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        normalisation: normalisation.into(),
        ..Default::default()
    };
    let plain = ring.pools().compare_packs(ask(v1::Normalisation::Unspecified)).await?.into_inner();
    let rated = ring.pools().compare_packs(ask(v1::Normalisation::PerRatedWh)).await?.into_inner();
    let estimate = |answer: &v1::ComparePacksResponse| effect(answer.strata[0].headline.as_ref()).estimate();
    assert!((estimate(&plain) - 1.6).abs() < 1e-9 && (estimate(&rated) - 1.0).abs() < 1e-9);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn sample_lent_by_the_maker() -> anyhow::Result<()> {
    let ring = ring().await?;
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
    let mut lent = fixture("screw-drive-time", 2)?;
    lent.arms[1].pack_specimen = "packSpecimens/k8-lent".into();
    ring.accepted("t02", lent).await?;
    let answer = compare(&ring, SCREWS).await?;
    let without = answer.strata[0].without_maker_supplied.as_ref().unwrap();
    assert_eq!(without.basis.unwrap().trials_count, 1);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn price_from_another_year_or_currency() -> anyhow::Result<()> {
    let ring = ring().await?;
    let request = pack(|p| {
        let price = v1::Price { amount: "129.90".into(), ..Default::default() };
        p.price = Some(price);
    });
    let status = ring.packs().create_pack_model(by("tester-t01", request)).await.unwrap_err();
    let missing: Vec<String> = violations(&status).into_iter().map(|(field, _)| field).collect();
    for part in ["currency", "date", "region"] {
        assert!(missing.iter().any(|field| field.ends_with(part)), "{part}: {missing:?}");
    }
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn dead_or_aged_specimen() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut aged = trial("discharge-capacity");
    read(&mut aged, 3.0, "Ah");
    let told = check(&ring, aged).await?;
    let noted = by_rule(&told, "R09");
    assert!(noted.message.contains("look at age"), "{noted:?}");
    let specimen = v1::PackSpecimen {
        pack_model: "packModels/k5".into(),
        acquired: v1::Acquired::SecondHand.into(),
        date_code: "2019-W30".into(),
        cycle_count: Some(600),
        ..Default::default()
    };
    let request = v1::CreatePackSpecimenRequest { pack_specimen: Some(specimen), ..Default::default() };
    let kept = ring.packs().create_pack_specimen(by("tester-t01", request)).await?.into_inner();
    assert_eq!((kept.date_code.as_str(), kept.cycle_count), ("2019-W30", Some(600)));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn same_data_sent_twice() -> anyhow::Result<()> {
    let ring = ring().await?;
    let mut request =
        v1::SubmitTrialRequest { trial: Some(fixture("screw-drive-time", 1)?), ..Default::default() };
    request.request_id = uuid::Uuid::new_v4().to_string();
    let first = ring.trials().submit_trial(by("tester-t01", request.clone())).await?.into_inner();
    let again = ring.trials().submit_trial(by("tester-t01", request.clone())).await?.into_inner();
    assert_eq!(first, again, "one request is kept once");
    request.trial.as_mut().unwrap().note = "Other.".into();
    let reused = ring.trials().submit_trial(by("tester-t01", request)).await.unwrap_err();
    assert_eq!(reason(&reused), "REQUEST_ID_REUSED");
    assert!(reused.get_error_details().error_info().is_some());
    ring.end().await
}
