//! What a trial shows by itself. Statistics and p-values by scipy 1.17, of the formulas named.

use benchring_domain::screening::{Flag, FlagKind, FlagLevel, Severity, Statistic};
use benchring_domain::trial::{Checked, RunDraft, TrialDraft};

use crate::common::{cuts, kept, screws, text, with};

/// Screws on one charge each, with these times of the first pack; those of the second never differ by chance.
fn timed(first: &[f64]) -> TrialDraft {
    with(screws(), |trial| {
        if let Some(plan) = &mut trial.plan {
            (plan.rounds, plan.runs_per_round) = (None, None);
        }
        for (place, arm) in trial.arms.iter_mut().enumerate() {
            arm.charges.truncate(1);
            let sample = arm.charges[0].runs[0].clone();
            let times = [first, &SECOND[..first.len()]][place];
            let runs = times.iter().enumerate().map(|(n, time)| RunDraft {
                position: i32::try_from(2 * n + 1 + usize::from((place == 1) == n.is_multiple_of(2))).ok(),
                reading: Some(text(&format!("{time:.4} s"))),
                ..sample.clone()
            });
            arm.charges[0].runs = runs.collect();
        }
    })
}

const SECOND: [f64; 9] = [2.71, 2.64, 2.76, 2.69, 2.74, 2.66, 2.72, 2.67, 2.75];

fn flags(checked: &Checked, kind: FlagKind) -> Vec<&Flag> {
    checked.summary.screening.flags.iter().filter(|flag| flag.kind == kind).collect()
}

fn near(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-9 * want.abs().max(1.0), "{got} is not {want}");
}

#[test]
fn a_quiet_trial_has_no_flag_of_a_run_and_keeps_its_numbers() {
    let checked = kept(timed(&[2.9, 3.0, 2.8, 2.95, 3.1, 2.85]));
    assert!(checked.summary.screening.flags.iter().all(|flag| flag.level != FlagLevel::Run));
    assert!(checked.summary.screening.without_outliers.is_empty());
    let moments = &checked.summary.screening.moments[0];
    let logs: Vec<f64> = [2.9f64, 3.0, 2.8, 2.95, 3.1, 2.85].iter().map(|t| t.ln()).collect();
    let mean = logs.iter().sum::<f64>() / 6.0;
    near(moments.mean, mean);
    near(moments.squares, logs.iter().map(|y| (y - mean).powi(2)).sum());
}

/// z = (ln y - mean)/sqrt(s0^2 (1 - 1/n)) with s0 = 0.12 and d0 = 4, p = 2 n P(T > |z|).
#[test]
fn few_runs_are_held_against_the_scatter_of_the_method() {
    let checked = kept(timed(&[2.9, 3.0, 2.8, 2.95, 9.6]));
    let [flag] = flags(&checked, FlagKind::Replicate)[..] else {
        panic!("{:?}", checked.summary.screening.flags)
    };
    assert_eq!((flag.level, flag.statistic), (FlagLevel::Run, Statistic::Z));
    assert_eq!(flag.field, "arms[0].charges[0].runs[4].reading");
    let logs: Vec<f64> = [2.9f64, 3.0, 2.8, 2.95, 9.6].iter().map(|t| t.ln()).collect();
    let mean = logs.iter().sum::<f64>() / 5.0;
    near(flag.number, (9.6f64.ln() - mean) / (0.12 * 0.8f64.sqrt()));
    assert_eq!((flag.sd, flag.compared.runs), (Some(0.12), 4));
    assert!(flag.p.unwrap() < 0.01 && flag.severity == Severity::Outlier, "{flag:?}");
    // A run that is merely long is none: p is 0.185 there.
    let checked = kept(timed(&[2.9, 3.0, 2.8, 2.95, 4.4]));
    assert!(flags(&checked, FlagKind::Replicate).is_empty());
}

/// Grubbs 1950 by scipy: G 2.60735, p 4.75963e-5, critical 2.38681 at 1 %.
#[test]
fn from_seven_runs_on_grubbs_judges() {
    let checked = kept(timed(&[2.9, 3.0, 2.8, 2.95, 3.1, 2.85, 3.05, 2.92, 4.6]));
    let [flag] = flags(&checked, FlagKind::Replicate)[..] else {
        panic!("{:?}", checked.summary.screening.flags)
    };
    assert_eq!((flag.statistic, flag.severity), (Statistic::G, Severity::Outlier));
    near(flag.number, 2.607_350_181_008_974_3);
    near(flag.p.unwrap(), 4.759_631_537_824_126_6e-5);
    near(flag.critical.unwrap(), 2.386_809_875_070_916_6);
    // The screened arm is without that run alone, the kept one with it.
    let screened = &checked.summary.screening.without_outliers[&0];
    assert_eq!((checked.summary.arms[0].exact, screened.exact), (9, 8));
    near(screened.mean.unwrap(), (2.9 + 3.0 + 2.8 + 2.95 + 3.1 + 2.85 + 3.05 + 2.92) / 8.0);
}

#[test]
fn a_slip_is_named_with_its_factor_and_the_weaker_flag_yields() {
    let checked = kept(timed(&[2.9, 3.0, 2.8, 0.295, 3.1, 2.85]));
    let [flag] = flags(&checked, FlagKind::UnitSlip)[..] else {
        panic!("{:?}", checked.summary.screening.flags)
    };
    assert_eq!((flag.field.as_str(), flag.causes[0].factor), ("arms[0].charges[0].runs[3].reading", 10.0));
    near(flag.causes[0].corrected, 2.95);
    assert!(flag.causes[0].posterior > 0.9 && flag.leaves_out());
    assert!(flags(&checked, FlagKind::Replicate).is_empty());
    assert_eq!(checked.summary.screening.without_outliers[&0].exact, 5);
    // No number of the trial was changed by it.
    assert_eq!(checked.summary.arms[0].exact, 6);
}

#[test]
fn of_two_runs_nobody_can_tell_which_is_off() {
    let checked = kept(timed(&[2.9, 20.0]));
    let [flag] = flags(&checked, FlagKind::Replicate)[..] else {
        panic!("{:?}", checked.summary.screening.flags)
    };
    assert_eq!(flag.or_fields, ["arms[0].charges[0].runs[1].reading"]);
    assert!(flag.severity == Severity::Outlier && !flag.leaves_out());
    assert!(checked.summary.screening.without_outliers.is_empty());
}

/// Mann 1945: nine rising values, p = 2/9!; the line by least squares within arms.
#[test]
fn a_rise_along_the_order_is_a_trend_and_a_drift() {
    let rising: Vec<f64> = (0..9).map(|n| ((2.8 * 1.01f64.powi(n)) * 10_000.0).round() / 10_000.0).collect();
    let checked = kept(timed(&rising));
    let [trend] = flags(&checked, FlagKind::Trend)[..] else {
        panic!("{:?}", checked.summary.screening.flags)
    };
    assert_eq!((trend.number.to_bits(), trend.severity), (36.0f64.to_bits(), Severity::Outlier));
    near(trend.p.unwrap(), 2.0 / 362_880.0);
    assert!((trend.value.unwrap() - 1.0).abs() < 0.01, "{trend:?}");
    let drift = flags(&checked, FlagKind::Drift);
    assert!(drift.iter().all(|flag| flag.level == FlagLevel::Trial && !flag.leaves_out()));
}

#[test]
fn runs_that_are_all_the_same_are_told_and_left_in() {
    let checked = kept(timed(&[2.9, 2.9, 2.9, 2.9]));
    let [flag] = flags(&checked, FlagKind::ZeroSpread)[..] else {
        panic!("{:?}", checked.summary.screening.flags)
    };
    assert_eq!(
        (flag.level, flag.severity, flag.field.as_str()),
        (FlagLevel::Arm, Severity::Notice, "arms[0]")
    );
    assert!(!flag.leaves_out());
}

#[test]
fn what_follows_from_reading_and_sizes_is_kept_for_the_levels() {
    let checked = kept(cuts());
    let derived = &checked.summary.screening.derived;
    assert!(derived.values().all(|arms| arms.len() == 2), "{derived:?}");
}

#[test]
fn screening_is_told_alike_every_time_and_reads_back_as_it_is() {
    let checked = kept(timed(&[2.9, 3.0, 2.8, 0.295, 3.1, 2.85]));
    let again = kept(timed(&[2.9, 3.0, 2.8, 0.295, 3.1, 2.85]));
    assert_eq!(checked.summary.screening, again.summary.screening);
    let text = serde_json::to_string(&checked.summary).unwrap();
    assert_eq!(checked.summary, serde_json::from_str(&text).unwrap());
}
