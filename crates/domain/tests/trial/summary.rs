//! What pooling keeps of a trial, against numbers worked out by hand.

use benchring_domain::id::PackSpecimenId;
use benchring_domain::trial::summary::ClassBasis;
use benchring_domain::trial::{EndCriterion, TrialDraft};

use crate::common::*;

fn near(got: f64, expected: f64) {
    assert!((got - expected).abs() <= 1e-12 * expected.abs().max(1.0), "{got} is not {expected}");
}

/// The first arm with two runs of 2 s and 4 s on one charge and one of 3 s on the other.
fn small() -> TrialDraft {
    with(screws(), |t| {
        let readings: [&[f64]; 2] = [&[2.0, 4.0], &[3.0]];
        for (charge, values) in t.arms[0].charges.iter_mut().zip(readings) {
            charge.runs.truncate(values.len());
            for (run, seconds) in charge.runs.iter_mut().zip(values) {
                run.reading = Some(text(&format!("{seconds:.1} s")));
            }
        }
        t.plan.as_mut().unwrap().rounds = None;
    })
}

#[test]
fn moments_count_charges_alike() {
    let arm = &kept(small()).summary.arms[0];
    assert_eq!((arm.exact, arm.censored, arm.charges, arm.df_within), (3, 0, 2, 1));
    near(arm.mean.unwrap(), 3.0);
    near(arm.mean_ln.unwrap(), 0.5 * (0.5 * 8.0_f64.ln() + 3.0_f64.ln()));
    near(arm.h, 0.5 * (0.5 + 1.0));
    near(arm.ss_within, 2.0 / 9.0);
    near(arm.ss_between, 0.0);
    near(arm.resolution.unwrap(), 0.1);
    assert_eq!((arm.first, arm.last), (Some(2.0), Some(3.0)));
    assert_eq!(
        arm.outcomes.clone().into_iter().collect::<Vec<_>>(),
        [("exact/target_reached".to_owned(), 3)]
    );
    assert_eq!(arm.readings, None);
}

#[test]
fn positions_are_means_of_charges_with_warm_ups_counted() {
    // Turns are ABBA: the first arm has positions 1, 4, 5, 8, ... on its first charge, and 17 first on its second.
    let arm = &kept(small()).summary.arms[0];
    near(arm.position.unwrap(), 0.5 * (2.5 + 17.0));
    let mean = (1.0 + 4.0 + 17.0) / 3.0;
    let squares: f64 = [1.0_f64, 4.0, 17.0].iter().map(|x| (x - mean).powi(2)).sum();
    near(arm.position_squares, squares);
    let ln_mean = 24.0_f64.ln() / 3.0;
    let products: f64 =
        [(1.0, 2.0_f64), (4.0, 4.0), (17.0, 3.0)].iter().map(|(x, y)| (x - mean) * (y.ln() - ln_mean)).sum();
    near(arm.position_products, products);
    let warm = kept(with(small(), |t| t.arms[0].charges[0].runs[0].warm_up = true));
    near(warm.summary.arms[0].position.unwrap(), 0.5 * (4.0 + 17.0));
}

#[test]
fn a_run_that_is_a_charge_is_its_own_charge() {
    let arm = &kept(cuts()).summary.arms[0];
    assert_eq!((arm.exact, arm.charges, arm.df_within), (3, 3, 0));
    near(arm.h, 1.0);
    near(arm.ss_within, 0.0);
    assert!(arm.ss_between > 0.0);
}

#[test]
fn stopped_runs_keep_every_reading_and_enter_no_moment() {
    let trial = kept(with(small(), |t| {
        let run = &mut t.arms[0].charges[0].runs[1];
        run.end_criterion = Some(EndCriterion::ToolStall);
        t.arms[1].charges[0].runs[2].end_criterion = Some(EndCriterion::TimeLimit);
    }));
    let [one, two] = trial.summary.arms.as_slice() else { panic!() };
    assert_eq!((one.exact, one.censored), (2, 1));
    near(one.mean.unwrap(), 2.5);
    let readings = one.readings.as_ref().unwrap();
    assert_eq!(readings.iter().map(Vec::len).collect::<Vec<_>>(), [2, 1]);
    assert!(readings[0][1].outcome.censored() && readings[0][1].depends_on_pack);
    let limit = two.readings.as_ref().unwrap()[0][2];
    assert!(limit.outcome.censored() && !limit.depends_on_pack);
}

#[test]
fn keys_bins_and_class_place_the_trial() {
    let summary = kept(screws()).summary;
    assert_eq!(
        summary.keys.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect::<Vec<_>>(),
        [("tool_type", "impact_driver"), ("workpiece_family", "timber")]
    );
    assert_eq!(summary.bins["screw_diameter"], "5.3 to 6.75 mm");
    assert_eq!(summary.bins["ambient_temperature"], "10 to 25 °C");
    near(summary.band_values["drive_depth"], 100.0);
    assert_eq!(summary.timing_method.as_deref(), Some("video_frames"));
    assert_eq!((summary.demand_class.as_deref(), summary.class_basis), (Some("d2"), ClassBasis::Assumed));
    let saw = kept(cuts()).summary;
    near(saw.band_values["cut_area"], 14.5 * 4.5);
    assert_eq!(saw.demand_class.as_deref(), Some("d3"));
    let load = kept(capacity()).summary;
    near(load.band_values["c_rate"], 1.0);
    assert_eq!((load.demand_class, load.class_basis), (None, ClassBasis::Unknown));
    assert_eq!(load.keys["load_mode"], "constant_current");
}

#[test]
fn recorded_power_decides_the_class_by_its_geometric_mean() {
    let class = |watt: [f64; 2]| {
        let trial = kept(with(screws(), |t| {
            for (arm, watt) in t.arms.iter_mut().zip(watt) {
                set(&mut arm.conditions, number("mean_input_power", watt, "W"));
            }
        }));
        (trial.summary.demand_class.unwrap(), trial.summary.class_basis)
    };
    assert_eq!(class([100.0, 399.9]), ("d1".to_owned(), ClassBasis::Measured));
    assert_eq!(class([100.0, 400.1]), ("d2".to_owned(), ClassBasis::Measured));
    assert_eq!(class([900.0, 900.0]), ("d4".to_owned(), ClassBasis::Measured));
    let half = kept(with(screws(), |t| {
        set(&mut t.arms[0].conditions, number("mean_input_power", 900.0, "W"));
    }));
    assert_eq!(half.summary.class_basis, ClassBasis::Assumed);
}

#[test]
fn two_single_runs_are_a_trial() {
    let trial = kept(with(screws(), |t| {
        for (arm, seconds) in t.arms.iter_mut().zip([94.64, 77.0]) {
            arm.charges.truncate(1);
            arm.charges[0].runs.truncate(1);
            arm.charges[0].runs[0].reading = Some(value(seconds, "s"));
        }
        t.plan.as_mut().unwrap().rounds = None;
    }));
    let [one, two] = trial.summary.arms.as_slice() else { panic!() };
    assert_eq!((one.exact, one.df_within, two.exact), (1, 0, 1));
    near(one.mean.unwrap(), 94.64);
}

#[test]
fn referenced_names_are_given_once() {
    let mut draft = screws();
    draft.arms.push(draft.arms[0].clone());
    let (specimens, tools) = draft.referenced();
    assert_eq!(specimens.iter().map(PackSpecimenId::as_str).collect::<Vec<_>>(), ["k4-1", "k8-1"]);
    assert_eq!(tools.len(), 1);
}
