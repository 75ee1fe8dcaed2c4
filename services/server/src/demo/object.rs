//! What `demo --json` prints: one object, whose keys scripts may rely on.

use serde::Serialize;

use super::claims::word;
use super::community::faults::{About, FAULTS};
use super::compared::Compared;
use super::invented::{PACKS, REFERENCE};
use super::story::Story;

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
    /// For "up to": whether it is reached in any demand class.
    #[serde(skip_serializing_if = "Option::is_none")]
    up_to: Option<&'static str>,
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
            let caught = !by.is_empty();
            FaultObject {
                id: about.id,
                caught,
                by: if caught { by.join("; ") } else { "nothing".to_owned() },
            }
        };
        Self {
            comparisons: story.compared.iter().filter_map(comparison).collect(),
            differences: story.compared.iter().filter_map(difference).collect(),
            faults: FAULTS.iter().map(fault).collect(),
            claims: story
                .claims
                .iter()
                .map(|judged| ClaimObject {
                    id: judged.claim.id,
                    verdict: word(judged.verdict),
                    expected: word(judged.expected),
                    up_to: judged.up_to.map(word),
                })
                .collect(),
            data_version: story.data_version,
        }
    }
}
