//! What the community has registered, and the check of a trial that names it.

use std::collections::BTreeMap;

use anyhow::{Context as _, anyhow};
use benchring_api::convert::packs::{create_pack_model_from_wire, create_pack_specimen_from_wire};
use benchring_api::convert::tools::create_tool_model_from_wire;
use benchring_api::convert::trials::trial_from_wire;
use benchring_api::v1;
use benchring_domain::clock::Timestamp;
use benchring_domain::id::{PackModelId, PackSpecimenId, TesterId, ToolModelId};
use benchring_domain::method::Catalogue;
use benchring_domain::pack::{PackModel, PackSpecimen};
use benchring_domain::tool::ToolModel;
use benchring_domain::trial::{Checked, References};
use benchring_domain::violation::Violations;

use super::community::Registered;

/// The time of every check: after the last session of the demo, 2026-01-01T00:00:00Z.
const NOW_S: i64 = 1_767_225_600;

/// What has been registered.
#[derive(Debug, Clone, Default)]
pub struct Shelf {
    /// Pack models.
    pub pack_models: BTreeMap<PackModelId, PackModel>,
    specimens: BTreeMap<PackSpecimenId, PackSpecimen>,
    tool_models: BTreeMap<ToolModelId, ToolModel>,
}

impl Shelf {
    /// Checks and keeps what is registered.
    ///
    /// # Errors
    /// Something is refused.
    pub fn fill(catalogue: &Catalogue, registered: Registered) -> anyhow::Result<Self> {
        let now = Timestamp::from_second(NOW_S).unwrap_or_default();
        let mut shelf = Self::default();
        for (_, request) in registered.pack_models {
            let create =
                create_pack_model_from_wire(request).finish().map_err(|b| refused("pack model", &b))?;
            let id = create.id.context("a pack model without an id")?;
            let checked = create.draft.check(id.clone(), catalogue, now);
            let (model, _) = checked.map_err(|broken| refused(id.as_str(), &broken))?;
            shelf.pack_models.insert(id, model);
        }
        for (_, request) in registered.tool_models {
            let create =
                create_tool_model_from_wire(request).finish().map_err(|b| refused("tool model", &b))?;
            let id = create.id.context("a tool model without an id")?;
            let checked = create.draft.check(id.clone(), catalogue);
            let (model, _) = checked.map_err(|broken| refused(id.as_str(), &broken))?;
            shelf.tool_models.insert(id, model);
        }
        shelf.own(registered.pack_specimens)?;
        Ok(shelf)
    }

    /// Adds specimens: tester, request.
    ///
    /// # Errors
    /// One is refused.
    pub fn own(
        &mut self,
        specimens: impl IntoIterator<Item = (String, v1::CreatePackSpecimenRequest)>,
    ) -> anyhow::Result<()> {
        let now = Timestamp::from_second(NOW_S).unwrap_or_default();
        for (tester, request) in specimens {
            let create =
                create_pack_specimen_from_wire(request).finish().map_err(|b| refused("specimen", &b))?;
            let id = create.id.context("a specimen without an id")?;
            let model = create.draft.referenced().and_then(|id| self.pack_models.get(&id));
            let checked = create.draft.check(id.clone(), TesterId::parse(&tester)?, model, now);
            let specimen = checked.map_err(|broken| refused(id.as_str(), &broken))?;
            self.specimens.insert(id, specimen);
        }
        Ok(())
    }

    /// The check of a trial as the server makes it.
    ///
    /// # Errors
    /// Every broken rule.
    pub fn check(
        &self,
        catalogue: &Catalogue,
        tester: &TesterId,
        sent: v1::Trial,
    ) -> Result<Checked, Violations> {
        let now = Timestamp::from_second(NOW_S).unwrap_or_default();
        trial_from_wire(sent).judge("trial", |draft| {
            let references = self.references(&draft.referenced());
            draft.check(catalogue, &references, tester, now)
        })
    }

    fn references(&self, (specimens, tool_models): &(Vec<PackSpecimenId>, Vec<ToolModelId>)) -> References {
        let with_model = |id: &PackSpecimenId| {
            let specimen = self.specimens.get(id)?;
            let model = self.pack_models.get(&specimen.pack_model)?;
            Some((id.clone(), (specimen.clone(), model.clone())))
        };
        References {
            specimens: specimens.iter().filter_map(with_model).collect(),
            tool_models: tool_models
                .iter()
                .filter_map(|id| Some((id.clone(), self.tool_models.get(id)?.clone())))
                .collect(),
            ..References::default()
        }
    }
}

/// What was refused, and why.
pub(super) fn refused(what: &str, broken: &Violations) -> anyhow::Error {
    anyhow!("{what} of the demo is refused: {broken}")
}
