//! Derived quantities: values against numbers worked by hand, and files whose formulas do not hold.

use benchring_domain::id::MethodId;
use benchring_domain::method::{Catalogue, CatalogueError, Derived, FILES, Inputs};

const MIX: &str = include_str!("catalogue/invented-mix.v1.json");

fn with_mix(edit: impl Fn(&str) -> String) -> Result<Catalogue, CatalogueError> {
    let mix = edit(MIX);
    let files: Vec<(&str, &str)> =
        FILES.iter().copied().chain([("invented-mix.v1.json", mix.as_str())]).collect();
    Catalogue::from_files(&files)
}

fn derived(method: &str, id: &str) -> Derived {
    let catalogue = with_mix(str::to_owned).unwrap_or_else(|wrong| panic!("{wrong}"));
    let method = catalogue.current(&MethodId::parse(method).expect("an id")).expect("a method");
    method.derived.iter().find(|one| one.id == id).unwrap_or_else(|| panic!("no {id}")).clone()
}

/// The value of a derived quantity with a reading and conditions, for a pack of 5 A.h and 5 cells in series.
fn value(method: &str, id: &str, reading: f64, fields: &[(&str, f64)]) -> Option<f64> {
    let field = |id: &str| fields.iter().find(|(known, _)| *known == id).map(|(_, value)| *value);
    let inputs =
        Inputs { reading: Some(reading), rated_capacity: Some(5.0), series_count: Some(5.0), field: &field };
    derived(method, id).value(&inputs)
}

fn close(value: Option<f64>, due: f64) {
    let value = value.expect("a value");
    assert!((value - due).abs() <= 1e-12 * due.abs(), "{value} is not {due}");
}

/// By hand: 100 mm in 2.5 s are 40 mm/s.
#[test]
fn a_rate_is_a_depth_over_a_time() {
    close(value("screw-drive-time", "drive_rate", 2.5, &[("drive_depth", 100.0)]), 40.0);
    assert_eq!(value("screw-drive-time", "drive_rate", 2.5, &[]), None, "the depth is not known");
    assert_eq!(value("screw-drive-time", "drive_rate", 0.0, &[("drive_depth", 100.0)]), None, "over nothing");
}

/// By hand: 38 cuts of 12 cm x 12 cm are 5472 cm2 = 0.5472 m2; 76 W.h = 273 600 J over that area are 50 J/cm2.
#[test]
fn an_area_and_the_energy_of_it() {
    let board = [("cut_width", 120.0), ("cut_height", 120.0), ("energy_delivered", 76.0)];
    close(value("cuts-per-charge", "area_cut", 38.0, &board), 0.5472);
    close(value("cuts-per-charge", "energy_per_area", 38.0, &board), 50.0);
}

/// By hand: 4.9 A.h of 5 A.h are 98 %, 1 A over 5 A.h is 0.2/h, and 88.2 W.h over 4.9 A.h are 18 V.
#[test]
fn shares_rates_and_voltages() {
    let load = [("load_current", 1.0), ("energy_delivered", 88.2)];
    close(value("discharge-capacity", "label_ratio", 4.9, &load), 98.0);
    close(value("discharge-capacity", "c_rate", 4.9, &load), 0.2);
    close(value("discharge-capacity", "mean_voltage", 4.9, &load), 18.0);
}

/// By hand: 12 K over 40 W.h are 0.3 K/(W.h); pi/4 x (100/50)^2 x 5 A.h / 5 = pi A.h.
#[test]
fn compounds_and_numbers_of_the_pack() {
    close(value("invented-mix", "rise_per_energy", 12.0, &[("energy_delivered", 40.0)]), 0.3);
    let sides = [("cut_width", 100.0), ("cut_height", 50.0)];
    close(value("invented-mix", "disc_per_cell", 1.0, &sides), std::f64::consts::PI);
    assert_eq!(derived("invented-mix", "rise_per_energy").symbol(), "K/(W·h)");
    let words = derived("invented-mix", "disc_per_cell").formula.words(|id| id.replace('_', " "));
    assert_eq!(
        words,
        "π/4 × cut width × cut width × rated capacity / (cut height × cut height × series cells)"
    );
}

/// Each edit breaks one thing; the problem names file, path and what to do.
#[test]
fn a_formula_that_does_not_hold_is_refused() {
    for (from, to, path, says) in [
        ("\"unit\": \"K/W.h\"", "\"unit\": \"K/J\"", "derived[0].unit", "`K/J` is no unit"),
        ("\"unit\": \"K/W.h\"", "\"unit\": \"mm/s\"", "derived[0].formula", "not measured in `mm/s`"),
        (
            "\"over\": [{\"field\": \"energy_delivered\"}]",
            "\"over\": [{\"field\": \"mains_energy\"}]",
            "derived[0].formula",
            "add it there",
        ),
        (
            "\"over\": [{\"field\": \"energy_delivered\"}]",
            "\"over\": [{\"field\": \"pack_start_temperature\"}]",
            "derived[0].formula",
            "is a temperature",
        ),
        ("\"times\": [\"reading\"]", "\"times\": []", "derived[0].formula.times", "one term or more"),
        ("\"id\": \"rise_per_energy\"", "\"id\": \"cut_width\"", "derived[0].id", "no id of a field"),
        (
            "\"soft\": {\"min\": 1, \"max\": 50}",
            "\"soft\": {\"min\": 1, \"max\": 500}",
            "derived[1].soft",
            "inside",
        ),
        ("\"note\": \"invented\",\n      \"source\"", "\"source\"", "derived[1].note", "a text"),
    ] {
        assert!(MIX.contains(from), "{from}");
        let wrong = with_mix(|text| text.replacen(from, to, 1)).expect_err(to);
        let told = wrong
            .problems()
            .iter()
            .any(|one| one.file == "invented-mix.v1.json" && one.path == path && one.message.contains(says));
        assert!(told, "{path}: {says} is not in {wrong}");
    }
}
