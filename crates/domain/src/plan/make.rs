//! A plan, made.

use benchring_stats::error::StatsError;
use benchring_stats::power::{
    Layout, MOST, Noise, expected_half_width, runs_per_arm, runs_stop_paying, t_test_power,
    units_for_half_width, units_for_power,
};
use benchring_stats::special::t_upper_quantile;
use serde::{Deserialize, Serialize};

use super::Form;
use super::figures::{Figure, Figures, RestsOn, Shown};
use super::order::{Drawn, PlannedRun, draw};
use super::record::{End, ToRecord, ends, symbol_of, to_record};
use super::request::{Asked, Goal};
use crate::disclosure::words;
use crate::method::{Catalogue, Method};
use crate::pool::ENGINE_VERSION;
use crate::pool::answer::{EffectScale, Interval, PercentForms};
use crate::pool::wording::percent_forms;
use crate::text::number;
use crate::trial::OrderDesign;

/// Fewest testers of a verdict on a pair.
const VERDICT_TESTERS: u32 = 3;
/// Numbers of testers that an outlook is given for.
const OUTLOOK: [u32; 6] = [2, 3, 4, 6, 8, 12];

/// What one tester alone would find.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alone {
    /// Half-width of the tester's own interval by this plan, scale of contrasts; `None` where one charge cannot tell.
    pub half_width: Option<f64>,
    /// Power of this plan to find the effect; `None` without one, or where one charge cannot tell.
    pub power: Option<f64>,
    /// Rounds that would find the effect with the power asked; `None` without one, or where no number would.
    pub rounds: Option<u32>,
    /// Runs of each pack in those.
    pub runs_per_arm: Option<u32>,
    /// Power with those.
    pub power_then: Option<f64>,
    /// Runs of each pack that would do if charges did not differ.
    pub runs_without_charges: Option<u32>,
}

/// How many testers it takes, each by this plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Together {
    /// Testers that reach the goal; `None` without a goal, or where no number would.
    pub testers: Option<u32>,
    /// Power with so many; `None` for a half-width.
    pub power: Option<f64>,
    /// Half-width with so many, scale of contrasts.
    pub half_width: Option<f64>,
}

/// What a number of testers would know.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// Testers, each by this plan.
    pub testers: u32,
    /// Half-width as expected, scale of contrasts.
    pub half_width: f64,
    /// Power to find the effect; `None` without one.
    pub power: Option<f64>,
}

words!(
    /// What a note is about.
    NoteKind {
        /// The scatter of runs is the method file's or assumed.
        RunScatterAssumed = "run_scatter_assumed",
        /// The scatter between charges is the method file's.
        ChargeScatterAssumed = "charge_scatter_assumed",
        /// The spread between testers is assumed.
        TesterScatterAssumed = "tester_scatter_assumed",
        /// More runs of one tester hardly help.
        MoreRunsStopPaying = "more_runs_stop_paying",
        /// No number of runs of one tester would find the effect.
        OneTesterCannot = "one_tester_cannot",
        /// One charge of each pack cannot tell packs from charges.
        OneCharge = "one_charge",
        /// A verdict needs three testers and three specimens of each pack.
        ThreeTesters = "three_testers",
        /// No number of testers would reach the goal.
        TestersCannot = "testers_cannot",
        /// Fewer runs than the method asks for.
        BelowMethod = "below_method",
        /// A steady drift does not cancel exactly.
        OrderNotBalanced = "order_not_balanced",
        /// One tester's interval is about that tester alone.
        OwnRepeatability = "own_repeatability",
    }
);

/// Something to know before the first run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// What it is about.
    pub kind: NoteKind,
    /// In words.
    pub text: String,
}

/// A plan: numbers, order and run sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// What was asked, with every default filled in.
    pub asked: Asked,
    /// Title of the method.
    pub title: String,
    /// Version of the catalogue.
    pub catalogue_version: String,
    /// UCUM code of the response's unit that the run sheet asks for.
    pub unit: String,
    /// That unit as it is printed.
    pub symbol: String,
    /// Whether effects are ratios, on the log scale.
    pub ratio: bool,
    /// Scatter reckoned with.
    pub figures: Figures,
    /// Sequence read, and last that changed the evidence; `None` without a server.
    pub versions: Option<(i64, i64)>,
    /// Version of the numerics.
    pub engine_version: &'static str,
    /// Scored runs of each pack.
    pub runs_per_arm: u32,
    /// How the order is made.
    pub order_design: OrderDesign,
    /// The runs in their order.
    pub runs: Vec<PlannedRun>,
    /// Whether a steady drift falls on all packs alike, exactly.
    pub balanced: bool,
    /// One tester alone.
    pub alone: Alone,
    /// Several.
    pub together: Together,
    /// Several, number by number.
    pub outlook: Vec<Outlook>,
    /// Runs of each pack beyond which more hardly help; `None` where they always do.
    pub runs_stop_paying: Option<u32>,
    /// Notes.
    pub notes: Vec<Note>,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// What the order rule of the method says.
    pub order_rule: String,
    /// Cautions.
    pub cautions: Vec<String>,
    /// What to write down.
    pub record: Vec<ToRecord>,
    /// How runs end.
    pub ends: Vec<End>,
}

impl Asked {
    /// Makes the plan. `shown` is what trials of the method show; nothing without a server.
    ///
    /// # Errors
    /// [`StatsError`] where a number that passed the check is none to reckon with.
    pub fn plan(&self, catalogue: &Catalogue, shown: &Shown) -> Result<Plan, StatsError> {
        let gone =
            StatsError::OutOfRange { name: "method", value: 0.0, expected: "a method of the catalogue" };
        let method = catalogue.method(&self.method).ok_or(gone)?;
        let figures = Figures::of(self, method, catalogue, shown);
        let reckoning = Reckoning {
            asked: self,
            method,
            noise: figures.noise(),
            layout: self.layout(method.run_is_charge),
        };
        let alone = reckoning.alone()?;
        let together = reckoning.together()?;
        let paying = runs_stop_paying(&reckoning.noise, reckoning.layout.charges)?;
        let drawn = draw(self).ok_or(StatsError::NoReadings)?;
        let mut plan = Plan {
            asked: self.clone(),
            title: method.title.clone(),
            catalogue_version: catalogue.version().to_owned(),
            unit: method.response.measure.shown_in().to_owned(),
            symbol: symbol_of(&method.response.measure),
            ratio: method.response.scale == crate::method::ResponseScale::Ratio,
            versions: shown.versions,
            engine_version: ENGINE_VERSION,
            runs_per_arm: self.rounds * self.runs_per_round,
            order_design: if self.packs.len() == 2 {
                OrderDesign::BalancedAlternating
            } else {
                OrderDesign::RandomisedBlocks
            },
            outlook: OUTLOOK.iter().map(|testers| reckoning.outlook(*testers)).collect::<Result<_, _>>()?,
            runs_stop_paying: paying,
            notes: Vec::new(),
            steps: method.steps.clone(),
            order_rule: method.order_rule.clone(),
            cautions: catalogue.cautions(method).iter().map(|caution| caution.text.clone()).collect(),
            record: to_record(catalogue, method),
            ends: ends(method),
            balanced: drawn.balanced,
            alone,
            together,
            figures,
            runs: Vec::new(),
        };
        plan.notes = plan.notes(method, &drawn);
        plan.runs = drawn.runs;
        Ok(plan)
    }
}

/// What the numbers are made of.
struct Reckoning<'a> {
    asked: &'a Asked,
    method: &'a Method,
    noise: Noise,
    layout: Layout,
}

impl Reckoning<'_> {
    fn effect(&self) -> Option<f64> {
        match self.asked.goal {
            Goal::Effect { pooled, .. } => Some(pooled.abs()),
            Goal::HalfWidth { .. } | Goal::AsMethod => None,
        }
    }

    /// Sd of what counts as one repeat within a trial, repeats of this plan, and runs of each. Where charges differ a repeat
    /// is a charge: runs on one charge share what it brings.
    fn repeat(&self) -> (f64, u32, u32) {
        let Noise { run, charge, .. } = self.noise;
        let Layout { charges, runs_per_charge } = self.layout;
        if charge == 0.0 {
            return (run, charges * runs_per_charge, 1);
        }
        ((charge * charge + run * run / f64::from(runs_per_charge)).sqrt(), charges, runs_per_charge)
    }

    fn alone(&self) -> Result<Alone, StatsError> {
        let (level, power) = (self.asked.level, self.asked.power);
        let (sd, repeats, runs) = self.repeat();
        let df = 2.0 * f64::from(repeats) - 2.0;
        let half_width = (repeats > 1)
            .then(|| t_upper_quantile(0.5 * (1.0 - level), df) * sd * (2.0 / f64::from(repeats)).sqrt());
        let none = Alone {
            half_width,
            power: None,
            rounds: None,
            runs_per_arm: None,
            power_then: None,
            runs_without_charges: None,
        };
        let Some(effect) = self.effect() else { return Ok(none) };
        let noncentrality = effect / sd * (0.5 * f64::from(repeats)).sqrt();
        let own = if repeats > 1 { Some(t_test_power(noncentrality, df, level)?) } else { None };
        let enough = runs_per_arm(effect, sd, level, power)?;
        let per_round = if self.method.run_is_charge { 1 } else { self.layout.runs_per_charge };
        let rounds = enough.map(|enough| enough.count.saturating_mul(runs).div_ceil(per_round));
        Ok(Alone {
            power: own,
            rounds,
            runs_per_arm: enough.map(|enough| enough.count.saturating_mul(runs)),
            power_then: enough.map(|enough| enough.power),
            runs_without_charges: runs_per_arm(effect, self.noise.run, level, power)?
                .map(|enough| enough.count),
            ..none
        })
    }

    fn together(&self) -> Result<Together, StatsError> {
        let (noise, layout) = (&self.noise, self.layout);
        let (level, power) = (self.asked.level, self.asked.power);
        let width = |testers: u32, assurance| expected_half_width(testers, noise, layout, level, assurance);
        let (testers, power, assurance) = match self.asked.goal {
            Goal::Effect { pooled, .. } => {
                let found = units_for_power(pooled, noise, layout, level, power)?;
                (found.map(|found| found.count), found.map(|found| found.power), None)
            }
            Goal::HalfWidth { pooled, assurance, .. } => {
                (units_for_half_width(pooled, noise, layout, level, assurance)?, None, assurance)
            }
            Goal::AsMethod => (None, None, None),
        };
        let half_width = testers.map(|testers| width(testers, assurance)).transpose()?;
        Ok(Together { testers, power, half_width })
    }

    fn outlook(&self, testers: u32) -> Result<Outlook, StatsError> {
        let half_width = expected_half_width(testers, &self.noise, self.layout, self.asked.level, None)?;
        let sd = (self.noise.between.powi(2) + self.noise.contrast_variance(self.layout)?).sqrt();
        let k = f64::from(testers);
        let power =
            self.effect().map(|effect| t_test_power(effect / sd * k.sqrt(), k - 1.0, self.asked.level));
        Ok(Outlook { testers, half_width, power: power.transpose()? })
    }
}

impl Plan {
    /// The effect to find in every percent form; `None` for another goal, or a difference.
    pub fn percent(&self) -> Option<PercentForms> {
        let Goal::Effect { form, pooled, .. } = self.asked.goal else { return None };
        let scale = match form {
            Form::RateGain | Form::TimeReduction => EffectScale::DurationRatio,
            Form::More | Form::Less => EffectScale::AmountRatio { higher_is_better: true },
            Form::Difference => return None,
        };
        percent_forms(scale, Interval { estimate: Some(pooled.exp()), lower: None, upper: None })
    }

    /// A scatter in percent of a reading, √(exp(σ²) − 1), or in the unit of the response.
    pub fn scatter(&self, figure: &Figure) -> f64 {
        if self.ratio { 100.0 * (figure.sd * figure.sd).exp_m1().sqrt() } else { figure.sd }
    }

    /// That scatter in words.
    pub(super) fn scatter_said(&self, figure: &Figure) -> String {
        let unit = if self.ratio { "%" } else { &self.symbol };
        format!("{} {unit}", number((10.0 * self.scatter(figure)).round() / 10.0))
    }

    fn notes(&self, method: &Method, drawn: &Drawn) -> Vec<Note> {
        let mut notes = Vec::new();
        let mut add = |kind: NoteKind, text: String| notes.push(Note { kind, text });
        self.scatter_notes(&mut add);
        self.number_notes(&mut add);
        let asked = &self.asked;
        let wanted = method.replicates.rounds * method.replicates.runs_per_round;
        if self.runs_per_arm < wanted || !method.run_is_charge && asked.rounds < method.replicates.rounds {
            add(
                NoteKind::BelowMethod,
                format!(
                    "the method asks for {} rounds with {} runs of each pack: this plan has {} with {}",
                    method.replicates.rounds,
                    method.replicates.runs_per_round,
                    asked.rounds,
                    asked.runs_per_round
                ),
            );
        }
        if !drawn.balanced {
            add(
                NoteKind::OrderNotBalanced,
                format!(
                    "so many turns do not make whole cycles for {} packs: the packs' scored runs lie up to {} runs apart in the mean, and a steady drift counts by that",
                    asked.packs.len(),
                    number((100.0 * drawn.apart).round() / 100.0)
                ),
            );
        }
        notes
    }

    fn scatter_notes(&self, add: &mut impl FnMut(NoteKind, String)) {
        let Figures { run, charge, testers } = &self.figures;
        let told = |figure: &Figure| format!("{} ({})", self.scatter_said(figure), figure.source);
        let taken = |figure: &Figure| matches!(figure.rests_on, RestsOn::MethodFile | RestsOn::Assumed);
        if taken(run) {
            add(
                NoteKind::RunScatterAssumed,
                format!("runs are taken to scatter by {}: state your own if you know it", told(run)),
            );
        }
        if taken(charge) {
            add(NoteKind::ChargeScatterAssumed, format!("charges are taken to differ by {}", told(charge)));
        }
        if taken(testers) {
            add(NoteKind::TesterScatterAssumed, format!("testers are taken to differ by {}", told(testers)));
        }
    }

    fn number_notes(&self, add: &mut impl FnMut(NoteKind, String)) {
        add(
            NoteKind::OwnRepeatability,
            "an interval of one tester alone is about that tester's own repeats: what testers differ by is not in it".to_owned(),
        );
        if self.alone.half_width.is_none() {
            add(
                NoteKind::OneCharge,
                "one charge of each pack cannot tell a good pack from a good charge: plan two rounds or more"
                    .to_owned(),
            );
        }
        if matches!(self.asked.goal, Goal::Effect { .. }) && self.alone.runs_per_arm.is_none() {
            add(
                NoteKind::OneTesterCannot,
                format!("no number of runs up to {MOST} finds this effect for one tester alone"),
            );
        }
        if let Some(runs) = self.runs_stop_paying.filter(|runs| *runs <= self.runs_per_arm) {
            add(
                NoteKind::MoreRunsStopPaying,
                format!(
                    "from {runs} runs of each pack on, more than half of what is uncertain is between testers and charges: further runs hardly help, further testers do"
                ),
            );
        }
        if self.together.testers.is_some_and(|testers| testers < VERDICT_TESTERS) {
            add(NoteKind::ThreeTesters, "a verdict on a pair needs three testers and three specimens of each pack, however precise two are".to_owned());
        }
        if self.asked.goal != Goal::AsMethod && self.together.testers.is_none() {
            add(NoteKind::TestersCannot, format!("no number of testers up to {MOST} reaches this goal"));
        }
    }
}
