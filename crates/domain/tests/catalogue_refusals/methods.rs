//! References and numbers of a method file.

use super::{CUTS, SCREW, refused};

/// An edit (file, from, to), the path and a part of the message.
type Defect = ((&'static str, &'static str, &'static str), &'static str, &'static str);

const CAPACITY: &str = "discharge-capacity.v1.json";

/// Edits of references, each with the path and a part of the message it has to give.
const REFERENCES: &[Defect] = &[
    (
        (SCREW, "\"field\": \"tool_setting\", \"r", "\"field\": \"gear\", \"r"),
        "fields[1]",
        "`gear` is no field",
    ),
    (
        (SCREW, "{\"field\": \"feed_method\"", "{\"field\": \"tool_ref\""),
        "fields",
        "`tool_ref` stands here twice",
    ),
    ((SCREW, "\"wood_dust\"", "\"saw_dust\""), "cautions", "`saw_dust` is no caution"),
    (
        (SCREW, "\"rounds\": 2, \"source\": \"own_rule\"", "\"rounds\": 2, \"source\": \"hearsay\""),
        "replicates.source",
        "is no source",
    ),
    ((SCREW, "[\"full_rested\"]", "[\"fresh\"]"), "starting_states", "`fresh` is no choice"),
    (
        (SCREW, "{\"equal\": {\"field\": \"tool_ref\"}}", "{\"equal\": {\"field\": \"cut_width\"}}"),
        "same_within_trial[0]",
        "not among the fields",
    ),
    (
        (SCREW, "{\"equal\": {\"field\": \"tool_ref\"}}", "{\"equal\": {\"field\": \"demand_class\"}}"),
        "same_within_trial[0]",
        "is computed",
    ),
    (
        (
            CUTS,
            "{\"field\": \"workpiece_class\", \"required\": true}",
            "{\"field\": \"feed_force\", \"required\": true}",
        ),
        "pool_keys[0]",
        "not among the fields",
    ),
    (
        (CAPACITY, "{\"choice\": {\"field\": \"load_mode\"}}", "{\"choice\": {\"field\": \"load_current\"}}"),
        "pool_keys[0]",
        "put a band on it",
    ),
    (
        (CAPACITY, "{\"choice\": {\"field\": \"load_mode\"}}", "{\"choice\": {\"field\": \"cooling\"}}"),
        "pool_keys[0]",
        "require it",
    ),
    (
        (CAPACITY, "\"modifiers\": [\"c_rate\"]", "\"modifiers\": [\"tide\"]"),
        "modifiers",
        "neither a field nor a band",
    ),
    (
        (
            CAPACITY,
            "\"per_rated_capacity\": {\"field\": \"load_current\"",
            "\"per_rated_capacity\": {\"field\": \"cutoff_voltage\"",
        ),
        "same_within_trial[2]",
        "is a voltage, due is a current",
    ),
    ((SCREW, "\"timber\"", "\"wood\""), "scatter[0].holds_for.workpiece_family", "`wood` is no value"),
    (
        (SCREW, "\"workpiece_family\": [\"timber\"]", "\"screw_class\": [\"drywall\"]"),
        "scatter[0].holds_for.screw_class",
        "is no pool key",
    ),
    (
        (SCREW, "{\"workpiece_family\": [\"panel\"]}", "{\"workpiece_family\": [\"panel\", \"timber\"]}"),
        "scatter[1]",
        "one kind of work has one scatter",
    ),
    (
        (
            SCREW,
            "{\"field\": \"specimen_ref\", \"required\": true}",
            "{\"field\": \"specimen_ref\", \"required\": false}",
        ),
        "fields",
        "requires `specimen_ref`",
    ),
    (
        (
            SCREW,
            "{\"field\": \"demand_class\", \"required\": false}",
            "{\"field\": \"demand_class\", \"required\": true}",
        ),
        "fields[",
        "it cannot be required",
    ),
    (
        (SCREW, "[\"per_kg_on_rate\"]", "[\"per_kg_on_rate\", \"per_kg\"]"),
        "forbidden",
        "both allowed and forbidden",
    ),
    ((SCREW, "[\"per_kg_on_rate\"]", "[\"per_cut_area\"]"), "normalisations", "`cut_width` is not among"),
];

#[test]
fn every_reference_of_a_method_has_to_resolve() {
    for (edit, path, message) in REFERENCES {
        refused(*edit, path, message);
    }
}

/// Edits of numbers, each with the path and a part of the message it has to give.
const NUMBERS: &[Defect] = &[
    (
        (SCREW, "\"soft\": {\"min\": 0.5", "\"soft\": {\"min\": 0.05"),
        "response.measure.soft",
        "inside the hard",
    ),
    (
        (SCREW, "\"hard\": {\"min\": 0.1, \"max\": 300}", "\"hard\": {\"min\": 300, \"max\": 0.1}"),
        "response.measure.hard",
        "min has to be below max",
    ),
    (
        (SCREW, "[\"s\", \"ms\", \"min\"]", "[\"s\", \"ms\", \"m\"]"),
        "response.measure.accepted_units",
        "`m` is no unit",
    ),
    (
        (SCREW, "[\"s\", \"ms\", \"min\"]", "[\"ms\", \"s\"]"),
        "response.measure.accepted_units",
        "has to come first",
    ),
    ((SCREW, "\"unit\": \"s\"", "\"unit\": \"min\""), "response.measure.unit", "not the canonical unit"),
    (
        (
            SCREW,
            "{\"field\": \"drive_depth\", \"required\": true}",
            "{\"field\": \"drive_depth\", \"required\": false}",
        ),
        "bands[1]",
        "may_be_missing",
    ),
    ((SCREW, "5.3, 6.75", "6.75, 5.3"), "bands[0].edges", "ascend"),
    ((SCREW, "11.3, 14.7", "11.3, 31"), "bands[0].edges", "the edge 31 does not lie between"),
    (
        (SCREW, "\"factor\": 1.3", "\"display_unit\": \"ft\", \"factor\": 1.3"),
        "bands[0].display_unit",
        "`ft` is no unit of length",
    ),
    ((SCREW, "\"factor\": 1.3", "\"factor\": 1"), "bands[0]", "a factor is above 1"),
    (
        (SCREW, "\"dimension\": \"length\"", "\"dimension\": \"area\""),
        "bands[0].dimension",
        "on length, not on area",
    ),
    (
        (CAPACITY, "\"only\": {\"min\": 0.1, \"max\": 30}", "\"only\": {\"min\": 0.1, \"max\": 31}"),
        "bands[0].only",
        "no trial can reach",
    ),
    (
        (SCREW, "\"fine_points\": 10", "\"fine_points\": 30"),
        "same_within_trial[",
        "fine_points < most_points",
    ),
    ((CUTS, "\"runs_per_round\": 1", "\"runs_per_round\": 4"), "replicates.runs_per_round", "one a round"),
    ((CUTS, "\"run_is_charge\": true", "\"run_is_charge\": false"), "run_is_charge", "takes a whole charge"),
    ((SCREW, "\"charge_sd\": 0.03", "\"charge_sd\": 0"), "charge_sd", "above 0"),
    ((SCREW, "\"charge_sd\": 0.03", "\"charge_sd\": 3"), "charge_sd", "5 % is written 0.05"),
    ((SCREW, "\"max\": 0.003", "\"max\": 0.0001"), "drift.range", "0 <= min <= max"),
    ((SCREW, "{\"min\": 0.06, \"max\": 0.12}", "{\"min\": 0, \"max\": 0.12}"), "scatter[0].range", "above 0"),
    ((SCREW, "\"better\": \"lower\"", "\"better\": \"higher\""), "response.better", "the lower is better"),
    ((SCREW, "\"scale\": \"ratio\"", "\"scale\": \"difference\""), "response.scale", "on the ratio scale"),
    ((SCREW, "    \"tool_stall\": \"right_censored\",\n", ""), "end_table", "`tool_stall` is missing"),
    (
        (SCREW, "\"safety_abort\": \"recorded_not_analysed\"", "\"safety_abort\": \"exact\""),
        "end_table.safety_abort",
        "nobody may lose by stopping",
    ),
    (
        (CUTS, "\"instrument_failure\": \"excluded\"", "\"instrument_failure\": \"exact\""),
        "end_table.instrument_failure",
        "not scored",
    ),
    ((SCREW, "\"a time per kilogram", "\"A time per kilogram"), "forbidden[4].reason", "a clause"),
];

#[test]
fn every_number_of_a_method_has_to_make_sense() {
    for (edit, path, message) in NUMBERS {
        refused(*edit, path, message);
    }
}
