//! A small message must not become a large answer.

use benchring_api::v1;
use benchring_domain::violation::Violations;

use crate::sound::{check_pack, check_trial, pack_model, trial};

fn short(broken: &Violations) {
    let listed = broken.as_slice();
    let bytes: usize = listed.iter().map(|v| v.field.len() + v.message.len()).sum();
    assert!(listed.len() <= Violations::MOST + 1, "{} violations", listed.len());
    assert!(bytes < 400_000, "{bytes} bytes");
}

#[test]
fn unreadable_runs() {
    let mut sent = trial();
    sent.arms[0].charges[0].runs =
        vec![v1::TrialRun { end_criterion: 99, ..v1::TrialRun::default() }; 50_000];
    short(&check_trial(sent).unwrap_err());
}

#[test]
fn empty_arms_charges_and_conditions() {
    let mut sent = trial();
    sent.arms = vec![v1::TrialArm::default(); 100_000];
    short(&check_trial(sent).unwrap_err());
    let mut sent = trial();
    sent.arms[0].charges = vec![v1::TrialCharge::default(); 100_000];
    short(&check_trial(sent).unwrap_err());
    let mut sent = trial();
    sent.conditions = vec![v1::Condition::default(); 100_000];
    short(&check_trial(sent).unwrap_err());
}

#[test]
fn long_texts() {
    let mut sent = trial();
    sent.note = "ä".repeat(1_000_000);
    sent.method = "m".repeat(1_000_000);
    sent.licence = "l".repeat(1_000_000);
    sent.conditions[0].field = "f".repeat(1_000_000);
    short(&check_trial(sent).unwrap_err());
    let mut sent = pack_model();
    sent.aliases = vec!["a".repeat(1000); 1000];
    sent.maker = "m".repeat(1_000_000);
    short(&check_pack(sent, "k4").unwrap_err());
}
