//! A question about two packs.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::id::{MethodRef, PackModelId};
use crate::method::{Catalogue, Method, Normalisation, known};
use crate::quantity::{Quantity, Written};
use crate::violation::Violations;

words!(
    /// How the variance of a reading is found.
    Variance {
        /// Shrunk towards the other trials of the method (Smyth 2004).
        Moderated = "moderated",
        /// One variance for all trials of the method.
        Pooled = "pooled",
        /// Each arm's own.
        Own = "own",
    }
);

words!(
    /// How the spread between testers is estimated.
    Heterogeneity {
        /// Restricted maximum likelihood.
        Reml = "reml",
        /// Paule and Mandel.
        Pm = "pm",
        /// `DerSimonian` and Laird.
        Dl = "dl",
        /// None: fixed effect.
        Fe = "fe",
    }
);

words!(
    /// How the interval is made.
    IntervalMethod {
        /// Hartung and Knapp, never narrower than the normal interval.
        HkCi = "hk_ci",
        /// Hartung and Knapp.
        Hk = "hk",
        /// Hartung and Knapp with the scale factor at least 1.
        HkSe = "hk_se",
        /// Normal.
        Z = "z",
    }
);

words!(
    /// Whether one tester's precision is capped.
    VoteCap {
        /// At that of the median voting unit.
        Median = "median",
        /// Not at all.
        None = "none",
    }
);

words!(
    /// Whether charges of one pack differ.
    ChargeVarianceModel {
        /// A variance between charges, beside the one between runs.
        Components = "components",
        /// None: all runs are independent.
        None = "none",
    }
);

words!(
    /// How the variance prior of the method is made.
    PriorModel {
        /// The fit, blended with the method's assumption while trials are few.
        Blend = "blend",
        /// The fit alone.
        Fit = "fit",
    }
);

words!(
    /// Whether intervals allow for the bias of blocked orders.
    OrderBiasModel {
        /// By the largest drift held possible.
        Bound = "bound",
        /// Not at all.
        None = "none",
    }
);

/// How an answer is computed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Options {
    /// Variance of a reading.
    pub variance: Variance,
    /// Spread between testers.
    pub heterogeneity: Heterogeneity,
    /// Interval.
    pub interval: IntervalMethod,
    /// Vote cap.
    pub vote_cap: VoteCap,
    /// Level of intervals, 0.80 to 0.999.
    pub level: f64,
    /// Variance between charges.
    pub charge_variance: ChargeVarianceModel,
    /// Variance prior.
    pub prior: PriorModel,
    /// Bias of blocked orders.
    pub order_bias: OrderBiasModel,
    /// Step of the instrument in the canonical unit of the response; `None` takes the last digit as written, 0 none.
    pub resolution: Option<f64>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            variance: Variance::Moderated,
            heterogeneity: Heterogeneity::Reml,
            interval: IntervalMethod::HkCi,
            vote_cap: VoteCap::Median,
            level: 0.95,
            charge_variance: ChargeVarianceModel::Components,
            prior: PriorModel::Blend,
            order_bias: OrderBiasModel::Bound,
            resolution: None,
        }
    }
}

impl Options {
    /// The step of the instrument as `OptionsDraft` takes it; `unit` is that of the response.
    pub fn resolution_text(&self, unit: &str) -> String {
        match self.resolution {
            None => String::new(),
            Some(0.0) => "0".to_owned(),
            Some(step) => format!("{step} {unit}"),
        }
    }
}

/// The options as sent; what is left out reads as the default.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OptionsDraft {
    /// Variance of a reading.
    pub variance: Option<Variance>,
    /// Spread between testers.
    pub heterogeneity: Option<Heterogeneity>,
    /// Interval.
    pub interval: Option<IntervalMethod>,
    /// Vote cap.
    pub vote_cap: Option<VoteCap>,
    /// Level; 0 reads as the default.
    pub level: f64,
    /// Variance between charges.
    pub charge_variance: Option<ChargeVarianceModel>,
    /// Variance prior.
    pub prior: Option<PriorModel>,
    /// Bias of blocked orders.
    pub order_bias: Option<OrderBiasModel>,
    /// Step of the instrument with its unit, such as "0.01 s"; "0" for none, empty for the last digit as written.
    pub resolution: String,
}

impl OptionsDraft {
    /// Reads all parts, in the paths of `PoolOptions`; `method` says in what the resolution is.
    pub fn check(&self, method: Option<&Method>, broken: &mut Violations) -> Options {
        let default = Options::default();
        let level = if self.level == 0.0 { default.level } else { self.level };
        if !(0.80..=0.999).contains(&level) {
            broken.add(
                "options.level_ratio",
                "OUT_OF_LIMITS",
                format!("a level of {level} is outside 0.80 to 0.999: write 0.95 for 95 %"),
            );
        }
        Options {
            variance: self.variance.unwrap_or(default.variance),
            heterogeneity: self.heterogeneity.unwrap_or(default.heterogeneity),
            interval: self.interval.unwrap_or(default.interval),
            vote_cap: self.vote_cap.unwrap_or(default.vote_cap),
            level,
            charge_variance: self.charge_variance.unwrap_or(default.charge_variance),
            prior: self.prior.unwrap_or(default.prior),
            order_bias: self.order_bias.unwrap_or(default.order_bias),
            resolution: method.and_then(|method| self.resolution(method, broken)),
        }
    }

    fn resolution(&self, method: &Method, broken: &mut Violations) -> Option<f64> {
        let path = "options.resolution";
        let text = self.resolution.trim();
        match text {
            "" => return None,
            "0" => return Some(0.0),
            _ => {}
        }
        let written = Written { value: None, unit: "", as_written: text };
        match Quantity::read(method.response.measure.dimension, None, &written) {
            Ok(step) if step.canonical() > 0.0 => Some(step.canonical()),
            Ok(_) => {
                let message = format!(
                    "a step of `{}` is none: write one above 0, or 0 alone for none",
                    crate::id::shortened(text)
                );
                broken.add(path, "OUT_OF_LIMITS", message);
                None
            }
            Err(unreadable) => {
                broken.add(path, unreadable.code, unreadable.message);
                None
            }
        }
    }
}

/// Which evidence a question is about; what is open leaves its side open.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Scope {
    /// Demand class, as the catalogue names it.
    pub demand_class: Option<String>,
    /// Type of tool.
    pub tool_type: Option<String>,
    /// Family of the workpiece.
    pub workpiece_family: Option<String>,
    /// Centres of bands in canonical units, in place of the fixed bins.
    pub centres: BTreeMap<String, f64>,
    /// Only trials whose demand class was measured.
    #[serde(default)]
    pub measured_class_only: bool,
}

/// How pack B compares with pack A.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Question {
    /// Method version.
    pub method: MethodRef,
    /// Pack compared against.
    pub pack_a: PackModelId,
    /// Pack asked about.
    pub pack_b: PackModelId,
    /// Evidence.
    pub scope: Scope,
    /// What the response is divided by.
    pub normalisation: Option<Normalisation>,
    /// Whether one number over the demand classes is asked for.
    #[serde(default)]
    pub overall: bool,
    /// Whether the headline is asked for in every normalisation.
    #[serde(default)]
    pub all_normalisations: bool,
    /// Computation.
    pub options: Options,
    /// As of this sequence; `None` for now.
    pub data_version: Option<i64>,
}

/// The centre of a band as sent.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CentreDraft {
    /// Id of the band.
    pub band: String,
    /// The centre with its unit.
    pub centre: String,
}

/// A question as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct QuestionDraft {
    /// Resource name of the method version.
    pub method: String,
    /// Resource name of the pack compared against.
    pub pack_a: String,
    /// Resource name of the pack asked about.
    pub pack_b: String,
    /// Demand class, empty for any.
    pub demand_class: String,
    /// Type of tool, empty for any.
    pub tool_type: String,
    /// Family of the workpiece, empty for any.
    pub workpiece_family: String,
    /// Centres.
    pub centres: Vec<CentreDraft>,
    /// Only trials whose demand class was measured.
    pub measured_class_only: bool,
    /// Whether one number over the demand classes is asked for.
    pub overall: bool,
    /// Whether the headline is asked for in every normalisation.
    pub all_normalisations: bool,
    /// What the response is divided by.
    pub normalisation: Option<Normalisation>,
    /// How it is computed.
    pub options: OptionsDraft,
    /// As of this sequence.
    pub data_version: Option<i64>,
}

impl QuestionDraft {
    /// Reads and judges all parts, in the paths of `ComparePacksRequest`.
    ///
    /// # Errors
    /// Every broken rule.
    pub fn check(self, catalogue: &Catalogue) -> Result<Question, Violations> {
        let mut broken = Violations::default();
        let method = method_of(&self.method, catalogue, &mut broken);
        let pack_a = pack_of("pack_a", &self.pack_a, &mut broken);
        let pack_b = pack_of("pack_b", &self.pack_b, &mut broken);
        if let (Some(a), Some(b)) = (&pack_a, &pack_b)
            && a == b
        {
            broken.add("pack_b", "SAME_PACK", format!("`{}` stands on both sides: name two packs", a.name()));
        }
        let (scope, options) = self.shared(method, catalogue, &mut broken);
        let (Some(method), Some(pack_a), Some(pack_b)) = (method, pack_a, pack_b) else {
            return Err(broken);
        };
        broken.finish(Question {
            method: method.reference(),
            pack_a,
            pack_b,
            scope,
            normalisation: self.normalisation,
            overall: self.overall,
            all_normalisations: self.all_normalisations,
            options,
            data_version: self.data_version,
        })
    }

    /// Reads and judges what every question of a method has, whatever packs it is about: scope, normalisation, options and
    /// version.
    pub(super) fn shared(
        &self,
        method: Option<&Method>,
        catalogue: &Catalogue,
        broken: &mut Violations,
    ) -> (Scope, Options) {
        let options = self.options.check(method, broken);
        let demand_class = Self::choice("demand_class", &self.demand_class, catalogue, broken);
        let centres = self.centres(method, broken);
        if let (Some(method), Some(normalisation)) = (method, self.normalisation) {
            check_normalisation(method, normalisation, broken);
        }
        if let Some(method) = method {
            self.classes(method, broken);
        }
        let tool_type = Self::choice("tool_type", &self.tool_type, catalogue, broken);
        let workpiece_family = (!self.workpiece_family.is_empty()).then(|| self.workpiece_family.clone());
        if self.data_version.is_some_and(|v| v < 0) {
            broken.add(
                "data_version",
                "NEGATIVE",
                "a data_version counts from 0: leave it out for the present",
            );
        }
        let scope = Scope {
            demand_class,
            tool_type,
            workpiece_family,
            centres,
            measured_class_only: self.measured_class_only,
        };
        (scope, options)
    }

    /// What asks for demand classes needs a method that has them.
    fn classes(&self, method: &Method, broken: &mut Violations) {
        let asked = [
            ("scope.measured_class_only", self.measured_class_only),
            ("overall_across_classes", self.overall),
        ];
        for (field, _) in asked.into_iter().filter(|(_, asked)| *asked && !method.uses(known::DEMAND_CLASS)) {
            broken.add(
                field,
                "NO_DEMAND_CLASS",
                format!("{} knows no demand class: leave it out", method.reference()),
            );
        }
        if self.overall && !self.demand_class.is_empty() {
            broken.add(
                "overall_across_classes",
                "ONE_CLASS_ONLY",
                format!("the scope holds class {} alone: leave out one of the two", self.demand_class),
            );
        }
    }

    fn choice(list: &str, text: &str, catalogue: &Catalogue, broken: &mut Violations) -> Option<String> {
        if text.is_empty() {
            return None;
        }
        let choices = catalogue.choices(list);
        if !choices.iter().any(|c| c.id == text) {
            let known: Vec<_> = choices.iter().map(|c| c.id.as_str()).collect();
            broken.add(
                format!("scope.{list}"),
                "UNKNOWN_CHOICE",
                format!("`{}` is none of {}", crate::id::shortened(text), known.join(", ")),
            );
        }
        Some(text.to_owned())
    }

    fn centres(&self, method: Option<&Method>, broken: &mut Violations) -> BTreeMap<String, f64> {
        let mut centres = BTreeMap::new();
        let Some(method) = method else { return centres };
        for (i, draft) in self.centres.iter().enumerate() {
            let path = format!("scope.centres[{i}]");
            let band = method.bands.iter().find(|b| b.id == draft.band && b.factor.is_some());
            let Some(band) = band else {
                let known: Vec<_> =
                    method.bands.iter().filter(|b| b.factor.is_some()).map(|b| b.id.as_str()).collect();
                broken.add(
                    format!("{path}.band"),
                    "UNKNOWN_BAND",
                    format!(
                        "`{}` takes no centre in {}: {}",
                        crate::id::shortened(&draft.band),
                        method.reference(),
                        if known.is_empty() {
                            "none does".to_owned()
                        } else {
                            format!("use {}", known.join(", "))
                        }
                    ),
                );
                continue;
            };
            let written = Written { value: None, unit: "", as_written: &draft.centre };
            match Quantity::read(band.dimension, None, &written) {
                Ok(centre) if centre.canonical() > 0.0 => {
                    if centres.insert(band.id.clone(), centre.canonical()).is_some() {
                        broken.add(format!("{path}.band"), "GIVEN_TWICE", "name each band once");
                    }
                }
                Ok(_) => broken.add(
                    format!("{path}.centre"),
                    "OUT_OF_LIMITS",
                    format!("`{}` is no centre: write a size above 0", crate::id::shortened(&draft.centre)),
                ),
                Err(unreadable) => broken.add(format!("{path}.centre"), unreadable.code, unreadable.message),
            }
        }
        centres
    }
}

/// The method version of that name; what is wrong with the name is noted at `method`.
pub(crate) fn method_of<'a>(
    name: &str,
    catalogue: &'a Catalogue,
    broken: &mut Violations,
) -> Option<&'a Method> {
    let reference = match MethodRef::from_name(name) {
        Ok(reference) => reference,
        Err(wrong) => {
            broken.add("method", "NOT_A_NAME", wrong.to_string());
            return None;
        }
    };
    let method = catalogue.method(&reference);
    if method.is_none() {
        broken.add(
            "method",
            "UNKNOWN_METHOD",
            format!("there is no method version {}: {}", reference.name(), catalogue.instead_of(&reference)),
        );
    }
    method
}

fn pack_of(field: &str, name: &str, broken: &mut Violations) -> Option<PackModelId> {
    PackModelId::from_name(name).map_err(|wrong| broken.add(field, "NOT_A_NAME", wrong.to_string())).ok()
}

fn check_normalisation(method: &Method, asked: Normalisation, broken: &mut Violations) {
    let Err(reason) = method.permits(asked) else { return };
    let allowed: Vec<_> = method.normalisations.iter().map(|n| n.id()).collect();
    broken.add(
        "normalisation",
        "NOT_NORMALISABLE",
        format!(
            "`{}` is not allowed for {}: {reason}; {}",
            asked.id(),
            method.reference(),
            if allowed.is_empty() {
                "leave it out".to_owned()
            } else {
                format!("leave it out, or use {}", allowed.join(", "))
            }
        ),
    );
}
