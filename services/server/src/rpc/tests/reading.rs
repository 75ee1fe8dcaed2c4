//! What is hidden looks absent, and views show what they say.

use benchring_api::v1::method_service_server::MethodService as _;
use benchring_api::v1::pool_service_server::PoolService as _;
use benchring_api::v1::server_service_server::ServerService as _;

use super::*;

fn get(name: &str) -> v1::GetTrialRequest {
    v1::GetTrialRequest { name: name.into(), view: 0 }
}

#[tokio::test]
async fn a_hidden_trial_and_an_absent_one_give_the_same_bytes() {
    let ring = Ring::start().await;
    ring.submitted(&tester("t01"), "aaaa").await;
    for who in [Caller::anonymous(), tester("t02")] {
        let hidden = ring.app.get_trial(by(&who, get("trials/aaaa"))).await.unwrap_err();
        let absent = ring.app.get_trial(by(&who, get("trials/bbbb"))).await.unwrap_err();
        assert_eq!(hidden.code(), Code::NotFound);
        let unnamed = |status: &Status| {
            let details = String::from_utf8_lossy(status.details()).into_owned();
            format!("{} {details}", status.message()).replace("aaaa", "id").replace("bbbb", "id")
        };
        assert_eq!(unnamed(&hidden), unnamed(&absent));
    }
    for who in [tester("t01"), moderator("m01")] {
        assert!(ring.app.get_trial(by(&who, get("trials/aaaa"))).await.is_ok());
    }
}

#[tokio::test]
async fn a_trial_reads_back_as_it_was_answered() {
    let ring = Ring::start().await;
    let submitted = ring.submitted(&tester("t01"), "a").await;
    let read = ring.app.get_trial(by(&tester("t01"), get("trials/a"))).await.unwrap().into_inner();
    assert_eq!(read, submitted);
    assert_eq!(read.standing(), v1::Standing::Pending);
    assert!(read.etag.starts_with('"') && read.etag.ends_with('"'));
    let basic = v1::GetTrialRequest { view: v1::TrialView::Basic.into(), ..get("trials/a") };
    let basic = ring.app.get_trial(by(&tester("t01"), basic)).await.unwrap().into_inner();
    assert!(basic.arms.is_empty() && basic.name == read.name);
}

#[tokio::test]
async fn methods_are_read_without_a_token() {
    let ring = Ring::start().await;
    let anyone = Caller::anonymous();
    let request = v1::ListMethodsRequest { view: v1::MethodView::Full.into(), ..Default::default() };
    let list = ring.app.list_methods(by(&anyone, request)).await.unwrap().into_inner();
    let names: Vec<_> = list.methods.iter().map(|method| method.name.as_str()).collect();
    assert!(names.contains(&"methods/screw-drive-time/versions/1"), "{names:?}");
    for name in ["methods/screw-drive-time", "methods/screw-drive-time/versions/1"] {
        let request = v1::GetMethodRequest { name: name.into() };
        let method = ring.app.get_method(by(&anyone, request)).await.unwrap().into_inner();
        assert!(list.methods.contains(&method), "{name}");
    }
    let request = v1::GetMethodRequest { name: "methods/screw-drive-time/versions/99".into() };
    assert_eq!(ring.app.get_method(by(&anyone, request)).await.unwrap_err().code(), Code::NotFound);
}

#[tokio::test]
async fn the_server_says_what_it_allows() {
    let ring = Ring::start().await;
    let request = by(&Caller::anonymous(), v1::GetServerInfoRequest {});
    let info = ring.app.get_server_info(request).await.unwrap().into_inner();
    assert_eq!(info.data_version, ring.data_version().await);
    let limits = info.limits.unwrap();
    assert_eq!((limits.runs_count, limits.arms_count, limits.page_count), (2000, 12, 200));
    assert_eq!((limits.request_bytes, limits.request_id_days), (4_194_304, 30));
}

fn compare() -> v1::ComparePacksRequest {
    v1::ComparePacksRequest {
        method: "methods/screw-drive-time/versions/1".into(),
        pack_a: "packModels/k4".into(),
        pack_b: "packModels/k8".into(),
        ..Default::default()
    }
}

#[tokio::test]
async fn no_accepted_trial_is_no_answer() {
    let ring = Ring::start().await;
    ring.submitted(&tester("t01"), "a").await;
    let status = ring.app.compare_packs(by(&tester("t01"), compare())).await.unwrap_err();
    assert_eq!(reason(&status), (Code::NotFound, "NO_EVIDENCE".into()));
}

#[tokio::test]
async fn a_question_that_breaks_rules_is_told_all_of_them() {
    let ring = Ring::start().await;
    let request = v1::ComparePacksRequest {
        pack_b: "packModels/k4".into(),
        normalisation: 99,
        options: Some(v1::PoolOptions { level_ratio: 0.2, ..Default::default() }),
        ..compare()
    };
    let status = ring.app.compare_packs(by(&tester("t01"), request)).await.unwrap_err();
    let named = fields(&status);
    for field in ["pack_b", "normalisation", "options.level_ratio"] {
        assert!(named.iter().any(|known| known == field), "{field} in {named:?}");
    }
    let unknown = v1::ComparePacksRequest { pack_b: "packModels/k99".into(), ..compare() };
    let status = ring.app.compare_packs(by(&tester("t01"), unknown)).await.unwrap_err();
    assert_eq!(reason(&status), (Code::NotFound, "NOT_FOUND".into()));
}
