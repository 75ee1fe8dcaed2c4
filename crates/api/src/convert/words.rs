//! Enums of the wire and words of the domain, one table for both ways.

use benchring_domain::claim::{
    Base as ClaimBase, Form as ClaimForm, Reach as ClaimReach, Side as ClaimSide, Verdict as ClaimVerdict,
};
use benchring_domain::disclosure::{Acquired, Interest, Licence};
use benchring_domain::method::Normalisation;
use benchring_domain::pack::LabelVoltageKind;
use benchring_domain::plan::{Form as EffectForm, RestsOn};
use benchring_domain::pool::question::{
    ChargeVarianceModel, Heterogeneity, IntervalMethod, OrderBiasModel, PriorModel, Variance, VoteCap,
};
use benchring_domain::standing::{Decision, Standing};
use benchring_domain::tool::Motor;
use benchring_domain::trial::{EndCriterion, OrderDesign};
use benchring_domain::violation::Violations;

use crate::v1;

/// Makes both ways of an enum whose values bear the same names on either side.
macro_rules! both_ways {
    ($($type:ident: $from:ident, $to:ident { $($variant:ident),+ })+) => {
        $(
            #[doc = concat!("Reads [`v1::", stringify!($type), "`]; unspecified is `None`.")]
            ///
            /// A number that is no value goes to `broken`, at `field`.
            pub fn $from(number: i32, field: &str, broken: &mut Violations) -> Option<$type> {
                match v1::$type::try_from(number) {
                    Ok(v1::$type::Unspecified) => None,
                    $(Ok(v1::$type::$variant) => Some($type::$variant),)+
                    Err(_) => {
                        let names = [$(v1::$type::$variant),+].map(|known| known.as_str_name());
                        unknown(number, field, &names, broken);
                        None
                    }
                }
            }

            #[doc = concat!("Writes [`v1::", stringify!($type), "`].")]
            pub fn $to(word: $type) -> i32 {
                match word {
                    $($type::$variant => v1::$type::$variant.into(),)+
                }
            }
        )+
    };
}

both_ways! {
    Standing: standing_from_wire, standing_to_wire {
        Pending, Accepted, Returned, Rejected, Disputed, Withdrawn, TakenDown
    }
    Decision: decision_from_wire, decision_to_wire { Accept, Return, Reject, Dispute }
    EndCriterion: end_criterion_from_wire, end_criterion_to_wire {
        TargetReached, ElectronicsCutoff, ToolStall, ThermalCutout, VoltageReached, TimeLimit, ManualStop,
        AccessoryFailure, SafetyAbort, InstrumentFailure
    }
    OrderDesign: order_design_from_wire, order_design_to_wire {
        RandomisedBlocks, BalancedAlternating, Alternating, Blocked, SinglePack, NotRecorded
    }
    Interest: interest_from_wire, interest_to_wire { None, Employed, Sponsored, SellerAffiliate, Other }
    Acquired: acquired_from_wire, acquired_to_wire {
        BoughtRetail, SecondHand, LentByMaker, GivenByMaker, LentByOther
    }
    LabelVoltageKind: label_voltage_kind_from_wire, label_voltage_kind_to_wire { Nominal, Maximum }
    Motor: motor_from_wire, motor_to_wire { Brushed, Brushless, Unknown }
    Normalisation: normalisation_from_wire, normalisation_to_wire {
        PerMeasuredAh, PerMeasuredWh, PerRatedAh, PerRatedWh, PerKg, PerLitre, PerPrice, PerKgOnRate,
        PerHoleVolume, PerCutArea, PerWhDelivered, TimesRatedAh, PerSeriesCell
    }
    Heterogeneity: heterogeneity_from_wire, heterogeneity_to_wire { Reml, Pm, Dl, Fe }
    IntervalMethod: interval_method_from_wire, interval_method_to_wire { HkCi, Hk, HkSe, Z }
    VoteCap: vote_cap_from_wire, vote_cap_to_wire { Median, None }
    ChargeVarianceModel: charge_variance_from_wire, charge_variance_to_wire { Components, None }
    PriorModel: prior_model_from_wire, prior_model_to_wire { Blend, Fit }
    OrderBiasModel: order_bias_from_wire, order_bias_to_wire { Bound, None }
    EffectForm: effect_form_from_wire, effect_form_to_wire { RateGain, TimeReduction, More, Less, Difference }
    ClaimForm: claim_form_from_wire, claim_form_to_wire {
        RateGain, TimeReduction, More, Less, Times, Cooler, Same, LabelLevel
    }
    ClaimReach: claim_reach_from_wire, claim_reach_to_wire { AtLeast, UpTo }
    ClaimVerdict: claim_verdict_from_wire, claim_verdict_to_wire {
        Supported, Contradicted, Inconclusive, NotEnoughEvidence, NotTestableAsWorded, Reached, NotReached,
        NoPracticalDifference
    }
    ClaimBase: claim_base_from_wire, claim_base_to_wire { Direct, Network, Levels }
    ClaimSide: claim_side_from_wire, claim_side_to_wire { AtLeast, AtMost }
}

/// Writes [`v1::FigureBasis`].
pub fn figure_basis_to_wire(word: RestsOn) -> i32 {
    let basis = match word {
        RestsOn::Stated => v1::FigureBasis::Stated,
        RestsOn::Evidence => v1::FigureBasis::Evidence,
        RestsOn::MethodFile => v1::FigureBasis::MethodFile,
        RestsOn::Assumed => v1::FigureBasis::Assumed,
        RestsOn::Contained => v1::FigureBasis::Contained,
    };
    basis.into()
}

use v1::VarianceModel as WireVariance;

/// Reads [`v1::VarianceModel`]; unspecified is `None`.
///
/// A number that is no value goes to `broken`, at `field`.
pub fn variance_from_wire(number: i32, field: &str, broken: &mut Violations) -> Option<Variance> {
    match WireVariance::try_from(number) {
        Ok(WireVariance::Unspecified) => None,
        Ok(WireVariance::Moderated) => Some(Variance::Moderated),
        Ok(WireVariance::Pooled) => Some(Variance::Pooled),
        Ok(WireVariance::Own) => Some(Variance::Own),
        Err(_) => {
            let known = [WireVariance::Moderated, WireVariance::Pooled, WireVariance::Own];
            unknown(number, field, &known.map(|v| v.as_str_name()), broken);
            None
        }
    }
}

/// Writes [`v1::VarianceModel`].
pub fn variance_to_wire(word: Variance) -> i32 {
    match word {
        Variance::Moderated => WireVariance::Moderated.into(),
        Variance::Pooled => WireVariance::Pooled.into(),
        Variance::Own => WireVariance::Own.into(),
    }
}

/// Reports a number that is no value of its enum.
pub(super) fn unknown(number: i32, field: &str, names: &[&str], broken: &mut Violations) {
    broken.add(
        field,
        "UNKNOWN_ENUM_VALUE",
        format!("{number} is no value that this server knows: use one of {}", names.join(", ")),
    );
}

/// Reads a licence by its SPDX identifier; empty is `None`.
///
/// A text that is no licence of the list goes to `broken`, at `field`.
pub fn licence_from_wire(spdx: &str, field: &str, broken: &mut Violations) -> Option<Licence> {
    let known = Licence::from_id(spdx);
    if known.is_none() && !spdx.is_empty() {
        let list = Licence::ALL.iter().map(|licence| licence.id()).collect::<Vec<_>>().join(", ");
        broken.add(
            field,
            "UNKNOWN_LICENCE",
            format!(
                "`{}` is no licence taken here: give one of {list}",
                benchring_domain::id::shortened(spdx)
            ),
        );
    }
    known
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every number of an enum reads, writes back as itself, and the next number is refused by name.
    macro_rules! reads_back {
        ($($test:ident: $type:ident, $from:ident, $to:ident;)+) => {
            $(
                #[test]
                fn $test() {
                    let mut broken = Violations::default();
                    assert_eq!($from(0, "x", &mut broken), None);
                    let values = (1..100).take_while(|n| v1::$type::try_from(*n).is_ok()).count();
                    assert!(values > 1);
                    let end = i32::try_from(values).unwrap() + 1;
                    for number in 1..end {
                        let word = $from(number, "x", &mut broken).unwrap();
                        assert_eq!($to(word), number);
                    }
                    assert!(broken.is_empty());
                    for number in [end, -1, i32::MIN, i32::MAX] {
                        let mut broken = Violations::default();
                        assert_eq!($from(number, "a.b", &mut broken), None);
                        let [violation] = broken.as_slice() else { panic!("{broken:?}") };
                        assert_eq!((violation.field.as_str(), violation.reason), ("a.b", "UNKNOWN_ENUM_VALUE"));
                        assert!(violation.message.contains(&number.to_string()), "{}", violation.message);
                    }
                }
            )+
        };
    }

    reads_back! {
        standings: Standing, standing_from_wire, standing_to_wire;
        decisions: Decision, decision_from_wire, decision_to_wire;
        end_criteria: EndCriterion, end_criterion_from_wire, end_criterion_to_wire;
        order_designs: OrderDesign, order_design_from_wire, order_design_to_wire;
        interests: Interest, interest_from_wire, interest_to_wire;
        ways_to_acquire: Acquired, acquired_from_wire, acquired_to_wire;
        label_voltage_kinds: LabelVoltageKind, label_voltage_kind_from_wire, label_voltage_kind_to_wire;
        motors: Motor, motor_from_wire, motor_to_wire;
        normalisations: Normalisation, normalisation_from_wire, normalisation_to_wire;
        charge_variances: ChargeVarianceModel, charge_variance_from_wire, charge_variance_to_wire;
        priors: PriorModel, prior_model_from_wire, prior_model_to_wire;
        order_biases: OrderBiasModel, order_bias_from_wire, order_bias_to_wire;
    }

    /// The page filter and the documents use the words; apps use the enum names. They must be the same word.
    #[test]
    fn words_are_the_enum_names_in_lower_case() {
        for standing in Standing::ALL {
            let name = v1::Standing::try_from(standing_to_wire(standing)).unwrap().as_str_name();
            assert_eq!(name.to_lowercase(), format!("standing_{standing}"));
        }
        for end in EndCriterion::ALL {
            let name = v1::EndCriterion::try_from(end_criterion_to_wire(*end)).unwrap().as_str_name();
            assert_eq!(name.to_lowercase(), format!("end_criterion_{end}"));
        }
    }

    #[test]
    fn a_licence_is_taken_from_the_list_only() {
        let mut broken = Violations::default();
        assert_eq!(licence_from_wire("", "licence", &mut broken), None);
        assert_eq!(licence_from_wire("CC-BY-4.0", "licence", &mut broken), Some(Licence::CcBy));
        assert!(broken.is_empty());
        assert_eq!(licence_from_wire("cc-by-4.0", "licence", &mut broken), None);
        assert_eq!(broken.as_slice()[0].reason, "UNKNOWN_LICENCE");
    }
}
