//! Update masks (AIP-134, AIP-161).

use benchring_domain::id::{NotAName, shortened};
use benchring_domain::violation::Violations;
use uuid::Uuid;

use super::Sent;
use super::requests::{name_from_wire, request_id_from_wire};

/// A request that revises a resource.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Update<I, W> {
    /// Which resource; `None` when its name could not be read.
    pub id: Option<I>,
    /// Entity tag that the current revision has to bear; empty where the client sent none.
    pub etag: String,
    /// Made once by the client.
    pub request_id: Option<Uuid>,
    /// Check only, keep nothing.
    pub validate_only: bool,
    given: W,
    paths: Vec<String>,
}

/// A resource of the wire that can be revised, field by field.
pub trait Revisable: Default {
    /// Fields that a client writes.
    const WRITTEN: &'static [&'static str];
    /// Fields that stay what they are: name, entity tag and what only the service writes.
    const STAYING: &'static [&'static str];
    /// Resource name and entity tag.
    fn identity(&self) -> (&str, &str);
    /// `self`, with those written fields of `given` of which `masked` holds, by name and populatedness.
    #[must_use]
    fn with(self, given: Self, masked: impl Fn(&str, bool) -> bool) -> Self;
}

/// Whether a field holds something else than nothing.
pub(super) fn is_populated<T: Default + PartialEq>(value: &T) -> bool {
    *value != T::default()
}

/// Lists the fields of a resource; one that is on neither list does not compile.
macro_rules! revisable {
    ($type:ident { written: $($written:ident),+; staying: $($staying:ident),+; }) => {
        impl $crate::convert::mask::Revisable for $crate::v1::$type {
            const WRITTEN: &'static [&'static str] = &[$(stringify!($written)),+];
            const STAYING: &'static [&'static str] = &[$(stringify!($staying)),+];

            fn identity(&self) -> (&str, &str) {
                (&self.name, &self.etag)
            }

            fn with(self, given: Self, masked: impl Fn(&str, bool) -> bool) -> Self {
                let Self { $($written,)+ $($staying: _,)+ } = given;
                Self {
                    $($written: if masked(stringify!($written), $crate::convert::mask::is_populated(&$written)) {
                        $written
                    } else {
                        self.$written
                    },)+
                    ..self
                }
            }
        }
    };
}
pub(super) use revisable;

/// Takes an update apart. A mask that names what is no field goes to the violations.
pub(super) fn update_from_wire<I, W: Revisable>(
    field: &str,
    given: Option<W>,
    update_mask: Option<prost_types::FieldMask>,
    request_id: &str,
    validate_only: bool,
    read_name: impl Fn(&str) -> Result<I, NotAName>,
) -> Sent<Update<I, W>> {
    let mut broken = Violations::default();
    if given.is_none() {
        broken.add(field, "REQUIRED", "send the resource itself");
    }
    let given = given.unwrap_or_default();
    let paths = update_mask.map(|mask| mask.paths).unwrap_or_default();
    check_paths::<W>(&paths, &mut broken);
    let (name, etag) = given.identity();
    let draft = Update {
        id: name_from_wire(name, &format!("{field}.name"), read_name, &mut broken),
        etag: etag.to_owned(),
        request_id: request_id_from_wire(request_id, &mut broken),
        validate_only,
        given,
        paths,
    };
    Sent { draft, broken }
}

impl<I, W: Revisable> Update<I, W> {
    /// The resource as it becomes: `current`, with the masked fields as given. Without a mask the
    /// populated fields are written, with `*` all; what only the service writes stays as it is.
    pub(super) fn onto(self, current: W) -> W {
        let paths = self.paths;
        current.with(self.given, |field, populated| match paths.as_slice() {
            [] => populated,
            paths => paths.iter().any(|path| path == "*" || path == field),
        })
    }
}

fn check_paths<W: Revisable>(paths: &[String], broken: &mut Violations) {
    let known = |path: &str| W::WRITTEN.contains(&path) || W::STAYING.contains(&path);
    let unknown: Vec<_> = paths
        .iter()
        .filter(|path| path.as_str() != "*" && !known(path))
        .take(5)
        .map(|path| format!("`{}`", shortened(path)))
        .collect();
    if !unknown.is_empty() {
        broken.add(
            "update_mask",
            "UNKNOWN_PATH",
            format!(
                "{} cannot be written: name whole fields, of {}, or `*` for all",
                unknown.join(", "),
                W::WRITTEN.join(", ")
            ),
        );
    } else if paths.len() > 1 && paths.iter().any(|path| path == "*") {
        broken.add("update_mask", "UNKNOWN_PATH", "`*` stands for all fields: give it alone");
    }
}

#[cfg(test)]
mod tests {
    use benchring_domain::id::ToolModelId;
    use proptest::prelude::*;

    use super::*;
    use crate::v1;

    fn current() -> v1::ToolModel {
        v1::ToolModel {
            name: "toolModels/t2".into(),
            maker: "Invented".into(),
            designation: "T2".into(),
            aliases: vec!["T2-EU".into()],
            tool_type: "impact_driver".into(),
            motor: v1::Motor::Brushless.into(),
            revision_count: 3,
            etag: "\"3\"".into(),
            ..Default::default()
        }
    }

    fn given() -> v1::ToolModel {
        v1::ToolModel {
            name: "toolModels/t2".into(),
            designation: "T2b".into(),
            revision_count: 99,
            etag: "\"3\"".into(),
            ..Default::default()
        }
    }

    fn revised(mask: Option<&[&str]>) -> v1::ToolModel {
        let mask = mask.map(|paths| prost_types::FieldMask {
            paths: paths.iter().map(|path| (*path).to_owned()).collect(),
        });
        let sent = update_from_wire("tool_model", Some(given()), mask, "", false, ToolModelId::from_name);
        sent.finish().unwrap().onto(current())
    }

    #[test]
    fn without_a_mask_the_populated_fields_are_written() {
        let expected = v1::ToolModel { designation: "T2b".into(), ..current() };
        assert_eq!(revised(None), expected);
        assert_eq!(revised(Some(&[])), expected);
    }

    #[test]
    fn a_star_writes_all_and_leaves_what_the_service_writes() {
        let expected = v1::ToolModel { revision_count: 3, ..given() };
        assert_eq!(revised(Some(&["*"])), expected);
    }

    #[test]
    fn a_masked_field_that_is_empty_is_cleared() {
        let expected = v1::ToolModel { aliases: vec![], ..current() };
        assert_eq!(revised(Some(&["aliases"])), expected);
    }

    #[test]
    fn what_the_service_writes_is_ignored_in_a_mask() {
        assert_eq!(revised(Some(&["revision_count", "etag", "name", "create_time"])), current());
    }

    #[test]
    fn a_path_that_is_no_field_is_refused_by_name() {
        for paths in
            [vec!["colour"], vec!["maker", "motor.kind"], vec![""], vec!["*", "maker"], vec!["Maker"]]
        {
            let mask = prost_types::FieldMask { paths: paths.iter().map(|p| (*p).to_owned()).collect() };
            let sent =
                update_from_wire("tool_model", Some(given()), Some(mask), "", false, ToolModelId::from_name);
            let broken = sent.finish().unwrap_err();
            assert_eq!(broken.as_slice()[0].field, "update_mask", "{paths:?}");
        }
    }

    #[test]
    fn fields_that_stay_are_those_the_descriptor_calls_so() {
        fn check<W: Revisable>(message: &str) {
            let message = crate::descriptors().get_message_by_name(message).unwrap();
            for field in message.fields() {
                let behaviour = crate::field_behaviour(&field);
                let stays = field.name() == "etag"
                    || behaviour.iter().any(|word| word == "OUTPUT_ONLY" || word == "IDENTIFIER");
                assert_eq!(W::STAYING.contains(&field.name()), stays, "{}", field.full_name());
                assert_eq!(W::WRITTEN.contains(&field.name()), !stays, "{}", field.full_name());
            }
        }
        check::<v1::ToolModel>("benchring.v1.ToolModel");
        check::<v1::PackModel>("benchring.v1.PackModel");
        check::<v1::PackSpecimen>("benchring.v1.PackSpecimen");
    }

    proptest! {
        /// Write by mask, read by mask, equal; and writing again changes nothing.
        #[test]
        fn a_masked_write_is_what_is_read_back(picked in prop::sample::subsequence(
            <v1::ToolModel as Revisable>::WRITTEN, 1..=10,
        )) {
            let once = revised(Some(&picked));
            for field in <v1::ToolModel as Revisable>::WRITTEN {
                let only = |model: v1::ToolModel| v1::ToolModel::default().with(model, |name, _| name == *field);
                let expected = if picked.contains(field) { given() } else { current() };
                prop_assert_eq!(only(once.clone()), only(expected), "{}", field);
            }
            let mask = prost_types::FieldMask { paths: picked.iter().map(|p| (*p).to_owned()).collect() };
            let sent = update_from_wire(
                "tool_model", Some(given()), Some(mask), "", false, ToolModelId::from_name,
            );
            prop_assert_eq!(sent.finish().unwrap().onto(once.clone()), once);
        }
    }
}
