//! From the pack model as sent to the one that is kept.

use crate::clock::Timestamp;
use crate::finding::Finding;
use crate::id::PackModelId;
use crate::measure::Due;
use crate::method::{Catalogue, Limits, known};
use crate::names::{Names, check_choice};
use crate::pack::{LabelVoltageKind, PackModel, PackModelDraft, consistency};
use crate::price::{Price, PriceDraft};
use crate::quantity::{Dimension, Quantity};
use crate::reason;
use crate::trial::QuantityDraft;
use crate::violation::Violations;

/// A number of the label: path, words, dimension, hard and soft limits in the canonical unit.
const fn due(
    what: &'static str,
    dimension: Dimension,
    hard: (f64, f64),
    soft: (f64, f64),
    whole: bool,
) -> Due<'static> {
    Due {
        what,
        dimension,
        accepted: None,
        hard: Limits { min: hard.0, max: hard.1 },
        soft: Limits { min: soft.0, max: soft.1 },
        whole,
    }
}

// Limits: common practice, no source. 75 V is the nominal voltage that IEC 63370:2022 reaches to.
const LABEL_VOLTAGE: Due<'_> =
    due("voltage on the label", Dimension::Voltage, (1.2, 120.0), (3.6, 80.0), false);
const NOMINAL_VOLTAGE: Due<'_> = due("nominal voltage", Dimension::Voltage, (1.2, 120.0), (3.6, 75.0), false);
const RATED_CAPACITY: Due<'_> = due("rated capacity", Dimension::Charge, (0.2, 60.0), (1.0, 15.0), false);
const RATED_ENERGY: Due<'_> = due("rated energy", Dimension::Energy, (1.0, 3000.0), (10.0, 600.0), false);
const MASS: Due<'_> = due("mass", Dimension::Mass, (0.05, 15.0), (0.15, 3.5), false);
const SIDE_LIMITS: ((f64, f64), (f64, f64)) = ((10.0, 500.0), (40.0, 220.0));
const LENGTH: Due<'_> = due("length", Dimension::Length, SIDE_LIMITS.0, SIDE_LIMITS.1, false);
const WIDTH: Due<'_> = due("width", Dimension::Length, SIDE_LIMITS.0, SIDE_LIMITS.1, false);
const HEIGHT: Due<'_> = due("height", Dimension::Length, SIDE_LIMITS.0, SIDE_LIMITS.1, false);
const DISCHARGE_CURRENT: Due<'_> =
    due("greatest discharge current", Dimension::Current, (1.0, 300.0), (10.0, 100.0), false);
const SERIES: Due<'_> = due("number of cells in series", Dimension::Count, (1.0, 30.0), (3.0, 20.0), true);
const PARALLEL: Due<'_> = due("number of cells in parallel", Dimension::Count, (1.0, 12.0), (1.0, 4.0), true);

/// Reads numbers one after the other, and keeps what was noticed.
struct Reader {
    broken: Violations,
    findings: Vec<Finding>,
}

impl Reader {
    fn optional(&mut self, path: &str, due: Due<'_>, draft: Option<&QuantityDraft>) -> Option<Quantity> {
        match due.take(draft?) {
            Ok(quantity) => {
                self.findings.extend(due.asked(path, &quantity));
                Some(quantity)
            }
            Err(broken) => {
                self.broken.take(path, broken);
                None
            }
        }
    }

    fn required(&mut self, path: &str, due: Due<'_>, draft: Option<&QuantityDraft>) -> Option<Quantity> {
        if draft.is_none() {
            let unit = due.dimension.canonical().symbol;
            self.broken.add(
                path,
                reason::REQUIRED,
                format!("the {} is missing: read it off the label, in {unit}", due.what),
            );
        }
        self.optional(path, due, draft)
    }

    fn count(&mut self, path: &str, due: Due<'_>, count: Option<i32>) -> Option<u32> {
        let draft =
            QuantityDraft { value: Some(f64::from(count?)), unit: String::new(), as_written: String::new() };
        match due.take(&draft) {
            Ok(quantity) => {
                self.findings.extend(due.asked(path, &quantity));
                count.and_then(|count| u32::try_from(count).ok())
            }
            Err(broken) => {
                // A count is one number on the wire, with no parts to blame.
                for violation in broken {
                    self.broken.add(path, violation.reason, violation.message);
                }
                None
            }
        }
    }

    fn price(&mut self, draft: Option<PriceDraft>, now: Timestamp) -> Option<Price> {
        match draft?.check() {
            Ok(price) => {
                // A day of room: somewhere on Earth it is tomorrow already.
                let today = jiff::tz::TimeZone::UTC.to_datetime(now).date();
                if today.tomorrow().is_ok_and(|tomorrow| price.date > tomorrow) {
                    self.broken.add(
                        "price.date",
                        reason::TIME_AHEAD,
                        format!(
                            "{} lies ahead of today, {today}: give the day the price was seen",
                            price.date
                        ),
                    );
                }
                Some(price)
            }
            Err(broken) => {
                self.broken.take("price", broken);
                None
            }
        }
    }
}

impl PackModelDraft {
    /// Holds the draft against every rule for pack models.
    ///
    /// Limits refuse; what is unusual, or does not fit together, is a finding with its question.
    ///
    /// # Errors
    /// Every broken rule, by its path on the wire.
    pub fn check(
        self,
        id: PackModelId,
        catalogue: &Catalogue,
        now: Timestamp,
    ) -> Result<(PackModel, Vec<Finding>), Violations> {
        let mut reader = Reader { broken: self.words(catalogue), findings: Vec::new() };
        let series_count = reader.count("series_count", SERIES, self.series_count);
        let parallel_count = reader.count("parallel_count", PARALLEL, self.parallel_count);
        let label_voltage = reader.required("label_voltage", LABEL_VOLTAGE, self.label_voltage.as_ref());
        let nominal_voltage =
            reader.required("nominal_voltage", NOMINAL_VOLTAGE, self.nominal_voltage.as_ref());
        let rated_capacity = reader.required("rated_capacity", RATED_CAPACITY, self.rated_capacity.as_ref());
        let rated_energy = reader.optional("rated_energy", RATED_ENERGY, self.rated_energy.as_ref());
        let mass = reader.optional("mass", MASS, self.mass.as_ref());
        let length = reader.optional("length", LENGTH, self.length.as_ref());
        let width = reader.optional("width", WIDTH, self.width.as_ref());
        let height = reader.optional("height", HEIGHT, self.height.as_ref());
        let max_discharge_current =
            reader.optional("max_discharge_current", DISCHARGE_CURRENT, self.max_discharge_current.as_ref());
        let price = reader.price(self.price, now);
        let Reader { mut broken, mut findings } = reader;
        let required =
            (series_count, label_voltage, self.label_voltage_kind, nominal_voltage, rated_capacity);
        let (
            Some(series_count),
            Some(label_voltage),
            Some(label_voltage_kind),
            Some(nominal_voltage),
            Some(rated_capacity),
        ) = required
        else {
            return Err(broken);
        };
        let model = PackModel {
            id,
            maker: self.maker,
            designation: self.designation,
            aliases: self.aliases,
            region: self.region,
            chemistry: self.chemistry,
            cell_format: self.cell_format,
            series_count,
            parallel_count,
            label_voltage,
            label_voltage_kind,
            nominal_voltage,
            rated_capacity,
            rated_energy,
            mass,
            length,
            width,
            height,
            price,
            max_discharge_current,
        };
        consistency::check(&model, &mut broken, &mut findings);
        broken.finish((model, findings))
    }

    /// What is wrong with names, choices and what has to be said.
    fn words(&self, catalogue: &Catalogue) -> Violations {
        let mut broken = Violations::default();
        let Self { maker, designation, aliases, region, .. } = self;
        Names { maker, designation, aliases, region }.check(&mut broken);
        for (path, what, list, typed) in [
            ("chemistry", "chemistry", known::CHEMISTRIES, &self.chemistry),
            ("cell_format", "cell format", known::CELL_FORMATS, &self.cell_format),
        ] {
            if !typed.is_empty() {
                check_choice(&mut broken, path, what, catalogue, list, typed);
            }
        }
        if self.series_count.is_none() {
            broken.add(
                "series_count",
                reason::REQUIRED,
                "the number of cells in series is missing: an 18 V lithium-ion pack has 5",
            );
        }
        if self.label_voltage_kind.is_none() {
            let kinds = LabelVoltageKind::ALL.iter().map(|kind| kind.id());
            broken.add(
                "label_voltage_kind",
                reason::REQUIRED,
                format!(
                    "what the voltage on the label means is missing: choose {}; 20 V on 5 cells is a maximum, 18 V nominal",
                    crate::text::listed(kinds)
                ),
            );
        }
        broken
    }
}
