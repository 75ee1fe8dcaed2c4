//! What a flag says: what is remarkable, where, by which numbers, and what would explain it.

use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::id::{TesterId, TrialId};
use crate::rule::RuleId;

words!(
    /// What a flag is about.
    FlagLevel {
        /// One reading.
        Run = "run",
        /// The readings of one pack in a trial.
        Arm = "arm",
        /// A trial.
        Trial = "trial",
        /// All that a tester, or testers who share a specimen, say about a pair.
        Tester = "tester",
    }
);

words!(
    /// What was looked at.
    FlagKind {
        /// A reading far from the others of its arm.
        Replicate = "replicate",
        /// A value that a known slip of units would explain.
        UnitSlip = "unit_slip",
        /// Readings of an arm that are all the same.
        ZeroSpread = "zero_spread",
        /// Readings of a trial that rise or fall along its order: least squares.
        Drift = "drift",
        /// Readings of an arm that rise or fall along its order: Mann and Kendall.
        Trend = "trend",
        /// The level of a trial beside those of other testers (R20).
        Level = "level",
        /// The scatter of a tester's readings beside that of others: Cochran's C.
        Spread = "spread",
        /// The scatter of a tester's readings over that of all: Mandel's k.
        SpreadRatio = "spread_ratio",
        /// A tester's ratio of the packs beside that of all: Mandel's h.
        Consistency = "consistency",
        /// A tester's ratio of the packs against what all others say: the deleted residual.
        TesterApart = "tester_apart",
        /// A tester without whom the answer would be another.
        Influential = "influential",
    }
);

words!(
    /// How strong a flag is, by the convention of ISO 5725-2.
    Severity {
        /// Told, and by itself no sign that something is wrong.
        Notice = "notice",
        /// 0.01 <= p < 0.05.
        Straggler = "straggler",
        /// p < 0.01.
        Outlier = "outlier",
    }
);

words!(
    /// Which number `statistic` is.
    Statistic {
        /// Distance over standard deviation.
        Z = "z",
        /// Grubbs' G.
        G = "grubbs_g",
        /// Rosner's R of the generalised extreme studentised deviate.
        R = "gesd_r",
        /// ln of value over usual, or their difference.
        Residual = "residual",
        /// Student's t.
        T = "t",
        /// Kendall's S.
        S = "kendall_s",
        /// Cochran's C; with unequal counts, the share G.
        C = "cochran_c",
        /// Mandel's h.
        H = "mandel_h",
        /// Mandel's k.
        K = "mandel_k",
        /// Studentised deleted residual.
        Deleted = "deleted_residual",
        /// DFFITS.
        Dffits = "dffits",
        /// Standard deviation.
        Sd = "standard_deviation",
    }
);

impl Severity {
    /// By a p-value; `None` from 0.05 on.
    ///
    /// # Reference
    /// ISO 5725-2:2019, 7.3.1: stragglers from 5 %, outliers from 1 %.
    pub fn of_p(p: f64) -> Option<Self> {
        if p < 0.01 {
            Some(Self::Outlier)
        } else if p < 0.05 {
            Some(Self::Straggler)
        } else {
            None
        }
    }
}

/// A slip of units that would explain a flag.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cause {
    /// How many times too large, or too small.
    pub factor: f64,
    /// What was probably mixed up, such as `inches and millimetres`.
    pub units: String,
    /// Probability after the look, 0 to 1.
    pub posterior: f64,
    /// What the value would then be, in the unit of the flag.
    pub corrected: f64,
}

/// What a flag was compared with.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Compared {
    /// Readings.
    pub runs: usize,
    /// Trials.
    pub trials: usize,
    /// Testers, or voting units.
    pub testers: usize,
}

/// Something remarkable. It changes no number and holds no trial.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flag {
    /// What it is about.
    pub level: FlagLevel,
    /// What was looked at.
    pub kind: FlagKind,
    /// How strong it is.
    pub severity: Severity,
    /// The trial; `None` for the trial that bears the flag.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trial: Option<TrialId>,
    /// The voting unit, where the flag is about one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<TesterId>,
    /// Path within the trial, such as `arms[0].charges[0].runs[2].reading`; empty for all of it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub field: String,
    /// Other paths that it may be just as well: of two readings, or two arms, nobody can tell which.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub or_fields: Vec<String>,
    /// What was measured, in words, where it is not the response of the method.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub what: String,
    /// The value, in `code`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Where it should lie, in `code`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub usual: Option<f64>,
    /// How a person writes the unit of both; empty for a plain number.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub code: String,
    /// Which number the next one is.
    pub statistic: Statistic,
    /// That number.
    pub number: f64,
    /// Its p-value, for the whole family of comparisons that was looked at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub p: Option<f64>,
    /// The value that `number` would have to pass for this severity.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub critical: Option<f64>,
    /// Standard deviation that was reckoned with: on the log scale for a ratio, else in `code`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sd: Option<f64>,
    /// What it was compared with.
    pub compared: Compared,
    /// Slips that would explain it, the likeliest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub causes: Vec<Cause>,
}

impl Flag {
    /// A flag with nothing beside its number yet.
    pub(crate) fn new(
        level: FlagLevel,
        kind: FlagKind,
        severity: Severity,
        statistic: Statistic,
        number: f64,
    ) -> Self {
        Self {
            level,
            kind,
            severity,
            trial: None,
            unit: None,
            field: String::new(),
            or_fields: Vec::new(),
            what: String::new(),
            value: None,
            usual: None,
            code: String::new(),
            statistic,
            number,
            p: None,
            critical: None,
            sd: None,
            compared: Compared::default(),
            causes: Vec::new(),
        }
    }

    /// The rule that looks at it, where it is one of the list.
    pub fn rule(&self) -> Option<RuleId> {
        match (self.kind, self.level) {
            (FlagKind::Level, _) => Some(RuleId::R20),
            (FlagKind::Replicate | FlagKind::UnitSlip, FlagLevel::Run) => Some(RuleId::R21),
            _ => None,
        }
    }

    /// Whether what it is about stays out of the screened answer.
    ///
    /// A drift, a level, or an influential tester is no reason to leave out: a level cancels in the ratio, a drift has its
    /// allowance, and who moves an answer need not be wrong.
    pub fn leaves_out(&self) -> bool {
        use FlagKind::{Replicate, Spread, TesterApart, UnitSlip};
        let kind = matches!(self.kind, Replicate | UnitSlip | Spread | TesterApart);
        // Of two readings nobody can tell which is off; of two arms neither is of use without the other.
        let sure = self.level != FlagLevel::Run || self.or_fields.is_empty();
        self.severity == Severity::Outlier && kind && sure
    }
}
