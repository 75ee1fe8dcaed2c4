//! All treatments at once: every comparison from direct and indirect evidence together.
//!
//! Stage 1 merges each unit's trials to blocks, stage 2 fits one effect for each treatment with variance τ² between units
//! for every contrast and covariance τ²/2 (Higgins and Whitehead, Statistics in Medicine 15 (1996), 2733–2749; Salanti,
//! Higgins, Ades and Ioannidis, Statistical Methods in Medical Research 17 (2008), 279–301). Treatments that no chain of
//! comparisons connects stand on islands with a τ² of their own; nothing is said across.

mod consistency;
mod contrast;
mod dense;
mod flow;
mod island;
mod leave_out;
mod model;
mod tau2;

use std::collections::BTreeMap;

use crate::blocks::{Block, unit_blocks};
use crate::drift::check_drift;
use crate::pair::prepared::{Prepared, prepare_ranked};
use crate::pair::{PairOptions, PairTrial};
use crate::pool_error::PoolError;
use crate::units::DisjointSets;
pub use consistency::Consistency;
pub use contrast::{DirectEvidence, IndirectEvidence, NetworkContrast, UnitWeight};
pub use flow::EdgeFlow;
pub use island::{Island, NetworkFit};
pub use leave_out::{LeaveOneUnitOut, LeftOutUnit, WithoutUnit};

/// Treatments that one unit would have to run together to join an island to the first.
#[derive(Debug, Clone, PartialEq)]
pub struct Bridge<T> {
    /// Place of the island that is joined to the first, among [`Network::islands`].
    pub island: usize,
    /// The treatment on the first island.
    pub from: T,
    /// The treatment on the other.
    pub to: T,
}

/// Everything that can be compared.
#[derive(Debug, Clone)]
pub struct Network<U, T> {
    /// Connected networks, the one with most treatments first, of equals the one with the first treatment.
    pub islands: Vec<Island<U, T>>,
    /// For each further island the pair whose comparison would make the sum of the variances of all new contrasts least.
    ///
    /// A contrast x − y across the bridge a–b has variance var(x − a) + v + var(b − y), so a and b are each the treatment
    /// of their island from which the variances to all others add up to least.
    pub bridges: Vec<Bridge<T>>,
    /// Treatments that no trial compares with any other, in sort order.
    pub uncompared: Vec<T>,
    /// Trials that compare nothing, as ascending places in the input.
    pub unused_trials: Vec<usize>,
}

/// A block with what it was made from.
#[derive(Debug, Clone)]
pub(crate) struct Ballot<U> {
    pub(crate) unit: U,
    pub(crate) block: Block,
    pub(crate) trials: Vec<Prepared>,
}

/// Pools all trials to one effect for each treatment of each island.
///
/// The vote cap compares the blocks of one island.
///
/// # Errors
/// [`PoolError`] with the place of the trial for the first input that is not a usable number, [`PoolError::Empty`] where
/// no trial compares anything, [`PoolError::RankDeficient`] where the variances are too unlike for double precision.
pub fn pool_network<U: Ord + Clone, T: Ord + Clone>(
    trials: &[PairTrial<U, T>],
    options: &PairOptions,
) -> Result<Network<U, T>, PoolError> {
    options.pooling.check()?;
    check_drift(options.drift)?;
    let mut ranks: BTreeMap<&T, usize> =
        trials.iter().flat_map(|trial| &trial.arms).map(|arm| (&arm.treatment, 0)).collect();
    ranks.values_mut().enumerate().for_each(|(place, rank)| *rank = place);
    let names: Vec<&T> = ranks.keys().copied().collect();
    let ballots = ballots(&prepare_ranked(trials, &ranks)?)?;
    let mut used = vec![false; trials.len()];
    let mut sets = DisjointSets::new(names.len());
    for ballot in &ballots {
        let treatments = ballot.block.treatments();
        treatments.windows(2).for_each(|pair| sets.join(pair[0], pair[1]));
        ballot.block.trials().iter().for_each(|trial| used[ballot.trials[trial.index].index] = true);
    }
    let mut members: BTreeMap<usize, (Vec<usize>, Vec<Ballot<U>>)> = BTreeMap::new();
    for rank in 0..names.len() {
        members.entry(sets.first_of(rank)).or_default().0.push(rank);
    }
    for ballot in ballots {
        let first = sets.first_of(ballot.block.treatments()[0]);
        members.entry(first).or_default().1.push(ballot);
    }
    let (lone, mut joined): (Vec<_>, Vec<_>) = members.into_values().partition(|(_, own)| own.is_empty());
    joined.sort_by_key(|(treatments, _)| std::cmp::Reverse(treatments.len()));
    let islands = joined
        .into_iter()
        .map(|(treatments, own)| {
            let names = treatments.iter().map(|rank| names[*rank].clone()).collect();
            Island::fit(names, &treatments, own, options)
        })
        .collect::<Result<Vec<_>, _>>()?;
    if islands.is_empty() {
        return Err(PoolError::Empty);
    }
    Ok(Network {
        bridges: bridges(&islands),
        islands,
        uncompared: lone.iter().flat_map(|(ranks, _)| ranks).map(|rank| names[*rank].clone()).collect(),
        unused_trials: (0..trials.len()).filter(|index| !used[*index]).collect(),
    })
}

fn ballots<U: Ord + Clone>(units: &BTreeMap<&U, Vec<Prepared>>) -> Result<Vec<Ballot<U>>, PoolError> {
    let mut ballots = Vec::new();
    for (unit, trials) in units {
        for block in unit_blocks(trials)? {
            ballots.push(Ballot { unit: (*unit).clone(), block, trials: trials.clone() });
        }
    }
    Ok(ballots)
}

fn bridges<U: Ord + Clone, T: Ord + Clone>(islands: &[Island<U, T>]) -> Vec<Bridge<T>> {
    let Some((first, others)) = islands.split_first() else { return Vec::new() };
    let bridge = |(place, other): (usize, &Island<U, T>)| Bridge {
        island: place + 1,
        from: first.best_known().clone(),
        to: other.best_known().clone(),
    };
    others.iter().enumerate().map(bridge).collect()
}
