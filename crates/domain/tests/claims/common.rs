//! Claims and their evidence, in few words.

use std::sync::LazyLock;

use benchring_domain::claim::{
    Claim, ClaimDraft, Form, Judgement, Reach, ResponseDraft, ResponseEvidence, judge,
};
use benchring_domain::id::ClaimId;
use benchring_domain::method::{Catalogue, Method};
use benchring_domain::pool::{Evidence, MeasuredBy};
use benchring_domain::trial::QuantityDraft;
use benchring_domain::violation::Violations;

use crate::community::{arm, trials};

/// Read once: properties judge hundreds of claims.
pub(crate) static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().unwrap());

pub(crate) const SCREWS: &str = "methods/screw-drive-time/versions/1";
pub(crate) const CUTS: &str = "methods/cuts-per-charge/versions/1";
pub(crate) const WARMING: &str = "methods/temperature-rise/versions/1";
pub(crate) const CAPACITY: &str = "methods/discharge-capacity/versions/1";

pub(crate) fn written(text: &str) -> QuantityDraft {
    QuantityDraft { value: None, unit: String::new(), as_written: text.to_owned() }
}

/// A sound claim of K8 against K5 in class d2.
pub(crate) fn draft(method: &str, form: Form, amount: &str) -> ClaimDraft {
    ClaimDraft {
        maker: "maker K".into(),
        wording: format!("{amount} better"),
        source_reference: "sleeve of the pack".into(),
        metric: "speed".into(),
        responses: vec![ResponseDraft { method: method.into(), normalisation: None }],
        form: Some(form),
        reach: None,
        amount: Some(written(amount)),
        pack: "packModels/k8".into(),
        comparator: "packModels/k5".into(),
        demand_class: "d2".into(),
        ..ClaimDraft::default()
    }
}

pub(crate) fn up_to(draft: ClaimDraft) -> ClaimDraft {
    ClaimDraft { reach: Some(Reach::UpTo), ..draft }
}

pub(crate) fn general(draft: ClaimDraft) -> ClaimDraft {
    ClaimDraft { general: true, demand_class: String::new(), ..draft }
}

pub(crate) fn checked(draft: ClaimDraft) -> Result<Claim, Violations> {
    draft.check(ClaimId::parse("c1").unwrap(), &CATALOGUE)
}

/// Judges a draft on evidence of its first response.
pub(crate) fn judged(draft: ClaimDraft, evidence: &Evidence) -> Judgement {
    judged_with(draft, evidence, false)
}

pub(crate) fn judged_with(draft: ClaimDraft, evidence: &Evidence, holm: bool) -> Judgement {
    let claim = checked(draft).unwrap();
    let measured = MeasuredBy::new();
    let responses: Vec<ResponseEvidence<'_>> = claim
        .responses
        .iter()
        .map(|response| ResponseEvidence {
            response,
            method: CATALOGUE.method(&response.method).unwrap(),
            evidence,
            measured: &measured,
        })
        .collect();
    judge(&claim, &responses, holm, evidence.data_version)
}

/// One trial a tester whose ratio K8/K5 is exp(y), all of the same precision.
pub(crate) fn ratios(method: &Method, ys: &[f64]) -> Evidence {
    let testers: Vec<String> = (0..ys.len()).map(|i| format!("t{i:02}")).collect();
    let arms: Vec<(&str, Vec<_>)> = testers
        .iter()
        .zip(ys)
        .map(|(tester, y)| {
            let readings = |level: f64| [0.97 * level, 0.99 * level, 1.01 * level, 1.03 * level];
            let (a, b) = (readings(10.0), readings(10.0 * y.exp()));
            let of = |pack: &str, own: &[f64]| arm(pack, &format!("{tester}-{pack}"), &[own]);
            (tester.as_str(), vec![of("k5", &a), of("k8", &b)])
        })
        .collect();
    trials(method, &arms)
}
