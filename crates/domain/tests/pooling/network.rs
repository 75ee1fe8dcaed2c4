//! All packs of a stratum at once: order, islands, and which evidence leads a comparison.

use benchring_domain::method::Catalogue;
use benchring_domain::pool::answer::{Answer, PooledEffect, Stratum};
use benchring_domain::pool::direction::DirectionWord;
use benchring_domain::pool::network::pair::Base;
use benchring_domain::pool::network::rank::RankDraft;
use benchring_domain::pool::network::ranking::Ranking;
use benchring_domain::pool::question::OptionsDraft;
use benchring_domain::pool::wording::{
    PackNames, bridge_sentence, island_sentence, ranking_sentence, sentence,
};
use benchring_domain::pool::{Evidence, EvidenceTrial, MeasuredBy, NoAnswer, QuestionDraft};
use benchring_stats::percent::PercentForm;
use proptest::prelude::*;

use crate::community::{
    CUTS, SCREWS, arm, ask, catalogue, draft, duration, evidence, method, near, pack, trial,
};

/// Seconds of five runs about `level`, scattered by `seed`.
fn runs(level: f64, seed: usize) -> Vec<f64> {
    let scatter = |n: usize| ((seed * 7 + n * 3) as f64 * 12.9898).sin() * 0.02;
    (0..5).map(|n| level * (1.0 + scatter(n))).collect()
}

/// A trial of packs at the times given, by its tester's own specimens.
fn of(name: &str, catalogue: &Catalogue, tester: usize, times: &[(&str, f64)]) -> EvidenceTrial {
    let arms = times
        .iter()
        .enumerate()
        .map(|(n, (pack, level))| {
            arm(pack, &format!("{pack}-{tester}"), &[&runs(*level, 13 * tester + 5 * n)])
        })
        .collect();
    trial(&format!("t-{name}-{tester}"), &format!("tester-{tester}"), method(catalogue, SCREWS), arms)
}

fn packs() -> Vec<benchring_domain::pack::PackModel> {
    ["k5", "k8", "k12", "m4", "m6"].map(|id| pack(id, "5 Ah")).to_vec()
}

/// Four testers of k5 against k8, four of k8 against k12, three of k5 against k12: k8 takes 0.9 of k5's time, k12 0.8.
fn triangle(catalogue: &Catalogue) -> Evidence {
    let mut trials = Vec::new();
    for tester in 0..4 {
        trials.push(of("a", catalogue, tester, &[("k5", 10.0), ("k8", 9.0)]));
        trials.push(of("b", catalogue, tester + 10, &[("k8", 9.0), ("k12", 8.0)]));
    }
    for tester in 20..23 {
        trials.push(of("c", catalogue, tester, &[("k5", 10.0), ("k12", 8.0)]));
    }
    evidence(method(catalogue, SCREWS), trials, packs())
}

fn rank(draft: RankDraft, catalogue: &Catalogue, evidence: &Evidence) -> Result<Ranking, NoAnswer> {
    let question = draft.check(catalogue).unwrap();
    let method = catalogue.method(&question.method).unwrap();
    question.ask(method, evidence, &MeasuredBy::new())
}

fn about(method: &str) -> RankDraft {
    RankDraft {
        shared: QuestionDraft { method: method.into(), ..QuestionDraft::default() },
        ..RankDraft::default()
    }
}

fn leading(answer: &Answer) -> &Stratum {
    &answer.strata[0]
}

fn close(a: &PooledEffect, b: &PooledEffect) {
    for (a, b) in [
        (a.effect.estimate, b.effect.estimate),
        (a.effect.lower, b.effect.lower),
        (a.effect.upper, b.effect.upper),
        (Some(a.standard_error), Some(b.standard_error)),
        (Some(a.tau), Some(b.tau)),
    ] {
        near(a, b.unwrap(), 1e-12);
    }
}

#[test]
fn packs_rank_by_what_they_were_made_to_take_and_agree_with_the_comparison() {
    let catalogue = catalogue();
    let evidence = triangle(&catalogue);
    let draft_of = RankDraft { league: true, reference: "packModels/k5".into(), ..about(SCREWS) };
    let ranking = rank(draft_of, &catalogue, &evidence).unwrap();
    assert_eq!((ranking.islands.len(), ranking.bridges.len(), ranking.strata.len()), (1, 0, 1));
    let island = &ranking.islands[0];
    let order: Vec<&str> = island.packs.iter().map(|p| p.pack.as_str()).collect();
    assert_eq!(order, ["k12", "k8", "k5"]);
    assert_eq!((island.units, island.testers, island.trials), (11, 11, 11));
    // Mean of P-scores is one half by definition (Rücker and Schwarzer 2015).
    let mean = island.packs.iter().map(|p| p.p_score).sum::<f64>() / 3.0;
    assert!((mean - 0.5).abs() < 1e-12, "{mean}");
    assert!(island.packs.iter().all(|p| !p.not_separated_from_first));
    assert!(island.packs[2].effect.is_none() && island.packs[2].against.is_none());
    let k8 = island.packs[1].effect.as_ref().unwrap();
    near(k8.effect.estimate, 0.9, 0.02);
    assert_eq!((k8.basis.units, k8.basis.testers, k8.basis.specimens_a, k8.basis.specimens_b), (4, 4, 4, 4));
    let rests = k8.network.unwrap();
    assert_eq!((rests.packs, rests.units, rests.testers, rests.trials), (3, 11, 11, 11));
    assert!(rests.indirect_weight > 0.1 && rests.indirect_weight < 0.9);
    let (less, gain) = duration(k8.percent);
    near(less.estimate, 100.0 * (1.0 - k8.effect.estimate.unwrap()), 1e-9);
    near(gain.estimate, 100.0 * (1.0 / k8.effect.estimate.unwrap() - 1.0), 1e-9);
    // The league has every pair once, and the row of a pair is its comparison.
    assert_eq!((island.league.len(), island.league_pairs), (3, 3));
    let compared = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = leading(&compared);
    assert_eq!(stratum.base, Base::Network);
    assert_eq!(&stratum.headline, k8);
    let row = island.league.iter().find(|r| r.pack_a.as_str() == "k5" && r.pack_b.as_str() == "k8").unwrap();
    close(&row.effect, k8);
    assert_eq!(row.against.direct_units, 4);
    assert!(row.against.direct_share > 0.3 && row.against.direct_share < 1.0 && row.against.p.is_some());
    assert_eq!(island.consistency.designs, 3);
    assert!(island.consistency.test.unwrap().p > 0.05);
}

#[test]
fn the_network_leads_with_direct_evidence_beside_it() {
    let catalogue = catalogue();
    let evidence = triangle(&catalogue);
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = leading(&answer);
    let direct = stratum.direct.as_ref().unwrap();
    assert!(direct.network.is_none() && direct.basis == stratum.headline.basis);
    // Other testers' evidence narrows the interval of four.
    let width = |e: &PooledEffect| e.effect.upper.unwrap() - e.effect.lower.unwrap();
    assert!(width(&stratum.headline) < width(direct));
    assert_eq!(stratum.direction.word, DirectionWord::BBetter);
    let beside = stratum.beside.as_ref().unwrap();
    assert!(beside.direct_share > 0.0 && beside.direct_share < 1.0);
    assert!(beside.indirect.unwrap().contains(0.9) && !beside.differ());
    // All of the pair's evidence passes through k5-k8 itself or the way round by k12.
    let flows: Vec<(&str, &str, f64)> =
        beside.edges.iter().map(|e| (e.pack_a.as_str(), e.pack_b.as_str(), e.flow.unwrap())).collect();
    let flow = |a: &str, b: &str| flows.iter().find(|f| (f.0, f.1) == (a, b)).map_or(0.0, |f| f.2);
    assert!((flow("k5", "k8") + flow("k12", "k5") - 1.0).abs() < 1e-9, "{flows:?}");
    assert!((flow("k12", "k5") - flow("k12", "k8")).abs() < 1e-9, "{flows:?}");
    assert_eq!(stratum.rows.len(), 4);
    let weight: f64 = stratum.rows.iter().map(|row| row.weight).sum();
    near(Some(weight), 1.0 - stratum.headline.network.unwrap().indirect_weight, 1e-12);
    assert!(stratum.leave_one_out.is_some());
    let text = sentence(
        &benchring_domain::pool::wording::Subject::of(
            &answer.question,
            method(&catalogue, SCREWS),
            &evidence.pack_models,
        ),
        &stratum.headline,
    );
    assert!(
        text.contains("4 testers") && text.contains("% of the weight comes through other packs"),
        "{text}"
    );
}

#[test]
fn nobody_ran_both_gives_an_effect_and_no_word() {
    let catalogue = catalogue();
    let mut evidence = triangle(&catalogue);
    evidence.trials.retain(|t| !t.trial.as_str().starts_with("t-a"));
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = leading(&answer);
    assert_eq!(stratum.base, Base::IndirectOnly);
    near(stratum.headline.effect.estimate, 0.9, 0.02);
    assert_eq!(stratum.headline.basis.units, 0);
    assert!(stratum.rows.is_empty() && stratum.direct.is_none());
    assert_eq!(stratum.direction.word, DirectionWord::NotEnoughEvidence);
    assert!(stratum.warnings.iter().any(|w| w.name == "indirect_only"));
    let subject = benchring_domain::pool::wording::Subject::of(
        &answer.question,
        method(&catalogue, SCREWS),
        &evidence.pack_models,
    );
    let text = sentence(&subject, &stratum.headline);
    assert!(text.contains("nobody ran both, 7 testers and 7 trials through other packs"), "{text}");
}

#[test]
fn two_packs_alone_are_a_pair() {
    let catalogue = catalogue();
    let mut evidence = triangle(&catalogue);
    evidence.trials.retain(|t| t.trial.as_str().starts_with("t-a"));
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = leading(&answer);
    assert!(stratum.base == Base::Direct && stratum.beside.is_none() && stratum.direct.is_none());
    // One pair through the network is the pair (Salanti and others 2008: the model has it as its special case).
    let reference = RankDraft { reference: "packModels/k5".into(), ..about(SCREWS) };
    let ranking = rank(reference, &catalogue, &evidence).unwrap();
    close(ranking.islands[0].packs[0].effect.as_ref().unwrap(), &stratum.headline);
}

#[test]
fn evidence_that_contradicts_itself_leaves_direct_evidence_leading_and_no_word() {
    let catalogue = catalogue();
    let mut evidence = triangle(&catalogue);
    // By way of k12, k8 would take 1.2 of k5's time.
    evidence.trials.retain(|t| !t.trial.as_str().starts_with("t-b"));
    for tester in 30..34 {
        evidence.trials.push(of("b", &catalogue, tester, &[("k8", 9.0), ("k12", 6.0)]));
    }
    evidence.trials.sort_by(|a, b| a.trial.cmp(&b.trial));
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = leading(&answer);
    assert!(stratum.beside.as_ref().unwrap().differ(), "{:?}", stratum.beside);
    assert_eq!((stratum.base, stratum.direction.word), (Base::Direct, DirectionWord::Inconclusive));
    assert!(stratum.headline.network.is_none());
    assert!(stratum.warnings.iter().any(|w| w.name == "direct_indirect_differ"));
    assert!(stratum.direction.because.iter().any(|b| b.starts_with("direct and indirect evidence differ")));
}

#[test]
fn uneven_demand_on_the_way_leaves_direct_evidence_leading() {
    let catalogue = catalogue();
    let mut evidence = triangle(&catalogue);
    for one in &mut evidence.trials {
        let light = one.trial.as_str().starts_with("t-b");
        one.summary.mean_power_w = Some(if light { 220.0 } else { 300.0 });
    }
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = leading(&answer);
    let (low, high) = stratum.beside.as_ref().unwrap().uneven().unwrap();
    assert!((low - 220.0).abs() < 1e-9 && (high - 300.0).abs() < 1e-9);
    assert_eq!(stratum.base, Base::Direct);
    assert!(stratum.warnings.iter().any(|w| w.name == "uneven_demand"));
    let ranking = rank(about(SCREWS), &catalogue, &evidence).unwrap();
    assert!(ranking.islands[0].warnings.iter().any(|w| w.name == "uneven_demand"));
    // A factor of 1.25 is even enough.
    for one in &mut evidence.trials {
        one.summary.mean_power_w = one.summary.mean_power_w.map(|w| w.max(240.0));
    }
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    assert_eq!(leading(&answer).base, Base::Network);
}

#[test]
fn islands_are_listed_with_what_would_join_them() {
    let catalogue = catalogue();
    let mut evidence = triangle(&catalogue);
    for tester in 40..43 {
        evidence.trials.push(of("d", &catalogue, tester, &[("m4", 10.0), ("m6", 9.9)]));
    }
    let ranking = rank(about(SCREWS), &catalogue, &evidence).unwrap();
    let sizes: Vec<usize> = ranking.islands.iter().map(|i| i.packs.len()).collect();
    assert_eq!(sizes, [3, 2]);
    assert_eq!((ranking.bridges.len(), ranking.bridges[0].island), (1, 1));
    let names = PackNames::of(&evidence.pack_models);
    let text = bridge_sentence(&names, &ranking.bridges[0]);
    assert!(text.contains("one tester who runs K") && text.contains("and M"), "{text}");
    let whole = ranking_sentence(&names, method(&catalogue, SCREWS), &ranking);
    assert!(whole.starts_with("K12 ranks first of 3 packs") && whole.contains("1 further island"), "{whole}");
    let second = island_sentence(&names, method(&catalogue, SCREWS), &ranking.question, &ranking.islands[1]);
    assert!(second.starts_with("M6 ranks first of 2 packs"), "{second}");
    match ask(draft(SCREWS, "k5", "m4"), &catalogue, &evidence) {
        Err(NoAnswer::NotConnected { message, bridge: (a, b) }) => {
            assert!(message.contains(&a.name()) && message.contains(&b.name()), "{message}");
            assert!(a.as_str().starts_with('k') && b.as_str().starts_with('m'));
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_spread_that_nothing_shows_is_taken_from_the_method_or_assumed() {
    let catalogue = catalogue();
    // A chain with one tester a link has no degree of freedom.
    let chain = [
        of("a", &catalogue, 1, &[("k5", 10.0), ("k8", 9.0)]),
        of("b", &catalogue, 2, &[("k8", 9.0), ("k12", 8.0)]),
    ];
    let screws = method(&catalogue, SCREWS);
    let alone = rank(about(SCREWS), &catalogue, &evidence(screws, chain.to_vec(), packs())).unwrap();
    let spread = alone.islands[0].spread;
    assert!(spread.assumed && spread.df == 0);
    near(Some(spread.tau), 0.05, 1e-12);
    assert!(alone.islands[0].warnings.iter().any(|w| w.name == "tau_assumed"));
    // Another stratum of the method, where three testers of one pair lie far apart.
    let mut trials = chain.to_vec();
    for (tester, times) in [(50, 7.0), (51, 9.0), (52, 11.0)] {
        let mut one = of("z", &catalogue, tester, &[("m4", 10.0), ("m6", times)]);
        one.summary.demand_class = Some("d3".into());
        trials.push(one);
    }
    let with = evidence(screws, trials, packs());
    let draft_of = RankDraft { reference: "packModels/k5".into(), ..about(SCREWS) };
    let other = rank(draft_of, &catalogue, &with).unwrap();
    let spread = other.islands[0].spread;
    assert!(spread.assumed && spread.tau > 0.1, "{spread:?}");
    // One tester alone stays that tester alone.
    let one =
        evidence(screws, vec![of("a", &catalogue, 1, &[("k5", 10.0), ("k8", 9.0), ("k12", 8.0)])], packs());
    let single = rank(about(SCREWS), &catalogue, &one).unwrap();
    assert!(!single.islands[0].spread.assumed);
    assert!(single.islands[0].warnings.iter().any(|w| w.name == "single_tester"));
}

#[test]
fn a_ranking_is_normalised_by_the_numbers_of_its_packs() {
    let catalogue = catalogue();
    let cuts = method(&catalogue, CUTS);
    let rated = [("k5", "5 Ah", 10.0), ("k8", "8 Ah", 14.0), ("m4", "4 Ah", 9.0)];
    let mut trials = Vec::new();
    for tester in 0..3_usize {
        let arms = rated
            .iter()
            .enumerate()
            .map(|(n, (pack, _, cuts))| {
                let each: Vec<Vec<f64>> = runs(*cuts, tester * 3 + n).into_iter().map(|v| vec![v]).collect();
                let each: Vec<&[f64]> = each.iter().map(Vec::as_slice).collect();
                arm(pack, &format!("{pack}-{tester}"), &each)
            })
            .collect();
        trials.push(trial(&format!("t-{tester}"), &format!("tester-{tester}"), cuts, arms));
    }
    let models = rated.iter().map(|(id, ah, _)| pack(id, ah)).collect();
    let evidence = evidence(cuts, trials, models);
    let plain = RankDraft { reference: "packModels/k5".into(), ..about(CUTS) };
    let divided = RankDraft {
        shared: QuestionDraft {
            normalisation: Some(benchring_domain::method::Normalisation::PerRatedAh),
            ..plain.shared.clone()
        },
        ..plain.clone()
    };
    let (plain, divided) =
        (rank(plain, &catalogue, &evidence).unwrap(), rank(divided, &catalogue, &evidence).unwrap());
    let of = |ranking: &Ranking, id: &str| {
        let pack = ranking.islands[0].packs.iter().find(|p| p.pack.as_str() == id).unwrap().clone();
        (pack.effect.unwrap().effect, pack.divisor.map(|d| d.value))
    };
    // ln(y/x): the ratio is divided by the ratio of the labels, and nothing else changes.
    let ((a, none), (b, eight)) = (of(&plain, "k8"), of(&divided, "k8"));
    near(b.estimate, a.estimate.unwrap() * 5.0 / 8.0, 1e-12);
    near(b.lower, a.lower.unwrap() * 5.0 / 8.0, 1e-12);
    assert_eq!((none, eight), (None, Some(8.0)));
    assert_eq!(divided.islands[0].packs[0].pack.as_str(), "m4");
    assert_eq!(plain.islands[0].packs[0].pack.as_str(), "k8");
}

#[test]
fn bad_rankings_are_refused_with_all_violations() {
    let catalogue = catalogue();
    let shared = QuestionDraft {
        method: "methods/none".into(),
        options: OptionsDraft { level: 2.0, ..OptionsDraft::default() },
        ..QuestionDraft::default()
    };
    let draft_of = RankDraft { shared, reference: "k5".into(), stratum: "X".into(), league: true };
    let broken = draft_of.check(&catalogue).unwrap_err();
    let fields: Vec<&str> = broken.as_slice().iter().map(|v| v.field.as_str()).collect();
    assert_eq!(fields, ["method", "options.level_ratio", "reference", "stratum"]);
    let empty = evidence(method(&catalogue, SCREWS), vec![], vec![]);
    assert!(matches!(rank(about(SCREWS), &catalogue, &empty), Err(NoAnswer::NoEvidence { .. })));
    let unknown = RankDraft { stratum: "0123456789abcdef".into(), ..about(SCREWS) };
    assert!(matches!(rank(unknown, &catalogue, &triangle(&catalogue)), Err(NoAnswer::NoEvidence { .. })));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// The same evidence in another order gives the same ranking to 1e-12, and its sentences say its order.
    #[test]
    fn order_of_evidence_does_not_matter(seed in 0..1000_usize, fast in 0.6..0.95_f64) {
        let catalogue = catalogue();
        let mut evidence = triangle(&catalogue);
        for one in &mut evidence.trials {
            for arm in one.summary.arms.iter_mut().filter(|arm| arm.pack_model.as_str() == "k12") {
                arm.mean = arm.mean.map(|mean| mean * fast);
                arm.mean_ln = arm.mean_ln.map(|mean| mean + fast.ln());
            }
        }
        let ordered = rank(about(SCREWS), &catalogue, &evidence).unwrap();
        let n = evidence.trials.len();
        evidence.trials.rotate_left(seed % n);
        if seed % 2 == 0 {
            evidence.trials.reverse();
        }
        let other = rank(about(SCREWS), &catalogue, &evidence).unwrap();
        let names = PackNames::of(&evidence.pack_models);
        for (a, b) in ordered.islands[0].packs.iter().zip(&other.islands[0].packs) {
            prop_assert_eq!(&a.pack, &b.pack);
            prop_assert!((a.p_score - b.p_score).abs() < 1e-12);
            if let (Some(a), Some(b)) = (&a.effect, &b.effect) {
                close(a, b);
                let ratio = a.effect.estimate.unwrap();
                let less = PercentForm::Less.of_log_ratio(ratio.ln());
                let text = sentence(
                    &names.subject(
                        method(&catalogue, SCREWS), None, &ordered.islands[0].reference,
                        &ordered.islands[0].packs[0].pack,
                    ),
                    a,
                );
                let word = if less > 0.0 { "less time" } else { "more time" };
                let number = format!("{:.1} % {word}", less.abs());
                let finer = [format!("{:.2} % {word}", less.abs()), format!("{:.3} % {word}", less.abs())];
                prop_assert!(text.contains(&number) || finer.iter().any(|f| text.contains(f)), "{}", text);
            }
        }
        let first = island_sentence(&names, method(&catalogue, SCREWS), &ordered.question, &ordered.islands[0]);
        let name = names.name(&ordered.islands[0].packs[0].pack);
        prop_assert!(first.starts_with(&format!("{name} ranks first of 3 packs")), "{}", first);
    }
}
