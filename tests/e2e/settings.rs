//! What a server says of itself, and the settings that shut a part of it.

use benchring_api::v1;
use benchring_api::v1::server_service_client::ServerServiceClient;
use benchring_tests::{Ring, by, fixture, json};
use tonic::{Code, Status};

use crate::reason;

async fn info(ring: &Ring) -> Result<v1::ServerInfo, Status> {
    let mut client = ServerServiceClient::new(ring.channel());
    Ok(client.get_server_info(v1::GetServerInfoRequest {}).await?.into_inner())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_tells_its_limits_and_versions() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let told = info(&ring).await?;
    let limits = told.limits.unwrap();
    assert_eq!((limits.runs_count, limits.arms_count, limits.items_count), (2000, 12, 100));
    assert_eq!((limits.request_bytes, limits.page_count, limits.usual_page_count), (4 << 20, 200, 50));
    assert_eq!(
        (limits.filter_characters_count, limits.filter_comparisons_count, limits.filter_depth_count),
        (2000, 64, 16)
    );
    assert!(!told.read_only && !told.private_instance && told.development_tokens);
    for version in
        [&told.server_version, &told.engine_version, &told.catalogue_version, &told.minimum_client_version]
    {
        assert!(!version.is_empty());
    }
    assert!(told.features.iter().any(|feature| feature == "submit_trials"), "{:?}", told.features);
    let now = i64::try_from(std::time::UNIX_EPOCH.elapsed()?.as_secs())?;
    assert!((told.server_time.unwrap().seconds - now).abs() < 60);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_is_read_only_refuses_what_writes_and_nothing_else() -> anyhow::Result<()> {
    let ring = Ring::with(|config| config.read_only = true).await?;
    assert!(info(&ring).await?.read_only);
    let json = json::Client::new(ring.address());
    let pack = include_str!("../fixtures/pack-k5.json");
    let refused = json.post("/v1/packModels", Some("tester-t01"), pack).await?;
    assert_eq!((refused.status.as_u16(), refused.json()?["reason"].as_str()), (400, Some("READ_ONLY")));
    let submit =
        v1::SubmitTrialRequest { trial: Some(fixture("screw-drive-time", 1)?), ..Default::default() };
    let status = ring.trials().submit_trial(by("tester-t01", submit.clone())).await.unwrap_err();
    assert_eq!((status.code(), reason(&status).as_str()), (Code::FailedPrecondition, "READ_ONLY"));
    let batch = v1::SubmitTrialsRequest { items: vec![submit.clone()], validate_only: false };
    let status = ring.trials().submit_trials(by("tester-t01", batch)).await.unwrap_err();
    assert_eq!(reason(&status), "READ_ONLY");
    // Who may not anyhow is told that first.
    let status = ring.trials().submit_trial(submit.clone()).await.unwrap_err();
    assert_eq!(reason(&status), "TOKEN_MISSING");
    ring.trials().check_trial(by("tester-t01", v1::CheckTrialRequest { trial: submit.trial })).await?;
    ring.trials().list_trials(v1::ListTrialsRequest::default()).await?;
    assert_eq!(ring.data_version().await?, 0);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_private_server_answers_nobody_without_a_token() -> anyhow::Result<()> {
    let ring = Ring::with(|config| config.private = true).await?;
    assert!(info(&ring).await?.private_instance, "this much is told, so that a client can ask to sign in");
    let json = json::Client::new(ring.address());
    for path in ["/v1/methods", "/v1/trials", "/v1/packModels", "/v1/packModels/k5"] {
        let refused = json.get(path, None).await?;
        assert_eq!(
            (refused.status.as_u16(), refused.json()?["reason"].as_str()),
            (401, Some("TOKEN_MISSING"))
        );
    }
    let status = ring.trials().list_trials(v1::ListTrialsRequest::default()).await.unwrap_err();
    assert_eq!((status.code(), reason(&status).as_str()), (Code::Unauthenticated, "TOKEN_MISSING"));
    let listed = json.get("/v1/methods", Some("tester-t01")).await?;
    assert_eq!((listed.status.as_u16(), listed.header("cache-control")), (200, "no-store"));
    ring.end().await
}
