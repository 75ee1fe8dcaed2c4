//! The command line as a tester uses it.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;

use benchring_cli::{Done, command};
use proptest::prelude::*;
use serde_json::Value;

const HEADING: &str = "tester,trial,pack,position,reading,unit,end_criterion";

fn benchring(args: &[&str]) -> Done {
    command(std::iter::once("benchring").chain(args.iter().copied()).map(Into::into))
}

fn file(text: &[u8]) -> tempfile::NamedTempFile {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(text).unwrap();
    file
}

/// Runs the command on a file of `text`.
fn on(text: impl AsRef<[u8]>, args: &[&str]) -> Done {
    let file = file(text.as_ref());
    let path = file.path().display().to_string();
    benchring(&[args, &[path.as_str()]].concat())
}

fn json(done: &Done) -> Value {
    serde_json::from_str(&done.out).unwrap_or_else(|error| panic!("{error}: {done:?}"))
}

/// Line, column or pointer, and reason of each error.
fn errors(done: &Done) -> Vec<(u64, String, String)> {
    let told = json(done);
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let one = |e: &Value| {
        let at = if e["column"].is_null() { text(&e["pointer"]) } else { text(&e["column"]) };
        (e["line"].as_u64().unwrap_or(0), at, text(&e["reason"]))
    };
    told["errors"].as_array().unwrap().iter().map(one).collect()
}

fn rows(rows: &[&str]) -> String {
    format!("{HEADING}\n{}\n", rows.join("\n"))
}

/// R 4.2, metafor: tests/reference/metafor.R made the numbers, to twelve digits.
#[test]
fn plain_options_give_the_numbers_of_the_reference_library() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference");
    let data = folder.join("ratios.csv").display().to_string();
    let reference = std::fs::read_to_string(folder.join("metafor.txt")).unwrap();
    let mut compared = 0;
    for line in reference.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        let interval = if words[1] == "z" { "z" } else { "hk" };
        let tau2 = words[0].to_lowercase();
        let done = benchring(&[
            "analyse",
            "--json",
            "--variance",
            "own",
            "--tau2",
            &tau2,
            "--interval",
            interval,
            "--vote-cap",
            "none",
            "--charge-variance",
            "none",
            "--prior",
            "fit",
            "--order-bias",
            "none",
            "--resolution",
            "0",
            &data,
        ]);
        assert_eq!(done.code, 0, "{done:?}");
        let told = json(&done);
        let pair = &told["pairs"][0];
        assert_eq!((&pair["pack_a"], &pair["pack_b"]), (&"K5".into(), &"K8".into()));
        let keys = ["log_ratio", "se", "lower", "upper", "tau2", "q"];
        for (key, due) in keys.iter().zip(&words[2..]) {
            // Knapp and Hartung's factor is in that library's standard error; here it is in the interval alone.
            if *key == "se" && interval == "hk" {
                continue;
            }
            let (due, got) = (due.parse::<f64>().unwrap(), pair[key].as_f64().unwrap());
            assert!((got - due).abs() <= 1e-8 * due.abs().max(1e-3), "{line}: {key} is {got}, not {due}");
            compared += 1;
        }
    }
    assert_eq!(compared, 44);
}

#[test]
fn words_and_tables_say_both_percent_forms_and_what_they_rest_on() {
    let text = rows(&[
        "T1,a,K5,1,2.61,s,target_reached",
        "T1,a,K8,2,2.31,s,target_reached",
        "T1,a,K8,3,2.35,s,target_reached",
        "T1,a,K5,4,2.68,s,target_reached",
    ]);
    let done = on(&text, &["analyse"]);
    assert_eq!((done.code, done.err.as_str()), (0, ""));
    for part in ["less time", "a rate gain of", "one tester only, not pooled", "single_tester", "K8 / K5"] {
        assert!(done.out.contains(part), "{part} is missing: {}", done.out);
    }
    assert!(!done.out.contains('\u{1b}'), "colour without a terminal");
    // The other way round with another reference, and the same from a file as a spreadsheet saves it.
    let turned = json(&on(&text, &["analyse", "--json", "--reference", "K8"]));
    let plain = json(&on(&text, &["analyse", "--json"]));
    let saved = format!("\u{feff}{}", text.replace('\n', "\r\n").replace("T1", "\"T1\""));
    let saved = json(&on(saved, &["analyse", "--json"]));
    let ratio = |told: &Value| told["pairs"][0]["log_ratio"].as_f64().unwrap();
    assert!((ratio(&turned) + ratio(&plain)).abs() < 1e-12);
    assert_eq!(saved["pairs"], plain["pairs"]);
    assert_eq!(turned["pairs"][0]["pack_a"], "K8");
}

#[test]
fn what_is_wrong_with_a_table_is_named_by_line_and_column_all_at_once() {
    let text = rows(&[
        "T1,a,K5,1,NaN,s,target_reached",
        "T1,a,K8,0,2.31,s,target_reached",
        "T1,a,K8,3,2.35,furlong,target_reached",
        "T1,a,K5,4,2.68,s,done",
        ",a,K5,4,2.68,s,target_reached",
        "T1,a,K5,4,2,68,s,target_reached",
    ]);
    let found = errors(&on(&text, &["analyse", "--json", "--method", "screw-drive-time"]));
    assert!(found.iter().any(|e| e.0 == 6 && e.1 == "tester") && found.iter().any(|e| e.0 == 7), "{found:?}");
    let text = rows(&[
        "T1,a,K5,1,NaN,s,target_reached",
        "T1,a,K8,0,2.31,s,target_reached",
        "T1,a,K8,3,2.35,furlong,target_reached",
        "T1,a,K5,4,2.68,s,done",
    ]);
    let done = on(&text, &["analyse", "--json", "--method", "screw-drive-time"]);
    let found = errors(&done);
    assert_eq!(done.code, 1);
    for due in [(2, "reading"), (3, "position"), (4, "unit"), (5, "end_criterion")] {
        assert!(found.iter().any(|e| (e.0, e.1.as_str()) == due), "{due:?} is missing: {found:?}");
    }
    assert!(done.err.lines().count() >= 4 && done.err.contains(":5: end_criterion: `done`"), "{}", done.err);
}

#[test]
fn headings_that_cannot_be_read_say_what_to_write() {
    for (text, part) in [
        ("", "the file is empty"),
        (HEADING, "no row below"),
        ("tester;trial;pack;reading;end_criterion\n", "parted by something else than a comma"),
        ("tester,trial,pack,reading,reading,end_criterion\n", "heads two columns"),
        ("tester,trial,pack,reading\n", "the column end_criterion is missing"),
    ] {
        let done = on(text, &["analyse"]);
        assert!(done.code == 1 && done.err.contains(part), "{text}: {done:?}");
    }
    assert_eq!(benchring(&["analyse", "/nowhere/at-all.csv"]).code, 2);
    assert_eq!(benchring(&["analyse"]).code, 2);
    assert_eq!(on("x", &["analyse", "--tau2", "none"]).code, 2);
    let help = benchring(&["--help"]);
    assert!(help.code == 0 && help.out.contains("Exit codes"), "{help:?}");
}

#[test]
fn conditions_are_columns_and_what_is_missing_is_said_not_refused() {
    let text = |diameter: &str| {
        let head = HEADING.to_owned() + ",screw_diameter,charge,order_design\n";
        let rows = [("K5", 1, "2.61"), ("K8", 2, "2.31"), ("K8", 3, "2.35"), ("K5", 4, "2.68")];
        let row = |(pack, place, reading): (&str, i32, &str)| {
            format!(
                "t01,a,{pack},{place},{reading},s,target_reached,{diameter},{pack},balanced_alternating\n"
            )
        };
        head + &rows.map(row).concat()
    };
    let done = on(text("6 mm"), &["analyse", "--json", "--method", "screw-drive-time"]);
    assert_eq!(done.code, 0, "{}", done.err);
    let told = json(&done);
    assert_eq!(told["method"], "methods/screw-drive-time/versions/1");
    assert!(told["shared"]["screw_diameter"].as_str().unwrap().contains("mm"), "{}", told["shared"]);
    assert_eq!(told["shared"]["tool_type"], "not given");
    let unchecked = told["unchecked"].as_array().unwrap();
    assert!(unchecked.iter().any(|one| one.as_str().unwrap().contains("tool_model")), "{unchecked:?}");
    let wrong = on(text("6 s"), &["check", "--json", "--method", "screw-drive-time"]);
    let told = json(&wrong);
    let violation = &told["violations"][0];
    assert_eq!((wrong.code, &violation["column"]), (1, &"screw_diameter".into()), "{told}");
}

/// The example of the README, as it stands there.
#[test]
fn the_example_gives_what_the_readme_shows() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let example = root.join("services/cli/examples/screws.csv").display().to_string();
    let done = benchring(&["analyse", &example]);
    let readme = std::fs::read_to_string(root.join("README.md")).unwrap();
    let first = done.out.split("note:").next().unwrap();
    assert!(done.code == 0 && readme.contains(first), "README.md does not show:\n{first}");
}

#[test]
fn errors_without_a_number_have_their_names() {
    let reason = |text: &str, args: &[&str]| -> String {
        let done = on(text, &[&["analyse", "--json"], args].concat());
        assert_eq!(done.code, 1, "{done:?}");
        errors(&done)[0].2.clone()
    };
    let zero = rows(&["T,a,K5,1,0,s,target_reached", "T,a,K8,2,2,s,target_reached"]);
    assert_eq!(reason(&zero, &[]), "non_positive_reading");
    let apart = rows(&["T,a,K5,1,3,s,target_reached", "U,b,K8,1,2,s,target_reached"]);
    assert_eq!(reason(&apart, &[]), "not_connected");
    let mixed = rows(&["T,a,K5,1,3,s,target_reached", "T,a,K8,1,2,W.h,target_reached"]);
    assert_eq!(reason(&mixed, &[]), "unit_mismatch");
    let single = rows(&["T,a,K5,1,3,s,target_reached", "T,a,K8,2,2,s,target_reached"]);
    assert_eq!(reason(&single, &["--prior", "fit"]), "no_variance_and_one_tester");
    let two = r#"[{"name": "trials/a", "method": "methods/bore-time/versions/1", "arms": []},
                  {"name": "trials/b", "method": "methods/crosscut-time/versions/1", "arms": []}]"#;
    assert_eq!(reason(two, &[]), "mixed_methods");
}

#[test]
fn a_hundred_thousand_rows_are_read_and_answered() {
    let mut text = String::from(HEADING);
    for run in 0..100_000 {
        let (tester, pack) = (run / 500, if run % 2 == 0 { "K5" } else { "K8" });
        let reading = 200 + (run * 7919) % 37 + if pack == "K8" { 0 } else { 20 };
        write!(text, "\nT{tester},a,{pack},{},{reading},s,target_reached", run % 500 + 1).unwrap();
    }
    let done = on(text, &["analyse", "--json"]);
    assert_eq!(done.code, 0, "{}", done.err);
    assert_eq!(json(&done)["pairs"][0]["testers"], 200);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever the bytes, the command says something and stops.
    #[test]
    fn any_bytes_are_answered(bytes in proptest::collection::vec(any::<u8>(), 0..400), head in any::<bool>()) {
        let text = if head { [rows(&[]).as_bytes(), &bytes].concat() } else { bytes };
        let done = on(text, &["analyse", "--json"]);
        prop_assert!(done.code <= 2);
    }

    /// Any trials give numbers or an error: JSON has no word for what is not finite, and would say null. Only a bound may
    /// lie beyond all numbers.
    #[test]
    fn any_readings_give_finite_numbers(
        runs in proptest::collection::vec((0..4_u8, 0..3_u8, 0..4_u8, -300..300_i32, 1..3_u8), 1..40),
        plain in any::<bool>(),
    ) {
        let mut text = String::from(HEADING);
        for (place, (tester, trial, pack, power, digit)) in runs.into_iter().enumerate() {
            let power = if plain { power % 2 } else { power / 4 };
            write!(text, "\nT{tester},{trial},P{pack},{},{digit}e{power},s,target_reached", place + 1).unwrap();
        }
        let done = on(text, &["analyse", "--json"]);
        prop_assert!(done.code <= 1, "{}", done.err);
        if done.code == 0 {
            for pair in json(&done)["pairs"].as_array().unwrap() {
                for key in ["log_ratio", "se", "tau2", "i2", "q"] {
                    prop_assert!(pair[key].is_number(), "{key} of {pair}");
                }
                let bound = |key: &str| pair[key].as_f64();
                prop_assert!(bound("lower").is_none_or(|lower| lower <= bound("log_ratio").unwrap()));
                prop_assert!(bound("upper").is_none_or(|upper| upper >= bound("log_ratio").unwrap()));
            }
        }
    }
}
