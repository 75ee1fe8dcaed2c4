//! The table as Markdown.

use std::fmt::Write;

use crate::judge::{Bar, Row};

/// One table a section, with the scenarios that fall short below it.
pub(crate) fn markdown(rows: &[Row]) -> String {
    let mut text = String::new();
    for section in rows.chunk_by(|a, b| a.section == b.section) {
        // Writing to a string cannot fail.
        let _ = write!(text, "### {}\n\n{HEAD}", section[0].section);
        for row in section {
            let _ = writeln!(
                text,
                "| {} | {} | {} × {} | {:.1} ± {:.2} | {:.1} ({}) | {:.3} | {:+.2} | {} |",
                row.name,
                row.measure,
                row.scenarios,
                row.repeats,
                100.0 * row.mean,
                100.0 * row.mean_error,
                100.0 * row.lowest,
                row.lowest_name,
                row.half_width,
                100.0 * row.bias,
                row.verdict(),
            );
        }
        text.push('\n');
        for row in section.iter().filter(|row| !row.below.is_empty()) {
            let _ = writeln!(
                text,
                "- {}, {}: below the floor in {}",
                row.name,
                row.measure,
                row.below.join("; ")
            );
        }
        text.push('\n');
    }
    let judged = rows.iter().filter(|row| row.bar != Bar::Beside);
    let (met, all) = judged.fold((0, 0), |(met, all), row| (met + usize::from(row.met()), all + 1));
    let _ = writeln!(text, "{met} of {all} judged rows meet the bar.");
    text
}

const HEAD: &str = "\
| row | interval | scenarios × repeats | coverage % (± Monte Carlo) | lowest % | mean half-width | bias, 100 × | bar |
|---|---|---|---|---|---|---|---|
";
