//! Demand classes beside each other, and one number over all of them where that is fair.
//!
//! A pack that helps a hungry tool may do nothing for a light one, so classes are strata. One number over them is given on
//! request, and only where the classes were shown to agree: not where nobody could have seen them differ.

use std::collections::BTreeMap;

use benchring_stats::estimate::Estimate;
use benchring_stats::heterogeneity::{SubgroupTest, subgroup_test};
use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::method::{Method, ResponseScale};
use crate::pool::answer::{PooledEffect, Stratum};
use crate::pool::evidence::EvidenceTrial;
use crate::trial::summary::ClassBasis;

/// Fewest testers, counted as voting units, of every class for an overall number.
pub const LEAST_TESTERS: usize = 4;
/// The interaction test must lie above this p-value.
pub const LEAST_P: f64 = 0.05;
/// Most that the largest class estimate may exceed the smallest by, as a ratio.
pub const MOST_APART: f64 = 1.03;

words!(
    /// How the demand class of a stratum is known.
    ClassBadge {
        /// Measured in every trial.
        Measured = "measured",
        /// Assumed from the table of works in every trial.
        Assumed = "assumed",
        /// Measured in some, assumed in others.
        Mixed = "mixed",
        /// Not known, or not asked by the method.
        Unknown = "unknown",
    }
);

words!(
    /// A condition for one number over demand classes.
    OverallCondition {
        /// There are two known classes or more.
        TwoClasses = "two_classes",
        /// Every class has four testers or more.
        TestersPerClass = "testers_per_class",
        /// The interaction F test does not reject that the classes agree.
        InteractionTest = "interaction_test",
        /// The class estimates lie within 3 % of each other.
        ClassesWithin = "classes_within",
    }
);

/// Mean power at the pack terminals, over trials.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanPower {
    /// Geometric mean over the trials that have a figure, watt.
    pub watt: f64,
    /// Geometric standard deviation over them, a factor; `None` for one trial.
    pub geometric_sd: Option<f64>,
    /// Trials that measured it.
    pub measured: usize,
    /// Trials with a figure, measured or assumed.
    pub trials: usize,
}

/// How the class of `trials` is known, and their mean power.
pub(super) fn class_of(trials: &[&EvidenceTrial]) -> (ClassBadge, Option<MeanPower>) {
    let count = |basis| trials.iter().filter(|t| t.summary.class_basis == basis).count();
    let (measured, assumed) = (count(ClassBasis::Measured), count(ClassBasis::Assumed));
    let badge = match (measured, assumed) {
        (0, 0) => ClassBadge::Unknown,
        (_, 0) => ClassBadge::Measured,
        (0, _) => ClassBadge::Assumed,
        _ => ClassBadge::Mixed,
    };
    let logs: Vec<f64> = trials.iter().filter_map(|t| t.summary.mean_power_w).map(f64::ln).collect();
    let n = logs.len() as f64;
    let mean = logs.iter().sum::<f64>() / n;
    let squares: f64 = logs.iter().map(|log| (log - mean).powi(2)).sum();
    let power = (!logs.is_empty()).then(|| MeanPower {
        watt: mean.exp(),
        geometric_sd: (logs.len() > 1).then(|| (squares / (n - 1.0)).sqrt().exp()),
        measured: trials
            .iter()
            .filter(|t| t.summary.class_basis == ClassBasis::Measured && t.summary.mean_power_w.is_some())
            .count(),
        trials: logs.len(),
    });
    (badge, power)
}

/// The demand classes of an otherwise same stratum.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassFamily {
    /// What its trials share beside the class.
    pub shared: Vec<(String, String)>,
    /// One row a class, ascending; the class that is not known last.
    pub rows: Vec<ClassRow>,
    /// One number over the classes; `None` unless the question asked for it.
    pub overall: Option<Overall>,
}

/// One class of a family.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassRow {
    /// The class; `None` where not known.
    pub demand_class: Option<String>,
    /// How it is known.
    pub badge: ClassBadge,
    /// Mean power of its trials of the pair.
    pub mean_power: Option<MeanPower>,
    /// Its effect, as in its stratum.
    pub effect: PooledEffect,
}

/// The answer to the request for one number over the classes.
#[derive(Debug, Clone, PartialEq)]
pub struct Overall {
    /// The number; `None` where a condition failed.
    pub effect: Option<PooledEffect>,
    /// The interaction test; `None` where it cannot be made.
    pub test: Option<Interaction>,
    /// Every condition that failed, with its numbers.
    pub failed: Vec<(OverallCondition, String)>,
}

/// Test of demand class over the effects of voting units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interaction {
    /// F ratio.
    pub f: f64,
    /// Numerator degrees of freedom.
    pub df1: f64,
    /// Denominator degrees of freedom.
    pub df2: f64,
    /// Its p-value.
    pub p: f64,
    /// Spread between units within classes, on the scale of pooling.
    pub tau: f64,
}

/// What one class brings to its family.
pub(super) struct ClassPart<'a> {
    pub(super) stratum: &'a Stratum,
    /// Capped effects of its voting units.
    pub(super) votes: &'a [Estimate],
}

/// Families of strata that share all but the class. `pool` makes one number of the strata at the places given, of those in
/// `parts`; it is called only where all conditions hold.
pub(super) fn families(
    method: &Method,
    parts: &[ClassPart<'_>],
    overall: bool,
    pool: &dyn Fn(&[usize]) -> Option<PooledEffect>,
) -> Vec<ClassFamily> {
    let mut families: BTreeMap<&[(String, String)], Vec<usize>> = BTreeMap::new();
    for (place, part) in parts.iter().enumerate() {
        families.entry(&part.stratum.shared).or_default().push(place);
    }
    families
        .into_iter()
        .map(|(shared, mut places)| {
            let class = |place: &usize| parts[*place].stratum.demand_class.clone();
            places.sort_by_key(|place| (class(place).is_none(), class(place)));
            let known: Vec<usize> = places.iter().copied().filter(|place| class(place).is_some()).collect();
            ClassFamily {
                shared: shared.to_vec(),
                rows: places.iter().map(|place| row(parts[*place].stratum)).collect(),
                overall: overall.then(|| over(method, parts, &known, pool)),
            }
        })
        .collect()
}

fn row(stratum: &Stratum) -> ClassRow {
    ClassRow {
        demand_class: stratum.demand_class.clone(),
        badge: stratum.class_badge,
        mean_power: stratum.mean_power,
        effect: stratum.headline.clone(),
    }
}

fn over(
    method: &Method,
    parts: &[ClassPart<'_>],
    known: &[usize],
    pool: &dyn Fn(&[usize]) -> Option<PooledEffect>,
) -> Overall {
    let mut failed = Vec::new();
    if known.len() < 2 {
        failed.push((
            OverallCondition::TwoClasses,
            format!("{} demand class is known, an overall number needs two", known.len()),
        ));
        return Overall { effect: None, test: None, failed };
    }
    testers(parts, known, &mut failed);
    let votes: Vec<Vec<Estimate>> = known.iter().map(|place| parts[*place].votes.to_vec()).collect();
    let test = subgroup_test(&votes).ok().flatten().map(|test| interaction(&test));
    match &test {
        Some(test) if test.p > LEAST_P => {}
        Some(test) => failed.push((
            OverallCondition::InteractionTest,
            format!(
                "the interaction test gives F({}, {}) = {:.2}, p = {:.3}: above {LEAST_P} is needed",
                test.df1, test.df2, test.f, test.p
            ),
        )),
        None => failed.push((
            OverallCondition::InteractionTest,
            "the interaction test cannot be made: every class has one voting unit".to_owned(),
        )),
    }
    within(method, parts, known, &mut failed);
    let effect = if failed.is_empty() { pool(known) } else { None };
    Overall { effect, test, failed }
}

fn interaction(test: &SubgroupTest) -> Interaction {
    Interaction { f: test.f, df1: test.df1, df2: test.df2, p: test.p, tau: test.tau2.sqrt() }
}

fn testers(parts: &[ClassPart<'_>], known: &[usize], failed: &mut Vec<(OverallCondition, String)>) {
    let few: Vec<String> = known
        .iter()
        .map(|place| parts[*place].stratum)
        .filter(|stratum| stratum.headline.basis.units < LEAST_TESTERS)
        .map(|stratum| {
            let basis = &stratum.headline.basis;
            let class = stratum.demand_class.as_deref().unwrap_or_default();
            format!("{class} has {} testers with {} votes", basis.testers, basis.units)
        })
        .collect();
    if !few.is_empty() {
        failed.push((
            OverallCondition::TestersPerClass,
            format!("{}: {LEAST_TESTERS} votes are needed in every class", few.join(", ")),
        ));
    }
}

fn within(
    method: &Method,
    parts: &[ClassPart<'_>],
    known: &[usize],
    failed: &mut Vec<(OverallCondition, String)>,
) {
    let pooled = known.iter().map(|place| parts[*place].stratum.headline.pooled);
    let (low, high) =
        pooled.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
    if method.response.scale == ResponseScale::Difference
        && !parts[known[0]].stratum.headline.scale.is_ratio()
    {
        failed.push((
            OverallCondition::ClassesWithin,
            "a difference has no percent to compare classes by: read them one by one".to_owned(),
        ));
    } else if high - low > MOST_APART.ln() {
        failed.push((
            OverallCondition::ClassesWithin,
            format!(
                "class estimates lie up to {:.1} % apart: at most {:.0} % is allowed",
                100.0 * (high - low).exp_m1(),
                100.0 * (MOST_APART - 1.0)
            ),
        ));
    }
}
