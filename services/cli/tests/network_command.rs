//! Rankings on the command line.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::fmt::Write as _;
use std::path::Path;

use benchring_cli::{Done, command};
use serde_json::Value;

fn analyse(args: &[&str]) -> Done {
    command(["benchring", "analyse"].iter().chain(args).copied().map(Into::into))
}

fn json(done: &Done) -> Value {
    serde_json::from_str(&done.out).unwrap_or_else(|error| panic!("{error}: {done:?}"))
}

fn number(of: &Value) -> f64 {
    of.as_f64().unwrap_or_else(|| panic!("{of} is no number"))
}

/// Invented: each tester runs some of three packs, so that K5 and M4 meet at one tester only.
fn three_packs() -> tempfile::NamedTempFile {
    let trials: [(&str, &[(&str, f64)]); 6] = [
        ("T1", &[("K5", 2.60), ("K8", 2.31)]),
        ("T2", &[("K5", 2.71), ("K8", 2.35)]),
        ("T3", &[("K8", 2.20), ("M4", 2.91)]),
        ("T4", &[("K8", 2.42), ("M4", 3.02)]),
        ("T5", &[("K5", 2.55), ("M4", 2.88)]),
        ("T6", &[("K5", 2.66), ("K8", 2.28), ("M4", 2.95)]),
    ];
    let mut text = "tester,trial,pack,position,reading,unit,end_criterion\n".to_owned();
    for (tester, arms) in trials {
        let mut position = 0;
        for repeat in [-0.04, 0.01, 0.03] {
            for (pack, mean) in arms {
                position += 1;
                let reading = mean + repeat;
                writeln!(text, "{tester},{tester},{pack},{position},{reading:.2},s,target_reached").unwrap();
            }
        }
    }
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), text).unwrap();
    file
}

/// R 4.2, metafor (tests/reference/metafor.R): of two packs the network is the pair, so the library's numbers hold for it.
#[test]
fn a_network_of_two_packs_is_what_the_reference_library_pools() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference");
    let data = folder.join("ratios.csv").display().to_string();
    let reference = std::fs::read_to_string(folder.join("metafor.txt")).unwrap();
    let mut compared = 0;
    for line in reference.lines().filter(|line| line.contains(" z ")) {
        let words: Vec<&str> = line.split_whitespace().collect();
        let tau2 = words[0].to_lowercase();
        let plain = "--variance own --vote-cap none --charge-variance none --prior fit --order-bias none --resolution 0";
        let mut args = vec!["--json", "--tau2", &tau2, "--interval", "z", &data];
        args.extend(plain.split(' '));
        let told = json(&analyse(&args));
        let network = &told["network"];
        let second = network["packs"].as_array().unwrap().iter().find(|one| one["pack"] == "K8").unwrap();
        assert_eq!(network["reference"], "K5");
        let found = ["log_ratio", "se", "lower", "upper"].map(|key| number(&second[key]));
        let found = [found.as_slice(), &[number(&network["tau2"]), number(&network["q"])]].concat();
        for (got, due) in found.iter().zip(&words[2..]) {
            let due = due.parse::<f64>().unwrap();
            assert!((got - due).abs() <= 1e-8 * due.abs().max(1e-3), "{line}: {got}, not {due}");
            compared += 1;
        }
    }
    assert!(compared >= 18, "{compared}");
}

#[test]
fn three_packs_are_ranked_and_the_league_agrees_with_the_effects() {
    let file = three_packs();
    let path = file.path().display().to_string();
    let told = json(&analyse(&["--json", "--reference", "M4", &path]));
    let network = &told["network"];
    assert_eq!(network["reference"], "M4");
    let packs = network["packs"].as_array().unwrap();
    let order: Vec<&str> = packs.iter().map(|one| one["pack"].as_str().unwrap()).collect();
    assert_eq!(order, ["K8", "K5", "M4"]);
    // P-scores are means of shares whose two sides make 1, so over three packs their mean is a half
    // (Rücker and Schwarzer, BMC Medical Research Methodology 15 (2015), 58).
    let sum: f64 = packs.iter().map(|one| number(&one["p_score"])).sum();
    assert!((sum - 1.5).abs() < 1e-12, "{sum}");
    // A contrast between two packs is the difference of their contrasts to the reference.
    let of = |name: &str| number(&packs.iter().find(|one| one["pack"] == name).unwrap()["log_ratio"]);
    let league = network["league"].as_array().unwrap();
    assert_eq!(league.len(), 3);
    for row in league {
        let (a, b) = (row["pack_a"].as_str().unwrap(), row["pack_b"].as_str().unwrap());
        assert!((number(&row["log_ratio"]) - (of(b) - of(a))).abs() < 1e-12, "{row}");
        assert!((0.0..=1.0).contains(&number(&row["direct_share"])), "{row}");
        let direct = if [a, b].contains(&"K5") && [a, b].contains(&"M4") { 2 } else { 3 };
        assert_eq!(row["direct_testers"], direct, "{row}");
        assert!(number(&row["lower"]) < number(&row["log_ratio"]), "{row}");
    }
    assert!(number(&network["consistency"]["designs"]) > 3.0, "{network}");

    let words = analyse(&[&path]);
    for part in ["K8 ranks first of 3 packs", "P-score", "1. K8", "ratio to K5", "reference"] {
        assert!(words.out.contains(part), "{part} is missing: {}", words.out);
    }
}
