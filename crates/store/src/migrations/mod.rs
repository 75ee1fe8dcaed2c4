//! The schema, step by step. See `README.md` in this folder for the habit.

#![expect(elided_lifetimes_in_paths, reason = "the trait of the migrations leaves its lifetimes out")]

mod columns;
mod m20261125_000001_audit;
mod m20261125_000002_packs_and_tools;
mod m20261125_000003_trials;
mod m20261125_000004_answers;
mod m20261125_000005_specimens;
mod m20261125_000006_claims;

use sea_orm_migration::prelude::*;

/// Every step, oldest first.
pub(crate) struct Migrator;

#[async_trait::async_trait]
impl MigratorTrait for Migrator {
    fn migrations() -> Vec<Box<dyn MigrationTrait>> {
        vec![
            Box::new(m20261125_000001_audit::Migration),
            Box::new(m20261125_000002_packs_and_tools::Migration),
            Box::new(m20261125_000003_trials::Migration),
            Box::new(m20261125_000004_answers::Migration),
            Box::new(m20261125_000005_specimens::Migration),
            Box::new(m20261125_000006_claims::Migration),
        ]
    }
}
