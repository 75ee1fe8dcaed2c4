//! How far down its charge each pack stood when it was timed.

use crate::method::known;
use crate::trial::{Charge, References, Run, Trial};

use super::conditions::number;

/// Mean share of the charge used before the timed runs of each arm, percent of rated energy.
///
/// A run takes mean power times its time; runs made on the charge before the first one recorded count with
/// the mean time. `power_w` is the mean power at the terminals, an arm's own where it was measured. Arms
/// without a rating or a time are left out.
pub fn charge_used_points(trial: &Trial, references: &References, power_w: f64) -> Vec<f64> {
    let of_arm = |arm: &crate::trial::Arm| {
        let (_, model) = references.specimens.get(&arm.specimen)?;
        let watt = number(&arm.conditions, known::MEAN_INPUT_POWER).unwrap_or(power_w);
        let share = 100.0 * watt / 3600.0 / model.rated_energy_at_nominal();
        let seconds: Vec<f64> = arm.charges.iter().filter_map(mean_seconds_before).collect();
        (!seconds.is_empty()).then(|| share * seconds.iter().sum::<f64>() / seconds.len() as f64)
    };
    trial.arms.iter().filter_map(of_arm).collect()
}

/// Mean over the scored runs of a charge of the seconds of work done on it before.
fn mean_seconds_before(charge: &Charge) -> Option<f64> {
    let time = |run: &Run| run.reading.as_ref().map(crate::quantity::Quantity::canonical);
    let times: Vec<f64> = charge.runs.iter().filter_map(time).collect();
    let mean = times.iter().sum::<f64>() / times.len() as f64;
    let already = charge.runs.first().and_then(|run| number(&run.conditions, known::RUNS_SINCE_CHARGE));
    let mut before = already.unwrap_or(0.0) * mean;
    let (mut sum, mut scored) = (0.0, 0.0);
    for run in &charge.runs {
        if !run.warm_up && run.outcome.scored() {
            sum += before;
            scored += 1.0;
        }
        before += time(run).unwrap_or(0.0);
    }
    (scored > 0.0 && sum.is_finite()).then(|| sum / scored)
}
