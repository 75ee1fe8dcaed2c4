//! The level of a trial beside those of other testers. Median and Algorithm A by a few lines of Python.

use benchring_domain::pool::levels::LevelSignal;
use benchring_domain::pool::wording::level_sentence;

use crate::community::{SCREWS, arm, ask, catalogue, draft, method, near, trials};

fn at(level: f64, tester: &'static str) -> (&'static str, Vec<benchring_domain::trial::summary::ArmSummary>) {
    let of = |pack: &str, level: f64| arm(pack, &format!("{tester}-{pack}"), &[&[level, level]]);
    (tester, vec![of("k5", level), of("k8", 0.8 * level)])
}

#[test]
fn minutes_entered_as_seconds_show_in_the_level_and_not_in_the_ratio() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let all = [at(9.0, "t1"), at(9.6, "t2"), at(10.0, "t3"), at(10.5, "t4"), at(11.4, "t5"), at(600.0, "t6")];
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &trials(screws, &all)).unwrap();
    let stratum = &answer.strata[0];
    near(stratum.headline.effect.estimate, 0.8, 1e-12);
    assert_eq!(stratum.headline.basis.testers, 6);
    assert_eq!(stratum.levels.unit, "s");
    let slipped = &stratum.levels.trials[5];
    near(Some(slipped.level), 600.0, 1e-9);
    near(slipped.others, 10.0, 1e-12);
    near(slipped.others_sd, 0.101_570_393_218_8, 1e-10);
    near(slipped.z, 40.310_413_620_2, 1e-7);
    assert_eq!((slipped.signal, slipped.others_count), (LevelSignal::Action, 5));
    assert!(slipped.slips[0].starts_with("minutes and seconds"), "{:?}", slipped.slips);
    assert!(slipped.slips[0].contains("10 s in place of 600 s"), "{:?}", slipped.slips);
    let text = level_sentence(screws, slipped).unwrap();
    assert!(text.contains("40.3 robust standard deviations above that of 5 other testers"), "{text}");
    // Nobody else is drawn away by it.
    let first = &stratum.levels.trials[0];
    near(first.z, -0.657_423_636_8, 1e-7);
    assert_eq!((first.signal, first.slips.len()), (LevelSignal::Fine, 0));
    assert!(level_sentence(screws, first).is_none());
}

#[test]
fn fewer_than_four_other_testers_say_nothing_about_a_level() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let all = [at(9.0, "t1"), at(9.6, "t2"), at(10.0, "t3"), at(600.0, "t4")];
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &trials(screws, &all)).unwrap();
    for level in &answer.strata[0].levels.trials {
        assert_eq!((level.signal, level.z, level.others_count), (LevelSignal::NotCompared, None, 3));
    }
}
