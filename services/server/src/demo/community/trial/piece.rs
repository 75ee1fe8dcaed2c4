//! The piece worked on, and how; or the rig.

use benchring_api::v1;

use crate::demo::community::roster::{Tester, Timing};
use crate::demo::community::session::Session;
use crate::demo::community::write::{choice, number, quantity, text};
use crate::demo::invented::{Piece, Sort, Work};

/// Conditions of a whole trial that tell what was worked on.
pub(super) fn piece(work: &Work, tester: &Tester, session: &Session) -> Vec<v1::Condition> {
    let length = |field: &str, mm: f64| quantity(field, tester.units.length(mm));
    let mut told = Vec::new();
    match work.piece {
        Piece::Hole { class, accessory, diameter, depth } => {
            told.extend(wood(class, accessory, "one beam"));
            told.push(choice("grain_direction", "across"));
            told.extend([length("hole_diameter", diameter), length("hole_depth", depth)]);
        }
        Piece::Screw { class, diameter, length: long } => {
            told.extend(wood(class, "driver_bit_hexalobular", "one beam"));
            told.push(choice("grain_direction", "across"));
            told.push(choice("screw_class", "timber_partial_thread"));
            told.extend([length("screw_diameter", diameter), length("screw_length", long)]);
            told.extend([length("drive_depth", long), quantity("pilot_diameter", number(0.0, "mm"))]);
        }
        Piece::Cut { class, accessory, width, height } => {
            told.extend(wood(class, accessory, "one bundle"));
            told.extend([length("cut_width", width), length("cut_height", height)]);
        }
        Piece::Stems { class, diameter } => {
            told.extend(wood(class, "shear_blade", "one hedge, strips dealt at random"));
            told.push(length("stem_diameter", diameter));
        }
        Piece::Counted { class, .. } => told.extend([
            choice("workpiece_class", class),
            choice("temperature_method", "contact_thermocouple"),
            choice("temperature_location", "housing_side"),
            choice("temperature_basis", "fixed_work"),
            choice("cooling", "still_air"),
        ]),
        Piece::None => told.extend(rig(work, session)),
    }
    match work.sort {
        Sort::Timed => {
            told.push(choice("timing_method", timing_method(tester.timing, session.plan.batch)));
            if session.plan.batch > 1 {
                told.push(quantity("timing_batch", number(f64::from(session.plan.batch), "1")));
            }
        }
        Sort::PerCharge => {
            told.push(text("duty_pattern", "one piece of work, then 20 s pause"));
            told.push(choice("cooling", "still_air"));
        }
        _ => {}
    }
    told
}

fn wood(class: &str, accessory: &str, batch: &str) -> [v1::Condition; 4] {
    [
        choice("accessory_type", accessory),
        choice("feed_method", "hand_normal"),
        choice("workpiece_class", class),
        text("workpiece_batch", batch),
    ]
}

fn rig(work: &Work, session: &Session) -> Vec<v1::Condition> {
    let mut rig = vec![
        text("instrument_ref", "electronic load no. 1"),
        choice("load_mode", "constant_current"),
        choice("sense_wiring", if session.two_wire { "two_wire" } else { "four_wire" }),
    ];
    if work.sort == Sort::Resistance {
        rig.extend([
            quantity("pulse_current_low", number(1.0, "A")),
            quantity("pulse_current_high", number(10.0, "A")),
            quantity("pulse_duration", number(10.0, "s")),
        ]);
    } else {
        rig.push(choice("cooling", "still_air"));
    }
    rig
}

fn timing_method(timing: Timing, batch: u32) -> &'static str {
    match timing {
        Timing::BatchHand if batch > 1 => "batch_hand",
        Timing::Hand | Timing::BatchHand => "hand_stopwatch",
        Timing::Video => "video_frames",
        Timing::Logger => "logger",
    }
}
