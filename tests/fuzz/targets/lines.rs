//! Lines of an instrument, in any format: readings that are numbers, or a fault that says what is allowed.
#![no_main]

use evendraw::lines::{Format, LineParser};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: (u8, &str)| {
    const COLUMNS: [&[&str]; 5] = [
        &["time_s", "torque_Nm", "angle_deg"],
        &["torque_lbf_ft"],
        &["time_us", "skip", "torque_kgf_m"],
        &["angle_turns", "torque_Nm"],
        &[],
    ];
    let (how, text) = input;
    let names = COLUMNS[usize::from(how) % COLUMNS.len()];
    let mut parser = LineParser::new(Format {
        columns: names.iter().map(|name| (*name).to_owned()).collect(),
        ..Format::default()
    });
    for line in text.split('\n') {
        match parser.line(line) {
            Ok(Some(row)) => {
                assert!(row.torque_nm.is_finite());
                assert!(
                    row.angle_deg.is_none_or(f64::is_finite)
                        && row.time_s.is_none_or(f64::is_finite)
                );
            }
            Ok(None) => {}
            Err(error) => {
                assert!(!error.to_string().is_empty() && error.to_string().len() < 10_000)
            }
        }
    }
});
