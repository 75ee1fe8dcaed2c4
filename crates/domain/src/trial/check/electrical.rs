//! Currents, capacities, voltages and resistances against what the pack is made of.

use crate::finding::{Finding, FindingKind};
use crate::method::{Method, ResponseKind, known};
use crate::pack::PackModel;
use crate::pack::consistency::charges_to_4_2;
use crate::quantity::Dimension;
use crate::rule::compare::Compared;
use crate::rule::{RuleId, limits};
use crate::text::number;
use crate::trial::check::compare::{at_quantity, likely, was_read};
use crate::trial::check::parts::{ReadArm, ReadCharge, ReadRun};
use crate::trial::check::{Check, join};

impl Check<'_> {
    /// Holds everything electrical of every arm against its pack.
    pub(super) fn electrical(&mut self, method: &Method, arms: &[ReadArm<'_>]) {
        for arm in arms {
            let Some((_, pack)) = arm.pack else { continue };
            for charge in &arm.charges {
                self.full_voltage(pack, &arm.at, charge);
                for run in &charge.runs {
                    self.load_rate(pack, &arm.at, run);
                    self.label_share(method, pack, &arm.at, run);
                    self.discharge_voltage(method, pack, &arm.at, run);
                    self.cell_resistance(method, pack, &arm.at, run);
                }
            }
        }
    }

    fn load_rate(&mut self, pack: &PackModel, arm: &str, run: &ReadRun) {
        let Some(current) = run.conditions.quantity(known::LOAD_CURRENT) else { return };
        let capacity = pack.rated_capacity.canonical();
        let bounds = &limits::LOAD_RATE;
        let likely = likely(current, bounds, |ampere| ampere / capacity);
        let said = crate::measure::said(current);
        let compared = Compared {
            rule: RuleId::R08,
            bounds,
            field: at_quantity(&run.conditions, known::LOAD_CURRENT),
            value: current.canonical() / capacity,
            unit: "1/h",
            says: format!("`load_current` of {said} on {} A·h, as a C-rate,", number(capacity)),
            cause: was_read(likely.as_ref()),
            remedy: "check the current, its unit, and the rated capacity of the pack model",
            question: format!("was the pack of {} A·h loaded with {said}?", number(capacity)),
            suggestion: likely.unwrap_or_default(),
        };
        self.compare(arm, compared);
    }

    /// Measured against rated capacity. Far too little is a result, kept and shown without a question.
    fn label_share(&mut self, method: &Method, pack: &PackModel, arm: &str, run: &ReadRun) {
        let discharge = method.response.kind == ResponseKind::PerCharge && method.run_is_charge;
        if !discharge || method.response.measure.dimension != Dimension::Charge {
            return;
        }
        let (Some(measured), Some(reading)) = (run.exact(), &run.reading) else { return };
        let rated = pack.rated_capacity.canonical();
        let (bounds, share) = (&limits::LABEL_SHARE, measured / rated);
        let says =
            format!("{} measured over {} A·h on the label", crate::measure::said(reading), number(rated));
        let field = join(&run.at, "reading");
        if share < bounds.rare.min {
            let message = format!(
                "{says} is {}, far from the usual {}: kept as it is; look at age, cut-off and temperature of the pack before it is called a bad one",
                number(share),
                bounds.fine_words("")
            );
            let finding = Finding::by(RuleId::R09, FindingKind::Inconsistent, field, message);
            self.notes.add_once(format!("{arm} R09 short"), finding);
            return;
        }
        let likely = likely(reading, bounds, |ah| ah / rated);
        let compared = Compared {
            rule: RuleId::R09,
            bounds,
            field,
            value: share,
            unit: "",
            says,
            cause: was_read(likely.as_ref()),
            remedy: "confirm or correct the reading, the cut-off voltage and the pack named",
            question: format!(
                "did the pack of {} A·h give {}, down to the cut-off voltage stated?",
                number(rated),
                crate::measure::said(reading)
            ),
            suggestion: likely.unwrap_or_default(),
        };
        self.compare(arm, compared);
    }

    /// Mean voltage of a cell over the discharge: energy over capacity over series cells.
    fn discharge_voltage(&mut self, method: &Method, pack: &PackModel, arm: &str, run: &ReadRun) {
        if !charges_to_4_2(pack) || !method.run_is_charge {
            return;
        }
        let reading = run.reading.as_ref().map(crate::quantity::Quantity::canonical);
        let (energy, capacity, given) = match method.response.measure.dimension {
            Dimension::Charge => {
                (run.conditions.number(known::ENERGY_DELIVERED), reading, known::ENERGY_DELIVERED)
            }
            Dimension::Energy => {
                (reading, run.conditions.number(known::CHARGE_DELIVERED), known::CHARGE_DELIVERED)
            }
            _ => return,
        };
        let Some((energy, capacity)) = energy.zip(capacity.filter(|ah| *ah > 0.0)) else { return };
        let series = pack.series_count;
        let compared = Compared {
            rule: RuleId::R10,
            bounds: &limits::DISCHARGE_VOLTAGE,
            field: at_quantity(&run.conditions, given),
            value: energy / capacity / f64::from(series),
            unit: "V",
            says: format!(
                "{} W·h over {} A·h on {series} cells in series, as the mean voltage of a cell,",
                number(energy),
                number(capacity)
            ),
            cause: "a slip in one of the two, or sag in the leads where voltage is not sensed at the pack"
                .into(),
            remedy: "confirm or correct energy, capacity and series count",
            question: format!(
                "were {} W·h and {} A·h read over the same discharge?",
                number(energy),
                number(capacity)
            ),
            suggestion: String::new(),
        };
        self.compare(arm, compared);
    }

    /// Voltage at rest of a charge typed as full. A cell never rests above what charging allows, in any state.
    fn full_voltage(&mut self, pack: &PackModel, arm: &str, charge: &ReadCharge) {
        let Some(voltage) = charge.conditions.number(known::OPEN_CIRCUIT_VOLTAGE) else { return };
        if !charges_to_4_2(pack) {
            return;
        }
        let bounds = &limits::FULL_VOLTAGE;
        let series = pack.series_count;
        let value = voltage / f64::from(series);
        let full =
            charge.conditions.choice(known::STARTING_STATE).is_some_and(|state| known::FULL.contains(&state));
        if !full && value <= bounds.possible.max {
            return;
        }
        let low = value < bounds.unusual.min;
        let compared = Compared {
            rule: RuleId::R11,
            bounds,
            field: at_quantity(&charge.conditions, known::OPEN_CIRCUIT_VOLTAGE),
            value,
            unit: "V",
            says: format!("{} V at rest on {series} cells in series, for each cell,", number(voltage)),
            cause: if low { "that is a partial charge" } else { "no lithium-ion cell is charged so high" }
                .into(),
            remedy: "correct the voltage or the starting state, or the series count of the pack model",
            question: if low {
                "was it a partial charge?".into()
            } else {
                format!("are there {series} cells in series, and did the meter show {} V?", number(voltage))
            },
            suggestion: if low { "partial".into() } else { String::new() },
        };
        self.compare(arm, compared);
    }

    fn cell_resistance(&mut self, method: &Method, pack: &PackModel, arm: &str, run: &ReadRun) {
        if method.response.measure.dimension != Dimension::Resistance {
            return;
        }
        let (Some(_), Some(reading)) = (run.exact(), &run.reading) else { return };
        let (capacity, series) = (pack.rated_capacity.canonical(), f64::from(pack.series_count));
        let bounds = &limits::CELL_RESISTANCE;
        let value = |milliohm: f64| milliohm * capacity / series;
        let likely = likely(reading, bounds, value);
        let low = value(reading.canonical()) < bounds.rare.min;
        let said = crate::measure::said(reading);
        let cause = if likely.is_some() {
            was_read(likely.as_ref())
        } else if low {
            "is that the value of one cell?".to_owned()
        } else {
            "a loose contact, or the leads measured too?".to_owned()
        };
        let compared = Compared {
            rule: RuleId::R12,
            bounds,
            field: join(&run.at, "reading"),
            value: value(reading.canonical()),
            unit: "mΩ·A·h",
            says: format!("{said} times {} A·h over {} cells in series", number(capacity), number(series)),
            cause,
            remedy: "confirm or correct the reading, its unit and the pack named",
            question: format!("is {said} the resistance of the whole pack?"),
            suggestion: likely.unwrap_or_default(),
        };
        self.compare(arm, compared);
    }
}
