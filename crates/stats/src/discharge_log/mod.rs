//! What a log of voltage and current holds: charge, energy, mean voltage and how well they are known; resistance from two
//! steps; a rise of temperature.

mod error;
mod limits;
mod resistance;
mod rise;
mod samples;

use crate::sum::sum;
pub use error::LogError;
use limits::{check_instrument, check_samples};
pub use resistance::{Resistance, Step, StepErrors, two_step_resistance};
pub use rise::{Rise, Sensors, temperature_rise};
use samples::{End, Trace, trace};

/// Seconds in an hour: watt-hours and ampere-hours from watt-seconds and coulombs.
const HOUR: f64 = 3600.0;
/// A step longer than this, in seconds, and …
const LEAST_GAP: f64 = 5.0;
/// … than so many median steps is a gap.
const GAP_STEPS: f64 = 10.0;

/// One sample of a log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// t, in seconds from any zero.
    pub seconds: f64,
    /// V at the terminals, in volts, above zero.
    pub volts: f64,
    /// I, in amperes, above zero on discharge.
    pub amperes: f64,
}

/// Standard uncertainties of the instrument; 0 where there is none. See [`rectangular`] for limits.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Instrument {
    /// `u_gI`, relative, of the gain of current.
    pub current_gain: f64,
    /// `u_oI`, of the zero of current, in amperes.
    pub current_offset: f64,
    /// `u_gV`, relative, of the gain of voltage.
    pub voltage_gain: f64,
    /// `u_oV`, of the zero of voltage, in volts.
    pub voltage_offset: f64,
}

/// The standard uncertainty of a value known to lie within ± a: a/√3
///
/// # Reference
/// JCGM 100:2008 (GUM), 4.3.7.
pub fn rectangular(limit: f64) -> f64 {
    limit / 3_f64.sqrt()
}

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty, in the unit of the value.
    pub uncertainty: f64,
    /// The part of it that is not from the gains: what is left in a ratio of two logs by one instrument.
    pub without_gain: f64,
    /// |`x_h` − `x_2h`|/3, the error of the trapezoids as told by every second sample, in the unit of the value; none for one step.
    pub sampling_error: Option<f64>,
}

/// A step longer than the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Place of the sample before it, from 0.
    pub after: usize,
    /// Its length, in seconds.
    pub seconds: f64,
}

/// What a log holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Discharge {
    /// Q, in ampere-hours.
    pub charge: Measured,
    /// E, in watt-hours.
    pub energy: Measured,
    /// E/Q, in volts.
    pub mean_voltage: f64,
    /// T, from the first sample to the cut-off or the last sample, in seconds.
    pub duration: f64,
    /// Whether the cut-off was reached; none where none was asked for. What is not reached cannot be compared.
    pub cutoff_reached: Option<bool>,
    /// Samples used, the last interpolated one not counted.
    pub samples: usize,
    /// Steps of more than 5 s and more than ten median steps.
    pub gaps: Vec<Gap>,
}

/// Integrates a log up to its cut-off:
/// ```text
/// Q = Σ ½(I_j + I_{j−1}) Δt/3600,  E = Σ ½(V_j I_j + V_{j−1} I_{j−1}) Δt/3600,  mean voltage E/Q
/// u(Q)² = (Q u_gI)² + (u_oI T/3600)² + (I_c u_tc/3600)²,  u_tc = u(V_c)/|dV/dt|
/// u(E)² = (E u_gI)² + (E u_gV)² + (u_oI V̄ T/3600)² + (u_oV Q)² + (V̄ I_c u_tc/3600)²
/// ```
/// The cut-off is reached at the first sample with V ≤ `cut_off`; its time is interpolated in V, and I with it. `u(V_c)`² =
/// (`V_c` `u_gV`)² + `u_oV`²; without a cut-off, or where it is not reached, the end of the log is taken as exact.
///
/// # Errors
/// [`LogError`] for the first sample, cut-off or uncertainty that is not usable, and [`LogError::Empty`].
///
/// # Reference
/// JCGM 100:2008 (GUM), 5.1.2; halving the step after Richardson, Philosophical Transactions A 210 (1911), 307–357.
pub fn integrate(
    log: &[Sample],
    cut_off: Option<f64>,
    instrument: &Instrument,
) -> Result<Discharge, LogError> {
    check_samples(log)?;
    check_instrument(cut_off, instrument)?;
    let trace = trace(log, cut_off)?;
    let charge = |points: &[Sample]| integral(points, |sample| sample.amperes);
    let energy = |points: &[Sample]| integral(points, |sample| sample.volts * sample.amperes);
    let (q, e) = (charge(&trace.points), energy(&trace.points));
    let duration = trace.duration();
    let coarse = every_second(&trace.points);
    let sampling = |fine: f64, coarse_of: &dyn Fn(&[Sample]) -> f64| {
        coarse.as_ref().map(|points| (fine - coarse_of(points)).abs() / 3.0)
    };
    let uncertainty = Uncertainty::of(&trace, (q, e), instrument);
    Ok(Discharge {
        charge: uncertainty.charge(sampling(q, &charge)),
        energy: uncertainty.energy(sampling(e, &energy)),
        mean_voltage: e / q,
        duration,
        cutoff_reached: cut_off.map(|_| trace.end.is_some()),
        samples: trace.samples,
        gaps: gaps(&trace.points),
    })
}

/// ∫ f dt by trapezoids, per hour.
fn integral(points: &[Sample], f: impl Fn(&Sample) -> f64) -> f64 {
    let step = |pair: &[Sample]| 0.5 * (f(&pair[0]) + f(&pair[1])) * (pair[1].seconds - pair[0].seconds);
    sum(points.windows(2).map(step)) / HOUR
}

/// Every second point and the last; none where that leaves out nothing.
fn every_second(points: &[Sample]) -> Option<Vec<Sample>> {
    let last = points.len() - 1;
    (last > 1).then(|| {
        let mut kept: Vec<Sample> = points.iter().step_by(2).copied().collect();
        if last % 2 == 1 {
            kept.push(points[last]);
        }
        kept
    })
}

fn gaps(points: &[Sample]) -> Vec<Gap> {
    let steps: Vec<f64> = points.windows(2).map(|pair| pair[1].seconds - pair[0].seconds).collect();
    let mut sorted = steps.clone();
    sorted.sort_unstable_by(f64::total_cmp);
    let median = f64::midpoint(sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2]);
    let limit = LEAST_GAP.max(GAP_STEPS * median);
    let gap =
        |(after, seconds): (usize, &f64)| (*seconds > limit).then_some(Gap { after, seconds: *seconds });
    steps.iter().enumerate().filter_map(gap).collect()
}

/// The parts of the uncertainty of charge and energy, each in its unit.
struct Uncertainty {
    charge: (f64, f64, f64),
    energy: (f64, f64, f64),
}

impl Uncertainty {
    fn of(trace: &Trace, (q, e): (f64, f64), instrument: &Instrument) -> Self {
        let mean = e / q;
        let hours = trace.duration() / HOUR;
        let end = trace.end.map_or(0.0, |End { amperes, volts, slope }| {
            let u_v = (volts * instrument.voltage_gain).hypot(instrument.voltage_offset);
            amperes * (u_v / slope) / HOUR
        });
        let offset = instrument.current_offset * hours;
        let energy_rest = (offset * mean).hypot(instrument.voltage_offset * q).hypot(mean * end);
        let energy_gain = (e * instrument.current_gain).hypot(e * instrument.voltage_gain);
        Self {
            charge: (q, q * instrument.current_gain, offset.hypot(end)),
            energy: (e, energy_gain, energy_rest),
        }
    }

    fn charge(&self, sampling_error: Option<f64>) -> Measured {
        measured(self.charge, sampling_error)
    }

    fn energy(&self, sampling_error: Option<f64>) -> Measured {
        measured(self.energy, sampling_error)
    }
}

fn measured((value, gain, rest): (f64, f64, f64), sampling_error: Option<f64>) -> Measured {
    Measured { value, uncertainty: gain.hypot(rest), without_gain: rest, sampling_error }
}

/// ln of the ratio of two values by one instrument, `second` to `first`, and its standard uncertainty: the gains cancel, the
/// rest does not.
///
/// # Errors
/// [`LogError::Parameter`] unless both values are above zero.
pub fn log_ratio(first: &Measured, second: &Measured) -> Result<(f64, f64), LogError> {
    for value in [first.value, second.value] {
        if !(value > 0.0 && value.is_finite()) {
            return Err(LogError::Parameter { name: "value", value, expected: "a finite number above zero" });
        }
    }
    let relative = |measured: &Measured| measured.without_gain / measured.value;
    Ok(((second.value / first.value).ln(), relative(first).hypot(relative(second))))
}
