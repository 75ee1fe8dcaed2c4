//! From trials to contrasts under conditions, and to the regression on them.

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::estimate::Estimate;
use benchring_stats::pair::{PairOptions, PairTrial, UnitRow, pool_pair};
use benchring_stats::regression::{Column, Regression, RegressionError, regress};
use benchring_stats::special::normal_upper_quantile;
use benchring_stats::spread::Judged;
use benchring_stats::warning::Warning;

use super::draft::{Condition, Exploring, Step};
use super::{Cell, Exploration, Interaction, LevelEffect, NotExplored, Slope};
use crate::id::{PackModelId, TesterId};
use crate::method::Method;
use crate::pool::answer::{EffectScale, Interval, PoolWarning};
use crate::pool::compare::{told, units_of};
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::normalise::Divisors;
use crate::pool::question::VoteCap;
use crate::pool::spread::MethodSpread;
use crate::pool::strata::{Reasons, groups};
use crate::pool::stratum::Pooling;
use crate::pool::weigh::{Stopped, weigh};

/// Where nothing can be said.
const OPEN: Interval = Interval { estimate: None, lower: None, upper: None };

/// What makes a contrast of its own: the voting unit, and the place among conditions in order.
type Key = (TesterId, usize);

/// A trial with its condition.
struct Placed<'a> {
    trial: &'a EvidenceTrial,
    condition: Condition,
    /// The stratum it stands in: numbers are averaged within it.
    stratum: usize,
}

impl Exploring {
    /// Asks the evidence.
    ///
    /// # Errors
    /// [`NotExplored`], saying what is missing.
    pub fn ask(&self, method: &Method, evidence: &Evidence) -> Result<Exploration, NotExplored> {
        let mut reasons = Reasons::default();
        let placed = self.placed(method, evidence, &mut reasons);
        let Some(first) = placed.first() else {
            return Err(NotExplored::NoAnswer(self.question.nothing(
                method,
                evidence,
                &reasons.finish(),
                None,
            )));
        };
        let accepted: Vec<&EvidenceTrial> = evidence.trials.iter().filter(|trial| trial.counts()).collect();
        let spread = MethodSpread::of(method, &accepted, &first.trial.summary, &self.question.options);
        let pooling = Pooling {
            question: &self.question,
            method,
            spread: &spread,
            divisors: &Divisors::None,
            accepted: &accepted,
        };
        let conditions = conditions(&placed);
        let (pairs, used) = self.weighed(method, &spread, &placed, &conditions.places, &mut reasons);
        let options = self.options(&pooling);
        let Ok(answer) = pool_pair(&pairs, &self.question.pack_a, &self.question.pack_b, &options) else {
            return Err(NotExplored::NoAnswer(self.question.nothing(
                method,
                evidence,
                &reasons.finish(),
                None,
            )));
        };
        let rows = self.rows(&answer.units, &used, &conditions, method);
        let fitted = self.fit(method, &rows, &options)?;
        let testers: BTreeSet<&TesterId> =
            answer.units.iter().flat_map(|row| &row.trials).map(|place| &used[*place].trial.tester).collect();
        let scale = pooling.scale();
        let count = answer.units.iter().map(|row| row.trials.len()).sum();
        Ok(Exploration {
            asked: self.clone(),
            scale,
            cells: rows.iter().map(|row| row.cell(scale, self.question.options.level)).collect(),
            units: fitted.units,
            testers: testers.len(),
            trials: count,
            slope: self.modifier.step(method).map(|step| slope(&fitted, &rows, step, scale)),
            levels: levels(&fitted, &rows, scale),
            interaction: interaction(&fitted),
            tau: fitted.tau2.sqrt(),
            tau_without: answer.pooled.tau2.unwrap_or(0.0).sqrt(),
            prior: spread.used(),
            warnings: warnings(&fitted, answer.warnings.contains(&Warning::BlockedOrder)),
            left_out: reasons.finish(),
            data_version: evidence.data_version,
            evidence_version: evidence.evidence_version,
        })
    }

    fn options(&self, pooling: &Pooling<'_>) -> PairOptions {
        PairOptions {
            pooling: pooling.pooling_options(),
            vote_cap: match self.question.options.vote_cap {
                VoteCap::Median => benchring_stats::blocks::VoteCap::Median,
                VoteCap::None => benchring_stats::blocks::VoteCap::None,
            },
            drift: 0.0,
        }
    }

    /// The trials as numbers, and which they are; those that give no contrast are noted.
    fn weighed<'a>(
        &self,
        method: &Method,
        spread: &MethodSpread,
        placed: &'a [Placed<'a>],
        places: &[usize],
        reasons: &mut Reasons,
    ) -> (Vec<PairTrial<Key, PackModelId>>, Vec<&'a Placed<'a>>) {
        let trials: Vec<&EvidenceTrial> = placed.iter().map(|placed| placed.trial).collect();
        let units = units_of(&trials);
        let (mut pairs, mut used) = (Vec::new(), Vec::new());
        for (one, at) in placed.iter().zip(places) {
            let unit = units.get(&one.trial.tester).unwrap_or(&one.trial.tester);
            match weigh(one.trial, unit, &self.question, method, spread, &Divisors::None, Stopped::Censored) {
                Ok(ready) => {
                    let PairTrial { unit, arms, order, df } = ready.pair;
                    pairs.push(PairTrial { unit: (unit, *at), arms, order, df });
                    used.push(one);
                }
                Err((reason, message)) if self.question.about(one.trial) => {
                    reasons.add(reason, &message, &one.trial.trial);
                }
                Err(_) => {}
            }
        }
        (pairs, used)
    }

    /// The trials that count within the scope and bear the condition, in the order of the evidence.
    fn placed<'a>(&self, method: &Method, evidence: &'a Evidence, reasons: &mut Reasons) -> Vec<Placed<'a>> {
        let mut placed = Vec::new();
        let strata = groups(&self.question, method, &evidence.trials, reasons);
        for (stratum, group) in strata.into_iter().enumerate() {
            for trial in group.trials.into_iter().filter(|trial| trial.counts()) {
                match self.modifier.of_trial(method, &trial.summary) {
                    Some(condition) => placed.push(Placed { trial, condition, stratum }),
                    None if self.question.about(trial) => {
                        let message = format!("{} is not known of it", self.modifier.label());
                        reasons.add("NO_MODIFIER", &message, &trial.trial);
                    }
                    None => {}
                }
            }
        }
        placed.sort_by(|a, b| a.trial.trial.cmp(&b.trial.trial));
        placed
    }

    fn rows(
        &self,
        units: &[UnitRow<Key>],
        used: &[&Placed<'_>],
        conditions: &Conditions,
        method: &Method,
    ) -> Vec<Row> {
        let step = self.modifier.step(method);
        let row = |row: &UnitRow<Key>| {
            let numbers: Vec<f64> = row
                .trials
                .iter()
                .filter_map(|place| match &used[*place].condition {
                    Condition::Number(value) => Some(*value),
                    Condition::Choice(_) => None,
                })
                .collect();
            let column = step.filter(|_| !numbers.is_empty()).map(|step| {
                numbers.iter().map(|value| step.column(*value)).sum::<f64>() / numbers.len() as f64
            });
            Row {
                unit: row.unit.0.clone(),
                level: conditions.levels.get(row.unit.1).cloned().unwrap_or_default(),
                column,
                value: column.zip(step).map(|(column, step)| match step {
                    Step::Doubling => column.exp(),
                    Step::Ten(_) => column,
                }),
                estimate: Estimate { effect: row.estimate, variance: row.capped_variance },
                own_variance: row.variance,
                trials: row.trials.iter().map(|place| used[*place].trial.trial.clone()).collect(),
            }
        };
        units.iter().map(row).collect()
    }

    fn fit(&self, method: &Method, rows: &[Row], options: &PairOptions) -> Result<Regression, NotExplored> {
        let estimates: Vec<Estimate> = rows.iter().map(|row| row.estimate).collect();
        let units: BTreeSet<&TesterId> = rows.iter().map(|row| &row.unit).collect();
        let columns = columns(rows, self.modifier.id());
        let label = self.modifier.label();
        if columns.is_empty() {
            return Err(NotExplored::RankDeficient(format!(
                "{label} is the same in all {} contrasts of this pair (rank_deficient): widen the scope, or wait for testers with another",
                rows.len()
            )));
        }
        regress(&estimates, &columns, Some(units.len()), &options.pooling).map_err(|why| match why {
            RegressionError::TooFewEstimates { count, coefficients } => NotExplored::TooFew(format!(
                "{count} contrasts of this pair carry {label}, and {coefficients} coefficients need more: {} at least, four testers for each to be worth reading",
                coefficients + 1
            )),
            RegressionError::RankDeficient { .. } => NotExplored::RankDeficient(format!(
                "{label} is the same in all {} contrasts of this pair (rank_deficient) of {}: widen the scope, or wait for testers with another",
                rows.len(),
                method.reference()
            )),
            other => NotExplored::TooFew(format!("the contrasts of this pair cannot be held against {label}: {other}")),
        })
    }
}

/// Which conditions there are, and which each trial has.
struct Conditions {
    /// The choices, in order; empty for numbers.
    levels: Vec<String>,
    /// Of each trial, the place of its choice, or its stratum.
    places: Vec<usize>,
}

fn conditions(placed: &[Placed<'_>]) -> Conditions {
    let choice = |placed: &Placed<'_>| match &placed.condition {
        Condition::Choice(word) => Some(word.clone()),
        Condition::Number(_) => None,
    };
    let levels: Vec<String> = placed.iter().filter_map(choice).collect::<BTreeSet<_>>().into_iter().collect();
    let place = |one: &Placed<'_>| match choice(one) {
        Some(word) => levels.iter().position(|level| *level == word).unwrap_or_default(),
        None => one.stratum,
    };
    let places = placed.iter().map(place).collect();
    Conditions { levels, places }
}

/// One contrast with what the regression reads of it.
struct Row {
    unit: TesterId,
    level: String,
    column: Option<f64>,
    value: Option<f64>,
    estimate: Estimate,
    own_variance: f64,
    trials: Vec<crate::id::TrialId>,
}

impl Row {
    fn cell(&self, scale: EffectScale, level: f64) -> Cell {
        let half = normal_upper_quantile(0.5 * (1.0 - level)) * self.own_variance.sqrt();
        let effect = self.estimate.effect;
        Cell {
            unit: self.unit.clone(),
            value: self.value,
            level: self.level.clone(),
            effect: told(scale, effect, effect - half, effect + half),
            trials: self.trials.clone(),
        }
    }
}

/// The column of a number, or one for each choice but the first.
fn columns(rows: &[Row], name: &str) -> Vec<Column> {
    let numbers: Vec<f64> = rows.iter().filter_map(|row| row.column).collect();
    if numbers.len() == rows.len() {
        return vec![Column { name: name.to_owned(), values: numbers }];
    }
    let levels: BTreeSet<&str> = rows.iter().map(|row| row.level.as_str()).collect();
    let column = |level: &str| Column {
        name: level.to_owned(),
        values: rows.iter().map(|row| f64::from(u8::from(row.level == level))).collect(),
    };
    levels.into_iter().skip(1).map(column).collect()
}

fn slope(fitted: &Regression, rows: &[Row], step: Step, scale: EffectScale) -> Slope {
    let coefficient = &fitted.coefficients[1];
    let size = step.size();
    let values: Vec<f64> = rows.iter().filter_map(|row| row.value).collect();
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let at = |value: f64| {
        fitted.at(&[step.column(value)]).ok().map_or(OPEN, |judged| interval(&judged, fitted, scale))
    };
    Slope {
        step,
        change: told(scale, size * coefficient.estimate, size * coefficient.lower, size * coefficient.upper),
        coefficient: coefficient.estimate,
        standard_error: coefficient.se,
        p: coefficient.p,
        range: (low, high),
        ends: [at(low), at(high)],
    }
}

fn interval(judged: &Judged, fitted: &Regression, scale: EffectScale) -> Interval {
    let half = judged.half_width(fitted.options.level);
    told(scale, judged.estimate, judged.estimate - half, judged.estimate + half)
}

fn levels(fitted: &Regression, rows: &[Row], scale: EffectScale) -> Vec<LevelEffect> {
    let mut by_level: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in rows.iter().filter(|row| row.column.is_none()) {
        by_level.entry(&row.level).or_default().push(row);
    }
    let effect = |(place, (level, rows)): (usize, (&str, Vec<&Row>))| {
        let at: Vec<f64> =
            (1..fitted.coefficients.len()).map(|column| f64::from(u8::from(column == place))).collect();
        let units: BTreeSet<&TesterId> = rows.iter().map(|row| &row.unit).collect();
        let judged = fitted.at(&at).ok()?;
        let effect = interval(&judged, fitted, scale);
        Some(LevelEffect { level: level.to_owned(), cells: rows.len(), units: units.len(), effect })
    };
    by_level.into_iter().enumerate().filter_map(effect).collect()
}

fn interaction(fitted: &Regression) -> Interaction {
    let none = Interaction { f: None, df1: 0.0, df2: fitted.df, p: 1.0 };
    fitted.omnibus.map_or(none, |test| Interaction { f: test.f, df1: test.df1, df2: test.df2, p: test.p })
}

fn warnings(fitted: &Regression, blocked: bool) -> Vec<PoolWarning> {
    let few = fitted.warnings.contains(&Warning::TooFewForModerator).then(|| PoolWarning {
        name: "too_few_for_moderator",
        message: format!(
            "{} voting units carry {} coefficients: four for each are the least to be worth reading, ten are the usual advice",
            fitted.units,
            fitted.coefficients.len()
        ),
    });
    let shared = (fitted.count > fitted.units).then(|| PoolWarning {
        name: "units_in_several_cells",
        message: format!(
            "{} voting units give {} contrasts: those of one unit are taken as independent, which is careful about a change within a unit and bold about one between units",
            fitted.units, fitted.count
        ),
    });
    let blocked = blocked.then(|| PoolWarning {
        name: "blocked_order",
        message: "some trials ran one pack after the other: a drift cannot be told from a difference there, and the intervals here hold no allowance for it".to_owned(),
    });
    few.into_iter().chain(shared).chain(blocked).collect()
}
