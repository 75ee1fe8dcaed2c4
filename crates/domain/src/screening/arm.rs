//! The readings of one arm: one far from the others, none that differ, or a trend along the order.

use benchring_stats::contrast::Scale;
use benchring_stats::screen::{
    OUTLIER_P, Replicates, STRAGGLER_P, Severity as Far, esd_critical, grubbs_critical, screen_replicates,
};
use benchring_stats::special::t_upper_quantile;

use crate::screening::flag::{Compared, Flag, FlagKind, FlagLevel, Severity, Statistic};
use crate::screening::others::Others;
use crate::screening::slips::{causes, known_slips};
use crate::screening::trial::{Scaled, Series};

/// Fewest readings that are remarkable for not differing.
const ALIKE_FROM: usize = 3;

impl From<Far> for Severity {
    fn from(far: Far) -> Self {
        match far {
            Far::Straggler => Self::Straggler,
            Far::Outlier => Self::Outlier,
        }
    }
}

/// The level of significance that a severity stands for.
pub(crate) fn alpha(severity: Severity) -> f64 {
    if severity == Severity::Outlier { OUTLIER_P } else { STRAGGLER_P }
}

/// Flags of an arm and its runs.
pub(super) fn of_arm(scaled: &Scaled<'_>, series: &Series) -> Vec<Flag> {
    let y: Vec<f64> = series.runs.iter().map(|run| scaled.scaled(run.value)).collect();
    let slips = slips(scaled, series, &y);
    let replicates = if alike(&y) { None } else { replicates(scaled, series, &y) };
    // A slip that explains a reading says more than that it lies far out.
    let new = |flag: &Flag| slips.iter().all(|slip| slip.field != flag.field);
    let replicates: Vec<Flag> = replicates.into_iter().flatten().filter(new).collect();
    let mut flags = slips;
    flags.extend(replicates);
    flags.extend(zero_spread(scaled, series, &y));
    flags.extend(super::trial::trend(scaled, series, &y));
    flags
}

fn alike(y: &[f64]) -> bool {
    y.windows(2).all(|two| two[0].total_cmp(&two[1]).is_eq())
}

/// Readings that a known slip of units would put among the others of their arm.
fn slips(scaled: &Scaled<'_>, series: &Series, y: &[f64]) -> Vec<Flag> {
    let others = Others::of(y, scaled.prior.s02.sqrt(), scaled.ratio).filter(|_| scaled.ratio);
    let Some(others) = others else { return Vec::new() };
    let known = known_slips(scaled.method.response.measure.dimension);
    let flag = |(run, y): (&super::SeriesRun, &f64)| {
        let distance = others.distance(*y);
        let causes = causes(&known, distance, others.sd, run.value);
        let explained: f64 = causes.iter().map(|cause| cause.posterior).sum();
        (!causes.is_empty()).then(|| Flag {
            field: run.at.clone(),
            value: Some(run.value),
            usual: Some(scaled.unscaled(others.median_without(*y))),
            code: scaled.symbol(),
            sd: Some(others.sd),
            compared: Compared { runs: series.runs.len() - 1, trials: 1, testers: 1 },
            causes,
            ..Flag::new(
                FlagLevel::Run,
                FlagKind::UnitSlip,
                // A slip is the likelier, the less is left for chance.
                if 1.0 - explained < OUTLIER_P { Severity::Outlier } else { Severity::Straggler },
                Statistic::Residual,
                distance,
            )
        })
    };
    series.runs.iter().zip(y).filter_map(flag).collect()
}

/// Readings far from the mean of their arm, by the test that their count asks for.
fn replicates(scaled: &Scaled<'_>, series: &Series, y: &[f64]) -> Option<Vec<Flag>> {
    let prior = (scaled.prior.s02, scaled.prior.d0);
    // Readings were checked when they were taken; what no test reads gives no flag.
    let found = screen_replicates(y, Scale::Difference, Some(prior)).ok()?;
    let n = y.len();
    let base = |place: usize, severity: Severity, statistic, number: f64| {
        let run = &series.runs[place];
        let usual = mean_without(y, place).map(|mean| scaled.unscaled(mean));
        Flag {
            field: run.at.clone(),
            value: Some(run.value),
            usual,
            code: scaled.symbol(),
            compared: Compared { runs: n - 1, trials: 1, testers: 1 },
            ..Flag::new(FlagLevel::Run, FlagKind::Replicate, severity, statistic, number)
        }
    };
    if let Some(severity) = found.either_of_two() {
        return Some(either(scaled, series, &found, severity.into()).into_iter().collect());
    }
    let mut flags = Vec::new();
    for (place, severity) in found.suspects() {
        let severity = Severity::from(severity);
        let alpha = alpha(severity);
        let step = found.esd.iter().flat_map(|esd| esd.steps.iter().enumerate());
        let step = step.into_iter().find(|(_, step)| step.index == place && step.severity.is_some());
        let flag = match (&found.prior_z, &found.grubbs, step) {
            (Some(one), ..) => Flag {
                p: Some(one.p),
                critical: Some(t_upper_quantile(alpha / (2.0 * n as f64), scaled.prior.d0)),
                sd: Some(scaled.prior.s02.sqrt()),
                ..base(place, severity, Statistic::Z, one.z)
            },
            (None, Some(one), _) if one.index == place && one.severity.is_some() => Flag {
                p: Some(one.p),
                critical: grubbs_critical(n, alpha).ok(),
                sd: sd(y),
                ..base(place, severity, Statistic::G, one.g)
            },
            (None, _, Some((turn, step))) => Flag {
                critical: esd_critical(n, turn + 1, alpha).ok(),
                sd: sd(y),
                ..base(place, severity, Statistic::R, step.r)
            },
            (None, _, None) => continue,
        };
        flags.push(flag);
    }
    Some(flags)
}

/// Two readings too far apart: nobody can tell which is off.
fn either(scaled: &Scaled<'_>, series: &Series, found: &Replicates, severity: Severity) -> Option<Flag> {
    let (one, [first, second]) = (found.prior_z?, &series.runs[..]) else { return None };
    Some(Flag {
        field: first.at.clone(),
        or_fields: vec![second.at.clone()],
        value: Some(first.value),
        usual: Some(second.value),
        code: scaled.symbol(),
        p: Some(one.p),
        critical: Some(t_upper_quantile(alpha(severity) / 2.0, scaled.prior.d0)),
        sd: Some(scaled.prior.s02.sqrt()),
        compared: Compared { runs: 1, trials: 1, testers: 1 },
        ..Flag::new(FlagLevel::Run, FlagKind::Replicate, severity, Statistic::Z, one.z)
    })
}

/// Three readings or more that are all the same: either coarsely read, or copied.
fn zero_spread(scaled: &Scaled<'_>, series: &Series, y: &[f64]) -> Option<Flag> {
    let first = series.runs.first()?;
    (y.len() >= ALIKE_FROM && alike(y)).then(|| Flag {
        field: series.at.clone(),
        value: Some(first.value),
        code: scaled.symbol(),
        sd: Some(scaled.prior.s02.sqrt()),
        compared: Compared { runs: y.len(), trials: 1, testers: 1 },
        ..Flag::new(FlagLevel::Arm, FlagKind::ZeroSpread, Severity::Notice, Statistic::Sd, 0.0)
    })
}

fn mean_without(y: &[f64], place: usize) -> Option<f64> {
    let others = y.iter().enumerate().filter(|(i, _)| *i != place).map(|(_, y)| *y);
    (y.len() > 1).then(|| others.sum::<f64>() / (y.len() - 1) as f64)
}

fn sd(y: &[f64]) -> Option<f64> {
    let mean = y.iter().sum::<f64>() / y.len() as f64;
    let squares: f64 = y.iter().map(|y| (y - mean).powi(2)).sum();
    (y.len() > 1).then(|| (squares / (y.len() - 1) as f64).sqrt())
}
