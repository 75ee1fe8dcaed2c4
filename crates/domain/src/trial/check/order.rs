//! Positions, rounds and warm-ups of the runs as they were made.

use std::collections::BTreeMap;

use crate::finding::FindingKind;
use crate::method::Method;
use crate::reason;
use crate::trial::Plan;
use crate::trial::check::parts::{ReadArm, ReadCharge, ReadRun};
use crate::trial::check::{Check, join};

impl Check<'_> {
    /// Holds the order of the runs against itself and against the plan.
    pub(super) fn order(&mut self, method: &Method, plan: Option<&Plan>, arms: &[ReadArm<'_>]) {
        let runs = || arms.iter().flat_map(ReadArm::runs);
        let with = runs().filter(|run| run.position.is_some()).count();
        let recorded = with > 0 && with == runs().count();
        self.no_position_twice(runs());
        if with > 0 && !recorded {
            self.positions_partly(&runs().collect::<Vec<_>>());
        }
        if recorded {
            self.no_position_missing(runs(), with);
            for arm in arms {
                self.charges_in_turn(arm);
            }
        }
        for charge in arms.iter().flat_map(|arm| &arm.charges) {
            self.warm_ups_first(charge);
        }
        if let Some(plan) = plan {
            self.design(method, plan, arms, with > 0, recorded);
            self.rounds(plan, runs());
        }
    }

    fn no_position_twice<'b>(&mut self, runs: impl Iterator<Item = &'b ReadRun>) {
        let mut taken: BTreeMap<u32, &str> = BTreeMap::new();
        for run in runs {
            let Some(position) = run.position else { continue };
            if let Some(other) = taken.insert(position, &run.at) {
                self.broken.add(
                    join(&run.at, "position_count"),
                    reason::DUPLICATE,
                    format!(
                        "position {position} is that of {other} too, and no two runs are made at once: count positions over the whole trial, warm-ups included"
                    ),
                );
            }
        }
    }

    fn positions_partly(&mut self, runs: &[&ReadRun]) {
        let missing = runs.iter().filter(|run| run.position.is_none()).count();
        let Some(first) = runs.iter().find(|run| run.position.is_none()) else { return };
        self.broken.add(
            join(&first.at, "position_count"),
            reason::POSITIONS_PARTLY,
            format!(
                "{missing} of {} runs have no position, this one first: give the position of every run, or of none",
                runs.len()
            ),
        );
    }

    fn no_position_missing<'b>(&mut self, runs: impl Iterator<Item = &'b ReadRun>, count: usize) {
        let mut positions: Vec<u32> = runs.filter_map(|run| run.position).collect();
        positions.sort_unstable();
        let expected = u32::try_from(count).unwrap_or(u32::MAX);
        let gap = (1..=expected).zip(&positions).find(|(due, found)| due != *found).map(|(due, _)| due);
        let Some(gap) = gap.filter(|_| positions.windows(2).all(|two| two[0] < two[1])) else { return };
        self.ask(
            FindingKind::PlanDiffers,
            "arms",
            format!(
                "no run has position {gap}, while later ones are taken: send the runs that were stopped, failed or left out too, with their end"
            ),
            format!("was a run made at position {gap}?"),
        );
    }

    /// A pack is recharged before its next charge is used, so no two of its charges can be used in turn.
    fn charges_in_turn(&mut self, arm: &ReadArm<'_>) {
        let span = |charge: &ReadCharge| {
            let positions = || charge.runs.iter().filter_map(|run| run.position);
            Some((positions().min()?, positions().max()?))
        };
        let mut spans: Vec<((u32, u32), &str)> =
            arm.charges.iter().filter_map(|charge| Some((span(charge)?, charge.at.as_str()))).collect();
        spans.sort_unstable();
        let mut reach: Option<(u32, &str)> = None;
        for ((first, last), at) in spans {
            if let Some((until, other)) = reach.filter(|(until, _)| first < *until) {
                self.broken.add(
                    at,
                    reason::CONTRADICTION,
                    format!(
                        "position {first} of this charge lies before position {until} of {other}, the same pack's other charge, which was not used up yet: put each run with the charge it was made on"
                    ),
                );
            }
            if reach.is_none_or(|(until, _)| last > until) {
                reach = Some((last, at));
            }
        }
    }

    fn warm_ups_first(&mut self, charge: &ReadCharge) {
        let mut runs: Vec<&ReadRun> = charge.runs.iter().collect();
        if runs.iter().all(|run| run.position.is_some()) {
            runs.sort_by_key(|run| run.position);
        }
        let Some(scored) = runs.iter().position(|run| !run.warm_up) else { return };
        for run in runs[scored..].iter().filter(|run| run.warm_up) {
            self.broken.add(
                join(&run.at, "warm_up"),
                reason::WARM_UP_LATE,
                format!(
                    "this warm-up stands after {}, a scored run of its charge: only runs before the first scored one are warm-ups",
                    runs[scored].at
                ),
            );
        }
    }

    fn rounds<'b>(&mut self, plan: &Plan, runs: impl Iterator<Item = &'b ReadRun>) {
        let Some(planned) = plan.rounds else { return };
        let mut beyond = runs.filter(|run| run.round.is_some_and(|round| round > planned));
        let Some(first) = beyond.next() else { return };
        let round = first.round.unwrap_or_default();
        let more = beyond.count();
        self.tell(
            FindingKind::PlanDiffers,
            &join(&first.at, "round_count"),
            format!(
                "round {round} lies beyond the {planned} planned, with {more} more such runs: runs added after a look at the results favour chance, so say in the note why"
            ),
        );
    }
}
