//! A claim in one stratum: the pooled effect held against the threshold.

use std::collections::BTreeSet;

use benchring_stats::spread::Judged;
use serde::{Deserialize, Serialize};

use crate::claim::{Reach, Rule, Side, Verdict};
use crate::disclosure::words;
use crate::id::TesterId;
use crate::pool::answer::{
    Interval, LeftOut, PoolWarning, PooledEffect, Stratum, TesterRow, UnpooledStratum,
};
use crate::pool::direction::{LEAST_SPECIMENS, LEAST_UNITS, lacking};
use crate::pool::label::LabelStratum;
use crate::pool::network::pair::Base as EvidenceBase;

/// Level of both one-sided tests of a claim, so that a word and the shown 95 % interval never disagree.
pub const ALPHA: f64 = 0.025;
/// Level of each of the two one-sided tests of "no practical difference" (Schuirmann, Journal of Pharmacokinetics and
/// Biopharmaceutics 15 (1987), 657-680).
pub const ALPHA_SAME: f64 = 0.05;
/// Greatest half-width of the interval, allowance for order bias included, of evidence that can be inconclusive: on the log
/// scale, or as a share of pack A's level for a difference. Wider is not enough evidence. Own limit, no source.
pub const WIDEST_HALF: f64 = 0.20;
/// Level that half-widths are taken at.
const LEVEL: f64 = 0.95;

words!(
    /// Which evidence a judgement rests on.
    Base {
        /// Testers who ran both packs.
        Direct = "direct",
        /// All of the network, of which at least three voting units ran both packs.
        Network = "network",
        /// Levels of one pack.
        Levels = "levels",
    }
);

/// One-sided p-values; `None` where the claim does not ask for one.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Odds {
    /// Small where the evidence shows at least as much as claimed.
    pub support: Option<f64>,
    /// Small where it shows less.
    pub contradict: Option<f64>,
    /// Small where it lies within the margins of "the same": the larger of two.
    pub within: Option<f64>,
}

/// How far "up to" is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UpTo {
    /// The word.
    pub verdict: Verdict,
    /// Voting units whose own interval reaches the number.
    pub units_reaching: usize,
    /// Whether the prediction for one more tester reaches it; `None` without a prediction.
    pub prediction_reaches: Option<bool>,
}

/// A claim in one stratum.
#[derive(Debug, Clone, PartialEq)]
pub struct StratumJudgement {
    /// What its trials share, by name.
    pub shared: Vec<(String, String)>,
    /// Demand class; `None` where not known.
    pub demand_class: Option<String>,
    /// The word: of the mean, or for "up to" of its reach.
    pub verdict: Verdict,
    /// The word of the claim taken as a statement about the mean.
    pub as_mean: Verdict,
    /// The reach of "up to".
    pub up_to: Option<UpTo>,
    /// Every condition that kept a word from being given, or took it back.
    pub because: Vec<String>,
    /// What it rests on.
    pub base: Base,
    /// The effect that is judged; `None` where a pack never gave an exact reading.
    pub effect: Option<PooledEffect>,
    /// B - A, where the effect judged is B less a share of A.
    pub difference: Option<PooledEffect>,
    /// Stopped runs read as slow as the slowest completed one.
    pub failed_as_slowest: Option<PooledEffect>,
    /// Arms of stopped runs only entered at the mean of their limits.
    pub left_out_at_limit: Option<PooledEffect>,
    /// p-values, adjusted where several words were asked to hold together.
    pub odds: Odds,
    /// Half-width of the 95 % interval on the scale of pooling, allowance for order bias included.
    pub half_width: Option<f64>,
    /// Greatest half-width of enough evidence, likewise; `None` where it cannot be told.
    pub half_width_limit: Option<f64>,
    /// Whether another reading of stopped runs gives another word.
    pub depends_on_stopped_runs: bool,
    /// Voting units.
    pub units: BTreeSet<TesterId>,
    /// Warnings of the pool.
    pub warnings: Vec<PoolWarning>,
    /// Trials of the pair left out of this stratum.
    pub left_out: Vec<LeftOut>,
}

/// The evidence that a claim is judged on, and what it is. The one place where that is chosen.
fn base(stratum: &Stratum) -> (&PooledEffect, Base) {
    let base = match stratum.base {
        EvidenceBase::Direct => Base::Direct,
        EvidenceBase::Network | EvidenceBase::IndirectOnly => Base::Network,
    };
    (&stratum.headline, base)
}

impl StratumJudgement {
    /// A stratum of a comparison. `level_a` is pack A's level where the effect is a difference; `difference` is B - A where
    /// the stratum's effect is B less a share of A.
    pub(super) fn of(
        stratum: &Stratum,
        rule: &Rule,
        level_a: Option<f64>,
        difference: Option<PooledEffect>,
    ) -> Self {
        let (effect, base) = base(stratum);
        let mut judged = Self {
            shared: stratum.shared.clone(),
            demand_class: stratum.demand_class.clone(),
            base,
            difference,
            failed_as_slowest: stratum.failed_as_slowest.clone(),
            left_out_at_limit: stratum.left_out_at_limit.clone(),
            warnings: stratum.warnings.clone(),
            left_out: stratum.left_out.clone(),
            because: lacking(effect),
            ..Self::empty()
        };
        if stratum.warnings.iter().any(|warning| warning.name == "direct_indirect_differ") {
            judged.because.push("direct and indirect evidence differ".to_owned());
        }
        judged.rests_on(effect, &stratum.rows, rule, level_a);
        judged
    }

    /// A stratum of levels beside a label.
    pub(super) fn of_label(stratum: &LabelStratum, rule: &Rule) -> Self {
        let basis = &stratum.effect.basis;
        let mut because = Vec::new();
        if basis.units < LEAST_UNITS {
            because.push(format!("{} voting units, {LEAST_UNITS} are needed", basis.units));
        }
        if basis.specimens_b < LEAST_SPECIMENS {
            because.push(format!("{} specimens, {LEAST_SPECIMENS} are needed", basis.specimens_b));
        }
        let mut judged =
            Self { shared: stratum.shared.clone(), base: Base::Levels, because, ..Self::empty() };
        judged.rests_on(&stratum.effect, &stratum.rows, rule, None);
        judged
    }

    /// A stratum in which a pack never gave an exact reading.
    pub(super) fn without_effect(stratum: &UnpooledStratum) -> Self {
        Self {
            shared: stratum.shared.clone(),
            demand_class: stratum.demand_class.clone(),
            because: vec![
                "a pack never gave an exact reading: what became of its runs says more than a word"
                    .to_owned(),
            ],
            left_out: stratum.left_out.clone(),
            ..Self::empty()
        }
    }

    fn empty() -> Self {
        Self {
            shared: Vec::new(),
            demand_class: None,
            verdict: Verdict::NotEnoughEvidence,
            as_mean: Verdict::NotEnoughEvidence,
            up_to: None,
            because: Vec::new(),
            base: Base::Direct,
            effect: None,
            difference: None,
            failed_as_slowest: None,
            left_out_at_limit: None,
            odds: Odds::default(),
            half_width: None,
            half_width_limit: None,
            depends_on_stopped_runs: false,
            units: BTreeSet::new(),
            warnings: Vec::new(),
            left_out: Vec::new(),
        }
    }

    fn rests_on(&mut self, effect: &PooledEffect, rows: &[TesterRow], rule: &Rule, level_a: Option<f64>) {
        let reaching = rows.iter().filter(|row| reaches(&row.effect, rule)).count();
        self.up_to = Some(UpTo {
            verdict: Verdict::NotEnoughEvidence,
            units_reaching: reaching,
            prediction_reaches: effect.prediction.as_ref().map(|prediction| reaches(prediction, rule)),
        });
        self.odds = odds(&effect.judged, rule);
        self.half_width = Some(effect.judged.half_width(LEVEL));
        self.half_width_limit = if effect.scale.is_ratio() {
            Some(WIDEST_HALF)
        } else {
            level_a.filter(|level| *level > 0.0).map(|level| WIDEST_HALF * level)
        };
        self.units = rows.iter().map(|row| row.unit.clone()).collect();
        self.effect = Some(effect.clone());
    }

    /// Gives the words, once the p-values are what they stay. `adjusted` are those; the readings of stopped runs are held
    /// to the same correction.
    pub(super) fn settle(&mut self, rule: &Rule, reach: Reach, adjusted: Odds) {
        let raw = std::mem::replace(&mut self.odds, adjusted);
        let Some(effect) = &self.effect else { return };
        let wide = self.half_width.zip(self.half_width_limit).is_none_or(|(half, limit)| half > limit);
        let word = word(&self.odds, rule, wide);
        let others =
            [("failed_as_slowest", &self.failed_as_slowest), ("left_out_at_limit", &self.left_out_at_limit)];
        let mut apart = Vec::new();
        for (name, other) in others {
            let Some(other) = other else { continue };
            let odds = corrected(odds(&other.judged, rule), &raw, &adjusted);
            let reached = other.prediction.as_ref().map(|prediction| reaches(prediction, rule));
            let up_to =
                self.up_to.is_some_and(|up_to| reach == Reach::UpTo && reached != up_to.prediction_reaches);
            if up_to || self::word(&odds, rule, wide) != word {
                apart.push(name);
            }
        }
        self.depends_on_stopped_runs = !apart.is_empty();
        let enough = lacking_none(&self.because, effect, self.base);
        if self.depends_on_stopped_runs {
            self.because
                .push(format!("another word with stopped runs read otherwise ({})", apart.join(", ")));
        }
        let differ = self.warnings.iter().any(|warning| warning.name == "direct_indirect_differ");
        let held = |word| match word {
            _ if !enough => Verdict::NotEnoughEvidence,
            Verdict::NotEnoughEvidence => word,
            _ if differ || self.depends_on_stopped_runs => Verdict::Inconclusive,
            word => word,
        };
        self.as_mean = held(word);
        if let Some(up_to) = &mut self.up_to {
            let open = wide && !reaches(&point(&effect.effect), rule);
            up_to.verdict = held(reach_word(up_to, open));
        }
        if reach == Reach::AtLeast {
            self.up_to = None;
        }
        self.verdict = self.up_to.map_or(self.as_mean, |up_to| up_to.verdict);
        self.explain(rule, enough, wide);
    }

    /// Why there is no plain word, where nothing else says so.
    fn explain(&mut self, rule: &Rule, enough: bool, wide: bool) {
        let half = self.half_width.unwrap_or_default();
        match self.verdict {
            Verdict::NotEnoughEvidence if enough && wide => self.because.push(match self.half_width_limit {
                Some(limit) => format!(
                    "the interval is {} wide to each side of the estimate{}, at most {} can be judged",
                    crate::text::number(half),
                    if matches!(rule, Rule::Ratio { .. } | Rule::Within { .. }) {
                        " on the log scale"
                    } else {
                        ""
                    },
                    crate::text::number(limit)
                ),
                None => "how wide the interval may be cannot be told: no level of the other pack is known"
                    .to_owned(),
            }),
            Verdict::NotEnoughEvidence if enough => {
                self.because.push("no prediction for one more tester can be made".to_owned());
            }
            Verdict::Inconclusive if self.because.is_empty() => {
                let why = match (rule, self.up_to) {
                    (_, Some(_)) => "of the voting units and the prediction only one reaches the number",
                    (Rule::Within { .. }, None) => {
                        "the interval lies neither within the margins nor outside them"
                    }
                    _ => "the interval holds the number claimed",
                };
                self.because.push(why.to_owned());
            }
            _ => {}
        }
    }
}

/// Whether only what takes back a word stands against it, not a lack of evidence.
fn lacking_none(because: &[String], effect: &PooledEffect, base: Base) -> bool {
    if base == Base::Levels { because.is_empty() } else { lacking(effect).is_empty() }
}

/// The p-values of an effect under a rule.
fn odds(judged: &Judged, rule: &Rule) -> Odds {
    let at = rule.pooled();
    match rule.side() {
        Some(Side::AtLeast) => {
            Odds { support: Some(judged.p_above(at)), contradict: Some(judged.p_below(at)), within: None }
        }
        Some(Side::AtMost) => {
            Odds { support: Some(judged.p_below(at)), contradict: Some(judged.p_above(at)), within: None }
        }
        None => Odds {
            support: None,
            // Outside on either side, each at half of the level of a two-sided interval.
            contradict: Some(judged.p_above(at).min(judged.p_below(-at))),
            within: Some(judged.p_within(-at, at)),
        },
    }
}

/// `odds` after the correction that took `raw` to `adjusted`.
fn corrected(odds: Odds, raw: &Odds, adjusted: &Odds) -> Odds {
    let by = |p: Option<f64>, raw: Option<f64>, adjusted: Option<f64>| {
        let factor = match (raw, adjusted) {
            (Some(raw), Some(adjusted)) if raw > 0.0 && adjusted > raw => adjusted / raw,
            _ => 1.0,
        };
        p.map(|p| (p * factor).min(1.0))
    };
    Odds {
        support: by(odds.support, raw.support, adjusted.support),
        contradict: by(odds.contradict, raw.contradict, adjusted.contradict),
        within: by(odds.within, raw.within, adjusted.within),
    }
}

fn word(odds: &Odds, rule: &Rule, wide: bool) -> Verdict {
    let significant = |p: Option<f64>, alpha: f64| p.is_some_and(|p| p <= alpha);
    let positive = match rule {
        Rule::Within { .. } => significant(odds.within, ALPHA_SAME).then_some(Verdict::NoPracticalDifference),
        _ => significant(odds.support, ALPHA).then_some(Verdict::Supported),
    };
    positive.unwrap_or(if significant(odds.contradict, ALPHA) {
        Verdict::Contradicted
    } else if wide {
        Verdict::NotEnoughEvidence
    } else {
        Verdict::Inconclusive
    })
}

/// "Up to" is no statement about the mean: it is reached where some voting unit's own interval and the prediction for one
/// more tester reach it. `open` is evidence whose wide interval would reach anything while its estimate does not.
fn reach_word(up_to: &UpTo, open: bool) -> Verdict {
    match (up_to.units_reaching > 0, up_to.prediction_reaches) {
        (false, Some(false)) => Verdict::NotReached,
        (_, None) => Verdict::NotEnoughEvidence,
        _ if open => Verdict::NotEnoughEvidence,
        (true, Some(true)) => Verdict::Reached,
        _ => Verdict::Inconclusive,
    }
}

/// The estimate alone.
fn point(interval: &Interval) -> Interval {
    Interval { lower: interval.estimate, upper: interval.estimate, ..*interval }
}

/// Whether the end of `interval` on the claim's side reaches the threshold; both told on one scale.
fn reaches(interval: &Interval, rule: &Rule) -> bool {
    let at = rule.told();
    match rule.side() {
        Some(Side::AtLeast) => interval.upper.is_none_or(|upper| upper >= at),
        Some(Side::AtMost) => interval.lower.is_none_or(|lower| lower <= at),
        None => false,
    }
}
