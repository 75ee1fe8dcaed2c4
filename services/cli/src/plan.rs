//! `benchring plan`: how many runs and testers a question takes, and the run sheet.

use std::fmt::Write as _;

use anyhow::Context as _;
use benchring_api::convert::plans::plan_to_wire;
use benchring_api::v1::PlanTrialResponse;
use benchring_domain::id::MethodId;
use benchring_domain::method::Catalogue;
use benchring_domain::plan::{Asked, EffectSent, Figures, Plan, Request, RestsOn, Shown};
use benchring_domain::violation::{Violation, Violations};
use prost_reflect::DynamicMessage;
use prost_reflect::prost::Message as _;
use serde_json::json;

use crate::args::Plan as Args;
use crate::run::asked_method;
use crate::table::Table;
use crate::{Done, out};

/// Makes the plan and tells it.
pub(crate) fn plan(args: &Args, catalogue: &Catalogue) -> anyhow::Result<Done> {
    let asked = match asked(args, catalogue) {
        Ok(asked) => asked,
        Err(broken) => return refused(args, &broken),
    };
    let plan = asked.plan(catalogue, &Shown::default()).context("the plan")?;
    let text = if args.json {
        format!("{}\n", serde_json::to_string_pretty(&wire_json(&plan_to_wire(&plan))?)?)
    } else if args.csv {
        plan.run_sheet_csv()
    } else {
        told(&plan, out::coloured())
    };
    Ok(Done { code: 0, out: text, err: String::new() })
}

/// The options as the domain judges them, and what only a command line can get wrong.
fn asked(args: &Args, catalogue: &Catalogue) -> Result<Asked, Vec<Violation>> {
    let current = MethodId::parse(&args.method).ok().and_then(|id| catalogue.current(&id));
    let mut own = Violations::default();
    if args.form.is_some() && args.effect.is_none() {
        own.add(
            "effect.form",
            "NOT_TAKEN",
            "a form says what the size of an effect means: give --effect too",
        );
    }
    own_limits(args, &mut own);
    let request = Request {
        method: current.map_or_else(|| args.method.clone(), |method| method.reference().name()),
        packs: args.packs.clone(),
        workpiece_family: args.workpiece_family.clone().unwrap_or_default(),
        effect: args.effect.map(|size| EffectSent { form: args.form, size }),
        half_width: args.half_width,
        assurance: args.assurance,
        run_scatter: args.run_scatter,
        charge_scatter: args.charge_scatter,
        tester_scatter: args.tester_scatter,
        level: args.level,
        power: args.power,
        rounds: args.rounds.unwrap_or_default(),
        runs_per_round: args.runs_per_round.unwrap_or_default(),
        seed: args.seed,
    };
    let judged = request.check(catalogue);
    let mut broken = own.as_slice().to_vec();
    match judged {
        Ok(asked) if broken.is_empty() => return Ok(asked),
        Ok(_) => {}
        Err(found) => broken.extend(found.as_slice().iter().cloned()),
    }
    // A method is called by its short id here, so the remedy lists those.
    for one in broken.iter_mut().filter(|one| one.field == "method") {
        if let Err(unknown) = asked_method(&args.method, catalogue) {
            let text = unknown.to_string();
            text.strip_prefix("--method ").unwrap_or(&text).clone_into(&mut one.message);
        }
    }
    Err(broken)
}

/// A zero reads as the default where a request is sent; written out on a command line it is a mistake.
fn own_limits(args: &Args, broken: &mut Violations) {
    for (field, value) in [("level_ratio", args.level), ("power_ratio", args.power)] {
        if value == 0.0 {
            broken.add(field, "OUT_OF_LIMITS", "0 is no share to plan with: write 0.9 for 90 %");
        }
    }
    for (field, value) in [("rounds_count", args.rounds), ("runs_per_round_count", args.runs_per_round)] {
        if value == Some(0) {
            broken.add(field, "OUT_OF_LIMITS", "0 is too few: leave it out for the method's own number");
        }
    }
}

/// The option that fills a field of the request.
fn option_of(field: &str) -> String {
    match field {
        "method" => "--method".to_owned(),
        "workpiece_family" => "--workpiece-family".to_owned(),
        "effect.form" => "--form".to_owned(),
        "effect.size" => "--effect".to_owned(),
        "half_width" => "--half-width".to_owned(),
        "assurance_ratio" => "--assurance".to_owned(),
        "level_ratio" => "--level".to_owned(),
        "power_ratio" => "--power".to_owned(),
        "rounds_count" => "--rounds".to_owned(),
        "runs_per_round_count" => "--runs-per-round".to_owned(),
        other => match other.strip_prefix("packs") {
            Some(place) => format!("--pack{place}"),
            None => format!("--{}", other.replace('_', "-")),
        },
    }
}

/// Says everything that is wrong: on standard error, and as JSON where that was asked for.
fn refused(args: &Args, broken: &[Violation]) -> anyhow::Result<Done> {
    let mut err = String::new();
    for one in broken {
        let _ = writeln!(
            err,
            "benchring: {}: {} ({})",
            option_of(&one.field),
            one.message,
            one.reason.to_lowercase()
        );
    }
    let errors = broken.iter().map(|one| {
        json!({"option": option_of(&one.field), "reason": one.reason.to_lowercase(), "message": one.message})
    });
    let out = if args.json {
        let errors: Vec<_> = errors.collect();
        format!("{}\n", serde_json::to_string_pretty(&json!({ "errors": errors }))?)
    } else {
        String::new()
    };
    Ok(Done { code: 2, out, err })
}

/// The plan as the service answers it.
fn wire_json(answer: &PlanTrialResponse) -> anyhow::Result<serde_json::Value> {
    let kind = benchring_api::descriptors()
        .get_message_by_name("benchring.v1.PlanTrialResponse")
        .context("the shape of a plan")?;
    let answer = DynamicMessage::decode(kind, answer.encode_to_vec().as_slice())?;
    serde_json::to_value(&answer).context("the plan as JSON")
}

/// The numbers in tables, then the run sheet, which says them in words and in its notes whence each figure is.
fn told(plan: &Plan, coloured: bool) -> String {
    let mut text = out::heading("Scatter reckoned with, one standard deviation", coloured);
    text.push_str(&scatter_table(plan));
    text.push('\n');
    let heading =
        format!("Half-widths to expect at a level of {}, every tester by this plan", plan.asked.level);
    text.push_str(&out::heading(&heading, coloured));
    text.push_str(&outlook_table(plan));
    text.push('\n');
    text.push_str(&plan.run_sheet_text());
    if !text.ends_with('\n') {
        text.push('\n');
    }
    text
}

fn scatter_table(plan: &Plan) -> String {
    let unit = if plan.ratio { "%" } else { plan.symbol.as_str() };
    let mut table = Table::new(&["between", unit, "basis"]);
    let Figures { run, charge, testers } = &plan.figures;
    for (name, figure) in [("runs", run), ("charges", charge), ("testers", testers)] {
        let contained = figure.rests_on == RestsOn::Contained;
        let value = if contained { "-".to_owned() } else { format!("{:.2}", plan.scatter(figure)) };
        let basis = figure.rests_on.id().replace('_', " ");
        table.row(vec![name.to_owned(), value, basis]);
    }
    table.text()
}

fn outlook_table(plan: &Plan) -> String {
    let powered = plan.outlook.iter().any(|row| row.power.is_some());
    let symbol = plan.symbol.as_str();
    let widths: &[&str] = if plan.ratio { &["down %", "up %"] } else { &[symbol] };
    let power: &[&str] = if powered { &["power %"] } else { &[] };
    let mut table = Table::new(&[&["testers"], widths, power].concat());
    for row in &plan.outlook {
        let half = row.half_width;
        let mut cells = vec![row.testers.to_string()];
        if plan.ratio {
            cells.extend([100.0 * (-half).exp_m1(), 100.0 * half.exp_m1()].map(|one| format!("{one:+.1}")));
        } else {
            cells.push(format!("±{half:.4}"));
        }
        if powered {
            cells.push(row.power.map_or_else(|| "-".to_owned(), |power| format!("{:.1}", 100.0 * power)));
        }
        table.row(cells);
    }
    table.text()
}
