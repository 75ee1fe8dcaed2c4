//! The numbers of the rules, in one place.

use crate::method::Limits;
use crate::rule::Bounds;

const NONE: f64 = f64::INFINITY;

/// R01: energy on the label over capacity times nominal voltage.
pub(crate) const LABEL_ENERGY: Bounds = Bounds::new((0.98, 1.02), (0.95, 1.05));

/// R02: nominal voltage of a cell, V, by chemistry.
pub(crate) const CELL_VOLTAGE: [Bounds; 5] = [
    Bounds::new((3.5, 3.75), (3.3, 3.8)).of("nmc and nca"),
    Bounds::new((3.15, 3.3), (3.15, 3.3)).of("lfp"),
    Bounds::new((2.2, 2.5), (2.2, 2.5)).of("lto"),
    Bounds::new((1.15, 1.25), (1.15, 1.25)).of("nimh and nicd"),
    Bounds::new((3.3, 3.8), (3.3, 3.8)).of("lithium-ion of unknown kind"),
];

/// R03: voltage on the label for each cell, V, that is a maximum one.
pub(crate) const LABEL_CELL_MAXIMUM: Limits = Limits { min: 3.95, max: 4.25 };

/// R04: rated capacity of a cell, A.h, by format: 10 % of room on both sides.
pub(crate) const CELL_CAPACITY: [Bounds; 2] = [
    Bounds::new((1.1, 3.6), (0.99, 3.96)).of("18650 cells"),
    Bounds::new((2.5, 6.0), (2.25, 6.6)).of("21700 cells"),
];

/// R05: rated energy by mass, W.h/kg.
pub(crate) const ENERGY_BY_MASS: Bounds = Bounds::new((80.0, 190.0), (50.0, 215.0)).rare(30.0, 260.0);

/// R06: rated energy by volume of the envelope, W.h/L.
pub(crate) const ENERGY_BY_VOLUME: Bounds = Bounds::new((80.0, 350.0), (50.0, 450.0)).possible(-NONE, 600.0);

/// R07: mass of the pack for each cell, g, by format.
pub(crate) const MASS_BY_CELL: [Bounds; 2] = [
    Bounds::new((55.0, 85.0), (44.0, 102.0)).of("18650 cells"),
    Bounds::new((85.0, 125.0), (68.0, 150.0)).rare(65.0, 150.0).of("21700 cells"),
];

/// R08: current over rated capacity, 1/h.
pub(crate) const LOAD_RATE: Bounds = Bounds::new((0.05, 8.0), (0.05, 15.0)).possible(-NONE, 30.0);

/// R09: measured over rated capacity.
pub(crate) const LABEL_SHARE: Bounds = Bounds::new((0.9, 1.05), (0.8, 1.1)).rare(0.8, 1.15);

/// R10: mean voltage of a lithium-ion cell over a discharge, V.
pub(crate) const DISCHARGE_VOLTAGE: Bounds = Bounds::new((3.3, 3.75), (3.0, 3.9)).rare(2.8, 4.0);

/// R11: voltage at rest of a full lithium-ion cell, V.
pub(crate) const FULL_VOLTAGE: Bounds =
    Bounds::new((4.05, 4.22), (3.95, 4.22)).rare(3.95, 4.3).possible(-NONE, 4.3);

/// R12: resistance times rated capacity of a cell, mOhm.A.h. Fine from 25, as a pouch of 36 mOhm for 5 A.h in a warm shed
/// is a good pack and no slip, and to 250, as resistance rises by a third from 20 to 10 °C (from memory).
pub(crate) const CELL_RESISTANCE: Bounds = Bounds::new((25.0, 250.0), (15.0, 400.0)).rare(8.0, 1500.0);

/// R13: rise of the pack's temperature over a run, K. Beyond `rare` the caution is told. The lower edges leave room for
/// two readings of about 1.2 K standard deviation each on a pack that hardly warms.
pub(crate) const RISE: Bounds = Bounds::new((-2.0, 45.0), (-2.0, 55.0)).rare(-5.0, 60.0);

/// R14: distance of a rested pack from the air, K. Beyond `unusual` it had not rested.
pub(crate) const RESTED: Bounds = Bounds::new((-NONE, 5.0), (-NONE, 8.0));

/// R15: energy from the mains over energy discharged.
pub(crate) const MAINS_SHARE: Bounds = Bounds::new((1.1, 1.45), (1.05, 1.6)).possible(1.0, NONE);

/// R16: energy delivered on a full charge over what the specimen was measured to hold.
pub(crate) const DELIVERED_SHARE: Bounds = Bounds::new((0.5, 1.03), (0.5, 1.08)).rare(0.5, 1.1);

/// R17: time times mean power over energy delivered.
pub(crate) const POWER_BY_TIME: Bounds = Bounds::new((0.8, 1.2), (0.6, 1.4));

/// R20: distance of a trial's level from the pool, in robust standard deviations.
pub(crate) const LEVEL: Bounds = Bounds::new((-2.0, 2.0), (-3.0, 3.0));

/// R21: distance of a run from the others of its arm, in robust standard deviations: noted within `unusual`.
pub(crate) const RUN: Bounds = Bounds::new((-3.0, 3.0), (-5.0, 5.0));

/// R22: scatter of a hand on a stopwatch, s, start and stop together (Manual timing in physics experiments, Am. J. Phys. 87,
/// 110 (2019), abstract).
pub(crate) const HAND_TIMING: f64 = 0.10;

/// R22: that scatter over the time measured, %: noted within `unusual`.
pub(crate) const HAND_SHARE: Bounds = Bounds::new((-NONE, 2.0), (-NONE, 5.0));

/// R23: charge used before a timed run, %.
pub(crate) const CHARGE_USED: Bounds =
    Bounds::new((-NONE, 30.0), (-NONE, 50.0)).rare(-NONE, 60.0).of("used at a run");

/// R23: distance between arms, points. A method that has limits of its own overrules these.
pub(crate) const CHARGE_APART: Bounds = Bounds::new((-NONE, 10.0), (-NONE, 20.0)).of("between arms");
