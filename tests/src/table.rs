//! Published tables kept beside the tests: CSV with the source in its first line.
//!
//! Knows nothing of what the numbers mean.

use std::path::Path;

/// One row, cells by column name.
#[derive(Debug, Clone)]
pub struct Row {
    cells: Vec<(String, String)>,
}

impl Row {
    /// A cell's text; panics with the column's name if there is none, for a table that lacks a column is a broken test.
    #[must_use]
    pub fn text(&self, column: &str) -> &str {
        match self.cells.iter().find(|(name, _)| name == column) {
            Some((_, text)) => text,
            None => panic!("no column `{column}` in {:?}", self.cells),
        }
    }

    /// A cell's number; none where the table has `-` or nothing.
    #[must_use]
    pub fn number(&self, column: &str) -> Option<f64> {
        match self.text(column) {
            "-" | "" => None,
            text => Some(
                text.parse()
                    .unwrap_or_else(|error| panic!("{column} `{text}`: {error}")),
            ),
        }
    }

    /// Half of the last printed digit of a number.
    #[must_use]
    pub fn half_digit(&self, column: &str) -> f64 {
        let decimals = self
            .text(column)
            .split_once('.')
            .map_or(0, |(_, fraction)| fraction.len());
        0.5 * 10_f64.powi(-i32::try_from(decimals).unwrap_or(0))
    }
}

/// Reads `tests/data/<name>`.
#[must_use]
pub fn rows(name: &str) -> Vec<Row> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("data")
        .join(name);
    let text = std::fs::read_to_string(&path)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let mut lines = text
        .lines()
        .filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    let header: Vec<&str> = lines
        .next()
        .unwrap_or_default()
        .split(',')
        .map(str::trim)
        .collect();
    lines
        .map(|line| {
            let cells = header
                .iter()
                .map(ToString::to_string)
                .zip(line.split(',').map(|cell| cell.trim().to_owned()))
                .collect();
            Row { cells }
        })
        .collect()
}
