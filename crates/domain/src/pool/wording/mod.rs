//! Sentences. Each is a function of the answer alone, says which pack is ahead and by how much with
//! its interval, and gives both percent forms wherever a time is compared.

mod beside;
mod ranking;

use std::collections::BTreeMap;
use std::fmt::Write as _;

use benchring_stats::percent::PercentForm;

use crate::id::PackModelId;
use crate::method::{Method, Normalisation};
use crate::pack::PackModel;
use crate::pool::answer::{Basis, EffectScale, Interval, PercentForms, PooledEffect};
use crate::pool::question::Question;

pub use beside::{class_sentence, completion_sentence, direction_sentence, level_sentence, overall_sentence};
pub use ranking::{PackNames, bridge_sentence, island_sentence, ranking_sentence};

/// What a sentence is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Subject {
    /// Short name of the pack compared against.
    pub pack_a: String,
    /// Short name of the pack asked about.
    pub pack_b: String,
    /// What was measured, such as "time per screw" or "cuts per charge, per rated A.h (label value)".
    pub measured: String,
}

impl Subject {
    /// For a question: packs by designation, by maker too where the designations are alike, by id where
    /// they are not on record; and what was measured, with what it was divided by.
    pub fn of(question: &Question, method: &Method, packs: &BTreeMap<PackModelId, PackModel>) -> Self {
        let models = [packs.get(&question.pack_a), packs.get(&question.pack_b)];
        let alike = matches!(models, [Some(a), Some(b)] if a.designation == b.designation);
        let name = |model: Option<&PackModel>, id: &PackModelId| match model {
            Some(model) if alike => format!("{} {} ({id})", model.maker, model.designation),
            Some(model) => model.designation.clone(),
            None => id.to_string(),
        };
        let packs = Self {
            pack_a: name(models[0], &question.pack_a),
            pack_b: name(models[1], &question.pack_b),
            measured: String::new(),
        };
        packs.divided(method, question.normalisation)
    }

    /// The same packs, with the response divided so.
    #[must_use]
    pub fn divided(&self, method: &Method, normalisation: Option<Normalisation>) -> Self {
        let divided = normalisation.map_or(String::new(), |n| format!(", {}", normalised(n)));
        Self { measured: format!("{}{divided}", method.response.label), ..self.clone() }
    }
}

/// A normalisation in words, with its badge.
pub fn normalised(normalisation: Normalisation) -> &'static str {
    match normalisation {
        Normalisation::PerMeasuredAh => "per measured A.h",
        Normalisation::PerMeasuredWh => "per measured W.h",
        Normalisation::PerRatedAh => "per rated A.h (label value)",
        Normalisation::PerRatedWh => "per rated W.h at nominal voltage (label value)",
        Normalisation::PerKg => "per kg of pack",
        Normalisation::PerLitre => "per litre of pack",
        Normalisation::PerPrice => "per price",
        Normalisation::PerKgOnRate => "as a rate per kg of pack",
        Normalisation::PerHoleVolume => "per hole volume",
        Normalisation::PerCutArea => "per cut area",
        Normalisation::PerWhDelivered => "per W.h delivered",
        Normalisation::TimesRatedAh => "times rated A.h (label value)",
        Normalisation::PerSeriesCell => "per series cell",
    }
}

/// The effect, its interval and what it rests on.
pub fn sentence(subject: &Subject, effect: &PooledEffect) -> String {
    let Subject { pack_a, pack_b, measured } = subject;
    let shown = !effect.effect.contains(effect.scale.no_difference());
    let level = level_text(effect.level);
    let mut text = match (effect.scale, effect.percent) {
        (EffectScale::DurationRatio, Some(PercentForms::Duration { time_reduction, rate_gain })) => {
            let change = Change { percent: time_reduction.map(|x| -x), unit: "%" };
            let gain = format!(
                "a rate gain of {} % ({} to {} %)",
                change.number(rate_gain.estimate),
                change.number(rate_gain.lower),
                change.number(rate_gain.upper)
            );
            if shown {
                format!(
                    "{pack_b} takes {} time than {pack_a} ({level} interval {}), {gain}",
                    change.amount(),
                    change.bounds()
                )
            } else {
                format!(
                    "no difference between {pack_b} and {pack_a} is shown: {} time ({level} interval {}), {gain}",
                    change.amount(),
                    change.bounds()
                )
            }
        }
        (_, Some(PercentForms::Amount { more })) => {
            plain(subject, &Change { percent: more, unit: "%" }, shown, &level)
        }
        (scale, _) => plain(subject, &Change { percent: effect.effect, unit: scale.unit() }, shown, &level),
    };
    let _ = write!(text, ": {measured}, {}", rests_on(effect));
    if effect.order_bias > 0.0 {
        let allowance = match effect.scale {
            EffectScale::Difference { unit } => format!("{:.2} {unit}", effect.order_bias),
            _ => format!("{:.1} %", 100.0 * effect.order_bias.exp_m1()),
        };
        let _ = write!(text, "; the interval allows {allowance} for order bias");
    }
    text
}

fn plain(subject: &Subject, change: &Change, shown: bool, level: &str) -> String {
    let Subject { pack_a, pack_b, .. } = subject;
    if shown {
        format!("{pack_b} shows {} than {pack_a} ({level} interval {})", change.amount(), change.bounds())
    } else {
        format!(
            "no difference between {pack_b} and {pack_a} is shown: {} ({level} interval {})",
            change.amount(),
            change.bounds()
        )
    }
}

fn level_text(level: f64) -> String {
    let percent = format!("{:.1}", 100.0 * level);
    format!("{} %", percent.strip_suffix(".0").unwrap_or(&percent))
}

/// Who ran both packs, and what comes through other packs.
fn rests_on(effect: &PooledEffect) -> String {
    let Some(network) = effect.network else { return basis_text(&effect.basis) };
    if effect.basis.units == 0 {
        return format!(
            "nobody ran both, {} {} and {} {} through other packs",
            network.testers,
            plural(network.testers, "tester"),
            network.trials,
            plural(network.trials, "trial")
        );
    }
    let both = basis_text(&effect.basis).replace("one tester only, not pooled", "one tester who ran both");
    let share = match 100.0 * network.indirect_weight {
        percent if percent < 0.5 => "less than 1 %".to_owned(),
        percent => format!("{percent:.0} %"),
    };
    format!("{both}; {share} of the weight comes through other packs")
}

/// Counts in words, such as "6 testers, 9 trials, 3 and 4 specimens".
pub fn basis_text(basis: &Basis) -> String {
    let Basis { units, testers, trials, specimens_a, specimens_b, censored_runs, .. } = *basis;
    let mut text = if testers == 1 {
        "one tester only, not pooled".to_owned()
    } else if units == testers {
        format!("{testers} testers")
    } else {
        format!("{testers} testers with {units} {}", plural(units, "vote"))
    };
    let _ = write!(text, ", {trials} {}", plural(trials, "trial"));
    let _ = write!(
        text,
        ", {specimens_b} against {specimens_a} {}",
        plural(specimens_a.max(specimens_b), "specimen")
    );
    if censored_runs > 0 {
        let _ = write!(text, ", {censored_runs} stopped {}", plural(censored_runs as usize, "run"));
    }
    text
}

fn plural(n: usize, word: &str) -> String {
    if n == 1 { word.to_owned() } else { format!("{word}s") }
}

/// A signed change with its bounds: positive is more.
struct Change {
    percent: Interval,
    unit: &'static str,
}

impl Change {
    /// Decimals such that the half-width keeps two digits, 1 to 3.
    fn decimals(&self) -> usize {
        let width = match (self.percent.lower, self.percent.upper) {
            (Some(l), Some(u)) => (u - l) / 2.0,
            _ => 1.0,
        };
        if width >= 1.0 || width.is_nan() {
            1
        } else if width >= 0.1 {
            2
        } else {
            3
        }
    }

    fn number(&self, value: Option<f64>) -> String {
        value.map_or_else(|| "unbounded".to_owned(), |v| format!("{:.*}", self.decimals(), v))
    }

    fn size(&self, value: f64) -> String {
        format!("{:.*}", self.decimals(), value.abs())
    }

    fn amount(&self) -> String {
        match self.percent.estimate {
            Some(v) => format!("{} {} {}", self.size(v), self.unit, direction(v)),
            None => "an unknown amount".to_owned(),
        }
    }

    fn bounds(&self) -> String {
        let (Some(lower), Some(upper)) = (self.percent.lower, self.percent.upper) else {
            return match (self.percent.lower, self.percent.upper) {
                (Some(l), None) => {
                    format!("at least {} {} {}", self.size(l), self.unit, direction(l))
                }
                (None, Some(u)) => format!("at most {} {} {}", self.size(u), self.unit, direction(u)),
                _ => "unbounded".to_owned(),
            };
        };
        if (lower < 0.0) == (upper < 0.0) {
            let (near, far) = if lower.abs() <= upper.abs() { (lower, upper) } else { (upper, lower) };
            format!("{} to {} {} {}", self.size(near), self.size(far), self.unit, direction(far))
        } else {
            format!(
                "{} {} {} to {} {} {}",
                self.size(lower),
                self.unit,
                direction(lower),
                self.size(upper),
                self.unit,
                direction(upper)
            )
        }
    }
}

fn direction(value: f64) -> &'static str {
    if value < 0.0 { "less" } else { "more" }
}

/// Both percent forms of a ratio, for its scale.
pub fn percent_forms(scale: EffectScale, ratio: Interval) -> Option<PercentForms> {
    match scale {
        EffectScale::DurationRatio => Some(PercentForms::Duration {
            time_reduction: ratio.map(|r| PercentForm::Less.of_log_ratio(r.ln())),
            rate_gain: ratio.map(|r| PercentForm::Faster.of_log_ratio(r.ln())),
        }),
        EffectScale::AmountRatio { .. } => {
            Some(PercentForms::Amount { more: ratio.map(|r| PercentForm::More.of_log_ratio(r.ln())) })
        }
        EffectScale::Difference { .. } => None,
    }
}
