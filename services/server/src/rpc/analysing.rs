//! Trials that are handed over, analysed and forgotten.

use std::sync::Arc;
use std::time::Duration;

use benchring_api::convert::pools::analysis::{Analysed, analysed_to_wire, analysis_from_wire};
use benchring_api::v1;
use benchring_auth::Action;
use benchring_domain::analysis::documents::Gathered;
use benchring_domain::analysis::{Asked, Names, NoAnalysis, analyse};
use benchring_domain::clock::Timestamp;
use benchring_domain::method::Catalogue;
use benchring_domain::trial::loose::Against;
use benchring_domain::violation::Violations;
use tokio::sync::Semaphore;
use tonic::Request;

use crate::app::App;
use crate::door::permit;
use crate::error::Refusal;
use crate::reason::Reason;

/// Analyses under way at one time in this process: they compute, and calls that read have to go on.
const AT_ONCE: usize = 2;
/// After how long it is worth asking again.
const SOON: Duration = Duration::from_secs(2);

static ROOM: Semaphore = Semaphore::const_new(AT_ONCE);

impl App {
    /// Analyses the trials off the threads that carry calls. An analysis whose caller left is finished all the same, and
    /// keeps its place until it is.
    pub(super) async fn analysed(
        &self,
        request: Request<v1::AnalyseTrialsRequest>,
    ) -> Result<v1::AnalyseTrialsResponse, Refusal> {
        permit(&request, Action::AnalyseTrials)?;
        let request = request.into_inner();
        let Ok(place) = ROOM.try_acquire() else {
            return Err(Refusal::Later {
                reason: Reason::Overloaded,
                message: format!(
                    "{AT_ONCE} analyses are under way, which is all that run at one time: ask again in {} s, or analyse your files with `benchring analyse`",
                    SOON.as_secs()
                ),
                after: SOON,
            });
        };
        let (catalogue, now) = (Arc::clone(&self.catalogue), self.now());
        let work = move || {
            let _place = place;
            computed(request, &catalogue, now)
        };
        tokio::task::spawn_blocking(work).await.map_err(Refusal::internal)?
    }
}

fn computed(
    request: v1::AnalyseTrialsRequest,
    catalogue: &Catalogue,
    now: Timestamp,
) -> Result<v1::AnalyseTrialsResponse, Refusal> {
    let read = analysis_from_wire(request, catalogue, now).map_err(Refusal::Invalid)?;
    let against = Against { method: &read.method, catalogue, references: &read.references, now };
    let mut gathered = Gathered::default();
    for document in &read.documents {
        gathered.document(document, &against);
    }
    let mut broken = Violations::default();
    broken.take("", std::mem::take(&mut gathered.broken));
    if !broken.is_empty() {
        return Err(Refusal::Invalid(broken));
    }
    let packs =
        read.references.specimens.values().map(|(_, model)| (model.id.clone(), model.clone())).collect();
    let evidence = gathered.evidence(read.method.reference(), packs);
    let asked = Asked { options: read.options, reference: read.reference };
    let found = analyse(&read.method, &evidence, &asked, &Names::default()).map_err(|why| refused(&why))?;
    Ok(analysed_to_wire(&Analysed { method: &read.method, found: &found, gathered: &gathered }))
}

fn refused(why: &NoAnalysis) -> Refusal {
    let message = why.to_string();
    match why {
        NoAnalysis::NotConnected(_) => Refusal::because(Reason::NotConnected, message),
        NoAnalysis::NoVariance(_) => Refusal::because(Reason::Precondition, message),
        NoAnalysis::UnknownReference(_) => {
            Refusal::Invalid(Violations::one("reference", "UNKNOWN_PACK_MODEL", message))
        }
        NoAnalysis::TooMany(_) => Refusal::Invalid(Violations::one("trials", "TOO_MANY", message)),
    }
}
