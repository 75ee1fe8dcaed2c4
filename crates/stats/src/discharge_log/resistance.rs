//! Direct-current resistance from two steps of current.

use super::LogError;
use super::limits::{number, uncertainty};

/// The end of one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// U at the terminals, in volts.
    pub volts: f64,
    /// I, in amperes.
    pub amperes: f64,
}

/// Standard uncertainties of the values at the ends of the steps.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StepErrors {
    /// `u_U` of one reading of voltage, in volts, gain apart.
    pub volts: f64,
    /// `u_I` of one reading of current, in amperes, gain apart.
    pub amperes: f64,
    /// `g_V`, relative, of the gain of voltage.
    pub voltage_gain: f64,
    /// `g_I`, relative, of the gain of current.
    pub current_gain: f64,
}

/// A resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resistance {
    /// R, in ohms; not above zero only where the readings contradict a resistance.
    pub ohms: f64,
    /// Its standard uncertainty, in ohms.
    pub uncertainty: f64,
}

/// Resistance from the ends of a step of low and one of high current:
/// ```text
/// R = (U₁ − U₂)/(I₂ − I₁),  u² = 2u_U²/ΔI² + 2R²u_I²/ΔI² + R²(g_V² + g_I²)
/// ```
/// Pulse times, state of charge and temperature belong to the method: with others it is another quantity.
///
/// # Errors
/// [`LogError::Parameter`] unless the second current is above the first and every number is usable.
///
/// # Reference
/// IEC 61960-3 (0.2 `I_t` for 10 s, then 1.0 `I_t` for 1 s; from memory); JCGM 100:2008 (GUM), 5.1.2.
pub fn two_step_resistance(low: Step, high: Step, errors: &StepErrors) -> Result<Resistance, LogError> {
    let drop = number("first voltage", low.volts)? - number("second voltage", high.volts)?;
    let rise = number("second current", high.amperes)? - number("first current", low.amperes)?;
    uncertainty("volts", errors.volts)?;
    uncertainty("amperes", errors.amperes)?;
    uncertainty("voltage_gain", errors.voltage_gain)?;
    uncertainty("current_gain", errors.current_gain)?;
    if rise < 1e-20 {
        let expected = "a second current above the first";
        return Err(LogError::Parameter { name: "the step of current", value: rise, expected });
    }
    let ohms = drop / rise;
    let two = 2_f64.sqrt();
    let parts = [
        two * errors.volts / rise,
        two * ohms * errors.amperes / rise,
        ohms * errors.voltage_gain,
        ohms * errors.current_gain,
    ];
    Ok(Resistance { ohms, uncertainty: parts.into_iter().fold(0.0, f64::hypot) })
}
