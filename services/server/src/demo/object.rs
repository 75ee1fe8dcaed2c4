//! What `demo --json` prints: one object, whose keys scripts may rely on.

use serde::Serialize;

use super::community::faults::{About, FAULTS};
use super::compared::Compared;
use super::invented::{PACKS, REFERENCE};
use super::story::Story;

/// A claim that the demo will judge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Claim {
    /// Its id.
    pub id: &'static str,
    /// Who claims.
    pub maker: &'static str,
    /// In which words, of what.
    pub words: &'static str,
    /// The verdict that is right.
    pub expected: &'static str,
}

const fn claim(id: &'static str, maker: &'static str, words: &'static str, expected: &'static str) -> Claim {
    Claim { id, maker, words, expected }
}

/// The claims of the invented makers.
pub const CLAIMS: [Claim; 6] = [
    claim("C1", "maker L", "'40 % more power', L5P against K5", "NOT_TESTABLE_AS_WORDED"),
    claim("C2", "maker L", "'up to 60 % more work per charge', L5P against K5, in general", "CONTRADICTED"),
    claim("C3", "maker N", "'6.0 Ah', N6", "CONTRADICTED"),
    claim("C4", "maker K", "'1.4 times the run time of the 5.0', K8 against K5, light work", "SUPPORTED"),
    claim("C5", "maker K", "'25 % faster', K4T against K5, heavy work", "CONTRADICTED"),
    claim("C6", "maker L", "'runs 30 % cooler', L5P against K5, medium work", "SUPPORTED"),
];

/// What `--json` prints.
#[derive(Debug, Serialize)]
pub struct Object {
    comparisons: Vec<ComparisonObject>,
    /// What packs differ by in the unit of the reading, where no ratio has a meaning.
    differences: Vec<DifferenceObject>,
    faults: Vec<FaultObject>,
    claims: Vec<ClaimObject>,
    data_version: i64,
}

#[derive(Debug, Serialize)]
struct ComparisonObject {
    method: &'static str,
    demand_class: Option<&'static str>,
    pack_a: &'static str,
    pack_b: &'static str,
    ratio: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
    true_ratio: Option<f64>,
    raw_ratio: Option<f64>,
    testers: usize,
    trials: usize,
}

#[derive(Debug, Serialize)]
struct DifferenceObject {
    method: &'static str,
    demand_class: Option<&'static str>,
    pack_a: &'static str,
    pack_b: &'static str,
    unit: &'static str,
    difference: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
    true_difference: Option<f64>,
    raw_difference: Option<f64>,
    testers: usize,
    trials: usize,
}

#[derive(Debug, Serialize)]
struct FaultObject {
    id: &'static str,
    caught: bool,
    by: String,
}

#[derive(Debug, Serialize)]
struct ClaimObject {
    id: &'static str,
    verdict: &'static str,
    expected: &'static str,
}

impl Object {
    /// The story as one object.
    pub fn of(story: &Story) -> Self {
        let comparison = |compared: &Compared| {
            let pooled = compared.pooled.as_ref().filter(|_| !compared.by_difference())?;
            Some(ComparisonObject {
                method: compared.asked.work().method,
                demand_class: compared.asked.work().demand_class,
                pack_a: PACKS[REFERENCE].id,
                pack_b: PACKS[compared.asked.pack_b].id,
                ratio: pooled.ratio,
                lower: pooled.lower,
                upper: pooled.upper,
                true_ratio: compared.truth,
                raw_ratio: compared.raw,
                testers: pooled.testers,
                trials: pooled.trials,
            })
        };
        let difference = |compared: &Compared| {
            let pooled = compared.pooled.as_ref().filter(|_| compared.by_difference())?;
            Some(DifferenceObject {
                method: compared.asked.work().method,
                demand_class: compared.asked.work().demand_class,
                pack_a: PACKS[REFERENCE].id,
                pack_b: PACKS[compared.asked.pack_b].id,
                unit: "K",
                difference: pooled.ratio,
                lower: pooled.lower,
                upper: pooled.upper,
                true_difference: compared.truth,
                raw_difference: compared.raw,
                testers: pooled.testers,
                trials: pooled.trials,
            })
        };
        let fault = |about: &About| {
            let by: Vec<&str> =
                story.caught.get(&about.fault).into_iter().flatten().map(|one| one.by.as_str()).collect();
            let missed = if about.planted { "nothing" } else { "not yet" };
            let caught = !by.is_empty();
            FaultObject { id: about.id, caught, by: if caught { by.join("; ") } else { missed.to_owned() } }
        };
        Self {
            comparisons: story.compared.iter().filter_map(comparison).collect(),
            differences: story.compared.iter().filter_map(difference).collect(),
            faults: FAULTS.iter().map(fault).collect(),
            claims: CLAIMS
                .iter()
                .map(|claim| ClaimObject { id: claim.id, verdict: "NOT_YET", expected: claim.expected })
                .collect(),
            data_version: story.data_version,
        }
    }
}
