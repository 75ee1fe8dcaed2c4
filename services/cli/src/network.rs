//! All packs of a stratum at once: as JSON and in words.

use std::fmt::Write as _;

use benchring_domain::analysis::network::order_in_words;
use benchring_domain::analysis::{AnalysedStratum, Analysis, Names};
use benchring_domain::pool::Evidence;
use benchring_domain::pool::answer::{EffectScale, Interval, PooledEffect};
use benchring_domain::pool::network::ranking::{LeagueRow, RankedIsland, RankedPack, Ranking};
use serde_json::{Map, Value, json};

use crate::analyse::{number, span};
use crate::json::{key, percent, pooled};
use crate::run::Loaded;
use crate::table::Table;

/// The ranking of each stratum, or why there is none.
pub(crate) type Rankings = Vec<Result<Ranking, String>>;

/// Ranks the packs of every stratum.
pub(crate) fn rankings(found: &Analysis, loaded: &Loaded, evidence: &Evidence) -> Rankings {
    let ranked = |stratum: &AnalysedStratum| found.ranking(stratum, &loaded.method, evidence);
    found.strata.iter().map(|stratum| ranked(stratum).map_err(|none| none.to_string())).collect()
}

/// The largest island at the top, the others beside it; null where nothing ranks.
pub(crate) fn network(ranked: &Result<Ranking, String>, loaded: &Loaded, evidence: &Evidence) -> Value {
    let Ok(ranking) = ranked else { return Value::Null };
    let names = &loaded.names;
    let mut islands = ranking.islands.iter().map(|island| {
        let mut told = island_json(island, names);
        let words = order_in_words(ranking, island, &loaded.method, evidence, names);
        told.insert("wording".into(), json!(words));
        told
    });
    let Some(mut told) = islands.next() else { return Value::Null };
    told.insert("other_islands".into(), islands.map(Value::Object).collect());
    let bridges = ranking
        .bridges
        .iter()
        .map(|one| json!({"pack_a": names.pack(&one.pack_a), "pack_b": names.pack(&one.pack_b)}));
    told.insert("bridges".into(), bridges.collect());
    told.insert("uncompared".into(), ranking.uncompared.iter().map(|pack| json!(names.pack(pack))).collect());
    Value::Object(told)
}

fn scale_of(island: &RankedIsland) -> Option<EffectScale> {
    island.packs.iter().find_map(|pack| pack.effect.as_ref()).map(|effect| effect.scale)
}

fn island_json(island: &RankedIsland, names: &Names) -> Map<String, Value> {
    let spread = &island.spread;
    let test = island.consistency.test;
    let scale = scale_of(island);
    let warnings = island.warnings.iter().map(|one| json!({"name": one.name, "message": one.message}));
    let mut told = Map::new();
    let numbers = json!({
        "reference": names.pack(&island.reference),
        "tau2": spread.tau * spread.tau,
        "tau_assumed": spread.assumed,
        "i2": spread.i2,
        "q": spread.q.map(|q| q.q),
        "q_p": spread.q.map(|q| q.p),
        "df": spread.df,
        "packs": island.packs.iter().map(|pack| pack_json(pack, scale, names)).collect::<Vec<_>>(),
        "league": island.league.iter().map(|row| league_json(row, names)).collect::<Vec<_>>(),
        "league_pairs": island.league_pairs,
        "consistency": {
            "designs": island.consistency.designs,
            "q": test.map(|test| test.q),
            "df": test.map(|test| test.df),
            "q_p": test.map(|test| test.p),
        },
        "testers": island.testers,
        "votes": island.units,
        "trials": island.trials,
        "warnings": warnings.collect::<Vec<_>>(),
    });
    if let Value::Object(numbers) = numbers {
        told.extend(numbers);
    }
    told
}

fn pack_json(pack: &RankedPack, scale: Option<EffectScale>, names: &Names) -> Value {
    let mut told = Map::new();
    told.insert("pack".into(), json!(names.pack(&pack.pack)));
    told.insert("rank".into(), json!(pack.rank));
    told.insert("p_score".into(), json!(pack.p_score));
    told.insert("not_separated_from_first".into(), json!(pack.not_separated_from_first));
    told.insert("testers".into(), json!(pack.counts.testers));
    told.insert("trials".into(), json!(pack.counts.trials));
    match (&pack.effect, scale) {
        (Some(effect), _) => told.extend(effect_json(effect)),
        // The reference against itself: nothing by definition, and nothing uncertain in it.
        (None, scale) => {
            let key = scale.map_or("log_ratio", key);
            for key in [key, "se", "lower", "upper"] {
                told.insert(key.into(), json!(0.0));
            }
            for key in ["prediction_lower", "prediction_upper", "percent"] {
                told.insert(key.into(), Value::Null);
            }
        }
    }
    Value::Object(told)
}

fn league_json(row: &LeagueRow, names: &Names) -> Value {
    let mut told = effect_json(&row.effect);
    told.insert("pack_a".into(), json!(names.pack(&row.pack_a)));
    told.insert("pack_b".into(), json!(names.pack(&row.pack_b)));
    told.insert("direct_share".into(), json!(row.against.direct_share));
    told.insert("direct_testers".into(), json!(row.against.direct_units));
    told.insert("differ".into(), json!(row.against.differ));
    told.insert("differ_p".into(), json!(row.against.p));
    Value::Object(told)
}

fn effect_json(effect: &PooledEffect) -> Map<String, Value> {
    let scale = effect.scale;
    let prediction = effect.prediction.unwrap_or(Interval { estimate: None, lower: None, upper: None });
    let mut told = Map::new();
    told.insert(key(scale).into(), json!(effect.pooled));
    if !scale.is_ratio() {
        told.insert("unit".into(), json!(scale.unit()));
    }
    told.insert("se".into(), json!(effect.standard_error));
    told.insert("lower".into(), json!(pooled(scale, effect.effect.lower)));
    told.insert("upper".into(), json!(pooled(scale, effect.effect.upper)));
    told.insert("prediction_lower".into(), json!(pooled(scale, prediction.lower)));
    told.insert("prediction_upper".into(), json!(pooled(scale, prediction.upper)));
    told.insert("percent".into(), percent(effect.percent));
    told
}

/// The order of every island with more than two packs: of two the pair says it all.
pub(crate) fn told(ranked: &Result<Ranking, String>, loaded: &Loaded, evidence: &Evidence) -> String {
    let ranking = match ranked {
        Ok(ranking) => ranking,
        Err(none) => return format!("  no ranking: {none}\n"),
    };
    let names = &loaded.names;
    let mut text = String::new();
    for island in ranking.islands.iter().filter(|island| island.packs.len() > 2) {
        let _ = writeln!(text, "  {}", order_in_words(ranking, island, &loaded.method, evidence, names));
        text.push_str(&ranking_table(island, names));
        for warning in &island.warnings {
            let _ = writeln!(text, "    {}: {}", warning.name, warning.message);
        }
    }
    for bridge in &ranking.bridges {
        let (a, b) = (names.pack(&bridge.pack_a), names.pack(&bridge.pack_b));
        let _ =
            writeln!(text, "  not in one ranking: one tester who runs {a} and {b} in one trial joins them");
    }
    text
}

fn ranking_table(island: &RankedIsland, names: &Names) -> String {
    let scale = scale_of(island);
    let reference = names.pack(&island.reference);
    let unit = scale.map_or("ratio", |scale| if scale.is_ratio() { "ratio" } else { scale.unit() });
    let effect = format!("{unit} to {reference}");
    let mut table =
        Table::new(&["  pack", "P-score", &effect, "interval", "prediction", "testers", "trials"]);
    for pack in &island.packs {
        let of = pack.effect.as_ref();
        table.row(vec![
            format!("  {}. {}", pack.rank, names.pack(&pack.pack)),
            format!("{:.3}", pack.p_score),
            of.map_or_else(|| "-".to_owned(), |of| number(of.effect.estimate)),
            of.map_or_else(|| "reference".to_owned(), |of| span(of.effect)),
            of.and_then(|of| of.prediction).map_or_else(|| "-".to_owned(), span),
            pack.counts.testers.to_string(),
            pack.counts.trials.to_string(),
        ]);
    }
    table.text()
}
