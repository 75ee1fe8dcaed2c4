//! What samples, cut-off and instrument may be.

use super::{Instrument, LogError, Sample};

/// Largest voltage, current or time, and the inverse of the smallest voltage or current: products and their squares stay
/// finite.
const LARGEST: f64 = 1e20;

/// Checks every sample and that time rises.
pub(super) fn check_samples(log: &[Sample]) -> Result<(), LogError> {
    if log.len() < 2 {
        return Err(LogError::TooFewSamples { count: log.len() });
    }
    let mut before = f64::NEG_INFINITY;
    for (index, sample) in log.iter().enumerate() {
        let bad = |name, value, expected| LogError::Sample { index, name, value, expected };
        if sample.seconds.is_nan() || sample.seconds.abs() > LARGEST {
            return Err(bad("time", sample.seconds, "a finite number of seconds within ±1e20"));
        }
        for (name, value, expected) in [
            ("voltage", sample.volts, "a voltage above zero (1e-20 to 1e20 V)"),
            ("current", sample.amperes, "a discharge current above zero (1e-20 to 1e20 A)"),
        ] {
            if !(LARGEST.recip()..=LARGEST).contains(&value) {
                return Err(bad(name, value, expected));
            }
        }
        if sample.seconds <= before {
            return Err(LogError::Time { index, value: sample.seconds });
        }
        before = sample.seconds;
    }
    Ok(())
}

/// Checks cut-off and uncertainties.
pub(super) fn check_instrument(cut_off: Option<f64>, instrument: &Instrument) -> Result<(), LogError> {
    if let Some(value) = cut_off
        && !(LARGEST.recip()..=LARGEST).contains(&value)
    {
        let expected = "a voltage above zero (1e-20 to 1e20 V)";
        return Err(LogError::Parameter { name: "cut_off", value, expected });
    }
    let Instrument { current_gain, current_offset, voltage_gain, voltage_offset } = *instrument;
    uncertainty("current_gain", current_gain)?;
    uncertainty("current_offset", current_offset)?;
    uncertainty("voltage_gain", voltage_gain)?;
    uncertainty("voltage_offset", voltage_offset)
}

/// Checks one standard uncertainty.
pub(super) fn uncertainty(name: &'static str, value: f64) -> Result<(), LogError> {
    if (0.0..=LARGEST).contains(&value) {
        Ok(())
    } else {
        Err(LogError::Parameter { name, value, expected: "a standard uncertainty from 0 to 1e20" })
    }
}

/// Checks a number of any sign.
pub(super) fn number(name: &'static str, value: f64) -> Result<f64, LogError> {
    if value.abs() <= LARGEST {
        Ok(value)
    } else {
        Err(LogError::Parameter { name, value, expected: "a finite number within ±1e20" })
    }
}
