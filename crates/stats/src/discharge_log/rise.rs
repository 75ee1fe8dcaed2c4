//! How far a temperature rises.

use super::LogError;
use super::limits::{number, uncertainty};

/// What measured the start and the highest temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sensors {
    /// One sensor, whose offset cancels: standard uncertainty of one reading from noise, in kelvins.
    Same(f64),
    /// Two sensors: their standard uncertainties, in kelvins.
    Two(f64, f64),
}

/// A rise of temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rise {
    /// Highest less first reading, in kelvins, from 0.
    pub kelvins: f64,
    /// Its standard uncertainty, in kelvins.
    pub uncertainty: f64,
}

/// max − start; u = √2·`u_noise` for one sensor, √(u₁² + u₂²) for two
///
/// `readings` in kelvins or degrees Celsius, the start first.
///
/// # Errors
/// [`LogError::TooFewSamples`] for fewer than two readings, [`LogError::Sample`] for one that is not finite, and
/// [`LogError::Parameter`] for an uncertainty that is not usable.
///
/// # Reference
/// JCGM 100:2008 (GUM), 5.1.2.
pub fn temperature_rise(readings: &[f64], sensors: Sensors) -> Result<Rise, LogError> {
    if readings.len() < 2 {
        return Err(LogError::TooFewSamples { count: readings.len() });
    }
    for (index, value) in readings.iter().enumerate() {
        let expected = "a finite number within ±1e20";
        number("temperature", *value).map_err(|_| LogError::Sample {
            index,
            name: "temperature",
            value: *value,
            expected,
        })?;
    }
    let uncertainty_of_rise = match sensors {
        Sensors::Same(noise) => {
            uncertainty("noise", noise)?;
            2_f64.sqrt() * noise
        }
        Sensors::Two(first, second) => {
            uncertainty("first sensor", first)?;
            uncertainty("second sensor", second)?;
            first.hypot(second)
        }
    };
    let highest = readings.iter().copied().fold(readings[0], f64::max);
    Ok(Rise { kelvins: highest - readings[0], uncertainty: uncertainty_of_rise })
}
