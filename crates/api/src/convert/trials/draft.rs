//! Trials as sent.

use benchring_domain::trial::draft::PlanDraft;
use benchring_domain::trial::{ArmDraft, ChargeDraft, ConditionDraft, RunDraft, TrialDraft, WrittenValue};
use benchring_domain::violation::Violations;

use crate::convert::quantity::quantity_from_wire;
use crate::convert::time::time_from_wire;
use crate::convert::words::{
    end_criterion_from_wire, interest_from_wire, licence_from_wire, order_design_from_wire,
};
use crate::convert::{Sent, each};
use crate::v1;
use crate::v1::condition::Value;

/// Reads a trial.
pub fn trial_from_wire(sent: v1::Trial) -> Sent<TrialDraft> {
    let v1::Trial {
        name: _,
        tester: _,
        method,
        tool_model,
        tool_label,
        performed_time,
        conditions,
        plan,
        interest,
        licence,
        arms,
        note,
        standing: _,
        findings: _,
        pooling_obstacles: _,
        demand_class: _,
        demand_class_basis: _,
        revision_count: _,
        submit_time: _,
        update_time: _,
        decisions: _,
        etag: _,
        open_findings_count: _,
    } = sent;
    let mut broken = Violations::default();
    let draft = TrialDraft {
        method,
        tool_model,
        tool_label,
        performed_time: time_from_wire(performed_time, "performed_time", &mut broken),
        conditions: conditions_from_wire(conditions),
        plan: plan.map(|plan| plan_from_wire(plan).under(|| "plan".to_owned(), &mut broken)),
        interest: interest_from_wire(interest, "interest", &mut broken),
        licence: licence_from_wire(&licence, "licence", &mut broken),
        arms: each(arms, "arms", &mut broken, arm_from_wire),
        note,
    };
    Sent { draft, broken }
}

fn plan_from_wire(sent: v1::TrialPlan) -> Sent<PlanDraft> {
    let v1::TrialPlan { order_design, rounds_count, runs_per_round_count, order_seed } = sent;
    let mut broken = Violations::default();
    let draft = PlanDraft {
        order_design: order_design_from_wire(order_design, "order_design", &mut broken),
        rounds: rounds_count,
        runs_per_round: runs_per_round_count,
        seed: order_seed,
    };
    Sent { draft, broken }
}

fn arm_from_wire(sent: v1::TrialArm) -> Sent<ArmDraft> {
    let v1::TrialArm { pack_specimen, pack_model: _, conditions, charges_unknown, charges } = sent;
    let mut broken = Violations::default();
    let draft = ArmDraft {
        pack_specimen,
        conditions: conditions_from_wire(conditions),
        charges_unknown,
        charges: each(charges, "charges", &mut broken, charge_from_wire),
    };
    Sent { draft, broken }
}

fn charge_from_wire(sent: v1::TrialCharge) -> Sent<ChargeDraft> {
    let v1::TrialCharge { conditions, runs, effective_starting_state: _ } = sent;
    let mut broken = Violations::default();
    let draft = ChargeDraft {
        conditions: conditions_from_wire(conditions),
        runs: each(runs, "runs", &mut broken, run_from_wire),
    };
    Sent { draft, broken }
}

fn run_from_wire(sent: v1::TrialRun) -> Sent<RunDraft> {
    let v1::TrialRun {
        round_count,
        position_count,
        warm_up,
        reading,
        end_criterion,
        outcome: _,
        conditions,
        note,
    } = sent;
    let mut broken = Violations::default();
    let draft = RunDraft {
        round: round_count,
        position: position_count,
        warm_up,
        reading: reading.map(quantity_from_wire),
        end_criterion: end_criterion_from_wire(end_criterion, "end_criterion", &mut broken),
        conditions: conditions_from_wire(conditions),
        note,
    };
    Sent { draft, broken }
}

fn conditions_from_wire(sent: Vec<v1::Condition>) -> Vec<ConditionDraft> {
    let one = |condition: v1::Condition| {
        let v1::Condition { field, value } = condition;
        let value = value.map(|value| match value {
            Value::Quantity(quantity) => WrittenValue::Quantity(quantity_from_wire(quantity)),
            Value::Choice(choice) => WrittenValue::Choice(choice),
            Value::Text(text) => WrittenValue::Text(text),
            Value::Flag(flag) => WrittenValue::Flag(flag),
        });
        ConditionDraft { field, value }
    };
    sent.into_iter().map(one).collect()
}
