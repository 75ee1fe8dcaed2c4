//! Every division that a method permits, and every one that it refuses.

use benchring_domain::method::{Method, Normalisation as N, ResponseScale};
use benchring_domain::pack::PackModel;
use benchring_domain::pool::direction::DirectionWord;
use benchring_domain::pool::normalise::{NormalisationBadge, badge};
use benchring_domain::pool::strip::StripBar;
use benchring_domain::pool::{Evidence, Measured, MeasuredAmounts, MeasuredBy, QuestionDraft};
use benchring_domain::price::PriceDraft;
use benchring_domain::quantity::{Dimension, Quantity, Written};
use benchring_domain::trial::summary::{ArmSummary, EnergySummary};
use benchring_stats::arm::{ArmMoments, Reading};
use benchring_stats::contrast::Scale;

use crate::community::{CUTS, arm, catalogue, draft, evidence, method, near, pack, trial};

const RISE: &str = "methods/temperature-rise/versions/1";

fn quantity(dimension: Dimension, text: &str) -> Quantity {
    Quantity::read(dimension, None, &Written { value: None, unit: "", as_written: text }).unwrap()
}

/// K5: 5 Ah, 0.6 kg, 0.8 L, 90 EUR. K8: 8 Ah, 1.0 kg, 1.0 L, 150 EUR.
fn full(id: &str, rated: &str, mass: &str, height: &str, price: &str) -> PackModel {
    let price = PriceDraft {
        amount: price.into(),
        currency: "EUR".into(),
        date: "2026-03-01".into(),
        region: "DE".into(),
    };
    PackModel {
        mass: Some(quantity(Dimension::Mass, mass)),
        length: Some(quantity(Dimension::Length, "100 mm")),
        width: Some(quantity(Dimension::Length, "100 mm")),
        height: Some(quantity(Dimension::Length, height)),
        price: Some(price.check().unwrap()),
        ..pack(id, rated)
    }
}

fn packs() -> Vec<PackModel> {
    vec![full("k5", "5 Ah", "0.6 kg", "80 mm", "90"), full("k8", "8 Ah", "1.0 kg", "100 mm", "150")]
}

/// An arm on the scale of the method, with the energy of its runs.
fn arm_of(method: &Method, pack: &str, specimen: &str, readings: &[f64], energies: &[f64]) -> ArmSummary {
    let charges: Vec<Vec<Reading>> = readings.iter().map(|v| vec![Reading::exact(*v)]).collect();
    let scale = match method.response.scale {
        ResponseScale::Ratio => Scale::Ratio,
        ResponseScale::Difference => Scale::Difference,
    };
    let moments = ArmMoments::from_charges(&charges, scale).unwrap();
    let mean_wh = energies.iter().sum::<f64>() / energies.len() as f64;
    let one: Vec<&[f64]> = readings.chunks(1).collect();
    ArmSummary {
        mean: Some(moments.mean),
        mean_ln: moments.mean_ln,
        h: moments.h,
        ss_within: moments.ss_within,
        ss_between: moments.ss_between,
        energy: Some(EnergySummary {
            mean_wh,
            squares: energies.iter().map(|e| (e / mean_wh - 1.0).powi(2)).sum(),
            runs: u32::try_from(energies.len()).unwrap(),
        }),
        ..arm(pack, specimen, &one)
    }
}

fn three(method: &Method, a: &[f64], b: &[f64]) -> Evidence {
    let of = |t: &str| {
        let arms = vec![
            arm_of(method, "k5", &format!("{t}-a"), a, &[50.0, 52.0, 51.0]),
            arm_of(method, "k8", &format!("{t}-b"), b, &[50.0, 49.0, 51.0]),
        ];
        let mut one = trial(t, t, method, arms);
        if method.id.to_string() == "temperature-rise" {
            one.summary.keys.insert("temperature_basis".into(), "fixed_work".into());
        }
        one
    };
    evidence(method, vec![of("t1"), of("t2"), of("t3")], packs())
}

/// Every K5 holds 4.8 A.h and 86 W.h, every K8 7.9 A.h and 142 W.h.
fn measured() -> MeasuredBy {
    let amounts = |a, b| {
        let of = |t: &str, side: &str, value| {
            let specimen = benchring_domain::id::PackSpecimenId::parse(&format!("{t}-{side}")).unwrap();
            (specimen, Measured { value, relative_uncertainty: 0.004 })
        };
        MeasuredAmounts(["t1", "t2", "t3"].iter().flat_map(|t| [of(t, "a", a), of(t, "b", b)]).collect())
    };
    MeasuredBy::from([(N::PerMeasuredAh, amounts(4.8, 7.9)), (N::PerMeasuredWh, amounts(86.0, 142.0))])
}

fn strip(method: &Method, evidence: &Evidence) -> Vec<StripBar> {
    let question =
        QuestionDraft { all_normalisations: true, ..draft(&method.reference().name(), "k5", "k8") };
    let question = question.check(&catalogue()).unwrap();
    question.ask_with(method, evidence, &measured()).unwrap().strata[0].strip.clone()
}

#[test]
fn every_method_allows_its_own_and_refuses_the_rest_with_its_reason() {
    let catalogue = catalogue();
    let mut refused = 0;
    for method in catalogue.methods() {
        for one in N::ALL {
            let mut question = draft(&method.reference().name(), "k5", "k8");
            question.normalisation = Some(*one);
            match (method.permits(*one), question.check(&catalogue)) {
                (Ok(()), Ok(question)) => assert_eq!(question.normalisation, Some(*one)),
                (Err(reason), Err(broken)) => {
                    let violation = &broken.as_slice()[0];
                    assert_eq!(
                        (violation.field.as_str(), violation.reason),
                        ("normalisation", "NOT_NORMALISABLE")
                    );
                    assert!(violation.message.contains(reason), "{}", violation.message);
                    refused += 1;
                }
                (permits, checked) => panic!("{} {one}: {permits:?} but {checked:?}", method.reference()),
            }
        }
        for forbidden in &method.forbidden {
            assert!(!forbidden.reason.is_empty() && method.permits(forbidden.normalisation).is_err());
        }
    }
    assert_eq!(catalogue.methods().count(), 16);
    assert!(refused > 100, "{refused}");
}

#[test]
fn every_method_is_answered_in_every_division_that_it_permits() {
    let catalogue = catalogue();
    for method in catalogue.methods() {
        let all = three(method, &[20.0, 22.0, 21.0], &[18.0, 17.0, 19.0]);
        let bars = strip(method, &all);
        let told: Vec<Option<N>> = bars.iter().map(|bar| bar.normalised.normalisation).collect();
        let permitted: Vec<Option<N>> =
            std::iter::once(None).chain(method.normalisations.iter().copied().map(Some)).collect();
        assert_eq!(told, permitted, "{}", method.reference());
        for bar in &bars {
            let one = bar.normalised.normalisation;
            assert!(
                bar.effect.is_some() && bar.missing.is_empty(),
                "{} {one:?}: {}",
                method.reference(),
                bar.missing
            );
            assert_eq!(bar.normalised.badge, one.map(badge));
            assert_eq!(bar.effect.as_ref().unwrap().basis.trials, 3);
        }
    }
}

/// By hand: K8 does 40 cuts where K5 does 30. Raw it is ahead, 33 % more; per rated A.h it does 5 against 6, 17 % less.
#[test]
fn the_winner_flips_where_size_is_divided_out() {
    let catalogue = catalogue();
    let cuts = method(&catalogue, CUTS);
    let bars = strip(cuts, &three(cuts, &[30.0, 30.4, 29.6], &[40.0, 40.5, 39.5]));
    let of = |one: Option<N>| bars.iter().find(|bar| bar.normalised.normalisation == one).unwrap();
    let ratio = |one| of(one).effect.as_ref().unwrap().effect.estimate;
    near(ratio(None), 4.0 / 3.0, 1e-9);
    near(ratio(Some(N::PerRatedAh)), 5.0 / 6.0, 1e-9);
    near(ratio(Some(N::PerMeasuredAh)), 4.0 / 3.0 * 4.8 / 7.9, 1e-9);
    near(ratio(Some(N::PerKg)), 4.0 / 3.0 * 0.6, 1e-9);
    near(ratio(Some(N::PerLitre)), 4.0 / 3.0 * 0.8, 1e-9);
    near(ratio(Some(N::PerPrice)), 4.0 / 3.0 * 90.0 / 150.0, 1e-9);
    let word = |one| of(one).direction.as_ref().unwrap().word;
    assert_eq!(word(None), DirectionWord::BBetter);
    assert_eq!(word(Some(N::PerRatedAh)), DirectionWord::ABetter);
    let price = of(Some(N::PerPrice)).normalised.clone();
    let [Some(a), Some(b)] = price.divisors else { panic!("no prices are told") };
    assert_eq!((a.value, a.unit.as_str(), b.from.as_str()), (90.0, "EUR", "seen in DE on 2026-03-01"));
    assert_eq!(price.badge, Some(NormalisationBadge::Price));
    let amount = of(Some(N::PerMeasuredAh)).normalised.divisors[1].clone().unwrap();
    assert_eq!(
        (amount.specimens, amount.unit.as_str(), amount.relative_uncertainty),
        (3, "A.h", Some(0.004))
    );
}

#[test]
fn what_a_division_cannot_do_is_said_on_its_bar() {
    let catalogue = catalogue();
    let cuts = method(&catalogue, CUTS);
    let mut all = three(cuts, &[30.0, 30.4, 29.6], &[40.0, 40.5, 39.5]);
    all.pack_models.values_mut().for_each(|pack| pack.mass = None);
    all.trials[0].summary.arms[0].specimen =
        benchring_domain::id::PackSpecimenId::parse("never-measured").unwrap();
    let bars = strip(cuts, &all);
    let of = |one| bars.iter().find(|bar| bar.normalised.normalisation == Some(one)).unwrap();
    assert!(of(N::PerKg).effect.is_none() && of(N::PerKg).missing.contains("no mass on record"));
    let measured = of(N::PerMeasuredAh);
    assert_eq!(measured.effect.as_ref().unwrap().basis.trials, 2);
    assert_eq!(
        (measured.left_out[0].reason.as_str(), measured.left_out[0].trials.len()),
        ("NO_MEASURED_CAPACITY", 1)
    );
}

/// By hand: K5 rises 21 K on 51 W.h, K8 18 K on 50 W.h: 0.36/0.4118 = 0.8743. The variance of its logarithm is that of the
/// rises over their squares and that of the mean energies.
#[test]
fn a_rise_over_energy_is_a_ratio_of_means_for_fixed_work() {
    let catalogue = catalogue();
    let rise = method(&catalogue, RISE);
    let mut all = three(rise, &[20.0, 22.0, 21.0], &[18.0, 17.0, 19.0]);
    all.trials.truncate(1);
    let plain = draft(RISE, "k5", "k8").check(&catalogue).unwrap();
    let plain = plain.ask(rise, &all, &MeasuredAmounts::default()).unwrap();
    near(plain.strata[0].headline.effect.estimate, -3.0, 1e-12);
    let ask = |all: &Evidence| {
        let question = QuestionDraft { normalisation: Some(N::PerWhDelivered), ..draft(RISE, "k5", "k8") };
        question.check(&catalogue).unwrap().ask(rise, all, &MeasuredAmounts::default())
    };
    let ratio = ask(&all).unwrap();
    let stratum = &ratio.strata[0];
    near(stratum.headline.effect.estimate, 0.36 / (21.0 / 51.0), 1e-12);
    let per_arm = 0.5 * plain.strata[0].headline.standard_error.powi(2);
    let energies = (2.0 / 51.0_f64.powi(2) + 2.0 / 50.0_f64.powi(2)) / 6.0;
    let variance = per_arm * (21.0_f64.powi(-2) + 18.0_f64.powi(-2)) + energies;
    near(Some(stratum.headline.standard_error), variance.sqrt(), 1e-9);
    assert!(stratum.warnings.iter().any(|w| w.name == "fixed_work_only"));
    // The same time is not the same work, and one energy has no scatter.
    all.trials[0].summary.keys.insert("temperature_basis".into(), "fixed_time".into());
    let refused = |all: &Evidence| ask(all).unwrap_err().to_string();
    assert!(refused(&all).contains("after the same work only"), "{}", refused(&all));
    all.trials[0].summary.keys.insert("temperature_basis".into(), "fixed_work".into());
    all.trials[0].summary.arms[0].energy = None;
    assert!(refused(&all).contains("energy delivered is not recorded for every run"), "{}", refused(&all));
}
