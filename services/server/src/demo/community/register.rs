//! What the community registers before it sends a trial: packs, tools, specimens.

use std::ops::Range;

use benchring_api::v1;

use super::write::number;
use super::{owner, specimen_id, specimen_of, tester, tester_id};
use crate::demo::invented::{PACKS, Pack, TOOLS};

/// What is registered, and by whom.
#[derive(Debug, Clone, PartialEq)]
pub struct Registered {
    /// Pack models: tester, request.
    pub pack_models: Vec<(String, v1::CreatePackModelRequest)>,
    /// Tool models: tester, request.
    pub tool_models: Vec<(String, v1::CreateToolModelRequest)>,
    /// Specimens: tester, request.
    pub pack_specimens: Vec<(String, v1::CreatePackSpecimenRequest)>,
}

/// What the first `testers` of the community register.
pub fn registered(seed: u64, testers: usize) -> Registered {
    let pack_models = PACKS.iter().map(|pack| (tester_id(first_with(pack)), pack_model(pack))).collect();
    let tool_models = TOOLS.iter().map(|tool| (tester_id(0), tool_model(tool))).collect();
    Registered { pack_models, tool_models, pack_specimens: specimens(seed, 0..testers).collect() }
}

/// The specimens that some testers own: tester, request.
pub fn specimens(
    seed: u64,
    testers: Range<usize>,
) -> impl Iterator<Item = (String, v1::CreatePackSpecimenRequest)> {
    testers
        .flat_map(|place| tester(place).packs.iter().map(move |pack| (place, *pack)))
        .filter(|(place, pack)| owner(*place, *pack) == *place)
        .map(move |(place, pack)| (tester_id(place), pack_specimen(seed, place, pack)))
}

/// The tester who registers a pack model: the first of the roster who owns one.
fn first_with(pack: &Pack) -> usize {
    let owns = |place: &usize| tester(*place).packs.iter().any(|own| PACKS[*own].code == pack.code);
    (0..super::ROSTER.len()).find(owns).unwrap_or(0)
}

fn pack_model(pack: &Pack) -> v1::CreatePackModelRequest {
    use v1::LabelVoltageKind::{Maximum, Nominal};
    let [length, width, height] = pack.size_mm.map(|side| Some(number(side, "mm")));
    v1::CreatePackModelRequest {
        pack_model_id: pack.id.to_owned(),
        pack_model: Some(v1::PackModel {
            maker: pack.maker.to_owned(),
            designation: pack.code.to_owned(),
            chemistry: pack.chemistry.to_owned(),
            cell_format: pack.cell_format.to_owned(),
            series_count: Some(5),
            parallel_count: Some(pack.parallel_count),
            label_voltage: Some(number(pack.label_v, "V")),
            label_voltage_kind: if pack.label_is_maximum { Maximum } else { Nominal }.into(),
            nominal_voltage: Some(number(18.0, "V")),
            rated_capacity: Some(number(pack.rated_ah, "A.h")),
            rated_energy: Some(number(pack.label_wh, "W.h")),
            mass: Some(number(pack.mass_kg, "kg")),
            length,
            width,
            height,
            price: Some(v1::Price {
                amount: pack.price_eur.to_owned(),
                currency: "EUR".to_owned(),
                date: "2025-02-20".to_owned(),
                region: "SE".to_owned(),
            }),
            ..v1::PackModel::default()
        }),
        ..v1::CreatePackModelRequest::default()
    }
}

fn tool_model(tool: &crate::demo::invented::Tool) -> v1::CreateToolModelRequest {
    v1::CreateToolModelRequest {
        tool_model_id: tool.id.to_owned(),
        tool_model: Some(v1::ToolModel {
            maker: PACKS[0].maker.to_owned(),
            designation: tool.designation.to_owned(),
            tool_type: tool.tool_type.to_owned(),
            motor: v1::Motor::Brushless.into(),
            rated_voltage: Some(number(18.0, "V")),
            pack_interface: "18 V rail (invented)".to_owned(),
            ..v1::ToolModel::default()
        }),
        ..v1::CreateToolModelRequest::default()
    }
}

fn pack_specimen(seed: u64, place: usize, pack: usize) -> v1::CreatePackSpecimenRequest {
    let specimen = specimen_of(seed, place, pack);
    let lent = tester(place).lent_by_maker == Some(pack);
    let acquired = match (lent, specimen.second_hand) {
        (true, _) => v1::Acquired::LentByMaker,
        (false, true) => v1::Acquired::SecondHand,
        (false, false) => v1::Acquired::BoughtRetail,
    };
    v1::CreatePackSpecimenRequest {
        pack_specimen_id: specimen_id(place, pack),
        pack_specimen: Some(v1::PackSpecimen {
            pack_model: format!("packModels/{}", PACKS[pack].id),
            label: format!("{} of {}", PACKS[pack].code, tester_id(place)),
            acquired: acquired.into(),
            cycle_count: Some(specimen.cycles),
            ..v1::PackSpecimen::default()
        }),
        ..v1::CreatePackSpecimenRequest::default()
    }
}
