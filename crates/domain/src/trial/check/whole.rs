//! What stands once for the trial: method, tool, time, disclosure, plan, note.

use jiff::{SignedDuration, Timestamp};

use crate::disclosure::{Interest, Licence};
use crate::finding::FindingKind;
use crate::id::ToolModelId;
use crate::method::{Level, METHODS_LISTED, Method, known};
use crate::reason;
use crate::text::{TextRule, listed};
use crate::tool::ToolModel;
use crate::trial::check::parts::ReadConditions;
use crate::trial::check::{Check, MOST_RUNS, named_method};
use crate::trial::draft::PlanDraft;
use crate::trial::{OrderDesign, Plan};

/// How far ahead of the server's clock a time may lie.
const MOST_AHEAD: SignedDuration = SignedDuration::from_hours(7 * 24);
/// Begin of 2000 in UTC: nothing to be compared here was measured before.
const EARLIEST: Timestamp = Timestamp::constant(946_684_800, 0);

/// What could be read of it.
pub(in crate::trial) struct Whole<'a> {
    pub(in crate::trial) tool_model: Option<&'a ToolModel>,
    pub(in crate::trial) conditions: ReadConditions,
    pub(in crate::trial) plan: Option<Plan>,
}

impl<'a> Check<'a> {
    /// Why the draft has no method version.
    pub(super) fn no_method(&mut self) {
        let catalogue = self.catalogue;
        if self.draft.method.is_empty() {
            self.broken.add(
                "method",
                reason::REQUIRED,
                format!("the method version is missing: {METHODS_LISTED}"),
            );
            return;
        }
        match named_method(self.draft) {
            Ok(named) => {
                let instead = catalogue.instead_of(&named);
                self.broken.add(
                    "method",
                    reason::UNKNOWN_METHOD,
                    format!("there is no method version {}: {instead}", named.name()),
                );
            }
            Err(error) => {
                self.broken.add("method", reason::NOT_A_NAME, format!("{error}; {METHODS_LISTED}"));
            }
        }
    }

    /// Everything that stands once for the trial.
    pub(super) fn whole(&mut self, method: Option<&'a Method>) -> Whole<'a> {
        let draft = self.draft;
        let tool_model = method.and_then(|method| self.tool(method));
        self.performed_time();
        let conditions = match method {
            Some(method) => self.conditions(method, &draft.conditions, "", Level::Trial, true),
            None => ReadConditions::default(),
        };
        let plan = self.plan();
        self.disclosure();
        TextRule::note(2000).check(&mut self.broken, "note", "the note", &draft.note);
        Whole { tool_model, conditions, plan }
    }

    fn tool(&mut self, method: &Method) -> Option<&'a ToolModel> {
        let draft = self.draft;
        let label = draft.tool_label.trim();
        if draft.tool_model.is_empty() {
            let needed = method.requires(known::TOOL);
            if needed {
                self.broken.add(
                    "tool_model",
                    reason::REQUIRED,
                    format!("{} is done with a tool: name its model as toolModels/{{id}}", method.id),
                );
            }
            if needed && label.is_empty() {
                self.require_tool_label();
            } else if !needed && !label.is_empty() {
                self.broken.add(
                    "tool_label",
                    reason::NOT_TAKEN,
                    "a tool label without a tool model: name the model too, or leave the label out",
                );
            }
            return None;
        }
        if !method.uses(known::TOOL) {
            self.broken.add(
                "tool_model",
                reason::NOT_TAKEN,
                format!("{} is done without a tool: leave tool_model and tool_label out", method.id),
            );
            return None;
        }
        if label.is_empty() {
            self.require_tool_label();
        } else {
            TextRule::label(true).check(
                &mut self.broken,
                "tool_label",
                "the label of the tool",
                &draft.tool_label,
            );
        }
        self.tool_named()
    }

    fn require_tool_label(&mut self) {
        self.broken.add(
            "tool_label",
            reason::REQUIRED,
            "the label of the very tool is missing: give your own name for it, such as \"driver 2\", 1 to 80 characters",
        );
    }

    fn tool_named(&mut self) -> Option<&'a ToolModel> {
        let id = match ToolModelId::from_name(&self.draft.tool_model) {
            Ok(id) => id,
            Err(error) => {
                self.broken.add("tool_model", reason::NOT_A_NAME, error.to_string());
                return None;
            }
        };
        let found = self.references.tool_models.get(&id);
        if found.is_none() {
            self.broken.add(
                "tool_model",
                reason::UNKNOWN_TOOL_MODEL,
                format!("no tool model {} is registered: search for it, or register it first", id.name()),
            );
        }
        found
    }

    fn performed_time(&mut self) {
        let now = self.now;
        let Some(time) = self.draft.performed_time else {
            self.broken.add(
                "performed_time",
                reason::REQUIRED,
                "when the first run was made is missing: give date and time with its offset (RFC 3339)",
            );
            return;
        };
        let ahead = time.duration_since(now);
        if ahead > MOST_AHEAD {
            self.broken.add(
                "performed_time",
                reason::TIME_AHEAD,
                format!(
                    "{time} lies more than 7 days ahead of the server's clock, {now}: give when the first run was made"
                ),
            );
        } else if ahead.is_positive() {
            self.ask(
                FindingKind::ClockSkew,
                "performed_time",
                format!(
                    "{time} lies ahead of the server's clock, {now}: correct the clock of the device, or the time"
                ),
                format!("was the first run made at {time}?"),
            );
        } else if time < EARLIEST {
            self.broken.add(
                "performed_time",
                reason::TIME_TOO_EARLY,
                format!("{time} lies before 2000: give when the first run was made"),
            );
        }
    }

    fn disclosure(&mut self) {
        let draft = self.draft;
        match draft.interest {
            None => self.broken.add(
                "interest",
                reason::REQUIRED,
                format!(
                    "your interest in the outcome is missing: choose {}",
                    listed(Interest::ALL.iter().map(|interest| interest.id()))
                ),
            ),
            Some(Interest::Other) if draft.note.trim().is_empty() => self.broken.add(
                "note",
                reason::REQUIRED,
                "the interest is `other`: say in the note what it is",
            ),
            Some(_) => {}
        }
        if draft.licence.is_none() {
            self.broken.add(
                "licence",
                reason::REQUIRED,
                format!(
                    "the licence you give is missing: choose {}",
                    listed(Licence::ALL.iter().map(|licence| licence.id()))
                ),
            );
        }
    }

    fn plan(&mut self) -> Option<Plan> {
        let Some(plan) = &self.draft.plan else {
            self.broken.add(
                "plan",
                reason::REQUIRED,
                "the plan is missing: say at least its order_design, `not_recorded` where nothing was planned",
            );
            return None;
        };
        let PlanDraft { order_design, rounds, runs_per_round, seed } = *plan;
        if order_design.is_none() {
            self.broken.add(
                "plan.order_design",
                reason::REQUIRED,
                format!(
                    "how the order was made is missing: choose {}",
                    listed(OrderDesign::ALL.iter().map(|design| design.id()))
                ),
            );
        }
        let rounds = self.count("plan.rounds_count", "the number of rounds", rounds);
        let runs_per_round =
            self.count("plan.runs_per_round_count", "the number of runs in a round", runs_per_round);
        Some(Plan { order_design: order_design?, rounds, runs_per_round, seed })
    }

    /// A count from 1 to the greatest number of runs.
    pub(super) fn count(&mut self, path: &str, what: &str, count: Option<i32>) -> Option<u32> {
        let given = count?;
        let taken = u32::try_from(given).ok().filter(|n| (1..=MOST_RUNS).contains(&(*n as usize)));
        if taken.is_none() {
            self.broken.add(
                path,
                reason::OUT_OF_LIMITS,
                format!("{what} is {given}, and 1 to {MOST_RUNS} is taken: count from 1, or leave it out"),
            );
        }
        taken
    }
}
