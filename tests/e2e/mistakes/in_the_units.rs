//! Mistakes of units, labels and bases.

use benchring_api::v1;
use benchring_tests::{Ring, fixture, json};
use serde_json::Value;

use crate::made;

use super::bench::{
    Arm, CUTS, SCREWS, arm, ask, estimate, finding, noticed, obstacles, only, put, quantity, question,
    refused, runs, scale, trial,
};

#[tokio::test(flavor = "multi_thread")]
async fn centimetres_millimetres_and_nominal_sizes() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for (field, text, reason, words) in [
        ("drive_depth", "100", "UNIT_MISSING", "which unit was read: mm, cm, m, in or ft?"),
        ("screw_diameter", "0.6 mm", "OUT_OF_LIMITS", "0.6 mm"),
        ("drive_depth", "2x4", "NOMINAL_SIZE", "measure width and height"),
    ] {
        let mut sent = fixture(SCREWS, 1)?;
        put(&mut sent.conditions, field, quantity(text));
        let (_, code, message) = refused(&ring, &sent).await?;
        assert!(code == reason && message.contains(words), "{code}: {message}");
    }
    // A section that no saw takes so long over.
    let mut cut = made::trial("crosscut-time");
    made::set(&mut cut, "cut_width", 20.0, "mm");
    made::set(&mut cut, "cut_height", 15.0, "mm");
    made::read(&mut cut, 8.0, "s");
    let asked = noticed(&ring, &cut, "R18").await?;
    assert!(asked.question.contains("20 cm (200 mm)"), "{asked:?}");
    // Possible, and unusual: asked.
    let mut sent = fixture(SCREWS, 1)?;
    put(&mut sent.conditions, "screw_length", quantity("10 mm"));
    let asked = finding(&ring, &sent, "soft_limit").await?;
    assert!(asked.message.contains("10 mm") && asked.question.contains("10 mm"), "{asked:?}");
    ring.end().await
}

/// One reading is told by its arm. A whole trial in minutes cancels in the ratio, and its level tells.
#[tokio::test(flavor = "multi_thread")]
async fn seconds_and_minutes() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(6).await?;
    let mut once = fixture(SCREWS, 1)?;
    once.arms[0].charges[0].runs[0].reading.as_mut().unwrap().as_written = "2.61 min".into();
    let asked = finding(&ring, &once, "unit_slip").await?;
    assert_eq!(
        (asked.field.as_str(), asked.suggestion.as_str()),
        ("arms[0].charges[0].runs[0].reading", "2.61 s")
    );
    assert!(asked.message.contains("minutes and seconds"), "{}", asked.message);
    // Power and energy say how long it must have been.
    let mut idle = made::trial("no-load-runtime");
    made::set(&mut idle, "mean_input_power", 100.0, "W");
    made::set(&mut idle, "energy_delivered", 50.0, "Wh");
    made::read(&mut idle, 30.0, "s");
    assert_eq!(noticed(&ring, &idle, "R17").await?.suggestion, "30 min (1800 s)");
    let mut whole = fixture(SCREWS, 1)?;
    for run in runs(&mut whole) {
        let written = &mut run.reading.as_mut().unwrap().as_written;
        *written = written.replace(" s", " min");
    }
    assert_eq!(obstacles(&ring, &whole).await?, ["USED_CHARGE_APART"], "no charge lasts for so many minutes");
    let method = "no-load-runtime";
    for n in 1..=6 {
        let unit = if n == 6 { "s" } else { "min" };
        let time = |usual: f64| format!("{:.2} {unit}", usual * (1.0 + 0.02 * f64::from(n)));
        let (a, b) = ([time(40.0), time(41.0)], [time(64.0), time(65.6)]);
        let (k5, k8) = (format!("k5-{n}"), format!("k8-{n}"));
        let set = [("mean_input_power", "60 W")];
        let (a, b) = (a.each_ref().map(|t| [t.as_str()]), b.each_ref().map(|t| [t.as_str()]));
        let (a, b) = ([&a[0][..], &a[1]], [&b[0][..], &b[1]]);
        let arms = [arm(&k5, &a), arm(&k8, &b)];
        ring.accepted(&format!("t0{n}"), trial(&ring, method, &set, &arms).await?).await?;
    }
    let answer = ask(&ring, question(method)).await?;
    let (stratum, _) = only(&answer);
    let rows: Vec<f64> = stratum.testers.iter().map(|row| row.effect.as_ref().unwrap().estimate()).collect();
    assert!(rows.iter().all(|r| (r / rows[0] - 1.0).abs() < 0.01), "it cancels in the ratio: {rows:?}");
    let far: Vec<_> =
        stratum.levels.iter().filter(|level| level.signal() == v1::LevelSignal::Action).collect();
    let [level] = &far[..] else { panic!("{:?}", stratum.levels) };
    assert!(level.slips[0].contains("minutes and seconds"), "{level:?}");
    ring.end().await
}

/// 100 (1 - r) less time is 100 (1/r - 1) more rate: both stand in every answer about a duration.
#[tokio::test(flavor = "multi_thread")]
async fn percent_faster_is_not_percent_less_time() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut sent = fixture(SCREWS, 1)?;
    for (n, arm) in sent.arms.iter_mut().enumerate() {
        for run in arm.charges.iter_mut().flat_map(|c| &mut c.runs) {
            run.reading.as_mut().unwrap().as_written = if n == 0 { "3.0 s" } else { "2.0 s" }.into();
        }
    }
    ring.accepted("t01", sent).await?;
    let answer = ask(&ring, question(SCREWS)).await?;
    let percent = only(&answer).1.percent.as_ref().unwrap();
    let less = percent.time_reduction_percent.as_ref().unwrap().estimate();
    let gain = percent.rate_gain_percent.as_ref().unwrap().estimate();
    assert!((less - 100.0 / 3.0).abs() < 1e-9 && (gain - 50.0).abs() < 1e-9, "{less} {gain}");
    assert!(answer.sentence.contains("33.3 % less time"), "{}", answer.sentence);
    assert!(
        answer.sentence.contains("rate gain of") && answer.sentence.contains("50"),
        "{}",
        answer.sentence
    );
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn label_capacity_taken_as_measured() -> anyhow::Result<()> {
    use v1::NormalisationBadge as Badge;
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    ring.accepted("t01", fixture(CUTS, 1)?).await?;
    let mut small = fixture("discharge-capacity", 1)?;
    for run in small.arms[1].charges.iter_mut().flat_map(|c| &mut c.runs) {
        scale(run, 0.9);
    }
    ring.accepted("t01", small).await?;
    let asked = v1::ComparePacksRequest { all_normalisations: true, ..question(CUTS) };
    let answer = ask(&ring, asked).await?;
    let (stratum, headline) = only(&answer);
    let by = |normalisation: v1::Normalisation| {
        let is =
            |row: &&v1::NormalisedEffect| row.normalised.as_ref().unwrap().normalisation() == normalisation;
        let row = stratum.normalisations.iter().find(is).unwrap();
        (row.normalised.as_ref().unwrap().badge(), estimate(row.effect.as_ref()))
    };
    let (label, per_label) = by(v1::Normalisation::PerRatedAh);
    let (measured, per_measured) = by(v1::Normalisation::PerMeasuredAh);
    assert_eq!((label, measured), (Badge::Label, Badge::Measured));
    let plain = estimate(Some(headline));
    assert!((per_label / plain - 5.0 / 8.0).abs() < 1e-9, "{per_label} {plain}");
    let ratio = 0.9 * (7.88_f64 * 7.91).sqrt() / (4.91_f64 * 4.93).sqrt();
    assert!((per_measured * ratio / plain - 1.0).abs() < 1e-6, "{per_measured} {plain}");
    ring.end().await
}

async fn pack(ring: &Ring, id: &str, changes: &[(&str, Value)]) -> anyhow::Result<Value> {
    let mut body: Value = serde_json::from_str(include_str!("../../fixtures/pack-k5.json"))?;
    body["designation"] = id.to_uppercase().into();
    for (field, value) in changes {
        body[*field] = value.clone();
    }
    let client = json::Client::new(ring.address());
    let path = format!("/v1/packModels?packModelId={id}");
    client.post(&path, Some("tester-t01"), &body.to_string()).await?.ok()
}

#[tokio::test(flavor = "multi_thread")]
async fn maximum_voltage_taken_as_nominal() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let volts = serde_json::json!({"value": 20, "unit": "V"});
    let kept = pack(&ring, "k5-max", &[("labelVoltage", volts.clone()), ("nominalVoltage", volts)]).await?;
    let told = kept["findings"].as_array().unwrap();
    for (rule, field, words, suggestion) in [
        ("R01", "rated_energy", "5 A·h x 20 V = 100 W·h", "100 W·h"),
        ("R02", "nominal_voltage", "the charged voltage of a lithium-ion cell", "18 V"),
        ("R03", "label_voltage_kind", "a maximum voltage and not a nominal one", "maximum"),
    ] {
        let found = told.iter().find(|f| f["field"] == field).unwrap_or_else(|| panic!("{field}: {told:?}"));
        assert!(found["message"].as_str().unwrap().contains(words), "{found}");
        assert_eq!((&found["rule"], &found["suggestion"]), (&rule.into(), &suggestion.into()));
        assert!(found["question"].as_str().unwrap().ends_with('?'));
    }
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn ampere_hours_compared_across_voltages() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let volts = serde_json::json!({"value": 36, "unit": "V"});
    let tens = [
        ("seriesCount", 10.into()),
        ("parallelCount", 1.into()),
        ("labelVoltage", volts.clone()),
        ("nominalVoltage", volts),
        ("ratedCapacity", serde_json::json!({"asWritten": "2.5 Ah"})),
    ];
    let kept = pack(&ring, "h2", &tens).await?;
    assert!(kept["findings"].is_null(), "36 V by 2.5 Ah is 90 Wh as well: {kept}");
    let body = r#"{"packModel":"packModels/h2","acquired":"ACQUIRED_BOUGHT_RETAIL"}"#;
    let client = json::Client::new(ring.address());
    client.post("/v1/packSpecimens?packSpecimenId=h2-1", Some("tester-t01"), body).await?.ok()?;
    let mut ratios = Vec::new();
    for (method, k5, h2) in [
        ("discharge-capacity", [&["4.9 Ah"][..], &["4.92 Ah"]], [&["2.45 Ah"][..], &["2.46 Ah"]]),
        ("discharge-energy", [&["88 Wh"][..], &["88.4 Wh"]], [&["88 Wh"][..], &["88.4 Wh"]]),
    ] {
        let set = [("cutoff_voltage", "27.5 V"), ("load_current", "0.5 A")];
        let arms = [arm("k5-1", &k5), Arm { specimen: "h2-1", readings: &h2, set: &set }];
        ring.accepted("t01", trial(&ring, method, &[], &arms).await?).await?;
        let asked = v1::ComparePacksRequest { pack_b: "packModels/h2".into(), ..question(method) };
        ratios.push(estimate(Some(only(&ask(&ring, asked).await?).1)));
    }
    assert!((ratios[0] - 0.5).abs() < 1e-9 && (ratios[1] - 1.0).abs() < 1e-9, "{ratios:?}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn bigger_pack_is_slower_to_charge() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let set = [("starting_state", "discharged_to_cutoff")];
    let arms = [arm("k5-1", &[&["62 min"], &["61 min"]]), arm("k8-1", &[&["93 min"], &["91.5 min"]])];
    ring.accepted("t01", trial(&ring, "recharge-time", &set, &arms).await?).await?;
    let plain = estimate(Some(only(&ask(&ring, question("recharge-time")).await?).1));
    assert!((plain - 1.5).abs() < 1e-9, "{plain}");
    let asked = v1::ComparePacksRequest {
        normalisation: v1::Normalisation::PerRatedWh.into(),
        ..question("recharge-time")
    };
    let per_wh = estimate(Some(only(&ask(&ring, asked).await?).1));
    assert!((per_wh - 1.5 * 90.0 / 144.0).abs() < 1e-9, "faster for each watt-hour: {per_wh}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn price_of_another_year_or_currency() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(0).await?;
    let price = |amount: &str, currency: &str, date: &str| serde_json::json!({"amount": amount, "currency": currency, "date": date, "region": "SE"});
    let client = json::Client::new(ring.address());
    let bare =
        include_str!("../../fixtures/pack-k5.json").replacen('{', "{\"price\":{\"amount\":\"99 kr\"},", 1);
    let answer = client.post("/v1/packModels", Some("tester-t01"), &bare).await?.json()?;
    let told: Vec<_> = answer["errors"].as_array().unwrap().iter().map(|e| e["pointer"].clone()).collect();
    assert_eq!(told, ["/price/amount", "/price/currency", "/price/region", "/price/date"], "{answer}");
    for (id, sold) in [
        ("old", price("990", "SEK", "2020-03-02")),
        ("new", price("1290", "SEK", "2026-03-02")),
        ("away", price("129", "EUR", "2026-03-02")),
        ("here", price("1190", "SEK", "2026-02-20")),
    ] {
        pack(&ring, id, &[("price", sold)]).await?;
        let body = format!("{{\"packModel\":\"packModels/{id}\",\"acquired\":\"ACQUIRED_BOUGHT_RETAIL\"}}");
        let path = format!("/v1/packSpecimens?packSpecimenId={id}-1");
        client.post(&path, Some("tester-t01"), &body).await?.ok()?;
    }
    for (other, taken) in [("old", false), ("away", false), ("here", true)] {
        let mut sent = fixture(CUTS, 1)?;
        sent.arms[0].pack_specimen = "packSpecimens/new-1".into();
        sent.arms[1].pack_specimen = format!("packSpecimens/{other}-1");
        ring.accepted("t01", sent).await?;
        let asked = v1::ComparePacksRequest {
            pack_a: "packModels/new".into(),
            pack_b: format!("packModels/{other}"),
            normalisation: v1::Normalisation::PerPrice.into(),
            ..question(CUTS)
        };
        let answer = ring.pools().compare_packs(asked).await;
        assert_eq!(answer.is_ok(), taken, "{other}: {answer:?}");
        if let Err(status) = answer {
            assert!(status.message().contains("price"), "{status}");
        }
    }
    ring.end().await
}

/// What a specimen is and has been through stands with it, and what it held is set beside its label.
#[tokio::test(flavor = "multi_thread")]
async fn dead_or_aged_specimen() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let old = r#"{"packModel":"packModels/k5","acquired":"ACQUIRED_SECOND_HAND","dateCode":"2019-W14",
        "firstUse":"2019-06","cycleCount":640,"cycleCountCounted":false}"#;
    let client = json::Client::new(ring.address());
    let path = "/v1/packSpecimens?packSpecimenId=k5-old";
    let kept = client.post(path, Some("tester-t01"), old).await?.ok()?;
    assert_eq!((&kept["cycleCount"], &kept["dateCode"]), (&640.into(), &"2019-W14".into()), "{kept}");
    let mut measured = fixture("discharge-capacity", 1)?;
    let mut work = fixture(CUTS, 1)?;
    for sent in [&mut measured, &mut work] {
        sent.arms[0].pack_specimen = "packSpecimens/k5-old".into();
        sent.arms[0].charges.iter_mut().flat_map(|c| &mut c.runs).for_each(|run| scale(run, 0.72));
    }
    let told = noticed(&ring, &measured, "R09").await?;
    assert!(told.message.contains("5 A·h") && told.question.is_empty(), "an aged pack is data: {told:?}");
    for sent in [measured, work] {
        ring.accepted("t01", sent).await?;
    }
    // By the label the aged pack does poor work for its size; by what it holds, as good as a sound one.
    let asked = v1::ComparePacksRequest { all_normalisations: true, ..question(CUTS) };
    let answer = ask(&ring, asked).await?;
    let per_ah = |normalisation: v1::Normalisation| {
        let is =
            |row: &&v1::NormalisedEffect| row.normalised.as_ref().unwrap().normalisation() == normalisation;
        estimate(only(&answer).0.normalisations.iter().find(is).unwrap().effect.as_ref())
    };
    let (rated, held) = (per_ah(v1::Normalisation::PerRatedAh), per_ah(v1::Normalisation::PerMeasuredAh));
    let due = 0.72 * (4.91_f64 * 4.93).sqrt() / (7.88_f64 * 7.91).sqrt() * 8.0 / 5.0;
    assert!((held / rated / due - 1.0).abs() < 1e-6, "{rated} {held} {due}");
    ring.end().await
}
