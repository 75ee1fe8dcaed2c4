//! Texts of a client: what is taken, what was probably meant, and how numbers are said back.

use crate::reason;
use crate::violation::Violations;

/// What a text field takes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TextRule {
    /// Greatest number of characters.
    pub(crate) longest: usize,
    /// Whether it has to be given.
    pub(crate) required: bool,
    /// Whether it may have several lines.
    pub(crate) lines: bool,
}

impl TextRule {
    /// A name or label: one line.
    pub(crate) const fn label(required: bool) -> Self {
        Self { longest: 80, required, lines: false }
    }

    /// A remark of several lines that may be left out.
    pub(crate) const fn note(longest: usize) -> Self {
        Self { longest, required: false, lines: true }
    }

    /// Notes what is wrong with `text` at `path`; `what` is the field in words.
    pub(crate) fn check(self, broken: &mut Violations, path: &str, what: &str, text: &str) {
        let Self { longest, required, lines } = self;
        if required && text.trim().is_empty() {
            broken.add(path, reason::REQUIRED, format!("{what} is missing: give 1 to {longest} characters"));
        }
        let length = text.chars().count();
        if length > longest {
            broken.add(
                path,
                reason::TEXT_TOO_LONG,
                format!("{what} has {length} characters, and at most {longest} are taken: shorten it"),
            );
        }
        if let Some(c) = text.chars().find(|&c| is_hidden(c) && !(lines && matches!(c, '\n' | '\r' | '\t'))) {
            broken.add(
                path,
                reason::CONTROL_CHARACTER,
                format!(
                    "{what} has a character that cannot be seen (U+{:04X}), perhaps pasted: type it anew",
                    u32::from(c)
                ),
            );
        }
    }
}

/// Control characters, and those that turn the direction of what follows (Unicode Annex 9, 2.1 to 2.5).
fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

/// Of `known`, the word that `typed` most probably stands for: fewest edits, at most a third of its letters.
pub(crate) fn nearest<'a>(typed: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    if typed.is_empty() || typed.len() > 64 {
        return None;
    }
    let typed = typed.to_lowercase();
    known
        .map(|word| (edits(&typed, &word.to_lowercase()), word))
        .filter(|(distance, word)| *distance * 3 <= word.len().max(3))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, word)| word)
}

/// Levenshtein distance: insertions, deletions and substitutions of characters (Levenshtein, Soviet Physics Doklady 10
/// (1966), 707-710).
pub(crate) fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, &cb) in b.iter().enumerate() {
            let substituted = diagonal + usize::from(ca != cb);
            diagonal = row[j + 1];
            row[j + 1] = substituted.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

/// What a client wrote, for a message: at most 80 characters, what cannot be seen escaped, in backquotes.
pub(crate) fn quoted(text: &str) -> String {
    let mut shown: String = text.chars().take(80).flat_map(char::escape_debug).collect();
    if text.chars().nth(80).is_some() {
        shown.push_str("...");
    }
    format!("`{shown}`")
}

/// `; did you mean ...?` where a known word is near.
pub(crate) fn meant<'a>(typed: &str, known: impl Iterator<Item = &'a str>) -> String {
    nearest(typed, known).map(|word| format!("; did you mean `{word}`?")).unwrap_or_default()
}

/// `a, b or c`.
pub(crate) fn listed<'a>(words: impl IntoIterator<Item = &'a str>) -> String {
    let words: Vec<&str> = words.into_iter().collect();
    match words.split_last() {
        None => "none".to_owned(),
        Some((last, [])) => (*last).to_owned(),
        Some((last, others)) => format!("{} or {last}", others.join(", ")),
    }
}

/// A number for a message, in at most six significant digits.
pub(crate) fn number(value: f64) -> String {
    let rounded: f64 = format!("{value:.5e}").parse().unwrap_or(value);
    if rounded == 0.0 || (1e-5..1e9).contains(&rounded.abs()) {
        format!("{}", rounded + 0.0)
    } else {
        format!("{rounded:e}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_finds_its_word() {
        let known = ["screw_diameter", "screw_length", "pilot_diameter"];
        let near = |typed| nearest(typed, known.into_iter());
        assert_eq!(near("screw_diamter"), Some("screw_diameter"));
        assert_eq!(near("Screw_Length"), Some("screw_length"));
        assert_eq!(near("temperature"), None);
        assert_eq!(near(""), None);
        assert_eq!(near(&"screw".repeat(1000)), None);
    }

    #[test]
    fn distances_of_known_pairs() {
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("", "abc"), 3);
        assert_eq!(edits("same", "same"), 0);
    }

    #[test]
    fn numbers_are_said_shortly() {
        assert_eq!(number(0.1 + 0.2), "0.3");
        assert_eq!(number(1200.0), "1200");
        assert_eq!(number(-0.0), "0");
        assert_eq!(number(0.000_000_123_456_7), "1.23457e-7");
    }

    #[test]
    fn a_text_keeps_its_rule_or_is_told() {
        let found = |rule: TextRule, text: &str| {
            let mut broken = Violations::default();
            rule.check(&mut broken, "x", "the label", text);
            broken.as_slice().iter().map(|v| v.reason).collect::<Vec<_>>()
        };
        let label = TextRule::label(true);
        assert_eq!(found(label, &"ä".repeat(80)), [] as [&str; 0]);
        assert_eq!(found(label, &"ä".repeat(81)), ["TEXT_TOO_LONG"]);
        assert_eq!(found(label, "  "), ["REQUIRED"]);
        assert_eq!(found(label, "a\nb"), ["CONTROL_CHARACTER"]);
        assert_eq!(found(label, "a\u{202e}b"), ["CONTROL_CHARACTER"]);
        assert_eq!(found(TextRule::note(10), "a\nb"), [] as [&str; 0]);
        assert_eq!(found(TextRule::note(10), "a\u{7}b"), ["CONTROL_CHARACTER"]);
    }
}
