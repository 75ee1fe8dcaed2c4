//! The rules as they are printed.

use super::limits::{
    CELL_CAPACITY, CELL_RESISTANCE, CELL_VOLTAGE, CHARGE_APART, CHARGE_USED, DELIVERED_SHARE,
    DISCHARGE_VOLTAGE, ENERGY_BY_MASS, ENERGY_BY_VOLUME, FULL_VOLTAGE, HAND_SHARE, LABEL_ENERGY, LABEL_SHARE,
    LEVEL, LOAD_RATE, MAINS_SHARE, MASS_BY_CELL, POWER_BY_TIME, RESTED, RISE, RUN,
};
use super::{Bounds, Rule, RuleId};

const PRACTICE: &str = "common practice, no source";
const SHEETS: &str =
    "public data sheets of 18650 and 21700 power cells; common practice for the housing's share";

const fn rule(id: RuleId, compares: &'static str, unit: &'static str, bounds: &'static [Bounds]) -> Rule {
    Rule { id, compares, unit, bounds, then: "", catches: "", source: PRACTICE }
}

impl Rule {
    const fn then(mut self, then: &'static str) -> Self {
        self.then = then;
        self
    }

    const fn catches(mut self, catches: &'static str) -> Self {
        self.catches = catches;
        self
    }

    const fn from(mut self, source: &'static str) -> Self {
        self.source = source;
        self
    }

    /// Every rule, in the order of their ids.
    pub const ALL: &'static [Self] = &[
        rule(RuleId::R01, "rated energy over rated capacity times nominal voltage", "", &[LABEL_ENERGY])
            .catches("a slip in W.h, A.h or V; 1.11 where 20 V stand for 18 V nominal, 1.17 where 21 V do")
            .from("arithmetic: 5 cells of 3.6 V nominal, 4.0 V and 4.2 V charged; room for rounding is common practice"),
        rule(RuleId::R02, "nominal voltage over series cells", "V", &CELL_VOLTAGE)
            .catches("a maximum voltage given as the nominal one (4.0 to 4.2 V a cell); a wrong series count")
            .from("common practice and from memory"),
        rule(RuleId::R03, "voltage on the label over series cells", "V", &[])
            .then("3.95 to 4.25 V a lithium-ion cell is a maximum voltage, and less a nominal one: asked where the label's kind says otherwise")
            .catches("labels of 20, 40, 60 or 80 V for 18, 36, 54 or 72 V nominal"),
        rule(RuleId::R04, "rated capacity over parallel cells", "A·h", &CELL_CAPACITY)
            .catches("an inflated label, a wrong parallel count")
            .from(SHEETS),
        rule(RuleId::R05, "rated energy over mass", "W·h/kg", &[ENERGY_BY_MASS])
            .catches("mass in pounds or grams, a slip in W.h, an inflated label")
            .from(SHEETS),
        rule(RuleId::R06, "rated energy over the volume of the envelope", "W·h/L", &[ENERGY_BY_VOLUME])
            .catches("an envelope in cm or in")
            .from(SHEETS),
        rule(RuleId::R07, "mass over the number of cells", "g", &MASS_BY_CELL)
            .catches("a wrong number of cells, a wrong mass")
            .from(SHEETS),
        rule(RuleId::R08, "load current over rated capacity (C-rate)", "1/h", &[LOAD_RATE])
            .catches("mA typed as A, a wrong parallel count"),
        rule(RuleId::R09, "measured over rated capacity, each run of a capacity discharge", "", &[LABEL_SHARE])
            .then("below the least rare value it is kept and shown without a question: an aged pack is a result")
            .catches("a label taken as measured, a wrong cut-off"),
        rule(RuleId::R10, "energy over capacity of a discharge, over series cells; lithium-ion", "V", &[DISCHARGE_VOLTAGE])
            .catches("a slip in V or A.h, sag in the leads of a two-wire measurement"),
        rule(RuleId::R11, "voltage at rest over series cells, of a full lithium-ion pack", "V", &[FULL_VOLTAGE])
            .then("below the least unusual value in a full state, `partial` is offered; what is impossible is refused in any state")
            .catches("a partial charge called full, a wrong series count")
            .from("cell data sheets charge to 4.2 V; margins are common practice"),
        rule(RuleId::R12, "resistance times rated capacity over series cells", "mΩ·A·h", &[CELL_RESISTANCE])
            .catches("ohms typed as milliohms, the value of a cell given for the pack")
            .from("computed from public data sheets: 10 to 15 mΩ at 1 kHz for 4 A.h; d.c. and contacts add to it; the edges are an own rule, widened on simulated honest trials"),
        rule(RuleId::R13, "rise of the pack's temperature over a run", "K", &[RISE])
            .then("far above, the caution about hot packs is told; a fall is asked about on a discharge only, and noted while it is small")
            .catches("°F typed as °C, a sensor that came off")
            .from("common practice, no source; the lower edges are an own rule, outside the error of two thermometers"),
        rule(RuleId::R14, "distance between pack and air where the state is full_rested", "K", &[RESTED])
            .then("far off, the charge counts as full_warm or as cold and the trial is not pooled; the typed state stays")
            .catches("packs used warm")
            .from("own rule"),
        rule(RuleId::R15, "energy from the mains over energy discharged", "", &[MAINS_SHARE])
            .then("against what the specimen was measured to hold, else the energy put into the pack in that run")
            .catches("fields that were swapped, a charge that did not start from empty"),
        rule(RuleId::R16, "energy delivered on a full charge over energy the specimen was measured to hold", "", &[DELIVERED_SHARE])
            .then("too little is asked about only where the pack was emptied")
            .catches("another pack, a partial charge, a slip in the integration"),
        rule(RuleId::R17, "time times mean power over energy delivered", "", &[POWER_BY_TIME])
            .catches("s typed as min or the other way round"),
        rule(RuleId::R18, "rates and sums that follow from a reading and its conditions", "", &[])
            .then("each method states its own: outside the usual range asked, outside the greatest refused; the slip of units that would explain it is offered")
            .catches("mm, cm and in; s and min; a radius given for a diameter"),
        rule(RuleId::R19, "date of manufacture, month of first use and day of the trial", "", &[])
            .then("none may lie before the one it follows, or ahead of the clock: refused")
            .catches("day and month swapped")
            .from("own rule"),
        rule(RuleId::R20, "level of a trial against the pool of its method, ln scale, robust sd", "", &[LEVEL])
            .then("answers warn; nothing that compares testers holds a trial back, or the pool would agree with itself")
            .catches("a slip of units in a whole trial, which cancels in its ratios")
            .from("ISO 13528 z scores: 2 warning, 3 action"),
        rule(RuleId::R21, "a run against the others of its arm, ln scale, robust sd", "", &[RUN])
            .then("unusual ones are noted, far ones asked about; never dropped. A known slip of units that explains it is offered")
            .catches("a slip in a single reading")
            .from("own rule; slip factors from SI Brochure and the international yard and pound of 1959"),
        rule(RuleId::R22, "scatter of a hand on a stopwatch (0.10 s) over the time measured at once", "%", &[HAND_SHARE])
            .then("noted while unusual; beyond that asked to time several together, or to film")
            .catches("hand timing of short events")
            .from("Manual timing in physics experiments, Am. J. Phys. 87, 110 (2019), abstract"),
        rule(RuleId::R23, "charge used when a run was timed: runs before it times energy of a run over rated energy", "%", &[CHARGE_USED, CHARGE_APART])
            .then("arms far apart: the trial is kept and not pooled")
            .catches("a small pack timed lower on its discharge curve than a large one")
            .from("computed: after 60 crosscuts in a row a pack of 4 A.h looks 6 % slower than one of 8 A.h, after 5 it looks 3 % slower"),
    ];
}
