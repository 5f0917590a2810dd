//! Lists what a journal holds: `cargo run -p evendraw-core --example read_journal -- FILE`.
//!
//! Every frame is told, and so is every byte that proves nothing. Status 2 where the file cannot be read.

use std::process::ExitCode;

use evendraw_core::journal::{Found, Scan, decode_entry};

fn main() -> ExitCode {
    let Some(path) = std::env::args_os().nth(1) else {
        eprintln!("read_journal: which file? One path is needed");
        return ExitCode::from(2);
    };
    let bytes = match std::fs::read(&path) {
        Ok(bytes) => bytes,
        Err(problem) => {
            eprintln!("read_journal: {}: {problem}", path.display());
            return ExitCode::from(2);
        }
    };
    for found in Scan::new(&bytes) {
        match found {
            Found::Frame { frame, offset, .. } => match decode_entry(&frame) {
                Ok(Some(entry)) => println!(
                    "{offset:>8}  joint {} record {} boot {} at {} ms: {:?}",
                    entry.joint,
                    entry.seq,
                    entry.boot,
                    entry.at.since(evendraw_core::unit::Instant::BOOT).millis(),
                    entry.record
                ),
                Ok(None) => println!(
                    "{offset:>8}  kind {} of a host, {} bytes",
                    frame.kind,
                    frame.payload.len()
                ),
                Err(problem) => println!("{offset:>8}  not a record: {problem}"),
            },
            Found::Damaged { from, to } => println!("{from:>8}  damaged up to {to}"),
            Found::Torn { from, to } => println!("{from:>8}  torn: {} bytes", to - from),
        }
    }
    ExitCode::SUCCESS
}
