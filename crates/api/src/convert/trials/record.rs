//! Trials as kept, or as they would be.

use benchring_domain::clock::Timestamp;
use benchring_domain::confirmation::Confirmation;
use benchring_domain::finding::Finding;
use benchring_domain::id::{PackModelId, TesterId, ToolModelId, TrialId};
use benchring_domain::standing::Standing;
use benchring_domain::trial::summary::{ArmSummary, ClassBasis, LeftOut, TrialSummary};
use benchring_domain::trial::{Arm, Charge, Checked, Conditions, Plan, Run, Trial, Value};
use benchring_domain::violation::Violations;

use super::View;
use crate::convert::count_to_wire;
use crate::convert::findings::{findings_to_wire, open_to_wire};
use crate::convert::quantity::{quantity_to_wire, violations_to_wire};
use crate::convert::time::time_to_wire;
use crate::convert::words::{
    end_criterion_to_wire, interest_to_wire, order_design_to_wire, standing_to_wire,
};
use crate::v1;
use crate::v1::condition::Value as WireValue;

/// A trial with everything that stands beside it.
#[derive(Debug, Clone, Copy)]
pub struct TrialRecord<'a> {
    /// Its id; `None` for one that is checked only.
    pub id: Option<&'a TrialId>,
    /// Its tester.
    pub tester: &'a TesterId,
    /// The trial.
    pub trial: &'a Trial,
    /// What the check noticed.
    pub findings: &'a [Finding],
    /// The trial whose readings it has; `None` where there is none, or none that the reader may know.
    pub duplicate_of: Option<&'a TrialId>,
    /// What pooling keeps of it.
    pub summary: &'a TrialSummary,
    /// What is known of it since it was received; `None` for one that is checked only.
    pub kept: Option<Kept<'a>>,
}

/// What is known of a trial since it was received.
#[derive(Debug, Clone, Copy)]
pub struct Kept<'a> {
    /// Where it stands.
    pub standing: Standing,
    /// Revision, from 1.
    pub revision: u32,
    /// When it was received.
    pub submit_time: Timestamp,
    /// When standing or content last changed.
    pub update_time: Timestamp,
    /// Decisions, oldest first.
    pub decisions: &'a [TrialDecision],
    /// Answers to what was found in it.
    pub confirmations: &'a [Confirmation],
    /// Entity tag, quotes included.
    pub etag: &'a str,
}

/// A decision that was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrialDecision {
    /// The moderator.
    pub moderator: TesterId,
    /// Standing the decision led to.
    pub standing: Standing,
    /// The reason given.
    pub reason: String,
    /// When.
    pub decide_time: Timestamp,
}

/// Writes a trial.
pub fn trial_to_wire(record: &TrialRecord<'_>, view: View) -> v1::Trial {
    let basic = heading_to_wire(record);
    let findings = || findings_to_wire(record.findings, record.confirmations(), record.duplicate_of);
    match view {
        View::Basic => basic,
        View::Noticed => v1::Trial { findings: findings(), ..basic },
        View::Full => v1::Trial {
            conditions: conditions_to_wire(&record.trial.conditions),
            arms: arms_to_wire(&record.trial.arms, &record.summary.arms),
            findings: findings(),
            ..basic
        },
    }
}

impl<'a> TrialRecord<'a> {
    fn confirmations(&self) -> &'a [Confirmation] {
        self.kept.map(|kept| kept.confirmations).unwrap_or_default()
    }
}

fn heading_to_wire(record: &TrialRecord<'_>) -> v1::Trial {
    let TrialRecord { id, tester, trial, findings, duplicate_of: _, summary, kept } = record;
    let Trial {
        method,
        tool_model,
        tool_label,
        performed_time,
        conditions: _,
        plan,
        interest,
        licence,
        arms: _,
        note,
    } = trial;
    let decisions = kept.map(|kept| kept.decisions).unwrap_or_default();
    v1::Trial {
        name: id.map(TrialId::name).unwrap_or_default(),
        tester: tester.name(),
        method: method.name(),
        tool_model: tool_model.as_ref().map(ToolModelId::name).unwrap_or_default(),
        tool_label: tool_label.clone(),
        performed_time: Some(time_to_wire(*performed_time)),
        conditions: Vec::new(),
        plan: Some(plan_to_wire(plan)),
        interest: interest_to_wire(*interest),
        licence: licence.id().to_owned(),
        arms: Vec::new(),
        note: note.clone(),
        standing: standing_to_wire(kept.map_or(Standing::Pending, |kept| kept.standing)),
        findings: Vec::new(),
        pooling_obstacles: summary.left_out.iter().map(obstacle_to_wire).collect(),
        demand_class: summary.demand_class.clone().unwrap_or_default(),
        demand_class_basis: class_basis_to_wire(summary.class_basis).to_owned(),
        revision_count: kept.map_or(0, |kept| count_to_wire(kept.revision)),
        submit_time: kept.map(|kept| time_to_wire(kept.submit_time)),
        update_time: kept.map(|kept| time_to_wire(kept.update_time)),
        decisions: decisions.iter().map(decision_to_wire).collect(),
        etag: kept.map(|kept| kept.etag.to_owned()).unwrap_or_default(),
        open_findings_count: open_to_wire(findings, record.confirmations()),
    }
}

fn plan_to_wire(plan: &Plan) -> v1::TrialPlan {
    let Plan { order_design, rounds, runs_per_round, seed } = plan;
    v1::TrialPlan {
        order_design: order_design_to_wire(*order_design),
        rounds_count: rounds.map(count_to_wire),
        runs_per_round_count: runs_per_round.map(count_to_wire),
        order_seed: *seed,
    }
}

fn arms_to_wire(arms: &[Arm], summaries: &[ArmSummary]) -> Vec<v1::TrialArm> {
    let model = |arm: &Arm| summaries.iter().find(|summary| summary.specimen == arm.specimen);
    let one = |arm: &Arm| {
        let Arm { specimen, conditions, charges_known, charges } = arm;
        v1::TrialArm {
            pack_specimen: specimen.name(),
            pack_model: model(arm).map(|summary| PackModelId::name(&summary.pack_model)).unwrap_or_default(),
            conditions: conditions_to_wire(conditions),
            charges_unknown: !charges_known,
            charges: charges.iter().map(charge_to_wire).collect(),
        }
    };
    arms.iter().map(one).collect()
}

fn charge_to_wire(charge: &Charge) -> v1::TrialCharge {
    let Charge { conditions, effective_starting_state, runs } = charge;
    v1::TrialCharge {
        conditions: conditions_to_wire(conditions),
        effective_starting_state: effective_starting_state.clone().unwrap_or_default(),
        runs: runs.iter().map(run_to_wire).collect(),
    }
}

fn run_to_wire(run: &Run) -> v1::TrialRun {
    let Run { round, position, warm_up, reading, end_criterion, outcome, conditions, note } = run;
    v1::TrialRun {
        round_count: round.map(count_to_wire),
        position_count: position.map(count_to_wire),
        warm_up: *warm_up,
        reading: reading.as_ref().map(quantity_to_wire),
        end_criterion: end_criterion_to_wire(*end_criterion),
        outcome: outcome.id().to_owned(),
        conditions: conditions_to_wire(conditions),
        note: note.clone(),
    }
}

fn conditions_to_wire(conditions: &Conditions) -> Vec<v1::Condition> {
    let one = |(field, value): (&String, &Value)| v1::Condition {
        field: field.clone(),
        value: Some(match value {
            Value::Quantity(quantity) => WireValue::Quantity(quantity_to_wire(quantity)),
            Value::Choice(choice) => WireValue::Choice(choice.clone()),
            Value::Text(text) => WireValue::Text(text.clone()),
            Value::Flag(flag) => WireValue::Flag(*flag),
        }),
    };
    conditions.iter().map(one).collect()
}

fn obstacle_to_wire(left_out: &LeftOut) -> v1::PoolingObstacle {
    let LeftOut { reason, message } = left_out;
    v1::PoolingObstacle { reason: reason.clone(), message: message.clone() }
}

fn class_basis_to_wire(basis: ClassBasis) -> &'static str {
    match basis {
        ClassBasis::Measured => "measured",
        ClassBasis::Assumed => "assumed",
        ClassBasis::Unknown => "unknown",
    }
}

fn decision_to_wire(decision: &TrialDecision) -> v1::TrialDecision {
    let TrialDecision { moderator, standing, reason, decide_time } = decision;
    v1::TrialDecision {
        moderator: moderator.name(),
        standing: standing_to_wire(*standing),
        reason: reason.clone(),
        decide_time: Some(time_to_wire(*decide_time)),
    }
}

/// Writes what a check found: the trial as it would be kept, or every rule broken. `duplicate_of` as in
/// [`TrialRecord`].
pub fn check_to_wire(
    checked: Result<Checked, Violations>,
    tester: &TesterId,
    duplicate_of: Option<&TrialId>,
    cautions: Vec<String>,
) -> v1::CheckTrialResponse {
    match checked {
        Ok(Checked { trial, findings, summary }) => {
            let record = TrialRecord {
                id: None,
                tester,
                trial: &trial,
                findings: &findings,
                duplicate_of,
                summary: &summary,
                kept: None,
            };
            let trial = Some(trial_to_wire(&record, View::Full));
            v1::CheckTrialResponse { violations: Vec::new(), trial, cautions }
        }
        Err(broken) => {
            v1::CheckTrialResponse { violations: violations_to_wire(broken), trial: None, cautions }
        }
    }
}
