//! A club whose packs, specimens and trials change, and everything that can be asked of it.

use std::collections::BTreeMap;

use anyhow::Context as _;
use benchring_api::v1;
use benchring_api::v1::Normalisation as N;
use benchring_tests::{Ring, by, fixture, json};
use tonic::{Code, Status};

use crate::reason;

const SCREWS: &str = "methods/screw-drive-time/versions/1";
pub(super) const CUTS: &str = "methods/cuts-per-charge/versions/1";
const CAPACITY: &str = "methods/discharge-capacity/versions/1";

/// Every normalisation that three methods permit, scopes, centres and another level, by name.
pub(super) fn questions() -> BTreeMap<&'static str, v1::ComparePacksRequest> {
    let ask = |method: &str, normalisation: N| v1::ComparePacksRequest {
        method: method.into(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        normalisation: normalisation.into(),
        ..Default::default()
    };
    let within =
        |scope: v1::PoolScope| v1::ComparePacksRequest { scope: Some(scope), ..ask(SCREWS, N::Unspecified) };
    let centre = |band: &str, centre: &str| v1::PoolScope {
        centres: vec![v1::BandCentre { band: band.into(), centre: centre.into() }],
        ..Default::default()
    };
    let mut all = BTreeMap::from([
        ("screws", ask(SCREWS, N::Unspecified)),
        ("screws per_kg", ask(SCREWS, N::PerKgOnRate)),
        ("screws near 6 mm", within(centre("screw_diameter", "6 mm"))),
        ("screws near 12 mm", within(centre("screw_diameter", "12 mm"))),
        (
            "screws by impact driver",
            within(v1::PoolScope { tool_type: "impact_driver".into(), ..Default::default() }),
        ),
        ("cuts", ask(CUTS, N::Unspecified)),
        ("cuts per_kg", ask(CUTS, N::PerKg)),
        ("cuts per_litre", ask(CUTS, N::PerLitre)),
        ("cuts per_price", ask(CUTS, N::PerPrice)),
        ("cuts per_rated_ah", ask(CUTS, N::PerRatedAh)),
        ("cuts per_rated_wh", ask(CUTS, N::PerRatedWh)),
        ("cuts per_measured_ah", ask(CUTS, N::PerMeasuredAh)),
        ("cuts per_measured_wh", ask(CUTS, N::PerMeasuredWh)),
        ("capacity", ask(CAPACITY, N::Unspecified)),
        ("capacity per_kg", ask(CAPACITY, N::PerKg)),
        ("capacity per_litre", ask(CAPACITY, N::PerLitre)),
        ("capacity per_price", ask(CAPACITY, N::PerPrice)),
        ("capacity per_rated_ah", ask(CAPACITY, N::PerRatedAh)),
    ]);
    let options = v1::PoolOptions { level_ratio: 0.9, ..Default::default() };
    let level = v1::ComparePacksRequest { options: Some(options), ..ask(SCREWS, N::Unspecified) };
    all.insert("screws at 90 %", level);
    let cuts =
        v1::ComparePacksRequest { scope: Some(centre("cut_area", "144 cm2")), ..ask(CUTS, N::PerRatedAh) };
    all.insert("cuts per_rated_ah near 144 cm2", cuts);
    all
}

/// A trial of a fixture by the n-th specimens, its readings times `factor`.
pub(super) fn trial(name: &str, n: usize, factor: f64) -> anyhow::Result<v1::Trial> {
    let mut trial = fixture(name, n)?;
    for run in trial.arms.iter_mut().flat_map(|a| &mut a.charges).flat_map(|c| &mut c.runs) {
        let Some(reading) = run.reading.as_mut().filter(|reading| !reading.as_written.is_empty()) else {
            continue;
        };
        let (number, unit) = reading.as_written.split_once(' ').context("a number and its unit")?;
        reading.as_written = format!("{:.2} {unit}", number.parse::<f64>()? * factor);
    }
    Ok(trial)
}

pub(super) async fn submit(ring: &Ring, tester: &str, trial: v1::Trial) -> Result<v1::Trial, Status> {
    let request = v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() };
    Ok(ring.trials().submit_trial(by(&format!("tester-{tester}"), request)).await?.into_inner())
}

/// Revises the fields of `model` that it names; empty ones are those that `mask` names.
pub(super) async fn edit(ring: &Ring, id: &str, model: v1::PackModel, mask: &[&str]) -> Result<(), Status> {
    let request = v1::UpdatePackModelRequest {
        pack_model: Some(v1::PackModel { name: format!("packModels/{id}"), ..model }),
        update_mask: Some(prost_types::FieldMask { paths: mask.iter().map(|p| (*p).to_owned()).collect() }),
        ..Default::default()
    };
    ring.packs().update_pack_model(by("moderator-m01", request)).await?;
    Ok(())
}

pub(super) async fn edit_specimen(ring: &Ring, id: &str, specimen: v1::PackSpecimen) -> Result<(), Status> {
    let request = v1::UpdatePackSpecimenRequest {
        pack_specimen: Some(v1::PackSpecimen { name: format!("packSpecimens/{id}"), ..specimen }),
        ..Default::default()
    };
    ring.packs().update_pack_specimen(by("moderator-m01", request)).await?;
    Ok(())
}

fn written(as_written: String) -> v1::Quantity {
    v1::Quantity { as_written, ..Default::default() }
}

pub(super) fn mass(kg: f64) -> v1::PackModel {
    v1::PackModel { mass: Some(written(format!("{kg:.2} kg"))), ..Default::default() }
}

pub(super) fn capacity(ah: f64) -> v1::PackModel {
    v1::PackModel { rated_capacity: Some(written(format!("{ah:.2} Ah"))), ..Default::default() }
}

pub(super) fn height(mm: f64) -> v1::PackModel {
    let [length, width] = [120.0, 80.0].map(|mm: f64| Some(written(format!("{mm} mm"))));
    v1::PackModel { length, width, height: Some(written(format!("{mm:.1} mm"))), ..Default::default() }
}

pub(super) fn price(euro: f64) -> v1::PackModel {
    let price = v1::Price {
        amount: format!("{euro:.2}"),
        currency: "EUR".into(),
        date: "2026-03-02".into(),
        region: "SE".into(),
    };
    v1::PackModel { price: Some(price), ..Default::default() }
}

/// Two packs with all that answers divide by, and specimens one to seven of each.
pub(super) async fn furnish(ring: &Ring) -> anyhow::Result<()> {
    ring.furnish(7).await?;
    for (id, kg, euro, mm) in [("k5", 0.66, 99.0, 65.0), ("k8", 1.02, 149.0, 66.0)] {
        edit(ring, id, mass(kg), &["mass", "rated_energy"]).await?;
        edit(ring, id, price(euro), &["price"]).await?;
        edit(ring, id, height(mm), &["length", "width", "height"]).await?;
    }
    Ok(())
}

pub(super) type Told = Result<v1::ComparePacksResponse, (Code, String, String)>;

pub(super) async fn ask(ring: &Ring, question: &v1::ComparePacksRequest, at: Option<i64>) -> Told {
    let question = v1::ComparePacksRequest { data_version: at, ..question.clone() };
    match ring.pools().compare_packs(question).await {
        Ok(answer) => Ok(answer.into_inner()),
        Err(status) => Err((status.code(), reason(&status), status.message().to_owned())),
    }
}

pub(super) async fn ask_json(
    ring: &Ring,
    question: &v1::ComparePacksRequest,
    at: Option<i64>,
) -> anyhow::Result<String> {
    let question = v1::ComparePacksRequest { data_version: at, ..question.clone() };
    let input = benchring_api::descriptors().get_message_by_name("benchring.v1.ComparePacksRequest");
    let mut message = prost_reflect::DynamicMessage::new(input.context("a descriptor")?);
    message.transcode_from(&question)?;
    let body = serde_json::to_string(&message)?;
    let answer = json::Client::new(ring.address()).post("/v1/pools:compare", None, &body).await?;
    let mut told = answer.json()?;
    // Made anew for every refusal, to find it in the log.
    if let Some(problem) = told.as_object_mut().filter(|_| !answer.status.is_success()) {
        problem.retain(|key, _| key != "requestId" && key != "instance");
    }
    Ok(format!("{} {} {told}", answer.status, answer.header("etag")))
}
