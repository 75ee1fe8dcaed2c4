//! Tests from outside.
