//! The order that was planned against the order that was kept.
//!
//! A plan says what was intended, and what was done may differ honestly: that is a finding, and recorded positions
//! overrule the plan, or else testers would do better to leave positions out. Only statements about one trial that cannot
//! both be true are refused.

use crate::finding::FindingKind;
use crate::method::Method;
use crate::reason;
use crate::text::number;
use crate::trial::check::Check;
use crate::trial::check::parts::{ReadArm, ReadRun};
use crate::trial::{OrderDesign, Plan, reduce};

impl Check<'_> {
    /// `stated` when any run has a position, `recorded` when every one has.
    pub(super) fn design(
        &mut self,
        method: &Method,
        plan: &Plan,
        arms: &[ReadArm<'_>],
        stated: bool,
        recorded: bool,
    ) {
        let design = plan.order_design;
        if design == OrderDesign::SinglePack && arms.len() > 1 {
            self.broken.add(
                "plan.order_design",
                reason::CONTRADICTION,
                format!(
                    "the plan says single_pack, and there are {} arms: say how their order was made",
                    arms.len()
                ),
            );
            return;
        }
        if design == OrderDesign::NotRecorded && stated {
            self.broken.add(
                "plan.order_design",
                reason::CONTRADICTION,
                "the plan says not_recorded, and runs have positions: say how the order was made, or leave the positions out",
            );
            return;
        }
        if arms.len() == 1 {
            if !matches!(design, OrderDesign::SinglePack | OrderDesign::NotRecorded) {
                self.tell(
                    FindingKind::PlanDiffers,
                    "plan.order_design",
                    format!("the plan says {design}, and there is one arm: send the other packs' runs too, those that failed included"),
                );
            }
            return;
        }
        let positions = recorded.then(|| mean_positions(arms)).flatten();
        let runs: Vec<u32> = arms.iter().map(scored_runs).collect();
        let order = reduce::run_order(positions.as_deref(), design, arms.len());
        if order.is_blocked(&runs) && runs.iter().all(|runs| *runs > 0) {
            self.blocked(method, design, positions.as_deref());
        }
        if let Some(positions) = positions {
            self.differs(design, &positions, order.is_blocked(&runs));
        }
    }

    fn blocked(&mut self, method: &Method, design: OrderDesign, positions: Option<&[f64]>) {
        let known = match positions {
            Some(positions) => format!("the packs' mean positions lie {} runs apart", number(gap(positions))),
            None => format!("the order is {design}"),
        };
        let drift = method.drift.range.max;
        self.tell(
            FindingKind::BlockedOrder,
            "plan.order_design",
            format!(
                "{known}, so a drift along the runs (up to {} a run here) cannot be told from a difference between packs, and answers widen by it: next time run the packs in turn",
                match method.response.scale {
                    crate::method::ResponseScale::Ratio => format!("{} %", number(100.0 * drift)),
                    crate::method::ResponseScale::Difference => {
                        crate::measure::with_unit(drift, method.response.measure.dimension.canonical())
                    }
                }
            ),
        );
    }

    fn differs(&mut self, design: OrderDesign, positions: &[f64], blocked: bool) {
        let gap = gap(positions);
        // Room of one run, for an order that a failed run has shifted.
        let turns = (positions.len() - 1) as f64;
        let differs = match design {
            OrderDesign::RandomisedBlocks => blocked,
            OrderDesign::BalancedAlternating => gap > 1.0,
            OrderDesign::Alternating => gap > turns + 1.0,
            OrderDesign::Blocked => !blocked,
            OrderDesign::SinglePack | OrderDesign::NotRecorded => false,
        };
        if differs {
            self.tell(
                FindingKind::PlanDiffers,
                "plan.order_design",
                format!(
                    "the plan says {design}, and the packs' mean positions lie {} runs apart: the positions are used; correct the plan or the positions if they are wrong",
                    number(gap)
                ),
            );
        }
    }
}

fn scored_runs(arm: &ReadArm<'_>) -> u32 {
    u32::try_from(arm.runs().filter(|run| run.scored()).count()).unwrap_or(u32::MAX)
}

/// Mean position of each arm; `None` where an arm has no scored run.
fn mean_positions(arms: &[ReadArm<'_>]) -> Option<Vec<f64>> {
    arms.iter()
        .map(|arm| {
            let charges = arm.charges.iter().map(|charge| {
                let scored = charge.runs.iter().filter(|run| ReadRun::scored(run));
                scored.filter_map(|run| run.position).map(f64::from).collect::<Vec<f64>>()
            });
            reduce::mean_position(charges)
        })
        .collect()
}

/// How far apart the outermost mean positions lie.
fn gap(positions: &[f64]) -> f64 {
    let highest = positions.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let lowest = positions.iter().copied().fold(f64::INFINITY, f64::min);
    highest - lowest
}
