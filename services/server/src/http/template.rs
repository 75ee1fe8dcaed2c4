//! Path templates of `google.api.http`, and paths that may match them.
//!
//! A template is `/` and segments, each a literal, `*` (one segment) or, last, `**` (the rest, at least one
//! segment), some of them bound to a field as `{field=segments}`, and possibly a verb after `:`. In a path,
//! the verb is what follows the last `:` of the last segment, written `:` or `%3A`; ids never contain one.

use percent_encoding::percent_decode_str;

/// Why a text is no template.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{template}` is no path template: {why}")]
pub struct BadTemplate {
    template: String,
    why: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Segment {
    Literal(String),
    One,
    Rest,
}

/// A field that takes its value from the path.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Variable {
    field: String,
    from: usize,
    to: usize,
}

/// A path template.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Template {
    segments: Vec<Segment>,
    variables: Vec<Variable>,
    verb: Option<String>,
}

/// A path cut into decoded segments and a verb.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Path {
    segments: Vec<String>,
    verb: Option<String>,
}

impl Path {
    /// Cuts a path as it stood in the request line. `None` where it can match nothing.
    pub(super) fn parse(path: &str) -> Option<Self> {
        let mut raw: Vec<&str> = path.strip_prefix('/')?.split('/').collect();
        let last = raw.pop()?.replace("%3A", ":").replace("%3a", ":");
        let (last, verb) = match last.rsplit_once(':') {
            Some((last, verb)) => (last.to_owned(), Some(decoded(verb)?)),
            None => (last, None),
        };
        let mut segments = raw.into_iter().map(decoded).collect::<Option<Vec<_>>>()?;
        segments.push(decoded(&last)?);
        Some(Self { segments, verb })
    }
}

fn decoded(segment: &str) -> Option<String> {
    percent_decode_str(segment).decode_utf8().ok().map(std::borrow::Cow::into_owned)
}

impl Template {
    /// Reads a template.
    ///
    /// # Errors
    /// [`BadTemplate`] where it breaks the grammar.
    pub(super) fn parse(text: &str) -> Result<Self, BadTemplate> {
        let bad = |why| BadTemplate { template: text.to_owned(), why };
        let mut rest = text.strip_prefix('/').ok_or_else(|| bad("it must begin with a slash"))?;
        let mut template = Self { segments: Vec::new(), variables: Vec::new(), verb: None };
        loop {
            if let Some(inner) = rest.strip_prefix('{') {
                let (variable, after) = inner.split_once('}').ok_or_else(|| bad("a brace is not closed"))?;
                template.variable(variable).map_err(bad)?;
                rest = after;
            } else {
                let end = rest.find(['/', ':']).unwrap_or(rest.len());
                template.segment(&rest[..end]).map_err(bad)?;
                rest = &rest[end..];
            }
            if let Some(verb) = rest.strip_prefix(':') {
                if verb.is_empty() || verb.contains(['/', ':', '{', '}', '*']) {
                    return Err(bad("the verb must be one plain word"));
                }
                template.verb = Some(verb.to_owned());
                rest = "";
            }
            if rest.is_empty() {
                break;
            }
            rest = rest.strip_prefix('/').ok_or_else(|| bad("a slash must follow a segment"))?;
        }
        let ends = template.segments.iter().position(|s| *s == Segment::Rest);
        if ends.is_some_and(|at| at + 1 != template.segments.len()) {
            return Err(bad("`**` must be the last segment"));
        }
        Ok(template)
    }

    fn segment(&mut self, text: &str) -> Result<(), &'static str> {
        self.segments.push(match text {
            "*" => Segment::One,
            "**" => Segment::Rest,
            "" => return Err("a segment is empty"),
            _ if text.contains(['*', '{', '}', '=', '%']) => return Err("a literal has a mark in it"),
            _ => Segment::Literal(text.to_owned()),
        });
        Ok(())
    }

    fn variable(&mut self, text: &str) -> Result<(), &'static str> {
        let (field, pattern) = text.split_once('=').unwrap_or((text, "*"));
        let from = self.segments.len();
        for segment in pattern.split('/') {
            self.segment(segment)?;
        }
        if field.is_empty() || self.variables.iter().any(|v| v.field == field) {
            return Err("a variable has no name, or one that stands twice");
        }
        self.variables.push(Variable { field: field.to_owned(), from, to: self.segments.len() });
        Ok(())
    }

    /// The field paths that are bound, such as `pack_model.name`.
    pub(super) fn fields(&self) -> impl Iterator<Item = &str> {
        self.variables.iter().map(|v| v.field.as_str())
    }

    /// The values of the bound fields, in the order of [`Template::fields`], where `path` matches.
    pub(super) fn matches(&self, path: &Path) -> Option<Vec<(&str, String)>> {
        if self.verb != path.verb {
            return None;
        }
        let open = self.segments.last() == Some(&Segment::Rest);
        let fits = if open {
            path.segments.len() >= self.segments.len()
        } else {
            path.segments.len() == self.segments.len()
        };
        let alike = self.segments.iter().zip(&path.segments).all(|pair| match pair {
            (Segment::Literal(literal), segment) => literal == segment,
            // An empty segment names nothing.
            (Segment::One, segment) => !segment.is_empty(),
            (Segment::Rest, _) => true,
        });
        (fits && alike)
            .then(|| self.variables.iter().map(|v| (v.field.as_str(), self.value(v, path))).collect())
    }

    fn value(&self, variable: &Variable, path: &Path) -> String {
        let open = self.segments.get(variable.to - 1) == Some(&Segment::Rest);
        let to = if open { path.segments.len() } else { variable.to };
        let parts = &path.segments[variable.from.min(to)..to];
        match parts {
            [one] if !open => one.clone(),
            // A slash inside a segment must not look like one between segments.
            parts => parts.iter().map(|part| part.replace('/', "%2F")).collect::<Vec<_>>().join("/"),
        }
    }

    /// Whether some path matches both.
    pub(super) fn overlaps(&self, other: &Self) -> bool {
        self.verb == other.verb && overlap(&self.segments, &other.segments)
    }
}

fn overlap(a: &[Segment], b: &[Segment]) -> bool {
    match (a, b) {
        ([], []) | ([Segment::Rest, ..], [_, ..]) | ([_, ..], [Segment::Rest, ..]) => true,
        ([], _) | (_, []) => false,
        ([Segment::Literal(x), ..], [Segment::Literal(y), ..]) if x != y => false,
        ([_, a @ ..], [_, b @ ..]) => overlap(a, b),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(template: &str, path: &str) -> Option<Vec<(String, String)>> {
        let template = Template::parse(template).expect("a template");
        let values = template.matches(&Path::parse(path)?)?;
        Some(values.into_iter().map(|(field, value)| (field.to_owned(), value)).collect())
    }

    #[test]
    fn templates_match_as_the_annotation_says() {
        let name = |value: &str| Some(vec![("name".to_owned(), value.to_owned())]);
        for (template, path, expected) in [
            ("/v1/trials", "/v1/trials", Some(vec![])),
            ("/v1/trials", "/v1/trials/", None),
            ("/v1/trials", "/v1//trials", None),
            ("/v1/trials", "/v1/tri%61ls", Some(vec![])),
            ("/v1/trials", "/v1/trials:check", None),
            ("/v1/trials:check", "/v1/trials:check", Some(vec![])),
            ("/v1/trials:check", "/v1/trials%3Acheck", Some(vec![])),
            ("/v1/trials:check", "/v1/trials%3acheck", Some(vec![])),
            ("/v1/trials:check", "/v1/trials:", None),
            ("/v1/trials:check", "/v1/trials", None),
            ("/v1/{name=trials/*}", "/v1/trials/t-1", name("trials/t-1")),
            ("/v1/{name=trials/*}", "/v1/trials/", None),
            ("/v1/{name=trials/*}", "/v1/trials/t-1/runs", None),
            ("/v1/{name=trials/*}", "/v1/trials/a%2Fb", name("trials/a%2Fb")),
            ("/v1/{name=trials/*}", "/v1/trials/%C3%A5", name("trials/å")),
            ("/v1/{name=trials/*}", "/v1/trials/%C3", None),
            ("/v1/{name=trials/*}:decide", "/v1/trials/t-1:decide", name("trials/t-1")),
            ("/v1/{name=trials/*}:decide", "/v1/trials/t:1:decide", name("trials/t:1")),
            ("/v1/{name=trials/*}:decide", "/v1/trials/t-1%3Adecide", name("trials/t-1")),
            ("/v1/{name=methods/*/versions/*}", "/v1/methods/m/versions/1", name("methods/m/versions/1")),
            ("/v1/{name}", "/v1/a%2Fb", name("a/b")),
            ("/v1/{name=**}", "/v1/a/b/c", name("a/b/c")),
            ("/v1/{name=**}", "/v1", None),
        ] {
            assert_eq!(read(template, path), expected, "{template} on {path}");
        }
    }

    #[test]
    fn a_nested_field_takes_its_value() {
        let read = read("/v1/{pack_model.name=packModels/*}", "/v1/packModels/k5");
        assert_eq!(read, Some(vec![("pack_model.name".to_owned(), "packModels/k5".to_owned())]));
    }

    #[test]
    fn what_breaks_the_grammar_is_refused() {
        for bad in [
            "v1",
            "/",
            "/v1/",
            "/v1/{name",
            "/v1/{=a}",
            "/v1/**/a",
            "/v1/a:",
            "/v1/a:b:c",
            "/v1/{a}{b}",
            "/a*b",
        ] {
            assert!(Template::parse(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn overlaps_are_seen_and_only_overlaps() {
        for (a, b, both) in [
            ("/v1/trials", "/v1/trials", true),
            ("/v1/{name=trials/*}", "/v1/{name=*/*}", true),
            ("/v1/{name=trials/*}", "/v1/{name=packs/*}", false),
            ("/v1/{name=trials/*}:a", "/v1/{name=trials/*}:b", false),
            ("/v1/{name=trials/*}:a", "/v1/{name=trials/*}", false),
            ("/v1/{name=methods/*}", "/v1/{name=methods/*/versions/*}", false),
            ("/v1/{name=**}", "/v1/trials/a/b", true),
        ] {
            let parse = |text| Template::parse(text).expect("a template");
            assert_eq!(parse(a).overlaps(&parse(b)), both, "{a} and {b}");
            assert_eq!(parse(b).overlaps(&parse(a)), both, "{b} and {a}");
        }
    }
}
