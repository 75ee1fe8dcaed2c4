//! Checks that pack models and tool models share: names, aliases, region, choices.

use crate::method::Catalogue;
use crate::reason;
use crate::text::{TextRule, listed, meant, quoted};
use crate::violation::Violations;

/// Greatest number of aliases.
const MOST_ALIASES: usize = 20;

/// What a model is called, and where it is sold.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Names<'a> {
    pub(crate) maker: &'a str,
    pub(crate) designation: &'a str,
    pub(crate) aliases: &'a [String],
    pub(crate) region: &'a str,
}

impl Names<'_> {
    /// Notes everything that is wrong with them.
    pub(crate) fn check(self, broken: &mut Violations) {
        let Self { maker, designation, aliases, region } = self;
        TextRule::label(true).check(broken, "maker", "the maker", maker);
        TextRule::label(true).check(broken, "designation", "the type designation", designation);
        if aliases.len() > MOST_ALIASES {
            broken.add(
                "aliases",
                reason::TOO_MANY,
                format!(
                    "{} aliases, and at most {MOST_ALIASES} are taken: keep those on labels",
                    aliases.len()
                ),
            );
        }
        for (i, alias) in aliases.iter().enumerate().take(MOST_ALIASES) {
            TextRule::label(true).check(broken, &format!("aliases[{i}]"), "the alias", alias);
        }
        let is_code = region.len() == 2 && region.bytes().all(|b| b.is_ascii_uppercase());
        if !region.is_empty() && !is_code {
            broken.add(
                "region",
                reason::NOT_A_REGION,
                format!(
                    "{} is no region: write the ISO 3166-1 code of the country, such as SE, or nothing for any",
                    quoted(region)
                ),
            );
        }
    }
}

/// Notes a choice that is not in its list.
pub(crate) fn check_choice(
    broken: &mut Violations,
    path: &str,
    what: &str,
    catalogue: &Catalogue,
    list: &str,
    typed: &str,
) {
    if catalogue.choice(list, typed).is_some() {
        return;
    }
    let ids = || catalogue.choices(list).iter().map(|choice| choice.id.as_str());
    broken.add(
        path,
        reason::UNKNOWN_CHOICE,
        format!("{} is no {what}: choose {}{}", quoted(typed), listed(ids()), meant(typed, ids())),
    );
}
