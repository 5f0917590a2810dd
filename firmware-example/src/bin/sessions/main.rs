//! Works 200 seeded sessions and prints the digest of each one's records: the same program on the desktop and on the chip.
//!
//! On the chip it also counts what the core costs, when the emulator counts instructions. Knows nothing of what is printed
//! elsewhere: the tests compare.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod chip;

use evendraw_core::check_sum::crc32;
use evendraw_firmware::exercise;

/// Sessions worked.
const SESSIONS: u64 = 200;

/// Digest of the records, number of records, number of readings.
fn digest(seed: u64) -> (u32, u32, u32) {
    let (mut sum, mut records) = (0, 0);
    let readings = exercise::work(seed, &mut |entry| {
        let mut room = [0; evendraw_core::limits::FRAME_MAX];
        match postcard::to_slice(entry, &mut room) {
            Ok(bytes) => sum = crc32(sum, bytes),
            // Must not look like any sum of stored records.
            Err(_) => sum = !sum,
        }
        records += 1;
    });
    (sum, records, readings)
}

#[cfg(not(target_os = "none"))]
fn main() {
    for seed in 0..SESSIONS {
        let (sum, records, readings) = digest(seed);
        println!("{seed} {sum:08x} {records} {readings}");
    }
}
