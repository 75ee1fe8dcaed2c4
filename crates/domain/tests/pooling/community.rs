//! Evidence made by hand: packs, trials and arms with the readings given.

use std::collections::BTreeMap;

use benchring_domain::disclosure::Acquired;
use benchring_domain::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, TrialId};
use benchring_domain::method::{Catalogue, Method, Outcome};
use benchring_domain::pack::{LabelVoltageKind, PackModel};
use benchring_domain::pool::answer::{Answer, EffectScale, Interval, PercentForms};
use benchring_domain::pool::{Evidence, EvidenceTrial, MeasuredAmounts, NoAnswer, QuestionDraft};
use benchring_domain::quantity::{Dimension, Quantity, Written};
use benchring_domain::standing::Standing;
use benchring_domain::trial::OrderDesign;
use benchring_domain::trial::summary::{ArmSummary, ClassBasis, ScoredReading, Screening, TrialSummary};
use benchring_stats::arm::{ArmMoments, Reading};
use benchring_stats::contrast::Scale;

pub(crate) const SCREWS: &str = "methods/screw-drive-time/versions/1";
pub(crate) const CUTS: &str = "methods/cuts-per-charge/versions/1";

pub(crate) fn catalogue() -> Catalogue {
    Catalogue::embedded().unwrap()
}

pub(crate) fn method<'a>(catalogue: &'a Catalogue, name: &str) -> &'a Method {
    catalogue.method(&MethodRef::from_name(name).unwrap()).unwrap()
}

fn quantity(dimension: Dimension, text: &str) -> Quantity {
    Quantity::read(dimension, None, &Written { value: None, unit: "", as_written: text }).unwrap()
}

pub(crate) fn pack(id: &str, rated: &str) -> PackModel {
    PackModel {
        id: PackModelId::parse(id).unwrap(),
        maker: "K".into(),
        designation: id.to_uppercase(),
        aliases: vec![],
        region: String::new(),
        chemistry: "nmc".into(),
        cell_format: "cylindrical_21700".into(),
        series_count: 5,
        parallel_count: Some(1),
        label_voltage: quantity(Dimension::Voltage, "18 V"),
        label_voltage_kind: LabelVoltageKind::Nominal,
        nominal_voltage: quantity(Dimension::Voltage, "18 V"),
        rated_capacity: quantity(Dimension::Charge, rated),
        rated_energy: None,
        mass: None,
        length: None,
        width: None,
        height: None,
        price: None,
        max_discharge_current: None,
    }
}

/// An arm: one charge an inner list.
pub(crate) fn arm(pack: &str, specimen: &str, charges: &[&[f64]]) -> ArmSummary {
    let readings: Vec<Vec<Reading>> =
        charges.iter().map(|c| c.iter().map(|v| Reading::exact(*v)).collect()).collect();
    let moments = ArmMoments::from_charges(&readings, Scale::Ratio).unwrap();
    ArmSummary {
        specimen: PackSpecimenId::parse(specimen).unwrap(),
        pack_model: PackModelId::parse(pack).unwrap(),
        acquired: Acquired::BoughtRetail,
        charges_known: true,
        exact: u32::try_from(moments.exact).unwrap(),
        censored: 0,
        outcomes: BTreeMap::from([(
            "exact/target_reached".to_owned(),
            u32::try_from(moments.exact).unwrap(),
        )]),
        warm_ups: 0,
        charges: u32::try_from(moments.charges).unwrap(),
        mean: Some(moments.mean),
        mean_ln: moments.mean_ln,
        h: moments.h,
        ss_within: moments.ss_within,
        df_within: u32::try_from(moments.df_within).unwrap(),
        ss_between: moments.ss_between,
        resolution: Some(0.01),
        first: None,
        last: None,
        position_squares: 0.0,
        position_products: 0.0,
        position: Some(10.0),
        mean_input_power_w: None,
        planned: None,
        energy: None,
        readings: None,
    }
}

pub(crate) fn trial(id: &str, tester: &str, method: &Method, arms: Vec<ArmSummary>) -> EvidenceTrial {
    EvidenceTrial {
        trial: TrialId::parse(id).unwrap(),
        tester: TesterId::parse(tester).unwrap(),
        standing: Standing::Accepted,
        weight_zero: None,
        summary: TrialSummary {
            keys: BTreeMap::from([
                ("tool_type".to_owned(), "impact_driver".to_owned()),
                ("workpiece_family".to_owned(), "timber".to_owned()),
            ]),
            bins: method.bands.iter().map(|b| (b.id.clone(), b.bins()[0].clone())).collect(),
            band_values: BTreeMap::new(),
            demand_class: Some("d2".into()),
            class_basis: ClassBasis::Measured,
            mean_power_w: None,
            left_out: vec![],
            blocked: false,
            order_design: OrderDesign::RandomisedBlocks,
            timing_method: Some("video_frames".into()),
            screening: Screening::default(),
            arms,
        },
    }
}

pub(crate) fn evidence(method: &Method, trials: Vec<EvidenceTrial>, packs: Vec<PackModel>) -> Evidence {
    Evidence {
        method: method.reference(),
        trials,
        pack_models: packs.into_iter().map(|p| (p.id.clone(), p)).collect(),
        disclosed: BTreeMap::new(),
        data_version: 7,
        evidence_version: 5,
    }
}

pub(crate) fn draft(method: &str, a: &str, b: &str) -> QuestionDraft {
    QuestionDraft {
        method: method.into(),
        pack_a: format!("packModels/{a}"),
        pack_b: format!("packModels/{b}"),
        ..QuestionDraft::default()
    }
}

pub(crate) fn ask(
    draft: QuestionDraft,
    catalogue: &Catalogue,
    evidence: &Evidence,
) -> Result<Answer, NoAnswer> {
    let question = draft.check(catalogue).unwrap();
    let method = catalogue.method(&question.method).unwrap();
    question.ask(method, evidence, &MeasuredAmounts::default())
}

pub(crate) fn near(got: Option<f64>, want: f64, within: f64) {
    let got = got.unwrap();
    assert!((got - want).abs() <= within, "{got} is not within {within} of {want}");
}

pub(crate) fn duration(percent: Option<PercentForms>) -> (Interval, Interval) {
    match percent {
        Some(PercentForms::Duration { time_reduction, rate_gain }) => (time_reduction, rate_gain),
        other => panic!("expected both forms of a duration, got {other:?}"),
    }
}

pub(crate) fn more(percent: Option<PercentForms>) -> Interval {
    match percent {
        Some(PercentForms::Amount { more }) => more,
        other => panic!("expected an amount, got {other:?}"),
    }
}

#[test]
fn scales_agree_with_the_methods() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let e = evidence(
        screws,
        vec![trial("a", "t1", screws, vec![arm("k5", "s1", &[&[10.0]]), arm("k8", "s2", &[&[9.0]])])],
        vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")],
    );
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &e).unwrap();
    assert_eq!(answer.strata[0].headline.scale, EffectScale::DurationRatio);
}

/// An arm with stopped runs: exact readings, then limits with their end, all on one charge of timed work.
pub(crate) fn stopped_arm(pack: &str, specimen: &str, exact: &[f64], stopped: &[(f64, &str)]) -> ArmSummary {
    let mut one = if exact.is_empty() {
        let base = arm(pack, specimen, &[&[1.0]]);
        ArmSummary { exact: 0, charges: 0, mean: None, mean_ln: None, outcomes: BTreeMap::new(), ..base }
    } else {
        arm(pack, specimen, &[exact])
    };
    let reading =
        |value: f64, outcome| ScoredReading { value, outcome, depends_on_pack: outcome != Outcome::Exact };
    let charge = exact.iter().map(|v| reading(*v, Outcome::Exact));
    let limits = stopped.iter().map(|(v, _)| reading(*v, Outcome::RightCensored));
    one.readings = Some(vec![charge.chain(limits).collect()]);
    one.censored = u32::try_from(stopped.len()).unwrap();
    for (_, end) in stopped {
        *one.outcomes.entry(format!("right_censored/{end}")).or_insert(0) += 1;
    }
    one
}

/// A question about `tester`s' arms, one trial each, packs `k5` and `k8`.
pub(crate) fn trials(method: &Method, arms: &[(&str, Vec<ArmSummary>)]) -> Evidence {
    let trials = arms
        .iter()
        .map(|(tester, arms)| trial(&format!("by-{tester}"), tester, method, arms.clone()))
        .collect();
    evidence(method, trials, vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")])
}
