//! Tool models.

use benchring_api::convert::Revision;
use benchring_api::convert::requests::{get_from_wire, page_from_wire};
use benchring_api::convert::tools::{
    create_tool_model_from_wire, revised_tool_model, tool_model_from_wire, tool_model_to_wire,
    update_tool_model_from_wire,
};
use benchring_api::v1;
use benchring_api::v1::tool_service_server::ToolService;
use benchring_auth::{Action, Role};
use benchring_domain::filter::{Comparison, Filter, Operator, Value};
use benchring_domain::finding::Finding;
use benchring_domain::id::ToolModelId;
use benchring_domain::tool::ToolModel;
use benchring_domain::violation::Violations;
use benchring_store::{ToolModelRow, TrialQuery, Visibility};
use tonic::{Request, Response, Status};

use super::packs::{acting_role, query_words};
use super::refused;
use crate::app::App;
use crate::door::permit;
use crate::error::{Refusal, answer};

const CREATE: &str = "benchring.v1.ToolService/CreateToolModel";
const UPDATE: &str = "benchring.v1.ToolService/UpdateToolModel";
const LIST: &str = "benchring.v1.ToolService/ListToolModels";
/// Models read at once while a list by type fills its page.
const CHUNK: u64 = 200;

#[tonic::async_trait]
impl ToolService for App {
    async fn create_tool_model(
        &self,
        request: Request<v1::CreateToolModelRequest>,
    ) -> Result<Response<v1::ToolModel>, Status> {
        answer(async {
            let caller = permit(&request, Action::RegisterToolModel)?;
            let request = request.into_inner();
            let payload = v1::CreateToolModelRequest { request_id: String::new(), ..request.clone() };
            let sent = create_tool_model_from_wire(request);
            let (request_id, validate_only) = (sent.draft.request_id, sent.draft.validate_only);
            let id = match &sent.draft.id {
                Some(id) => id.clone(),
                None => ToolModelId::parse(&Self::new_id()).map_err(Refusal::internal)?,
            };
            let name = id.name();
            let (model, findings) =
                sent.judge("tool_model", |create| create.draft.check(id.clone(), &self.catalogue))?;
            if validate_only {
                let taken = self.store.tool_model_get(&id).await.map_err(|e| refused(e, &name, None))?;
                if taken.is_some() {
                    return Err(Refusal::IdTaken { name });
                }
                return Ok(tool_model_to_wire(&model, &findings, &Revision::default()));
            }
            let act = self.act(&caller, Role::Tester, CREATE, request_id, &payload)?;
            let row = self.store.tool_model_add(model, act).await;
            Ok(self.tool_row_to_wire(&row.map_err(|e| refused(e, &name, request_id))?))
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
            let row = self.store.tool_model_get(&id).await.map_err(|e| refused(e, "", None))?;
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
            let question =
                v1::ListToolModelsRequest { page_size: 0, page_token: String::new(), ..sent.clone() };
            let v1::ListToolModelsRequest { page_size, page_token, query, tool_type } = sent;
            let mut broken = Violations::default();
            let page = page_from_wire(page_size, page_token, &mut broken);
            let words = query_words(&query, &mut broken);
            self.check_tool_type(&tool_type, &mut broken);
            broken.finish(())?;
            let place = self.page_key.open(LIST, &question, &page.token)?;
            let after = place.map(|id| ToolModelId::parse(&id).map_err(Refusal::internal)).transpose()?;
            let size = page.size as usize;
            let mut rows = self.tools_by_type(&words, after, &tool_type, size + 1).await?;
            let more = rows.len() > size;
            rows.truncate(size);
            let next_page_token = match rows.last() {
                Some(last) if more => self.page_key.seal(LIST, &question, last.model.id.as_str()),
                _ => String::new(),
            };
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
            let request = request.into_inner();
            let payload = v1::UpdateToolModelRequest { request_id: String::new(), ..request.clone() };
            let update = update_tool_model_from_wire(request).finish()?;
            let (request_id, validate_only) = (update.request_id, update.validate_only);
            let id = update.id.clone().ok_or_else(|| Refusal::internal("an update without a name"))?;
            let name = id.name();
            let current = self.store.tool_model_get(&id).await.map_err(|e| refused(e, &name, None))?;
            let current = current.ok_or_else(|| Refusal::not_found(name.clone()))?;
            let mut used = TrialQuery::new(Visibility::All, 1);
            used.filter = Some(Filter::Is(Comparison {
                operator: Operator::Equal,
                value: Value::ToolModel(id.clone()),
            }));
            let role = acting_role(&caller, !self.trials_with(&used).await?, &name)?;
            let expected = if update.etag.is_empty() { current.etag() } else { update.etag.clone() };
            let (model, findings) = revised_tool_model(update, &current.model)
                .judge("tool_model", |draft| draft.check(id, &self.catalogue))?;
            if validate_only {
                return if expected == current.etag() {
                    Ok(tool_model_to_wire(&model, &findings, &revision(&current, &current.etag())))
                } else {
                    Err(Refusal::EtagMismatch { name })
                };
            }
            let act = self.act(&caller, role, UPDATE, request_id, &payload)?;
            let row = self.store.tool_model_update(model, Some(expected), act).await;
            let row = row.map_err(|e| refused(e, &name, request_id))?;
            Ok(self.tool_row_to_wire(&row.ok_or_else(|| Refusal::not_found(name))?))
        })
        .await
    }
}

impl App {
    fn check_tool_type(&self, tool_type: &str, broken: &mut Violations) {
        let known = self.catalogue.choices("tool_type");
        if !tool_type.is_empty() && !known.iter().any(|choice| choice.id == tool_type) {
            let known: Vec<_> = known.iter().map(|choice| choice.id.as_str()).collect();
            let shown = benchring_domain::id::shortened(tool_type);
            broken.add("tool_type", "UNKNOWN_CHOICE", format!("`{shown}` is none of {}", known.join(", ")));
        }
    }

    /// Tool models of one type, or of all where none is asked for.
    async fn tools_by_type(
        &self,
        words: &[String],
        mut after: Option<ToolModelId>,
        tool_type: &str,
        wanted: usize,
    ) -> Result<Vec<ToolModelRow>, Refusal> {
        let mut found = Vec::new();
        loop {
            let chunk = self.store.tool_model_list(words, after.as_ref(), CHUNK).await;
            let chunk = chunk.map_err(|e| refused(e, "", None))?;
            let last = (chunk.len() as u64) < CHUNK;
            after = chunk.last().map(|row| row.model.id.clone());
            found.extend(
                chunk.into_iter().filter(|row| tool_type.is_empty() || row.model.tool_type == tool_type),
            );
            if last || found.len() >= wanted {
                found.truncate(wanted);
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

fn revision<'a>(row: &ToolModelRow, etag: &'a str) -> Revision<'a> {
    Revision {
        number: row.revision.unsigned_abs(),
        create_time: row.create_time,
        update_time: row.update_time,
        etag,
    }
}
