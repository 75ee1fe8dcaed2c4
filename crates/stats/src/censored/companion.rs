//! Readings taken in another way, to show how far an answer hangs on the limits.

use crate::arm::{Reading, Status};

/// The arm with every chosen limit moved out to its slowest exact reading.
///
/// For limits that depend on what is measured: it assumes that a run that failed would not have been faster than
/// the slowest one that did not. A right-censored reading is moved up to the largest exact one of the arm, a
/// left-censored one (a rate) down to the smallest; limits beyond it stay. `chosen` is asked by place of charge and
/// place of reading in it.
pub fn limits_at_slowest(
    charges: &[Vec<Reading>],
    chosen: impl Fn(usize, usize) -> bool,
) -> Vec<Vec<Reading>> {
    let exact = || charges.iter().flatten().filter(|reading| reading.status == Status::Exact);
    let values = || exact().map(|reading| reading.value);
    let (largest, smallest) = (values().max_by(f64::total_cmp), values().min_by(f64::total_cmp));
    map_chosen(charges, chosen, |reading| {
        let value = match reading.status {
            Status::Exact => reading.value,
            Status::Right => largest.map_or(reading.value, |largest| reading.value.max(largest)),
            Status::Left => smallest.map_or(reading.value, |smallest| reading.value.min(smallest)),
        };
        Reading { value, status: reading.status }
    })
}

/// The arm with every chosen limit taken as exact: "work until it stopped".
pub fn limits_as_exact(charges: &[Vec<Reading>], chosen: impl Fn(usize, usize) -> bool) -> Vec<Vec<Reading>> {
    map_chosen(charges, chosen, |reading| Reading::exact(reading.value))
}

fn map_chosen(
    charges: &[Vec<Reading>],
    chosen: impl Fn(usize, usize) -> bool,
    change: impl Fn(Reading) -> Reading,
) -> Vec<Vec<Reading>> {
    let of_charge = |(charge, readings): (usize, &Vec<Reading>)| {
        let readings = readings.iter().enumerate();
        readings.map(|(run, &reading)| if chosen(charge, run) { change(reading) } else { reading }).collect()
    };
    charges.iter().enumerate().map(of_charge).collect()
}
