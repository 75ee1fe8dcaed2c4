//! What a claim would have to be true of: a number and the side of it on which the claim holds.

use benchring_stats::percent::{Direction, PercentForm};
use serde::{Deserialize, Serialize};

use crate::claim::{Claim, Form};
use crate::disclosure::words;
use crate::method::{Better, Method, Normalisation};
use crate::pool::answer::EffectScale;
use crate::pool::stratum::response_scale;
use crate::quantity::{Dimension, Quantity};

words!(
    /// The side of a threshold on which a claim holds.
    Side {
        /// At or above it.
        AtLeast = "at_least",
        /// At or below it.
        AtMost = "at_most",
    }
);

/// What the pooled number is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// The ratio B/A, or for a label measured over claimed, lies on a side of `ratio`.
    Ratio {
        /// Scale that the ratio is told on.
        scale: EffectScale,
        /// The threshold.
        ratio: f64,
        /// The side.
        side: Side,
    },
    /// The difference B - A is at most `difference`, in the unit of the response.
    Difference {
        /// UCUM code.
        unit: &'static str,
        /// The threshold.
        difference: f64,
    },
    /// B is at most `share` of A: B - share A is at most 0, in the unit of the response.
    Share {
        /// UCUM code.
        unit: &'static str,
        /// The share of A, 0 to 1.
        share: f64,
    },
    /// The ratio lies between 1/`margin` and `margin`.
    Within {
        /// Scale that the ratio is told on.
        scale: EffectScale,
        /// The margin, above 1.
        margin: f64,
    },
}

/// Margin of "no practical difference" where the claim names none: 5 %.
pub const USUAL_MARGIN: f64 = 1.05;

impl Rule {
    /// The threshold on the scale of pooling (logs for ratios), for a rule with one.
    pub fn pooled(&self) -> f64 {
        match *self {
            Self::Ratio { ratio, .. } => ratio.ln(),
            Self::Difference { difference, .. } => difference,
            Self::Share { .. } => 0.0,
            Self::Within { margin, .. } => margin.ln(),
        }
    }

    /// The threshold on the scale told.
    pub fn told(&self) -> f64 {
        match *self {
            Self::Ratio { ratio, .. } => ratio,
            Self::Difference { difference, .. } => difference,
            Self::Share { .. } => 0.0,
            Self::Within { margin, .. } => margin,
        }
    }

    /// UCUM code of the threshold told.
    pub fn unit(&self) -> &'static str {
        match *self {
            Self::Ratio { .. } | Self::Within { .. } => "1",
            Self::Difference { unit, .. } | Self::Share { unit, .. } => unit,
        }
    }

    /// The side on which the claim holds; `None` for margins on both sides.
    pub fn side(&self) -> Option<Side> {
        match *self {
            Self::Ratio { side, .. } => Some(side),
            Self::Difference { .. } | Self::Share { .. } => Some(Side::AtMost),
            Self::Within { .. } => None,
        }
    }
}

/// The scale that effects of a response are told on.
pub(super) fn scale_of(method: &Method, normalisation: Option<Normalisation>) -> EffectScale {
    let rate = normalisation == Some(Normalisation::PerKgOnRate);
    let ratio = normalisation == Some(Normalisation::PerWhDelivered);
    response_scale(method, rate, ratio)
}

/// Why a form says nothing about a response, and which would.
pub(super) type DoesNotFit = String;

/// The rule that `form` with `amount` makes of a response told on `scale`.
///
/// Thresholds: "N % more" 1 + N/100 and above; "N % faster" of a time 1/(1 + N/100) and below; "N % less" 1 - N/100 and
/// below.
///
/// # Errors
/// Where the form does not fit the response.
pub(super) fn rule_of(
    form: Form,
    amount: Option<&Quantity>,
    method: &Method,
    scale: EffectScale,
) -> Result<Rule, DoesNotFit> {
    let label = method.response.label.as_str();
    let number = amount.map_or(0.0, Quantity::canonical);
    let warming = method.response.measure.dimension == Dimension::TemperatureDifference;
    let of_share = amount.is_some_and(|amount| amount.dimension() == Dimension::Ratio);
    if form == Form::Same {
        let margin = amount.map_or(USUAL_MARGIN, |amount| 1.0 + amount.canonical() / 100.0);
        return match scale {
            EffectScale::Difference { .. } => Err(format!(
                "{label} is compared by a difference, and what is practically the same in it nobody has agreed on: claim `cooler` or `less`"
            )),
            _ if margin > 1.0 => Ok(Rule::Within { scale, margin }),
            _ => Err("a margin of 0 % nothing can keep to: leave the amount out for 5 %".to_owned()),
        };
    }
    match scale {
        EffectScale::DurationRatio => match form {
            Form::RateGain => percent(PercentForm::Faster, number, scale),
            Form::TimeReduction => percent(PercentForm::Less, number, scale),
            Form::Times => Ok(Rule::Ratio { scale, ratio: 1.0 / number, side: Side::AtMost }),
            _ => Err(format!(
                "{label} is a time: {}; send `rate_gain` or `time_reduction`",
                both_readings(number)
            )),
        },
        EffectScale::AmountRatio { .. } => match form {
            Form::More => percent(PercentForm::More, number, scale),
            // Warming divided by what warmed is a ratio.
            Form::Cooler if warming && of_share => percent(PercentForm::Less, number, scale),
            Form::Less => percent(PercentForm::Less, number, scale),
            Form::Times => {
                let side = if number < 1.0 { Side::AtMost } else { Side::AtLeast };
                Ok(Rule::Ratio { scale, ratio: number, side })
            }
            _ => Err(format!("{label} is an amount, not a time: send `more`, `less` or `times`")),
        },
        EffectScale::Difference { unit } => {
            let lower = method.response.better == Better::Lower;
            let fits = form == Form::Cooler && warming || form == Form::Less && lower;
            match amount.map(Quantity::dimension) {
                Some(Dimension::Ratio) if fits => Ok(Rule::Share { unit, share: 1.0 - number / 100.0 }),
                Some(Dimension::TemperatureDifference) if form == Form::Cooler && warming => {
                    Ok(Rule::Difference { unit, difference: -number })
                }
                _ if warming => {
                    Err(format!("{label} is compared in kelvin: send `cooler` with a percent or kelvin"))
                }
                _ => Err(format!("{label} is compared by a difference: send `less` with a percent")),
            }
        }
    }
}

fn percent(form: PercentForm, number: f64, scale: EffectScale) -> Result<Rule, DoesNotFit> {
    let ratio = form.ratio(number).map_err(|why| why.to_string())?;
    let side = match form.direction() {
        Direction::Higher => Side::AtLeast,
        Direction::Lower => Side::AtMost,
    };
    Ok(Rule::Ratio { scale, ratio, side })
}

/// What "N % faster" can mean, each in both percent forms.
pub(super) fn both_readings(percent: f64) -> String {
    let n = crate::text::number(percent);
    let share = percent / 100.0;
    let less = format!("{:.1}", 100.0 * share / (1.0 + share));
    let gain = format!("a rate gain of {n} % is {} % less time", less.trim_end_matches(".0"));
    if percent >= 100.0 {
        return gain;
    }
    let faster = format!("{:.1}", 100.0 * share / (1.0 - share));
    format!("{n} % less time is a rate gain of {} %, and {gain}", faster.trim_end_matches(".0"))
}

impl Claim {
    /// What the claim would have to be true of in a response; `None` where the form does not fit it, which
    /// [`super::ClaimDraft::check`] refuses.
    pub fn rule(&self, method: &Method, normalisation: Option<Normalisation>) -> Option<Rule> {
        if self.form == Form::LabelLevel {
            let scale = EffectScale::AmountRatio { higher_is_better: true };
            return Some(Rule::Ratio { scale, ratio: 1.0, side: Side::AtLeast });
        }
        rule_of(self.form, self.amount.as_ref(), method, scale_of(method, normalisation)).ok()
    }
}
