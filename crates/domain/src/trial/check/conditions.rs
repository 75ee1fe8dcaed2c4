//! Conditions of one place, held against the fields of the method.

use crate::measure::Due;
use crate::method::{Entered, Field, FieldKind, Level, Method};
use crate::quantity::Quantity;
use crate::reason;
use crate::text::{TextRule, listed, meant, quoted};
use crate::trial::check::parts::ReadConditions;
use crate::trial::check::{Check, MOST_CONDITIONS, join};
use crate::trial::{ConditionDraft, QuantityDraft, Value, WrittenValue};

impl<'a> Check<'a> {
    /// Reads the conditions at `at`, a place of level `level`. Where `needed`, the method's required fields are asked for.
    pub(super) fn conditions(
        &mut self,
        method: &Method,
        sent: &[ConditionDraft],
        at: &str,
        level: Level,
        needed: bool,
    ) -> ReadConditions {
        let mut read = ReadConditions { at: at.to_owned(), ..ReadConditions::default() };
        if sent.len() > MOST_CONDITIONS {
            self.broken.add(
                join(at, "conditions"),
                reason::TOO_MANY,
                format!(
                    "{} conditions, and at most {MOST_CONDITIONS} are taken: give each field once",
                    sent.len()
                ),
            );
        }
        for (place, condition) in sent.iter().enumerate().take(MOST_CONDITIONS) {
            let path = join(at, &format!("conditions[{place}]"));
            let Some(field) = self.field_at(method, &condition.field, &path, level) else { continue };
            if read.places.contains_key(&field.id) {
                self.broken.add(
                    join(&path, "field"),
                    reason::DUPLICATE,
                    format!("`{}` is given twice here: keep one of them", field.id),
                );
                continue;
            }
            read.places.insert(field.id.clone(), place);
            if let Some(value) = self.value(field, condition.value.as_ref(), &path) {
                read.values.insert(field.id.clone(), value);
            }
        }
        if needed {
            self.require_fields(method, &read, level);
        }
        read
    }

    fn require_fields(&mut self, method: &Method, read: &ReadConditions, level: Level) {
        for field in self.catalogue.required_at(method, level) {
            if !read.places.contains_key(&field.id) {
                self.broken.add(
                    join(&read.at, "conditions"),
                    reason::REQUIRED,
                    format!(
                        "`{}` is missing ({}): give it for {}, {}",
                        field.id,
                        field.label.to_lowercase(),
                        each(level),
                        how(field)
                    ),
                );
            }
        }
    }

    /// The field, where the method has it and it stands at this level as a condition.
    fn field_at(&mut self, method: &Method, id: &str, path: &str, level: Level) -> Option<&'a Field> {
        let catalogue = self.catalogue;
        let field = catalogue.field(id).filter(|field| method.uses(&field.id));
        let (reason, message) = match field {
            None if self.broken.is_full() => (reason::UNKNOWN_FIELD, String::new()),
            None => (reason::UNKNOWN_FIELD, self.unknown_field(method, id)),
            Some(Field { entered: Entered::Computed, .. }) => {
                (reason::COMPUTED_FIELD, format!("`{id}` is worked out by the service: leave it out"))
            }
            Some(Field { entered: Entered::Structure(place), .. }) => (
                reason::WRONG_LEVEL,
                format!("`{id}` has a place of its own: give it as {place}, not as a condition"),
            ),
            Some(field) if field.level != level => (reason::WRONG_LEVEL, wrong_level(field, level)),
            Some(field) => return Some(field),
        };
        self.broken.add(join(path, "field"), reason, message);
        None
    }

    fn unknown_field(&self, method: &Method, id: &str) -> String {
        if id.is_empty() {
            return "the field is missing: name a field of the method, such as ambient_temperature"
                .to_owned();
        }
        if self.catalogue.field(id).is_some() {
            return format!(
                "`{id}` is no field of {}: leave it out, or say it in the note",
                method.reference()
            );
        }
        let ids = || method.fields.iter().map(|used| used.field.as_str());
        let meant = meant(id, ids());
        let list = if meant.is_empty() { format!(": it has {}", listed(ids())) } else { meant };
        format!("{} is no field of {}{list}", quoted(id), method.reference())
    }

    fn value(&mut self, field: &Field, sent: Option<&WrittenValue>, path: &str) -> Option<Value> {
        let Some(sent) = sent else {
            self.broken.add(
                path,
                reason::REQUIRED,
                format!("`{}` has no value: give {}", field.id, how(field)),
            );
            return None;
        };
        match (field.kind, sent) {
            (FieldKind::Quantity, WrittenValue::Quantity(draft)) => {
                self.quantity(field, draft, path).map(Value::Quantity)
            }
            (FieldKind::Choice, WrittenValue::Choice(choice)) => {
                self.choice(field, choice, path).then(|| Value::Choice(choice.clone()))
            }
            (FieldKind::Text | FieldKind::Label, WrittenValue::Text(text)) => {
                let rule = TextRule { longest: 500, required: true, lines: field.kind == FieldKind::Text };
                rule.check(&mut self.broken, &join(path, "text"), &format!("`{}`", field.id), text);
                Some(Value::Text(text.clone()))
            }
            (FieldKind::Flag, WrittenValue::Flag(flag)) => Some(Value::Flag(*flag)),
            _ => {
                let given = kind_of(sent);
                self.broken.add(
                    join(path, given),
                    reason::WRONG_KIND,
                    format!("`{}` takes no {given}: give {}", field.id, how(field)),
                );
                None
            }
        }
    }

    fn quantity(&mut self, field: &Field, draft: &QuantityDraft, path: &str) -> Option<Quantity> {
        let measure = field.measure.as_ref()?;
        let what = format!("`{}`", field.id);
        let due = Due::of(&what, measure);
        let path = join(path, "quantity");
        match due.take(draft) {
            Ok(quantity) => {
                if let Some(finding) = due.asked(&path, &quantity) {
                    let side = quantity.canonical() > measure.soft.max;
                    self.notes.add_once(format!("{} {} {side}", arm_of(&path), field.id), finding);
                }
                Some(quantity)
            }
            Err(broken) => {
                self.broken.take(&path, broken);
                None
            }
        }
    }

    fn choice(&mut self, field: &Field, typed: &str, path: &str) -> bool {
        let catalogue = self.catalogue;
        let Some(list) = field.choices.as_deref() else { return false };
        let Some(choice) = catalogue.choice(list, typed) else {
            if self.broken.is_full() {
                self.broken.add("", reason::UNKNOWN_CHOICE, "");
                return false;
            }
            let ids = || catalogue.choices(list).iter().map(|choice| choice.id.as_str());
            self.broken.add(
                join(path, "choice"),
                reason::UNKNOWN_CHOICE,
                format!(
                    "{} is no choice of `{}`: choose {}{}",
                    quoted(typed),
                    field.id,
                    listed(ids()),
                    meant(typed, ids())
                ),
            );
            return false;
        };
        if choice.text_needed && self.draft.note.trim().is_empty() {
            self.broken.add(
                "note",
                reason::REQUIRED,
                format!("`{}` is `{typed}`: say in the note what it is", field.id),
            );
        }
        true
    }
}

/// The arm that a path lies in: `arms[1]`, or nothing.
fn arm_of(path: &str) -> &str {
    path.split('.').next().filter(|first| first.starts_with("arms[")).unwrap_or_default()
}

/// What is at fault with a field at `level`, and where it goes.
fn wrong_level(field: &Field, level: Level) -> String {
    let id = &field.id;
    match (field.level, level) {
        (Level::Trial, _) => format!(
            "`{id}` holds for the whole trial and was given for {}: give it once, in conditions of the trial; arms under different conditions are different trials, so submit one for each",
            each(level)
        ),
        (own, _) => format!(
            "`{id}` was given for {} and stands with {}: give it in {}",
            each(level),
            each(own),
            place_of(own)
        ),
    }
}

fn each(level: Level) -> &'static str {
    match level {
        Level::Trial => "the whole trial",
        Level::Arm => "each arm",
        Level::Charge => "each charge",
        Level::Run => "each run",
    }
}

fn place_of(level: Level) -> &'static str {
    match level {
        Level::Trial => "conditions",
        Level::Arm => "arms[].conditions",
        Level::Charge => "arms[].charges[].conditions",
        Level::Run => "arms[].charges[].runs[].conditions",
    }
}

/// How a field is given.
fn how(field: &Field) -> String {
    match field.kind {
        FieldKind::Quantity => match field.measure.as_ref().map(crate::method::Measure::shown_in) {
            Some("1") | None => "a quantity, a number alone".to_owned(),
            Some(unit) => format!("a quantity, in {unit} for instance"),
        },
        FieldKind::Choice => "a choice of its list".to_owned(),
        FieldKind::Text => "a text".to_owned(),
        FieldKind::Label => "a text, your own label for it".to_owned(),
        FieldKind::Flag => "a flag, true or false".to_owned(),
    }
}

/// Name on the wire of the kind of value sent.
fn kind_of(sent: &WrittenValue) -> &'static str {
    match sent {
        WrittenValue::Quantity(_) => "quantity",
        WrittenValue::Choice(_) => "choice",
        WrittenValue::Text(_) => "text",
        WrittenValue::Flag(_) => "flag",
    }
}
