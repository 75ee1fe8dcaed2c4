//! The wire: proto files compiled, wire to domain and back.
//!
//! [`v1`] is generated from `proto/benchring/v1`. Everything else about the wire is in this crate
//! too, so that a field has one place where it is read and one where it is written.

pub mod codec;
pub mod convert;

use std::sync::LazyLock;

use prost_reflect::{DescriptorPool, FieldDescriptor, Value};

/// Types, clients and servers generated from `proto/benchring/v1`.
pub mod v1 {
    #![expect(
        unused_qualifications,
        clippy::pedantic,
        clippy::allow_attributes,
        clippy::allow_attributes_without_reason,
        reason = "generated"
    )]
    tonic::include_proto!("benchring.v1");
}

/// The encoded `FileDescriptorSet` of `proto/`, imports and comments included.
pub const FILE_DESCRIPTOR_SET: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));

static DESCRIPTORS: LazyLock<DescriptorPool> = LazyLock::new(|| {
    DescriptorPool::decode(FILE_DESCRIPTOR_SET).expect("the descriptors that this crate was built with")
});

/// The descriptors of [`FILE_DESCRIPTOR_SET`], linked.
pub fn descriptors() -> &'static DescriptorPool {
    &DESCRIPTORS
}

/// What `google.api.field_behavior` says of a field, such as `["REQUIRED"]` (AIP-203).
pub fn field_behaviour(field: &FieldDescriptor) -> Vec<String> {
    let Some(extension) = descriptors().get_extension_by_name("google.api.field_behavior") else {
        return Vec::new();
    };
    let Some(words) = descriptors().get_enum_by_name("google.api.FieldBehavior") else {
        return Vec::new();
    };
    let word = |value: &Value| {
        let number = value.as_enum_number()?;
        Some(words.get_value(number)?.name().to_owned())
    };
    match field.options().get_extension(&extension).as_ref() {
        Value::List(values) => values.iter().filter_map(word).collect(),
        _ => Vec::new(),
    }
}
