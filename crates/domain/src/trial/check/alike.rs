//! What has to be alike in all arms of a trial.
//!
//! Conditions that a tester sets are refused when they differ: arms under different conditions are different trials.
//! What is only measured (a temperature, the work done) cannot be undone: the trial is kept and left out of pools.

use std::collections::BTreeMap;

use crate::finding::FindingKind;
use crate::method::{Method, SameWithinTrial, known};
use crate::reason;
use crate::text::number;
use crate::trial::Value;
use crate::trial::check::Check;
use crate::trial::check::parts::{Pack, ReadArm};

/// Room for rounding in comparisons of numbers that people typed.
const ROOM: f64 = 1e-9;

/// A number of a run or arm, with its path.
type Placed = (String, f64);

impl Check<'_> {
    /// Holds the arms against the method's rules of likeness.
    pub(super) fn alike(&mut self, method: &Method, arms: &[ReadArm<'_>]) {
        if arms.len() < 2 {
            return;
        }
        for rule in &method.same_within_trial {
            match rule {
                SameWithinTrial::Equal { field } => self.equal(field, arms),
                SameWithinTrial::SameOrFreshAccessory => self.accessory(arms),
                SameWithinTrial::PerRatedCapacity { field, within } => {
                    let of = |pack: Pack<'_>| pack.1.rated_capacity.canonical();
                    if let Some((low, high)) = outermost(arms, field, Some(&of))
                        && high.1 > low.1 * (1.0 + within) + ROOM
                    {
                        self.unlike(
                            field,
                            "over rated capacity",
                            &low,
                            &high,
                            &format!("{} %", 100.0 * within),
                        );
                    }
                }
                SameWithinTrial::PerSeriesCell { field, difference } => {
                    let of = |pack: Pack<'_>| f64::from(pack.1.series_count);
                    if let Some((low, high)) = outermost(arms, field, Some(&of))
                        && high.1 - low.1 > difference + ROOM
                    {
                        self.unlike(field, "for each series cell", &low, &high, &number(*difference));
                    }
                }
                SameWithinTrial::Within { field, difference } => {
                    self.apart(field, arms, &number(*difference), |low, high| high - low > difference + ROOM);
                }
                SameWithinTrial::WithinShare { field, within } => {
                    self.apart(field, arms, &format!("{} %", 100.0 * within), |low, high| {
                        high - low > within * 0.5 * (high + low).abs() + ROOM
                    });
                }
                SameWithinTrial::WithinShareOfFirst { fields, within, only_for } => {
                    let holds = only_for.as_ref().is_none_or(|is| self.draft.chose(&is.field, &is.choice));
                    if holds {
                        self.alike_in_first(fields, *within, arms);
                    }
                }
                SameWithinTrial::ToolOrLoad { field, within } => {
                    if self.draft.tool_model.is_empty() {
                        self.load_alike(field, *within, arms);
                    }
                }
                // Held by its own rule, which needs the tool too.
                SameWithinTrial::UsedChargeAlike { .. } => {}
            }
        }
    }

    /// One value over all arms. A field of the trial keeps this by its place.
    fn equal(&mut self, field: &str, arms: &[ReadArm<'_>]) {
        let mut first: Option<(String, &Value)> = None;
        for arm in arms {
            for at in arm.all_conditions() {
                let Some(value) = at.values.get(field) else { continue };
                let Some((other, kept)) = &first else {
                    first = Some((at.path(field), value));
                    continue;
                };
                if !same(kept, value) {
                    self.broken.add(
                        at.path(field),
                        reason::CONDITIONS_DIFFER,
                        format!(
                            "`{field}` is {} here and {} at {other}: arms under different conditions are different trials, so submit one for each",
                            shown(value),
                            shown(kept)
                        ),
                    );
                    break;
                }
            }
        }
    }

    fn unlike(&mut self, field: &str, per: &str, low: &Placed, high: &Placed, limit: &str) {
        self.broken.add(
            high.0.clone(),
            reason::CONDITIONS_DIFFER,
            format!(
                "`{field}` {per} is {} here and {} at {}, more than {limit} apart: arms under different conditions are different trials, so submit one for each",
                number(high.1),
                number(low.1),
                low.0
            ),
        );
    }

    /// The first field that every arm gives, alike within the share.
    fn alike_in_first(&mut self, fields: &[String], within: f64, arms: &[ReadArm<'_>]) {
        let given = |field: &&String| arms.iter().all(|arm| arm.numbers(field).next().is_some());
        match fields.iter().find(given) {
            Some(field) => self.apart(field, arms, &format!("{} %", 100.0 * within), |low, high| {
                high - low > within * 0.5 * (high + low).abs() + ROOM
            }),
            None => self.broken.add(
                "arms",
                reason::REQUIRED,
                format!("give {} for the runs of every arm: packs are compared at like work", named(fields)),
            ),
        }
    }

    /// Without a tool the load says what was asked of every pack.
    fn load_alike(&mut self, field: &str, within: f64, arms: &[ReadArm<'_>]) {
        if let Some(arm) = arms.iter().find(|arm| arm.numbers(field).next().is_none()) {
            self.broken.add(
                arm.at.clone(),
                reason::REQUIRED,
                format!("give `{field}` for its runs, or name the tool of the trial in `tool_model`"),
            );
        } else if let Some((low, high)) = outermost(arms, field, None)
            && high.1 > low.1 * (1.0 + within) + ROOM
        {
            self.unlike(field, "of the load", &low, &high, &format!("{} %", 100.0 * within));
        }
    }

    /// The mean of a measured field in each arm.
    fn apart(&mut self, field: &str, arms: &[ReadArm<'_>], limit: &str, apart: impl Fn(f64, f64) -> bool) {
        let means = arms.iter().filter_map(|arm| {
            let values: Vec<f64> = arm.numbers(field).map(|(_, value)| value).collect();
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            mean.is_finite().then(|| (arm.at.clone(), mean))
        });
        let Some((low, high)) = ends(means) else { return };
        if apart(low.1, high.1) {
            let message = format!(
                "`{field}` is {} in {} and {} in {}, more than {limit} apart",
                number(high.1),
                high.0,
                number(low.1),
                low.0
            );
            self.tell(
                FindingKind::Inconsistent,
                &high.0,
                format!("{message}: the trial is kept, not pooled; correct the value if it is wrong"),
            );
            self.leave_out(reason::ARMS_APART, message);
        }
    }

    /// One bit or blade for all arms; or the same ones for every arm; or several that began with as much work done.
    fn accessory(&mut self, arms: &[ReadArm<'_>]) {
        let mut used: Vec<BTreeMap<&str, String>> = Vec::new();
        let mut begins: BTreeMap<&str, f64> = BTreeMap::new();
        let mut unknown = false;
        for arm in arms {
            let mut here = BTreeMap::new();
            for run in arm.runs() {
                let Some(accessory) = run.conditions.text(known::ACCESSORY) else { continue };
                here.entry(accessory).or_insert_with(|| run.conditions.path(known::ACCESSORY));
                match run.conditions.number(known::ACCESSORY_USE_COUNT) {
                    Some(count) => {
                        let least = begins.entry(accessory).or_insert(count);
                        *least = least.min(count);
                    }
                    None => unknown = true,
                }
            }
            if !here.is_empty() {
                used.push(here);
            }
        }
        let alike = used.windows(2).all(|two| two[0].keys().eq(two[1].keys()));
        let mut starts = begins.values();
        let fresh =
            !unknown && starts.next().is_none_or(|first| starts.all(|other| (other - first).abs() < ROOM));
        if alike || fresh {
            return;
        }
        let Some((accessory, path)) = used
            .iter()
            .skip(1)
            .find_map(|here| here.iter().find(|(accessory, _)| !used[0].contains_key(*accessory)))
        else {
            return;
        };
        let why = if unknown {
            "give `accessory_use_count` for every run, so that fresh ones can be told"
        } else {
            "they had not done the same work before"
        };
        self.broken.add(
            path.clone(),
            reason::CONDITIONS_DIFFER,
            format!(
                "`{}` {} is used here and not for the first arm, and {why}: use one for all packs or ones that begin alike, or submit one trial for each",
                known::ACCESSORY,
                crate::text::quoted(accessory)
            ),
        );
    }
}

fn named(fields: &[String]) -> String {
    fields.iter().map(|field| format!("`{field}`")).collect::<Vec<_>>().join(" or ")
}

/// Least and greatest value of a field over all arms, over a number of the pack where one is given.
fn outermost(
    arms: &[ReadArm<'_>],
    field: &str,
    of: Option<&dyn Fn(Pack<'_>) -> f64>,
) -> Option<(Placed, Placed)> {
    let all = arms.iter().filter_map(|arm| Some((arm, of.map_or(Some(1.0), |of| Some(of(arm.pack?)))?)));
    ends(all.flat_map(|(arm, over)| arm.numbers(field).map(move |(path, value)| (path, value / over))))
}

/// Least and greatest; of equals the first.
fn ends(values: impl Iterator<Item = Placed>) -> Option<(Placed, Placed)> {
    values.fold(None, |ends, value| {
        let Some((low, high)) = ends else { return Some((value.clone(), value)) };
        Some(if value.1 < low.1 {
            (value, high)
        } else if value.1 > high.1 {
            (low, value)
        } else {
            (low, high)
        })
    })
}

fn same(one: &Value, two: &Value) -> bool {
    match (one, two) {
        (Value::Quantity(one), Value::Quantity(two)) => {
            let (one, two) = (one.canonical(), two.canonical());
            (one - two).abs() <= ROOM * one.abs().max(two.abs())
        }
        (Value::Text(one), Value::Text(two)) => one.trim() == two.trim(),
        _ => one == two,
    }
}

fn shown(value: &Value) -> String {
    match value {
        Value::Quantity(quantity) => crate::measure::said(quantity),
        Value::Choice(text) | Value::Text(text) => crate::text::quoted(text),
        Value::Flag(flag) => flag.to_string(),
    }
}
