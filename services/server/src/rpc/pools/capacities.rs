//! What specimens were measured to hold, where a question divides by it.

use benchring_domain::id::{MethodId, MethodRef};
use benchring_domain::method::{Catalogue, Method, Normalisation};
use benchring_domain::pool::{Evidence, MeasuredBy, measured_amounts};

use crate::app::App;
use crate::error::Refusal;

/// Method whose trials say what a specimen holds, in A.h.
const CAPACITY: &str = "discharge-capacity";
/// The same in W.h.
const ENERGY: &str = "discharge-energy";

/// What one measured normalisation divides by.
pub(in crate::rpc) struct Capacity {
    normalisation: Normalisation,
    method: MethodRef,
    pub(in crate::rpc) evidence: Evidence,
}

impl App {
    /// The methods that measure what specimens hold, each with its evidence as of `at`, for those normalisations that
    /// `asked` holds for.
    pub(in crate::rpc) async fn capacities(
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
pub(in crate::rpc) fn measured_by(
    catalogue: &Catalogue,
    capacities: &[Capacity],
) -> Result<MeasuredBy, Refusal> {
    let mut measured = MeasuredBy::new();
    for Capacity { normalisation, method, evidence } in capacities {
        measured.insert(*normalisation, measured_amounts(method_of(catalogue, method)?, evidence));
    }
    Ok(measured)
}
