//! A claim held against the evidence of all its responses.
//!
//! The word of a whole is made of the words of its parts:
//! - Strata of one demand class (or of a claim that states its condition): contradicted where any is; else the word of the
//!   one with most testers among those with enough evidence.
//! - Classes of a general claim: contradicted where any is; else inconclusive, else not enough evidence, where any is;
//!   supported only where all are, and more than one class was tested.
//! - Responses: likewise.
//! - "Up to" under a condition is reached where any stratum reaches it. An "up to" that states no condition is taken by
//!   its reader as a statement about their own work, so it is judged as the general one; where it is reached stands beside.

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::multiple::holm;

use crate::claim::strata::{Odds, StratumJudgement};
use crate::claim::{Claim, Form, Reach, Response, Rule, Verdict};
use crate::id::{PackModelId, TesterId};
use crate::method::{Method, known};
use crate::pack::PackModel;
use crate::pool::answer::{Answer, LeftOut, Stratum};
use crate::pool::label::label_levels;
use crate::pool::question::{Options, Question, Scope};
use crate::pool::wording::Subject;
use crate::pool::{Evidence, MeasuredBy, NoAnswer};
use crate::quantity::{Dimension, Quantity};

/// What one response of a claim is judged on.
#[derive(Debug, Clone, Copy)]
pub struct ResponseEvidence<'a> {
    /// The response.
    pub response: &'a Response,
    /// Its method.
    pub method: &'a Method,
    /// The evidence, as [`Evidence::asked`] for [`Claim::question`].
    pub evidence: &'a Evidence,
    /// Measured amounts, where the response is divided by them.
    pub measured: &'a MeasuredBy,
}

/// A claim in one response.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseJudgement {
    /// The response.
    pub response: Response,
    /// What the claim would have to be true of; `None` where its words cannot be tested by this response.
    pub rule: Option<Rule>,
    /// The word.
    pub verdict: Verdict,
    /// For "up to": whether it is reached anywhere.
    pub up_to: Option<Verdict>,
    /// What keeps a word from being given, or took it back.
    pub because: Vec<String>,
    /// The strata, the one with most testers first.
    pub strata: Vec<StratumJudgement>,
    /// Trials of the pair in no stratum.
    pub left_out: Vec<LeftOut>,
    /// Last sequence that changed the evidence.
    pub evidence_version: i64,
}

/// A claim, judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// The word of the whole.
    pub verdict: Verdict,
    /// For "up to": whether it is reached anywhere.
    pub up_to: Option<Verdict>,
    /// Why there is no plain word.
    pub because: Vec<String>,
    /// One judgement a response.
    pub responses: Vec<ResponseJudgement>,
    /// Whether the p-values are corrected for their number (Holm).
    pub holm: bool,
    /// Voting units of all strata.
    pub units: BTreeSet<TesterId>,
    /// Sequence the judgement was made at.
    pub data_version: i64,
    /// Last sequence that changed the evidence.
    pub evidence_version: i64,
}

impl Claim {
    /// The question that a response of the claim puts to the pool; `None` for a label, which is compared with no pack.
    pub fn question(&self, response: &Response, data_version: Option<i64>) -> Option<Question> {
        let comparator = self.comparator.clone()?;
        Some(Question {
            method: response.method.clone(),
            pack_a: comparator,
            pack_b: self.pack.clone(),
            scope: Scope {
                demand_class: self.condition.demand_class.clone(),
                tool_type: self.condition.tool_type.clone(),
                workpiece_family: self.condition.workpiece_family.clone(),
                ..Scope::default()
            },
            normalisation: response.normalisation,
            overall: false,
            all_normalisations: false,
            options: Options::default(),
            data_version,
        })
    }

    /// The names that sentences about a response use; a label stands in the place of the pack compared with.
    pub fn subject(
        &self,
        response: &Response,
        method: &Method,
        packs: &BTreeMap<PackModelId, PackModel>,
    ) -> Subject {
        if let Some(question) = self.question(response, None) {
            return Subject::of(&question, method, packs);
        }
        let name =
            packs.get(&self.pack).map_or_else(|| self.pack.to_string(), |pack| pack.designation.clone());
        Subject { pack_a: "its label".to_owned(), pack_b: name, measured: method.response.label.clone() }
    }

    /// Why no evidence could ever settle the claim as it is worded.
    pub fn not_testable(&self) -> Option<String> {
        if self.responses.is_empty() {
            return Some(format!(
                "`{}` names no response: it does not say what is measured, under which load and until when; a claim that names the method in `responses` can be judged",
                self.metric
            ));
        }
        let percent = self.amount.as_ref().is_some_and(|amount| amount.dimension() == Dimension::Ratio);
        let basis = self.condition.temperature_basis.as_deref();
        let other = basis.filter(|basis| *basis != known::FIXED_WORK);
        match other {
            Some(basis) if percent && matches!(self.form, Form::Cooler | Form::Less) => Some(format!(
                "a percentage of warming means something after the same work only, not `{basis}`: there the packs have done different work; in kelvin it can be judged"
            )),
            _ => None,
        }
    }

    /// After what warming is compared: a percentage without a stated basis is one of the same work.
    fn basis(&self, method: &Method, rule: &Rule) -> Option<&str> {
        let stated = self.condition.temperature_basis.as_deref();
        let share = matches!(rule, Rule::Share { .. }) && method.uses(known::TEMPERATURE_BASIS);
        stated.or(share.then_some(known::FIXED_WORK))
    }
}

/// Judges a claim on the evidence of its responses, in their order. With `with_holm`, p-values are corrected for how many
/// strata and responses are judged (Holm, Scandinavian Journal of Statistics 6 (1979), 65-70); without, each stands for
/// itself.
pub fn judge(
    claim: &Claim,
    responses: &[ResponseEvidence<'_>],
    with_holm: bool,
    data_version: i64,
) -> Judgement {
    let newest = responses.iter().map(|one| one.evidence.evidence_version).max().unwrap_or(0);
    let mut judgement = Judgement {
        verdict: Verdict::NotTestableAsWorded,
        up_to: None,
        because: Vec::new(),
        responses: Vec::new(),
        holm: with_holm,
        units: BTreeSet::new(),
        data_version,
        evidence_version: newest,
    };
    if let Some(why) = claim.not_testable() {
        judgement.because.push(why);
        return judgement;
    }
    let mut judged: Vec<ResponseJudgement> = responses.iter().map(|one| one.judged(claim)).collect();
    settle(claim, &mut judged, with_holm);
    for (one, evidence) in judged.iter_mut().zip(responses) {
        conclude(claim, one, evidence.method);
    }
    judgement.verdict = all_of(judged.iter().map(|one| one.verdict));
    judgement.up_to = judged.iter().filter_map(|one| one.up_to).reduce(either);
    judgement.because = match judged.as_slice() {
        [one] => one.because.clone(),
        _ => Vec::new(),
    };
    judgement.units =
        judged.iter().flat_map(|one| &one.strata).flat_map(|one| one.units.iter().cloned()).collect();
    judgement.responses = judged;
    judgement
}

impl ResponseEvidence<'_> {
    /// The response with its strata, not yet settled.
    fn judged(&self, claim: &Claim) -> ResponseJudgement {
        let Self { response, method, evidence, .. } = *self;
        let mut judged = ResponseJudgement {
            response: response.clone(),
            rule: claim.rule(method, response.normalisation),
            verdict: Verdict::NotEnoughEvidence,
            up_to: None,
            because: Vec::new(),
            strata: Vec::new(),
            left_out: Vec::new(),
            evidence_version: evidence.evidence_version,
        };
        let Some(rule) = judged.rule else {
            judged.verdict = Verdict::NotTestableAsWorded;
            judged
                .because
                .push(format!("{} has become a method that the form says nothing about", method.reference()));
            return judged;
        };
        let Some(question) = claim.question(response, None) else {
            let claimed = claim.amount.as_ref().map_or(0.0, Quantity::canonical);
            let answer = label_levels(method, evidence, &claim.pack, claimed);
            judged.strata = answer.strata.iter().map(|s| StratumJudgement::of_label(s, &rule)).collect();
            judged.left_out = answer.left_out;
            return judged;
        };
        let basis = claim.basis(method, &rule);
        match self.compared(&question, &rule, basis) {
            Ok((strata, left_out)) => (judged.strata, judged.left_out) = (strata, left_out),
            Err(why) => judged.because.push(why.to_string()),
        }
        judged
    }

    fn compared(
        &self,
        question: &Question,
        rule: &Rule,
        basis: Option<&str>,
    ) -> Result<(Vec<StratumJudgement>, Vec<LeftOut>), NoAnswer> {
        let plain = question.ask_with(self.method, self.evidence, self.measured)?;
        let within = |shared: &[(String, String)]| {
            basis.is_none_or(|basis| {
                shared.iter().any(|(key, value)| key == known::TEMPERATURE_BASIS && value == basis)
            })
        };
        let judged: Vec<StratumJudgement> = if let Rule::Share { share, .. } = *rule {
            let shares = question.ask_share(self.method, self.evidence, share)?;
            let of = |s: &Stratum| {
                let like = like(&plain, s);
                let difference = like.map(|like| like.headline.clone());
                StratumJudgement::of(s, rule, like.and_then(level), difference)
            };
            shares.strata.iter().filter(|s| within(&s.shared)).map(of).collect()
        } else {
            let of = |s: &Stratum| StratumJudgement::of(s, rule, level(s), None);
            plain.strata.iter().filter(|s| within(&s.shared)).map(of).collect()
        };
        let unpooled =
            plain.unpooled.iter().filter(|s| within(&s.shared)).map(StratumJudgement::without_effect);
        Ok((judged.into_iter().chain(unpooled).collect(), plain.left_out))
    }
}

/// The stratum of `answer` that is `stratum` asked otherwise.
fn like<'a>(answer: &'a Answer, stratum: &Stratum) -> Option<&'a Stratum> {
    answer.strata.iter().find(|s| s.shared == stratum.shared && s.demand_class == stratum.demand_class)
}

/// Pack A's level: the median over trials.
fn level(stratum: &Stratum) -> Option<f64> {
    let mut levels: Vec<f64> = stratum.levels.trials.iter().map(|one| one.level).collect();
    levels.sort_by(f64::total_cmp);
    let last = levels.len().checked_sub(1)?;
    Some(f64::midpoint(levels[last / 2], levels[levels.len() / 2]))
}

/// Gives every stratum its word, its p-values corrected over all strata of all responses where asked.
fn settle(claim: &Claim, judged: &mut [ResponseJudgement], with_holm: bool) {
    let raw: Vec<Odds> = judged.iter().flat_map(|one| &one.strata).map(|one| one.odds).collect();
    let mut adjusted = if with_holm { corrected(&raw) } else { raw }.into_iter();
    for one in judged {
        let Some(rule) = one.rule else { continue };
        for stratum in &mut one.strata {
            stratum.settle(&rule, claim.reach, adjusted.next().unwrap_or_default());
        }
    }
}

fn corrected(raw: &[Odds]) -> Vec<Odds> {
    let column = |of: fn(&Odds) -> Option<f64>| {
        let given: Vec<f64> = raw.iter().filter_map(of).collect();
        let mut adjusted = holm(&given).unwrap_or(given).into_iter();
        raw.iter().map(|one| of(one).and_then(|_| adjusted.next())).collect::<Vec<_>>()
    };
    let (support, contradict, within) =
        (column(|one| one.support), column(|one| one.contradict), column(|one| one.within));
    (0..raw.len())
        .map(|i| Odds { support: support[i], contradict: contradict[i], within: within[i] })
        .collect()
}

/// The word of a response, of its strata.
fn conclude(claim: &Claim, one: &mut ResponseJudgement, method: &Method) {
    if one.rule.is_none() {
        return;
    }
    let general = claim.condition.general;
    let anywhere = claim.reach == Reach::UpTo;
    if anywhere {
        let reached = one.strata.iter().filter_map(|s| s.up_to).map(|up_to| up_to.verdict);
        one.up_to = Some(reached.reduce(either).unwrap_or(Verdict::NotEnoughEvidence));
    }
    one.verdict = match one.up_to {
        Some(reached) if !general => reached,
        _ if general => over_classes(one, method),
        _ => one_class(one.strata.iter()),
    };
    if one.strata.is_empty() && one.because.is_empty() {
        one.because.push("no accepted trial was made under the condition that the claim states".to_owned());
    }
    // Where one stratum gave the word, its reasons are the reasons.
    if one.because.is_empty()
        && let Some(stratum) =
            one.strata.iter().find(|s| s.verdict == one.verdict || s.as_mean == one.verdict)
    {
        one.because.clone_from(&stratum.because);
    }
}

/// Strata of one demand class, the one with most testers first.
fn one_class<'a>(strata: impl Iterator<Item = &'a StratumJudgement> + Clone) -> Verdict {
    if strata.clone().any(|s| s.as_mean == Verdict::Contradicted) {
        return Verdict::Contradicted;
    }
    let mut words = strata.map(|s| s.as_mean);
    words.find(|word| *word != Verdict::NotEnoughEvidence).unwrap_or(Verdict::NotEnoughEvidence)
}

/// A general claim over demand classes.
fn over_classes(one: &mut ResponseJudgement, method: &Method) -> Verdict {
    let classes: BTreeSet<&Option<String>> = one.strata.iter().map(|s| &s.demand_class).collect();
    let words: Vec<Verdict> = classes
        .iter()
        .map(|class| one_class(one.strata.iter().filter(|s| s.demand_class == **class)))
        .collect();
    let word = all_of(words.iter().copied());
    let positive = matches!(word, Verdict::Supported | Verdict::NoPracticalDifference);
    if positive && method.uses(known::DEMAND_CLASS) && classes.len() < 2 {
        one.because
            .push("a general claim needs more than one demand class, and one alone was tested".to_owned());
        return Verdict::NotEnoughEvidence;
    }
    word
}

/// One word for words that all have to hold.
fn all_of(words: impl Iterator<Item = Verdict> + Clone) -> Verdict {
    let first_of = [
        Verdict::Contradicted,
        Verdict::NotReached,
        Verdict::NotTestableAsWorded,
        Verdict::Inconclusive,
        Verdict::NotEnoughEvidence,
    ];
    let hindered = first_of.into_iter().find(|word| words.clone().any(|other| other == *word));
    let mut words = words;
    hindered.or_else(|| words.next()).unwrap_or(Verdict::NotEnoughEvidence)
}

/// One word for places of which any will do.
fn either(one: Verdict, other: Verdict) -> Verdict {
    let order = [Verdict::Reached, Verdict::Inconclusive, Verdict::NotEnoughEvidence, Verdict::NotReached];
    order.into_iter().find(|word| *word == one || *word == other).unwrap_or(one)
}
