//! Whose readings scatter more than those of others, and whose ratio lies apart: Cochran's C, Mandel's h and k.

use std::collections::BTreeMap;

use benchring_stats::screen::{
    SpreadRow, cochran, cochran_critical, mandel, mandel_h_critical, mandel_k_critical,
};

use crate::id::TesterId;
use crate::pool::precision::stand_in;
use crate::pool::screened::Stratum;
use crate::pool::spread::trial_spread;
use crate::pool::stratum::Pooling;
use crate::screening::{Compared, Flag, FlagKind, FlagLevel, Severity, Statistic, alpha};

/// A unit's variance of a reading, and what it rests on.
struct UnitSpread<'a> {
    unit: &'a TesterId,
    squares: f64,
    df: usize,
    trials: usize,
}

impl UnitSpread<'_> {
    fn variance(&self) -> f64 {
        self.squares / self.df as f64
    }
}

/// Flags of units; where two tests speak of one unit alike, the sharper one alone.
pub(super) fn flags(pooling: &Pooling<'_>, stratum: &Stratum<'_>) -> Vec<Flag> {
    let spreads = spreads(pooling, stratum);
    let mut flags: Vec<Flag> = too_wide(pooling, &spreads).into_iter().collect();
    for flag in consistency(pooling, stratum, &spreads) {
        if flags.iter().all(|other| other.unit != flag.unit || flag.kind == FlagKind::Consistency) {
            flags.push(flag);
        }
    }
    flags
}

fn spreads<'a>(pooling: &Pooling<'_>, stratum: &'a Stratum<'_>) -> Vec<UnitSpread<'a>> {
    let mut units: BTreeMap<&TesterId, UnitSpread<'_>> = BTreeMap::new();
    for trial in stratum.counted {
        let own = trial_spread(pooling.method, &trial.summary, pooling.spread.resolution, false)
            .filter(|own| !own.zero_spread);
        let Some((s2, df)) = own.and_then(|own| Some((own.s2?, own.df))) else { continue };
        let unit = stratum.unit_of(trial);
        let sum = units.entry(unit).or_insert(UnitSpread { unit, squares: 0.0, df: 0, trials: 0 });
        sum.squares += s2 * df as f64;
        sum.df += df;
        sum.trials += 1;
    }
    units.into_values().collect()
}

/// The unit whose readings scatter most, if that is too much for chance.
fn too_wide(pooling: &Pooling<'_>, spreads: &[UnitSpread<'_>]) -> Option<Flag> {
    let rows: Vec<SpreadRow> =
        spreads.iter().map(|one| SpreadRow { variance: one.variance(), df: one.df as f64 }).collect();
    let found = cochran(&rows).ok().flatten()?;
    let severity = Severity::from(found.severity?);
    let one = &spreads[found.index];
    let alike = spreads.iter().all(|other| other.df == one.df);
    let count = one.df + 1;
    Some(Flag {
        p: Some(found.p),
        critical: cochran_critical(rows.len(), count, alpha(severity)).ok().filter(|_| alike),
        ..of_spread(pooling, spreads, one, FlagKind::Spread, severity, (Statistic::C, found.share))
    })
}

/// Mandel's k of every unit's scatter, and h of every unit's effect.
fn consistency(pooling: &Pooling<'_>, stratum: &Stratum<'_>, spreads: &[UnitSpread<'_>]) -> Vec<Flag> {
    let effects: BTreeMap<&TesterId, f64> =
        stratum.rows.iter().map(|row| &row.unit).zip(stratum.votes.iter().map(|vote| vote.effect)).collect();
    let with: Vec<&UnitSpread<'_>> = spreads.iter().filter(|one| effects.contains_key(one.unit)).collect();
    let cells: Vec<Vec<f64>> =
        with.iter().map(|one| stand_in(one.df + 1, effects[one.unit], one.squares)).collect();
    let Ok(found) = mandel(&cells) else { return Vec::new() };
    let scale = pooling.scale();
    let mean = effects.values().sum::<f64>() / effects.len() as f64;
    let mut flags = Vec::new();
    for (one, row) in with.iter().zip(found) {
        let k_limit = |severity| mandel_k_critical(cells.len(), one.df + 1, alpha(severity)).ok();
        if let Some((severity, limit, k)) = beyond(row.k, k_limit) {
            flags.push(Flag {
                critical: Some(limit),
                ..of_spread(pooling, spreads, one, FlagKind::SpreadRatio, severity, (Statistic::K, k))
            });
        }
        let h_limit = |severity| mandel_h_critical(cells.len(), alpha(severity)).ok();
        if let Some((severity, limit, h)) = beyond(row.h, h_limit) {
            flags.push(Flag {
                unit: Some(one.unit.clone()),
                value: Some(scale.told(effects[one.unit])),
                usual: Some(scale.told(mean)),
                code: if scale.is_ratio() { String::new() } else { scale.unit().to_owned() },
                critical: Some(limit),
                compared: Compared { runs: 0, trials: one.trials, testers: cells.len() - 1 },
                ..Flag::new(FlagLevel::Tester, FlagKind::Consistency, severity, Statistic::H, h)
            });
        }
    }
    flags
}

/// Severity, limit and the number itself, where it passes one.
pub(crate) fn beyond(
    number: Option<f64>,
    limit: impl Fn(Severity) -> Option<f64>,
) -> Option<(Severity, f64, f64)> {
    let number = number?;
    [Severity::Outlier, Severity::Straggler].into_iter().find_map(|severity| {
        let limit = limit(severity)?;
        (number.abs() > limit).then_some((severity, limit, number))
    })
}

/// A flag about a unit's scatter, in per cent on the ratio scale.
fn of_spread(
    pooling: &Pooling<'_>,
    spreads: &[UnitSpread<'_>],
    one: &UnitSpread<'_>,
    kind: FlagKind,
    severity: Severity,
    (statistic, number): (Statistic, f64),
) -> Flag {
    let others = || spreads.iter().filter(|other| other.unit != one.unit);
    let usual =
        others().map(|other| other.squares).sum::<f64>() / others().map(|other| other.df as f64).sum::<f64>();
    let ratio = pooling.method.response.scale == crate::method::ResponseScale::Ratio;
    let shown = |variance: f64| if ratio { 100.0 * variance.sqrt() } else { variance.sqrt() };
    let symbol = pooling.method.response.measure.dimension.canonical().symbol;
    Flag {
        unit: Some(one.unit.clone()),
        value: Some(shown(one.variance())),
        usual: usual.is_finite().then(|| shown(usual)),
        code: if ratio { "%".to_owned() } else { symbol.to_owned() },
        compared: Compared { runs: one.df, trials: one.trials, testers: spreads.len() - 1 },
        ..Flag::new(FlagLevel::Tester, kind, severity, statistic, number)
    }
}
