//! The normalisation strip: one comparison, divided by everything that its method permits.

use benchring_api::v1;
use benchring_api::v1::Normalisation as N;

use super::compared::{Asked, Pooled};
use super::invented::packs::Pack;
use super::invented::{PACKS, REFERENCE, work};

/// The comparison of the strip: work and pack.
pub const OF: (usize, &str) = (work::CUTS, "L5P");

/// Words for what is divided by.
fn words(by: N) -> &'static str {
    match by {
        N::Unspecified => "as counted",
        N::PerMeasuredAh => "per measured A.h",
        N::PerMeasuredWh => "per measured W.h",
        N::PerRatedAh => "per A.h on the label",
        N::PerRatedWh => "per W.h on the label",
        N::PerKg => "per kilogram",
        N::PerLitre => "per litre",
        N::PerPrice => "per euro",
        other => other.as_str_name(),
    }
}

/// The comparison.
pub fn asked() -> Option<Asked> {
    let pack_b = PACKS.iter().position(|pack| pack.code == OF.1)?;
    Some(Asked { work: OF.0, pack_b })
}

/// The question.
pub fn request(asked: Asked) -> v1::ComparePacksRequest {
    v1::ComparePacksRequest { all_normalisations: true, ..asked.request() }
}

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Words for what it is divided by.
    pub by: &'static str,
    /// The answer; `None` where there is none.
    pub pooled: Option<Pooled>,
    /// The true ratio.
    pub truth: Option<f64>,
    /// What the divisor rests on.
    pub badge: &'static str,
    /// What is missing where there is no answer.
    pub missing: String,
}

/// The rows of the leading stratum. `raw` is the true ratio before anything is divided.
pub fn rows(asked: Asked, raw: Option<f64>, answer: &v1::ComparePacksResponse) -> Vec<Row> {
    let bars = answer.strata.first().into_iter().flat_map(|stratum| &stratum.normalisations);
    bars.map(|bar| {
        let (by, badge) = bar
            .normalised
            .as_ref()
            .map_or_else(Default::default, |normalised| (normalised.normalisation(), normalised.badge()));
        Row {
            by: words(by),
            pooled: bar.effect.as_ref().and_then(|effect| Pooled::of_effect(effect, bar.direction())),
            truth: truth(raw, asked, by),
            badge: badge_words(badge),
            missing: bar.missing.clone(),
        }
    })
    .collect()
}

fn badge_words(badge: v1::NormalisationBadge) -> &'static str {
    match badge {
        v1::NormalisationBadge::Unspecified => "",
        v1::NormalisationBadge::Label => "label",
        v1::NormalisationBadge::Measured => "measured",
        v1::NormalisationBadge::Declared => "declared",
        v1::NormalisationBadge::Price => "price",
    }
}

/// The true ratio once divided.
pub fn truth(raw: Option<f64>, asked: Asked, by: N) -> Option<f64> {
    let (a, b) = (&PACKS[REFERENCE], &PACKS[asked.pack_b]);
    let ratio = |of: fn(&Pack) -> f64| of(b) / of(a);
    let divisor = match by {
        N::PerMeasuredAh => ratio(|pack| pack.true_ah),
        // At one fifth of the reference current hardly any voltage is lost, and both have five cells in series.
        N::PerMeasuredWh => return None,
        N::PerRatedAh => ratio(|pack| pack.rated_ah),
        N::PerRatedWh => ratio(|pack| pack.rated_ah * 18.0),
        N::PerKg => ratio(|pack| pack.mass_kg),
        N::PerLitre => ratio(|pack| pack.size_mm.iter().product()),
        N::PerPrice => ratio(|pack| pack.price_eur.parse().unwrap_or(f64::NAN)),
        _ => 1.0,
    };
    raw.map(|raw| raw / divisor).filter(|ratio| ratio.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_winner_flips() {
        let of = |by| truth(Some(1.176), asked().unwrap(), by).unwrap();
        assert!((of(N::PerKg) - 1.252).abs() < 0.001);
        assert!((of(N::PerRatedAh) - 1.176).abs() < 1e-12);
        assert!((of(N::PerPrice) - 0.894).abs() < 0.001);
        assert!(of(N::Unspecified) > 1.0 && of(N::PerPrice) < 1.0);
    }
}
