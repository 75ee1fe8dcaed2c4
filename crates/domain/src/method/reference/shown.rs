//! Numbers, limits and units as a reader sees them.

use super::Page;
use crate::method::dictionary::{Limits, Measure};
use crate::quantity::{Dimension, Unit};

/// A text that stays within its cell of a table.
pub(super) fn cell(text: &str) -> String {
    text.replace('|', "\\|").replace('\n', " ")
}

/// The unit that a measure is shown in.
pub(super) fn unit_of(measure: &Measure) -> &'static Unit {
    measure.dimension.unit(measure.shown_in()).unwrap_or_else(|| measure.dimension.canonical())
}

/// Limits, given in the canonical unit, in another: `0.2 to 3600 s`.
pub(super) fn range(limits: Limits, unit: &Unit) -> String {
    let of = |canonical: f64| plain(unit.from_canonical(canonical));
    format!("{} to {} {}", of(limits.min), of(limits.max), unit.symbol).trim_end().to_owned()
}

/// A number without the dust of binary fractions.
pub(super) fn plain(value: f64) -> String {
    let rounded = (value * 1e9).round() / 1e9;
    format!("{rounded}")
}

/// A share as a percentage: `5 to 10 %`.
pub(super) fn percent(limits: Limits) -> String {
    format!("{} to {} %", plain(limits.min * 100.0), plain(limits.max * 100.0))
}

/// Symbols of the accepted units: `s, min, ms`.
pub(super) fn accepted(measure: &Measure) -> String {
    let units = measure.accepted_units.iter().filter_map(|ucum| measure.dimension.unit(ucum));
    let symbols: Vec<&str> = units.map(|unit| unit.symbol).filter(|symbol| !symbol.is_empty()).collect();
    symbols.join(", ")
}

/// Every dimension with its units and how they may be written.
pub(super) fn unit_page(page: &mut Page) {
    page.heading(2, "Units");
    page.paragraph(
        "A number is given with its unit, by its code in the Unified Code for Units of Measure (UCUM) or as people write \
         it; capitals count. It is kept as written, and computed with in the first unit of its dimension. What can be read \
         in two ways (m, in seconds or metres; 1,500) is asked about.",
    );
    for dimension in Dimension::ALL {
        page.heading(3, &dimension.words().replace('/', " "));
        page.table(
            ["Code", "Also written", "Is"],
            dimension.units().iter().map(|unit| {
                let spellings: Vec<String> = std::iter::once(unit.symbol)
                    .chain(unit.spellings.iter().copied())
                    .filter(|spelling| *spelling != unit.ucum && !spelling.is_empty())
                    .fold(Vec::new(), |mut seen, spelling| {
                        if !seen.contains(&format!("`{spelling}`")) {
                            seen.push(format!("`{spelling}`"));
                        }
                        seen
                    });
                [format!("`{}`", unit.ucum), spellings.join(", "), amount(unit)]
            }),
        );
    }
}

/// What one of a unit is in the canonical one.
fn amount(unit: &Unit) -> String {
    let canonical = unit.dimension.canonical();
    let symbol = canonical.symbol;
    if unit.ucum == canonical.ucum {
        return "kept and computed in this".to_owned();
    }
    if unit.offset != 0.0 {
        return format!("{symbol} = (value - {}) × {}", unit.offset, significant(unit.factor));
    }
    format!("{} {symbol}", significant(unit.factor)).trim_end().to_owned()
}

/// Ten significant digits.
fn significant(value: f64) -> String {
    let text = format!("{value:.9e}");
    text.parse::<f64>().map_or(text, |rounded| rounded.to_string())
}
