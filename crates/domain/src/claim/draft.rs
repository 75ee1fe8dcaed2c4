//! From what was read off a sleeve to a claim that says which number it means.

use crate::claim::threshold::{both_readings, rule_of, scale_of};
use crate::claim::{Claim, Condition, Form, Reach, Response};
use crate::id::{ClaimId, MethodRef, PackModelId};
use crate::measure::Due;
use crate::method::{Catalogue, Limits, Method, Normalisation, ResponseKind, known};
use crate::quantity::{Dimension, Quantity};
use crate::reason;
use crate::text::{TextRule, listed, number};
use crate::trial::QuantityDraft;
use crate::violation::Violations;

/// Most responses of one claim.
const MOST_RESPONSES: usize = 8;

/// A response as sent.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ResponseDraft {
    /// Resource name of the method version.
    pub method: String,
    /// What it is divided by.
    pub normalisation: Option<Normalisation>,
}

/// A claim as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ClaimDraft {
    /// Who says so.
    pub maker: String,
    /// In which words.
    pub wording: String,
    /// Where they stand.
    pub source_reference: String,
    /// The maker's word for what is better.
    pub metric: String,
    /// The responses that measure it.
    pub responses: Vec<ResponseDraft>,
    /// What the number means.
    pub form: Option<Form>,
    /// How far it goes; `None` reads as at least.
    pub reach: Option<Reach>,
    /// The number.
    pub amount: Option<QuantityDraft>,
    /// Resource name of the pack.
    pub pack: String,
    /// Resource name of the pack it is compared with.
    pub comparator: String,
    /// No condition is stated.
    pub general: bool,
    /// Demand class; empty where none is stated, as are the next three.
    pub demand_class: String,
    /// Type of tool.
    pub tool_type: String,
    /// Family of the workpiece.
    pub workpiece_family: String,
    /// After what warming is compared.
    pub temperature_basis: String,
}

/// A percentage of a form.
const fn percent(what: &'static str, most: f64) -> Due<'static> {
    due(what, Dimension::Ratio, 0.0, most)
}

const fn due(what: &'static str, dimension: Dimension, min: f64, max: f64) -> Due<'static> {
    let limits = Limits { min, max };
    Due { what, dimension, accepted: None, hard: limits, soft: limits, whole: false }
}

/// What a factor and a percentage can be; beyond, something else is meant. Own limits, no source.
const MOST_PERCENT: f64 = 1000.0;
/// Below 100 %, as nothing takes no time.
const MOST_LESS: f64 = 99.0;
/// The same for factors.
const FACTORS: (f64, f64) = (0.05, 20.0);
/// The same for kelvin.
const MOST_KELVIN: f64 = 80.0;

impl ClaimDraft {
    /// Holds the draft against every rule for claims.
    ///
    /// A number whose words can mean two things is asked about, with both in numbers: "50 % faster" is refused until it
    /// is said whether the time falls by 50 % or the rate rises by it.
    ///
    /// # Errors
    /// Every broken rule, by its path on the wire.
    pub fn check(self, id: ClaimId, catalogue: &Catalogue) -> Result<Claim, Violations> {
        let mut broken = Violations::default();
        self.texts(&mut broken);
        let methods = self.methods(catalogue, &mut broken);
        let found: Vec<(&Method, Option<Normalisation>)> =
            methods.iter().flatten().map(|(method, normalisation)| (*method, *normalisation)).collect();
        let pack = pack_of("pack", &self.pack, &mut broken);
        let comparator = self.comparator(pack.as_ref(), &mut broken);
        let condition = self.condition(&found, catalogue, &mut broken);
        let form = self.form(&found, &mut broken);
        let amount = form.and_then(|form| self.amount(form, &found, &mut broken));
        if let (Some(form), true) = (form, broken.is_empty()) {
            fits(form, amount.as_ref(), &found, &mut broken);
        }
        let (Some(form), Some(pack)) = (form, pack) else { return Err(broken) };
        let responses = found
            .iter()
            .map(|(method, normalisation)| Response {
                method: method.reference(),
                normalisation: *normalisation,
            })
            .collect();
        broken.finish(Claim {
            id,
            maker: self.maker,
            wording: self.wording,
            source_reference: self.source_reference,
            metric: self.metric,
            responses,
            form,
            reach: self.reach.unwrap_or(Reach::AtLeast),
            amount,
            pack,
            comparator,
            condition,
        })
    }

    fn texts(&self, broken: &mut Violations) {
        let text = |longest| TextRule { longest, required: true, lines: false };
        TextRule::label(true).check(broken, "maker", "who makes the claim", &self.maker);
        text(300).check(broken, "wording", "the wording of the claim", &self.wording);
        text(200).check(broken, "source_reference", "where the claim stands", &self.source_reference);
        TextRule::label(true).check(broken, "metric", "what is claimed to be better", &self.metric);
        let same = self.form == Some(Form::Same);
        if self.reach == Some(Reach::UpTo) && (same || self.form == Some(Form::LabelLevel)) {
            broken.add(
                "reach",
                reason::NOT_TAKEN,
                "a label or `same` goes no further than it says: leave `up_to` out",
            );
        }
    }

    /// The methods named; `None` in the place of one that is not there.
    fn methods<'a>(
        &self,
        catalogue: &'a Catalogue,
        broken: &mut Violations,
    ) -> Vec<Option<(&'a Method, Option<Normalisation>)>> {
        if self.responses.len() > MOST_RESPONSES {
            broken.add(
                "responses",
                reason::TOO_MANY,
                format!("{} responses, at most {MOST_RESPONSES} are taken", self.responses.len()),
            );
            return Vec::new();
        }
        let mut seen = Vec::new();
        let read = |(place, draft): (usize, &ResponseDraft)| {
            let path = format!("responses[{place}]");
            let reference = MethodRef::from_name(&draft.method)
                .map_err(|why| broken.add(format!("{path}.method"), reason::NOT_A_NAME, why.to_string()))
                .ok()?;
            let Some(method) = catalogue.method(&reference) else {
                let instead = catalogue.instead_of(&reference);
                broken.add(
                    format!("{path}.method"),
                    reason::UNKNOWN_METHOD,
                    format!("there is no method version {}: {instead}", reference.name()),
                );
                return None;
            };
            if let Some(asked) = draft.normalisation
                && let Err(why) = method.permits(asked)
            {
                broken.add(
                    format!("{path}.normalisation"),
                    reason::NOT_NORMALISABLE,
                    format!("`{}` is not allowed for {reference}: {why}; leave it out", asked.id()),
                );
            }
            if seen.contains(draft) {
                broken.add(path, reason::DUPLICATE, "this response is named before: name each once");
            }
            seen.push(draft.clone());
            Some((method, draft.normalisation))
        };
        self.responses.iter().enumerate().map(read).collect()
    }

    fn comparator(&self, pack: Option<&PackModelId>, broken: &mut Violations) -> Option<PackModelId> {
        if self.form == Some(Form::LabelLevel) {
            if !self.comparator.is_empty() {
                let message =
                    "a label is compared with what is measured of the pack itself: leave the comparator out";
                broken.add("comparator", reason::NOT_TAKEN, message);
            }
            return None;
        }
        if self.comparator.is_empty() {
            let message =
                "the pack it is compared with is missing: name a pack model, or claim a `label_level`";
            broken.add("comparator", reason::REQUIRED, message);
            return None;
        }
        let comparator = pack_of("comparator", &self.comparator, broken)?;
        if pack == Some(&comparator) {
            broken.add(
                "comparator",
                reason::SAME_PACK,
                format!("`{}` stands on both sides: name two packs", comparator.name()),
            );
        }
        Some(comparator)
    }

    fn condition(
        &self,
        methods: &[(&Method, Option<Normalisation>)],
        catalogue: &Catalogue,
        broken: &mut Violations,
    ) -> Condition {
        let mut choice = |list: &str, text: &String, field: Option<&str>| {
            if text.is_empty() {
                return None;
            }
            let path = format!("condition.{list}");
            let choices = catalogue.choices(list);
            if !choices.iter().any(|choice| choice.id == *text) {
                let known = listed(choices.iter().map(|choice| choice.id.as_str()));
                let typed = crate::text::quoted(text);
                broken.add(&*path, reason::UNKNOWN_CHOICE, format!("{typed} is none of {known}"));
            }
            for (method, _) in methods.iter().filter(|(m, _)| field.is_some_and(|field| !m.uses(field))) {
                let message =
                    format!("{} tells no {} apart: leave it out", method.reference(), list.replace('_', " "));
                broken.add(&*path, reason::UNKNOWN_FIELD, message);
            }
            Some(text.clone())
        };
        let demand_class = choice(known::DEMAND_CLASS, &self.demand_class, Some(known::DEMAND_CLASS));
        let tool_type = choice(known::TOOL_TYPES, &self.tool_type, Some(known::TOOL));
        let basis = choice(known::TEMPERATURE_BASIS, &self.temperature_basis, Some(known::TEMPERATURE_BASIS));
        let workpiece_family = (!self.workpiece_family.is_empty()).then(|| self.workpiece_family.clone());
        if let Some(family) = &workpiece_family {
            let families = catalogue.families(known::WORKPIECE_CLASS);
            if !families.contains(&family.as_str()) {
                let message = format!("{} is none of {}", crate::text::quoted(family), listed(families));
                broken.add("condition.workpiece_family", reason::UNKNOWN_CHOICE, message);
            }
        }
        let stated = [&demand_class, &tool_type, &basis, &workpiece_family].iter().any(|one| one.is_some());
        self.stated(stated, broken);
        Condition {
            general: self.general,
            demand_class,
            tool_type,
            workpiece_family,
            temperature_basis: basis,
        }
    }

    /// A claim says where it holds, or that it says nothing about that.
    fn stated(&self, stated: bool, broken: &mut Violations) {
        let label = self.form == Some(Form::LabelLevel);
        if label && (stated || self.general) {
            let message = "a label is checked at the rate of a label check: leave the condition out";
            broken.add("condition", reason::NOT_TAKEN, message);
        } else if stated && self.general {
            let message = "a condition is stated, so the claim is not general: leave out one of the two";
            broken.add("condition.general", reason::CONTRADICTION, message);
        } else if !label && !stated && !self.general {
            let message = "say where the claim holds, such as a demand class; where the maker names no condition, send `general`";
            broken.add("condition", reason::REQUIRED, message);
        }
    }

    /// The form; asked about where it is not said.
    fn form(&self, methods: &[(&Method, Option<Normalisation>)], broken: &mut Violations) -> Option<Form> {
        if self.form.is_some() {
            return self.form;
        }
        let timed = methods.iter().any(|(method, _)| method.response.kind == ResponseKind::Duration);
        let faster = percent("number of the claim", MOST_PERCENT);
        let readings = self.amount.as_ref().filter(|_| timed).and_then(|draft| faster.take(draft).ok());
        match readings {
            Some(amount) => broken.add(
                "form",
                reason::AMBIGUOUS_FORM,
                format!(
                    "`{} % faster` can mean two things: {}; is it `time_reduction` or `rate_gain`?",
                    number(amount.canonical()),
                    both_readings(amount.canonical())
                ),
            ),
            None => broken.add(
                "form",
                reason::REQUIRED,
                format!(
                    "what the number means is missing: choose {}",
                    listed(Form::ALL.iter().map(|form| form.id()))
                ),
            ),
        }
        None
    }

    fn amount(
        &self,
        form: Form,
        methods: &[(&Method, Option<Normalisation>)],
        broken: &mut Violations,
    ) -> Option<Quantity> {
        let Some(draft) = &self.amount else {
            if form != Form::Same {
                broken.add(
                    "amount",
                    reason::REQUIRED,
                    "the number of the claim is missing, such as `40 %` or `6.0 Ah`",
                );
            }
            return None;
        };
        let what = "number of the claim";
        let kelvin = {
            let unit = if draft.unit.is_empty() { draft.as_written.trim_end() } else { draft.unit.trim() };
            unit.ends_with('K') || unit.ends_with("[degR]")
        };
        let due = match form {
            Form::RateGain | Form::More => percent(what, MOST_PERCENT),
            Form::Cooler if kelvin => due(what, Dimension::TemperatureDifference, 0.0, MOST_KELVIN),
            Form::TimeReduction | Form::Less | Form::Cooler => percent(what, MOST_LESS),
            Form::Same => percent(what, 50.0),
            Form::Times => due(what, Dimension::Count, FACTORS.0, FACTORS.1),
            Form::LabelLevel => match methods.first() {
                Some((method, _)) => Due::of(what, &method.response.measure),
                None => return None,
            },
        };
        due.take(draft).map_err(|wrong| broken.take("amount", wrong)).ok()
    }
}

/// Holds the form against each response.
fn fits(
    form: Form,
    amount: Option<&Quantity>,
    methods: &[(&Method, Option<Normalisation>)],
    broken: &mut Violations,
) {
    if form == Form::LabelLevel {
        let one = matches!(methods, [(method, None)] if method.pools_levels);
        if !one {
            let message = "a label is checked by one method whose levels can be pooled, undivided: name discharge-capacity or discharge-energy alone";
            broken.add("responses", reason::FORM_DOES_NOT_FIT, message);
        }
        return;
    }
    for (place, (method, normalisation)) in methods.iter().enumerate() {
        if let Err(why) = rule_of(form, amount, method, scale_of(method, *normalisation)) {
            let message = format!("`{}` says nothing about responses[{place}]: {why}", form.id());
            broken.add("form", reason::FORM_DOES_NOT_FIT, message);
        }
    }
}

fn pack_of(field: &str, name: &str, broken: &mut Violations) -> Option<PackModelId> {
    if name.is_empty() {
        broken.add(field, reason::REQUIRED, "the pack that the claim is about is missing: name a pack model");
        return None;
    }
    PackModelId::from_name(name)
        .map_err(|wrong| broken.add(field, reason::NOT_A_NAME, wrong.to_string()))
        .ok()
}
