//! Do blocks with different sets of treatments tell the same story?

use std::collections::BTreeMap;

use super::model::{Fit, Model, Rows};
use crate::heterogeneity::CochranQ;
use crate::pool_error::PoolError;
use crate::special::chi2_sf;

/// Q split into disagreement within designs and between them; a design is a set of treatments.
///
/// # Reference
/// Krahn, Binder and König, BMC Medical Research Methodology 13 (2013), 35; Higgins, Jackson, Barrett, Lu, Ades and
/// White, Research Synthesis Methods 3 (2012), 98–110.
#[derive(Debug, Clone, PartialEq)]
pub struct Consistency {
    /// Count of designs.
    pub designs: usize,
    /// Q within designs at τ² = 0; none where no design has more than its fewest blocks.
    pub within: Option<CochranQ>,
    /// Q between designs at τ² = 0; none where the designs cannot contradict each other.
    pub between: Option<CochranQ>,
    /// τ² within designs, by the moment estimator in the model with free effects for each design.
    pub tau2_within: f64,
    /// The test to report: Q between designs at the τ² within them; none where it cannot be tested.
    pub test: Option<CochranQ>,
}

impl Consistency {
    /// Where nobody asks.
    pub(super) fn untested() -> Self {
        Self { designs: 0, within: None, between: None, tau2_within: 0.0, test: None }
    }
}

pub(super) fn consistency(model: &Model, at_zero: &Fit) -> Result<Consistency, PoolError> {
    let designs = designs(model);
    let fits: Vec<Fit> = designs.iter().map(|design| fit(design, 0.0)).collect::<Result<_, _>>()?;
    let df_within: usize = designs.iter().map(Model::df).sum();
    let df_between = model.df() - df_within;
    let q_within: f64 = fits.iter().map(|fit| fit.q).sum();
    let tau2_within = if df_within > 0 && q_within > df_within as f64 {
        let trace: f64 = designs.iter().zip(&fits).map(|(design, fit)| design.trace(fit)).sum();
        (q_within - df_within as f64) / trace
    } else {
        0.0
    };
    let test = |q: f64, df: usize| {
        (df > 0).then(|| CochranQ { q: q.max(0.0), df: df as f64, p: chi2_sf(q.max(0.0), df as f64) })
    };
    let at_within = if df_between > 0 && tau2_within > 0.0 {
        let whole = fit(model, tau2_within)?.q;
        let own =
            designs.iter().map(|design| Ok(fit(design, tau2_within)?.q)).sum::<Result<f64, PoolError>>()?;
        whole - own
    } else {
        at_zero.q - q_within
    };
    Ok(Consistency {
        designs: designs.len(),
        within: test(q_within, df_within),
        between: test(at_zero.q - q_within, df_between),
        tau2_within,
        test: test(at_within, df_between),
    })
}

fn fit(model: &Model, tau2: f64) -> Result<Fit, PoolError> {
    model.fit(tau2).ok_or(PoolError::RankDeficient)
}

/// Each design as a network of its own.
fn designs(model: &Model) -> Vec<Model> {
    let mut designs: BTreeMap<&[usize], Vec<Rows>> = BTreeMap::new();
    for block in &model.blocks {
        let own = Rows { places: (0..block.places.len()).collect(), ..block.clone() };
        designs.entry(&block.places).or_default().push(own);
    }
    designs.into_iter().map(|(places, blocks)| Model::new(places.len(), blocks)).collect()
}
