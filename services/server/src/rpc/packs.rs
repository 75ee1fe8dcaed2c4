//! Pack models and pack specimens.

use benchring_api::convert::Revision;
use benchring_api::convert::mask::Update;
use benchring_api::convert::packs::{
    UpdatePackSpecimen, create_pack_model_from_wire, create_pack_specimen_from_wire,
    list_pack_models_from_wire, list_pack_specimens_from_wire, pack_model_from_wire, pack_model_to_wire,
    pack_specimen_to_wire, revised_pack_model, revised_pack_specimen, update_pack_model_from_wire,
    update_pack_specimen_from_wire,
};
use benchring_api::convert::requests::get_from_wire;
use benchring_api::v1;
use benchring_api::v1::pack_service_server::PackService;
use benchring_auth::{Action, Caller, Role};
use benchring_domain::filter::Value as Compared;
use benchring_domain::finding::Finding;
use benchring_domain::id::{PackModelId, PackSpecimenId};
use benchring_domain::pack::likeness::{duplicate_of, rated_key};
use benchring_domain::pack::{PackModel, PackSpecimen};
use benchring_store::{Once, PackModelRow, PackSpecimenQuery, PackSpecimenRow};
use tonic::{Request, Response, Status};

use super::paging::List as _;
use super::repeat::first_or;
use super::revising::{Revised, expected_etag};
use super::trials::tester_of;
use super::{Content, free, revision, writing};
use crate::app::App;
use crate::door::permit;
use crate::error::{Refusal, answer};

#[tonic::async_trait]
impl PackService for App {
    async fn create_pack_model(
        &self,
        request: Request<v1::CreatePackModelRequest>,
    ) -> Result<Response<v1::PackModel>, Status> {
        answer(async {
            let caller = permit(&request, Action::RegisterPackModel)?;
            let mut request = request.into_inner();
            let content = Content::of(&mut request);
            let (wanted, sent) = create_pack_model_from_wire(request).parts();
            let id = wanted.id.map_or_else(|| Self::new_id(PackModelId::parse), Ok)?;
            let (name, now) = (id.name(), self.now());
            let (model, findings) =
                sent.judge("pack_model", |draft| draft.check(id.clone(), &self.catalogue, now))?;
            if wanted.validate_only {
                free(self.store.pack_model_get(&id).await?.as_ref(), name)?;
                let findings = self.with_likeness(&model, findings).await?;
                return Ok(pack_model_to_wire(&model, &findings, &Revision::default()));
            }
            let act = self.act(&caller, Role::Tester, content.once(&caller, wanted.request_id))?;
            let row = self.store.pack_model_add(model, act).await;
            self.pack_shown(row.map_err(writing(&name, wanted.request_id))?).await
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
            let row = self.store.pack_model_get(&id).await?;
            self.pack_shown(row.ok_or_else(|| Refusal::not_found(id.name()))?).await
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
            let question = sent.question();
            let asked = list_pack_models_from_wire(sent).finish()?;
            let turn = self.turn(question, &asked.page)?;
            let after = turn.after(PackModelId::parse)?;
            let limit = turn.limit() as u64;
            let mut rows = self.store.pack_model_list(&asked.words, after.as_ref(), limit).await?;
            let next_page_token = turn.cut(&mut rows, |last| last.model.id.to_string());
            let pack_models = self.packs_shown(&rows).await?;
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
            let mut request = request.into_inner();
            let content = Content::of(&mut request);
            let update = update_pack_model_from_wire(request).finish()?;
            let (request_id, validate_only) = (update.request_id, update.validate_only);
            let id = update.id.clone().ok_or_else(|| Refusal::internal("an update without a name"))?;
            let name = id.name();
            let current = self.store.pack_model_get(&id).await?;
            let current = current.ok_or_else(|| Refusal::not_found(name.clone()))?;
            let (once, etag) = (content.once(&caller, request_id), current.etag());
            let revised = self.pack_revised(&caller, id, update, &current).await;
            let Revised { role, expected, model, findings } = match revised {
                Ok(revised) => revised,
                Err(refusal) => {
                    let first = async |once: &Once| self.store.pack_model_answered(once).await;
                    return self.pack_shown(first_or(refusal, once.as_ref(), first).await?).await;
                }
            };
            if validate_only {
                return Ok(pack_model_to_wire(&model, &findings, &revision(&current, &etag)));
            }
            let act = self.act(&caller, role, once)?;
            let row = self.store.pack_model_update(model, Some(expected), act).await;
            let row = row.map_err(writing(&name, request_id))?;
            self.pack_shown(row.ok_or_else(|| Refusal::not_found(name))?).await
        })
        .await
    }

    async fn confirm_pack_model_finding(
        &self,
        request: Request<v1::ConfirmPackModelFindingRequest>,
    ) -> Result<Response<v1::PackModel>, Status> {
        answer(async {
            let caller = permit(&request, Action::ConfirmPackModelFinding)?;
            self.pack_confirmed(&caller, request.into_inner()).await
        })
        .await
    }

    async fn create_pack_specimen(
        &self,
        request: Request<v1::CreatePackSpecimenRequest>,
    ) -> Result<Response<v1::PackSpecimen>, Status> {
        answer(async {
            let caller = permit(&request, Action::RegisterPackSpecimen)?;
            let mut request = request.into_inner();
            let content = Content::of(&mut request);
            let (wanted, sent) = create_pack_specimen_from_wire(request).parts();
            let id = wanted.id.map_or_else(|| Self::new_id(PackSpecimenId::parse), Ok)?;
            let (name, now, tester) = (id.name(), self.now(), tester_of(&caller)?);
            let model = match sent.draft.referenced() {
                Some(model) => self.store.pack_model_get(&model).await?.map(|row| row.model),
                None => None,
            };
            let specimen =
                sent.judge("pack_specimen", |draft| draft.check(id.clone(), tester, model.as_ref(), now))?;
            if wanted.validate_only {
                free(self.store.pack_specimen_get(&id).await?.as_ref(), name)?;
                let revision = Revision { create_time: now, update_time: now, ..Revision::default() };
                return Ok(pack_specimen_to_wire(&specimen, &revision));
            }
            let act = self.act(&caller, Role::Tester, content.once(&caller, wanted.request_id))?;
            let row = self.store.pack_specimen_add(specimen, act).await;
            Ok(specimen_row_to_wire(&row.map_err(writing(&name, wanted.request_id))?))
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
            let row = self.store.pack_specimen_get(&id).await?;
            Ok(specimen_row_to_wire(&row.ok_or_else(|| Refusal::not_found(id.name()))?))
        })
        .await
    }

    async fn update_pack_specimen(
        &self,
        request: Request<v1::UpdatePackSpecimenRequest>,
    ) -> Result<Response<v1::PackSpecimen>, Status> {
        answer(async {
            let caller = permit(&request, Action::RevisePackSpecimen)?;
            let mut request = request.into_inner();
            let content = Content::of(&mut request);
            let update = update_pack_specimen_from_wire(request).finish()?;
            let (request_id, validate_only) = (update.request_id, update.validate_only);
            let id = update.id.clone().ok_or_else(|| Refusal::internal("an update without a name"))?;
            let name = id.name();
            let current = self.store.pack_specimen_get(&id).await?;
            let current = current.ok_or_else(|| Refusal::not_found(name.clone()))?;
            let once = content.once(&caller, request_id);
            let Revised { role, expected, model: specimen, .. } =
                match self.specimen_revised(&caller, update, &current).await {
                    Ok(revised) => revised,
                    Err(refusal) => {
                        let first = async |once: &Once| self.store.pack_specimen_answered(once).await;
                        return Ok(specimen_row_to_wire(&first_or(refusal, once.as_ref(), first).await?));
                    }
                };
            if validate_only {
                return Ok(specimen_row_to_wire(&PackSpecimenRow { specimen, ..current }));
            }
            let act = self.act(&caller, role, once)?;
            let row = self.store.pack_specimen_update(specimen, Some(expected), act).await;
            let row = row.map_err(writing(&name, request_id))?;
            Ok(specimen_row_to_wire(&row.ok_or_else(|| Refusal::not_found(name))?))
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
            let question = sent.question();
            let asked = list_pack_specimens_from_wire(sent).finish()?;
            let turn = self.turn(question, &asked.page)?;
            let mut rows = self
                .store
                .pack_specimen_list(&PackSpecimenQuery {
                    pack_model: asked.pack_model,
                    tester: asked.tester,
                    after: turn.after(PackSpecimenId::parse)?,
                    limit: turn.limit() as u64,
                })
                .await?;
            let next_page_token = turn.cut(&mut rows, |last| last.specimen.id.to_string());
            let pack_specimens = rows.iter().map(specimen_row_to_wire).collect();
            Ok(v1::ListPackSpecimensResponse { pack_specimens, next_page_token })
        })
        .await
    }
}

impl App {
    /// The next revision of a pack model, by a caller who may make it.
    async fn pack_revised(
        &self,
        caller: &Caller,
        id: PackModelId,
        update: Update<PackModelId, v1::PackModel>,
        current: &PackModelRow,
    ) -> Result<Revised<PackModel>, Refusal> {
        let name = id.name();
        let role = self.revising_role(caller, Compared::PackModel(id.clone()), &name).await?;
        let expected = expected_etag(&update.etag, &current.etag(), update.validate_only, &name)?;
        let (model, findings) = revised_pack_model(update, &current.model)
            .judge("pack_model", |draft| draft.check(id, &self.catalogue, self.now()))?;
        Ok(Revised { role, expected, model, findings })
    }

    /// The next revision of a specimen, by a caller who may make it.
    async fn specimen_revised(
        &self,
        caller: &Caller,
        update: UpdatePackSpecimen,
        current: &PackSpecimenRow,
    ) -> Result<Revised<PackSpecimen>, Refusal> {
        let specimen = &current.specimen;
        let name = specimen.id.name();
        let used = self.rests_on(Compared::PackSpecimen(specimen.id.clone())).await?;
        let role = Self::specimen_role(caller, &specimen.tester, used, &name)?;
        let expected = expected_etag(&update.etag, &current.etag(), update.validate_only, &name)?;
        let sent = revised_pack_specimen(update, specimen);
        let model = match sent.draft.referenced() {
            Some(model) => self.store.pack_model_get(&model).await?.map(|row| row.model),
            None => None,
        };
        let model = sent.judge("pack_specimen", |draft| {
            draft.check_revision(specimen, used, model.as_ref(), self.now())
        })?;
        Ok(Revised { role, expected, model, findings: Vec::new() })
    }

    pub(super) async fn pack_shown(&self, row: PackModelRow) -> Result<v1::PackModel, Refusal> {
        let mut shown = self.packs_shown(std::slice::from_ref(&row)).await?;
        shown.pop().ok_or_else(|| Refusal::internal("a pack model was not shown"))
    }

    async fn packs_shown(&self, rows: &[PackModelRow]) -> Result<Vec<v1::PackModel>, Refusal> {
        let findings = self.pack_findings(rows).await?;
        let shown = |(row, findings): (&PackModelRow, Vec<Finding>)| {
            pack_model_to_wire(&row.model, &findings, &revision(row, &row.etag()))
        };
        Ok(rows.iter().zip(findings).map(shown).collect())
    }

    /// What the check notices in models that are kept. Findings follow from the descriptors, its own and those of
    /// the models that stood there before, so they are found anew rather than kept.
    pub(super) async fn pack_findings(&self, rows: &[PackModelRow]) -> Result<Vec<Vec<Finding>>, Refusal> {
        let alike = self.store.pack_models_rated_alike(rows.iter().map(|row| &row.model)).await?;
        let found = |row: &PackModelRow| {
            let again = pack_model_from_wire(pack_model_to_wire(&row.model, &[], &Revision::default()));
            let checked = again.draft.check(row.model.id.clone(), &self.catalogue, self.now());
            let mut findings = checked.map(|(_, findings)| findings).unwrap_or_default();
            let others = alike.get(&rated_key(&row.model)).map(Vec::as_slice).unwrap_or_default();
            let place = |row: &PackModelRow| (row.create_time, row.model.id.clone());
            let before = others.iter().filter(|other| place(other) < place(row));
            findings
                .extend(duplicate_of(&row.model, before.map(|other| &other.model)).map(|(found, _)| found));
            findings
        };
        Ok(rows.iter().map(found).collect())
    }

    /// The findings of a model that is not there yet, with that about a likely duplicate.
    async fn with_likeness(
        &self,
        model: &PackModel,
        mut findings: Vec<Finding>,
    ) -> Result<Vec<Finding>, Refusal> {
        let alike = self.store.pack_models_rated_alike([model]).await?;
        let others = alike.values().flatten().map(|row| &row.model);
        findings.extend(duplicate_of(model, others).map(|(found, _)| found));
        Ok(findings)
    }
}

fn specimen_row_to_wire(row: &PackSpecimenRow) -> v1::PackSpecimen {
    let etag = row.etag();
    let revision = Revision {
        number: row.revision.unsigned_abs(),
        create_time: row.create_time,
        update_time: row.update_time,
        etag: &etag,
        confirmations: &[],
    };
    pack_specimen_to_wire(&row.specimen, &revision)
}
