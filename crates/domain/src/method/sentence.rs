//! What must be alike and what is pooled together, as sentences for people. The predicates decide; these only tell.

use super::band::{Band, BandOn};
use super::catalogue::Catalogue;
use super::file::{Method, PoolKey, SameWithinTrial};
use super::known;
use crate::quantity::Dimension;

impl Catalogue {
    /// What must be alike in all arms of a trial: one sentence for all that is simply equal, then one a rule.
    pub fn same_within_trial(&self, method: &Method) -> Vec<String> {
        let rules = &method.same_within_trial;
        let equal: Vec<String> = rules.iter().filter_map(|rule| self.equal(rule)).collect();
        let first = (!equal.is_empty()).then(|| format!("Same for every pack: {}", equal.join("; ")));
        first.into_iter().chain(rules.iter().filter_map(|rule| self.alike(rule))).collect()
    }

    /// What trials must share to be pooled, one sentence each.
    pub fn pooled_by(&self, method: &Method) -> Vec<String> {
        let mut lines = vec![format!("Same method and version: {}", method.reference())];
        lines.extend(method.pool_keys.iter().map(|key| self.shared(key)));
        lines.extend(method.bands.iter().map(|band| self.banded(band)));
        if !method.starting_states.is_empty() {
            let states: Vec<&str> = method
                .starting_states
                .iter()
                .map(|id| self.choice_label(known::STARTING_STATE, id))
                .collect();
            lines.push(format!("{}: {}", self.label(known::STARTING_STATE), states.join("; or ")));
        }
        if let Some(indicative) = &method.indicative {
            let tools: Vec<&str> =
                indicative.tool_types.iter().map(|id| self.choice_label(known::TOOL_TYPES, id)).collect();
            lines.push(format!(
                "Indicative only, kept and not pooled: {}: {}",
                tools.join(", "),
                indicative.reason
            ));
        }
        if method.uses(known::DEMAND_CLASS) {
            lines.push("Demand classes are answered apart".to_owned());
        }
        lines.push(if method.pools_levels {
            "Contrasts between packs of one trial are pooled, and levels too".to_owned()
        } else {
            "Only contrasts between packs of one trial are pooled, never levels".to_owned()
        });
        lines
    }

    fn equal(&self, rule: &SameWithinTrial) -> Option<String> {
        match rule {
            SameWithinTrial::Equal { field } => Some(lower_first(self.label(field))),
            _ => None,
        }
    }

    fn alike(&self, rule: &SameWithinTrial) -> Option<String> {
        let sentence = match rule {
            SameWithinTrial::Equal { .. } => return None,
            SameWithinTrial::SameOrFreshAccessory => {
                "Same bit, blade or chain for every pack, or ones of the same type that have done as much work".into()
            }
            SameWithinTrial::PerRatedCapacity { field, within } => {
                format!("{} over rated capacity: alike within {} %", self.label(field), percent(*within))
            }
            SameWithinTrial::PerSeriesCell { field, difference } => {
                format!("{} per series cell: alike within {difference} {}", self.label(field), self.apart_in(field))
            }
            SameWithinTrial::Within { field, difference } => {
                format!("{}: at most {difference} {} apart between packs", self.label(field), self.apart_in(field))
            }
            SameWithinTrial::WithinShare { field, within } => {
                format!("{}: at most {} % apart between packs", self.label(field), percent(*within))
            }
            SameWithinTrial::WithinShareOfFirst { fields, within, only_for } => {
                let labels: Vec<&str> = fields.iter().map(|field| self.label(field)).collect();
                let case = only_for.as_ref().map_or_else(String::new, |is| {
                    let list = self.field(&is.field).and_then(|field| field.choices.as_deref());
                    let choice = list.map_or(is.choice.as_str(), |list| self.choice_label(list, &is.choice));
                    format!(" (where \"{}\" is \"{choice}\")", self.label(&is.field))
                });
                format!("{}: at most {} % apart between packs{case}", labels.join(", or else "), percent(*within))
            }
            SameWithinTrial::ToolOrLoad { field, within } => format!(
                "One tool for every pack, or a load whose {} is alike within {} %",
                lower_first(self.label(field)),
                percent(*within)
            ),
            SameWithinTrial::UsedChargeAlike { fine_points, most_points } => format!(
                "Runs of every pack made with as much of its charge used: up to {fine_points} points apart is fine, \
                 beyond {most_points} the trial is kept but not pooled"
            ),
        };
        Some(sentence)
    }

    fn shared(&self, key: &PoolKey) -> String {
        match key {
            PoolKey::WorkpieceFamily => {
                format!("Same family of workpiece: {}", self.families(known::WORKPIECE_CLASS).join(", "))
            }
            PoolKey::ToolType => "Same type of tool".to_owned(),
            PoolKey::Choice { field } => format!("Same in all trials: {}", lower_first(self.label(field))),
        }
    }

    fn banded(&self, band: &Band) -> String {
        let bins = match band.bins().as_slice() {
            [only] => format!("{}: {only}", self.band_label(band)),
            bins => format!("{} in bins: {}", self.band_label(band), bins.join(", ")),
        };
        let centre = band
            .factor
            .map(|factor| format!("or within a factor {factor} of a centre that the question states"));
        let outside = band.only.map(|_| "outside, a trial is kept but not pooled".to_owned());
        let missing =
            band.may_be_missing.then(|| "a trial without this value is kept but not pooled".to_owned());
        [Some(bins), centre, outside, missing].into_iter().flatten().collect::<Vec<String>>().join("; ")
    }

    /// What a band is on, in words.
    pub fn band_label(&self, band: &Band) -> String {
        match &band.on {
            BandOn::Field(field) => self.label(field).to_owned(),
            BandOn::Product(one, other) => {
                format!("{} times {}", self.label(one), lower_first(self.label(other)))
            }
            BandOn::MeanPower => {
                format!("{}, measured or that of the work", self.label(known::MEAN_INPUT_POWER))
            }
            BandOn::PerRatedCapacity(field) => format!("{} over rated capacity", self.label(field)),
        }
    }

    fn label<'a>(&'a self, field: &'a str) -> &'a str {
        self.field(field).map_or(field, |known| known.label.as_str())
    }

    fn choice_label<'a>(&'a self, list: &str, id: &'a str) -> &'a str {
        self.choice(list, id).map_or(id, |choice| choice.label.as_str())
    }

    /// The unit of a difference of the field.
    fn apart_in(&self, field: &str) -> &'static str {
        let dimension =
            self.field(field).and_then(|known| known.measure.as_ref()).map(|known| known.dimension);
        match dimension {
            Some(Dimension::Temperature) => Dimension::TemperatureDifference.canonical().symbol,
            Some(Dimension::Ratio) => "percentage points",
            Some(other) => other.canonical().symbol,
            None => "",
        }
    }
}

fn percent(share: f64) -> f64 {
    // Shares of the files are round numbers of percent: the third decimal is rounding.
    (share * 1e5).round() / 1e3
}

fn lower_first(label: &str) -> String {
    let mut letters = label.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}
