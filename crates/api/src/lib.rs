//! The wire: proto files compiled, wire to domain and back.
