//! Plans of trials.

use benchring_domain::id::PackModelId;
use benchring_domain::plan::{
    Alone, EffectSent, End, Figure, Form, Goal, Outlook, Plan, PlannedPack, PlannedRun, Request, ToRecord,
    Together,
};
use benchring_domain::violation::Violations;

use super::pools::percent_to_wire;
use super::words::{effect_form_from_wire, effect_form_to_wire, figure_basis_to_wire, order_design_to_wire};
use super::{Sent, count_to_wire};
use crate::v1;

/// Reads a request for a plan.
pub fn plan_from_wire(request: v1::PlanTrialRequest) -> Sent<Request> {
    let v1::PlanTrialRequest {
        method,
        packs,
        workpiece_family,
        effect,
        half_width,
        assurance_ratio,
        run_scatter,
        charge_scatter,
        tester_scatter,
        level_ratio,
        power_ratio,
        rounds_count,
        runs_per_round_count,
        order_seed,
    } = request;
    let mut broken = Violations::default();
    let effect = effect.map(|v1::EffectToFind { form, size }| EffectSent {
        form: effect_form_from_wire(form, "effect.form", &mut broken),
        size,
    });
    let mut count = |value: i32, field: &str| {
        u32::try_from(value).unwrap_or_else(|_| {
            broken.add(
                field,
                "OUT_OF_LIMITS",
                format!("{value} is below 0: leave it out for the method's own"),
            );
            0
        })
    };
    let draft = Request {
        method,
        packs,
        workpiece_family,
        effect,
        half_width,
        assurance: assurance_ratio,
        run_scatter,
        charge_scatter,
        tester_scatter,
        level: level_ratio,
        power: power_ratio,
        rounds: count(rounds_count, "rounds_count"),
        runs_per_round: count(runs_per_round_count, "runs_per_round_count"),
        seed: order_seed,
    };
    Sent { draft, broken }
}

/// Writes a plan.
pub fn plan_to_wire(plan: &Plan) -> v1::PlanTrialResponse {
    let asked = &plan.asked;
    let (data_version, evidence_version) = plan.versions.unwrap_or_default();
    v1::PlanTrialResponse {
        method: asked.method.name(),
        title: plan.title.clone(),
        packs: asked.packs.iter().map(pack_to_wire).collect(),
        goal: goal_to_wire(plan),
        level_ratio: asked.level,
        power_ratio: asked.power,
        run_scatter: Some(figure_to_wire(plan, &plan.figures.run)),
        charge_scatter: Some(figure_to_wire(plan, &plan.figures.charge)),
        tester_scatter: Some(figure_to_wire(plan, &plan.figures.testers)),
        rounds_count: count_to_wire(asked.rounds),
        runs_per_round_count: count_to_wire(asked.runs_per_round),
        warm_ups_per_round_count: count_to_wire(asked.warm_ups),
        runs_per_pack_count: count_to_wire(plan.runs_per_arm),
        order_design: order_design_to_wire(plan.order_design),
        order_seed: asked.seed,
        balanced: plan.balanced,
        runs: plan.runs.iter().map(run_to_wire).collect(),
        alone: Some(alone_to_wire(plan, &plan.alone)),
        together: Some(together_to_wire(plan, &plan.together)),
        outlook: plan.outlook.iter().map(|row| outlook_to_wire(plan, row)).collect(),
        runs_stop_paying_count: plan.runs_stop_paying.map(count_to_wire),
        notes: plan
            .notes
            .iter()
            .map(|note| v1::PlanNote { name: note.kind.id().to_owned(), message: note.text.clone() })
            .collect(),
        sentences: plan.findings(),
        steps: plan.steps.clone(),
        order_rule: plan.order_rule.clone(),
        cautions: plan.cautions.clone(),
        record: plan.record.iter().map(field_to_wire).collect(),
        ends: plan.ends.iter().map(end_to_wire).collect(),
        run_sheet_text: plan.run_sheet_text(),
        run_sheet_csv: plan.run_sheet_csv(),
        catalogue_version: plan.catalogue_version.clone(),
        data_version,
        evidence_version,
        engine_version: plan.engine_version.to_owned(),
    }
}

fn pack_to_wire(pack: &PlannedPack) -> v1::PlannedPack {
    let PlannedPack { model, label } = pack;
    let pack_model = model.as_ref().map(PackModelId::name).unwrap_or_default();
    v1::PlannedPack { pack_model, label: label.clone() }
}

fn run_to_wire(run: &PlannedRun) -> v1::PlannedRun {
    let PlannedRun { position, round, pack, warm_up } = *run;
    v1::PlannedRun {
        position: count_to_wire(position),
        round: count_to_wire(round),
        pack: i32::try_from(pack).unwrap_or(i32::MAX),
        warm_up,
    }
}

fn goal_to_wire(plan: &Plan) -> Option<v1::PlanGoal> {
    match plan.asked.goal {
        Goal::AsMethod => None,
        Goal::Effect { form, size: _, pooled } => Some(v1::PlanGoal {
            form: effect_form_to_wire(form),
            effect: Some(if form == Form::Difference { pooled } else { pooled.exp() }),
            percent: plan.percent().map(percent_to_wire),
            half_width: None,
            assurance_ratio: None,
        }),
        Goal::HalfWidth { size: _, pooled, assurance } => Some(v1::PlanGoal {
            form: 0,
            effect: None,
            percent: None,
            half_width: Some(half_width_to_wire(plan, pooled)),
            assurance_ratio: assurance,
        }),
    }
}

fn half_width_to_wire(plan: &Plan, pooled: f64) -> v1::HalfWidth {
    v1::HalfWidth {
        pooled,
        down_percent: plan.ratio.then(|| -100.0 * (-pooled).exp_m1()),
        up_percent: plan.ratio.then(|| 100.0 * pooled.exp_m1()).filter(|up| up.is_finite()),
        unit: if plan.ratio { "1".to_owned() } else { plan.unit.clone() },
    }
}

fn figure_to_wire(plan: &Plan, figure: &Figure) -> v1::PlanFigure {
    let Figure { sd: _, rests_on, count, source } = figure;
    v1::PlanFigure {
        value: plan.scatter(figure),
        unit: if plan.ratio { "%".to_owned() } else { plan.unit.clone() },
        basis: figure_basis_to_wire(*rests_on),
        basis_count: i32::try_from(*count).unwrap_or(i32::MAX),
        source: source.clone(),
    }
}

fn alone_to_wire(plan: &Plan, alone: &Alone) -> v1::PlanAlone {
    let Alone { half_width, power, rounds, runs_per_arm, power_then, runs_without_charges } = *alone;
    v1::PlanAlone {
        half_width: half_width.map(|half| half_width_to_wire(plan, half)),
        power_ratio: power,
        rounds_count: rounds.map(count_to_wire),
        runs_per_pack_count: runs_per_arm.map(count_to_wire),
        power_then_ratio: power_then,
        runs_without_charges_count: runs_without_charges.map(count_to_wire),
    }
}

fn together_to_wire(plan: &Plan, together: &Together) -> v1::PlanTogether {
    let Together { testers, power, half_width } = *together;
    v1::PlanTogether {
        testers_count: testers.map(count_to_wire),
        power_ratio: power,
        half_width: half_width.map(|half| half_width_to_wire(plan, half)),
    }
}

fn outlook_to_wire(plan: &Plan, row: &Outlook) -> v1::PlanOutlook {
    let Outlook { testers, half_width, power } = *row;
    v1::PlanOutlook {
        testers_count: count_to_wire(testers),
        half_width: Some(half_width_to_wire(plan, half_width)),
        power_ratio: power,
    }
}

fn field_to_wire(field: &ToRecord) -> v1::FieldToRecord {
    let ToRecord { field, label, level, unit, symbol: _, required, choices, note } = field;
    v1::FieldToRecord {
        field: field.clone(),
        label: label.clone(),
        level: level.id().to_owned(),
        unit: unit.clone(),
        required: *required,
        choices: choices.clone(),
        note: note.clone(),
    }
}

fn end_to_wire(end: &End) -> v1::PlannedEnd {
    let End { criterion, meaning } = end;
    v1::PlannedEnd { criterion: criterion.clone(), meaning: meaning.clone() }
}
