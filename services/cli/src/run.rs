//! From files to trials, and from there to the command.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use benchring_api::convert::pools::documents::Handed;
use benchring_domain::analysis::Names;
use benchring_domain::analysis::documents::{Document, Gathered};
use benchring_domain::analysis::generic::{self, Generic, dimension_of};
use benchring_domain::analysis::tidy::{Called, TidyTrial, plain_number, trials_of};
use benchring_domain::id::{MethodId, MethodRef, PackModelId, shortened};
use benchring_domain::method::{Better, Catalogue, Method};
use benchring_domain::pack::PackModel;
use benchring_domain::quantity::Dimension;
use benchring_domain::trial::TrialDraft;
use benchring_domain::trial::loose::Against;
use benchring_domain::violation::{Violation, Violations};
use jiff::Timestamp;
use serde_json::json;

use crate::args::{Cli, Command, Files};
use crate::documents::{self, Places, pointer};
use crate::tidy::Csv;
use crate::{Done, check};

/// Most bytes of all files together.
const MOST_BYTES: u64 = 256 << 20;
/// Most faults shown.
const MOST_FAULTS: usize = 100;

/// Runs the command; the exit code is documented in the help.
pub(crate) fn run(cli: &Cli) -> Done {
    let done =
        Catalogue::embedded().context("the methods built in").and_then(|catalogue| match &cli.command {
            Command::Analyse(args) => crate::analyse::analyse(args, &catalogue),
            Command::Check(args) => check::check(args, &catalogue),
            Command::Plan(args) => crate::plan::plan(args, &catalogue),
        });
    done.unwrap_or_else(|error| Done { code: 2, out: String::new(), err: format!("benchring: {error:#}\n") })
}

/// One thing wrong with a file.
#[derive(Debug)]
pub(crate) struct Fault {
    pub(crate) file: String,
    pub(crate) line: Option<u64>,
    /// Column of a table, or JSON pointer.
    pub(crate) at: String,
    /// Lower snake case.
    pub(crate) reason: String,
    pub(crate) message: String,
}

impl Fault {
    pub(crate) fn json(&self) -> serde_json::Value {
        let Self { file, line, at, reason, message } = self;
        let place = if line.is_some() { "column" } else { "pointer" };
        json!({"file": file, "line": line, place: at, "reason": reason, "message": message})
    }
}

/// Why there is nothing to go on with.
pub(crate) enum NoFiles {
    /// What the files say is wrong.
    Faults(Vec<Fault>),
    /// A file cannot be read, or the command is wrong.
    Unreadable(anyhow::Error),
}

/// The files, read and checked.
pub(crate) struct Loaded {
    pub(crate) method: Method,
    pub(crate) gathered: Gathered,
    pub(crate) packs: BTreeMap<PackModelId, PackModel>,
    pub(crate) names: Names,
    pub(crate) called: Called,
    pub(crate) notes: Vec<String>,
}

/// Faults as text, one line each.
pub(crate) fn faults_text(faults: &[Fault]) -> String {
    let mut text = String::new();
    for Fault { file, line, at, reason, message } in faults.iter().take(MOST_FAULTS) {
        let line = line.map(|line| format!(":{line}")).unwrap_or_default();
        let at = if at.is_empty() { String::new() } else { format!(" {at}:") };
        let _ = writeln!(text, "{file}{line}:{at} {message} ({reason})");
    }
    if faults.len() > MOST_FAULTS {
        let _ = writeln!(text, "and {} more: correct these and run again", faults.len() - MOST_FAULTS);
    }
    text
}

/// The present.
#[expect(clippy::disallowed_methods, reason = "the one place where the command reads the clock")]
fn now() -> Timestamp {
    Timestamp::now()
}

/// Everything that stands in the files, before it is held against a method.
#[derive(Default)]
struct Given {
    tables: Vec<(String, Csv)>,
    handed: Handed,
    /// File and JSON pointer of each trial.
    trials: Vec<(String, String)>,
    faults: Vec<Fault>,
}

/// Reads the files and holds them against their method.
pub(crate) fn loaded(args: &Files, catalogue: &Catalogue) -> Result<Loaded, NoFiles> {
    let mut given = given(&args.paths).map_err(NoFiles::Unreadable)?;
    let asked = args.method.as_deref().map(|method| asked_method(method, catalogue)).transpose();
    let asked = asked.map_err(NoFiles::Unreadable)?;
    let now = now();
    let mut broken = Violations::default();
    let references = given.handed.references(catalogue, now, &mut broken);
    let packs = references.specimens.values().map(|(_, model)| (model.id.clone(), model.clone())).collect();
    let places = given.trials.clone();
    let documents = given.handed.documents(|place| format!("trials[{place}]"), &mut broken);
    let mut notes = Vec::new();
    let method = method_of(asked, &documents, &mut given, catalogue, args.direction, &mut notes);
    given.faults.extend(broken.into_iter().map(|one| document_fault(one, &places)));
    let Some(method) = method.filter(|_| given.faults.is_empty()) else {
        return Err(NoFiles::Faults(given.faults));
    };
    let against = Against { method: &method, catalogue, references: &references, now };
    let (gathered, called, faults) = gathered(&given, &documents, &against, &places, &mut notes);
    if !faults.is_empty() {
        return Err(NoFiles::Faults(faults));
    }
    let names = called.names();
    let mut gathered = gathered;
    if method.id.as_str() == generic::ID {
        // There are no rules of a method that something could be missing for.
        gathered.unchecked.clear();
    }
    Ok(Loaded { method, gathered, packs, names, called, notes })
}

fn given(files: &[PathBuf]) -> anyhow::Result<Given> {
    let mut given = Given::default();
    let mut left = MOST_BYTES;
    for path in files {
        let name =
            if path.as_os_str() == "-" { "standard input".to_owned() } else { path.display().to_string() };
        let bytes = bytes_of(path, left).with_context(|| name.clone())?;
        left -= bytes.len() as u64;
        let first = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(&bytes).trim_ascii_start().first();
        if matches!(first, Some(b'{' | b'[')) {
            let mut places = Places::default();
            let broken = documents::read(&bytes, &mut given.handed, &mut places);
            given.trials.extend(places.trials.into_iter().map(|pointer| (name.clone(), pointer)));
            given.faults.extend(broken.into_iter().map(|one| Fault {
                file: name.clone(),
                line: None,
                at: one.pointer,
                reason: "unreadable".to_owned(),
                message: one.message,
            }));
        } else {
            let mut csv = Csv::of(&bytes);
            given.faults.extend(csv.problems.drain(..).map(|one| Fault {
                file: name.clone(),
                line: Some(one.line),
                at: one.column,
                reason: "unreadable".to_owned(),
                message: one.message,
            }));
            given.tables.push((name, csv));
        }
    }
    Ok(given)
}

fn bytes_of(path: &Path, left: u64) -> anyhow::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    if path.as_os_str() == "-" {
        std::io::stdin().lock().take(left + 1).read_to_end(&mut bytes)?;
    } else {
        std::fs::File::open(path)?.take(left + 1).read_to_end(&mut bytes)?;
    }
    anyhow::ensure!(
        bytes.len() as u64 <= left,
        "more than {} MiB in all: analyse fewer files at a time",
        MOST_BYTES >> 20
    );
    Ok(bytes)
}

/// A method of the catalogue, by id or by the name of a version.
pub(crate) fn asked_method(text: &str, catalogue: &Catalogue) -> anyhow::Result<Method> {
    let by_name = MethodRef::from_name(text).ok().and_then(|reference| catalogue.method(&reference));
    let by_id = || catalogue.current(&MethodId::parse(text).ok()?);
    by_name.or_else(by_id).cloned().with_context(|| {
        let known: Vec<&str> = catalogue.current_methods().map(|method| method.id.as_str()).collect();
        format!("--method {}: there is no such method; known are {}", shortened(text), known.join(", "))
    })
}

/// The one method of all files: as asked, as the documents say, or made for the unit of the readings.
fn method_of(
    asked: Option<Method>,
    documents: &[Document],
    given: &mut Given,
    catalogue: &Catalogue,
    direction: Option<Better>,
    notes: &mut Vec<String>,
) -> Option<Method> {
    if asked.is_some() {
        return asked;
    }
    let mut said: BTreeMap<&str, usize> = BTreeMap::new();
    for document in documents {
        *said.entry(document.draft.method.as_str()).or_insert(0) += 1;
    }
    if said.len() > 1 {
        let all: Vec<String> =
            said.iter().map(|(method, count)| format!("{count} of `{}`", shortened(method))).collect();
        let message = format!(
            "trials of several methods are never mixed: {}; choose one with --method",
            all.join(", ")
        );
        let file = given.trials.first().map(|(file, _)| file.clone()).unwrap_or_default();
        given.faults.push(Fault {
            file,
            line: None,
            at: String::new(),
            reason: "mixed_methods".to_owned(),
            message,
        });
        return None;
    }
    if let Some(name) = said.keys().next() {
        let found = MethodRef::from_name(name).ok().and_then(|reference| catalogue.method(&reference));
        if found.is_none() {
            let message = format!("there is no method version `{}`: name one with --method", shortened(name));
            let (file, at) = given.trials.first().cloned().unwrap_or_default();
            given.faults.push(Fault {
                file,
                line: None,
                at: format!("{at}/method"),
                reason: "unknown_method".to_owned(),
                message,
            });
        }
        return found.cloned();
    }
    let dimension = common_dimension(given)?;
    match Generic::of(catalogue, dimension, direction) {
        Ok(Generic { method, assumption }) => {
            notes.push(assumption);
            Some(method)
        }
        Err(message) => {
            let file = given.tables.first().map(|(file, _)| file.clone()).unwrap_or_default();
            let at = "unit".to_owned();
            given.faults.push(Fault {
                file,
                line: Some(2),
                at,
                reason: "not_comparable".to_owned(),
                message,
            });
            None
        }
    }
}

/// The dimension that all readings share.
fn common_dimension(given: &mut Given) -> Option<Dimension> {
    let mut first: Option<(Dimension, String)> = None;
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    let mut faults = Vec::new();
    for (file, csv) in &given.tables {
        for row in &csv.rows {
            let Some(reading) = row.cells.get("reading") else { continue };
            let unit = row.cells.get("unit").map_or("", String::as_str);
            // Where the unit stands with the number, every reading has its own.
            if !unit.is_empty() && !seen.insert(unit) {
                continue;
            }
            let fault = |reason: &str, message| Fault {
                file: file.clone(),
                line: Some(row.line),
                at: "unit".to_owned(),
                reason: reason.to_owned(),
                message,
            };
            let of_unit =
                dimension_of("1", unit).filter(|_| !unit.is_empty() || plain_number(reading).is_some());
            match (of_unit.or_else(|| dimension_of(reading, unit)), &first) {
                (None, _) => {
                    let shown = if unit.is_empty() { "a blank unit" } else { unit };
                    faults.push(fault(
                        "unknown_unit",
                        format!(
                            "`{}` in `{}` cannot be read: write a plain number with a point, and a unit such as s, min, A.h, W.h, mOhm, K, N.m or 1",
                            shortened(reading),
                            shortened(shown)
                        ),
                    ));
                }
                (Some(dimension), Some((known, by))) if dimension != *known => faults.push(fault(
                    "unit_mismatch",
                    format!(
                        "`{}` is a {}, and `{by}` above is a {}: one file holds one kind of reading",
                        shortened(unit),
                        dimension.words(),
                        known.words()
                    ),
                )),
                (Some(dimension), None) => first = Some((dimension, shortened(unit))),
                (Some(_), Some(_)) => {}
            }
        }
    }
    given.faults.extend(faults);
    first.map(|(dimension, _)| dimension)
}

/// Holds everything against the method.
fn gathered(
    given: &Given,
    documents: &[Document],
    against: &Against<'_>,
    places: &[(String, String)],
    notes: &mut Vec<String>,
) -> (Gathered, Called, Vec<Fault>) {
    let mut gathered = Gathered::default();
    let mut faults = Vec::new();
    let method = against.method.reference().name();
    let (of_method, others): (Vec<&Document>, Vec<&Document>) =
        documents.iter().partition(|document| document.draft.method == method);
    if !others.is_empty() {
        notes.push(format!("{} trials of other methods are left out", others.len()));
    }
    for document in of_method {
        gathered.document(document, against);
    }
    let broken = std::mem::take(&mut gathered.broken);
    faults.extend(broken.into_iter().map(|one| document_fault(one, places)));
    let mut called = Called::default();
    for (file, csv) in &given.tables {
        let tidy = trials_of(&csv.rows, &csv.columns, against.method, against.catalogue, &mut called);
        faults.extend(tidy.problems.into_iter().map(|one| Fault {
            file: file.clone(),
            line: Some(one.line),
            at: one.column,
            reason: "unreadable".to_owned(),
            message: one.message,
        }));
        for note in tidy.notes {
            if !notes.contains(&note) {
                notes.push(note);
            }
        }
        for trial in &tidy.trials {
            let broken = gathered.rows(trial, against);
            faults.extend(broken.into_iter().map(|one| row_fault(one, trial, file)));
        }
    }
    (gathered, called, faults)
}

/// A violation of `trials[3].arms[0]...` in its file.
fn document_fault(one: Violation, places: &[(String, String)]) -> Fault {
    let inner = one.field.strip_prefix("trials[").and_then(|rest| rest.split_once(']'));
    let place = inner.and_then(|(place, rest)| Some((places.get(place.parse::<usize>().ok()?)?, rest)));
    let (file, at) = match place {
        Some(((file, front), rest)) => (file.clone(), format!("{front}{}", pointer(rest))),
        None => ("files".to_owned(), pointer(&one.field)),
    };
    Fault { file, line: None, at, reason: one.reason.to_lowercase(), message: one.message }
}

/// The column of the condition that a path names.
fn column_of_condition<'a>(path: &str, draft: &'a TrialDraft) -> Option<&'a str> {
    let index = |list: &str| -> Option<usize> {
        let start = path.find(&format!("{list}["))? + list.len() + 1;
        path[start..].split(']').next()?.parse().ok()
    };
    let arm = index("arms").and_then(|arm| draft.arms.get(arm));
    let charge = index("charges").and_then(|charge| arm?.charges.get(charge));
    let run = index("runs").and_then(|run| charge?.runs.get(run));
    let of_run = run.map(|run| &run.conditions);
    let all = of_run.or(charge.map(|charge| &charge.conditions)).or(arm.map(|arm| &arm.conditions));
    Some(all.unwrap_or(&draft.conditions).get(index("conditions")?)?.field.as_str())
}

/// A violation of a trial put together from rows, at the line of its run.
fn row_fault(one: Violation, trial: &TidyTrial, file: &str) -> Fault {
    let run = one.field.find(".runs[").and_then(|start| {
        let end = one.field[start..].find(']')? + start + 1;
        Some((trial.lines.get(&one.field[..end])?, one.field[end..].trim_start_matches('.')))
    });
    let (line, rest) = run.map_or((trial.line, one.field.as_str()), |(line, rest)| (*line, rest));
    let condition = column_of_condition(&one.field, &trial.draft);
    let column = match rest.split('.').next().unwrap_or_default() {
        "round_count" => "round",
        "position_count" => "position",
        "reading" if rest == "reading.unit" => "unit",
        "reading" => "reading",
        other => condition.unwrap_or(other),
    };
    Fault {
        file: file.to_owned(),
        line: Some(line),
        at: column.to_owned(),
        reason: one.reason.to_lowercase(),
        message: one.message,
    }
}
