//! Pack models, specimens and tool models: what is refused, what is asked.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::sync::LazyLock;

use benchring_domain::clock::Timestamp;
use benchring_domain::disclosure::Acquired;
use benchring_domain::finding::{Finding, FindingKind};
use benchring_domain::id::{PackModelId, PackSpecimenId, TesterId, ToolModelId};
use benchring_domain::method::Catalogue;
use benchring_domain::pack::{LabelVoltageKind, PackModel, PackModelDraft, PackSpecimen, PackSpecimenDraft};
use benchring_domain::price::PriceDraft;
use benchring_domain::tool::{Motor, ToolModel, ToolModelDraft};
use benchring_domain::trial::QuantityDraft;
use benchring_domain::violation::Violations;
use proptest::prelude::*;

static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().expect("sound"));

fn now() -> Timestamp {
    "2026-03-02T12:00:00Z".parse().expect("a time")
}

fn value(value: f64, unit: &str) -> QuantityDraft {
    QuantityDraft { value: Some(value), unit: unit.into(), as_written: String::new() }
}

/// An invented pack of ten 21700 cells.
fn pack() -> PackModelDraft {
    PackModelDraft {
        maker: "Invented maker".into(),
        designation: "K8".into(),
        aliases: vec!["K8-EU".into()],
        region: "SE".into(),
        chemistry: "nmc".into(),
        cell_format: "cylindrical_21700".into(),
        series_count: Some(5),
        parallel_count: Some(2),
        label_voltage: Some(value(18.0, "V")),
        label_voltage_kind: Some(LabelVoltageKind::Nominal),
        nominal_voltage: Some(value(18.0, "V")),
        rated_capacity: Some(value(8000.0, "mAh")),
        rated_energy: Some(value(144.0, "Wh")),
        mass: Some(value(1050.0, "g")),
        length: Some(value(14.0, "cm")),
        width: Some(value(80.0, "mm")),
        height: Some(value(75.0, "mm")),
        price: Some(PriceDraft {
            amount: "149.90".into(),
            currency: "EUR".into(),
            date: "2026-01-15".into(),
            region: "SE".into(),
        }),
        max_discharge_current: Some(value(60.0, "A")),
    }
}

fn check(change: impl FnOnce(&mut PackModelDraft)) -> Result<(PackModel, Vec<Finding>), Violations> {
    let mut draft = pack();
    change(&mut draft);
    draft.check(PackModelId::parse("k8").expect("an id"), &CATALOGUE, now())
}

fn refused<T: std::fmt::Debug>(checked: Result<T, Violations>) -> (String, &'static str, String) {
    let broken = checked.expect_err("has to be refused");
    let [one] = broken.as_slice() else { panic!("{broken}") };
    (one.field.clone(), one.reason, one.message.clone())
}

fn asked(change: impl FnOnce(&mut PackModelDraft)) -> Vec<Finding> {
    check(change).unwrap().1
}

#[test]
fn a_sound_pack_is_taken_without_a_question() {
    let (model, findings) = check(|_| {}).unwrap();
    assert_eq!(findings, []);
    assert!((model.rated_capacity.canonical() - 8.0).abs() < 1e-12);
    assert!((model.volume_l().unwrap() - 0.84).abs() < 1e-12);
}

#[test]
fn least_is_needed() {
    let broken =
        PackModelDraft::default().check(PackModelId::parse("k8").unwrap(), &CATALOGUE, now()).unwrap_err();
    let fields: Vec<_> = broken.as_slice().iter().map(|v| (v.field.as_str(), v.reason)).collect();
    let due = [
        "maker",
        "designation",
        "series_count",
        "label_voltage_kind",
        "label_voltage",
        "nominal_voltage",
        "rated_capacity",
    ];
    assert_eq!(fields, due.map(|field| (field, "REQUIRED")));
}

type Change<T> = fn(&mut T);

#[test]
fn every_rule_refuses_by_its_path() {
    let cases: &[(Change<PackModelDraft>, &str, &str, &str)] = &[
        (|p| p.maker = " ".into(), "maker", "REQUIRED", "1 to 80"),
        (|p| p.designation = "x".repeat(81), "designation", "TEXT_TOO_LONG", "81"),
        (|p| p.maker = "a\u{0}".into(), "maker", "CONTROL_CHARACTER", "U+0000"),
        (|p| p.aliases = vec!["k".into(); 21], "aliases", "TOO_MANY", "21"),
        (|p| p.aliases.push(String::new()), "aliases[1]", "REQUIRED", "alias"),
        (|p| p.region = "Sweden".into(), "region", "NOT_A_REGION", "`Sweden`"),
        (|p| p.chemistry = "ncm".into(), "chemistry", "UNKNOWN_CHOICE", "choose nmc, nca"),
        (|p| p.cell_format = "21700".into(), "cell_format", "UNKNOWN_CHOICE", "cylindrical_21700"),
        (|p| p.series_count = Some(0), "series_count", "OUT_OF_LIMITS", "0 is below 1"),
        (|p| p.parallel_count = Some(13), "parallel_count", "OUT_OF_LIMITS", "13 is above 12"),
        (
            |p| p.rated_capacity = Some(value(8.0, "A")),
            "rated_capacity.unit",
            "UNIT_OF_OTHER_DIMENSION",
            "was 8 Ah meant?",
        ),
        (|p| p.rated_capacity = Some(value(8.0, "Ahh")), "rated_capacity.unit", "UNIT_UNKNOWN", "Ahh"),
        (|p| p.rated_energy = Some(value(144.0, "W")), "rated_energy.unit", "UNIT_OF_OTHER_DIMENSION", "W"),
        (|p| p.rated_capacity = Some(value(61.0, "Ah")), "rated_capacity.value", "OUT_OF_LIMITS", "60 A·h"),
        (|p| p.mass = Some(value(40.0, "g")), "mass.value", "OUT_OF_LIMITS", "40 g (0.04 kg)"),
        (|p| p.length = Some(value(f64::NAN, "mm")), "length.value", "NOT_FINITE", "NaN"),
        (|p| p.label_voltage_kind = None, "label_voltage_kind", "REQUIRED", "maximum"),
        (|p| p.price.as_mut().unwrap().currency = "kr".into(), "price.currency", "NOT_A_CURRENCY", "kr"),
        (|p| p.price.as_mut().unwrap().date = "2026-03-04".into(), "price.date", "TIME_AHEAD", "2026-03-04"),
        // Centimetres typed as millimetres on one side.
        (|p| p.length = Some(value(14.0, "mm")), "length", "OUT_OF_LIMITS", "600"),
    ];
    for (change, field, reason, said) in cases {
        let (found, why, message) = refused(check(change));
        assert_eq!((found.as_str(), why), (*field, *reason), "{message}");
        assert!(message.contains(said), "`{said}` is not in: {message}");
    }
}

#[test]
fn limits_hold_at_their_very_ends() {
    for amount in [0.2, 60.0] {
        assert!(check(|p| p.rated_capacity = Some(value(amount, "Ah"))).is_ok(), "{amount}");
    }
    for amount in [0.199, 60.1] {
        assert!(check(|p| p.rated_capacity = Some(value(amount, "Ah"))).is_err(), "{amount}");
    }
    assert!(check(|p| p.price.as_mut().unwrap().date = "2026-03-03".into()).is_ok());
    assert!(check(|p| p.aliases = vec!["k".into(); 20]).is_ok());
}

#[test]
fn an_energy_of_the_maximum_voltage_is_asked_about() {
    for (energy, cause) in [(160.0, "maximum voltage"), (168.0, "charged voltage"), (518.4, "kilojoules")] {
        let findings = asked(|p| {
            p.rated_energy = Some(value(energy, "Wh"));
            (p.mass, p.length) = (None, None);
        });
        let [one] = findings.as_slice() else { panic!("{findings:?}") };
        assert_eq!((one.kind, one.field.as_str()), (FindingKind::Inconsistent, "rated_energy"));
        assert!(one.message.contains(cause), "{}", one.message);
        assert_eq!(one.suggestion, "144 W·h");
        assert!(one.asks());
    }
    assert_eq!(asked(|p| p.rated_energy = Some(value(146.0, "Wh"))), []);
}

#[test]
fn a_maximum_voltage_stored_as_nominal_is_asked_about() {
    let findings = asked(|p| {
        p.nominal_voltage = Some(value(20.0, "V"));
        p.rated_energy = None;
    });
    let [one] = findings.as_slice() else { panic!("{findings:?}") };
    assert_eq!((one.field.as_str(), one.suggestion.as_str()), ("nominal_voltage", "18 V"));
    assert!(
        one.message.contains("for each cell, is 4 V") && one.message.contains("charged voltage"),
        "{}",
        one.message
    );
    for chemistry in ["lfp", "lto", "nimh"] {
        assert_eq!(asked(|p| p.chemistry = chemistry.into())[0].field, "nominal_voltage", "{chemistry}");
    }
    assert_eq!(asked(|p| p.chemistry = String::new()), []);
}

#[test]
fn what_the_label_voltage_means_is_asked_about() {
    let kind = |volt: f64, kind: LabelVoltageKind| {
        asked(|p| {
            p.label_voltage = Some(value(volt, "V"));
            p.label_voltage_kind = Some(kind);
        })
        .into_iter()
        .map(|finding| (finding.field, finding.suggestion))
        .collect::<Vec<_>>()
    };
    let asks = |suggestion: &str| vec![("label_voltage_kind".to_owned(), suggestion.to_owned())];
    assert_eq!(kind(20.0, LabelVoltageKind::Nominal), asks("maximum"));
    assert_eq!(kind(18.0, LabelVoltageKind::Maximum), asks("nominal"));
    assert_eq!(kind(20.0, LabelVoltageKind::Maximum), []);
    assert_eq!(kind(18.0, LabelVoltageKind::Nominal), []);
}

#[test]
fn mass_and_envelope_are_held_against_energy() {
    let mass = asked(|p| p.mass = Some(value(0.476, "kg")));
    assert!(mass[0].field == "mass" && mass[0].message.contains("pounds"), "{mass:?}");
    let envelope = asked(|p| p.length = Some(value(50.0, "mm")));
    assert!(envelope.len() == 1 && envelope[0].field == "length" && envelope[0].asks(), "{envelope:?}");
}

fn specimen(change: impl FnOnce(&mut PackSpecimenDraft)) -> Result<PackSpecimen, Violations> {
    let (model, _) = check(|_| {}).unwrap();
    let mut draft = PackSpecimenDraft {
        pack_model: "packModels/k8".into(),
        label: "K8 no. 2".into(),
        acquired: Some(Acquired::BoughtRetail),
        date_code: "2531".into(),
        first_use: "2025-11".into(),
        cycle_count: Some(12),
        cycle_count_counted: true,
        storage_history: "shelf at 20 °C,\nhalf full".into(),
    };
    change(&mut draft);
    let found = Some(&model).filter(|model| draft.referenced().as_ref() == Some(&model.id));
    draft.check(PackSpecimenId::parse("k8-2").unwrap(), TesterId::parse("t01").unwrap(), found, now())
}

#[test]
fn specimens_are_held_against_their_rules() {
    assert_eq!(specimen(|_| {}).unwrap().cycle_count, Some(12));
    let cases: &[(Change<PackSpecimenDraft>, &str, &str)] = &[
        (|s| s.pack_model.clear(), "pack_model", "REQUIRED"),
        (|s| s.pack_model = "k8".into(), "pack_model", "NOT_A_NAME"),
        (|s| s.pack_model = "packModels/k9".into(), "pack_model", "UNKNOWN_PACK_MODEL"),
        (|s| s.label = "x".repeat(81), "label", "TEXT_TOO_LONG"),
        (|s| s.acquired = None, "acquired", "REQUIRED"),
        (|s| s.first_use = "11/2025".into(), "first_use", "NOT_A_DATE"),
        (|s| s.first_use = "2025-13".into(), "first_use", "NOT_A_DATE"),
        (|s| s.first_use = "2026-04".into(), "first_use", "TIME_AHEAD"),
        (|s| s.first_use = "1990-12".into(), "first_use", "TIME_TOO_EARLY"),
        (|s| s.cycle_count = Some(-1), "cycle_count", "OUT_OF_LIMITS"),
        (|s| s.cycle_count = Some(10_001), "cycle_count", "OUT_OF_LIMITS"),
    ];
    for (change, field, reason) in cases {
        let (found, why, message) = refused(specimen(change));
        assert_eq!((found.as_str(), why), (*field, *reason), "{message}");
    }
    for (change, what) in [
        ((|s| s.first_use = "2026-03".into()) as Change<PackSpecimenDraft>, "this month"),
        (|s| s.cycle_count = Some(10_000), "most charges"),
        (|s| s.cycle_count = None, "charges not known"),
    ] {
        assert!(specimen(change).is_ok(), "{what}");
    }
}

fn tool(change: impl FnOnce(&mut ToolModelDraft)) -> Result<(ToolModel, Vec<Finding>), Violations> {
    let mut draft = ToolModelDraft {
        maker: "Invented maker".into(),
        designation: "ID18".into(),
        tool_type: "impact_driver".into(),
        rated_voltage: Some(value(18.0, "V")),
        no_load_speed: Some(value(3600.0, "rpm")),
        mass_without_pack: Some(value(1.1, "kg")),
        ..ToolModelDraft::default()
    };
    change(&mut draft);
    draft.check(ToolModelId::parse("id18").unwrap(), &CATALOGUE)
}

#[test]
fn tools_are_held_against_their_rules() {
    let (model, findings) = tool(|_| {}).unwrap();
    assert_eq!((model.motor, findings), (Motor::Unknown, vec![]));
    let cases: &[(Change<ToolModelDraft>, &str, &str, &str)] = &[
        (|t| t.tool_type.clear(), "tool_type", "REQUIRED", "impact_driver"),
        (
            |t| t.tool_type = "impact_drver".into(),
            "tool_type",
            "UNKNOWN_CHOICE",
            "did you mean `impact_driver`",
        ),
        (|t| t.maker.clear(), "maker", "REQUIRED", "maker"),
        (
            |t| t.no_load_speed = Some(value(3600.0, "Hz")),
            "no_load_speed.unit",
            "UNIT_OF_OTHER_DIMENSION",
            "Hz",
        ),
        (|t| t.rated_voltage = Some(value(230.0, "V")), "rated_voltage.value", "OUT_OF_LIMITS", "120 V"),
        (|t| t.pack_interface = "a\tb".into(), "pack_interface", "CONTROL_CHARACTER", "U+0009"),
    ];
    for (change, field, reason, said) in cases {
        let (found, why, message) = refused(tool(change));
        assert_eq!((found.as_str(), why), (*field, *reason), "{message}");
        assert!(message.contains(said), "`{said}` is not in: {message}");
    }
    assert_eq!(tool(|t| t.no_load_speed = Some(value(100.0, "rpm"))).unwrap().1.len(), 1);
}

fn any_quantity() -> impl Strategy<Value = Option<QuantityDraft>> {
    prop::option::of(
        (prop::option::of(any::<f64>()), "[a-zA-Z.]{0,3}", "[0-9]{0,3}[a-zA-Z]{0,3}")
            .prop_map(|(value, unit, as_written)| QuantityDraft { value, unit, as_written }),
    )
}

proptest! {
    #[test]
    fn no_draft_panics(
        texts in prop::array::uniform5(".{0,90}"),
        counts in (prop::option::of(any::<i32>()), prop::option::of(any::<i32>())),
        numbers in prop::array::uniform9(any_quantity()),
    ) {
        let [maker, designation, region, chemistry, alias] = texts;
        let [a, b, c, d, e, f, g, h, i] = numbers;
        let draft = PackModelDraft {
            maker, designation, region, chemistry,
            aliases: vec![alias],
            series_count: counts.0,
            parallel_count: counts.1,
            label_voltage: a, nominal_voltage: b, rated_capacity: c, rated_energy: d, mass: e,
            length: f, width: g, height: h, max_discharge_current: i,
            label_voltage_kind: Some(LabelVoltageKind::Maximum),
            ..pack()
        };
        if let Err(broken) = draft.check(PackModelId::parse("k8").unwrap(), &CATALOGUE, now()) {
            prop_assert!(!broken.is_empty());
        }
    }

    #[test]
    fn numbers_anywhere_are_told_apart_or_taken(
        volts in 0.1..150.0_f64, charge in 0.01..80.0_f64, energy in 0.1..4000.0_f64, kilos in 0.01..20.0_f64,
        sides in prop::array::uniform3(5.0..600.0_f64), series in 0..40_i32,
    ) {
        let checked = check(|p| {
            p.nominal_voltage = Some(value(volts, "V"));
            p.rated_capacity = Some(value(charge, "Ah"));
            p.rated_energy = Some(value(energy, "Wh"));
            p.mass = Some(value(kilos, "kg"));
            p.length = Some(value(sides[0], "mm"));
            p.width = Some(value(sides[1], "mm"));
            p.height = Some(value(sides[2], "mm"));
            p.series_count = Some(series);
        });
        match checked {
            Ok((_, findings)) => prop_assert!(findings.iter().all(|f| f.asks() && !f.message.contains("NaN"))),
            Err(broken) => prop_assert!(broken.as_slice().iter().all(|v| v.reason == "OUT_OF_LIMITS")),
        }
    }
}
