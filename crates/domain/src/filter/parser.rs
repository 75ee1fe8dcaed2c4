//! From tokens to the tree: recursive descent, bounded in depth and length.

use super::lexer::{Placed, Token, tokens};
use super::{Comparison, DEEPEST, Field, Filter, LONGEST, MOST_COMPARISONS, NotAFilter, Operator, Value};
use crate::text::{listed, meant, quoted};

/// Reads a filter.
pub(super) fn parse(text: &str) -> Result<Option<Filter>, NotAFilter> {
    let length = text.chars().count();
    if length > LONGEST {
        return Err(NotAFilter {
            position: LONGEST + 1,
            message: format!(
                "the filter has {length} characters, and at most {LONGEST} are taken: shorten it"
            ),
        });
    }
    let tokens = tokens(text)?;
    if tokens.is_empty() {
        return Ok(None);
    }
    let mut parser = Parser { tokens: &tokens, at: 0, end: length + 1, comparisons: 0 };
    let filter = parser.sequence(0)?;
    match parser.peek() {
        None => Ok(Some(filter)),
        Some((_, Token::Close)) => Err(parser.wrong("`)` closes nothing: remove it, or open it before")),
        Some((_, token)) => {
            let found = token.said();
            Err(parser.wrong(&format!("{found} follows a whole comparison: join comparisons with AND or OR")))
        }
    }
}

struct Parser<'a> {
    tokens: &'a [Placed],
    at: usize,
    end: usize,
    comparisons: usize,
}

impl<'a> Parser<'a> {
    fn peek(&self) -> Option<&'a Placed> {
        self.tokens.get(self.at)
    }

    /// An error at the next token.
    fn wrong(&self, message: &str) -> NotAFilter {
        let position = self.peek().map_or(self.end, |(position, _)| *position);
        NotAFilter { position, message: message.to_owned() }
    }

    fn takes_word(&mut self, word: &str) -> bool {
        let found = matches!(self.peek(), Some((_, Token::Word(text))) if text == word);
        self.at += usize::from(found);
        found
    }

    fn sequence(&mut self, depth: usize) -> Result<Filter, NotAFilter> {
        let mut all = vec![self.factor(depth)?];
        while self.takes_word("AND") {
            all.push(self.factor(depth)?);
        }
        Ok(one_or(all, Filter::And))
    }

    fn factor(&mut self, depth: usize) -> Result<Filter, NotAFilter> {
        let mut any = vec![self.term(depth)?];
        while self.takes_word("OR") {
            any.push(self.term(depth)?);
        }
        Ok(one_or(any, Filter::Or))
    }

    fn term(&mut self, depth: usize) -> Result<Filter, NotAFilter> {
        if depth > DEEPEST {
            return Err(self.wrong(&format!(
                "parentheses and NOT lie more than {DEEPEST} deep: write the filter flatter"
            )));
        }
        let minus = matches!(self.peek(), Some((_, Token::Minus)));
        self.at += usize::from(minus);
        if minus || self.takes_word("NOT") {
            return Ok(Filter::Not(Box::new(self.term(depth + 1)?)));
        }
        if !matches!(self.peek(), Some((_, Token::Open))) {
            return self.comparison();
        }
        self.at += 1;
        let inner = self.sequence(depth + 1)?;
        if !matches!(self.peek(), Some((_, Token::Close))) {
            return Err(
                self.wrong("the parenthesis is not closed: write `)`, or join comparisons with AND or OR")
            );
        }
        self.at += 1;
        Ok(inner)
    }

    fn comparison(&mut self) -> Result<Filter, NotAFilter> {
        if self.comparisons == MOST_COMPARISONS {
            return Err(
                self.wrong(&format!("more than {MOST_COMPARISONS} comparisons: ask in several lists"))
            );
        }
        self.comparisons += 1;
        let field = self.field()?;
        let operator = self.operator(field)?;
        let Some((position, Token::Word(text) | Token::Quoted(text))) = self.peek() else {
            let found = self.peek().map_or("the end of the filter".to_owned(), |(_, token)| token.said());
            return Err(self.wrong(&format!("{found} where the value of {field} is due: put it in quotes")));
        };
        self.at += 1;
        let value =
            Value::read(field, text).map_err(|message| NotAFilter { position: *position, message })?;
        Ok(Filter::Is(Comparison { operator, value }))
    }

    fn field(&mut self) -> Result<Field, NotAFilter> {
        let known = || Field::ALL.iter().map(|field| field.id());
        let text = match self.peek() {
            Some((_, Token::Word(text))) => text,
            other => {
                let found = other.map_or("the end of the filter".to_owned(), |(_, token)| token.said());
                return Err(self.wrong(&format!("{found} where a field is due: name {}", listed(known()))));
            }
        };
        let Some(field) = Field::from_id(text) else {
            let message =
                format!("{} is no field: name {}{}", quoted(text), listed(known()), meant(text, known()));
            return Err(self.wrong(&message));
        };
        self.at += 1;
        Ok(field)
    }

    fn operator(&mut self, field: Field) -> Result<Operator, NotAFilter> {
        let times = matches!(field, Field::SubmitTime | Field::PerformedTime);
        let taken = if times { "=, !=, <, <=, > or >=" } else { "= or !=" };
        let found = match self.peek() {
            Some((_, Token::Operator(mark))) => Operator::from_id(mark),
            _ => None,
        };
        let fits = |operator: &Operator| times || matches!(operator, Operator::Equal | Operator::NotEqual);
        let Some(operator) = found.filter(fits) else {
            let found = self.peek().map_or("the end of the filter".to_owned(), |(_, token)| token.said());
            return Err(self.wrong(&format!("{found} after {field}: compare it with {taken}")));
        };
        self.at += 1;
        Ok(operator)
    }
}

/// The one of a list of one, else the list.
fn one_or(mut all: Vec<Filter>, join: impl Fn(Vec<Filter>) -> Filter) -> Filter {
    if all.len() == 1 { all.remove(0) } else { join(all) }
}
