//! Counts in the Prometheus text format. Every label comes from a fixed list, so that no client can
//! make new series.

use std::fmt::Write as _;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering::Relaxed};
use std::time::Duration;

use tonic::Code;

use crate::door::Rpc;
use crate::reason::{self, Reason};

const CODES: usize = 17;

/// Upper bounds of the time buckets, in seconds.
const BUCKETS: [f64; 11] = [0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 1.0, 2.5, 10.0];

#[derive(Debug, Default)]
struct OfRpc {
    codes: [AtomicU64; CODES],
    buckets: [AtomicU64; BUCKETS.len()],
    microseconds: AtomicU64,
    count: AtomicU64,
}

/// Everything that is counted.
#[derive(Debug)]
pub struct Metrics {
    names: Vec<String>,
    /// One for each rpc, and a last one for calls of no known method.
    rpcs: Vec<OfRpc>,
    in_flight: AtomicI64,
    shed: AtomicU64,
    identified: AtomicU64,
    panics: AtomicU64,
    refused: Vec<AtomicU64>,
    connections: AtomicI64,
    connections_accepted: AtomicU64,
    connections_refused: AtomicU64,
}

/// A call in flight.
#[derive(Debug)]
pub(crate) struct InFlight(Arc<Metrics>);

impl InFlight {
    pub(crate) fn end(&self) {
        self.0.in_flight.fetch_sub(1, Relaxed);
    }
}

/// An open connection.
#[derive(Debug)]
pub(crate) struct Connected(Arc<Metrics>);

impl Drop for Connected {
    fn drop(&mut self) {
        self.0.connections.fetch_sub(1, Relaxed);
    }
}

impl Metrics {
    pub(crate) fn new(rpcs: &[Arc<Rpc>]) -> Self {
        Self {
            names: rpcs.iter().map(|rpc| rpc.name.clone()).collect(),
            rpcs: std::iter::repeat_with(OfRpc::default).take(rpcs.len() + 1).collect(),
            in_flight: AtomicI64::new(0),
            shed: AtomicU64::new(0),
            identified: AtomicU64::new(0),
            panics: AtomicU64::new(0),
            refused: reason::ALL.iter().map(|_| AtomicU64::new(0)).collect(),
            connections: AtomicI64::new(0),
            connections_accepted: AtomicU64::new(0),
            connections_refused: AtomicU64::new(0),
        }
    }

    pub(crate) fn called(&self, rpc: Option<usize>, code: Code, took: Duration) {
        let Some(of) = rpc.map_or(self.rpcs.last(), |index| self.rpcs.get(index)) else { return };
        of.codes[(code as usize).min(CODES - 1)].fetch_add(1, Relaxed);
        of.count.fetch_add(1, Relaxed);
        of.microseconds.fetch_add(u64::try_from(took.as_micros()).unwrap_or(u64::MAX), Relaxed);
        if let Some(bucket) = BUCKETS.iter().position(|bound| took.as_secs_f64() <= *bound) {
            of.buckets[bucket].fetch_add(1, Relaxed);
        }
    }

    pub(crate) fn in_flight(self: &Arc<Self>) -> InFlight {
        self.in_flight.fetch_add(1, Relaxed);
        InFlight(Arc::clone(self))
    }

    pub(crate) fn shed(&self) {
        self.shed.fetch_add(1, Relaxed);
    }

    pub(crate) fn identified(&self) {
        self.identified.fetch_add(1, Relaxed);
    }

    pub(crate) fn panicked(&self) {
        self.panics.fetch_add(1, Relaxed);
    }

    pub(crate) fn refused_by_json(&self, reason: Reason) {
        self.refused[reason as usize].fetch_add(1, Relaxed);
    }

    pub(crate) fn connected(self: &Arc<Self>) -> Connected {
        self.connections.fetch_add(1, Relaxed);
        self.connections_accepted.fetch_add(1, Relaxed);
        Connected(Arc::clone(self))
    }

    pub(crate) fn connection_refused(&self) {
        self.connections_refused.fetch_add(1, Relaxed);
    }

    /// How often a caller was identified: once in every call, whichever way it came in.
    pub fn calls_identified(&self) -> u64 {
        self.identified.load(Relaxed)
    }

    /// Calls that are being answered now.
    pub fn calls_in_flight(&self) -> i64 {
        self.in_flight.load(Relaxed)
    }

    /// Connections open now.
    pub fn connections_open(&self) -> i64 {
        self.connections.load(Relaxed)
    }

    /// Handlers that panicked.
    pub fn handlers_panicked(&self) -> u64 {
        self.panics.load(Relaxed)
    }

    /// All of it, in the Prometheus text format 0.0.4.
    pub fn text(&self) -> String {
        let mut out = String::with_capacity(16 * 1024);
        self.plain(&mut out);
        self.calls(&mut out);
        self.times(&mut out);
        head(&mut out, "benchring_json_refused_total", "counter", "Requests the JSON door refused itself.");
        for ((_, row), count) in reason::ALL.iter().zip(&self.refused) {
            let count = count.load(Relaxed);
            if count > 0 {
                let _ = writeln!(out, "benchring_json_refused_total{{reason=\"{}\"}} {count}", row.name);
            }
        }
        out
    }

    fn plain(&self, out: &mut String) {
        let up = |n: &AtomicU64| i128::from(n.load(Relaxed));
        let level = |n: &AtomicI64| i128::from(n.load(Relaxed));
        for (name, kind, help, value) in [
            ("benchring_calls_in_flight", "gauge", "Calls being answered.", level(&self.in_flight)),
            ("benchring_calls_shed_total", "counter", "Calls turned away at the limit.", up(&self.shed)),
            (
                "benchring_calls_identified_total",
                "counter",
                "Calls whose caller was looked for.",
                up(&self.identified),
            ),
            ("benchring_panics_total", "counter", "Handlers that panicked.", up(&self.panics)),
            ("benchring_connections_open", "gauge", "Open connections.", level(&self.connections)),
            (
                "benchring_connections_accepted_total",
                "counter",
                "Connections accepted.",
                up(&self.connections_accepted),
            ),
            (
                "benchring_connections_refused_total",
                "counter",
                "Connections closed at a limit.",
                up(&self.connections_refused),
            ),
        ] {
            head(out, name, kind, help);
            let _ = writeln!(out, "{name} {value}");
        }
    }

    fn named(&self) -> impl Iterator<Item = (&str, &OfRpc)> {
        self.names.iter().map(String::as_str).chain(["unknown"]).zip(&self.rpcs)
    }

    fn calls(&self, out: &mut String) {
        head(out, "benchring_calls_total", "counter", "Calls by method and gRPC code.");
        for (method, of) in self.named() {
            for (code, count) in of.codes.iter().enumerate() {
                let count = count.load(Relaxed);
                if count > 0 {
                    let code = code_name(i32::try_from(code).unwrap_or(2));
                    let _ =
                        writeln!(out, "benchring_calls_total{{method=\"{method}\",code=\"{code}\"}} {count}");
                }
            }
        }
    }

    fn times(&self, out: &mut String) {
        let name = "benchring_call_seconds";
        head(out, name, "histogram", "Time from the first byte of a call to the last of its answer.");
        for (method, of) in self.named().filter(|(_, of)| of.count.load(Relaxed) > 0) {
            let mut below = 0;
            for (bound, count) in BUCKETS.iter().zip(&of.buckets) {
                below += count.load(Relaxed);
                let _ = writeln!(out, "{name}_bucket{{method=\"{method}\",le=\"{bound}\"}} {below}");
            }
            let count = of.count.load(Relaxed);
            let seconds = of.microseconds.load(Relaxed) as f64 / 1e6;
            let _ = writeln!(out, "{name}_bucket{{method=\"{method}\",le=\"+Inf\"}} {count}");
            let _ = writeln!(out, "{name}_sum{{method=\"{method}\"}} {seconds}");
            let _ = writeln!(out, "{name}_count{{method=\"{method}\"}} {count}");
        }
    }
}

fn head(out: &mut String, name: &str, kind: &str, help: &str) {
    let _ = writeln!(out, "# HELP {name} {help}\n# TYPE {name} {kind}");
}

/// A gRPC code in the spelling of the protocol.
pub(crate) fn code_name(code: i32) -> &'static str {
    match Code::from_i32(code) {
        Code::Ok => "OK",
        Code::Cancelled => "CANCELLED",
        Code::Unknown => "UNKNOWN",
        Code::InvalidArgument => "INVALID_ARGUMENT",
        Code::DeadlineExceeded => "DEADLINE_EXCEEDED",
        Code::NotFound => "NOT_FOUND",
        Code::AlreadyExists => "ALREADY_EXISTS",
        Code::PermissionDenied => "PERMISSION_DENIED",
        Code::ResourceExhausted => "RESOURCE_EXHAUSTED",
        Code::FailedPrecondition => "FAILED_PRECONDITION",
        Code::Aborted => "ABORTED",
        Code::OutOfRange => "OUT_OF_RANGE",
        Code::Unimplemented => "UNIMPLEMENTED",
        Code::Internal => "INTERNAL",
        Code::Unavailable => "UNAVAILABLE",
        Code::DataLoss => "DATA_LOSS",
        Code::Unauthenticated => "UNAUTHENTICATED",
    }
}
