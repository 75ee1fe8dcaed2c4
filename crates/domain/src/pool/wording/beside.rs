//! Sentences about what stands beside an effect.

use std::fmt::Write as _;

use super::{Change, Subject, level_text, plural, sentence};
use crate::measure::with_unit;
use crate::method::Method;
use crate::pool::answer::Interval;
use crate::pool::classes::{ClassBadge, ClassFamily, ClassRow, MeanPower};
use crate::pool::completion::{CompletionTable, FailedDifference, PackCompletion};
use crate::pool::direction::{Direction, DirectionWord};
use crate::pool::levels::{LevelSignal, TrialLevel};
use crate::text::number;

/// What became of the runs: failures where failure is an outcome, and the counts.
pub fn completion_sentence(subject: &Subject, table: &CompletionTable) -> String {
    let Subject { pack_a, pack_b, .. } = subject;
    let [a, b] = &table.packs;
    let mut text = String::new();
    if let Some(failed) = &table.failed {
        let _ = write!(text, "{}; ", difference(subject, failed, table.level));
    }
    let _ = write!(text, "{}; {}", counts(pack_b, b, table.level), counts(pack_a, a, table.level));
    text
}

/// "K8 fails in 23.3 points less of its runs than K5 (95 % interval 2.1 to 40.2 points less), p = 0.012, 4 votes".
fn difference(subject: &Subject, failed: &FailedDifference, level: f64) -> String {
    let Subject { pack_a, pack_b, .. } = subject;
    let change = Change { percent: failed.difference.map(|d| 100.0 * d), unit: "points" };
    let level = level_text(level);
    let p = failed.p.map_or(String::new(), |p| format!(", p = {}", p_text(p)));
    let votes = format!("{} {}", failed.units, plural(failed.units, "vote"));
    if failed.difference.contains(0.0) {
        format!(
            "no difference in failures between {pack_b} and {pack_a} is shown: {} ({level} interval {}){p}, {votes}",
            change.amount(),
            change.bounds()
        )
    } else {
        format!(
            "{pack_b} fails in {} of its runs than {pack_a} ({level} interval {}){p}, {votes}",
            change.amount(),
            change.bounds()
        )
    }
}

fn p_text(p: f64) -> String {
    if p < 0.001 { "below 0.001".to_owned() } else { format!("{p:.3}") }
}

/// "K8: 28 of 30 planned runs with a reading, 2 failed (6.7 %, 95 % interval 1.8 to 21.3 %), 1 excluded (`manual_stop` 1)".
fn counts(name: &str, pack: &PackCompletion, level: f64) -> String {
    let runs = &pack.runs;
    let mut text =
        format!("{name}: {} of {} planned {} exact", runs.exact, runs.planned, plural_n(runs.planned, "run"));
    if let Some(share) = pack.failed {
        let _ = write!(text, ", {} failed ({})", runs.failed, percent_of(share, level));
    }
    for (word, by_end) in [
        ("stopped early", &runs.censored),
        ("without a reading at load", &runs.failed_at_load),
        ("excluded", &runs.excluded),
    ] {
        let count: u32 = by_end.values().sum();
        if count > 0 {
            let ends: Vec<String> =
                by_end.iter().map(|(end, n)| format!("{} {n}", end.replace('_', " "))).collect();
            let _ = write!(text, ", {count} {word} ({})", ends.join(", "));
        }
    }
    if runs.not_run > 0 {
        let _ = write!(text, ", {} not run", runs.not_run);
        if let Some(worst) = pack.failed_or_not_run {
            let _ = write!(text, " (as failed: {})", percent_of(worst, level));
        }
    }
    text
}

fn plural_n(n: u32, word: &str) -> String {
    plural(n as usize, word)
}

fn percent_of(share: Interval, level: f64) -> String {
    let told = |x: Option<f64>| x.map_or_else(|| "unbounded".to_owned(), |x| format!("{:.1}", 100.0 * x));
    format!(
        "{} %, {} interval {} to {} %",
        told(share.estimate),
        level_text(level),
        told(share.lower),
        told(share.upper)
    )
}

/// One demand class: how it is known, its mean power, and its effect.
pub fn class_sentence(subject: &Subject, row: &ClassRow) -> String {
    let class = row.demand_class.as_deref().unwrap_or("not known");
    let badge = match row.badge {
        ClassBadge::Measured => ", measured",
        ClassBadge::Assumed => ", assumed",
        ClassBadge::Mixed => ", partly assumed",
        ClassBadge::Unknown => "",
    };
    let power = row.mean_power.map_or(String::new(), |power| format!(", {}", power_text(&power)));
    format!("demand class {class}{badge}{power}: {}", sentence(subject, &row.effect))
}

fn power_text(power: &MeanPower) -> String {
    let spread = power.geometric_sd.map_or(String::new(), |sd| format!(" times or over {sd:.2}"));
    format!("{:.0} W{spread} ({} of {} trials measured)", power.watt, power.measured, power.trials)
}

/// One number over the classes, or why there is none. `None` where the question did not ask for one.
pub fn overall_sentence(subject: &Subject, family: &ClassFamily) -> Option<String> {
    let overall = family.overall.as_ref()?;
    let classes: Vec<&str> = family.rows.iter().filter_map(|row| row.demand_class.as_deref()).collect();
    let classes = classes.join(", ");
    let Some(effect) = &overall.effect else {
        let why: Vec<&str> = overall.failed.iter().map(|(_, message)| message.as_str()).collect();
        return Some(format!("no one number over demand classes {classes}: {}", why.join("; ")));
    };
    let test = overall.test.map_or(String::new(), |t| format!(" (interaction p = {})", p_text(t.p)));
    Some(format!("over demand classes {classes}{test}: {}", sentence(subject, effect)))
}

/// Which pack is ahead, or why that is not said.
pub fn direction_sentence(subject: &Subject, direction: &Direction) -> String {
    let because = direction.because.join("; ");
    match direction.word {
        DirectionWord::BBetter => format!("{} is ahead of {}", subject.pack_b, subject.pack_a),
        DirectionWord::ABetter => format!("{} is ahead of {}", subject.pack_a, subject.pack_b),
        DirectionWord::Inconclusive => format!("inconclusive: {because}"),
        DirectionWord::NotEnoughEvidence => format!("not enough evidence: {because}"),
    }
}

/// Where a trial's level lies among other testers'. `None` where it is not remarkable.
pub fn level_sentence(method: &Method, level: &TrialLevel) -> Option<String> {
    let (z, others) = (level.z?, level.others?);
    if !matches!(level.signal, LevelSignal::Warning | LevelSignal::Action) {
        return None;
    }
    let unit = method.response.measure.dimension.canonical();
    let told = |value: f64| with_unit(format!("{value:.3e}").parse().unwrap_or(value), unit);
    let side = if z < 0.0 { "below" } else { "above" };
    let mut text = format!(
        "the level of {} lies {} robust standard deviations {side} that of {} other testers ({} against a median of {})",
        level.trial.name(),
        number((10.0 * z.abs()).round() / 10.0),
        level.others_count,
        told(level.level),
        told(others)
    );
    if !level.slips.is_empty() {
        let _ = write!(text, "; it would be explained by {}", level.slips.join(", or by "));
    }
    text.push_str("; the ratio of the packs does not change with the level");
    Some(text)
}
