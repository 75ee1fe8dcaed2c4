//! Time of one question by the size of its evidence: `cargo bench -p benchring-domain`.
//!
//! Trials of one stratum, two arms of two charges with five runs each, all of the asked pair.

#![expect(clippy::unwrap_used, reason = "a benchmark, and one that cannot go on has failed")]

use std::collections::BTreeMap;
use std::hint::black_box;

use benchring_domain::disclosure::Acquired;
use benchring_domain::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, TrialId};
use benchring_domain::method::{Catalogue, Method};
use benchring_domain::pool::{Evidence, EvidenceTrial, MeasuredAmounts, QuestionDraft};
use benchring_domain::standing::Standing;
use benchring_domain::trial::OrderDesign;
use benchring_domain::trial::summary::{ArmSummary, ClassBasis, Screening, TrialSummary};
use benchring_stats::arm::{ArmMoments, Reading};
use benchring_stats::contrast::Scale;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

const METHOD: &str = "methods/screw-drive-time/versions/1";

/// A number from 0 to 1 that looks random and is always the same.
fn scatter(seed: usize) -> f64 {
    let x = (seed as f64 * 12.9898).sin() * 43_758.547;
    x - x.floor()
}

fn arm(pack: &str, trial: usize, level: f64) -> ArmSummary {
    let charges: Vec<Vec<Reading>> = (0..2)
        .map(|c| {
            (0..5)
                .map(|r| {
                    let noise = scatter(trial * 31 + c * 7 + r * 3 + pack.len()) - 0.5;
                    Reading::exact(level * (0.25 * noise).exp())
                })
                .collect()
        })
        .collect();
    let m = ArmMoments::from_charges(&charges, Scale::Ratio).unwrap();
    ArmSummary {
        specimen: PackSpecimenId::parse(&format!("{pack}-{trial}")).unwrap(),
        pack_model: PackModelId::parse(pack).unwrap(),
        acquired: Acquired::BoughtRetail,
        charges_known: true,
        exact: 10,
        censored: 0,
        outcomes: BTreeMap::new(),
        warm_ups: 0,
        charges: 2,
        mean: Some(m.mean),
        mean_ln: m.mean_ln,
        h: m.h,
        ss_within: m.ss_within,
        df_within: 8,
        ss_between: m.ss_between,
        resolution: Some(0.01),
        first: None,
        last: None,
        position_squares: 80.0,
        position_products: scatter(trial) * 0.01,
        position: Some(10.0 + scatter(trial + 5)),
        mean_input_power_w: None,
        planned: None,
        energy: None,
        readings: None,
    }
}

fn evidence(method: &Method, trials: usize) -> Evidence {
    let one = |i: usize| EvidenceTrial {
        trial: TrialId::parse(&format!("t-{i:07}")).unwrap(),
        tester: TesterId::parse(&format!("tester-{}", i / 3)).unwrap(),
        standing: Standing::Accepted,
        weight_zero: None,
        summary: TrialSummary {
            keys: BTreeMap::from([
                ("tool_type".to_owned(), "impact_driver".to_owned()),
                ("workpiece_family".to_owned(), "timber".to_owned()),
            ]),
            bins: method.bands.iter().map(|b| (b.id.clone(), b.bins()[1].clone())).collect(),
            band_values: BTreeMap::new(),
            demand_class: Some("d2".into()),
            class_basis: ClassBasis::Measured,
            mean_power_w: None,
            left_out: vec![],
            blocked: false,
            order_design: OrderDesign::RandomisedBlocks,
            timing_method: Some("video_frames".into()),
            screening: Screening::default(),
            arms: vec![arm("k5", i, 10.0), arm("k8", i, 9.5 * (0.06 * (scatter(i) - 0.5)).exp())],
        },
    };
    Evidence {
        method: method.reference(),
        trials: (0..trials).map(one).collect(),
        pack_models: BTreeMap::new(),
        disclosed: BTreeMap::new(),
        data_version: 1,
        evidence_version: 1,
    }
}

fn compare(criterion: &mut Criterion) {
    let catalogue = Catalogue::embedded().unwrap();
    let method = catalogue.method(&MethodRef::from_name(METHOD).unwrap()).unwrap();
    let question = QuestionDraft {
        method: METHOD.into(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        ..QuestionDraft::default()
    }
    .check(&catalogue)
    .unwrap();
    let mut group = criterion.benchmark_group("ask");
    group.sample_size(20);
    for trials in [20, 200, 2_000, 20_000] {
        let evidence = evidence(method, trials);
        group.throughput(Throughput::Elements(trials as u64));
        group.bench_with_input(BenchmarkId::from_parameter(trials), &evidence, |b, evidence| {
            b.iter(|| question.ask(method, black_box(evidence), &MeasuredAmounts::default()).unwrap());
        });
    }
    group.finish();
}

criterion_group!(benches, compare);
criterion_main!(benches);
