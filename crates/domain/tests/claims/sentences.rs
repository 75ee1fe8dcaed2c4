//! Sentences say what the numbers say.

use benchring_domain::claim::wording::{ELSEWHERE, judgement_sentence, response_sentence, words};
use benchring_domain::claim::{ClaimDraft, Form, Verdict};
use benchring_domain::pool::wording::Subject;

use crate::common::{CUTS, SCREWS, checked, draft, judged, ratios, up_to};
use crate::community::{catalogue, method};

const YS: [f64; 6] = [-0.10, -0.22, -0.13, -0.19, -0.25, -0.08];

fn subject() -> Subject {
    Subject { pack_a: "K5".into(), pack_b: "K8".into(), measured: "time per screw".into() }
}

fn said(draft: ClaimDraft) -> (String, Verdict) {
    let evidence = ratios(method(&catalogue(), SCREWS), &YS);
    let judgement = judged(draft.clone(), &evidence);
    let claim = checked(draft).unwrap();
    (judgement_sentence(&claim, &judgement, judgement.verdict, &subject()), judgement.verdict)
}

#[test]
fn a_judgement_says_who_what_how_it_is_read_and_what_was_found() {
    let (text, verdict) = said(draft(SCREWS, Form::RateGain, "5 %"));
    assert_eq!(verdict, Verdict::Supported);
    for part in [
        "maker K says \"5 % better\" (sleeve of the pack), read as at least 4.8 % less time, which is a rate gain of 5 %",
        ": supported; time per screw: supported; in class d2: K8 takes",
        "a rate gain of",
        "6 testers, 6 trials",
        ELSEWHERE,
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
}

#[test]
fn up_to_tells_how_many_reach_it() {
    let (text, _) = said(up_to(draft(SCREWS, Form::RateGain, "25 %")));
    assert!(text.contains("read as up to 20 % less time, which is a rate gain of 25 %: reached"), "{text}");
    assert!(
        text.contains("of 6 voting units reach it; the prediction for one more does), for the mean"),
        "{text}"
    );
}

#[test]
fn what_cannot_be_tested_says_why() {
    let (text, verdict) =
        said(ClaimDraft { metric: "power".into(), responses: vec![], ..draft(CUTS, Form::More, "40 %") });
    assert_eq!(verdict, Verdict::NotTestableAsWorded);
    assert!(text.contains("not testable as worded, because `power` names no response"), "{text}");
}

#[test]
fn a_word_that_waits_is_told_beside_the_word_that_stands() {
    let evidence = ratios(method(&catalogue(), SCREWS), &YS);
    let claim = checked(draft(SCREWS, Form::RateGain, "5 %")).unwrap();
    let judgement = judged(draft(SCREWS, Form::RateGain, "5 %"), &evidence);
    let text = judgement_sentence(&claim, &judgement, Verdict::Inconclusive, &subject());
    assert!(
        text.contains(": inconclusive; the newest evidence says supported, which becomes the word once"),
        "{text}"
    );
}

/// No verdict is told in a word that another has, and none in the words that the trade should not use.
#[test]
fn words_are_told_apart_and_blame_nobody() {
    let all: Vec<&str> = Verdict::ALL.iter().map(|verdict| words(*verdict)).collect();
    let mut distinct = all.clone();
    distinct.sort_unstable();
    distinct.dedup();
    assert_eq!(distinct.len(), all.len());
    for word in all {
        assert!(
            !["busted", "confirmed", "true", "lie"].iter().any(|bad| word.split(' ').any(|w| w == *bad)),
            "{word}"
        );
    }
}

#[test]
fn the_sentence_of_a_response_reads_back_to_its_numbers() {
    for amount in ["1 %", "5 %", "12 %", "25 %", "40 %"] {
        let evidence = ratios(method(&catalogue(), SCREWS), &YS);
        let one = draft(SCREWS, Form::RateGain, amount);
        let judgement = judged(one.clone(), &evidence);
        let response = &judgement.responses[0];
        let text = response_sentence(&checked(one).unwrap(), &subject(), response);
        let number = |after: &str| -> f64 {
            let rest = &text[text.find(after).unwrap() + after.len()..];
            rest.split(' ').next().unwrap().parse().unwrap()
        };
        let effect = response.strata[0].effect.as_ref().unwrap();
        let reduction = 100.0 * (1.0 - effect.effect.estimate.unwrap());
        assert!((number("K8 takes ") - reduction).abs() < 0.06, "{text}");
        assert!(
            (number("claimed is at least ")
                - 100.0
                    * (1.0 - 1.0 / (1.0 + amount.trim_end_matches(" %").parse::<f64>().unwrap() / 100.0)))
                .abs()
                < 0.06,
            "{text}"
        );
        assert!(text.starts_with(&format!("time per screw: {}", words(response.verdict))), "{text}");
    }
}
