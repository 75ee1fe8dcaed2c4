//! Quantities that follow from a reading and its conditions: the only place where a slip of units that both arms share
//! shows, since it cancels in their ratio.

use crate::finding::{Finding, FindingKind};
use crate::measure::{in_other_units, said};
use crate::method::{Derived, Inputs, Limits, Method};
use crate::quantity::{Dimension, Quantity};
use crate::reason;
use crate::rule::RuleId;
use crate::text::number;
use crate::trial::check::parts::{ReadArm, ReadCharge, ReadConditions, ReadRun};
use crate::trial::check::{Check, join};

/// Most slips offered for one value: more would be guessing.
const MOST_OFFERED: usize = 3;

/// Where the conditions that hold for a run stand, the nearest first.
type Places<'b> = [&'b ReadConditions; 4];

impl Check<'_> {
    /// Holds everything derived against the limits of the method.
    pub(super) fn derived(&mut self, method: &Method, whole: &ReadConditions, arms: &[ReadArm<'_>]) {
        for derived in method.derived.iter().filter(|one| one.soft.is_some() || one.hard.is_some()) {
            for arm in arms {
                for charge in &arm.charges {
                    for run in charge.runs.iter().filter(|run| run.scored()) {
                        self.derive(method, derived, (whole, arm, charge, run));
                    }
                }
            }
        }
    }

    fn derive(
        &mut self,
        method: &Method,
        derived: &Derived,
        (whole, arm, charge, run): (&ReadConditions, &ReadArm<'_>, &ReadCharge, &ReadRun),
    ) {
        let places: Places<'_> = [&run.conditions, &charge.conditions, &arm.conditions, whole];
        let value_with = |changed: Option<(&str, f64)>| value(derived, arm, run, &places, changed);
        let Some(found) = value_with(None) else { return };
        let soft = derived.soft.or(derived.hard);
        let (Some(soft), false) = (soft, soft.is_none_or(|soft| soft.contains(found))) else { return };
        let offered = slips(self, method, derived, run, &places, |changed| {
            value_with(Some(changed)).is_some_and(|value| soft.contains(value))
        });
        let symbol = derived.symbol();
        let inputs = listed_inputs(derived, run, &places);
        let says = format!("{} comes to {} {symbol} ({inputs})", derived.label.to_lowercase(), number(found));
        let path = join(&run.at, "reading");
        let offer =
            if offered.is_empty() { String::new() } else { format!("; was it {}?", offered.join(", or ")) };
        if let Some(hard) = derived.hard.filter(|hard| !hard.contains(found)) {
            self.broken.add_by(
                RuleId::R18,
                path,
                reason::OUT_OF_LIMITS,
                format!("{says}, and {} {symbol} is all that is taken: check these numbers and their units{offer}", range(hard)),
            );
            return;
        }
        let finding = Finding {
            question: match offered.first() {
                Some(_) => format!("are these right, or was it {}?", offered.join(", or ")),
                None => format!("are these right: {inputs}?"),
            },
            suggestion: offered.into_iter().next().unwrap_or_default(),
            ..Finding::by(
                RuleId::R18,
                FindingKind::Inconsistent,
                path,
                format!(
                    "{says}, and {} {symbol} is usual: confirm or correct the numbers and their units",
                    range(soft)
                ),
            )
        };
        self.notes.add_once(format!("{} {} {}", arm.at, derived.id, found > soft.max), finding);
    }
}

fn range(limits: Limits) -> String {
    format!("{} to {}", number(limits.min), number(limits.max))
}

/// The value for a run; `changed` puts another number for a field, or for the reading where its id is empty.
fn value(
    derived: &Derived,
    arm: &ReadArm<'_>,
    run: &ReadRun,
    places: &Places<'_>,
    changed: Option<(&str, f64)>,
) -> Option<f64> {
    let field = |id: &str| match changed {
        Some((field, value)) if field == id => Some(value),
        _ => places.iter().find_map(|place| place.number(id)),
    };
    let pack = arm.pack.map(|(_, model)| model);
    let reading = match changed {
        Some(("", value)) => Some(value),
        _ => run.reading.as_ref().map(Quantity::canonical),
    };
    derived.value(&Inputs {
        reading,
        rated_capacity: pack.map(|model| model.rated_capacity.canonical()),
        series_count: pack.map(|model| f64::from(model.series_count)),
        field: &field,
    })
}

/// `reading 3.2 s, hole_depth 12 mm`.
fn listed_inputs(derived: &Derived, run: &ReadRun, places: &Places<'_>) -> String {
    let reading = run.reading.as_ref().map(|reading| format!("reading {}", said(reading)));
    let fields = derived
        .fields()
        .into_iter()
        .filter_map(|id| Some(format!("{id} {}", said(places.iter().find_map(|place| place.quantity(id))?))));
    reading.into_iter().chain(fields).collect::<Vec<_>>().join(", ")
}

/// Numbers that would make the value usual: one of the inputs in another unit, or a diameter for a radius.
fn slips(
    check: &Check<'_>,
    method: &Method,
    derived: &Derived,
    run: &ReadRun,
    places: &Places<'_>,
    usual: impl Fn((&str, f64)) -> bool,
) -> Vec<String> {
    let mut offered = Vec::new();
    let fields = derived.fields().into_iter().filter_map(|id| {
        let quantity = places.iter().find_map(|place| place.quantity(id))?;
        let measure = check.catalogue.field(id)?.measure.as_ref()?;
        Some((id, quantity, measure))
    });
    let reading = run.reading.as_ref().map(|reading| ("", reading, &method.response.measure));
    for (id, quantity, measure) in fields.chain(reading) {
        let called = if id.is_empty() { String::new() } else { format!("{id} ") };
        for other in in_other_units(quantity, Some(&measure.accepted_units)) {
            if measure.soft.contains(other.canonical()) && usual((id, other.canonical())) {
                offered.push(format!("{called}{}", said(&other)));
            }
        }
        if measure.dimension == Dimension::Length && id.ends_with("diameter") {
            let doubled = 2.0 * quantity.canonical();
            if measure.soft.contains(doubled) && usual((id, doubled)) {
                let unit = measure.dimension.canonical();
                offered.push(format!("{called}{}", crate::measure::with_unit(doubled, unit)));
            }
        }
    }
    offered.truncate(MOST_OFFERED);
    offered
}
