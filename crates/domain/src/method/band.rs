//! Bands: numbers that separate what is pooled. Fixed bins are strata; a question may state a centre instead.

use serde::{Deserialize, Serialize};

use super::dictionary::Limits;
use super::known;
use crate::quantity::{Dimension, Unit};

/// Square millimetres in the canonical unit of area, cm2: exact.
pub(super) const SQUARE_MM_IN_CM2: f64 = 100.0;

/// A band: trials are pooled within a bin, or within a factor of a stated centre.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// Id, also the name of the stratum's part: a field id, or a derived measure.
    pub id: String,
    /// What the band is on.
    pub on: BandOn,
    /// Dimension of the value; edges and limits are in its canonical unit.
    pub dimension: Dimension,
    /// UCUM code of the unit that labels are written in, where the canonical one is unhandy.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub display_unit: Option<String>,
    /// Inner edges of the fixed bins, ascending; a value on an edge belongs above.
    pub edges: Vec<f64>,
    /// A question may state a centre: trials within this factor of it are pooled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub factor: Option<f64>,
    /// Outside, the trial is kept but not pooled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub only: Option<Limits>,
    /// Whether a field of the band is optional: a trial without it is kept but not pooled.
    #[serde(default)]
    pub may_be_missing: bool,
    /// Why the edges stand where they stand.
    pub note: String,
}

/// What a band is on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum BandOn {
    /// A quantity field.
    Field(String),
    /// The product of two lengths, such as cut width and height: an area.
    Product(String, String),
    /// A current field over the rated capacity, geometric mean over the arms, 1/h.
    PerRatedCapacity(String),
    /// The mean power drawn, geometric mean over the arms, where every arm gives it; else that of the table of works.
    MeanPower,
}

impl BandOn {
    /// The fields it reads.
    pub fn fields(&self) -> Vec<&str> {
        match self {
            Self::Field(field) | Self::PerRatedCapacity(field) => vec![field],
            Self::Product(one, other) => vec![one, other],
            Self::MeanPower => vec![known::MEAN_INPUT_POWER],
        }
    }
}

impl Band {
    /// Labels of the fixed bins, ascending: `below 5.3 mm`, `5.3 to 6.75 mm`, `6.75 mm and above`.
    pub fn bins(&self) -> Vec<String> {
        (0..=self.edges.len()).map(|bin| self.label(bin)).collect()
    }

    /// Label of the bin that holds `value`; a value on an edge belongs above. `None` outside [`Band::only`] and for
    /// what is no number.
    pub fn bin_of(&self, value: f64) -> Option<String> {
        let out = value.is_nan() || self.only.is_some_and(|only| !only.contains(value));
        (!out).then(|| self.label(self.edges.partition_point(|edge| *edge <= value)))
    }

    /// Whether `value` lies within the band's factor of `centre`, ends included; `false` where the band takes no
    /// centre, or outside [`Band::only`].
    pub fn near(&self, centre: f64, value: f64) -> bool {
        let inside = self.only.is_none_or(|only| only.contains(value));
        // A hair of room, so that a value typed as exactly the factor away is not lost to rounding.
        let room = 1.0 + 1e-12;
        self.factor.is_some_and(|factor| {
            inside && value <= centre * factor * room && centre <= value * factor * room
        })
    }

    /// The value of a trial on this band, canonical unit.
    ///
    /// `field` gives the canonical values of a field: one where it holds for the trial, else one an arm.
    /// For [`BandOn::MeanPower`] this is the measured power alone. `rated_capacities` are those of the arms, ampere-hours. Several values are taken together by [`band_value`].
    /// `None` where a value is missing, or where values and capacities do not match in number.
    pub fn value<'a>(&self, field: impl Fn(&str) -> &'a [f64], rated_capacities: &[f64]) -> Option<f64> {
        match &self.on {
            BandOn::Field(id) => band_value(self.dimension, field(id)),
            BandOn::Product(one, other) => {
                let [one, other] = [one, other].map(|id| band_value(Dimension::Length, field(id)));
                Some(one? * other? / SQUARE_MM_IN_CM2)
            }
            BandOn::MeanPower => {
                let powers = field(known::MEAN_INPUT_POWER);
                // The mean of some of the arms would lean to those with a logger.
                (powers.len() == rated_capacities.len())
                    .then(|| band_value(Dimension::Power, powers))
                    .flatten()
            }
            BandOn::PerRatedCapacity(id) => {
                let currents = field(id);
                let of = |arm: usize| if currents.len() == 1 { currents.first() } else { currents.get(arm) };
                let many = currents.len() == 1 || currents.len() == rated_capacities.len();
                let rates: Option<Vec<f64>> =
                    rated_capacities.iter().enumerate().map(|(arm, rated)| Some(of(arm)? / rated)).collect();
                rates.filter(|_| many).and_then(|rates| band_value(Dimension::CRate, &rates))
            }
        }
    }

    fn label(&self, bin: usize) -> String {
        let below = if bin == 0 { self.only.map(|only| only.min) } else { self.edges.get(bin - 1).copied() };
        let above = self.edges.get(bin).copied().or(self.only.map(|only| only.max));
        let (below, above) = (below.map(|edge| self.shown(edge)), above.map(|edge| self.shown(edge)));
        let symbol = self.symbol();
        match (below, above) {
            (None, Some(above)) => format!("below {above} {symbol}"),
            (Some(below), Some(above)) => format!("{below} to {above} {symbol}"),
            (Some(below), None) => format!("{below} {symbol} and above"),
            (None, None) => "any".to_owned(),
        }
    }

    /// The unit of labels.
    fn unit(&self) -> &'static Unit {
        let named = self.display_unit.as_deref();
        let known = self.dimension.units().iter().find(|unit| Some(unit.ucum) == named);
        known.unwrap_or_else(|| self.dimension.canonical())
    }

    fn shown(&self, edge: f64) -> f64 {
        let shown = self.unit().from_canonical(edge);
        // Edges are round in the unit of labels: what stands behind the ninth decimal is rounding.
        (shown * 1e9).round() / 1e9
    }

    /// The symbol behind a number of a label; a rate of discharge is said in It, the reference current (IEC 61960 and
    /// the IEC glossary: It = rated capacity over 1 h).
    fn symbol(&self) -> &'static str {
        match self.dimension {
            Dimension::CRate => "It",
            _ => self.unit().symbol,
        }
    }
}

/// One value for several arms: the geometric mean, or for temperatures and shares the mean. `None` for no value, for
/// one that is not finite, and for one not above 0 where the mean is geometric.
pub fn band_value(dimension: Dimension, values: &[f64]) -> Option<f64> {
    use Dimension::{Ratio, Temperature, TemperatureDifference};
    let n = values.len() as f64;
    let plain = matches!(dimension, Temperature | TemperatureDifference | Ratio);
    let fine = !values.is_empty() && values.iter().all(|v| v.is_finite() && (plain || *v > 0.0));
    fine.then(|| match values {
        [one] => *one,
        _ if plain => values.iter().sum::<f64>() / n,
        _ => (values.iter().map(|v| v.ln()).sum::<f64>() / n).exp(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn band(edges: &[f64], factor: Option<f64>, only: Option<Limits>) -> Band {
        Band {
            id: "screw_diameter".into(),
            on: BandOn::Field("screw_diameter".into()),
            dimension: Dimension::Length,
            display_unit: None,
            edges: edges.to_vec(),
            factor,
            only,
            may_be_missing: false,
            note: "an example".into(),
        }
    }

    #[test]
    fn bins_are_labelled_and_an_edge_belongs_above() {
        let band = band(&[5.3, 6.75], None, None);
        assert_eq!(band.bins(), ["below 5.3 mm", "5.3 to 6.75 mm", "6.75 mm and above"]);
        let of = |value| band.bin_of(value).unwrap();
        assert_eq!(of(5.299), "below 5.3 mm");
        assert_eq!(of(5.3), "5.3 to 6.75 mm");
        assert_eq!(of(6.0), "5.3 to 6.75 mm");
        assert_eq!(of(6.75), "6.75 mm and above");
        assert_eq!(band.bin_of(f64::NAN), None);
    }

    #[test]
    fn outside_its_limits_a_band_has_no_bin() {
        let band = band(&[], None, Some(Limits { min: 40.0, max: 80.0 }));
        assert_eq!(band.bins(), ["40 to 80 mm"]);
        assert_eq!(band.bin_of(80.0).as_deref(), Some("40 to 80 mm"));
        assert_eq!(band.bin_of(80.1), None);
        assert!(!band.near(60.0, 60.0), "it takes no centre");
    }

    #[test]
    fn labels_are_in_a_handy_unit() {
        let mut band =
            band(&[30.0 * 86_400.0], None, Some(Limits { min: 25.0 * 86_400.0, max: 35.0 * 86_400.0 }));
        band.dimension = Dimension::Time;
        assert_eq!(band.bins(), ["2160000 to 2592000 s", "2592000 to 3024000 s"]);
        band.display_unit = Some("d".into());
        assert_eq!(band.bins(), ["25 to 30 d", "30 to 35 d"]);
        band.dimension = Dimension::Length;
        band.edges = vec![25.4 * 3.1];
        band.only = None;
        band.display_unit = Some("[in_i]".into());
        assert_eq!(band.bins(), ["below 3.1 in", "3.1 in and above"]);
    }

    #[test]
    fn near_a_centre_is_within_the_factor_either_way() {
        let band = band(&[], Some(1.3), None);
        assert!(band.near(6.0, 6.0 * 1.3) && band.near(6.0, 6.0 / 1.3));
        assert!(!band.near(6.0, 7.9) && !band.near(6.0, 4.6));
        assert!(!band.near(6.0, f64::NAN));
    }

    #[test]
    fn several_arms_give_one_value() {
        assert_eq!(band_value(Dimension::Temperature, &[-4.0, 8.0]), Some(2.0));
        let power = band_value(Dimension::Power, &[200.0, 800.0]).unwrap();
        assert!((power - 400.0).abs() < 1e-9);
        assert_eq!(band_value(Dimension::Power, &[0.0, 800.0]), None);
        assert_eq!(band_value(Dimension::Power, &[]), None);
    }

    #[test]
    fn a_product_is_an_area_and_a_rate_is_over_the_rated_capacity() {
        let mut band = band(&[], None, None);
        band.on = BandOn::Product("w".into(), "h".into());
        band.dimension = Dimension::Area;
        let sides = |id: &str| -> &'static [f64] { if id == "w" { &[145.0] } else { &[45.0] } };
        assert_eq!(band.value(sides, &[]), Some(65.25));

        band.on = BandOn::PerRatedCapacity("load_current".into());
        band.dimension = Dimension::CRate;
        let rate = band.value(|_| &[1.0, 1.6], &[5.0, 8.0]).unwrap();
        assert!((rate - 0.2).abs() < 1e-12);
        assert_eq!(band.value(|_| &[1.0, 1.6], &[5.0, 8.0, 4.0]), None);
        assert!(band.value(|_| &[5.0], &[5.0, 5.0]).is_some());
        assert_eq!(band.value(|_| &[], &[5.0]), None);
        assert_eq!(band.bins(), ["any"]);
    }
}
