//! Whether the numbers of a label fit together. They seldom do when a unit slipped or a maximum voltage was taken for a
//! nominal one; nothing is corrected, the tester is asked.

use crate::finding::{Finding, FindingKind};
use crate::method::Limits;
use crate::pack::{LabelVoltageKind, PackModel};
use crate::quantity::Quantity;
use crate::reason;
use crate::text::number;
use crate::violation::Violations;

/// Watt-hours in a litre of envelope that no pack holds: a bare power cell of 21700 format has 594 W.h/L (public data
/// sheets).
const MOST_WH_PER_LITRE: f64 = 600.0;

/// Notes everything that does not fit; only an envelope that no cells fit in is refused.
pub(super) fn check(model: &PackModel, broken: &mut Violations, findings: &mut Vec<Finding>) {
    findings.extend(label_energy(model));
    findings.extend(cell_voltage(model));
    findings.extend(label_voltage(model));
    findings.extend(energy_by_mass(model));
    energy_by_volume(model, broken, findings);
}

fn inconsistent(field: &str, message: String, question: String, suggestion: String) -> Finding {
    Finding { kind: FindingKind::Inconsistent, field: field.to_owned(), message, question, suggestion }
}

/// Energy on the label against capacity times nominal voltage.
fn label_energy(model: &PackModel) -> Option<Finding> {
    let energy = model.rated_energy.as_ref()?.canonical();
    let product = model.rated_energy_at_nominal();
    let ratio = energy / product;
    // Rounding on labels: common practice, no source.
    if (0.98..=1.02).contains(&ratio) {
        return None;
    }
    let cause = energy_slip(ratio).map(|cause| format!("; {cause}")).unwrap_or_default();
    Some(inconsistent(
        "rated_energy",
        format!(
            "rated energy of {} W·h is {} times rated capacity by nominal voltage ({} A·h x {} V = {} W·h), and 0.98 to 1.02 is usual{cause}: confirm or correct it",
            number(energy),
            number(ratio),
            number(model.rated_capacity.canonical()),
            number(model.nominal_voltage.canonical()),
            number(product),
        ),
        "do the energy, capacity and nominal voltage all stand so on the label?".into(),
        format!("{} W·h", number(product)),
    ))
}

/// Known slips of the energy on a label, by the factor they leave: 20 V or 21 V taken for 18 V (5 cells of 3.6 V nominal,
/// 4.0 and 4.2 V charged), kilojoule for watt-hours (SI Brochure), and the milli prefix.
fn energy_slip(ratio: f64) -> Option<&'static str> {
    [
        (10.0 / 9.0, "it looks computed with the maximum voltage, 4.0 V a cell"),
        (7.0 / 6.0, "it looks computed with the charged voltage, 4.2 V a cell"),
        (3.6, "it looks like kilojoules"),
        (1000.0, "a prefix milli or kilo looks lost"),
        (1e-3, "a prefix milli or kilo looks lost"),
    ]
    .into_iter()
    .find(|(factor, _)| (ratio / factor - 1.0).abs() < 0.015)
    .map(|(_, cause)| cause)
}

/// What is fine and what is known at all for a cell's nominal voltage, V; `None` for a chemistry without a rule.
///
/// Common practice and from memory, no source.
fn cell_voltages(chemistry: &str) -> Option<(Limits, f64)> {
    let limits = |min, max| Limits { min, max };
    Some(match chemistry {
        "nmc" | "nca" => (limits(3.5, 3.75), 3.6),
        "lfp" => (limits(3.15, 3.3), 3.2),
        "lto" => (limits(2.2, 2.5), 2.4),
        "nimh" | "nicd" => (limits(1.15, 1.25), 1.2),
        "other" => return None,
        _ => (limits(3.3, 3.8), 3.6),
    })
}

/// Nominal voltage of a cell by its chemistry: 4.0 to 4.2 V is the charged voltage.
fn cell_voltage(model: &PackModel) -> Option<Finding> {
    let (fine, usual) = cell_voltages(&model.chemistry)?;
    let series = f64::from(model.series_count);
    let a_cell = model.nominal_voltage.canonical() / series;
    if (fine.min - 1e-9..=fine.max + 1e-9).contains(&a_cell) {
        return None;
    }
    let cause = if (3.95..=4.25).contains(&a_cell) {
        "; that is the charged voltage of a lithium-ion cell, not the nominal one"
    } else {
        ""
    };
    let suggestion = format!("{} V", number(usual * series));
    Some(inconsistent(
        "nominal_voltage",
        format!(
            "nominal voltage of {} V on {} cells in series is {} V a cell, and {} to {} V is usual for this chemistry{cause}: confirm or correct voltage, series count and chemistry",
            number(model.nominal_voltage.canonical()),
            model.series_count,
            number(a_cell),
            number(fine.min),
            number(fine.max),
        ),
        format!(
            "are there {} cells in series, and is {} V the nominal voltage?",
            model.series_count,
            number(model.nominal_voltage.canonical())
        ),
        suggestion,
    ))
}

/// Whether the label states the maximum or the nominal voltage: 20, 40, 60 and 80 V stand for 5, 10, 15 and 20 cells of
/// 4.0 V (arithmetic). Lithium-ion cells that charge to 4.2 V only.
fn label_voltage(model: &PackModel) -> Option<Finding> {
    if matches!(model.chemistry.as_str(), "lfp" | "lto" | "nimh" | "nicd" | "other") {
        return None;
    }
    let a_cell = model.label_voltage.canonical() / f64::from(model.series_count);
    let looks = if (3.95..=4.25).contains(&a_cell) {
        LabelVoltageKind::Maximum
    } else if a_cell < 3.95 {
        LabelVoltageKind::Nominal
    } else {
        return None;
    };
    let said = model.label_voltage_kind;
    (looks != said).then(|| {
        inconsistent(
            "label_voltage_kind",
            format!(
                "{} V on the label for {} cells in series is {} V a cell, which is a {looks} voltage and not a {said} one: confirm or correct it",
                number(model.label_voltage.canonical()),
                model.series_count,
                number(a_cell),
            ),
            format!("is the voltage on the label the {said} voltage?"),
            looks.id().to_owned(),
        )
    })
}

/// Energy by mass. A bare 21700 power cell has 206 W.h/kg (public data sheets), and the housing takes its share.
fn energy_by_mass(model: &PackModel) -> Option<Finding> {
    let energy = energy_of(model);
    let mass = model.mass.as_ref().map(Quantity::canonical)?;
    let ratio = energy / mass;
    if (80.0..=190.0).contains(&ratio) {
        return None;
    }
    let cause = match ratio {
        ratio if ratio > 260.0 => {
            "; more than bare cells hold: were pounds or ounces read, or is the energy inflated?"
        }
        ratio if ratio < 30.0 => "; was the mass read in another unit, or with a tool?",
        _ => "",
    };
    Some(inconsistent(
        "mass",
        format!(
            "{} W·h in {} kg is {} W·h/kg, and 80 to 190 is usual{cause}: confirm or correct mass and energy",
            number(energy),
            number(mass),
            number(ratio),
        ),
        format!("is {} kg the mass of the pack alone?", number(mass)),
        String::new(),
    ))
}

/// Energy by volume of the envelope: refused above what cells hold, asked about outside 50 to 450 W.h/L (common practice,
/// no source).
fn energy_by_volume(model: &PackModel, broken: &mut Violations, findings: &mut Vec<Finding>) {
    let Some(volume) = model.volume_l() else { return };
    let energy = energy_of(model);
    let ratio = energy / volume;
    let said =
        format!("{} W·h in an envelope of {} L is {} W·h/L", number(energy), number(volume), number(ratio));
    if ratio > MOST_WH_PER_LITRE {
        broken.add(
            "length",
            reason::OUT_OF_LIMITS,
            format!(
                "{said}, and no cells hold more than {}: check length, width, height and their units",
                number(MOST_WH_PER_LITRE)
            ),
        );
    } else if !(50.0..=450.0).contains(&ratio) {
        findings.push(inconsistent(
            "length",
            format!("{said}, and 50 to 450 is usual: confirm or correct length, width and height"),
            "are length, width and height those of the pack alone?".into(),
            String::new(),
        ));
    }
}

/// Energy on the label, else capacity times nominal voltage.
fn energy_of(model: &PackModel) -> f64 {
    model.rated_energy.as_ref().map_or_else(|| model.rated_energy_at_nominal(), Quantity::canonical)
}
