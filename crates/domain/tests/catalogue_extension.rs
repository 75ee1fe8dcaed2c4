//! A method is added by its file alone: an invented one, which uses every predicate there is.

use std::collections::BTreeMap;

use benchring_domain::id::{MethodId, MethodRef};
use benchring_domain::method::{Catalogue, FILES, Method, Outcome, PoolKey, SameWithinTrial};
use benchring_domain::quantity::{Dimension, Quantity};
use benchring_domain::trial::{Conditions, EndCriterion, Value};

const MIX: &str = include_str!("catalogue/invented-mix.v1.json");

/// Works for the invented method: one for each kind of need, none of which overlaps another.
const WORKS: &str = r#"
  {
    "id": "mix-jigsaw", "label": "an invented work", "methods": ["invented-mix"], "watt": 150, "source": "own_rule",
    "needs": [
      {"tool_type": {"any_of": ["jigsaw"]}},
      {"choice": {"field": "workpiece_class", "any_of": ["plywood", "osb"]}},
      {"between": {"field": "cut_width", "range": {"min": 100, "max": 200}}},
      {"product": {"fields": ["cut_width", "cut_height"], "range": {"min": 20, "max": 40}}}
    ]
  },
  {
    "id": "mix-jigsaw-wide", "label": "another", "methods": ["invented-mix"], "watt": 250, "source": "own_rule",
    "needs": [{"product": {"fields": ["cut_height", "cut_width"], "range": {"min": 40, "max": 80}}}]
  },"#;

fn extended(second: Option<&str>) -> Catalogue {
    let work = FILES.iter().find(|(name, _)| *name == "work.json").map_or("", |(_, text)| *text);
    let work = work.replacen("\"works\": [", &format!("\"works\": [{WORKS}"), 1);
    let mut files: Vec<(&str, &str)> =
        FILES.iter().filter(|(name, _)| *name != "work.json").copied().collect();
    files.extend([("work.json", work.as_str()), ("invented-mix.v1.json", MIX)]);
    files.extend(second.map(|text| ("invented-mix.v2.json", text)));
    Catalogue::from_files(&files).unwrap_or_else(|wrong| panic!("{wrong}"))
}

fn mix(catalogue: &Catalogue) -> &Method {
    catalogue.current(&MethodId::parse("invented-mix").expect("an id")).expect("the invented method")
}

#[test]
fn every_kind_of_predicate_is_parsed() {
    let catalogue = extended(None);
    let method = mix(&catalogue);
    assert_eq!(method.same_within_trial.len(), 9);
    for rule in &method.same_within_trial {
        // A new kind of predicate fails to compile here: put it into the invented file.
        match rule {
            SameWithinTrial::Equal { .. }
            | SameWithinTrial::SameOrFreshAccessory
            | SameWithinTrial::PerRatedCapacity { .. }
            | SameWithinTrial::PerSeriesCell { .. }
            | SameWithinTrial::Within { .. }
            | SameWithinTrial::WithinShare { .. }
            | SameWithinTrial::WithinShareOfFirst { .. }
            | SameWithinTrial::ToolOrLoad { .. }
            | SameWithinTrial::UsedChargeAlike { .. } => {}
        }
    }
    let keys: Vec<&str> = method.pool_keys.iter().map(PoolKey::id).collect();
    assert_eq!(keys, ["workpiece_family", "tool_type", "sense_wiring", "charger_ref"]);
    assert_eq!(method.bins("cut_area"), ["10 to 50 cm²", "50 to 100 cm²", "100 to 400 cm²"]);
    assert_eq!(method.bins("c_rate"), ["below 1 It", "1 It and above"]);
    assert_eq!(method.outcome(EndCriterion::ElectronicsCutoff, None), Ok(Outcome::FailedAtLoad));
    assert_eq!(
        method.outcome(EndCriterion::TargetReached, Some(0.0)),
        Ok(Outcome::Exact),
        "no rise is a rise"
    );
    assert!(method.pools_starting_state("partial"), "any state is pooled where none is named");
    let lines = catalogue.same_within_trial(method);
    assert_eq!(lines[4], "Pack temperature at start: at most 3 K apart between packs");
    assert_eq!(lines[5], "Work done: at most 5 % apart between packs");
    assert_eq!(
        lines[6],
        "Work done, or else Energy delivered: at most 5 % apart between packs \
         (where \"Voltage sensing\" is \"Four wires: sensed at the pack terminals\")"
    );
    assert_eq!(lines[7], "One tool for every pack, or a load whose load current is alike within 2 %");
    assert_eq!(method.bins("mean_power"), ["below 200 W", "200 W and above"]);
    assert!(
        catalogue.pooled_by(method).contains(
            &"Indicative only, kept and not pooled: Planer: a planer is only here to show the rule"
                .to_owned()
        ),
        "{:?}",
        catalogue.pooled_by(method)
    );
    assert!(catalogue.pooled_by(method).contains(&"Same in all trials: charger".to_owned()));
}

#[test]
fn the_scatter_that_asks_for_most_holds() {
    let catalogue = extended(None);
    let method = mix(&catalogue);
    let upper = |entries: &[(&str, &str)]| {
        let keys: BTreeMap<String, String> =
            entries.iter().map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect();
        method.scatter_upper_end(&keys)
    };
    assert_eq!(upper(&[]), Some(2.0));
    assert_eq!(upper(&[("sense_wiring", "two_wire")]), Some(3.0));
    assert_eq!(upper(&[("sense_wiring", "two_wire"), ("tool_type", "jigsaw")]), Some(2.5));
}

#[test]
fn every_kind_of_need_decides() {
    let catalogue = extended(None);
    let method = &mix(&catalogue).id;
    let length = |mm: f64| Value::Quantity(Quantity::from_canonical(Dimension::Length, mm).expect("finite"));
    let given = |class: &str, width: f64, height: f64| -> Conditions {
        Conditions::from([
            ("workpiece_class".to_owned(), Value::Choice(class.to_owned())),
            ("cut_width".to_owned(), length(width)),
            ("cut_height".to_owned(), length(height)),
        ])
    };
    let watt = |tool: &str, conditions: &Conditions| {
        catalogue.assumed_power(method, Some(tool), conditions).map(|power| power.watt)
    };
    assert_eq!(watt("jigsaw", &given("osb", 150.0, 18.0)), Some(150.0));
    assert_eq!(watt("planer", &given("osb", 150.0, 18.0)), None, "the tool");
    assert_eq!(watt("jigsaw", &given("mdf", 150.0, 18.0)), None, "the choice");
    assert_eq!(watt("jigsaw", &given("osb", 200.0, 18.0)), None, "the end of a range belongs above");
    assert_eq!(watt("jigsaw", &given("osb", 150.0, 12.0)), None, "the area");
    assert_eq!(watt("jigsaw", &given("mdf", 200.0, 20.0)), Some(250.0), "an area of 40 belongs above");
    assert_eq!(watt("jigsaw", &Conditions::new()), None);
}

#[test]
fn a_new_version_is_current_and_the_old_one_stays() {
    let second = MIX.replacen("\"version\": 1", "\"version\": 2", 1);
    let catalogue = extended(Some(&second));
    assert_eq!(mix(&catalogue).version, 2);
    let first = MethodRef { id: mix(&catalogue).id.clone(), version: 1 };
    assert_eq!(catalogue.method(&first).map(|method| method.version), Some(1));
    assert_eq!(catalogue.methods().count(), catalogue.current_methods().count() + 1);
    let known = Catalogue::embedded().unwrap_or_else(|wrong| panic!("{wrong}"));
    assert_ne!(catalogue.version(), known.version());
}

/// Every rule that code follows is made of words of the catalogue: none holds a sentence.
#[test]
fn no_rule_holds_prose() {
    let rules = [
        "fields",
        "cautions",
        "starting_states",
        "end_table",
        "same_within_trial",
        "pool_keys",
        "modifiers",
        "normalisations",
    ];
    let mut seen = 0;
    for (name, text) in
        FILES.iter().chain(&[("invented-mix.v1.json", MIX)]).filter(|(name, _)| name.contains(".v"))
    {
        let file: serde_json::Value = serde_json::from_str(text).expect("JSON");
        let scatter = file["scatter"].as_array().expect("a list").iter().map(|one| &one["holds_for"]);
        let bands = file["bands"].as_array().expect("a list").iter().map(|one| &one["on"]);
        for rule in rules.iter().map(|rule| &file[*rule]).chain(scatter).chain(bands) {
            for word in words(rule) {
                seen += 1;
                assert!(
                    word.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_') && !word.is_empty(),
                    "{name}: `{word}` is prose"
                );
            }
        }
    }
    assert!(seen > 150, "{seen} words looked at");
}

fn words(json: &serde_json::Value) -> Vec<&str> {
    match json {
        serde_json::Value::String(word) => vec![word],
        serde_json::Value::Array(list) => list.iter().flat_map(words).collect(),
        serde_json::Value::Object(map) => {
            map.iter().flat_map(|(key, value)| std::iter::once(key.as_str()).chain(words(value))).collect()
        }
        _ => Vec::new(),
    }
}

/// Each edit of the invented file breaks one predicate; the problem names its path and what to do.
#[test]
fn predicates_are_held_against_the_dictionary() {
    for (from, to, path, says) in [
        ("[\"work_done\", \"energy_delivered\"]", "[]", "same_within_trial[6].fields", "name one field"),
        (
            "[\"work_done\", \"energy_delivered\"]",
            "[\"work_done\", \"tool_ref\"]",
            "same_within_trial[6]",
            "no quantity",
        ),
        (
            "\"choice\": \"four_wire\"",
            "\"choice\": \"five_wire\"",
            "same_within_trial[6].only_for",
            "no choice of",
        ),
        (
            "{\"field\": \"sense_wiring\", \"required\": true}",
            "{\"field\": \"sense_wiring\", \"required\": false}",
            "same_within_trial[6].only_for",
            "required choice of the whole trial",
        ),
        (
            "{\"tool_or_load\": {\"field\": \"load_current\"",
            "{\"tool_or_load\": {\"field\": \"cutoff_voltage\"",
            "same_within_trial[7]",
            "due is a current",
        ),
        (
            "\"tool_types\": [\"planer\"]",
            "\"tool_types\": [\"plane\"]",
            "indicative.tool_types",
            "no choice of",
        ),
        ("\"tool_types\": [\"planer\"]", "\"tool_types\": []", "indicative.tool_types", "one type or more"),
        (
            "\"on\": \"mean_power\", \"dimension\": \"power\"",
            "\"on\": \"mean_power\", \"dimension\": \"energy\"",
            "bands[1].dimension",
            "the band is on power",
        ),
    ] {
        assert!(MIX.contains(from), "{from}");
        let edited = MIX.replacen(from, to, 1);
        let files: Vec<(&str, &str)> =
            FILES.iter().copied().chain([("invented-mix.v1.json", edited.as_str())]).collect();
        let wrong = Catalogue::from_files(&files).expect_err(to);
        let told = wrong.problems().iter().any(|one| one.path == path && one.message.contains(says));
        assert!(told, "{path}: {says} is not in {wrong}");
    }
}
