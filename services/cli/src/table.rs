//! Aligned tables.

/// Rows under headings, first column to the left, all others to the right.
pub(crate) struct Table {
    rows: Vec<Vec<String>>,
}

impl Table {
    pub(crate) fn new(headings: &[&str]) -> Self {
        Self { rows: vec![headings.iter().map(|&heading| heading.to_owned()).collect()] }
    }

    pub(crate) fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    /// The table, each line indented by two.
    pub(crate) fn text(&self) -> String {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let width = |column: usize| {
            self.rows
                .iter()
                .filter_map(|row| row.get(column))
                .map(|cell| cell.chars().count())
                .max()
                .unwrap_or(0)
        };
        let widths: Vec<usize> = (0..columns).map(width).collect();
        let mut text = String::new();
        for row in &self.rows {
            let mut line = String::from(" ");
            for (column, (cell, width)) in row.iter().zip(&widths).enumerate() {
                let room = " ".repeat(width.saturating_sub(cell.chars().count()));
                line.push(' ');
                if column == 0 {
                    line.push_str(cell);
                    line.push_str(&room);
                } else {
                    line.push_str(&room);
                    line.push(' ');
                    line.push_str(cell);
                }
            }
            text.push_str(line.trim_end());
            text.push('\n');
        }
        text
    }
}
