//! The mathematics of the service over trials that somebody holds in hand: every pair of packs, by the very code that
//! answers a question. Nothing is kept.

pub mod documents;
pub mod generic;
pub mod network;
pub mod tidy;

use std::collections::{BTreeMap, BTreeSet};

use crate::id::{MethodRef, PackModelId, TesterId, TrialId};
use crate::method::Method;
use crate::pool::answer::{LeftOut, PriorUsed, Stratum, UnpooledStratum};
use crate::pool::compare::units_of;
use crate::pool::question::{Options, Question, Scope};
use crate::pool::wording::{Subject, sentence};
use crate::pool::{Evidence, EvidenceTrial, MeasuredBy, NoAnswer};

/// Most packs of an analysis: every pair of them is answered.
pub const MOST_PACKS: usize = 60;

/// How ids are called where they came from, when they were no ids there.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Names {
    /// Packs.
    pub packs: BTreeMap<PackModelId, String>,
    /// Testers.
    pub testers: BTreeMap<TesterId, String>,
    /// Trials.
    pub trials: BTreeMap<TrialId, String>,
}

impl Names {
    /// A pack, by its label or its resource name.
    pub fn pack(&self, id: &PackModelId) -> String {
        self.packs.get(id).cloned().unwrap_or_else(|| id.name())
    }

    /// A tester, likewise.
    pub fn tester(&self, id: &TesterId) -> String {
        self.testers.get(id).cloned().unwrap_or_else(|| id.name())
    }

    /// A trial, likewise.
    pub fn trial(&self, id: &TrialId) -> String {
        self.trials.get(id).cloned().unwrap_or_else(|| id.name())
    }
}

/// What is asked of the trials.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Asked {
    /// How it is computed.
    pub options: Options,
    /// The pack that all others are compared with first.
    pub reference: Option<PackModelId>,
}

/// Trials analysed.
#[derive(Debug, Clone, PartialEq)]
pub struct Analysis {
    /// The method.
    pub method: MethodRef,
    /// Options used.
    pub options: Options,
    /// The pack compared against where a pair holds it.
    pub reference: Option<PackModelId>,
    /// The strata, the one with most testers first.
    pub strata: Vec<AnalysedStratum>,
    /// Trials in no stratum.
    pub left_out: Vec<LeftOut>,
}

/// Trials of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalysedStratum {
    /// What its trials share.
    pub shared: Vec<(String, String)>,
    /// Demand class; `None` where not known.
    pub demand_class: Option<String>,
    /// The variance prior; `None` where no pair has an effect.
    pub prior: Option<PriorUsed>,
    /// Every pair that somebody compares, by pack.
    pub pairs: Vec<AnalysedPair>,
    /// Pairs of which one pack never gave an exact reading.
    pub without_effect: Vec<PairWithoutEffect>,
    /// Trials that give it nothing, by reason.
    pub left_out: Vec<LeftOut>,
}

/// One pair.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalysedPair {
    /// Compared against.
    pub pack_a: PackModelId,
    /// Compared.
    pub pack_b: PackModelId,
    /// The numbers, as an answer has them.
    pub stratum: Stratum,
    /// What it is about, for sentences.
    pub subject: Subject,
    /// In words.
    pub wording: String,
}

/// One pair without an effect.
#[derive(Debug, Clone, PartialEq)]
pub struct PairWithoutEffect {
    /// Compared against.
    pub pack_a: PackModelId,
    /// Compared.
    pub pack_b: PackModelId,
    /// What became of the runs.
    pub stratum: UnpooledStratum,
    /// What it is about, for sentences.
    pub subject: Subject,
}

/// Why trials cannot be analysed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoAnalysis {
    /// There is nothing to compare.
    #[error("not_connected: {0}")]
    NotConnected(String),
    /// Nothing says how much readings scatter.
    #[error("{0}")]
    NoVariance(String),
    /// The reference is none of the packs.
    #[error("{0}")]
    UnknownReference(String),
    /// More than is taken.
    #[error("{0}")]
    TooMany(String),
}

impl NoAnalysis {
    /// The name of the error, in lower snake case.
    pub fn name(&self) -> &'static str {
        match self {
            Self::NotConnected(_) => "not_connected",
            Self::NoVariance(_) => "no_variance_and_one_tester",
            Self::UnknownReference(_) => "unknown_reference",
            Self::TooMany(_) => "too_many",
        }
    }
}

type Place = (Vec<(String, String)>, Option<String>);

/// Analyses the trials of one method.
///
/// # Errors
/// [`NoAnalysis`] where there is no number to give.
pub fn analyse(
    method: &Method,
    evidence: &Evidence,
    asked: &Asked,
    names: &Names,
) -> Result<Analysis, NoAnalysis> {
    let packs = packs_of(evidence);
    if packs.len() > MOST_PACKS {
        return Err(NoAnalysis::TooMany(format!(
            "{} packs, and at most {MOST_PACKS} are taken: analyse fewer at a time",
            packs.len()
        )));
    }
    if let Some(reference) = asked.reference.as_ref().filter(|one| !packs.contains(one)) {
        let known: Vec<String> = packs.iter().map(|pack| names.pack(pack)).collect();
        return Err(NoAnalysis::UnknownReference(format!(
            "the reference {} is none of the packs: {}",
            names.pack(reference),
            known.join(", ")
        )));
    }
    let mut strata: BTreeMap<Place, AnalysedStratum> = BTreeMap::new();
    let mut left_out = Gathered::default();
    let mut no_variance = None;
    for (pack_a, pack_b) in pairs_of(evidence, asked.reference.as_ref()) {
        let question = question(method, evidence, asked, pack_a.clone(), pack_b.clone());
        match question.ask_with(method, evidence, &MeasuredBy::new()) {
            Ok(answer) => {
                left_out.take(answer.left_out);
                let subject = subject(&question, method, evidence, names);
                file(&question, &subject, answer.strata, answer.unpooled, &mut strata);
            }
            Err(NoAnswer::NoVariance { message }) => {
                no_variance.get_or_insert(message);
            }
            Err(
                NoAnswer::NoEvidence { .. }
                | NoAnswer::NotConnected { .. }
                | NoAnswer::TooManyPacks { .. }
                | NoAnswer::NotNormalisable(_),
            ) => {}
        }
    }
    if strata.is_empty() {
        return Err(match no_variance {
            Some(message) => NoAnalysis::NoVariance(message),
            None => NoAnalysis::NotConnected(nothing(evidence, &packs, names)),
        });
    }
    left_out.take(never_compared(evidence));
    let mut strata: Vec<AnalysedStratum> = strata.into_values().map(AnalysedStratum::gathered).collect();
    strata.sort_by_key(|stratum| std::cmp::Reverse(stratum.size()));
    Ok(Analysis {
        method: method.reference(),
        options: asked.options,
        reference: asked.reference.clone(),
        strata,
        left_out: left_out.finish(),
    })
}

/// Files what was found of one pair under its strata.
fn file(
    question: &Question,
    subject: &Subject,
    found: Vec<Stratum>,
    unpooled: Vec<UnpooledStratum>,
    strata: &mut BTreeMap<Place, AnalysedStratum>,
) {
    let (pack_a, pack_b) = (&question.pack_a, &question.pack_b);
    for stratum in found {
        let place = strata.entry((stratum.shared.clone(), stratum.demand_class.clone()));
        let place = place.or_insert_with_key(AnalysedStratum::at);
        place.prior.get_or_insert(stratum.prior);
        place.pairs.push(AnalysedPair {
            pack_a: pack_a.clone(),
            pack_b: pack_b.clone(),
            wording: sentence(subject, &stratum.headline),
            stratum,
            subject: subject.clone(),
        });
    }
    for stratum in unpooled {
        let place = strata.entry((stratum.shared.clone(), stratum.demand_class.clone()));
        place.or_insert_with_key(AnalysedStratum::at).without_effect.push(PairWithoutEffect {
            pack_a: pack_a.clone(),
            pack_b: pack_b.clone(),
            stratum,
            subject: subject.clone(),
        });
    }
}

impl AnalysedStratum {
    fn at((shared, demand_class): &Place) -> Self {
        Self {
            shared: shared.clone(),
            demand_class: demand_class.clone(),
            prior: None,
            pairs: Vec::new(),
            without_effect: Vec::new(),
            left_out: Vec::new(),
        }
    }

    /// With what its pairs leave out gathered.
    fn gathered(mut self) -> Self {
        let mut all = Gathered::default();
        for pair in &self.pairs {
            all.take(pair.stratum.left_out.clone());
        }
        for pair in &self.without_effect {
            all.take(pair.stratum.left_out.clone());
        }
        self.left_out = all.finish();
        self
    }

    /// Testers, then trials, of its largest pair.
    fn size(&self) -> (usize, usize) {
        let sizes = self.pairs.iter().map(|pair| &pair.stratum.headline.basis);
        sizes.map(|basis| (basis.testers, basis.trials)).max().unwrap_or_default()
    }
}

/// Trials left out over several answers, each reason once.
#[derive(Default)]
struct Gathered(BTreeMap<(String, String), BTreeSet<TrialId>>);

impl Gathered {
    fn take(&mut self, left_out: Vec<LeftOut>) {
        for LeftOut { reason, message, trials } in left_out {
            self.0.entry((reason, message)).or_default().extend(trials);
        }
    }

    fn finish(self) -> Vec<LeftOut> {
        let one = |((reason, message), trials): ((String, String), BTreeSet<TrialId>)| LeftOut {
            reason,
            message,
            trials: trials.into_iter().collect(),
        };
        self.0.into_iter().map(one).collect()
    }
}

/// Trials with one arm stand in no pair; those whose pack stands in none at all would else be told by nobody.
fn never_compared(evidence: &Evidence) -> Vec<LeftOut> {
    let single = evidence.trials.iter().filter(|trial| trial.summary.arms.len() < 2);
    let trials: Vec<TrialId> = single.map(|trial| trial.trial.clone()).collect();
    let message = "one pack only: such trials give levels, no contrast".to_owned();
    if trials.is_empty() {
        Vec::new()
    } else {
        vec![LeftOut { reason: "ONE_ARM".to_owned(), message, trials }]
    }
}

fn packs_of(evidence: &Evidence) -> BTreeSet<&PackModelId> {
    evidence.trials.iter().flat_map(|trial| &trial.summary.arms).map(|arm| &arm.pack_model).collect()
}

/// Every pair that one voting unit ran both packs of, in trials with more than one arm; the reference first.
fn pairs_of(evidence: &Evidence, reference: Option<&PackModelId>) -> BTreeSet<(PackModelId, PackModelId)> {
    let trials: Vec<&EvidenceTrial> =
        evidence.trials.iter().filter(|trial| trial.summary.arms.len() > 1).collect();
    let units = units_of(&trials);
    let mut run: BTreeMap<&TesterId, BTreeSet<&PackModelId>> = BTreeMap::new();
    for trial in &trials {
        let unit = units.get(&trial.tester).unwrap_or(&trial.tester);
        run.entry(unit).or_default().extend(trial.summary.arms.iter().map(|arm| &arm.pack_model));
    }
    let mut pairs = BTreeSet::new();
    for packs in run.values() {
        for one in packs {
            for other in packs.range::<&PackModelId, _>(..one) {
                let turned = reference == Some(*one);
                let (a, b) = if turned { (*one, *other) } else { (*other, *one) };
                pairs.insert((a.clone(), b.clone()));
            }
        }
    }
    pairs
}

fn question(
    method: &Method,
    evidence: &Evidence,
    asked: &Asked,
    pack_a: PackModelId,
    pack_b: PackModelId,
) -> Question {
    Question {
        method: method.reference(),
        pack_a,
        pack_b,
        scope: Scope::default(),
        normalisation: None,
        overall: false,
        all_normalisations: false,
        options: asked.options,
        data_version: Some(evidence.data_version),
    }
}

fn subject(question: &Question, method: &Method, evidence: &Evidence, names: &Names) -> Subject {
    let mut subject = Subject::of(question, method, &evidence.pack_models);
    for (name, pack) in [(&mut subject.pack_a, &question.pack_a), (&mut subject.pack_b, &question.pack_b)] {
        if let Some(label) = names.packs.get(pack) {
            name.clone_from(label);
        }
    }
    subject
}

/// What there is, where nothing can be compared.
fn nothing(evidence: &Evidence, packs: &BTreeSet<&PackModelId>, names: &Names) -> String {
    let shown: Vec<String> = packs.iter().take(5).map(|pack| names.pack(pack)).collect();
    let more = if packs.len() > 5 { ", ..." } else { "" };
    format!(
        "{} trials of {} packs ({}{more}), and no tester compares two of them: one trial that runs two packs connects them",
        evidence.trials.len(),
        packs.len(),
        shown.join(", ")
    )
}
