//! Lines of an instrument, in any format: readings that are numbers, or a fault that says what is allowed.
#![no_main]

use evendraw::lines::{Format, LineParser, Row, RowError};
use libfuzzer_sys::fuzz_target;

const COLUMNS: [&[&str]; 5] = [
    &["time_s", "torque_Nm", "angle_deg"],
    &["torque_lbf_ft"],
    &["time_us", "skip", "torque_kgf_m"],
    &["angle_turns", "torque_Nm"],
    &[],
];
const SEPARATORS: [char; 4] = [',', ';', ' ', '\t'];

/// Columns, separator and decimal mark, as a number says; a comma is never both.
fn format(how: u8) -> Format {
    let how = usize::from(how);
    let names = COLUMNS[how % COLUMNS.len()];
    let separator = SEPARATORS[how / COLUMNS.len() % SEPARATORS.len()];
    Format {
        columns: names.iter().map(|name| (*name).to_owned()).collect(),
        separator,
        decimal_comma: separator != ',' && how / (COLUMNS.len() * SEPARATORS.len()) % 2 == 1,
        ..Format::default()
    }
}

fn check(row: Result<Option<Row>, RowError>) {
    match row {
        Ok(Some(row)) => {
            assert!(row.torque_nm.is_finite());
            assert!(row.angle_deg.is_none_or(f64::is_finite));
            assert!(row.time_s.is_none_or(f64::is_finite));
        }
        Ok(None) => {}
        Err(error) => {
            let said = error.to_string();
            assert!(!said.is_empty() && said.len() < 10_000);
        }
    }
}

fuzz_target!(|input: (u8, &str)| {
    let (how, text) = input;
    let mut parser = LineParser::new(format(how));
    for line in text.split('\n') {
        check(parser.line(line));
    }
});
