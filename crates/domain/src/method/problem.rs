//! What is wrong with the files of a catalogue, all of it at once.

/// One thing that is wrong with a file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// Name of the file.
    pub file: String,
    /// Path inside it, such as `bands[0].edges`; empty for the file as a whole.
    pub path: String,
    /// What is wrong; lower case, no full stop.
    pub message: String,
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { file, path, message } = self;
        if path.is_empty() { write!(f, "{file}: {message}") } else { write!(f, "{file}: {path}: {message}") }
    }
}

/// Why files make no catalogue: everything that was found.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the method catalogue cannot be used:{}", listed(.0))]
pub struct CatalogueError(Vec<Problem>);

impl CatalogueError {
    /// Both together.
    pub(super) fn and(mut self, other: Self) -> Self {
        self.0.extend(other.0);
        self
    }

    /// Every problem, in the order of the files.
    pub fn problems(&self) -> &[Problem] {
        &self.0
    }
}

fn listed(problems: &[Problem]) -> String {
    let lines: Vec<String> = problems.iter().map(|problem| format!("\n- {problem}")).collect();
    lines.concat()
}

/// Problems as they are found.
#[derive(Debug, Default)]
pub(super) struct Problems(Vec<Problem>);

impl Problems {
    /// A place in a file, where problems can be noted.
    pub(super) fn at<'a>(&'a mut self, file: &'a str) -> At<'a> {
        At { problems: self, file }
    }

    /// Whether nothing was found.
    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The error that lists them.
    pub(super) fn into_error(self) -> CatalogueError {
        CatalogueError(self.0)
    }
}

/// A file under check.
#[derive(Debug)]
pub(super) struct At<'a> {
    problems: &'a mut Problems,
    file: &'a str,
}

impl At<'_> {
    /// Notes a problem.
    pub(super) fn add(&mut self, path: impl Into<String>, message: impl Into<String>) {
        let problem = Problem { file: self.file.to_owned(), path: path.into(), message: message.into() };
        self.problems.0.push(problem);
    }

    /// Notes a problem unless `fine`.
    pub(super) fn expect(&mut self, fine: bool, path: &str, message: impl FnOnce() -> String) {
        if !fine {
            self.add(path, message());
        }
    }
}
