//! Prices: an amount in one currency, on a date, in a region. Never converted.

use serde::{Deserialize, Serialize};

use crate::violation::Violations;

/// A price as it was seen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Price {
    /// The amount, a plain decimal with a point and at most four decimals.
    pub amount: String,
    /// ISO 4217 code, three capital letters.
    pub currency: String,
    /// The day it was seen (ISO 8601).
    pub date: jiff::civil::Date,
    /// Where it was seen: ISO 3166-1 code, two capital letters.
    pub region: String,
}

/// A price as sent.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PriceDraft {
    /// The amount as written.
    pub amount: String,
    /// The currency as written.
    pub currency: String,
    /// The date as written.
    pub date: String,
    /// The region as written.
    pub region: String,
}

impl PriceDraft {
    /// Reads all four parts.
    ///
    /// # Errors
    /// Every part that cannot be read, by its field name.
    pub fn check(self) -> Result<Price, Violations> {
        let mut broken = Violations::default();
        let Self { amount, currency, date, region } = self;
        if !is_amount(&amount) {
            broken.add(
                "amount",
                "NOT_AN_AMOUNT",
                format!(
                    "`{}` is no amount: write digits with a decimal point, above 0 and at most 1000000, such as 129.90",
                    crate::id::shortened(&amount)
                ),
            );
        }
        if !capitals(&currency, 3) {
            broken.add(
                "currency",
                "NOT_A_CURRENCY",
                format!(
                    "`{}` is no currency code: write the ISO 4217 code, such as EUR or USD; signs such as $ or kr stand for several currencies",
                    crate::id::shortened(&currency)
                ),
            );
        }
        if !capitals(&region, 2) {
            broken.add(
                "region",
                "NOT_A_REGION",
                format!(
                    "`{}` is no region: write the ISO 3166-1 code of the country, such as SE",
                    crate::id::shortened(&region)
                ),
            );
        }
        let read = date.parse::<jiff::civil::Date>();
        if read.is_err() || date.len() != 10 {
            broken.add(
                "date",
                "NOT_A_DATE",
                format!(
                    "`{}` is no date: write year-month-day (ISO 8601), such as 2026-03-02",
                    crate::id::shortened(&date)
                ),
            );
        }
        match read {
            Ok(date) if broken.is_empty() => Ok(Price { amount, currency, date, region }),
            _ => Err(broken),
        }
    }
}

impl Price {
    /// The amount as a number, for ratios of prices in one currency.
    pub fn value(&self) -> f64 {
        self.amount.parse().unwrap_or(f64::NAN)
    }
}

fn capitals(text: &str, n: usize) -> bool {
    text.len() == n && text.bytes().all(|b| b.is_ascii_uppercase())
}

fn is_amount(text: &str) -> bool {
    let (whole, part) = text.split_once('.').unwrap_or((text, "0"));
    let digits =
        |t: &str, max: usize| !t.is_empty() && t.len() <= max && t.bytes().all(|b| b.is_ascii_digit());
    digits(whole, 7) && digits(part, 4) && text.parse::<f64>().is_ok_and(|v| v > 0.0 && v <= 1e6)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn draft(amount: &str, currency: &str, date: &str, region: &str) -> PriceDraft {
        PriceDraft {
            amount: amount.into(),
            currency: currency.into(),
            date: date.into(),
            region: region.into(),
        }
    }

    #[test]
    fn a_whole_price_is_read() {
        let price = draft("129.90", "EUR", "2026-03-02", "SE").check().unwrap();
        assert!((price.value() - 129.9).abs() < 1e-12);
    }

    #[test]
    fn every_broken_part_is_named_at_once() {
        let broken = draft("1,299", "kr", "02/03/25", "sweden").check().unwrap_err();
        let fields: Vec<_> = broken.as_slice().iter().map(|v| v.field.as_str()).collect();
        assert_eq!(fields, ["amount", "currency", "region", "date"]);
        assert!(draft("0", "EUR", "2026-03-02", "SE").check().is_err());
        assert!(draft("1e3", "EUR", "2026-03-02", "SE").check().is_err());
    }
}
