//! Who may call what: the access table against the descriptor, and lower roles against each rpc.

use benchring_auth::{Role, WHO_MAY, WhoMay};
use benchring_server::access::ACCESS;
use benchring_tests::{Ring, by};
use prost_reflect::DescriptorPool;
use tonic::Code;

use crate::any_bytes::raw_call;
use crate::reason;

fn own_rpcs() -> Vec<String> {
    let pool = DescriptorPool::decode(benchring_api::FILE_DESCRIPTOR_SET).unwrap();
    pool.services()
        .flat_map(|s| s.methods().collect::<Vec<_>>())
        .map(|m| format!("{}/{}", m.parent_service().full_name(), m.name()))
        .collect()
}

#[test]
fn every_rpc_has_exactly_one_row() {
    for rpc in own_rpcs() {
        assert_eq!(ACCESS.iter().filter(|(row, _)| *row == rpc).count(), 1, "{rpc}");
    }
    let own = own_rpcs();
    for (row, _) in ACCESS.iter().filter(|(row, _)| row.starts_with("benchring.")) {
        assert!(own.contains(&(*row).to_owned()), "{row} is no rpc");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn lower_roles_are_turned_away_before_anything_is_read() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let (mut anonymous_refused, mut role_refused) = (0, 0);
    for (rpc, action) in ACCESS.iter().filter(|(row, _)| row.starts_with("benchring.")) {
        let who = WHO_MAY.iter().find(|(row, _)| row == action).map(|(_, who)| *who).unwrap();
        let WhoMay::Roles(roles) = who else { continue };
        let status = raw_call(&ring, rpc, tonic::Request::new(Vec::new())).await.unwrap_err();
        assert_eq!(
            (status.code(), reason(&status).as_str()),
            (Code::Unauthenticated, "TOKEN_MISSING"),
            "{rpc}"
        );
        anonymous_refused += 1;
        if !roles.contains(&Role::Tester) {
            let status = raw_call(&ring, rpc, by("tester-t01", Vec::new())).await.unwrap_err();
            assert_eq!(
                (status.code(), reason(&status).as_str()),
                (Code::PermissionDenied, "ROLE_MISSING"),
                "{rpc}"
            );
            role_refused += 1;
        }
        let status = raw_call(&ring, rpc, by("nobody", Vec::new())).await.unwrap_err();
        assert_eq!(
            (status.code(), reason(&status).as_str()),
            (Code::Unauthenticated, "TOKEN_UNKNOWN"),
            "{rpc}"
        );
    }
    assert!(anonymous_refused >= 8 && role_refused >= 1, "{anonymous_refused} {role_refused}");
    ring.end().await
}
