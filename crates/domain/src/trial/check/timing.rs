//! Whether what was timed is long enough for how it was timed.

use crate::finding::{Finding, FindingKind};
use crate::method::{Method, ResponseKind, known};
use crate::quantity::Dimension;
use crate::rule::{Place, RuleId, limits};
use crate::text::number;
use crate::trial::check::Check;
use crate::trial::check::parts::{ReadArm, ReadConditions, ReadRun};

/// Ways of timing that rest on a hand.
const BY_HAND: [&str; 2] = ["hand_stopwatch", "batch_hand"];

impl Check<'_> {
    /// Asks for batches or a film where the scatter of a hand is a large share of the time measured: 100 x 0.10 s over
    /// mean reading by batch, per cent.
    pub(super) fn hand_timing(&mut self, method: &Method, whole: &ReadConditions, arms: &[ReadArm<'_>]) {
        let timed = method.response.kind == ResponseKind::Duration
            && method.response.measure.dimension == Dimension::Time;
        if !timed || !whole.choice(known::TIMING_METHOD).is_some_and(|way| BY_HAND.contains(&way)) {
            return;
        }
        let batch = whole.number(known::TIMING_BATCH).filter(|batch| *batch >= 1.0).unwrap_or(1.0);
        for arm in arms {
            let times: Vec<f64> = arm.runs().filter_map(ReadRun::exact).collect();
            let mean = times.iter().sum::<f64>() / times.len() as f64;
            let share = 100.0 * limits::HAND_TIMING / (mean * batch);
            if !share.is_finite() {
                continue;
            }
            let bounds = &limits::HAND_SHARE;
            let place = bounds.place(share);
            let says = format!(
                "a hand on a stopwatch scatters by {} s, {} % of the {} s that were timed at once on average",
                number(limits::HAND_TIMING),
                number((10.0 * share).round() / 10.0),
                number((1000.0 * mean * batch).round() / 1000.0)
            );
            let enough = (100.0 * limits::HAND_TIMING / bounds.unusual.max / mean).ceil();
            let finding = match place {
                Place::Fine => continue,
                Place::Unusual => Finding::by(
                    RuleId::R22,
                    FindingKind::CoarseTiming,
                    arm.at.clone(),
                    format!("{says}: kept; timing several together or filming narrows the answer"),
                ),
                _ => Finding {
                    question: "were they timed one by one, by hand? if several were timed together, give `timing_batch`".into(),
                    ..Finding::by(
                        RuleId::R22,
                        FindingKind::CoarseTiming,
                        arm.at.clone(),
                        format!(
                            "{says}, and at most {} % is usual: next time film it, or time {} together and give `timing_batch`",
                            number(bounds.unusual.max),
                            number(enough)
                        ),
                    )
                },
            };
            self.notes.add(finding);
        }
    }
}
