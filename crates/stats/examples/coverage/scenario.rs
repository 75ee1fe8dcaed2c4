//! One truth, drawn from many times.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use crate::judge::Bar;
use crate::record::Record;

/// What an interval did.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Hit {
    /// Estimate less truth.
    pub(crate) error: f64,
    /// Half of the interval.
    pub(crate) half_width: f64,
    /// Whether the interval holds the truth.
    pub(crate) covered: bool,
}

impl Hit {
    pub(crate) fn new(estimate: f64, half_width: f64, truth: f64) -> Self {
        let error = estimate - truth;
        Self { error, half_width, covered: error.abs() <= half_width }
    }

    /// An interval that may be lopsided.
    pub(crate) fn of_limits(estimate: f64, lower: f64, upper: f64, truth: f64) -> Self {
        Self {
            error: estimate - truth,
            half_width: 0.5 * (upper - lower),
            covered: lower <= truth && truth <= upper,
        }
    }
}

/// A number that is looked at, with the bar that it has to meet.
pub(crate) type Measure = (&'static str, Bar);

/// The hits of one repeat, each belonging to a measure; a repeat may have none.
pub(crate) type Hits = Vec<(Measure, Hit)>;

type Draw = Box<dyn Fn(&mut ChaCha8Rng) -> Hits>;

/// A scenario of the grid.
pub(crate) struct Scenario {
    /// The section it stands in.
    pub(crate) section: &'static str,
    /// The row of the table it is averaged into.
    pub(crate) row: String,
    /// What sets it apart within the row.
    pub(crate) name: String,
    draw: Draw,
}

impl Scenario {
    pub(crate) fn new(
        section: &'static str,
        row: impl Into<String>,
        name: impl Into<String>,
        draw: impl Fn(&mut ChaCha8Rng) -> Hits + 'static,
    ) -> Self {
        Self { section, row: row.into(), name: name.into(), draw: Box::new(draw) }
    }

    /// Draws and counts, one record for each measure.
    pub(crate) fn run(&self, repeats: u32) -> Vec<Record> {
        let seed = seed_of(&[self.section, &self.row, &self.name].join("/"));
        let mut found: Vec<Record> = Vec::new();
        for repeat in 0..repeats {
            let mut chance = ChaCha8Rng::seed_from_u64(seed);
            chance.set_stream(u64::from(repeat));
            for ((measure, bar), hit) in (self.draw)(&mut chance) {
                let place = found.iter().position(|record| record.measure == measure).unwrap_or_else(|| {
                    found.push(Record::empty(self, measure, bar, repeats));
                    found.len() - 1
                });
                found[place].count(hit);
            }
        }
        found
    }
}

/// FNV-1a: the same number for the same name on every machine.
fn seed_of(name: &str) -> u64 {
    name.bytes()
        .fold(0xCBF2_9CE4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3))
}
