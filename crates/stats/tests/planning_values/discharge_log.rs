//! Sources: closed-form integrals; JCGM 100:2008 (GUM) 5.1.2, sensitivities found by moving one input at a time.

use benchring_stats::discharge_log::{
    Instrument, LogError, Sample, Sensors, Step, StepErrors, integrate, log_ratio, rectangular,
    temperature_rise, two_step_resistance,
};
use proptest::prelude::*;
use serde_json::Value;

use crate::common::{Tolerance, cases, number, numbers, reference};

fn log_of(case: &Value) -> Vec<Sample> {
    if case["kind"] == "samples" {
        let columns = ["t_s", "V", "I"].map(|name| numbers(&case[name]));
        let [times, volts, amperes] = &columns;
        return (0..times.len())
            .map(|i| Sample { seconds: times[i], volts: volts[i], amperes: amperes[i] })
            .collect();
    }
    let of = |name: &str| number(&case["generate"][name]);
    let seconds = std::iter::successors(Some(0.0), |before| Some(before + of("step_s")));
    seconds
        .take_while(|seconds| *seconds <= of("to_s"))
        .map(|seconds| Sample {
            seconds,
            volts: of("volts_from") + of("volts_per_s") * seconds,
            amperes: of("amperes"),
        })
        .collect()
}

#[test]
fn integrals_agree_with_closed_forms() {
    let file = reference("discharge_log");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let mut kinds = Vec::new();
    for case in cases(&file) {
        let (id, expected) = (case["id"].as_str().unwrap(), &case["expected"]);
        kinds.push(case["kind"].as_str().unwrap());
        if case["kind"] == "two_steps" {
            let step = |u: &str, i: &str| Step { volts: number(&case[u]), amperes: number(&case[i]) };
            let got =
                two_step_resistance(step("U1", "I1"), step("U2", "I2"), &StepErrors::default()).unwrap();
            tolerance.check(id, got.ohms, number(&expected["R_ohm"]));
            continue;
        }
        let got = integrate(&log_of(case), case["cut_off"].as_f64(), &Instrument::default()).unwrap();
        for (name, want) in expected.as_object().unwrap() {
            let value = match name.as_str() {
                "Ah" => got.charge.value,
                "Wh" => got.energy.value,
                "mean_V" => got.mean_voltage,
                "duration_s" => got.duration,
                "reached_cutoff" => {
                    assert_eq!(got.cutoff_reached.unwrap_or(false), want.as_bool().unwrap(), "{id}");
                    continue;
                }
                other => panic!("no test reads {other}"),
            };
            tolerance.check(&format!("{id} {name}"), value, number(want));
        }
    }
    assert_eq!(kinds, ["straight", "straight", "samples", "two_steps"]);
}

fn sample(seconds: f64, volts: f64, amperes: f64) -> Sample {
    Sample { seconds, volts, amperes }
}

/// A log whose current and voltage both change, and not evenly.
fn uneven() -> Vec<Sample> {
    (0..400)
        .map(|place| {
            let x = f64::from(place);
            sample(x + 0.3 * (x * 0.7).sin(), 20.0 - 0.01 * x, 3.0 + 0.5 * (x * 0.05).cos())
        })
        .collect()
}

#[test]
fn uncertainties_are_those_of_moving_one_input_at_a_time() {
    let log = uneven();
    let none = Instrument::default();
    let base = integrate(&log, None, &none).unwrap();
    let moved = |change: &dyn Fn(&mut Sample), cut_off| {
        let mut log = log.clone();
        log.iter_mut().for_each(change);
        integrate(&log, cut_off, &none).unwrap()
    };
    let close = |got: f64, want: f64, relative: f64| {
        assert!((got - want).abs() <= relative * want, "{got} is not {want}");
    };
    let with = |instrument: Instrument, cut_off| integrate(&log, cut_off, &instrument).unwrap();
    let gain_i = with(Instrument { current_gain: 0.002, ..none }, None);
    let other = moved(&|s| s.amperes *= 1.002, None);
    close(gain_i.charge.uncertainty, other.charge.value - base.charge.value, 1e-9);
    close(gain_i.energy.uncertainty, other.energy.value - base.energy.value, 1e-9);
    let gain_v = with(Instrument { voltage_gain: 0.003, ..none }, None);
    let other = moved(&|s| s.volts *= 1.003, None);
    assert!(gain_v.charge.uncertainty.abs() < f64::MIN_POSITIVE);
    close(gain_v.energy.uncertainty, other.energy.value - base.energy.value, 1e-9);
    assert!(gain_v.energy.without_gain.abs() < f64::MIN_POSITIVE);
    let offset_v = with(Instrument { voltage_offset: 0.01, ..none }, None);
    let other = moved(&|s| s.volts += 0.01, None);
    close(offset_v.energy.uncertainty, other.energy.value - base.energy.value, 1e-9);
    let offset_i = with(Instrument { current_offset: 0.02, ..none }, None);
    let other = moved(&|s| s.amperes += 0.02, None);
    close(offset_i.charge.uncertainty, other.charge.value - base.charge.value, 1e-9);
    // By the charge-weighted mean voltage, which differs from the mean over time a little.
    close(offset_i.energy.uncertainty, other.energy.value - base.energy.value, 2e-3);
    // At a cut-off a shift of the voltage moves the end: Q by I_c u/|dV/dt|.
    let at_cut = with(Instrument { voltage_offset: 0.001, ..none }, Some(17.004));
    let (base, other) = (with(none, Some(17.004)), moved(&|s| s.volts += 0.001, Some(17.004)));
    assert_eq!(at_cut.cutoff_reached, Some(true));
    close(at_cut.charge.uncertainty, other.charge.value - base.charge.value, 2e-2);
}

#[test]
fn gains_cancel_between_two_logs_of_one_instrument() {
    let instrument = Instrument { current_gain: 0.01, current_offset: 0.002, ..Instrument::default() };
    let (first, second) = (uneven(), uneven().into_iter().take(300).collect::<Vec<_>>());
    let (first, second) =
        (integrate(&first, None, &instrument).unwrap(), integrate(&second, None, &instrument).unwrap());
    let (ratio, uncertainty) = log_ratio(&first.charge, &second.charge).unwrap();
    let relative = |q: f64, seconds: f64| 0.002 * seconds / 3600.0 / q;
    let want =
        relative(first.charge.value, first.duration).hypot(relative(second.charge.value, second.duration));
    assert!((ratio - (second.charge.value / first.charge.value).ln()).abs() < 1e-15);
    assert!((uncertainty - want).abs() < 1e-12 * want);
    assert!(uncertainty < 0.01 && first.charge.uncertainty / first.charge.value > 0.01);
}

/// Trapezoids err as the square of the step: Richardson, Philosophical Transactions A 210 (1911), 307-357.
#[test]
fn every_second_sample_tells_the_error_of_all() {
    // ∫ (2 + sin) over half a turn of 3600 s is 3600·(2 + 2/π).
    let log: Vec<Sample> = (0..=36)
        .map(|place| {
            let share = f64::from(place) / 36.0;
            sample(3600.0 * share, 18.0, 2.0 + (std::f64::consts::PI * share).sin())
        })
        .collect();
    let got = integrate(&log, None, &Instrument::default()).unwrap();
    let error = (got.charge.value - (2.0 + 2.0 / std::f64::consts::PI)).abs();
    let told = got.charge.sampling_error.unwrap();
    assert!((told - error).abs() < 0.01 * error, "told {told:e}, is {error:e}");
    let two = integrate(&log[..2], None, &Instrument::default()).unwrap();
    assert_eq!(two.charge.sampling_error, None);
}

#[test]
fn gaps_and_cut_offs_are_told() {
    let mut log: Vec<Sample> =
        (0..60).map(|place| sample(f64::from(place), 20.0 - 0.05 * f64::from(place), 2.0)).collect();
    log.iter_mut().skip(30).for_each(|sample| sample.seconds += 10.0);
    let got = integrate(&log, Some(10.0), &Instrument::default()).unwrap();
    assert_eq!(got.cutoff_reached, Some(false));
    assert_eq!((got.gaps.len(), got.gaps[0].after, got.gaps[0].seconds), (1, 29, 11.0));
    assert_eq!(got.samples, 60);
    let cut = integrate(&log, Some(19.0), &Instrument::default()).unwrap();
    assert_eq!((cut.cutoff_reached, cut.gaps.len()), (Some(true), 0));
    let slow: Vec<Sample> = (0..9).map(|place| sample(60.0 * f64::from(place), 18.0, 1.0)).collect();
    assert!(integrate(&slow, None, &Instrument::default()).unwrap().gaps.is_empty());
}

#[test]
fn unusable_logs_are_refused_by_place() {
    let good = [sample(0.0, 20.0, 2.0), sample(1.0, 19.0, 2.0), sample(2.0, 18.0, 2.0)];
    let refused = |log: &[Sample], cut_off| integrate(log, cut_off, &Instrument::default()).unwrap_err();
    assert_eq!(refused(&good[..1], None), LogError::TooFewSamples { count: 1 });
    let with = |place: usize, sample: Sample| {
        let mut log = good;
        log[place] = sample;
        refused(&log, None).to_string()
    };
    assert_eq!(
        with(1, sample(1.0, 19.0, 0.0)),
        "sample 1 has current 0, give a discharge current above zero (1e-20 to 1e20 A)"
    );
    assert!(with(2, sample(2.0, f64::NAN, 1.0)).starts_with("sample 2 has voltage NaN"));
    assert!(with(2, sample(f64::INFINITY, 18.0, 1.0)).starts_with("sample 2 has time inf"));
    assert_eq!(
        with(2, sample(1.0, 18.0, 1.0)),
        "sample 2 is at 1 s, not after the one before it: times must rise"
    );
    assert_eq!(refused(&good, Some(20.0)).reason(), "empty_log");
    assert_eq!(refused(&good, Some(-1.0)).reason(), "out_of_range");
    let instrument = Instrument { current_gain: -0.1, ..Instrument::default() };
    assert_eq!(integrate(&good, None, &instrument).unwrap_err().reason(), "out_of_range");
}

#[test]
fn resistance_and_rise_with_their_uncertainties() {
    let (low, high) = (Step { volts: 18.9, amperes: 0.8 }, Step { volts: 18.1, amperes: 4.0 });
    let errors = StepErrors { volts: 0.004, amperes: 0.01, voltage_gain: 0.001, current_gain: 0.002 };
    let got = two_step_resistance(low, high, &errors).unwrap();
    let (r, step) = (0.25_f64, 3.2_f64);
    let want = (2.0 * 0.004_f64.powi(2) / step / step
        + 2.0 * r * r * 0.01_f64.powi(2) / step / step
        + r * r * (0.001_f64.powi(2) + 0.002_f64.powi(2)))
    .sqrt();
    assert!((got.uncertainty - want).abs() < 1e-12 * want);
    assert_eq!(two_step_resistance(high, low, &errors).unwrap_err().reason(), "out_of_range");
    assert_eq!(two_step_resistance(low, low, &errors).unwrap_err().reason(), "out_of_range");
    let rise = temperature_rise(&[21.5, 30.0, 48.25, 47.0], Sensors::Same(0.1)).unwrap();
    assert!((rise.kelvins - 26.75).abs() < 1e-15);
    assert!((rise.uncertainty - 0.02_f64.sqrt()).abs() < 1e-15);
    let two = temperature_rise(&[21.5, 20.0], Sensors::Two(0.3, 0.4)).unwrap();
    assert!(two.kelvins == 0.0 && (two.uncertainty - 0.5).abs() < 1e-15);
    assert!(temperature_rise(&[20.0], Sensors::Same(0.1)).is_err());
    assert!(temperature_rise(&[20.0, f64::NAN], Sensors::Same(0.1)).is_err());
    assert!(temperature_rise(&[20.0, 21.0], Sensors::Same(-0.1)).is_err());
    assert!((rectangular(3.0) - 3_f64.sqrt()).abs() < 1e-15);
}

proptest! {
    /// Amperes in another unit, a clock in another unit: charge follows, mean voltage stays.
    #[test]
    fn units_follow(power in -10_i32..10, start in -1e6_f64..1e6) {
        let unit = 10_f64.powi(power);
        let base = integrate(&uneven(), Some(17.004), &Instrument::default()).unwrap();
        let log: Vec<Sample> = uneven()
            .into_iter()
            .map(|s| sample(start + s.seconds, s.volts, s.amperes * unit))
            .collect();
        let other = integrate(&log, Some(17.004), &Instrument::default()).unwrap();
        prop_assert!((other.charge.value / unit / base.charge.value - 1.0).abs() < 1e-9);
        prop_assert!((other.mean_voltage / base.mean_voltage - 1.0).abs() < 1e-9);
    }

    #[test]
    fn huge_and_tiny_logs_give_numbers_or_a_reason(
        rows in proptest::collection::vec((-20.0_f64..20.0, -20.0_f64..20.0, -20.0_f64..20.0), 2..12),
        cut in -20.0_f64..20.0,
        error in -20.0_f64..20.0,
    ) {
        let mut seconds = 0.0;
        let log: Vec<Sample> = rows
            .iter()
            .map(|(step, volts, amperes)| {
                seconds += 10_f64.powf(*step);
                sample(seconds, 10_f64.powf(*volts), 10_f64.powf(*amperes))
            })
            .collect();
        let error = 10_f64.powf(error);
        let instrument =
            Instrument { current_gain: error, current_offset: error, voltage_gain: error, voltage_offset: error };
        for cut_off in [None, Some(10_f64.powf(cut))] {
            if let Ok(got) = integrate(&log, cut_off, &instrument) {
                let numbers = [got.charge, got.energy].map(|m| [m.value, m.uncertainty, m.without_gain, m.sampling_error.unwrap_or(0.0)]);
                let all = numbers.into_iter().flatten().chain([got.mean_voltage, got.duration]);
                prop_assert!(all.clone().all(f64::is_finite), "{:?}", got);
            }
        }
    }
}
