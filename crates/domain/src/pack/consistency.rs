//! Whether the numbers of a label fit together. They seldom do when a unit slipped or a maximum voltage was taken for a
//! nominal one; nothing is corrected, the tester is asked.

use crate::finding::{Finding, FindingKind};
use crate::pack::{LabelVoltageKind, PackModel};
use crate::quantity::Quantity;
use crate::rule::compare::{Compared, Judged};
use crate::rule::{Bounds, RuleId, limits};
use crate::text::number;
use crate::violation::Violations;

/// Notes everything that does not fit; only an envelope that no cells fit in is refused.
pub(super) fn check(model: &PackModel, broken: &mut Violations, findings: &mut Vec<Finding>) {
    let compared = [
        label_energy(model),
        cell_voltage(model),
        cell_capacity(model),
        energy_by_mass(model),
        energy_by_volume(model),
        mass_by_cell(model),
    ];
    for compared in compared.into_iter().flatten() {
        match compared.judge() {
            Judged::Fine => {}
            Judged::Asked(finding) => findings.push(finding),
            Judged::Refused(violation) => broken.push(violation),
        }
    }
    findings.extend(label_voltage(model));
}

/// Whether the cells are lithium-ion ones that charge to 4.2 V, as far as is known.
pub(crate) fn charges_to_4_2(model: &PackModel) -> bool {
    !matches!(model.chemistry.as_str(), "lfp" | "lto" | "nimh" | "nicd" | "other")
}

/// Bounds of the two formats that have any, by position in a rule's table.
fn by_format<'a>(model: &PackModel, table: &'a [Bounds; 2]) -> Option<&'a Bounds> {
    match model.cell_format.as_str() {
        "cylindrical_18650" => Some(&table[0]),
        "cylindrical_21700" => Some(&table[1]),
        _ => None,
    }
}

/// Energy on the label against capacity times nominal voltage.
fn label_energy(model: &PackModel) -> Option<Compared<'static>> {
    let energy = model.rated_energy.as_ref()?.canonical();
    let product = model.rated_energy_at_nominal();
    let ratio = energy / product;
    Some(Compared {
        rule: RuleId::R01,
        bounds: &limits::LABEL_ENERGY,
        field: "rated_energy".into(),
        value: ratio,
        unit: "",
        says: format!(
            "rated energy of {} W·h over rated capacity by nominal voltage ({} A·h x {} V = {} W·h)",
            number(energy),
            number(model.rated_capacity.canonical()),
            number(model.nominal_voltage.canonical()),
            number(product),
        ),
        cause: energy_slip(ratio).unwrap_or_default().to_owned(),
        remedy: "confirm or correct it",
        question: "do the energy, capacity and nominal voltage all stand so on the label?".into(),
        suggestion: format!("{} W·h", number(product)),
    })
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

/// Bounds of a cell's nominal voltage, and the usual one, V; `None` for a chemistry without a rule.
fn cell_voltages(chemistry: &str) -> Option<(&'static Bounds, f64)> {
    let [nmc, lfp, lto, nickel, unknown] = &limits::CELL_VOLTAGE;
    Some(match chemistry {
        "nmc" | "nca" => (nmc, 3.6),
        "lfp" => (lfp, 3.2),
        "lto" => (lto, 2.4),
        "nimh" | "nicd" => (nickel, 1.2),
        "other" => return None,
        _ => (unknown, 3.6),
    })
}

/// Nominal voltage of a cell by its chemistry: 4.0 to 4.2 V is the charged voltage.
fn cell_voltage(model: &PackModel) -> Option<Compared<'static>> {
    let (bounds, usual) = cell_voltages(&model.chemistry)?;
    let series = f64::from(model.series_count);
    let nominal = number(model.nominal_voltage.canonical());
    let a_cell = model.nominal_voltage.canonical() / series;
    let cause = if limits::LABEL_CELL_MAXIMUM.contains(a_cell) {
        "that is the charged voltage of a lithium-ion cell, not the nominal one"
    } else {
        ""
    };
    Some(Compared {
        rule: RuleId::R02,
        bounds,
        field: "nominal_voltage".into(),
        value: a_cell,
        unit: "V",
        says: format!(
            "nominal voltage of {nominal} V on {} cells in series, for each cell,",
            model.series_count
        ),
        cause: cause.into(),
        remedy: "confirm or correct voltage, series count and chemistry",
        question: format!(
            "are there {} cells in series, and is {nominal} V the nominal voltage?",
            model.series_count
        ),
        suggestion: format!("{} V", number(usual * series)),
    })
}

/// Whether the label states the maximum or the nominal voltage: 20, 40, 60 and 80 V stand for 5, 10, 15 and 20 cells of
/// 4.0 V (arithmetic). Lithium-ion cells that charge to 4.2 V only.
fn label_voltage(model: &PackModel) -> Option<Finding> {
    if !charges_to_4_2(model) {
        return None;
    }
    let a_cell = model.label_voltage.canonical() / f64::from(model.series_count);
    let looks = if limits::LABEL_CELL_MAXIMUM.contains(a_cell) {
        LabelVoltageKind::Maximum
    } else if a_cell < limits::LABEL_CELL_MAXIMUM.min {
        LabelVoltageKind::Nominal
    } else {
        return None;
    };
    let said = model.label_voltage_kind;
    let message = format!(
        "{} V on the label for {} cells in series is {} V a cell, which is a {looks} voltage and not a {said} one: confirm or correct it",
        number(model.label_voltage.canonical()),
        model.series_count,
        number(a_cell),
    );
    (looks != said).then(|| Finding {
        question: format!("is the voltage on the label the {said} voltage?"),
        suggestion: looks.id().to_owned(),
        ..Finding::by(RuleId::R03, FindingKind::Inconsistent, "label_voltage_kind".to_owned(), message)
    })
}

/// Rated capacity of a cell by its format.
fn cell_capacity(model: &PackModel) -> Option<Compared<'static>> {
    let bounds = by_format(model, &limits::CELL_CAPACITY)?;
    let parallel = model.parallel_count?;
    let capacity = model.rated_capacity.canonical();
    Some(Compared {
        rule: RuleId::R04,
        bounds,
        field: "rated_capacity".into(),
        value: capacity / f64::from(parallel),
        unit: "A·h",
        says: format!(
            "rated capacity of {} A·h on {parallel} cells in parallel, for each of the {},",
            number(capacity),
            bounds.of
        ),
        cause: "no such cell is known".into(),
        remedy: "confirm or correct capacity, parallel count and cell format",
        question: format!("does the label say {} A·h, with {parallel} cells in parallel?", number(capacity)),
        suggestion: String::new(),
    })
}

/// Energy by mass. A bare 21700 power cell has 206 W.h/kg (public data sheets), and the housing takes its share.
fn energy_by_mass(model: &PackModel) -> Option<Compared<'static>> {
    let energy = energy_of(model);
    let mass = model.mass.as_ref().map(Quantity::canonical)?;
    let ratio = energy / mass;
    let rare = limits::ENERGY_BY_MASS.rare;
    let cause = if ratio > rare.max {
        "more than bare cells hold: was the mass read in pounds or ounces, or is the energy inflated?"
    } else if ratio < rare.min {
        "was the mass read in another unit, or with a tool?"
    } else {
        ""
    };
    Some(Compared {
        rule: RuleId::R05,
        bounds: &limits::ENERGY_BY_MASS,
        field: "mass".into(),
        value: ratio,
        unit: "W·h/kg",
        says: format!("{} W·h in {} kg", number(energy), number(mass)),
        cause: cause.into(),
        remedy: "confirm or correct mass and energy",
        question: format!("is {} kg the mass of the pack alone?", number(mass)),
        suggestion: mass_slip(model, |kg| energy / kg, &limits::ENERGY_BY_MASS),
    })
}

/// The mass in another unit that would be fine, where exactly one would: `1.45 lb (0.657709 kg)`.
fn mass_slip(model: &PackModel, value: impl Fn(f64) -> f64, bounds: &Bounds) -> String {
    let Some(mass) = &model.mass else { return String::new() };
    let fine = |kg: f64| bounds.place(value(kg)) == crate::rule::Place::Fine;
    if fine(mass.canonical()) {
        return String::new();
    }
    let mut likely =
        crate::measure::in_other_units(mass, None).into_iter().filter(|other| fine(other.canonical()));
    match (likely.next(), likely.next()) {
        (Some(one), None) => crate::measure::said(&one),
        _ => String::new(),
    }
}

/// Energy by volume of the envelope: a bare power cell of 21700 format has 594 W.h/L (public data sheets).
fn energy_by_volume(model: &PackModel) -> Option<Compared<'static>> {
    let volume = model.volume_l()?;
    let energy = energy_of(model);
    Some(Compared {
        rule: RuleId::R06,
        bounds: &limits::ENERGY_BY_VOLUME,
        field: "length".into(),
        value: energy / volume,
        unit: "W·h/L",
        says: format!("{} W·h in an envelope of {} L", number(energy), number(volume)),
        cause: String::new(),
        remedy: "check length, width, height and their units",
        question: "are length, width and height those of the pack alone?".into(),
        suggestion: String::new(),
    })
}

/// Mass of the pack for each of its cells, by format.
fn mass_by_cell(model: &PackModel) -> Option<Compared<'static>> {
    let bounds = by_format(model, &limits::MASS_BY_CELL)?;
    let mass = model.mass.as_ref().map(Quantity::canonical)?;
    let parallel = model.parallel_count?;
    let cells = f64::from(model.series_count * parallel);
    let a_cell = move |kg: f64| 1000.0 * kg / cells;
    Some(Compared {
        rule: RuleId::R07,
        bounds,
        field: "mass".into(),
        value: a_cell(mass),
        unit: "g",
        says: format!(
            "mass of {} kg on {} x {parallel} {}, for each cell with its share of the housing,",
            number(mass),
            model.series_count,
            bounds.of
        ),
        cause: "were cells counted twice, or the mass read in another unit?".into(),
        remedy: "confirm or correct mass, series count and parallel count",
        question: format!(
            "does the pack of {} kg have {} cells in series and {parallel} in parallel?",
            number(mass),
            model.series_count
        ),
        suggestion: mass_slip(model, a_cell, bounds),
    })
}

/// Energy on the label, else capacity times nominal voltage.
fn energy_of(model: &PackModel) -> f64 {
    model.rated_energy.as_ref().map_or_else(|| model.rated_energy_at_nominal(), Quantity::canonical)
}
