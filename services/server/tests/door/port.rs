//! The port: real sockets on the local machine.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use benchring_api::v1;
use benchring_api::v1::method_service_client::MethodServiceClient;
use benchring_server::admin;
use benchring_server::door::Door;
use benchring_server::listen::{ListenSettings, Listener};
use benchring_server::reason::Reason;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::task::JoinHandle;
use tokio_stream::StreamExt as _;
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;
use tonic_reflection::pb::v1::ServerReflectionRequest;
use tonic_reflection::pb::v1::server_reflection_client::ServerReflectionClient;
use tonic_reflection::pb::v1::server_reflection_request::MessageRequest;
use tonic_reflection::pb::v1::server_reflection_response::MessageResponse;
use tonic_reflection::pb::v1alpha;
use tonic_reflection::pb::v1alpha::server_reflection_client::ServerReflectionClient as Alpha;
use tonic_reflection::pb::v1alpha::server_reflection_request::MessageRequest as AlphaRequest;

use crate::grpc::reason;
use crate::service::{ask, door};

struct Running {
    address: SocketAddr,
    door: Door,
    stop: CancellationToken,
    served: JoinHandle<()>,
}

fn quick() -> ListenSettings {
    ListenSettings {
        lameduck: Duration::from_millis(200),
        drain: Duration::from_secs(2),
        ..ListenSettings::default()
    }
}

async fn running(settings: ListenSettings) -> Running {
    let listener = Listener::bind(([127, 0, 0, 1], 0).into(), settings).await.expect("a port");
    let (address, door, stop) = (listener.address(), door().await, CancellationToken::new());
    let served = tokio::spawn(listener.serve(door.clone(), stop.clone()));
    Running { address, door, stop, served }
}

impl Running {
    async fn channel(&self) -> Channel {
        let endpoint = Channel::from_shared(format!("http://{}", self.address)).expect("an address");
        endpoint.connect().await.expect("a connection")
    }

    /// Sends bytes and reads until the server closes or the time is over.
    async fn talk(&self, bytes: &[u8], patience: Duration) -> (String, bool) {
        let mut stream = TcpStream::connect(self.address).await.expect("a connection");
        stream.write_all(bytes).await.expect("sent");
        let mut got = Vec::new();
        let closed = tokio::time::timeout(patience, stream.read_to_end(&mut got)).await.is_ok();
        (String::from_utf8_lossy(&got).into_owned(), closed)
    }

    async fn end(self) -> Duration {
        let began = Instant::now();
        self.stop.cancel();
        self.served.await.expect("served");
        began.elapsed()
    }
}

#[tokio::test]
async fn one_port_speaks_grpc_and_http_1() {
    let running = running(quick()).await;
    let mut client = MethodServiceClient::new(running.channel().await);
    let request = v1::GetMethodRequest { name: "methods/m".to_owned() };
    assert_eq!(client.get_method(request).await.expect("an answer").into_inner().title, "A method");
    let ask = b"GET /v1/server HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n";
    let (got, closed) = running.talk(ask, Duration::from_secs(5)).await;
    assert!(got.starts_with("HTTP/1.1 200 OK") && got.contains("\"serverVersion\":\"1\""), "{got}");
    assert!(closed);
    let web = b"POST /benchring.v1.ServerService/GetServerInfo HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\
        content-type: application/grpc-web+proto\r\ncontent-length: 5\r\n\r\n\0\0\0\0\0";
    let (got, _) = running.talk(web, Duration::from_secs(5)).await;
    assert!(got.contains("application/grpc-web+proto") && got.contains("grpc-status:0"), "{got}");
}

#[tokio::test]
async fn reflection_v1_and_v1alpha_list_all_services() {
    let running = running(quick()).await;
    let channel = running.channel().await;
    let ask = ServerReflectionRequest {
        message_request: Some(MessageRequest::ListServices(String::new())),
        ..Default::default()
    };
    let mut answers = ServerReflectionClient::new(channel.clone())
        .server_reflection_info(tokio_stream::once(ask))
        .await
        .expect("a stream")
        .into_inner();
    let answer = answers.next().await.expect("one").expect("an answer").message_response;
    let Some(MessageResponse::ListServicesResponse(list)) = answer else { panic!("no list: {answer:?}") };
    let names: Vec<_> = list.service.into_iter().map(|s| s.name).collect();
    for name in ["benchring.v1.TrialService", "grpc.health.v1.Health", "grpc.reflection.v1.ServerReflection"]
    {
        assert!(names.iter().any(|n| n == name), "{name} in {names:?}");
    }
    let ask = v1alpha::ServerReflectionRequest {
        message_request: Some(AlphaRequest::FileContainingSymbol("benchring.v1.Trial".to_owned())),
        ..Default::default()
    };
    let answers =
        Alpha::new(channel).server_reflection_info(tokio_stream::once(ask)).await.expect("a stream");
    let answer = answers.into_inner().next().await.expect("one").expect("an answer");
    assert!(format!("{answer:?}").contains("FileDescriptorResponse"), "{answer:?}");
}

#[tokio::test]
async fn a_drain_says_so_first_ends_streams_and_finishes_in_time() {
    let running = running(quick()).await;
    let channel = running.channel().await;
    let mut health = HealthClient::new(channel);
    let mut watch = health.watch(HealthCheckRequest::default()).await.expect("a stream").into_inner();
    let first = watch.message().await.expect("a status").expect("one");
    assert_eq!(first.status, ServingStatus::Serving as i32);
    let unknown = HealthCheckRequest { service: "no.such.Service".to_owned() };
    let status = health.check(unknown).await.expect_err("unknown");
    assert_eq!(reason(&status), Reason::NotFound);
    let mut slow = TcpStream::connect(running.address).await.expect("a connection");
    let head = b"GET /v1/methods/slow HTTP/1.1\r\nhost: x\r\ngrpc-timeout: 600m\r\n\r\n";
    slow.write_all(head).await.expect("sent");

    let began = Instant::now();
    running.stop.cancel();
    let next = watch.message().await.expect("a status").expect("one");
    assert_eq!(next.status, ServingStatus::NotServing as i32);
    assert!(running.door.is_draining());
    let ask = b"GET /v1/server HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n";
    let (got, _) = running.talk(ask, Duration::from_secs(2)).await;
    assert!(got.starts_with("HTTP/1.1 200"), "the lame duck still answers: {got}");
    let ended = watch.message().await.expect_err("an end");
    assert_eq!(reason(&ended), Reason::Draining);
    let mut answer = String::new();
    slow.read_to_string(&mut answer).await.expect("an answer");
    assert!(answer.starts_with("HTTP/1.1 504"), "an open call ran to its own end: {answer}");
    running.served.await.expect("served");
    let took = began.elapsed();
    assert!(took > Duration::from_millis(200) && took < Duration::from_secs(2), "{took:?}");
    assert!(TcpStream::connect(running.address).await.is_err(), "the port is closed");
}

#[tokio::test]
async fn the_last_word_of_a_watch_is_not_serving_also_without_lameduck_time() {
    for _ in 0..20 {
        let running = running(ListenSettings { lameduck: Duration::ZERO, ..quick() }).await;
        let mut health = HealthClient::new(running.channel().await);
        let mut watch = health.watch(HealthCheckRequest::default()).await.expect("a stream").into_inner();
        assert!(watch.message().await.expect("a status").is_some());
        running.stop.cancel();
        let last = watch.message().await.expect("a status").expect("one");
        assert_eq!(last.status, ServingStatus::NotServing as i32);
        assert_eq!(reason(&watch.message().await.expect_err("an end")), Reason::Draining);
        running.served.await.expect("served");
    }
}

#[tokio::test]
async fn a_drain_cuts_what_does_not_end() {
    let running = running(ListenSettings { drain: Duration::from_millis(500), ..quick() }).await;
    let mut client = MethodServiceClient::new(running.channel().await);
    let slow = v1::GetMethodRequest { name: "methods/slow".to_owned() };
    let call = tokio::spawn(async move { client.get_method(slow).await });
    // A connection that never asks, and one in the middle of a head.
    let _silent = TcpStream::connect(running.address).await.expect("a connection");
    let mut half = TcpStream::connect(running.address).await.expect("a connection");
    half.write_all(b"GET / HTTP/1.1\r\nhost").await.expect("sent");
    while running.door.metrics().calls_in_flight() < 1 {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    let door = running.door.clone();
    let took = running.end().await;
    assert!(took < Duration::from_millis(1500), "{took:?}");
    assert!(call.await.expect("joined").is_err());
    assert_eq!(door.metrics().connections_open(), 0);
    assert_eq!(door.metrics().calls_in_flight(), 0);
}

#[tokio::test]
async fn connections_that_do_not_ask_are_closed() {
    let running = running(ListenSettings { header_time: Duration::from_millis(300), ..quick() }).await;
    for bytes in [&b""[..], b"PRI * HT", b"GET / HTTP/1.1\r\nhost: x", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"] {
        let (_, closed) = running.talk(bytes, Duration::from_secs(3)).await;
        assert!(closed, "{bytes:?}");
    }
    assert!(running.channel().await.ready_soon().await, "good clients are let in");
}

trait ReadySoon {
    async fn ready_soon(self) -> bool;
}

impl ReadySoon for Channel {
    async fn ready_soon(self) -> bool {
        HealthClient::new(self).check(HealthCheckRequest::default()).await.is_ok()
    }
}

#[tokio::test]
async fn connections_beyond_the_cap_are_refused_and_places_come_back() {
    let running = running(ListenSettings { connections: 3, ..quick() }).await;
    let mut held = Vec::new();
    for _ in 0..3 {
        let mut stream = TcpStream::connect(running.address).await.expect("a connection");
        stream.write_all(b"GET /v1/server HTTP/1.1\r\nhost: x\r\n\r\n").await.expect("sent");
        let mut first = [0; 12];
        stream.read_exact(&mut first).await.expect("an answer");
        assert_eq!(&first, b"HTTP/1.1 200");
        held.push(stream);
    }
    let (got, closed) = running.talk(b"", Duration::from_secs(2)).await;
    assert!(closed && got.starts_with("HTTP/1.1 503"), "{got}");
    drop(held);
    while running.door.metrics().connections_open() > 0 {
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    let ask = b"GET /v1/server HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n";
    let (got, _) = running.talk(ask, Duration::from_secs(2)).await;
    assert!(got.starts_with("HTTP/1.1 200"), "{got}");
}

#[tokio::test]
async fn old_connections_are_asked_to_go_and_calls_go_on() {
    let running = running(ListenSettings { connection_age: Duration::from_millis(300), ..quick() }).await;
    let mut health = HealthClient::new(running.channel().await);
    let until = Instant::now() + Duration::from_secs(2);
    let mut calls = 0;
    while Instant::now() < until {
        if health.check(HealthCheckRequest::default()).await.is_err() {
            // This client does not repeat by itself what it had not sent yet when its connection was closed.
            health.check(HealthCheckRequest::default()).await.expect("no call fails twice for age");
        }
        calls += 1;
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    let text = running.door.metrics().text();
    let accepted = text.lines().find_map(|l| l.strip_prefix("benchring_connections_accepted_total "));
    let accepted: u32 = accepted.and_then(|n| n.parse().ok()).expect("a count");
    assert!((4..=12).contains(&accepted), "{accepted} connections for {calls} calls");
}

#[tokio::test]
async fn a_client_that_sends_too_much_is_told_so_and_keeps_its_connection() {
    let running = running(quick()).await;
    let mut stream = TcpStream::connect(running.address).await.expect("a connection");
    for _ in 0..2 {
        let head = "POST /v1/trials HTTP/1.1\r\nhost: x\r\ncontent-type: application/json\r\ncontent-length: 5242880\r\n\r\n";
        stream.write_all(head.as_bytes()).await.expect("sent");
        stream.write_all(&vec![b' '; 5_242_880]).await.expect("all of it is read");
        let mut got = vec![0; 4096];
        let length = stream.read(&mut got).await.expect("an answer");
        assert!(got[..length].starts_with(b"HTTP/1.1 413"), "{}", String::from_utf8_lossy(&got[..length]));
    }
}

#[tokio::test]
async fn large_heads_are_refused() {
    let running = running(quick()).await;
    let ask = format!("GET /v1/server HTTP/1.1\r\nhost: x\r\nx-a: {}\r\n\r\n", "a".repeat(20_000));
    let (got, closed) = running.talk(ask.as_bytes(), Duration::from_secs(2)).await;
    assert!(closed && got.starts_with("HTTP/1.1 431"), "{got}");
    let mut request = tonic::Request::new(HealthCheckRequest::default());
    request.metadata_mut().insert("x-a", "a".repeat(20_000).parse().expect("a value"));
    let channel = running.channel().await;
    assert!(HealthClient::new(channel.clone()).check(request).await.is_err());
    assert!(channel.ready_soon().await, "the connection survives");
}

#[tokio::test]
async fn the_operators_port_probes_and_counts() {
    let door = door().await;
    let admin = admin::Admin::bind(([127, 0, 0, 1], 0).into()).await.expect("a port");
    let (address, stop) = (admin.address(), CancellationToken::new());
    let ready: admin::Readiness = Arc::new(|| Box::pin(async { Ok(()) }));
    let served = tokio::spawn(admin.serve(door.clone(), ready, stop.clone()));
    let get = |path: &'static str| async move {
        let mut stream = TcpStream::connect(address).await.expect("a connection");
        let head = format!("GET {path} HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n");
        stream.write_all(head.as_bytes()).await.expect("sent");
        let mut got = String::new();
        stream.read_to_string(&mut got).await.expect("an answer");
        got
    };
    ask(&door, "GET /v1/server", &[], "").await;
    ask(&door, "GET /v1/nothing", &[], "").await;
    assert!(get("/healthz").await.starts_with("HTTP/1.1 200"));
    assert!(get("/readyz").await.starts_with("HTTP/1.1 200"));
    let text = get("/metrics").await;
    let line = "benchring_calls_total{method=\"benchring.v1.ServerService/GetServerInfo\",code=\"OK\"} 1";
    assert!(text.contains(line), "{text}");
    assert!(text.contains("benchring_json_refused_total{reason=\"PATH_NOT_FOUND\"} 1"), "{text}");
    assert!(text.contains("benchring_calls_identified_total 1"), "{text}");
    door.begin_drain().await;
    assert!(get("/readyz").await.starts_with("HTTP/1.1 503"));
    assert!(get("/healthz").await.starts_with("HTTP/1.1 200"));
    stop.cancel();
    served.await.expect("joined").expect("served");
}
