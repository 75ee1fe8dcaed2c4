//! The wire: proto files compiled, wire to domain and back.
//!
//! [`v1`] is generated from `proto/benchring/v1`. Everything else about the wire is in this crate
//! too, so that a field has one place where it is read and one where it is written.

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
