//! The run sheet as CSV: one row a run, in order, with empty cells for what is to be written down.

use super::make::Plan;
use super::record::ToRecord;

/// Columns before the conditions, the same as trials are read from for analysis.
const COLUMNS: [&str; 10] =
    ["tester", "trial", "pack", "round", "charge", "position", "warm_up", "reading", "unit", "end_criterion"];

impl Plan {
    /// The run sheet as CSV (RFC 4180, line ends CRLF): a row a run with the empty cells `tester`, `trial`, `reading` and
    /// `end_criterion`, and one for each further field that the method requires, its unit in its name.
    pub fn run_sheet_csv(&self) -> String {
        let fields: Vec<&ToRecord> = self.record.iter().filter(|field| is_condition(field)).collect();
        let mut header: Vec<String> = COLUMNS.iter().map(ToString::to_string).collect();
        header.extend(fields.iter().map(|field| named(field)));
        let mut text = line(header);
        for run in &self.runs {
            let mut cells = vec![
                String::new(),
                String::new(),
                self.asked.packs[run.pack].label.clone(),
                run.round.to_string(),
                run.round.to_string(),
                run.position.to_string(),
                run.warm_up.to_string(),
                String::new(),
                self.unit.clone(),
                String::new(),
            ];
            cells.resize(COLUMNS.len() + fields.len(), String::new());
            text.push_str(&line(cells));
        }
        text
    }
}

/// Whether a required field has a column of its own.
fn is_condition(field: &ToRecord) -> bool {
    let placed = ["reading", "end_criterion", "run_position", "order_design", "specimen_ref"];
    field.required && !placed.contains(&field.field.as_str())
}

fn named(field: &ToRecord) -> String {
    if field.unit.is_empty() || field.unit == "1" {
        field.field.clone()
    } else {
        format!("{} [{}]", field.field, field.unit)
    }
}

fn line(cells: Vec<String>) -> String {
    let mut text = cells.into_iter().map(quoted).collect::<Vec<_>>().join(",");
    text.push_str("\r\n");
    text
}

/// RFC 4180, 2.5 to 2.7.
fn quoted(cell: String) -> String {
    if cell.contains(['"', ',', '\r', '\n']) || cell.starts_with(' ') || cell.ends_with(' ') {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell
    }
}
