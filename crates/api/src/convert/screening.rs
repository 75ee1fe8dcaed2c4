//! Screening flags.

use benchring_domain::id::{TesterId, TrialId};
use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::pool::screened::{PairCompared, TrialScreening};
use benchring_domain::screening::{Cause, Compared, Flag, FlagLevel, Severity, cause, sentence};

use super::pools::{prior_to_wire, size};
use crate::v1;

/// Writes everything remarkable about a trial.
pub fn screening_to_wire(trial: &TrialId, screening: &TrialScreening) -> v1::Screening {
    let TrialScreening { flags, pairs, prior, data_version, evidence_version } = screening;
    v1::Screening {
        trial: trial.name(),
        // Flags about the trial name no other.
        flags: flags
            .iter()
            .map(|flag| v1::ScreeningFlag { trial: trial.name(), ..flag_to_wire(flag, &|_| true) })
            .collect(),
        pairs: pairs.iter().map(pair_to_wire).collect(),
        prior: Some(prior_to_wire(prior)),
        data_version: *data_version,
        evidence_version: *evidence_version,
        engine_version: ENGINE_VERSION.to_owned(),
    }
}

fn pair_to_wire(pair: &PairCompared) -> v1::ScreenedPair {
    let PairCompared { pack_a, pack_b, testers, trials } = pair;
    v1::ScreenedPair {
        pack_a: pack_a.name(),
        pack_b: pack_b.name(),
        testers_count: size(*testers),
        trials_count: size(*trials),
    }
}

/// Writes a flag; the trial is named where it is `readable`.
pub(super) fn flag_to_wire(flag: &Flag, readable: &dyn Fn(&TrialId) -> bool) -> v1::ScreeningFlag {
    let Flag {
        level,
        kind,
        severity,
        trial,
        unit,
        field,
        or_fields,
        what,
        value,
        usual,
        code,
        statistic,
        number,
        p,
        critical,
        sd,
        compared,
        causes,
    } = flag;
    let Compared { runs, trials, testers } = *compared;
    v1::ScreeningFlag {
        level: match level {
            FlagLevel::Run => v1::FlagLevel::Run,
            FlagLevel::Arm => v1::FlagLevel::Arm,
            FlagLevel::Trial => v1::FlagLevel::Trial,
            FlagLevel::Tester => v1::FlagLevel::Tester,
        }
        .into(),
        kind: kind.id().to_owned(),
        severity: severity_to_wire(*severity),
        trial: trial.as_ref().filter(|trial| readable(trial)).map(TrialId::name).unwrap_or_default(),
        tester: unit.as_ref().map(TesterId::name).unwrap_or_default(),
        field: field.clone(),
        or_fields: or_fields.clone(),
        measured: what.clone(),
        value: *value,
        usual: *usual,
        symbol: code.clone(),
        statistic_name: statistic.id().to_owned(),
        statistic: *number,
        p_ratio: *p,
        critical: *critical,
        sd: *sd,
        compared_runs_count: size(runs),
        compared_trials_count: size(trials),
        compared_testers_count: size(testers),
        causes: causes.iter().map(cause_to_wire).collect(),
        cause: cause(flag),
        sentence: sentence(flag),
        left_out_of_screened: flag.leaves_out(),
        rule: flag.rule().map(|rule| rule.id().to_owned()).unwrap_or_default(),
    }
}

pub(super) fn severity_to_wire(severity: Severity) -> i32 {
    match severity {
        Severity::Notice => v1::FlagSeverity::Notice,
        Severity::Straggler => v1::FlagSeverity::Straggler,
        Severity::Outlier => v1::FlagSeverity::Outlier,
    }
    .into()
}

fn cause_to_wire(cause: &Cause) -> v1::SlipCause {
    let Cause { factor, units, posterior, corrected } = cause;
    v1::SlipCause {
        factor: *factor,
        units: units.clone(),
        posterior_ratio: *posterior,
        corrected: *corrected,
    }
}
