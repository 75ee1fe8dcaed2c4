//! How precise a method is, by ISO 5725-2 over testers.

use benchring_api::v1;
use benchring_tests::{Ring, fixture, json, on_each};
use tonic::Code;

use crate::{reason, violations};

const SCREWS: &str = "methods/screw-drive-time/versions/1";

fn assess(pack: &str) -> v1::AssessMethodRequest {
    v1::AssessMethodRequest { method: SCREWS.into(), pack_model: pack.into(), ..Default::default() }
}

/// The fixture at three levels, and ln of the readings of its first pack that count, tester by tester.
async fn three(ring: &Ring) -> anyhow::Result<Vec<Vec<f64>>> {
    let mut all = Vec::new();
    for n in 1..=3 {
        let mut trial = fixture("screw-drive-time", n)?;
        let mut logs = Vec::new();
        for (place, arm) in trial.arms.iter_mut().enumerate() {
            for run in arm.charges.iter_mut().flat_map(|c| &mut c.runs) {
                let reading = run.reading.as_mut().unwrap();
                let seconds: f64 = reading.as_written.trim_end_matches(" s").parse()?;
                let told = format!("{:.2}", seconds * (0.8 + 0.2 * n as f64));
                if place == 0 && !run.warm_up {
                    logs.push(told.parse::<f64>()?.ln());
                }
                reading.as_written = format!("{told} s");
            }
        }
        ring.accepted(&format!("t0{n}"), trial).await?;
        all.push(logs);
    }
    Ok(all)
}

/// `s_r^2 = sum (n-1) s^2/(N-p)`, `s_d^2 = sum n (m - mean)^2/(p-1)`, `s_L^2 = (s_d^2 - s_r^2)/n` of ISO 5725-2, like n.
fn by_hand(cells: &[Vec<f64>]) -> (f64, f64) {
    let (p, n) = (cells.len() as f64, cells[0].len() as f64);
    let means: Vec<f64> = cells.iter().map(|c| c.iter().sum::<f64>() / n).collect();
    let mean = means.iter().sum::<f64>() / p;
    let within: f64 =
        cells.iter().zip(&means).flat_map(|(c, m)| c.iter().map(move |y| (y - m).powi(2))).sum();
    let within = within / (p * (n - 1.0));
    let between = means.iter().map(|m| n * (m - mean).powi(2)).sum::<f64>() / (p - 1.0);
    let over = within + ((between - within) / n).max(0.0);
    (within.sqrt(), over.sqrt())
}

#[tokio::test(flavor = "multi_thread")]
async fn precision_is_that_of_the_readings_by_hand_and_the_same_by_json() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(3).await?;
        let cells = three(&ring).await?;
        let answer = ring.pools().assess_method(assess("packModels/k5")).await?.into_inner();
        let [stratum] = &answer.strata[..] else { panic!("{answer:?}") };
        let (within, over) = by_hand(&cells);
        let figure = |one: &Option<v1::PrecisionFigure>| one.clone().unwrap();
        let (s_r, s_over) = (figure(&stratum.repeatability_sd), figure(&stratum.reproducibility_sd));
        assert!((s_r.value - within).abs() < 1e-12, "{s_r:?} {within}");
        assert!((s_over.value - over).abs() < 1e-12, "{s_over:?} {over}");
        assert!((s_r.percent.unwrap() - 100.0 * within.exp_m1()).abs() < 1e-9);
        assert!(s_r.lower() < s_r.value && s_r.value < s_r.upper());
        assert!((figure(&stratum.repeatability_limit).value - 2.8 * within).abs() < 1e-12);
        assert!((figure(&stratum.reproducibility_limit).value - 2.8 * over).abs() < 1e-12);
        assert_eq!((stratum.testers_count, stratum.cells.len()), (3, 3));
        assert_eq!(usize::try_from(stratum.runs_count), Ok(cells.iter().map(Vec::len).sum()));
        assert!(answer.sentence.contains("3 testers") && !answer.cautions.is_empty(), "{}", answer.sentence);
        assert_eq!(answer.data_version, ring.data_version().await?);

        let client = json::Client::new(ring.address());
        let path = format!("/v1/pools:assess?method={SCREWS}&packModel=packModels/k5");
        let told = client.get(&path, None).await?.ok()?;
        assert_eq!(told["strata"][0]["repeatabilitySd"]["value"].as_f64(), Some(s_r.value));
        let body =
            format!("{{\"method\":\"{SCREWS}\",\"packModel\":\"packModels/k5\",\"exactFactor\":true}}");
        let exact = client.post("/v1/pools:assess", None, &body).await?.ok()?;
        assert!((exact["strata"][0]["limitFactor"].as_f64().unwrap() - 2.771_807_648_699_345).abs() < 1e-9);

        // Over all packs, with what they differ by taken off: as many testers, as many readings each.
        let whole = ring.pools().assess_method(assess("")).await?.into_inner();
        assert_eq!(whole.strata[0].testers_count, 3);

        // As of a version before the last decision there are two testers only.
        let before = v1::AssessMethodRequest {
            data_version: Some(answer.data_version - 1),
            ..assess("packModels/k5")
        };
        let few = ring.pools().assess_method(before).await.unwrap_err();
        assert_eq!((few.code(), reason(&few).as_str()), (Code::NotFound, "NO_EVIDENCE"));
        assert!(few.message().contains("1 more tester"), "{few}");
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn all_that_is_wrong_is_told_at_once() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let wrong = v1::AssessMethodRequest {
        method: "methods/no-such/versions/1".into(),
        pack_model: "packs/k5".into(),
        level_ratio: 95.0,
        data_version: Some(-1),
        scope: Some(v1::PoolScope { demand_class: "d9".into(), ..Default::default() }),
        ..Default::default()
    };
    let refused = ring.pools().assess_method(wrong).await.unwrap_err();
    let mut fields: Vec<String> = violations(&refused).into_iter().map(|(field, _)| field).collect();
    fields.sort();
    assert_eq!(fields, ["data_version", "level_ratio", "method", "pack_model", "scope.demand_class"]);
    let unknown = ring.pools().assess_method(assess("packModels/never")).await.unwrap_err();
    assert_eq!((unknown.code(), reason(&unknown).as_str()), (Code::NotFound, "NOT_FOUND"));
    for level in [f64::NAN, f64::INFINITY, -0.5, 0.1] {
        let odd = v1::AssessMethodRequest { level_ratio: level, ..assess("") };
        let refused = ring.pools().assess_method(odd).await.unwrap_err();
        assert_eq!(violations(&refused)[0].0, "level_ratio", "{level}");
    }
    let none = ring.pools().assess_method(assess("")).await.unwrap_err();
    assert_eq!(reason(&none), "NO_EVIDENCE");
    ring.end().await
}
