//! What a claim has to say before it is kept.

use benchring_domain::claim::{ClaimDraft, Form, ResponseDraft, Rule, Side, wording::reading};
use benchring_domain::method::Normalisation;
use benchring_domain::violation::Violation;

use crate::common::{CAPACITY, CUTS, SCREWS, WARMING, checked, draft, general, up_to, written};
use crate::community::{catalogue, method};

fn broken(draft: ClaimDraft) -> Vec<Violation> {
    checked(draft).unwrap_err().into_iter().collect()
}

fn fields(draft: ClaimDraft) -> Vec<(String, &'static str)> {
    broken(draft).into_iter().map(|v| (v.field, v.reason)).collect()
}

fn rule(name: &str, form: Form, amount: &str) -> Rule {
    let catalogue = catalogue();
    let claim = checked(draft(name, form, amount)).unwrap();
    claim.rule(method(&catalogue, name), None).unwrap()
}

/// Thresholds by the algebra of percent forms: "N % more" 1 + N/100, "N % faster" of a time 1/(1 + N/100), "N % less"
/// 1 - N/100.
#[test]
fn each_form_has_its_threshold_and_side() {
    for (name, form, amount, ratio, side) in [
        (CUTS, Form::More, "20 %", 1.2, Side::AtLeast),
        (CUTS, Form::Less, "20 %", 0.8, Side::AtMost),
        (CUTS, Form::Times, "1.4", 1.4, Side::AtLeast),
        (CUTS, Form::Times, "0.5", 0.5, Side::AtMost),
        (SCREWS, Form::RateGain, "20 %", 1.0 / 1.2, Side::AtMost),
        (SCREWS, Form::RateGain, "50 %", 2.0 / 3.0, Side::AtMost),
        (SCREWS, Form::TimeReduction, "50 %", 0.5, Side::AtMost),
        (SCREWS, Form::Times, "1.25", 0.8, Side::AtMost),
    ] {
        let Rule::Ratio { ratio: got, side: other, .. } = rule(name, form, amount) else {
            panic!("{form}: no ratio")
        };
        assert!((got - ratio).abs() < 1e-15 && other == side, "{form} {amount}: {got} {other}");
    }
    let share = rule(WARMING, Form::Cooler, "30 %");
    assert!(matches!(share, Rule::Share { share, .. } if (share - 0.7).abs() < 1e-15));
    let kelvin = rule(WARMING, Form::Cooler, "10 K");
    assert!(
        matches!(kelvin, Rule::Difference { unit: "K", difference } if (difference + 10.0).abs() < 1e-12)
    );
    let margin = |amount: &str| rule(SCREWS, Form::Same, amount);
    assert!(matches!(margin("10 %"), Rule::Within { margin, .. } if (margin - 1.1).abs() < 1e-15));
    let usual = checked(ClaimDraft { amount: None, ..draft(SCREWS, Form::Same, "") }).unwrap();
    assert_eq!(reading(&usual), "no difference of more than 5 %");
}

#[test]
fn fifty_percent_faster_is_asked_about_with_both_readings() {
    let asked =
        ClaimDraft { form: None, wording: "50 % faster".into(), ..draft(SCREWS, Form::RateGain, "50 %") };
    let [one] = broken(asked.clone()).try_into().unwrap();
    assert_eq!((one.field.as_str(), one.reason), ("form", "AMBIGUOUS_FORM"));
    for part in [
        "50 % less time is a rate gain of 100 %",
        "a rate gain of 50 % is 33.3 % less time",
        "`time_reduction` or `rate_gain`",
    ] {
        assert!(one.message.contains(part), "{}", one.message);
    }
    let answered = |form| reading(&checked(ClaimDraft { form: Some(form), ..asked.clone() }).unwrap());
    assert_eq!(answered(Form::TimeReduction), "at least 50 % less time, which is a rate gain of 100 %");
    assert_eq!(answered(Form::RateGain), "at least 33.3 % less time, which is a rate gain of 50 %");
    // Nothing takes no time: beyond 100 % one reading is left, and the form is asked all the same.
    let beyond = ClaimDraft { form: None, ..draft(SCREWS, Form::RateGain, "150 %") };
    let [one] = broken(beyond).try_into().unwrap();
    assert!(one.message.contains("a rate gain of 150 % is 60 % less time"), "{}", one.message);
    assert!(!one.message.contains("150 % less time"), "{}", one.message);
}

#[test]
fn a_form_that_says_nothing_about_the_response_is_refused_with_one_that_does() {
    for (name, form, amount, remedy) in [
        (SCREWS, Form::More, "40 %", "`rate_gain` or `time_reduction`"),
        (SCREWS, Form::Less, "40 %", "`rate_gain` or `time_reduction`"),
        (SCREWS, Form::Cooler, "40 %", "`rate_gain` or `time_reduction`"),
        (CUTS, Form::RateGain, "40 %", "`more`, `less` or `times`"),
        (CUTS, Form::TimeReduction, "40 %", "`more`, `less` or `times`"),
        (CUTS, Form::Cooler, "40 %", "`more`, `less` or `times`"),
        (CUTS, Form::Cooler, "4 K", "`more`, `less` or `times`"),
        (WARMING, Form::More, "40 %", "`cooler` with a percent or kelvin"),
        (WARMING, Form::Less, "4 %", ""),
        (WARMING, Form::Same, "4 %", "`cooler` or `less`"),
        (SCREWS, Form::LabelLevel, "5 s", "discharge-capacity or discharge-energy"),
    ] {
        let mut one = draft(name, form, amount);
        if form == Form::LabelLevel {
            (one.comparator, one.demand_class) = (String::new(), String::new());
        }
        match checked(one) {
            Ok(claim) => assert_eq!((remedy, claim.form), ("", Form::Less), "{form} of {name}"),
            Err(found) => {
                let text = found.to_string();
                assert!(!remedy.is_empty() && text.contains(remedy), "{form} of {name}: {text}");
            }
        }
    }
}

#[test]
fn everything_that_is_wrong_is_told_at_once() {
    let found = fields(ClaimDraft {
        maker: String::new(),
        wording: "x".repeat(301),
        source_reference: "x".repeat(201),
        metric: "a\u{202e}b".into(),
        responses: vec![
            ResponseDraft { method: "methods/none/versions/1".into(), normalisation: None },
            ResponseDraft { method: "screws".into(), normalisation: None },
            ResponseDraft { method: SCREWS.into(), normalisation: Some(Normalisation::PerRatedAh) },
        ],
        form: None,
        amount: None,
        pack: "packModels/K8".into(),
        comparator: String::new(),
        demand_class: "d9".into(),
        tool_type: "spoon".into(),
        workpiece_family: "cheese".into(),
        temperature_basis: "to_cutoff".into(),
        general: true,
        ..ClaimDraft::default()
    });
    let expected = [
        ("maker", "REQUIRED"),
        ("wording", "TEXT_TOO_LONG"),
        ("source_reference", "TEXT_TOO_LONG"),
        ("metric", "CONTROL_CHARACTER"),
        ("responses[0].method", "UNKNOWN_METHOD"),
        ("responses[1].method", "NOT_A_NAME"),
        ("responses[2].normalisation", "NOT_NORMALISABLE"),
        ("pack", "NOT_A_NAME"),
        ("comparator", "REQUIRED"),
        ("condition.demand_class", "UNKNOWN_CHOICE"),
        ("condition.tool_type", "UNKNOWN_CHOICE"),
        ("condition.temperature_basis", "UNKNOWN_FIELD"),
        ("condition.workpiece_family", "UNKNOWN_CHOICE"),
        ("condition.general", "CONTRADICTION"),
        ("form", "REQUIRED"),
    ];
    let found: Vec<(&str, &str)> = found.iter().map(|(field, reason)| (field.as_str(), *reason)).collect();
    assert_eq!(found, expected);
}

#[test]
fn what_is_missing_or_too_much_is_told_with_its_remedy() {
    let base = || draft(SCREWS, Form::RateGain, "20 %");
    assert_eq!(fields(ClaimDraft { amount: None, ..base() }), [("amount".into(), "REQUIRED")]);
    assert_eq!(
        fields(ClaimDraft { amount: Some(written("20")), ..base() })[0].0.split('.').next(),
        Some("amount")
    );
    assert_eq!(fields(ClaimDraft { amount: Some(written("2000 %")), ..base() })[0].1, "OUT_OF_LIMITS");
    assert_eq!(fields(draft(SCREWS, Form::TimeReduction, "100 %"))[0].1, "OUT_OF_LIMITS");
    assert_eq!(fields(draft(CUTS, Form::Times, "0"))[0].1, "OUT_OF_LIMITS");
    assert_eq!(
        fields(ClaimDraft { demand_class: String::new(), ..base() }),
        [("condition".into(), "REQUIRED")]
    );
    assert_eq!(
        fields(ClaimDraft { comparator: "packModels/k8".into(), ..base() }),
        [("comparator".into(), "SAME_PACK")]
    );
    assert_eq!(fields(up_to(draft(SCREWS, Form::Same, "5 %"))), [("reach".into(), "NOT_TAKEN")]);
    let twice = ClaimDraft { responses: vec![base().responses[0].clone(); 2], ..base() };
    assert_eq!(fields(twice), [("responses[1]".into(), "DUPLICATE")]);
    let many = ClaimDraft { responses: vec![ResponseDraft::default(); 9], ..base() };
    assert_eq!(fields(many), [("responses".into(), "TOO_MANY")]);
    assert!(checked(general(base())).unwrap().condition.general);
}

#[test]
fn a_label_is_compared_with_itself_and_states_no_condition() {
    let label = || ClaimDraft {
        comparator: String::new(),
        demand_class: String::new(),
        ..draft(CAPACITY, Form::LabelLevel, "6.0 Ah")
    };
    let claim = checked(label()).unwrap();
    assert_eq!(reading(&claim), "at least 6 A·h in all");
    assert_eq!(
        fields(ClaimDraft { comparator: "packModels/k5".into(), general: true, ..label() }),
        [("comparator".into(), "NOT_TAKEN"), ("condition".into(), "NOT_TAKEN")]
    );
    assert_eq!(
        fields(ClaimDraft { amount: Some(written("6 Wh")), ..label() })[0].0.split('.').next(),
        Some("amount")
    );
    assert_eq!(
        fields(ClaimDraft { responses: vec![], ..label() })[0],
        ("responses".into(), "FORM_DOES_NOT_FIT")
    );
}

#[test]
fn a_claim_comes_back_from_its_document_as_it_was() {
    for one in [
        draft(SCREWS, Form::RateGain, "20 %"),
        general(draft(CUTS, Form::Times, "1.4")),
        draft(WARMING, Form::Cooler, "10 K"),
    ] {
        let claim = checked(one).unwrap();
        let text = serde_json::to_string(&claim).unwrap();
        assert_eq!(serde_json::from_str::<benchring_domain::claim::Claim>(&text).unwrap(), claim, "{text}");
    }
}
