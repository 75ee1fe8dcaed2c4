//! A word changes only once another held with a new voting unit between.

use benchring_domain::claim::Verdict::{self, Contradicted, Inconclusive, NotEnoughEvidence, Supported};
use benchring_domain::claim::history::{MOST_MOMENTS, Moment, history, moments_for};
use benchring_domain::id::TesterId;

fn words(of: &[(Verdict, &[&str])]) -> Vec<Verdict> {
    let moments: Vec<Moment> = (1..)
        .zip(of)
        .map(|(evidence_version, (verdict, units))| Moment {
            evidence_version,
            verdict: *verdict,
            units: units.iter().map(|unit| TesterId::parse(unit).unwrap()).collect(),
        })
        .collect();
    history(&moments).into_iter().map(|entry| entry.word).collect()
}

#[test]
fn a_word_waits_for_a_new_voting_unit() {
    let (three, four, five) =
        (&["a", "b", "c"][..], &["a", "b", "c", "d"][..], &["a", "b", "c", "d", "e"][..]);
    // Once is not enough.
    assert_eq!(words(&[(Supported, three), (Inconclusive, four)]), [Supported, Supported]);
    // Twice, but nobody new.
    assert_eq!(words(&[(Supported, three), (Inconclusive, four), (Inconclusive, four)]), [Supported; 3]);
    // Twice with somebody new.
    assert_eq!(
        words(&[(Supported, three), (Inconclusive, four), (Inconclusive, five)]),
        [Supported, Supported, Inconclusive]
    );
    // What came and went leaves no trace, and what comes again waits anew.
    assert_eq!(
        words(&[(Supported, three), (Inconclusive, four), (Supported, four), (Inconclusive, five)]),
        [Supported; 4]
    );
    // A third word waits for itself.
    assert_eq!(words(&[(Supported, three), (Inconclusive, four), (Contradicted, five)]), [Supported; 3]);
}

#[test]
fn a_lack_of_evidence_comes_and_goes_at_once() {
    let (two, three) = (&["a", "b"][..], &["a", "b", "c"][..]);
    assert_eq!(
        words(&[
            (NotEnoughEvidence, two),
            (Supported, three),
            (NotEnoughEvidence, two),
            (Contradicted, three)
        ]),
        [NotEnoughEvidence, Supported, NotEnoughEvidence, Contradicted]
    );
}

#[test]
fn entries_count_the_units_and_those_that_are_new() {
    let moment = |version, units: &[&str]| Moment {
        evidence_version: version,
        verdict: Supported,
        units: units.iter().map(|unit| TesterId::parse(unit).unwrap()).collect(),
    };
    let entries = history(&[moment(3, &["a", "b", "c"]), moment(9, &["a", "c", "d", "e"])]);
    let told: Vec<_> = entries.iter().map(|e| (e.evidence_version, e.units, e.new_units)).collect();
    assert_eq!(told, [(3, 3, 3), (9, 4, 2)]);
    assert!(history(&[]).is_empty());
}

#[test]
fn large_evidence_is_looked_back_on_less_often() {
    assert_eq!([0, 50, 5_000, 1_000_000].map(moments_for), [MOST_MOMENTS, MOST_MOMENTS, 4, 2]);
}
