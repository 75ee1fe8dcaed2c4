//! The filter of a list of trials: what is taken, what it means, and what is refused where.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use benchring_domain::clock::Timestamp;
use benchring_domain::disclosure::{Interest, Licence};
use benchring_domain::filter::{Comparison, Field, Filter, Filtered, MOST_COMPARISONS, Operator, Value};
use benchring_domain::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, ToolModelId};
use benchring_domain::standing::Standing;
use proptest::prelude::*;

fn read(text: &str) -> Filter {
    Filter::parse(text).unwrap().unwrap()
}

fn trial() -> Filtered {
    Filtered {
        standing: Standing::Accepted,
        tester: TesterId::parse("t01").unwrap(),
        method: MethodRef::from_name("methods/screw-drive-time/versions/1").unwrap(),
        pack_models: vec![PackModelId::parse("k5").unwrap(), PackModelId::parse("k8").unwrap()],
        pack_specimens: vec![PackSpecimenId::parse("k5-1").unwrap(), PackSpecimenId::parse("k8-1").unwrap()],
        tool_model: None,
        demand_class: Some("d2".into()),
        interest: Interest::None,
        licence: Licence::CcBy,
        submit_time: "2026-03-02T09:30:00Z".parse().unwrap(),
        performed_time: "2026-03-01T10:00:00Z".parse().unwrap(),
    }
}

#[test]
fn an_empty_filter_is_none() {
    assert_eq!(Filter::parse("").unwrap(), None);
    assert_eq!(Filter::parse(" \n\t ").unwrap(), None);
}

#[test]
fn the_documented_example_is_read() {
    let filter = read(r#"method = "methods/screw-drive-time/versions/1" AND standing = accepted"#);
    assert!(filter.passes(&trial()));
    assert!(!filter.passes(&Filtered { standing: Standing::Pending, ..trial() }));
}

#[test]
fn every_field_and_operator_means_what_it_says() {
    let cases = [
        ("standing = accepted", true),
        ("standing = STANDING_ACCEPTED", true),
        ("standing != taken_down", true),
        ("tester = testers/t01", true),
        ("tester = \"testers/t02\"", false),
        ("pack_model = packModels/k8", true),
        ("pack_model != packModels/k8", false),
        ("pack_model != packModels/k9", true),
        ("pack_specimen = 'packSpecimens/k5-1'", true),
        ("tool_model = toolModels/id18", false),
        ("tool_model != toolModels/id18", true),
        ("demand_class = d2", true),
        ("demand_class = unknown", false),
        ("interest = none", true),
        ("interest = INTEREST_NONE", true),
        ("licence = CC-BY-4.0", true),
        ("licence != CC0-1.0", true),
        ("submit_time > \"2026-03-02T09:29:59Z\"", true),
        ("submit_time > \"2026-03-02T09:30:00Z\"", false),
        ("submit_time >= \"2026-03-02T09:30:00Z\"", true),
        ("submit_time < \"2026-03-02T11:30:01+02:00\"", true),
        ("submit_time <= 2026-03-02T09:30:00Z", true),
        ("submit_time != \"2026-03-02T09:30:00Z\"", false),
        ("performed_time = \"2026-03-01T10:00:00.0Z\"", true),
        ("NOT standing = accepted", false),
        ("-standing = accepted", false),
        ("NOT (standing = pending OR standing = rejected)", true),
        ("-(standing = pending)", true),
        ("NOT NOT standing = accepted", true),
        ("(((standing=accepted)))", true),
    ];
    for (text, expected) in cases {
        assert_eq!(read(text).passes(&trial()), expected, "{text}");
    }
}

#[test]
fn or_binds_tighter_than_and() {
    let loose = read("standing = pending AND tester = testers/t09 OR tester = testers/t01");
    let grouped = read("standing = pending AND (tester = testers/t09 OR tester = testers/t01)");
    assert_eq!(loose, grouped);
    assert!(!loose.passes(&trial()), "AND first would let it pass");
}

#[test]
fn what_is_wrong_is_told_with_its_place() {
    let deep = format!("{}standing = accepted{}", "(".repeat(18), ")".repeat(18));
    let nots = "NOT ".repeat(300) + "standing = accepted";
    let many = vec!["standing = accepted"; MOST_COMPARISONS + 1].join(" OR ");
    let long = format!("tester = \"testers/{}\"", "a".repeat(2000));
    let cases: &[(&str, usize, &str)] = &[
        ("standng = accepted", 1, "did you mean `standing`"),
        ("colour = red", 1, "name standing, tester"),
        ("standing = acepted", 12, "did you mean `accepted`"),
        ("standing : accepted", 10, "compare it with = or !="),
        ("standing > accepted", 10, "compare it with = or !="),
        ("standing", 9, "the end of the filter after standing"),
        ("standing =", 11, "where the value of standing is due"),
        ("standing = accepted tester = testers/t01", 21, "join comparisons with AND or OR"),
        ("standing = accepted and tester = testers/t01", 21, "join comparisons with AND or OR"),
        ("standing = accepted AND", 24, "the end of the filter where a field is due"),
        ("(standing = accepted", 21, "the parenthesis is not closed"),
        ("standing = accepted)", 20, "`)` closes nothing"),
        ("standing = \"accepted", 12, "the quote is not closed"),
        ("standing = accepted & x", 21, "has no meaning here"),
        ("tester = t01", 10, "testers/example-1"),
        ("method = methods/screw-drive-time", 10, "methods/{id}/versions"),
        ("submit_time > yesterday", 15, "RFC 3339"),
        ("demand_class = d5", 16, "choose d1, d2, d3, d4 or unknown"),
        ("= accepted", 1, "where a field is due"),
        (&deep, 18, "deep"),
        (&nots, 69, "deep"),
        (&many, 1473, "more than 64 comparisons"),
        (&long, 2001, "at most 2000"),
    ];
    for (text, position, message) in cases {
        let refused = Filter::parse(text).unwrap_err();
        assert_eq!(refused.position, *position, "{text}: {refused}");
        assert!(refused.message.contains(message), "{text}: {refused}");
    }
}

#[test]
fn the_greatest_filter_is_taken() {
    let many = vec!["standing = accepted"; MOST_COMPARISONS].join(" OR ");
    assert!(read(&many).passes(&trial()));
    let deep = format!("{}standing = accepted{}", "(".repeat(16), ")".repeat(16));
    assert!(read(&deep).passes(&trial()));
}

fn id() -> impl Strategy<Value = String> {
    "[a-z0-9][a-z0-9-]{0,62}"
}

fn value() -> impl Strategy<Value = Value> {
    let time = (0_i64..4_000_000_000, 0_i32..1_000_000_000)
        .prop_map(|(second, nanosecond)| Timestamp::new(second, nanosecond).unwrap());
    prop_oneof![
        prop::sample::select(Standing::ALL.to_vec()).prop_map(Value::Standing),
        id().prop_map(|id| Value::Tester(TesterId::parse(&id).unwrap())),
        (id(), 1_u32..99).prop_map(|(id, version)| {
            Value::Method(MethodRef::from_name(&format!("methods/{id}/versions/{version}")).unwrap())
        }),
        id().prop_map(|id| Value::PackModel(PackModelId::parse(&id).unwrap())),
        id().prop_map(|id| Value::PackSpecimen(PackSpecimenId::parse(&id).unwrap())),
        id().prop_map(|id| Value::ToolModel(ToolModelId::parse(&id).unwrap())),
        prop::option::of(prop::sample::select(vec!["d1", "d2", "d3", "d4"]))
            .prop_map(|class| Value::DemandClass(class.map(str::to_owned))),
        prop::sample::select(Interest::ALL.to_vec()).prop_map(Value::Interest),
        prop::sample::select(Licence::ALL.to_vec()).prop_map(Value::Licence),
        time.clone().prop_map(Value::SubmitTime),
        time.prop_map(Value::PerformedTime),
    ]
}

fn filter() -> impl Strategy<Value = Filter> {
    let comparison = (value(), prop::sample::select(Operator::ALL.to_vec())).prop_map(|(value, operator)| {
        let times = matches!(value.field(), Field::SubmitTime | Field::PerformedTime);
        let plain = matches!(operator, Operator::Equal | Operator::NotEqual);
        Filter::Is(Comparison { operator: if times || plain { operator } else { Operator::Equal }, value })
    });
    comparison.prop_recursive(4, 12, 3, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 2..4).prop_map(Filter::And),
            prop::collection::vec(inner.clone(), 2..4).prop_map(Filter::Or),
            inner.prop_map(|one| Filter::Not(Box::new(one))),
        ]
    })
}

proptest! {
    #[test]
    fn what_is_written_reads_back(filter in filter()) {
        let text = filter.to_string();
        if text.chars().count() <= 2000 {
            prop_assert_eq!(Filter::parse(&text), Ok(Some(filter)));
        }
    }

    #[test]
    fn no_text_panics(text in ".{0,200}") {
        let _ = Filter::parse(&text);
    }

    #[test]
    fn no_text_near_a_filter_panics(
        words in prop::collection::vec(
            prop::sample::select(vec![
                "standing", "=", "!=", "<", "(", ")", "AND", "OR", "NOT", "-", "accepted", "\"", "'", "\\",
                "submit_time", "\"2026-03-02T09:30:00Z\"", "é",
            ]),
            0..30,
        )
    ) {
        if let Ok(Some(filter)) = Filter::parse(&words.join(" ")) {
            filter.passes(&trial());
        }
    }
}
