//! Precision of a method by ISO 5725-2: how far two readings of one tester lie apart, and of two testers.

mod draft;

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::precision::{FEWEST_CELLS, LimitFactor, Precision, precision};
use benchring_stats::screen::{
    SpreadRow, cochran, cochran_critical, mandel, mandel_h_critical, mandel_k_critical,
};

use crate::id::{PackModelId, TesterId, TrialId};
use crate::method::{Method, Normalisation, ResponseScale};
use crate::pool::answer::{Interval, LeftOut};
use crate::pool::compare::units_of;
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::normalise::{Divisors, MeasuredAmounts};
use crate::pool::question::{Options, Question};
use crate::pool::screened::beyond;
use crate::pool::spread::MethodSpread;
use crate::pool::strata::{Reasons, groups_of};
use crate::pool::stratum::Pooling;
use crate::pool::weigh::Stopped;
use crate::screening::{Compared, Flag, FlagKind, FlagLevel, Severity, Statistic, alpha};
use crate::text::number;
use crate::trial::summary::PlainMoments;
pub use draft::{PrecisionDraft, PrecisionQuestion};

/// One tester of a stratum.
#[derive(Debug, Clone, PartialEq)]
pub struct PrecisionCell {
    /// The tester.
    pub tester: TesterId,
    /// The trial that its readings are of.
    pub trial: TrialId,
    /// The pack model of the arm.
    pub pack_model: PackModelId,
    /// Readings.
    pub runs: u32,
    /// Their mean in the unit of the response (the geometric mean on the ratio scale), what the pack differs by taken off.
    pub mean: f64,
    /// Their standard deviation: on the log scale for a ratio, else in the unit. `None` for one reading.
    pub sd: Option<f64>,
    /// Mandel's h.
    pub h: Option<f64>,
    /// Mandel's k.
    pub k: Option<f64>,
}

/// Precision within one stratum.
#[derive(Debug, Clone, PartialEq)]
pub struct PrecisionStratum {
    /// What its trials share, by name.
    pub shared: Vec<(String, String)>,
    /// Demand class; `None` where not known.
    pub demand_class: Option<String>,
    /// Level of the readings: their mean over testers, in the unit of the response.
    pub mean: f64,
    /// `s_r`, on the log scale for a ratio, else in the unit of the response. So are the next five.
    pub repeatability_sd: Interval,
    /// `s_L`.
    pub between_sd: f64,
    /// `s_R`.
    pub reproducibility_sd: f64,
    /// r.
    pub repeatability_limit: f64,
    /// R.
    pub reproducibility_limit: f64,
    /// What a standard deviation is multiplied by for a limit.
    pub factor: f64,
    /// `F` of the analysis of variance; `None` where nothing varies within testers.
    pub f: Option<f64>,
    /// Its p-value.
    pub f_p: Option<f64>,
    /// Readings.
    pub runs: u32,
    /// The testers, in order of name.
    pub cells: Vec<PrecisionCell>,
    /// Cochran and Mandel.
    pub flags: Vec<Flag>,
    /// Trials and testers left out.
    pub left_out: Vec<LeftOut>,
}

/// The precision of a method.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessed {
    /// The question, defaults written out.
    pub question: PrecisionQuestion,
    /// Whether standard deviations are on the log scale.
    pub ratio: bool,
    /// UCUM code of the response.
    pub unit: &'static str,
    /// Its symbol.
    pub symbol: &'static str,
    /// The strata, the one with most testers first.
    pub strata: Vec<PrecisionStratum>,
    /// Trials in no stratum.
    pub left_out: Vec<LeftOut>,
    /// Sequence it was computed at.
    pub data_version: i64,
    /// Last sequence that changed the evidence of the method.
    pub evidence_version: i64,
}

impl Assessed {
    /// A standard deviation or limit in per cent, 100 (e^s - 1); `None` where the response is no ratio.
    pub fn percent(&self, value: f64) -> Option<f64> {
        self.ratio.then(|| 100.0 * value.exp_m1())
    }

    /// A figure as a person reads it.
    fn told(&self, value: f64) -> String {
        let three = |value: f64| number(format!("{value:.2e}").parse().unwrap_or(value));
        match self.percent(value) {
            Some(percent) => format!("{} %", three(percent)),
            None => format!("{} {}", three(value), self.symbol),
        }
    }
}

/// The precision of a stratum in one sentence: a function of the answer.
pub fn precision_sentence(found: &Assessed, stratum: &PrecisionStratum) -> String {
    let PrecisionStratum { repeatability_sd, reproducibility_sd, repeatability_limit, .. } = stratum;
    let told = |value: f64| found.told(value);
    let bounds = match (repeatability_sd.lower, repeatability_sd.upper) {
        (Some(lower), Some(upper)) => format!(" ({} to {})", told(lower), told(upper)),
        _ => String::new(),
    };
    format!(
        "by {} testers with {} runs, one reading scatters by {}{bounds} within a tester and by {} over testers: two runs of one tester differ by less than {} in 95 % of cases, runs of two testers by less than {}",
        stratum.cells.len(),
        stratum.runs,
        told(repeatability_sd.estimate.unwrap_or_default()),
        told(*reproducibility_sd),
        told(*repeatability_limit),
        told(stratum.reproducibility_limit),
    )
}

/// Why there is no answer: too few testers in every stratum.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct TooFewTesters(pub String);

/// `count` numbers with this mean and this sum of squares about it: all that an analysis of variance reads of a cell.
pub(super) fn stand_in(count: usize, mean: f64, squares: f64) -> Vec<f64> {
    let mut values = vec![mean; count];
    if count > 1 && squares > 0.0 {
        let half = (0.5 * squares).sqrt();
        values[0] = mean - half;
        values[1] = mean + half;
    }
    values
}

/// An arm that may stand for its tester.
struct Arm<'a> {
    trial: &'a EvidenceTrial,
    pack: &'a PackModelId,
    moments: PlainMoments,
}

impl PrecisionQuestion {
    /// Asks the evidence.
    ///
    /// A cell is one tester: the arm with most readings, of the pack asked about or else of any pack, with the pooled
    /// difference of its pack from the reference taken off. Repeats of a tester in other trials are made under other
    /// conditions: they are neither what repeatability means nor another tester, so they are left out.
    ///
    /// # Errors
    /// [`TooFewTesters`] where no stratum has three testers with a second reading somewhere.
    ///
    /// # Reference
    /// ISO 5725-2:1994, 7.2 to 7.5.
    pub fn ask(&self, method: &Method, evidence: &Evidence) -> Result<Assessed, TooFewTesters> {
        let accepted: Vec<&EvidenceTrial> = evidence.trials.iter().filter(|t| t.counts()).collect();
        let mut outside = Reasons::default();
        let about = |trial: &EvidenceTrial| {
            self.pack.as_ref().is_none_or(|pack| crate::pool::strata::has(trial, pack))
        };
        let groups = groups_of(&self.scope, method, &evidence.trials, &about, 1, &mut outside);
        let (mut strata, mut most) = (Vec::new(), 0);
        for group in groups {
            let trials: Vec<&EvidenceTrial> =
                group.trials.iter().copied().filter(|t| t.counts() && about(t)).collect();
            let testers = trials.iter().map(|t| &t.tester).collect::<BTreeSet<_>>().len();
            most = most.max(testers);
            let mut reasons = Reasons::default();
            let cells = self.cells(method, evidence, &accepted, &trials, &mut reasons);
            let found = self.assessed(method, &cells);
            match found {
                Some(found) => strata.push(PrecisionStratum {
                    shared: group.shared,
                    demand_class: group.demand_class,
                    left_out: reasons.finish(),
                    ..found
                }),
                None => {
                    for trial in &trials {
                        outside.add(
                            "TOO_FEW_TESTERS",
                            "its stratum has fewer than three testers, or none with a second reading",
                            &trial.trial,
                        );
                    }
                }
            }
        }
        if strata.is_empty() {
            return Err(self.too_few(method, most));
        }
        strata.sort_by(|a, b| {
            let size = |s: &PrecisionStratum| (s.cells.len(), s.runs);
            size(b)
                .cmp(&size(a))
                .then_with(|| (&a.shared, &a.demand_class).cmp(&(&b.shared, &b.demand_class)))
        });
        let unit = method.response.measure.dimension.canonical();
        Ok(Assessed {
            question: self.clone(),
            ratio: method.response.scale == ResponseScale::Ratio,
            unit: unit.ucum,
            symbol: unit.symbol,
            strata,
            left_out: outside.finish(),
            data_version: evidence.data_version,
            evidence_version: evidence.evidence_version,
        })
    }

    /// The question how two packs of the same scope compare.
    fn between(&self, pack_a: PackModelId, pack_b: PackModelId) -> Question {
        Question {
            method: self.method.clone(),
            pack_a,
            pack_b,
            scope: self.scope.clone(),
            normalisation: None::<Normalisation>,
            overall: false,
            all_normalisations: false,
            options: Options { level: self.level, ..Options::default() },
            data_version: self.data_version,
        }
    }

    fn too_few(&self, method: &Method, most: usize) -> TooFewTesters {
        let what = self.pack.as_ref().map_or_else(|| "any pack".to_owned(), PackModelId::name);
        let more = FEWEST_CELLS.saturating_sub(most);
        let remedy = match more {
            0 => "one of them has to repeat a run".to_owned(),
            1 => "1 more tester has to run it under like conditions, or widen the scope".to_owned(),
            more => format!("{more} more testers have to run it under like conditions, or widen the scope"),
        };
        TooFewTesters(format!(
            "the precision of {} needs accepted trials of {what} by {FEWEST_CELLS} testers of one stratum, one of them with a second run, and no stratum has more than {most}: {remedy}",
            method.reference()
        ))
    }

    /// One arm a tester, in order of tester, each with what its pack differs by.
    fn cells<'a>(
        &self,
        method: &Method,
        evidence: &Evidence,
        accepted: &[&EvidenceTrial],
        trials: &[&'a EvidenceTrial],
        reasons: &mut Reasons,
    ) -> Vec<(Arm<'a>, f64)> {
        let offsets = self.offsets(method, evidence, accepted, trials);
        let mut best: BTreeMap<&TesterId, (Arm<'a>, f64)> = BTreeMap::new();
        for trial in trials {
            if trial.summary.screening.moments.len() != trial.summary.arms.len() {
                reasons.add("KEPT_BEFORE", "kept before the server noted what precision needs", &trial.trial);
                continue;
            }
            for (arm, moments) in trial.summary.arms.iter().zip(&trial.summary.screening.moments) {
                if moments.runs == 0 || self.pack.as_ref().is_some_and(|pack| *pack != arm.pack_model) {
                    continue;
                }
                let Some(offset) = offsets.get(&arm.pack_model) else {
                    reasons.add(
                        "NOT_LINKED",
                        "nothing says what its pack differs from the others by",
                        &trial.trial,
                    );
                    continue;
                };
                let better =
                    best.get(&trial.tester).is_none_or(|(other, _)| other.moments.runs < moments.runs);
                if better {
                    let arm = Arm { trial, pack: &arm.pack_model, moments: *moments };
                    best.insert(&trial.tester, (arm, *offset));
                }
            }
        }
        for trial in trials {
            if best.get(&trial.tester).is_some_and(|(arm, _)| arm.trial.trial != trial.trial) {
                reasons.add(
                    "OTHER_TRIAL_OF_TESTER",
                    "another trial of its tester has more readings: one stands for each tester",
                    &trial.trial,
                );
            }
        }
        best.into_values().collect()
    }

    /// What each pack differs from the reference by, on the scale of contrasts: the pooled effect against the pack that
    /// most testers ran.
    fn offsets(
        &self,
        method: &Method,
        evidence: &Evidence,
        accepted: &[&EvidenceTrial],
        trials: &[&EvidenceTrial],
    ) -> BTreeMap<PackModelId, f64> {
        if let Some(pack) = &self.pack {
            return BTreeMap::from([(pack.clone(), 0.0)]);
        }
        let mut testers: BTreeMap<&PackModelId, BTreeSet<&TesterId>> = BTreeMap::new();
        for trial in trials {
            for arm in &trial.summary.arms {
                testers.entry(&arm.pack_model).or_default().insert(&trial.tester);
            }
        }
        let Some(reference) =
            testers.iter().max_by(|a, b| a.1.len().cmp(&b.1.len()).then(b.0.cmp(a.0))).map(|(pack, _)| *pack)
        else {
            return BTreeMap::new();
        };
        let options = Options { level: self.level, ..Options::default() };
        let spread = trials.first().map(|first| MethodSpread::of(method, accepted, &first.summary, &options));
        let Some(spread) = spread else { return BTreeMap::new() };
        let units = units_of(trials);
        let offset = |pack: &PackModelId| {
            if pack == reference {
                return Some(0.0);
            }
            let question = self.between(reference.clone(), pack.clone());
            let measured = None::<&MeasuredAmounts>;
            let divisors = Divisors::by(None, &question, &evidence.pack_models, measured).ok()?;
            let pooling =
                Pooling { question: &question, method, spread: &spread, divisors: &divisors, accepted };
            pooling.effect_of(trials, &units, Stopped::Censored, None).map(|effect| effect.pooled)
        };
        testers.keys().filter_map(|pack| Some(((*pack).clone(), offset(pack)?))).collect()
    }

    /// The precision of cells, without what is told of the stratum; `None` for fewer than three, or without a repeat.
    fn assessed(&self, method: &Method, cells: &[(Arm<'_>, f64)]) -> Option<PrecisionStratum> {
        let factor = if self.exact_factor { LimitFactor::Exact } else { LimitFactor::Rounded };
        let values: Vec<Vec<f64>> = cells
            .iter()
            .map(|(arm, offset)| {
                stand_in(arm.moments.runs as usize, arm.moments.mean - offset, arm.moments.squares)
            })
            .collect();
        let found: Precision = precision(&values, factor, self.level).ok()?;
        let ratio = method.response.scale == ResponseScale::Ratio;
        let shown = |y: f64| if ratio { y.exp() } else { y };
        let consistency = mandel(&values).ok()?;
        let cell = |((arm, offset), mandel): (&(Arm<'_>, f64), &benchring_stats::screen::Mandel)| {
            let n = arm.moments.runs;
            PrecisionCell {
                tester: arm.trial.tester.clone(),
                trial: arm.trial.trial.clone(),
                pack_model: arm.pack.clone(),
                runs: n,
                mean: shown(arm.moments.mean - offset),
                sd: (n > 1).then(|| (arm.moments.squares / f64::from(n - 1)).sqrt()),
                h: mandel.h,
                k: mandel.k,
            }
        };
        let rows: Vec<PrecisionCell> = cells.iter().zip(&consistency).map(cell).collect();
        let interval = found.repeatability_interval;
        Some(PrecisionStratum {
            shared: Vec::new(),
            demand_class: None,
            mean: shown(found.mean),
            repeatability_sd: Interval::new(found.repeatability_sd, interval.lower, interval.upper),
            between_sd: found.between_sd,
            reproducibility_sd: found.reproducibility_sd,
            repeatability_limit: found.repeatability_limit,
            reproducibility_limit: found.reproducibility_limit,
            factor: found.factor,
            f: found.anova.f,
            f_p: found.anova.p,
            runs: rows.iter().map(|row| row.runs).sum(),
            flags: flags(method, &rows),
            cells: rows,
            left_out: Vec::new(),
        })
    }
}

/// Testers whose spread or mean lies apart: Cochran's C, Mandel's h and k.
fn flags(method: &Method, cells: &[PrecisionCell]) -> Vec<Flag> {
    let ratio = method.response.scale == ResponseScale::Ratio;
    let symbol = method.response.measure.dimension.canonical().symbol;
    let with: Vec<(&PrecisionCell, f64)> = cells.iter().filter_map(|cell| Some((cell, cell.sd?))).collect();
    let shown = |sd: f64| if ratio { 100.0 * sd } else { sd };
    let spread = |cell: &PrecisionCell, sd: f64, kind, severity, statistic, number| Flag {
        unit: Some(cell.tester.clone()),
        trial: Some(cell.trial.clone()),
        value: Some(shown(sd)),
        usual: typical(&with, cell).map(shown),
        code: if ratio { "%".to_owned() } else { symbol.to_owned() },
        compared: Compared { runs: cell.runs as usize, trials: 1, testers: cells.len() - 1 },
        ..Flag::new(FlagLevel::Tester, kind, severity, statistic, number)
    };
    let mut flags = Vec::new();
    let rows: Vec<SpreadRow> =
        with.iter().map(|(cell, sd)| SpreadRow { variance: sd * sd, df: f64::from(cell.runs - 1) }).collect();
    if let Some(found) = cochran(&rows).ok().flatten()
        && let Some(severity) = found.severity.map(Severity::from)
    {
        let (cell, sd) = with[found.index];
        let alike = with.iter().all(|(other, _)| other.runs == cell.runs);
        flags.push(Flag {
            p: Some(found.p),
            critical: cochran_critical(rows.len(), cell.runs as usize, alpha(severity))
                .ok()
                .filter(|_| alike),
            ..spread(cell, sd, FlagKind::Spread, severity, Statistic::C, found.share)
        });
    }
    for cell in cells {
        let k_limit = |severity| mandel_k_critical(rows.len(), cell.runs as usize, alpha(severity)).ok();
        if let (Some((severity, limit, k)), Some(sd)) = (beyond(cell.k, k_limit), cell.sd) {
            let flag = spread(cell, sd, FlagKind::SpreadRatio, severity, Statistic::K, k);
            flags.push(Flag { critical: Some(limit), ..flag });
        }
        let h_limit = |severity| mandel_h_critical(cells.len(), alpha(severity)).ok();
        if let Some((severity, limit, h)) = beyond(cell.h, h_limit) {
            let others: Vec<f64> =
                cells.iter().filter(|other| other.tester != cell.tester).map(|other| other.mean).collect();
            flags.push(Flag {
                unit: Some(cell.tester.clone()),
                trial: Some(cell.trial.clone()),
                what: method.response.label.clone(),
                value: Some(cell.mean),
                usual: (!others.is_empty()).then(|| others.iter().sum::<f64>() / others.len() as f64),
                code: symbol.to_owned(),
                critical: Some(limit),
                compared: Compared { runs: cell.runs as usize, trials: 1, testers: cells.len() - 1 },
                ..Flag::new(FlagLevel::Tester, FlagKind::Consistency, severity, Statistic::H, h)
            });
        }
    }
    flags
}

/// Root of the mean variance of the other cells.
fn typical(cells: &[(&PrecisionCell, f64)], but: &PrecisionCell) -> Option<f64> {
    let others: Vec<f64> =
        cells.iter().filter(|(cell, _)| cell.tester != but.tester).map(|(_, sd)| sd * sd).collect();
    (!others.is_empty()).then(|| (others.iter().sum::<f64>() / others.len() as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_in_for_a_cell_has_its_moments() {
        for (n, mean, squares) in [(1, 2.0, 0.0), (2, -1.0, 0.5), (7, 3.0, 12.0), (4, 0.0, 0.0)] {
            let values = stand_in(n, mean, squares);
            let found = values.iter().sum::<f64>() / n as f64;
            let about: f64 = values.iter().map(|v| (v - found).powi(2)).sum();
            assert_eq!(values.len(), n);
            assert!((found - mean).abs() < 1e-12 && (about - squares).abs() < 1e-12, "{n} {found} {about}");
        }
    }
}
