//! How the pool of k estimates grows with k: estimators of τ² alone, the whole answer with interval, Q-profile and I², and a
//! pair from its trials (merging, pool, order bias, leave-one-out, the answer without blocked trials).

use std::hint::black_box;

use benchring_stats::estimate::{Estimate, Estimates};
use benchring_stats::heterogeneity::{Tau2Method, q_profile, tau2};
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairArm, PairOptions, PairTrial, pool_pair};
use benchring_stats::random_effects::{Options, pool};
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

/// k estimates about 0.1 with variances over two powers of ten and a spread of true effects of about 0.05, from a fixed sequence.
fn estimates(count: usize) -> Vec<Estimate> {
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut uniform = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    (0..count)
        .map(|_| {
            let variance = 10_f64.powf(-4.0 + 2.0 * uniform());
            let bell: f64 = (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
            Estimate { effect: 0.1 + bell * (variance + 0.0025).sqrt(), variance }
        })
        .collect()
}

fn pooling(criterion: &mut Criterion) {
    let methods =
        [("DL", Tau2Method::DerSimonianLaird), ("PM", Tau2Method::PauleMandel), ("REML", Tau2Method::Reml)];
    for count in [10, 100, 1_000, 10_000] {
        let input = estimates(count);
        let checked = Estimates::new(&input).expect("usable numbers");
        let mut group = criterion.benchmark_group("pooling");
        group.throughput(Throughput::Elements(count as u64)).sample_size(20);
        for (name, method) in methods {
            group.bench_function(BenchmarkId::new(format!("tau2 {name}"), count), |bencher| {
                bencher.iter(|| tau2(black_box(&checked), method));
            });
            let options = Options { tau2: method, ..Options::default() };
            group.bench_function(BenchmarkId::new(format!("answer {name}"), count), |bencher| {
                bencher.iter(|| pool(black_box(&input), &options));
            });
        }
        group.bench_function(BenchmarkId::new("Q-profile", count), |bencher| {
            bencher.iter(|| q_profile(black_box(&checked), 0.95));
        });
        group.finish();
    }
}

/// One trial of two arms for each unit, a third of them in blocked order.
fn pairs(criterion: &mut Criterion) {
    for count in [10, 100, 1_000, 10_000] {
        let trial = |(unit, estimate): (usize, &Estimate)| {
            let arm = |treatment: u8, effect| PairArm {
                treatment,
                effect,
                variance: 0.5 * estimate.variance,
                runs: 4,
            };
            let gap = if unit % 3 == 0 { 4.0 } else { 0.0 };
            PairTrial {
                unit,
                arms: vec![arm(0, 0.0), arm(1, estimate.effect)],
                order: RunOrder::Positions(vec![2.5, 2.5 + gap]),
                df: None,
            }
        };
        let trials: Vec<_> = estimates(count).iter().enumerate().map(trial).collect();
        let options = PairOptions { drift: 0.01, ..PairOptions::default() };
        let mut group = criterion.benchmark_group("pair");
        group.throughput(Throughput::Elements(count as u64)).sample_size(20);
        group.bench_function(BenchmarkId::new("answer REML", count), |bencher| {
            bencher.iter(|| pool_pair(black_box(&trials), &0, &1, &options));
        });
        group.finish();
    }
}

criterion_group!(benches, pooling, pairs);
criterion_main!(benches);
