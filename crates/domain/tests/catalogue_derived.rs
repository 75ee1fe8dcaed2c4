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

/// What is asked about a derived value: whether it lies in the soft range, and is not refused.
fn asked(method: &str, id: &str, reading: f64, fields: &[(&str, f64)]) -> bool {
    let value = value(method, id, reading, fields).expect("a value");
    let derived = derived(method, id);
    assert!(derived.hard.is_none_or(|hard| hard.contains(value)), "{id} = {value} is refused");
    !derived.soft.is_some_and(|soft| soft.contains(value))
}

/// A board of 4.5 x 14.5 cm typed in mm: about 3 s a cut are 0.2 cm2/s, no saw is that slow. It is asked about, not
/// refused: times on both packs are right, and their ratio is.
#[test]
fn a_board_in_the_wrong_unit_is_asked_about() {
    let typed = [("cut_width", 14.5), ("cut_height", 4.5)];
    let meant = [("cut_width", 145.0), ("cut_height", 45.0)];
    for seconds in [1.2, 2.4, 3.0, 6.0] {
        assert!(asked("crosscut-time", "area_rate", seconds, &typed), "{seconds} s");
        assert!(!asked("crosscut-time", "area_rate", seconds, &meant), "{seconds} s");
    }
    assert!(asked("cuts-per-charge", "area_cut", 60.0, &typed));
}

/// Works of a motor model at 18 V (own computation), and half or twice as fast: honest work is never asked about.
#[test]
fn honest_work_is_not_asked_about() {
    let hole = |diameter: f64, depth: f64| [("hole_diameter", diameter), ("hole_depth", depth)];
    for pace in [0.5, 1.0, 2.0] {
        for (seconds, fields) in [(3.0, hole(5.0, 60.0)), (5.5, hole(25.0, 90.0))] {
            for id in ["penetration_rate", "removal_rate"] {
                assert!(!asked("bore-time", id, seconds * pace, &fields), "{id} of {fields:?}");
            }
        }
        for (seconds, depth) in [(2.6, 95.0), (6.5, 230.0)] {
            assert!(!asked("screw-drive-time", "drive_rate", seconds * pace, &[("drive_depth", depth)]));
        }
        let post = [("cut_width", 120.0), ("cut_height", 120.0), ("energy_delivered", 76.0)];
        assert!(!asked("cuts-per-charge", "area_cut", 50.0 * pace, &post));
        assert!(!asked("cuts-per-charge", "energy_per_area", 50.0 * pace, &post));
        let hedge = [("energy_delivered", 88.0), ("mean_input_power", 171.0)];
        assert!(!asked("trim-length-per-charge", "running_time_per_charge", 96_000.0 * pace, &hedge));
    }
}

/// By hand: 25 mm over 90 mm is pi/4 x 6.25 cm2 x 9 cm = 44.18 cm3, in 5.5 s 8.033 cm3/s; 100 holes deep (9 m) and
/// 72 W.h are 259 200 J over 4417.9 cm3 = 58.67 J/cm3. 70 mOhm x 10 A = 0.7 V; 70 mOhm x 5 A.h / 5 = 70 mOhm.A.h.
#[test]
fn volumes_energies_and_sags() {
    let near = |value: Option<f64>, due: f64| {
        let value = value.expect("a value");
        assert!((value - due).abs() < 1e-3 * due, "{value} is not {due}");
    };
    near(value("bore-time", "removal_rate", 5.5, &[("hole_diameter", 25.0), ("hole_depth", 90.0)]), 8.033);
    let charge = [("hole_diameter", 25.0), ("energy_delivered", 72.0)];
    near(value("bore-depth-per-charge", "volume_bored", 9000.0, &charge), 4417.9);
    near(value("bore-depth-per-charge", "specific_energy", 9000.0, &charge), 58.67);
    near(value("pulse-resistance", "sag", 70.0, &[("pulse_current_high", 10.0)]), 0.7);
    near(value("pulse-resistance", "resistance_times_capacity", 70.0, &[]), 70.0);
    // 2.1 % in 28 d of a month of 30.4375 d.
    near(value("self-discharge", "loss_per_month", 2.1, &[("storage_time", 28.0 * 86_400.0)]), 2.2828);
    // 44 W.h in 38 min; 90 W.h in 60 min.
    near(value("no-load-runtime", "mean_power", 2280.0, &[("energy_delivered", 44.0)]), 69.474);
    near(value("recharge-time", "mean_charge_power", 3600.0, &[("energy_delivered", 90.0)]), 90.0);
    near(value("screws-per-charge", "energy_per_screw", 400.0, &[("energy_delivered", 86.0)]), 774.0);
}
