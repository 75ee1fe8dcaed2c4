//! Plans: how many runs and testers a question takes, in which order to run, and what to write down.
//!
//! A [`Request`] is what was sent, [`Asked`] what passed [`Request::check`], and [`Asked::plan`] makes a [`Plan`] of it. What
//! scatter a plan reckons with comes from the request, else from what the method's trials show ([`Shown`]), else from
//! the method file; a plan says which. The same request gives the same plan, order included: chance is the seed.

mod csv;
mod figures;
mod make;
mod order;
mod record;
mod request;
mod text;

use serde::{Deserialize, Serialize};

pub use figures::{Figure, Figures, RestsOn, Shown, ShownFigure, USUAL_TESTER_SD};
pub use make::{Alone, Note, NoteKind, Outlook, Plan, Together};
pub use order::{PlannedRun, WARM_UPS};
pub use record::{End, ToRecord};
pub use request::{Asked, EffectSent, Goal, MOST_PACKS, MOST_ROUNDS, MOST_RUNS, PlannedPack, Request};

use crate::disclosure::words;

words!(
    /// What the size of an effect means.
    Form {
        /// So many percent more work in the same time: of a duration, ratio 1/(1 + share).
        RateGain = "rate_gain",
        /// So many percent less time for the same work: of a duration, ratio 1 - share.
        TimeReduction = "time_reduction",
        /// So many percent more of an amount: ratio 1 + share.
        More = "more",
        /// So many percent less of an amount: ratio 1 - share.
        Less = "less",
        /// So much apart, in the canonical unit of the response.
        Difference = "difference",
    }
);
