//! Pack models that are probably one: the same rated values under nearly the same name.

use crate::finding::{Finding, FindingKind};
use crate::id::PackModelId;
use crate::pack::PackModel;
use crate::text::{edits, quoted};

/// Characters from which on a slip of the pen is more likely than another model: `K5` and `K8` are two models.
const LONG_ENOUGH: usize = 5;

/// Greatest share of characters that differ between two spellings of one name: one in eight (common practice, no
/// source).
const CHARACTERS_TO_AN_EDIT: usize = 8;

/// What models with the same rated values share: cells in series, nominal voltage and rated capacity, the numbers to
/// three decimals of volt and ampere-hour.
pub fn rated_key(model: &PackModel) -> String {
    let PackModel { series_count, nominal_voltage, rated_capacity, .. } = model;
    format!("{series_count}/{:.3}/{:.3}", nominal_voltage.canonical(), rated_capacity.canonical())
}

/// The finding about `model` where one of `others`, which stood there before it, is probably the same; the first in the
/// order given.
pub fn duplicate_of<'a>(
    model: &PackModel,
    others: impl IntoIterator<Item = &'a PackModel>,
) -> Option<(Finding, &'a PackModelId)> {
    let other = others.into_iter().find(|other| other.id != model.id && same(model, other))?;
    let finding = Finding {
        kind: FindingKind::DuplicatePackModel,
        field: "designation".to_owned(),
        message: format!(
            "{} by {} has the rated values and nearly the name of `{}`, {} by {}: use that one, or confirm that they are two models",
            quoted(&model.designation),
            quoted(&model.maker),
            other.id.name(),
            quoted(&other.designation),
            quoted(&other.maker),
        ),
        question: format!("is it another model than `{}`?", other.id.name()),
        suggestion: other.id.name(),
        rule: None,
    };
    Some((finding, &other.id))
}

fn same(a: &PackModel, b: &PackModel) -> bool {
    let (a, b) = if rated_key(a) == rated_key(b) { (Names::of(a), Names::of(b)) } else { return false };
    let also_known = |one: &Names, other: &Names| {
        let own = other.aliases.iter().chain([&other.full, &other.designation]);
        own.into_iter().any(|name| one.aliases.iter().any(|alias| near(alias, name)))
    };
    near(&a.full, &b.full) || also_known(&a, &b) || also_known(&b, &a)
}

/// What a model is called, folded. A bare designation is compared with aliases alone: two makers may well use one.
struct Names {
    /// Maker and designation.
    full: String,
    designation: String,
    /// Each alias, alone and after the maker.
    aliases: Vec<String>,
}

impl Names {
    fn of(model: &PackModel) -> Self {
        let (maker, designation) = (fold(&model.maker), fold(&model.designation));
        let aliases = model.aliases.iter().map(|alias| fold(alias)).filter(|alias| !alias.is_empty());
        Self {
            aliases: aliases.flat_map(|alias| [format!("{maker}{alias}"), alias]).collect(),
            full: format!("{maker}{designation}"),
            designation,
        }
    }
}

/// Lower case, letters and digits only: case, spaces and punctuation vary between labels and shops.
fn fold(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// Whether two folded names are probably one: equal, or apart by few edits, none of them in a digit. A digit tells
/// models of a line apart; a letter is mistyped.
fn near(a: &str, b: &str) -> bool {
    if a == b {
        return true;
    }
    let digits = |name: &str| name.chars().filter(char::is_ascii_digit).collect::<String>();
    let longest = a.chars().count().max(b.chars().count());
    longest >= LONG_ENOUGH && digits(a) == digits(b) && edits(a, b) * CHARACTERS_TO_AN_EDIT <= longest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_near_by_spelling_and_not_by_number() {
        for (a, b) in [
            ("Invented Works PX-50", "invented works px50"),
            ("Invented Works Px 50", "Inventd Works PX50"),
            ("Överby K5", "överby-k5"),
        ] {
            assert!(near(&fold(a), &fold(b)), "{a} {b}");
        }
        for (a, b) in [
            ("K5", "K8"),
            ("PX-50", "PX-60"),
            ("Invented Works PX 50", "Other Tools PX 50"),
            ("abcde", "abxye"),
        ] {
            assert!(!near(&fold(a), &fold(b)), "{a} {b}");
        }
    }
}
