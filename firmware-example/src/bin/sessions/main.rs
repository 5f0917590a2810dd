//! Works 200 seeded sessions and prints the digest of each one's records: the same program on the desktop and on the chip.
//!
//! On the chip it also counts what the core costs, when the emulator counts instructions. Knows nothing of what is printed
//! elsewhere: the tests compare.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod chip;
#[cfg(target_os = "none")]
#[path = "../shared/stack.rs"]
mod stack;
#[cfg(target_os = "none")]
#[path = "../shared/vectors.rs"]
mod vectors;

use evendraw_core::crc::crc32;
use evendraw_core::journal;
use evendraw_core::limits::RECORD_MAX;
use evendraw_firmware::exercise;

/// Sessions worked.
const SESSIONS: u64 = 200;

/// CRC-32 of the journal of one session, its number of records and of readings.
fn digest(seed: u64, meter: &mut dyn FnMut(Option<exercise::Kind>)) -> (u32, u32, u32) {
    let (mut sum, mut last, mut records) = (0, journal::FIRST_SEED, 0);
    let readings = exercise::work(
        seed,
        &mut |entry| {
            records += 1;
            let mut room = [0; RECORD_MAX + journal::OVERHEAD];
            match journal::encode_entry(entry, records, last, &mut room) {
                Ok(bytes) => {
                    sum = crc32(sum, bytes);
                    last = bytes.last_chunk().map_or(0, |sum| u32::from_le_bytes(*sum));
                }
                // Must not look like the sum of any journal.
                Err(_) => sum = !sum,
            }
        },
        meter,
    );
    (sum, records, readings)
}

#[cfg(not(target_os = "none"))]
fn main() {
    for seed in 0..SESSIONS {
        let (sum, records, readings) = digest(seed, &mut |_| {});
        println!("{seed} {sum:08x} {records} {readings}");
    }
}
