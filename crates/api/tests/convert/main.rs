//! Wire to domain and back, with the checks of the domain between.

mod floods;
mod required;
mod round_trip;
mod sound;
