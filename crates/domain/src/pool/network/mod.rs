//! All packs of a stratum at once: every comparison from direct and indirect evidence together.

pub mod demand;
pub mod island;
pub(super) mod merged;
pub mod pair;
pub mod rank;
pub mod ranking;

use std::collections::BTreeSet;

pub use benchring_stats::heterogeneity::CochranQ;
use benchring_stats::network::{Island, Network, pool_network};
use benchring_stats::pair::{PairOptions, PairTrial};
use benchring_stats::random_effects;

use crate::id::{PackModelId, TesterId};
use crate::method::ResponseScale;
use crate::pool::evidence::EvidenceTrial;
use crate::pool::planning::between_testers;
use crate::pool::stratum::Pooling;

/// Most packs of one stratum that are fitted together: one fit costs the cube of their number.
pub const MOST_PACKS: usize = 300;

/// The spread between testers that is assumed where nothing shows it: 5 % of a ratio, or of the mean reading where effects
/// are differences. Own rule, no source.
const ASSUMED_SPREAD: f64 = 0.05;

/// A stratum's packs, island by island.
pub(super) type PackNetwork = Network<TesterId, PackModelId>;
/// Packs that comparisons connect.
pub(super) type PackIsland = Island<TesterId, PackModelId>;

impl Pooling<'_> {
    /// Fits the network of `trials`. `None` where nothing is compared, where packs are more than [`MOST_PACKS`], or where
    /// the variances are too unlike to be solved together.
    ///
    /// Where an island of several testers has no degree of freedom, its spread between testers is the method's, pooled over
    /// its pairs elsewhere, else assumed: never 0. One tester alone stays as he is.
    pub(super) fn network(
        &self,
        trials: &[PairTrial<TesterId, PackModelId>],
        options: &PairOptions,
    ) -> Option<PackNetwork> {
        let packs: BTreeSet<&PackModelId> =
            trials.iter().flat_map(|t| t.arms.iter().map(|arm| &arm.treatment)).collect();
        if packs.len() > MOST_PACKS {
            return None;
        }
        let mut network = pool_network(trials, options).ok()?;
        let lacks = |island: &PackIsland| island.fit.df == 0 && island.units.len() > 1;
        if network.islands.iter().any(lacks) {
            let tau = self.assumed_tau();
            let pooling = random_effects::Options { assumed_tau2: Some(tau * tau), ..options.pooling };
            let assumed = pool_network(trials, &PairOptions { pooling, ..*options }).ok()?;
            for (own, other) in network.islands.iter_mut().zip(assumed.islands) {
                if lacks(own) {
                    *own = other;
                }
            }
        }
        Some(network)
    }

    /// The spread between testers where a network cannot show one.
    fn assumed_tau(&self) -> f64 {
        // Of ratios of differences no trial of the method shows a spread.
        let shown = if self.divisors.as_ratio() {
            None
        } else {
            between_testers(self.method, self.accepted, self.spread)
        };
        shown.unwrap_or_else(|| {
            let differences = self.method.response.scale == ResponseScale::Difference;
            ASSUMED_SPREAD * if differences && !self.divisors.as_ratio() { self.mean_reading() } else { 1.0 }
        })
    }

    /// Mean size of an arm's mean over the accepted trials of the method.
    fn mean_reading(&self) -> f64 {
        let arms = self.accepted.iter().flat_map(|t: &&EvidenceTrial| &t.summary.arms);
        let means: Vec<f64> = arms.filter_map(|arm| arm.mean).map(f64::abs).collect();
        means.iter().sum::<f64>() / means.len().max(1) as f64
    }
}
