//! What noticed a planted fault, from the server's own answers and from nothing else.

use benchring_api::v1;

use super::community::faults::Fault;
use super::community::tester_id;
use super::compared::Asked;
use super::invented::{PACKS, work};

/// Something that noticed a fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caught {
    /// Its name: a rule, a kind of finding, a reason of a refusal, an outcome, a part of an answer.
    pub by: String,
    /// What the server said.
    pub said: String,
}

/// What should notice a fault in a trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sign {
    /// A finding of this kind or rule whose field or message has the word.
    Finding(&'static str, &'static str),
    /// A reason why the trial is not pooled.
    Obstacle(&'static str),
    /// A run with this outcome.
    Outcome(&'static str),
    /// A refusal for this reason, at a field that has the word.
    Refused(&'static str, &'static str),
}

const SIGNS: &[(Fault, Sign)] = &[
    (Fault::F01, Sign::Finding("soft_limit", "cut_")),
    (Fault::F01, Sign::Finding("R18", "")),
    (Fault::F02, Sign::Finding("unit_slip", "reading")),
    (Fault::F02, Sign::Finding("R21", "reading")),
    (Fault::F03, Sign::Finding("blocked_order", "")),
    (Fault::F05, Sign::Finding("state_doubtful", "")),
    (Fault::F05, Sign::Obstacle("STATE_DOUBTFUL")),
    (Fault::F06, Sign::Finding("R11", "")),
    (Fault::F07, Sign::Outcome("failed_at_load")),
    (Fault::F08, Sign::Refused("OUT_OF_LIMITS", "conditions")),
    (Fault::F10, Sign::Finding("duplicate_trial", "")),
    (Fault::F11, Sign::Outcome("right_censored")),
    (Fault::F12, Sign::Finding("R09", "")),
    (Fault::F14, Sign::Finding("R10", "")),
];

fn signs(fault: Fault) -> impl Iterator<Item = Sign> {
    SIGNS.iter().filter(move |(of, _)| *of == fault).map(|(_, sign)| *sign)
}

/// Rule and kind of a finding, for people.
pub fn name_of(finding: &v1::Finding) -> String {
    format!("{} {}", finding.rule, finding.kind).trim().to_owned()
}

fn is(finding: &v1::Finding, name: &str) -> bool {
    finding.kind == name || finding.rule == name
}

/// What the check of a kept trial noticed of its fault.
pub fn in_trial(fault: Fault, trial: &v1::Trial) -> Vec<Caught> {
    signs(fault).filter_map(|sign| shows(sign, trial)).collect()
}

fn shows(sign: Sign, trial: &v1::Trial) -> Option<Caught> {
    match sign {
        Sign::Finding(name, word) => {
            let has = |f: &&v1::Finding| is(f, name) && (f.field.contains(word) || f.message.contains(word));
            let found = trial.findings.iter().find(has)?;
            let asked = if found.question.is_empty() { &found.message } else { &found.question };
            Some(Caught { by: name_of(found), said: asked.clone() })
        }
        Sign::Obstacle(reason) => {
            let found = trial.pooling_obstacles.iter().find(|obstacle| obstacle.reason == reason)?;
            Some(Caught { by: format!("pooling obstacle {reason}"), said: found.message.clone() })
        }
        Sign::Outcome(word) => {
            let runs = || trial.arms.iter().flat_map(|arm| &arm.charges).flat_map(|charge| &charge.runs);
            let n = runs().filter(|run| run.outcome == word).count();
            let said = format!("{n} of {} runs: {word}", runs().count());
            (n > 0).then(|| Caught { by: format!("outcome {word}"), said })
        }
        Sign::Refused(..) => None,
    }
}

/// What a refusal noticed: field, reason and message of every rule that was broken.
pub fn in_refusal(fault: Fault, violations: &[(String, String, String)]) -> Vec<Caught> {
    let shown = |sign| {
        let Sign::Refused(reason, word) = sign else { return None };
        let (_, reason, message) =
            violations.iter().find(|(field, why, _)| why == reason && field.contains(word))?;
        Some(Caught { by: format!("violation {reason}"), said: message.clone() })
    };
    signs(fault).filter_map(shown).collect()
}

/// What the check of a pack model noticed of the energy on its label.
pub fn in_pack_model(pack: &v1::PackModel) -> Vec<Caught> {
    let about = |f: &&v1::Finding| f.field.contains("rated_energy") || f.field.contains("label_voltage");
    let found = pack.findings.iter().filter(about);
    found
        .map(|finding| Caught {
            by: name_of(finding),
            said: if finding.question.is_empty() {
                finding.message.clone()
            } else {
                finding.question.clone()
            },
        })
        .collect()
}

/// What an answer shows of faults in the trials that it rests on or leaves out.
pub fn in_answer(asked: Asked, answer: &v1::ComparePacksResponse) -> Vec<(Fault, Caught)> {
    let code = PACKS[asked.pack_b].code;
    let mut caught = Vec::new();
    let trial_of = |fault: Fault, work: &str| format!("trials/{}-{work}-1", tester_id(fault.about().tester));
    match (asked.work, code) {
        (work::CROSSCUT, "L5P") => {
            let name = trial_of(Fault::F01, "crosscut");
            caught.extend(apart(answer, &name, "cut").map(|caught| (Fault::F01, caught)));
            let tester = tester_id(Fault::F03.about().tester);
            caught.extend(blocked_row(answer, &tester).map(|caught| (Fault::F03, caught)));
        }
        (work::CHAIN_SAW, "N6") => caught.extend(failed(answer).map(|caught| (Fault::F07, caught))),
        (work::RESISTANCE, "L5P") => {
            let name = trial_of(Fault::F14, "resistance");
            caught.extend(apart(answer, &name, "wiring").map(|caught| (Fault::F14, caught)));
        }
        (work::CAPACITY, "L5P") => {
            let tester = format!("testers/{}", tester_id(Fault::F12.about().tester));
            let worn = |flag: &v1::ScreeningFlag| {
                let own = flag.tester == tester || flag.trial == trial_of(Fault::F12, "capacity");
                own && flag.severity() > v1::FlagSeverity::Notice
            };
            caught.extend(flagged(answer, worn).map(|caught| (Fault::F12, caught)));
        }
        _ => {}
    }
    caught
}

/// A flag of the screening that stands beside an answer.
fn flagged(answer: &v1::ComparePacksResponse, is: impl Fn(&v1::ScreeningFlag) -> bool) -> Option<Caught> {
    answer.strata.iter().flat_map(|stratum| &stratum.flags).find(|flag| is(flag)).map(told)
}

fn told(flag: &v1::ScreeningFlag) -> Caught {
    Caught {
        by: format!("{} screening {}", flag.rule, flag.kind).trim_start().to_owned(),
        said: flag.sentence.clone(),
    }
}

/// The trial of the board that was typed in the wrong unit and confirmed so.
pub fn confirmed_slip() -> String {
    format!("trials/{}-crosscut-1", tester_id(Fault::F01.about().tester))
}

/// What screening says of the level of a trial (R20).
pub fn in_screening(screening: &v1::Screening) -> Option<Caught> {
    screening.flags.iter().find(|flag| flag.rule == "R20").map(told)
}

/// The stratum, not the leading one, that a trial stands in, and the key that has the word.
fn apart(answer: &v1::ComparePacksResponse, trial: &str, word: &str) -> Option<Caught> {
    let in_it = |stratum: &&v1::Stratum| {
        stratum.testers.iter().any(|row| row.trials.iter().any(|name| name == trial))
    };
    let stratum = answer.strata.iter().find(in_it)?;
    let lead = answer.strata.first()?;
    let differs = |(key, bin): &(&String, &String)| key.contains(word) && lead.shared.get(*key) != Some(*bin);
    let (key, bin) = stratum.shared.iter().find(differs)?;
    Some(Caught {
        by: format!("stratum by {key}"),
        said: format!("pooled apart from the rest: {key} is {bin}"),
    })
}

/// The badge on a tester's row whose order is blocked, and what the answer allows for it.
fn blocked_row(answer: &v1::ComparePacksResponse, tester: &str) -> Option<Caught> {
    let of = |row: &v1::TesterRow| row.blocked && row.testers.iter().any(|name| name.ends_with(tester));
    let stratum = answer.strata.iter().find(|stratum| stratum.testers.iter().any(of))?;
    let bias = stratum.headline.as_ref()?.order_bias;
    Some(Caught {
        by: "badge blocked".to_owned(),
        said: format!("the row is marked blocked, and the interval allows {:.1} % for it", 100.0 * bias),
    })
}

/// Runs of pack B that failed, from the table of completion.
fn failed(answer: &v1::ComparePacksResponse) -> Option<Caught> {
    let tables = answer.strata.iter().map(|stratum| &stratum.completion);
    let without = answer.strata_without_effect.iter().map(|stratum| &stratum.completion);
    let of_b = tables.chain(without).filter_map(|completion| completion.get(1));
    let table = of_b.into_iter().find(|table| !table.failed_at_load.is_empty())?;
    let failed: i32 = table.failed_at_load.values().sum();
    Some(Caught {
        by: "completion table".to_owned(),
        said: format!("{failed} of {} planned runs failed at load", table.planned_runs_count),
    })
}

/// Trials of a tester that the strip leaves out or marks, because the packs were never measured.
pub fn not_measured(answer: &v1::ComparePacksResponse) -> Vec<Caught> {
    let tester = tester_id(Fault::F09.about().tester);
    let mut caught = Vec::new();
    for bar in answer.strata.first().into_iter().flat_map(|stratum| &stratum.normalisations) {
        let names = |left: &&v1::LeftOut| left.trials.iter().any(|name| name.contains(&tester));
        if let Some(left) = bar.left_out.iter().find(names) {
            caught.push(Caught { by: format!("left out {}", left.reason), said: left.message.clone() });
        }
        let label = |of: &v1::Normalised| of.badge() == v1::NormalisationBadge::Label;
        if bar.normalised.as_ref().is_some_and(label) && bar.effect.is_some() {
            let said = "counted all the same, divided by what the label says".to_owned();
            caught.push(Caught { by: "badge label".to_owned(), said });
        }
    }
    caught
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(kind: &str, field: &str, question: &str) -> v1::Finding {
        v1::Finding {
            kind: kind.to_owned(),
            field: field.to_owned(),
            message: "said".to_owned(),
            question: question.to_owned(),
            ..v1::Finding::default()
        }
    }

    #[test]
    fn only_what_the_server_answered_counts_as_a_catch() {
        let mut trial = v1::Trial::default();
        assert!(in_trial(Fault::F02, &trial).is_empty());
        trial.findings =
            vec![finding("unit_slip", "trial.arms[0].charges[0].runs[2].reading", "is it 2.6 s?")];
        let caught = in_trial(Fault::F02, &trial);
        assert_eq!(caught.len(), 1);
        assert_eq!(caught[0].said, "is it 2.6 s?");
        assert!(in_trial(Fault::F05, &trial).is_empty());
    }

    #[test]
    fn a_refusal_counts_where_it_names_the_reason_and_the_place() {
        let violation = |field: &str, reason: &str| (field.to_owned(), reason.to_owned(), "68".to_owned());
        let of = |field, reason| in_refusal(Fault::F08, &[violation(field, reason)]).len();
        assert_eq!(of("trial.arms[0].charges[0].conditions[2].quantity", "OUT_OF_LIMITS"), 1);
        assert_eq!(of("trial.arms[0].charges[0].conditions[2].quantity", "REQUIRED"), 0);
        assert_eq!(of("trial.licence", "OUT_OF_LIMITS"), 0);
    }

    #[test]
    fn a_trial_stands_apart_only_where_another_stratum_leads() {
        let stratum = |wiring: &str, trial: &str| v1::Stratum {
            shared: [("sense_wiring".to_owned(), wiring.to_owned())].into(),
            testers: vec![v1::TesterRow { trials: vec![trial.to_owned()], ..v1::TesterRow::default() }],
            ..v1::Stratum::default()
        };
        let answer = v1::ComparePacksResponse {
            strata: vec![stratum("four_wire", "trials/a"), stratum("two_wire", "trials/b")],
            ..v1::ComparePacksResponse::default()
        };
        assert!(apart(&answer, "trials/a", "wiring").is_none());
        assert_eq!(apart(&answer, "trials/b", "wiring").unwrap().by, "stratum by sense_wiring");
    }
}
