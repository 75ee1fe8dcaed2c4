//! One trial beside the pool of its method, as a moderator asks for it. Whether it counts changes nothing of what is said.

use std::collections::{BTreeMap, BTreeSet};

use crate::id::{PackModelId, TesterId};
use crate::method::Method;
use crate::pool::answer::{PriorUsed, Stratum};
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::question::{Options, Question, Scope};
use crate::pool::screened::level;
use crate::pool::spread::MethodSpread;
use crate::screening::{Flag, FlagKind, FlagLevel, of_trial};
use crate::standing::Standing;
use crate::trial::{Trial, series_of};

/// A pair of packs that a trial was compared by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PairCompared {
    /// The pack that most testers ran.
    pub pack_a: PackModelId,
    /// The other.
    pub pack_b: PackModelId,
    /// Other testers of the stratum who have both.
    pub testers: usize,
    /// Their trials.
    pub trials: usize,
}

/// Everything remarkable about a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialScreening {
    /// Tester, trial, arms, runs: in this order.
    pub flags: Vec<Flag>,
    /// What it was compared by.
    pub pairs: Vec<PairCompared>,
    /// Variance of a reading that runs were held against.
    pub prior: PriorUsed,
    /// Sequence the pool was read at.
    pub data_version: i64,
    /// Last sequence that changed the evidence of the method.
    pub evidence_version: i64,
}

/// Screens a trial: within itself with the scatter that the accepted trials of its method show, and beside those.
///
/// `candidate` stands in `evidence` as if it were accepted and pooled, whatever its standing and whatever leaves it out.
pub fn screen_trial(
    method: &Method,
    mut evidence: Evidence,
    candidate: EvidenceTrial,
    trial: &Trial,
) -> TrialScreening {
    let others: Vec<&EvidenceTrial> =
        evidence.trials.iter().filter(|one| one.counts() && one.trial != candidate.trial).collect();
    let spread = MethodSpread::of(method, &others, &candidate.summary, &Options::default());
    let within = of_trial(method, &series_of(trial), &spread.prior);
    let pairs = pairs(&candidate, &others);
    let mut candidate = EvidenceTrial { standing: Standing::Accepted, weight_zero: None, ..candidate };
    // What keeps a trial out of pools does not keep it from being looked at.
    candidate.summary.left_out.clear();
    evidence.trials.retain(|one| one.trial != candidate.trial);
    let at = evidence.trials.partition_point(|one| one.trial < candidate.trial);
    evidence.trials.insert(at, candidate.clone());
    let mut flags: Vec<Flag> = Vec::new();
    let mut compared = Vec::new();
    for (pack_a, pack_b) in pairs {
        let question = Question {
            method: method.reference(),
            pack_a: pack_a.clone(),
            pack_b: pack_b.clone(),
            scope: Scope::default(),
            normalisation: None,
            overall: false,
            all_normalisations: false,
            options: Options::default(),
            data_version: Some(evidence.data_version),
        };
        let stratum = question.stratum_of(method, &evidence, &candidate.trial);
        let (testers, trials) =
            stratum.as_ref().map_or((0, 0), |stratum| others_in(stratum, &candidate.tester));
        compared.push(PairCompared { pack_a, pack_b, testers, trials });
        let told = if let Some(stratum) = stratum {
            about(stratum, &candidate)
        } else {
            let counted: Vec<&EvidenceTrial> = evidence.trials.iter().filter(|one| one.counts()).collect();
            level::without_stratum(&question, method, &counted, &candidate)
        };
        for flag in told {
            // The level of a trial is much the same by every pair.
            let known =
                |one: &Flag| flag.kind == FlagKind::Level && (one.kind, &one.what) == (flag.kind, &flag.what);
            if !flags.iter().any(known) {
                flags.push(flag);
            }
        }
    }
    flags.extend(within);
    flags.sort_by_key(|flag| std::cmp::Reverse(flag.level));
    TrialScreening {
        flags,
        pairs: compared,
        prior: spread.used(),
        data_version: evidence.data_version,
        evidence_version: evidence.evidence_version,
    }
}

/// The pack of the trial that most other testers ran, with each other pack of the trial.
fn pairs(candidate: &EvidenceTrial, others: &[&EvidenceTrial]) -> Vec<(PackModelId, PackModelId)> {
    let packs: BTreeSet<&PackModelId> = candidate.summary.arms.iter().map(|arm| &arm.pack_model).collect();
    let mut testers: BTreeMap<&PackModelId, BTreeSet<&TesterId>> =
        packs.iter().map(|pack| (*pack, BTreeSet::new())).collect();
    for other in others {
        for arm in &other.summary.arms {
            if let Some(of_pack) = testers.get_mut(&arm.pack_model) {
                of_pack.insert(&other.tester);
            }
        }
    }
    let most = testers.iter().max_by(|a, b| a.1.len().cmp(&b.1.len()).then(b.0.cmp(a.0)));
    let Some((reference, _)) = most else { return Vec::new() };
    packs
        .iter()
        .filter(|pack| *pack != reference)
        .map(|pack| ((*reference).clone(), (*pack).clone()))
        .collect()
}

/// Testers, other than this one, and their trials behind a stratum.
fn others_in(stratum: &Stratum, tester: &TesterId) -> (usize, usize) {
    let others = || stratum.rows.iter().filter(|row| !row.testers.contains(tester));
    (others().map(|row| row.testers.len()).sum(), others().map(|row| row.trials.len()).sum())
}

/// What the pool says of the trial and its tester.
fn about(stratum: Stratum, candidate: &EvidenceTrial) -> Vec<Flag> {
    let unit =
        stratum.rows.iter().find(|row| row.testers.contains(&candidate.tester)).map(|row| row.unit.clone());
    let of_it = |flag: &Flag| match flag.level {
        FlagLevel::Tester => flag.unit.is_some() && flag.unit == unit,
        FlagLevel::Trial => flag.kind == FlagKind::Level && flag.trial.as_ref() == Some(&candidate.trial),
        FlagLevel::Arm => flag.kind == FlagKind::UnitSlip && flag.trial.as_ref() == Some(&candidate.trial),
        FlagLevel::Run => false,
    };
    stratum.screening.into_iter().flat_map(|screening| screening.flags).filter(of_it).collect()
}
