//! Laws of judging: the word and the shown interval agree, and asking for more never gets more.

use benchring_domain::claim::{ClaimDraft, Form, Judgement, StratumJudgement, Verdict};
use benchring_domain::pool::Evidence;
use proptest::prelude::*;

use crate::common::{CATALOGUE, SCREWS, draft, general, judged, judged_with, ratios, up_to, written};
use crate::community::{arm, method, trials};

fn screws(ys: &[f64]) -> Evidence {
    ratios(method(&CATALOGUE, SCREWS), ys)
}

fn claim(form: Form, percent: f64) -> ClaimDraft {
    ClaimDraft { amount: Some(written(&format!("{percent:.4} %"))), ..draft(SCREWS, form, "1 %") }
}

fn leading(one: &Judgement) -> &StratumJudgement {
    &one.responses[0].strata[0]
}

/// How much a word says for a claim.
fn rank(verdict: Verdict) -> i32 {
    match verdict {
        Verdict::Supported | Verdict::Reached => 1,
        Verdict::Contradicted | Verdict::NotReached => -1,
        _ => 0,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_word_and_the_shown_interval_never_disagree(
        ys in prop::collection::vec(-0.5..0.5f64, 3..9),
        percent in 0.0..60.0f64,
    ) {
        let one = judged(claim(Form::RateGain, percent), &screws(&ys));
        let stratum = leading(&one);
        let interval = stratum.effect.as_ref().unwrap().effect;
        let at = 1.0 / (1.0 + format!("{percent:.4}").parse::<f64>().unwrap() / 100.0);
        let (lower, upper) = (interval.lower.unwrap(), interval.upper.unwrap());
        // A threshold on the limit itself to the last digit may fall to either side.
        prop_assume!((lower / at - 1.0).abs() > 1e-9 && (upper / at - 1.0).abs() > 1e-9);
        prop_assert_eq!(stratum.verdict == Verdict::Supported, upper < at);
        prop_assert_eq!(stratum.verdict == Verdict::Contradicted, lower > at);
        let (support, contradict) = (stratum.odds.support.unwrap(), stratum.odds.contradict.unwrap());
        prop_assert!((support + contradict - 1.0).abs() < 1e-12);
    }

    #[test]
    fn asking_for_more_never_gets_more(
        ys in prop::collection::vec(-0.5..0.3f64, 3..9),
        percents in (0.0..80.0f64, 0.0..80.0f64),
        reach in any::<bool>(),
        everywhere in any::<bool>(),
    ) {
        let evidence = screws(&ys);
        let (less, more) = (percents.0.min(percents.1), percents.0.max(percents.1));
        let word = |percent: f64| {
            let one = claim(Form::RateGain, percent);
            let one = if reach { up_to(one) } else { one };
            let one = if everywhere { general(one) } else { one };
            rank(judged(one, &evidence).verdict)
        };
        prop_assert!(word(more) <= word(less));
    }

    #[test]
    fn less_time_asks_for_more_than_the_same_number_faster(
        ys in prop::collection::vec(-0.5..0.3f64, 3..9),
        percent in 1.0..80.0f64,
    ) {
        let evidence = screws(&ys);
        let word = |form| rank(judged(claim(form, percent), &evidence).verdict);
        prop_assert!(word(Form::TimeReduction) <= word(Form::RateGain));
    }

    #[test]
    fn holm_never_makes_a_word_stronger(
        ys in prop::collection::vec(-0.5..0.3f64, 3..9),
        percent in 0.0..60.0f64,
    ) {
        let evidence = screws(&ys);
        let p = |holm| {
            let one = judged_with(general(claim(Form::RateGain, percent)), &evidence, holm);
            leading(&one).odds.support.unwrap()
        };
        prop_assert!(p(true) >= p(false));
    }

    /// Single runs, equal readings, times from milliseconds to days: a number or none, never one that is not.
    #[test]
    fn no_evidence_gives_a_number_that_is_none(
        of in prop::collection::vec(
            (prop::collection::vec(-3.0..5.0f64, 1..4), prop::collection::vec(-3.0..5.0f64, 1..4), any::<bool>()),
            1..7,
        ),
        percent in 0.0..900.0f64,
        reach in any::<bool>(),
    ) {
        let testers: Vec<String> = (0..of.len()).map(|i| format!("t{i:02}")).collect();
        let arms: Vec<_> = testers
            .iter()
            .zip(&of)
            .map(|(tester, (a, b, equal))| {
                let own = |pack: &str, powers: &[f64]| {
                    let readings: Vec<f64> =
                        powers.iter().map(|p| 10f64.powf(if *equal { powers[0] } else { *p })).collect();
                    arm(pack, &format!("{tester}-{pack}"), &[&readings])
                };
                (tester.as_str(), vec![own("k5", a), own("k8", b)])
            })
            .collect();
        let one = claim(Form::RateGain, percent);
        let one = judged(if reach { up_to(one) } else { one }, &trials(method(&CATALOGUE, SCREWS), &arms));
        for stratum in one.responses.iter().flat_map(|response| &response.strata) {
            for p in [stratum.odds.support, stratum.odds.contradict].into_iter().flatten() {
                prop_assert!((0.0..=1.0).contains(&p), "{p}");
            }
            prop_assert!(stratum.half_width.is_none_or(|half| half.is_finite() && half >= 0.0));
            let interval = stratum.effect.as_ref().map(|effect| effect.effect);
            let ends = interval.map(|i| [i.lower, i.estimate, i.upper]).into_iter().flatten().flatten();
            prop_assert!(ends.into_iter().all(|end| !end.is_nan() && end >= 0.0));
        }
    }

    #[test]
    fn no_draft_of_any_text_brings_the_check_down(
        text in ".{0,40}",
        amount in "[0-9.,%KAh -]{0,12}",
        form in prop::sample::select(Form::ALL),
        flags in any::<(bool, bool)>(),
    ) {
        let one = ClaimDraft {
            maker: text.clone(),
            metric: text.clone(),
            workpiece_family: text.clone(),
            temperature_basis: if flags.0 { text.clone() } else { String::new() },
            comparator: if flags.1 { text } else { "packModels/k5".into() },
            form: Some(form),
            amount: Some(written(&amount)),
            ..draft(SCREWS, Form::RateGain, "1 %")
        };
        // Either sound or told what is wrong.
        if let Err(broken) = crate::common::checked(one) {
            prop_assert!(!broken.is_empty());
        }
    }
}
