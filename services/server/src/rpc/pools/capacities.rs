//! What specimens were measured to hold, where a question divides by it.

use benchring_domain::id::{MethodId, MethodRef};
use benchring_domain::method::{Catalogue, Method, Normalisation};
use benchring_domain::pool::{Evidence, MeasuredBy, Question, measured_amounts};

use crate::app::App;
use crate::error::Refusal;

/// Method whose trials say what a specimen holds, in A.h.
const CAPACITY: &str = "discharge-capacity";
/// The same in W.h.
const ENERGY: &str = "discharge-energy";

/// What one measured normalisation divides by.
pub(in crate::rpc) struct Capacity {
    pub(in crate::rpc) normalisation: Normalisation,
    pub(in crate::rpc) method: MethodRef,
    pub(in crate::rpc) evidence: Evidence,
}

impl App {
    /// The methods that measure what specimens hold, each with its evidence as of `at`, where the question divides by that.
    pub(in crate::rpc) async fn capacities(
        &self,
        question: &Question,
        at: i64,
    ) -> Result<Vec<Capacity>, Refusal> {
        let permitted = |one| self.catalogue.method(&question.method).is_some_and(|m| m.permits(one).is_ok());
        let asked =
            |one| question.normalisation == Some(one) || question.all_normalisations && permitted(one);
        self.capacities_for(asked, at).await
    }

    /// The same for those normalisations that `asked` holds for.
    pub(super) async fn capacities_for(
        &self,
        asked: impl Fn(Normalisation) -> bool,
        at: i64,
    ) -> Result<Vec<Capacity>, Refusal> {
        let mut capacities = Vec::new();
        for (normalisation, method) in
            [(Normalisation::PerMeasuredAh, CAPACITY), (Normalisation::PerMeasuredWh, ENERGY)]
        {
            let id = MethodId::parse(method).map_err(Refusal::internal)?;
            let current = self.catalogue.current(&id).map(Method::reference);
            if let Some(method) = current.filter(|_| asked(normalisation)) {
                let evidence = self.store.evidence(&method, Some(at)).await?;
                capacities.push(Capacity { normalisation, method, evidence });
            }
        }
        Ok(capacities)
    }
}

/// A method that was checked before.
pub(super) fn method_of<'a>(catalogue: &'a Catalogue, method: &MethodRef) -> Result<&'a Method, Refusal> {
    catalogue
        .method(method)
        .ok_or_else(|| Refusal::internal("a method that was checked is not in the catalogue"))
}

/// The measured amounts of every specimen.
pub(super) fn measured_by(catalogue: &Catalogue, capacities: &[Capacity]) -> Result<MeasuredBy, Refusal> {
    let mut measured = MeasuredBy::new();
    for Capacity { normalisation, method, evidence } in capacities {
        measured.insert(*normalisation, measured_amounts(method_of(catalogue, method)?, evidence));
    }
    Ok(measured)
}
