//! Tool models.

use benchring_domain::finding::Finding;
use benchring_domain::id::ToolModelId;
use benchring_domain::tool::{ToolModel, ToolModelDraft};
use benchring_domain::violation::Violations;

use super::mask::{Update, revisable, update_from_wire};
use super::quantity::{finding_to_wire, quantity_from_wire, quantity_to_wire};
use super::requests::{
    Create, Page, id_from_wire, page_from_wire, request_id_from_wire, resource_from_wire, words_from_wire,
};
use super::time::time_to_wire;
use super::words::{motor_from_wire, motor_to_wire};
use super::{Revision, Sent, count_to_wire};
use crate::v1;

/// A revision of a tool model as sent.
pub type UpdateToolModel = Update<ToolModelId, v1::ToolModel>;

/// Reads a tool model.
pub fn tool_model_from_wire(sent: v1::ToolModel) -> Sent<ToolModelDraft> {
    let v1::ToolModel {
        name: _,
        maker,
        designation,
        aliases,
        region,
        tool_type,
        motor,
        rated_voltage,
        no_load_speed,
        mass_without_pack,
        pack_interface,
        findings: _,
        revision_count: _,
        create_time: _,
        update_time: _,
        etag: _,
    } = sent;
    let mut broken = Violations::default();
    let draft = ToolModelDraft {
        maker,
        designation,
        aliases,
        region,
        tool_type,
        motor: motor_from_wire(motor, "motor", &mut broken),
        rated_voltage: rated_voltage.map(quantity_from_wire),
        no_load_speed: no_load_speed.map(quantity_from_wire),
        mass_without_pack: mass_without_pack.map(quantity_from_wire),
        pack_interface,
    };
    Sent { draft, broken }
}

/// Writes a tool model.
pub fn tool_model_to_wire(model: &ToolModel, findings: &[Finding], revision: &Revision<'_>) -> v1::ToolModel {
    let ToolModel {
        id,
        maker,
        designation,
        aliases,
        region,
        tool_type,
        motor,
        rated_voltage,
        no_load_speed,
        mass_without_pack,
        pack_interface,
    } = model;
    v1::ToolModel {
        name: id.name(),
        maker: maker.clone(),
        designation: designation.clone(),
        aliases: aliases.clone(),
        region: region.clone(),
        tool_type: tool_type.clone(),
        motor: motor_to_wire(*motor),
        rated_voltage: rated_voltage.as_ref().map(quantity_to_wire),
        no_load_speed: no_load_speed.as_ref().map(quantity_to_wire),
        mass_without_pack: mass_without_pack.as_ref().map(quantity_to_wire),
        pack_interface: pack_interface.clone(),
        findings: findings.iter().map(finding_to_wire).collect(),
        revision_count: count_to_wire(revision.number),
        create_time: Some(time_to_wire(revision.create_time)),
        update_time: Some(time_to_wire(revision.update_time)),
        etag: revision.etag.to_owned(),
    }
}

/// Reads a request to register a tool model.
pub fn create_tool_model_from_wire(
    request: v1::CreateToolModelRequest,
) -> Sent<Create<ToolModelId, ToolModelDraft>> {
    let v1::CreateToolModelRequest { tool_model_id, tool_model, request_id, validate_only } = request;
    let mut broken = Violations::default();
    let draft = Create {
        id: id_from_wire(&tool_model_id, "tool_model_id", ToolModelId::parse, &mut broken),
        draft: resource_from_wire(tool_model, "tool_model", tool_model_from_wire, &mut broken),
        request_id: request_id_from_wire(&request_id, &mut broken),
        validate_only,
    };
    Sent { draft, broken }
}

revisable!(ToolModel {
    written:
        maker, designation, aliases, region, tool_type, motor, rated_voltage, no_load_speed,
        mass_without_pack, pack_interface;
    staying: name, findings, revision_count, create_time, update_time, etag;
});

/// Reads a request to revise a tool model.
pub fn update_tool_model_from_wire(request: v1::UpdateToolModelRequest) -> Sent<UpdateToolModel> {
    let v1::UpdateToolModelRequest { tool_model, update_mask, request_id, validate_only } = request;
    update_from_wire(
        "tool_model",
        tool_model,
        update_mask,
        &request_id,
        validate_only,
        ToolModelId::from_name,
    )
}

/// The model as it becomes under `update`.
pub fn revised_tool_model(update: UpdateToolModel, current: &ToolModel) -> Sent<ToolModelDraft> {
    tool_model_from_wire(update.onto(tool_model_to_wire(current, &[], &Revision::default())))
}

/// A request for a list of tool models.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ListToolModels {
    /// Which page.
    pub page: Page,
    /// Words that must all stand in a model.
    pub words: Vec<String>,
    /// Only of this type; `None` for all. Whether there is such a type is not judged here.
    pub tool_type: Option<String>,
}

/// Reads a request for tool models.
pub fn list_tool_models_from_wire(request: v1::ListToolModelsRequest) -> Sent<ListToolModels> {
    let v1::ListToolModelsRequest { page_size, page_token, query, tool_type } = request;
    let mut broken = Violations::default();
    let draft = ListToolModels {
        page: page_from_wire(page_size, page_token, &mut broken),
        words: words_from_wire(&query, &mut broken),
        tool_type: Some(tool_type).filter(|known| !known.is_empty()),
    };
    Sent { draft, broken }
}
