//! The catalogue as it is embedded: it loads, every file is in it, and released versions stay as they were.

use std::collections::{BTreeMap, BTreeSet};

use benchring_domain::id::{MethodId, MethodRef};
use benchring_domain::method::{Catalogue, Entered, FILES, Level, Method, Normalisation, Outcome};
use benchring_domain::quantity::{Dimension, Quantity};
use benchring_domain::trial::{Conditions, EndCriterion, Value};

fn catalogue() -> Catalogue {
    Catalogue::embedded().unwrap_or_else(|wrong| panic!("{wrong}"))
}

fn reference(id: &str) -> MethodRef {
    MethodRef { id: MethodId::parse(id).expect("an id"), version: 1 }
}

fn keys(entries: &[(&str, &str)]) -> BTreeMap<String, String> {
    entries.iter().map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect()
}

#[test]
fn every_file_of_the_folder_is_embedded() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/methods");
    let entries = std::fs::read_dir(folder).unwrap();
    let names: BTreeSet<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| std::path::Path::new(name).extension().is_some_and(|kind| kind == "json"))
        .collect();
    let listed: BTreeSet<String> = FILES.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(names, listed, "list every file of methods/ in src/method/embedded.rs");
}

#[test]
fn methods_come_by_id_and_the_highest_version_is_current() {
    let catalogue = catalogue();
    let ids: Vec<String> = catalogue.methods().map(|method| method.reference().name()).collect();
    let mut sorted = ids.clone();
    sorted.sort();
    assert_eq!(ids, sorted);
    let screw = reference("screw-drive-time");
    assert_eq!(catalogue.current(&screw.id), catalogue.method(&screw));
    assert_eq!(catalogue.current_methods().count(), catalogue.methods().count());
    assert!(catalogue.current(&MethodId::parse("screw-drive").unwrap()).is_none());
    assert!(catalogue.method(&MethodRef { version: 2, ..screw }).is_none());
}

#[test]
fn the_version_names_the_texts() {
    let catalogue = catalogue();
    let (version, hash) = catalogue.version().split_once("+sha256.").unwrap();
    assert_eq!(version, "1.0.0");
    assert!(catalogue.hash().starts_with(hash));
    let mut files = FILES.to_vec();
    files.reverse();
    assert_eq!(Catalogue::from_files(&files).unwrap().hash(), catalogue.hash(), "order does not matter");
    let edited: Vec<(&str, String)> =
        FILES.iter().map(|(name, text)| (*name, text.replace("flush.", "flush!"))).collect();
    let edited: Vec<(&str, &str)> = edited.iter().map(|(name, text)| (*name, text.as_str())).collect();
    assert_ne!(Catalogue::from_files(&edited).unwrap().hash(), catalogue.hash());
}

#[test]
fn every_caution_ends_with_who_comes_first_and_every_method_has_some() {
    let catalogue = catalogue();
    for method in catalogue.methods() {
        let cautions = catalogue.cautions(method);
        assert_eq!(cautions.len(), method.cautions.len());
        for caution in cautions {
            assert!(
                caution.text.ends_with("the practice of licensed trades come before this text."),
                "{}: {}",
                caution.id,
                caution.text
            );
        }
        let pack = ["hot_pack", "charge_place"].iter().filter(|id| method.cautions.iter().any(|c| c == *id));
        assert!(pack.count() >= 1, "{} says nothing about the pack", method.reference());
    }
}

#[test]
fn a_form_asks_at_the_level_where_things_are_known() {
    let catalogue = catalogue();
    let method = catalogue.method(&reference("screw-drive-time")).unwrap();
    let ids = |level| -> Vec<&str> {
        catalogue.required_at(method, level).iter().map(|field| field.id.as_str()).collect()
    };
    assert!(ids(Level::Trial).contains(&"screw_diameter"));
    assert!(ids(Level::Arm).is_empty());
    assert_eq!(ids(Level::Charge), ["starting_state", "rest_after_charge", "pack_start_temperature"]);
    assert_eq!(ids(Level::Run), ["accessory_ref"]);
    let optional: Vec<&str> = catalogue
        .conditions_at(method, Level::Run)
        .iter()
        .filter(|(_, required)| !required)
        .map(|(field, _)| field.id.as_str())
        .collect();
    assert!(optional.contains(&"runs_since_charge") && optional.contains(&"accessory_use_count"));
    for structural in ["specimen_ref", "tool_ref", "end_criterion"] {
        assert!(method.requires(structural));
        assert!(matches!(catalogue.field(structural).unwrap().entered, Entered::Structure(_)));
    }
    assert!(method.uses_tool() && method.requires_tool());
    assert!(!catalogue.method(&reference("discharge-capacity")).unwrap().uses_tool());
}

/// Limits are kept in the canonical unit whatever unit people think in: 30 days of rest are 2 592 000 s.
#[test]
fn limits_are_in_canonical_units() {
    let catalogue = catalogue();
    let measure = |id: &str| catalogue.field(id).unwrap().measure.clone().unwrap();
    let rest = measure("rest_after_charge");
    assert_eq!((rest.unit.as_str(), rest.shown_in()), ("s", "min"));
    assert_eq!((rest.soft.min, rest.soft.max, rest.hard.max), (3600.0, 4.0 * 3600.0, 30.0 * 86_400.0));
    let storage = measure("storage_time");
    assert_eq!((storage.shown_in(), storage.soft.min), ("d", 28.0 * 86_400.0));
    let emissivity = measure("emissivity");
    assert_eq!((emissivity.unit.as_str(), emissivity.hard.max, emissivity.soft.min), ("%", 100.0, 90.0));
}

/// Mean densities in kg/m3 as read in secondary tables: EN 338 gives C16 370, C24 420, D30 640, D40 700; EN 14080:2013
/// gives `GL24h` 420, `GL28h` 460, `GL30h` 480.
#[test]
fn densities_in_labels_are_the_published_ones() {
    let catalogue = catalogue();
    for (id, density) in [
        ("softwood_C16", 370),
        ("softwood_C24", 420),
        ("hardwood_D30", 640),
        ("hardwood_D40", 700),
        ("glulam_GL24h", 420),
        ("glulam_GL28h", 460),
        ("glulam_GL30h", 480),
    ] {
        let label = &catalogue.choice("workpiece_class", id).unwrap().label;
        assert!(label.contains(&format!("{density} kg/m3")), "{label}");
    }
}

#[test]
fn families_keep_unlike_workpieces_apart() {
    let catalogue = catalogue();
    assert_eq!(catalogue.family("workpiece_class", "softwood_C24"), Some("timber"));
    assert_eq!(catalogue.family("workpiece_class", "roundwood_green"), Some("roundwood"));
    assert_eq!(catalogue.family("workpiece_class", "osb"), Some("panel"));
    assert_eq!(catalogue.family("workpiece_class", "other"), None);
    assert!(catalogue.choice("workpiece_class", "other").unwrap().text_needed);
    assert_eq!(catalogue.family("workpiece_class", "cheese"), None);
}

#[test]
fn zero_work_is_judged_by_its_end() {
    use EndCriterion::{ElectronicsCutoff, ManualStop, SafetyAbort, TargetReached, ThermalCutout, ToolStall};
    let catalogue = catalogue();
    let cuts = catalogue.method(&reference("cuts-per-charge")).unwrap();
    for end in EndCriterion::ALL {
        let zero = cuts.outcome(*end, Some(0.0));
        match end {
            ElectronicsCutoff | ToolStall => assert_eq!(zero, Ok(Outcome::FailedAtLoad)),
            ManualStop => assert_eq!(zero, Ok(Outcome::Excluded)),
            _ => {
                let message = zero.unwrap_err().message();
                assert!(message.contains(end.id()) && message.contains("tool_stall"), "{message}");
            }
        }
        assert_eq!(cuts.outcome(*end, Some(33.0)), Ok(cuts.end(*end)));
    }
    assert_eq!(cuts.outcome(ManualStop, Some(60.0)), Ok(Outcome::RightCensored));
    assert_eq!(cuts.outcome(SafetyAbort, None), Ok(Outcome::RecordedNotAnalysed));
    assert!(cuts.outcome(ElectronicsCutoff, None).is_err(), "a count that was forgotten is no failure");

    let screw = catalogue.method(&reference("screw-drive-time")).unwrap();
    assert_eq!(screw.outcome(ToolStall, Some(4.0)), Ok(Outcome::RightCensored));
    assert_eq!(screw.outcome(ToolStall, None), Ok(Outcome::FailedAtLoad));
    assert_eq!(screw.outcome(ThermalCutout, None), Ok(Outcome::FailedAtLoad));
    assert!(screw.outcome(TargetReached, None).is_err());
    assert_eq!(screw.outcome(ManualStop, None), Ok(Outcome::Excluded));
}

#[test]
fn common_sizes_keep_off_the_edges() {
    let catalogue = catalogue();
    let screw = catalogue.method(&reference("screw-drive-time")).unwrap();
    assert_eq!(screw.bin_of("screw_diameter", 6.0).as_deref(), Some("5.3 to 6.75 mm"));
    assert_eq!(screw.bin_of("screw_diameter", 10.0).as_deref(), Some("8.75 to 11.3 mm"));
    assert_eq!(screw.bin_of("drive_depth", 100.0).as_deref(), Some("73 to 125 mm"));
    assert_eq!(screw.bin_of("ambient_temperature", 25.0).as_deref(), Some("25 to 35 °C"));
    assert_eq!(
        screw.bins("ambient_temperature"),
        ["below 10 °C", "10 to 25 °C", "25 to 35 °C", "35 °C and above"]
    );
    let cuts = catalogue.method(&reference("cuts-per-charge")).unwrap();
    assert_eq!(cuts.bin_of("cut_area", 65.25).as_deref(), Some("46 to 92 cm²"));
    let capacity = catalogue.method(&reference("discharge-capacity")).unwrap();
    assert_eq!(capacity.bins("c_rate"), ["0.1 to 0.3 It", "0.3 to 1.5 It", "1.5 to 30 It"]);
    assert_eq!(capacity.bin_of("c_rate", 0.05), None);

    // A size measured 2 % off stays in its bin; sizes as they are sold, common practice, no source.
    for (method, band, sizes) in [
        (screw, "screw_diameter", &[3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.3, 7.5, 8.0, 10.0, 12.0][..]),
        (
            screw,
            "drive_depth",
            &[30.0, 40.0, 45.0, 50.0, 60.0, 70.0, 80.0, 100.0, 120.0, 160.0, 200.0, 240.0],
        ),
        (cuts, "cut_area", &[65.25, 144.0, 42.75, 50.0, 100.0, 33.82, 53.2]),
    ] {
        for size in sizes {
            let bin = method.bin_of(band, *size);
            for off in [0.98, 1.02] {
                assert_eq!(method.bin_of(band, size * off), bin, "{band} {size}");
            }
        }
        let widest = method.band(band).unwrap();
        let factor = widest.factor.unwrap();
        for pair in widest.edges.windows(2) {
            let width = pair[1] / pair[0];
            assert!((0.9..=1.1).contains(&(width / factor)), "{band}: {pair:?} spans {width}, not {factor}");
        }
    }
}

#[test]
fn scatter_is_that_of_the_work_or_the_widest() {
    let catalogue = catalogue();
    let screw = catalogue.method(&reference("screw-drive-time")).unwrap();
    assert_eq!(screw.scatter_upper_end(&keys(&[("workpiece_family", "timber")])), Some(0.12));
    assert_eq!(screw.scatter_upper_end(&keys(&[("workpiece_family", "panel")])), Some(0.10));
    assert_eq!(screw.scatter_upper_end(&keys(&[("workpiece_family", "metal")])), Some(0.12));
    let capacity = catalogue.method(&reference("discharge-capacity")).unwrap();
    assert_eq!(capacity.scatter_upper_end(&keys(&[("load_mode", "constant_current")])), Some(0.01));
}

#[test]
fn normalisations_are_allowed_or_refused_with_a_reason() {
    let catalogue = catalogue();
    let screw = catalogue.method(&reference("screw-drive-time")).unwrap();
    assert_eq!(screw.permits(Normalisation::PerKgOnRate), Ok(()));
    let why = screw.permits(Normalisation::PerMeasuredAh).unwrap_err();
    assert!(why.starts_with("a time per ampere-hour"), "{why}");
    assert_eq!(screw.permits(Normalisation::TimesRatedAh), Err("the method does not list it"));
    let cuts = catalogue.method(&reference("cuts-per-charge")).unwrap();
    assert_eq!(cuts.permits(Normalisation::PerPrice), Ok(()));
    let capacity = catalogue.method(&reference("discharge-capacity")).unwrap();
    assert!(capacity.permits(Normalisation::PerMeasuredAh).is_err());
    assert!(capacity.pools_levels && !cuts.pools_levels);
}

fn conditions(choices: &[(&str, &str)], numbers: &[(&str, f64)]) -> Conditions {
    let chosen = choices.iter().map(|(id, choice)| ((*id).to_owned(), Value::Choice((*choice).to_owned())));
    let measured = numbers.iter().map(|(id, mm)| {
        ((*id).to_owned(), Value::Quantity(Quantity::from_canonical(Dimension::Length, *mm).expect("finite")))
    });
    chosen.chain(measured).collect()
}

/// The figures come from the motor model that the source names; classes from their edges.
#[test]
fn known_works_have_a_power_and_unknown_ones_none() {
    let catalogue = catalogue();
    let screw = reference("screw-drive-time").id;
    let given =
        conditions(&[("workpiece_class", "softwood_C24")], &[("screw_diameter", 6.0), ("drive_depth", 95.0)]);
    let power = catalogue.assumed_power(&screw, Some("impact_driver"), &given).unwrap();
    assert_eq!((power.watt, catalogue.demand_class(power.watt)), (300.0, Some("d2")));
    assert!(power.source.contains("common practice, no source"), "{}", power.source);
    assert_eq!(catalogue.assumed_power(&screw, Some("jigsaw"), &given), None);
    assert_eq!(catalogue.assumed_power(&screw, None, &given), None);
    let brick = conditions(&[("workpiece_class", "brick_solid")], &[("screw_diameter", 6.0)]);
    assert_eq!(catalogue.assumed_power(&screw, Some("impact_driver"), &brick), None);

    let cuts = reference("cuts-per-charge").id;
    let post =
        conditions(&[("workpiece_class", "hardwood_D30")], &[("cut_width", 120.0), ("cut_height", 120.0)]);
    let power = catalogue.assumed_power(&cuts, Some("chain_saw"), &post).unwrap();
    assert_eq!((power.watt, catalogue.demand_class(power.watt)), (950.0, Some("d4")));
    let board =
        conditions(&[("workpiece_class", "softwood_C24")], &[("cut_width", 145.0), ("cut_height", 45.0)]);
    assert_eq!(catalogue.assumed_power(&cuts, Some("circular_saw"), &board).map(|p| p.watt), Some(730.0));
}

#[test]
fn demand_classes_meet_at_their_edges() {
    let catalogue = catalogue();
    for (watt, class) in [
        (0.0, Some("d1")),
        (199.9, Some("d1")),
        (200.0, Some("d2")),
        (500.0, Some("d3")),
        (799.0, Some("d3")),
        (800.0, Some("d4")),
        (5000.0, Some("d4")),
        (-1.0, None),
        (f64::NAN, None),
    ] {
        assert_eq!(catalogue.demand_class(watt), class, "{watt} W");
    }
}

#[test]
fn sentences_tell_what_the_predicates_decide() {
    let catalogue = catalogue();
    let sentences = |id: &str| -> Vec<String> {
        let method: &Method = catalogue.method(&reference(id)).unwrap();
        [catalogue.same_within_trial(method), catalogue.pooled_by(method)].concat()
    };
    let screw = sentences("screw-drive-time");
    for due in [
        "Same for every pack: tool; gear, speed step, mode; piece or batch; screw; screw diameter; screw length; driven \
         depth; pilot hole diameter",
        "Same bit, blade or chain for every pack, or ones of the same type that have done as much work",
        "Same family of workpiece: timber, roundwood, dowel, hedge, panel, composite, masonry, metal",
        "Only contrasts between packs of one trial are pooled, never levels",
    ] {
        assert!(screw.iter().any(|line| line == due), "{due} is not in {screw:#?}");
    }
    assert!(screw.iter().any(|line| line.contains("or within a factor 1.3 of a centre")), "{screw:#?}");
    let capacity = sentences("discharge-capacity");
    for due in [
        "Load current over rated capacity: alike within 5 %",
        "Cut-off voltage set per series cell: alike within 0.1 V",
        "Same in all trials: load mode",
        "Contrasts between packs of one trial are pooled, and levels too",
    ] {
        assert!(capacity.iter().any(|line| line == due), "{due} is not in {capacity:#?}");
    }
}
