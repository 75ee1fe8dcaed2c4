//! The reference in the tree is what the catalogue says today, and it leaves nothing out.

use benchring_domain::method::Catalogue;

const KEPT: &str = include_str!("../methods/REFERENCE.md");

/// `BENCHRING_RENEW_REFERENCE=1 cargo test -p benchring-domain --test catalogue_reference` writes it anew.
#[test]
fn the_reference_in_the_tree_is_that_of_the_catalogue() {
    let now = Catalogue::embedded().unwrap_or_else(|wrong| panic!("{wrong}")).reference();
    if std::env::var_os("BENCHRING_RENEW_REFERENCE").is_some() {
        std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/methods/REFERENCE.md"), &now).expect("written");
        return;
    }
    let differs = KEPT.lines().zip(now.lines()).find(|(kept, now)| kept != now);
    assert!(
        KEPT == now,
        "methods/REFERENCE.md is not what the catalogue says; renew it with BENCHRING_RENEW_REFERENCE=1. First difference: \
         {differs:?}"
    );
}

#[test]
fn nothing_of_the_catalogue_is_left_out() {
    let catalogue = Catalogue::embedded().unwrap_or_else(|wrong| panic!("{wrong}"));
    let text = catalogue.reference();
    for method in catalogue.methods() {
        assert!(text.contains(&format!("\n### {}\n", method.id)), "{}", method.id);
        for step in &method.steps {
            assert!(text.contains(step.as_str()), "{step}");
        }
        for one in &method.derived {
            assert!(text.contains(&format!("`{}` ({})", one.id, one.label)), "{}", one.id);
        }
        for one in &method.forbidden {
            assert!(text.contains(&format!("not `{}`: {}", one.normalisation, one.reason)), "{}", one.reason);
        }
    }
    for field in catalogue.fields() {
        assert!(
            text.contains(&format!("\n### {}\n", field.id)) && text.contains(&field.note),
            "{}",
            field.id
        );
    }
    for (list, choices) in catalogue.choice_lists() {
        assert!(text.contains(&format!("\n### List {list}\n")), "{list}");
        for choice in choices {
            assert!(text.contains(&format!("`{}`: {}", choice.id, choice.label)), "{}", choice.id);
        }
    }
    for (id, source) in catalogue.sources() {
        assert!(text.contains(&format!("`{id}`: {source}")), "{id}");
    }
    for rule in benchring_domain::rule::Rule::ALL {
        assert!(text.contains(&format!("\n### {}\n", rule.id)) && text.contains(rule.source), "{}", rule.id);
    }
    for caution in catalogue.all_cautions() {
        assert!(text.contains(&caution.text), "{}", caution.id);
    }
}

/// Every link within the page leads to a heading: words in lower case, joined by hyphens.
#[test]
fn every_link_leads_somewhere() {
    let text = Catalogue::embedded().unwrap_or_else(|wrong| panic!("{wrong}")).reference();
    let headings: Vec<String> = text
        .lines()
        .filter_map(|line| Some(line.strip_prefix('#')?.trim_start_matches('#').trim()))
        .map(|title| title.to_lowercase().replace(' ', "-"))
        .collect();
    let mut links = 0;
    for target in text.split("](#").skip(1).filter_map(|rest| rest.split(')').next()) {
        links += 1;
        assert!(headings.iter().any(|heading| heading == target), "#{target} leads nowhere");
    }
    assert!(links > 300, "{links} links");
    let mut once = headings.clone();
    once.sort();
    once.dedup();
    assert_eq!(once.len(), headings.len(), "two headings of one name cannot both be linked to");
}
