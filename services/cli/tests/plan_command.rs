//! Plans on the command line.

use benchring_cli::{Done, command};
use serde_json::Value;

fn plan(args: &[&str]) -> Done {
    command(["benchring", "plan"].iter().chain(args).copied().map(Into::into))
}

fn json(done: &Done) -> Value {
    serde_json::from_str(&done.out).unwrap_or_else(|error| panic!("{error}: {done:?}"))
}

const SCREWS: [&str; 6] = ["--method", "screw-drive-time", "--pack", "K5", "--pack", "K8"];

/// Scatter between charges off and runs stated, so that the number is that of the two-sample t test: Cohen (Statistical
/// Power Analysis for the Behavioral Sciences, 2nd edition, 1988, table 2.4.1) gives 64 a group for d = 0.5 at 5 %
/// two-sided and a power of 0.8.
#[test]
fn runs_of_one_tester_are_those_of_the_published_table() {
    // A standard deviation of 0.2 on the log scale, and a rate gain of e^0.1 - 1.
    let cv = (100.0 * f64::exp_m1(0.04).sqrt()).to_string();
    let gain = (100.0 * f64::exp_m1(0.1)).to_string();
    let stated = ["--run-scatter", &cv, "--charge-scatter", "0", "--effect", &gain, "--json"];
    let done = plan(&[SCREWS.as_slice(), &stated].concat());
    assert_eq!(done.code, 0, "{done:?}");
    let told = json(&done);
    assert_eq!(told["alone"]["runsWithoutChargesCount"], 64, "{}", told["alone"]);
    let power = told["alone"]["powerThenRatio"].as_f64().unwrap();
    assert!((0.8..0.82).contains(&power), "{power}");
    assert_eq!(told["runScatter"]["basis"], "FIGURE_BASIS_STATED");
    assert_eq!(told["testerScatter"]["basis"], "FIGURE_BASIS_ASSUMED");
}

#[test]
fn words_hold_the_numbers_what_was_assumed_and_the_sheet() {
    let done = plan(&[SCREWS.as_slice(), &["--effect", "10", "--seed", "7"]].concat());
    assert_eq!((done.code, done.err.as_str()), (0, ""));
    let parts = [
        "Scatter reckoned with",
        "assumed",
        "Half-widths to expect",
        "10 % faster (9.1 % less time)",
        "RUN SHEET",
        "seed 7",
    ];
    for part in parts {
        assert!(done.out.contains(part), "{part} is missing: {}", done.out);
    }
    assert!(!done.out.contains('\u{1b}'), "colour without a terminal");
    assert_eq!(done, plan(&[SCREWS.as_slice(), &["--effect", "10", "--seed", "7"]].concat()));
    let other = plan(&[SCREWS.as_slice(), &["--effect", "10", "--seed", "8"]].concat());
    assert_ne!(done.out, other.out);
}

#[test]
fn everything_wrong_is_said_at_once() {
    let wrong =
        ["--pack", "K5", "--effect", "-3", "--half-width", "4", "--level", "0", "--power", "2", "--json"];
    let done = plan(&[&["--method", "screw-drive-time"], wrong.as_slice()].concat());
    assert_eq!(done.code, 2);
    let told = json(&done);
    let options: Vec<&str> =
        told["errors"].as_array().unwrap().iter().map(|one| one["option"].as_str().unwrap()).collect();
    assert_eq!(options, ["--level", "--pack", "--half-width", "--power"]);
    assert_eq!(done.err.lines().count(), 4, "{}", done.err);
    // Each alone, by its option.
    let cases: [(&[&str], &str); 8] = [
        (&["--effect", "-3"], "--effect: "),
        (&["--effect", "NaN"], "--effect: "),
        (&["--form", "less", "--effect", "5"], "--form: "),
        (&["--form", "rate_gain"], "--form: "),
        (&["--half-width", "5", "--assurance", "3"], "--assurance: "),
        (&["--rounds", "0"], "--rounds: "),
        (&["--workpiece-family", "cheese"], "--workpiece-family: "),
        (&["--pack", "K5"], "--pack[2]: "),
    ];
    for (args, due) in cases {
        let done = plan(&[SCREWS.as_slice(), args].concat());
        assert_eq!((done.code, done.out.as_str()), (2, ""), "{args:?}");
        assert_eq!(done.err.lines().count(), 1, "{}", done.err);
        assert!(done.err.starts_with(&format!("benchring: {due}")), "{}", done.err);
    }
    let done = plan(&["--method", "cheese", "--pack", "K5", "--pack", "K8"]);
    assert_eq!(done.code, 2);
    assert!(done.err.contains("--method") && done.err.contains("screw-drive-time"), "{}", done.err);
}

#[test]
fn a_sheet_that_is_filled_in_is_read_back() {
    let done = plan(&[SCREWS.as_slice(), &["--csv"]].concat());
    assert_eq!(done.code, 0, "{done:?}");
    let mut rows = done.out.lines().map(|row| row.split(',').map(str::to_owned).collect::<Vec<_>>());
    let heading = rows.next().unwrap();
    let column = |name: &str| heading.iter().position(|one| one == name).unwrap();
    let kept = [
        "tester",
        "trial",
        "pack",
        "round",
        "charge",
        "position",
        "warm_up",
        "reading",
        "unit",
        "end_criterion",
    ];
    let mut filled = kept.join(",") + "\n";
    let mut runs = 0;
    for (place, mut row) in rows.enumerate() {
        let reading = if row[column("pack")] == "K5" { 2.6 } else { 2.3 }
            + 0.01 * f64::from(u8::try_from(place % 5).unwrap());
        row[column("tester")] = "T1".to_owned();
        row[column("trial")] = "first".to_owned();
        row[column("reading")] = format!("{reading:.2}");
        row[column("end_criterion")] = "target_reached".to_owned();
        let cells: Vec<&str> = kept.iter().map(|name| row[column(name)].as_str()).collect();
        filled.push_str(&(cells.join(",") + "\n"));
        runs += 1;
    }
    assert!(runs > 4);
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), filled).unwrap();
    let path = file.path().display().to_string();
    let done = command(["benchring", "analyse", "--json", &path].map(Into::into));
    assert_eq!(done.code, 0, "{done:?}");
    assert_eq!(json(&done)["pairs"][0]["pack_b"], "K8");
}
