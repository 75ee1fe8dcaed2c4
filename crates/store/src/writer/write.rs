//! What can be written, as data: each write is planned beside others and committed with them.

use benchring_domain::acting::Actor;
use benchring_domain::clock::Timestamp;
use benchring_domain::finding::{Finding, FindingKind};
use benchring_domain::id::{PackModelId, PackSpecimenId, TesterId, TrialId};
use benchring_domain::standing::{Decision, Standing};
use tokio::sync::oneshot;

use crate::StoreError;
use crate::models::Kind;

/// A request that must have its effect once, however often it comes.
///
/// Only what was done is remembered. What is refused, before the store or in it, is judged again when it comes
/// again. What was done is answered as it was then, also where it would be refused now.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Once {
    /// Whose request it is; two principals never see each other's answers.
    pub principal: String,
    /// The rpc.
    pub rpc: String,
    /// The id that the client made.
    pub request_id: String,
    /// Hash of the content, so that another content under the same id is noticed.
    pub payload_hash: String,
}

/// Who writes, when, and under which request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Act {
    /// Who.
    pub actor: Actor,
    /// When, by the server's clock; kept to the microsecond.
    pub time: Timestamp,
    /// The request; `None` where its client gave no id.
    pub once: Option<Once>,
}

/// One state of one resource: what a request was answered with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Reference {
    pub(crate) id: String,
    pub(crate) revision: i32,
    pub(crate) decisions: i32,
    pub(crate) confirmations: i32,
    /// For trials.
    pub(crate) standing: Option<Standing>,
    pub(crate) time: i64,
}

/// What came of a write.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Outcome {
    pub(crate) reference: Reference,
    /// It had been done before; nothing was written now.
    pub(crate) repeated: bool,
    /// For a trial whose readings are those of another: the finding, and the other's id.
    pub(crate) duplicate: Option<(Finding, String)>,
}

/// The answer to a write; `None` where what it is about does not exist.
pub(crate) type Answer = Result<Option<Outcome>, StoreError>;

/// One write on its way.
#[derive(Debug)]
pub(crate) struct Job {
    pub(crate) write: Write,
    pub(crate) act: Act,
    pub(crate) reply: oneshot::Sender<Answer>,
}

/// What is to be written.
#[derive(Debug)]
pub(crate) enum Write {
    ModelAdd(ModelWrite),
    /// With the etag that the model must have, if any.
    ModelUpdate(ModelWrite, Option<String>),
    SpecimenAdd(SpecimenWrite),
    /// With the etag that the specimen must have, if any.
    SpecimenUpdate(SpecimenWrite, Option<String>),
    TrialAdd(Box<TrialWrite>),
    TrialDecide(DecideWrite),
    Confirm(ConfirmWrite),
    /// Forgets requests older than so many microseconds since 1970.
    RequestsForget(i64),
}

/// A pack or tool model.
#[derive(Debug)]
pub(crate) struct ModelWrite {
    pub(crate) kind: Kind,
    pub(crate) id: String,
    pub(crate) search: String,
    /// What models with the same rated values share.
    pub(crate) rated: Option<String>,
    pub(crate) document: String,
}

/// A pack specimen.
#[derive(Debug)]
pub(crate) struct SpecimenWrite {
    pub(crate) id: PackSpecimenId,
    pub(crate) pack_model: PackModelId,
    pub(crate) tester: TesterId,
    pub(crate) acquired: &'static str,
    pub(crate) document: String,
}

/// A trial; the parts as the tables want them.
#[derive(Debug)]
pub(crate) struct TrialWrite {
    pub(crate) id: TrialId,
    pub(crate) tester: TesterId,
    pub(crate) method: String,
    pub(crate) method_version: i32,
    pub(crate) performed_time: i64,
    pub(crate) tool_model: Option<String>,
    pub(crate) demand_class: Option<String>,
    pub(crate) interest: &'static str,
    pub(crate) licence: &'static str,
    pub(crate) pool_keys: String,
    /// Pack model and specimen of each arm.
    pub(crate) arms: Vec<(String, String)>,
    /// Kind and document of each finding.
    pub(crate) findings: Vec<(&'static str, String)>,
    /// What its readings are recognised by; `None` with too few of them.
    pub(crate) readings: Option<TrialReadings>,
    pub(crate) summary: String,
    pub(crate) document: String,
}

/// What a trial is recognised by, and the finding where another one has the same.
#[derive(Debug)]
pub(crate) struct TrialReadings {
    pub(crate) digest: String,
    pub(crate) finding: Finding,
    pub(crate) document: String,
}

/// A decision about a trial.
#[derive(Debug)]
pub(crate) struct DecideWrite {
    pub(crate) id: TrialId,
    pub(crate) expected: String,
    pub(crate) decision: Decision,
    pub(crate) reason: String,
}

/// What an answer is about.
#[derive(Debug)]
pub(crate) enum Confirmed {
    Trial(TrialId),
    PackModel(PackModelId),
}

/// An answer to a finding.
#[derive(Debug)]
pub(crate) struct ConfirmWrite {
    pub(crate) of: Confirmed,
    pub(crate) expected: String,
    pub(crate) kind: FindingKind,
    pub(crate) field: String,
    pub(crate) message: String,
    pub(crate) note: String,
}

impl Write {
    /// About how many bytes it adds to a transaction.
    pub(crate) fn weight(&self) -> usize {
        match self {
            Self::ModelAdd(model) | Self::ModelUpdate(model, _) => model.document.len(),
            Self::SpecimenAdd(specimen) | Self::SpecimenUpdate(specimen, _) => specimen.document.len(),
            Self::TrialAdd(trial) => trial.document.len() + trial.summary.len(),
            Self::TrialDecide(decide) => decide.reason.len(),
            Self::Confirm(confirm) => confirm.message.len() + confirm.note.len(),
            Self::RequestsForget(_) => 0,
        }
    }
}
