//! The part of a log that is integrated.

use super::{LogError, Sample};

/// The samples up to the end, the end itself last.
pub(super) struct Trace {
    pub(super) points: Vec<Sample>,
    /// Samples of the log in it.
    pub(super) samples: usize,
    /// The place of the cut-off; none where it is not asked for or not reached.
    pub(super) end: Option<End>,
}

/// What holds at the cut-off.
#[derive(Clone, Copy)]
pub(super) struct End {
    pub(super) volts: f64,
    pub(super) amperes: f64,
    /// |dV/dt| there, in volts per second.
    pub(super) slope: f64,
}

impl Trace {
    /// From the first point to the last, in seconds.
    pub(super) fn duration(&self) -> f64 {
        self.points[self.points.len() - 1].seconds - self.points[0].seconds
    }
}

/// Cuts a checked log at the first sample with V ≤ `cut_off`, by straight lines in V.
pub(super) fn trace(log: &[Sample], cut_off: Option<f64>) -> Result<Trace, LogError> {
    let whole = || Trace { points: log.to_vec(), samples: log.len(), end: None };
    let Some(volts) = cut_off else {
        return Ok(whole());
    };
    let Some(below) = log.iter().position(|sample| sample.volts <= volts) else {
        return Ok(whole());
    };
    if below == 0 {
        return Err(LogError::Empty { volts: log[0].volts, cut_off: volts });
    }
    let (before, after) = (log[below - 1], log[below]);
    let fall = before.volts - after.volts;
    let share = (before.volts - volts) / fall;
    let step = after.seconds - before.seconds;
    let amperes = before.amperes + share * (after.amperes - before.amperes);
    let mut points = log[..below].to_vec();
    // So near to the sample before it that time does not move, that sample is the end.
    let seconds = (before.seconds + share * step).min(after.seconds);
    if seconds > before.seconds {
        points.push(Sample { seconds, volts, amperes });
    } else if points.len() == 1 {
        return Err(LogError::Empty { volts: log[0].volts, cut_off: volts });
    }
    Ok(Trace { points, samples: below, end: Some(End { volts, amperes, slope: fall / step }) })
}
