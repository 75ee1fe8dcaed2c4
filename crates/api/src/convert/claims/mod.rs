//! Claims.

mod judgement;

use benchring_domain::claim::{Claim, ClaimDraft, Condition, Form, Response, ResponseDraft, wording};
use benchring_domain::id::{ClaimId, MethodRef, PackModelId};
use benchring_domain::violation::Violations;

use super::quantity::{quantity_from_wire, quantity_to_wire};
use super::requests::{
    Create, Page, id_from_wire, name_from_wire, optional_name_from_wire, page_from_wire,
    request_id_from_wire, resource_from_wire, words_from_wire,
};
use super::time::time_to_wire;
use super::words::{
    claim_form_from_wire, claim_form_to_wire, claim_reach_from_wire, claim_reach_to_wire,
    normalisation_from_wire, normalisation_to_wire,
};
use super::{Revision, Sent, each};
use crate::v1;

pub use judgement::{JudgementTold, judgement_to_wire};

/// Reads a claim.
pub fn claim_from_wire(sent: v1::Claim) -> Sent<ClaimDraft> {
    let v1::Claim {
        name: _,
        maker,
        wording,
        source_reference,
        metric,
        responses,
        form,
        reach,
        amount,
        pack,
        comparator,
        condition,
        reading: _,
        create_time: _,
        etag: _,
    } = sent;
    let mut broken = Violations::default();
    let v1::ClaimCondition { general, demand_class, tool_type, workpiece_family, temperature_basis } =
        condition.unwrap_or_default();
    let draft = ClaimDraft {
        maker,
        wording,
        source_reference,
        metric,
        responses: each(responses, "responses", &mut broken, response_from_wire),
        form: claim_form_from_wire(form, "form", &mut broken),
        reach: claim_reach_from_wire(reach, "reach", &mut broken),
        amount: amount.map(quantity_from_wire),
        pack,
        comparator,
        general,
        demand_class,
        tool_type,
        workpiece_family,
        temperature_basis,
    };
    Sent { draft, broken }
}

fn response_from_wire(sent: v1::ClaimResponse) -> Sent<ResponseDraft> {
    let v1::ClaimResponse { method, normalisation } = sent;
    let mut broken = Violations::default();
    let normalisation = normalisation_from_wire(normalisation, "normalisation", &mut broken);
    Sent { draft: ResponseDraft { method, normalisation }, broken }
}

/// Writes a claim.
pub fn claim_to_wire(claim: &Claim, revision: &Revision<'_>) -> v1::Claim {
    let Claim {
        id,
        maker,
        wording,
        source_reference,
        metric,
        responses,
        form,
        reach,
        amount,
        pack,
        comparator,
        condition,
    } = claim;
    let label = comparator.is_none();
    v1::Claim {
        name: id.name(),
        maker: maker.clone(),
        wording: wording.clone(),
        source_reference: source_reference.clone(),
        metric: metric.clone(),
        responses: responses.iter().map(response_to_wire).collect(),
        form: claim_form_to_wire(*form),
        reach: claim_reach_to_wire(*reach),
        amount: amount.as_ref().map(quantity_to_wire),
        pack: pack.name(),
        comparator: comparator.as_ref().map(PackModelId::name).unwrap_or_default(),
        condition: (!label).then(|| condition_to_wire(condition)),
        reading: wording::reading(claim),
        create_time: Some(time_to_wire(revision.create_time)),
        etag: revision.etag.to_owned(),
    }
}

fn condition_to_wire(condition: &Condition) -> v1::ClaimCondition {
    let Condition { general, demand_class, tool_type, workpiece_family, temperature_basis } = condition;
    let text = |stated: &Option<String>| stated.clone().unwrap_or_default();
    v1::ClaimCondition {
        general: *general,
        demand_class: text(demand_class),
        tool_type: text(tool_type),
        workpiece_family: text(workpiece_family),
        temperature_basis: text(temperature_basis),
    }
}

fn response_to_wire(response: &Response) -> v1::ClaimResponse {
    v1::ClaimResponse {
        method: response.method.name(),
        normalisation: response.normalisation.map_or(0, normalisation_to_wire),
    }
}

/// Reads a request to record a claim.
pub fn create_claim_from_wire(request: v1::CreateClaimRequest) -> Sent<Create<ClaimId, ClaimDraft>> {
    let v1::CreateClaimRequest { claim_id, claim, request_id, validate_only } = request;
    let mut broken = Violations::default();
    let draft = Create {
        id: id_from_wire(&claim_id, "claim_id", ClaimId::parse, &mut broken),
        draft: resource_from_wire(claim, "claim", claim_from_wire, &mut broken),
        request_id: request_id_from_wire(&request_id, &mut broken),
        validate_only,
    };
    Sent { draft, broken }
}

/// A request for a list of claims.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ListClaims {
    /// Which page.
    pub page: Page,
    /// Words that must all stand in a claim.
    pub words: Vec<String>,
    /// Only with this pack; `None` for all, as are the next two.
    pub pack: Option<PackModelId>,
    /// Only about this method.
    pub method: Option<MethodRef>,
    /// Only of this form.
    pub form: Option<Form>,
}

/// Reads a request for claims.
pub fn list_claims_from_wire(request: v1::ListClaimsRequest) -> Sent<ListClaims> {
    let v1::ListClaimsRequest { page_size, page_token, query, pack, method, form } = request;
    let mut broken = Violations::default();
    let draft = ListClaims {
        page: page_from_wire(page_size, page_token, &mut broken),
        words: words_from_wire(&query, &mut broken),
        pack: optional_name_from_wire(&pack, "pack", PackModelId::from_name, &mut broken),
        method: optional_name_from_wire(&method, "method", MethodRef::from_name, &mut broken),
        form: claim_form_from_wire(form, "form", &mut broken),
    };
    Sent { draft, broken }
}

/// A request to judge a claim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JudgeClaim {
    /// Which.
    pub id: Option<ClaimId>,
    /// As of this sequence; `None` for now.
    pub data_version: Option<i64>,
    /// Whether p-values are corrected for their number.
    pub holm: bool,
}

/// Reads a request to judge a claim.
pub fn judge_claim_from_wire(request: v1::JudgeClaimRequest) -> Sent<JudgeClaim> {
    let v1::JudgeClaimRequest { name, data_version, holm } = request;
    let mut broken = Violations::default();
    let id = name_from_wire(&name, "name", ClaimId::from_name, &mut broken);
    if data_version.is_some_and(|version| version < 0) {
        let message = "a data_version counts from 0: leave it out for the present";
        broken.add("data_version", "NEGATIVE", message);
    }
    Sent { draft: JudgeClaim { id, data_version, holm }, broken }
}
