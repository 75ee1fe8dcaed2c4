//! What a response is divided by: one number a pack model, or a measured one a specimen.

use std::collections::BTreeMap;

use crate::id::{PackModelId, PackSpecimenId};
use crate::method::Normalisation;
use crate::pack::PackModel;
use crate::pool::question::Question;
use crate::pool::weigh::Skip;
use crate::trial::summary::ArmSummary;

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
    Model { ln_x: BTreeMap<PackModelId, f64>, rate: bool },
    /// Measured amounts of the specimens.
    Specimen(MeasuredAmounts),
    /// The same for all arms of a trial: cancels in a contrast.
    Trial,
}

impl Divisors {
    /// For the question's packs.
    ///
    /// # Errors
    /// [`NotNormalisable`] naming the descriptor that is missing.
    pub(super) fn of(
        question: &Question,
        packs: &BTreeMap<PackModelId, PackModel>,
        measured: &MeasuredAmounts,
    ) -> Result<Self, NotNormalisable> {
        use Normalisation as N;
        let Some(normalisation) = question.normalisation else { return Ok(Self::None) };
        match normalisation {
            N::PerMeasuredAh | N::PerMeasuredWh => return Ok(Self::Specimen(measured.clone())),
            N::PerHoleVolume | N::PerCutArea => return Ok(Self::Trial),
            N::PerWhDelivered => {
                return Err(NotNormalisable {
                    message: "rises per W.h delivered need the energy of each run, which this version does not pool: ask without normalisation".into(),
                });
            }
            _ => {}
        }
        let (a, b) = (packs.get(&question.pack_a), packs.get(&question.pack_b));
        if normalisation == N::PerPrice {
            same_price_terms(a, b)?;
        }
        let mut ln_x = BTreeMap::new();
        for (id, pack) in [(&question.pack_a, a), (&question.pack_b, b)] {
            let (name, value) = descriptor(normalisation, pack);
            let value = value.filter(|v| *v > 0.0).ok_or_else(|| NotNormalisable {
                message: format!(
                    "{} has no {name} on record: update the pack model, or ask without it",
                    id.name()
                ),
            })?;
            // Multiplying instead of dividing turns the sign of the logarithm.
            let sign = if normalisation == N::TimesRatedAh { -1.0 } else { 1.0 };
            ln_x.insert(id.clone(), sign * value.ln());
        }
        Ok(Self::Model { ln_x, rate: normalisation == N::PerKgOnRate })
    }

    /// Whether only arms of the pair can be divided.
    pub(super) fn pair_only(&self) -> bool {
        matches!(self, Self::Model { .. } | Self::Specimen(_))
    }

    /// Whether the sign of contrasts is turned: a rate is the inverse of a time.
    pub(super) fn as_rate(&self) -> bool {
        matches!(self, Self::Model { rate: true, .. })
    }

    /// ln(y/x) of an arm with its variance; uncertainties add on the log scale (JCGM 100:2008, 5.1.6).
    pub(super) fn apply(&self, arm: &ArmSummary, effect: f64, variance: f64) -> Result<(f64, f64), Skip> {
        match self {
            Self::None | Self::Trial => Ok((effect, variance)),
            Self::Model { ln_x, rate } => {
                let x = ln_x.get(&arm.pack_model).copied().unwrap_or_default();
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
        }
    }
}

fn descriptor(normalisation: Normalisation, pack: Option<&PackModel>) -> (&'static str, Option<f64>) {
    use Normalisation as N;
    let Some(pack) = pack else { return ("record", None) };
    let of = |q: &Option<crate::quantity::Quantity>| q.as_ref().map(crate::quantity::Quantity::canonical);
    match normalisation {
        N::PerRatedAh | N::TimesRatedAh => ("rated capacity", Some(pack.rated_capacity.canonical())),
        N::PerRatedWh => ("rated energy at nominal voltage", Some(pack.rated_energy_at_nominal())),
        N::PerKg | N::PerKgOnRate => ("mass", of(&pack.mass)),
        N::PerLitre => ("length, width and height", pack.volume_l()),
        N::PerPrice => ("price", pack.price.as_ref().map(crate::price::Price::value)),
        N::PerSeriesCell => ("series count", Some(f64::from(pack.series_count))),
        N::PerMeasuredAh | N::PerMeasuredWh | N::PerHoleVolume | N::PerCutArea | N::PerWhDelivered => {
            ("record", None)
        }
    }
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

/// Badge of a normalisation by what a label or a maker declares.
pub(super) fn by_label(normalisation: Normalisation) -> bool {
    matches!(
        normalisation,
        Normalisation::PerRatedAh | Normalisation::PerRatedWh | Normalisation::TimesRatedAh
    )
}
