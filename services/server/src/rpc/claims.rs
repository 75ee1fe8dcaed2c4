//! Claims of makers.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use benchring_api::convert::Revision;
use benchring_api::convert::claims::{
    JudgementTold, ListClaims, claim_to_wire, create_claim_from_wire, judge_claim_from_wire,
    judgement_to_wire, list_claims_from_wire,
};
use benchring_api::convert::requests::get_from_wire;
use benchring_api::v1;
use benchring_api::v1::claim_service_server::ClaimService;
use benchring_auth::{Action, Caller, Role};
use benchring_domain::audit::sha256_hex;
use benchring_domain::claim::history::{Moment, history, moments_for};
use benchring_domain::claim::{Claim, ClaimDraft, Judgement, ResponseEvidence, judge};
use benchring_domain::id::{ClaimId, PackModelId, TesterId, TrialId};
use benchring_domain::method::{Catalogue, Method};
use benchring_domain::pool::{ENGINE_VERSION, Evidence};
use benchring_domain::reason::UNKNOWN_PACK_MODEL;
use benchring_domain::violation::Violations;
use benchring_store::{ClaimQuery, ClaimRow, Visibility};
use tonic::{Request, Response, Status};

use super::paging::List as _;
use super::pools::{Capacity, measured_by};
use super::{Content, free, writing};
use crate::app::{App, visibility};
use crate::door::permit;
use crate::error::{Refusal, answer};
use crate::reason::Reason;

#[tonic::async_trait]
impl ClaimService for App {
    async fn create_claim(
        &self,
        request: Request<v1::CreateClaimRequest>,
    ) -> Result<Response<v1::Claim>, Status> {
        answer(async {
            let caller = permit(&request, Action::RecordClaim)?;
            let mut request = request.into_inner();
            let content = Content::of(&mut request);
            let (wanted, sent) = create_claim_from_wire(request).parts();
            let id = wanted.id.map_or_else(|| Self::new_id(ClaimId::parse), Ok)?;
            let name = id.name();
            let missing = self.packs_missing(&sent.draft).await?;
            let claim =
                sent.judge("claim", |draft| with(draft.check(id.clone(), &self.catalogue), missing))?;
            if wanted.validate_only {
                free(self.store.claim_get(&id).await?.as_ref(), name)?;
                return Ok(claim_to_wire(&claim, &Revision::default()));
            }
            let role = if caller.has(Role::Tester) { Role::Tester } else { Role::Moderator };
            let act = self.act(&caller, role, content.once(&caller, wanted.request_id))?;
            let row = self.store.claim_add(claim, act).await;
            Ok(shown(&row.map_err(writing(&name, wanted.request_id))?))
        })
        .await
    }

    async fn get_claim(&self, request: Request<v1::GetClaimRequest>) -> Result<Response<v1::Claim>, Status> {
        answer(async {
            permit(&request, Action::ReadClaims)?;
            let id = get_from_wire(&request.get_ref().name, ClaimId::from_name)?;
            Ok(shown(&self.claim(&id).await?))
        })
        .await
    }

    async fn list_claims(
        &self,
        request: Request<v1::ListClaimsRequest>,
    ) -> Result<Response<v1::ListClaimsResponse>, Status> {
        answer(async {
            permit(&request, Action::ReadClaims)?;
            let sent = request.into_inner();
            let question = sent.question();
            let ListClaims { page, words, pack, method, form } = list_claims_from_wire(sent).finish()?;
            let turn = self.turn(question, &page)?;
            let after = turn.after(ClaimId::parse)?;
            let query = ClaimQuery { words, pack, method, form, after };
            let mut rows = self.store.claim_list(&query, turn.limit()).await?;
            let next_page_token = turn.cut(&mut rows, |last| last.model.id.to_string());
            Ok(v1::ListClaimsResponse { claims: rows.iter().map(shown).collect(), next_page_token })
        })
        .await
    }

    async fn judge_claim(
        &self,
        request: Request<v1::JudgeClaimRequest>,
    ) -> Result<Response<v1::JudgeClaimResponse>, Status> {
        answer(async {
            let caller = permit(&request, Action::JudgeClaim)?;
            let asked = judge_claim_from_wire(request.into_inner()).finish()?;
            let id = asked.id.ok_or_else(|| Refusal::internal("a claim without a name"))?;
            let row = self.claim(&id).await?;
            let at = self.store.data_version_at(asked.data_version).await?;
            self.recorded_by(&id, at).await?;
            self.claim_judged(&caller, row, at, asked.holm).await
        })
        .await
    }
}

/// A claim on the wire.
fn shown(row: &ClaimRow) -> v1::Claim {
    let etag = row.etag();
    claim_to_wire(&row.model, &super::revision(row, &etag))
}

/// What was checked, with further broken rules beside it.
fn with(checked: Result<Claim, Violations>, more: Violations) -> Result<Claim, Violations> {
    match checked {
        Ok(claim) => more.finish(claim),
        Err(mut broken) => {
            broken.take("", more);
            Err(broken)
        }
    }
}

/// What one response is judged on at one version.
struct Read {
    evidence: Evidence,
    capacities: Vec<Capacity>,
}

/// One version of the evidence: what each response reads.
struct Version {
    at: i64,
    responses: Vec<Read>,
}

impl App {
    async fn claim(&self, id: &ClaimId) -> Result<ClaimRow, Refusal> {
        self.store.claim_get(id).await?.ok_or_else(|| Refusal::not_found(id.name()))
    }

    /// Holds where the claim was on record at data version `at`.
    async fn recorded_by(&self, id: &ClaimId, at: i64) -> Result<(), Refusal> {
        match self.store.claim_since(id).await? {
            Some(since) if since > at => Err(Refusal::Because {
                reason: Reason::NoEvidence,
                message: format!(
                    "`{}` is on record from data version {since} on, so it was not judged as of {at}: ask as of {since} or later, or leave data_version out for the newest",
                    id.name()
                ),
                metadata: vec![("on_record_since", since.to_string())],
            }),
            _ => Ok(()),
        }
    }

    /// What is wrong with packs that a claim names: each has to be on record.
    async fn packs_missing(&self, draft: &ClaimDraft) -> Result<Violations, Refusal> {
        let mut broken = Violations::default();
        for (field, name) in [("pack", &draft.pack), ("comparator", &draft.comparator)] {
            // What is no name is told by the check.
            let Ok(id) = PackModelId::from_name(name) else { continue };
            if self.store.pack_model_since(&id).await?.is_none() {
                let message = format!("there is no `{name}`: register the pack model first");
                broken.add(field, UNKNOWN_PACK_MODEL, message);
            }
        }
        Ok(broken)
    }

    /// Judges a claim at `at` and at the versions before it at which testers came in.
    async fn claim_judged(
        &self,
        caller: &Caller,
        row: ClaimRow,
        at: i64,
        holm: bool,
    ) -> Result<v1::JudgeClaimResponse, Refusal> {
        let claim = &row.model;
        let mut versions = Vec::new();
        if claim.not_testable().is_none() {
            let newest = self.version(claim, at).await?;
            for moment in self.moments(claim, &newest).await? {
                versions.push(self.version(claim, moment).await?);
            }
            versions.push(newest);
        }
        let (catalogue, caller) = (Arc::clone(&self.catalogue), caller.clone());
        let work = move || told(&catalogue, &caller, &row, &versions, at, holm);
        tokio::task::spawn_blocking(work).await.map_err(Refusal::internal)?
    }

    /// The versions before `newest` that the history of the word looks back on, ascending.
    async fn moments(&self, claim: &Claim, newest: &Version) -> Result<BTreeSet<i64>, Refusal> {
        let trials = newest.responses.iter().map(|one| one.evidence.trials.len()).sum();
        let most = moments_for(trials);
        let mut moments = BTreeSet::new();
        for response in &claim.responses {
            let found =
                self.store.testers_came_in(&response.method, &claim.pack, newest.at, most as u64).await?;
            moments.extend(found);
        }
        moments.remove(&newest.at);
        while moments.len() > most {
            moments.pop_first();
        }
        Ok(moments)
    }

    /// Reads what the claim's responses are judged on as of `at`.
    async fn version(&self, claim: &Claim, at: i64) -> Result<Version, Refusal> {
        let mut responses = Vec::with_capacity(claim.responses.len());
        for response in &claim.responses {
            let evidence = self.store.evidence(&response.method, Some(at)).await?;
            let Some(question) = claim.question(response, Some(at)) else {
                responses.push(Read { evidence, capacities: Vec::new() });
                continue;
            };
            let own = |one| question.normalisation == Some(one);
            let capacities = self.capacities(own, at).await?;
            let since = evidence.trials_version(&question, capacities.iter().map(|one| &one.evidence));
            let pair = BTreeSet::from([&question.pack_a, &question.pack_b]);
            let packs = self.store.pack_model_revisions(pair, since, at).await?;
            let method = self.catalogue.method(&question.method);
            let evidence = match method {
                Some(method) => evidence.asked(&question, method, since, &packs),
                None => evidence,
            };
            responses.push(Read { evidence, capacities });
        }
        Ok(Version { at, responses })
    }
}

/// The methods of a claim's responses.
fn methods<'a>(catalogue: &'a Catalogue, claim: &Claim) -> Result<Vec<&'a Method>, Refusal> {
    let of = |response: &benchring_domain::claim::Response| {
        catalogue.method(&response.method).ok_or_else(|| {
            Refusal::because(
                Reason::Precondition,
                format!(
                    "this server has no method {} any more, so the claim cannot be judged",
                    response.method
                ),
            )
        })
    };
    claim.responses.iter().map(of).collect()
}

/// Judges one version.
fn judged(
    catalogue: &Catalogue,
    claim: &Claim,
    methods: &[&Method],
    version: &Version,
    holm: bool,
) -> Result<Judgement, Refusal> {
    let mut measured = Vec::with_capacity(version.responses.len());
    for one in &version.responses {
        measured.push(measured_by(catalogue, &one.capacities)?);
    }
    let parts = claim.responses.iter().zip(methods).zip(version.responses.iter().zip(&measured));
    let evidence: Vec<ResponseEvidence<'_>> = parts
        .map(|((response, method), (read, measured))| ResponseEvidence {
            response,
            method,
            evidence: &read.evidence,
            measured,
        })
        .collect();
    Ok(judge(claim, &evidence, holm, version.at))
}

/// The judgement of the newest version, and what the evidence said at each, that one last.
fn looked_back(
    catalogue: &Catalogue,
    claim: &Claim,
    methods: &[&Method],
    versions: &[Version],
    at: i64,
    holm: bool,
) -> Result<(Judgement, Vec<Moment>), Refusal> {
    let mut judgements = Vec::with_capacity(versions.len());
    for version in versions {
        judgements.push(judged(catalogue, claim, methods, version, holm)?);
    }
    let newest = judgements.pop().unwrap_or_else(|| judge(claim, &[], holm, at));
    let mut moments: Vec<Moment> = judgements.iter().map(Moment::of).collect();
    // Since the last tester came in nothing may have changed.
    moments.retain(|moment| moment.evidence_version < newest.evidence_version);
    moments.dedup_by_key(|moment| moment.evidence_version);
    moments.push(Moment::of(&newest));
    Ok((newest, moments))
}

fn told(
    catalogue: &Catalogue,
    caller: &Caller,
    row: &ClaimRow,
    versions: &[Version],
    at: i64,
    holm: bool,
) -> Result<v1::JudgeClaimResponse, Refusal> {
    let claim = &row.model;
    let methods = methods(catalogue, claim)?;
    let (newest, moments) = looked_back(catalogue, claim, &methods, versions, at, holm)?;
    let responses: Vec<&Read> = versions.last().map(|v| v.responses.iter().collect()).unwrap_or_default();
    let names = claim.responses.iter().zip(&methods).zip(&responses);
    let names = names
        .map(|((response, method), read)| {
            (*method, claim.subject(response, method, &read.evidence.pack_models))
        })
        .collect();
    let trials = responses.iter().flat_map(|read| &read.evidence.trials);
    let testers: BTreeMap<&TrialId, (&TesterId, bool)> =
        trials.map(|t| (&t.trial, (&t.tester, t.standing.counts()))).collect();
    let sees_all = visibility(caller) == Visibility::All;
    let readable = |trial: &TrialId| {
        testers.get(trial).is_some_and(|(tester, public)| *public || sees_all || caller.is(tester))
    };
    let told = JudgementTold {
        claim: shown(row),
        responses: names,
        readable: &readable,
        history: &history(&moments),
        etag: etag(claim, newest.evidence_version, holm, caller),
    };
    Ok(judgement_to_wire(claim, &newest, told))
}

/// As the tag of a comparison: made of what is asked, the version of what it reads and of the engine, and of whose eyes read.
fn etag(claim: &Claim, evidence_version: i64, holm: bool, caller: &Caller) -> String {
    let eyes = caller.id().map_or_else(String::new, ToString::to_string);
    let whole = format!("{ENGINE_VERSION}\n{evidence_version}\n{eyes}\n{holm}\n{}", claim.id);
    format!("W/\"{}\"", &sha256_hex(whole.as_bytes())[..24])
}
