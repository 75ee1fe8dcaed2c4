//! Tool models.

use benchring_api::convert::Revision;
use benchring_api::convert::mask::Update;
use benchring_api::convert::requests::get_from_wire;
use benchring_api::convert::tools::{
    ListToolModels, create_tool_model_from_wire, list_tool_models_from_wire, revised_tool_model,
    tool_model_from_wire, tool_model_to_wire, update_tool_model_from_wire,
};
use benchring_api::v1;
use benchring_api::v1::tool_service_server::ToolService;
use benchring_auth::{Action, Caller, Role};
use benchring_domain::filter::Value as Compared;
use benchring_domain::finding::Finding;
use benchring_domain::id::{ToolModelId, shortened};
use benchring_domain::reason::FIXED_BY_USE;
use benchring_domain::tool::ToolModel;
use benchring_domain::violation::Violations;
use benchring_store::{Once, ToolModelRow};
use tonic::{Request, Response, Status};

use super::paging::List as _;
use super::repeat::first_or;
use super::revising::{Revised, expected_etag};
use super::{Content, free, revision, writing};
use crate::app::App;
use crate::door::permit;
use crate::error::{Refusal, answer};

/// Models read at once while a list by type fills its page.
const PART: u64 = 200;

#[tonic::async_trait]
impl ToolService for App {
    async fn create_tool_model(
        &self,
        request: Request<v1::CreateToolModelRequest>,
    ) -> Result<Response<v1::ToolModel>, Status> {
        answer(async {
            let caller = permit(&request, Action::RegisterToolModel)?;
            let mut request = request.into_inner();
            let content = Content::of(&mut request);
            let (wanted, sent) = create_tool_model_from_wire(request).parts();
            let id = wanted.id.map_or_else(|| Self::new_id(ToolModelId::parse), Ok)?;
            let name = id.name();
            let (model, findings) =
                sent.judge("tool_model", |draft| draft.check(id.clone(), &self.catalogue))?;
            if wanted.validate_only {
                free(self.store.tool_model_get(&id).await?.as_ref(), name)?;
                return Ok(tool_model_to_wire(&model, &findings, &Revision::default()));
            }
            let act = self.act(&caller, Role::Tester, content.once(&caller, wanted.request_id))?;
            let row = self.store.tool_model_add(model, act).await;
            Ok(self.tool_row_to_wire(&row.map_err(writing(&name, wanted.request_id))?))
        })
        .await
    }

    async fn get_tool_model(
        &self,
        request: Request<v1::GetToolModelRequest>,
    ) -> Result<Response<v1::ToolModel>, Status> {
        answer(async {
            permit(&request, Action::ReadTools)?;
            let id = get_from_wire(&request.get_ref().name, ToolModelId::from_name)?;
            let row = self.store.tool_model_get(&id).await?;
            Ok(self.tool_row_to_wire(&row.ok_or_else(|| Refusal::not_found(id.name()))?))
        })
        .await
    }

    async fn list_tool_models(
        &self,
        request: Request<v1::ListToolModelsRequest>,
    ) -> Result<Response<v1::ListToolModelsResponse>, Status> {
        answer(async {
            permit(&request, Action::ReadTools)?;
            let sent = request.into_inner();
            let question = sent.question();
            let asked = list_tool_models_from_wire(sent).judge("", |asked| self.known_type(asked))?;
            let turn = self.turn(question, &asked.page)?;
            let after = turn.after(ToolModelId::parse)?;
            let mut rows = self.tools_listed(&asked, after, turn.limit()).await?;
            let next_page_token = turn.cut(&mut rows, |last| last.model.id.to_string());
            let tool_models = rows.iter().map(|row| self.tool_row_to_wire(row)).collect();
            Ok(v1::ListToolModelsResponse { tool_models, next_page_token })
        })
        .await
    }

    async fn update_tool_model(
        &self,
        request: Request<v1::UpdateToolModelRequest>,
    ) -> Result<Response<v1::ToolModel>, Status> {
        answer(async {
            let caller = permit(&request, Action::ReviseToolModel)?;
            let mut request = request.into_inner();
            let content = Content::of(&mut request);
            let update = update_tool_model_from_wire(request).finish()?;
            let (request_id, validate_only) = (update.request_id, update.validate_only);
            let id = update.id.clone().ok_or_else(|| Refusal::internal("an update without a name"))?;
            let name = id.name();
            let current = self.store.tool_model_get(&id).await?;
            let current = current.ok_or_else(|| Refusal::not_found(name.clone()))?;
            let (once, etag) = (content.once(&caller, request_id), current.etag());
            let revised = self.tool_revised(&caller, id, update, &current).await;
            let Revised { role, expected, model, findings } = match revised {
                Ok(revised) => revised,
                Err(refusal) => {
                    let first = async |once: &Once| self.store.tool_model_answered(once).await;
                    return Ok(self.tool_row_to_wire(&first_or(refusal, once.as_ref(), first).await?));
                }
            };
            if validate_only {
                return Ok(tool_model_to_wire(&model, &findings, &revision(&current, &etag)));
            }
            let act = self.act(&caller, role, once)?;
            let row = self.store.tool_model_update(model, Some(expected), act).await;
            let row = row.map_err(writing(&name, request_id))?;
            Ok(self.tool_row_to_wire(&row.ok_or_else(|| Refusal::not_found(name))?))
        })
        .await
    }
}

impl App {
    /// The next revision of a tool model, by a caller who may make it.
    async fn tool_revised(
        &self,
        caller: &Caller,
        id: ToolModelId,
        update: Update<ToolModelId, v1::ToolModel>,
        current: &ToolModelRow,
    ) -> Result<Revised<ToolModel>, Refusal> {
        let name = id.name();
        let role = self.revising_role(caller, Compared::ToolModel(id.clone()), &name).await?;
        let expected = expected_etag(&update.etag, &current.etag(), update.validate_only, &name)?;
        let uses = Compared::ToolModel(id.clone());
        let (model, findings) = revised_tool_model(update, &current.model)
            .judge("tool_model", |draft| draft.check(id, &self.catalogue))?;
        let (kept, sent) = (&current.model.tool_type, &model.tool_type);
        if kept != sent && self.rests_on(uses).await? {
            let message = format!(
                "trials of `{name}` are pooled as trials of the tool type `{kept}`: leave the type, or register the `{sent}` as a model of its own and have its trials sent in again"
            );
            return Err(Violations::one("tool_model.tool_type", FIXED_BY_USE, message).into());
        }
        Ok(Revised { role, expected, model, findings })
    }

    fn known_type(&self, asked: ListToolModels) -> Result<ListToolModels, Violations> {
        let choices = self.catalogue.choices("tool_type");
        match &asked.tool_type {
            Some(wanted) if !choices.iter().any(|choice| choice.id == *wanted) => {
                let known: Vec<_> = choices.iter().map(|choice| choice.id.as_str()).collect();
                let message = format!("`{}` is none of {}", shortened(wanted), known.join(", "));
                Err(Violations::one("tool_type", "UNKNOWN_CHOICE", message))
            }
            _ => Ok(asked),
        }
    }

    /// At most `limit` tool models behind `after`, of the type asked for. The store does not know types:
    /// it is read in larger parts until the page is full.
    async fn tools_listed(
        &self,
        asked: &ListToolModels,
        mut after: Option<ToolModelId>,
        limit: usize,
    ) -> Result<Vec<ToolModelRow>, Refusal> {
        let Some(tool_type) = &asked.tool_type else {
            return Ok(self.store.tool_model_list(&asked.words, after.as_ref(), limit as u64).await?);
        };
        let mut found = Vec::new();
        loop {
            let part = self.store.tool_model_list(&asked.words, after.as_ref(), PART).await?;
            let last = (part.len() as u64) < PART;
            after = part.last().map(|row| row.model.id.clone());
            found.extend(part.into_iter().filter(|row| row.model.tool_type == *tool_type));
            if last || found.len() >= limit {
                found.truncate(limit);
                return Ok(found);
            }
        }
    }

    fn tool_row_to_wire(&self, row: &ToolModelRow) -> v1::ToolModel {
        tool_model_to_wire(&row.model, &self.tool_findings(&row.model), &revision(row, &row.etag()))
    }

    /// What the check notices in a model that is kept. Findings follow from the descriptors, so they are
    /// found anew rather than kept.
    fn tool_findings(&self, model: &ToolModel) -> Vec<Finding> {
        let again = tool_model_from_wire(tool_model_to_wire(model, &[], &Revision::default()));
        let checked = again.draft.check(model.id.clone(), &self.catalogue);
        checked.map(|(_, findings)| findings).unwrap_or_default()
    }
}
