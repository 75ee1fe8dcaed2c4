//! What screening keeps of a trial beside its arms: flags, arms without their outliers, and moments for comparisons.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use benchring_stats::variance::{COLD_PRIOR_DF, Prior};

use crate::method::{Inputs, Method, ResponseScale};
use crate::quantity::Quantity;
use crate::screening::{self, Flag, Series, SeriesRun};
use crate::trial::check::parts::number;
use crate::trial::loose::ArmPack;
use crate::trial::reduce::{arm_summary, scored};
use crate::trial::summary::ArmSummary;
use crate::trial::{Arm, Charge, Conditions, Run, Trial};

/// Moments of the exact scored runs of an arm on the scale of contrasts (ln on the ratio scale), charges set aside.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct PlainMoments {
    /// Runs.
    pub runs: u32,
    /// Their plain mean.
    pub mean: f64,
    /// Sum of their squares about it.
    pub squares: f64,
}

/// What screening keeps of a trial. A fact of the revision: nothing that compares testers is in it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Screening {
    /// Flags of runs, arms and the trial within itself.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub flags: Vec<Flag>,
    /// Arms of which a run is an outlier, without it: by their place in the trial.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub without_outliers: BTreeMap<usize, ArmSummary>,
    /// One row an arm, in the order of the trial; empty for a trial that was kept before this was noted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moments: Vec<PlainMoments>,
    /// By the id of a derived quantity that reads both reading and conditions: the mean of its ln over the exact runs of
    /// each arm, in the order of the trial.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub derived: BTreeMap<String, Vec<Option<f64>>>,
}

impl Screening {
    /// Whether nothing is kept.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// The exact scored runs of every arm, in the order of the trial's parts.
pub(crate) fn series_of(trial: &Trial) -> Vec<Series> {
    let series = |(place, arm): (usize, &Arm)| {
        let at = format!("arms[{place}]");
        let runs = exact_runs(arm).map(|(charge, run, sent)| SeriesRun {
            at: format!("{at}.charges[{charge}].runs[{run}].reading"),
            position: sent.position,
            value: sent.reading.as_ref().map_or(0.0, Quantity::canonical),
        });
        let steps = exact_runs(arm).filter_map(|(.., run)| run.reading.as_ref()?.resolution());
        Series { runs: runs.collect(), resolution: steps.reduce(f64::min), at }
    };
    trial.arms.iter().enumerate().map(series).collect()
}

/// Runs that count with their whole reading, by their places.
fn exact_runs(arm: &Arm) -> impl Iterator<Item = (usize, usize, &Run)> {
    arm.charges.iter().enumerate().flat_map(|(place, charge)| {
        let runs = charge.runs.iter().enumerate();
        runs.filter(|(_, run)| scored(run) && !run.outcome.censored())
            .map(move |(run, sent)| (place, run, sent))
    })
}

/// What the catalogue says of the variance of a reading, before any trial was seen.
fn catalogue_prior(method: &Method, keys: &BTreeMap<String, String>) -> Option<Prior> {
    let widest = || method.scatter.iter().map(|scatter| scatter.range.max).reduce(f64::max);
    let sd = method.scatter_upper_end(keys).or_else(widest)?;
    Some(Prior { s02: sd * sd, d0: COLD_PRIOR_DF, trials: 0, assumed: true })
}

/// Screens a trial on arrival, with the scatter that the catalogue knows.
pub(super) fn screened(
    trial: &Trial,
    method: &Method,
    keys: &BTreeMap<String, String>,
    packs: &[ArmPack],
    keep_readings: bool,
) -> Screening {
    let series = series_of(trial);
    let prior = catalogue_prior(method, keys);
    let flags = prior.map(|prior| screening::of_trial(method, &series, &prior)).unwrap_or_default();
    let mut without_outliers = BTreeMap::new();
    for (place, arm) in trial.arms.iter().enumerate() {
        if let (Some(rest), Some(pack)) = (without(arm, place, &flags), packs.get(place)) {
            without_outliers.insert(place, arm_summary(&rest, method, pack, keep_readings));
        }
    }
    Screening {
        moments: series.iter().map(|series| plain_moments(method, series)).collect(),
        derived: derived(trial, method, packs),
        flags,
        without_outliers,
    }
}

/// The arm without the runs that are outliers; `None` where there is none, or nothing would be left.
fn without(arm: &Arm, place: usize, flags: &[Flag]) -> Option<Arm> {
    let out = |charge: usize, run: usize| {
        let at = format!("arms[{place}].charges[{charge}].runs[{run}].reading");
        flags.iter().any(|flag| flag.leaves_out() && flag.field == at)
    };
    let count = exact_runs(arm).filter(|(charge, run, _)| out(*charge, *run)).count();
    if count == 0 || count == exact_runs(arm).count() {
        return None;
    }
    let charges = arm.charges.iter().enumerate().map(|(charge, sent)| {
        let runs = sent.runs.iter().enumerate().filter(|(run, _)| !out(charge, *run));
        Charge { runs: runs.map(|(_, run)| run.clone()).collect(), ..sent.clone() }
    });
    Some(Arm { charges: charges.collect(), ..arm.clone() })
}

fn plain_moments(method: &Method, series: &Series) -> PlainMoments {
    let ratio = method.response.scale == ResponseScale::Ratio;
    let scaled = |value: f64| if ratio { value.ln() } else { value };
    let mut y: Vec<f64> = series.runs.iter().map(|run| scaled(run.value)).filter(|y| y.is_finite()).collect();
    if y.is_empty() {
        return PlainMoments::default();
    }
    y.sort_by(f64::total_cmp);
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    let squares = y.iter().map(|y| (y - mean).powi(2)).sum();
    PlainMoments { runs: u32::try_from(y.len()).unwrap_or(u32::MAX), mean, squares }
}

/// Means of ln of everything derived from reading and conditions together.
fn derived(trial: &Trial, method: &Method, packs: &[ArmPack]) -> BTreeMap<String, Vec<Option<f64>>> {
    let both = method.derived.iter().filter(|one| one.reads_reading() && !one.fields().is_empty());
    let rows = both.map(|one| {
        let of_arm = |(arm, pack): (&Arm, &ArmPack)| {
            let mut logs: Vec<f64> = Vec::new();
            for (charge, _, run) in exact_runs(arm) {
                let places: [&Conditions; 4] =
                    [&run.conditions, &arm.charges[charge].conditions, &arm.conditions, &trial.conditions];
                let field = |id: &str| places.iter().find_map(|place| number(place, id));
                let value = one.value(&Inputs {
                    reading: run.reading.as_ref().map(Quantity::canonical),
                    rated_capacity: pack.rated_capacity,
                    series_count: pack.series_count,
                    field: &field,
                })?;
                logs.push((value > 0.0).then(|| value.ln())?);
            }
            (!logs.is_empty()).then(|| logs.iter().sum::<f64>() / logs.len() as f64)
        };
        (one.id.clone(), trial.arms.iter().zip(packs).map(of_arm).collect::<Vec<Option<f64>>>())
    });
    rows.filter(|(_, arms)| arms.iter().any(Option::is_some)).collect()
}
