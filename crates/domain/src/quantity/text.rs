//! Typing habits folded away: one kind of space, minus, micro, ohm, degree and digit.
//!
//! Only what looks the same is folded. Superscripts are left to [`same_spelling`], where a unit is compared: folding
//! them in a number would turn 10² into 102.

/// A text after folding, each byte of which knows where it came from.
pub(super) struct Folded {
    /// Single inner spaces, none at the ends.
    pub(super) text: String,
    origins: Vec<usize>,
}

impl Folded {
    /// Folds a text; refuses one with a character that nobody can see, and returns that character.
    pub(super) fn of(written: &str) -> Result<Self, char> {
        let mut folded = Self { text: String::with_capacity(written.len()), origins: Vec::new() };
        for (at, c) in written.char_indices() {
            if c.is_whitespace() {
                folded.space(at);
            } else if is_invisible(c) {
                return Err(c);
            } else if let Some(fraction) = vulgar_fraction(c) {
                if folded.text.ends_with(|before: char| before.is_ascii_digit()) {
                    folded.space(at);
                }
                folded.push(at, fraction);
            } else {
                folded.push_folded(at, c);
            }
        }
        let kept = folded.text.trim_end().len();
        folded.text.truncate(kept);
        folded.origins.truncate(kept);
        Ok(folded)
    }

    /// The bytes of `written` from which the folded text from byte `start` on was made.
    pub(super) fn original_from<'a>(&self, written: &'a str, start: usize) -> &'a str {
        let from = self.origins.get(start).copied().unwrap_or(written.len());
        written.get(from..).unwrap_or_default().trim()
    }

    fn push_folded(&mut self, at: usize, c: char) {
        let mut buffer = [0; 4];
        let folded = match c {
            '℃' => "°C",
            '℉' => "°F",
            other => fold_char(other).encode_utf8(&mut buffer),
        };
        self.push(at, folded);
    }

    fn push(&mut self, at: usize, text: &str) {
        self.text.push_str(text);
        self.origins.resize(self.text.len(), at);
    }

    fn space(&mut self, at: usize) {
        if !self.text.is_empty() && !self.text.ends_with(' ') {
            self.push(at, " ");
        }
    }
}

/// Control, zero-width and direction characters (Unicode categories Cc and, of Cf, those met in pasted text).
fn is_invisible(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

fn fold_char(c: char) -> char {
    let c = match c {
        // Full-width forms stand in the order of ASCII (Unicode block Halfwidth and Fullwidth Forms).
        '\u{ff01}'..='\u{ff5e}' => u8::try_from(u32::from(c) - 0xff01 + 0x21).map_or(c, char::from),
        other => other,
    };
    match c {
        // Hyphen, no-break hyphen, figure dash, en dash, minus, small hyphen-minus.
        '\u{2010}'..='\u{2013}' | '\u{2212}' | '\u{fe63}' => '-',
        // Fraction slash, division slash.
        '\u{2044}' | '\u{2215}' => '/',
        // Greek mu to the micro sign, ohm sign to Greek omega, the two other rings to the degree sign.
        'μ' => 'µ',
        '\u{2126}' => 'Ω',
        'º' | '˚' => '°',
        // Increment to Greek delta.
        '\u{2206}' => 'Δ',
        // Bullet, hyphenation point, bullet operator, dot operator, katakana dot.
        '•' | '‧' | '∙' | '⋅' | '・' => '·',
        '‘' | '’' | '′' => '\'',
        '“' | '”' | '″' => '"',
        other => other,
    }
}

fn vulgar_fraction(c: char) -> Option<&'static str> {
    Some(match c {
        '½' => "1/2",
        '¼' => "1/4",
        '¾' => "3/4",
        '⅛' => "1/8",
        '⅜' => "3/8",
        '⅝' => "5/8",
        '⅞' => "7/8",
        '⅓' => "1/3",
        '⅔' => "2/3",
        _ => return None,
    })
}

/// Whether two folded unit spellings differ in superscripts and the multiplication mark only. Case counts.
pub(super) fn same_spelling(a: &str, b: &str) -> bool {
    a.chars().map(unit_char).eq(b.chars().map(unit_char))
}

/// As [`same_spelling`], whatever the case: for hints, never for reading.
pub(super) fn same_letters(a: &str, b: &str) -> bool {
    let lower = |c: char| unit_char(c).to_ascii_lowercase();
    a.chars().map(lower).eq(b.chars().map(lower))
}

fn unit_char(c: char) -> char {
    match c {
        '¹' => '1',
        '²' => '2',
        '³' => '3',
        '⁻' => '-',
        '·' | '*' => '.',
        'μ' => 'µ',
        other => other,
    }
}

/// The text in quotation marks for a message: unprintable characters escaped, cut at 40 characters.
pub(super) fn quoted(text: &str) -> String {
    let mut inner = String::new();
    for (nth, c) in text.chars().enumerate() {
        if nth == 40 {
            inner.push('…');
            break;
        }
        match c {
            '\'' | '"' | '\\' => inner.push(c),
            other => inner.extend(other.escape_debug()),
        }
    }
    if inner.contains('\'') { format!("\"{inner}\"") } else { format!("'{inner}'") }
}

/// Shortest decimal form that reads back as the same double; powers of ten only for very large or small numbers.
pub(super) fn shortest(value: f64) -> String {
    let size = value.abs();
    if value == 0.0 || (1e-7..1e17).contains(&size) { format!("{value}") } else { format!("{value:e}") }
}
