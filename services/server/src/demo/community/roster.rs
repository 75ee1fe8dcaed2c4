//! Who tests what: twelve invented testers, each with two or three packs and one to three methods with a tool, and some
//! with a fourth of either to hold a claim against; seven of them have a bench load besides.

use crate::demo::invented::work::{
    AUGER, CAPACITY, CHAIN_SAW, CROSSCUT, CUTS, ENERGY, HEDGE, PILOT, RESISTANCE, SCREW_6, SCREW_10, WARMING,
};

/// Index of a pack in [`crate::demo::invented::PACKS`].
pub mod pack {
    /// K5, the reference.
    pub const K5: usize = 0;
    /// K8.
    pub const K8: usize = 1;
    /// K4T.
    pub const K4T: usize = 2;
    /// L5P.
    pub const L5P: usize = 3;
    /// M4.
    pub const M4: usize = 4;
    /// N6.
    pub const N6: usize = 5;
}
use pack::{K4T, K5, K8, L5P, M4, N6};

/// The units a tester measures lengths and temperatures in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Units {
    /// Millimetres, degrees Celsius.
    Millimetre,
    /// Centimetres, degrees Celsius, numbers with a decimal comma.
    CentimetreComma,
    /// Inches in fractions, degrees Fahrenheit.
    Inch,
}

/// How a tester takes times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Timing {
    /// Stopwatch by hand, one piece of work at a time.
    Hand,
    /// Stopwatch by hand, several short pieces as one.
    BatchHand,
    /// Frames of a video.
    Video,
    /// A current logger, which also gives mean power.
    Logger,
}

/// One session a tester plans: a work and the packs in it.
pub type Planned = (usize, &'static [usize]);

/// A tester.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tester {
    /// Packs owned or borrowed.
    pub packs: &'static [usize],
    /// Units.
    pub units: Units,
    /// Timing.
    pub timing: Timing,
    /// Whether times are written in minutes.
    pub minutes: bool,
    /// Sessions.
    pub sessions: &'static [Planned],
    /// How many of them, the last ones, are there to hold a claim against packs.
    pub for_claims: usize,
    /// Paid or supplied by a maker.
    pub sponsored: bool,
    /// Pack whose specimen the maker lent.
    pub lent_by_maker: Option<usize>,
    /// Pack borrowed: the pack and the place of its owner in [`ROSTER`].
    pub borrowed: Option<(usize, usize)>,
}

const PLAIN: Tester = Tester {
    packs: &[],
    units: Units::Millimetre,
    timing: Timing::Hand,
    minutes: false,
    sessions: &[],
    for_claims: 0,
    sponsored: false,
    lent_by_maker: None,
    borrowed: None,
};

/// The twelve. Every pack meets K5 in two trials or more; L5P with K8 and M4 with N6 close loops; two testers run
/// most of theirs without a K5.
pub const ROSTER: [Tester; 12] = [
    Tester {
        packs: &[K5, L5P, M4],
        sessions: &[
            (HEDGE, &[K5, L5P, M4]),
            (SCREW_6, &[K5, L5P, M4]),
            (SCREW_10, &[K5, L5P, M4]),
            (CUTS, &[K5, L5P, M4]),
            (CHAIN_SAW, &[K5, L5P]),
            (CAPACITY, &[K5, L5P, M4]),
            (RESISTANCE, &[K5, L5P, M4]),
            (WARMING, &[K5, L5P]),
            (CHAIN_SAW, &[K5, L5P]),
        ],
        for_claims: 2,
        ..PLAIN
    },
    Tester {
        packs: &[K5, K8, N6, K4T],
        timing: Timing::Video,
        sessions: &[
            (SCREW_6, &[K5, K8, N6]),
            (SCREW_10, &[K5, K8]),
            (CROSSCUT, &[K5, K8, N6]),
            (CHAIN_SAW, &[K5, K8]),
            (CAPACITY, &[K5, K8, N6]),
            (ENERGY, &[K5, K8, N6]),
            (HEDGE, &[K5, K8]),
            (CROSSCUT, &[K5, K4T]),
            (HEDGE, &[K5, K8]),
        ],
        for_claims: 3,
        ..PLAIN
    },
    Tester {
        packs: &[K5, K8, L5P],
        units: Units::CentimetreComma,
        timing: Timing::BatchHand,
        sessions: &[
            (CROSSCUT, &[K5, K8, L5P]),
            (CROSSCUT, &[K5, K8, L5P]),
            (PILOT, &[K5, K8, L5P]),
            (AUGER, &[K5, K8, L5P]),
            (CUTS, &[K5, K8, L5P]),
            (CHAIN_SAW, &[K5, K8, L5P]),
            (CAPACITY, &[K5, K8, L5P]),
            (HEDGE, &[K5, K8]),
            (HEDGE, &[K5, K8]),
            (CHAIN_SAW, &[K5, L5P]),
        ],
        for_claims: 3,
        ..PLAIN
    },
    Tester {
        packs: &[K5, K4T, L5P],
        units: Units::Inch,
        sessions: &[
            (HEDGE, &[K5, K4T, L5P]),
            (CROSSCUT, &[K5, K4T, L5P]),
            (CUTS, &[K5, K4T, L5P]),
            (CHAIN_SAW, &[K5, K4T, L5P]),
            (CROSSCUT, &[K5, K4T]),
            (CROSSCUT, &[K5, K4T]),
            (WARMING, &[K5, K4T, L5P]),
        ],
        for_claims: 3,
        ..PLAIN
    },
    Tester {
        packs: &[K5, K4T, L5P],
        sessions: &[
            (SCREW_6, &[K5, K4T, L5P]),
            (SCREW_6, &[K5, L5P]),
            (SCREW_10, &[K5, K4T, L5P]),
            (CROSSCUT, &[K5, K4T, L5P]),
            (WARMING, &[K5, K4T, L5P]),
            (CAPACITY, &[K5, K4T, L5P]),
            (CROSSCUT, &[K5, K4T]),
            (CROSSCUT, &[K5, K4T]),
            (WARMING, &[K5, L5P]),
            (CHAIN_SAW, &[K5, L5P]),
        ],
        for_claims: 4,
        ..PLAIN
    },
    Tester {
        packs: &[K5, L5P, N6],
        timing: Timing::Logger,
        sessions: &[
            (PILOT, &[K5, L5P, N6]),
            (AUGER, &[K5, L5P, N6]),
            (CHAIN_SAW, &[K5, L5P, N6]),
            (WARMING, &[K5, L5P, N6]),
            (CAPACITY, &[K5, L5P, N6]),
            (ENERGY, &[K5, L5P, N6]),
            (RESISTANCE, &[K5, L5P, N6]),
            (WARMING, &[K5, L5P]),
        ],
        for_claims: 1,
        borrowed: Some((L5P, 3)),
        ..PLAIN
    },
    Tester {
        packs: &[K5, K8, L5P, K4T],
        sessions: &[
            (CROSSCUT, &[K5, K8, L5P]),
            (HEDGE, &[K5, K8, L5P]),
            (PILOT, &[K5, K8, L5P]),
            (AUGER, &[K5, K8, L5P]),
            (HEDGE, &[K5, K8]),
            (WARMING, &[K5, L5P]),
            (CROSSCUT, &[K5, K4T]),
            (HEDGE, &[K5, K8]),
        ],
        for_claims: 4,
        ..PLAIN
    },
    Tester {
        packs: &[K5, K8, M4],
        units: Units::CentimetreComma,
        timing: Timing::BatchHand,
        sessions: &[
            (HEDGE, &[K5, K8, M4]),
            (SCREW_6, &[K5, K8, M4]),
            (SCREW_6, &[K5, K8]),
            (SCREW_10, &[K5, K8]),
            (CUTS, &[K5, K8, M4]),
            (CHAIN_SAW, &[K5, K8]),
            (HEDGE, &[K5, K8]),
            (HEDGE, &[K5, K8]),
        ],
        for_claims: 2,
        ..PLAIN
    },
    Tester {
        packs: &[K5, K4T, L5P],
        timing: Timing::Video,
        sessions: &[
            (SCREW_10, &[K5, K4T, L5P]),
            (SCREW_6, &[K5, K4T, L5P]),
            (CROSSCUT, &[K5, K4T, L5P]),
            (WARMING, &[K5, K4T, L5P]),
            (CAPACITY, &[K5, K4T, L5P]),
            (ENERGY, &[K5, K4T, L5P]),
            (RESISTANCE, &[K5, K4T, L5P]),
            (CROSSCUT, &[K5, K4T]),
            (CROSSCUT, &[K5, K4T]),
            (WARMING, &[K5, L5P]),
            (CHAIN_SAW, &[K5, L5P]),
        ],
        for_claims: 4,
        lent_by_maker: Some(L5P),
        ..PLAIN
    },
    Tester {
        packs: &[K5, K8, N6],
        units: Units::Inch,
        minutes: true,
        sessions: &[
            (HEDGE, &[K5, K8, N6]),
            (PILOT, &[K5, K8, N6]),
            (AUGER, &[K5, K8, N6]),
            (SCREW_6, &[K5, K8, N6]),
            (SCREW_10, &[K5, K8]),
            (HEDGE, &[K5, K8]),
            (HEDGE, &[K5, K8]),
        ],
        for_claims: 2,
        ..PLAIN
    },
    Tester {
        packs: &[K8, L5P, K5],
        units: Units::Inch,
        sessions: &[
            (SCREW_6, &[K8, L5P]),
            (SCREW_10, &[K8, L5P]),
            (CHAIN_SAW, &[K8, L5P]),
            (HEDGE, &[K8, L5P]),
            (HEDGE, &[K5, K8]),
            (CHAIN_SAW, &[K5, L5P]),
        ],
        for_claims: 2,
        sponsored: true,
        ..PLAIN
    },
    Tester {
        packs: &[L5P, M4, N6],
        sessions: &[
            (PILOT, &[L5P, M4, N6]),
            (SCREW_6, &[L5P, M4, N6]),
            (CROSSCUT, &[M4, N6]),
            (CAPACITY, &[L5P, M4, N6]),
            (RESISTANCE, &[L5P, M4, N6]),
        ],
        ..PLAIN
    },
];

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::demo::invented::WORKS;

    fn pairs_with(pack: usize, other: usize) -> usize {
        let both = |(_, packs): &&Planned| packs.contains(&pack) && packs.contains(&other);
        ROSTER.iter().flat_map(|tester| tester.sessions).filter(both).count()
    }

    #[test]
    fn every_pack_meets_the_reference_twice_and_loops_close() {
        for pack in [K8, K4T, L5P, M4, N6] {
            assert!(pairs_with(pack, K5) >= 2, "pack {pack}");
        }
        assert!(pairs_with(L5P, K8) >= 2 && pairs_with(M4, N6) >= 2);
    }

    #[test]
    fn testers_keep_to_four_packs_at_most_and_use_only_those() {
        for tester in &ROSTER {
            assert!((2..=4).contains(&tester.packs.len()));
            assert!(tester.sessions.iter().all(|(_, packs)| packs.iter().all(|p| tester.packs.contains(p))));
        }
    }

    #[test]
    fn testers_keep_to_four_methods_with_a_tool() {
        for tester in &ROSTER {
            let methods: BTreeSet<&str> = tester
                .sessions
                .iter()
                .map(|(work, _)| &WORKS[*work])
                .filter(|work| work.tool.is_some())
                .map(|work| work.method)
                .collect();
            assert!((1..=4).contains(&methods.len()), "{methods:?}");
        }
    }

    #[test]
    fn every_work_with_a_tool_has_three_testers_who_ran_the_same_pair() {
        for work in (0..WORKS.len()).filter(|work| WORKS[*work].tool.is_some()) {
            let testers = |pack: usize| {
                let both =
                    |(of, packs): &Planned| *of == work && packs.contains(&K5) && packs.contains(&pack);
                ROSTER.iter().filter(|tester| tester.sessions.iter().any(both)).count()
            };
            assert!([K8, K4T, L5P, M4, N6].iter().any(|pack| testers(*pack) >= 3), "{}", WORKS[work].id);
        }
    }

    #[test]
    fn about_half_have_measured_their_packs() {
        let measured = ROSTER.iter().filter(|t| t.sessions.iter().any(|(work, _)| *work == CAPACITY)).count();
        assert_eq!(measured, 7, "7 of 12 is the whole number nearest to 55 %");
    }
}
