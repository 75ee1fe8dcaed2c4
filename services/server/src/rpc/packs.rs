//! Pack models and pack specimens.

use benchring_api::convert::Revision;
use benchring_api::convert::packs::{
    create_pack_model_from_wire, create_pack_specimen_from_wire, pack_model_from_wire, pack_model_to_wire,
    pack_specimen_to_wire, revised_pack_model, update_pack_model_from_wire,
};
use benchring_api::convert::requests::{get_from_wire, optional_name_from_wire, page_from_wire};
use benchring_api::v1;
use benchring_api::v1::pack_service_server::PackService;
use benchring_auth::{Action, Caller, Role};
use benchring_domain::filter::{Comparison, Filter, Operator, Value};
use benchring_domain::finding::Finding;
use benchring_domain::id::{PackModelId, PackSpecimenId, TesterId};
use benchring_domain::pack::PackModel;
use benchring_domain::violation::Violations;
use benchring_store::{PackModelRow, PackSpecimenQuery, TrialQuery, Visibility};
use tonic::{Request, Response, Status};

use super::refused;
use crate::app::App;
use crate::door::permit;
use crate::error::{Refusal, answer};
use crate::reason::Reason;

const CREATE_MODEL: &str = "benchring.v1.PackService/CreatePackModel";
const UPDATE_MODEL: &str = "benchring.v1.PackService/UpdatePackModel";
const LIST_MODELS: &str = "benchring.v1.PackService/ListPackModels";
const CREATE_SPECIMEN: &str = "benchring.v1.PackService/CreatePackSpecimen";
const LIST_SPECIMENS: &str = "benchring.v1.PackService/ListPackSpecimens";
/// Longest search and most words of it.
const LONGEST_QUERY: usize = 200;
const MOST_WORDS: usize = 10;

#[tonic::async_trait]
impl PackService for App {
    async fn create_pack_model(
        &self,
        request: Request<v1::CreatePackModelRequest>,
    ) -> Result<Response<v1::PackModel>, Status> {
        answer(async {
            let caller = permit(&request, Action::RegisterPackModel)?;
            let request = request.into_inner();
            let payload = v1::CreatePackModelRequest { request_id: String::new(), ..request.clone() };
            let sent = create_pack_model_from_wire(request);
            let (request_id, validate_only) = (sent.draft.request_id, sent.draft.validate_only);
            let id = match &sent.draft.id {
                Some(id) => id.clone(),
                None => PackModelId::parse(&Self::new_id()).map_err(Refusal::internal)?,
            };
            let (name, now) = (id.name(), self.now());
            let (model, findings) =
                sent.judge("pack_model", |create| create.draft.check(id.clone(), &self.catalogue, now))?;
            if validate_only {
                let taken = self.store.pack_model_get(&id).await.map_err(|e| refused(e, &name, None))?;
                if taken.is_some() {
                    return Err(Refusal::IdTaken { name });
                }
                return Ok(pack_model_to_wire(&model, &findings, &Revision::default()));
            }
            let act = self.act(&caller, Role::Tester, CREATE_MODEL, request_id, &payload)?;
            let row = self.store.pack_model_add(model, act).await;
            Ok(self.pack_row_to_wire(&row.map_err(|e| refused(e, &name, request_id))?))
        })
        .await
    }

    async fn get_pack_model(
        &self,
        request: Request<v1::GetPackModelRequest>,
    ) -> Result<Response<v1::PackModel>, Status> {
        answer(async {
            permit(&request, Action::ReadPacks)?;
            let id = get_from_wire(&request.get_ref().name, PackModelId::from_name)?;
            let row = self.store.pack_model_get(&id).await.map_err(|e| refused(e, "", None))?;
            Ok(self.pack_row_to_wire(&row.ok_or_else(|| Refusal::not_found(id.name()))?))
        })
        .await
    }

    async fn list_pack_models(
        &self,
        request: Request<v1::ListPackModelsRequest>,
    ) -> Result<Response<v1::ListPackModelsResponse>, Status> {
        answer(async {
            permit(&request, Action::ReadPacks)?;
            let sent = request.into_inner();
            let question =
                v1::ListPackModelsRequest { page_size: 0, page_token: String::new(), ..sent.clone() };
            let v1::ListPackModelsRequest { page_size, page_token, query } = sent;
            let mut broken = Violations::default();
            let page = page_from_wire(page_size, page_token, &mut broken);
            let words = query_words(&query, &mut broken);
            broken.finish(())?;
            let place = self.page_key.open(LIST_MODELS, &question, &page.token)?;
            let after = place.map(|id| PackModelId::parse(&id).map_err(Refusal::internal)).transpose()?;
            let size = page.size as usize;
            let rows = self.store.pack_model_list(&words, after.as_ref(), u64::from(page.size) + 1).await;
            let mut rows = rows.map_err(|e| refused(e, "", None))?;
            let more = rows.len() > size;
            rows.truncate(size);
            let next_page_token = match rows.last() {
                Some(last) if more => self.page_key.seal(LIST_MODELS, &question, last.model.id.as_str()),
                _ => String::new(),
            };
            let pack_models = rows.iter().map(|row| self.pack_row_to_wire(row)).collect();
            Ok(v1::ListPackModelsResponse { pack_models, next_page_token })
        })
        .await
    }

    async fn update_pack_model(
        &self,
        request: Request<v1::UpdatePackModelRequest>,
    ) -> Result<Response<v1::PackModel>, Status> {
        answer(async {
            let caller = permit(&request, Action::RevisePackModel)?;
            let request = request.into_inner();
            let payload = v1::UpdatePackModelRequest { request_id: String::new(), ..request.clone() };
            let update = update_pack_model_from_wire(request).finish()?;
            let (request_id, validate_only) = (update.request_id, update.validate_only);
            let id = update.id.clone().ok_or_else(|| Refusal::internal("an update without a name"))?;
            let (name, now) = (id.name(), self.now());
            let current = self.store.pack_model_get(&id).await.map_err(|e| refused(e, &name, None))?;
            let current = current.ok_or_else(|| Refusal::not_found(name.clone()))?;
            let mut used = TrialQuery::new(Visibility::All, 1);
            used.filter = Some(Filter::Is(Comparison {
                operator: Operator::Equal,
                value: Value::PackModel(id.clone()),
            }));
            let role = acting_role(&caller, !self.trials_with(&used).await?, &name)?;
            let expected = if update.etag.is_empty() { current.etag() } else { update.etag.clone() };
            let (model, findings) = revised_pack_model(update, &current.model)
                .judge("pack_model", |draft| draft.check(id, &self.catalogue, now))?;
            if validate_only {
                return if expected == current.etag() {
                    Ok(pack_model_to_wire(&model, &findings, &revision(&current, &current.etag())))
                } else {
                    Err(Refusal::EtagMismatch { name })
                };
            }
            let act = self.act(&caller, role, UPDATE_MODEL, request_id, &payload)?;
            let row = self.store.pack_model_update(model, Some(expected), act).await;
            let row = row.map_err(|e| refused(e, &name, request_id))?;
            Ok(self.pack_row_to_wire(&row.ok_or_else(|| Refusal::not_found(name))?))
        })
        .await
    }

    async fn create_pack_specimen(
        &self,
        request: Request<v1::CreatePackSpecimenRequest>,
    ) -> Result<Response<v1::PackSpecimen>, Status> {
        answer(async {
            let caller = permit(&request, Action::RegisterPackSpecimen)?;
            let request = request.into_inner();
            let payload = v1::CreatePackSpecimenRequest { request_id: String::new(), ..request.clone() };
            let sent = create_pack_specimen_from_wire(request);
            let (request_id, validate_only) = (sent.draft.request_id, sent.draft.validate_only);
            let id = match &sent.draft.id {
                Some(id) => id.clone(),
                None => PackSpecimenId::parse(&Self::new_id()).map_err(Refusal::internal)?,
            };
            let (name, now) = (id.name(), self.now());
            let tester = caller.id().cloned();
            let tester = tester.ok_or_else(|| Refusal::internal("a tester without an id was let through"))?;
            let model = match sent.draft.draft.referenced() {
                Some(model) => {
                    self.store.pack_model_get(&model).await.map_err(|e| refused(e, &name, None))?
                }
                None => None,
            };
            let specimen = sent.judge("pack_specimen", |create| {
                create.draft.check(id.clone(), tester, model.as_ref().map(|row| &row.model), now)
            })?;
            if validate_only {
                let taken = self.store.pack_specimen_get(&id).await.map_err(|e| refused(e, &name, None))?;
                if taken.is_some() {
                    return Err(Refusal::IdTaken { name });
                }
                return Ok(pack_specimen_to_wire(&specimen, now, ""));
            }
            let act = self.act(&caller, Role::Tester, CREATE_SPECIMEN, request_id, &payload)?;
            let row = self.store.pack_specimen_add(specimen, act).await;
            let row = row.map_err(|e| refused(e, &name, request_id))?;
            Ok(pack_specimen_to_wire(&row.specimen, row.create_time, &row.etag()))
        })
        .await
    }

    async fn get_pack_specimen(
        &self,
        request: Request<v1::GetPackSpecimenRequest>,
    ) -> Result<Response<v1::PackSpecimen>, Status> {
        answer(async {
            permit(&request, Action::ReadPacks)?;
            let id = get_from_wire(&request.get_ref().name, PackSpecimenId::from_name)?;
            let row = self.store.pack_specimen_get(&id).await.map_err(|e| refused(e, "", None))?;
            let row = row.ok_or_else(|| Refusal::not_found(id.name()))?;
            Ok(pack_specimen_to_wire(&row.specimen, row.create_time, &row.etag()))
        })
        .await
    }

    async fn list_pack_specimens(
        &self,
        request: Request<v1::ListPackSpecimensRequest>,
    ) -> Result<Response<v1::ListPackSpecimensResponse>, Status> {
        answer(async {
            permit(&request, Action::ReadPacks)?;
            let sent = request.into_inner();
            let question =
                v1::ListPackSpecimensRequest { page_size: 0, page_token: String::new(), ..sent.clone() };
            let v1::ListPackSpecimensRequest { page_size, page_token, pack_model, tester } = sent;
            let mut broken = Violations::default();
            let page = page_from_wire(page_size, page_token, &mut broken);
            let mut query = PackSpecimenQuery {
                pack_model: optional_name_from_wire(
                    &pack_model,
                    "pack_model",
                    PackModelId::from_name,
                    &mut broken,
                ),
                tester: optional_name_from_wire(&tester, "tester", TesterId::from_name, &mut broken),
                after: None,
                limit: u64::from(page.size) + 1,
            };
            broken.finish(())?;
            let place = self.page_key.open(LIST_SPECIMENS, &question, &page.token)?;
            query.after =
                place.map(|id| PackSpecimenId::parse(&id).map_err(Refusal::internal)).transpose()?;
            let size = page.size as usize;
            let mut rows = self.store.pack_specimen_list(&query).await.map_err(|e| refused(e, "", None))?;
            let more = rows.len() > size;
            rows.truncate(size);
            let next_page_token = match rows.last() {
                Some(last) if more => {
                    self.page_key.seal(LIST_SPECIMENS, &question, last.specimen.id.as_str())
                }
                _ => String::new(),
            };
            let pack_specimens = rows
                .iter()
                .map(|row| pack_specimen_to_wire(&row.specimen, row.create_time, &row.etag()))
                .collect();
            Ok(v1::ListPackSpecimensResponse { pack_specimens, next_page_token })
        })
        .await
    }
}

impl App {
    /// Whether any trial passes the query.
    pub(super) async fn trials_with(&self, query: &TrialQuery) -> Result<bool, Refusal> {
        let found = self.store.trial_list(query).await.map_err(|e| refused(e, "", None))?;
        Ok(!found.is_empty())
    }

    fn pack_row_to_wire(&self, row: &PackModelRow) -> v1::PackModel {
        pack_model_to_wire(&row.model, &self.pack_findings(&row.model), &revision(row, &row.etag()))
    }

    /// What the check notices in a model that is kept. Findings follow from the descriptors, so they are
    /// found anew rather than kept.
    fn pack_findings(&self, model: &PackModel) -> Vec<Finding> {
        let again = pack_model_from_wire(pack_model_to_wire(model, &[], &Revision::default()));
        let checked = again.draft.check(model.id.clone(), &self.catalogue, self.now());
        checked.map(|(_, findings)| findings).unwrap_or_default()
    }
}

/// The role in which a caller revises a model: once trials rest on it, only a moderator may, because every
/// tester's answers change with it.
pub(super) fn acting_role(caller: &Caller, unused: bool, name: &str) -> Result<Role, Refusal> {
    match (caller.has(Role::Moderator), unused) {
        (true, _) => Ok(Role::Moderator),
        (false, true) => Ok(Role::Tester),
        (false, false) => Err(Refusal::because(
            Reason::RoleMissing,
            format!("trials rest on `{name}`, so a moderator has to revise it: tell one what is wrong"),
        )),
    }
}

/// The words of a search.
pub(super) fn query_words(query: &str, broken: &mut Violations) -> Vec<String> {
    let words: Vec<String> = query.split_whitespace().map(str::to_owned).collect();
    if query.chars().count() > LONGEST_QUERY || words.len() > MOST_WORDS {
        broken.add(
            "query",
            "TEXT_TOO_LONG",
            format!(
                "has {} characters and {} words: search with at most {LONGEST_QUERY} and {MOST_WORDS}",
                query.chars().count(),
                words.len()
            ),
        );
    }
    words
}

fn revision<'a>(row: &PackModelRow, etag: &'a str) -> Revision<'a> {
    Revision {
        number: row.revision.unsigned_abs(),
        create_time: row.create_time,
        update_time: row.update_time,
        etag,
    }
}
