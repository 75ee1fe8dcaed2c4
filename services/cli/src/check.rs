//! `benchring check`: trial files held against the rules of their method.

use std::fmt::Write as _;

use benchring_domain::method::Catalogue;
use serde_json::json;

use crate::Done;
use crate::args::Check;
use crate::json::finding;
use crate::run::{Fault, Loaded, NoFiles, faults_text, loaded};

/// Checks the files and says what was found.
pub(crate) fn check(args: &Check, catalogue: &Catalogue) -> anyhow::Result<Done> {
    let (loaded, faults) = match loaded(&args.files, catalogue) {
        Ok(loaded) => (Some(loaded), Vec::new()),
        Err(NoFiles::Faults(faults)) => (None, faults),
        Err(NoFiles::Unreadable(error)) => return Err(error),
    };
    let text = if args.files.json {
        let told = told_json(loaded.as_ref(), &faults);
        format!("{}\n", serde_json::to_string_pretty(&told)?)
    } else {
        told(loaded.as_ref(), &faults)
    };
    Ok(Done { code: u8::from(!faults.is_empty()), out: text, err: String::new() })
}

fn told_json(loaded: Option<&Loaded>, faults: &[Fault]) -> serde_json::Value {
    let findings = loaded.iter().flat_map(|loaded| {
        loaded.gathered.findings.iter().map(|(trial, one)| finding(&loaded.names.trial(trial), one))
    });
    json!({
        "method": loaded.map(|loaded| loaded.method.reference().name()),
        "trials": loaded.map(|loaded| loaded.gathered.trials.len()),
        "violations": faults.iter().map(Fault::json).collect::<Vec<_>>(),
        "findings": findings.collect::<Vec<_>>(),
        "unchecked": loaded.map(|loaded| loaded.gathered.unchecked.iter().collect::<Vec<_>>()),
        "notes": loaded.map(|loaded| &loaded.notes),
    })
}

fn told(loaded: Option<&Loaded>, faults: &[Fault]) -> String {
    let Some(loaded) = loaded else { return faults_text(faults) };
    let mut text = String::new();
    let findings = &loaded.gathered.findings;
    let _ = writeln!(
        text,
        "{} trials of {}: no rule broken, {} findings",
        loaded.gathered.trials.len(),
        loaded.method.reference(),
        findings.len()
    );
    for (trial, one) in findings {
        let _ =
            writeln!(text, "  {} {}: {} ({})", loaded.names.trial(trial), one.field, one.message, one.kind);
    }
    for note in &loaded.notes {
        let _ = writeln!(text, "note: {note}");
    }
    for one in &loaded.gathered.unchecked {
        let _ = writeln!(text, "not checked: {one}");
    }
    text
}
