//! Source: own rule for the bound on order bias in a network; contrast, standard error, τ² and row weights by metafor (`rma.mv`,
//! compound symmetry 0.5, REML).

use benchring_stats::blocks::VoteCap;
use benchring_stats::network::pool_network;
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairArm, PairOptions, PairTrial};
use benchring_stats::random_effects::Options;
use serde_json::Value;

use crate::common::{Tolerance, cases, number, numbers, reference};

fn text(value: &Value) -> String {
    value.as_str().expect("a text").to_owned()
}

fn trial(trial: &Value) -> PairTrial<String, String> {
    let arm = |(arm, runs): (&Value, &Value)| PairArm {
        treatment: text(&arm[0]),
        effect: number(&arm[1]),
        variance: number(&arm[2]),
        runs: u32::try_from(runs.as_u64().expect("a usable case")).expect("a usable case"),
    };
    let positions = &trial["positions"];
    PairTrial {
        unit: text(&trial["tester"]),
        arms: trial["arms"]
            .as_array()
            .expect("a usable case")
            .iter()
            .zip(trial["n"].as_array().expect("a usable case"))
            .map(arm)
            .collect(),
        order: if positions.is_null() {
            RunOrder::NotRecorded
        } else {
            RunOrder::Positions(numbers(positions))
        },
        df: None,
    }
}

#[test]
fn bounds_of_networks_agree() {
    let file = reference("order_and_units");
    let kinds = &file["tolerance"];
    let tolerance = Tolerance::of(kinds.get("order_bound").unwrap_or(&kinds["default"]));
    let mut checked = 0;
    for case in cases(&file).iter().filter(|case| text(&case["id"]).starts_with("bound_network")) {
        let (input, want) = (&case["input"], &case["expected"]);
        let trials: Vec<_> = input["trials"].as_array().expect("a usable case").iter().map(trial).collect();
        let vote_cap = if input["vote_cap"] == "median" { VoteCap::Median } else { VoteCap::None };
        let options = PairOptions { pooling: Options::default(), vote_cap, drift: number(&input["drift"]) };
        let network = pool_network(&trials, &options).expect("a network");
        let island = &network.islands[0];
        let (from, to) = (text(&input["pair"][0]), text(&input["pair"][1]));
        let found = island.contrast(&from, &to).expect("connected");
        let prediction = found.prediction.expect("degrees of freedom");
        for (key, got) in [
            ("est", found.estimate),
            ("se", found.se),
            ("tau2", island.fit.tau2.expect("a usable case")),
            ("df", island.fit.df as f64),
            ("q", island.fit.q_scale.expect("a usable case")),
            ("half_without_bound", found.half_width - found.order.bound),
            ("bound", found.order.bound),
            ("half", found.half_width),
            ("prediction_half", 0.5 * (prediction.upper - prediction.lower)),
            ("x_known", found.order.known),
            ("x_unknown", found.order.unknown),
            ("blocked_share", found.blocked_share),
        ] {
            tolerance.check(&format!("{} {key}", case["id"]), got, number(&want[key]));
        }
        checked += 1;
    }
    assert_eq!(checked, 2);
}
