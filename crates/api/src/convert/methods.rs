//! Methods: everything an app needs to build a form and a run screen.

use benchring_domain::audit::sha256_hex;
use benchring_domain::id::{MethodId, MethodRef};
use benchring_domain::method::{
    Band, Catalogue, Choice, Derived, Entered, FieldUse, Forbidden, Measure, Method, Outcome, Replicates,
    Response, Scatter,
};
use benchring_domain::trial::EndCriterion;
use benchring_domain::violation::Violations;
use prost::Message as _;

use super::quantity::limits_to_wire;
use super::requests::{Page, page_from_wire};
use super::words::unknown;
use super::{Sent, count_to_wire};
use crate::v1;

/// How much of a method is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum View {
    /// Name, title, purpose, tier, response and cautions.
    #[default]
    Basic,
    /// Everything.
    Full,
}

/// Which method is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Asked {
    /// A version.
    Version(MethodRef),
    /// The current version.
    Current(MethodId),
}

/// A request for a list of methods.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ListMethods {
    /// Which page.
    pub page: Page,
    /// How much of each.
    pub view: View,
}

/// Reads a request for methods.
pub fn list_methods_from_wire(request: v1::ListMethodsRequest) -> Sent<ListMethods> {
    let v1::ListMethodsRequest { page_size, page_token, view } = request;
    let mut broken = Violations::default();
    let page = page_from_wire(page_size, page_token, &mut broken);
    let view = match v1::MethodView::try_from(view) {
        Ok(v1::MethodView::Unspecified | v1::MethodView::Basic) => View::Basic,
        Ok(v1::MethodView::Full) => View::Full,
        Err(_) => {
            unknown(view, "view", &["METHOD_VIEW_BASIC", "METHOD_VIEW_FULL"], &mut broken);
            View::Basic
        }
    };
    Sent { draft: ListMethods { page, view }, broken }
}

/// Reads a request for one method.
///
/// # Errors
/// The name is missing or of another shape.
pub fn get_method_from_wire(request: &v1::GetMethodRequest) -> Result<Asked, Violations> {
    let v1::GetMethodRequest { name } = request;
    if name.is_empty() {
        return Err(Violations::one("name", "REQUIRED", "say which, by its resource name"));
    }
    let read = if name.contains("/versions/") {
        MethodRef::from_name(name).map(Asked::Version)
    } else {
        MethodId::from_name(name).map(Asked::Current)
    };
    read.map_err(|why| Violations::one("name", "NOT_A_NAME", why.to_string()))
}

/// Writes a method in full. Its entity tag is made of everything in it, the words of the dictionary
/// included, so that it changes when and only when the text does.
pub fn method_to_wire(catalogue: &Catalogue, method: &Method) -> v1::Method {
    let Method {
        id: _,
        version: _,
        title,
        tier,
        purpose,
        steps,
        cautions: _,
        response,
        derived,
        run_is_charge,
        fields,
        starting_states,
        end_table,
        same_within_trial: _,
        pool_keys: _,
        bands,
        indicative: _,
        modifiers: _,
        pools_levels: _,
        normalisations,
        forbidden,
        replicates,
        scatter,
        specimen_scatter: _,
        charge_sd: _,
        charge_sd_source: _,
        drift,
        order_rule,
    } = method;
    let mut wire = v1::Method {
        name: method.reference().name(),
        title: title.clone(),
        purpose: purpose.clone(),
        tier: tier.id().to_owned(),
        cautions: cautions_to_wire(catalogue, method),
        response: Some(response_to_wire(response)),
        steps: steps.clone(),
        fields: fields.iter().filter_map(|used| field_to_wire(catalogue, used)).collect(),
        end_rules: end_table.iter().map(end_rule_to_wire).collect(),
        starting_states: starting_states.clone(),
        same_within_trial: catalogue.same_within_trial(method),
        pooled_by: catalogue.pooled_by(method),
        normalisations: normalisations.iter().map(|one| one.id().to_owned()).collect(),
        forbidden_normalisations: forbidden.iter().map(forbidden_to_wire).collect(),
        replicates: Some(replicates_to_wire(replicates)),
        order_rule: order_rule.clone(),
        scatter: scatter.iter().map(|one| scatter_to_wire(catalogue, one)).collect(),
        run_is_charge: *run_is_charge,
        drift_per_run: Some(limits_to_wire(drift.range)),
        bands: bands.iter().map(band_to_wire).collect(),
        etag: String::new(),
        derived: derived.iter().map(|one| derived_to_wire(catalogue, one)).collect(),
    };
    wire.etag = format!("\"{}\"", &sha256_hex(&wire.encode_to_vec())[..16]);
    wire
}

/// What the basic view shows of a method.
pub fn basic(full: &v1::Method) -> v1::Method {
    v1::Method {
        name: full.name.clone(),
        title: full.title.clone(),
        purpose: full.purpose.clone(),
        tier: full.tier.clone(),
        cautions: full.cautions.clone(),
        response: full.response.clone(),
        etag: full.etag.clone(),
        ..v1::Method::default()
    }
}

fn cautions_to_wire(catalogue: &Catalogue, method: &Method) -> Vec<v1::Caution> {
    let one = |caution: &benchring_domain::method::Caution| v1::Caution {
        id: caution.id.clone(),
        text: caution.text.clone(),
    };
    catalogue.cautions(method).into_iter().map(one).collect()
}

fn response_to_wire(response: &Response) -> v1::MethodResponse {
    let Response { label, counted, kind, scale, better, measure, source: _ } = response;
    v1::MethodResponse {
        label: label.clone(),
        kind: kind.id().to_owned(),
        scale: scale.id().to_owned(),
        better: better.id().to_owned(),
        measure: Some(measure_to_wire(measure)),
        counted: counted.clone(),
    }
}

fn derived_to_wire(catalogue: &Catalogue, derived: &Derived) -> v1::DerivedQuantity {
    v1::DerivedQuantity {
        id: derived.id.clone(),
        label: derived.label.clone(),
        unit: derived.unit.clone(),
        symbol: derived.symbol().to_owned(),
        formula: derived.formula.words(str::to_owned),
        hard_limits: derived.hard.map(limits_to_wire),
        soft_limits: derived.soft.map(limits_to_wire),
        note: derived.note.clone(),
        source: source(catalogue, &derived.source),
    }
}

fn measure_to_wire(measure: &Measure) -> v1::Measure {
    let Measure { dimension, unit, display_unit: _, accepted_units, hard, soft, whole } = measure;
    v1::Measure {
        dimension: dimension.id().to_owned(),
        canonical_unit: unit.clone(),
        accepted_units: accepted_units.clone(),
        hard_limits: Some(limits_to_wire(*hard)),
        soft_limits: Some(limits_to_wire(*soft)),
        whole: *whole,
        offered_unit: measure.shown_in().to_owned(),
    }
}

/// A field as the method uses it. The catalogue was checked when it was loaded: every use has its field.
fn field_to_wire(catalogue: &Catalogue, used: &FieldUse) -> Option<v1::MethodField> {
    let FieldUse { field, required } = used;
    let field = catalogue.field(field)?;
    let choices = field.choices.as_deref().map(|list| catalogue.choices(list)).unwrap_or_default();
    Some(v1::MethodField {
        id: field.id.clone(),
        label: field.label.clone(),
        note: field.note.clone(),
        kind: field.kind.id().to_owned(),
        level: field.level.id().to_owned(),
        required: *required,
        entered: match &field.entered {
            Entered::Condition => "condition".to_owned(),
            Entered::Computed => "computed".to_owned(),
            Entered::Structure(path) => path.clone(),
        },
        measure: field.measure.as_ref().map(measure_to_wire),
        choices: choices.iter().map(choice_to_wire).collect(),
        source: source(catalogue, &field.source),
    })
}

fn choice_to_wire(choice: &Choice) -> v1::FieldChoice {
    let Choice { id, label, family, text_needed } = choice;
    v1::FieldChoice {
        id: id.clone(),
        label: label.clone(),
        family: family.clone(),
        note_needed: *text_needed,
    }
}

fn forbidden_to_wire(forbidden: &Forbidden) -> v1::ForbiddenNormalisation {
    let Forbidden { normalisation, reason } = forbidden;
    v1::ForbiddenNormalisation { normalisation: normalisation.id().to_owned(), reason: reason.clone() }
}

fn end_rule_to_wire((end, outcome): (&EndCriterion, &Outcome)) -> v1::EndRule {
    v1::EndRule { end_criterion: end.id().to_owned(), outcome: outcome.id().to_owned() }
}

fn replicates_to_wire(replicates: &Replicates) -> v1::Replicates {
    let Replicates { runs_per_round, rounds, source: _ } = replicates;
    v1::Replicates {
        runs_per_round_count: count_to_wire(*runs_per_round),
        rounds_count: count_to_wire(*rounds),
    }
}

fn scatter_to_wire(catalogue: &Catalogue, scatter: &Scatter) -> v1::Scatter {
    v1::Scatter {
        label: scatter.label.clone(),
        range: Some(limits_to_wire(scatter.range)),
        source: source(catalogue, &scatter.source),
    }
}

fn band_to_wire(band: &Band) -> v1::MethodBand {
    v1::MethodBand { id: band.id.clone(), bins: band.bins(), centre_factor: band.factor.unwrap_or_default() }
}

fn source(catalogue: &Catalogue, id: &str) -> String {
    catalogue.source(id).unwrap_or(id).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> Vec<v1::Method> {
        let catalogue = Catalogue::embedded().unwrap();
        catalogue.methods().map(|method| method_to_wire(&catalogue, method)).collect()
    }

    #[test]
    fn nothing_of_a_form_is_left_out() {
        let catalogue = Catalogue::embedded().unwrap();
        assert!(!all().is_empty());
        for (method, wire) in catalogue.methods().zip(all()) {
            assert_eq!(wire.fields.len(), method.fields.len(), "{}", wire.name);
            assert_eq!(wire.end_rules.len(), 10, "{}: every end has its rule", wire.name);
            assert!(!wire.cautions.is_empty() && !wire.steps.is_empty(), "{}", wire.name);
            assert!(!wire.pooled_by.is_empty() && !wire.same_within_trial.is_empty(), "{}", wire.name);
            for field in &wire.fields {
                let place = format!("{} {}", wire.name, field.id);
                assert!(!field.label.is_empty() && !field.source.is_empty(), "{place}");
                assert_eq!(field.kind == "quantity", field.measure.is_some(), "{place}");
                assert_eq!(field.kind == "choice", !field.choices.is_empty(), "{place}");
                assert!(field.choices.iter().all(|choice| !choice.label.is_empty()), "{place}");
            }
        }
    }

    #[test]
    fn the_offered_unit_is_one_that_is_taken() {
        for method in all() {
            let measures = method.fields.iter().filter_map(|field| field.measure.as_ref());
            for measure in measures.chain(method.response.as_ref().unwrap().measure.as_ref()) {
                assert!(
                    measure.accepted_units.contains(&measure.offered_unit),
                    "{}: {measure:?}",
                    method.name
                );
                assert_eq!(measure.accepted_units.first(), Some(&measure.canonical_unit));
            }
        }
    }

    #[test]
    fn the_tag_follows_the_text() {
        let methods = all();
        let tags: std::collections::BTreeSet<_> = methods.iter().map(|method| &method.etag).collect();
        assert_eq!(tags.len(), methods.len());
        assert_eq!(methods, all(), "the same text bears the same tag");
        assert!(methods[0].etag.starts_with('"') && methods[0].etag.len() == 18);
    }

    #[test]
    fn the_basic_view_keeps_the_cautions() {
        let full = all().remove(0);
        let basic = basic(&full);
        assert_eq!((&basic.cautions, &basic.etag), (&full.cautions, &full.etag));
        assert!(basic.fields.is_empty() && basic.steps.is_empty());
        assert!(basic.encoded_len() < full.encoded_len() / 4);
    }

    #[test]
    fn a_method_is_asked_for_by_version_or_by_its_own_name() {
        let ask = |name: &str| get_method_from_wire(&v1::GetMethodRequest { name: name.into() });
        assert!(matches!(ask("methods/cuts-per-charge/versions/1"), Ok(Asked::Version(_))));
        assert!(matches!(ask("methods/cuts-per-charge"), Ok(Asked::Current(_))));
        for wrong in ["", "methods/", "methods/x/versions/", "methods/x/versions/01", "methods/x/1", "x"] {
            assert_eq!(ask(wrong).unwrap_err().as_slice()[0].field, "name", "{wrong}");
        }
    }
}
