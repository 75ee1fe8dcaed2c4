//! An analysis as JSON. Absent numbers are null; the top level is the leading stratum, the others stand in
//! `other_strata`.

use benchring_domain::analysis::{AnalysedPair, AnalysedStratum, Analysis, Names};
use benchring_domain::finding::Finding;
use benchring_domain::id::TrialId;
use benchring_domain::pool::answer::{
    EffectScale, Interval, LeftOut, PercentForms, PoolWarning, PooledEffect, TesterRow,
};
use benchring_domain::pool::question::Options;
use benchring_domain::pool::{ENGINE_VERSION, Evidence};
use serde_json::{Map, Value, json};

use crate::analyse::flag;
use crate::network;
use crate::run::Loaded;

/// The whole analysis.
pub(crate) fn analysis(found: &Analysis, loaded: &Loaded, evidence: &Evidence) -> Value {
    let names = &loaded.names;
    let rankings = network::rankings(found, loaded, evidence);
    let strata: Vec<Map<String, Value>> = found
        .strata
        .iter()
        .zip(&rankings)
        .map(|(one, ranked)| {
            let mut told = stratum(one, names);
            told.insert("network".into(), network::network(ranked, loaded, evidence));
            told.insert("no_network".into(), json!(ranked.as_ref().err()));
            told
        })
        .collect();
    let mut strata = strata.into_iter();
    let mut told = strata.next().unwrap_or_default();
    let findings = loaded.gathered.findings.iter();
    let left_out = found.left_out.iter().chain(&loaded.gathered.left_out);
    let unit = loaded.method.response.measure.dimension.canonical().ucum;
    told.insert("method".into(), json!(found.method.name()));
    told.insert("options".into(), options(&found.options, unit, found, names));
    told.insert("engine_version".into(), json!(ENGINE_VERSION));
    told.insert("trials".into(), json!(loaded.gathered.trials.len()));
    let (flags, others): (Vec<_>, Vec<_>) = findings.partition(|(_, one)| flag(one.kind));
    let told_each = |all: Vec<&(TrialId, Finding)>| -> Value {
        all.into_iter().map(|(trial, one)| finding(&names.trial(trial), one)).collect()
    };
    told.insert("screening".into(), told_each(flags));
    told.insert("findings".into(), told_each(others));
    told.insert("left_out_of_all".into(), left_out.map(|one| left(one, names)).collect());
    told.insert("notes".into(), json!(loaded.notes));
    told.insert("unchecked".into(), json!(loaded.gathered.unchecked));
    told.insert("other_strata".into(), strata.map(Value::Object).collect());
    Value::Object(told)
}

fn options(options: &Options, unit: &str, found: &Analysis, names: &Names) -> Value {
    json!({
        "variance": options.variance.id(),
        "tau2": options.heterogeneity.id(),
        "interval": options.interval.id(),
        "vote_cap": options.vote_cap.id(),
        "charge_variance": options.charge_variance.id(),
        "prior": options.prior.id(),
        "order_bias": options.order_bias.id(),
        "level": options.level,
        "resolution": options.resolution.map(|_| options.resolution_text(unit)),
        "reference": found.reference.as_ref().map(|pack| names.pack(pack)),
    })
}

fn stratum(one: &AnalysedStratum, names: &Names) -> Map<String, Value> {
    let mut told = Map::new();
    let shared: Map<String, Value> =
        one.shared.iter().map(|(key, value)| (key.clone(), json!(value))).collect();
    told.insert("shared".into(), Value::Object(shared));
    told.insert("demand_class".into(), json!(one.demand_class));
    told.insert(
        "prior".into(),
        one.prior.map_or(Value::Null, |prior| {
            json!({
                "s02": prior.variance,
                "d0": prior.df.is_finite().then_some(prior.df),
                "d0_infinite": prior.df.is_infinite(),
                "trials": prior.trials,
                "assumed": prior.assumed,
                "charge_sd": prior.charge_sd,
                "charge_assumed": prior.charge_assumed,
            })
        }),
    );
    told.insert("pairs".into(), one.pairs.iter().map(|pair| pair_of(pair, names)).collect());
    let without = one.without_effect.iter().map(|pair| {
        json!({"pack_a": names.pack(&pair.pack_a), "pack_b": names.pack(&pair.pack_b),
               "reason": "one pack never gave an exact reading"})
    });
    told.insert("pairs_without_effect".into(), without.collect());
    told.insert("left_out".into(), one.left_out.iter().map(|one| left(one, names)).collect());
    let warnings = one.pairs.iter().flat_map(|pair| {
        let told = |warning: &PoolWarning| {
            json!({"name": warning.name, "message": warning.message,
                   "pack_a": names.pack(&pair.pack_a), "pack_b": names.pack(&pair.pack_b)})
        };
        pair.stratum.warnings.iter().map(told)
    });
    told.insert("warnings".into(), warnings.collect());
    told
}

/// From the scale told back to the scale of pooling.
pub(crate) fn pooled(scale: EffectScale, value: Option<f64>) -> Option<f64> {
    value.map(|value| if scale.is_ratio() { value.ln() } else { value }).filter(|value| value.is_finite())
}

/// An effect on the scale of pooling: `log_ratio`, or `difference` with its unit.
fn effect(effect: &PooledEffect) -> Map<String, Value> {
    let scale = effect.scale;
    let mut told = Map::new();
    told.insert(key(scale).into(), json!(effect.pooled));
    if !scale.is_ratio() {
        told.insert("unit".into(), json!(scale.unit()));
    }
    let basis = &effect.basis;
    let prediction = effect.prediction.unwrap_or(Interval { estimate: None, lower: None, upper: None });
    let inner = effect.effect_without_order_bias;
    let numbers = json!({
        "se": effect.standard_error,
        "lower": pooled(scale, effect.effect.lower),
        "upper": pooled(scale, effect.effect.upper),
        "lower_without_order_bias": pooled(scale, inner.lower),
        "upper_without_order_bias": pooled(scale, inner.upper),
        "order_bias": effect.order_bias,
        "prediction_lower": pooled(scale, prediction.lower),
        "prediction_upper": pooled(scale, prediction.upper),
        "df": effect.df.is_finite().then_some(effect.df),
        "tau2": effect.tau * effect.tau,
        "tau_assumed": effect.tau_assumed,
        "i2": effect.i2,
        "q": effect.q,
        "q_p": effect.q_p,
        "testers": basis.testers,
        "votes": basis.units,
        "trials": basis.trials,
        "runs_a": basis.runs_a,
        "runs_b": basis.runs_b,
        "specimens_a": basis.specimens_a,
        "specimens_b": basis.specimens_b,
        "percent": percent(effect.percent),
    });
    if let Value::Object(numbers) = numbers {
        told.extend(numbers);
    }
    told
}

pub(crate) fn key(scale: EffectScale) -> &'static str {
    if scale.is_ratio() { "log_ratio" } else { "difference" }
}

fn interval(of: Interval) -> Value {
    json!({"estimate": of.estimate, "lower": of.lower, "upper": of.upper})
}

pub(crate) fn percent(forms: Option<PercentForms>) -> Value {
    match forms {
        None => Value::Null,
        Some(PercentForms::Duration { time_reduction, rate_gain }) => {
            json!({"time_reduction": interval(time_reduction), "rate_gain": interval(rate_gain)})
        }
        Some(PercentForms::Amount { more }) => json!({"more": interval(more)}),
    }
}

fn pair_of(pair: &AnalysedPair, names: &Names) -> Value {
    let stratum = &pair.stratum;
    let scale = stratum.headline.scale;
    let mut told = effect(&stratum.headline);
    let span = |of: Option<Interval>| {
        of.map(|of| {
            let mut told = Map::new();
            if of.estimate.is_some() {
                told.insert(key(scale).into(), json!(pooled(scale, of.estimate)));
            }
            told.insert("lower".into(), json!(pooled(scale, of.lower)));
            told.insert("upper".into(), json!(pooled(scale, of.upper)));
            Value::Object(told)
        })
    };
    let beside = |of: &Option<PooledEffect>| of.as_ref().map(|of| Value::Object(effect(of)));
    let more = json!({
        "pack_a": names.pack(&pair.pack_a),
        "pack_b": names.pack(&pair.pack_b),
        "weights": stratum.rows.iter().map(|row| weight(row, scale, names)).collect::<Vec<_>>(),
        "leave_one_out": span(stratum.leave_one_out),
        "equal_vote": span(stratum.equal_vote),
        "without_blocked": beside(&stratum.without_blocked),
        "with_pending": beside(&stratum.with_pending),
        "complete_case": beside(&stratum.complete_case),
        "failed_as_slowest": beside(&stratum.failed_as_slowest),
        "warnings": stratum.warnings.iter().map(|one| one.name).collect::<Vec<_>>(),
        "wording": pair.wording,
    });
    if let Value::Object(more) = more {
        told.extend(more);
    }
    Value::Object(told)
}

fn weight(row: &TesterRow, scale: EffectScale, names: &Names) -> Value {
    json!({
        "tester": names.tester(&row.unit),
        "testers": row.testers.iter().map(|one| names.tester(one)).collect::<Vec<_>>(),
        "weight": row.weight,
        key(scale): pooled(scale, row.effect.estimate),
        "lower": pooled(scale, row.effect.lower),
        "upper": pooled(scale, row.effect.upper),
        "capped": row.capped,
        "blocked": row.blocked,
        "trials": row.trials.iter().map(|one| names.trial(one)).collect::<Vec<_>>(),
    })
}

fn left(one: &LeftOut, names: &Names) -> Value {
    let trials: Vec<String> = one.trials.iter().map(|trial| names.trial(trial)).collect();
    json!({"reason": one.reason, "message": one.message, "trials": trials})
}

/// What a check noticed in a trial.
pub(crate) fn finding(trial: &str, one: &Finding) -> Value {
    json!({
        "trial": trial,
        "field": one.field,
        "kind": one.kind.id(),
        "message": one.message,
        "question": one.question,
        "suggestion": one.suggestion,
    })
}
