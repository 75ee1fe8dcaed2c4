//! How far down its charge each pack was timed. A small pack timed lower on its discharge curve than a large one looks
//! slower than it is.

use crate::finding::{Finding, FindingKind};
use crate::method::{Method, SameWithinTrial, known};
use crate::reason;
use crate::rule::{Place, RuleId, limits};
use crate::text::number;
use crate::tool::ToolModel;
use crate::trial::check::Check;
use crate::trial::check::parts::{ReadArm, ReadConditions, ReadRun};

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
        let used: Option<Vec<Used<'_>>> =
            arms.iter().zip(recorded).map(|(arm, recorded)| Used::of(arm, recorded.or(assumed)?)).collect();
        let Some(mut used) = used else { return };
        let basis = if measured { "recorded" } else { "assumed" };
        if let Some(deepest) = used.iter().max_by(|one, two| one.deepest.total_cmp(&two.deepest)) {
            self.far_down(deepest, basis);
        }
        used.sort_by(|one, two| one.mean.total_cmp(&two.mean));
        let (Some(low), Some(high)) = (used.first(), used.last()) else { return };
        let apart = high.mean - low.mean;
        if apart <= fine {
            return;
        }
        let message = format!(
            "timed runs of {} stand {} % down the charge on average and those of {} {} %, by {basis} power",
            high.at,
            number(high.mean.round()),
            low.at,
            number(low.mean.round())
        );
        self.notes.add(Finding {
            question: "were the packs recharged between rounds?".to_owned(),
            ..Finding::by(
                RuleId::R23,
                FindingKind::Inconsistent,
                high.at.to_owned(),
                format!(
                    "{message}, and at most {} points apart is fine: recharge between rounds, so that all packs are timed on a like part of their charge",
                    number(fine)
                ),
            )
        });
        if apart > most {
            self.leave_out(reason::USED_CHARGE_APART, format!("{message}, more than {most} points apart"));
        }
    }

    fn far_down(&mut self, used: &Used<'_>, basis: &str) {
        let bounds = &limits::CHARGE_USED;
        let place = bounds.place(used.deepest);
        let then = match place {
            Place::Fine => return,
            Place::Unusual | Place::Rare => "recharge sooner next time",
            _ => "recharge between rounds: so far down a pack is slower than it is when full",
        };
        self.notes.add(Finding {
            question: "were all these runs made on one charge, without a recharge?".to_owned(),
            ..Finding::by(
                RuleId::R23,
                FindingKind::Inconsistent,
                used.at.to_owned(),
                format!(
                    "a timed run of {} began {} % down its charge, by {basis} power, and {} is fine: {then}; where the pack was recharged, give the runs by charge",
                    used.at,
                    number(used.deepest.round()),
                    bounds.fine_words("%")
                ),
            )
        });
    }
}

/// How far down its charge an arm was timed, per cent of the rated energy.
struct Used<'a> {
    at: &'a str,
    mean: f64,
    deepest: f64,
}

impl<'a> Used<'a> {
    /// Of an arm whose tool draws `watt`.
    fn of(arm: &'a ReadArm<'_>, watt: f64) -> Option<Self> {
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
        let points = |runs: f64| 100.0 * runs * each;
        let mean = points(before.iter().sum::<f64>() / before.len() as f64);
        let deepest = points(before.iter().copied().fold(0.0, f64::max));
        (mean.is_finite() && deepest.is_finite()).then_some(Self { at: arm.at.as_str(), mean, deepest })
    }
}
