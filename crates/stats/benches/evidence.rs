//! How the other routines grow with the number of trials: leaving one out, the prior of a method, its charge variance, arms
//! with limits, shares over strata, order bias, merging of a unit's trials, voting units.

use std::hint::black_box;
use std::time::Duration;

use benchring_stats::arm::{ArmMoments, Reading, Status};
use benchring_stats::blocks::{Arm, unit_blocks};
use benchring_stats::censored::censored_mean;
use benchring_stats::completion::{Share, Stratum, mantel_haenszel};
use benchring_stats::contrast::Scale;
use benchring_stats::estimate::Estimate;
use benchring_stats::leave_one_out::leave_one_out;
use benchring_stats::order::{RunOrder, WeightedTrial, order_bias};
use benchring_stats::random_effects::Options;
use benchring_stats::units::voting_units;
use benchring_stats::variance::{ChargeSums, PriorSums, TrialSpread, charge_variance, cold_prior};
use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};

const SIZES: [usize; 4] = [10, 100, 1_000, 10_000];

/// Numbers from 0 to 1 from a fixed sequence.
struct Uniform(u64);

impl Uniform {
    fn new() -> Self {
        Self(0x9E37_79B9_7F4A_7C15)
    }

    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

fn group<'a>(criterion: &'a mut Criterion, name: &str, count: usize) -> BenchmarkGroup<'a, WallTime> {
    let mut group = criterion.benchmark_group(name);
    group.throughput(Throughput::Elements(count as u64)).sample_size(10);
    group.warm_up_time(Duration::from_millis(200)).measurement_time(Duration::from_millis(600));
    group
}

/// Two charges of three readings an arm.
fn charges(chance: &mut Uniform) -> Vec<Vec<Reading>> {
    (0..2).map(|_| (0..3).map(|_| Reading::exact(9.0 + 2.0 * chance.next())).collect()).collect()
}

fn leaving_out(criterion: &mut Criterion) {
    let mut chance = Uniform::new();
    for count in SIZES {
        let input: Vec<Estimate> = (0..count)
            .map(|_| Estimate {
                effect: chance.next() - 0.5,
                variance: 10_f64.powf(-4.0 + 2.0 * chance.next()),
            })
            .collect();
        group(criterion, "leave one out", count).bench_function(
            BenchmarkId::from_parameter(count),
            |bencher| {
                bencher.iter(|| leave_one_out(black_box(&input), &Options::default()));
            },
        );
    }
}

fn spreads(criterion: &mut Criterion) {
    let mut chance = Uniform::new();
    for count in SIZES {
        let arms: Vec<[ArmMoments; 2]> = (0..count)
            .map(|_| {
                [(); 2].map(|()| {
                    ArmMoments::from_charges(&charges(&mut chance), Scale::Ratio).expect("readings")
                })
            })
            .collect();
        group(criterion, "prior and charge variance", count).bench_function(
            BenchmarkId::from_parameter(count),
            |bencher| {
                bencher.iter(|| {
                    let (mut runs, mut charges) = (PriorSums::default(), ChargeSums::default());
                    for arms in black_box(&arms) {
                        let spread = TrialSpread::from_arms(arms, 0.0).expect("arms");
                        runs.add(spread.s2, spread.df).expect("a spread");
                        charges.add(&spread);
                    }
                    (cold_prior(&runs, Some(0.1)), charge_variance(&charges, 0.03))
                });
            },
        );
    }
}

fn limits(criterion: &mut Criterion) {
    let mut chance = Uniform::new();
    for count in SIZES {
        let stop = |reading: Reading| {
            if reading.value > 10.5 { Reading { value: 10.5, status: Status::Right } } else { reading }
        };
        let readings: Vec<Reading> =
            (0..count).map(|_| stop(Reading::exact(9.0 + 2.0 * chance.next()))).collect();
        let arm: Vec<Vec<Reading>> = readings.chunks(5).map(<[Reading]>::to_vec).collect();
        group(criterion, "arm with limits, readings", count).bench_function(
            BenchmarkId::from_parameter(count),
            |bencher| {
                bencher.iter(|| censored_mean(black_box(&arm), Scale::Ratio, 0.06, 0.0009));
            },
        );
    }
}

fn shares(criterion: &mut Criterion) {
    let mut chance = Uniform::new();
    for count in SIZES {
        let mut share = || Share::new(u32::from(chance.next() < 0.3), 5).expect("a share");
        let strata: Vec<Stratum> = (0..count).map(|unit| Stratum { a: share(), b: share(), unit }).collect();
        group(criterion, "shares over strata", count).bench_function(
            BenchmarkId::from_parameter(count),
            |bencher| {
                bencher.iter(|| mantel_haenszel(black_box(&strata), 0.95));
            },
        );
    }
}

fn order(criterion: &mut Criterion) {
    for count in SIZES {
        let (runs, weights) = ([3_u32, 4], [-0.01, 0.01]);
        let orders: Vec<RunOrder> = (0..count)
            .map(
                |place| {
                    if place % 3 == 0 { RunOrder::NotRecorded } else { RunOrder::Positions(vec![2.5, 6.5]) }
                },
            )
            .collect();
        group(criterion, "order bias", count).bench_function(BenchmarkId::from_parameter(count), |bencher| {
            bencher.iter(|| {
                let trials = black_box(&orders).iter();
                order_bias(0.01, trials.map(|order| WeightedTrial { weights: &weights, runs: &runs, order }))
            });
        });
    }
}

/// All trials of one unit, of three treatments out of ten.
fn merging(criterion: &mut Criterion) {
    let mut chance = Uniform::new();
    for count in SIZES {
        let mut arm =
            |treatment| Arm { treatment, effect: chance.next(), variance: 0.001 + 0.01 * chance.next() };
        let trials: Vec<Vec<Arm>> =
            (0..count).map(|place| (0..3).map(|step| arm((place + step * 3) % 10)).collect()).collect();
        group(criterion, "merging one unit's trials", count).bench_function(
            BenchmarkId::from_parameter(count),
            |bencher| {
                bencher.iter(|| unit_blocks(black_box(&trials)));
            },
        );
    }
}

fn units(criterion: &mut Criterion) {
    for count in SIZES {
        let uses: Vec<(usize, usize)> = (0..count).map(|member| (member, member / 3)).collect();
        group(criterion, "voting units", count).bench_function(
            BenchmarkId::from_parameter(count),
            |bencher| {
                bencher.iter(|| voting_units(0..count, black_box(&uses).iter().copied()));
            },
        );
    }
}

criterion_group!(benches, leaving_out, spreads, limits, shares, order, merging, units);
criterion_main!(benches);
