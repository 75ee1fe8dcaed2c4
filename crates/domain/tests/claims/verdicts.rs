//! The verdicts, and the p-values behind them.
//!
//! With equal variances Hartung and Knapp's interval is that of a one-sample t test of the testers' effects (Hartung and
//! Knapp, Statistics in Medicine 20 (2001), 3875-3889), so p-values are checked by `scipy.stats.ttest_1samp` 1.17.1.

use benchring_domain::claim::{ClaimDraft, Form, ResponseDraft, ResponseEvidence, Verdict, judge};
use benchring_domain::pool::{Evidence, MeasuredBy};

use crate::common::{CUTS, SCREWS, checked, draft, general, judged, judged_with, ratios, up_to};
use crate::community::{arm, catalogue, evidence, method, pack, trial};

/// Six testers around 15 % less time.
const YS: [f64; 6] = [-0.10, -0.22, -0.13, -0.19, -0.25, -0.08];

fn screws(ys: &[f64]) -> Evidence {
    ratios(method(&catalogue(), SCREWS), ys)
}

fn close(got: Option<f64>, want: f64) {
    let got = got.unwrap();
    assert!((got - want).abs() <= 1e-9 * want.abs(), "{got} {want}");
}

#[test]
fn p_values_are_those_of_a_t_test_where_variances_are_equal() {
    // ttest_1samp(YS, ln c, alternative="less") and "greater".
    let one = judged(draft(SCREWS, Form::RateGain, "5 %"), &screws(&YS));
    let stratum = &one.responses[0].strata[0];
    close(stratum.odds.support, P_SUPPORT_5);
    close(stratum.odds.contradict, 1.0 - P_SUPPORT_5);
    assert_eq!((one.verdict, stratum.units.len()), (Verdict::Supported, 6));
    let one = judged(draft(SCREWS, Form::RateGain, "40 %"), &screws(&YS));
    close(one.responses[0].strata[0].odds.contradict, P_CONTRADICT_40);
    assert_eq!(one.verdict, Verdict::Contradicted);
    let one = judged(draft(SCREWS, Form::RateGain, "18 %"), &screws(&YS));
    assert_eq!(one.verdict, Verdict::Inconclusive);
    assert_eq!(one.because, ["the interval holds the number claimed"]);
}

const P_SUPPORT_5: f64 = 0.004_988_621_592_739_021;
const P_CONTRADICT_40: f64 = 0.000_769_514_079_493_465;

#[test]
fn the_same_number_read_as_less_time_asks_for_more() {
    let evidence = screws(&YS);
    let words =
        |form| judged(draft(SCREWS, form, "9 %"), &evidence).responses[0].strata[0].odds.support.unwrap();
    // 9 % less time is a rate gain of 9.9 %.
    assert!(words(Form::TimeReduction) > words(Form::RateGain));
}

#[test]
fn too_little_evidence_is_told_with_what_is_missing() {
    let few = judged(draft(SCREWS, Form::RateGain, "5 %"), &screws(&YS[..2]));
    assert_eq!(few.verdict, Verdict::NotEnoughEvidence);
    assert_eq!(
        few.because,
        [
            "2 voting units, 3 are needed",
            "2 specimens of pack A, 3 are needed",
            "2 specimens of pack B, 3 are needed"
        ]
    );
    let wide = judged(draft(SCREWS, Form::RateGain, "5 %"), &screws(&[-0.6, 0.3, 0.1, -0.3]));
    assert_eq!(wide.verdict, Verdict::NotEnoughEvidence);
    assert!(wide.because[0].contains("on the log scale, at most 0.2 can be judged"), "{:?}", wide.because);
    let none = judged(
        ClaimDraft { demand_class: "d4".into(), ..draft(SCREWS, Form::RateGain, "5 %") },
        &screws(&YS),
    );
    assert_eq!((none.verdict, none.responses[0].strata.len()), (Verdict::NotEnoughEvidence, 0));
    assert!(none.because[0].contains("no accepted trial"), "{:?}", none.because);
}

#[test]
fn shared_specimens_are_one_voice() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    // Four testers, and all of them ran the same K8.
    let by = |tester: &str, y: f64| {
        let own = |level: f64| [0.97 * level, 1.03 * level];
        let arms = vec![
            arm("k5", &format!("{tester}-k5"), &[&own(10.0)]),
            arm("k8", "the-only-k8", &[&own(10.0 * y.exp())]),
        ];
        trial(tester, tester, screws, arms)
    };
    let all = vec![by("t1", -0.2), by("t2", -0.21), by("t3", -0.19), by("t4", -0.2)];
    let evidence = evidence(screws, all, vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")]);
    let one = judged(draft(SCREWS, Form::RateGain, "1 %"), &evidence);
    assert_eq!(one.verdict, Verdict::NotEnoughEvidence);
    assert!(one.because.contains(&"1 voting units, 3 are needed".to_owned()), "{:?}", one.because);
}

#[test]
fn blocked_orders_alone_close_no_claim() {
    let mut evidence = screws(&YS);
    for trial in &mut evidence.trials {
        for (place, arm) in trial.summary.arms.iter_mut().enumerate() {
            arm.position = Some(2.5 + 4.0 * place as f64);
        }
        trial.summary.blocked = true;
    }
    let one = judged(draft(SCREWS, Form::RateGain, "1 %"), &evidence);
    assert_eq!(one.verdict, Verdict::NotEnoughEvidence);
    assert!(one.because[0].contains("100 % of the weight comes from blocked orders"), "{:?}", one.because);
    // The allowance stands against whoever asks: with it the odds of support are worse.
    let open = judged(draft(SCREWS, Form::RateGain, "1 %"), &screws(&YS));
    let support = |one: &benchring_domain::claim::Judgement| one.responses[0].strata[0].odds.support.unwrap();
    assert!(support(&one) > support(&open));
}

#[test]
fn words_that_name_no_response_cannot_be_tested() {
    let power = ClaimDraft { metric: "power".into(), responses: vec![], ..draft(CUTS, Form::More, "40 %") };
    let one = judged(power, &screws(&YS));
    assert_eq!((one.verdict, one.responses.len()), (Verdict::NotTestableAsWorded, 0));
    assert!(one.because[0].contains("`power` names no response"), "{:?}", one.because);
}

#[test]
fn the_same_is_shown_by_two_tests_and_never_by_a_missing_difference() {
    let close_by = screws(&[0.004, -0.003, 0.006, -0.005, 0.001, -0.002]);
    let same = judged(draft(SCREWS, Form::Same, "5 %"), &close_by);
    assert_eq!(same.verdict, Verdict::NoPracticalDifference);
    // No difference is shown, and none is excluded either.
    let scattered =
        judged(draft(SCREWS, Form::Same, "5 %"), &screws(&[0.09, -0.1, 0.11, -0.08, 0.05, -0.06]));
    assert_eq!(scattered.verdict, Verdict::Inconclusive);
    let apart = judged(draft(SCREWS, Form::Same, "5 %"), &screws(&YS));
    assert_eq!(apart.verdict, Verdict::Contradicted);
}

#[test]
fn up_to_is_reached_by_voting_units_and_the_prediction() {
    let evidence = screws(&YS);
    let word = |amount: &str| judged(up_to(draft(SCREWS, Form::RateGain, amount)), &evidence);
    let reached = word("25 %");
    assert_eq!((reached.verdict, reached.up_to), (Verdict::Reached, Some(Verdict::Reached)));
    let stratum = &reached.responses[0].strata[0];
    // As a statement about the mean the same number does not stand.
    assert_ne!(stratum.as_mean, Verdict::Supported);
    assert_eq!(stratum.up_to.unwrap().prediction_reaches, Some(true));
    assert_eq!(word("90 %").verdict, Verdict::NotReached);
    let few = judged(up_to(draft(SCREWS, Form::RateGain, "25 %")), &screws(&YS[..2]));
    assert_eq!(few.verdict, Verdict::NotEnoughEvidence);
}

/// Evidence in several classes: effects by class.
fn classes(of: &[(&str, &[f64])]) -> Evidence {
    let catalogue = catalogue();
    let cuts = method(&catalogue, CUTS);
    let mut all = Vec::new();
    for (class, ys) in of {
        for mut trial in ratios(cuts, ys).trials {
            trial.trial = benchring_domain::id::TrialId::parse(&format!("{class}-{}", trial.trial)).unwrap();
            trial.summary.demand_class = Some((*class).to_owned());
            all.push(trial);
        }
    }
    evidence(cuts, all, vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")])
}

const STRONG: [f64; 4] = [0.50, 0.52, 0.49, 0.51];
const WEAK: [f64; 4] = [0.02, 0.03, 0.01, 0.02];

#[test]
fn a_general_claim_has_to_hold_in_every_class() {
    let claim = |evidence: &Evidence| judged(general(draft(CUTS, Form::More, "40 %")), evidence);
    let everywhere = claim(&classes(&[("d2", &STRONG), ("d4", &STRONG)]));
    assert_eq!(everywhere.verdict, Verdict::Supported);
    let one_place = claim(&classes(&[("d2", &WEAK), ("d4", &STRONG)]));
    assert_eq!(one_place.verdict, Verdict::Contradicted);
    let words: Vec<_> =
        one_place.responses[0].strata.iter().map(|s| (s.demand_class.clone().unwrap(), s.verdict)).collect();
    assert!(
        words.contains(&("d2".into(), Verdict::Contradicted))
            && words.contains(&("d4".into(), Verdict::Supported))
    );
    let half_known = claim(&classes(&[("d2", &STRONG), ("d4", &STRONG[..2])]));
    assert_eq!(half_known.verdict, Verdict::NotEnoughEvidence);
    let alone = claim(&classes(&[("d4", &STRONG)]));
    assert_eq!(alone.verdict, Verdict::NotEnoughEvidence);
    assert!(alone.because[0].contains("more than one demand class"), "{:?}", alone.because);
    let open = claim(&classes(&[("d2", &[0.25, 0.45, 0.30, 0.40]), ("d4", &STRONG)]));
    assert_eq!(open.verdict, Verdict::Inconclusive);
}

#[test]
fn up_to_without_a_condition_is_judged_as_a_general_statement_and_its_best_class_stands_beside() {
    let evidence = classes(&[("d2", &WEAK), ("d4", &STRONG)]);
    let one = judged(up_to(general(draft(CUTS, Form::More, "60 %"))), &evidence);
    assert_eq!((one.verdict, one.up_to), (Verdict::Contradicted, Some(Verdict::Reached)));
    let in_d4 = up_to(ClaimDraft { demand_class: "d4".into(), ..draft(CUTS, Form::More, "60 %") });
    let one = judged(in_d4, &evidence);
    assert_eq!((one.verdict, one.up_to), (Verdict::Reached, Some(Verdict::Reached)));
}

#[test]
fn holm_asks_more_of_several_words_at_once() {
    let evidence = classes(&[("d1", &STRONG), ("d2", &STRONG), ("d4", &[0.36, 0.47, 0.38, 0.45])]);
    let weakest = |holm| {
        let one = judged_with(general(draft(CUTS, Form::More, "40 %")), &evidence, holm);
        (one.verdict, one.responses[0].strata.iter().filter_map(|s| s.odds.support).fold(0.0, f64::max))
    };
    let (plain, corrected) = (weakest(false), weakest(true));
    // The largest p-value of Holm is left as it is; the others are at most three times theirs.
    assert!(corrected.1 >= plain.1);
    let all = |holm| {
        let one = judged_with(general(draft(CUTS, Form::More, "40 %")), &evidence, holm);
        one.responses[0].strata.iter().filter_map(|s| s.odds.support).collect::<Vec<f64>>()
    };
    let smallest = |ps: Vec<f64>| ps.into_iter().fold(1.0, f64::min);
    assert!((smallest(all(true)) / smallest(all(false)) - 3.0).abs() < 1e-9);
}

#[test]
fn several_responses_get_a_word_each() {
    let both = ClaimDraft {
        responses: [SCREWS, CUTS]
            .map(|name| ResponseDraft { method: name.into(), normalisation: None })
            .to_vec(),
        ..draft(SCREWS, Form::Times, "1.05")
    };
    let claim = checked(both).unwrap();
    let catalogue = catalogue();
    let measured = MeasuredBy::new();
    // The same effects as times are better, as amounts worse.
    let of = [SCREWS, CUTS].map(|name| ratios(method(&catalogue, name), &YS));
    let responses: Vec<ResponseEvidence<'_>> = claim
        .responses
        .iter()
        .zip(&of)
        .map(|(response, evidence)| ResponseEvidence {
            response,
            method: catalogue.method(&response.method).unwrap(),
            evidence,
            measured: &measured,
        })
        .collect();
    let one = judge(&claim, &responses, false, 7);
    let words: Vec<_> = one.responses.iter().map(|r| r.verdict).collect();
    assert_eq!(words, [Verdict::Supported, Verdict::Contradicted]);
    assert_eq!(one.verdict, Verdict::Contradicted);
}

#[test]
fn the_order_of_evidence_changes_nothing() {
    let forward = screws(&YS);
    let mut backward = forward.clone();
    backward.trials.reverse();
    let claim = || draft(SCREWS, Form::RateGain, "15 %");
    assert_eq!(judged(claim(), &forward), judged(claim(), &backward));
}
