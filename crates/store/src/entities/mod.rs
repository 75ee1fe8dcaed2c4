//! Rows as they lie in the tables: plain columns, parsed at the edge.
//!
//! Pack and tool models share one shape and are written and read by [`crate::models`].

#![expect(unreachable_pub, reason = "the derives of the tables make everything public")]
#![expect(clippy::struct_field_names, reason = "columns have the names of the trade")]

pub(crate) mod audit;
pub(crate) mod audit_head;
pub(crate) mod finding;
pub(crate) mod pack_model_confirmation;
pub(crate) mod pack_specimen;
pub(crate) mod pack_specimen_revision;
pub(crate) mod request;
pub(crate) mod trial;
pub(crate) mod trial_arm;
pub(crate) mod trial_confirmation;
pub(crate) mod trial_decision;
pub(crate) mod trial_evidence;
pub(crate) mod trial_revision;
