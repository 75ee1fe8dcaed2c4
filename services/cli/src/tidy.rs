//! Tidy CSV, read to rows with their lines.

use std::collections::{BTreeMap, BTreeSet};

use benchring_domain::analysis::tidy::{COLUMNS, NEEDED, Problem, Row};

/// Most rows of a file.
const MOST_ROWS: usize = 200_000;
/// Most columns of a file.
const MOST_COLUMNS: usize = 200;
/// Most characters of a cell.
const LONGEST_CELL: usize = 2_000;

/// A file read.
#[derive(Debug, Default)]
pub(crate) struct Csv {
    pub(crate) columns: Vec<String>,
    pub(crate) rows: Vec<Row>,
    pub(crate) problems: Vec<Problem>,
}

impl Csv {
    fn problem(&mut self, line: u64, column: &str, message: String) {
        self.problems.push(Problem { line, column: column.to_owned(), message });
    }

    /// Reads the bytes of a file.
    pub(crate) fn of(bytes: &[u8]) -> Self {
        let mut csv = Self::default();
        let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
        if bytes.starts_with(b"\xFF\xFE") || bytes.starts_with(b"\xFE\xFF") {
            csv.problem(1, "", "the file is UTF-16: save it as CSV in UTF-8".to_owned());
            return csv;
        }
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(bytes);
        let mut record = csv::ByteRecord::new();
        loop {
            match reader.read_byte_record(&mut record) {
                Ok(false) => break,
                Ok(true) => {}
                Err(error) => {
                    let line = error.position().map_or(0, csv::Position::line);
                    csv.problem(line, "", format!("the file cannot be read on from here: {error}"));
                    break;
                }
            }
            let line = record.position().map_or(0, csv::Position::line);
            if csv.columns.is_empty() {
                csv.header(&record, line);
                if !csv.problems.is_empty() {
                    return csv;
                }
            } else if csv.rows.len() == MOST_ROWS {
                csv.problem(line, "", format!("more than {MOST_ROWS} rows: split the file by trials"));
                break;
            } else {
                csv.row(&record, line);
            }
        }
        if csv.columns.is_empty() {
            csv.problem(1, "", format!("the file is empty: begin it with the line {}", COLUMNS.join(",")));
        } else if csv.rows.is_empty() && csv.problems.is_empty() {
            csv.problem(2, "", "there is no row below the heading: write one for each run".to_owned());
        }
        csv
    }

    fn header(&mut self, record: &csv::ByteRecord, line: u64) {
        if record.len() > MOST_COLUMNS {
            self.problem(line, "", format!("{} columns, and at most {MOST_COLUMNS} are read", record.len()));
            return;
        }
        let mut seen = BTreeSet::new();
        for (place, cell) in record.iter().enumerate() {
            let Ok(name) = std::str::from_utf8(cell) else {
                let column = (place + 1).to_string();
                self.problem(
                    line,
                    &column,
                    "the heading is not UTF-8: save the file as CSV in UTF-8".to_owned(),
                );
                continue;
            };
            let name = shortened(&name.to_lowercase());
            if !name.is_empty() && !seen.insert(name.clone()) {
                self.problem(
                    line,
                    &name,
                    format!("`{name}` heads two columns: rename or take out one of them"),
                );
            }
            self.columns.push(name);
        }
        let missing: Vec<&str> = NEEDED.into_iter().filter(|column| !seen.contains(*column)).collect();
        for column in missing {
            let found = self.columns.join(",");
            let near = if self.columns.len() == 1 && found.contains([';', '\t']) {
                ": the columns are parted by something else than a comma, so save the file with commas"
                    .to_owned()
            } else {
                format!(": name it so in the first line, which reads `{}`", shortened(&found))
            };
            self.problem(line, column, format!("the column {column} is missing{near}"));
        }
    }

    fn row(&mut self, record: &csv::ByteRecord, line: u64) {
        if record.iter().all(<[u8]>::is_empty) {
            return;
        }
        if record.len() != self.columns.len() {
            let (has, due) = (record.len(), self.columns.len());
            let hint = if has > due {
                "; a decimal comma parts a cell in two: write a point, or put the cell in quotes"
            } else {
                ""
            };
            self.problem(line, "", format!("{has} cells, and the heading has {due}{hint}"));
            return;
        }
        let mut cells = BTreeMap::new();
        for (place, cell) in record.iter().enumerate() {
            let name = self.columns[place].clone();
            match std::str::from_utf8(cell) {
                Ok("") => {}
                Ok(text) if text.len() > LONGEST_CELL => {
                    self.problem(
                        line,
                        &name,
                        format!("the cell has more than {LONGEST_CELL} bytes: shorten it"),
                    );
                }
                Ok(text) => {
                    cells.insert(name, text.to_owned());
                }
                Err(_) => self.problem(
                    line,
                    &name,
                    "the cell is not UTF-8: save the file as CSV in UTF-8".to_owned(),
                ),
            }
        }
        for column in NEEDED.into_iter().filter(|column| *column != "reading") {
            if !cells.contains_key(column) {
                self.problem(line, column, format!("the {column} is blank: give it in every row"));
            }
        }
        self.rows.push(Row { line, cells });
    }
}

/// The first 80 characters.
fn shortened(text: &str) -> String {
    benchring_domain::id::shortened(text)
}
