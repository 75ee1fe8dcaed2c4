//! From the text of a filter to its words and marks.

use super::NotAFilter;

/// A word or mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Token {
    /// Without quotes.
    Word(String),
    /// In quotes.
    Quoted(String),
    /// `=`, `!=`, `<`, `<=`, `>`, `>=`.
    Operator(&'static str),
    Open,
    Close,
    /// `-` in front of a term.
    Minus,
}

impl Token {
    /// What it is, for messages.
    pub(super) fn said(&self) -> String {
        match self {
            Self::Word(text) | Self::Quoted(text) => crate::text::quoted(text),
            Self::Operator(mark) => format!("`{mark}`"),
            Self::Open => "`(`".to_owned(),
            Self::Close => "`)`".to_owned(),
            Self::Minus => "`-`".to_owned(),
        }
    }
}

/// A token, and where it stands, in characters from 1.
pub(super) type Placed = (usize, Token);

/// Characters of a word without quotes: those of names and times.
fn is_word(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '_' | '-' | '.' | '/' | ':' | '+')
}

/// Cuts a text into tokens.
pub(super) fn tokens(text: &str) -> Result<Vec<Placed>, NotAFilter> {
    let characters: Vec<char> = text.chars().collect();
    let mut tokens = Vec::new();
    let mut at = 0;
    while let Some(&c) = characters.get(at) {
        let start = at + 1;
        let next = characters.get(at + 1).copied();
        let (token, length) = match (c, next) {
            (c, _) if c.is_whitespace() => {
                at += 1;
                continue;
            }
            ('(', _) => (Token::Open, 1),
            (')', _) => (Token::Close, 1),
            ('!', Some('=')) => (Token::Operator("!="), 2),
            ('<', Some('=')) => (Token::Operator("<="), 2),
            ('>', Some('=')) => (Token::Operator(">="), 2),
            ('=', _) => (Token::Operator("="), 1),
            ('<', _) => (Token::Operator("<"), 1),
            ('>', _) => (Token::Operator(">"), 1),
            ('-', _) => (Token::Minus, 1),
            ('"' | '\'', _) => quoted(&characters, at)?,
            (c, _) if is_word(c) => {
                let word: String = characters[at..].iter().copied().take_while(|c| is_word(*c)).collect();
                let length = word.chars().count();
                (Token::Word(word), length)
            }
            (other, _) => {
                return Err(NotAFilter {
                    position: start,
                    message: format!(
                        "{} has no meaning here: write comparisons such as standing = accepted, and put other values in quotes",
                        crate::text::quoted(&other.to_string())
                    ),
                });
            }
        };
        tokens.push((start, token));
        at += length;
    }
    Ok(tokens)
}

/// A text in quotes; a backslash takes the next character as it is.
fn quoted(characters: &[char], start: usize) -> Result<(Token, usize), NotAFilter> {
    let mark = characters[start];
    let mut text = String::new();
    let mut at = start + 1;
    while let Some(&c) = characters.get(at) {
        match c {
            '\\' => {
                at += 1;
                text.extend(characters.get(at));
            }
            c if c == mark => return Ok((Token::Quoted(text), at + 1 - start)),
            c => text.push(c),
        }
        at += 1;
    }
    Err(NotAFilter {
        position: start + 1,
        message: format!("the quote is not closed: end the value with {mark}"),
    })
}
