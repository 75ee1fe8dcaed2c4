//! The catalogue of methods: data, embedded, typed, and cross-checked when it is loaded.
//!
//! One file a method version under `methods/`; a released version is never edited. Beside them stand the dictionary
//! (fields, choices, cautions, sources: the same words in every method) and the table of works (mean power of known
//! works). Nothing in these files is prose that code would have to understand: what decides is a predicate of
//! [`SameWithinTrial`], [`PoolKey`], [`BandOn`] or [`Need`], and a file that holds anything else is refused at the
//! start with every problem of every file in [`CatalogueError`].
//!
//! Files make [`Catalogue`] by [`Catalogue::embedded`] or [`Catalogue::from_files`]; there is no other way to one.

mod band;
mod catalogue;
mod check;
mod derived;
mod dictionary;
mod embedded;
mod file;
pub mod known;
mod load;
mod problem;
mod reference;
mod rules;
mod sentence;
mod terms;
mod work;

pub use band::{Band, BandOn, band_value};
pub use catalogue::Catalogue;
pub(crate) use catalogue::METHODS_LISTED;
pub use derived::{Constant, Derived, Formula, Inputs, Term};
pub use dictionary::{Caution, Choice, Entered, Field, Limits, Measure, Source};
pub use embedded::FILES;
pub use file::{
    ChoiceIs, Drift, FieldUse, Forbidden, Indicative, Method, PoolKey, Replicates, Response, SameWithinTrial,
    Scatter,
};
pub use problem::{CatalogueError, Problem};
pub use rules::NoOutcome;
pub use terms::{Better, FieldKind, Level, Normalisation, Outcome, ResponseKind, ResponseScale, Tier};
pub use work::{AssumedPower, Need, Work};
