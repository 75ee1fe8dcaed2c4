//! Rules about pack models and specimens.

use benchring_api::v1;
use benchring_tests::{Ring, by};
use tonic_types::StatusExt as _;

use super::{Told, told};
use crate::made::quantity;

type Change = fn(&mut v1::PackModel, f64);

/// Ten 18650 cells, 5 A.h at 18 V.
fn pack() -> v1::PackModel {
    v1::PackModel {
        maker: "K".into(),
        designation: "K5".into(),
        chemistry: "nmc".into(),
        cell_format: "cylindrical_18650".into(),
        series_count: Some(5),
        parallel_count: Some(2),
        label_voltage: Some(quantity(18.0, "V")),
        label_voltage_kind: v1::LabelVoltageKind::Nominal.into(),
        nominal_voltage: Some(quantity(18.0, "V")),
        rated_capacity: Some(quantity(5.0, "Ah")),
        rated_energy: Some(quantity(90.0, "Wh")),
        mass: Some(quantity(0.66, "kg")),
        ..Default::default()
    }
}

fn larger(pack: &mut v1::PackModel) {
    pack.cell_format = "cylindrical_21700".into();
}

/// One rule: what is changed by a number, and what is told at which number.
type Row = (&'static str, Change, &'static [(f64, Told)]);

/// Rule, how the compared number is brought about, and what is told at values of it.
const TABLE: &[Row] = &[
    (
        "R01",
        |p, x| p.rated_energy = Some(quantity(90.0 * x, "Wh")),
        &[
            (0.949, Told::Asked),
            (0.951, Told::Asked),
            (0.979, Told::Asked),
            (0.98, Told::Fine),
            (1.02, Told::Fine),
            (1.021, Told::Asked),
            (1.049, Told::Asked),
            (1.051, Told::Asked),
        ],
    ),
    (
        "R02",
        |p, x| p.nominal_voltage = Some(quantity(5.0 * x, "V")),
        &[
            (3.29, Told::Asked),
            (3.49, Told::Asked),
            (3.5, Told::Fine),
            (3.75, Told::Fine),
            (3.76, Told::Asked),
            (3.81, Told::Asked),
        ],
    ),
    (
        "R02",
        |p, x| {
            p.chemistry = "lfp".into();
            p.nominal_voltage = Some(quantity(5.0 * x, "V"));
        },
        &[(3.149, Told::Asked), (3.15, Told::Fine), (3.3, Told::Fine), (3.31, Told::Asked)],
    ),
    (
        "R03",
        |p, x| p.label_voltage = Some(quantity(5.0 * x, "V")),
        &[(3.94, Told::Fine), (3.95, Told::Asked), (4.25, Told::Asked), (4.26, Told::Fine)],
    ),
    (
        "R04",
        |p, x| p.rated_capacity = Some(quantity(2.0 * x, "Ah")),
        &[
            (0.98, Told::Asked),
            (1.09, Told::Asked),
            (1.1, Told::Fine),
            (3.6, Told::Fine),
            (3.61, Told::Asked),
            (3.97, Told::Asked),
        ],
    ),
    (
        "R04",
        |p, x| {
            larger(p);
            p.rated_capacity = Some(quantity(2.0 * x, "Ah"));
        },
        &[(2.49, Told::Asked), (2.5, Told::Fine), (6.0, Told::Fine), (6.01, Told::Asked)],
    ),
    (
        "R05",
        |p, x| p.mass = Some(quantity(90.0 / x, "kg")),
        &[
            (29.0, Told::Asked),
            (49.0, Told::Asked),
            (79.0, Told::Asked),
            (80.0, Told::Fine),
            (190.0, Told::Fine),
            (191.0, Told::Asked),
            (216.0, Told::Asked),
            (261.0, Told::Asked),
        ],
    ),
    (
        "R06",
        |p, x| {
            p.length = Some(quantity(90.0 / x / 0.005, "mm"));
            p.width = Some(quantity(100.0, "mm"));
            p.height = Some(quantity(50.0, "mm"));
        },
        &[
            (49.0, Told::Asked),
            (79.0, Told::Asked),
            (80.0, Told::Fine),
            (350.0, Told::Fine),
            (351.0, Told::Asked),
            (451.0, Told::Asked),
            (600.0, Told::Asked),
            (601.0, Told::Refused),
        ],
    ),
    (
        "R07",
        |p, x| p.mass = Some(quantity(10.0 * x, "g")),
        &[
            (43.9, Told::Asked),
            (54.9, Told::Asked),
            (55.0, Told::Fine),
            (85.0, Told::Fine),
            (85.1, Told::Asked),
            (102.1, Told::Asked),
        ],
    ),
    (
        "R07",
        |p, x| {
            larger(p);
            p.mass = Some(quantity(10.0 * x, "g"));
        },
        &[
            (64.9, Told::Asked),
            (84.9, Told::Asked),
            (85.0, Told::Fine),
            (125.0, Told::Fine),
            (125.1, Told::Asked),
        ],
    ),
];

async fn ask(ring: &Ring, pack: v1::PackModel, rule: &str) -> anyhow::Result<(Told, String)> {
    let request =
        v1::CreatePackModelRequest { pack_model: Some(pack), validate_only: true, ..Default::default() };
    Ok(match ring.packs().create_pack_model(by("tester-t01", request)).await {
        Ok(kept) => told(rule, &kept.into_inner().findings, &[]),
        Err(status) => {
            let bad = status.get_details_bad_request().unwrap_or_else(|| panic!("{status:?}"));
            (Told::Refused, bad.field_violations[0].description.clone())
        }
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn numbers_of_a_label_that_do_not_fit_are_told_at_every_edge() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let mut wrong = Vec::new();
    for (rule, change, values) in TABLE {
        for (value, due) in *values {
            let mut pack = pack();
            change(&mut pack, *value);
            let (told, words) = ask(&ring, pack, rule).await?;
            if told != *due {
                wrong.push(format!("{rule} at {value}: {told:?}, due {due:?}: {words}"));
            }
            if told == Told::Asked {
                assert!(words.contains("confirm or correct") || words.contains("check"), "{words}");
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    ring.end().await
}

/// R19 of a specimen: made, then used, then today.
#[tokio::test(flavor = "multi_thread")]
async fn dates_of_a_specimen_follow_one_another() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for (made, used, refused) in [
        ("2025-07", "2025-07", None),
        ("2025-07", "2025-06", Some("specimen.first_use")),
        ("2025-W30", "2025-07", None),
        ("2025-W32", "2025-07", Some("specimen.first_use")),
        ("lot 2532", "2025-07", None),
        ("2199-01", "", Some("specimen.date_code")),
        ("", "2199-01", Some("specimen.first_use")),
    ] {
        let specimen = v1::PackSpecimen {
            pack_model: "packModels/k5".into(),
            acquired: v1::Acquired::BoughtRetail.into(),
            date_code: made.into(),
            first_use: used.into(),
            ..Default::default()
        };
        let request = v1::CreatePackSpecimenRequest { pack_specimen: Some(specimen), ..Default::default() };
        let answer = ring.packs().create_pack_specimen(by("tester-t01", request)).await;
        match (answer, refused) {
            (Ok(_), None) => {}
            (Err(status), Some(field)) => {
                let (path, _) = &crate::violations(&status)[0];
                assert!(
                    path.ends_with(field.rsplit('.').next().unwrap_or(field)),
                    "{made} {used}: {status:?}"
                );
            }
            (answer, _) => panic!("made {made}, used {used}: {answer:?}"),
        }
    }
    ring.end().await
}
