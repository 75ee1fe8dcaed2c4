//! The claims of the invented makers: recorded and judged through the public door, beside the verdict that the simulated
//! truth asks for.

use anyhow::{Context as _, ensure};
use benchring_api::v1;
use benchring_api::v1::claim_service_client::ClaimServiceClient;
use benchring_api::v1::{ClaimForm, ClaimReach, ClaimVerdict};
use benchring_auth::Role;
use tonic::transport::Channel;

use super::caught::Caught;
use super::community::faults::Fault;
use super::community::roster::pack::{K4T, K5, K8, L5P, N6};
use super::community::tester_id;
use super::invented::work::{CAPACITY, CHAIN_SAW, CROSSCUT, CUTS, HEDGE, WARMING};
use super::invented::{PACKS, WORKS};
use super::play::{broke, by, violations};
use super::truth::Truths;

/// Who writes the claims down.
const SCRIBE: usize = 0;

/// When a claim holds of the simulated truth.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Holds {
    /// Never: the words name nothing that is measured.
    NotTestable,
    /// Pack against K5 in these works: the ratio is at least so much.
    AtLeast(&'static [usize], f64),
    /// The ratio is at most so much.
    AtMost(&'static [usize], f64),
    /// The level of the pack is at least so much.
    Level(usize, f64),
    /// The reading of the pack is at most this share of that of K5.
    Share(usize, f64),
}

/// A claim of an invented maker.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemoClaim {
    /// Its id, for people.
    pub id: &'static str,
    /// Who claims.
    pub maker: &'static str,
    /// In which words.
    pub wording: &'static str,
    /// Of what, for people.
    pub about: &'static str,
    metric: &'static str,
    pack: usize,
    works: &'static [usize],
    form: ClaimForm,
    reach: ClaimReach,
    amount: &'static str,
    /// Demand class; empty for a claim that states no condition.
    class: &'static str,
    holds: Holds,
}

const PLAIN: DemoClaim = DemoClaim {
    id: "",
    maker: "",
    wording: "",
    about: "",
    metric: "",
    pack: K5,
    works: &[],
    form: ClaimForm::More,
    reach: ClaimReach::AtLeast,
    amount: "",
    class: "",
    holds: Holds::NotTestable,
};

/// The claims.
pub const CLAIMS: [DemoClaim; 6] = [
    DemoClaim {
        id: "C1",
        maker: "maker L",
        wording: "40 % more power",
        about: "L5P against K5",
        metric: "power",
        pack: L5P,
        amount: "40 %",
        ..PLAIN
    },
    DemoClaim {
        id: "C2",
        maker: "maker L",
        wording: "up to 60 % more work per charge",
        about: "L5P against K5, in general",
        metric: "work per charge",
        pack: L5P,
        works: &[CUTS, HEDGE],
        reach: ClaimReach::UpTo,
        amount: "60 %",
        holds: Holds::AtLeast(&[CUTS, CHAIN_SAW, HEDGE], 1.6),
        ..PLAIN
    },
    DemoClaim {
        id: "C3",
        maker: "maker N",
        wording: "6.0 Ah",
        about: "N6",
        metric: "capacity",
        pack: N6,
        works: &[CAPACITY],
        form: ClaimForm::LabelLevel,
        amount: "6.0 Ah",
        holds: Holds::Level(CAPACITY, 6.0),
        ..PLAIN
    },
    DemoClaim {
        id: "C4",
        maker: "maker K",
        wording: "1.4 times the run time of the 5.0",
        about: "K8 against K5, light work",
        metric: "run time",
        pack: K8,
        works: &[HEDGE],
        form: ClaimForm::Times,
        amount: "1.4",
        class: "d1",
        holds: Holds::AtLeast(&[HEDGE], 1.4),
        ..PLAIN
    },
    DemoClaim {
        id: "C5",
        maker: "maker K",
        wording: "25 % faster",
        about: "K4T against K5, heavy work",
        metric: "speed",
        pack: K4T,
        works: &[CROSSCUT],
        form: ClaimForm::RateGain,
        amount: "25 %",
        class: "d3",
        holds: Holds::AtMost(&[CROSSCUT], 0.8),
        ..PLAIN
    },
    DemoClaim {
        id: "C6",
        maker: "maker L",
        wording: "runs 30 % cooler",
        about: "L5P against K5, medium work",
        metric: "temperature",
        pack: L5P,
        works: &[WARMING],
        form: ClaimForm::Cooler,
        amount: "30 %",
        class: "d2",
        holds: Holds::Share(WARMING, 0.7),
        ..PLAIN
    },
];

/// What became of a claim.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// The claim.
    pub claim: &'static DemoClaim,
    /// What the newest evidence says: the word that the claim bears also hangs on the order in which testers came in.
    pub verdict: ClaimVerdict,
    /// For "up to": whether it is reached anywhere.
    pub up_to: Option<ClaimVerdict>,
    /// The word that the truth asks for.
    pub expected: ClaimVerdict,
    /// The server's sentences, one a response; the whole one where there is no response.
    pub sentences: Vec<String>,
}

/// A verdict by its name in capitals, such as `SUPPORTED`.
pub fn word(verdict: ClaimVerdict) -> &'static str {
    verdict.as_str_name().trim_start_matches("CLAIM_VERDICT_")
}

impl DemoClaim {
    /// The claim on the wire.
    fn wire(&self) -> v1::Claim {
        let label = self.form == ClaimForm::LabelLevel;
        let mut methods: Vec<&str> = self.works.iter().map(|work| WORKS[*work].method).collect();
        methods.dedup();
        v1::Claim {
            maker: format!("{} (invented)", self.maker),
            wording: self.wording.to_owned(),
            source_reference: "sleeve of the pack".to_owned(),
            metric: self.metric.to_owned(),
            responses: methods
                .into_iter()
                .map(|method| v1::ClaimResponse {
                    method: format!("methods/{method}/versions/1"),
                    ..v1::ClaimResponse::default()
                })
                .collect(),
            form: self.form.into(),
            reach: self.reach.into(),
            amount: Some(typed(self.amount)),
            pack: pack_name(self.pack),
            comparator: if label { String::new() } else { pack_name(K5) },
            condition: (!label).then(|| v1::ClaimCondition {
                general: self.class.is_empty(),
                demand_class: self.class.to_owned(),
                ..v1::ClaimCondition::default()
            }),
            ..v1::Claim::default()
        }
    }

    /// The verdict that the truth asks for: contradicted where it fails in any work and air.
    pub fn expected(&self, truths: &Truths) -> ClaimVerdict {
        let everywhere = |works: &[usize], holds: &dyn Fn(f64) -> bool| {
            let places =
                works.iter().flat_map(|work| (0..WORKS[*work].weather.len()).map(|air| (*work, air)));
            let found: Vec<f64> =
                places.filter_map(|(work, air)| truths.effect(work, air, K5, self.pack)).collect();
            !found.is_empty() && found.into_iter().all(holds)
        };
        let levels = |work: usize, holds: &dyn Fn(usize) -> bool| (0..WORKS[work].weather.len()).all(holds);
        let holds = match self.holds {
            Holds::NotTestable => return ClaimVerdict::NotTestableAsWorded,
            Holds::AtLeast(works, ratio) => everywhere(works, &|truth| truth >= ratio),
            Holds::AtMost(works, ratio) => everywhere(works, &|truth| truth <= ratio),
            Holds::Level(work, amount) => levels(work, &|air| {
                truths.level(work, air, self.pack).is_some_and(|level| level.exp() >= amount)
            }),
            Holds::Share(work, share) => levels(work, &|air| {
                let (own, other) = (truths.level(work, air, self.pack), truths.level(work, air, K5));
                own.zip(other).is_some_and(|(own, other)| own <= share * other)
            }),
        };
        if holds { ClaimVerdict::Supported } else { ClaimVerdict::Contradicted }
    }
}

fn pack_name(pack: usize) -> String {
    format!("packModels/{}", PACKS[pack].id)
}

fn typed(text: &str) -> v1::Quantity {
    v1::Quantity { as_written: text.to_owned(), ..v1::Quantity::default() }
}

/// Records every claim and has it judged.
///
/// # Errors
/// The server refuses what is sound.
pub async fn judged(channel: &Channel, truths: &Truths) -> anyhow::Result<Vec<Judged>> {
    let mut all = Vec::new();
    for claim in &CLAIMS {
        let id = claim.id.to_lowercase();
        record(channel, SCRIBE, &id, claim.wire()).await?;
        let request =
            v1::JudgeClaimRequest { name: format!("claims/{id}"), ..v1::JudgeClaimRequest::default() };
        let told = ClaimServiceClient::new(channel.clone()).judge_claim(request).await;
        let told = told.map_err(|status| broke(&format!("JudgeClaim {}", claim.id), &status))?.into_inner();
        let up_to = (claim.reach == ClaimReach::UpTo).then(|| told.up_to_verdict());
        let (verdict, expected) = (told.newest_verdict(), claim.expected(truths));
        let sentences: Vec<String> = told.responses.into_iter().map(|one| one.sentence).collect();
        let sentences = if sentences.is_empty() { vec![told.sentence] } else { sentences };
        all.push(Judged { claim, verdict, up_to, expected, sentences });
    }
    Ok(all)
}

async fn record(channel: &Channel, tester: usize, id: &str, claim: v1::Claim) -> anyhow::Result<v1::Claim> {
    let request = v1::CreateClaimRequest {
        claim_id: id.to_owned(),
        claim: Some(claim),
        ..v1::CreateClaimRequest::default()
    };
    let call = by(&tester_id(tester), Role::Tester, request)?;
    let kept = ClaimServiceClient::new(channel.clone()).create_claim(call).await;
    Ok(kept.map_err(|status| broke(&format!("CreateClaim {id}"), &status))?.into_inner())
}

/// A tester writes "50 % faster" for half the time: what the server asks, once it was answered.
///
/// # Errors
/// The server takes the claim as it is, or refuses the answer.
pub async fn fifty_percent_faster(channel: &Channel) -> anyhow::Result<Caught> {
    let meant = DemoClaim {
        maker: "maker K",
        wording: "50 % faster",
        metric: "speed",
        pack: K4T,
        works: &[CROSSCUT],
        form: ClaimForm::Unspecified,
        amount: "50 %",
        class: "d3",
        ..PLAIN
    };
    let tester = Fault::F13.about().tester;
    let request = v1::CreateClaimRequest { claim: Some(meant.wire()), ..v1::CreateClaimRequest::default() };
    let call = by(&tester_id(tester), Role::Tester, request)?;
    let asked = ClaimServiceClient::new(channel.clone()).create_claim(call).await;
    let asked = asked.err().context("a claim of `50 % faster` was taken without a question")?;
    let form = violations(&asked).into_iter().find(|(field, _, _)| field == "claim.form");
    let (_, reason, message) = form.ok_or_else(|| broke("CreateClaim", &asked))?;
    let answered = DemoClaim { form: ClaimForm::TimeReduction, ..meant };
    let kept = record(channel, tester, "half-the-time", answered.wire()).await?;
    ensure!(kept.reading.contains("a rate gain of 100 %"), "read as {}", kept.reading);
    Ok(Caught { by: format!("violation {reason}"), said: message })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The verdicts that the invented scenario asks for.
    #[test]
    fn the_truth_asks_for_the_verdicts_of_the_scenario() {
        use ClaimVerdict::{Contradicted, NotTestableAsWorded, Supported};
        let truths = Truths::compute();
        let expected = CLAIMS.map(|claim| claim.expected(&truths));
        assert_eq!(
            expected,
            [NotTestableAsWorded, Contradicted, Contradicted, Supported, Contradicted, Supported]
        );
    }

    #[test]
    fn words_are_those_of_the_wire() {
        assert_eq!(word(ClaimVerdict::NotTestableAsWorded), "NOT_TESTABLE_AS_WORDED");
        assert_eq!(word(ClaimVerdict::Supported), "SUPPORTED");
    }
}
