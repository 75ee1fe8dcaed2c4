//! What became of a claim.

use benchring_domain::claim::history::Entry;
use benchring_domain::claim::{Claim, Judgement, ResponseJudgement, Rule, StratumJudgement, wording};
use benchring_domain::id::TrialId;
use benchring_domain::method::Method;
use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::pool::answer::{EffectScale, Interval, PooledEffect};
use benchring_domain::pool::wording::{Subject, percent_forms};

use super::response_to_wire;
use crate::convert::pools::{Telling, effect_to_wire, left_out_to_wire, percent_to_wire, size};
use crate::convert::words::{claim_base_to_wire, claim_side_to_wire, claim_verdict_to_wire};
use crate::v1;

/// What a judgement is told with.
pub struct JudgementTold<'a> {
    /// The claim on the wire.
    pub claim: v1::Claim,
    /// The method and the names of each response, in the order of the judgement.
    pub responses: Vec<(&'a Method, Subject)>,
    /// Whether the caller may read a trial: others are counted, not named.
    pub readable: &'a dyn Fn(&TrialId) -> bool,
    /// The history of the word, oldest first.
    pub history: &'a [Entry],
    /// Entity tag of the judgement, quotes included.
    pub etag: String,
}

/// Writes a judgement. The word is the last of the history.
pub fn judgement_to_wire(
    claim: &Claim,
    judgement: &Judgement,
    told: JudgementTold<'_>,
) -> v1::JudgeClaimResponse {
    let word = told.history.last().map_or(judgement.verdict, |entry| entry.word);
    let nobody = Subject {
        pack_a: claim.comparator.as_ref().map(ToString::to_string).unwrap_or_default(),
        pack_b: claim.pack.to_string(),
        measured: claim.metric.clone(),
    };
    let subject = told.responses.first().map_or(&nobody, |(_, subject)| subject);
    v1::JudgeClaimResponse {
        verdict: claim_verdict_to_wire(word),
        newest_verdict: claim_verdict_to_wire(judgement.verdict),
        up_to_verdict: judgement.up_to.map_or(0, claim_verdict_to_wire),
        because: judgement.because.clone(),
        sentence: wording::judgement_sentence(claim, judgement, word, subject),
        responses: judgement
            .responses
            .iter()
            .zip(&told.responses)
            .map(|(one, (method, subject))| {
                let cautions = Vec::new();
                let etag = String::new();
                response(claim, one, &Telling { method, subject, cautions, readable: told.readable, etag })
            })
            .collect(),
        history: told.history.iter().map(entry_to_wire).collect(),
        holm: judgement.holm,
        caveat: wording::ELSEWHERE.to_owned(),
        data_version: judgement.data_version,
        evidence_version: judgement.evidence_version,
        engine_version: ENGINE_VERSION.to_owned(),
        etag: told.etag,
        claim: Some(told.claim),
    }
}

fn entry_to_wire(entry: &Entry) -> v1::ClaimHistoryEntry {
    let Entry { evidence_version, says, word, units, new_units } = *entry;
    v1::ClaimHistoryEntry {
        evidence_version,
        says: claim_verdict_to_wire(says),
        verdict: claim_verdict_to_wire(word),
        units_count: size(units),
        new_units_count: size(new_units),
    }
}

fn response(claim: &Claim, one: &ResponseJudgement, telling: &Telling<'_>) -> v1::ResponseJudgement {
    v1::ResponseJudgement {
        response: Some(response_to_wire(&one.response)),
        verdict: claim_verdict_to_wire(one.verdict),
        up_to_verdict: one.up_to.map_or(0, claim_verdict_to_wire),
        threshold: one.rule.as_ref().map(|rule| threshold(claim, rule, telling.subject)),
        because: one.because.clone(),
        strata: one.strata.iter().map(|s| stratum(claim, one.rule.as_ref(), s, telling)).collect(),
        left_out: one.left_out.iter().map(|left| left_out_to_wire(left, telling)).collect(),
        sentence: wording::response_sentence(claim, telling.subject, one),
    }
}

fn threshold(claim: &Claim, rule: &Rule, subject: &Subject) -> v1::ClaimThreshold {
    let ratio = match *rule {
        Rule::Ratio { scale, ratio, .. } => Some((scale, ratio)),
        Rule::Within { scale, margin } => Some((scale, margin)),
        Rule::Difference { .. } | Rule::Share { .. } => None,
    };
    let percent = |(scale, ratio): (EffectScale, f64)| {
        percent_forms(scale, Interval { estimate: Some(ratio), lower: None, upper: None })
    };
    v1::ClaimThreshold {
        value: rule.told(),
        unit: rule.unit().to_owned(),
        side: rule.side().map_or(0, claim_side_to_wire),
        percent: ratio.and_then(percent).map(percent_to_wire),
        share_ratio: match rule {
            Rule::Share { share, .. } => Some(*share),
            _ => None,
        },
        text: wording::rule_text(rule, claim, subject),
    }
}

/// The names by which the number judged reads as what it is: a label in the place of a pack, or a share of one.
fn judged_subject(rule: Option<&Rule>, subject: &Subject) -> Subject {
    match rule {
        Some(Rule::Share { share, .. }) => {
            Subject { pack_a: format!("{:.0} % of {}", 100.0 * share, subject.pack_a), ..subject.clone() }
        }
        _ => subject.clone(),
    }
}

fn stratum(
    claim: &Claim,
    rule: Option<&Rule>,
    one: &StratumJudgement,
    telling: &Telling<'_>,
) -> v1::ClaimStratum {
    let names = judged_subject(rule, telling.subject);
    let effect = |effect: &Option<PooledEffect>| effect.as_ref().map(|effect| effect_to_wire(effect, &names));
    let mut warnings: Vec<v1::PoolWarning> = one
        .warnings
        .iter()
        .map(|w| v1::PoolWarning { name: w.name.to_owned(), message: w.message.clone() })
        .collect();
    if one.depends_on_stopped_runs {
        warnings.push(v1::PoolWarning {
            name: "verdict_depends_on_stopped_runs".to_owned(),
            message: "with stopped runs read otherwise the word would be another".to_owned(),
        });
    }
    v1::ClaimStratum {
        shared: one.shared.iter().cloned().collect(),
        demand_class: one.demand_class.clone().unwrap_or_default(),
        verdict: claim_verdict_to_wire(one.verdict),
        mean_verdict: claim_verdict_to_wire(one.as_mean),
        units_reaching_count: one.up_to.map(|up_to| size(up_to.units_reaching)),
        prediction_reaches: one.up_to.and_then(|up_to| up_to.prediction_reaches),
        because: one.because.clone(),
        base: one.effect.as_ref().map_or(0, |_| claim_base_to_wire(one.base)),
        effect: effect(&one.effect),
        difference: one.difference.as_ref().map(|effect| effect_to_wire(effect, telling.subject)),
        failed_as_slowest: effect(&one.failed_as_slowest),
        left_out_at_limit: effect(&one.left_out_at_limit),
        support_p_ratio: one.odds.support,
        contradict_p_ratio: one.odds.contradict,
        equivalence_p_ratio: one.odds.within,
        half_width: one.half_width,
        half_width_limit: one.half_width_limit,
        depends_on_stopped_runs: one.depends_on_stopped_runs,
        warnings,
        left_out: one.left_out.iter().map(|left| left_out_to_wire(left, telling)).collect(),
        sentence: rule
            .map(|rule| wording::stratum_sentence(claim, rule, telling.subject, one))
            .unwrap_or_default(),
    }
}
