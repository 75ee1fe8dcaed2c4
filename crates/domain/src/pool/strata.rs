//! Which trials of the evidence a question is about, sorted into strata; and why others are left out.

use std::collections::BTreeMap;

use crate::id::{PackModelId, TrialId};
use crate::measure::with_unit;
use crate::method::{Band, Method};
use crate::pool::answer::LeftOut;
use crate::pool::evidence::EvidenceTrial;
use crate::pool::question::{Question, Scope};
use crate::trial::summary::ClassBasis;

/// What the trials of a stratum share: name and value, in the order of the method file.
pub(super) type Shared = Vec<(String, String)>;

/// A stratum before it is pooled. `trials` holds every trial in it, also those without the pair,
/// which connect packs within a tester.
#[derive(Debug)]
pub(super) struct Group<'a> {
    pub(super) shared: Shared,
    pub(super) demand_class: Option<String>,
    pub(super) trials: Vec<&'a EvidenceTrial>,
}

/// Trials left out, gathered by reason.
#[derive(Debug, Default)]
pub(super) struct Reasons(BTreeMap<String, (String, Vec<TrialId>)>);

impl Reasons {
    pub(super) fn add(&mut self, reason: &str, message: &str, trial: &TrialId) {
        self.0
            .entry(reason.to_owned())
            .or_insert_with(|| (message.to_owned(), Vec::new()))
            .1
            .push(trial.clone());
    }

    /// Takes over what `other` gathered.
    pub(super) fn merge(&mut self, other: Self) {
        for (reason, (message, trials)) in other.0 {
            self.0.entry(reason).or_insert_with(|| (message, Vec::new())).1.extend(trials);
        }
    }

    pub(super) fn finish(self) -> Vec<LeftOut> {
        self.0
            .into_iter()
            .map(|(reason, (message, mut trials))| {
                trials.sort();
                trials.dedup();
                LeftOut { reason, message, trials }
            })
            .collect()
    }
}

/// Whether the trial has an arm of `pack`.
pub(super) fn has(trial: &EvidenceTrial, pack: &PackModelId) -> bool {
    trial.summary.arms.iter().any(|arm| arm.pack_model == *pack)
}

/// Sorts the evidence into strata that hold both packs; strata without the pair are not returned.
pub(super) fn groups<'a>(
    question: &Question,
    method: &Method,
    trials: &'a [EvidenceTrial],
    reasons: &mut Reasons,
) -> Vec<Group<'a>> {
    let mut groups = groups_of(&question.scope, method, trials, &|trial| question.about(trial), 2, reasons);
    let holds = |group: &Group<'_>, pack| group.trials.iter().any(|t| has(t, pack));
    groups.retain(|group| holds(group, &question.pack_a) && holds(group, &question.pack_b));
    groups
}

/// Sorts the evidence into strata. A trial needs `fewest_arms`; those that are in none are noted where the question is `about`
/// them.
pub(super) fn groups_of<'a>(
    scope: &Scope,
    method: &Method,
    trials: &'a [EvidenceTrial],
    about: &dyn Fn(&EvidenceTrial) -> bool,
    fewest_arms: usize,
    reasons: &mut Reasons,
) -> Vec<Group<'a>> {
    let mut groups: BTreeMap<(Shared, Option<String>), Vec<&EvidenceTrial>> = BTreeMap::new();
    for trial in trials {
        let about = about(trial);
        if trial.summary.arms.len() < fewest_arms {
            if about {
                reasons.add("ONE_ARM", "one pack only: such trials give levels, no contrast", &trial.trial);
            }
            continue;
        }
        if let Some(zero) = trial.weight_zero {
            if about {
                reasons.add(zero.reason(), zero.message(), &trial.trial);
            }
            continue;
        }
        if let Some(first) = trial.summary.left_out.first() {
            if about {
                reasons.add(&first.reason, &first.message, &trial.trial);
            }
            continue;
        }
        match place(scope, method, trial) {
            Ok(place) => groups.entry(place).or_default().push(trial),
            Err((reason, message)) if about => reasons.add(reason, &message, &trial.trial),
            Err(_) => {}
        }
    }
    groups
        .into_iter()
        .map(|((shared, demand_class), trials)| Group { shared, demand_class, trials })
        .collect()
}

type Place = (Shared, Option<String>);

/// The stratum of a trial, or why the scope of the question leaves it out.
fn place(scope: &Scope, method: &Method, trial: &EvidenceTrial) -> Result<Place, (&'static str, String)> {
    let summary = &trial.summary;
    let class = summary.demand_class.clone();
    if scope.measured_class_only && summary.class_basis != ClassBasis::Measured {
        return Err((
            "CLASS_NOT_MEASURED",
            "its demand class was not measured, and only such are asked for".into(),
        ));
    }
    if let Some(asked) = &scope.demand_class
        && class.as_ref() != Some(asked)
    {
        return Err(("OTHER_DEMAND_CLASS", "another demand class than the one asked about".into()));
    }
    for (key, asked) in [("tool_type", &scope.tool_type), ("workpiece_family", &scope.workpiece_family)] {
        if let Some(asked) = asked
            && summary.keys.get(key) != Some(asked)
        {
            return Err((
                "OUTSIDE_SCOPE",
                format!("another {} than the one asked about", key.replace('_', " ")),
            ));
        }
    }
    let mut shared: Shared = summary.keys.iter().map(|(k, v)| (k.clone(), v.clone())).collect();
    for band in &method.bands {
        shared.push((band.id.clone(), bin(scope, band, trial)?));
    }
    Ok((shared, class))
}

/// The bin of a band: the fixed one, or "within a factor of the centre" where the question states one.
fn bin(scope: &Scope, band: &Band, trial: &EvidenceTrial) -> Result<String, (&'static str, String)> {
    let centre = scope.centres.get(&band.id);
    if let (Some(centre), Some(factor)) = (centre, band.factor) {
        let near = trial.summary.band_values.get(&band.id).is_some_and(|value| band.near(*centre, *value));
        return if near {
            let centre = with_unit(*centre, band.dimension.canonical());
            Ok(format!("within a factor {factor} of {centre}"))
        } else {
            Err((
                "FAR_FROM_CENTRE",
                format!(
                    "{} is not within a factor {factor} of {}",
                    band.id.replace('_', " "),
                    with_unit(*centre, band.dimension.canonical())
                ),
            ))
        };
    }
    trial
        .summary
        .bins
        .get(&band.id)
        .cloned()
        .map_or_else(|| Err(("BAND_UNKNOWN", format!("{} is not recorded", band.id.replace('_', " ")))), Ok)
}
