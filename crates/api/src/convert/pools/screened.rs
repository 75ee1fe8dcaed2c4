//! What screening says of a stratum.

use benchring_domain::pool::answer::Stratum;
use benchring_domain::pool::screened::{UnitInfluence, UnitInfluences};

use super::Telling;
use super::effect::{effect_to_wire, interval_to_wire, left_out_to_wire};
use crate::convert::screening::{flag_to_wire, severity_to_wire};
use crate::v1;

/// The screening of a stratum: its effect without outliers, what that leaves out, its flags, and how units move it.
pub(super) struct Screened {
    pub(super) effect: Option<v1::PooledEffect>,
    pub(super) left_out: Vec<v1::LeftOut>,
    pub(super) flags: Vec<v1::ScreeningFlag>,
    pub(super) influence: Option<v1::Influence>,
}

pub(super) fn screened_to_wire(stratum: &Stratum, telling: &Telling<'_>) -> Screened {
    let screening = stratum.screening.as_ref();
    let effect = screening.and_then(|one| one.screened.as_ref());
    let left_out = screening.map(|one| one.left_out.as_slice()).unwrap_or_default();
    let flags = screening.map(|one| one.flags.as_slice()).unwrap_or_default();
    let unit = stratum.headline.scale.unit();
    Screened {
        effect: effect.map(|effect| effect_to_wire(effect, telling.subject)),
        left_out: left_out.iter().map(|left| left_out_to_wire(left, telling)).collect(),
        flags: flags.iter().map(|flag| flag_to_wire(flag, telling.readable)).collect(),
        influence: screening
            .and_then(|one| one.influence.as_ref())
            .map(|influence| influence_to_wire(influence, unit)),
    }
}

fn influence_to_wire(influence: &UnitInfluences, unit: &str) -> v1::Influence {
    let UnitInfluences {
        rows,
        straggler_limit,
        outlier_limit,
        dffits_limit,
        cook_limit,
        weight_limit,
        spread_refitted,
        robust,
    } = influence;
    v1::Influence {
        rows: rows.iter().map(row_to_wire).collect(),
        straggler_limit: *straggler_limit,
        outlier_limit: *outlier_limit,
        dffits_limit: *dffits_limit,
        cook_limit: *cook_limit,
        weight_limit: *weight_limit,
        spread_refitted: *spread_refitted,
        robust: robust.map(|robust| interval_to_wire(robust, unit)),
    }
}

fn row_to_wire(row: &UnitInfluence) -> v1::InfluenceRow {
    let UnitInfluence {
        unit,
        deleted_residual,
        p,
        severity,
        dffits,
        cook,
        weight,
        covariance_ratio,
        effect_without,
        influential,
    } = row;
    v1::InfluenceRow {
        unit: unit.name(),
        deleted_residual: *deleted_residual,
        p_ratio: *p,
        severity: severity.map_or(0, severity_to_wire),
        dffits: *dffits,
        cook: *cook,
        weight_ratio: *weight,
        covariance_ratio: *covariance_ratio,
        effect_without: *effect_without,
        influential: *influential,
    }
}
