//! The planted faults: what invented testers get wrong, and what should notice.

use benchring_api::v1;
use benchring_api::v1::condition::Value;

use super::roster::pack::L5P;
use super::write::{number, rounded};
use crate::demo::invented::work::{CAPACITY, CHAIN_SAW, CROSSCUT, CUTS, ENERGY, PILOT, RESISTANCE, SCREW_6};

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
}

/// All of them.
pub const FAULTS: [About; 14] = [
    planted(Fault::F01, "F01", 2, "board typed 4.5 x 14.5 mm, was cm, and confirmed"),
    planted(Fault::F02, "F02", 4, "one screw typed at a tenth of its time"),
    planted(Fault::F03, "F03", 6, "all runs of one pack, then of the next, with one blade"),
    planted(Fault::F04, "F04", 1, "N6 has 120 W.h on its label: 6.0 A.h by 20 V"),
    planted(Fault::F05, "F05", 7, "pack at 41 °C in air of 12 °C, called rested"),
    planted(Fault::F06, "F06", 8, "K5 at 19.4 V, 3.88 V a cell, called full"),
    planted(Fault::F07, "F07", 5, "N6 stalls the chain saw in every run"),
    planted(Fault::F08, "F08", 9, "68 °F typed as 68 °C"),
    planted(Fault::F09, "F09", 3, "packs never measured, work compared per A.h"),
    planted(Fault::F10, "F10", 10, "one trial sent again under a new id"),
    planted(Fault::F11, "F11", 0, "M4 stopped by hand in mid charge"),
    planted(Fault::F12, "F12", 11, "a worn L5P: 300 charges, 4.2 A.h left"),
    planted(Fault::F13, "F13", 4, "'50 % faster' claimed for 50 % less time"),
    planted(Fault::F14, "F14", 5, "volts read at the load, through 40 mOhm of leads"),
];

const fn planted(fault: Fault, id: &'static str, tester: usize, what: &'static str) -> About {
    About { fault, id, tester, what }
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
        (6, CROSSCUT, 0) => Some(Fault::F03),
        (7, SCREW_6, 1) => Some(Fault::F05),
        (8, CAPACITY, 0) => Some(Fault::F06),
        (5, CHAIN_SAW, 0) => Some(Fault::F07),
        (9, PILOT, 0) => Some(Fault::F08),
        (0, CUTS, 0) => Some(Fault::F11),
        (11, CAPACITY, 0) => Some(Fault::F12),
        (5, ENERGY | RESISTANCE, 0) => Some(Fault::F14),
        _ => None,
    }
}

/// Whether a pack is the worn one.
pub fn has_worn_specimen(owner: usize, pack: usize) -> bool {
    owner == Fault::F12.about().tester && pack == L5P
}

/// The trial that is sent twice, and the id of its second sending.
pub const SENT_TWICE: (&str, &str) = ("t11-screw-6x100-1", "t11-screws-again");

/// What a tester sends who slips, and the correction; `None` where the fault is no slip of the pen.
pub(super) fn slipped(fault: Fault, truthful: &v1::Trial) -> Option<(v1::Trial, Option<v1::Trial>)> {
    let mut sent = truthful.clone();
    match fault {
        Fault::F01 => {
            for condition in &mut sent.conditions {
                let side = match condition.field.as_str() {
                    "cut_width" => 4.5,
                    "cut_height" => 14.5,
                    _ => continue,
                };
                condition.value = Some(Value::Quantity(number(side, "mm")));
            }
            Some((sent, None))
        }
        Fault::F02 => {
            let run = sent.arms.last_mut()?.charges.first_mut()?.runs.get_mut(2)?;
            let tenth = run.reading.as_ref()?.value? / 10.0;
            run.reading = Some(number(rounded(tenth, 0.01), "s"));
            Some((sent, Some(truthful.clone())))
        }
        Fault::F06 => {
            let mut admitted = truthful.clone();
            *condition_of(&mut admitted, "starting_state")? = Value::Choice("partial".to_owned());
            Some((sent, Some(admitted)))
        }
        Fault::F08 => {
            *condition_of(&mut sent, "pack_start_temperature")? = Value::Quantity(number(68.0, "Cel"));
            Some((sent, Some(truthful.clone())))
        }
        _ => None,
    }
}

/// A condition of the first charge of the first arm.
fn condition_of<'a>(trial: &'a mut v1::Trial, field: &str) -> Option<&'a mut Value> {
    let charge = trial.arms.first_mut()?.charges.first_mut()?;
    charge.conditions.iter_mut().find(|condition| condition.field == field)?.value.as_mut()
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
