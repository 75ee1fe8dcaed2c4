//! How often was repeated, against the plan and against what the method asks for.

use crate::finding::FindingKind;
use crate::method::Method;
use crate::trial::Plan;
use crate::trial::check::Check;
use crate::trial::check::parts::{ReadArm, ReadRun};

impl Check<'_> {
    /// Asks for the runs that were planned and are not there, and tells where the method asks for more.
    pub(super) fn replicates(&mut self, method: &Method, plan: Option<&Plan>, arms: &[ReadArm<'_>]) {
        for arm in arms {
            if let Some(Plan { rounds: Some(rounds), runs_per_round: Some(runs), .. }) = plan {
                self.planned(arm, rounds * runs);
            }
            self.asked_for(method, arm);
        }
    }

    fn planned(&mut self, arm: &ReadArm<'_>, planned: u32) {
        let done = arm.runs().filter(|run| !run.warm_up).count();
        if done == planned as usize {
            return;
        }
        let (what, question) = if done < planned as usize {
            (
                "send those that were stopped or failed too: they are data",
                "what became of the runs that are missing?",
            )
        } else {
            (
                "runs added after a look at the results favour chance, so say in the note why",
                "why were runs added to the plan?",
            )
        };
        self.ask(
            FindingKind::PlanDiffers,
            &arm.at,
            format!("{planned} runs were planned for each pack, and this arm has {done}: {what}"),
            question.to_owned(),
        );
    }

    fn asked_for(&mut self, method: &Method, arm: &ReadArm<'_>) {
        let scored = arm.runs().filter(|run| ReadRun::scored(run)).count();
        let charges = arm.charges.iter().filter(|charge| charge.runs.iter().any(ReadRun::scored)).count();
        let wanted = &method.replicates;
        let runs = wanted.runs_per_round as usize * wanted.rounds as usize;
        let rounds = wanted.rounds as usize;
        let few = if method.run_is_charge && charges < rounds {
            format!("charges that count: {charges}, and the method asks for {rounds}")
        } else if !method.run_is_charge && scored < runs {
            format!("runs that count: {scored}, and the method asks for {runs}")
        } else if arm.charges_known && charges < rounds {
            format!("charges with a run that counts: {charges}, and the method asks for {rounds}")
        } else {
            return;
        };
        self.tell(
            FindingKind::FewReplicates,
            &arm.at,
            format!("{few}: the trial counts with a wider interval; repeat more next time"),
        );
    }
}
