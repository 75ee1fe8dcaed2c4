//! The simulated community: who registers what, and which trials they send. The same seed gives the same bytes.

pub mod draw;
pub mod faults;
mod register;
pub mod roster;
pub mod session;
mod trial;
mod write;

use std::ops::Range;

use benchring_api::v1;

pub use register::{Registered, registered, specimens};

use self::draw::{Specimen, Stream, draw_specimen, normal, stream, worn_specimen};
use self::faults::Fault;
use self::roster::{ROSTER, Tester};
use self::session::{Aim, End, Session, SessionArm, draw_session};
use crate::demo::invented::{PACKS, Sort, WORKS, Work};

/// Seed of the demo where none is given.
pub const SEED: u64 = 20_250_117;

/// A trial of the community.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayedTrial {
    /// Id it is sent under.
    pub id: String,
    /// Id of its tester.
    pub tester: String,
    /// Index into [`WORKS`].
    pub work: usize,
    /// As first sent.
    pub sent: v1::Trial,
    /// As sent again after a question or a refusal; `None` where there is nothing to correct.
    pub corrected: Option<v1::Trial>,
    /// The planted fault.
    pub fault: Option<Fault>,
    /// Scored, finished readings of each pack, in the canonical unit: pack, their sum, their number.
    pub levels: Vec<(usize, f64, f64)>,
    /// Whether a run of it went wrong in a way nobody noted, by chance and not by plan.
    pub stray: bool,
}

/// Id of the tester at a place.
pub fn tester_id(place: usize) -> String {
    format!("t{:02}", place + 1)
}

/// Id of a specimen: that of its owner and of its model.
pub fn specimen_id(owner: usize, pack: usize) -> String {
    format!("{}-{}", tester_id(owner), PACKS[pack].id)
}

/// The tester at a place. The twelve of the roster come again and again, each time other people with other packs.
pub fn tester(place: usize) -> &'static Tester {
    &ROSTER[place % ROSTER.len()]
}

/// Who owns the specimen that a tester runs.
pub fn owner(place: usize, pack: usize) -> usize {
    match tester(place).borrowed {
        Some((borrowed, lender)) if borrowed == pack => place - place % ROSTER.len() + lender,
        _ => place,
    }
}

/// Sessions of the twelve.
pub fn sessions_of_the_roster() -> usize {
    ROSTER.iter().map(|tester| tester.sessions.len()).sum()
}

/// The first `count` trials of the community of a seed, tester by tester. Testers are added until there are enough.
pub fn trials(seed: u64, count: usize) -> impl Iterator<Item = PlayedTrial> {
    (0..).flat_map(move |place| trials_of(seed, place)).take(count)
}

/// The trials of one tester.
pub fn trials_of(seed: u64, place: usize) -> impl Iterator<Item = PlayedTrial> {
    (0..tester(place).sessions.len()).map(move |session| played(seed, place, session))
}

/// A dozen testers like those of the roster, other people with other packs, who slip in nothing. Counted from 0.
pub fn honest_dozen(dozen: usize) -> Range<usize> {
    let first = (dozen + 1) * ROSTER.len();
    first..first + ROSTER.len()
}

/// Testers that it takes to send `count` trials.
pub fn testers_for(count: usize) -> usize {
    let (mut testers, mut sent) = (0, 0);
    while sent < count {
        sent += tester(testers).sessions.len();
        testers += 1;
    }
    testers
}

/// One trial of one tester.
fn played(seed: u64, place: usize, session: usize) -> PlayedTrial {
    let who = tester(place);
    let (work_place, packs) = who.sessions[session];
    let work = &WORKS[work_place];
    let repeat = who.sessions[..session].iter().filter(|(work, _)| *work == work_place).count();
    // The planted faults are those of the first twelve.
    let fault = if place < ROSTER.len() { faults::of_session(place, work_place, repeat) } else { None };
    let claim = session + who.for_claims >= who.sessions.len();
    let aim = fault.map_or(if claim { Aim::Claim } else { Aim::Usual }, Aim::Slip);
    let arms = packs.iter().map(|pack| arm(seed, place, work_place, *pack)).collect();
    let drawn = draw_session(
        work,
        who,
        arms,
        scatter(seed, place, work_place),
        aim,
        &mut stream(seed, place, Stream::Session(session)),
    );
    let truthful = trial::trial(work, who, &drawn, place * 7 + session);
    let (sent, corrected) = match fault.and_then(|fault| faults::slipped(fault, &truthful)) {
        Some((sent, corrected)) => (sent, corrected),
        None => (truthful, None),
    };
    PlayedTrial {
        id: format!("{}-{}-{}", tester_id(place), work.id, repeat + 1),
        tester: tester_id(place),
        work: work_place,
        sent,
        corrected,
        fault,
        levels: levels(work, &drawn),
        stray: drawn.charges.iter().flatten().flat_map(|charge| &charge.runs).any(|run| run.stray),
    }
}

fn arm(seed: u64, place: usize, work: usize, pack: usize) -> SessionArm {
    let owner = owner(place, pack);
    let state = specimen_of(seed, owner, pack).state;
    let own = normal(&mut stream(seed, place, Stream::Own(work, pack)), WORKS[work].tester_pack_log_sd);
    SessionArm { pack, specimen: specimen_id(owner, pack), state, own }
}

/// The specimen that somebody owns.
fn specimen_of(seed: u64, owner: usize, pack: usize) -> Specimen {
    if faults::has_worn_specimen(owner, pack) {
        return worn_specimen(&PACKS[pack]);
    }
    draw_specimen(&PACKS[pack], &mut stream(seed, owner, Stream::Specimen(pack)))
}

/// The tester's own coefficient of variation for a work.
fn scatter(seed: u64, place: usize, work: usize) -> f64 {
    use rand::Rng as _;
    let (least, greatest) = WORKS[work].cv;
    stream(seed, place, Stream::Hand(work)).random_range(least..=greatest)
}

/// Sums of what finished, by pack.
fn levels(work: &Work, session: &Session) -> Vec<(usize, f64, f64)> {
    let finished = match work.sort {
        Sort::Timed | Sort::Resistance | Sort::Rise => End::Done,
        Sort::PerCharge | Sort::Capacity | Sort::Energy => End::Cutoff,
    };
    let sums = session.arms.iter().zip(&session.charges).map(|(arm, charges)| {
        let runs = charges.iter().flat_map(|charge| &charge.runs);
        let scored = runs.filter(|run| !run.warm_up && run.end == finished);
        scored.fold((arm.pack, 0.0, 0.0), |(pack, sum, n), run| (pack, sum + run.reading, n + 1.0))
    });
    sums.collect()
}

#[cfg(test)]
mod tests {
    use prost::Message as _;

    use super::*;

    fn bytes(seed: u64, count: usize) -> Vec<Vec<u8>> {
        trials(seed, count).map(|trial| trial.sent.encode_to_vec()).collect()
    }

    #[test]
    fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
        let count = sessions_of_the_roster();
        assert_eq!(bytes(SEED, count), bytes(SEED, count));
        assert_ne!(bytes(SEED, count), bytes(SEED + 1, count));
    }

    #[test]
    fn more_testers_change_nothing_for_the_first() {
        let few = bytes(SEED, 20);
        assert_eq!(few, bytes(SEED, 150)[..20]);
    }

    #[test]
    fn as_many_testers_as_it_takes() {
        let all = sessions_of_the_roster();
        assert_eq!([0, 1, all, all + 1].map(testers_for), [0, 1, ROSTER.len(), ROSTER.len() + 1]);
    }

    #[test]
    fn ids_are_unique() {
        let mut ids: Vec<String> = trials(SEED, 500).map(|trial| trial.id).collect();
        ids.sort();
        ids.dedup();
        assert_eq!(ids.len(), 500);
    }

    #[test]
    fn planted_slips_are_where_they_should_be() {
        let all: Vec<PlayedTrial> = trials(SEED, sessions_of_the_roster()).collect();
        let of = |fault| all.iter().find(|trial| trial.fault == Some(fault)).unwrap();
        assert_eq!(all.iter().filter(|trial| trial.fault == Some(Fault::F14)).count(), 2);
        let slip = of(Fault::F02);
        assert_eq!(slip.tester, "t05");
        let corrected = slip.corrected.as_ref().unwrap();
        let at = |trial: &v1::Trial| {
            trial.arms.last().unwrap().charges[0].runs[2].reading.as_ref().unwrap().value.unwrap()
        };
        assert!((at(corrected) / at(&slip.sent) - 10.0).abs() < 0.3);
        let stalled = of(Fault::F07).sent.arms.last().unwrap().clone();
        let mut runs = stalled.charges.iter().flat_map(|charge| &charge.runs);
        assert!(runs.all(|run| run.end_criterion() == v1::EndCriterion::ToolStall));
        let by_hand = |run: &v1::TrialRun| run.end_criterion() == v1::EndCriterion::ManualStop;
        let stopped = &of(Fault::F11).sent.arms[2];
        assert!(stopped.charges.iter().flat_map(|charge| &charge.runs).any(by_hand));
    }
}
