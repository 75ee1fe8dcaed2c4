//! Fields, choices and lists that rules in code name. The catalogue is refused when one of them is missing or of
//! another kind, so that no rule can silently stop to hold.

use super::terms::{FieldKind, Level};

/// The pack specimen of an arm.
pub const SPECIMEN: &str = "specimen_ref";
/// The tool model; a method that uses it is one with a tool.
pub const TOOL: &str = "tool_ref";
/// How the order was made.
pub const ORDER_DESIGN: &str = "order_design";
/// Position of a run in the order.
pub const RUN_POSITION: &str = "run_position";
/// Why a run ended.
pub const END_CRITERION: &str = "end_criterion";
/// State of the pack when a charge begins to be used.
pub const STARTING_STATE: &str = "starting_state";
/// Rest between the end of charging and the first run.
pub const REST_AFTER_CHARGE: &str = "rest_after_charge";
/// Air temperature.
pub const AMBIENT_TEMPERATURE: &str = "ambient_temperature";
/// Temperature of the pack before the first run of a charge.
pub const PACK_START_TEMPERATURE: &str = "pack_start_temperature";
/// Temperature of the pack after a run.
pub const PACK_END_TEMPERATURE: &str = "pack_end_temperature";
/// Voltage at rest before the first run of a charge.
pub const OPEN_CIRCUIT_VOLTAGE: &str = "open_circuit_voltage";
/// Runs made on a charge before this one.
pub const RUNS_SINCE_CHARGE: &str = "runs_since_charge";
/// Class of the workpiece; its families are a pool key.
pub const WORKPIECE_CLASS: &str = "workpiece_class";
/// Type of bit, blade or chain.
pub const ACCESSORY_TYPE: &str = "accessory_type";
/// Which bit, blade or chain.
pub const ACCESSORY: &str = "accessory_ref";
/// Work already done with it.
pub const ACCESSORY_USE_COUNT: &str = "accessory_use_count";
/// How times were taken.
pub const TIMING_METHOD: &str = "timing_method";
/// Mean power at the pack terminals.
pub const MEAN_INPUT_POWER: &str = "mean_input_power";
/// Energy delivered in a run.
pub const ENERGY_DELIVERED: &str = "energy_delivered";
/// Demand class of the trial.
pub const DEMAND_CLASS: &str = "demand_class";
/// Current drawn by a load.
pub const LOAD_CURRENT: &str = "load_current";

/// Charge delivered in a run.
pub const CHARGE_DELIVERED: &str = "charge_delivered";
/// Energy taken from the mains for a charge.
pub const MAINS_ENERGY: &str = "mains_energy";
/// How many were timed together.
pub const TIMING_BATCH: &str = "timing_batch";

/// Choice list of tool types.
pub const TOOL_TYPES: &str = "tool_type";
/// Choice list of cell formats.
pub const CELL_FORMATS: &str = "cell_format";
/// Choice list of chemistries.
pub const CHEMISTRIES: &str = "chemistry";

/// Charged to the end, then rested until the pack is as warm as the air.
pub const FULL_RESTED: &str = "full_rested";
/// Charged and used before it cooled.
pub const FULL_WARM: &str = "full_warm";
/// Charged, then stored for more than a week.
pub const FULL_STORED: &str = "full_stored";
/// Used up until its own electronics stopped it.
pub const DISCHARGED: &str = "discharged_to_cutoff";
/// The states that are a full charge.
pub const FULL: [&str; 3] = [FULL_RESTED, FULL_WARM, FULL_STORED];

/// Field, kind and level that rules in code rest on.
pub(super) const FIELDS: &[(&str, FieldKind, Level)] = &[
    (SPECIMEN, FieldKind::Label, Level::Arm),
    (TOOL, FieldKind::Label, Level::Trial),
    (ORDER_DESIGN, FieldKind::Choice, Level::Trial),
    (RUN_POSITION, FieldKind::Quantity, Level::Run),
    (END_CRITERION, FieldKind::Choice, Level::Run),
    (STARTING_STATE, FieldKind::Choice, Level::Charge),
    (REST_AFTER_CHARGE, FieldKind::Quantity, Level::Charge),
    (AMBIENT_TEMPERATURE, FieldKind::Quantity, Level::Trial),
    (PACK_START_TEMPERATURE, FieldKind::Quantity, Level::Charge),
    (PACK_END_TEMPERATURE, FieldKind::Quantity, Level::Run),
    (OPEN_CIRCUIT_VOLTAGE, FieldKind::Quantity, Level::Charge),
    (RUNS_SINCE_CHARGE, FieldKind::Quantity, Level::Run),
    (WORKPIECE_CLASS, FieldKind::Choice, Level::Trial),
    (ACCESSORY_TYPE, FieldKind::Choice, Level::Trial),
    (ACCESSORY, FieldKind::Label, Level::Run),
    (ACCESSORY_USE_COUNT, FieldKind::Quantity, Level::Run),
    (TIMING_METHOD, FieldKind::Choice, Level::Trial),
    (MEAN_INPUT_POWER, FieldKind::Quantity, Level::Arm),
    (ENERGY_DELIVERED, FieldKind::Quantity, Level::Run),
    (DEMAND_CLASS, FieldKind::Choice, Level::Trial),
    (LOAD_CURRENT, FieldKind::Quantity, Level::Run),
    (CHARGE_DELIVERED, FieldKind::Quantity, Level::Run),
    (MAINS_ENERGY, FieldKind::Quantity, Level::Run),
    (TIMING_BATCH, FieldKind::Quantity, Level::Trial),
];

/// Choices that rules in code rest on, with their list.
pub(super) const CHOICES: &[(&str, &str)] = &[
    (STARTING_STATE, FULL_RESTED),
    (STARTING_STATE, FULL_WARM),
    (STARTING_STATE, FULL_STORED),
    (STARTING_STATE, DISCHARGED),
];

/// Choice lists that stand without a field of their own.
pub(super) const LISTS: &[&str] = &[TOOL_TYPES, CELL_FORMATS, CHEMISTRIES];

/// Places of their own in a trial, as wire paths, with the field that stands there.
pub(super) const PLACES: &[(&str, &str)] = &[
    (SPECIMEN, "arms[].pack_specimen"),
    (TOOL, "tool_model"),
    (ORDER_DESIGN, "plan.order_design"),
    (RUN_POSITION, "arms[].charges[].runs[].position_count"),
    (END_CRITERION, "arms[].charges[].runs[].end_criterion"),
];
