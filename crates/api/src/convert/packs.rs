//! Pack models and pack specimens.

use benchring_domain::finding::Finding;
use benchring_domain::id::{PackModelId, PackSpecimenId, TesterId};
use benchring_domain::pack::{PackModel, PackModelDraft, PackSpecimen, PackSpecimenDraft};
use benchring_domain::violation::Violations;

use super::findings::{findings_to_wire, open_to_wire};
use super::mask::{Update, revisable, update_from_wire};
use super::quantity::{price_from_wire, price_to_wire, quantity_from_wire, quantity_to_wire};
use super::requests::{
    Create, Page, id_from_wire, optional_name_from_wire, page_from_wire, request_id_from_wire,
    resource_from_wire, words_from_wire,
};
use super::time::time_to_wire;
use super::words::{
    acquired_from_wire, acquired_to_wire, label_voltage_kind_from_wire, label_voltage_kind_to_wire,
};
use super::{Revision, Sent, count_to_wire};
use crate::v1;

/// A revision of a pack model as sent.
pub type UpdatePackModel = Update<PackModelId, v1::PackModel>;

/// A revision of a pack specimen as sent.
pub type UpdatePackSpecimen = Update<PackSpecimenId, v1::PackSpecimen>;

/// Reads a pack model.
pub fn pack_model_from_wire(sent: v1::PackModel) -> Sent<PackModelDraft> {
    let v1::PackModel {
        name: _,
        maker,
        designation,
        aliases,
        region,
        chemistry,
        cell_format,
        series_count,
        parallel_count,
        label_voltage,
        label_voltage_kind,
        nominal_voltage,
        rated_capacity,
        rated_energy,
        mass,
        length,
        width,
        height,
        price,
        max_discharge_current,
        findings: _,
        open_findings_count: _,
        revision_count: _,
        create_time: _,
        update_time: _,
        etag: _,
    } = sent;
    let mut broken = Violations::default();
    let label_voltage_kind =
        label_voltage_kind_from_wire(label_voltage_kind, "label_voltage_kind", &mut broken);
    let draft = PackModelDraft {
        maker,
        designation,
        aliases,
        region,
        chemistry,
        cell_format,
        series_count,
        parallel_count,
        label_voltage: label_voltage.map(quantity_from_wire),
        label_voltage_kind,
        nominal_voltage: nominal_voltage.map(quantity_from_wire),
        rated_capacity: rated_capacity.map(quantity_from_wire),
        rated_energy: rated_energy.map(quantity_from_wire),
        mass: mass.map(quantity_from_wire),
        length: length.map(quantity_from_wire),
        width: width.map(quantity_from_wire),
        height: height.map(quantity_from_wire),
        price: price.map(price_from_wire),
        max_discharge_current: max_discharge_current.map(quantity_from_wire),
    };
    Sent { draft, broken }
}

/// Writes a pack model.
pub fn pack_model_to_wire(model: &PackModel, findings: &[Finding], revision: &Revision<'_>) -> v1::PackModel {
    let PackModel {
        id,
        maker,
        designation,
        aliases,
        region,
        chemistry,
        cell_format,
        series_count,
        parallel_count,
        label_voltage,
        label_voltage_kind,
        nominal_voltage,
        rated_capacity,
        rated_energy,
        mass,
        length,
        width,
        height,
        price,
        max_discharge_current,
    } = model;
    v1::PackModel {
        name: id.name(),
        maker: maker.clone(),
        designation: designation.clone(),
        aliases: aliases.clone(),
        region: region.clone(),
        chemistry: chemistry.clone(),
        cell_format: cell_format.clone(),
        series_count: Some(count_to_wire(*series_count)),
        parallel_count: parallel_count.map(count_to_wire),
        label_voltage: Some(quantity_to_wire(label_voltage)),
        label_voltage_kind: label_voltage_kind_to_wire(*label_voltage_kind),
        nominal_voltage: Some(quantity_to_wire(nominal_voltage)),
        rated_capacity: Some(quantity_to_wire(rated_capacity)),
        rated_energy: rated_energy.as_ref().map(quantity_to_wire),
        mass: mass.as_ref().map(quantity_to_wire),
        length: length.as_ref().map(quantity_to_wire),
        width: width.as_ref().map(quantity_to_wire),
        height: height.as_ref().map(quantity_to_wire),
        price: price.as_ref().map(price_to_wire),
        max_discharge_current: max_discharge_current.as_ref().map(quantity_to_wire),
        findings: findings_to_wire(findings, revision.confirmations, None),
        open_findings_count: open_to_wire(findings, revision.confirmations),
        revision_count: count_to_wire(revision.number),
        create_time: Some(time_to_wire(revision.create_time)),
        update_time: Some(time_to_wire(revision.update_time)),
        etag: revision.etag.to_owned(),
    }
}

/// Reads a request to register a pack model.
pub fn create_pack_model_from_wire(
    request: v1::CreatePackModelRequest,
) -> Sent<Create<PackModelId, PackModelDraft>> {
    let v1::CreatePackModelRequest { pack_model_id, pack_model, request_id, validate_only } = request;
    let mut broken = Violations::default();
    let draft = Create {
        id: id_from_wire(&pack_model_id, "pack_model_id", PackModelId::parse, &mut broken),
        draft: resource_from_wire(pack_model, "pack_model", pack_model_from_wire, &mut broken),
        request_id: request_id_from_wire(&request_id, &mut broken),
        validate_only,
    };
    Sent { draft, broken }
}

revisable!(PackModel {
    written:
        maker, designation, aliases, region, chemistry, cell_format, series_count, parallel_count,
        label_voltage, label_voltage_kind, nominal_voltage, rated_capacity, rated_energy, mass, length,
        width, height, price, max_discharge_current;
    staying: name, findings, open_findings_count, revision_count, create_time, update_time, etag;
});

/// Reads a request to revise a pack model.
pub fn update_pack_model_from_wire(request: v1::UpdatePackModelRequest) -> Sent<UpdatePackModel> {
    let v1::UpdatePackModelRequest { pack_model, update_mask, request_id, validate_only } = request;
    update_from_wire(
        "pack_model",
        pack_model,
        update_mask,
        &request_id,
        validate_only,
        PackModelId::from_name,
    )
}

/// The model as it becomes under `update`.
pub fn revised_pack_model(update: UpdatePackModel, current: &PackModel) -> Sent<PackModelDraft> {
    pack_model_from_wire(update.onto(pack_model_to_wire(current, &[], &Revision::default())))
}

/// Reads a pack specimen.
pub fn pack_specimen_from_wire(sent: v1::PackSpecimen) -> Sent<PackSpecimenDraft> {
    let v1::PackSpecimen {
        name: _,
        pack_model,
        tester: _,
        label,
        acquired,
        date_code,
        first_use,
        cycle_count,
        cycle_count_counted,
        storage_history,
        create_time: _,
        etag: _,
        revision_count: _,
        update_time: _,
    } = sent;
    let mut broken = Violations::default();
    let draft = PackSpecimenDraft {
        pack_model,
        label,
        acquired: acquired_from_wire(acquired, "acquired", &mut broken),
        date_code,
        first_use,
        cycle_count,
        cycle_count_counted,
        storage_history,
    };
    Sent { draft, broken }
}

/// Writes a pack specimen.
pub fn pack_specimen_to_wire(specimen: &PackSpecimen, revision: &Revision<'_>) -> v1::PackSpecimen {
    let PackSpecimen {
        id,
        pack_model,
        tester,
        label,
        acquired,
        date_code,
        first_use,
        cycle_count,
        cycle_count_counted,
        storage_history,
    } = specimen;
    v1::PackSpecimen {
        name: id.name(),
        pack_model: pack_model.name(),
        tester: tester.name(),
        label: label.clone(),
        acquired: acquired_to_wire(*acquired),
        date_code: date_code.clone(),
        first_use: first_use.clone(),
        cycle_count: cycle_count.map(count_to_wire),
        cycle_count_counted: *cycle_count_counted,
        storage_history: storage_history.clone(),
        create_time: Some(time_to_wire(revision.create_time)),
        etag: revision.etag.to_owned(),
        revision_count: count_to_wire(revision.number),
        update_time: Some(time_to_wire(revision.update_time)),
    }
}

/// Reads a request to register a specimen.
pub fn create_pack_specimen_from_wire(
    request: v1::CreatePackSpecimenRequest,
) -> Sent<Create<PackSpecimenId, PackSpecimenDraft>> {
    let v1::CreatePackSpecimenRequest { pack_specimen_id, pack_specimen, request_id, validate_only } =
        request;
    let mut broken = Violations::default();
    let draft = Create {
        id: id_from_wire(&pack_specimen_id, "pack_specimen_id", PackSpecimenId::parse, &mut broken),
        draft: resource_from_wire(pack_specimen, "pack_specimen", pack_specimen_from_wire, &mut broken),
        request_id: request_id_from_wire(&request_id, &mut broken),
        validate_only,
    };
    Sent { draft, broken }
}

revisable!(PackSpecimen {
    written:
        pack_model, label, acquired, date_code, first_use, cycle_count, cycle_count_counted,
        storage_history;
    staying: name, tester, create_time, etag, revision_count, update_time;
});

/// Reads a request to revise a specimen.
pub fn update_pack_specimen_from_wire(request: v1::UpdatePackSpecimenRequest) -> Sent<UpdatePackSpecimen> {
    let v1::UpdatePackSpecimenRequest { pack_specimen, update_mask, request_id, validate_only } = request;
    update_from_wire(
        "pack_specimen",
        pack_specimen,
        update_mask,
        &request_id,
        validate_only,
        PackSpecimenId::from_name,
    )
}

/// The specimen as it becomes under `update`.
pub fn revised_pack_specimen(update: UpdatePackSpecimen, current: &PackSpecimen) -> Sent<PackSpecimenDraft> {
    pack_specimen_from_wire(update.onto(pack_specimen_to_wire(current, &Revision::default())))
}

/// A request for a list of pack models.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ListPackModels {
    /// Which page.
    pub page: Page,
    /// Words that must all stand in a model.
    pub words: Vec<String>,
}

/// Reads a request for pack models.
pub fn list_pack_models_from_wire(request: v1::ListPackModelsRequest) -> Sent<ListPackModels> {
    let v1::ListPackModelsRequest { page_size, page_token, query } = request;
    let mut broken = Violations::default();
    let draft = ListPackModels {
        page: page_from_wire(page_size, page_token, &mut broken),
        words: words_from_wire(&query, &mut broken),
    };
    Sent { draft, broken }
}

/// A request for a list of specimens.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ListPackSpecimens {
    /// Which page.
    pub page: Page,
    /// Only of this model.
    pub pack_model: Option<PackModelId>,
    /// Only registered by this tester.
    pub tester: Option<TesterId>,
}

/// Reads a request for specimens.
pub fn list_pack_specimens_from_wire(request: v1::ListPackSpecimensRequest) -> Sent<ListPackSpecimens> {
    let v1::ListPackSpecimensRequest { page_size, page_token, pack_model, tester } = request;
    let mut broken = Violations::default();
    let draft = ListPackSpecimens {
        page: page_from_wire(page_size, page_token, &mut broken),
        pack_model: optional_name_from_wire(&pack_model, "pack_model", PackModelId::from_name, &mut broken),
        tester: optional_name_from_wire(&tester, "tester", TesterId::from_name, &mut broken),
    };
    Sent { draft, broken }
}
