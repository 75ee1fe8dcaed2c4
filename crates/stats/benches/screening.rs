//! How screening, precision and drift grow with the count of values.

use std::hint::black_box;

use benchring_stats::contrast::Scale;
use benchring_stats::estimate::Estimate;
use benchring_stats::precision::{LimitFactor, precision};
use benchring_stats::random_effects::Options;
use benchring_stats::robust::algorithm_a;
use benchring_stats::screen::{
    SpreadRow, cochran, dixon, generalised_esd, grubbs, grubbs_pair, influence, mandel, modified_z,
    screen_replicates,
};
use benchring_stats::trend::{OrderedReading, drift_line, mann_kendall};
use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};

/// Values about 10 with a standard deviation of about 0.5, from a fixed sequence.
fn readings(count: usize) -> Vec<f64> {
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut uniform = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    (0..count).map(|_| 10.0 + 0.5 * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0)).collect()
}

fn series(criterion: &mut Criterion) {
    for count in [10, 100, 1_000, 10_000] {
        let values = readings(count);
        let mut group = criterion.benchmark_group("series");
        group.sample_size(10);
        let mut run = |name: &str, mut routine: Box<dyn FnMut()>| {
            group.bench_function(BenchmarkId::new(name, count), |bencher| bencher.iter(&mut routine));
        };
        let of = |routine: fn(&[f64])| -> Box<dyn FnMut()> {
            let values = values.clone();
            Box::new(move || routine(black_box(&values)))
        };
        run("Grubbs", of(|values| drop(black_box(grubbs(values)))));
        run("Grubbs pair", of(|values| drop(black_box(grubbs_pair(values)))));
        run("ESD of five", of(|values| drop(black_box(generalised_esd(values, 5)))));
        run("modified z", of(|values| drop(black_box(modified_z(values)))));
        run("Algorithm A", of(|values| drop(black_box(algorithm_a(values)))));
        run("default", of(|values| drop(black_box(screen_replicates(values, Scale::Ratio, None)))));
        run("Mann-Kendall", of(|values| drop(black_box(mann_kendall(values)))));
        if count == 10 {
            run("Dixon", of(|values| drop(black_box(dixon(values)))));
        }
        let runs: Vec<OrderedReading> = values
            .iter()
            .zip(1_u32..)
            .map(|(&value, run)| OrderedReading { arm: (run % 2) as usize, run, value })
            .collect();
        run("drift line", Box::new(move || drop(black_box(drift_line(black_box(&runs))))));
    }
}

fn units(criterion: &mut Criterion) {
    for count in [10, 100, 1_000, 10_000] {
        let values = readings(3 * count);
        let cells: Vec<Vec<f64>> = values.chunks(3).map(<[f64]>::to_vec).collect();
        let spreads: Vec<SpreadRow> =
            values[..count].iter().map(|value| SpreadRow { variance: value / 100.0, df: 2.0 }).collect();
        let estimates: Vec<Estimate> = values[..count]
            .iter()
            .zip(&values[count..])
            .map(|(&effect, &other)| Estimate { effect, variance: 1e-2 * other })
            .collect();
        let mut group = criterion.benchmark_group("units");
        group.sample_size(10);
        group.bench_function(BenchmarkId::new("Cochran", count), |bencher| {
            bencher.iter(|| cochran(black_box(&spreads)));
        });
        group.bench_function(BenchmarkId::new("Mandel", count), |bencher| {
            bencher.iter(|| mandel(black_box(&cells)));
        });
        group.bench_function(BenchmarkId::new("precision", count), |bencher| {
            bencher.iter(|| precision(black_box(&cells), LimitFactor::Rounded, 0.95));
        });
        group.bench_function(BenchmarkId::new("influence", count), |bencher| {
            bencher.iter(|| influence(black_box(&estimates), &Options::default()));
        });
    }
}

fn quick() -> Criterion {
    Criterion::default()
        .warm_up_time(std::time::Duration::from_millis(100))
        .measurement_time(std::time::Duration::from_millis(300))
}

criterion_group! {
    name = screening;
    config = quick();
    targets = series, units
}
criterion_main!(screening);
