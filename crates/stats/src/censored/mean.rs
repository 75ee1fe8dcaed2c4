//! The mean of an arm with limits, at a given spread.

use super::{likelihood::term, on_scale};
use crate::arm::{Reading, Status, check_charges};
use crate::contrast::Scale;
use crate::error::{StatsError, not_negative, positive};

/// A Newton step of this many σ leaves an error of its square.
const LAST_STEP: f64 = 1e-9;

/// What one charge contributes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChargeInformation {
    /// n*, its readings, each limit counted by the share of information that it has left.
    pub effective_runs: f64,
    /// g = ωn*/W, its weight in the mean; the weights of an arm add up to 1.
    pub weight: f64,
}

/// The mean of an arm with limits.
#[derive(Debug, Clone, PartialEq)]
pub struct CensoredMean {
    /// μ̂, a mean of logarithms on the ratio scale.
    pub mean: f64,
    /// The part of the variance from runs: σ² Σω²n*/W².
    pub run_variance: f64,
    /// Σg², to be multiplied by the variance between charges.
    pub charge_factor: f64,
    /// v = run part + `σ̃_c²` Σg².
    pub variance: f64,
    /// Exact readings.
    pub exact: usize,
    /// Limits.
    pub censored: usize,
    /// Charge by charge, in the order given.
    pub charges: Vec<ChargeInformation>,
}

/// The maximum-likelihood mean of an arm at run standard deviation `sigma`, charges counting alike:
/// ```text
/// Σ_c ω_c U_c(μ̂) = 0,  ω_c = n/(C m_c)
/// n*_c = Σ_exact 1 + Σ_limits λ(λ − z),  g_c = ω_c n*_c/W,  W = Σ ω_c n*_c
/// v = σ² Σ ω_c² n*_c/W² + σ̃_c² Σ g_c²
/// ```
/// Without limits this is the mean over charges of the mean log reading, with v = (`σ̃_c²` + hσ²)/C. Newton's method
/// starts at the mean with limits taken as exact, inside a bracket. `charge_variance` is `σ̃_c²`, 0 where there is no
/// charge term. `None` where every reading is a limit: there is no finite mean, see [`super::mean_bounds`].
///
/// # Errors
/// Those of [`crate::arm::ArmMoments::from_charges`] for the readings; [`StatsError::OutOfRange`] unless `sigma` is
/// positive and `charge_variance` not negative.
///
/// # Reference
/// Likelihood: Tobin, Econometrica 26 (1958), 24–36. Weighting and variance by charges: our own, checked against
/// weighted fits and simulation.
pub fn censored_mean(
    charges: &[Vec<Reading>],
    scale: Scale,
    sigma: f64,
    charge_variance: f64,
) -> Result<Option<CensoredMean>, StatsError> {
    check_charges(charges, scale)?;
    positive("sigma", sigma)?;
    not_negative("charge_variance", charge_variance)?;
    let runs = charges.iter().map(Vec::len).sum::<usize>();
    let exact = charges.iter().flatten().filter(|reading| reading.status == Status::Exact).count();
    if exact == 0 {
        return Ok(None);
    }
    let weight = |charge: &[Reading]| runs as f64 / (charges.len() * charge.len()) as f64;
    let mean = root_of_score(charges, scale, sigma, &weight);
    let mut found: Vec<ChargeInformation> = charges
        .iter()
        .map(|charge| {
            let share =
                |reading: &Reading| term(on_scale(reading.value, scale), reading.status, mean, sigma).share;
            ChargeInformation { effective_runs: charge.iter().map(share).sum(), weight: weight(charge) }
        })
        .collect();
    let total: f64 = found.iter().map(|charge| charge.weight * charge.effective_runs).sum();
    let (mut run_factor, mut charge_factor) = (0.0, 0.0);
    for charge in &mut found {
        let omega = charge.weight;
        run_factor += omega * omega * charge.effective_runs / (total * total);
        charge.weight = omega * charge.effective_runs / total;
        charge_factor += charge.weight * charge.weight;
    }
    let run_variance = sigma * sigma * run_factor;
    Ok(Some(CensoredMean {
        mean,
        run_variance,
        charge_factor,
        variance: run_variance + charge_variance * charge_factor,
        exact,
        censored: runs - exact,
        charges: found,
    }))
}

fn root_of_score(
    charges: &[Vec<Reading>],
    scale: Scale,
    sigma: f64,
    weight: &impl Fn(&[Reading]) -> f64,
) -> f64 {
    let sum_over = |of: &dyn Fn(f64, Status) -> f64| -> f64 {
        let of_charge = |charge: &Vec<Reading>| {
            let terms = charge.iter().map(|reading| of(on_scale(reading.value, scale), reading.status));
            weight(charge) * terms.sum::<f64>()
        };
        charges.iter().map(of_charge).sum()
    };
    let total = sum_over(&|_, _| 1.0);
    let mut mu = sum_over(&|y, _| y) / total;
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    for _ in 0..100 {
        let score = sum_over(&|y, status| term(y, status, mu, sigma).score);
        let information = sum_over(&|y, status| term(y, status, mu, sigma).share) / (sigma * sigma);
        if score > 0.0 {
            low = mu;
        } else {
            high = mu;
        }
        let step = score / information;
        let next = mu + step;
        if step.abs() <= LAST_STEP * sigma {
            return next;
        }
        // Strict concavity leaves one root; the bracket only catches steps that rounding has spoilt.
        mu = if next > low && next < high { next } else { f64::midpoint(low, high) };
    }
    mu
}
