//! Plans: how many runs and testers, in which order, and the run sheet. Packs are invented.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::collections::BTreeMap;
use std::sync::LazyLock;

use benchring_domain::method::Catalogue;
use benchring_domain::plan::{EffectSent, Form, NoteKind, Plan, Request, RestsOn, Shown, ShownFigure};
use proptest::prelude::*;

static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().expect("sound"));

fn request(method: &str, packs: &[&str]) -> Request {
    Request {
        method: format!("methods/{method}/versions/1"),
        packs: packs.iter().map(ToString::to_string).collect(),
        ..Request::default()
    }
}

fn plan_with(request: Request, shown: &Shown) -> Plan {
    request.check(&CATALOGUE).unwrap().plan(&CATALOGUE, shown).unwrap()
}

fn plan(request: Request) -> Plan {
    plan_with(request, &Shown::default())
}

fn effect(form: Form, size: f64) -> EffectSent {
    EffectSent { form: Some(form), size }
}

/// 13 runs of each find 10 % at a CV of 8 %: the noncentral t of statsmodels 0.15.0 and R pwr 1.3.
#[test]
fn runs_of_one_tester_are_those_of_the_t_test() {
    let asked = Request {
        effect: Some(effect(Form::RateGain, 10.0)),
        run_scatter: Some(8.0),
        charge_scatter: Some(0.0),
        runs_per_round: 13,
        rounds: 1,
        ..request("bore-time", &["K5", "K8"])
    };
    let got = plan(asked.clone());
    assert_eq!((got.alone.runs_per_arm, got.alone.runs_without_charges), (Some(13), Some(13)));
    assert!((got.alone.power.unwrap() - 0.831_123_121_654_487_8).abs() < 1e-9);
    assert_eq!(got.alone.power, got.alone.power_then);
    // With charges that differ, one charge cannot tell, and the runs on a charge share what it brings.
    let charges = plan(Request { charge_scatter: Some(3.0), ..asked });
    assert!(charges.alone.power.is_none() && charges.alone.half_width.is_none());
    assert!(charges.alone.runs_per_arm.unwrap() > 13);
    assert!(charges.notes.iter().any(|note| note.kind == NoteKind::OneCharge));
}

/// More runs stop paying where 2σ²/n falls below τ²: σ² = ln(1 + 0.08²), τ = 0.05, so from 6 runs on.
#[test]
fn it_is_said_when_more_runs_stop_paying() {
    let asked = Request {
        run_scatter: Some(8.0),
        charge_scatter: Some(0.0),
        tester_scatter: Some(5.0),
        effect: Some(effect(Form::TimeReduction, 9.0)),
        ..request("bore-time", &["K5", "K8"])
    };
    let got = plan(asked);
    assert_eq!(got.runs_stop_paying, Some(6));
    assert!(got.runs_per_arm >= 6);
    let note = got.notes.iter().find(|note| note.kind == NoteKind::MoreRunsStopPaying).unwrap();
    assert!(note.text.contains("from 6 runs of each pack on"), "{}", note.text);
    // Time reduction and rate gain of one effect are the same plan: 9.0909 % less time is 10 % faster.
    let less = Request {
        effect: Some(effect(Form::TimeReduction, 100.0 / 11.0)),
        ..request("bore-time", &["a", "b"])
    };
    let more = Request { effect: Some(effect(Form::RateGain, 10.0)), ..less.clone() };
    assert_eq!(plan(less).together.testers, plan(more).together.testers);
}

#[test]
fn figures_say_what_they_rest_on() {
    let asked = request("screw-drive-time", &["K5", "K8"]);
    let offline = plan(asked.clone());
    assert_eq!(offline.figures.run.rests_on, RestsOn::MethodFile);
    // The widest range of the file ends at a CV of 12 %, a panel's at 10 %.
    assert!((offline.figures.run.sd - 0.12_f64.powi(2).ln_1p().sqrt()).abs() < 1e-15);
    let panel = plan(Request { workpiece_family: "panel".into(), ..asked.clone() });
    assert!((panel.figures.run.sd - 0.1_f64.powi(2).ln_1p().sqrt()).abs() < 1e-15);
    assert_eq!(offline.figures.testers.rests_on, RestsOn::Assumed);
    assert!((offline.figures.testers.sd - 0.05).abs() < 1e-15);
    let shown = Shown {
        run: Some(ShownFigure { sd: 0.07, count: 31 }),
        charge: Some(ShownFigure { sd: 0.02, count: 12 }),
        testers: Some(ShownFigure { sd: 0.03, count: 4 }),
        versions: Some((90, 88)),
    };
    let server = plan_with(asked.clone(), &shown);
    let figures = [&server.figures.run, &server.figures.charge, &server.figures.testers];
    assert!(figures.iter().all(|figure| figure.rests_on == RestsOn::Evidence));
    assert_eq!(figures.map(|figure| figure.count), [31, 12, 4]);
    assert_eq!(server.versions, Some((90, 88)));
    let stated = plan_with(Request { run_scatter: Some(6.0), ..asked }, &shown);
    assert_eq!(stated.figures.run.rests_on, RestsOn::Stated);
}

#[test]
fn everything_wrong_is_said_at_once() {
    let broken = Request {
        method: "methods/bore-tim/versions/1".into(),
        packs: vec!["K5".into(), "K5".into(), String::new(), "packModels/A b".into()],
        workpiece_family: "granite".into(),
        half_width: Some(5.0),
        assurance: Some(2.0),
        run_scatter: Some(0.0),
        charge_scatter: Some(f64::NAN),
        tester_scatter: Some(-1.0),
        level: 0.5,
        power: 1.0,
        rounds: 2_000,
        ..Request::default()
    };
    let found = broken.check(&CATALOGUE).unwrap_err();
    let fields: Vec<&str> = found.as_slice().iter().map(|v| v.field.as_str()).collect();
    assert_eq!(
        fields,
        [
            "method",
            "packs[1]",
            "packs[2]",
            "packs[3]",
            "run_scatter",
            "charge_scatter",
            "tester_scatter",
            "level_ratio",
            "power_ratio",
            "workpiece_family",
            "rounds_count"
        ]
    );
}

#[test]
fn goals_that_cannot_be_are_refused() {
    let second = Request {
        effect: Some(effect(Form::More, 10.0)),
        assurance: Some(0.9),
        rounds: 900,
        ..request("bore-time", &["K5"])
    };
    let found = second.check(&CATALOGUE).unwrap_err();
    let reasons: Vec<(&str, &str)> = found.as_slice().iter().map(|v| (v.field.as_str(), v.reason)).collect();
    assert_eq!(
        reasons,
        [
            ("packs", "TOO_FEW"),
            ("assurance_ratio", "NOT_TAKEN"),
            ("effect.form", "WRONG_KIND"),
            ("rounds_count", "TOO_MANY")
        ]
    );
    let both = Request {
        effect: Some(effect(Form::RateGain, 10.0)),
        half_width: Some(5.0),
        ..request("bore-time", &["K5", "K8"])
    };
    assert_eq!(both.check(&CATALOGUE).unwrap_err().as_slice()[0].reason, "CONTRADICTION");
    let many: Vec<String> = (0..21).map(|i| format!("K{i}")).collect();
    let many = Request { packs: many, ..request("bore-time", &[]) };
    assert_eq!(many.check(&CATALOGUE).unwrap_err().as_slice()[0].reason, "TOO_MANY");
    for size in [0.0, -5.0, f64::NAN, f64::INFINITY, 1e9] {
        let asked =
            Request { effect: Some(effect(Form::RateGain, size)), ..request("bore-time", &["a", "b"]) };
        assert_eq!(asked.check(&CATALOGUE).unwrap_err().as_slice()[0].field, "effect.size", "{size}");
    }
}

#[test]
fn two_packs_take_turns_and_the_seed_is_the_coin() {
    let with = |seed| plan(Request { seed: Some(seed), ..request("bore-time", &["K5", "K8"]) });
    let order = |plan: &Plan| -> Vec<usize> {
        plan.runs.iter().filter(|run| !run.warm_up).map(|run| run.pack).take(4).collect()
    };
    let mut coins = BTreeMap::new();
    for seed in 0..40 {
        let drawn = order(&with(seed));
        assert!(drawn == [0, 1, 1, 0] || drawn == [1, 0, 0, 1], "{drawn:?}");
        *coins.entry(drawn).or_insert(0) += 1;
    }
    // Of forty fair coins, fewer than five alike have a chance of 2e-7 (binomial).
    assert!(coins.len() == 2 && coins.values().all(|count| *count >= 5), "{coins:?}");
    assert_eq!(with(7), with(7));
    assert_eq!(plan(request("bore-time", &["K5", "K8"])), plan(request("bore-time", &["K5", "K8"])));
}

/// Every method, with few and many packs: a sheet of the right shape, in text and as CSV.
#[test]
fn every_method_has_a_run_sheet() {
    let labels: Vec<String> = (1..=20).map(|i| format!("pack, \"{i}\"")).collect();
    for method in CATALOGUE.current_methods() {
        for count in [2, 3, 5, 20] {
            let packs: Vec<&str> = labels[..count].iter().map(String::as_str).collect();
            let got = plan(Request { rounds: 2, ..request(method.id.as_str(), &packs) });
            let scored = |pack: usize| got.runs.iter().filter(|run| run.pack == pack && !run.warm_up).count();
            for pack in 0..count {
                assert_eq!(scored(pack), usize::try_from(got.runs_per_arm).unwrap());
            }
            let positions: Vec<u32> = got.runs.iter().map(|run| run.position).collect();
            assert_eq!(positions, (1..=u32::try_from(got.runs.len()).unwrap()).collect::<Vec<_>>());
            let text = got.run_sheet_text();
            assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
            for caution in &got.cautions {
                let begin: String = caution.split_whitespace().take(3).collect::<Vec<_>>().join(" ");
                assert!(text.contains(&begin), "{begin}");
            }
            let csv = got.run_sheet_csv();
            assert_eq!(csv.lines().count(), got.runs.len() + 1);
            assert!(
                csv.starts_with("tester,trial,pack,round,charge,position,warm_up,reading,unit,end_criterion")
            );
            assert!(csv.contains("\"pack, \"\"1\"\"\""));
            assert!(!got.ends.is_empty() && got.record.iter().any(|field| field.field == "reading"));
        }
    }
}

#[test]
fn a_sheet_reads_as_expected() {
    let got = plan(Request {
        effect: Some(effect(Form::RateGain, 10.0)),
        seed: Some(3),
        ..request("bore-time", &["packModels/k5", "the new one"])
    });
    let text = got.run_sheet_text();
    for part in [
        "RUN SHEET: ",
        "1. k5 (packModels/k5)",
        "2. the new one",
        "10 % faster (9.1 % less time)",
        "Cautions",
        "Write down once",
        "Write down for each run",
        "target_reached: is the value",
        "warm-up",
    ] {
        assert!(text.contains(part), "{part} is not in\n{text}");
    }
}

proptest! {
    #[test]
    fn any_numbers_give_a_plan_or_reasons(
        method in 0_usize..16,
        packs in 0_usize..23,
        form in prop::sample::select(vec![None, Some(Form::RateGain), Some(Form::TimeReduction), Some(Form::More), Some(Form::Less), Some(Form::Difference)]),
        numbers in proptest::collection::vec(prop_oneof![Just(None), (-3.0_f64..4.0).prop_map(|x| Some(10_f64.powf(x))), Just(Some(f64::NAN)), Just(Some(-1.0))], 8),
        counts in (0_u32..60, 0_u32..60),
        seed in any::<i64>(),
    ) {
        let methods: Vec<_> = CATALOGUE.current_methods().collect();
        let number = |place: usize| numbers[place].unwrap_or(0.0);
        let asked = Request {
            method: methods[method % methods.len()].reference().name(),
            packs: (0..packs).map(|i| format!("pack {i}")).collect(),
            effect: form.map(|_| EffectSent { form, size: number(0) }),
            half_width: numbers[1].filter(|_| form.is_none()),
            assurance: numbers[2],
            run_scatter: numbers[3],
            charge_scatter: numbers[4],
            tester_scatter: numbers[5],
            level: number(6),
            power: number(7),
            rounds: counts.0,
            runs_per_round: counts.1,
            seed: Some(seed),
            ..Request::default()
        };
        match asked.check(&CATALOGUE) {
            Err(broken) => prop_assert!(!broken.is_empty()),
            Ok(asked) => {
                let got = asked.plan(&CATALOGUE, &Shown::default()).unwrap();
                let shares = [got.alone.power, got.alone.power_then, got.together.power];
                prop_assert!(shares.into_iter().flatten().all(|p| (0.0..=1.0).contains(&p)));
                let widths = [got.alone.half_width, got.together.half_width];
                prop_assert!(widths.into_iter().flatten().all(|h| h.is_finite() && h > 0.0));
                prop_assert!(got.outlook.iter().all(|row| row.half_width.is_finite()));
                prop_assert!(!got.run_sheet_text().contains("NaN") && !got.run_sheet_text().contains("inf "));
            }
        }
    }
}
