//! Every spelling with more than one meaning: what the tester is told, through the door. None is guessed.

use benchring_api::v1;
use benchring_tests::{Ring, by};
use tonic_types::StatusExt as _;

use crate::made::{check, refusals, runs, set_typed, trial, typed};

/// Where a text is typed.
#[derive(Debug, Clone, Copy)]
enum Place {
    /// The reading of a method.
    Reading(&'static str),
    /// A field of a method.
    Field(&'static str, &'static str),
    /// A number of a pack model.
    Pack(&'static str),
}
use Place::{Field, Pack, Reading};

const TIME: Place = Reading("screw-drive-time");
const LENGTH: Place = Field("screw-drive-time", "drive_depth");
const AIR: Place = Field("screw-drive-time", "ambient_temperature");
const TORQUE: Place = Reading("peak-torque");

/// Text, place, and words of the refusal; none where it is taken.
const TABLE: &[(&str, Place, &[&str])] = &[
    (
        "2.6 m",
        TIME,
        &["metre, a minute or the prefix milli", "write min", "2.6 minutes (min) or 2.6 milliseconds (ms)?"],
    ),
    ("0.1 m", LENGTH, &[]),
    ("5 m", Pack("mass"), &["metre", "write kg"]),
    ("4 \"", LENGTH, &["inch or a second", "4 inches (in) or 4 seconds (s)?"]),
    ("1 '", LENGTH, &["foot or a minute", "1 feet (ft) or 1 minutes (min)?"]),
    ("4 in", LENGTH, &[]),
    ("in 4", LENGTH, &["number"]),
    ("18000 C", Pack("rated_capacity"), &[]),
    ("20 C", AIR, &[]),
    ("5 C", LENGTH, &["coulomb, a degree Celsius or a C-rate", "write mm"]),
    ("5 c", LENGTH, &["centi", "write the whole unit"]),
    ("68 F", AIR, &["farad or a degree Fahrenheit", "is it 68 °F?"]),
    ("68 °F", AIR, &[]),
    ("20 °", AIR, &["no temperature scale", "write °C or °F"]),
    ("20 deg", AIR, &["no temperature scale"]),
    ("50 nm", TORQUE, &["nanometre", "is it 50 newton-metres (Nm)?"]),
    ("50 Nm", TORQUE, &[]),
    ("1.4 lb", Pack("mass"), &[]),
    ("50 lb", TORQUE, &["without a lever arm", "50 ft-lb or 50 in-lb?"]),
    ("50 ft-lb", TORQUE, &[]),
    ("50 lb-ft", TORQUE, &[]),
    ("50 ft-lb", Reading("discharge-energy"), &["read as a torque only", "Wh"]),
    ("23 oz", Pack("mass"), &[]),
    ("50 oz-in", TORQUE, &["ounces are taken for a mass only"]),
    ("5 kg-cm", TORQUE, &["no torque as typed", "5 kgf·cm or 5 kgf·m?"]),
    ("5 kg/cm", TORQUE, &["no torque as typed"]),
    ("50 kgf·cm", TORQUE, &[]),
    ("5 A", Pack("rated_capacity"), &["which is a current", "does the label say 5 A? was 5 Ah meant?"]),
    ("5 Ahr", Pack("rated_capacity"), &[]),
    ("5 AH", Pack("rated_capacity"), &[]),
    ("5000 MAh", Pack("rated_capacity"), &["mega where milli may be meant", "write mAh or Ah"]),
    ("90 W/h", Pack("rated_energy"), &["a quotient where a product may be meant", "90 watt-hours (Wh)"]),
    ("0.09 kw/h", Pack("rated_energy"), &["quotient"]),
    ("90 W", Pack("rated_energy"), &["which is power", "write Wh"]),
    ("90 Wh", Reading("power-at-load"), &["which is energy", "write W"]),
    ("20 V max", Pack("nominal_voltage"), &["maximum voltage", "how many cells are in series?"]),
    ("60 MΩ", Reading("pulse-resistance"), &["mega where milli may be meant", "write mΩ"]),
    ("60 M ohm", Reading("pulse-resistance"), &["mega where milli may be meant"]),
    ("0R06", Reading("pulse-resistance"), &["resistor code", "mΩ"]),
    ("1:23", TIME, &["1:23"]),
    ("1,500 s", TIME, &["1,500", "1500"]),
    ("2,6 s", TIME, &[]),
    ("1-1/4 in", LENGTH, &[]),
    ("5/32", LENGTH, &["in"]),
    ("5/32 mm", LENGTH, &["in"]),
    ("#8", LENGTH, &["diameter"]),
    ("10 ga", LENGTH, &["gauge", "mm or in"]),
    ("2x4", LENGTH, &["38", "89", "measure"]),
    ("2x6", LENGTH, &["38", "140", "measure"]),
    ("20 $", Pack("mass"), &["ISO 4217"]),
    ("20 % faster", TIME, &["rate_gain", "time_reduction"]),
    ("20 % less time", TIME, &["rate_gain", "time_reduction"]),
];

async fn ask_pack(ring: &Ring, field: &str, text: &str) -> anyhow::Result<String> {
    let mut pack = v1::PackModel {
        maker: "K".into(),
        designation: "K5".into(),
        series_count: Some(5),
        label_voltage: Some(typed("18 V")),
        label_voltage_kind: v1::LabelVoltageKind::Nominal.into(),
        nominal_voltage: Some(typed("18 V")),
        rated_capacity: Some(typed("5.0 Ah")),
        ..Default::default()
    };
    let place = match field {
        "mass" => &mut pack.mass,
        "rated_capacity" => &mut pack.rated_capacity,
        "rated_energy" => &mut pack.rated_energy,
        "nominal_voltage" => &mut pack.nominal_voltage,
        other => panic!("{other}"),
    };
    *place = Some(typed(text));
    let request =
        v1::CreatePackModelRequest { pack_model: Some(pack), validate_only: true, ..Default::default() };
    Ok(match ring.packs().create_pack_model(by("tester-t01", request)).await {
        Ok(_) => String::new(),
        Err(status) => {
            let bad = status.get_details_bad_request().unwrap_or_else(|| panic!("{status:?}"));
            assert!(bad.field_violations.iter().all(|v| v.field.contains(field)), "{text}: {bad:?}");
            bad.field_violations.into_iter().map(|v| v.description).collect::<Vec<_>>().join("\n")
        }
    })
}

async fn ask_trial(ring: &Ring, method: &str, field: Option<&str>, text: &str) -> anyhow::Result<String> {
    let mut trial = trial(method);
    match field {
        Some(field) => set_typed(&mut trial, field, text),
        None => runs(&mut trial).take(1).for_each(|run| run.reading = Some(typed(text))),
    }
    Ok(refusals(&check(ring, trial).await?))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_spelling_with_two_meanings_is_told_with_what_to_write() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut wrong = Vec::new();
    for (text, place, words) in TABLE {
        let told = match place {
            Reading(method) => ask_trial(&ring, method, None, text).await?,
            Field(method, field) => ask_trial(&ring, method, Some(field), text).await?,
            Pack(field) => ask_pack(&ring, field, text).await?,
        };
        let taken = words.is_empty();
        if taken != told.is_empty() || !words.iter().all(|word| told.contains(word)) {
            wrong.push(format!("{text} at {place:?}, due {words:?}: {told}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn habitual_spellings_of_the_ampere_hour_are_echoed_in_one() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let mut pack = v1::PackModel {
        maker: "K".into(),
        designation: "K5".into(),
        series_count: Some(5),
        label_voltage: Some(typed("18 V")),
        label_voltage_kind: v1::LabelVoltageKind::Nominal.into(),
        nominal_voltage: Some(typed("18 V")),
        ..Default::default()
    };
    for text in ["5 Ahr", "5 AH", "5 ah"] {
        pack.rated_capacity = Some(typed(text));
        let request = v1::CreatePackModelRequest {
            pack_model: Some(pack.clone()),
            validate_only: true,
            ..Default::default()
        };
        let kept = ring.packs().create_pack_model(by("tester-t01", request)).await?.into_inner();
        let capacity = kept.rated_capacity.unwrap();
        assert_eq!((capacity.as_written.as_str(), capacity.canonical_unit.as_str()), (text, "A.h"));
        assert_eq!(capacity.canonical_value, Some(5.0));
    }
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn money_needs_its_code_and_a_date_is_year_first() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for (currency, date, field, word) in
        [("$", "2026-03-02", "price.currency", "ISO 4217"), ("EUR", "02/03/26", "price.date", "ISO 8601")]
    {
        let price = v1::Price {
            amount: "129.90".into(),
            currency: currency.into(),
            date: date.into(),
            region: "SE".into(),
        };
        let pack = v1::PackModel {
            maker: "K".into(),
            designation: "K5".into(),
            series_count: Some(5),
            label_voltage: Some(typed("18 V")),
            label_voltage_kind: v1::LabelVoltageKind::Nominal.into(),
            nominal_voltage: Some(typed("18 V")),
            rated_capacity: Some(typed("5.0 Ah")),
            price: Some(price),
            ..Default::default()
        };
        let request = v1::CreatePackModelRequest { pack_model: Some(pack), ..Default::default() };
        let status = ring.packs().create_pack_model(by("tester-t01", request)).await.unwrap_err();
        let bad = status.get_details_bad_request().unwrap();
        let told = bad.field_violations.iter().find(|v| v.field.ends_with(field));
        assert!(told.is_some_and(|v| v.description.contains(word)), "{bad:?}");
    }
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_concrete_class_is_chosen_and_no_temperature() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut class = trial("bore-time");
    crate::made::choose(&mut class, "workpiece_class", "C25");
    let told = refusals(&check(&ring, class).await?);
    assert!(told.contains("concrete_C25_30"), "{told}");
    let mut air = trial("bore-time");
    set_typed(&mut air, "ambient_temperature", "C25");
    assert!(!refusals(&check(&ring, air).await?).is_empty());
    ring.end().await
}

/// A value beyond a hard limit is refused, with the unit that would explain it.
#[tokio::test(flavor = "multi_thread")]
async fn a_refusal_offers_the_unit_that_would_explain_the_number() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for (field, text, offered) in [
        ("pack_start_temperature", "68 °C", "was 68 °F (20 °C) read?"),
        ("drive_depth", "4 mm", "or 4 in (101.6 mm) read?"),
    ] {
        let mut trial = trial("screw-drive-time");
        set_typed(&mut trial, field, text);
        let told = refusals(&check(&ring, trial).await?);
        assert!(told.contains(offered), "{text}: {told}");
    }
    ring.end().await
}
