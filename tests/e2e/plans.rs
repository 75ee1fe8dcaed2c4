//! Plans: from outside, through gRPC and JSON, with nothing in the database and with trials that count.

use benchring_api::v1;
use benchring_domain::method::Catalogue;
use benchring_domain::plan::{EffectSent, Request, Shown};
use benchring_tests::{fixture, json, on_each};
use serde_json::json;
use tonic::Code;

use crate::{reason, violations};

const SCREWS: &str = "methods/screw-drive-time/versions/1";

fn ask(packs: &[&str]) -> v1::PlanTrialRequest {
    v1::PlanTrialRequest {
        method: SCREWS.into(),
        packs: packs.iter().map(ToString::to_string).collect(),
        effect: Some(v1::EffectToFind { form: v1::EffectForm::RateGain.into(), size: 10.0 }),
        ..Default::default()
    }
}

/// Without trials a server knows what the method file says, as anybody with the same catalogue does.
#[tokio::test(flavor = "multi_thread")]
async fn without_trials_it_is_the_plan_made_offline() -> anyhow::Result<()> {
    on_each(|ring| async move {
        let plan = ring.plans().plan_trial(ask(&["old pack", "new pack"])).await?.into_inner();
        let catalogue = Catalogue::embedded()?;
        let offline = Request {
            method: SCREWS.into(),
            packs: vec!["old pack".into(), "new pack".into()],
            effect: Some(EffectSent { form: None, size: 10.0 }),
            ..Request::default()
        };
        let offline = offline.check(&catalogue)?.plan(&catalogue, &Shown::default())?;
        assert_eq!(plan.run_sheet_text, offline.run_sheet_text());
        assert_eq!(plan.run_sheet_csv, offline.run_sheet_csv());
        assert_eq!(plan.runs.len(), offline.runs.len());
        assert!(plan.balanced && plan.data_version == 0 && !plan.engine_version.is_empty());
        let run = plan.run_scatter.as_ref().unwrap();
        assert_eq!((run.basis(), run.unit.as_str()), (v1::FigureBasis::MethodFile, "%"));
        // The file's widest range of this method ends at a CV of 12 %.
        assert!((run.value - 12.0).abs() < 1e-9, "{run:?}");
        assert_eq!(plan.tester_scatter.as_ref().unwrap().basis(), v1::FigureBasis::Assumed);
        let percent = plan.goal.as_ref().unwrap().percent.as_ref().unwrap();
        let (gain, less) = (percent.rate_gain_percent.as_ref(), percent.time_reduction_percent.as_ref());
        assert!((gain.unwrap().estimate() - 10.0).abs() < 1e-9);
        assert!((less.unwrap().estimate() - 100.0 / 11.0).abs() < 1e-9);
        assert!(plan.together.as_ref().unwrap().testers_count() >= 3);
        assert!(!plan.cautions.is_empty() && !plan.steps.is_empty() && !plan.ends.is_empty());
        assert!(plan.record.iter().any(|field| field.field == "screw_diameter" && field.unit == "mm"));

        // The same by JSON, whether posted or asked for by its address.
        let client = json::Client::new(ring.address());
        let body = json!({
            "method": SCREWS, "packs": ["old pack", "new pack"],
            "effect": {"form": "EFFECT_FORM_RATE_GAIN", "size": 10},
        });
        let posted = client.post("/v1/trials:plan", None, &body.to_string()).await?.ok()?;
        assert_eq!(posted["runSheetText"].as_str(), Some(plan.run_sheet_text.as_str()));
        assert_eq!(posted["alone"]["powerRatio"].as_f64(), plan.alone.as_ref().unwrap().power_ratio);
        let path = format!(
            "/v1/trials:plan?method={SCREWS}&packs=old%20pack&packs=new%20pack&effect.form=EFFECT_FORM_RATE_GAIN&effect.size=10"
        );
        assert_eq!(client.get(&path, None).await?.ok()?, posted);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn trials_that_count_give_the_scatter() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(4).await?;
        for n in 1..=4 {
            let mut trial = fixture("screw-drive-time", n)?;
            for (place, run) in
                trial.arms.iter_mut().flat_map(|a| &mut a.charges).flat_map(|c| &mut c.runs).enumerate()
            {
                // Runs that scatter by a few percent, and testers of unlike levels.
                let reading = run.reading.as_mut().unwrap();
                let seconds: f64 = reading.as_written.trim_end_matches(" s").parse()?;
                let wobble = 1.0 + 0.04 * ((place * 7 + n * 3) % 5) as f64 / 4.0;
                reading.as_written = format!("{:.2} s", seconds * wobble * (0.8 + 0.2 * n as f64));
            }
            ring.accepted(&format!("t0{n}"), trial).await?;
        }
        let plan = ring.plans().plan_trial(ask(&["packModels/k5", "packModels/k8"])).await?.into_inner();
        assert_eq!(plan.data_version, ring.data_version().await?);
        assert!(plan.evidence_version > 0 && plan.evidence_version <= plan.data_version);
        let (run, testers) = (plan.run_scatter.as_ref().unwrap(), plan.tester_scatter.as_ref().unwrap());
        assert_eq!((run.basis(), run.basis_count), (v1::FigureBasis::Evidence, 4));
        assert_eq!((testers.basis(), testers.basis_count), (v1::FigureBasis::Evidence, 1));
        // It is the prior that answers about the pair rest on, and the spread between testers that they tell.
        let asked = v1::ComparePacksRequest {
            method: SCREWS.into(),
            pack_a: "packModels/k5".into(),
            pack_b: "packModels/k8".into(),
            ..Default::default()
        };
        let answer = ring.pools().compare_packs(asked).await?.into_inner();
        let stratum = &answer.strata[0];
        let variance = stratum.prior.as_ref().unwrap().variance;
        assert!((run.value - 100.0 * variance.sqrt()).abs() < 1e-9 * run.value, "{run:?} {variance}");
        let tau = stratum.headline.as_ref().unwrap().tau;
        let told = 100.0 * (tau * tau).exp_m1().sqrt();
        assert!((testers.value - told).abs() < 1e-9, "{testers:?} {tau}");
        assert_eq!(plan.packs[0].pack_model, "packModels/k5");
        assert!(!plan.notes.iter().any(|note| note.name == "run_scatter_assumed"));

        // A figure that is stated goes before what trials show.
        let stated = v1::PlanTrialRequest { run_scatter: Some(6.0), ..ask(&["packModels/k5", "mine"]) };
        let plan = ring.plans().plan_trial(stated).await?.into_inner();
        let run = plan.run_scatter.unwrap();
        assert!(run.basis() == v1::FigureBasis::Stated && (run.value - 6.0).abs() < 1e-9);

        let unknown = ring.plans().plan_trial(ask(&["packModels/k5", "packModels/none"])).await.unwrap_err();
        assert_eq!((unknown.code(), reason(&unknown).as_str()), (Code::NotFound, "NOT_FOUND"));
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn everything_wrong_comes_back_at_once() -> anyhow::Result<()> {
    on_each(|ring| async move {
        let broken = v1::PlanTrialRequest {
            method: "methods/screw-drive-tim/versions/1".into(),
            packs: vec!["a".into(), "a".into()],
            workpiece_family: "granite".into(),
            effect: Some(v1::EffectToFind { form: 77, size: -1.0 }),
            assurance_ratio: Some(0.9),
            run_scatter: Some(f64::INFINITY),
            charge_scatter: Some(-1.0),
            tester_scatter: Some(f64::NAN),
            level_ratio: 1.5,
            power_ratio: 0.1,
            rounds_count: -1,
            runs_per_round_count: 5_000,
            ..Default::default()
        };
        let status = ring.plans().plan_trial(broken).await.unwrap_err();
        assert_eq!(status.code(), Code::InvalidArgument);
        let found = violations(&status);
        let fields: Vec<&str> = found.iter().map(|(field, _)| field.as_str()).collect();
        let want = [
            "effect.form",
            "rounds_count",
            "method",
            "packs[1]",
            "run_scatter",
            "charge_scatter",
            "tester_scatter",
            "level_ratio",
            "power_ratio",
            "workpiece_family",
            "runs_per_round_count",
        ];
        assert_eq!(fields, want);

        let too_much = v1::PlanTrialRequest {
            packs: (0..21).map(|i| format!("pack {i}")).collect(),
            half_width: Some(5.0),
            rounds_count: 400,
            ..ask(&[])
        };
        let status = ring.plans().plan_trial(too_much).await.unwrap_err();
        let reasons = violations(&status);
        let want = [("packs", "TOO_MANY"), ("half_width", "CONTRADICTION"), ("rounds_count", "TOO_MANY")];
        assert_eq!(reasons, want.map(|(field, reason)| (field.to_owned(), reason.to_owned())));

        let client = json::Client::new(ring.address());
        let body = json!({"method": SCREWS, "packs": ["a"], "powerRatio": 7, "roundsCount": 100_000});
        let answer = client.post("/v1/trials:plan", None, &body.to_string()).await?;
        assert_eq!(answer.status.as_u16(), 400);
        let text = answer.json()?.to_string();
        for part in ["packs", "power_ratio", "rounds_count", "a comparison needs two or more"] {
            assert!(text.contains(part), "{part} is not in {text}");
        }
        Ok(())
    })
    .await
}
