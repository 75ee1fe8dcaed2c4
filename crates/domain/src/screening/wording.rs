//! Flags in words. Each sentence is a function of the flag: its numbers stand in it as they stand in the flag.

use std::fmt::Write as _;

use crate::screening::flag::{Flag, FlagKind, FlagLevel, Statistic};
use crate::text::number;

/// The likeliest explanation, as a question; empty where no slip is known that fits.
///
/// Such as `about 25.4 times the usual: inches and millimetres mixed up? it would be 45 mm`.
pub fn cause(flag: &Flag) -> String {
    let Some(first) = flag.causes.first() else { return String::new() };
    let ratio = flag.value.zip(flag.usual).map_or(first.factor, |(value, usual)| value / usual);
    let all: Vec<String> = flag
        .causes
        .iter()
        .map(|one| {
            format!(
                "{} mixed up (factor {})? it would be {}",
                one.units,
                number(one.factor),
                with_code(one.corrected, &flag.code)
            )
        })
        .collect();
    let told = if ratio >= 1.0 {
        format!("about {} times the usual", number(three(ratio)))
    } else {
        format!("about 1/{} of the usual", number(three(ratio.recip())))
    };
    format!("{told}: {}", all.join("; or "))
}

/// What is remarkable, by which number, and beside what.
pub fn sentence(flag: &Flag) -> String {
    let mut text = subject(flag);
    let _ = write!(text, ": {}", by(flag));
    if let Some(p) = flag.p {
        let _ = write!(text, ", p {}", probability(p));
    }
    if let Some(critical) = flag.critical {
        let _ = write!(text, ", critical {}", number(three(critical)));
    }
    let _ = write!(text, ", {}", beside(flag));
    let why = cause(flag);
    if !why.is_empty() {
        let _ = write!(text, "; {why}");
    }
    if !flag.or_fields.is_empty() {
        let _ = write!(text, "; it may be {} just as well", flag.or_fields.join(" or "));
    }
    text
}

fn subject(flag: &Flag) -> String {
    let value = flag.value.map(|value| with_code(value, &flag.code)).unwrap_or_default();
    let usual = flag.usual.map(|usual| with_code(usual, &flag.code)).unwrap_or_default();
    match flag.kind {
        FlagKind::Replicate | FlagKind::UnitSlip if flag.level == FlagLevel::Run => {
            format!("{value} stands against {usual} of the other runs of its arm")
        }
        FlagKind::ZeroSpread => format!("all runs of the arm read {value}"),
        FlagKind::Drift => format!("readings {} along the order of the trial", by_run(flag)),
        FlagKind::Trend => format!("readings of the arm {} along its order", by_run(flag)),
        FlagKind::UnitSlip => {
            format!("the packs come to {value} in this trial, and {usual} by the other testers")
        }
        FlagKind::Level if flag.what.is_empty() => {
            format!("the level is {value} against a median of {usual}")
        }
        FlagKind::Level => format!("{} is {value} against a median of {usual}", flag.what),
        FlagKind::Spread | FlagKind::SpreadRatio => format!("runs scatter by {value}, and {usual} is usual"),
        FlagKind::Consistency => format!("the packs come to {value}, and {usual} on the mean of testers"),
        FlagKind::TesterApart | FlagKind::Influential => {
            format!("the packs come to {value}, and {usual} without this tester")
        }
        FlagKind::Replicate => format!("{value} stands against {usual}"),
    }
}

/// `rise by 1.2 % a run`.
fn by_run(flag: &Flag) -> String {
    let slope = flag.value.unwrap_or_default();
    let word = if slope < 0.0 { "fall" } else { "rise" };
    let size = number(three(slope.abs()));
    match flag.code.as_str() {
        "" => format!("{word} by {size} a run"),
        code => format!("{word} by {size} {code} a run"),
    }
}

fn by(flag: &Flag) -> String {
    let size = number(three(flag.number));
    match flag.statistic {
        Statistic::Z => format!("z {size}"),
        Statistic::G => format!("Grubbs' G {size}"),
        Statistic::R => format!("R {size}"),
        Statistic::Residual => format!("ln of the ratio {size}"),
        Statistic::T => format!("t {size}"),
        Statistic::S => format!("Kendall's S {size}"),
        Statistic::C => format!("Cochran's C {size}"),
        Statistic::H => format!("Mandel's h {size}"),
        Statistic::K => format!("Mandel's k {size}"),
        Statistic::Deleted => format!("deleted residual {size}"),
        Statistic::Dffits => format!("DFFITS {size}"),
        Statistic::Sd => format!("standard deviation {size}"),
    }
}

fn beside(flag: &Flag) -> String {
    let compared = flag.compared;
    match flag.level {
        FlagLevel::Run => format!("beside {}", count(compared.runs, "other run")),
        FlagLevel::Arm => format!("over {}", count(compared.runs, "run")),
        FlagLevel::Trial if compared.testers <= 1 => format!("over {}", count(compared.runs, "run")),
        FlagLevel::Trial | FlagLevel::Tester => {
            format!("beside {}", count(compared.testers, "other tester"))
        }
    }
}

fn count(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

fn with_code(value: f64, code: &str) -> String {
    let value = number(three(value));
    if code.is_empty() { value } else { format!("{value} {code}") }
}

fn probability(p: f64) -> String {
    if p < 0.001 { "below 0.001".to_owned() } else { number(format!("{p:.1e}").parse().unwrap_or(p)) }
}

/// To four digits.
fn three(value: f64) -> f64 {
    format!("{value:.3e}").parse().unwrap_or(value)
}
