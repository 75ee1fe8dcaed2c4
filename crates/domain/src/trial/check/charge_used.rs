//! How far down its charge each pack was timed. A small pack timed lower on its discharge curve than a large one looks
//! slower than it is.

use crate::finding::FindingKind;
use crate::method::{Method, SameWithinTrial, known};
use crate::reason;
use crate::text::number;
use crate::tool::ToolModel;
use crate::trial::check::Check;
use crate::trial::check::parts::{ReadArm, ReadConditions, ReadRun};

/// Share of its charge, in points, beyond which timed runs are asked about whatever the other arms did: own rule.
const MOST_USED: f64 = 60.0;

const SECONDS_IN_HOUR: f64 = 3600.0;

impl Check<'_> {
    /// Works out the mean share of charge used before the timed runs of each arm: runs before it on the charge, times
    /// mean energy of a run, over rated energy.
    ///
    /// The energy of a run is its time by the mean power drawn: recorded, or assumed from the table of works. Packs timed
    /// further apart than the method allows leave the trial out with either: the error has a direction, and more such
    /// trials do not cancel it.
    pub(super) fn used_charge(
        &mut self,
        method: &Method,
        tool: Option<&ToolModel>,
        whole: &ReadConditions,
        arms: &[ReadArm<'_>],
    ) {
        let rule = method.same_within_trial.iter().find_map(|rule| match rule {
            SameWithinTrial::UsedChargeAlike { fine_points, most_points } => {
                Some((*fine_points, *most_points))
            }
            _ => None,
        });
        let Some((fine, most)) = rule else { return };
        let recorded: Vec<Option<f64>> =
            arms.iter().map(|arm| arm.conditions.number(known::MEAN_INPUT_POWER)).collect();
        let measured = recorded.iter().all(Option::is_some);
        let assumed = self
            .catalogue
            .assumed_power(&method.id, tool.map(|tool| tool.tool_type.as_str()), &whole.values)
            .map(|power| power.watt);
        let used: Option<Vec<(&str, f64)>> = arms
            .iter()
            .zip(recorded)
            .map(|(arm, recorded)| Some((arm.at.as_str(), points_used(arm, recorded.or(assumed)?)?)))
            .collect();
        let Some(mut used) = used else { return };
        used.sort_by(|one, two| one.1.total_cmp(&two.1));
        let (Some(low), Some(high)) = (used.first(), used.last()) else { return };
        let apart = high.1 - low.1;
        if apart <= fine && high.1 <= MOST_USED {
            return;
        }
        let basis = if measured { "recorded" } else { "assumed" };
        let message = format!(
            "timed runs of {} stand {} % down the charge on average and those of {} {} %, by {basis} power",
            high.0,
            number(high.1.round()),
            low.0,
            number(low.1.round())
        );
        self.ask(
            FindingKind::Inconsistent,
            high.0,
            format!(
                "{message}, and at most {} points apart and {} % down is fine: recharge between rounds",
                number(fine),
                number(MOST_USED)
            ),
            "were the packs recharged between rounds?".to_owned(),
        );
        if apart > most {
            self.leave_out(reason::USED_CHARGE_APART, format!("{message}, more than {most} points apart"));
        }
    }
}

/// Mean share of the rated energy used before the scored runs, per cent.
fn points_used(arm: &ReadArm<'_>, watt: f64) -> Option<f64> {
    let (_, model) = arm.pack?;
    let times =
        || arm.runs().filter_map(|run| run.reading.as_ref().map(crate::quantity::Quantity::canonical));
    let mean_time = times().sum::<f64>() / times().count().max(1) as f64;
    let each = watt * mean_time / SECONDS_IN_HOUR / model.rated_energy_at_nominal();
    let mut before = Vec::new();
    for charge in &arm.charges {
        let mut runs: Vec<&ReadRun> = charge.runs.iter().collect();
        if runs.iter().all(|run| run.position.is_some()) {
            runs.sort_by_key(|run| run.position);
        }
        for (place, run) in runs.iter().enumerate().filter(|(_, run)| run.scored()) {
            let counted = run.conditions.number(known::RUNS_SINCE_CHARGE);
            // Where runs are not told apart by charge, their place among them says nothing.
            let place = arm.charges_known.then_some(place as f64);
            before.push(counted.or(place)?);
        }
    }
    let mean = before.iter().sum::<f64>() / before.len() as f64;
    Some(100.0 * mean * each).filter(|points| points.is_finite())
}
