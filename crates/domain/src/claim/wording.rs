//! Sentences about claims: each a function of the claim and its judgement alone.

use std::fmt::Write as _;

use benchring_stats::percent::PercentForm;

use crate::claim::{Claim, Form, Judgement, Reach, ResponseJudgement, Rule, Side, StratumJudgement, Verdict};
use crate::pool::answer::{EffectScale, PooledEffect};
use crate::pool::wording::{Subject, basis_text, sentence};
use crate::quantity::Quantity;

/// What no judgement can say, and every judgement says.
pub const ELSEWHERE: &str =
    "it may hold under its maker's conditions and not under those of these trials, or the other way round";

/// The verdict in words.
pub fn words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Supported => "supported",
        Verdict::Contradicted => "contradicted",
        Verdict::Inconclusive => "inconclusive",
        Verdict::NotEnoughEvidence => "not enough evidence",
        Verdict::NotTestableAsWorded => "not testable as worded",
        Verdict::Reached => "reached",
        Verdict::NotReached => "not reached",
        Verdict::NoPracticalDifference => "no practical difference",
    }
}

/// How the claim is read: its number in both percent forms where it is about a time.
pub fn reading(claim: &Claim) -> String {
    let reach = match claim.reach {
        Reach::AtLeast => "at least ",
        Reach::UpTo => "up to ",
    };
    let amount = claim.amount.as_ref().map(Quantity::echo).unwrap_or_default();
    let number = claim.amount.as_ref().map_or(0.0, Quantity::canonical);
    match claim.form {
        Form::RateGain => both(PercentForm::Faster, number, reach),
        Form::TimeReduction => both(PercentForm::Less, number, reach),
        Form::More => format!("{reach}{amount} more"),
        Form::Less => format!("{reach}{amount} less"),
        Form::Times => format!("{reach}{} times as much, or as fast", crate::text::number(number)),
        Form::Cooler => format!("{reach}{amount} cooler"),
        Form::Same if amount.is_empty() => "no difference of more than 5 %".to_owned(),
        Form::Same => format!("no difference of more than {amount}"),
        Form::LabelLevel => format!("at least {amount} in all"),
    }
}

fn both(form: PercentForm, number: f64, reach: &str) -> String {
    form.ratio(number).map(|ratio| duration(ratio, reach)).unwrap_or_default()
}

/// A ratio of times in both percent forms.
fn duration(ratio: f64, reach: &str) -> String {
    let (less, faster) =
        (PercentForm::Less.of_log_ratio(ratio.ln()), PercentForm::Faster.of_log_ratio(ratio.ln()));
    format!("{reach}{} less time, which is a rate gain of {}", one_decimal(less), one_decimal(faster))
}

fn one_decimal(percent: f64) -> String {
    let text = format!("{percent:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    format!("{} %", if text == "-0" { "0" } else { text })
}

/// What the claim would have to be true of.
pub fn rule_text(rule: &Rule, claim: &Claim, subject: &Subject) -> String {
    let reach = if claim.reach == Reach::UpTo { "up to " } else { "at least " };
    match *rule {
        Rule::Ratio { .. } if claim.form == Form::LabelLevel => reading(claim),
        Rule::Ratio { scale: EffectScale::DurationRatio, ratio, .. } => duration(ratio, reach),
        Rule::Ratio { ratio, side: Side::AtLeast, .. } => {
            format!("{reach}{} more", one_decimal(PercentForm::More.of_log_ratio(ratio.ln())))
        }
        Rule::Ratio { ratio, side: Side::AtMost, .. } => {
            format!("{reach}{} less", one_decimal(PercentForm::Less.of_log_ratio(ratio.ln())))
        }
        Rule::Difference { unit, difference } => {
            format!("{reach}{} {unit} less", crate::text::number(-difference))
        }
        Rule::Share { share, .. } => {
            let pack = &subject.pack_a;
            format!(
                "{reach}{} less, that is no more than {} of what {pack} shows",
                one_decimal(100.0 * (1.0 - share)),
                one_decimal(100.0 * share)
            )
        }
        Rule::Within { margin, .. } => format!("a ratio from {:.3} to {margin:.3}", 1.0 / margin),
    }
}

/// The claim in one stratum: where, what was found, what it would take, and the word.
pub fn stratum_sentence(claim: &Claim, rule: &Rule, subject: &Subject, stratum: &StratumJudgement) -> String {
    let mut text =
        stratum.demand_class.as_ref().map_or_else(String::new, |class| format!("in class {class}: "));
    match (&stratum.effect, &stratum.difference, rule) {
        (None, ..) => text.push_str("no effect can be told"),
        (Some(effect), Some(difference), Rule::Share { unit, share }) => {
            let _ = write!(text, "{}; ", sentence(subject, difference));
            let _ = write!(
                text,
                "{} less {} of {} comes to {}",
                subject.pack_b,
                one_decimal(100.0 * share),
                subject.pack_a,
                bounds(effect, unit)
            );
        }
        (Some(effect), ..) if claim.form == Form::LabelLevel => text.push_str(&label(claim, effect)),
        (Some(effect), ..) => text.push_str(&sentence(subject, effect)),
    }
    let _ = write!(text, "; claimed is {}: ", rule_text(rule, claim, subject));
    match (&stratum.up_to, &stratum.effect) {
        (Some(up_to), Some(effect)) => {
            let reaching = up_to.units_reaching;
            let units = effect.basis.units;
            let _ = write!(text, "{} ({reaching} of {units} voting units reach it", words(up_to.verdict));
            text.push_str(match up_to.prediction_reaches {
                Some(true) => "; the prediction for one more does)",
                Some(false) => "; the prediction for one more does not)",
                None => ")",
            });
            let _ = write!(text, ", for the mean {}", words(stratum.as_mean));
        }
        _ => text.push_str(words(stratum.verdict)),
    }
    because(&mut text, &stratum.because);
    text
}

fn label(claim: &Claim, effect: &PooledEffect) -> String {
    let amount = claim.amount.as_ref();
    let (claimed, unit) = amount.map_or((1.0, "1"), |a| (a.canonical(), a.dimension().canonical().symbol));
    let told =
        |value: Option<f64>| value.map_or_else(|| "unbounded".to_owned(), |v| format!("{:.2}", v * claimed));
    let interval = &effect.effect;
    let basis = &effect.basis;
    format!(
        "measured are {} {unit} (95 % interval {} to {} {unit}), {} testers, {} trials, {} specimens",
        told(interval.estimate),
        told(interval.lower),
        told(interval.upper),
        basis.testers,
        basis.trials,
        basis.specimens_b
    )
}

fn bounds(effect: &PooledEffect, unit: &str) -> String {
    let told = |value: Option<f64>| value.map_or_else(|| "unbounded".to_owned(), |v| format!("{v:+.2}"));
    let interval = &effect.effect;
    format!(
        "{} {unit} (95 % interval {} to {} {unit}), {}",
        told(interval.estimate),
        told(interval.lower),
        told(interval.upper),
        basis_text(&effect.basis)
    )
}

/// The claim in one response.
pub fn response_sentence(claim: &Claim, subject: &Subject, one: &ResponseJudgement) -> String {
    let mut text = format!("{}: {}", subject.measured, words(one.verdict));
    if let Some(reached) = one.up_to.filter(|_| claim.condition.general) {
        let _ =
            write!(text, " as a statement about every demand class; as `up to`, {} at best", words(reached));
    }
    let leading = one.strata.iter().find(|s| s.verdict == one.verdict || s.as_mean == one.verdict);
    match (leading.or_else(|| one.strata.first()), &one.rule) {
        (Some(stratum), Some(rule)) => {
            let _ = write!(text, "; {}", stratum_sentence(claim, rule, subject, stratum));
            if one.because != stratum.because && !one.because.is_empty() {
                let _ = write!(text, "; in all {}", words(one.verdict));
                because(&mut text, &one.because);
            }
        }
        _ => because(&mut text, &one.because),
    }
    text
}

/// The judgement in one sentence; `word` is what the claim bears.
pub fn judgement_sentence(claim: &Claim, judgement: &Judgement, word: Verdict, subject: &Subject) -> String {
    let Claim { maker, wording, source_reference, .. } = claim;
    let mut text = format!(
        "{maker} says \"{wording}\" ({source_reference}), read as {}: {}",
        reading(claim),
        words(word)
    );
    if word != judgement.verdict {
        let _ = write!(
            text,
            "; the newest evidence says {}, which becomes the word once it holds with one more voting unit",
            words(judgement.verdict)
        );
    }
    match judgement.responses.as_slice() {
        [] => because(&mut text, &judgement.because),
        [one] => {
            let _ = write!(text, "; {}", response_sentence(claim, subject, one));
        }
        several => {
            let _ = write!(text, "; {} responses, each judged by itself", several.len());
        }
    }
    let _ = write!(text, "; {ELSEWHERE}");
    text
}

fn because(text: &mut String, because: &[String]) {
    if !because.is_empty() {
        let _ = write!(text, ", because {}", because.join(", and "));
    }
}
