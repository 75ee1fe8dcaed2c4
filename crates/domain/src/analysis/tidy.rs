//! Tidy rows, one a run, put together to trials.

use std::collections::{BTreeMap, BTreeSet};

use crate::disclosure::Acquired;
use crate::id::{PackModelId, PackSpecimenId, TesterId, TrialId};
use crate::method::{Catalogue, Entered, FieldKind, Level, Method};
use crate::text::listed;
use crate::trial::draft::PlanDraft;
use crate::trial::loose::ArmPack;
use crate::trial::{
    ArmDraft, ChargeDraft, ConditionDraft, EndCriterion, OrderDesign, QuantityDraft, RunDraft, TrialDraft,
    WrittenValue,
};

use super::Names;

/// The columns that say what a run is.
pub const COLUMNS: [&str; 7] = ["tester", "trial", "pack", "position", "reading", "unit", "end_criterion"];
/// Columns without which there is nothing to analyse.
pub const NEEDED: [&str; 5] = ["tester", "trial", "pack", "reading", "end_criterion"];
/// Further columns with a place of their own.
pub const FURTHER: [&str; 10] = [
    "specimen",
    "charge",
    "round",
    "warm_up",
    "order_design",
    "planned_rounds",
    "planned_runs_per_round",
    "tool_model",
    "tool_label",
    "note",
];

/// One run: the cells by their column, and where it stands.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Row {
    /// Line of the file, from 1.
    pub line: u64,
    /// The cells that are not blank.
    pub cells: BTreeMap<String, String>,
}

impl Row {
    fn cell(&self, column: &str) -> &str {
        self.cells.get(column).map_or("", String::as_str)
    }
}

/// What is wrong with a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Line of the file, from 1.
    pub line: u64,
    /// The column.
    pub column: String,
    /// Names the value and the remedy.
    pub message: String,
}

/// A trial put together.
#[derive(Debug, Clone, PartialEq)]
pub struct TidyTrial {
    /// Its id.
    pub trial: TrialId,
    /// Its tester.
    pub tester: TesterId,
    /// The draft.
    pub draft: TrialDraft,
    /// The packs of its arms.
    pub packs: Vec<ArmPack>,
    /// The lines of the runs, by their paths in the draft.
    pub lines: BTreeMap<String, u64>,
    /// The line of its first run.
    pub line: u64,
}

/// All rows put together.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tidy {
    /// The trials, in the order of their first rows.
    pub trials: Vec<TidyTrial>,
    /// What is wrong.
    pub problems: Vec<Problem>,
    /// What was assumed or left aside, in sentences.
    pub notes: Vec<String>,
}

/// What labels stand for over all tables that are read together.
#[derive(Debug, Default)]
pub struct Called {
    testers: Labels,
    packs: Labels,
    trials: Labels,
    specimens: Labels,
}

impl Called {
    /// What the ids are called.
    pub fn names(&self) -> Names {
        Names {
            packs: self.packs.called(|id| PackModelId::parse(id).ok()),
            testers: self.testers.called(|id| TesterId::parse(id).ok()),
            trials: self.trials.called(|id| TrialId::parse(id).ok()),
        }
    }

    /// The pack of that label, where there is one.
    pub fn pack(&self, label: &str) -> Option<PackModelId> {
        PackModelId::parse(self.packs.of.get(label)?).ok()
    }
}

/// Labels and the ids that stand for them: the label itself where it is an id.
#[derive(Debug, Default)]
struct Labels {
    of: BTreeMap<String, String>,
    called: BTreeMap<String, String>,
    taken: BTreeSet<String>,
    made: BTreeMap<String, usize>,
}

impl Labels {
    /// The id of a label, the same each time.
    fn id(&mut self, label: &str) -> String {
        match self.of.get(label) {
            Some(id) => id.clone(),
            None => self.fresh(label),
        }
    }

    /// An id that was not given yet, made of the label.
    fn fresh(&mut self, label: &str) -> String {
        let part = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
        let plain: String = label.chars().map(part).take(40).collect();
        let plain = plain.trim_matches('-');
        let plain = if plain.is_empty() { "x" } else { plain };
        let count = self.made.entry(plain.to_owned()).or_insert(0);
        let id = loop {
            *count += 1;
            let id = if *count == 1 { plain.to_owned() } else { format!("{plain}-{count}") };
            if self.taken.insert(id.clone()) {
                break id;
            }
        };
        self.of.insert(label.to_owned(), id.clone());
        self.called.insert(id.clone(), label.to_owned());
        id
    }

    fn called<T: Ord>(&self, make: impl Fn(&str) -> Option<T>) -> BTreeMap<T, String> {
        self.called.iter().filter_map(|(id, label)| Some((make(id)?, label.clone()))).collect()
    }
}

/// Puts rows together to trials of `method`. `columns` are those of the file; trials of one label in two files are two.
pub fn trials_of(
    rows: &[Row],
    columns: &[String],
    method: &Method,
    catalogue: &Catalogue,
    called: &mut Called,
) -> Tidy {
    let has = |column: &str| columns.iter().any(|one| one == column);
    let mut reader = Reader {
        method,
        catalogue,
        specimens: has("specimen"),
        charges: has("charge"),
        conditions: columns
            .iter()
            .filter(|one| method.uses(one) && is_condition(catalogue, one))
            .cloned()
            .collect(),
        problems: Vec::new(),
    };
    let rows: Vec<&Row> = rows.iter().collect();
    let mut tidy = Tidy::default();
    for (_, group) in in_groups(&rows, |row| (row.cell("tester").to_owned(), row.cell("trial").to_owned())) {
        let tester = group[0].cell("tester");
        let label = format!("{tester}/{}", group[0].cell("trial"));
        let (trial, by) = (called.trials.fresh(&label), called.testers.id(tester));
        if let (Ok(trial), Ok(by)) = (TrialId::parse(&trial), TesterId::parse(&by)) {
            tidy.trials.push(reader.trial(trial, by, &group, called));
        }
    }
    tidy.problems = std::mem::take(&mut reader.problems);
    tidy.notes = reader.notes(columns);
    tidy
}

/// A number with three decimals, which in free text could as well be thousands: `3.477`. Its step is that of its
/// shortest form; the finest among the readings of a trial counts.
pub fn plain_number(text: &str) -> Option<f64> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    let (whole, decimals) = digits.split_once('.')?;
    let all_digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    (decimals.len() == 3 && all_digits(whole) && all_digits(decimals)).then(|| text.parse().ok()).flatten()
}

/// Rows alike by `key`, in the order of their first.
fn in_groups<'a, K: Ord + Clone>(rows: &[&'a Row], key: impl Fn(&Row) -> K) -> Vec<(K, Vec<&'a Row>)> {
    let mut places: BTreeMap<K, usize> = BTreeMap::new();
    let mut groups: Vec<(K, Vec<&'a Row>)> = Vec::new();
    for row in rows {
        let key = key(row);
        let place = *places.entry(key.clone()).or_insert(groups.len());
        match groups.get_mut(place) {
            Some((_, group)) => group.push(row),
            None => groups.push((key, vec![row])),
        }
    }
    groups
}

/// Whether a field is given as a condition: others have columns of their own, or are worked out.
fn is_condition(catalogue: &Catalogue, field: &str) -> bool {
    catalogue.field(field).is_some_and(|field| field.entered == Entered::Condition)
}

struct Reader<'a> {
    method: &'a Method,
    catalogue: &'a Catalogue,
    specimens: bool,
    charges: bool,
    conditions: Vec<String>,
    problems: Vec<Problem>,
}

impl Reader<'_> {
    fn problem(&mut self, row: &Row, column: &str, message: String) {
        self.problems.push(Problem { line: row.line, column: column.to_owned(), message });
    }

    fn trial(&mut self, trial: TrialId, tester: TesterId, rows: &[&Row], called: &mut Called) -> TidyTrial {
        let arms = in_groups(rows, |row| (row.cell("pack").to_owned(), row.cell("specimen").to_owned()));
        let mut lines = BTreeMap::new();
        let (mut drafts, mut of_arms) = (Vec::new(), Vec::new());
        for (place, ((pack, specimen), runs)) in arms.into_iter().enumerate() {
            let at = format!("arms[{place}]");
            let very = if specimen.is_empty() { format!("{tester}: {pack}") } else { specimen };
            let Ok(model) = PackModelId::parse(&called.packs.id(&pack)) else { continue };
            let specimen =
                PackSpecimenId::parse(&called.specimens.id(&very)).map(|id| id.name()).unwrap_or_default();
            drafts.push(ArmDraft {
                pack_specimen: specimen,
                conditions: self.conditions(&runs, Level::Arm),
                charges_unknown: !self.charges && !self.method.run_is_charge,
                charges: self.charges(&runs, &at, &mut lines),
            });
            of_arms.push(ArmPack {
                model,
                acquired: Acquired::BoughtRetail,
                rated_capacity: None,
                series_count: None,
            });
        }
        let draft = TrialDraft {
            method: self.method.reference().name(),
            tool_model: self.once(rows, "tool_model"),
            tool_label: self.once(rows, "tool_label"),
            performed_time: None,
            conditions: self.conditions(rows, Level::Trial),
            plan: self.plan(rows),
            interest: None,
            licence: None,
            arms: drafts,
            note: String::new(),
        };
        TidyTrial { trial, tester, draft, packs: of_arms, lines, line: rows[0].line }
    }

    fn charges(&mut self, rows: &[&Row], at: &str, lines: &mut BTreeMap<String, u64>) -> Vec<ChargeDraft> {
        let own = self.method.run_is_charge && !self.charges;
        let charges =
            in_groups(rows, |row| if own { row.line.to_string() } else { row.cell("charge").to_owned() });
        let mut drafts = Vec::new();
        for (charge, (_, rows)) in charges.iter().enumerate() {
            let mut runs = Vec::new();
            for (run, row) in rows.iter().enumerate() {
                lines.insert(format!("{at}.charges[{charge}].runs[{run}]"), row.line);
                runs.push(self.run(row));
            }
            drafts.push(ChargeDraft { conditions: self.conditions(rows, Level::Charge), runs });
        }
        drafts
    }

    fn run(&mut self, row: &Row) -> RunDraft {
        let text = row.cell("reading");
        let unit = row.cell("unit").to_owned();
        let reading = match plain_number(text) {
            // In a table the point is the decimal mark, and `3.477` cannot be three thousand.
            Some(value) => QuantityDraft { value: Some(value), unit, as_written: String::new() },
            None => QuantityDraft { value: None, unit, as_written: text.to_owned() },
        };
        let end = row.cell("end_criterion");
        let end_criterion = EndCriterion::from_id(end);
        if end_criterion.is_none() {
            let known = listed(EndCriterion::ALL.iter().map(|one| one.id()));
            self.problem(
                row,
                "end_criterion",
                format!("`{}` is no end of a run: write {known}", crate::id::shortened(end)),
            );
        }
        RunDraft {
            round: self.count(row, "round"),
            position: self.count(row, "position"),
            warm_up: self.flag(row, "warm_up").unwrap_or(false),
            reading: (!text.is_empty()).then_some(reading),
            end_criterion,
            conditions: self.conditions(&[row], Level::Run),
            note: row.cell("note").to_owned(),
        }
    }

    fn count(&mut self, row: &Row, column: &str) -> Option<i32> {
        let text = row.cell(column);
        if text.is_empty() {
            return None;
        }
        let number = text.parse::<i32>().ok().filter(|number| *number > 0);
        if number.is_none() {
            let shown = crate::id::shortened(text);
            self.problem(
                row,
                column,
                format!("`{shown}` is no {}: write 1, 2, 3, ... or leave it blank", column.replace('_', " ")),
            );
        }
        number
    }

    fn flag(&mut self, row: &Row, column: &str) -> Option<bool> {
        match row.cell(column).to_ascii_lowercase().as_str() {
            "" => None,
            "true" | "yes" | "1" => Some(true),
            "false" | "no" | "0" => Some(false),
            other => {
                let shown = crate::id::shortened(other);
                self.problem(row, column, format!("`{shown}` is neither yes nor no: write yes or no"));
                None
            }
        }
    }

    /// The one value of a column over `rows`; a second one is a problem.
    fn once(&mut self, rows: &[&Row], column: &str) -> String {
        let mut first: Option<&str> = None;
        for row in rows {
            let value = row.cell(column);
            if value.is_empty() || first == Some(value) {
                continue;
            }
            if let Some(first) = first {
                let (value, first) = (crate::id::shortened(value), crate::id::shortened(first));
                self.problem(row, column, format!("`{value}`, and `{first}` above: {column} has one value here, so write the same in all its rows"));
                break;
            }
            first = Some(value);
        }
        first.unwrap_or_default().to_owned()
    }

    fn plan(&mut self, rows: &[&Row]) -> Option<PlanDraft> {
        let design = self.once(rows, "order_design");
        let order_design = OrderDesign::from_id(&design);
        if order_design.is_none() && !design.is_empty() {
            let known = listed(OrderDesign::ALL.iter().map(|one| one.id()));
            let shown = crate::id::shortened(&design);
            self.problem(rows[0], "order_design", format!("`{shown}` is no order: write {known}"));
        }
        order_design.map(|order_design| PlanDraft {
            order_design: Some(order_design),
            rounds: self.count(rows[0], "planned_rounds"),
            runs_per_round: self.count(rows[0], "planned_runs_per_round"),
            seed: None,
        })
    }

    /// The conditions of one level; a field has one value over `rows`.
    fn conditions(&mut self, rows: &[&Row], level: Level) -> Vec<ConditionDraft> {
        let mut found = Vec::new();
        for column in self.conditions.clone() {
            let Some(field) = self.catalogue.field(&column).filter(|field| field.level == level) else {
                continue;
            };
            let kind = field.kind;
            let text = self.once(rows, &column);
            if text.is_empty() {
                continue;
            }
            let value = match kind {
                FieldKind::Quantity => Some(WrittenValue::Quantity(QuantityDraft {
                    as_written: text,
                    ..QuantityDraft::default()
                })),
                FieldKind::Choice => Some(WrittenValue::Choice(text)),
                FieldKind::Text | FieldKind::Label => Some(WrittenValue::Text(text)),
                FieldKind::Flag => self.flag(rows[0], &column).map(WrittenValue::Flag),
            };
            found.extend(value.map(|value| ConditionDraft { field: column.clone(), value: Some(value) }));
        }
        found
    }

    /// What was assumed for want of columns, and which columns were left aside.
    fn notes(&self, columns: &[String]) -> Vec<String> {
        let mut notes = Vec::new();
        if !columns.iter().any(|one| one == "position") {
            notes.push("without a column position the order is not known: it is taken as blocked unless order_design says otherwise".to_owned());
        }
        if !self.specimens {
            notes.push("without a column specimen all that a tester ran of a pack is taken as one specimen, shared with nobody".to_owned());
        }
        if !self.charges {
            notes.push(if self.method.run_is_charge {
                "each run is taken as a charge of its own".to_owned()
            } else {
                "without a column charge all runs of an arm are taken as made on one charge".to_owned()
            });
        }
        let known = |one: &&String| {
            COLUMNS.contains(&one.as_str())
                || FURTHER.contains(&one.as_str())
                || self.conditions.contains(*one)
        };
        let aside: Vec<&str> = columns.iter().filter(|one| !known(one)).map(String::as_str).collect();
        if !aside.is_empty() {
            notes.push(format!(
                "columns not read, since {} has no such fields: {}",
                self.method.reference(),
                aside.join(", ")
            ));
        }
        notes
    }
}
