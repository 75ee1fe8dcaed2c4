//! Answers to findings: who may give them, and which questions are open.

use benchring_api::convert::confirm::{
    Confirm, confirm_finding_from_wire, confirm_pack_model_finding_from_wire, unknown_finding,
};
use benchring_api::convert::trials::View;
use benchring_api::v1;
use benchring_auth::{Caller, Role};
use benchring_domain::confirmation::{Confirmation, NotOpen, open_questions, question};
use benchring_domain::filter::Value as Compared;
use benchring_domain::finding::Finding;
use benchring_domain::id::PackModelId;
use benchring_store::{NewConfirmation, Once, PackModelRow};

use super::repeat::first_or;
use super::{Content, writing};
use crate::app::{App, visibility};
use crate::error::Refusal;
use crate::reason::Reason;

/// The question that `asked` answers.
fn asked_about<I>(
    asked: &Confirm<I>,
    findings: &[Finding],
    confirmations: &[Confirmation],
) -> Result<Finding, Refusal> {
    let Confirm { kind, field, .. } = asked;
    question(findings, confirmations, kind, field).cloned().map_err(|why| match why {
        NotOpen::Unknown => unknown_finding(kind, field, open_questions(findings, confirmations)).into(),
        NotOpen::AsksNothing | NotOpen::Answered => Refusal::because(Reason::FindingNotOpen, why.to_string()),
    })
}

impl App {
    /// Confirms a finding of a trial.
    ///
    /// # Errors
    /// The trial cannot be seen or is another tester's, the finding is no open question, or the trial changed.
    pub(super) async fn trial_confirmed(
        &self,
        caller: &Caller,
        mut request: v1::ConfirmFindingRequest,
    ) -> Result<v1::Trial, Refusal> {
        let content = Content::of(&mut request);
        let asked = confirm_finding_from_wire(request)?;
        let (name, eyes) = (asked.id.name(), visibility(caller));
        let found = self.store.trial_get(&asked.id, &eyes).await?;
        let trial = found.ok_or_else(|| Refusal::not_found(name.clone()))?;
        if !caller.is(&trial.tester) {
            let why = format!("only the tester of `{name}` can say whether what was found in it is right");
            return Err(Refusal::because(Reason::Precondition, why));
        }
        let once = content.once(caller, asked.request_id);
        let finding = match asked_about(&asked, &trial.findings, &trial.confirmations) {
            Ok(finding) => finding,
            Err(refusal) => {
                let first = async |once: &Once| self.store.trial_answered(once).await;
                let row = first_or(refusal, once.as_ref(), first).await?;
                return self.trial_shown(&row, View::Full, &eyes).await;
            }
        };
        let act = self.act(caller, Role::Tester, once)?;
        let Confirm { id, note, etag: expected, request_id, .. } = asked;
        let kept = self.store.trial_confirm(&id, NewConfirmation { finding, note, expected }, act).await;
        let row = kept.map_err(writing(&name, request_id))?.ok_or_else(|| Refusal::not_found(name))?;
        self.trial_shown(&row, View::Full, &eyes).await
    }

    /// Confirms a finding of a pack model.
    ///
    /// # Errors
    /// There is no such model, the caller is not the one to ask, the finding is no open question, or the model
    /// changed.
    pub(super) async fn pack_confirmed(
        &self,
        caller: &Caller,
        mut request: v1::ConfirmPackModelFindingRequest,
    ) -> Result<v1::PackModel, Refusal> {
        let content = Content::of(&mut request);
        let asked = confirm_pack_model_finding_from_wire(request)?;
        let name = asked.id.name();
        let found = self.store.pack_model_get(&asked.id).await?;
        let model = found.ok_or_else(|| Refusal::not_found(name.clone()))?;
        let once = content.once(caller, asked.request_id);
        let findings = self.pack_findings(std::slice::from_ref(&model)).await?.pop().unwrap_or_default();
        let judged = match self.pack_confirming_role(caller, &asked.id).await {
            Ok(role) => asked_about(&asked, &findings, &model.confirmations).map(|finding| (role, finding)),
            Err(refusal) => Err(refusal),
        };
        let (role, finding) = match judged {
            Ok(judged) => judged,
            Err(refusal) => {
                let first = async |once: &Once| self.store.pack_model_answered(once).await;
                return self.pack_shown(first_or(refusal, once.as_ref(), first).await?).await;
            }
        };
        let act = self.act(caller, role, once)?;
        let Confirm { id, note, etag: expected, request_id, .. } = asked;
        let kept = self.store.pack_model_confirm(&id, NewConfirmation { finding, note, expected }, act).await;
        let row: Option<PackModelRow> = kept.map_err(writing(&name, request_id))?;
        self.pack_shown(row.ok_or_else(|| Refusal::not_found(name))?).await
    }

    /// The role in which a caller answers for a pack model: whoever registered it, until trials rest on it; then a
    /// moderator.
    async fn pack_confirming_role(&self, caller: &Caller, id: &PackModelId) -> Result<Role, Refusal> {
        let registered = self.store.pack_model_tester(id).await?;
        let own = registered.is_some_and(|tester| caller.is(&tester));
        let used = self.rests_on(Compared::PackModel(id.clone())).await?;
        let why = match (used, own) {
            (true, _) if caller.has(Role::Moderator) => return Ok(Role::Moderator),
            (false, true) => return Ok(Role::Tester),
            (true, _) => "trials rest on it, so a moderator has to say: tell one",
            (false, false) => "no trial rests on it, so whoever registered it is asked",
        };
        Err(Refusal::because(Reason::Precondition, format!("`{}`: {why}", id.name())))
    }
}
