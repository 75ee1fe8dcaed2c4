//! Whether the difference of two packs changes with a condition that testers had.

use benchring_domain::pool::modifiers::{
    Exploration, ExploringDraft, NotExplored, OBSERVATIONAL, Step, sentence,
};
use benchring_domain::pool::question::OptionsDraft;
use benchring_domain::pool::wording::Subject;
use benchring_domain::pool::{Evidence, EvidenceTrial, QuestionDraft};

use crate::community::{SCREWS, arm, ask, catalogue, draft, evidence, method, near, pack, trial};

/// A trial in which K8 takes `ratio` of the time of K5, at so many watts.
fn at(tester: &str, id: &str, watt: Option<f64>, class: &str, ratio: f64) -> EvidenceTrial {
    let catalogue = catalogue();
    let arms = vec![
        arm("k5", &format!("{tester}-a"), &[&[10.0, 10.2], &[9.9, 10.1]]),
        arm("k8", &format!("{tester}-b"), &[&[10.0 * ratio, 10.2 * ratio], &[9.9 * ratio, 10.1 * ratio]]),
    ];
    let mut one = trial(id, tester, method(&catalogue, SCREWS), arms);
    one.summary.mean_power_w = watt;
    one.summary.demand_class = Some(class.to_owned());
    one.summary.timing_method = Some("video_frames".to_owned());
    one
}

fn body(trials: Vec<EvidenceTrial>) -> Evidence {
    evidence(method(&catalogue(), SCREWS), trials, vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")])
}

fn explore(modifier: &str, evidence: &Evidence) -> Result<Exploration, NotExplored> {
    let catalogue = catalogue();
    let asked = ExploringDraft { question: draft(SCREWS, "k5", "k8"), modifier: modifier.into() };
    asked.check(&catalogue).unwrap().ask(method(&catalogue, SCREWS), evidence)
}

const WATTS: [f64; 9] = [120.0, 150.0, 190.0, 240.0, 300.0, 380.0, 480.0, 600.0, 750.0];
const AWAY: [f64; 9] = [0.01, -0.02, 0.015, -0.005, 0.0, 0.02, -0.01, -0.015, 0.005];

fn along_power() -> Vec<EvidenceTrial> {
    let one = |(i, (watt, away)): (usize, (&f64, &f64))| {
        let ratio = (-0.1 - 0.05 * (watt / 300.0).ln() + away).exp();
        at(
            &format!("t{i}"),
            &format!("trial-{i}"),
            Some(*watt),
            if *watt < 300.0 { "d1" } else { "d3" },
            ratio,
        )
    };
    WATTS.iter().zip(&AWAY).enumerate().map(one).collect()
}

/// With one variance for all, the slope is that of least squares (Legendre 1805) on ln W, whatever τ² is.
#[test]
fn the_slope_on_the_logarithm_of_power_is_that_of_least_squares() {
    let found = explore("mean_power", &body(along_power())).unwrap();
    let x: Vec<f64> = WATTS.iter().map(|watt| watt.ln()).collect();
    let y: Vec<f64> =
        WATTS.iter().zip(&AWAY).map(|(watt, away)| -0.1 - 0.05 * (watt / 300.0).ln() + away).collect();
    let (mx, my) = (x.iter().sum::<f64>() / 9.0, y.iter().sum::<f64>() / 9.0);
    let top: f64 = x.iter().zip(&y).map(|(x, y)| (x - mx) * (y - my)).sum();
    let bottom: f64 = x.iter().map(|x| (x - mx).powi(2)).sum();
    let slope = found.slope.as_ref().unwrap();
    near(Some(slope.coefficient), top / bottom, 1e-9);
    near(slope.change.estimate, (2_f64.ln() * top / bottom).exp(), 1e-9);
    near(slope.ends[1].estimate, (my + top / bottom * (750_f64.ln() - mx)).exp(), 1e-9);
    assert_eq!(slope.step, Step::Doubling);
    near(Some(slope.range.0), 120.0, 1e-9);
    assert!(slope.change.lower.unwrap() < slope.change.estimate.unwrap());
    assert_eq!((found.units, found.testers, found.trials, found.cells.len()), (9, 9, 9, 9));
    near(Some(found.interaction.p), slope.p, 1e-6);
    assert!(found.warnings.is_empty() && found.tau <= found.tau_without);
    let subject = Subject { pack_a: "K5".into(), pack_b: "K8".into(), measured: "time per screw".into() };
    let said = sentence(&subject, &found);
    assert!(
        said.starts_with(
            "testers who used twice the mean power at the pack found the time per screw of K8 against K5"
        ),
        "{said}"
    );
    assert!(said.ends_with(OBSERVATIONAL), "{said}");
}

/// The F of classes is that of the overall number over classes, made from the pooled strata.
#[test]
fn classes_are_tested_as_for_one_number_over_them() {
    let all = body(along_power());
    let found = explore("demand_class", &all).unwrap();
    let question = QuestionDraft { overall: true, ..draft(SCREWS, "k5", "k8") };
    let answer = ask(question, &catalogue(), &all).unwrap();
    let test = answer.classes[0].overall.as_ref().unwrap().test.unwrap();
    near(found.interaction.f, test.f, 1e-9);
    assert!(found.interaction.p >= test.p - 1e-12);
    near(Some(found.tau), test.tau, 1e-9);
    let levels: Vec<(&str, usize)> = found.levels.iter().map(|l| (l.level.as_str(), l.units)).collect();
    assert_eq!(levels, [("d1", 4), ("d3", 5)]);
    assert!(found.slope.is_none());
    let subject = Subject { pack_a: "K5".into(), pack_b: "K8".into(), measured: "time per screw".into() };
    assert!(sentence(&subject, &found).contains("with demand class d3"));
}

#[test]
fn what_cannot_be_explored_says_why() {
    let same = explore("timing_method", &body(along_power())).unwrap_err();
    assert!(matches!(&same, NotExplored::RankDeficient(_)), "{same}");
    assert!(
        same.to_string()
            .contains("timing method is the same in all 9 contrasts of this pair (rank_deficient)"),
        "{same}"
    );
    let steady: Vec<EvidenceTrial> =
        (0..4).map(|i| at(&format!("t{i}"), &format!("x{i}"), Some(300.0), "d2", 0.9)).collect();
    assert!(matches!(explore("mean_power", &body(steady)), Err(NotExplored::RankDeficient(_))));
    let two: Vec<EvidenceTrial> = along_power().into_iter().take(2).collect();
    let few = explore("mean_power", &body(two)).unwrap_err();
    assert!(matches!(&few, NotExplored::TooFew(_)), "{few}");
    assert!(matches!(explore("mean_power", &body(vec![])), Err(NotExplored::NoAnswer(_))));
}

#[test]
fn few_testers_are_warned_of_and_unknown_power_is_left_out() {
    let mut trials: Vec<EvidenceTrial> = along_power().into_iter().take(5).collect();
    trials.push(at("t8", "no-power", None, "d2", 0.9));
    // A tester who ran in two classes gives two contrasts and is one unit.
    trials.push(at("t0", "again", Some(700.0), "d3", 0.85));
    let found = explore("mean_power", &body(trials)).unwrap();
    let names: Vec<&str> = found.warnings.iter().map(|warning| warning.name).collect();
    assert_eq!(names, ["too_few_for_moderator", "units_in_several_cells"]);
    assert_eq!((found.units, found.cells.len()), (5, 6));
    let left: Vec<(&str, usize)> =
        found.left_out.iter().map(|left| (left.reason.as_str(), left.trials.len())).collect();
    assert_eq!(left, [("NO_MODIFIER", 1)]);
}

#[test]
fn the_order_of_the_evidence_does_not_matter() {
    let all = body(along_power());
    let mut turned = all.clone();
    turned.trials.reverse();
    assert_eq!(explore("mean_power", &all), explore("mean_power", &turned));
}

#[test]
fn everything_wrong_is_said_at_once() {
    let catalogue = catalogue();
    let asked = ExploringDraft {
        question: QuestionDraft {
            options: OptionsDraft { level: 7.0, ..OptionsDraft::default() },
            ..draft(SCREWS, "k5", "k5")
        },
        modifier: "phase of the moon".into(),
    };
    let broken = asked.check(&catalogue).unwrap_err();
    let found: Vec<(&str, &str)> = broken.as_slice().iter().map(|v| (v.field.as_str(), v.reason)).collect();
    assert_eq!(
        found,
        [("pack_b", "SAME_PACK"), ("options.level_ratio", "OUT_OF_LIMITS"), ("modifier", "UNKNOWN_CHOICE")]
    );
    let message = &broken.as_slice()[2].message;
    assert!(
        message.contains("mean_power, demand_class") && message.contains("ambient_temperature"),
        "{message}"
    );
    let empty = ExploringDraft { question: draft(SCREWS, "k5", "k8"), modifier: String::new() };
    assert_eq!(empty.check(&catalogue).unwrap_err().as_slice()[0].reason, "REQUIRED");
}
