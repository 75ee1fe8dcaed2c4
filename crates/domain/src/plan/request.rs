//! What is asked of a plan.

use benchring_stats::power::Layout;

use super::Form;
use crate::audit::sha256_hex;
use crate::id::{MethodRef, PackModelId, shortened};
use crate::method::{Catalogue, Method, ResponseKind, ResponseScale};
use crate::pool::question::method_of;
use crate::text::{TextRule, listed, number, quoted};
use crate::violation::Violations;

/// Most packs of one plan.
pub const MOST_PACKS: usize = 20;
/// Most runs of one plan, warm-ups counted: what one trial takes.
pub const MOST_RUNS: u32 = 2_000;
/// Most rounds, and most runs of a pack in a round.
pub const MOST_ROUNDS: u32 = 1_000;

/// Level where none is asked.
const LEVEL: f64 = 0.95;
/// Power where none is asked.
const POWER: f64 = 0.8;

/// An effect as sent.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct EffectSent {
    /// What its size means; `None` reads as the usual form of the method.
    pub form: Option<Form>,
    /// Percent, or the canonical unit of the response where that is compared by difference.
    pub size: f64,
}

/// A request as sent. What is `None`, 0 or empty reads as the default.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Request {
    /// Resource name of the method version.
    pub method: String,
    /// Packs: resource names of pack models, or labels of one's own.
    pub packs: Vec<String>,
    /// Family of the workpiece, which narrows the scatter.
    pub workpiece_family: String,
    /// Effect to find.
    pub effect: Option<EffectSent>,
    /// Half-width to reach, in percent or the canonical unit.
    pub half_width: Option<f64>,
    /// Chance that the half-width found is no larger than asked.
    pub assurance: Option<f64>,
    /// Run-to-run scatter, CV in percent or sd in the canonical unit.
    pub run_scatter: Option<f64>,
    /// Scatter between charges, in percent or the canonical unit.
    pub charge_scatter: Option<f64>,
    /// Scatter between testers, in percent or the canonical unit.
    pub tester_scatter: Option<f64>,
    /// Level of intervals and tests, 0.80 to 0.999; 0 reads as 0.95.
    pub level: f64,
    /// Power, 0.5 to 0.999; 0 reads as 0.8.
    pub power: f64,
    /// Rounds, each on a charge of its own; 0 reads as what the method asks for.
    pub rounds: u32,
    /// Scored runs of each pack in a round; 0 reads as what the method asks for.
    pub runs_per_round: u32,
    /// What the order is drawn from; `None` reads as one made of the request.
    pub seed: Option<i64>,
}

/// A pack of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedPack {
    /// The pack model, where it is named.
    pub model: Option<PackModelId>,
    /// What the run sheet calls it.
    pub label: String,
}

/// What a plan is to reach. `pooled` is on the scale of contrasts: the logarithm of a ratio, or a difference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Goal {
    /// To find an effect.
    Effect {
        /// What its size means.
        form: Form,
        /// Percent or canonical unit.
        size: f64,
        /// On the scale of contrasts, with its sign.
        pooled: f64,
    },
    /// To know the difference so well.
    HalfWidth {
        /// Percent or canonical unit.
        size: f64,
        /// On the scale of contrasts.
        pooled: f64,
        /// Chance that it is reached; `None` for one as expected.
        assurance: Option<f64>,
    },
    /// What the method asks for, whatever that finds.
    AsMethod,
}

/// A request that passed every check.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// Method version.
    pub method: MethodRef,
    /// Packs, at least two, labels all different.
    pub packs: Vec<PlannedPack>,
    /// Family of the workpiece.
    pub workpiece_family: Option<String>,
    /// Goal.
    pub goal: Goal,
    /// Scatter as stated, on the scale of contrasts: run, charge, testers.
    pub(super) stated: [Option<f64>; 3],
    /// Level.
    pub level: f64,
    /// Power.
    pub power: f64,
    /// Rounds.
    pub rounds: u32,
    /// Scored runs of each pack in a round.
    pub runs_per_round: u32,
    /// Warm-up runs of each pack in a round.
    pub warm_ups: u32,
    /// Seed.
    pub seed: i64,
}

impl Request {
    /// Reads and judges all parts, in the paths of `PlanTrialRequest`.
    ///
    /// # Errors
    /// Every broken rule.
    pub fn check(self, catalogue: &Catalogue) -> Result<Asked, Violations> {
        let mut broken = Violations::default();
        let method = method_of(&self.method, catalogue, &mut broken);
        let packs = self.packs(&mut broken);
        let goal = method.map(|method| self.goal(method, &mut broken));
        let stated = self.stated(method, &mut broken);
        let level = within("level_ratio", "level", self.level, LEVEL, (0.80, 0.999), &mut broken);
        let power = within("power_ratio", "power", self.power, POWER, (0.5, 0.999), &mut broken);
        let family = self.family(catalogue, &mut broken);
        let (rounds, runs_per_round, warm_ups) = self.layout(method, packs.len(), &mut broken);
        let seed = self.seed.unwrap_or_else(|| self.own_seed());
        let (Some(method), Some(goal)) = (method, goal) else { return Err(broken) };
        broken.finish(Asked {
            method: method.reference(),
            packs,
            workpiece_family: family,
            goal,
            stated,
            level,
            power,
            rounds,
            runs_per_round,
            warm_ups,
            seed,
        })
    }

    /// A seed that is the same for the same method and packs.
    fn own_seed(&self) -> i64 {
        let hash = sha256_hex(format!("{}\n{}", self.method, self.packs.join("\n")).as_bytes());
        i64::from_str_radix(&hash[..12], 16).unwrap_or_default()
    }

    fn packs(&self, broken: &mut Violations) -> Vec<PlannedPack> {
        if self.packs.len() < 2 {
            broken.add(
                "packs",
                "TOO_FEW",
                format!("{} packs are given: a comparison needs two or more", self.packs.len()),
            );
        }
        if self.packs.len() > MOST_PACKS {
            broken.add(
                "packs",
                "TOO_MANY",
                format!(
                    "{} packs are given, {MOST_PACKS} fit one plan: make several plans that share a pack",
                    self.packs.len()
                ),
            );
        }
        let mut packs: Vec<PlannedPack> = Vec::new();
        for (i, text) in self.packs.iter().enumerate().take(MOST_PACKS) {
            let path = format!("packs[{i}]");
            if let Some(first) = self.packs[..i].iter().position(|other| other.trim() == text.trim()) {
                broken.add(
                    path,
                    "DUPLICATE",
                    format!(
                        "{} is packs[{first}] already: name each pack once, two specimens by two labels",
                        quoted(text)
                    ),
                );
            } else if text.starts_with("packModels/") {
                match PackModelId::from_name(text) {
                    Ok(model) => {
                        packs.push(PlannedPack { label: model.as_str().to_owned(), model: Some(model) });
                    }
                    Err(wrong) => broken.add(path, "NOT_A_NAME", wrong.to_string()),
                }
            } else {
                TextRule::label(true).check(broken, &path, "the label of a pack", text);
                packs.push(PlannedPack { model: None, label: text.trim().to_owned() });
            }
        }
        packs
    }

    fn goal(&self, method: &Method, broken: &mut Violations) -> Goal {
        if self.assurance.is_some() && self.half_width.is_none() {
            broken.add(
                "assurance_ratio",
                "NOT_TAKEN",
                "an assurance goes with a half-width: give one, or leave this out",
            );
        }
        match (self.effect, self.half_width) {
            (Some(_), Some(_)) => {
                broken.add(
                    "half_width",
                    "CONTRADICTION",
                    "an effect to find and a half-width to reach are two goals: give one of them",
                );
                Goal::AsMethod
            }
            (Some(effect), None) => effect_goal(method, effect, broken),
            (None, Some(size)) => {
                let (least, most) = sizes(method);
                let assurance = self.assurance.filter(|share| {
                    let fits = (0.5..=0.999).contains(share);
                    if !fits {
                        broken.add(
                            "assurance_ratio",
                            "OUT_OF_LIMITS",
                            format!("an assurance of {share} is outside 0.5 to 0.999: write 0.9 for 90 %"),
                        );
                    }
                    fits
                });
                if !(least..=most).contains(&size) {
                    broken.add("half_width", "OUT_OF_LIMITS", size_message(method, "a half-width", size));
                }
                let pooled =
                    if method.response.scale == ResponseScale::Ratio { (size / 100.0).ln_1p() } else { size };
                Goal::HalfWidth { size, pooled, assurance }
            }
            (None, None) => Goal::AsMethod,
        }
    }

    /// The scatter as stated, on the scale of contrasts.
    fn stated(&self, method: Option<&Method>, broken: &mut Violations) -> [Option<f64>; 3] {
        let ratio = method.is_none_or(|method| method.response.scale == ResponseScale::Ratio);
        let parts = [
            ("run_scatter", self.run_scatter, 0.01),
            ("charge_scatter", self.charge_scatter, 0.0),
            ("tester_scatter", self.tester_scatter, 0.0),
        ];
        parts.map(|(field, sent, least)| {
            let value = sent?;
            if !(least..=100.0).contains(&value) {
                let unit = if ratio { "percent" } else { "the unit of the response" };
                broken.add(field, "OUT_OF_LIMITS", format!("a scatter of {value} is outside {least} to 100, in {unit}: 8 is usual for work by hand"));
                return None;
            }
            Some(match (ratio, field) {
                (true, "run_scatter") => (value / 100.0).powi(2).ln_1p().sqrt(),
                (true, _) => value / 100.0,
                (false, _) => value,
            })
        })
    }

    fn family(&self, catalogue: &Catalogue, broken: &mut Violations) -> Option<String> {
        if self.workpiece_family.is_empty() {
            return None;
        }
        let families = catalogue.families("workpiece_class");
        if !families.contains(&self.workpiece_family.as_str()) {
            broken.add(
                "workpiece_family",
                "UNKNOWN_CHOICE",
                format!("`{}` is none of {}", shortened(&self.workpiece_family), listed(families)),
            );
        }
        Some(self.workpiece_family.clone())
    }

    /// Rounds, runs of a pack in a round, and warm-ups.
    fn layout(&self, method: Option<&Method>, packs: usize, broken: &mut Violations) -> (u32, u32, u32) {
        for (field, value) in [("rounds_count", self.rounds), ("runs_per_round_count", self.runs_per_round)] {
            if value > MOST_ROUNDS {
                broken.add(
                    field,
                    "OUT_OF_LIMITS",
                    format!("{value} is above {MOST_ROUNDS}: plan several trials"),
                );
            }
        }
        let Some(method) = method else { return (1, 1, 0) };
        if method.run_is_charge && self.runs_per_round > 1 {
            broken.add(
                "runs_per_round_count",
                "CONTRADICTION",
                format!(
                    "a run of {} is a whole charge, so a round has one: give more rounds instead",
                    method.reference()
                ),
            );
        }
        let or = |sent: u32, own: u32| if sent == 0 { own } else { sent };
        let (mut rounds, mut runs) = (
            or(self.rounds, method.replicates.rounds).max(1),
            or(self.runs_per_round, method.replicates.runs_per_round).max(1),
        );
        if method.run_is_charge {
            (rounds, runs) = (if self.rounds == 0 { rounds * runs } else { rounds }, 1);
        }
        let warm_ups = if method.response.kind == ResponseKind::Duration { super::WARM_UPS } else { 0 };
        let packs = u64::try_from(packs).unwrap_or(u64::MAX);
        let total = u64::from(rounds) * u64::from(runs + warm_ups) * packs;
        if total > u64::from(MOST_RUNS) {
            broken.add(
                "rounds_count",
                "TOO_MANY",
                format!("{rounds} rounds of {runs} runs and {warm_ups} warm-ups with {packs} packs are {total} runs, {MOST_RUNS} fit one trial: plan several trials"),
            );
            return (1, 1, 0);
        }
        (rounds, runs, warm_ups)
    }
}

impl Asked {
    /// Charges and runs of an arm; where a run is a charge, runs on one.
    pub(super) fn layout(&self, run_is_charge: bool) -> Layout {
        if run_is_charge {
            Layout { charges: self.rounds * self.runs_per_round, runs_per_charge: 1 }
        } else {
            Layout { charges: self.rounds, runs_per_charge: self.runs_per_round }
        }
    }
}

/// The forms that an effect of this method can have, the usual one first.
fn forms(method: &Method) -> &'static [Form] {
    match (method.response.scale, method.response.kind) {
        (ResponseScale::Difference, _) => &[Form::Difference],
        (ResponseScale::Ratio, ResponseKind::Duration) => &[Form::RateGain, Form::TimeReduction],
        (ResponseScale::Ratio, _) => &[Form::More, Form::Less],
    }
}

fn effect_goal(method: &Method, effect: EffectSent, broken: &mut Violations) -> Goal {
    let forms = forms(method);
    let form = effect.form.unwrap_or(forms[0]);
    let size = effect.size;
    if !forms.contains(&form) {
        broken.add(
            "effect.form",
            "WRONG_KIND",
            format!(
                "`{}` is no form for the {} of {}: use {}",
                form.id(),
                method.response.label,
                method.reference(),
                listed(forms.iter().map(|form| form.id()))
            ),
        );
        return Goal::AsMethod;
    }
    let (least, most) = sizes(method);
    let most = if matches!(form, Form::TimeReduction | Form::Less) { 95.0 } else { most };
    if !(least..=most).contains(&size) {
        broken.add("effect.size", "OUT_OF_LIMITS", size_message_up_to(method, "an effect", size, most));
        return Goal::AsMethod;
    }
    let share = size / 100.0;
    let pooled = match form {
        Form::RateGain => -share.ln_1p(),
        Form::TimeReduction | Form::Less => (-share).ln_1p(),
        Form::More => share.ln_1p(),
        Form::Difference => size,
    };
    Goal::Effect { form, size, pooled }
}

/// Sizes that can be asked for: percent, or the canonical unit.
fn sizes(method: &Method) -> (f64, f64) {
    match method.response.scale {
        ResponseScale::Ratio => (0.1, 1_000.0),
        ResponseScale::Difference => (0.001, 1_000.0),
    }
}

fn size_message(method: &Method, what: &str, size: f64) -> String {
    size_message_up_to(method, what, size, sizes(method).1)
}

fn size_message_up_to(method: &Method, what: &str, size: f64, most: f64) -> String {
    let unit = match method.response.scale {
        ResponseScale::Ratio => "percent",
        ResponseScale::Difference => method.response.measure.unit.as_str(),
    };
    format!(
        "{what} of {size} {unit} cannot be planned for: give {} to {}, such as 10",
        number(sizes(method).0),
        number(most)
    )
}

fn within(
    field: &str,
    what: &str,
    sent: f64,
    usual: f64,
    (least, most): (f64, f64),
    broken: &mut Violations,
) -> f64 {
    let value = if sent == 0.0 { usual } else { sent };
    if !(least..=most).contains(&value) {
        broken.add(
            field,
            "OUT_OF_LIMITS",
            format!(
                "a {what} of {value} is outside {least} to {most}: write {usual} for {} %",
                number(100.0 * usual)
            ),
        );
    }
    value
}
