//! What specimens really hold: capacities from accepted discharge trials, for "per measured A.h".

use std::collections::BTreeMap;

use crate::id::PackSpecimenId;
use crate::method::Method;
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::normalise::{Measured, MeasuredAmounts};
use crate::pool::question::Options;
use crate::pool::spread::MethodSpread;

/// The rate of a label check, per hour: 0.2 It (IEC 61960-3, from memory).
pub const LABEL_CHECK_RATE: f64 = 0.2;
/// Band of the discharge methods on current over rated capacity.
pub(super) const RATE_BAND: &str = "c_rate";

/// The measured amount of every specimen that an accepted, poolable trial of `method` discharged at the
/// rate of the label check.
///
/// Several discharges of one specimen are averaged on the log scale, weighted by their number; the relative
/// standard uncertainty is the method's run-to-run scatter over the square root of that number (JCGM
/// 100:2008, 4.2.3). Gain errors of the instrument are not in it: a tester's packs share them and they cancel
/// in a ratio.
pub fn measured_amounts(method: &Method, evidence: &Evidence) -> MeasuredAmounts {
    let wanted = method.bin_of(RATE_BAND, LABEL_CHECK_RATE);
    let accepted: Vec<&EvidenceTrial> = evidence
        .trials
        .iter()
        .filter(|t| t.counts() && t.summary.left_out.is_empty())
        .filter(|t| t.summary.bins.get(RATE_BAND) == wanted.as_ref())
        .collect();
    let Some(first) = accepted.first() else { return MeasuredAmounts::default() };
    let spread = MethodSpread::of(method, &accepted, &first.summary, &Options::default());
    let mut sums: BTreeMap<&PackSpecimenId, (f64, f64)> = BTreeMap::new();
    for arm in accepted.iter().flat_map(|t| &t.summary.arms).filter(|arm| arm.censored == 0) {
        if let Some(mean_ln) = arm.mean_ln.filter(|_| arm.exact > 0) {
            let n = f64::from(arm.exact);
            let (sum, count) = sums.entry(&arm.specimen).or_insert((0.0, 0.0));
            *sum += n * mean_ln;
            *count += n;
        }
    }
    let amount = |(specimen, (sum, n)): (&PackSpecimenId, (f64, f64))| {
        let relative_uncertainty = (spread.prior.s02 / n).sqrt();
        (specimen.clone(), Measured { value: (sum / n).exp(), relative_uncertainty })
    };
    MeasuredAmounts(sums.into_iter().map(amount).collect())
}
