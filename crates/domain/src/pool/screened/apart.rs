//! Testers and arms against what all other testers say.

use benchring_stats::screen::{Influence, InfluenceRow};

use crate::id::PackModelId;
use crate::pool::evidence::EvidenceTrial;
use crate::pool::screened::Stratum;
use crate::pool::strata::has;
use crate::pool::stratum::Pooling;
use crate::pool::weigh::{Stopped, weigh};
use crate::screening::slips::{causes, known_slips};
use crate::screening::{Compared, Flag, FlagKind, FlagLevel, Severity, Statistic};

/// Units whose effect lies far from that of all others, and units that move the answer.
pub(super) fn testers(pooling: &Pooling<'_>, stratum: &Stratum<'_>, moved: Option<&Influence>) -> Vec<Flag> {
    let Some(moved) = moved else { return Vec::new() };
    let scale = pooling.scale();
    let flag = |row: &InfluenceRow| {
        let (kind, severity, statistic, number, p, critical) = match row.severity.map(Severity::from) {
            Some(severity) => {
                let limit = match severity {
                    Severity::Outlier => moved.outlier_limit,
                    _ => moved.straggler_limit,
                };
                (FlagKind::TesterApart, severity, Statistic::Deleted, row.rstudent, Some(row.p), limit)
            }
            None if row.influential => (
                FlagKind::Influential,
                Severity::Notice,
                Statistic::Dffits,
                row.dffits,
                None,
                moved.dffits_limit,
            ),
            None => return None,
        };
        let own = stratum.votes[row.index];
        let sd = (own.variance + row.tau2_without + row.se_without.powi(2)).sqrt();
        Some(Flag {
            unit: Some(stratum.rows[row.index].unit.clone()),
            value: Some(scale.told(own.effect)),
            usual: Some(scale.told(row.estimate_without)),
            code: if scale.is_ratio() { String::new() } else { scale.unit().to_owned() },
            p,
            critical: Some(critical),
            sd: Some(sd),
            compared: Compared {
                runs: 0,
                trials: stratum.headline.basis.trials.saturating_sub(stratum.rows[row.index].trials.len()),
                testers: stratum.rows.len() - 1,
            },
            ..Flag::new(FlagLevel::Tester, kind, severity, statistic, number)
        })
    };
    moved.rows.iter().filter_map(flag).collect()
}

/// Arms in which a slip of units would explain why the trial differs from what other testers found.
///
/// With r = the trial's own effect less that of all other units, and sd = sqrt(tau^2 + SE^2 + v), the three without the
/// trial's unit. Which of the two arms bears it cannot be told.
pub(super) fn arms(pooling: &Pooling<'_>, stratum: &Stratum<'_>, moved: Option<&Influence>) -> Vec<Flag> {
    let Some(moved) = moved.filter(|_| pooling.scale().is_ratio() && pooling.divisors.leaves_readings())
    else {
        return Vec::new();
    };
    let slips = known_slips(pooling.method.response.measure.dimension);
    let question = pooling.question;
    let mut flags = Vec::new();
    for row in &moved.rows {
        let unit = &stratum.rows[row.index].unit;
        let both = |trial: &&&EvidenceTrial| {
            stratum.unit_of(trial) == unit && has(trial, &question.pack_a) && has(trial, &question.pack_b)
        };
        for trial in stratum.counted.iter().filter(both) {
            let Some((effect, variance)) = own_effect(pooling, stratum, trial) else { continue };
            let distance = effect - row.estimate_without;
            let sd = (variance + row.tau2_without + row.se_without.powi(2)).sqrt();
            let causes = causes(&slips, distance, sd, effect.exp());
            let explained: f64 = causes.iter().map(|cause| cause.posterior).sum();
            if causes.is_empty() {
                continue;
            }
            let mut paths =
                [&question.pack_a, &question.pack_b].into_iter().filter_map(|pack| place(trial, pack));
            flags.push(Flag {
                trial: Some(trial.trial.clone()),
                field: paths.next().unwrap_or_default(),
                or_fields: paths.collect(),
                value: Some(effect.exp()),
                usual: Some(row.estimate_without.exp()),
                sd: Some(sd),
                compared: Compared {
                    runs: 0,
                    trials: stratum.headline.basis.trials.saturating_sub(1),
                    testers: stratum.rows.len() - 1,
                },
                causes,
                ..Flag::new(
                    FlagLevel::Arm,
                    FlagKind::UnitSlip,
                    if 1.0 - explained < 0.01 { Severity::Outlier } else { Severity::Straggler },
                    Statistic::Residual,
                    distance,
                )
            });
        }
    }
    flags
}

/// The trial's own effect of the pair and its variance, each pack by the mean of its arms.
fn own_effect(pooling: &Pooling<'_>, stratum: &Stratum<'_>, trial: &EvidenceTrial) -> Option<(f64, f64)> {
    let question = pooling.question;
    let unit = stratum.unit_of(trial);
    let weighed =
        weigh(trial, unit, question, pooling.method, pooling.spread, pooling.divisors, Stopped::Censored)
            .ok()?;
    let of = |pack: &PackModelId| {
        let arms: Vec<(f64, f64)> = (weighed.pair.arms.iter())
            .filter(|arm| arm.treatment == *pack)
            .map(|arm| (arm.effect, arm.variance))
            .collect();
        let n = arms.len() as f64;
        let (effects, variances): (Vec<f64>, Vec<f64>) = arms.into_iter().unzip();
        (n > 0.0).then(|| (effects.iter().sum::<f64>() / n, variances.iter().sum::<f64>() / (n * n)))
    };
    let ((a, va), (b, vb)) = (of(&question.pack_a)?, of(&question.pack_b)?);
    Some((b - a, va + vb))
}

/// Path of the arm of a pack.
fn place(trial: &EvidenceTrial, pack: &PackModelId) -> Option<String> {
    let place = trial.summary.arms.iter().position(|arm| arm.pack_model == *pack)?;
    Some(format!("arms[{place}]"))
}
