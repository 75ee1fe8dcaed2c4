//! Trials handed over for analysis, and what came of it.

use std::collections::BTreeMap;

use benchring_domain::analysis::documents::{Document, Gathered};
use benchring_domain::analysis::{AnalysedPair, AnalysedStratum, Analysis};
use benchring_domain::clock::Timestamp;
use benchring_domain::id::{MethodRef, PackModelId, TrialId, shortened};
use benchring_domain::method::{Catalogue, Method};
use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::pool::question::Options;
use benchring_domain::pool::wording::Subject;
use benchring_domain::trial::References;
use benchring_domain::violation::Violations;

use super::beside::unpooled_to_wire;
use super::compare::stratum_to_wire;
use super::documents::Handed;
use super::question::{options_from_wire, options_to_wire};
use super::{Telling, left_out_to_wire};
use crate::convert::quantity::finding_to_wire;
use crate::v1;

/// Most trials of a request.
pub const MOST_TRIALS: usize = 500;
/// Most runs of all its trials.
pub const MOST_RUNS: usize = 20_000;
/// Most resources beside them, of each kind.
pub const MOST_RESOURCES: usize = 1_000;

/// A request read.
#[derive(Debug)]
pub struct AnalysisRead {
    /// The method of all its trials.
    pub method: Method,
    /// The trials.
    pub documents: Vec<Document>,
    /// The resources handed over with them.
    pub references: References,
    /// How it is computed.
    pub options: Options,
    /// What the others are compared with.
    pub reference: Option<PackModelId>,
}

/// Reads a request.
///
/// # Errors
/// Everything that cannot be read or breaks a rule on the way to the trials.
pub fn analysis_from_wire(
    request: v1::AnalyseTrialsRequest,
    catalogue: &Catalogue,
    now: Timestamp,
) -> Result<AnalysisRead, Violations> {
    let v1::AnalyseTrialsRequest { trials, pack_models, pack_specimens, tool_models, options, reference } =
        request;
    let mut broken = Violations::default();
    let runs: usize =
        trials.iter().flat_map(|t| &t.arms).flat_map(|a| &a.charges).map(|c| c.runs.len()).sum();
    for (field, count, most) in [
        ("trials", trials.len(), MOST_TRIALS),
        ("trials", runs, MOST_RUNS),
        ("pack_models", pack_models.len(), MOST_RESOURCES),
        ("pack_specimens", pack_specimens.len(), MOST_RESOURCES),
        ("tool_models", tool_models.len(), MOST_RESOURCES),
    ] {
        if count > most {
            let what = if field == "trials" && most == MOST_RUNS { "runs" } else { field };
            broken.add(
                field,
                "TOO_MANY",
                format!("{count} {what}, and at most {most} are taken: send fewer at a time"),
            );
        }
    }
    if trials.is_empty() {
        broken.add("trials", "REQUIRED", "send the trials to analyse");
    }
    if !broken.is_empty() {
        return Err(broken);
    }
    let mut handed = Handed { trials, pack_models, pack_specimens, tool_models };
    let references = handed.references(catalogue, now, &mut broken);
    let documents = handed.documents(|place| format!("trials[{place}]"), &mut broken);
    let method = one_method(&documents, catalogue, &mut broken);
    twice(&documents, &mut broken);
    let options = options_from_wire(options, &mut broken).check(method, &mut broken);
    let reference = (!reference.is_empty())
        .then(|| PackModelId::from_name(&reference))
        .and_then(|read| read.map_err(|wrong| broken.add("reference", "NOT_A_NAME", wrong.to_string())).ok());
    let Some(method) = method.cloned() else { return Err(broken) };
    broken.finish(AnalysisRead { method, documents, references, options, reference })
}

/// The one method of all trials.
fn one_method<'a>(
    documents: &[Document],
    catalogue: &'a Catalogue,
    broken: &mut Violations,
) -> Option<&'a Method> {
    let first = documents.first()?;
    for other in documents.iter().filter(|other| other.draft.method != first.draft.method) {
        broken.add(
            format!("{}.method", other.at),
            "MIXED_METHODS",
            format!(
                "`{}`, and the first trial is of `{}`: trials of several methods are never mixed, so send them apart",
                shortened(&other.draft.method),
                shortened(&first.draft.method)
            ),
        );
    }
    let found =
        MethodRef::from_name(&first.draft.method).ok().and_then(|reference| catalogue.method(&reference));
    if found.is_none() {
        broken.add(
            format!("{}.method", first.at),
            "UNKNOWN_METHOD",
            format!(
                "there is no method version `{}`: ListMethods (GET /v1/methods) has all of them",
                shortened(&first.draft.method)
            ),
        );
    }
    found
}

/// A trial counts once.
fn twice(documents: &[Document], broken: &mut Violations) {
    let mut seen: BTreeMap<&TrialId, &str> = BTreeMap::new();
    for document in documents {
        if let Some(first) = seen.insert(&document.trial, &document.at) {
            let message = format!("{} is {first} too: send each trial once", document.trial.name());
            broken.add(format!("{}.name", document.at), "DUPLICATE", message);
        }
    }
}

/// An analysis with what was found on the way to it.
#[derive(Debug, Clone, Copy)]
pub struct Analysed<'a> {
    /// The method.
    pub method: &'a Method,
    /// The numbers.
    pub found: &'a Analysis,
    /// The trials.
    pub gathered: &'a Gathered,
}

/// Writes an analysis. The caller handed every trial over, so all are named.
pub fn analysed_to_wire(analysed: &Analysed<'_>) -> v1::AnalyseTrialsResponse {
    let Analysed { method, found, gathered } = analysed;
    let nobody = Subject { pack_a: String::new(), pack_b: String::new(), measured: String::new() };
    let telling = telling(method, &nobody);
    let left_out = found.left_out.iter().chain(&gathered.left_out);
    v1::AnalyseTrialsResponse {
        method: found.method.name(),
        options: Some(options_to_wire(&found.options, method.response.measure.dimension.canonical().ucum)),
        reference: found.reference.as_ref().map(PackModelId::name).unwrap_or_default(),
        strata: found.strata.iter().map(|one| analysed_stratum_to_wire(one, method)).collect(),
        left_out: left_out.map(|left| left_out_to_wire(left, &telling)).collect(),
        findings: gathered
            .findings
            .iter()
            .map(|(trial, one)| v1::AnalysisFinding {
                trial: trial.name(),
                finding: Some(finding_to_wire(one)),
            })
            .collect(),
        unchecked: gathered.unchecked.iter().cloned().collect(),
        engine_version: ENGINE_VERSION.to_owned(),
    }
}

fn telling<'a>(method: &'a Method, subject: &'a Subject) -> Telling<'a> {
    Telling { method, subject, cautions: Vec::new(), readable: &|_| true, etag: String::new() }
}

fn analysed_stratum_to_wire(stratum: &AnalysedStratum, method: &Method) -> v1::AnalysedStratum {
    let nobody = Subject { pack_a: String::new(), pack_b: String::new(), measured: String::new() };
    v1::AnalysedStratum {
        shared: stratum.shared.iter().cloned().collect(),
        demand_class: stratum.demand_class.clone().unwrap_or_default(),
        pairs: stratum.pairs.iter().map(|pair| pair_to_wire(pair, method)).collect(),
        pairs_without_effect: stratum
            .without_effect
            .iter()
            .map(|pair| v1::AnalysedPairWithoutEffect {
                pack_a: pair.pack_a.name(),
                pack_b: pair.pack_b.name(),
                stratum: Some(unpooled_to_wire(&pair.stratum, &telling(method, &pair.subject))),
            })
            .collect(),
        left_out: stratum
            .left_out
            .iter()
            .map(|left| left_out_to_wire(left, &telling(method, &nobody)))
            .collect(),
    }
}

fn pair_to_wire(pair: &AnalysedPair, method: &Method) -> v1::AnalysedPair {
    v1::AnalysedPair {
        pack_a: pair.pack_a.name(),
        pack_b: pair.pack_b.name(),
        stratum: Some(stratum_to_wire(&pair.stratum, &telling(method, &pair.subject))),
    }
}
