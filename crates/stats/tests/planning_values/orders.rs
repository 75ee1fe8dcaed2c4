//! Source: Williams, Australian Journal of Scientific Research A 2 (1949), 149-168: what the squares are for.

use benchring_stats::run_orders::{cycle, run_orders, williams};
use proptest::prelude::*;

use crate::common::{cases, reference};

/// Each treatment once a row, equally often at each place, and each ordered pair of neighbours equally often.
fn assert_balanced(rows: &[Vec<usize>], treatments: usize) {
    let repeats = if treatments.is_multiple_of(2) { 1 } else { 2 };
    assert_eq!(rows.len(), repeats * treatments);
    let mut places = vec![vec![0; treatments]; treatments];
    let mut neighbours = vec![vec![0; treatments]; treatments];
    for row in rows {
        assert_eq!(row.len(), treatments);
        row.iter().enumerate().for_each(|(place, treatment)| places[*treatment][place] += 1);
        row.windows(2).for_each(|pair| neighbours[pair[0]][pair[1]] += 1);
    }
    assert!(places.iter().flatten().all(|count| *count == repeats), "{places:?}");
    for (first, counts) in neighbours.iter().enumerate() {
        for (second, count) in counts.iter().enumerate() {
            assert_eq!(*count, if first == second { 0 } else { repeats }, "{first} before {second}");
        }
    }
}

/// The test of balance accepts the reference's own squares, so that it is the published property that is asked for.
#[test]
fn squares_are_balanced_as_the_published_ones_are() {
    let file = reference("run_orders");
    let mut seen = Vec::new();
    for case in cases(&file) {
        let treatments = usize::try_from(case["treatments"].as_u64().unwrap()).unwrap();
        let published: Vec<Vec<usize>> = serde_json::from_value(case["one_valid_solution"].clone()).unwrap();
        assert_balanced(&published, treatments);
        assert_balanced(&williams(treatments).unwrap(), treatments);
        seen.push(treatments);
    }
    assert_eq!(seen, [2, 3, 4, 5, 6, 7, 8]);
    for treatments in 9..=40 {
        assert_balanced(&williams(treatments).unwrap(), treatments);
    }
}

#[test]
fn two_treatments_take_turns_as_abba_or_baab() {
    let order = |labels: &[usize]| run_orders(2, 2, &[labels.to_vec()]).unwrap().rounds.concat();
    assert_eq!(order(&[0, 1]), [0, 1, 1, 0]);
    assert_eq!(order(&[1, 0]), [1, 0, 0, 1]);
}

#[test]
fn what_is_no_order_is_refused() {
    let text = |treatments, rounds, labels: &[Vec<usize>]| {
        run_orders(treatments, rounds, labels).unwrap_err().to_string()
    };
    assert_eq!(text(1, 1, &[vec![0]]), "treatments is 1, give 2 to 200 treatments");
    assert_eq!(text(201, 1, &[]), "treatments is 201, give 2 to 200 treatments");
    assert_eq!(text(2, 0, &[]), "rounds is 0, give 1 to 100,000 rounds");
    assert_eq!(text(2, 3, &[vec![0, 1]]), "permutations is 1, give one permutation for each begun cycle");
    for wrong in [vec![0, 0], vec![0], vec![1, 2], vec![0, 1, 2]] {
        assert!(text(2, 2, &[wrong]).contains("each label once in every permutation"));
    }
}

fn permutation(treatments: usize) -> impl Strategy<Value = Vec<usize>> {
    Just((0..treatments).collect::<Vec<_>>()).prop_shuffle()
}

proptest! {
    /// A drift by equal steps adds the same to every treatment's mean.
    #[test]
    fn whole_cycles_cancel_a_linear_drift_exactly(
        (treatments, labels) in (2_usize..9).prop_flat_map(|t| (Just(t), proptest::collection::vec(permutation(t), 1..4))),
    ) {
        let orders = run_orders(treatments, labels.len() * cycle(treatments), &labels).unwrap();
        prop_assert!(orders.balanced);
        let whole = (orders.rounds.len() * treatments) as f64;
        for position in orders.mean_positions() {
            prop_assert_eq!(position.to_bits(), (0.5 * (whole + 1.0)).to_bits());
        }
    }

    #[test]
    fn any_number_of_rounds_holds_every_treatment_once_a_round(
        (treatments, rounds, labels) in (2_usize..9, 1_usize..40)
            .prop_flat_map(|(t, r)| (Just(t), Just(r), proptest::collection::vec(permutation(t), r.div_ceil(cycle(t))))),
    ) {
        let orders = run_orders(treatments, rounds, &labels).unwrap();
        prop_assert_eq!(orders.rounds.len(), rounds);
        prop_assert_eq!(orders.balanced, rounds % cycle(treatments) == 0);
        for round in &orders.rounds {
            let mut sorted = round.clone();
            sorted.sort_unstable();
            prop_assert!(sorted.into_iter().eq(0..treatments));
        }
    }
}
