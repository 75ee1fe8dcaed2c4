//! What the service gave out reads back as what it was.

use benchring_api::convert::{Revision, claims, packs, tools, trials};
use benchring_api::v1;
use benchring_domain::pack::PackModel;
use benchring_domain::quantity::Quantity;
use benchring_domain::standing::Standing;
use benchring_domain::trial::Checked;
use prost::Message as _;

use crate::sound::{
    check_claim, check_pack, check_specimen, check_tool, check_trial, claim, now, pack_model, pack_specimen,
    tester, text, tool_model, trial, value,
};

fn revision() -> Revision<'static> {
    Revision { number: 1, create_time: now(), update_time: now(), etag: "\"1\"", confirmations: &[] }
}

#[test]
fn a_pack_model_given_out_is_read_as_the_same_model() {
    let (model, findings) = check_pack(pack_model(), "k4").unwrap();
    let wire = packs::pack_model_to_wire(&model, &findings, &revision());
    assert_eq!((wire.name.as_str(), wire.etag.as_str(), wire.revision_count), ("packModels/k4", "\"1\"", 1));
    let (back, _) = check_pack(wire.clone(), "k4").unwrap();
    assert_eq!(packs::pack_model_to_wire(&back, &findings, &revision()), wire);
}

#[test]
fn a_number_goes_out_as_typed_and_as_understood() {
    let (model, findings) = check_pack(pack_model(), "k4").unwrap();
    let wire = packs::pack_model_to_wire(&model, &findings, &revision());
    let capacity = wire.rated_capacity.unwrap();
    assert_eq!((capacity.value, capacity.unit.as_str()), (Some(4000.0), "mA.h"));
    assert_eq!((capacity.canonical_value, capacity.canonical_unit.as_str()), (Some(4.0), "A.h"));
    let height = wire.height.unwrap();
    assert_eq!((height.as_written.as_str(), height.canonical_value), ("2 1/2", Some(63.5)));
    assert_eq!(wire.nominal_voltage.unwrap().as_written, "18,0 V");
}

#[test]
fn a_tool_model_given_out_is_read_as_the_same_model() {
    let (model, findings) = check_tool(tool_model(), "id18").unwrap();
    let wire = tools::tool_model_to_wire(&model, &findings, &revision());
    let (back, _) = check_tool(wire.clone(), "id18").unwrap();
    assert_eq!(tools::tool_model_to_wire(&back, &findings, &revision()), wire);
}

#[test]
fn a_specimen_given_out_is_read_as_the_same_specimen() {
    let specimen = check_specimen(pack_specimen(), "k4-1").unwrap();
    let wire = packs::pack_specimen_to_wire(&specimen, &revision());
    assert_eq!(wire.tester, "testers/t01");
    assert_eq!(check_specimen(wire, "k4-1").unwrap(), specimen);
}

#[test]
fn a_claim_given_out_is_read_as_the_same_claim() {
    let checked = check_claim(claim()).unwrap();
    let wire = claims::claim_to_wire(&checked, &revision());
    assert_eq!((wire.name.as_str(), wire.etag.as_str()), ("claims/c1", "\"1\""));
    assert_eq!(wire.reading, "up to 1.25 times as much, or as fast");
    let back = check_claim(wire.clone()).unwrap();
    assert_eq!(claims::claim_to_wire(&back, &revision()), wire);
}

fn given_out(checked: &Checked, view: trials::View) -> v1::Trial {
    let record = trials::TrialRecord {
        id: None,
        tester: &tester(),
        trial: &checked.trial,
        findings: &checked.findings,
        duplicate_of: None,
        summary: &checked.summary,
        kept: Some(trials::Kept {
            standing: Standing::Accepted,
            revision: 1,
            submit_time: now(),
            update_time: now(),
            decisions: &[],
            confirmations: &[],
            etag: "\"1.0\"",
        }),
    };
    trials::trial_to_wire(&record, view)
}

#[test]
fn a_trial_given_out_is_read_as_the_same_trial() {
    let checked = check_trial(trial()).unwrap();
    let wire = given_out(&checked, trials::View::Full);
    let back = check_trial(wire.clone()).unwrap();
    assert_eq!(back.summary, checked.summary);
    assert_eq!(given_out(&back, trials::View::Full), wire);
}

#[test]
fn what_the_service_writes_is_ignored_when_a_client_sends_it() {
    let checked = check_trial(trial()).unwrap();
    let mut sent = trial();
    sent.name = "trials/of-another".into();
    sent.tester = "testers/t99".into();
    sent.standing = v1::Standing::Accepted.into();
    sent.demand_class = "d4".into();
    sent.revision_count = -5;
    sent.submit_time = Some(prost_types::Timestamp { seconds: i64::MAX, nanos: -1 });
    sent.arms[0].pack_model = "packModels/better".into();
    sent.arms[0].charges[0].runs[0].outcome = "excluded".into();
    assert_eq!(check_trial(sent).unwrap(), checked);
}

#[test]
fn a_trial_goes_out_with_outcomes_models_and_class() {
    let wire = given_out(&check_trial(trial()).unwrap(), trials::View::Full);
    assert_eq!(wire.arms[0].pack_model, "packModels/k4");
    assert_eq!(wire.arms[1].pack_model, "packModels/k8");
    assert_eq!(wire.arms[0].charges[0].runs[0].outcome, "exact");
    assert!(["measured", "assumed", "unknown"].contains(&wire.demand_class_basis.as_str()));
    assert_eq!(wire.standing(), v1::Standing::Accepted);
}

#[test]
fn the_basic_view_is_short_and_whole_in_its_heading() {
    let checked = check_trial(trial()).unwrap();
    let (full, basic) = (given_out(&checked, trials::View::Full), given_out(&checked, trials::View::Basic));
    assert!(basic.arms.is_empty() && basic.conditions.is_empty() && basic.findings.is_empty());
    assert_eq!((&basic.method, &basic.licence, &basic.plan), (&full.method, &full.licence, &full.plan));
    assert!(basic.encoded_len() < 400, "{} bytes", basic.encoded_len());
}

#[test]
fn unreadable_fields_and_broken_rules_come_together() {
    let mut sent = trial();
    sent.interest = 77;
    sent.licence = "MIT".into();
    sent.arms[1].charges[0].runs[2].end_criterion = 42;
    sent.arms[1].charges[0].runs[3].reading = Some(text("3.1 A.h", ""));
    sent.arms[0].pack_specimen = "packSpecimens/nobody".into();
    let broken = check_trial(sent).unwrap_err();
    let fields: Vec<_> = broken.as_slice().iter().map(|v| v.field.as_str()).collect();
    for field in [
        "interest",
        "licence",
        "arms[1].charges[0].runs[2].end_criterion",
        "arms[1].charges[0].runs[3].reading",
        "arms[0].pack_specimen",
    ] {
        let named = fields.iter().filter(|known| known.starts_with(field)).count();
        assert_eq!(named, 1, "{field} in {fields:?}");
    }
}

#[test]
fn an_update_changes_what_its_mask_names() {
    let (model, _) = check_pack(pack_model(), "k4").unwrap();
    let request = v1::UpdatePackModelRequest {
        pack_model: Some(v1::PackModel {
            name: "packModels/k4".into(),
            mass: Some(value(0.63, "kg")),
            maker: "ignored, for it is not in the mask".into(),
            ..v1::PackModel::default()
        }),
        update_mask: Some(prost_types::FieldMask { paths: vec!["mass".into(), "price".into()] }),
        ..v1::UpdatePackModelRequest::default()
    };
    let update = packs::update_pack_model_from_wire(request).finish().unwrap();
    let id = update.id.clone().unwrap();
    let (revised, _) = packs::revised_pack_model(update, &model)
        .judge("pack_model", |draft| draft.check(id, &crate::sound::CATALOGUE, now()))
        .unwrap();
    assert_eq!(revised.mass.as_ref().map(Quantity::canonical), Some(0.63));
    assert_eq!(revised.price, None);
    let wire = |model: &PackModel| packs::pack_model_to_wire(model, &[], &revision());
    let expected = v1::PackModel { mass: wire(&revised).mass, price: None, ..wire(&model) };
    assert_eq!(wire(&revised), expected);
}
