//! Conditions that the difference of two packs may change with.

use std::collections::BTreeSet;
use std::sync::Arc;

use benchring_api::convert::pools::Telling;
use benchring_api::convert::pools::modifiers::{exploration_to_wire, exploring_from_wire};
use benchring_api::v1;
use benchring_auth::Action;
use benchring_domain::pool::modifiers::NotExplored;
use benchring_domain::pool::wording::Subject;
use tonic::Request;

use super::capacities::method_of;
use super::{Readable, no_answer};
use crate::app::App;
use crate::door::permit;
use crate::error::Refusal;
use crate::reason::Reason;

impl App {
    /// Answers a question about a condition, computed off the threads that carry calls.
    pub(super) async fn explore(
        &self,
        request: Request<v1::ExploreModifiersRequest>,
    ) -> Result<v1::ExploreModifiersResponse, Refusal> {
        let caller = permit(&request, Action::AskPool)?;
        let asked =
            exploring_from_wire(request.into_inner()).judge("", |draft| draft.check(&self.catalogue))?;
        let question = &asked.question;
        let at = self.store.data_version_at(question.data_version).await?;
        self.packs_known([&question.pack_a, &question.pack_b], at).await?;
        let evidence = self.store.evidence(&question.method, Some(at)).await?;
        let since = evidence.trials_version(question, []);
        let pair = BTreeSet::from([&question.pack_a, &question.pack_b]);
        let packs = self.store.pack_model_revisions(pair, since, evidence.data_version).await?;
        let catalogue = Arc::clone(&self.catalogue);
        let cautions = self.cautions(&question.method.name());
        let work = move || -> Result<v1::ExploreModifiersResponse, Refusal> {
            let method = method_of(&catalogue, &asked.question.method)?;
            let evidence = evidence.asked(&asked.question, method, since, &packs);
            let found = asked.ask(method, &evidence).map_err(|why| not_explored(&why))?;
            let subject = Subject::of(&asked.question, method, &evidence.pack_models);
            let seen = Readable::of(&evidence, &caller);
            let readable = |trial: &_| seen.holds(trial);
            let telling =
                Telling { method, subject: &subject, cautions, readable: &readable, etag: String::new() };
            Ok(exploration_to_wire(&found, &telling))
        };
        tokio::task::spawn_blocking(work).await.map_err(Refusal::internal)?
    }
}

fn not_explored(why: &NotExplored) -> Refusal {
    match why {
        NotExplored::NoAnswer(why) => no_answer(why),
        NotExplored::TooFew(_) | NotExplored::RankDeficient(_) => {
            Refusal::because(Reason::Precondition, why.to_string())
        }
    }
}
