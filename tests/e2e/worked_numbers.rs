//! Numbers that a tester can check on paper, by the whole way from a trial to an answer. Common practice, no
//! source.

use std::sync::Arc;

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture, on_each};

use crate::{reason, violations};

const SCREWS: &str = "methods/screw-drive-time/versions/1";
const CUTS: &str = "methods/cuts-per-charge/versions/1";

/// The fixture with one scored run in one charge of each arm, reading as written.
fn single_runs(name: &str, readings: [&str; 2]) -> anyhow::Result<v1::Trial> {
    let mut trial = fixture(name, 1)?;
    for (n, (arm, reading)) in trial.arms.iter_mut().zip(readings).enumerate() {
        arm.charges.truncate(1);
        let runs = &mut arm.charges[0].runs;
        runs.truncate(1);
        runs[0].reading = Some(v1::Quantity { as_written: reading.into(), ..Default::default() });
        (runs[0].round_count, runs[0].position_count) = (Some(1), Some(i32::try_from(n)? + 1));
    }
    let plan = trial.plan.as_mut().unwrap();
    (plan.rounds_count, plan.runs_per_round_count) = (Some(1), Some(1));
    plan.order_design = v1::OrderDesign::RandomisedBlocks.into();
    Ok(trial)
}

async fn leading(
    ring: &Ring,
    method: &str,
    b: &str,
    divided_by: v1::Normalisation,
) -> anyhow::Result<v1::Stratum> {
    let asked = v1::ComparePacksRequest {
        method: method.into(),
        pack_a: "packModels/k5".into(),
        pack_b: format!("packModels/{b}"),
        normalisation: divided_by.into(),
        ..Default::default()
    };
    Ok(ring.pools().compare_packs(asked).await?.into_inner().strata.remove(0))
}

fn near(interval: Option<&v1::Interval>, expected: f64, within: f64) {
    let interval = interval.unwrap();
    assert!((interval.estimate() - expected).abs() <= within, "{interval:?} is not {expected}");
    assert!(interval.lower() < expected && expected < interval.upper(), "{interval:?}");
}

fn more(stratum: &v1::Stratum) -> Option<&v1::Interval> {
    stratum.headline.as_ref()?.percent.as_ref()?.more_percent.as_ref()
}

#[tokio::test(flavor = "multi_thread")]
async fn less_time_is_not_the_same_number_as_more_rate() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        ring.accepted("t01", single_runs("screw-drive-time", ["10.64 s", "8.71 s"])?).await?;
        let stratum = leading(&ring, SCREWS, "k8", v1::Normalisation::Unspecified).await?;
        let percent = stratum.headline.as_ref().unwrap().percent.as_ref().unwrap();
        near(percent.time_reduction_percent.as_ref(), 18.1, 0.05);
        near(percent.rate_gain_percent.as_ref(), 22.2, 0.05);
        assert!(percent.more_percent.is_none(), "a duration has no plain \"more\"");
        assert!(stratum.sentence.contains("18") && stratum.sentence.contains("22"), "{}", stratum.sentence);
        Ok(())
    })
    .await
}

/// Two single runs carry no spread of their own: the interval comes from the method's scatter.
#[tokio::test(flavor = "multi_thread")]
async fn two_single_runs_are_legal_and_their_interval_is_the_methods() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        ring.accepted("t01", single_runs("screw-drive-time", ["94.64 s", "77 s"])?).await?;
        let stratum = leading(&ring, SCREWS, "k8", v1::Normalisation::Unspecified).await?;
        let headline = stratum.headline.as_ref().unwrap();
        let basis = headline.basis.unwrap();
        assert_eq!((basis.trials_count, basis.runs_a_count, basis.runs_b_count), (1, 1, 1));
        near(headline.effect.as_ref(), 77.0 / 94.64, 1e-12);
        let prior = stratum.prior.unwrap();
        assert!(prior.assumed && prior.variance > 0.0, "{prior:?}");
        let effect = headline.effect.as_ref().unwrap();
        // Normal quantile and two runs of that variance: no interval that rests on it is narrower.
        let least = 2.0 * 1.96 * (2.0 * prior.variance).sqrt();
        assert!((effect.upper() / effect.lower()).ln() >= least, "{effect:?} from {prior:?}");
        for name in ["single_tester", "prior_assumed"] {
            assert!(stratum.warnings.iter().any(|w| w.name == name), "{name} is missing");
        }
        Ok(())
    })
    .await
}

/// Registers a pack of another label as packs K5 and M4 are already there: `{id}` with specimen `{id}-1`.
async fn labelled(ring: &Arc<Ring>, id: &str, amp_hours: &str, mass: Option<&str>) -> anyhow::Result<()> {
    let quantity = |text: &str| Some(v1::Quantity { as_written: text.into(), ..Default::default() });
    let model = v1::PackModel {
        maker: "M".into(),
        designation: id.to_uppercase(),
        series_count: Some(5),
        label_voltage: quantity("18 V"),
        label_voltage_kind: v1::LabelVoltageKind::Nominal.into(),
        nominal_voltage: quantity("18 V"),
        rated_capacity: quantity(amp_hours),
        mass: mass.and_then(quantity),
        ..Default::default()
    };
    let request = v1::CreatePackModelRequest {
        pack_model_id: id.into(),
        pack_model: Some(model),
        ..Default::default()
    };
    ring.packs().create_pack_model(by("tester-t01", request)).await?;
    let specimen = v1::PackSpecimen {
        pack_model: format!("packModels/{id}"),
        acquired: v1::Acquired::BoughtRetail.into(),
        ..Default::default()
    };
    let request = v1::CreatePackSpecimenRequest {
        pack_specimen_id: format!("{id}-1"),
        pack_specimen: Some(specimen),
        ..Default::default()
    };
    ring.packs().create_pack_specimen(by("tester-t01", request)).await?;
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn per_rated_ampere_hour_moves_the_gain() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        labelled(&ring, "p20", "2.0 Ah", None).await?;
        labelled(&ring, "p17", "1.7 Ah", Some("0.4 kg")).await?;
        let mut trial = single_runs("cuts-per-charge", ["33 cuts", "41 cuts"])?;
        trial.arms[0].pack_specimen = "packSpecimens/p20-1".into();
        trial.arms[1].pack_specimen = "packSpecimens/p17-1".into();
        ring.accepted("t01", trial).await?;
        let ask = |divided_by: v1::Normalisation| v1::ComparePacksRequest {
            method: CUTS.into(),
            pack_a: "packModels/p20".into(),
            pack_b: "packModels/p17".into(),
            normalisation: divided_by.into(),
            ..Default::default()
        };
        let mut pools = ring.pools();
        let plain = pools.compare_packs(ask(v1::Normalisation::Unspecified)).await?.into_inner();
        near(more(&plain.strata[0]), 24.2, 0.05);
        let rated = pools.compare_packs(ask(v1::Normalisation::PerRatedAh)).await?.into_inner();
        near(more(&rated.strata[0]), 46.2, 0.05);
        assert!(rated.strata[0].warnings.iter().any(|w| w.name == "labels_assumed_exact"));
        assert_eq!(rated.normalisation(), v1::Normalisation::PerRatedAh);
        // Only one of the two has a mass on record: the other is named.
        let missing = pools.compare_packs(ask(v1::Normalisation::PerKg)).await.unwrap_err();
        assert_eq!(reason(&missing), "FAILED_PRECONDITION");
        assert!(
            missing.message().contains("packModels/p20") && missing.message().contains("mass"),
            "{missing}"
        );
        // What the method rules out is refused with what it offers instead.
        let ruled_out =
            v1::ComparePacksRequest { method: SCREWS.into(), ..ask(v1::Normalisation::PerRatedAh) };
        let ruled_out = pools.compare_packs(ruled_out).await.unwrap_err();
        assert_eq!(violations(&ruled_out), [("normalisation".to_owned(), "NOT_NORMALISABLE".to_owned())]);
        assert!(ruled_out.message().contains("per_kg_on_rate"), "{ruled_out}");
        Ok(())
    })
    .await
}
