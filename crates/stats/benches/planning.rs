//! Regression with two and three coefficients as the rows grow, three levels, power, counts of runs and units, run orders,
//! and the integrals of a long log.

use std::hint::black_box;

use benchring_stats::discharge_log::{Instrument, Sample, integrate};
use benchring_stats::estimate::Estimate;
use benchring_stats::power::{Layout, Noise, runs_per_arm, t_test_power, units_for_power};
use benchring_stats::random_effects::Options;
use benchring_stats::regression::{Column, regress};
use benchring_stats::run_orders::{cycle, run_orders};
use benchring_stats::three_level::{ClusteredEstimate, three_level};
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

/// Numbers from 0 to 1, from a fixed sequence.
fn uniform() -> impl FnMut() -> f64 {
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Effects that rise with the first column, with variances over two powers of ten and a spread of about 0.05.
fn rows(count: usize) -> (Vec<Estimate>, Vec<Column>) {
    let mut next = uniform();
    let mut columns = ["power", "temperature"].map(|name| Column { name: name.to_owned(), values: vec![] });
    let estimates = (0..count)
        .map(|_| {
            for column in &mut columns {
                column.values.push(next());
            }
            let variance = 10_f64.powf(-4.0 + 2.0 * next());
            let bell: f64 = (0..12).map(|_| next()).sum::<f64>() - 6.0;
            let slope = 0.05 * columns[0].values[columns[0].values.len() - 1];
            Estimate { effect: 0.1 + slope + bell * (variance + 0.0025).sqrt(), variance }
        })
        .collect();
    (estimates, columns.into())
}

fn regression(criterion: &mut Criterion) {
    for count in [10, 100, 1_000, 10_000] {
        let (estimates, columns) = rows(count);
        let mut group = criterion.benchmark_group("regression");
        group.throughput(Throughput::Elements(count as u64)).sample_size(20);
        for moderators in 1..=2 {
            group.bench_function(
                BenchmarkId::new(format!("REML {} columns", moderators + 1), count),
                |bencher| {
                    bencher.iter(|| {
                        regress(black_box(&estimates), &columns[..moderators], None, &Options::default())
                    });
                },
            );
        }
        let clustered: Vec<_> = (estimates.iter().enumerate())
            .map(|(place, estimate)| ClusteredEstimate { unit: place / 4, estimate: *estimate })
            .collect();
        if count <= 1_000 {
            group.bench_function(BenchmarkId::new("three levels", count), |bencher| {
                bencher.iter(|| three_level(black_box(&clustered), 0.95));
            });
        }
        group.finish();
    }
}

fn planning(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("planning");
    for df in [2.0, 24.0, 1_000.0] {
        group.bench_function(BenchmarkId::new("power", df), |bencher| {
            bencher.iter(|| t_test_power(black_box(2.8), df, 0.95));
        });
    }
    group.bench_function("runs per arm", |bencher| {
        bencher.iter(|| runs_per_arm(black_box(0.03), 0.12, 0.95, 0.8));
    });
    let noise = Noise { run: 0.08, charge: 0.03, between: 0.05 };
    let layout = Layout { charges: 3, runs_per_charge: 4 };
    group.bench_function("units", |bencher| {
        bencher.iter(|| units_for_power(black_box(0.05), &noise, layout, 0.95, 0.8));
    });
    for treatments in [2, 7, 20] {
        let labels = vec![(0..treatments).collect::<Vec<_>>(); 10];
        group.bench_function(BenchmarkId::new("ten cycles of orders", treatments), |bencher| {
            bencher.iter(|| run_orders(treatments, 10 * cycle(treatments), black_box(&labels)));
        });
    }
    group.finish();
}

fn logs(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("discharge log");
    for count in [1_000_usize, 100_000] {
        let mut next = uniform();
        let log: Vec<Sample> = (0..count)
            .map(|place| {
                let share = place as f64 / count as f64;
                Sample { seconds: place as f64, volts: 20.0 - 4.0 * share, amperes: 2.0 + next() }
            })
            .collect();
        let instrument = Instrument { current_gain: 0.002, voltage_offset: 0.005, ..Instrument::default() };
        group.throughput(Throughput::Elements(count as u64)).sample_size(20);
        group.bench_function(BenchmarkId::new("integrals", count), |bencher| {
            bencher.iter(|| integrate(black_box(&log), Some(16.4), &instrument));
        });
    }
    group.finish();
}

criterion_group!(benches, regression, planning, logs);
criterion_main!(benches);
