//! What a trial shows by itself, with what its method knows of scatter: on arrival, and again with a better prior.

use benchring_stats::special::t_upper_quantile;
use benchring_stats::trend::{OrderedReading, drift_line, mann_kendall};
use benchring_stats::variance::Prior;

use crate::method::{Method, ResponseScale};
use crate::screening::arm::{self, alpha};
use crate::screening::flag::{Compared, Flag, FlagKind, FlagLevel, Severity, Statistic};

/// An exact run of an arm.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SeriesRun {
    /// Path of its reading within the trial.
    pub(crate) at: String,
    /// Position in the trial, where recorded.
    pub(crate) position: Option<u32>,
    /// The reading, canonical unit.
    pub(crate) value: f64,
}

/// The exact scored runs of an arm in the order of the trial.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Series {
    /// Path of the arm.
    pub(crate) at: String,
    /// The runs.
    pub(crate) runs: Vec<SeriesRun>,
    /// Finest step its readings were written with, canonical unit.
    pub(crate) resolution: Option<f64>,
}

/// How a method reads a series.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scaled<'a> {
    pub(super) method: &'a Method,
    pub(super) ratio: bool,
    pub(super) prior: Prior,
}

impl Scaled<'_> {
    /// ln on the ratio scale.
    pub(super) fn scaled(&self, value: f64) -> f64 {
        if self.ratio { value.ln() } else { value }
    }

    /// Back again.
    pub(super) fn unscaled(&self, y: f64) -> f64 {
        if self.ratio { y.exp() } else { y }
    }

    pub(super) fn symbol(&self) -> String {
        self.method.response.measure.dimension.canonical().symbol.to_owned()
    }
}

/// Flags of runs, arms and the trial within itself, in the order of its parts.
///
/// `prior` is what other trials, or the catalogue, say of the variance of a reading.
pub(crate) fn of_trial(method: &Method, arms: &[Series], prior: &Prior) -> Vec<Flag> {
    let ratio = method.response.scale == ResponseScale::Ratio;
    let scaled = Scaled { method, ratio, prior: *prior };
    let usable = |series: &&Series| !ratio || series.runs.iter().all(|run| run.value > 0.0);
    let arms: Vec<&Series> = arms.iter().filter(usable).collect();
    let mut flags: Vec<Flag> = arms.iter().flat_map(|series| arm::of_arm(&scaled, series)).collect();
    flags.extend(drift(&scaled, &arms));
    flags
}

/// A drift along the order of the trial: one slope within its arms by least squares. `None` where positions are not
/// recorded, or the slope is no more than chance.
fn drift(scaled: &Scaled<'_>, arms: &[&Series]) -> Option<Flag> {
    let mut readings = Vec::new();
    for (arm, series) in arms.iter().enumerate() {
        for run in &series.runs {
            readings.push(OrderedReading { arm, run: run.position?, value: scaled.scaled(run.value) });
        }
    }
    // Positions were checked when the trial was taken: each run has its own.
    let line = drift_line(&readings).ok().flatten()?;
    let test = line.test?;
    let severity = Severity::of_p(test.p)?;
    Some(Flag {
        value: Some(per_run(scaled, line.slope)),
        code: if scaled.ratio { "%".to_owned() } else { scaled.symbol() },
        p: Some(test.p),
        critical: Some(t_upper_quantile(0.5 * alpha(severity), test.df as f64)),
        sd: Some(test.variance.sqrt()),
        compared: Compared { runs: readings.len(), trials: 1, testers: 1 },
        ..Flag::new(FlagLevel::Trial, FlagKind::Drift, severity, Statistic::T, test.t)
    })
}

/// A trend along the order of one arm, by ranks.
pub(super) fn trend(scaled: &Scaled<'_>, series: &Series, y: &[f64]) -> Option<Flag> {
    let mut ordered: Vec<(u32, f64)> = Vec::new();
    for (run, y) in series.runs.iter().zip(y) {
        ordered.push((run.position?, *y));
    }
    ordered.sort_by_key(|(position, _)| *position);
    let ordered: Vec<f64> = ordered.into_iter().map(|(_, y)| y).collect();
    let trend = mann_kendall(&ordered).ok().flatten()?;
    let p = trend.p?;
    let severity = Severity::of_p(p)?;
    Some(Flag {
        field: series.at.clone(),
        value: trend.slope.map(|slope| per_run(scaled, slope)),
        code: if scaled.ratio { "%".to_owned() } else { scaled.symbol() },
        p: Some(p),
        compared: Compared { runs: trend.count, trials: 1, testers: 1 },
        ..Flag::new(FlagLevel::Arm, FlagKind::Trend, severity, Statistic::S, trend.s as f64)
    })
}

/// A slope on the scale of contrasts as it is told: in per cent for a ratio.
fn per_run(scaled: &Scaled<'_>, slope: f64) -> f64 {
    if scaled.ratio { 100.0 * slope.exp_m1() } else { slope }
}
