//! Claims from outside: recorded, listed, judged, and refused with all that is wrong.

use benchring_api::v1;
use benchring_api::v1::ClaimVerdict as Verdict;
use benchring_tests::{Ring, by, fixture, json, on_each};
use tonic::Code;

use crate::made::typed;
use crate::{reason, violations};

const SCREWS: &str = "methods/screw-drive-time/versions/1";

/// Maker K says of K8 that it drives screws faster by `amount`.
fn claim(form: v1::ClaimForm, amount: &str) -> v1::Claim {
    v1::Claim {
        maker: "maker K (invented)".into(),
        wording: format!("{amount} faster"),
        source_reference: "sleeve of the pack".into(),
        metric: "speed".into(),
        responses: vec![v1::ClaimResponse { method: SCREWS.into(), normalisation: 0 }],
        form: form.into(),
        amount: Some(typed(amount)),
        pack: "packModels/k8".into(),
        comparator: "packModels/k5".into(),
        condition: Some(v1::ClaimCondition { general: true, ..Default::default() }),
        ..Default::default()
    }
}

async fn recorded(ring: &Ring, id: &str, claim: v1::Claim) -> Result<v1::Claim, tonic::Status> {
    let request = v1::CreateClaimRequest { claim_id: id.into(), claim: Some(claim), ..Default::default() };
    Ok(ring.claims().create_claim(by("tester-t01", request)).await?.into_inner())
}

async fn judged(ring: &Ring, id: &str, at: Option<i64>) -> Result<v1::JudgeClaimResponse, tonic::Status> {
    let request = v1::JudgeClaimRequest { name: format!("claims/{id}"), data_version: at, holm: false };
    Ok(ring.claims().judge_claim(request).await?.into_inner())
}

/// The fixture's trial of the n-th specimens, K8's times at `ratio` of K5's.
fn trial(n: usize, ratio: f64) -> anyhow::Result<v1::Trial> {
    let mut trial = fixture("screw-drive-time", n)?;
    for (place, arm) in trial.arms.iter_mut().enumerate() {
        for (i, run) in arm.charges.iter_mut().flat_map(|charge| &mut charge.runs).enumerate() {
            let level = if place == 0 { 3.0 } else { 3.0 * ratio };
            let reading = run.reading.as_mut().unwrap();
            *reading = typed(&format!("{:.2} s", level * (1.0 + 0.01 * (i % 3) as f64 + 0.001 * n as f64)));
        }
    }
    Ok(trial)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_claim_is_judged_as_testers_come_in_and_as_of_any_version() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(7).await?;
        let kept = recorded(&ring, "c1", claim(v1::ClaimForm::RateGain, "10 %")).await?;
        assert_eq!(kept.name, "claims/c1");
        assert_eq!(kept.reading, "at least 9.1 % less time, which is a rate gain of 10 %");
        assert!(!kept.etag.is_empty() && kept.create_time.is_some());
        let since = ring.data_version().await?;
        let nothing = judged(&ring, "c1", None).await?;
        assert_eq!(nothing.verdict(), Verdict::NotEnoughEvidence);
        assert!(nothing.because[0].contains("submit a trial with both"), "{:?}", nothing.because);

        let mut asked = Vec::new();
        for (n, ratio) in [(1, 0.98), (2, 0.97), (3, 0.99), (4, 0.98), (5, 0.97)] {
            ring.accepted(&format!("t0{n}"), trial(n, ratio)?).await?;
            asked.push(judged(&ring, "c1", None).await?);
        }
        let words: Vec<Verdict> = asked.iter().map(v1::JudgeClaimResponse::newest_verdict).collect();
        assert_eq!(words[..2], [Verdict::NotEnoughEvidence; 2]);
        assert_eq!(words[4], Verdict::Contradicted, "{}", asked[4].sentence);
        let last = &asked[4];
        assert_eq!((last.verdict(), last.history.len()), (Verdict::Contradicted, 5));
        assert!(last.history.iter().all(|entry| entry.new_units_count == 1), "{:?}", last.history);
        assert!(last.caveat.contains("under its maker's conditions"), "{}", last.caveat);
        let stratum = &last.responses[0].strata[0];
        assert_eq!((stratum.base(), stratum.verdict()), (v1::ClaimBase::Direct, Verdict::Contradicted));
        let (support, contradict) = (stratum.support_p_ratio(), stratum.contradict_p_ratio());
        assert!(contradict <= 0.025 && support > 0.9, "{support} {contradict}");
        let threshold = last.responses[0].threshold.as_ref().unwrap();
        assert!((threshold.value - 1.0 / 1.1).abs() < 1e-12 && threshold.side() == v1::ClaimSide::AtMost);
        let percent = threshold.percent.as_ref().unwrap();
        let gain = percent.rate_gain_percent.as_ref().unwrap().estimate();
        assert!((gain - 10.0).abs() < 1e-9 && percent.time_reduction_percent.is_some(), "{percent:?}");

        // A read writes nothing, and the past is had again bit for bit.
        let before = ring.data_version().await?;
        for then in &asked {
            assert_eq!(&judged(&ring, "c1", Some(then.data_version)).await?, then);
        }
        assert_eq!(ring.data_version().await?, before);
        let early = judged(&ring, "c1", Some(since - 1)).await.unwrap_err();
        assert_eq!((early.code(), reason(&early).as_str()), (Code::NotFound, "NO_EVIDENCE"));
        let never = judged(&ring, "c1", Some(1_000_000)).await.unwrap_err();
        assert_eq!(violations(&never)[0].0, "data_version");

        // What the other reading of the words would ask for is another claim.
        let less_time = claim(v1::ClaimForm::TimeReduction, "0.5 %");
        recorded(&ring, "c2", less_time.clone()).await?;
        let other = judged(&ring, "c2", None).await?;
        assert_eq!(other.newest_verdict(), Verdict::NotEnoughEvidence, "one class only");
        assert!(other.sentence.contains("needs more than one demand class"), "{}", other.sentence);
        let condition = v1::ClaimCondition { demand_class: "d2".into(), ..Default::default() };
        recorded(&ring, "c3", v1::Claim { condition: Some(condition), ..less_time }).await?;
        let other = judged(&ring, "c3", None).await?;
        assert_eq!(other.newest_verdict(), Verdict::Supported, "{}", other.sentence);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn json_tells_the_same_and_tags_move_with_the_evidence() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(4).await?;
        let client = json::Client::new(ring.address());
        let body = r#"{"maker": "maker K (invented)", "wording": "10 % faster", "sourceReference": "sleeve of the pack",
            "metric": "speed", "responses": [{"method": "methods/screw-drive-time/versions/1"}],
            "form": "CLAIM_FORM_RATE_GAIN", "amount": {"asWritten": "10 %"}, "pack": "packModels/k8",
            "comparator": "packModels/k5", "condition": {"general": true}}"#;
        let kept = client.post("/v1/claims?claimId=c1", Some("moderator-m01"), body).await?.ok()?;
        assert_eq!(kept["name"], "claims/c1");
        let got = client.get("/v1/claims/c1", None).await?;
        assert_eq!((got.ok()?, got.header("etag")), (kept.clone(), "\"1\""));
        for n in 1..=3 {
            ring.accepted(&format!("t0{n}"), trial(n, 0.98)?).await?;
        }
        let path = "/v1/claims/c1:judge";
        let told = client.get(path, None).await?;
        let tag = told.header("etag").to_owned();
        let by_grpc = judged(&ring, "c1", None).await?;
        let told = told.ok()?;
        assert_eq!(told["sentence"], by_grpc.sentence.as_str());
        let p = told["responses"][0]["strata"][0]["contradictPRatio"].as_f64();
        assert_eq!(p, Some(by_grpc.responses[0].strata[0].contradict_p_ratio()));
        assert_eq!(client.post(path, None, "{}").await?.ok()?, told);
        let again = client.call(http::Method::GET, path, &[("if-none-match", &tag)], "").await?;
        assert_eq!(again.status.as_u16(), 304);
        ring.accepted("t04", trial(4, 0.98)?).await?;
        let moved = client.call(http::Method::GET, path, &[("if-none-match", &tag)], "").await?;
        assert_eq!(moved.status.as_u16(), 200);
        let list = client.get("/v1/claims?pack=packModels/k5&query=faster", None).await?.ok()?;
        assert_eq!(list["claims"].as_array().unwrap().len(), 1);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn fifty_percent_faster_is_asked_about() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let refused = recorded(&ring, "c1", claim(v1::ClaimForm::Unspecified, "50 %")).await.unwrap_err();
    assert_eq!(violations(&refused), [("claim.form".to_owned(), "AMBIGUOUS_FORM".to_owned())]);
    for part in ["50 % less time is a rate gain of 100 %", "a rate gain of 50 % is 33.3 % less time"] {
        assert!(refused.message().contains(part), "{refused}");
    }
    let kept = recorded(&ring, "c1", claim(v1::ClaimForm::TimeReduction, "50 %")).await?;
    assert_eq!(kept.reading, "at least 50 % less time, which is a rate gain of 100 %");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_wrong_is_told_at_once_and_nothing_is_kept() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let before = ring.data_version().await?;
    let wrong = v1::Claim {
        maker: String::new(),
        wording: "x".repeat(301),
        form: 99,
        reach: 98,
        amount: Some(typed("12 kg")),
        pack: "packModels/k9".into(),
        comparator: "packModels/nobody".into(),
        responses: vec![v1::ClaimResponse { method: "methods/x/versions/1".into(), normalisation: 97 }],
        condition: None,
        ..claim(v1::ClaimForm::RateGain, "10 %")
    };
    let request = v1::CreateClaimRequest {
        claim_id: "NOT AN ID".into(),
        claim: Some(wrong),
        request_id: "no uuid".into(),
        validate_only: false,
    };
    let refused = ring.claims().create_claim(by("tester-t01", request)).await.unwrap_err();
    let mut found = violations(&refused);
    found.sort();
    let expected = [
        ("claim.comparator", "UNKNOWN_PACK_MODEL"),
        ("claim.condition", "REQUIRED"),
        ("claim.form", "UNKNOWN_ENUM_VALUE"),
        ("claim.maker", "REQUIRED"),
        ("claim.pack", "UNKNOWN_PACK_MODEL"),
        ("claim.reach", "UNKNOWN_ENUM_VALUE"),
        ("claim.responses[0].method", "UNKNOWN_METHOD"),
        ("claim.responses[0].normalisation", "UNKNOWN_ENUM_VALUE"),
        ("claim.wording", "TEXT_TOO_LONG"),
        ("claim_id", "NOT_AN_ID"),
        ("request_id", "NOT_A_UUID"),
    ];
    let found: Vec<(&str, &str)> = found.iter().map(|(f, r)| (f.as_str(), r.as_str())).collect();
    assert_eq!(found, expected);
    let refused = ring.claims().create_claim(by("tester-t01", v1::CreateClaimRequest::default())).await;
    assert!(violations(&refused.unwrap_err()).iter().any(|(field, _)| field == "claim"));
    assert_eq!(ring.data_version().await?, before);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn names_and_filters_that_mean_nothing_are_refused() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    for (name, code) in
        [("claims/none", Code::NotFound), ("trials/a", Code::InvalidArgument), ("", Code::InvalidArgument)]
    {
        let request = v1::JudgeClaimRequest { name: name.into(), ..Default::default() };
        assert_eq!(ring.claims().judge_claim(request).await.unwrap_err().code(), code, "{name}");
        let request = v1::GetClaimRequest { name: name.into() };
        assert_eq!(ring.claims().get_claim(request).await.unwrap_err().code(), code, "{name}");
    }
    let list = v1::ListClaimsRequest {
        page_size: -1,
        page_token: "made up".into(),
        pack: "k5".into(),
        method: "screws".into(),
        form: 99,
        ..Default::default()
    };
    let refused = ring.claims().list_claims(list).await.unwrap_err();
    let fields: Vec<String> = violations(&refused).into_iter().map(|(field, _)| field).collect();
    assert_eq!(fields, ["page_size", "pack", "method", "form"]);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_claim_is_recorded_once_however_often_it_is_sent() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let request = |id: &str, amount: &str, validate_only| v1::CreateClaimRequest {
            claim_id: id.into(),
            claim: Some(claim(v1::ClaimForm::RateGain, amount)),
            request_id: "7d3f0a52-3a0e-4b5c-9c55-0c1f5a0a9a51".into(),
            validate_only,
        };
        let before = ring.data_version().await?;
        let checked = ring.claims().create_claim(by("tester-t01", request("c1", "10 %", true))).await?;
        assert_eq!((checked.into_inner().etag.as_str(), ring.data_version().await?), ("", before));
        let first = ring.claims().create_claim(by("tester-t01", request("c1", "10 %", false))).await?;
        let again = ring.claims().create_claim(by("tester-t01", request("c1", "10 %", false))).await?;
        assert_eq!(first.into_inner(), again.into_inner());
        let other = ring.claims().create_claim(by("tester-t01", request("c1", "11 %", false))).await;
        assert_eq!(reason(&other.unwrap_err()), "REQUEST_ID_REUSED");
        let taken = recorded(&ring, "c1", claim(v1::ClaimForm::RateGain, "10 %")).await.unwrap_err();
        assert_eq!(reason(&taken), "ID_TAKEN");
        assert_eq!(ring.data_version().await?, before + 1);
        for n in 2..=5 {
            recorded(&ring, &format!("c{n}"), claim(v1::ClaimForm::RateGain, &format!("{n} %"))).await?;
        }
        let (mut names, mut token) = (Vec::new(), String::new());
        loop {
            let request = v1::ListClaimsRequest { page_size: 2, page_token: token, ..Default::default() };
            let page = ring.claims().list_claims(request).await?.into_inner();
            names.extend(page.claims.into_iter().map(|claim| claim.name));
            token = page.next_page_token;
            if token.is_empty() {
                break;
            }
        }
        assert_eq!(names, ["claims/c1", "claims/c2", "claims/c3", "claims/c4", "claims/c5"]);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn words_without_a_response_and_labels_are_judged_for_what_they_are() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(4).await?;
        let power = v1::Claim {
            wording: "40 % more power".into(),
            metric: "power".into(),
            responses: vec![],
            ..claim(v1::ClaimForm::More, "40 %")
        };
        recorded(&ring, "c1", power).await?;
        let told = judged(&ring, "c1", None).await?;
        assert_eq!(told.verdict(), Verdict::NotTestableAsWorded);
        assert!(
            told.sentence.contains("not testable as worded, because `power` names no response"),
            "{}",
            told.sentence
        );

        let label = v1::Claim {
            wording: "9.0 Ah".into(),
            metric: "capacity".into(),
            responses: vec![v1::ClaimResponse {
                method: "methods/discharge-capacity/versions/1".into(),
                normalisation: 0,
            }],
            amount: Some(typed("9.0 Ah")),
            comparator: String::new(),
            condition: None,
            ..claim(v1::ClaimForm::LabelLevel, "9.0 Ah")
        };
        recorded(&ring, "c2", label).await?;
        for n in 1..=3 {
            ring.accepted(&format!("t0{n}"), fixture("discharge-capacity", n)?).await?;
        }
        let told = judged(&ring, "c2", None).await?;
        assert_eq!(told.newest_verdict(), Verdict::Contradicted, "{}", told.sentence);
        let stratum = &told.responses[0].strata[0];
        assert_eq!(stratum.base(), v1::ClaimBase::Levels);
        assert!(stratum.sentence.contains("measured are"), "{}", stratum.sentence);
        Ok(())
    })
    .await
}
