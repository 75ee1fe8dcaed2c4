//! What the wire promises, walked over the descriptors: a new message, field or rpc has to keep it.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use benchring_api::{descriptors, field_behaviour};
use prost_reflect::{FieldDescriptor, Kind, MessageDescriptor, MethodDescriptor, Value};

fn messages() -> Vec<MessageDescriptor> {
    let own = |message: &MessageDescriptor| message.package_name() == "benchring.v1";
    let mut all: Vec<_> = descriptors().all_messages().filter(own).collect();
    all.sort_by(|a, b| a.full_name().cmp(b.full_name()));
    assert!(all.len() > 50, "only {} messages", all.len());
    all
}

fn rpcs() -> Vec<MethodDescriptor> {
    let all: Vec<_> =
        descriptors().services().flat_map(|service| service.methods().collect::<Vec<_>>()).collect();
    assert!(all.len() > 15, "only {} rpcs", all.len());
    all
}

/// Names of all for which `broken` holds.
fn offenders<T>(
    all: impl IntoIterator<Item = T>,
    name: impl Fn(&T) -> String,
    broken: impl Fn(&T) -> bool,
) -> Vec<String> {
    all.into_iter().filter(|item| broken(item)).map(|item| name(&item)).collect()
}

fn fields() -> Vec<FieldDescriptor> {
    let own = |message: &MessageDescriptor| !message.is_map_entry();
    messages().into_iter().filter(own).flat_map(|message| message.fields().collect::<Vec<_>>()).collect()
}

fn field_name(field: &FieldDescriptor) -> String {
    field.full_name().trim_start_matches("benchring.v1.").to_owned()
}

#[test]
fn every_rpc_says_whether_it_may_be_repeated() {
    let unset = offenders(
        rpcs(),
        |rpc| rpc.full_name().to_owned(),
        |rpc| {
            let options = rpc.method_descriptor_proto().options.clone().unwrap_or_default();
            options.idempotency_level.is_none_or(|level| level == 0)
        },
    );
    assert!(unset.is_empty(), "no idempotency_level: {unset:?}");
}

#[test]
fn every_rpc_has_a_path_of_the_json_door() {
    let http = descriptors().get_extension_by_name("google.api.http").unwrap();
    let without =
        offenders(rpcs(), |rpc| rpc.full_name().to_owned(), |rpc| !rpc.options().has_extension(&http));
    assert!(without.is_empty(), "{without:?}");
}

#[test]
fn every_resource_begins_with_its_name() {
    let resource = descriptors().get_extension_by_name("google.api.resource").unwrap();
    let mut seen = 0;
    for message in messages() {
        if !message.options().has_extension(&resource) {
            continue;
        }
        seen += 1;
        let first = message.get_field(1).unwrap();
        assert_eq!((first.name(), first.kind()), ("name", Kind::String), "{}", message.full_name());
        assert_eq!(field_behaviour(&first), ["IDENTIFIER"], "{}", message.full_name());
        let options = message.options();
        let Value::Message(described) = options.get_extension(&resource).into_owned() else {
            panic!("{}: google.api.resource is a message", message.full_name())
        };
        let plural = described.get_field_by_name("plural").unwrap().as_str().unwrap().to_owned();
        let camel = plural.starts_with(|c: char| c.is_ascii_lowercase())
            && plural.chars().all(|c| c.is_ascii_alphanumeric());
        assert!(camel, "{plural}");
        let patterns = described.get_field_by_name("pattern").unwrap().into_owned();
        for pattern in patterns.as_list().unwrap() {
            assert!(pattern.as_str().unwrap().starts_with(&format!("{plural}/{{")), "{pattern:?}");
        }
    }
    assert_eq!(seen, 6, "claim, method, pack model, pack specimen, tool model and trial");
}

#[test]
fn a_request_for_one_resource_begins_with_its_name() {
    for rpc in rpcs() {
        let input = rpc.input();
        if (rpc.name().starts_with("Get") && rpc.name() != "GetServerInfo") || rpc.name() == "DecideTrial" {
            assert_eq!(input.get_field(1).unwrap().name(), "name", "{}", rpc.full_name());
        }
    }
}

/// Units that a plain number may end in (AIP-141).
const UNITS: [&str; 6] = ["_count", "_ratio", "_percent", "_bytes", "_milliseconds", "_days"];

/// Numbers without a unit in their name, looked at one by one.
const REVIEWED: &[(&str, &str)] = &[
    ("Quantity.value", "its unit stands beside it"),
    ("Quantity.canonical_value", "its unit stands beside it"),
    ("Limits.min", "in the unit of the message around it"),
    ("Limits.max", "in the unit of the message around it"),
    ("Interval.estimate", "its unit stands beside it"),
    ("Interval.lower", "its unit stands beside it"),
    ("Interval.upper", "its unit stands beside it"),
    ("TrialPlan.order_seed", "a seed"),
    ("MethodBand.centre_factor", "a factor"),
    ("PooledEffect.order_bias", "log scale or unit of the effect, whose unit stands beside it"),
    ("PooledEffect.standard_error", "log scale or unit of the effect, whose unit stands beside it"),
    ("PooledEffect.tau", "log scale or unit of the effect, whose unit stands beside it"),
    ("PooledEffect.degrees_of_freedom", "a pure number that may be fractional"),
    ("PooledEffect.q", "a statistic without unit"),
    ("VariancePrior.variance", "CV squared or squared unit of the response, as its comment says"),
    ("VariancePrior.degrees_of_freedom", "a pure number that may be fractional"),
    ("VariancePrior.charge_sd", "log scale or unit of the response, as its comment says"),
    ("Divisor.value", "its unit stands beside it"),
    ("MeanPower.watt", "its name is the unit"),
    ("MeanPower.geometric_sd", "a factor"),
    ("InteractionTest.f", "a statistic without unit"),
    ("InteractionTest.numerator_degrees_of_freedom", "a pure number"),
    ("InteractionTest.denominator_degrees_of_freedom", "a pure number"),
    ("InteractionTest.tau", "log scale or unit of the effect, as its comment says"),
    ("TrialLevel.level", "its unit stands beside it"),
    ("TrialLevel.others_median", "its unit stands beside it"),
    ("TrialLevel.others_sd", "log scale or the unit beside it, as its comment says"),
    ("TrialLevel.z", "a statistic without unit"),
    ("ComparePacksRequest.data_version", "a sequence of the audit log"),
    ("ComparePacksResponse.data_version", "a sequence of the audit log"),
    ("ComparePacksResponse.evidence_version", "a sequence of the audit log"),
    ("ExploreModifiersRequest.data_version", "a sequence of the audit log"),
    ("ExploreModifiersResponse.data_version", "a sequence of the audit log"),
    ("ExploreModifiersResponse.evidence_version", "a sequence of the audit log"),
    ("ExploreModifiersResponse.tau", "log scale or unit of the effect, as its comment says"),
    ("ExploreModifiersResponse.tau_without_modifier", "log scale or unit of the effect, as its comment says"),
    ("ModifierSlope.coefficient", "log scale or unit of the effect per step, as its comment says"),
    ("ModifierSlope.standard_error", "as the coefficient"),
    ("ModifierTest.f", "a statistic without unit"),
    ("ModifierTest.numerator_degrees_of_freedom", "a pure number"),
    ("ModifierTest.denominator_degrees_of_freedom", "a pure number"),
    ("PlanTrialRequest.half_width", "percent or the unit of the response, as its comment says"),
    ("PlanTrialRequest.run_scatter", "percent or the unit of the response, as its comment says"),
    ("PlanTrialRequest.charge_scatter", "percent or the unit of the response, as its comment says"),
    ("PlanTrialRequest.tester_scatter", "percent or the unit of the response, as its comment says"),
    ("PlanTrialRequest.order_seed", "a seed"),
    ("PlanTrialResponse.order_seed", "a seed"),
    ("PlanTrialResponse.data_version", "a sequence of the audit log"),
    ("PlanTrialResponse.evidence_version", "a sequence of the audit log"),
    ("EffectToFind.size", "percent or the unit of the response, as its comment says"),
    ("Bridge.island", "a place in a list, as its comment says"),
    ("ConsistencyTest.q", "no unit"),
    ("ConsistencyTest.degrees_of_freedom", "no unit"),
    ("DemandEdge.watt", "the unit is its name"),
    ("Island.tau", "on the log scale or in the unit of the effect, as its comment says"),
    ("Island.q", "no unit"),
    ("Island.degrees_of_freedom", "no unit"),
    ("RankPacksRequest.data_version", "a sequence"),
    ("RankPacksResponse.data_version", "a sequence"),
    ("RankPacksResponse.evidence_version", "a sequence"),
    ("RankedPack.rank", "a place in a list, as its comment says"),
    ("PlanGoal.effect", "a ratio or the unit of the response, as its comment says"),
    ("HalfWidth.pooled", "its unit stands beside it"),
    ("PlanFigure.value", "its unit stands beside it"),
    ("PlannedRun.position", "a place"),
    ("PlannedRun.round", "a place"),
    ("PlannedRun.pack", "a place"),
    ("ServerInfo.data_version", "a sequence of the audit log"),
    ("AssessMethodRequest.data_version", "a sequence of the audit log"),
    ("AssessMethodResponse.data_version", "a sequence of the audit log"),
    ("AssessMethodResponse.evidence_version", "a sequence of the audit log"),
    ("Influence.cook_limit", "a statistic without unit"),
    ("Influence.dffits_limit", "a statistic without unit"),
    ("Influence.outlier_limit", "a statistic without unit"),
    ("Influence.straggler_limit", "a statistic without unit"),
    ("Influence.weight_limit", "a share"),
    ("InfluenceRow.cook", "a statistic without unit"),
    ("InfluenceRow.deleted_residual", "a statistic without unit"),
    ("InfluenceRow.dffits", "a statistic without unit"),
    ("InfluenceRow.effect_without", "the unit of the headline's effect, as its comment says"),
    ("PrecisionCell.h", "a statistic without unit"),
    ("PrecisionCell.k", "a statistic without unit"),
    ("PrecisionCell.mean", "the unit of the response, as its comment says"),
    ("PrecisionCell.sd", "log scale or unit of the response, as its comment says"),
    ("PrecisionFigure.lower", "its unit stands beside it"),
    ("PrecisionFigure.percent", "its name is the unit"),
    ("PrecisionFigure.upper", "its unit stands beside it"),
    ("PrecisionFigure.value", "its unit stands beside it"),
    ("PrecisionStratum.f", "a statistic without unit"),
    ("PrecisionStratum.limit_factor", "a factor"),
    ("PrecisionStratum.mean", "its unit stands beside it"),
    ("Screening.data_version", "a sequence of the audit log"),
    ("Screening.evidence_version", "a sequence of the audit log"),
    ("ScreeningFlag.critical", "in the unit of its statistic"),
    ("ScreeningFlag.sd", "log scale or the unit beside it, as its comment says"),
    ("ScreeningFlag.statistic", "a statistic without unit; a residual is a logarithm"),
    ("ScreeningFlag.usual", "its unit stands beside it"),
    ("ScreeningFlag.value", "its unit stands beside it"),
    ("SlipCause.corrected", "in the unit of its flag"),
    ("SlipCause.factor", "a factor"),
    ("JudgeClaimRequest.data_version", "a sequence of the audit log"),
    ("JudgeClaimResponse.data_version", "a sequence of the audit log"),
    ("JudgeClaimResponse.evidence_version", "a sequence of the audit log"),
    ("ClaimHistoryEntry.evidence_version", "a sequence of the audit log"),
    ("ClaimThreshold.value", "its unit stands beside it"),
    ("ClaimStratum.half_width", "log scale or unit of the effect, whose unit stands beside it"),
    ("ClaimStratum.half_width_limit", "log scale or unit of the effect, whose unit stands beside it"),
];

/// Standard fields of lists (AIP-158).
const PAGE_SIZE: &str = "page_size";

#[test]
fn every_number_carries_its_unit_or_was_looked_at() {
    let numeric = |field: &FieldDescriptor| {
        matches!(
            field.kind(),
            Kind::Double | Kind::Float | Kind::Int32 | Kind::Int64 | Kind::Sint32 | Kind::Sint64
        )
    };
    let without_unit: BTreeSet<_> = fields()
        .into_iter()
        .filter(numeric)
        .filter(|field| !UNITS.iter().any(|unit| field.name().ends_with(unit)) && field.name() != PAGE_SIZE)
        .map(|field| field_name(&field))
        .collect();
    let reviewed: BTreeSet<_> = REVIEWED.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(without_unit, reviewed, "left: numbers without unit, right: those looked at");
}

#[test]
fn no_number_is_unsigned_or_fixed() {
    let odd = offenders(fields(), field_name, |field| {
        matches!(
            field.kind(),
            Kind::Uint32 | Kind::Uint64 | Kind::Fixed32 | Kind::Fixed64 | Kind::Sfixed32 | Kind::Sfixed64
        )
    });
    assert!(odd.is_empty(), "{odd:?}");
}

#[test]
fn every_field_of_a_request_says_whether_it_is_required() {
    let requests: Vec<_> = rpcs().iter().map(MethodDescriptor::input).collect();
    let silent = offenders(
        requests.iter().flat_map(|request| request.fields().collect::<Vec<_>>()),
        field_name,
        |field| field_behaviour(field).is_empty(),
    );
    assert!(silent.is_empty(), "{silent:?}");
}

#[test]
fn times_are_named_so() {
    let is_time = |field: &FieldDescriptor| matches!(field.kind(), Kind::Message(message) if message.full_name() == "google.protobuf.Timestamp");
    let misnamed = offenders(fields(), field_name, |field| is_time(field) != field.name().ends_with("_time"));
    assert!(misnamed.is_empty(), "{misnamed:?}");
}

#[test]
fn every_list_has_pages_and_ends_with_an_empty_token() {
    let mut seen = 0;
    for rpc in rpcs().into_iter().filter(|rpc| rpc.name().starts_with("List")) {
        seen += 1;
        for field in ["page_size", "page_token"] {
            assert!(rpc.input().get_field_by_name(field).is_some(), "{}: {field}", rpc.full_name());
        }
        assert!(rpc.output().get_field_by_name("next_page_token").is_some(), "{}", rpc.full_name());
        let first = rpc.output().get_field(1).unwrap();
        assert!(first.is_list(), "{}: the items come first", rpc.full_name());
        assert!(!rpc.is_server_streaming(), "{}", rpc.full_name());
    }
    assert!(seen >= 5);
}

#[test]
fn whatever_writes_can_be_repeated_by_its_request_id() {
    for rpc in rpcs() {
        let options = rpc.method_descriptor_proto().options.clone().unwrap_or_default();
        // 1 is NO_SIDE_EFFECTS.
        let writes = options.idempotency_level != Some(1);
        let bears = |message: &MessageDescriptor| message.get_field_by_name("request_id").is_some();
        // Several at once bear one each.
        let items = rpc.input().get_field_by_name("items").map(|items| items.kind());
        let items = matches!(items, Some(Kind::Message(item)) if bears(&item));
        assert_eq!(bears(&rpc.input()) || items, writes, "{}", rpc.full_name());
    }
}

/// Everything a client may rely on: rpcs, fields with number and type, enum values with number.
fn listing() -> String {
    let mut text = String::new();
    for rpc in rpcs() {
        let (input, output) = (rpc.input(), rpc.output());
        let _ = writeln!(text, "rpc {} ({}) -> {}", rpc.full_name(), input.name(), output.name());
    }
    for message in messages() {
        for field in message.fields() {
            let kind = match field.kind() {
                Kind::Message(message) => message.full_name().to_owned(),
                Kind::Enum(values) => values.full_name().to_owned(),
                scalar => format!("{scalar:?}").to_lowercase(),
            };
            let shape = match (field.is_map(), field.is_list(), field.containing_oneof()) {
                (true, ..) => "map ".to_owned(),
                (_, true, _) => "repeated ".to_owned(),
                (_, _, Some(one)) if one.is_synthetic() => "optional ".to_owned(),
                (_, _, Some(one)) => format!("oneof {} ", one.name()),
                _ => String::new(),
            };
            let _ = writeln!(text, "{} = {} {shape}{kind}", field.full_name(), field.number());
        }
    }
    let mut enums: Vec<_> =
        descriptors().all_enums().filter(|values| values.package_name() == "benchring.v1").collect();
    enums.sort_by(|a, b| a.full_name().cmp(b.full_name()));
    for value in enums.iter().flat_map(|values| values.values().collect::<Vec<_>>()) {
        let _ = writeln!(text, "{} = {}", value.full_name(), value.number());
    }
    text
}

/// Numbers, names and types never change; new ones are added to the listing by hand, or copied from
/// the file that this test names.
#[test]
fn the_wire_is_as_listed() {
    let golden = include_str!("golden/wire.txt");
    let now = listing();
    if golden != now {
        let path = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("wire.txt");
        std::fs::write(&path, &now).unwrap();
        let gone: Vec<_> = golden.lines().filter(|line| !now.lines().any(|new| new == *line)).collect();
        let new: Vec<_> = now.lines().filter(|line| !golden.lines().any(|old| old == *line)).collect();
        panic!("gone: {gone:#?}\nnew: {new:#?}\nthe listing as it is now: {}", path.display());
    }
}
