//! Spellings with more than one meaning, typed where a tester can type them: each is refused with what to write, or taken
//! with an echo of how it was understood. None is guessed.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture, json};
use tonic_types::StatusExt as _;

use crate::made;

use Place::{Choice, Condition, Pack, Price, Reading, Specimen};
use Told::{Refused, Taken};

/// Where it is typed.
#[derive(Clone, Copy, Debug)]
enum Place {
    /// The first reading of a trial by this method.
    Reading(&'static str),
    /// A field that screw-drive-time takes for the whole trial.
    Condition(&'static str),
    /// The same, of kind choice.
    Choice(&'static str),
    /// A quantity of a pack model, by its JSON name.
    Pack(&'static str),
    /// A part of the price of a pack model.
    Price(&'static str),
    /// A text of a pack specimen, by its JSON name.
    Specimen(&'static str),
}

/// What the tester is told.
#[derive(Clone, Copy, Debug)]
enum Told {
    /// Reason, and words of the message beside what was typed.
    Refused(&'static str, &'static [&'static str]),
    /// Canonical value and unit.
    Taken(f64, &'static str),
}

const SECONDS: Place = Reading("screw-drive-time");
const CAPACITY: Place = Pack("ratedCapacity");
const ENERGY: Place = Pack("ratedEnergy");
const TORQUE: Place = Reading("peak-torque");
const POWER: Place = Reading("power-at-load");
const RESISTANCE: Place = Reading("pulse-resistance");
const AIR: Place = Condition("ambient_temperature");
const DIAMETER: Place = Condition("screw_diameter");
const DEPTH: Place = Condition("drive_depth");

/// The spelling that is unclear, and what is typed where.
type Row = (&'static str, &'static [(&'static str, Place, Told)]);

const TABLE: &[Row] = &[
    (
        "m",
        &[
            ("2 m", SECONDS, Refused("UNIT_AMBIGUOUS", &["2 min (minutes) or 2 ms (milliseconds)?"])),
            ("2 m", Pack("mass"), Refused("UNIT_AMBIGUOUS", &["understood as metre", "kg"])),
            ("0.1 m", DEPTH, Taken(100.0, "mm")),
        ],
    ),
    (
        "inch mark",
        &[
            ("6 \"", DIAMETER, Refused("UNIT_AMBIGUOUS", &["inch or a second", "is it 6 in?"])),
            ("2.6\"", SECONDS, Refused("UNIT_AMBIGUOUS", &["inch or a second", "is it 2.6 s?"])),
        ],
    ),
    (
        "foot mark",
        &[
            ("1'", DEPTH, Refused("UNIT_AMBIGUOUS", &["foot or a minute", "is it 1 ft?"])),
            ("1'", SECONDS, Refused("UNIT_AMBIGUOUS", &["foot or a minute", "is it 1 min?"])),
        ],
    ),
    (
        "in",
        &[
            ("4 in", DEPTH, Taken(101.6, "mm")),
            ("4In", DEPTH, Taken(101.6, "mm")),
            ("in 4", DEPTH, Refused("NUMBER_MISSING", &["number first, then its unit"])),
        ],
    ),
    (
        "C",
        &[
            ("18 C", AIR, Taken(18.0, "Cel")),
            ("18000 C", CAPACITY, Taken(5.0, "A.h")),
            ("18 C", SECONDS, Refused("UNIT_AMBIGUOUS", &["coulomb", "degree Celsius", "C-rate"])),
            (
                "5 C",
                Reading("temperature-rise"),
                Refused("UNIT_AMBIGUOUS", &["difference of two", "write 5 K"]),
            ),
        ],
    ),
    ("c", &[("18 c", AIR, Refused("UNIT_AMBIGUOUS", &["centi", "°C"]))]),
    (
        "F",
        &[
            ("64.4 F", AIR, Refused("UNIT_AMBIGUOUS", &["farad", "write °F or degF", "64.4 °F?"])),
            ("64.4 °F", AIR, Taken(18.0, "Cel")),
        ],
    ),
    (
        "degrees",
        &[
            ("18 °", AIR, Refused("UNIT_AMBIGUOUS", &["scale", "write °C or °F"])),
            ("18 deg", AIR, Refused("UNIT_AMBIGUOUS", &["scale", "write °C or °F"])),
        ],
    ),
    ("nm", &[("60 nm", TORQUE, Refused("UNIT_AMBIGUOUS", &["nanometre", "60 newton-metres (Nm)?"]))]),
    (
        "lb",
        &[
            ("1.5 lbs", Pack("mass"), Taken(0.680_388_555, "kg")),
            ("45 lb", TORQUE, Refused("UNIT_AMBIGUOUS", &["45 ft-lb or 45 in-lb?"])),
        ],
    ),
    (
        "ft-lb",
        &[("66 ft-lb", ENERGY, Refused("UNIT_OF_OTHER_DIMENSION", &["torque only", "Wh, kWh, J or kJ"]))],
    ),
    (
        "oz",
        &[
            ("24 oz", Pack("mass"), Taken(0.680_388_555, "kg")),
            ("80 oz", TORQUE, Refused("UNIT_OF_OTHER_DIMENSION", &["mass only", "N·m"])),
            ("80 oz-in", TORQUE, Refused("UNIT_OF_OTHER_DIMENSION", &["mass only", "N·m"])),
        ],
    ),
    (
        "kg in torque",
        &[
            ("6 kg", TORQUE, Refused("UNIT_AMBIGUOUS", &["6 kgf·cm or 6 kgf·m?"])),
            ("600 kg-cm", TORQUE, Refused("UNIT_AMBIGUOUS", &["kgf·cm or kgf·m", "100 apart"])),
            ("600 kg/cm", TORQUE, Refused("UNIT_AMBIGUOUS", &["kgf·cm or kgf·m", "100 apart"])),
        ],
    ),
    (
        "A for a capacity",
        &[("4.0 A", CAPACITY, Refused("UNIT_OF_OTHER_DIMENSION", &["a current", "4.0 Ah meant?"]))],
    ),
    (
        "Ahr",
        &[
            ("5.0 Ahr", CAPACITY, Taken(5.0, "A.h")),
            ("5.0 AH", CAPACITY, Taken(5.0, "A.h")),
            ("5.0 ah", CAPACITY, Taken(5.0, "A.h")),
        ],
    ),
    ("MAh", &[("5000 MAh", CAPACITY, Refused("UNIT_AMBIGUOUS", &["mega", "write mAh or Ah"]))]),
    (
        "W/h",
        &[
            ("90 W/h", ENERGY, Refused("UNIT_AMBIGUOUS", &["quotient", "90 watt-hours (Wh)"])),
            ("0.09 kw/h", ENERGY, Refused("UNIT_AMBIGUOUS", &["quotient", "Wh or kWh"])),
            ("600 W/h", POWER, Refused("UNIT_AMBIGUOUS", &["watts per hour", "write W or kW"])),
        ],
    ),
    (
        "W for an energy",
        &[
            ("90 W", ENERGY, Refused("UNIT_OF_OTHER_DIMENSION", &["power", "write Wh"])),
            ("600 Wh", POWER, Refused("UNIT_OF_OTHER_DIMENSION", &["energy", "write W"])),
        ],
    ),
    (
        "V max",
        &[
            (
                "20 V max",
                Pack("labelVoltage"),
                Refused("UNIT_AMBIGUOUS", &["nominal voltage", "how many cells are in series?"]),
            ),
            (
                "20 V MAX",
                Pack("nominalVoltage"),
                Refused("UNIT_AMBIGUOUS", &["not the nominal one", "how many cells are in series?"]),
            ),
        ],
    ),
    (
        "M ohm",
        &[
            ("50 MΩ", RESISTANCE, Refused("UNIT_AMBIGUOUS", &["mega", "write mΩ"])),
            ("50 M ohm", RESISTANCE, Refused("UNIT_AMBIGUOUS", &["mega", "write mΩ"])),
        ],
    ),
    (
        "0R05",
        &[
            ("0R05", RESISTANCE, Refused("RESISTOR_CODE", &["50 mΩ"])),
            ("0.05 R", RESISTANCE, Refused("RESISTOR_CODE", &["mΩ or Ω"])),
        ],
    ),
    (
        "1:23",
        &[
            ("1:23", SECONDS, Refused("TIME_PATTERN", &["(h:min)", "(min:s)?"])),
            ("0:03 min:s", SECONDS, Taken(3.0, "s")),
            ("1:23", DEPTH, Refused("TIME_PATTERN", &["times only", "decimal number"])),
        ],
    ),
    (
        "1,500",
        &[
            ("2,5 s", SECONDS, Taken(2.5, "s")),
            ("1.500 s", SECONDS, Refused("NUMBER_AMBIGUOUS", &["is it 1500, or 1 and a fraction?"])),
            ("1,500 s", SECONDS, Refused("NUMBER_AMBIGUOUS", &["is it 1500, or 1 and a fraction?"])),
        ],
    ),
    (
        "fractions",
        &[
            ("5/32 in", DIAMETER, Taken(3.968_75, "mm")),
            ("3-3/4 in", DEPTH, Taken(95.25, "mm")),
            ("5/32 cm", DIAMETER, Refused("FRACTION", &["inches only", "decimal number"])),
        ],
    ),
    (
        "#8",
        &[
            ("#8", DIAMETER, Refused("SCREW_NUMBER", &["nominal diameter, in mm or in?"])),
            ("No. 10", DIAMETER, Refused("SCREW_NUMBER", &["nominal diameter, in mm or in?"])),
            ("10 ga", DIAMETER, Refused("SCREW_NUMBER", &["nominal diameter, in mm or in?"])),
        ],
    ),
    (
        "2x4",
        &[
            ("2x4", DEPTH, Refused("NOMINAL_SIZE", &["38 x 89 mm", "measured width and height?"])),
            ("2x6", DEPTH, Refused("NOMINAL_SIZE", &["38 x 140 mm", "measured width and height?"])),
        ],
    ),
    (
        "currency signs",
        &[
            ("$", Price("currency"), Refused("NOT_A_CURRENCY", &["ISO 4217", "several currencies"])),
            ("kr", Price("currency"), Refused("NOT_A_CURRENCY", &["ISO 4217", "several currencies"])),
            ("£129", CAPACITY, Refused("PRICE", &["ISO 4217", "date"])),
        ],
    ),
    (
        "02/03/25",
        &[
            ("02/03/25", Price("date"), Refused("NOT_A_DATE", &["year-month-day", "2026-03-02"])),
            ("02/03/25", Specimen("firstUse"), Refused("NOT_A_DATE", &["year-month", "2025-11"])),
            ("02/03/25", SECONDS, Refused("DATE", &["ISO 8601"])),
        ],
    ),
    (
        "% faster",
        &[
            ("10 % faster", SECONDS, Refused("CLAIM", &["not a saving in time", "less time"])),
            ("10 % less time", Reading("self-discharge"), Refused("CLAIM", &["rate_gain"])),
        ],
    ),
    (
        "C25",
        &[
            ("C25", AIR, Refused("STRENGTH_CLASS", &["workpiece", "25 °C"])),
            ("C25", Choice("workpiece_class"), Refused("UNKNOWN_CHOICE", &["concrete_C25_30"])),
        ],
    ),
];

/// A violation: path, reason, message.
type Violation = (String, String, String);

fn told_by(status: &tonic::Status) -> Vec<Violation> {
    let bad = status.get_details_bad_request().unwrap_or_else(|| panic!("no violations: {status:?}"));
    bad.field_violations.into_iter().map(|v| (v.field, v.reason, v.description)).collect()
}

/// What came of typing it: the path where it is told about, the violations, and the quantity as it would be kept.
struct Outcome {
    path: String,
    violations: Vec<Violation>,
    kept: Option<v1::Quantity>,
}

async fn typed(ring: &Ring, text: &str, place: Place) -> anyhow::Result<Outcome> {
    match place {
        Reading(method) => {
            let mut trial = fixture("screw-drive-time", 1)?;
            trial.method = format!("methods/{method}/versions/1");
            trial.arms[0].charges[0].runs[0].reading = Some(made::typed(text));
            let (violations, kept) = checked(ring, trial).await?;
            let kept = kept.and_then(|trial| trial.arms[0].charges[0].runs[0].reading.clone());
            Ok(Outcome { path: "arms[0].charges[0].runs[0].reading".into(), violations, kept })
        }
        Condition(field) | Choice(field) => {
            use v1::condition::Value;
            let mut trial = fixture("screw-drive-time", 1)?;
            let at = trial.conditions.iter().position(|c| c.field == field).unwrap();
            let choice = matches!(place, Choice(_));
            let value = if choice { Value::Choice(text.into()) } else { Value::Quantity(made::typed(text)) };
            trial.conditions[at].value = Some(value);
            let (violations, kept) = checked(ring, trial).await?;
            let kept =
                kept.and_then(|trial| match &trial.conditions.iter().find(|c| c.field == field)?.value {
                    Some(Value::Quantity(quantity)) => Some(quantity.clone()),
                    _ => None,
                });
            let kind = if choice { "choice" } else { "quantity" };
            Ok(Outcome { path: format!("conditions[{at}].{kind}"), violations, kept })
        }
        Pack(field) => {
            let value = serde_json::json!({ "asWritten": text });
            let answer =
                posted(ring, "packModels", include_str!("../fixtures/pack-k5.json"), field, value).await?;
            let kept = answer.json()?[field].clone();
            let kept = (answer.status == 200).then(|| v1::Quantity {
                canonical_value: kept["canonicalValue"].as_f64(),
                canonical_unit: kept["canonicalUnit"].as_str().unwrap_or_default().into(),
                as_written: kept["asWritten"].as_str().unwrap_or_default().into(),
                ..Default::default()
            });
            Ok(Outcome { path: format!("/{field}/asWritten"), violations: pointed(&answer)?, kept })
        }
        Price(part) => {
            let mut price =
                serde_json::json!({"amount": "129", "currency": "SEK", "date": "2026-03-02", "region": "SE"});
            price[part] = text.into();
            let body = include_str!("../fixtures/pack-k5.json");
            let answer = posted(ring, "packModels", body, "price", price).await?;
            Ok(Outcome { path: format!("/price/{part}"), violations: pointed(&answer)?, kept: None })
        }
        Specimen(field) => {
            let body = r#"{"packModel":"packModels/k5","acquired":"ACQUIRED_BOUGHT_RETAIL"}"#;
            let answer = posted(ring, "packSpecimens", body, field, text.into()).await?;
            Ok(Outcome { path: format!("/{field}"), violations: pointed(&answer)?, kept: None })
        }
    }
}

/// Checks a trial; what a submission is refused for is told in the same words.
async fn checked(ring: &Ring, trial: v1::Trial) -> anyhow::Result<(Vec<Violation>, Option<v1::Trial>)> {
    let request = v1::CheckTrialRequest { trial: Some(trial.clone()) };
    let answer = ring.trials().check_trial(by("tester-t01", request)).await?.into_inner();
    let violations: Vec<_> = answer.violations.into_iter().map(|v| (v.field, v.reason, v.message)).collect();
    if let [(field, reason, message)] = &violations[..] {
        let request =
            v1::SubmitTrialRequest { trial: Some(trial), validate_only: true, ..Default::default() };
        let refused = ring.trials().submit_trial(by("tester-t01", request)).await.unwrap_err();
        assert_eq!(told_by(&refused), [(format!("trial.{field}"), reason.clone(), message.clone())]);
    }
    Ok((violations, answer.trial))
}

async fn posted(
    ring: &Ring,
    collection: &str,
    body: &str,
    field: &str,
    value: serde_json::Value,
) -> anyhow::Result<json::Answer> {
    let mut body: serde_json::Value = serde_json::from_str(body)?;
    body[field] = value;
    let client = json::Client::new(ring.address());
    client.post(&format!("/v1/{collection}?validateOnly=true"), Some("tester-t01"), &body.to_string()).await
}

/// The violations of a problem, by the pointer into the body that was sent.
fn pointed(answer: &json::Answer) -> anyhow::Result<Vec<Violation>> {
    let body = answer.json()?;
    let text = |value: &serde_json::Value| value.as_str().unwrap_or_default().to_owned();
    let errors = body["errors"].as_array().cloned().unwrap_or_default();
    Ok(errors.iter().map(|e| (text(&e["pointer"]), text(&e["reason"]), text(&e["detail"]))).collect())
}

/// What is not as the row says.
fn wrong(text: &str, told: Told, outcome: &Outcome) -> Option<String> {
    let Outcome { path, violations, kept } = outcome;
    match told {
        Refused(reason, words) => {
            let here: Vec<_> = violations.iter().filter(|v| v.0.starts_with(path.as_str())).collect();
            let [(_, code, message)] = &here[..] else {
                return Some(format!("told {here:?} at {path}, of {violations:?}"));
            };
            let says = |word: &&str| message.contains(*word);
            let well = code == reason && says(&text) && words.iter().all(says) && !message.ends_with('.');
            (!well).then(|| format!("{code}: {message}"))
        }
        Taken(canonical, unit) => {
            let well = kept.as_ref().is_some_and(|q| {
                let near = q.canonical_value.is_some_and(|v| (v - canonical).abs() < 1e-9 * canonical);
                near && q.canonical_unit == unit && q.as_written == text
            });
            (!well).then(|| format!("kept as {kept:?}, told {violations:?}"))
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn each_unclear_spelling_is_asked_about_or_echoed() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let before = ring.data_version().await?;
    let mut failures = Vec::new();
    for (row, cases) in TABLE {
        for (text, place, told) in *cases {
            let outcome = typed(&ring, text, *place).await?;
            if let Some(wrong) = wrong(text, *told, &outcome) {
                failures.push(format!("{row}: `{text}` in {place:?}: {wrong}"));
            }
        }
    }
    assert!(failures.is_empty(), "{failures:#?}");
    assert_eq!(ring.data_version().await?, before, "a check keeps nothing");
    ring.end().await
}

/// A number beyond a hard limit is refused with the unit that would explain it.
#[tokio::test(flavor = "multi_thread")]
async fn a_refusal_offers_the_unit_that_explains_the_number() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for (text, place, told) in [
        ("68 °C", AIR, Refused("OUT_OF_LIMITS", &["was 68 °F (20 °C) read?"])),
        ("4 mm", DEPTH, Refused("OUT_OF_LIMITS", &["or 4 in (101.6 mm) read?"])),
    ] {
        let failed = wrong(text, told, &typed(&ring, text, place).await?);
        assert_eq!(failed, None);
    }
    ring.end().await
}

/// What JSON itself cannot hold is told with what to write as well.
#[tokio::test(flavor = "multi_thread")]
async fn the_json_door_says_what_to_write() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let client = json::Client::new(ring.address());
    let sound = include_str!("../fixtures/screw-drive-time.json");
    for (from, to, pointer, typed, words) in [
        ("\"2026-03-02T09:30:00Z\"", "\"02/03/25\"", "/performedTime", "02/03/25", "2026-03-02T09:30:00Z"),
        (
            "{ \"asWritten\": \"2.61 s\" }",
            "\"2.61 s\"",
            "/arms/0/charges/0/runs/0/reading",
            "2.61 s",
            "{\"asWritten\":",
        ),
        ("\"INTEREST_NONE\"", "\"none\"", "/interest", "none", "INTEREST_NONE"),
    ] {
        let mut body: serde_json::Value = serde_json::from_str(sound)?;
        let from: serde_json::Value = serde_json::from_str(from)?;
        let place = body.pointer_mut(pointer).unwrap();
        assert_eq!(*place, from);
        *place = serde_json::from_str(to)?;
        let answer = client.post("/v1/trials", Some("tester-t01"), &body.to_string()).await?;
        let told = pointed(&answer)?;
        assert_eq!(answer.status.as_u16(), 400);
        let [(at, code, message)] = &told[..] else { panic!("{told:?}") };
        assert_eq!((at.as_str(), code.as_str()), (pointer, "WRONG_TYPE"));
        assert!(message.contains(typed) && message.contains(words), "{message}");
    }
    ring.end().await
}
