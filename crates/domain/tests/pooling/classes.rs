//! Demand classes beside each other, centres in place of bins, and one number over classes where it is fair.

use benchring_domain::method::known;
use benchring_domain::pool::answer::Answer;
use benchring_domain::pool::classes::{ClassBadge, OverallCondition};
use benchring_domain::pool::question::CentreDraft;
use benchring_domain::pool::wording::{Subject, overall_sentence};
use benchring_domain::pool::{Evidence, QuestionDraft};
use benchring_domain::trial::summary::ClassBasis;

use crate::community::{SCREWS, arm, ask, catalogue, draft, evidence, method, near, pack, trial};

/// `testers` of each class, with the ratio K8/K5 of each.
fn classes(parts: &[(&str, f64, &[f64])]) -> Evidence {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let mut trials = Vec::new();
    for (class, watt, ratios) in parts {
        for (i, ratio) in ratios.iter().enumerate() {
            let id = format!("{class}-t{i}");
            let arms = vec![
                arm("k5", &format!("{id}-a"), &[&[10.0, 10.2], &[9.9, 10.1]]),
                arm("k8", &format!("{id}-b"), &[&[10.0 * ratio, 10.2 * ratio], &[9.9 * ratio, 10.1 * ratio]]),
            ];
            let mut one = trial(&id, &id, screws, arms);
            one.summary.demand_class = Some((*class).to_owned());
            one.summary.mean_power_w = Some(*watt);
            one.summary.class_basis = if i == 0 { ClassBasis::Assumed } else { ClassBasis::Measured };
            trials.push(one);
        }
    }
    evidence(screws, trials, vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")])
}

fn overall(parts: &[(&str, f64, &[f64])]) -> Answer {
    let question = QuestionDraft { overall: true, ..draft(SCREWS, "k5", "k8") };
    ask(question, &catalogue(), &classes(parts)).unwrap()
}

fn failed(answer: &Answer) -> Vec<OverallCondition> {
    answer.classes[0].overall.as_ref().unwrap().failed.iter().map(|(condition, _)| *condition).collect()
}

fn said(answer: &Answer) -> String {
    let subject = Subject { pack_a: "K5".into(), pack_b: "K8".into(), measured: "time per screw".into() };
    overall_sentence(&subject, &answer.classes[0]).unwrap()
}

#[test]
fn classes_stand_beside_each_other_with_their_power_and_badge() {
    let all = classes(&[("d3", 600.0, &[0.80, 0.81, 0.79]), ("d1", 150.0, &[1.0, 0.99])]);
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue(), &all).unwrap();
    assert_eq!(answer.strata[0].demand_class.as_deref(), Some("d3"));
    let family = &answer.classes[0];
    assert!(family.overall.is_none() && answer.classes.len() == 1);
    let rows: Vec<_> = family.rows.iter().map(|row| row.demand_class.as_deref().unwrap()).collect();
    assert_eq!(rows, ["d1", "d3"]);
    assert_eq!(family.rows[1].effect, answer.strata[0].headline);
    assert_eq!(family.rows[0].badge, ClassBadge::Mixed);
    let power = family.rows[1].mean_power.unwrap();
    near(Some(power.watt), 600.0, 1e-9);
    assert_eq!((power.measured, power.trials), (2, 3));
    near(power.geometric_sd, 1.0, 1e-9);
    assert_eq!(answer.strata[0].without_assumed_class.as_ref().unwrap().basis.trials, 2);
}

#[test]
fn only_measured_classes_on_request() {
    let all = classes(&[("d3", 600.0, &[0.80, 0.81, 0.79])]);
    let question = QuestionDraft { measured_class_only: true, ..draft(SCREWS, "k5", "k8") };
    let answer = ask(question, &catalogue(), &all).unwrap();
    let stratum = &answer.strata[0];
    assert_eq!((stratum.headline.basis.trials, stratum.class_badge), (2, ClassBadge::Measured));
    assert_eq!(answer.left_out[0].reason, "CLASS_NOT_MEASURED");
    assert_eq!(answer.left_out[0].trials[0].to_string(), "d3-t0");
}

#[test]
fn classes_that_agree_give_one_number_on_request() {
    let alike: &[f64] = &[0.80, 0.82, 0.78, 0.81];
    let answer = overall(&[("d1", 150.0, alike), ("d3", 600.0, alike)]);
    assert_eq!(failed(&answer), []);
    let given = answer.classes[0].overall.as_ref().unwrap();
    let effect = given.effect.as_ref().unwrap();
    assert_eq!((effect.basis.testers, effect.basis.trials), (8, 8));
    near(effect.effect.estimate, answer.strata[0].headline.effect.estimate.unwrap(), 1e-9);
    let test = given.test.unwrap();
    near(Some(test.p), 1.0, 1e-9);
    near(Some(test.df2), 6.0, 0.0);
    assert!(said(&answer).starts_with("over demand classes d1, d3 (interaction p = 1.000): K8 takes"));
    assert_eq!(answer.strata.len(), 2);
}

#[test]
fn each_condition_that_fails_is_named_with_its_numbers() {
    let alike: &[f64] = &[0.80, 0.82, 0.78, 0.81];
    let few = overall(&[("d1", 150.0, alike), ("d3", 600.0, &alike[..3])]);
    assert_eq!(failed(&few), [OverallCondition::TestersPerClass]);
    assert!(said(&few).contains("d3 has 3 testers with 3 votes: 4 votes are needed in every class"));
    assert!(few.classes[0].overall.as_ref().unwrap().effect.is_none() && few.classes[0].rows.len() == 2);

    let apart = overall(&[("d1", 150.0, alike), ("d3", 600.0, &[0.95, 0.96, 0.94, 0.97])]);
    assert_eq!(failed(&apart), [OverallCondition::InteractionTest, OverallCondition::ClassesWithin]);
    assert!(said(&apart).contains("the interaction test gives F(1, 6)"), "{}", said(&apart));
    assert!(said(&apart).contains("class estimates lie up to 19."), "{}", said(&apart));

    // Nobody could have seen a difference between classes that scatter so: 3 % decides.
    let wild = overall(&[("d1", 150.0, &[0.6, 1.0, 0.8, 1.2]), ("d3", 600.0, &[0.7, 1.1, 0.9, 1.3])]);
    assert_eq!(failed(&wild), [OverallCondition::ClassesWithin]);
    assert!(wild.classes[0].overall.as_ref().unwrap().test.unwrap().p > 0.05);

    let one = overall(&[("d1", 150.0, alike)]);
    assert_eq!(failed(&one), [OverallCondition::TwoClasses]);
}

#[test]
fn classes_are_asked_for_only_where_the_method_has_them() {
    let catalogue = catalogue();
    let without = catalogue.methods().find(|m| !m.uses(known::DEMAND_CLASS)).unwrap().reference().name();
    let question = QuestionDraft { overall: true, measured_class_only: true, ..draft(&without, "k5", "k8") };
    let broken = question.check(&catalogue).unwrap_err();
    let fields: Vec<_> = broken.as_slice().iter().map(|v| v.field.as_str()).collect();
    assert_eq!(fields, ["scope.measured_class_only", "overall_across_classes"]);
    let both = QuestionDraft { overall: true, demand_class: "d1".into(), ..draft(SCREWS, "k5", "k8") };
    assert_eq!(both.check(&catalogue).unwrap_err().as_slice()[0].reason, "ONE_CLASS_ONLY");
}

/// The factor is 1.3: 6 mm takes 7.8 mm and 4.616 mm, ends included, and no more.
#[test]
fn a_centre_takes_what_lies_within_its_factor_and_says_its_unit() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let mut all = classes(&[("d2", 300.0, &[0.8, 0.81, 0.79, 0.8])]);
    for (one, mm) in all.trials.iter_mut().zip([7.8, 6.0 / 1.3, 7.81, 4.61]) {
        one.summary.band_values.insert("screw_diameter".into(), mm);
    }
    let mut question = draft(SCREWS, "k5", "k8");
    question.centres = vec![CentreDraft { band: "screw_diameter".into(), centre: "0.6 cm".into() }];
    let answer = ask(question, &catalogue, &all).unwrap();
    let shared = &answer.strata[0].shared;
    let band = shared.iter().find(|(name, _)| name == "screw_diameter").unwrap();
    assert_eq!(band.1, "within a factor 1.3 of 6 mm");
    assert_eq!(answer.strata[0].headline.basis.trials, 2);
    let far = &answer.left_out[0];
    assert_eq!((far.reason.as_str(), far.trials.len()), ("FAR_FROM_CENTRE", 2));
    assert_eq!(far.message, "screw diameter is not within a factor 1.3 of 6 mm");
    assert!(screws.band("screw_diameter").unwrap().factor.is_some());
}
