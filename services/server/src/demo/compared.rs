//! The comparisons that the demo makes, beside the truth and beside raw averages.

use std::collections::BTreeMap;

use benchring_api::v1;
use benchring_domain::method::Catalogue;
use benchring_domain::pool::answer::Stratum;
use benchring_domain::pool::direction::DirectionWord;

use super::community::PlayedTrial;
use super::invented::{PACKS, REFERENCE, WORKS, Work};
use super::truth::Truths;

/// Name of the band of air temperature in what the trials of a stratum share.
const AIR: &str = "ambient_temperature";

/// A question of the demo: how pack B compares with the reference in a work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Asked {
    /// Index into [`WORKS`].
    pub work: usize,
    /// Index into [`PACKS`].
    pub pack_b: usize,
}

/// Every question of the demo.
pub fn all() -> impl Iterator<Item = Asked> {
    let others = || (0..PACKS.len()).filter(|pack| *pack != REFERENCE);
    (0..WORKS.len()).flat_map(move |work| others().map(move |pack_b| Asked { work, pack_b }))
}

impl Asked {
    /// The work.
    pub fn work(self) -> &'static Work {
        &WORKS[self.work]
    }

    /// The question on the wire.
    pub fn request(self) -> v1::ComparePacksRequest {
        let scope = self
            .work()
            .demand_class
            .map(|class| v1::PoolScope { demand_class: class.to_owned(), ..v1::PoolScope::default() });
        v1::ComparePacksRequest {
            method: format!("methods/{}/versions/1", self.work().method),
            pack_a: format!("packModels/{}", PACKS[REFERENCE].id),
            pack_b: format!("packModels/{}", PACKS[self.pack_b].id),
            scope,
            ..v1::ComparePacksRequest::default()
        }
    }
}

/// Which pack an answer names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lead {
    /// Pack B.
    B,
    /// The reference.
    A,
    /// None: the interval holds no difference.
    Open,
    /// None: there is not enough evidence for a word.
    TooFew,
}

impl Lead {
    fn of_wire(direction: v1::Direction) -> Self {
        match direction {
            v1::Direction::BBetter => Self::B,
            v1::Direction::ABetter => Self::A,
            v1::Direction::Inconclusive => Self::Open,
            v1::Direction::NotEnoughEvidence | v1::Direction::Unspecified => Self::TooFew,
        }
    }

    fn of_word(word: DirectionWord) -> Self {
        match word {
            DirectionWord::BBetter => Self::B,
            DirectionWord::ABetter => Self::A,
            DirectionWord::Inconclusive => Self::Open,
            DirectionWord::NotEnoughEvidence => Self::TooFew,
        }
    }
}

/// What the pool says of the leading stratum.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    /// Ratio B/A, or difference B - A; `None` where stopped runs leave only bounds.
    pub ratio: Option<f64>,
    /// Lower bound of the interval.
    pub lower: Option<f64>,
    /// Upper bound of the interval.
    pub upper: Option<f64>,
    /// Both bounds without the allowance for the order of the packs.
    pub bare: (Option<f64>, Option<f64>),
    /// Voting units.
    pub units: usize,
    /// Testers.
    pub testers: usize,
    /// Trials.
    pub trials: usize,
    /// Bin of the air temperature.
    pub air: String,
    /// Which pack is ahead.
    pub lead: Lead,
}

impl Pooled {
    /// From an answer in process.
    pub fn of_stratum(stratum: &Stratum) -> Self {
        let effect = &stratum.headline.effect;
        let bare = &stratum.headline.effect_without_order_bias;
        let basis = &stratum.headline.basis;
        let air = stratum.shared.iter().find(|(name, _)| name == AIR).map(|(_, bin)| bin.clone());
        Self {
            ratio: effect.estimate,
            lower: effect.lower,
            upper: effect.upper,
            bare: (bare.lower, bare.upper),
            units: basis.units,
            testers: basis.testers,
            trials: basis.trials,
            air: air.unwrap_or_default(),
            lead: Lead::of_word(stratum.direction.word),
        }
    }

    /// From an answer on the wire. `None` without a headline.
    pub fn of_wire(stratum: &v1::Stratum) -> Option<Self> {
        let pooled = Self::of_effect(stratum.headline.as_ref()?, stratum.direction())?;
        Some(Self { air: stratum.shared.get(AIR).cloned().unwrap_or_default(), ..pooled })
    }

    /// From one effect on the wire.
    pub fn of_effect(headline: &v1::PooledEffect, direction: v1::Direction) -> Option<Self> {
        let effect = headline.effect.as_ref()?;
        let bare = headline.effect_without_order_bias.as_ref();
        let basis = headline.basis.as_ref()?;
        let count = |n: i32| usize::try_from(n).unwrap_or(0);
        Some(Self {
            ratio: effect.estimate,
            lower: effect.lower,
            upper: effect.upper,
            bare: bare.map_or((None, None), |bare| (bare.lower, bare.upper)),
            units: count(basis.units_count),
            testers: count(basis.testers_count),
            trials: count(basis.trials_count),
            air: String::new(),
            lead: Lead::of_wire(direction),
        })
    }
}

/// A comparison beside what is true and beside raw averages.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// What was asked.
    pub asked: Asked,
    /// What the pool says; `None` without an answer.
    pub pooled: Option<Pooled>,
    /// The true ratio, or difference, in that air; `None` where a pack cannot do the work.
    pub truth: Option<f64>,
    /// Ratio, or difference, of raw averages over whoever ran the packs.
    pub raw: Option<f64>,
}

impl Compared {
    /// Puts the truth beside an answer.
    pub fn new(
        asked: Asked,
        pooled: Option<Pooled>,
        catalogue: &Catalogue,
        truths: &Truths,
        levels: &Levels,
    ) -> Self {
        let truth = pooled
            .as_ref()
            .and_then(|pooled| range_named(asked.work(), &pooled.air, catalogue))
            .and_then(|range| truths.effect(asked.work, range, REFERENCE, asked.pack_b));
        Self { asked, pooled, truth, raw: levels.effect(asked) }
    }

    /// Whether several voting units were pooled, so that the interval speaks of testers at large. That of one unit
    /// speaks of that tester alone.
    pub fn many_units(&self) -> bool {
        self.pooled.as_ref().is_some_and(|pooled| pooled.units > 1)
    }

    /// Whether the interval holds the truth. `None` where there is no truth or no interval of several units.
    pub fn holds(&self) -> Option<bool> {
        self.between(|pooled| (pooled.lower, pooled.upper))
    }

    /// The same without the allowance for the order of the packs.
    pub fn bare_holds(&self) -> Option<bool> {
        self.between(|pooled| pooled.bare)
    }

    fn between(&self, bounds: impl Fn(&Pooled) -> (Option<f64>, Option<f64>)) -> Option<bool> {
        let (pooled, truth) = (self.pooled.as_ref().filter(|_| self.many_units())?, self.truth?);
        let (lower, upper) = bounds(pooled);
        Some(lower.is_none_or(|lower| lower <= truth) && upper.is_none_or(|upper| truth <= upper))
    }

    /// ln of the pooled ratio over the true one; `None` of a difference.
    pub fn pool_error(&self) -> Option<f64> {
        if self.by_difference() {
            return None;
        }
        let pooled = self.pooled.as_ref().filter(|_| self.many_units())?;
        Some((pooled.ratio? / self.truth?).ln())
    }

    /// ln of the ratio of raw averages over the true one, where the pool has an answer too.
    pub fn raw_error(&self) -> Option<f64> {
        self.pool_error()?;
        Some((self.raw? / self.truth?).ln())
    }

    /// Whether packs differ by so much, in place of by a factor.
    pub fn by_difference(&self) -> bool {
        self.asked.work().sort.by_difference()
    }

    /// Half of the width of the interval, log scale; `None` of a difference.
    pub fn half_width(&self) -> Option<f64> {
        if self.by_difference() {
            return None;
        }
        let pooled = self.pooled.as_ref().filter(|_| self.many_units())?;
        Some(0.5 * (pooled.upper? / pooled.lower?).ln())
    }
}

/// The range of the work's weather whose air lies in the bin of that name.
fn range_named(work: &Work, bin: &str, catalogue: &Catalogue) -> Option<usize> {
    if bin.is_empty() {
        // The method tells no airs apart.
        return (work.weather.len() == 1).then_some(0);
    }
    let method = catalogue.methods().find(|method| method.reference().id.as_str() == work.method)?;
    let inside = |(_, from, to): &(f64, f64, f64)| {
        method.bin_of(AIR, f64::midpoint(*from, *to)).is_some_and(|name| name == bin)
    };
    work.weather.iter().position(inside)
}

/// Raw averages: what one gets who puts all readings of a pack in a work together, whoever made them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Levels(BTreeMap<(usize, usize), (f64, f64)>);

impl Levels {
    /// Takes a trial in.
    pub fn add(&mut self, trial: &PlayedTrial) {
        for (pack, readings, n) in &trial.levels {
            let (sum, count) = self.0.entry((trial.work, *pack)).or_insert((0.0, 0.0));
            *sum += readings;
            *count += n;
        }
    }

    fn mean(&self, work: usize, pack: usize) -> Option<f64> {
        self.0.get(&(work, pack)).filter(|(_, count)| *count > 0.0).map(|(sum, count)| sum / count)
    }

    /// Ratio of the averages, or their difference.
    pub fn effect(&self, asked: Asked) -> Option<f64> {
        let (a, b) = (self.mean(asked.work, REFERENCE)?, self.mean(asked.work, asked.pack_b)?);
        Some(if asked.work().sort.by_difference() { b - a } else { b / a })
    }
}
