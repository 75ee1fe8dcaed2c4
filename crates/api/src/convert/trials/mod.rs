//! Trials.

mod batch;
mod draft;
mod record;

use benchring_domain::id::TrialId;
use benchring_domain::trial::TrialDraft;
use benchring_domain::violation::Violations;

pub use batch::{Batch, MOST_ITEMS, Refused, refused_to_wire, submit_trials_from_wire};
pub use draft::trial_from_wire;
pub use record::{Kept, TrialDecision, TrialRecord, check_to_wire, trial_to_wire};

use super::Sent;
use super::requests::{
    Create, Page, id_from_wire, name_from_wire, page_from_wire, request_id_from_wire, resource_from_wire,
};
use super::words::unknown;
use crate::v1;

/// How much of a trial is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum View {
    /// Everything but arms, conditions and findings.
    #[default]
    Basic,
    /// Everything but arms and conditions.
    Noticed,
    /// Everything.
    Full,
}

/// Reads a request to submit a trial.
pub fn submit_trial_from_wire(request: v1::SubmitTrialRequest) -> Sent<Create<TrialId, TrialDraft>> {
    let v1::SubmitTrialRequest { trial, trial_id, request_id, validate_only } = request;
    let mut broken = Violations::default();
    let draft = Create {
        id: id_from_wire(&trial_id, "trial_id", TrialId::parse, &mut broken),
        draft: resource_from_wire(trial, "trial", trial_from_wire, &mut broken),
        request_id: request_id_from_wire(&request_id, &mut broken),
        validate_only,
    };
    Sent { draft, broken }
}

/// Reads a request to check a trial. Paths begin at the trial, as in the answer.
///
/// # Errors
/// There is no trial in it.
pub fn check_trial_from_wire(request: v1::CheckTrialRequest) -> Result<Sent<TrialDraft>, Violations> {
    let v1::CheckTrialRequest { trial } = request;
    match trial {
        Some(trial) => Ok(trial_from_wire(trial)),
        None => Err(Violations::one("trial", "REQUIRED", "send the trial to check")),
    }
}

/// Reads a request for one trial.
///
/// # Errors
/// The name or the view cannot be read.
pub fn get_trial_from_wire(request: &v1::GetTrialRequest) -> Result<(TrialId, View), Violations> {
    let v1::GetTrialRequest { name, view } = request;
    let mut broken = Violations::default();
    let id = name_from_wire(name, "name", TrialId::from_name, &mut broken);
    let view = view_from_wire(*view, View::Full, &mut broken);
    match id {
        Some(id) => broken.finish((id, view)),
        None => Err(broken),
    }
}

/// A request for a list of trials, the filter as text.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ListTrials {
    /// Which page.
    pub page: Page,
    /// The filter as written.
    pub filter: String,
    /// How much of each.
    pub view: View,
}

/// Reads a request for trials. Reading the filter is the domain's.
pub fn list_trials_from_wire(request: v1::ListTrialsRequest) -> Sent<ListTrials> {
    let v1::ListTrialsRequest { page_size, page_token, filter, view } = request;
    let mut broken = Violations::default();
    let draft = ListTrials {
        page: page_from_wire(page_size, page_token, &mut broken),
        filter,
        view: view_from_wire(view, View::Basic, &mut broken),
    };
    Sent { draft, broken }
}

fn view_from_wire(view: i32, usual: View, broken: &mut Violations) -> View {
    match v1::TrialView::try_from(view) {
        Ok(v1::TrialView::Unspecified) => usual,
        Ok(v1::TrialView::Basic) => View::Basic,
        Ok(v1::TrialView::Full) => View::Full,
        Err(_) => {
            unknown(view, "view", &["TRIAL_VIEW_BASIC", "TRIAL_VIEW_FULL"], broken);
            usual
        }
    }
}
