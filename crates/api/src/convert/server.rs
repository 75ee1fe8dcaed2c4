//! What the server is and allows.

use benchring_domain::clock::Timestamp;

use super::time::time_to_wire;
use crate::v1;

/// Facts of one server.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ServerFacts<'a> {
    /// Version of the program.
    pub server_version: &'a str,
    /// Version of the engine that computes answers.
    pub engine_version: &'a str,
    /// Version of the catalogue.
    pub catalogue_version: &'a str,
    /// Last sequence of the audit log.
    pub data_version: i64,
    /// Whether development tokens are accepted.
    pub development_tokens: bool,
    /// Whether writing is switched off.
    pub read_only: bool,
    /// Whether reading needs a token.
    pub private_instance: bool,
    /// Oldest version of a client that is served in full.
    pub minimum_client_version: &'a str,
    /// What it can do beyond its first release.
    pub features: &'a [&'a str],
    /// The server's clock.
    pub server_time: Timestamp,
    /// Limits.
    pub limits: Limits,
}

/// Limits of one server.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Most runs of one trial.
    pub runs: usize,
    /// Most arms of one trial.
    pub arms: usize,
    /// Largest request, in bytes.
    pub request_bytes: usize,
    /// Largest page.
    pub page: u32,
    /// Longest time a call may take.
    pub deadline: std::time::Duration,
    /// How long an answer is kept for its request id, in days.
    pub request_id_days: u32,
    /// Most trials at once.
    pub items: usize,
    /// Page where none is asked for.
    pub usual_page: u32,
    /// Most characters of a filter.
    pub filter_characters: usize,
    /// Most comparisons of a filter.
    pub filter_comparisons: usize,
    /// Deepest nesting in a filter.
    pub filter_depth: usize,
}

/// Writes what the server is.
pub fn server_info_to_wire(facts: &ServerFacts<'_>) -> v1::ServerInfo {
    let ServerFacts {
        server_version,
        engine_version,
        catalogue_version,
        data_version,
        development_tokens,
        read_only,
        private_instance,
        minimum_client_version,
        features,
        server_time,
        limits,
    } = *facts;
    v1::ServerInfo {
        server_version: server_version.to_owned(),
        engine_version: engine_version.to_owned(),
        catalogue_version: catalogue_version.to_owned(),
        data_version,
        development_tokens,
        read_only,
        private_instance,
        minimum_client_version: minimum_client_version.to_owned(),
        features: features.iter().map(|feature| (*feature).to_owned()).collect(),
        server_time: Some(time_to_wire(server_time)),
        limits: Some(limits_to_wire(limits)),
    }
}

fn limits_to_wire(limits: Limits) -> v1::ServerLimits {
    let Limits { runs, arms, request_bytes, page, deadline, request_id_days, items, usual_page, .. } = limits;
    let Limits { filter_characters, filter_comparisons, filter_depth, .. } = limits;
    let count = |count: usize| i32::try_from(count).unwrap_or(i32::MAX);
    v1::ServerLimits {
        runs_count: count(runs),
        arms_count: count(arms),
        request_bytes: i64::try_from(request_bytes).unwrap_or(i64::MAX),
        page_count: super::count_to_wire(page),
        deadline_milliseconds: i64::try_from(deadline.as_millis()).unwrap_or(i64::MAX),
        request_id_days: super::count_to_wire(request_id_days),
        items_count: count(items),
        usual_page_count: super::count_to_wire(usual_page),
        filter_characters_count: count(filter_characters),
        filter_comparisons_count: count(filter_comparisons),
        filter_depth_count: count(filter_depth),
    }
}
