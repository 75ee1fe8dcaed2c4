//! The planted faults: what invented testers get wrong, and what should notice.

use crate::demo::invented::work::{CHAIN_SAW, CROSSCUT, SCREW_6, SCREW_10};

/// A planted fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[expect(missing_docs, reason = "each is told in FAULTS")]
pub enum Fault {
    F01,
    F02,
    F03,
    F04,
    F05,
    F06,
    F07,
    F08,
    F09,
    F10,
    F11,
    F12,
    F13,
    F14,
}

/// What is known of a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct About {
    /// Which.
    pub fault: Fault,
    /// Its id.
    pub id: &'static str,
    /// Who makes it: place in the roster, from 0.
    pub tester: usize,
    /// What happens.
    pub what: &'static str,
    /// Whether it is in this demo already.
    pub planted: bool,
    /// What it comes to where it is noticed.
    pub noticed: &'static str,
}

/// All of them.
pub const FAULTS: [About; 14] = [
    planted(
        Fault::F01,
        "F01",
        2,
        "board typed 4.5 x 14.5 mm, was cm",
        "outside usual sizes: asked; a bin of its own",
    ),
    planted(
        Fault::F02,
        "F02",
        4,
        "one screw typed at a tenth of its time",
        "factor 10 off its arm: sent back, corrected",
    ),
    planted(
        Fault::F03,
        "F03",
        6,
        "all runs of one pack, then of the next",
        "drift or pack? the interval allows for both",
    ),
    planted(
        Fault::F04,
        "F04",
        1,
        "N6 has 120 W.h on its label: 6.0 A.h by 20 V",
        "not 6.0 A.h by the nominal 18 V: asked",
    ),
    planted(
        Fault::F05,
        "F05",
        7,
        "pack at 41 °C in air of 12 °C, called rested",
        "29 K from the air: kept, not pooled",
    ),
    later(Fault::F06, "F06", 8, "K5 partly charged, called full"),
    planted(
        Fault::F07,
        "F07",
        5,
        "N6 stalls the chain saw in every run",
        "failed at load: counted, never dropped",
    ),
    planted(Fault::F08, "F08", 9, "68 °F typed as 68 °C", "above the limit of 60 °C: refused, corrected"),
    later(Fault::F09, "F09", 3, "packs never measured"),
    later(Fault::F10, "F10", 10, "one trial sent twice under two ids"),
    planted(Fault::F11, "F11", 0, "M4 stopped by hand in mid charge", "counts as 'at least so many cuts'"),
    later(Fault::F12, "F12", 11, "a worn L5P of 300 cycles"),
    later(Fault::F13, "F13", 4, "'50 % faster' said for 50 % less time"),
    later(Fault::F14, "F14", 5, "volts read with two wires"),
];

const fn planted(
    fault: Fault,
    id: &'static str,
    tester: usize,
    what: &'static str,
    noticed: &'static str,
) -> About {
    About { fault, id, tester, what, planted: true, noticed }
}

/// A fault whose check does not stand yet; it is not in the data either.
const fn later(fault: Fault, id: &'static str, tester: usize, what: &'static str) -> About {
    About { fault, id, tester, what, planted: false, noticed: "" }
}

impl Fault {
    /// What is known of it.
    pub fn about(self) -> &'static About {
        &FAULTS[self as usize]
    }
}

/// The fault of a session: tester by place in the roster, work, and how often the tester did that work before.
pub fn of_session(tester: usize, work: usize, repeat: usize) -> Option<Fault> {
    match (tester, work, repeat) {
        (2, CROSSCUT, 0) => Some(Fault::F01),
        (4, SCREW_6, 0) => Some(Fault::F02),
        (6, SCREW_10, 0) => Some(Fault::F03),
        (7, SCREW_6, 1) => Some(Fault::F05),
        (5, CHAIN_SAW, 0) => Some(Fault::F07),
        (9, SCREW_6, 0) => Some(Fault::F08),
        (0, CROSSCUT, 0) => Some(Fault::F11),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faults_stand_in_the_order_of_their_names() {
        for (place, about) in FAULTS.iter().enumerate() {
            assert_eq!(about.fault as usize, place);
            assert_eq!(about.id, format!("F{:02}", place + 1));
            assert_eq!(about.fault.about(), about);
        }
    }
}
