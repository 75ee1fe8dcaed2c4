//! What a response is divided by: one number a pack model, or a measured one a specimen or an arm.

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::normalise as numbers;
use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::id::{PackModelId, PackSpecimenId};
use crate::method::{Method, Normalisation, known};
use crate::pack::PackModel;
use crate::pool::question::Question;
use crate::pool::weigh::Skip;
use crate::price::Price;
use crate::quantity::Quantity;
use crate::trial::summary::{ArmSummary, TrialSummary};

/// Fewest standard errors by which a rise must stand above zero to be divided: below, its logarithm has no normal error.
const LEAST_RISE: f64 = 3.0;

words!(
    /// What a divisor rests on.
    NormalisationBadge {
        /// What the label says, taken as exact.
        Label = "label",
        /// Measured by testers.
        Measured = "measured",
        /// What the record of the pack model declares, taken as exact.
        Declared = "declared",
        /// A price: of one day, currency and region.
        Price = "price",
    }
);

/// A measured amount of one specimen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// In A.h or W.h.
    pub value: f64,
    /// Relative standard uncertainty of the mean.
    pub relative_uncertainty: f64,
}

/// Measured capacities and energies by specimen, from accepted discharge trials.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct MeasuredAmounts(pub BTreeMap<PackSpecimenId, Measured>);

/// Measured amounts for each normalisation that divides by one.
pub type MeasuredBy = BTreeMap<Normalisation, MeasuredAmounts>;

/// What the responses of one pack were divided by.
#[derive(Debug, Clone, PartialEq)]
pub struct Divisor {
    /// The number; the geometric mean over specimens where it was measured.
    pub value: f64,
    /// Its UCUM code, or the ISO 4217 code of the currency.
    pub unit: String,
    /// Relative standard uncertainty of one specimen's number, the largest of them; `None` for a number that is taken as
    /// exact.
    pub relative_uncertainty: Option<f64>,
    /// Specimens measured; 0 for a number of the pack model.
    pub specimens: usize,
    /// Where it comes from, with region and date for a price.
    pub from: String,
}

/// Why a question cannot be normalised as asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct NotNormalisable {
    /// Names the pack, what is missing and what to do.
    pub message: String,
}

/// The divisors of a question.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Divisors {
    /// None.
    None,
    /// ln x of each pack of the pair; `rate` turns a time into a rate first.
    ///
    /// Other packs than those of the map: where `all` were asked about they lack the number; else their own cancels in the
    /// comparison of the pair, whatever it is, so that they count undivided.
    Model { ln_x: BTreeMap<PackModelId, f64>, rate: bool, all: bool },
    /// Measured amounts of the specimens.
    Specimen(MeasuredAmounts),
    /// Energy delivered in the very runs: a difference becomes a ratio of means.
    Energy,
    /// The same for all arms of a trial: cancels in a contrast.
    Trial,
    /// Nothing is divided, but of `pack` only a share counts: the difference to another pack is 0 where that comes to
    /// exactly the share.
    Share { pack: PackModelId, share: f64 },
}

impl Divisors {
    /// For the question's packs and any normalisation.
    ///
    /// # Errors
    /// [`NotNormalisable`] naming the descriptor that is missing.
    pub(super) fn by(
        normalisation: Option<Normalisation>,
        question: &Question,
        packs: &BTreeMap<PackModelId, PackModel>,
        measured: Option<&MeasuredAmounts>,
    ) -> Result<Self, NotNormalisable> {
        use Normalisation as N;
        let Some(normalisation) = normalisation else { return Ok(Self::None) };
        match normalisation {
            N::PerMeasuredAh | N::PerMeasuredWh => {
                return Ok(Self::Specimen(measured.cloned().unwrap_or_default()));
            }
            N::PerHoleVolume | N::PerCutArea => return Ok(Self::Trial),
            N::PerWhDelivered => return Ok(Self::Energy),
            _ => {}
        }
        let (a, b) = (packs.get(&question.pack_a), packs.get(&question.pack_b));
        if normalisation == N::PerPrice {
            same_price_terms(a, b)?;
        }
        let mut ln_x = BTreeMap::new();
        for (id, pack) in [(&question.pack_a, a), (&question.pack_b, b)] {
            ln_x.insert(id.clone(), ln_of(normalisation, id, pack)?);
        }
        Ok(Self::Model { ln_x, rate: normalisation == N::PerKgOnRate, all: false })
    }

    /// For all of `packs` at once, and those that lack what they are divided by. Prices are held against those of
    /// `reference`, else of the first pack with one.
    pub(super) fn of_all(
        normalisation: Option<Normalisation>,
        packs: &BTreeSet<&PackModelId>,
        reference: Option<&PackModelId>,
        models: &BTreeMap<PackModelId, PackModel>,
        measured: Option<&MeasuredAmounts>,
    ) -> (Self, Vec<(PackModelId, String)>) {
        use Normalisation as N;
        let none = Vec::new();
        let normalisation = match normalisation {
            None => return (Self::None, none),
            Some(N::PerMeasuredAh | N::PerMeasuredWh) => {
                return (Self::Specimen(measured.cloned().unwrap_or_default()), none);
            }
            Some(N::PerHoleVolume | N::PerCutArea) => return (Self::Trial, none),
            Some(N::PerWhDelivered) => return (Self::Energy, none),
            Some(other) => other,
        };
        let priced = |id: &&&PackModelId| models.get(**id).is_some_and(|pack| pack.price.is_some());
        let like = reference.or_else(|| packs.iter().find(priced).copied()).and_then(|id| models.get(id));
        let (mut ln_x, mut lacking) = (BTreeMap::new(), Vec::new());
        for id in packs {
            let pack = models.get(*id);
            let terms = if normalisation == N::PerPrice { same_price_terms(like, pack) } else { Ok(()) };
            match terms.and_then(|()| ln_of(normalisation, id, pack)) {
                Ok(value) => {
                    ln_x.insert((*id).clone(), value);
                }
                Err(missing) => lacking.push(((*id).clone(), missing.message)),
            }
        }
        (Self::Model { ln_x, rate: normalisation == N::PerKgOnRate, all: true }, lacking)
    }

    /// Whether only arms of the pair tell anything.
    pub(super) fn pair_only(&self) -> bool {
        matches!(self, Self::Share { .. })
    }

    /// Whether an arm of another pack may be left out of a trial where it cannot be divided.
    pub(super) fn may_lack(&self) -> bool {
        matches!(self, Self::Model { .. } | Self::Specimen(_) | Self::Energy)
    }

    /// Whether the sign of contrasts is turned: a rate is the inverse of a time.
    pub(super) fn as_rate(&self) -> bool {
        matches!(self, Self::Model { rate: true, .. })
    }

    /// Whether a difference is told as a ratio.
    pub(super) fn as_ratio(&self) -> bool {
        matches!(self, Self::Energy)
    }

    /// Whether contrasts are those of the readings themselves.
    pub(super) fn leaves_readings(&self) -> bool {
        matches!(self, Self::None | Self::Trial)
    }

    /// Whether a trial can be divided at all.
    ///
    /// # Errors
    /// The reason why not.
    pub(super) fn fits(&self, trial: &TrialSummary) -> Result<(), Skip> {
        let basis = trial.keys.get(known::TEMPERATURE_BASIS);
        if self.as_ratio() && basis.is_some_and(|basis| basis != known::FIXED_WORK) {
            return Err((
                "NOT_FIXED_WORK",
                "a rise over energy compares packs after the same work only".to_owned(),
            ));
        }
        Ok(())
    }

    /// ln(y/x) of an arm with its variance; uncertainties add on the log scale (JCGM 100:2008, 5.1.6).
    ///
    /// A rise over energy is the ratio of the means of both over the same runs: `ln(Δ/E)` with variance
    /// `v_Δ/Δ² + v_E/E²`. The runs that warm a pack more also draw more energy, so the covariance left out would only make
    /// it smaller.
    pub(super) fn apply(&self, arm: &ArmSummary, effect: f64, variance: f64) -> Result<(f64, f64), Skip> {
        match self {
            Self::Model { ln_x, rate, all } => {
                let x = match ln_x.get(&arm.pack_model) {
                    Some(x) => *x,
                    None if *all => {
                        return Err((
                            "NO_DESCRIPTOR",
                            "a pack has no number on record to divide by".to_owned(),
                        ));
                    }
                    None => 0.0,
                };
                Ok((if *rate { -effect } else { effect } - x, variance))
            }
            Self::Specimen(amounts) => {
                let measured = amounts.0.get(&arm.specimen).ok_or_else(|| {
                    (
                        "NO_MEASURED_CAPACITY",
                        "no accepted discharge trial measured the capacity of one of its specimens"
                            .to_owned(),
                    )
                })?;
                Ok((
                    effect - measured.value.ln(),
                    variance + measured.relative_uncertainty * measured.relative_uncertainty,
                ))
            }
            Self::Energy => per_energy(arm, effect, variance),
            Self::Share { pack, share } if arm.pack_model == *pack => {
                Ok((share * effect, share * share * variance))
            }
            Self::None | Self::Trial | Self::Share { .. } => Ok((effect, variance)),
        }
    }
}

fn per_energy(arm: &ArmSummary, rise: f64, variance: f64) -> Result<(f64, f64), Skip> {
    let energy = arm.energy.ok_or_else(|| {
        ("NO_ENERGY_DELIVERED", "the energy delivered is not recorded for every run".to_owned())
    })?;
    if energy.runs < 2 {
        return Err((
            "ENERGY_ONCE",
            "one run of a pack only: how its energy scatters is not known".to_owned(),
        ));
    }
    if rise < LEAST_RISE * variance.sqrt() {
        return Err((
            "RISE_NEAR_ZERO",
            "a mean rise lies within three standard errors of zero: divided, it would say nothing".to_owned(),
        ));
    }
    let n = f64::from(energy.runs);
    let (rise_u, energy_u) = (variance.sqrt() / rise, (energy.squares / (n * (n - 1.0))).sqrt());
    let divided = numbers::Measured::new(rise, rise_u)
        .and_then(|rise| rise.per(&numbers::Measured::new(energy.mean_wh, energy_u)?));
    divided
        .map(|ratio| (ratio.value.ln(), ratio.relative_uncertainty.powi(2)))
        .map_err(|why| ("NOT_COMPUTABLE", why.to_string()))
}

/// ln x of a pack.
fn ln_of(
    normalisation: Normalisation,
    id: &PackModelId,
    pack: Option<&PackModel>,
) -> Result<f64, NotNormalisable> {
    let (name, divisor) = descriptor(normalisation, pack);
    let value = divisor.map(|d| d.value).filter(|v| *v > 0.0).ok_or_else(|| NotNormalisable {
        message: format!("{} has no {name} on record: update the pack model, or ask without it", id.name()),
    })?;
    // Multiplying instead of dividing turns the sign of the logarithm.
    let sign = if normalisation == Normalisation::TimesRatedAh { -1.0 } else { 1.0 };
    Ok(sign * value.ln())
}

/// The number of a pack model, and what it is called.
fn descriptor(normalisation: Normalisation, pack: Option<&PackModel>) -> (&'static str, Option<Divisor>) {
    use Normalisation as N;
    let Some(pack) = pack else { return ("record", None) };
    let of = |q: &Option<Quantity>| q.as_ref().map(Quantity::canonical);
    let number = |value: f64, unit: &str, from: &str| Divisor {
        value,
        unit: unit.to_owned(),
        relative_uncertainty: None,
        specimens: 0,
        from: from.to_owned(),
    };
    let declared = |value: Option<f64>, unit| value.map(|v| number(v, unit, "declared for the pack model"));
    match normalisation {
        N::PerRatedAh | N::TimesRatedAh => {
            ("rated capacity", Some(number(pack.rated_capacity.canonical(), "A.h", "label")))
        }
        N::PerRatedWh => (
            "rated energy at nominal voltage",
            Some(number(pack.rated_energy_at_nominal(), "W.h", "label, at nominal voltage")),
        ),
        N::PerKg | N::PerKgOnRate => ("mass", declared(of(&pack.mass), "kg")),
        N::PerLitre => ("length, width and height", declared(pack.volume_l(), "L")),
        N::PerPrice => ("price", pack.price.as_ref().map(|p| number(p.value(), &p.currency, &seen(p)))),
        N::PerSeriesCell => ("series count", declared(Some(f64::from(pack.series_count)), "1")),
        N::PerMeasuredAh | N::PerMeasuredWh | N::PerHoleVolume | N::PerCutArea | N::PerWhDelivered => {
            ("record", None)
        }
    }
}

fn seen(price: &Price) -> String {
    format!("seen in {} on {}", price.region, price.date)
}

/// What an answer to the question takes from its packs, for each normalisation that it tells.
pub(super) type Descriptors = Vec<(Result<Divisors, NotNormalisable>, [Option<Divisor>; 2])>;

/// What `question` takes from `packs`: for its own normalisation, and for every permitted one where it asks for them.
pub(super) fn descriptors(
    question: &Question,
    method: &Method,
    packs: &BTreeMap<PackModelId, PackModel>,
) -> Descriptors {
    let all = if question.all_normalisations { method.normalisations.as_slice() } else { &[] };
    let asked = std::iter::once(question.normalisation).chain(all.iter().copied().map(Some));
    asked
        .map(|one| {
            let told = |id| one.and_then(|one| divisor(one, id, packs, None, std::iter::empty()));
            (Divisors::by(one, question, packs, None), [told(&question.pack_a), told(&question.pack_b)])
        })
        .collect()
}

/// What the responses of `pack` are divided by, as told beside the answer; `None` where each trial has its own.
pub(super) fn divisor<'a>(
    normalisation: Normalisation,
    id: &PackModelId,
    packs: &BTreeMap<PackModelId, PackModel>,
    measured: Option<&MeasuredAmounts>,
    arms: impl Iterator<Item = &'a ArmSummary>,
) -> Option<Divisor> {
    let unit = match normalisation {
        Normalisation::PerMeasuredAh => "A.h",
        Normalisation::PerMeasuredWh => "W.h",
        other => return descriptor(other, packs.get(id)).1,
    };
    let own: BTreeMap<&PackSpecimenId, &Measured> = arms
        .filter(|arm| arm.pack_model == *id)
        .filter_map(|arm| Some((&arm.specimen, measured?.0.get(&arm.specimen)?)))
        .collect();
    let count = own.len();
    (count > 0).then(|| Divisor {
        value: (own.values().map(|m| m.value.ln()).sum::<f64>() / count as f64).exp(),
        unit: unit.to_owned(),
        relative_uncertainty: own.values().map(|m| m.relative_uncertainty).reduce(f64::max),
        specimens: count,
        from: "accepted discharges of the specimens".to_owned(),
    })
}

fn same_price_terms(a: Option<&PackModel>, b: Option<&PackModel>) -> Result<(), NotNormalisable> {
    let price = |pack: Option<&PackModel>| pack.and_then(|p| p.price.clone());
    if let (Some(a), Some(b)) = (price(a), price(b))
        && (a.currency != b.currency || a.region != b.region || a.date.year() != b.date.year())
    {
        return Err(NotNormalisable {
            message: format!(
                "prices are of {} {} {} and {} {} {}: they are never converted, so record both in one currency, region and year",
                a.currency,
                a.region,
                a.date.year(),
                b.currency,
                b.region,
                b.date.year()
            ),
        });
    }
    Ok(())
}

/// What a divisor rests on.
pub fn badge(normalisation: Normalisation) -> NormalisationBadge {
    use Normalisation as N;
    match normalisation {
        N::PerRatedAh | N::PerRatedWh | N::TimesRatedAh => NormalisationBadge::Label,
        N::PerMeasuredAh | N::PerMeasuredWh | N::PerHoleVolume | N::PerCutArea | N::PerWhDelivered => {
            NormalisationBadge::Measured
        }
        N::PerKg | N::PerKgOnRate | N::PerLitre | N::PerSeriesCell => NormalisationBadge::Declared,
        N::PerPrice => NormalisationBadge::Price,
    }
}
