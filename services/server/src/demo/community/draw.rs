//! The random effects: specimens, sites, hands. All from one seed, each person and session on a stream of its own, so
//! that more testers change nothing for the first ones.

use rand::Rng;
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

use crate::demo::invented::{Pack, Weather};
use crate::demo::model::PackState;

/// Log sd of capacity between specimens of one model.
pub const SPECIMEN_CAPACITY_LOG_SD: f64 = 0.015;
/// Log sd of resistance between specimens of one model.
pub const SPECIMEN_RESISTANCE_LOG_SD: f64 = 0.05;
/// Share of specimens that have aged.
pub const AGED_SHARE: f64 = 0.1;
/// What ageing leaves of the capacity, and what it makes of the resistance.
pub const AGED: (f64, f64) = (0.93, 1.1);
/// Share of runs that went wrong in some way nobody noted.
pub const STRAY_SHARE: f64 = 0.01;
/// Log size of what such a run is off by, either way.
const STRAY_LOG: f64 = 0.5;

/// What a stream of random numbers is for.
#[derive(Debug, Clone, Copy)]
pub enum Stream {
    /// A specimen: of a pack.
    Specimen(usize),
    /// A session, by its place in the tester's list.
    Session(usize),
    /// A tester's own effect: work and pack.
    Own(usize, usize),
    /// A tester's hand: how far runs of a work scatter.
    Hand(usize),
}

/// The stream of a tester.
pub fn stream(seed: u64, tester: usize, what: Stream) -> ChaCha8Rng {
    let place = match what {
        Stream::Specimen(pack) => pack,
        Stream::Session(session) => 100 + session,
        Stream::Own(work, pack) => 200 + 10 * work + pack,
        Stream::Hand(work) => 500 + work,
    };
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream((tester * 1000 + place) as u64);
    rng
}

/// A draw from the normal distribution with mean 0.
pub fn normal(rng: &mut impl Rng, sd: f64) -> f64 {
    let z: f64 = StandardNormal.sample(rng);
    sd * z
}

/// A specimen at 20 °C, from its standard normal places and whether it has aged.
pub fn specimen(pack: &Pack, capacity_z: f64, resistance_z: f64, aged: bool) -> PackState {
    let (capacity_left, resistance_grown) = if aged { AGED } else { (1.0, 1.0) };
    let typical = pack.typical();
    PackState {
        capacity_ah: typical.capacity_ah * (SPECIMEN_CAPACITY_LOG_SD * capacity_z).exp() * capacity_left,
        resistance_20c_ohm: typical.resistance_20c_ohm
            * (SPECIMEN_RESISTANCE_LOG_SD * resistance_z).exp()
            * resistance_grown,
        ..typical
    }
}

/// A specimen as drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Specimen {
    /// The specimen at 20 °C.
    pub state: PackState,
    /// Charges so far, as its owner counts them.
    pub cycles: i32,
    /// Whether it was bought used.
    pub second_hand: bool,
}

/// Draws a specimen.
pub fn draw_specimen(pack: &Pack, rng: &mut impl Rng) -> Specimen {
    let aged = rng.random_bool(AGED_SHARE);
    let (capacity_z, resistance_z) = (normal(rng, 1.0), normal(rng, 1.0));
    let state = specimen(pack, capacity_z, resistance_z, aged);
    Specimen { state, cycles: if aged { 260 } else { 30 }, second_hand: aged }
}

/// The worn specimen of a planted fault: 300 charges, 4.2 A.h left, and resistance half as high again.
pub fn worn_specimen(pack: &Pack) -> Specimen {
    let new = pack.typical();
    let state = PackState { capacity_ah: 4.2, resistance_20c_ohm: 1.5 * new.resistance_20c_ohm, ..new };
    Specimen { state, cycles: 300, second_hand: false }
}

/// Draws an air temperature, °C.
pub fn draw_weather(weather: &[Weather], rng: &mut impl Rng) -> f64 {
    let mut left: f64 = rng.random();
    for (share, from, to) in weather {
        if left < *share {
            return rng.random_range(*from..*to);
        }
        left -= share;
    }
    // The shares add up to 1; rounding may leave a hair.
    weather.last().map_or(20.0, |(_, from, to)| f64::midpoint(*from, *to))
}

/// The factor of one run about 1, and whether it is a stray one: lognormal, and by hand now and then far off.
pub fn draw_run(cv: f64, by_hand: bool, rng: &mut impl Rng) -> (f64, bool) {
    let scatter = normal(rng, (1.0 + cv * cv).ln().sqrt());
    let stray = by_hand && rng.random_bool(STRAY_SHARE);
    let off = match (stray, stray && rng.random_bool(0.5)) {
        (false, _) => 0.0,
        (true, true) => STRAY_LOG,
        (true, false) => -STRAY_LOG,
    };
    ((scatter + off).exp(), stray)
}

/// Draws from a list of shares that add up to 1.
pub fn draw_one<T: Copy>(shares: &[(f64, T)], rng: &mut impl Rng) -> Option<T> {
    let mut left: f64 = rng.random();
    for (share, value) in shares {
        if left < *share {
            return Some(*value);
        }
        left -= share;
    }
    shares.last().map(|(_, value)| *value)
}
