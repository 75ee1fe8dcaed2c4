//! How the network grows with its trials and treatments: fit by REML, interval of τ², designs, and the scores.

use std::hint::black_box;

use benchring_stats::network::pool_network;
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairArm, PairOptions, PairTrial};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};

/// One trial for each unit, two or three arms that chain all treatments, from a fixed sequence.
fn trials(count: u32, treatments: u32) -> Vec<PairTrial<u32, u32>> {
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut uniform = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    (0..count)
        .map(|unit| {
            let first = unit % treatments;
            let second = (first + 1 + unit / treatments % (treatments - 1)) % treatments;
            let third =
                (0..treatments).find(|t| *t != first && *t != second).filter(|_| unit.is_multiple_of(3));
            let level = uniform();
            let arms = [Some(first), Some(second), third].into_iter().flatten().map(|treatment| PairArm {
                treatment,
                effect: level + 0.1 * uniform() + 0.01 * f64::from(treatment),
                variance: 10_f64.powf(-4.0 + 2.0 * uniform()),
                runs: 5,
            });
            PairTrial { unit, arms: arms.collect(), order: RunOrder::NotRecorded, df: None }
        })
        .collect()
}

fn networks(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("network");
    group.sample_size(10);
    for (count, treatments) in [(10, 5), (100, 10), (300, 20), (1_000, 50), (10_000, 200)] {
        let input = trials(count, treatments);
        group.bench_function(BenchmarkId::new("answer REML", format!("{count}/{treatments}")), |bencher| {
            bencher.iter(|| {
                let network = pool_network(black_box(&input), &PairOptions::default()).expect("a network");
                network.islands[0].p_scores(true)
            });
        });
    }
    group.finish();
}

criterion_group!(benches, networks);
criterion_main!(benches);
