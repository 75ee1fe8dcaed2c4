//! Trials and the resources they name, handed over for analysis.

use benchring_domain::analysis::documents::Document;
use benchring_domain::clock::Timestamp;
use benchring_domain::id::{PackModelId, PackSpecimenId, TesterId, ToolModelId, TrialId};
use benchring_domain::method::Catalogue;
use benchring_domain::pack::PackModel;
use benchring_domain::standing::Standing;
use benchring_domain::trial::References;
use benchring_domain::violation::Violations;

use crate::convert::packs::{pack_model_from_wire, pack_specimen_from_wire};
use crate::convert::tools::tool_model_from_wire;
use crate::convert::trials::trial_from_wire;
use crate::v1;

/// Stands for whoever hands over a trial without a tester.
const SELF: &str = "self";

/// What is handed over.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Handed {
    /// Trials, as submitted or as given out.
    pub trials: Vec<v1::Trial>,
    /// Pack models that their specimens are of.
    pub pack_models: Vec<v1::PackModel>,
    /// Pack specimens that they name.
    pub pack_specimens: Vec<v1::PackSpecimen>,
    /// Tool models that they name.
    pub tool_models: Vec<v1::ToolModel>,
}

impl Handed {
    /// The resources, each held against its rules. A specimen whose model is not handed over is left out.
    pub fn references(
        &mut self,
        catalogue: &Catalogue,
        now: Timestamp,
        broken: &mut Violations,
    ) -> References {
        let mut references = References::default();
        let mut models: Vec<PackModel> = Vec::new();
        for (place, sent) in std::mem::take(&mut self.pack_models).into_iter().enumerate() {
            let at = format!("pack_models[{place}]");
            let Some(id) = named(&sent.name, &at, PackModelId::from_name, broken) else { continue };
            match pack_model_from_wire(sent).judge("", |draft| draft.check(id, catalogue, now)) {
                Ok((model, _)) => models.push(model),
                Err(rules) => broken.take(&at, rules),
            }
        }
        for (place, sent) in std::mem::take(&mut self.pack_specimens).into_iter().enumerate() {
            let at = format!("pack_specimens[{place}]");
            let Some(id) = named(&sent.name, &at, PackSpecimenId::from_name, broken) else { continue };
            let Some(model) = models.iter().find(|model| model.id.name() == sent.pack_model) else {
                continue;
            };
            let tester = tester_of(&sent.tester, &at, broken);
            let Some(tester) = tester else { continue };
            match pack_specimen_from_wire(sent)
                .judge("", |draft| draft.check(id.clone(), tester, Some(model), now))
            {
                Ok(specimen) => {
                    references.specimens.insert(id, (specimen, model.clone()));
                }
                Err(rules) => broken.take(&at, rules),
            }
        }
        for (place, sent) in std::mem::take(&mut self.tool_models).into_iter().enumerate() {
            let at = format!("tool_models[{place}]");
            let Some(id) = named(&sent.name, &at, ToolModelId::from_name, broken) else { continue };
            match tool_model_from_wire(sent).judge("", |draft| draft.check(id.clone(), catalogue)) {
                Ok((tool, _)) => {
                    references.tool_models.insert(id, tool);
                }
                Err(rules) => broken.take(&at, rules),
            }
        }
        references
    }

    /// The trials as far as they can be read. `at` makes the path of a trial from its place.
    pub fn documents(&mut self, at: impl Fn(usize) -> String, broken: &mut Violations) -> Vec<Document> {
        let trials = std::mem::take(&mut self.trials);
        let mut documents = Vec::new();
        for (place, sent) in trials.into_iter().enumerate() {
            let path = at(place);
            let unnamed = || TrialId::parse(&format!("trial-{}", place + 1)).map_err(|e| e.to_string());
            let trial = if sent.name.is_empty() {
                unnamed().ok()
            } else {
                named(&sent.name, &path, TrialId::from_name, broken)
            };
            let tester = tester_of(&sent.tester, &path, broken);
            let standing = standing_of(sent.standing);
            let models = sent.arms.iter().map(|arm| PackModelId::from_name(&arm.pack_model).ok()).collect();
            let read = trial_from_wire(sent);
            let (draft, unread) = (read.draft, read.broken);
            broken.take(&path, unread);
            if let (Some(trial), Some(tester)) = (trial, tester) {
                documents.push(Document { at: path, trial, tester, standing, draft, models });
            }
        }
        documents
    }
}

fn named<T>(
    name: &str,
    at: &str,
    read: impl Fn(&str) -> Result<T, benchring_domain::id::NotAName>,
    broken: &mut Violations,
) -> Option<T> {
    read(name).map_err(|wrong| broken.add(format!("{at}.name"), "NOT_A_NAME", wrong.to_string())).ok()
}

fn tester_of(name: &str, at: &str, broken: &mut Violations) -> Option<TesterId> {
    let read = if name.is_empty() { TesterId::parse(SELF) } else { TesterId::from_name(name) };
    read.map_err(|wrong| broken.add(format!("{at}.tester"), "NOT_A_NAME", wrong.to_string())).ok()
}

/// A trial that was never kept has no standing, and counts.
fn standing_of(sent: i32) -> Standing {
    match v1::Standing::try_from(sent) {
        Ok(v1::Standing::Pending) => Standing::Pending,
        Ok(v1::Standing::Disputed) => Standing::Disputed,
        Ok(v1::Standing::Returned) => Standing::Returned,
        Ok(v1::Standing::Rejected) => Standing::Rejected,
        Ok(v1::Standing::Withdrawn) => Standing::Withdrawn,
        Ok(v1::Standing::TakenDown) => Standing::TakenDown,
        Ok(v1::Standing::Accepted | v1::Standing::Unspecified) | Err(_) => Standing::Accepted,
    }
}
