//! Mistakes made while testing.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture};

use crate::made;

use super::bench::{
    Arm, CUTS, SCREWS, arm, ask, check, choice, estimate, finding, noticed, obstacles, only, put, quantity,
    question, refused, runs, scale, shared, trial, width,
};

/// The count of work done with the bit stands beside the position of every run, wear along the runs cancels where the packs
/// take turns, and a worn bit for one pack is refused.
#[tokio::test(flavor = "multi_thread")]
async fn bit_wears_during_the_session() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    let fresh = fixture(SCREWS, 1)?;
    ring.accepted("t01", fresh).await?;
    let even = ask(&ring, question(SCREWS)).await?;
    let mut wearing = fixture(SCREWS, 2)?;
    for run in runs(&mut wearing) {
        let before = run.position_count() - 1;
        scale(run, (0.01 * f64::from(before)).exp());
        put(&mut run.conditions, "accessory_use_count", quantity(&before.to_string()));
    }
    let kept = ring.accepted("t02", wearing.clone()).await?;
    let last = &kept.arms[1].charges[1].runs[0];
    let used = last.conditions.iter().find(|c| c.field == "accessory_use_count").unwrap();
    assert!(
        matches!(&used.value, Some(v1::condition::Value::Quantity(q)) if q.canonical_value == Some(16.0)),
        "{used:?}"
    );
    assert_eq!(last.position_count(), 17);
    let worn = ask(&ring, question(SCREWS)).await?;
    let row = worn.strata[0].testers.iter().find(|row| row.unit == "testers/t02").unwrap();
    let moved = row.effect.as_ref().unwrap().estimate() / estimate(even.strata[0].headline.as_ref());
    // Sixteen runs of K5 and then sixteen of K8 would have moved it by 17 %.
    assert!((moved - 1.0).abs() < 0.002, "wear of 1 % a screw moved the ratio by {moved}");

    for run in wearing.arms[1].charges.iter_mut().flat_map(|c| &mut c.runs) {
        put(&mut run.conditions, "accessory_ref", v1::condition::Value::Text("bit 3".into()));
        put(&mut run.conditions, "accessory_use_count", quantity("400"));
    }
    let (field, reason, message) = refused(&ring, &wearing).await?;
    assert!(field.starts_with("arms[1].charges[0].runs[0].conditions"), "{field}");
    assert_eq!(reason, "CONDITIONS_DIFFER");
    assert!(message.contains("bit 3") && message.contains("begin alike"), "{message}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn pack_a_first_then_pack_b() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut blocked = fixture(SCREWS, 1)?;
    blocked.plan.as_mut().unwrap().order_design = v1::OrderDesign::Blocked.into();
    for (place, run) in runs(&mut blocked).enumerate() {
        run.position_count = i32::try_from(place + 1).ok();
    }
    let told = finding(&ring, &blocked, "blocked_order").await?;
    assert_eq!(told.field, "plan.order_design");
    assert!(told.message.contains("16 runs apart") && told.message.contains("in turn"), "{}", told.message);
    ring.accepted("t01", blocked).await?;
    let answer = ask(&ring, question(SCREWS)).await?;
    let (stratum, headline) = only(&answer);
    assert!(headline.order_bias > 0.0 && (headline.blocked_weight_ratio - 1.0).abs() < 1e-12, "{headline:?}");
    let (with, without) =
        (width(headline.effect.as_ref()), width(headline.effect_without_order_bias.as_ref()));
    assert!(with > 1.01 * without, "{with} {without}");
    assert!(stratum.warnings.iter().any(|w| w.name == "blocked_bias"), "{:?}", stratum.warnings);
    assert_eq!(stratum.direction(), v1::Direction::NotEnoughEvidence);
    assert!(stratum.without_blocked.is_none());
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn warm_pack_straight_off_the_charger() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut warm = fixture(SCREWS, 1)?;
    put(&mut warm.arms[1].charges[0].conditions, "pack_start_temperature", quantity("31 °C"));
    let told = noticed(&ring, &warm, "R14").await?;
    assert_eq!(told.kind, "state_doubtful");
    assert!(told.field.starts_with("arms[1].charges[0]"), "{}", told.field);
    assert!(told.message.contains("13 K from the air at 18 °C"), "{}", told.message);
    assert!(told.question.starts_with("had the pack rested"), "{}", told.question);
    assert_eq!(obstacles(&ring, &warm).await?, ["STATE_DOUBTFUL"]);
    // Who says so is not asked, and is not pooled either.
    put(&mut warm.arms[1].charges[0].conditions, "starting_state", choice("full_warm"));
    assert_eq!(obstacles(&ring, &warm).await?, ["STARTING_STATE"]);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn timed_runs_far_down_the_charge() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut late = fixture(SCREWS, 1)?;
    for run in late.arms[0].charges.iter_mut().flat_map(|c| &mut c.runs) {
        put(&mut run.conditions, "runs_since_charge", quantity("150"));
    }
    let asked = noticed(&ring, &late, "R23").await?;
    assert!(asked.message.contains("down its charge"), "{}", asked.message);
    assert!(asked.message.contains("recharge"), "{}", asked.message);
    assert_eq!(obstacles(&ring, &late).await?, ["USED_CHARGE_APART"]);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn partial_charge_called_full() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let larger = [("load_current", "1.6 A")];
    let arms = [
        arm("k5-1", &[&["88 Wh"], &["87.5 Wh"]]),
        Arm { specimen: "k8-1", readings: &[&["141 Wh"], &["140 Wh"]], set: &larger },
    ];
    let full = trial(&ring, "discharge-energy", &[("open_circuit_voltage", "20.6 V")], &arms).await?;
    assert!(obstacles(&ring, &full).await?.is_empty());
    // 3.88 V a cell, called full.
    let mut partial = full.clone();
    put(&mut partial.arms[0].charges[0].conditions, "open_circuit_voltage", quantity("19.4 V"));
    let asked = noticed(&ring, &partial, "R11").await?;
    assert!(asked.message.contains("3.88 V") && asked.question.contains("partial"), "{asked:?}");
    // Who says partial is not asked, and is not pooled.
    put(&mut partial.arms[0].charges[0].conditions, "starting_state", choice("partial"));
    assert_eq!(obstacles(&ring, &partial).await?, ["STARTING_STATE"]);
    // No cell rests at 4.34 V.
    let mut over = full;
    put(&mut over.arms[0].charges[0].conditions, "open_circuit_voltage", quantity("21.7 V"));
    let (field, _, message) = refused(&ring, &over).await?;
    assert!(field.starts_with("arms[0].charges[0].conditions"), "{field}");
    assert!(message.contains("4.34 V") && message.contains("5 cells"), "{message}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn hand_timing_of_short_events() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut short = fixture(SCREWS, 1)?;
    runs(&mut short).for_each(|run| scale(run, 0.5));
    put(&mut short.conditions, "timing_method", choice("hand_stopwatch"));
    let asked = noticed(&ring, &short, "R22").await?;
    assert_eq!(asked.kind, "coarse_timing");
    assert!(asked.message.contains("0.1 s") && asked.message.contains("film it"), "{}", asked.message);
    assert!(!asked.question.is_empty(), "{asked:?}");
    // Filmed, the same times are left in peace.
    put(&mut short.conditions, "timing_method", choice("video_frames"));
    let findings = check(&ring, &short).await?.trial.unwrap().findings;
    assert!(findings.iter().all(|f| f.rule != "R22"), "{findings:?}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn cold_shed() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    ring.accepted("t01", fixture(SCREWS, 1)?).await?;
    let mut cold = fixture(SCREWS, 2)?;
    put(&mut cold.conditions, "ambient_temperature", quantity("4 °C"));
    for charge in cold.arms.iter_mut().flat_map(|arm| &mut arm.charges) {
        put(&mut charge.conditions, "pack_start_temperature", quantity("41 °F"));
    }
    ring.accepted("t02", cold).await?;
    let answer = ask(&ring, question(SCREWS)).await?;
    let bands = shared(&answer, "ambient_temperature");
    assert!(matches!(&bands[..], [mild, cold] if mild != cold), "{bands:?}");
    let trials = |s: &v1::Stratum| s.headline.as_ref().unwrap().basis.unwrap().trials_count;
    assert!(answer.strata.iter().all(|s| trials(s) == 1), "bands are not mixed");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn piece_changes_between_packs() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut pieces = fixture(SCREWS, 1)?;
    pieces.conditions.retain(|c| c.field != "workpiece_batch");
    for (n, arm) in pieces.arms.iter_mut().enumerate() {
        let beam = v1::condition::Value::Text(format!("beam {n}"));
        put(&mut arm.conditions, "workpiece_batch", beam);
    }
    let told = check(&ring, &pieces).await?.violations;
    let misplaced: Vec<_> = told.iter().filter(|v| v.field.starts_with("arms[")).collect();
    assert_eq!(misplaced.len(), 2, "{told:?}");
    assert!(misplaced.iter().all(|v| v.message.contains("`workpiece_batch` holds for the whole trial")));
    assert!(misplaced[0].message.contains("so submit one for each"), "{}", misplaced[0].message);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn failed_runs_left_out() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut silent = fixture(SCREWS, 1)?;
    silent.arms[0].charges[0].runs[3].end_criterion = 0;
    let (field, _, message) = refused(&ring, &silent).await?;
    assert_eq!(field, "arms[0].charges[0].runs[3].end_criterion");
    assert!(message.contains("tool_stall") && message.contains("target_reached"), "{message}");
    // What was planned is declared before the first run: a run that is not sent is asked for.
    let mut short = fixture(SCREWS, 1)?;
    short.arms[0].charges[1].runs.remove(3);
    let checked = check(&ring, &short).await?.trial.unwrap();
    let asked = |field: &str, words: &str| {
        let found = checked.findings.iter().find(|f| f.kind == "plan_differs" && f.field == field);
        let found = found.unwrap_or_else(|| panic!("{field}: {:?}", checked.findings));
        assert!(found.message.contains(words) && !found.question.is_empty(), "{found:?}");
    };
    asked("arms[0]", "16 runs were planned for each pack, and this arm has 15");
    asked("arms", "no run has position 23");
    ring.accepted("t01", short).await?;
    let answer = ask(&ring, question(SCREWS)).await?;
    let completion = &answer.strata[0].completion[0];
    assert_eq!((completion.planned_runs_count, completion.not_run_count), (16, 1));
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stalled_pack_has_no_result() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut stalls = fixture(CUTS, 1)?;
    let run = &mut stalls.arms[0].charges[1].runs[0];
    run.reading = Some(v1::Quantity { as_written: "0 cuts".into(), ..Default::default() });
    run.end_criterion = v1::EndCriterion::ToolStall.into();
    let kept = ring.accepted("t01", stalls).await?;
    assert_eq!(kept.arms[0].charges[1].runs[0].outcome, "failed_at_load");
    let answer = ask(&ring, question(CUTS)).await?;
    let (stratum, _) = only(&answer);
    let [k5, k8] = &stratum.completion[..] else { panic!("{:?}", stratum.completion) };
    assert_eq!((k5.failed_at_load["tool_stall"], k5.failed_runs_count, k8.failed_runs_count), (1, 1, 0));
    assert_eq!(k5.failed_ratio.as_ref().unwrap().estimate, Some(0.5));
    // In timed work a stall bounds the time from below.
    let mut timed = fixture(SCREWS, 1)?;
    timed.arms[0].charges[0].runs[0].end_criterion = v1::EndCriterion::ToolStall.into();
    let kept = ring.accepted("t01", timed).await?;
    assert_eq!(kept.arms[0].charges[0].runs[0].outcome, "right_censored");
    let answer = ask(&ring, question(SCREWS)).await?;
    let (stratum, headline) = only(&answer);
    assert_eq!(headline.basis.unwrap().censored_runs_count, 1);
    assert!(stratum.complete_case.is_some(), "the value without stopped runs stands beside");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn temperature_compared_at_cut_off() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    for (n, basis) in [(1, "fixed_work"), (2, "to_cutoff")] {
        let (k5, k8) = (format!("k5-{n}"), format!("k8-{n}"));
        let set = [
            ("temperature_basis", basis),
            ("work_done", "10"),
            ("energy_delivered", "30 Wh"),
            ("load_current", "16 A"),
            ("mean_input_power", "280 W"),
        ];
        let rises =
            [arm(&k5, &[&["21 K"], &["22 K"], &["20 K"]]), arm(&k8, &[&["14 K"], &["15 K"], &["14.5 K"]])];
        ring.accepted("t01", trial(&ring, "temperature-rise", &set, &rises).await?).await?;
    }
    let answer = ask(&ring, question("temperature-rise")).await?;
    assert_eq!(shared(&answer, "temperature_basis"), ["fixed_work", "to_cutoff"]);
    let effect = answer.strata[0].headline.as_ref().unwrap().effect.as_ref().unwrap();
    assert_eq!(effect.unit, "K");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn two_wire_sag() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    for (n, wiring) in [(1, "four_wire"), (2, "two_wire")] {
        let (k5, k8) = (format!("k5-{n}"), format!("k8-{n}"));
        let larger = [("load_current", "1.6 A")];
        let arms = [
            arm(&k5, &[&["88 Wh"], &["87.5 Wh"]]),
            Arm { specimen: &k8, readings: &[&["141 Wh"], &["140 Wh"]], set: &larger },
        ];
        let sent = trial(&ring, "discharge-energy", &[("sense_wiring", wiring)], &arms).await?;
        ring.accepted("t01", sent).await?;
    }
    let answer = ask(&ring, question("discharge-energy")).await?;
    assert_eq!(shared(&answer, "sense_wiring"), ["four_wire", "two_wire"]);
    // 3.2 V a cell on average is what the leads took.
    let mut sagged = made::trial("discharge-capacity");
    made::read(&mut sagged, 5.0, "Ah");
    made::set(&mut sagged, "energy_delivered", 80.0, "Wh");
    made::choose(&mut sagged, "sense_wiring", "two_wire");
    let told = noticed(&ring, &sagged, "R10").await?;
    assert!(told.message.contains("3.2 V"), "{}", told.message);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn other_pulse_length_or_state_of_charge() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(3).await?;
    for (n, length, charge) in [(1, "10 s", "60 %"), (2, "1 s", "60 %"), (3, "10 s", "20 %")] {
        let (k5, k8) = (format!("k5-{n}"), format!("k8-{n}"));
        let set = [("pulse_duration", length), ("state_of_charge", charge), ("starting_state", "stated_soc")];
        let arms = [
            arm(&k5, &[&["95 mΩ", "96 mΩ", "95 mΩ"], &["97 mΩ", "95 mΩ", "96 mΩ"]]),
            arm(&k8, &[&["62 mΩ", "61 mΩ", "63 mΩ"], &["62 mΩ", "62 mΩ", "61 mΩ"]]),
        ];
        let mut sent = trial(&ring, "pulse-resistance", &set, &arms).await?;
        ring.accepted("t01", sent.clone()).await?;
        for run in sent.arms[1].charges.iter_mut().flat_map(|c| &mut c.runs) {
            put(&mut run.conditions, "state_of_charge", quantity("48 %"));
        }
        assert!(obstacles(&ring, &sent).await?.contains(&"ARMS_APART".to_owned()));
    }
    let answer = ask(&ring, question("pulse-resistance")).await?;
    let lengths = shared(&answer, "pulse_duration");
    assert!(matches!(&lengths[..], [short, long] if short != long), "{lengths:?}");
    let out: Vec<_> = answer.left_out.iter().map(|l| (l.trials_count, l.message.as_str())).collect();
    assert!(matches!(out[..], [(1, why)] if why.contains("state of charge is 20 %")), "{out:?}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn the_maker_lent_the_sample() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    let lent = v1::PackSpecimen {
        pack_model: "packModels/k8".into(),
        acquired: v1::Acquired::LentByMaker.into(),
        ..Default::default()
    };
    let create = |specimen: v1::PackSpecimen| v1::CreatePackSpecimenRequest {
        pack_specimen_id: "k8-lent".into(),
        pack_specimen: Some(specimen),
        ..Default::default()
    };
    let silent = create(v1::PackSpecimen { acquired: 0, ..lent.clone() });
    let refused = ring.packs().create_pack_specimen(by("tester-t02", silent)).await.unwrap_err();
    assert_eq!(crate::violations(&refused)[0].0, "pack_specimen.acquired");
    ring.packs().create_pack_specimen(by("tester-t02", create(lent))).await?;
    ring.accepted("t01", fixture(SCREWS, 1)?).await?;
    let mut flattered = fixture(SCREWS, 2)?;
    flattered.arms[1].pack_specimen = "packSpecimens/k8-lent".into();
    for run in flattered.arms[1].charges.iter_mut().flat_map(|c| &mut c.runs) {
        scale(run, 0.8);
    }
    ring.accepted("t02", flattered).await?;
    let answer = ask(&ring, question(SCREWS)).await?;
    let (stratum, headline) = only(&answer);
    let without = stratum.without_maker_supplied.as_ref();
    assert_eq!(without.unwrap().basis.unwrap().trials_count, 1);
    assert!(estimate(Some(headline)) < 0.95 * estimate(without));
    ring.end().await
}
