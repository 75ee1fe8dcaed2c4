//! Whatever bytes come, each call is answered in time with a reason of the list, and the server lives on.

use std::time::Duration;

use benchring_server::access::ACCESS;
use benchring_tests::{Ring, by, json};
use bytes::{Buf as _, BufMut as _};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::{Code, Request, Status};

use crate::{callers_fault, reason};

/// Bytes as they are.
#[derive(Debug, Clone, Copy, Default)]
struct Raw;

impl Codec for Raw {
    type Encode = Vec<u8>;
    type Decode = Vec<u8>;
    type Encoder = Self;
    type Decoder = Self;
    fn encoder(&mut self) -> Self {
        *self
    }
    fn decoder(&mut self) -> Self {
        *self
    }
}

impl Encoder for Raw {
    type Item = Vec<u8>;
    type Error = Status;
    fn encode(&mut self, item: Vec<u8>, to: &mut EncodeBuf<'_>) -> Result<(), Status> {
        to.put_slice(&item);
        Ok(())
    }
}

impl Decoder for Raw {
    type Item = Vec<u8>;
    type Error = Status;
    fn decode(&mut self, from: &mut DecodeBuf<'_>) -> Result<Option<Vec<u8>>, Status> {
        Ok(Some(from.copy_to_bytes(from.remaining()).to_vec()))
    }
}

/// Calls `package.Service/Method` with these bytes.
pub(crate) async fn raw_call(ring: &Ring, rpc: &str, request: Request<Vec<u8>>) -> Result<Vec<u8>, Status> {
    let mut grpc = tonic::client::Grpc::new(ring.channel());
    grpc.ready().await.map_err(|e| Status::unavailable(e.to_string()))?;
    let path = format!("/{rpc}").parse().unwrap();
    let call = grpc.unary(request, path, Raw);
    match tokio::time::timeout(Duration::from_secs(5), call).await {
        Ok(answer) => answer.map(tonic::Response::into_inner),
        Err(elapsed) => panic!("{rpc} gave no answer in 5 s: {elapsed}"),
    }
}

fn own() -> Vec<&'static str> {
    ACCESS.iter().map(|(rpc, _)| *rpc).filter(|rpc| rpc.starts_with("benchring.")).collect()
}

fn who(rpc: &str) -> &'static str {
    if rpc.ends_with("DecideTrial") { "moderator-m01" } else { "tester-t01" }
}

#[test]
fn arbitrary_protobuf_and_json_never_panic_or_hang() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let ring = runtime.block_on(Ring::on_sqlite()).unwrap();
    let client = json::Client::new(ring.address());
    let mut runner = TestRunner::new(Config { cases: 200, failure_persistence: None, ..Config::default() });
    let rpcs = own();
    let any = (0..rpcs.len(), proptest::collection::vec(any::<u8>(), 0..400), "[ -~]{0,60}", "\\PC{0,200}");
    runner
        .run(&any, |(rpc, bytes, path, text)| {
            runtime.block_on(async {
                if let Err(status) = raw_call(&ring, rpcs[rpc], by(who(rpcs[rpc]), bytes)).await {
                    callers_fault(&status);
                }
                let body = format!("{{\"trial\":{text:?}}}");
                for body in [text.as_str(), body.as_str()] {
                    let answer = client.post("/v1/trials", Some("tester-t01"), body).await.unwrap();
                    assert!(answer.status.is_client_error(), "{}", answer.status);
                    assert_eq!(answer.header("content-type"), "application/problem+json");
                }
                let path = path.bytes().fold(String::new(), |path, b| path + &format!("%{b:02X}"));
                let answer = client.get(&format!("/v1/trials/{path}?filter={path}"), None).await.unwrap();
                assert!(answer.status.is_client_error(), "{}", answer.status);
            });
            Ok(())
        })
        .unwrap();
    runtime.block_on(async {
        assert!(ring.data_version().await.is_ok());
        ring.end().await.unwrap();
    });
}

#[tokio::test(flavor = "multi_thread")]
async fn faults_of_the_call_itself_bear_a_reason_too() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    for rpc in own() {
        if let Err(status) = raw_call(&ring, rpc, by(who(rpc), Vec::new())).await {
            callers_fault(&status);
        }
        let garbage = raw_call(&ring, rpc, by(who(rpc), vec![0xff; 40])).await.unwrap_err();
        assert_eq!(reason(&garbage), "MALFORMED_MESSAGE", "{rpc}");
    }
    let list = "benchring.v1.TrialService/ListTrials";
    let unknown =
        raw_call(&ring, "benchring.v1.TrialService/Nothing", Request::new(vec![])).await.unwrap_err();
    assert_eq!((unknown.code(), reason(&unknown).as_str()), (Code::Unimplemented, "UNKNOWN_METHOD"));
    let large = raw_call(&ring, list, Request::new(vec![0; 5 * 1024 * 1024])).await.unwrap_err();
    assert_eq!((large.code(), reason(&large).as_str()), (Code::ResourceExhausted, "REQUEST_TOO_LARGE"));
    // The gRPC client would give up by itself; over JSON the server has to.
    let client = json::Client::new(ring.address());
    let late = client.call(http::Method::GET, "/v1/trials", &[("grpc-timeout", "1n")], "").await?;
    assert_eq!((late.status.as_u16(), late.json()?["reason"].as_str()), (504, Some("DEADLINE_EXCEEDED")));
    let mut odd = Request::new(vec![]);
    odd.metadata_mut().insert("grpc-timeout", "soon".parse()?);
    let odd = raw_call(&ring, list, odd).await.unwrap_err();
    assert_eq!(reason(&odd), "INVALID_TIMEOUT");
    ring.end().await
}
