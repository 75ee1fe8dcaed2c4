//! Source: own rules (bound on order bias, drift limit, shifted p-values), computed twice, in Python and R; the pool itself and the
//! weights of the contrast by metafor (`rma`, `rma.mv` with compound symmetry 0.5, REML).

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::blocks::{Arm, VoteCap, unit_blocks};
use benchring_stats::drift::{DriftSource, drift_limit};
use benchring_stats::estimate::Estimate;
use benchring_stats::order::{
    OrderedInformation, RunOrder, RunSlot, WeightedTrial, arm_positions, blocked_information, blocked_share,
    largest_gap, order_bias,
};
use benchring_stats::pair::{PairArm, PairOptions, PairTrial, pool_pair};
use benchring_stats::random_effects::Options;
use benchring_stats::spread::{Judged, Spread, TScale};
use serde_json::Value;

use crate::common::{Tolerance, cases, number, numbers, reference};

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_else(|| panic!("not a text: {value}")).to_owned()
}

/// Counts of scored runs.
fn counts(value: &Value) -> Vec<u32> {
    let count = |n: &Value| n.as_u64().and_then(|n| u32::try_from(n).ok()).expect("a count");
    value.as_array().expect("counts").iter().map(count).collect()
}

/// Runs a check on all cases of a kind, of which there must be `count`, with the tolerance stated for it.
fn each(kind: &str, count: usize, check: impl Fn(Tolerance, &Value)) {
    let file = reference("order_and_units");
    let tolerance = file["tolerance"].get(kind).unwrap_or(&file["tolerance"]["default"]);
    let mine: Vec<&Value> = cases(&file).iter().filter(|case| case["kind"] == kind).collect();
    assert_eq!(mine.len(), count, "cases of {kind}");
    for case in mine {
        check(Tolerance::of(tolerance), case);
    }
}

#[test]
fn positions_of_arms_agree() {
    each("positions", 5, |tolerance, case| {
        let mut charges = BTreeMap::new();
        let mut slots = Vec::new();
        for run in case["input"]["order"].as_array().unwrap() {
            let next = charges.len();
            let charge = *charges.entry(text(&run[1])).or_insert(next);
            slots.push(RunSlot { arm: usize::from(run[0] == "B"), charge, scored: true });
        }
        let positions: Vec<f64> = arm_positions(&slots, 2).into_iter().map(Option::unwrap).collect();
        let runs: Vec<u32> = counts(&case["input"]["runs"]);
        let want = &case["expected"];
        for (what, got, want) in [
            ("A", positions[0], &want["positions"]["A"]),
            ("B", positions[1], &want["positions"]["B"]),
            ("x", positions[1] - positions[0], &want["x_B_minus_A"]),
            ("largest gap", largest_gap(&runs), &want["max_gap"]),
        ] {
            tolerance.check(&format!("{} {what}", case["id"]), got, number(want));
        }
        assert_eq!(
            Value::Bool(RunOrder::Positions(positions).is_blocked(&runs)),
            want["blocked"],
            "{}",
            case["id"]
        );
    });
}

fn trials(case: &Value) -> Vec<PairTrial<String, String>> {
    let input = &case["input"];
    let read = |trial: &Value| {
        let tester = text(&trial["tester"]);
        let unit = input["units"].get(&tester).map_or(tester, text);
        let runs = counts(&trial["n"]);
        let arm = |(arm, runs): (&Value, u32)| PairArm {
            treatment: text(&arm[0]),
            effect: number(&arm[1]),
            variance: number(&arm[2]),
            runs,
        };
        let positions = &trial["positions"];
        let order =
            if positions.is_null() { RunOrder::NotRecorded } else { RunOrder::Positions(numbers(positions)) };
        PairTrial {
            unit,
            arms: trial["arms"].as_array().expect("arms").iter().zip(runs).map(arm).collect(),
            order,
            df: None,
        }
    };
    input["trials"].as_array().expect("trials").iter().map(read).collect()
}

fn is_network(case: &Value) -> bool {
    case["id"].as_str().expect("an id").starts_with("bound_network")
}

#[test]
fn pooled_pairs_and_their_bounds_agree() {
    each("order_bound", 8, |tolerance, case| {
        if is_network(case) {
            return;
        }
        let (input, want) = (&case["input"], &case["expected"]);
        let options = PairOptions {
            drift: number(&input["drift"]),
            vote_cap: if input["vote_cap"] == "median" { VoteCap::Median } else { VoteCap::None },
            ..PairOptions::default()
        };
        let (from, to) = (text(&input["pair"][0]), text(&input["pair"][1]));
        let answer = pool_pair(&trials(case), &from, &to, &options).unwrap();
        let prediction = answer.prediction.unwrap();
        for (field, got) in [
            ("est", answer.pooled.estimate),
            ("se", answer.pooled.se),
            ("tau2", answer.pooled.tau2.unwrap()),
            ("df", answer.pooled.df as f64),
            ("q", answer.pooled.q_scale.unwrap()),
            ("half_without_bound", answer.pooled.half_width),
            ("bound", answer.order.bound),
            ("half", answer.half_width),
            ("prediction_half", 0.5 * (prediction.upper - prediction.lower)),
            ("x_known", answer.order.known),
            ("x_unknown", answer.order.unknown),
            ("blocked_share", answer.blocked_share),
        ] {
            tolerance.check(&format!("{} {field}", case["id"]), got, number(&want[field]));
        }
        assert_eq!(Value::Bool(answer.blocked_share > 0.5), want["no_verdict"], "{}", case["id"]);
        let weights = numbers(&want["row_weights"]);
        assert_eq!(answer.units.len(), weights.len());
        for (row, weight) in answer.units.iter().zip(weights) {
            tolerance.check(&format!("{} weight of {}", case["id"], row.unit), row.weight, weight);
        }
    });
}

/// The weights of the rows are given; arm weights, bound and blocked share follow from stage 1.
#[test]
fn bounds_of_network_contrasts_agree() {
    each("order_bound", 8, |tolerance, case| {
        let (input, want) = (&case["input"], &case["expected"]);
        let trials = trials(case);
        let packs: BTreeSet<&String> =
            trials.iter().flat_map(|t| &t.arms).map(|arm| &arm.treatment).collect();
        let rank = |pack: &String| packs.iter().position(|other| *other == pack).unwrap();
        let mut units: BTreeMap<&String, Vec<usize>> = BTreeMap::new();
        for (place, trial) in trials.iter().enumerate() {
            units.entry(&trial.unit).or_default().push(place);
        }
        let mut rows = numbers(&want["row_weights"]).into_iter();
        let mut arm_weights = vec![Vec::new(); trials.len()];
        let mut shares = Vec::new();
        for own in units.values() {
            let arm = |arm: &PairArm<String>| Arm {
                treatment: rank(&arm.treatment),
                effect: arm.effect,
                variance: arm.variance,
            };
            let arms: Vec<Vec<Arm>> = own.iter().map(|i| trials[*i].arms.iter().map(arm).collect()).collect();
            for block in unit_blocks(&arms).unwrap() {
                let row_weights: Vec<f64> = rows.by_ref().take(block.effects().len()).collect();
                for found in block.arm_weights(&row_weights) {
                    arm_weights[own[found.trial]] = found.weights;
                }
                let information = block.trials().iter().map(|trial| {
                    let PairTrial { order, arms, .. } = &trials[own[trial.index]];
                    let runs: Vec<u32> = arms.iter().map(|arm| arm.runs).collect();
                    OrderedInformation { information: trial.information, blocked: order.is_blocked(&runs) }
                });
                let weight: f64 = row_weights.iter().map(|weight| weight.abs()).sum();
                shares.push((weight, blocked_information(information)));
            }
        }
        assert!(rows.next().is_none(), "{}: a row was not used", case["id"]);
        for (place, want) in want["arm_weights"].as_array().unwrap().iter().enumerate() {
            for (got, want) in arm_weights[place].iter().zip(numbers(want)) {
                tolerance.check(&format!("{} arm weight of trial {place}", case["id"]), *got, want);
            }
        }
        let runs: Vec<Vec<u32>> =
            trials.iter().map(|t| t.arms.iter().map(|arm| arm.runs).collect()).collect();
        let weighted = trials.iter().enumerate().map(|(place, trial)| WeightedTrial {
            weights: &arm_weights[place],
            runs: &runs[place],
            order: &trial.order,
        });
        let bias = order_bias(number(&input["drift"]), weighted);
        for (field, got) in [
            ("x_known", bias.known),
            ("x_unknown", bias.unknown),
            ("bound", bias.bound),
            ("blocked_share", blocked_share(shares)),
        ] {
            tolerance.check(&format!("{} {field}", case["id"]), got, number(&want[field]));
        }
    });
}

#[test]
fn drift_limits_agree() {
    each("drift_limit", 4, |tolerance, case| {
        let (input, want) = (&case["input"], &case["expected"]);
        let slopes: Vec<Estimate> = numbers(&input["slopes"])
            .into_iter()
            .zip(numbers(&input["se"]))
            .map(|(effect, se)| Estimate { effect, variance: se * se })
            .collect();
        let got = drift_limit(number(&input["catalogue_upper"]), &slopes, &Options::default()).unwrap();
        let source = match got.source {
            DriftSource::Prior => "catalogue",
            DriftSource::Data => "data",
            DriftSource::DataExceedPrior => "data_exceed_catalogue",
        };
        assert_eq!(source, want["source"], "{}", case["id"]);
        tolerance.check(&format!("{} limit", case["id"]), got.limit, number(&want["d"]));
        tolerance.check_optional(&format!("{} mean", case["id"]), got.mean, &want["mean"]);
        tolerance.check_optional(
            &format!("{} lower", case["id"]),
            got.interval.map(|i| i.lower),
            &want["lower"],
        );
        tolerance.check_optional(
            &format!("{} upper", case["id"]),
            got.interval.map(|i| i.upper),
            &want["upper"],
        );
    });
}

#[test]
fn one_sided_p_values_with_a_bound_agree() {
    each("verdict", 5, |tolerance, case| {
        let (input, want) = (&case["input"], &case["expected"]);
        assert_eq!(input["direction"], "higher", "{}", case["id"]);
        let judged = Judged {
            estimate: number(&input["est"]),
            spread: Spread::WiderOf(
                number(&input["se_z"]),
                TScale { se: number(&input["se_t"]), df: number(&input["df"]) },
            ),
            allowance: input.get("bound").map_or(0.0, number),
        };
        let threshold = number(&input["c"]).ln();
        for (field, got) in [
            ("p_support", judged.p_above(threshold)),
            ("p_contradict", judged.p_below(threshold)),
            ("half_width", judged.half_width(0.95)),
        ] {
            tolerance.check(&format!("{} {field}", case["id"]), got, number(&want[field]));
        }
    });
}
