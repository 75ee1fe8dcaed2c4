//! Orders in which treatments take turns, so that drift and carry-over fall on all alike.
//!
//! Nothing here draws lots: chance comes in as permutations of the labels, so that an order can be repeated.

use crate::error::StatsError;

/// Most treatments of one order.
pub const MOST_TREATMENTS: usize = 200;
/// Most rounds of one order.
pub const MOST_ROUNDS: usize = 100_000;

/// Sequences in which each of t treatments stands equally often at each place and follows each other one equally often: t of
/// them for even t, 2t for odd t
///
/// ```text
/// first row 0, 1, t − 1, 2, t − 2, …; further rows by adding 1, 2, … modulo t; for odd t the same rows once more, backwards
/// ```
/// For t = 2 these are AB and BA, one after the other ABBA, in which a drift by equal steps cancels exactly.
///
/// # Errors
/// [`StatsError::OutOfRange`] for fewer than two treatments or more than [`MOST_TREATMENTS`].
///
/// # Reference
/// Williams, Australian Journal of Scientific Research A 2 (1949), 149–168.
pub fn williams(treatments: usize) -> Result<Vec<Vec<usize>>, StatsError> {
    check("treatments", treatments, 2, MOST_TREATMENTS, "2 to 200 treatments")?;
    let start: Vec<usize> = (0..treatments)
        .map(|place| if place % 2 == 1 { place.div_ceil(2) } else { (treatments - place / 2) % treatments })
        .collect();
    let row = |shift: usize| start.iter().map(|value| (value + shift) % treatments).collect::<Vec<_>>();
    let mut rows: Vec<Vec<usize>> = (0..treatments).map(row).collect();
    if treatments % 2 == 1 {
        let backwards: Vec<Vec<usize>> = rows.iter().map(|row| row.iter().rev().copied().collect()).collect();
        rows.extend(backwards);
    }
    Ok(rows)
}

/// Rounds in a cycle: after so many the order is balanced.
pub fn cycle(treatments: usize) -> usize {
    if treatments.is_multiple_of(2) { treatments } else { 2 * treatments }
}

/// An order of rounds, each with every treatment once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RunOrders {
    /// The treatments of each round in the order they are run.
    pub rounds: Vec<Vec<usize>>,
    /// Whether the rounds are whole cycles, so that the order is balanced to the last run.
    pub balanced: bool,
}

impl RunOrders {
    /// Mean place in the whole order of each treatment, from 1: equal where a drift by equal steps cancels.
    pub fn mean_positions(&self) -> Vec<f64> {
        let treatments = self.rounds.first().map_or(0, Vec::len);
        let mut sums = vec![0.0; treatments];
        let mut position = 0.0;
        for treatment in self.rounds.iter().flatten() {
            position += 1.0;
            sums[*treatment] += position;
        }
        sums.iter().map(|sum| sum / self.rounds.len() as f64).collect()
    }
}

/// As many rounds as asked, cycle after cycle of [`williams`] with the labels of each cycle given by a permutation
///
/// `permutations` holds one for each begun cycle: treatment j of the square becomes `permutation[j]`. For two treatments a
/// permutation is a coin, ABBA or BAAB.
///
/// # Errors
/// [`StatsError::OutOfRange`] for fewer than two treatments, no round, more than [`MOST_ROUNDS`], a number of permutations
/// that does not fit, or one that is not a permutation.
pub fn run_orders(
    treatments: usize,
    rounds: usize,
    permutations: &[Vec<usize>],
) -> Result<RunOrders, StatsError> {
    let square = williams(treatments)?;
    check("rounds", rounds, 1, MOST_ROUNDS, "1 to 100,000 rounds")?;
    let cycles = rounds.div_ceil(square.len());
    check("permutations", permutations.len(), cycles, cycles, "one permutation for each begun cycle")?;
    for permutation in permutations {
        let mut seen = permutation.clone();
        seen.sort_unstable();
        if !seen.into_iter().eq(0..treatments) {
            let expected = "each label once in every permutation";
            return Err(StatsError::OutOfRange {
                name: "permutation",
                value: permutation.len() as f64,
                expected,
            });
        }
    }
    let labelled = permutations.iter().flat_map(|labels| {
        square.iter().map(move |row| row.iter().map(|treatment| labels[*treatment]).collect::<Vec<_>>())
    });
    let rounds: Vec<Vec<usize>> = labelled.take(rounds).collect();
    let balanced = rounds.len().is_multiple_of(square.len());
    Ok(RunOrders { rounds, balanced })
}

fn check(
    name: &'static str,
    value: usize,
    least: usize,
    most: usize,
    expected: &'static str,
) -> Result<(), StatsError> {
    if (least..=most).contains(&value) {
        Ok(())
    } else {
        Err(StatsError::OutOfRange { name, value: value as f64, expected })
    }
}
