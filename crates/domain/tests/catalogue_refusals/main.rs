//! What makes files no catalogue: each defect is named with its file and its path, and all defects at once.

mod methods;

use benchring_domain::method::{Catalogue, FILES, Problem};

const DICTIONARY: &str = "dictionary.json";
const SCREW: &str = "screw-drive-time.v1.json";
const CUTS: &str = "cuts-per-charge.v1.json";
const WORK: &str = "work.json";

/// The embedded files with edits: file, what stands there once or more, what stands there instead of the first.
fn edited(edits: &[(&str, &str, &str)]) -> Vec<(String, String)> {
    let mut files: Vec<(String, String)> =
        FILES.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
    for (name, from, to) in edits {
        let (_, text) = files.iter_mut().find(|(file, _)| file == name).expect("an embedded file");
        assert!(text.contains(from), "{name} does not hold {from}");
        *text = text.replacen(from, to, 1);
    }
    files
}

fn problems(files: &[(String, String)]) -> Vec<Problem> {
    let files: Vec<(&str, &str)> = files.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    Catalogue::from_files(&files).expect_err("the edit has to be refused").problems().to_vec()
}

fn refused(edit: (&str, &str, &str), path: &str, message: &str) {
    let found = problems(&edited(&[edit]));
    let hit = found
        .iter()
        .any(|one| one.file == edit.0 && one.path.starts_with(path) && one.message.contains(message));
    assert!(hit, "{edit:?} gave {found:#?}");
}

#[test]
fn the_shape_of_every_file_is_checked() {
    for (edit, path, message) in [
        ((SCREW, "\"title\":", "\"titel\":"), "titel", "unknown field `titel`"),
        ((SCREW, "\"run_is_charge\": false,", ""), "", "missing field `run_is_charge`"),
        ((SCREW, "\"tier\": \"core\"", "\"tier\": \"main\""), "tier", "unknown variant `main`"),
        (
            (SCREW, "{\"field\": \"tool_ref\", \"required\": true}", "\"tool_ref\""),
            "fields[0]",
            "struct FieldUse",
        ),
        ((SCREW, "\"min\": 0.1", "\"min\": \"0.1\""), "response.measure.hard.min", "expected f64"),
        ((SCREW, "\"time\"", "\"tempo\""), "response.measure.dimension", "no dimension is named 'tempo'"),
        ((SCREW, "\"tool_stall\":", "\"stalled\":"), "end_table", "unknown variant `stalled`"),
        ((SCREW, "\"tool_stall\":", "\"target_reached\":"), "end_table", "stands here twice"),
        ((SCREW, "\"version\": 1,", "\"version\": 1, \"version\": 1,"), "", "duplicate field `version`"),
        ((SCREW, "\"id\": \"screw-drive-time\"", "\"id\": \"Screws\""), "id", "is no id"),
        (
            (DICTIONARY, "\"entered\": \"condition\"", "\"entered\": \"by hand\""),
            "fields[",
            "unknown variant",
        ),
        ((WORK, "\"watt\": 300", "\"watts\": 300"), "works[6]", "unknown field `watts`"),
        ((WORK, "\"from_w\": 200", "\"from_w\": 2e999"), "demand_classes[1].from_w", "number out of range"),
    ] {
        refused(edit, path, message);
    }
}

/// Prose cannot be followed by code: a rule that is not one of the predicates stops the program.
#[test]
fn prose_is_no_predicate() {
    for (edit, path) in [
        ((SCREW, "\"same_or_fresh_accessory\"", "\"accessory rule\""), "same_within_trial"),
        ((SCREW, "{\"equal\": {\"field\": \"tool_ref\"}}", "\"tool_ref\""), "same_within_trial[0]"),
        (
            (SCREW, "\"pool_keys\": [\"workpiece_family\"", "\"pool_keys\": [\"workpiece family\""),
            "pool_keys[0]",
        ),
        (
            (SCREW, "{\"field\": \"screw_diameter\"},\n", "\"screw_diameter within a factor 1.3\",\n"),
            "bands[0].on",
        ),
        ((SCREW, "\"per_kg_on_rate\"", "\"rate per kg\""), "normalisations[0]"),
        ((WORK, "{\"tool_type\": {\"any_of\": [\"circular_saw\"]}}", "\"circular saw\""), "works["),
    ] {
        refused(edit, path, "");
    }
}

#[test]
fn the_dictionary_holds_what_code_and_methods_rest_on() {
    for (edit, path, message) in [
        (
            (DICTIONARY, "\"id\": \"tool_setting\"", "\"id\": \"tool_ref\""),
            "fields",
            "`tool_ref` stands here twice",
        ),
        ((DICTIONARY, "\"id\": \"tool_setting\"", "\"id\": \"Tool setting\""), "fields[1].id", "is no id"),
        (
            (DICTIONARY, "\"id\": \"runs_since_charge\"", "\"id\": \"runs_before\""),
            "fields",
            "need the field `runs_since_charge`",
        ),
        (
            (DICTIONARY, "{\"structure\": \"tool_model\"}", "{\"structure\": \"tool\"}"),
            "fields[0].entered",
            "no place in a trial",
        ),
        (
            (DICTIONARY, "{\"structure\": \"tool_model\"}", "\"condition\""),
            "fields",
            "`tool_ref` is entered at `tool_model`",
        ),
        (
            (DICTIONARY, "\"choices\": \"accessory_type\"", "\"choices\": \"bits\""),
            "fields[",
            "`bits` is no list",
        ),
        (
            (DICTIONARY, "\"kind\": \"text\"", "\"kind\": \"quantity\""),
            "fields[1].measure",
            "a quantity has a measure",
        ),
        (
            (DICTIONARY, "\"id\": \"tool_stall\"", "\"id\": \"stall\""),
            "choices.end_criterion",
            "fixed by the code",
        ),
        (
            (DICTIONARY, "\"id\": \"full_warm\"", "\"id\": \"full_hot\""),
            "choices",
            "need the choice `full_warm`",
        ),
        ((DICTIONARY, "\"chemistry\": [", "\"alchemy\": ["), "choices", "need the list `chemistry`"),
        ((DICTIONARY, "\"chemistry\": [", "\"alchemy\": ["), "choices.alchemy", "no field takes its choices"),
        (
            (DICTIONARY, "\"display_unit\": \"d\"", "\"display_unit\": \"wk\""),
            "fields[",
            "`wk` is shown but not accepted",
        ),
        (
            (DICTIONARY, "\"caution_ending\": \"", "\"caution_ending\": \" "),
            "caution_ending",
            "without padding",
        ),
    ] {
        refused(edit, path, message);
    }
}

#[test]
fn works_are_of_known_methods_and_never_two_at_once() {
    for (edit, path, message) in [
        (
            (WORK, "[\"screw-drive-time\"", "[\"screw-time\""),
            "works[5].methods",
            "there is no method `screw-time`",
        ),
        (
            (WORK, "\"impact_driver\", \"drill_driver\"", "\"hammer\""),
            "works[6].needs[0]",
            "`hammer` is no choice",
        ),
        (
            (
                WORK,
                "\"field\": \"screw_diameter\", \"range\": {\"min\": 8.75",
                "\"field\": \"screw_diameter\", \"range\": {\"min\": 1",
            ),
            "works[8].needs[2]",
            "beyond the hard limits",
        ),
        (
            (
                WORK,
                "\"field\": \"drive_depth\", \"range\": {\"min\": 73",
                "\"field\": \"load_current\", \"range\": {\"min\": 73",
            ),
            "works[6].needs[3]",
            "not among the fields",
        ),
        ((WORK, "\"from_w\": 200", "\"from_w\": 600"), "demand_classes", "ascend"),
        ((WORK, "{\"id\": \"d1\", \"from_w\": 0}, ", ""), "demand_classes", "differ"),
        ((WORK, "\"watt\": 300", "\"watt\": 0"), "works[6].watt", "no power"),
    ] {
        refused(edit, path, message);
    }
    // Both screws with one range of diameters and depths: a trial could be either.
    let found = problems(&edited(&[
        (WORK, "{\"min\": 8.75, \"max\": 11.3}", "{\"min\": 6, \"max\": 11.3}"),
        (WORK, "{\"min\": 213, \"max\": 370}", "{\"min\": 100, \"max\": 370}"),
    ]));
    assert!(found.iter().any(|one| one.message.contains("could be both")), "{found:#?}");
}

#[test]
fn files_are_named_for_what_they_hold_and_given_once() {
    let mut files = edited(&[]);
    let cuts = files.iter_mut().find(|(name, _)| name == CUTS).expect("embedded");
    cuts.0 = "cuts.json".to_owned();
    let found = problems(&files);
    assert!(found.iter().any(|one| one.file == "cuts.json" && one.message.contains(CUTS)), "{found:#?}");

    let mut files = edited(&[]);
    files.push(files[0].clone());
    assert!(problems(&files)[0].message.contains("given twice"));

    let found = problems(&[]);
    let missing: Vec<&str> = found.iter().map(|one| one.file.as_str()).collect();
    assert_eq!(missing, [DICTIONARY, WORK]);

    let only = edited(&[]).into_iter().filter(|(name, _)| !name.contains(".v")).collect::<Vec<_>>();
    assert!(problems(&only).iter().any(|one| one.message.contains("no method file")));

    let mut files = edited(&[]);
    files[1].1.push_str("{}");
    assert!(problems(&files)[0].message.contains("trailing characters"));
}

#[test]
fn all_problems_come_at_once() {
    let found = problems(&edited(&[
        (SCREW, "\"wood_dust\"", "\"saw_dust\""),
        (SCREW, "5.3, 6.75", "6.75, 5.3"),
        (CUTS, "\"charge_sd\": 0.03", "\"charge_sd\": -1"),
        (WORK, "\"watt\": 300", "\"watt\": -300"),
        (DICTIONARY, "\"caution_ending\": \"", "\"caution_ending\": \" "),
    ]));
    let places: Vec<String> = found.iter().map(|one| format!("{} {}", one.file, one.path)).collect();
    for due in [
        "dictionary.json caution_ending",
        "cuts-per-charge.v1.json charge_sd",
        "screw-drive-time.v1.json cautions",
        "screw-drive-time.v1.json bands[0].edges",
        "work.json works[6].watt",
    ] {
        assert!(places.iter().any(|place| place == due), "{due} is not among {places:#?}");
    }
    let shapes =
        problems(&edited(&[(SCREW, "\"title\":", "\"titel\":"), (WORK, "\"watt\": 300", "\"watts\": 300")]));
    assert_eq!(shapes.len(), 2, "{shapes:#?}");
}

#[test]
fn the_error_reads_as_a_list() {
    let files = edited(&[(SCREW, "\"wood_dust\"", "\"saw_dust\"")]);
    let files: Vec<(&str, &str)> = files.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    let text = Catalogue::from_files(&files).expect_err("refused").to_string();
    let due = "the method catalogue cannot be used:\n- screw-drive-time.v1.json: cautions: `saw_dust` is no caution of \
               the dictionary";
    assert_eq!(text, due);
}
