//! What a method says about fields, ends, normalisations and spread, asked by checks and pooling.

use std::collections::BTreeMap;

use super::band::Band;
use super::file::{FieldUse, Method, PoolKey, Scatter};
use super::known;
use super::terms::{Normalisation, Outcome, ResponseKind};
use crate::id::MethodRef;
use crate::trial::EndCriterion;

/// A run whose end and reading make no outcome together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoOutcome {
    /// No work was read in a method that counts work, and the end does not say why.
    ZeroWork(EndCriterion),
    /// The end needs a reading.
    NoReading(EndCriterion),
}

impl NoOutcome {
    /// What to do about it; lower case, no full stop.
    pub fn message(&self) -> String {
        match self {
            Self::ZeroWork(end) => format!(
                "no work at all with the end `{end}` says nothing about the pack: give the end that stopped it at once \
                 (electronics_cutoff or tool_stall where the pack could not hold the load, manual_stop where you \
                 stopped), or leave the reading out where the run is not analysed"
            ),
            Self::NoReading(end) => {
                format!("a run that ended with `{end}` needs its reading: give what was read when it stopped")
            }
        }
    }
}

impl std::fmt::Display for NoOutcome {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.message())
    }
}

impl std::error::Error for NoOutcome {}

impl Method {
    /// Its id and version.
    pub fn reference(&self) -> MethodRef {
        MethodRef { id: self.id.clone(), version: self.version }
    }

    /// The use of a field, if the method has it.
    pub fn field_use(&self, field: &str) -> Option<&FieldUse> {
        self.fields.iter().find(|used| used.field == field)
    }

    /// Whether the method has the field.
    pub fn uses(&self, field: &str) -> bool {
        self.field_use(field).is_some()
    }

    /// Whether a trial without the field is refused.
    pub fn requires(&self, field: &str) -> bool {
        self.field_use(field).is_some_and(|used| used.required)
    }

    /// Whether a trial names a tool model: it must where [`Self::requires_tool`], it may where this holds, and it
    /// cannot elsewhere.
    pub fn uses_tool(&self) -> bool {
        self.uses(known::TOOL)
    }

    /// Whether a trial without a tool model is refused.
    pub fn requires_tool(&self) -> bool {
        self.requires(known::TOOL)
    }

    /// What the table says about an end, whatever the reading.
    pub fn end(&self, end: EndCriterion) -> Outcome {
        // The catalogue holds no method without all ten; a table made by hand loses the run rather than scores it.
        self.end_table.get(&end).copied().unwrap_or(Outcome::Excluded)
    }

    /// What a run that ended so, with such a reading in the canonical unit, comes to.
    ///
    /// A per-charge method reads 0 where the pack did no work: with a cut-off or a stall the pack could not hold the
    /// load, with a stop by hand nothing was learnt; any other 0 is refused. This 0 is judged here, before and
    /// without the limits of the response. A timed cut-off, stall or thermal stop without a time counts as a failure
    /// at this load; any other end that scores needs its reading.
    ///
    /// # Errors
    /// [`NoOutcome`] says what to do.
    pub fn outcome(&self, end: EndCriterion, reading: Option<f64>) -> Result<Outcome, NoOutcome> {
        use EndCriterion::{ElectronicsCutoff, ManualStop, ThermalCutout, ToolStall};
        let by_table = self.end(end);
        match (reading, self.response.kind, end) {
            (Some(0.0), ResponseKind::PerCharge, ElectronicsCutoff | ToolStall) => Ok(Outcome::FailedAtLoad),
            (Some(0.0), ResponseKind::PerCharge, ManualStop) => Ok(Outcome::Excluded),
            (Some(0.0), ResponseKind::PerCharge, _) => Err(NoOutcome::ZeroWork(end)),
            (None, ResponseKind::Duration, ElectronicsCutoff | ToolStall | ThermalCutout)
                if by_table.scored() =>
            {
                Ok(Outcome::FailedAtLoad)
            }
            (None, _, _) if by_table.scored() => Err(NoOutcome::NoReading(end)),
            _ => Ok(by_table),
        }
    }

    /// The band of that id.
    pub fn band(&self, id: &str) -> Option<&Band> {
        self.bands.iter().find(|band| band.id == id)
    }

    /// Label of the bin that holds `value`, canonical unit; see [`Band::bin_of`]. `None` for an unknown band too.
    pub fn bin_of(&self, band: &str, value: f64) -> Option<String> {
        self.band(band)?.bin_of(value)
    }

    /// Labels of a band's bins, ascending; none for an unknown band.
    pub fn bins(&self, band: &str) -> Vec<String> {
        self.band(band).map(Band::bins).unwrap_or_default()
    }

    /// Whether responses may be normalised so.
    ///
    /// # Errors
    /// Why not, as a clause.
    pub fn permits(&self, normalisation: Normalisation) -> Result<(), &str> {
        if self.normalisations.contains(&normalisation) {
            return Ok(());
        }
        let forbidden = self.forbidden.iter().find(|one| one.normalisation == normalisation);
        Err(forbidden.map_or("the method does not list it", |one| one.reason.as_str()))
    }

    /// The scatter that holds where the pool keys (by [`PoolKey::id`]) have these values: of the entries that fit, the
    /// one that asks for most; where several ask for as much, the widest. Where none fits, the widest of all, so that
    /// an unknown kind of work is never taken for a quiet one. `None` only for a method without scatter.
    pub fn scatter_for(&self, keys: &BTreeMap<String, String>) -> Option<&Scatter> {
        let wider = |one: &&Scatter, two: &&Scatter| one.range.max.total_cmp(&two.range.max);
        let fitting = self.scatter.iter().filter(|scatter| scatter.holds(keys));
        fitting
            .max_by(|one, two| one.holds_for.len().cmp(&two.holds_for.len()).then(wider(one, two)))
            .or_else(|| self.scatter.iter().max_by(wider))
    }

    /// Upper end of [`Self::scatter_for`]: CV, or sd in the canonical unit on the difference scale.
    pub fn scatter_upper_end(&self, keys: &BTreeMap<String, String>) -> Option<f64> {
        self.scatter_for(keys).map(|scatter| scatter.range.max)
    }

    /// Whether trials that begin in this state can be pooled.
    pub fn pools_starting_state(&self, state: &str) -> bool {
        self.starting_states.is_empty() || self.starting_states.iter().any(|one| one == state)
    }
}

impl Scatter {
    fn holds(&self, keys: &BTreeMap<String, String>) -> bool {
        self.holds_for.iter().all(|(key, values)| keys.get(key).is_some_and(|value| values.contains(value)))
    }
}

impl PoolKey {
    /// Name of the key in a stratum: `workpiece_family`, `tool_type` or the field.
    pub fn id(&self) -> &str {
        match self {
            Self::WorkpieceFamily => "workpiece_family",
            Self::ToolType => known::TOOL_TYPES,
            Self::Choice { field } => field,
        }
    }
}
