//! `benchring analyse`: every pair of packs in trial files.

use std::fmt::Write as _;

use benchring_domain::analysis::{AnalysedPair, AnalysedStratum, Analysis, Asked, analyse as analysed};
use benchring_domain::finding::FindingKind;
use benchring_domain::id::PackModelId;
use benchring_domain::method::Catalogue;
use benchring_domain::pool::Evidence;
use benchring_domain::pool::answer::{Interval, PercentForms, PooledEffect};
use benchring_domain::violation::Violations;
use serde_json::json;

use crate::Done;
use crate::args::Analyse;
use crate::run::{Fault, Loaded, NoFiles, faults_text, loaded};
use crate::table::Table;
use crate::{json as told_json, network, out};

/// Most flags printed in words.
const MOST_FLAGS: usize = 50;

/// Whether a finding is about a number that may be wrong.
pub(crate) fn flag(kind: FindingKind) -> bool {
    use FindingKind::{Inconsistent, Outlier, SoftLimit, UnitSlip};
    matches!(kind, Inconsistent | Outlier | SoftLimit | UnitSlip)
}

/// Analyses the files.
pub(crate) fn analyse(args: &Analyse, catalogue: &Catalogue) -> anyhow::Result<Done> {
    let loaded = match loaded(&args.files, catalogue) {
        Ok(loaded) => loaded,
        Err(NoFiles::Unreadable(error)) => return Err(error),
        Err(NoFiles::Faults(faults)) => return refused(args, &faults),
    };
    let mut broken = Violations::default();
    let options = args.options().check(Some(&loaded.method), &mut broken);
    if !broken.is_empty() {
        let all: Vec<String> = broken.as_slice().iter().map(|one| one.message.clone()).collect();
        anyhow::bail!("{}", all.join("; "));
    }
    let reference = args.reference.as_deref().map(|label| reference(label, &loaded)).transpose()?;
    let evidence = loaded.gathered.evidence(loaded.method.reference(), loaded.packs.clone());
    match analysed(&loaded.method, &evidence, &Asked { options, reference }, &loaded.names) {
        Ok(found) => {
            let text = if args.files.json {
                format!(
                    "{}\n",
                    serde_json::to_string_pretty(&told_json::analysis(&found, &loaded, &evidence))?
                )
            } else {
                told(&found, &loaded, &evidence)
            };
            Ok(Done { code: 0, out: text, err: String::new() })
        }
        Err(none) => {
            let file = args.files.paths.first().map(|file| file.display().to_string()).unwrap_or_default();
            let message = none.to_string();
            let reason = none.name().to_owned();
            refused(args, &[Fault { file, line: None, at: String::new(), reason, message }])
        }
    }
}

/// Says what is wrong: on standard error, and as JSON where that was asked for.
fn refused(args: &Analyse, faults: &[Fault]) -> anyhow::Result<Done> {
    let out = if args.files.json {
        let errors: Vec<_> = faults.iter().map(Fault::json).collect();
        format!("{}\n", serde_json::to_string_pretty(&json!({ "errors": errors }))?)
    } else {
        String::new()
    };
    Ok(Done { code: 1, out, err: faults_text(faults) })
}

fn reference(label: &str, loaded: &Loaded) -> anyhow::Result<PackModelId> {
    let known = loaded.called.pack(label);
    let known = known.or_else(|| PackModelId::from_name(label).or_else(|_| PackModelId::parse(label)).ok());
    known.ok_or_else(|| anyhow::anyhow!("--reference {label}: there is no such pack in the files"))
}

fn told(found: &Analysis, loaded: &Loaded, evidence: &Evidence) -> String {
    let coloured = out::coloured();
    let mut text = String::new();
    let options = &found.options;
    let _ = writeln!(
        text,
        "{} ({}): {} trials; variance {}, tau2 {}, interval {}, vote cap {}, charges {}, prior {}, order bias {}",
        loaded.method.title,
        found.method,
        loaded.gathered.trials.len(),
        options.variance,
        options.heterogeneity,
        options.interval,
        options.vote_cap,
        options.charge_variance,
        options.prior,
        options.order_bias
    );
    let rankings = network::rankings(found, loaded, evidence);
    for (stratum, ranked) in found.strata.iter().zip(&rankings) {
        text.push_str(&stratum_told(stratum, loaded, coloured));
        text.push_str(&network::told(ranked, loaded, evidence));
    }
    let left_out = found.left_out.iter().chain(&loaded.gathered.left_out);
    for left in left_out {
        let _ = writeln!(text, "left out: {} trials: {} ({})", left.trials.len(), left.message, left.reason);
    }
    let flags: Vec<_> = loaded.gathered.findings.iter().filter(|(_, one)| flag(one.kind)).collect();
    for (trial, finding) in flags.iter().take(MOST_FLAGS) {
        let _ = writeln!(text, "flag: {} {}: {}", loaded.names.trial(trial), finding.field, finding.message);
    }
    let others = loaded.gathered.findings.len() - flags.len().min(MOST_FLAGS);
    if others > 0 {
        let _ = writeln!(text, "note: {others} more findings: benchring check lists them");
    }
    for note in &loaded.notes {
        let _ = writeln!(text, "note: {note}");
    }
    if !loaded.gathered.unchecked.is_empty() {
        let count = loaded.gathered.unchecked.len();
        let _ = writeln!(
            text,
            "note: {count} things were not checked for want of a column or resource: benchring check lists them"
        );
    }
    text
}

fn stratum_told(stratum: &AnalysedStratum, loaded: &Loaded, coloured: bool) -> String {
    let mut text = String::from("\n");
    let mut shared: Vec<String> =
        stratum.shared.iter().map(|(key, value)| format!("{}: {value}", key.replace('_', " "))).collect();
    shared.extend(stratum.demand_class.iter().map(|class| format!("demand class {class}")));
    let heading = if shared.is_empty() { "All trials".to_owned() } else { shared.join(", ") };
    text.push_str(&out::heading(&heading, coloured));
    if let Some(prior) = stratum.prior {
        let df = if prior.df.is_finite() { format!("{:.1}", prior.df) } else { "infinite".to_owned() };
        let basis =
            if prior.assumed { "assumed".to_owned() } else { format!("from {} trials", prior.trials) };
        let _ = writeln!(
            text,
            "  scatter of a run {:.4} with {df} degrees of freedom, {basis}",
            prior.variance.sqrt()
        );
    }
    text.push_str(&pairs_table(&stratum.pairs, loaded));
    for pair in &stratum.pairs {
        let _ = writeln!(text, "  {}", pair.wording);
        let _ = writeln!(text, "{}", testers_table(pair, loaded).trim_end());
        for warning in &pair.stratum.warnings {
            let _ = writeln!(text, "    {}: {}", warning.name, warning.message);
        }
    }
    for pair in &stratum.without_effect {
        let (a, b) = (loaded.names.pack(&pair.pack_a), loaded.names.pack(&pair.pack_b));
        let _ = writeln!(
            text,
            "  {b} against {a}: one of them never gave an exact reading, so there is no effect"
        );
    }
    for left in &stratum.left_out {
        let _ =
            writeln!(text, "  left out: {} trials: {} ({})", left.trials.len(), left.message, left.reason);
    }
    text
}

fn pairs_table(pairs: &[AnalysedPair], loaded: &Loaded) -> String {
    let Some(first) = pairs.first() else { return String::new() };
    let forms: &[&str] = match first.stratum.headline.percent {
        Some(PercentForms::Duration { .. }) => &["time %", "rate %"],
        Some(PercentForms::Amount { .. }) => &["more %"],
        None => &[],
    };
    let effect =
        if first.stratum.headline.scale.is_ratio() { "ratio" } else { first.stratum.headline.scale.unit() };
    let headings =
        [&["pair", effect, "interval", "prediction"], forms, &["tau", "I2 %", "testers", "trials"]].concat();
    let mut table = Table::new(&headings);
    for pair in pairs {
        let of = &pair.stratum.headline;
        let mut cells = vec![
            format!("{} / {}", loaded.names.pack(&pair.pack_b), loaded.names.pack(&pair.pack_a)),
            number(of.effect.estimate),
            span(of.effect),
            of.prediction.map_or_else(|| "-".to_owned(), span),
        ];
        cells.extend(percents(of));
        cells.push(format!("{:.4}", of.tau));
        cells.push(format!("{:.0}", 100.0 * of.i2));
        cells.push(of.basis.testers.to_string());
        cells.push(of.basis.trials.to_string());
        table.row(cells);
    }
    table.text()
}

fn percents(of: &PooledEffect) -> Vec<String> {
    let one = |interval: Interval| match interval.estimate {
        Some(estimate) => {
            let bound =
                |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:+.1}"));
            format!("{estimate:+.1} ({} to {})", bound(interval.lower), bound(interval.upper))
        }
        None => "-".to_owned(),
    };
    match of.percent {
        Some(PercentForms::Duration { time_reduction, rate_gain }) => {
            vec![one(time_reduction.map(|percent| -percent)), one(rate_gain)]
        }
        Some(PercentForms::Amount { more }) => vec![one(more)],
        None => Vec::new(),
    }
}

fn testers_table(pair: &AnalysedPair, loaded: &Loaded) -> String {
    let mut table = Table::new(&["  tester", "effect", "interval", "weight %", "trials", "runs"]);
    for row in &pair.stratum.rows {
        table.row(vec![
            format!("  {}{}", loaded.names.tester(&row.unit), if row.capped { " (capped)" } else { "" }),
            number(row.effect.estimate),
            span(row.effect),
            format!("{:.1}", 100.0 * row.weight),
            row.trials.len().to_string(),
            format!("{}+{}", row.basis.runs_a, row.basis.runs_b),
        ]);
    }
    table.text()
}

/// A number with four significant digits or so.
pub(crate) fn number(value: Option<f64>) -> String {
    match value {
        None => "-".to_owned(),
        Some(value) if value == 0.0 || (0.001..100_000.0).contains(&value.abs()) => format!("{value:.4}"),
        Some(value) => format!("{value:.3e}"),
    }
}

pub(crate) fn span(of: Interval) -> String {
    format!("{} to {}", number(of.lower), number(of.upper))
}
