//! A sentence says what the numbers say: number and direction are read back from it.

use benchring_domain::id::PackModelId;
use benchring_domain::pool::answer::{Basis, EffectScale, Interval, PooledEffect};
use benchring_domain::pool::completion::{CompletionTable, FailedDifference, PackCompletion, Runs};
use benchring_domain::pool::wording::{Subject, completion_sentence, percent_forms, sentence};
use benchring_stats::completion::{Share, two_shares};
use benchring_stats::spread::{Judged, Spread};
use proptest::prelude::*;

fn effect(scale: EffectScale, estimate: f64, lower: f64, upper: f64) -> PooledEffect {
    let told = Interval::new(estimate, lower, upper);
    PooledEffect {
        scale,
        level: 0.95,
        effect: told,
        prediction: None,
        percent: percent_forms(scale, told),
        effect_without_order_bias: told,
        order_bias: 0.0,
        blocked_weight: 0.0,
        standard_error: 0.01,
        df: 5.0,
        tau: 0.0,
        tau_interval: None,
        tau_assumed: false,
        i2: 0.0,
        q: 0.0,
        q_p: None,
        basis: Basis { units: 6, testers: 6, trials: 9, specimens_a: 5, specimens_b: 6, ..Basis::default() },
        pooled: estimate.ln(),
        network: None,
        judged: Judged { estimate: estimate.ln(), spread: Spread::Normal(0.01), allowance: 0.0 },
    }
}

fn subject() -> Subject {
    Subject { pack_a: "K5".into(), pack_b: "K8".into(), measured: "time per screw".into() }
}

#[test]
fn a_clear_difference_is_said_in_both_percent_forms() {
    let text = sentence(&subject(), &effect(EffectScale::DurationRatio, 0.82, 0.79, 0.85));
    assert_eq!(
        text,
        "K8 takes 18.0 % less time than K5 (95 % interval 15.0 to 21.0 % less), a rate gain of 22.0 % (17.6 to 26.6 %): \
         time per screw, 6 testers, 9 trials, 6 against 5 specimens"
    );
}

#[test]
fn an_interval_with_no_difference_in_it_never_claims_one() {
    let text = sentence(&subject(), &effect(EffectScale::DurationRatio, 0.99, 0.95, 1.03));
    assert!(text.starts_with("no difference between K8 and K5 is shown: 1.0 % less time"), "{text}");
    assert!(text.contains("5.0 % less to 3.0 % more"), "{text}");
}

/// The signed change and its bounds, read from a sentence.
fn read_back(text: &str) -> (f64, f64, f64) {
    let signed = |number: &str, word: &str| -> f64 {
        let value: f64 = number.parse().unwrap();
        if word.starts_with("less") { -value } else { value }
    };
    let words: Vec<&str> = text.split([' ', '(', ')', ',']).filter(|w| !w.is_empty()).collect();
    let first = words.iter().position(|w| w.starts_with("less") || w.starts_with("more")).unwrap();
    let estimate = signed(words[first - 2], words[first]);
    let open = words.iter().position(|w| *w == "interval").unwrap() + 1;
    let end =
        (open..words.len()).find(|i| words[*i].starts_with("less") || words[*i].starts_with("more")).unwrap();
    if words[open + 1] == "to" {
        let (near, far) = (signed(words[open], words[end]), signed(words[open + 2], words[end]));
        (estimate, near.min(far), near.max(far))
    } else {
        let last = (end + 1..words.len())
            .find(|i| words[*i].starts_with("less") || words[*i].starts_with("more"))
            .unwrap();
        (estimate, signed(words[open], words[end]), signed(words[last - 2], words[last]))
    }
}

proptest! {
    #[test]
    fn number_and_direction_read_back(centre in 0.3..3.0f64, below in 0.005..0.6f64, above in 0.005..0.6f64, time: bool) {
        let (lower, upper) = (centre * (-below).exp(), centre * above.exp());
        let scale = if time { EffectScale::DurationRatio } else { EffectScale::AmountRatio { higher_is_better: true } };
        let text = sentence(&subject(), &effect(scale, centre, lower, upper));
        let (estimate, low, high) = read_back(&text);
        for (got, ratio) in [(estimate, centre), (low, lower), (high, upper)] {
            prop_assert!((got - 100.0 * (ratio - 1.0)).abs() <= 0.0501, "{} read from {}", got, text);
        }
        let shown = lower > 1.0 || upper < 1.0;
        prop_assert_eq!(shown, !text.starts_with("no difference"), "{}", text);
        if time {
            prop_assert!(text.contains("less time") || text.contains("more time"));
            prop_assert!(text.contains("a rate gain of"));
        }
    }
}

proptest! {
    /// Failures: points and direction, and no claim where none is shown.
    #[test]
    fn failures_read_back(failed_a in 0..=20u32, failed_b in 0..=20u32) {
        let told = |events: u32| Interval::new(f64::from(events) / 20.0, 0.0, 1.0);
        let d = two_shares(Share::new(failed_a, 20).unwrap(), Share::new(failed_b, 20).unwrap(), 0.95).unwrap();
        let pack = |id: &str, failed: u32| PackCompletion {
            pack_model: PackModelId::parse(id).unwrap(),
            runs: Runs { planned: 20, recorded: 20, exact: 20 - failed, failed, ..Runs::default() },
            failed: Some(told(failed)),
            failed_or_not_run: None,
        };
        let table = CompletionTable {
            level: 0.95,
            packs: [pack("k5", failed_a), pack("k8", failed_b)],
            testers: vec![],
            failed: Some(FailedDifference {
                difference: Interval::new(d.difference, d.lower, d.upper),
                p: None,
                scatter_of_units: false,
                trials: 1,
                units: 1,
            }),
            failed_or_not_run: None,
            exclusions_p: None,
        };
        let text = completion_sentence(&subject(), &table);
        let (estimate, low, high) = read_back(&text);
        for (got, share) in [(estimate, d.difference), (low, d.lower), (high, d.upper)] {
            prop_assert!((got - 100.0 * share).abs() <= 0.0501, "{} read from {}", got, text);
        }
        let shown = d.lower > 0.0 || d.upper < 0.0;
        prop_assert_eq!(shown, !text.starts_with("no difference"), "{}", text);
        let share = format!("K8: {} of 20 planned runs exact, {failed_b} failed", 20 - failed_b);
        prop_assert!(text.contains(&share), "{}", text);
    }
}
